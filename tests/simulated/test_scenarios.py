"""Each named flight: one thing wrong, seen in the noise-free motion, and all else clean."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.simulated.test_physics import hold
from trackgrade.simulator import fly
from trackgrade.simulator.atmosphere import cas_kt
from trackgrade.simulator.flight import SimulatedFlight
from trackgrade.simulator.scenario import Mistakes
from trackgrade.simulator.scenarios import CLEAN, FLIGHTS, MISTAKES, OTHERS, named, names
from trackgrade.simulator.truth import TrueLap, expected_entries

SEED = 5


@cache
def flown(name: str, seed: int = SEED) -> SimulatedFlight:
    return fly(hold(), named(name), seed)


def lap(flight: SimulatedFlight, number: int) -> TrueLap:
    return next(each for each in flight.truth.laps if each.number == number)


def during(flight: SimulatedFlight, start: float | None, end: float | None) -> np.ndarray:
    assert start is not None
    assert end is not None
    t = flight.motion.t_s + flight.scenario.start_epoch_s
    return (t >= start) & (t <= end)


def cross(flight: SimulatedFlight) -> np.ndarray:
    """Toward the holding side of the hold as published [NM]."""
    course = np.radians(flight.hold.inbound_course_true_deg)
    return flight.motion.east_nm * np.cos(course) - flight.motion.north_nm * np.sin(course)


def steady_rate(flight: SimulatedFlight, each: TrueLap) -> float:
    """Median rate in the middle of the turn at the fix [deg/s]."""
    turn = during(flight, (each.outbound_turn_start or 0) + 6.0, (each.outbound_turn_end or 0) - 6.0)
    return float(np.median(np.abs(np.degrees(flight.motion.rate_rad_s[turn]))))


def ias(flight: SimulatedFlight, where: np.ndarray) -> np.ndarray:
    return np.array(
        [cas_kt(v, h) for v, h in zip(flight.motion.tas_kt[where][::20], flight.motion.alt_ft[where][::20])]
    )


def _drift_side(flight: SimulatedFlight) -> float:
    """Outbound heading against the reciprocal of the course on lap 3, upwind positive [deg]."""
    each = lap(flight, 3)
    leg = during(flight, (each.outbound_turn_end or 0) + 5.0, (each.outbound_end or 0) - 2.0)
    heading = float(np.degrees(np.median(flight.motion.heading_rad[leg])))
    off = (heading - 323.0 + 180.0) % 360.0 - 180.0
    wind_from = (215.0 - 323.0 + 180.0) % 360.0 - 180.0
    return off * float(np.sign(wind_from))


def _loss_in_turn(flight: SimulatedFlight) -> float:
    """Height lost in the turn at the fix of lap 2 against the leg before it [ft]."""
    each = lap(flight, 2)
    turn = during(flight, each.outbound_turn_start, each.outbound_turn_end)
    leg = during(flight, each.start - 20.0, each.start)
    return float(np.mean(flight.motion.alt_ft[leg]) - np.min(flight.motion.alt_ft[turn]))


def _turn_delay(flight: SimulatedFlight) -> float:
    each = lap(flight, 2)
    return (each.outbound_turn_start or 0.0) - each.start


def _watch_scatter(flight: SimulatedFlight) -> float:
    """Spread of the watch's start against abeam [s]."""
    return float(np.ptp([(each.watch_started or 0) - (each.abeam or 0) for each in flight.truth.laps]))


def _swing(flight: SimulatedFlight) -> float:
    """Spread of the bank in the middle of a turn [deg]."""
    each = lap(flight, 2)
    turn = during(flight, (each.outbound_turn_start or 0) + 6.0, (each.outbound_turn_end or 0) - 6.0)
    return float(np.ptp(np.degrees(np.abs(flight.motion.bank_rad[turn]))))


def _least_cross(flight: SimulatedFlight, number: int) -> float:
    each = lap(flight, number)
    return float(np.min(cross(flight)[during(flight, each.start, each.end)]))


def _inbound(flight: SimulatedFlight, number: int) -> float:
    return lap(flight, number).inbound_s or 0.0


def _at_rollout(flight: SimulatedFlight, number: int) -> float:
    """Cross where the turn back ends [NM]."""
    t = (lap(flight, number).inbound_turn_end or 0.0) - flight.scenario.start_epoch_s
    return float(np.interp(t, flight.motion.t_s, cross(flight)))


def _speed_before_the_fix(flight: SimulatedFlight) -> float:
    arrival = flight.truth.visits[0].entry.arrival
    return float(np.mean(flight.motion.tas_kt[during(flight, arrival - 30.0, arrival)]))


def _entry(flight: SimulatedFlight) -> tuple[str, tuple[str, ...]]:
    entry = flight.truth.visits[0].entry
    return entry.flown, entry.expected


