"""Holds found with no hold file: the fix, the course, the side and the leg of racetracks known by arithmetic."""

from __future__ import annotations

import json
from dataclasses import fields, replace

import numpy as np
import pytest

from tests.arithmetic_flight import (
    HOLD,
    LEFT_HOLD,
    START_S,
    Flight,
    Piece,
    fly,
    keep,
    laps,
    path_of,
    record,
    straight,
    turn,
)
from trackgrade.analysis import flight_date, measure
from trackgrade.drawing.racetrack import in_characters
from trackgrade.earth.angles import wrap180
from trackgrade.earth.geodesy import azimuth_distance
from trackgrade.errors import TrackFileError
from trackgrade.exports import holds_json
from trackgrade.hold.hold import Hold
from trackgrade.hold.holdfile import parse_hold, write_hold_file
from trackgrade.hold.setup import resolve
from trackgrade.report import found
from trackgrade.segment.course import InboundLeg, Outbound, OutboundLeg, likeliest_course
from trackgrade.segment.ends import Reading, surely_first
from trackgrade.segment.finding import find_holds
from trackgrade.segment.placing import Placed
from trackgrade.segment.proposal import HoldProposal
from trackgrade.segment.visits import find_visits

FIX_S = 120.0
#: The turn is taken to begin 2 s after the fix; here it begins on it: 0.06 NM at 100 kt.
FIX_NM = 0.1


def found_in(pieces: list[Piece], hold: Hold = HOLD, **more: float) -> list[HoldProposal]:
    flight = fly(pieces, fix_at_s=FIX_S, heading_deg=hold.inbound_course_true_deg)
    return find_holds(record(flight, hold, noise_m=2.0, **more))  # type: ignore[arg-type]


def miss_nm(proposal: HoldProposal, hold: Hold = HOLD) -> float:
    _, apart = azimuth_distance(
        proposal.hold.fix_lat_deg, proposal.hold.fix_lon_deg, hold.fix_lat_deg, hold.fix_lon_deg
    )
    return float(apart)


@pytest.mark.parametrize(("hold", "side"), [(HOLD, 1), (LEFT_HOLD, -1)])
@pytest.mark.parametrize("count", [1, 2, 4])
def test_a_hold_is_found_with_its_fix_course_side_and_leg(hold: Hold, side: int, count: int) -> None:
    (proposal,) = found_in([straight(FIX_S), *laps(count, side=side), straight(60.0)], hold)
    assert proposal.hold.turns == hold.turns
    assert proposal.hold.leg.minutes == 1.0
    assert proposal.hold.altitude_ft == 4000.0
    off = float(wrap180(proposal.hold.inbound_course_true_deg - hold.inbound_course_true_deg))
    # The fix is where the flight came first and what it left last.
    assert proposal.which_end == "sure"
    assert proposal.other_end is None
    assert miss_nm(proposal, hold) < FIX_NM
    assert abs(off) < 2.0
    assert proposal.laps == count
    assert START_S + FIX_S - 10.0 < proposal.start_epoch_s < START_S + FIX_S + 140.0


def uneven_laps(side: int = 1) -> list[Piece]:
    """Four laps of different length, each brought back to the fix: outbound they end where they may."""
    out: list[Piece] = []
    for seconds in (50.0, 75.0, 60.0, 68.0):
        out += [turn(side * 180.0), straight(seconds), turn(side * 180.0), straight(seconds)]
    return out


@pytest.mark.parametrize(("hold", "side"), [(HOLD, 1), (LEFT_HOLD, -1)])
@pytest.mark.parametrize("course", [10.0, 220.0, 355.0])
def test_of_the_two_ends_the_one_met_lap_after_lap_is_the_fix(hold: Hold, side: int, course: float) -> None:
    hold = replace(hold, inbound_course_true_deg=course)
    (proposal,) = found_in([straight(FIX_S), *uneven_laps(side), straight(60.0)], hold)
    assert miss_nm(proposal, hold) < FIX_NM
    assert wrap180(proposal.hold.inbound_course_true_deg - course) == pytest.approx(0.0, abs=2.0)
    assert 0.0 < proposal.hold.inbound_course_true_deg <= 360.0
    assert proposal.hold.turns == hold.turns
    assert proposal.laps == 4
    assert proposal.fix_sd_nm < 0.1
    assert proposal.course_sd_deg < 2.0


def test_across_the_180_degree_meridian() -> None:
    hold = replace(HOLD, fix_lat_deg=-40.0, fix_lon_deg=179.999)
    (proposal,) = found_in([straight(FIX_S), *uneven_laps(), straight(60.0)], hold)
    assert miss_nm(proposal, hold) < FIX_NM


