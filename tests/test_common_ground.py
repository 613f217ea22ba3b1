"""A stay in a hold ends lap after lap over one inbound leg; loops, eights and circles here and there do not.

The flights are written down by arithmetic (tests/arithmetic_flight.py): what is a lap is known from how they were put
together, not from any number of the analysis.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.arithmetic_flight import HOLD, Piece, fly, path_of, record, straight, turn
from trackgrade.analysis import measure
from trackgrade.segment.visits import find_visits

FIX_S = 120.0


def laps_of(pieces: list[Piece], **more: float) -> int:
    flight = fly([straight(FIX_S), *pieces, straight(120.0)], fix_at_s=FIX_S, **more)  # type: ignore[arg-type]
    return len(find_visits(path_of(flight), HOLD).laps)


def loops(rng: np.random.Generator, either_way: bool) -> list[Piece]:
    """Turns through anything from a quarter to nearly a whole circle, with legs of 5 to 45 s between."""
    pieces = []
    for _ in range(int(rng.integers(6, 14))):
        side = float(rng.choice([-1.0, 1.0])) if either_way else 1.0
        pieces += [turn(side * float(rng.uniform(90, 330))), straight(float(rng.uniform(5, 45)))]
    return pieces


@pytest.mark.parametrize("either_way", [False, True])
def test_loops_about_the_fix_are_no_laps(either_way: bool) -> None:
    """Begun over the fix on the course itself, the hardest case. Now and then one does come back as a lap does."""
    rng = np.random.default_rng(20261127)
    wind = {"wind_kt": 12.0, "wind_from_deg": 300.0}
    found = [laps_of(loops(rng, either_way), **wind) for _ in range(40)]
    assert sum(count > 0 for count in found) <= 2, found


@pytest.mark.parametrize("shift_deg", [-60.0, -40.0, 40.0, 60.0])
def test_racetracks_whose_course_wanders_are_no_laps(shift_deg: float) -> None:
    one = [turn(180.0), straight(40.0), turn(180.0 + shift_deg), straight(25.0)]
    assert laps_of(one * 5) == 0


def test_an_only_lap_counts_within_a_turn_radius_of_the_course_or_along_it() -> None:
    """At 100 kt the radius is 0.53 NM. Straight legs of 60 s, the turn back ended early or late on a cut."""
    lap = [turn(180.0), straight(60.0), turn(180.0), straight(60.0)]
    assert laps_of(lap) == 1
    beside = [turn(180.0), straight(60.0), turn(180.0, 2.0), straight(60.0)]  # a wider turn back: 0.5 NM beyond
    assert laps_of(beside) == 1
    astray = [turn(180.0), straight(60.0), turn(150.0), straight(100.0)]  # on a cut through the course: 0.9 NM off it
    assert laps_of(astray) == 0


def test_laps_over_one_ground_count_beside_the_course() -> None:
    lap = [turn(180.0), straight(60.0), turn(180.0), straight(60.0)]
    aside_m = (1200.0 * float(np.cos(np.radians(220.0))), -1200.0 * float(np.sin(np.radians(220.0))))
    flight = fly([straight(FIX_S), *lap * 3, straight(120.0)], fix_at_s=FIX_S, fix_offset_m=aside_m)
    assert len(find_visits(path_of(flight), HOLD).laps) == 3


@pytest.mark.parametrize(("leg_s", "least"), [(4.0, 5), (0.0, 0)])
def test_a_racetrack_is_longer_than_wide_though_no_leg_shows(leg_s: float, least: int) -> None:
    """A position in 12 s shows no roll-out of 4 s; over some laps their shape does. With no legs they are circles."""
    once = [turn(180.0), straight(leg_s), turn(180.0), straight(leg_s)] if leg_s else [turn(360.0)]
    flight = fly([straight(FIX_S), *once * 8, straight(60.0)], fix_at_s=FIX_S)
    found = measure(record(flight, interval_s=12.0, noise_m=5.0), HOLD).flown
    assert len(found.laps) >= least
    assert least > 0 or found.laps == ()
