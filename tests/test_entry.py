"""Entries flown by arithmetic, each in its shape: what AIM 5-3-8 and ICAO Doc 8168 describe must be what is read."""

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
    straight,
    to_the_fix,
    turn,
    turn_to,
)
from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.hold.hold import Hold
from trackgrade.segment.flown import Entry, Flown
from trackgrade.segment.visits import find_visits

FIX_S = 120.0
OUTBOUND_DEG = 40.0  # reciprocal of the course of 220
HOLDS = pytest.mark.parametrize("hold", [HOLD, LEFT_HOLD], ids=["right", "left"])


def arriving(hold: Hold, d_deg: float) -> float:
    """Heading at the fix from which the outbound course is ``d_deg`` to the holding side's turn (AIM's sectors)."""
    return OUTBOUND_DEG - hold.side * d_deg


def teardrop(hold: Hold, heading_deg: float, seconds: float = 60.0) -> tuple[list[Piece], float, int]:
    """Out on 30 degrees into the holding side for a minute; then a turn in the hold's direction."""
    away = OUTBOUND_DEG - hold.side * 30.0
    return [straight(FIX_S), *turn_to(heading_deg, away), straight(seconds)], away, hold.side


def parallel(hold: Hold, heading_deg: float, seconds: float = 80.0) -> tuple[list[Piece], float, int]:
    """Along the course outbound; then a turn toward the holding side."""
    return [straight(FIX_S), *turn_to(heading_deg, OUTBOUND_DEG), straight(seconds)], OUTBOUND_DEG, -hold.side


def direct(hold: Hold, heading_deg: float) -> tuple[list[Piece], float, int]:
    """Round in the hold's direction to the outbound heading, a minute, and on round."""
    return [straight(FIX_S), *turn_to(heading_deg, OUTBOUND_DEG, hold.side), straight(60.0)], OUTBOUND_DEG, hold.side


def flight_of(
    entry: tuple[list[Piece], float, int], hold: Hold, heading_deg: float, laps_flown: int = 2, turned_deg: float = 0.0
) -> Flight:
    """The entry brought to the fix on the inbound course, and laps after it; turned about the fix as a whole."""
    pieces = to_the_fix(*entry, hold, heading_deg=heading_deg, fix_at_s=FIX_S)
    whole = [*pieces, *laps(laps_flown, side=hold.side), straight(30.0)]
    return fly(whole, heading_deg=heading_deg + turned_deg, fix_at_s=FIX_S)


def flown(entry: tuple[list[Piece], float, int], hold: Hold, heading_deg: float) -> tuple[Flown, Entry]:
    found = find_visits(path_of(flight_of(entry, hold, heading_deg), hold), hold)
    assert len(found.visits) == 1
    return found, found.visits[0].entry


# --- The three, in their own sectors --------------------------------------------------------------------------------


@HOLDS
@pytest.mark.parametrize("d", [180.0, 150.0, 120.0, -150.0, -120.0])
def test_direct(hold: Hold, d: float) -> None:
    """From the direct sector: round in the hold's direction to the outbound heading, first lap."""
    heading = arriving(hold, d)
    found, entry = flown(direct(hold, heading), hold, heading)
    assert len(found.laps) == 3
    assert entry.kind == "direct"
    assert entry.expected == ("direct",)
    assert entry.start is not None
    assert entry.start.epoch_s - START_S - FIX_S == pytest.approx(0.0, abs=0.5)
    assert entry.end == entry.start, "the arrival itself opens the first lap"
    assert wrap180(entry.arrival_heading_true_deg - heading) == pytest.approx(0.0, abs=0.5)
    assert not entry.turned_wrong_way


@HOLDS
@pytest.mark.parametrize("d", [20.0, 40.0, 60.0])
def test_teardrop(hold: Hold, d: float) -> None:
    heading = arriving(hold, d)
    found, entry = flown(teardrop(hold, heading), hold, heading)
    assert entry.kind == "teardrop"
    assert entry.expected == ("teardrop",)
    assert len(found.laps) == 2
    assert entry.end == found.laps[0].start
    assert entry.outbound_track_true_deg is not None
    assert wrap180(entry.outbound_track_true_deg - (OUTBOUND_DEG - hold.side * 30.0)) == pytest.approx(0.0, abs=1.0)
    assert entry.outbound_start is not None
    assert entry.outbound_end is not None
    if abs(d - 30.0) >= 15.0:  # else the turn at the fix is too small to be a turn
        # From a quarter of the roll (of 4 s) before the end of the turn to a quarter after the start of the next.
        seconds = entry.outbound_end.epoch_s - entry.outbound_start.epoch_s
        assert seconds == pytest.approx(60.0 + 2.0, abs=0.3)
    assert not entry.turned_wrong_way
    assert entry.remarks == ()


