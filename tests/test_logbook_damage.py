"""Anything at all in an import is recorded, or refused in one line; never anything else."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from tests.logbook_flights import made_debrief
from trackgrade.errors import LogbookError, UsageError
from trackgrade.logbook.class_view import class_view
from trackgrade.logbook.digest import digest
from trackgrade.logbook.pages import pilot_page, render_class, render_pilot
from trackgrade.logbook.queries import class_history, pilot_history
from trackgrade.logbook.store import Logbook

SCALARS = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=True, allow_infinity=True)
    | st.text(max_size=8)
    | st.sampled_from(
        ["", "\x00", "\ud800", "9999-12-31T23:59:59Z", "-1", "1e999", "left", "outside", "\u202e", "a" * 5000]
    )
    | st.sampled_from([10**30, -(10**30), 2**31, 2**63, 1e308, -1e308, 5e-324, float("nan")])
)
ANYTHING = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=6,
)


def paths(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in a JSON value."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(each for key, below in inner for each in paths(below, (*path, key)))]


PATHS = [path for path in paths(made_debrief()) if path and path != ("schema",)]


def damaged(path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    debrief = copy.deepcopy(made_debrief())
    where: Any = debrief
    for key in path[:-1]:
        where = where[key]
    where[path[-1]] = value
    return debrief


def check(logbook: Logbook, path: tuple[Any, ...], value: Any) -> None:
    refused = ""
    try:
        logbook.record(damaged(path, value), pilot="pilot A", note="n")
    except (LogbookError, UsageError) as error:
        refused = str(error)
    assert "\n" not in refused
    assert len(refused.encode()) < 1000
    if refused:
        return
    # What was taken can be read, drawn and carried.
    html = render_pilot(pilot_page(pilot_history(logbook, "pilot A")))
    html.encode()
    render_class(class_view(class_history(logbook)))
    assert logbook.import_lines(line for line in logbook.export_lines()).recorded == 1
    logbook.delete_pilot("pilot A")


@given(path=st.sampled_from(PATHS), value=ANYTHING)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_one_damaged_place(tmp_path: Path, path: tuple[Any, ...], value: Any) -> None:
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        check(logbook, path, value)


@pytest.mark.fuzz
@given(path=st.sampled_from(PATHS), value=ANYTHING)
@settings(max_examples=500, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_many_damaged_places(tmp_path: Path, path: tuple[Any, ...], value: Any) -> None:
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        check(logbook, path, value)


@given(ANYTHING)
@settings(max_examples=200, deadline=None)
def test_what_is_no_debrief_is_refused(value: Any) -> None:
    with pytest.raises(LogbookError):
        digest(value)
    with pytest.raises(LogbookError):
        digest({"schema": "trackgrade.debrief/1", "track": value, "hold": value})


@given(st.text(max_size=60) | ANYTHING.map(json.dumps))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_line_is_refused_whole(tmp_path: Path, line: str) -> None:
    with Logbook(tmp_path / "logbook.sqlite") as logbook:
        good = json.dumps({"pilot": "pilot A", "debrief": made_debrief()})
        if line.strip():
            with pytest.raises((LogbookError, UsageError)):
                logbook.import_lines([good, line])
            assert logbook.pilots() == []


@pytest.mark.parametrize("good", [b"CREATE TABLE pilot", b"pilot A"])
def test_bytes_that_are_no_text_are_told_as_damage(tmp_path: Path, good: bytes) -> None:
    """In the table of contents, which SQLite quotes in a message that Python cannot decode; and in a name."""
    path = tmp_path / "l.sqlite"
    with Logbook(path) as logbook:
        logbook.record(made_debrief(), pilot="pilot A")
    whole = path.read_bytes()
    assert good in whole
    path.write_bytes(whole.replace(good, good[:-1] + b"\xff").replace(b"TABLE pilo\xff", b"\xffABLE pilot"))
    with pytest.raises(LogbookError, match="damaged"), Logbook(path, create=False) as logbook:
        logbook.pilots()


@pytest.mark.parametrize("place", ["http://[::1", "postgresql://h:port/x", "://"])
def test_an_address_that_is_none_is_told_in_one_line(place: str) -> None:
    with pytest.raises(LogbookError, match="cannot be read"):
        Logbook(place)
