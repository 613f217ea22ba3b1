"""When the fix was held at, by the ground track alone: rounds flown by arithmetic, and entries of simulated pilots."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.arithmetic_flight import HOLD, LEFT_HOLD, START_S, Piece, fly, laps, path_of, straight, turn
from tests.simulated.compare import as_track
from tests.simulated.test_physics import hold as simulated_hold
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Hold
from trackgrade.motion.motion import through_air, trace
from trackgrade.segment.path import flight_path
from trackgrade.segment.stays import stays
from trackgrade.simulator import fly as simulate
from trackgrade.simulator.scenarios import CLEAN
from trackgrade.track.cleaning import clean

FIX_S, LEG_S = 120.0, 60.0
LAP_S = 2 * (LEG_S + 60.0 + 4.0)  # two legs, two half circles at 3 deg/s with their rolls


def found(pieces: list[Piece], hold: Hold = HOLD, **more: float) -> list[tuple[float, float]]:
    """Stays [s since the fix was first passed]."""
    path = path_of(fly(pieces, fix_at_s=FIX_S, **more), hold)  # type: ignore[arg-type]
    return [(start - START_S - FIX_S, end - START_S - FIX_S) for start, end in stays(path, LEG_S)]


@pytest.mark.parametrize(("hold", "side"), [(HOLD, 1), (LEFT_HOLD, -1)])
def test_a_stay_lasts_from_the_first_passage_of_the_fix_to_the_last(hold: Hold, side: int) -> None:
    (stay,) = found([straight(FIX_S), *laps(3, side=side), straight(200.0)], hold)
    assert stay == pytest.approx((0.0, 3 * LAP_S), abs=1.0)


def test_the_wind_that_blows_the_rounds_apart_need_not_be_known() -> None:
    (stay,) = found([straight(FIX_S), *laps(3), straight(200.0)], wind_from_deg=300.0, wind_kt=8.0)
    assert stay == pytest.approx((0.0, 3 * LAP_S), abs=30.0)


def test_stays_with_an_hour_elsewhere_between_them_are_two() -> None:
    away = [straight(1800.0), turn(180.0), straight(1800.0), turn(180.0)]
    both = found([straight(FIX_S), *laps(2), *away, *laps(2), straight(200.0)])
    assert len(both) == 2
    assert both[0] == pytest.approx((0.0, 2 * LAP_S), abs=1.0)
    assert both[1][1] - both[1][0] >= 2 * LAP_S - 1.0


@pytest.mark.parametrize("pieces", [[straight(600.0)], [straight(FIX_S), turn(180.0), straight(600.0)]])
def test_who_passes_or_turns_back_and_leaves_does_not_stay(pieces: list[Piece]) -> None:
    assert found(pieces) == []


def test_a_hold_on_the_reciprocal_course_is_a_stay_too() -> None:
    course = (HOLD.inbound_course_true_deg + 180.0) % 360.0
    (stay,) = found([straight(FIX_S), *laps(4), straight(300.0)], replace(HOLD, inbound_course_true_deg=course))
    assert stay[0] < LAP_S
    assert stay[1] > 3 * LAP_S


@pytest.mark.parametrize("entry", ["direct", "teardrop", "parallel"])
def test_the_entry_belongs_to_the_stay(entry: str) -> None:
    flight = simulate(simulated_hold(), replace(CLEAN, laps=3, entry=entry), 5)
    truth = flight.truth.visits[0]
    frame = HoldFrame(flight.hold)
    motion = trace(clean(as_track(flight)), frame.plane)
    path = flight_path(motion, through_air(motion, motion.grid_s, None), None, (), frame)
    (stay,) = stays(path, LEG_S)
    assert stay == pytest.approx((truth.entry.arrival, truth.laps[-1].end), abs=2.0)