#: What shows each mistake: its measure, the least and most of it when flown, the most and least when not (clean).
SEEN: dict[str, tuple[Callable[[SimulatedFlight], float], tuple[float, float], tuple[float, float]]] = {
    "no drift correction": (_drift_side, (-2.0, 2.0), (12.0, 40.0)),
    "half a drift correction": (_drift_side, (5.0, 16.0), (17.0, 40.0)),
    "reversed drift correction": (_drift_side, (-40.0, -8.0), (12.0, 40.0)),
    "outbound time not corrected": (lambda f: _inbound(f, 4), (75.0, 120.0), (52.0, 70.0)),
    "outbound time corrected the wrong way": (lambda f: _inbound(f, 4), (75.0, 200.0), (52.0, 70.0)),
    "watch started here and there": (_watch_scatter, (5.0, 30.0), (0.0, 4.5)),
    "watch started at random": (_watch_scatter, (5.0, 40.0), (0.0, 4.5)),
    "outbound too short": (lambda f: lap(f, 2).outbound_s or 0, (15.0, 38.0), (45.0, 62.0)),
    "outbound too long": (lambda f: lap(f, 2).outbound_s or 0, (70.0, 110.0), (45.0, 62.0)),
    "turns too shallow": (lambda f: steady_rate(f, lap(f, 2)), (1.6, 2.1), (2.8, 3.2)),
    "turns too steep": (lambda f: steady_rate(f, lap(f, 2)), (4.1, 4.9), (2.8, 3.2)),
    "turn rate uneven": (_swing, (12.0, 20.0), (0.0, 4.0)),
    "course overshot": (lambda f: -_least_cross(f, 2), (0.15, 0.6), (-0.1, 0.09)),
    "course undershot": (lambda f: _at_rollout(f, 2), (0.2, 0.7), (-0.1, 0.12)),
    "course not captured": (lambda f: lap(f, 2).fix_missed_nm or 0, (0.76, 1.2), (0.0, 0.08)),
    "off course inbound": (lambda f: lap(f, 3).max_cross_track_nm or 0, (0.8, 1.1), (0.0, 0.12)),
    "weaves inbound": (lambda f: lap(f, 2).max_cross_track_nm or 0, (0.05, 0.25), (0.0, 0.1)),
    "late at the fix": (_turn_delay, (11.0, 16.0), (0.0, 4.0)),
    "altitude lost in turns": (_loss_in_turn, (110.0, 250.0), (-40.0, 60.0)),
    "altitude off": (lambda f: float(np.mean(f.motion.alt_ft)) - 4000.0, (140.0, 180.0), (-20.0, 20.0)),
    "level missed": (lambda f: 3000.0 - float(f.motion.alt_ft[-1]), (200.0, 300.0), (-1100.0, -900.0)),
    "holding speed limit": (lambda f: float(np.mean(ias(f, f.motion.t_s > 0))), (203.0, 216.0), (85.0, 105.0)),
    "not slowed before the fix": (
        _speed_before_the_fix, (125.0, 135.0), (95.0, 105.0),
    ),
    "airspeed wanders": (lambda f: float(np.ptp(f.motion.tas_kt)), (20.0, 80.0), (0.0, 10.0)),
    "non-holding side": (lambda f: -_least_cross(f, 2), (0.4, 2.0), (-0.1, 0.09)),
    "fix missed": (lambda f: lap(f, 3).fix_missed_nm or 0, (1.3, 1.7), (0.0, 0.08)),
    "orbit inserted": (lambda f: (lap(f, 2).end or 0) - lap(f, 2).start, (330.0, 480.0), (225.0, 275.0)),
}  # fmt: skip
SEEN_OTHERWISE = {
    "reciprocal course", "wrong side", "wrong entry parallel", "wrong entry direct", "wrong entry teardrop",
    "entry turned the wrong way", "lap cut short",
}  # fmt: skip


def test_every_mistake_has_a_check_here() -> None:
    assert set(MISTAKES) == set(SEEN) | SEEN_OTHERWISE
    assert len(MISTAKES) >= 20


@pytest.mark.parametrize("name", SEEN)
def test_the_mistake_is_flown_and_a_clean_flight_does_not_show_it(name: str) -> None:
    measure, wrong, right = SEEN[name]
    assert wrong[0] <= measure(flown(name)) <= wrong[1]
    assert right[0] <= measure(flown("clean")) <= right[1]


@pytest.mark.parametrize("seed", [1, 2, 3, 5])
def test_a_clean_flight_is_well_inside_the_tolerances(seed: int) -> None:
    # Altitude 100 ft, airspeed 10 kt, heading 10 deg, three quarters of full scale: FAA-S-ACS-8C, III.B.S4.
    flight = flown("clean", seed)
    assert np.max(np.abs(flight.motion.alt_ft - 4000.0)) < 60.0
    assert np.max(np.abs(flight.motion.tas_kt - 100.0)) < 6.0
    for each in flight.truth.laps:
        assert each.max_cross_track_nm is not None
        assert each.max_cross_track_nm < 0.25
        assert each.inbound_s == pytest.approx(60.0, abs=12.0)
        leg = during(flight, (each.outbound_turn_end or 0) + 8.0, (each.outbound_end or 0) - 2.0)
        assert np.ptp(np.degrees(flight.motion.heading_rad[leg])) < 8.0


