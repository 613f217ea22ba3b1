"""Changes of level in the hold: graded against the level in force, the change itself left alone."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from tests.simulated.compare import as_track
from tests.simulated.test_physics import hold
from trackgrade.analysis import analyse
from trackgrade.errors import HoldFileError
from trackgrade.hold.holdfile import parse_hold, write_hold_file
from trackgrade.score.debrief import Debrief
from trackgrade.score.levels import altitude_note, level_at, levels_in_force
from trackgrade.score.standards import load_standard
from trackgrade.simulator import fly
from trackgrade.simulator.flight import SimulatedFlight
from trackgrade.simulator.scenarios import CLEAN, named

HOLD = """
inbound_course_deg = 127
altitude_ft = 5000
[fix]
lat = 44
lon = -93
[[levels]]
altitude_ft = 4000
from_utc = 2026-05-03T15:20:00Z
[[levels]]
altitude_ft = 4500
from_utc = 2026-05-03T15:10:00Z
"""


def flown(*levels: tuple[int, float]) -> SimulatedFlight:
    return fly(hold(), replace(CLEAN, levels=levels), 7)


def graded(flight: SimulatedFlight, **told: object) -> Debrief:
    at = replace(flight.hold, **{"altitude_ft": CLEAN.aircraft.altitude_ft, **told})  # type: ignore[arg-type]
    return analyse(as_track(flight), at, load_standard())


def altitude_result(debrief: Debrief) -> str:
    return next(each.result for each in debrief.whole_items if each.item == "altitude")


def test_levels_of_a_hold_file_are_read_in_order_of_time_and_written_back() -> None:
    plan = parse_hold(HOLD)
    assert [each.altitude_ft for each in plan.levels] == [4500.0, 4000.0]
    assert plan.levels[0].from_utc == dt.datetime(2026, 5, 3, 15, 10, tzinfo=dt.UTC)
    assert parse_hold(write_hold_file(plan)).levels == plan.levels


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("altitude_ft = 4000", "levels[1].from_utc: is missing"),
        ("from_utc = 2026-05-03T15:20:00Z", "levels[1].altitude_ft: is missing"),
        ("altitude_ft = 4000\nfrom_utc = 2026-05-03T15:20:00", "must end in Z"),
        ("altitude = 4000", "did you mean altitude_ft"),
    ],
)
def test_a_level_that_lacks_something_is_told_in_a_line(row: str, told: str) -> None:
    text = HOLD[: HOLD.index("[[levels]]")] + "[[levels]]\n" + row
    with pytest.raises(HoldFileError) as refused:
        parse_hold(text)
    assert told in str(refused.value)


def test_a_level_left_for_another_that_is_held_is_graded_at_the_new_one() -> None:
    debrief = graded(flown((3, -1000.0)))
    assert [each.altitude_ft for each in debrief.levels] == [4000.0, 3000.0]
    assert altitude_result(debrief) == "within"
    assert not {each.name for each in debrief.findings} & {"altitude_not_held", "altitude_lost_in_turns"}
    assert "3000 ft held later; changes of level left alone" in debrief.altitude.note


def test_a_level_assigned_is_graded_from_when_it_was_reached() -> None:
    flight = flown((3, -1000.0))
    third = flight.truth.laps[2].start
    debrief = graded(flight, levels=((third, 3000.0),))
    assert altitude_result(debrief) == "within"
    assert debrief.levels[1].by == "hold file"
    # Assigned, and not flown: outside from when it could have been reached.
    assert altitude_result(graded(flown(), levels=((third, 3000.0),))) == "outside"


@pytest.mark.parametrize("apart_s", [10.0, 45.0, 90.0])
def test_a_level_assigned_and_taken_back_at_once_is_not_the_last_word(apart_s: float) -> None:
    """Down to 3,500 ft, and before it was reached: maintain 4,000 ft. The two once changed places."""
    t = np.arange(1200.0)
    alt = 4000.0 - 120.0 * np.clip(1.0 - np.abs(t - 600.0 - apart_s) / 40.0, 0.0, 1.0)
    told = replace(hold(), levels=((600.0, 3500.0), (600.0 + apart_s, 4000.0)))
    levels = levels_in_force(told, 4000.0, [(0.0, 1200.0)], t, alt)
    assert [each.altitude_ft for each in levels] == [4000.0, 3500.0, 4000.0]
    assert np.all(level_at(levels, t[t > 700.0]) == 4000.0)


def test_a_level_held_badly_is_no_other_level() -> None:
    """160 ft high is an error, not a clearance; so is a bust of 600 ft that is not held."""
    t = np.arange(600.0)
    high = np.full(600, 4160.0)
    assert len(levels_in_force(hold(), 4000.0, [(0.0, 600.0)], t, high)) == 1
    bust = 4000.0 + 600.0 * np.exp(-(((t - 300.0) / 40.0) ** 2))
    assert len(levels_in_force(hold(), 4000.0, [(0.0, 600.0)], t, bust)) == 1


def test_a_climb_back_to_a_later_stay_ends_at_the_level_assigned_last() -> None:
    """Twice gone around: back up to 5,000 ft, and after the next level was assigned, up to that."""
    told = replace(hold(), levels=((600.0, 5000.0), (2000.0, 6000.0)))
    t = np.arange(0.0, 4000.0)
    points = (
        *((0.0, 4000.0), (610.0, 4000.0), (700.0, 5000.0), (900.0, 5000.0), (1000.0, 4000.0), (1200.0, 4000.0)),
        *((1300.0, 5000.0), (2010.0, 5000.0), (2100.0, 6000.0), (2500.0, 6000.0), (2700.0, 4000.0), (3000.0, 4000.0)),
        *((3200.0, 6000.0), (4000.0, 6000.0)),
    )
    alt = np.interp(t, *zip(*points))
    levels = levels_in_force(told, 4000.0, [(0.0, 900.0), (1200.0, 2400.0), (3000.0, 4000.0)], t, alt)
    assert [(each.altitude_ft, each.by) for each in levels] == [
        (4000.0, "first"),
        (5000.0, "hold file"),
        (5000.0, "again"),
        (6000.0, "hold file"),
        (6000.0, "again"),
    ]
    assert level_at(levels, np.array([3100.0, 3300.0])) == pytest.approx([np.nan, 6000.0], nan_ok=True)
    assert altitude_note("4000 ft", levels) == (
        "4000 ft; 5000 ft assigned later; 6000 ft assigned later; changes of level left alone"
    )


def test_between_two_levels_nothing_is_asked() -> None:
    t = np.arange(600.0)
    alt = np.interp(t, [0.0, 200.0, 320.0, 600.0], [4000.0, 4000.0, 3000.0, 3000.0])
    levels = levels_in_force(hold(), 4000.0, [(0.0, 600.0)], t, alt)
    asked = level_at(levels, t)
    assert np.all(asked[:200] == 4000.0)
    assert np.all(np.isnan(asked[230:290]))
    assert np.all(asked[330:] == 3000.0)


def test_a_stack_and_a_climb_to_the_hold_are_left_alone() -> None:
    stack = fly(hold(), named("stack"), 7)
    debrief = graded(stack)
    assert [each.altitude_ft for each in debrief.levels] == [4000.0, 3000.0, 2000.0, 1000.0]
    assert altitude_result(debrief) == "within"
    assert any("of the level in force over every lap" in each.evidence for each in debrief.praise)
    climb = fly(hold(), replace(named("missed approach"), entry="direct"), 7)
    debrief = graded(climb)
    assert debrief.levels[0].from_epoch_s > debrief.laps[0].start_epoch_s + 60.0
    assert altitude_result(debrief) == "within"
    assert debrief.altitude.note.endswith("assigned in the hold file; changes of level left alone")


def test_a_level_missed_is_outside_where_it_was_told() -> None:
    flight = fly(hold(), named("level missed"), 7)
    debrief = graded(flight, levels=((flight.truth.levels[1].left, 3000.0),))
    assert [lap.item("altitude").result for lap in debrief.laps] == ["within", "within", "outside", "outside"]  # type: ignore[union-attr]
    assert {each.name for each in debrief.findings} >= {"altitude_not_held"}


def test_a_turn_in_which_the_level_was_changed_has_no_height_lost() -> None:
    debrief = graded(flown((3, -1000.0)))
    third = debrief.laps[2].measures.fix_turn
    assert third is not None
    assert third.altitude_lost_ft.value is None
    assert third.altitude_lost_ft.why == "the level was changed in the turn or just before"


def test_the_band_of_a_level_is_drawn_while_it_was_in_force_and_told_in_the_debrief_file() -> None:
    from trackgrade.exports.debrief_json import debrief_to_dict
    from trackgrade.report.strips import strips
    from trackgrade.report.timeline import lay_out

    debrief = graded(flown((3, -1000.0)))
    bands = strips(debrief, lay_out(debrief), ())[0].bands
    upper = [band for band in bands if band.low[0] > 3500.0]
    lower = [band for band in bands if band.low[0] < 3500.0]
    assert upper[-1].epoch_s[-1] == debrief.levels[1].left_epoch_s
    assert lower[0].epoch_s[0] == debrief.levels[1].from_epoch_s
    told = debrief_to_dict(debrief)["levels"]
    assert [each["by"] for each in told] == ["first", "seen"]
    assert told[0]["from_utc"] is None
    assert told[1]["from_utc"] > told[1]["left_utc"]


def test_a_first_level_missing_is_the_one_held_after_the_climb() -> None:
    climb = fly(hold(), replace(named("missed approach"), entry="direct"), 7)
    debrief = graded(climb, altitude_ft=None)
    assert debrief.altitude.value == pytest.approx(4000.0, abs=40.0)
    assert altitude_result(debrief) == "within"