@HOLDS
@pytest.mark.parametrize("d", [-20.0, -50.0, -80.0, -100.0])
def test_parallel(hold: Hold, d: float) -> None:
    heading = arriving(hold, d)
    found, entry = flown(parallel(hold, heading), hold, heading)
    assert entry.kind == "parallel"
    assert entry.expected == ("parallel",)
    assert len(found.laps) == 2
    assert entry.end == found.laps[0].start
    assert wrap180(entry.outbound_track_true_deg - OUTBOUND_DEG) == pytest.approx(0.0, abs=1.0)
    assert not entry.turned_wrong_way


@HOLDS
@pytest.mark.parametrize(("d", "second"), [(3.0, "parallel"), (-3.0, "teardrop"), (67.0, "direct"), (-107.0, "direct")])
def test_within_five_degrees_of_a_boundary_either_neighbour_is_expected(hold: Hold, d: float, second: str) -> None:
    """AIM 5-3-8 and ICAO Doc 8168: within 5 degrees of the boundary."""
    heading = arriving(hold, d)
    _, entry = flown(teardrop(hold, heading) if d > 0 else parallel(hold, heading), hold, heading)
    assert entry.kind == ("teardrop" if d > 0 else "parallel")
    assert set(entry.expected) == {entry.kind, second}
    assert entry.expected[0] == entry.kind
    assert entry.margin_deg == pytest.approx(3.0, abs=0.3)


@HOLDS
def test_a_teardrop_flown_where_a_parallel_was_asked_is_a_teardrop(hold: Hold) -> None:
    """A legal, flyable choice: what was flown and what was expected are told apart."""
    heading = arriving(hold, -40.0)
    _, entry = flown(teardrop(hold, heading), hold, heading)
    assert entry.kind == "teardrop"
    assert entry.expected == ("parallel",)


@HOLDS
def test_a_parallel_flown_where_a_teardrop_was_asked_is_a_parallel(hold: Hold) -> None:
    heading = arriving(hold, 40.0)
    _, entry = flown(parallel(hold, heading), hold, heading)
    assert entry.kind == "parallel"
    assert entry.expected == ("teardrop",)


# --- What is told of it ---------------------------------------------------------------------------------------------


@HOLDS
def test_the_largest_offset_and_the_other_side_are_those_of_the_path(hold: Hold) -> None:
    heading = arriving(hold, -50.0)
    flight = flight_of(parallel(hold, heading), hold, heading)
    entry = find_visits(path_of(flight, hold), hold).visits[0].entry
    assert entry.start is not None
    assert entry.end is not None
    t = np.arange(entry.start.epoch_s - START_S, entry.end.epoch_s - START_S, 0.1)
    _, cross = in_frame(flight, hold, t)
    assert entry.max_offset_nm == pytest.approx(np.max(np.abs(cross)), abs=0.005)
    assert entry.non_holding_side_nm == pytest.approx(max(0.0, -np.min(cross)), abs=0.005)
    assert entry.non_holding_side_nm is not None
    assert entry.non_holding_side_nm > 0.1


@HOLDS
def test_a_parallel_turned_back_away_from_the_holding_side_went_the_wrong_way(hold: Hold) -> None:
    heading = arriving(hold, -50.0)
    pieces, outbound_deg, back = parallel(hold, heading)
    _, entry = flown((pieces, outbound_deg, -back), hold, heading)
    assert entry.kind == "parallel"
    assert entry.turned_wrong_way
    assert "away from the holding side" in entry.remarks[0]


@HOLDS
def test_a_teardrop_where_a_direct_entry_is_asked_for_is_told_by_its_turn_or_left_open(hold: Hold) -> None:
    """Turned the short way, against the hold, it can be no direct entry. Turned the hold's way only the heading of its
    leg tells it from one."""
    heading = arriving(hold, -125.0)
    _, entry = flown(teardrop(hold, heading), hold, heading)
    assert (entry.kind, entry.expected, entry.turned_wrong_way) == ("teardrop", ("direct",), False)
    heading = arriving(hold, 150.0)
    _, entry = flown(teardrop(hold, heading), hold, heading)
    assert entry.kind in ("teardrop", "unclear")
    assert set(entry.possible) <= {"teardrop", "direct"}


@HOLDS
def test_a_teardrop_turned_back_against_the_hold_went_the_wrong_way(hold: Hold) -> None:
    heading = arriving(hold, 30.0)
    pieces, away_deg, back = teardrop(hold, heading, 110.0)
    _, entry = flown((pieces, away_deg, -back), hold, heading)
    assert entry.kind == "teardrop"
    assert entry.turned_wrong_way
    assert "against the direction of the hold" in entry.remarks[0]