@pytest.mark.parametrize("name", ["altitude off", "late at the fix", "turns too steep", "weaves inbound"])
def test_all_else_is_clean(name: str) -> None:
    flight = flown(name)
    if name != "altitude off":
        assert np.max(np.abs(flight.motion.alt_ft - 4000.0)) < 60.0
    assert np.max(np.abs(flight.motion.tas_kt - 100.0)) < 6.0
    for each in flight.truth.laps:
        assert (each.max_cross_track_nm or 0) < 0.25
        assert each.inbound_s == pytest.approx(60.0, abs=20.0)


def test_whole_patterns_flown_wrong_are_told() -> None:
    assert flown("reciprocal course").truth.visits[0].pattern == "reciprocal"
    assert flown("wrong side").truth.visits[0].pattern == "wrong side"
    # Seen in the motion: on the wrong side cross is negative; on the reciprocal, inbound legs go the other way.
    wrong = flown("wrong side")
    first, last = wrong.truth.laps[0], wrong.truth.laps[-1]
    assert np.mean(cross(wrong)[during(wrong, first.start, last.end)]) < -0.3
    back = flown("reciprocal course")
    leg = during(back, back.truth.laps[1].inbound_start, back.truth.laps[1].end)
    track = np.arctan2(np.diff(back.motion.east_nm[leg]), np.diff(back.motion.north_nm[leg]))
    assert abs((np.degrees(np.median(track)) - 323.0 + 180.0) % 360.0 - 180.0) < 5.0


@pytest.mark.parametrize(
    ("name", "entry"),
    [("wrong entry parallel", "parallel"), ("wrong entry direct", "direct"), ("wrong entry teardrop", "teardrop")],
)
def test_wrong_entries_are_flown_in_another_sector(name: str, entry: str) -> None:
    kind, expected = _entry(flown(name))
    assert kind == entry
    assert entry not in expected
    assert len(expected) == 1  # well inside it


def test_an_entry_turned_the_wrong_way_stays_on_the_other_side() -> None:
    flight = flown("entry turned the wrong way")
    entry = flight.truth.visits[0].entry
    assert entry.turned_wrong_way
    assert np.max(cross(flight)[during(flight, entry.arrival + 30.0, entry.end)]) < 0.25
    right = fly(hold(), named("clean").__class__(name="p", entry="parallel"), SEED)
    other = right.truth.visits[0].entry
    assert np.max(cross(right)[during(right, other.arrival + 30.0, other.end)]) > 0.4


def test_a_lap_cut_short_is_incomplete() -> None:
    visit = flown("lap cut short").truth.visits[0]
    assert [each.number for each in visit.laps] == [1, 2]
    assert [each.number for each in visit.incomplete_laps] == [3]
    assert visit.incomplete_laps[0].end is None


def test_entry_sectors_are_those_of_the_aim() -> None:
    # AIM 5-3-8, the 70 degree line. Inbound 360, right turns: arriving 360 direct, 160 teardrop, 230 parallel.
    assert expected_entries(0.0) == ("direct",)
    assert expected_entries(160.0) == ("teardrop",)
    assert expected_entries(230.0) == ("parallel",)
    assert set(expected_entries(110.0)) == {"teardrop", "direct"}
    assert set(expected_entries(182.0)) == {"parallel", "teardrop"}
    assert set(expected_entries(292.0)) == {"direct", "parallel"}


def test_every_named_flight_flies() -> None:
    assert names() == tuple(FLIGHTS)
    assert len(FLIGHTS) == len(MISTAKES) + len(OTHERS)
    for name in ("windy", "sloppy", "missed approach"):
        assert len(flown(name).truth.laps) == 4


def test_levels_are_flown_and_told() -> None:
    stack = flown("stack")
    assert [each.altitude_ft for each in stack.truth.levels] == [4000.0, 3000.0, 2000.0, 1000.0]
    for level, left in zip(stack.truth.levels, [*(each.left for each in stack.truth.levels[1:]), np.inf]):
        held = during(stack, level.reached, min(left, stack.truth.laps[-1].end or left))
        assert np.max(np.abs(stack.motion.alt_ft[held] - level.altitude_ft)) < 60.0
    climb = flown("missed approach")
    assert climb.motion.alt_ft[0] == pytest.approx(2000.0, abs=60.0)
    assert climb.truth.levels[-1].altitude_ft == 4000.0
    assert climb.truth.levels[-1].left == pytest.approx(climb.truth.visits[0].entry.arrival, abs=2.0)


def test_levels_of_the_hold_are_flown_at_their_times() -> None:
    at = CLEAN.start_epoch_s + 400.0
    told = fly(replace(hold(), levels=((at, 5000.0),)), CLEAN, SEED)
    assert at < told.truth.levels[1].left < at + 30.0
    assert told.motion.alt_ft[-1] == pytest.approx(5000.0, abs=60.0)
    not_flown = replace(CLEAN, mistakes=Mistakes(level_not_flown=True))
    stays = fly(replace(hold(), levels=((at, 5000.0),)), not_flown, SEED)
    assert stays.motion.alt_ft[-1] == pytest.approx(4000.0, abs=60.0)
