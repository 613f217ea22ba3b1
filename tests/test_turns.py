"""Turns of a flight known by arithmetic: where the heading rate passes the threshold, how fast, how far, which bank."""

from __future__ import annotations

import numpy as np
import pytest

from tests.arithmetic_flight import HOLD, START_S, Flight, Piece, fly, keep, laps, record, straight, turn
from trackgrade.earth.geodesy import LocalPlane
from trackgrade.earth.turning import bank_for_rate_deg
from trackgrade.motion.motion import through_air, trace
from trackgrade.motion.samples import Turn
from trackgrade.motion.turns import find_turns, in_epoch_time, threshold_deg_s
from trackgrade.motion.wind import WindFit
from trackgrade.track.cleaning import clean
from trackgrade.track.track import Track

#: Without noise an edge is as good as the model of the roll: a fifth of a second at 1 Hz.
EDGE_S = 0.2
M_S_PER_KT = 1852.0 / 3600.0


def turns_of(track: Track, wind_m_s: tuple[float, float] = (0.0, 0.0), *, refine: bool = True) -> tuple[Turn, ...]:
    motion = trace(clean(track), LocalPlane(HOLD.fix_lat_deg, HOLD.fix_lon_deg))
    wind = WindFit(0.0, np.array(wind_m_s), np.zeros(2), 50.0, np.eye(3), 0.0, 1e6) if any(wind_m_s) else None
    air = through_air(motion, motion.grid_s, wind)
    return in_epoch_time(find_turns(motion, air, wind, refine=refine), motion.start_epoch_s)


def assert_alike(found: tuple[Turn, ...], flight: Flight, edge_s: float = EDGE_S, rate_deg_s: float = 0.1) -> None:
    assert len(found) == len(flight.turns)
    for mine, true in zip(found, flight.turns, strict=True):
        assert mine.start_epoch_s == pytest.approx(true.start_epoch_s, abs=edge_s)
        assert mine.end_epoch_s == pytest.approx(true.end_epoch_s, abs=edge_s)
        assert mine.rate_deg_s == pytest.approx(true.rate_deg_s, abs=rate_deg_s)
        # Summed over whole seconds: up to half a second at each end is left out.
        assert mine.change_deg == pytest.approx(true.change_deg, abs=4.0)
        assert mine.threshold_deg_s == pytest.approx(true.threshold_deg_s, abs=rate_deg_s / 4)


# --- The definition -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("steady", "bound"), [(3.0, 0.75), (-3.0, 0.75), (6.0, 0.75), (1.5, 0.375), (-1.0, 0.25), (2.62, 0.655)]
)
def test_the_threshold_is_a_quarter_of_standard_rate_or_of_the_turns_own_if_less(steady: float, bound: float) -> None:
    assert threshold_deg_s(steady) == pytest.approx(bound)


@pytest.mark.parametrize("roll_s", [2.0, 4.0, 6.0])
@pytest.mark.parametrize("change", [180.0, -180.0, 90.0, -30.0])
def test_a_ramped_turn_begins_and_ends_where_its_rate_passes_the_threshold(roll_s: float, change: float) -> None:
    flight = fly([straight(60.0), turn(change), straight(60.0)], roll_s=roll_s)
    # By hand: at 3 deg/s and a roll of r s the rate passes 0.75 deg/s a quarter of the roll after it began.
    seconds = abs(change) / 3.0 + roll_s
    assert flight.turns[0].start_epoch_s == pytest.approx(START_S + 60.0 + roll_s / 4)
    assert flight.turns[0].end_epoch_s == pytest.approx(START_S + 60.0 + seconds - roll_s / 4)
    # A short turn is hardly ever at its steady rate.
    rate_deg_s = 0.1 if abs(change) > 60.0 else 0.2
    edge_s = EDGE_S if roll_s >= 4.0 and abs(change) > 60.0 else 2 * EDGE_S
    assert_alike(turns_of(record(flight)), flight, edge_s, rate_deg_s)


