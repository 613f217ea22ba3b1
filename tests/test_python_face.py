"""The Python front door: what it offers, that it is light, and that every example of its page is true."""

from __future__ import annotations

import doctest
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import trackgrade as tg
from tests import plain_flight

PAGE = Path(__file__).parents[1] / "docs" / "python.md"
HEAVY = {"numpy", "pandas", "scipy", "matplotlib", "sqlalchemy", "jinja2", "lxml", "gpxpy", "click"}


def test_the_import_loads_nothing_heavy() -> None:
    run = "import sys, trackgrade; print(*{name.split('.')[0] for name in sys.modules})"
    done = subprocess.run([sys.executable, "-c", run], capture_output=True, text=True, timeout=60, check=True)
    assert not HEAVY.intersection(done.stdout.split())


@pytest.mark.parametrize("name", tg.__all__)
def test_every_name_is_there_and_says_what_it_is(name: str) -> None:
    assert name in dir(tg)
    assert inspect.getdoc(getattr(tg, name))


def test_a_name_that_is_not_there_is_told_with_those_that_are() -> None:
    with pytest.raises(AttributeError, match=r"has no name 'gradee'; it has Brief, Debrief"):
        tg.gradee  # noqa: B018


def test_the_examples_of_the_page_are_true(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("flight.gpx").write_text(plain_flight.gpx(plain_flight.rows()), encoding="utf-8")
    Path("tarne.toml").write_text(plain_flight.HOLD_TOML, encoding="utf-8")
    failures, tried = doctest.testfile(
        str(PAGE), module_relative=False, optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE, encoding="utf-8"
    )
    assert tried > 15
    assert not failures


def test_a_notebook_shows_a_picture_laps_and_the_caution(flight: Path, hold_file: Path) -> None:
    debrief = tg.grade(flight, hold_file)
    shown = debrief._repr_html_()
    assert shown.count("<svg") == 1
    assert shown.count("<tr") == 1 + len(debrief.laps)
    assert "not for navigation" in shown
    assert "\n" not in repr(debrief)


def test_no_hold_there_is_a_debrief_without_laps(straight_flight: Path, hold_file: Path) -> None:
    debrief = tg.grade(straight_flight.read_bytes(), hold_file)
    assert list(debrief.laps) == []
    assert debrief.to_frame().empty
    assert debrief.verdict
