"""Fixtures that any test may use: a plain flight and its hold file, in a folder of their own."""

from __future__ import annotations

import os
import signal
from collections.abc import Generator
from pathlib import Path

import pytest

from tests import plain_flight


def pytest_configure() -> None:
    """A run in the background of a shell ignores Ctrl-C, and hands that on: the tests of interrupts need it."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(autouse=True, scope="session")
def _no_hold_set_of_ones_own(tmp_path_factory: pytest.TempPathFactory) -> None:
    """The holds of whoever runs the tests are not theirs."""
    os.environ["TRACKGRADE_HOLDS"] = str(tmp_path_factory.mktemp("holds"))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """With CI=true a test that cannot run fails: a check that is quietly left out proves nothing."""
    report = yield
    if report.skipped and os.environ.get("CI") == "true" and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, which CI does not accept: {report.longrepr}"
    return report


@pytest.fixture(scope="session")
def flight_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("flights")
    (folder / "plain.gpx").write_text(plain_flight.gpx(plain_flight.rows()), encoding="utf-8")
    (folder / "plain.csv").write_text(plain_flight.csv(plain_flight.rows()), encoding="utf-8")
    (folder / "straight.gpx").write_text(
        plain_flight.gpx(plain_flight.rows(laps=0, before_s=300, after_s=300)), encoding="utf-8"
    )
    (folder / "plain.toml").write_text(plain_flight.HOLD_TOML, encoding="utf-8")
    return folder


@pytest.fixture
def flight(flight_folder: Path) -> Path:
    """A GPX of three plain laps."""
    return flight_folder / "plain.gpx"


@pytest.fixture
def straight_flight(flight_folder: Path) -> Path:
    """A GPX that passes over the fix on the inbound course and goes on: no hold."""
    return flight_folder / "straight.gpx"


@pytest.fixture
def hold_file(flight_folder: Path) -> Path:
    return flight_folder / "plain.toml"