@pytest.mark.parametrize(("tas_kt", "rate"), [(70.0, 5.0), (120.0, 3.0), (200.0, 2.2), (280.0, 1.5)])
def test_slow_and_fast_aircraft(tas_kt: float, rate: float) -> None:
    flight = fly([straight(60.0), turn(180.0, rate), straight(60.0), turn(-180.0, rate), straight(60.0)], tas_kt=tas_kt)
    assert_alike(turns_of(record(flight)), flight, edge_s=2 * EDGE_S)


def test_the_turn_of_the_heading_counts_not_that_of_the_ground_track() -> None:
    """30 kt from the side: the ground track's rate differs by a third, the turns do not."""
    flight = fly([straight(60.0), *laps(2), straight(30.0)], wind_from_deg=310.0, wind_kt=30.0)
    blowing = np.radians(310.0 + 180.0)
    wind = tuple(30.0 * M_S_PER_KT * np.array([np.sin(blowing), np.cos(blowing)]))
    assert_alike(turns_of(record(flight), wind), flight)


@pytest.mark.parametrize("interval_s", [0.2, 0.5, 1.0, 2.0])
def test_the_sampling_does_not_move_a_turn(interval_s: float) -> None:
    flight = fly([straight(60.0), *laps(1), straight(30.0)])
    assert_alike(turns_of(record(flight, interval_s=interval_s)), flight, edge_s=2 * EDGE_S)


def test_five_seconds_between_positions_leave_a_second() -> None:
    flight = fly([straight(60.0), *laps(1), straight(30.0)])
    assert_alike(turns_of(record(flight, interval_s=5.0)), flight, edge_s=1.5, rate_deg_s=0.3)


# --- What is a turn -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "pieces",
    [
        [straight(300.0)],
        [straight(60.0), turn(8.0, 1.2), straight(60.0), turn(-8.0, 1.2), straight(60.0)],  # corrections
        [straight(60.0), turn(60.0, 0.3), straight(60.0)],  # too gentle: drifting round
    ],
)
def test_corrections_of_heading_and_drifting_round_are_no_turns(pieces: list[Piece]) -> None:
    assert turns_of(record(fly(pieces), noise_m=1.0)) == ()


def test_two_turns_with_a_pause_are_two_and_a_wobble_is_none() -> None:
    flight = fly([straight(60.0), turn(90.0), straight(10.0), turn(90.0), straight(60.0)])
    assert_alike(turns_of(record(flight)), flight, edge_s=2 * EDGE_S)
    opposed = fly([straight(60.0), turn(90.0), turn(-90.0), straight(60.0)])
    found = turns_of(record(opposed))
    assert [np.sign(each.change_deg) for each in found] == [1.0, -1.0]


def test_a_record_may_begin_and_end_in_a_turn() -> None:
    flight = fly([straight(5.0), turn(180.0), straight(60.0), turn(180.0), straight(5.0)])
    track = record(flight)
    t = track.epoch_s - track.epoch_s[0]
    found = turns_of(keep(track, (t > 30.0) & (t < 160.0)))
    assert len(found) == 2
    assert found[0].end_epoch_s == pytest.approx(flight.turns[0].end_epoch_s, abs=2 * EDGE_S)
    assert found[1].start_epoch_s == pytest.approx(flight.turns[1].start_epoch_s, abs=2 * EDGE_S)
    assert found[0].start_epoch_s >= track.epoch_s[30]
    assert found[1].end_epoch_s <= track.epoch_s[160]


def test_turns_are_in_order_and_do_not_overlap() -> None:
    flight = fly([straight(30.0), *laps(2), turn(-360.0), turn(20.0), turn(-40.0), straight(60.0)])
    found = turns_of(record(flight, noise_m=3.0))
    times = np.array([(each.start_epoch_s, each.end_epoch_s) for each in found])
    assert np.all(times[:, 1] > times[:, 0])
    assert np.all(times[1:, 0] > times[:-1, 1] - 1.0)