def test_a_record_that_begins_in_the_hold_has_no_entry_to_tell() -> None:
    flight = fly([straight(10.0), *laps(2), straight(30.0)], fix_at_s=10.0)
    (visit,) = find_visits(path_of(flight), HOLD).visits
    assert visit.entry.kind == "unclear"
    assert visit.entry.remarks == ("the record begins in the hold",)
    assert len(visit.laps) == 2


def test_round_from_a_downwind_outside_the_pattern_is_a_direct_entry() -> None:
    """2.8 NM aside of the course outbound, and round: the record does not begin in the hold."""
    round_it = [straight(60.0), turn(90.0), straight(60.0), turn(90.0), straight(40.0)]
    flight = fly([*round_it, *laps(2), straight(30.0)], heading_deg=OUTBOUND_DEG, fix_at_s=228.0)
    (visit,) = find_visits(path_of(flight), HOLD).visits
    assert visit.entry.kind == "direct"
    assert len(visit.laps) == 2


@HOLDS
@pytest.mark.parametrize("lead_in_s", [25.0, 45.0])
def test_an_entry_whose_record_begins_shortly_before_the_fix_is_still_that_entry(hold: Hold, lead_in_s: float) -> None:
    for shape, d in ((teardrop, 40.0), (parallel, -50.0)):
        heading = arriving(hold, d)
        path = path_of(flight_of(shape(hold, heading), hold, heading), hold)
        first = int(FIX_S - lead_in_s)
        short = replace(
            path,
            **{
                name: getattr(path, name)[first:] for name, value in vars(path).items() if isinstance(value, np.ndarray)
            },
        )
        assert find_visits(short, hold).visits[0].entry.kind == shape.__name__


@HOLDS
@pytest.mark.parametrize("turn_deg", [0.0, 137.0])
def test_turned_about_the_fix_the_entry_is_the_same(hold: Hold, turn_deg: float) -> None:
    heading = arriving(hold, 40.0)
    flight = flight_of(teardrop(hold, heading), hold, heading, turned_deg=turn_deg)
    turned = replace(hold, inbound_course_true_deg=float(wrap360(220.0 + turn_deg)))
    entry = find_visits(path_of(flight, turned), turned).visits[0].entry
    assert entry.kind == "teardrop"
    assert entry.expected == ("teardrop",)
    assert entry.margin_deg == pytest.approx(30.0, abs=0.3)


# --- What cannot be told, and what must not be said -----------------------------------------------------------------


@HOLDS
@pytest.mark.parametrize("d", [75.0, 90.0, 105.0])
def test_a_direct_entry_from_across_with_hardly_any_outbound_leg_is_direct(hold: Hold, d: float) -> None:
    """Turned at once and soon on round: a teardrop's leg points elsewhere, and lasts longer."""
    heading = arriving(hold, d)
    pieces = [straight(FIX_S), *turn_to(heading, OUTBOUND_DEG, hold.side), straight(25.0)]
    _, entry = flown((pieces, OUTBOUND_DEG, hold.side), hold, heading)
    assert entry.kind == "direct"


@HOLDS
def test_a_teardrop_flown_short_is_a_teardrop(hold: Hold) -> None:
    heading = arriving(hold, 30.0)
    _, entry = flown(teardrop(hold, heading, 42.0), hold, heading)
    assert entry.kind == "teardrop"


@HOLDS
def test_a_leg_that_fits_two_procedures_is_left_open_between_them(hold: Hold) -> None:
    """On the boundary, 16 degrees into the holding side: half-way between the two."""
    heading = arriving(hold, 70.0)
    away = OUTBOUND_DEG - hold.side * 16.0
    pieces = [straight(FIX_S), *turn_to(heading, away), straight(50.0)]
    _, entry = flown((pieces, away, hold.side), hold, heading)
    assert entry.kind == "unclear"
    assert set(entry.possible) == {"direct", "teardrop"}
    assert "the path fits both" in entry.remarks[0]


@HOLDS
def test_where_the_heading_is_known_badly_both_neighbours_are_right(hold: Hold) -> None:
    heading = arriving(hold, 60.0)
    path = path_of(flight_of(teardrop(hold, heading), hold, heading), hold)
    sure = find_visits(path, hold).visits[0].entry
    unsure = find_visits(replace(path, heading_sd_deg=4.0), hold).visits[0].entry
    assert sure.expected == ("teardrop",)
    assert unsure.expected == ("teardrop", "direct")