def test_a_hold_flown_twice_leaves_room_for_another_between() -> None:
    (proposal,) = found_in([straight(FIX_S), *uneven_laps(), straight(60.0)])
    twice = replace(
        proposal, start_epoch_s=0.0, end_epoch_s=3000.0, stays_epoch_s=((0.0, 600.0), (2400.0, 3000.0)), name="set"
    )
    assert not replace(proposal, start_epoch_s=700.0, end_epoch_s=2300.0).shares_time(twice)
    assert replace(proposal, start_epoch_s=2450.0, end_epoch_s=3050.0).shares_time(twice)
    assert twice.shares_time(replace(proposal, start_epoch_s=100.0, end_epoch_s=600.0))


def test_two_holds_in_one_flight_are_two_proposals_in_order_of_time() -> None:
    away = [straight(60.0), turn(60.0), straight(700.0)]
    flown = [straight(FIX_S), *uneven_laps(), *away, *uneven_laps(-1), straight(60.0)]
    one, two = found_in(flown)
    assert (one.hold.turns, two.hold.turns) == ("right", "left")
    assert one.end_epoch_s < two.start_epoch_s
    assert wrap180(two.hold.inbound_course_true_deg - 280.0) == pytest.approx(0.0, abs=3.0)


@pytest.mark.parametrize(
    "pieces",
    [
        [straight(600.0)],
        [straight(120.0), turn(720.0), straight(200.0)],
        [straight(60.0), *[turn(180.0), straight(200.0), turn(-180.0), straight(200.0)] * 3],
        [straight(60.0), *[turn(45.0), turn(-90.0), turn(45.0)] * 4, straight(60.0)],
        [straight(100.0), turn(90.0), straight(100.0), turn(90.0), straight(250.0)],
    ],
    ids=["straight", "orbits", "survey", "S-turns", "two sides of a circuit"],
)
def test_where_there_is_no_hold_none_is_found(pieces: list[Piece]) -> None:
    assert find_holds(record(fly(pieces), noise_m=2.0)) == []


def test_circuits_from_both_ends_of_a_runway_are_no_hold() -> None:
    """The turn about in the climb looks like an entry, the circuit after it like a lap whose fix lies high."""
    circuit = [straight(50.0), turn(90.0), straight(20.0), turn(90.0), straight(85.0)]
    circuit += [turn(90.0), straight(20.0), turn(90.0), straight(50.0)]
    track = record(fly([*circuit * 2, turn(-180.0), *circuit * 2], tas_kt=82.0), noise_m=4.0)
    since_s, about_s = track.epoch_s - track.epoch_s[0], 62.0
    one_s = (float(since_s[-1]) - about_s) / 4.0
    begins_s = np.array([0.0, one_s, 2.0 * one_s + about_s, 3.0 * one_s + about_s])
    times_s = np.add.outer(begins_s, np.array([0.0, 0.35, 0.6, 0.99]) * one_s)
    heights_ft = [[10.0, 1000.0, 1000.0, 10.0]] * 4
    heights_ft[2] = [700.0, *heights_ft[2][1:]]
    up_and_down = replace(track, alt_ft=np.interp(since_s, np.ravel(times_s), np.ravel(heights_ft)))
    assert find_holds(up_and_down) == []
    assert find_holds(track), "at one height the same ground track may be a hold"


@pytest.mark.parametrize("along_kt", [-9.0, 3.0])
def test_a_survey_that_the_wind_carries_along_its_lines_alone_is_no_hold(along_kt: float) -> None:
    """Found in the sweep. Each lap steps 20 s of flight aside, by arithmetic; the wind carries it as far back."""
    step_s, tas_kt = 20.0, 100.0
    a_lap = [turn(180.0), straight(200.0), turn(90.0), straight(step_s), turn(90.0), straight(200.0)]
    lap_s = 400.0 + step_s + (64.0 + 2 * 34.0)  # a turn lasts its degrees over the rate, and a roll of 4 s
    from_west_kt = tas_kt * step_s / lap_s  # off to the north, right turns: its steps go west
    wind = {
        "wind_from_deg": float(np.degrees(np.arctan2(-from_west_kt, along_kt))),
        "wind_kt": float(np.hypot(from_west_kt, along_kt)),
    }
    flight = fly([straight(100.0), *a_lap * 5, straight(60.0)], heading_deg=0.0, tas_kt=tas_kt, **wind)
    assert find_holds(record(flight, noise_m=2.0)) == []