def test_without_refinement_an_edge_is_good_to_about_a_second_and_says_so() -> None:
    flight = fly([straight(60.0), *laps(2), straight(30.0)])
    found = turns_of(record(flight, noise_m=2.0), refine=False)
    assert_alike(found, flight, edge_s=1.5)
    assert all(each.start_sd_s >= 1.0 <= each.end_sd_s for each in found)


def test_a_turn_that_ends_in_a_hole_has_a_wide_error() -> None:
    flight = fly([straight(60.0), turn(180.0), straight(90.0), turn(180.0), straight(60.0)])
    track = record(flight, noise_m=1.0)
    t = track.epoch_s - START_S
    (first, second) = turns_of(keep(track, (t < 110.0) | (t > 150.0)))
    assert first.end_sd_s >= 9.9  # a quarter of the hole
    assert first.start_sd_s < 1.0
    assert second.end_sd_s < 1.0
    assert abs(first.end_epoch_s - flight.turns[0].end_epoch_s) < 2 * first.end_sd_s


# --- Bank -----------------------------------------------------------------------------------------------------------


# FAA-H-8083-25 (PHAK, 2009) ch. 4, rate of turn = 1,091 tan(bank) / TAS: 30 degrees give 5.25 deg/s at 120 kt and about
# 2.63 at 240. Aviation Formulary (E. Williams): standard rate at 100 kt takes 15.4 degrees; 45 degrees at 100 kt gives
# 10.9 deg/s. Rate one at 120 kt: 18.24 degrees (training text). Half of the last digit printed for the rate moves
# the bank by up to 0.15 degrees.
@pytest.mark.parametrize(
    ("tas_kt", "rate", "bank", "within"),
    [
        (120, 5.25, 30, 0.05),
        (240, 2.63, 30, 0.1),
        (100, 3.0, 15.4, 0.05),
        (100, 10.9, 45, 0.15),
        (120, 3.0, 18.24, 0.03),
    ],
)
def test_bank_of_a_coordinated_turn(tas_kt: float, rate: float, bank: float, within: float) -> None:
    assert bank_for_rate_deg(tas_kt, rate) == pytest.approx(bank, abs=within)


def test_bank_of_a_turn_flown() -> None:
    """PHAK's 30 degrees at 120 kt, read from the positions of a turn of 5.25 deg/s."""
    flight = fly([straight(60.0), turn(360.0, 5.25), straight(60.0)], tas_kt=120.0)
    (found,) = turns_of(record(flight, noise_m=1.0))
    assert found.bank_deg == pytest.approx(30.0, abs=1.0)
    assert found.bank_deg == pytest.approx(flight.turns[0].bank_deg, abs=1.0)


@pytest.mark.parametrize(("interval_s", "pause_s"), [(5.0, 5.0), (5.0, 10.0), (10.0, 5.0), (10.0, 6.0), (10.0, 12.0)])
@pytest.mark.parametrize("second", [30.0, 45.0])
def test_a_pause_between_two_turns_is_seen_in_sparse_positions(
    interval_s: float, pause_s: float, second: float
) -> None:
    """Rolled out on an intercept, then onto the course: what ends the first turn starts the inbound time."""
    flight = fly([straight(80.0), turn(150.0), straight(pause_s), turn(second), straight(80.0)], tas_kt=90.0)
    found = turns_of(record(flight, interval_s=interval_s, noise_m=2.0))
    assert len(found) == 2
    assert found[0].end_epoch_s == pytest.approx(flight.turns[0].end_epoch_s, abs=max(4.0, 2 * found[0].end_sd_s))
    assert found[1].start_epoch_s - found[0].end_epoch_s > 0.0


@pytest.mark.parametrize("interval_s", [5.0, 10.0])
@pytest.mark.parametrize("seed", range(5))
def test_one_turn_in_sparse_positions_stays_one(interval_s: float, seed: int) -> None:
    flight = fly([straight(83.0), turn(180.0), straight(61.0), turn(-200.0), straight(80.0)])
    assert len(turns_of(record(flight, interval_s=interval_s, noise_m=5.0, seed=seed))) == 2
