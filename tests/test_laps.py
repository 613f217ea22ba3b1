"""Laps, from flights known by arithmetic: each event is where its definition puts it, and what is no lap is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.arithmetic_flight import (
    HOLD,
    LEFT_HOLD,
    START_S,
    Flight,
    Piece,
    fly,
    in_frame,
    laps,
    path_of,
    record,
    straight,
    turn,
)
from trackgrade.analysis import measure
from trackgrade.hold.hold import Hold, Leg
from trackgrade.segment.events import arrivals, inbound_passages
from trackgrade.segment.flown import Flown, Lap, Moment
from trackgrade.segment.inbound import fading
from trackgrade.segment.laps import NoLap, lap_between
from trackgrade.segment.path import FlightPath
from trackgrade.segment.visits import find_visits

#: Between samples of 1 s a curved path is cut by this much.
CHORD_S = 0.02
ROLL_S, FIX_S, LEG_S = 4.0, 120.0, 60.0
TURN_S = 60.0 + ROLL_S  # 180 degrees at 3 deg/s, and the rolls
LAP_S = 2 * (TURN_S + LEG_S)


def flown(pieces: list[Piece], hold: Hold = HOLD, **more: float) -> Flown:
    return find_visits(path_of(fly(pieces, fix_at_s=FIX_S, **more), hold), hold)  # type: ignore[arg-type]


def since_fix(moment: Moment | None) -> float:
    assert moment is not None
    return moment.epoch_s - START_S - FIX_S


def only_lap(found: Flown) -> Lap:
    (lap,) = found.laps
    return lap


def crossings(flight: Flight, hold: Hold, axis: str, falling: bool) -> np.ndarray:
    """Times [s] after the fix at which along or cross changes sign, on the fine grid."""
    along, cross = in_frame(flight, hold, flight.t)
    value = -(along if axis == "along" else cross) if falling else (along if axis == "along" else cross)
    return flight.t[1:][(value[:-1] < 0) & (value[1:] >= 0)] - FIX_S


# --- The events of a plain lap --------------------------------------------------------------------------------------


@pytest.mark.parametrize(("hold", "side"), [(HOLD, 1), (LEFT_HOLD, -1)])
def test_events_of_a_lap_in_still_air(hold: Hold, side: int) -> None:
    """By hand: the rate passes a quarter of 3 deg/s after a quarter of the roll; a symmetrical turn ends abeam."""
    found = flown([straight(FIX_S), *laps(2, side=side), straight(30.0)], hold)
    assert len(found.visits) == 1
    assert [lap.number for lap in found.laps] == [1, 2]
    quarter = ROLL_S / 4
    for k, lap in enumerate(found.laps):
        start = k * LAP_S
        assert since_fix(lap.start) == pytest.approx(start, abs=1e-3)
        assert since_fix(lap.outbound_turn_start) == pytest.approx(start + quarter, abs=1e-6)
        assert since_fix(lap.outbound_turn_end) == pytest.approx(start + TURN_S - quarter, abs=1e-6)
        assert since_fix(lap.abeam) == pytest.approx(start + TURN_S, abs=CHORD_S)
        assert since_fix(lap.abeam_by_bearing) == pytest.approx(start + TURN_S, abs=CHORD_S)
        assert since_fix(lap.outbound_end) == pytest.approx(start + TURN_S + LEG_S + quarter, abs=1e-6)
        assert since_fix(lap.inbound_turn_end) == pytest.approx(start + 2 * TURN_S + LEG_S - quarter, abs=1e-6)
        assert since_fix(lap.inbound_start) == pytest.approx(since_fix(lap.inbound_turn_end))
        assert lap.inbound_start_by == "rollout"
        assert since_fix(lap.end) == pytest.approx(start + LAP_S, abs=1e-3)
        assert lap.start_cross_nm == pytest.approx(0.0, abs=1e-3)
        assert not lap.wrong_side
        assert lap.remarks == ()
        assert lap.why_incomplete is None
    assert found.laps[0].end == found.laps[1].start


def test_four_minute_lap_from_end_to_end() -> None:
    """Arithmetic: no wind, legs of a minute, standard rate: 4 min a lap, a minute outbound, a minute inbound.

    Through the whole analysis, from a log without rolls. No aircraft turns like that: a turn is taken to be rolled
    into, so its edges come out early and late by half a second, and by a second where noise hides the corner.
    """
    flight = fly([straight(FIX_S), *laps(3), straight(40.0)], fix_at_s=FIX_S, roll_s=0.0)
    for noise_m, leg_within_s in ((0.0, 0.75), (2.0, 1.5)):
        measured = measure(record(flight, noise_m=noise_m), HOLD)
        assert len(measured.flown.laps) == 3
        assert measured.flown.visits[0].entry.kind == "direct"
        for lap in measured.flown.laps:
            assert since_fix(lap.end) - since_fix(lap.start) == pytest.approx(240.0, abs=0.3)
            assert since_fix(lap.outbound_end) - since_fix(lap.abeam) == pytest.approx(60.0, abs=leg_within_s)
            assert since_fix(lap.end) - since_fix(lap.inbound_start) == pytest.approx(60.0, abs=leg_within_s)


def test_an_easy_roll_adds_its_own_time_and_no_more() -> None:
    """4 s of roll at each end of a turn: 248 s a lap; the legs gain a quarter of a roll where they end in one."""
    flight = fly([straight(FIX_S), *laps(3), straight(40.0)], fix_at_s=FIX_S)
    for lap in measure(record(flight, noise_m=1.0), HOLD).flown.laps:
        assert since_fix(lap.end) - since_fix(lap.start) == pytest.approx(248.0, abs=0.3)
        assert since_fix(lap.outbound_end) - since_fix(lap.abeam) == pytest.approx(61.0, abs=0.7)
        assert since_fix(lap.end) - since_fix(lap.inbound_start) == pytest.approx(61.0, abs=0.7)


# --- Passages -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("off_nm", [-1.5, -0.2, 0.0, 0.4, 2.0])
def test_an_inbound_passage_is_where_along_turns_positive_near_the_fix(off_nm: float) -> None:
    path = path_of(fly([straight(240.3)], fix_at_s=FIX_S))
    path = replace(path, cross_nm=path.cross_nm + off_nm)
    (passage,) = inbound_passages(path)
    assert np.interp(passage.moment.epoch_s - 0.01, path.epoch_s, path.along_nm) < 0.0
    assert np.interp(passage.moment.epoch_s + 0.01, path.epoch_s, path.along_nm) > 0.0
    assert since_fix(passage.moment) == pytest.approx(0.0, abs=1e-3)
    assert passage.cross_nm == pytest.approx(off_nm, abs=1e-3)
    assert passage.heading_deg == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("off_nm", [-3.0, 3.0])
def test_far_off_the_fix_it_is_another_place(off_nm: float) -> None:
    path = path_of(fly([straight(240.0)], fix_at_s=FIX_S))
    assert inbound_passages(replace(path, cross_nm=path.cross_nm + off_nm)) == []
    assert arrivals(replace(path, cross_nm=path.cross_nm + off_nm)) == []


def test_outbound_over_the_fix_is_an_arrival_but_no_inbound_passage() -> None:
    path = path_of(fly([straight(240.0)], heading_deg=40.0, fix_at_s=FIX_S))
    assert inbound_passages(path) == []
    (arrival,) = arrivals(path)
    assert since_fix(arrival.moment) == pytest.approx(0.0, abs=1e-3)
    assert abs(arrival.heading_deg) == pytest.approx(180.0, abs=0.1)


def test_the_error_of_a_passage_is_position_over_speed() -> None:
    """100 kt is 51.4 m/s; 10 m along the track are 0.19 s. 3 m of slow error and 0.03 s of stamps come on top."""
    path = path_of(fly([straight(240.0)], fix_at_s=FIX_S))
    (passage,) = inbound_passages(replace(path, lengthwise_sd_nm=np.full(len(path.epoch_s), 10.0 / 1852.0)))
    expected = np.hypot(np.hypot(10.0, 3.0) / (100 * 1852 / 3600), 0.03)
    assert passage.moment.sd_s == pytest.approx(expected, rel=1e-6)


# --- Abeam ----------------------------------------------------------------------------------------------------------


def test_abeam_is_where_along_turns_negative_and_by_bearing_where_the_fix_is_off_the_wing_tip() -> None:
    """Crabbing outbound the two differ: 15 degrees at one turn diameter are some 10 s."""
    flight = fly(
        [straight(FIX_S), turn(195.0), straight(70.0), turn(165.0), straight(70.0)],
        wind_from_deg=85.0,
        wind_kt=15.0,
        fix_at_s=FIX_S,
    )
    path = path_of(flight)
    a = inbound_passages(path)[0]
    lap = lap_between(path, a, None)
    assert isinstance(lap, Lap)
    falls = crossings(flight, HOLD, "along", falling=True)
    assert since_fix(lap.abeam) == pytest.approx(falls[0], abs=CHORD_S)

    when = since_fix(lap.abeam_by_bearing) + FIX_S
    to_fix = np.degrees(np.arctan2(-flight.at("east_m", when), -flight.at("north_m", when)))
    off = (to_fix - flight.at("heading_deg", when)) % 360.0
    assert off == pytest.approx(90.0, abs=0.2)  # on the right wing tip of a right-hand pattern
    assert abs(since_fix(lap.abeam_by_bearing) - since_fix(lap.abeam)) > 1.0


# --- Where the inbound time starts ----------------------------------------------------------------------------------


def test_undershot_the_roll_out_on_the_intercept_starts_the_time() -> None:
    """Rolled out 30 degrees early, short of the course: the end of that turn, by arithmetic."""
    pieces = [turn(180.0), straight(60.0), turn(150.0), straight(20.0), turn(30.0), straight(80.0)]
    lap = only_lap(flown([straight(FIX_S), *pieces]))
    rolled = TURN_S + LEG_S + 50.0 + ROLL_S - ROLL_S / 4
    assert lap.inbound_start_by == "rollout"
    assert lap.course_crossed is None
    assert since_fix(lap.inbound_start) == pytest.approx(rolled, abs=1e-6)
    assert lap.inbound_turn_end == lap.inbound_start


def test_overshot_the_course_crossed_in_the_turn_starts_the_time() -> None:
    """A turn back at 2.4 deg/s is wider than the turn at the fix: the course is crossed before the roll-out."""
    pieces = [turn(180.0), straight(60.0), turn(200.0, 2.4), straight(30.0), turn(-20.0), straight(60.0)]
    flight = fly([straight(FIX_S), *pieces], fix_at_s=FIX_S)
    lap = only_lap(find_visits(path_of(flight), HOLD))
    (crossed, *_) = [t for t in crossings(flight, HOLD, "cross", falling=True) if t > TURN_S + LEG_S]
    assert lap.inbound_start_by == "course"
    assert since_fix(lap.inbound_start) == pytest.approx(crossed, abs=CHORD_S)
    assert lap.course_crossed == lap.inbound_start
    assert not lap.near_tie
    rolled = TURN_S + LEG_S + 200.0 / 2.4 + ROLL_S - ROLL_S * 0.6 / 2.4
    assert since_fix(lap.inbound_turn_end) == pytest.approx(rolled, abs=1e-6)


@pytest.mark.parametrize(
    # The pattern as a whole moved beyond the course by so many NM. Positions are trusted to 2 hypot(0.0005 NM, 3 m).
    ("beyond_nm", "by", "near_tie"),
    [(0.002, "rollout", True), (0.005, "course", True), (0.05, "course", False), (-0.002, "rollout", False)],
)
def test_a_course_hardly_crossed_is_a_near_tie_and_says_so(beyond_nm: float, by: str, near_tie: bool) -> None:
    path = path_of(fly([straight(FIX_S), *laps(1), straight(30.0)], fix_at_s=FIX_S))
    path = replace(path, cross_nm=path.cross_nm - beyond_nm)
    lap = only_lap(find_visits(path, HOLD))
    assert lap.inbound_start_by == by
    assert lap.near_tie is near_tie
    assert lap.inbound_start is not None
    assert lap.inbound_turn_end is not None
    if near_tie:  # the window that both readings span
        apart = abs(since_fix(lap.inbound_turn_end) - first_crossing_in_the_turn_back(path))
        assert apart > 1.0
        assert lap.inbound_start.sd_s >= apart / 2 - 0.05


def first_crossing_in_the_turn_back(path: FlightPath) -> float:
    after = path.epoch_s > START_S + FIX_S + TURN_S + LEG_S
    at = np.flatnonzero(after[:-1] & (path.cross_nm[:-1] > 0) & (path.cross_nm[1:] <= 0))[0]
    part = path.cross_nm[at] / (path.cross_nm[at] - path.cross_nm[at + 1])
    return float(path.epoch_s[at] + part - START_S - FIX_S)


@pytest.mark.parametrize("low_rate_deg_s", [0.7, 1.0])
def test_a_turn_that_fades_into_a_capture_ends_in_two_places(low_rate_deg_s: float) -> None:
    """150 degrees at standard rate, the last 30 slowly: one watch starts at the end of the first, one of the last."""
    pieces = [straight(FIX_S), turn(180.0), straight(LEG_S), turn(150.0), turn(30.0, low_rate_deg_s), straight(60.0)]
    path = path_of(fly(pieces, fix_at_s=FIX_S))
    back = path.turns[1]
    fade = fading(path, back, float(path.epoch_s[-1]))
    assert fade is not None
    proper_s = START_S + FIX_S + TURN_S + LEG_S + 150.0 / 3.0 + ROLL_S
    assert fade[0] == pytest.approx(proper_s, abs=2.0)
    assert fade[1] == pytest.approx(proper_s + 30.0 / low_rate_deg_s + ROLL_S, abs=4.0)


def test_a_turn_that_stops_at_once_or_after_a_pause_ends_in_one_place() -> None:
    for rest in ([straight(60.0)], [straight(12.0), turn(30.0), straight(60.0)]):
        cut = 0.0 if len(rest) == 1 else 30.0
        pieces = [straight(FIX_S), turn(180.0), straight(LEG_S), turn(180.0 - cut), *rest]
        path = path_of(fly(pieces, fix_at_s=FIX_S))
        assert fading(path, path.turns[1], float(path.epoch_s[-1])) is None


# --- No lap ---------------------------------------------------------------------------------------------------------

AWAY = straight(200.0)
NO_LAPS = {
    "pass": [straight(FIX_S), AWAY],
    "orbit at the fix": [straight(FIX_S), turn(360.0), AWAY],
    "two orbits": [straight(FIX_S), turn(720.0), AWAY],
    "orbit the other way": [straight(FIX_S), turn(-360.0), AWAY],
    "S-turns": [straight(FIX_S - 40.0), turn(45.0), turn(-90.0), turn(90.0), turn(-45.0), AWAY],
    "survey lines": [straight(FIX_S), *[turn(180.0), straight(240.0), turn(-180.0), straight(240.0)] * 3],
    "left and back": [straight(FIX_S), turn(90.0), straight(400.0), turn(90.0), straight(300.0)],
    "one turn back": [straight(FIX_S), turn(180.0), straight(400.0)],
}


@pytest.mark.parametrize("name", NO_LAPS)
def test_flight_about_the_fix_that_is_no_lap(name: str) -> None:
    found = flown(NO_LAPS[name])
    assert found.laps == ()
    assert found.visits == ()
    assert len(found.seen_instead) == 1


def test_a_procedure_turn_is_no_lap() -> None:
    """Outbound over the fix, 45 degrees off for a minute, 180 back, and in over the fix."""
    pieces = [straight(FIX_S), straight(60.0), turn(-45.0), straight(60.0), turn(180.0), straight(40.0), turn(45.0)]
    found = flown([*pieces, straight(200.0)], heading_deg=40.0)
    assert found.laps == ()


def test_why_there_is_no_lap_is_told() -> None:
    path = path_of(fly([straight(FIX_S), turn(360.0), straight(200.0)], fix_at_s=FIX_S))
    a, b = inbound_passages(path)
    none = lap_between(path, a, b)
    assert isinstance(none, NoLap)
    assert "orbit" in none.why
    path = path_of(fly([straight(300.0)], fix_at_s=FIX_S))
    none = lap_between(path, inbound_passages(path)[0], None)
    assert isinstance(none, NoLap)
    assert none.why == "no turn to the outbound leg after the fix"


def test_what_was_seen_instead_of_a_hold() -> None:
    assert flown([straight(FIX_S), AWAY]).seen_instead == ("the fix was passed without a hold",)
    path = path_of(fly([straight(300.0)], fix_at_s=FIX_S))
    (seen,) = find_visits(replace(path, cross_nm=path.cross_nm + 4.0), HOLD).seen_instead
    assert "no nearer to the fix than 4.0 NM" in seen


# --- Laps that are out of the ordinary ------------------------------------------------------------------------------


def test_a_lap_whose_record_ends_early_is_incomplete_and_not_among_the_laps() -> None:
    found = flown([straight(FIX_S), *laps(2), turn(180.0), straight(60.0), turn(90.0)])
    assert len(found.laps) == 2
    (broken,) = found.visits[0].incomplete_laps
    assert broken.number == 3
    assert broken.end is None
    assert broken.why_incomplete == "the record ends before the fix"
    assert since_fix(broken.abeam) == pytest.approx(2 * LAP_S + TURN_S, abs=CHORD_S)


def test_a_lap_not_brought_back_to_the_fix_is_incomplete() -> None:
    found = flown([straight(FIX_S), *laps(1), turn(180.0), straight(600.0)])
    assert len(found.laps) == 1
    (broken,) = found.visits[0].incomplete_laps
    assert broken.why_incomplete == "not brought back to the fix"


def test_after_the_last_lap_straight_on_nothing_is_incomplete() -> None:
    assert flown([straight(FIX_S), *laps(2), straight(300.0)]).visits[0].incomplete_laps == ()


def test_an_orbit_within_a_lap_is_one_lap_with_a_remark() -> None:
    # A ramped circle ends one roll further on than it began.
    pieces = [turn(180.0), straight(30.0), turn(360.0), straight(30.0), turn(180.0), straight(60.0 + ROLL_S)]
    found = flown([straight(FIX_S), *laps(1), *pieces, *laps(1), straight(30.0)])
    assert len(found.laps) == 3
    assert [bool(lap.remarks) for lap in found.laps] == [False, True, False]
    assert "orbit" in found.laps[1].remarks[0]
    second = found.laps[1]
    assert since_fix(second.end) - since_fix(second.start) == pytest.approx(LAP_S + 120.0 + 2 * ROLL_S, abs=0.01)
    back = since_fix(second.end) - LEG_S - ROLL_S - TURN_S
    assert since_fix(second.outbound_end) == pytest.approx(back + ROLL_S / 4, abs=0.01)


@pytest.mark.parametrize(("hold", "side"), [(HOLD, -1), (LEFT_HOLD, 1)])
def test_turns_to_the_other_side_are_laps_on_the_wrong_side(hold: Hold, side: int) -> None:
    found = flown([straight(FIX_S), *laps(2, side=side), straight(30.0)], hold)
    assert len(found.laps) == 2
    assert found.visits[0].wrong_side
    assert all(lap.wrong_side for lap in found.laps)
    assert since_fix(found.laps[0].abeam) == pytest.approx(TURN_S, abs=CHORD_S)


@pytest.mark.parametrize(("side", "words"), [(1, "the hold's side"), (-1, "the other side")])
def test_flown_on_the_reciprocal_course_it_is_seen_instead_and_no_lap(side: int, words: str) -> None:
    found = flown([straight(FIX_S), *laps(2, side=side), straight(30.0)], heading_deg=40.0)
    assert found.laps == ()
    (seen,) = found.seen_instead
    assert "reciprocal course: 2 laps" in seen
    assert words in seen
    for k, (start, end) in enumerate(found.reversed_laps):
        assert (start - START_S - FIX_S, end - START_S - FIX_S) == pytest.approx((k * LAP_S, (k + 1) * LAP_S), abs=0.01)


def test_two_stays_in_one_flight_are_two_visits_with_laps_numbered_on() -> None:
    """Away past the fix, round to the left and back in: 5 min out, 15 min past it, 10 min in."""
    back = [straight(300.0), turn(-180.0), straight(900.0), turn(-180.0), straight(600.0)]
    found = flown([straight(FIX_S), *laps(2), *back, *laps(1), straight(60.0)])
    assert [len(visit.laps) for visit in found.visits] == [2, 1]
    assert [visit.number for visit in found.visits] == [1, 2]
    assert [lap.number for lap in found.laps] == [1, 2, 3]
    again = 2 * LAP_S + 300.0 + 2 * TURN_S + 900.0 + 600.0
    assert since_fix(found.laps[2].start) == pytest.approx(again, abs=0.01)
    assert since_fix(found.visits[1].entry.start) == pytest.approx(again, abs=0.01)


def test_one_more_lap_changes_none_of_those_before() -> None:
    three = flown([straight(FIX_S), *laps(3), straight(30.0)]).laps
    four = flown([straight(FIX_S), *laps(4), straight(30.0)]).laps
    assert four[:3] == three


@pytest.mark.parametrize(
    ("leg", "straight_s"), [(Leg(1.0), 25.0), (Leg(1.0), 60.0), (Leg(1.5), 90.0), (Leg(nm=6.7), 240.0)]
)
def test_legs_of_any_length(leg: Leg, straight_s: float) -> None:
    found = flown([straight(FIX_S), *laps(2, straight_s), straight(30.0)], replace(HOLD, leg=leg))
    assert len(found.laps) == 2
    for lap in found.laps:
        assert since_fix(lap.outbound_end) - since_fix(lap.abeam) == pytest.approx(straight_s + ROLL_S / 4, abs=0.05)


def test_missed_by_a_mile_a_lap_is_a_lap_all_the_same() -> None:
    path = path_of(fly([straight(FIX_S), *laps(2), straight(30.0)], fix_at_s=FIX_S))
    for off_nm in (-0.9, 0.9):
        found = find_visits(replace(path, cross_nm=path.cross_nm + off_nm), HOLD)
        assert len(found.laps) == 2
        assert found.laps[0].end_cross_nm == pytest.approx(off_nm, abs=1e-3)


# --- Circles, eights, tight racetracks ------------------------------------------------------------------------------


@pytest.mark.parametrize("begun_s", [-20.0, -5.0, 0.0, 15.0, 25.0])
@pytest.mark.parametrize("interval_s", [1.0, 5.0])
def test_one_circle_however_it_lies_to_the_fix_is_no_lap(begun_s: float, interval_s: float) -> None:
    flight = fly([straight(FIX_S), turn(360.0), straight(120.0)], fix_at_s=FIX_S - begun_s)
    assert measure(record(flight, interval_s=interval_s, noise_m=3.0), HOLD).flown.laps == ()


@pytest.mark.parametrize("count", [1, 3])
def test_a_figure_of_eight_is_no_lap(count: int) -> None:
    eight = [turn(360.0), straight(4.0), turn(-360.0), straight(4.0)]
    flight = fly([straight(FIX_S), *eight * count, straight(120.0)], fix_at_s=FIX_S)
    assert measure(record(flight, noise_m=2.0), HOLD).flown.laps == ()


def test_a_walk_is_told_by_its_speed() -> None:
    flight = fly([straight(FIX_S), *laps(2), straight(60.0)], fix_at_s=FIX_S, tas_kt=8.0)
    found = measure(record(flight, noise_m=2.0), HOLD).flown
    assert found.visits == ()
    assert found.seen_instead == ("not flown: median 8 kt over the ground",)


@pytest.mark.parametrize("interval_s", [10.0, 12.0])
def test_tight_racetracks_at_a_position_in_ten_seconds_are_laps(interval_s: float) -> None:
    """Legs of 0 to 20 s over the same ground: those with legs of a few seconds are laps, those with none circles."""
    legs_s = (12.0, 18.0, 8.0, 20.0, 15.0, 6.0, 12.0, 17.0)
    racetrack = [piece for leg in legs_s for piece in (turn(180.0), straight(leg), turn(180.0), straight(leg))]
    flight = fly([straight(FIX_S), *racetrack, straight(60.0)], fix_at_s=FIX_S - 4.0)
    found = measure(record(flight, interval_s=interval_s, noise_m=5.0), HOLD).flown
    assert len(found.visits) == 1
    assert len(legs_s) - 1 <= len(found.laps) <= len(legs_s)
    ends = [lap.inbound_start.sd_s for lap in found.laps if lap.inbound_start is not None]
    assert min(ends) > 0.5, "what ten seconds hide is not told to a tenth"


def test_a_lap_interrupted_by_minutes_elsewhere_is_no_lap() -> None:
    away = [straight(200.0), turn(-60.0), straight(60.0), turn(60.0), straight(100.0)]
    pieces = [straight(FIX_S), *laps(2), turn(180.0), *away, turn(180.0), straight(400.0)]
    flight = fly(pieces, fix_at_s=FIX_S)
    assert len(measure(record(flight, noise_m=2.0), HOLD).flown.laps) == 2