@pytest.mark.parametrize("count", [2, 4])
def test_a_hold_whose_legs_are_lines_that_are_intercepted_is_found(count: int) -> None:
    half = [turn(180.0), straight(15.0), turn(-40.0), straight(20.0), turn(40.0), straight(70.0)]
    (proposal,) = found_in([straight(FIX_S), *half * 2 * count, straight(60.0)])
    assert proposal.laps == count
    assert miss_nm(proposal) < FIX_NM
    assert wrap180(proposal.hold.inbound_course_true_deg - 220.0) == pytest.approx(0.0, abs=2.0)


@pytest.mark.parametrize(("hold", "side"), [(HOLD, 1), (LEFT_HOLD, -1)])
def test_an_only_lap_whose_outbound_leg_comes_onto_its_line_is_graded_and_a_procedure_turn_is_none(
    hold: Hold, side: int
) -> None:
    def laps_of(pieces: list[Piece]) -> int:
        flight = fly([straight(FIX_S), *pieces, straight(60.0)], fix_at_s=FIX_S, heading_deg=course)
        return len(measure(record(flight, hold, noise_m=2.0), hold).flown.laps)

    course = hold.inbound_course_true_deg
    half = [turn(side * 130.0), straight(30.0), turn(side * 50.0), straight(70.0)]
    assert laps_of(half * 2) == 1
    away = [turn(side * 180.0), straight(70.0), turn(side * -45.0), straight(60.0), turn(side * 225.0), straight(160.0)]
    assert laps_of(away) == 0


@pytest.mark.parametrize("speed_kt", [100.0, 250.0])
def test_the_fix_lies_where_the_turn_onto_the_course_that_goes_on_over_it_reaches_the_course(speed_kt: float) -> None:
    """A parallel entry; its intercept at 45 degrees, two radii long, meets the course near the fix by arithmetic."""
    radius_s = 180.0 / np.pi / 3.0
    entry = [straight(55.0), turn(-225.0), straight(2.0 * radius_s), turn(225.0), straight(60.0)]
    flight = fly(
        [straight(FIX_S), *entry, turn(180.0), straight(60.0), *laps(1), straight(60.0)],
        fix_at_s=FIX_S,
        heading_deg=HOLD.inbound_course_true_deg - 180.0,
        tas_kt=speed_kt,
    )
    (proposal,) = find_holds(record(flight, HOLD, noise_m=2.0, interval_s=4.0))
    assert miss_nm(proposal) < 0.3
    assert wrap180(proposal.hold.inbound_course_true_deg - HOLD.inbound_course_true_deg) == pytest.approx(0.0, abs=3.0)


def _reading(flight: Flight, hold: Hold, stretch: slice) -> Reading:
    path = path_of(flight, hold)
    cut = {each.name: getattr(path, each.name) for each in fields(path)}
    path = replace(path, **{name: value[stretch] for name, value in cut.items() if isinstance(value, np.ndarray)})
    visits = find_visits(path, hold).visits
    nothing = np.array([])
    placed = Placed(
        fix_nm=np.zeros(2),
        course_deg=hold.inbound_course_true_deg,
        turns=hold.turns,
        turn_starts_nm=np.zeros((0, 2)),
        turn_starts_s=nothing,
        leg_s=60.0,
        scatter_nm=0.1,
        course_scatter_deg=1.0,
    )
    return Reading(placed, path, visits, tuple(lap for visit in visits for lap in visit.laps), START_S, True)


def test_the_ends_of_stays_that_overlap_are_told_apart_each_on_its_own_stretch_of_the_flight() -> None:
    """Two stays that overlap are looked at on stretches of different length: the search ended in a fault there."""
    pieces = [straight(FIX_S), *laps(3), straight(120.0)]
    at_fix = _reading(fly(pieces, fix_at_s=FIX_S), HOLD, slice(0, None))
    other = replace(HOLD, inbound_course_true_deg=40.0)
    half_lap_s = FIX_S + 64.0 + 60.0  # where the outbound leg ends and the turn back begins
    at_other = _reading(fly(pieces, fix_at_s=half_lap_s), other, slice(30, -40))
    for one, two in ((at_fix, at_other), (at_other, at_fix)):
        first, second, sure = surely_first(one, two)
        assert (first, second, sure) == (at_fix, at_other, True)


def test_the_altitude_is_blank_where_the_log_has_none() -> None:
    flight = fly([straight(FIX_S), *uneven_laps(), straight(60.0)], fix_at_s=FIX_S)
    track = replace(record(flight, noise_m=2.0), alt_ft=np.full(len(record(flight)), np.nan), channels={})
    (proposal,) = find_holds(track)
    assert proposal.hold.altitude_ft is None


@pytest.mark.parametrize(("datum", "proposed_ft"), [("altimeter", 4000.0), ("pressure", None), ("ellipsoid", None)])
def test_an_altitude_is_proposed_only_where_the_altimeter_showed_it(datum: str, proposed_ft: float | None) -> None:
    flight = fly([straight(FIX_S), *uneven_laps(), straight(60.0)], fix_at_s=FIX_S)
    (proposal,) = find_holds(replace(record(flight, noise_m=2.0), alt_datum=datum))
    assert proposal.hold.altitude_ft == proposed_ft


def test_legs_that_end_at_one_distance_whatever_their_time_are_proposed_in_miles() -> None:
    """Outbound to 4.0 NM from the fix each time, by arithmetic; inbound faster or slower, as the wind is there."""
    outbound_s = 4.0 / 100.0 * 3600.0 - 4.0  # 100 kt, still air; the turns end a little past the fix
    even = [turn(180.0), straight(outbound_s), turn(180.0), straight(outbound_s)]
    track = record(fly([straight(FIX_S), *even * 3, straight(60.0)], fix_at_s=FIX_S), noise_m=2.0)
    # The clock of the inbound legs alone is stretched: the places stay, and so does the distance.
    seconds = track.epoch_s - track.epoch_s[0]
    lap_s = 2.0 * (outbound_s + 64.0)
    for lap, factor in enumerate((1.0, 1.12, 0.9)):
        ends = FIX_S + (lap + 1) * lap_s
        begins = ends - outbound_s
        into = np.clip(track.epoch_s - track.epoch_s[0] - begins, 0.0, outbound_s)
        seconds = seconds + into * (factor - 1.0)
    (proposal,) = find_holds(replace(track, epoch_s=track.epoch_s[0] + seconds))
    assert proposal.hold.leg.minutes is None
    assert proposal.hold.leg.nm == pytest.approx(4.0, abs=0.5)
    assert json.loads(holds_json.to_text([proposal]))["holds"][0]["leg_nm"] == proposal.hold.leg.nm


def test_a_record_that_begins_in_the_hold_gives_both_ends_where_nothing_tells_them_apart() -> None:
    (proposal,) = found_in([straight(20.0), *laps(3), turn(180.0), straight(30.0)])
    assert proposal.which_end == "either"
    assert proposal.other_end is not None
    off = wrap180(proposal.hold.inbound_course_true_deg - proposal.other_end.hold.inbound_course_true_deg)
    assert abs(off) == pytest.approx(180.0, abs=2.0)


def test_what_is_found_is_graded_as_it_was_found() -> None:
    track = record(fly([straight(FIX_S), *uneven_laps(), straight(60.0)], fix_at_s=FIX_S), noise_m=2.0)
    (proposal,) = find_holds(track)
    assert len(measure(track, proposal.hold).flown.laps) == proposal.laps == 4


def test_the_proposal_as_a_hold_file_is_the_same_hold() -> None:
    track = record(fly([straight(FIX_S), *uneven_laps(), straight(60.0)], fix_at_s=FIX_S), noise_m=2.0)
    (proposal,) = find_holds(track)
    written = resolve(parse_hold(write_hold_file(proposal.plan("found"))), flight_date(track))
    off = wrap180(written.inbound_course_true_deg - proposal.hold.inbound_course_true_deg)
    assert abs(off) < 0.1
    assert (written.turns, written.leg) == (proposal.hold.turns, proposal.hold.leg)


def test_the_json_of_found_holds_has_the_keys_of_the_contract() -> None:
    (proposal,) = found_in([straight(20.0), *laps(3), turn(180.0), straight(30.0)])
    told = json.loads(holds_json.to_text([proposal]))
    assert told["schema"] == "trackgrade.holds/1"
    (hold,) = told["holds"]
    keys = {
        "fix_lat", "fix_lon", "inbound_course_true_deg", "turns", "leg_minutes", "laps", "start_utc", "end_utc",
        "altitude_ft", "which_end", "other_end",
    }  # fmt: skip
    assert keys <= set(hold)
    assert keys <= set(hold["other_end"])
    assert hold["other_end"]["other_end"] is None
    assert json.loads(holds_json.to_text([]))["holds"] == []


@pytest.mark.parametrize("n", [4, 10, 30])
def test_little_logs_have_no_hold_and_too_little_ones_are_refused(n: int) -> None:
    track = record(fly([straight(60.0)]))
    assert find_holds(keep(track, np.arange(n))) == []
    with pytest.raises(TrackFileError):
        find_holds(keep(track, np.arange(3)))


def test_the_page_shows_the_flight_and_every_hold_with_the_cautions() -> None:
    away = [straight(60.0), turn(60.0), straight(700.0)]
    flown = fly([straight(FIX_S), *uneven_laps(), *away, *uneven_laps(-1), straight(60.0)], fix_at_s=FIX_S)
    track = record(flown, noise_m=2.0)
    page = found.render(track, find_holds(track))
    assert page.count("<svg") == 3
    assert "2 holds found" in page
    assert "hold 1" in page
    assert "the clearance may have been another" in page
    assert "not for navigation" in page
    assert len(page) < 200_000


def test_the_page_tells_of_the_other_end() -> None:
    flown = fly([straight(20.0), *laps(3), turn(180.0), straight(30.0)], fix_at_s=FIX_S)
    track = record(flown, noise_m=2.0)
    assert "does not tell which end" in found.render(track, find_holds(track))


@pytest.mark.parametrize("course", [1.0, 90.0, 233.0])
def test_the_drawing_in_characters_has_the_fix_and_fits_a_terminal(course: float) -> None:
    drawn = in_characters(replace(HOLD, inbound_course_true_deg=course))
    assert sum(line.count("X") for line in drawn) == 1
    assert len(drawn) <= 20
    assert max(map(len, drawn)) <= 60


def _inbound(direction_deg: float, seconds: float) -> InboundLeg:
    return InboundLeg(0.0, seconds, direction_deg, 3.0)


def _leg(track_deg: float, heading_deg: float | None = None) -> OutboundLeg:
    return OutboundLeg(track_deg if heading_deg is None else heading_deg, track_deg, 100.0, 100.0)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("course", [0.0, 90.0, 350.0])
def test_the_course_is_that_of_legs_long_on_it_and_of_intercepts_only_where_nothing_else_tells(
    course: float, side: int
) -> None:
    """Entries by AIM 5-3-8: a teardrop goes out 30 degrees from the reciprocal, a parallel along it."""

    def off(inbound: list[InboundLeg], outbound: Outbound) -> float:
        return abs(float(wrap180(likeliest_course(inbound, outbound, side) - course)))

    reciprocal = course + 180.0
    intercepts = [_inbound(course - side * 25.0, 20.0), _inbound(course - side * 22.0, 15.0)]
    established = [_inbound(course, 90.0), _inbound(course + side * 2.0, 80.0)]
    outbound = (_leg(reciprocal), _leg(reciprocal + 3.0))
    teardrop = Outbound(outbound, _leg(reciprocal - side * 30.0), reciprocal - side * 35.0)
    parallel = Outbound(outbound, _leg(reciprocal), reciprocal + side * 60.0)
    assert off(intercepts, Outbound()) > 15.0
    assert off(intercepts, Outbound(outbound)) < 8.0
    assert off(intercepts, teardrop) < 4.0
    assert off(intercepts, parallel) < 4.0
    assert off(established, Outbound((_leg(reciprocal + 20.0), _leg(reciprocal + 22.0)))) < 3.0


@pytest.mark.parametrize("times", [1.0, 2.0, 3.0])
def test_outbound_legs_tell_the_course_with_one_to_three_times_its_correction(times: float) -> None:
    """Triple drift, AIM 5-3-8. The wind blows to the right of the outbound course, a tenth of the airspeed."""
    correction = np.degrees(np.arcsin(0.1))
    heading = 180.0 - times * correction
    ground = 100.0 * np.exp(1j * np.radians(heading)) + 10.0 * np.exp(1j * np.radians(270.0))
    leg = OutboundLeg(heading, float(np.degrees(np.angle(ground))), 100.0, float(abs(ground)))
    course = likeliest_course([_inbound(3.0, 20.0), _inbound(-3.0, 20.0)], Outbound((leg, leg)), 1)
    assert abs(float(wrap180(course))) < 4.0


def test_the_course_of_hundreds_of_laps_is_found() -> None:
    """A simulator left to fly in the hold for a day: the likelihoods of all laps are less than the least number."""
    off = np.random.default_rng(0).normal(0.0, 3.0, 1_000)
    inbound = [_inbound(143.0 + each, 60.0) for each in off]
    outbound = Outbound(tuple(_leg(323.0 + each) for each in off), _leg(323.0), 150.0)
    assert likeliest_course(inbound, outbound, 1) == pytest.approx(143.0, abs=1.0)
