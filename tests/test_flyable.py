"""Nonsense is no flight: random positions, shuffled rows and random walks give no track, and real motion stays."""

from __future__ import annotations

import numpy as np
import pytest

from trackgrade.errors import TrackFileError
from trackgrade.track.cleaning import clean
from trackgrade.track.flyable import among_dropped, left_by_chance, unflyable
from trackgrade.track.track import Track

METRES_PER_DEG = 111_195.0
START_S = 1_777_821_600.0


def positions(east_m: np.ndarray, north_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return 44.0 + north_m / METRES_PER_DEG, -93.0 + east_m / METRES_PER_DEG / np.cos(np.radians(44.0))


def flown(
    rate_deg_s: float, speed_kt: float, interval_s: float, noise_m: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A minute straight, a minute turning, for an hour and a quarter."""
    dice = np.random.default_rng(7)
    t = np.arange(0.0, 4500.0, interval_s)
    course = np.radians(np.cumsum(np.where(t // 60 % 2 == 1, rate_deg_s, 0.0)) * interval_s)
    step_m = speed_kt * 1852 / 3600 * interval_s
    east = np.cumsum(np.sin(course)) * step_m + dice.normal(0, noise_m, len(t))
    north = np.cumsum(np.cos(course)) * step_m + dice.normal(0, noise_m, len(t))
    return START_S + t, *positions(east, north)


@pytest.mark.parametrize(
    ("rate_deg_s", "interval_s"),
    # Not beyond 120 deg from point to point: such a record shows no course.
    [(r, i) for r in (0.0, 3.0, 6.0, 12.0, 18.0) for i in (0.1, 1.0, 2.0, 5.0, 10.0, 30.0) if r * i <= 120.0],
)
@pytest.mark.parametrize(("speed_kt", "noise_m"), [(60.0, 10.0), (100.0, 3.0), (250.0, 15.0)])
def test_no_point_of_a_flight_is_dropped(rate_deg_s: float, interval_s: float, speed_kt: float, noise_m: float) -> None:
    assert not unflyable(*flown(rate_deg_s, speed_kt, interval_s, noise_m)).any()


@pytest.mark.parametrize(("interval_s", "step_m"), [(2.0, 80.0), (2.0, 150.0), (5.0, 200.0), (10.0, 500.0)])
def test_a_random_walk_is_dropped_and_the_flight_around_it_stays(interval_s: float, step_m: float) -> None:
    dice = np.random.default_rng(3)
    t, lat, lon = (np.array(a) for a in flown(3.0, 100.0, interval_s, 3.0))
    walk = slice(150, 300)
    count = walk.stop - walk.start
    lat[walk], lon[walk] = positions(np.cumsum(dice.normal(0, step_m, count)), np.cumsum(dice.normal(0, step_m, count)))
    bad = unflyable(t, lat, lon)
    assert bad[165:285].mean() > 0.9
    assert not bad[:130].any()
    assert not bad[320:].any()


def track_of(t: np.ndarray, lat: np.ndarray, lon: np.ndarray) -> Track:
    return Track("made.csv", t, lat, lon, np.full(len(t), 4000.0))


@pytest.mark.parametrize("seed", range(5))
def test_rows_in_a_wrong_order_are_no_flight(seed: int) -> None:
    t, lat, lon = flown(3.0, 100.0, 2.0, 3.0)
    order = np.random.default_rng(seed).permutation(len(t))
    with pytest.raises(TrackFileError, match="too far from the one before"):
        clean(track_of(t, lat[order], lon[order]))


def test_spikes_and_one_spoofed_stretch_leave_the_flight() -> None:
    t, lat, lon = flown(3.0, 100.0, 1.0, 3.0)
    lat[::25] += 0.02
    lat[300:400] += 3.0
    kept = clean(track_of(t, lat, lon)).track
    assert len(kept) > 700


def test_points_left_over_among_many_dropped_are_not_trusted() -> None:
    before = np.arange(200.0)
    dice = np.random.default_rng(1)
    drop = (before > 80) & (before < 120) & (dice.random(200) < 0.7)
    bad = among_dropped(before, before[~drop])
    kept = before[~drop]
    assert bad[(kept > 88) & (kept < 112)].all()
    assert not bad[(kept < 70) | (kept > 130)].any()
    assert not among_dropped(before, before).any()


def test_scraps_are_told_from_a_flight_after_a_bad_start() -> None:
    before = np.arange(1000.0)
    assert left_by_chance(before, before[::3])
    assert left_by_chance(before, before[:0])
    assert not left_by_chance(before, before[700:])
    assert not left_by_chance(before, before)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("step_m", [90.0, 220.0, 1500.0])
def test_a_random_walk_is_no_flight(seed: int, step_m: float) -> None:
    dice = np.random.default_rng(seed)
    walk = positions(np.cumsum(dice.normal(0, step_m, 600)), np.cumsum(dice.normal(0, step_m, 600)))
    with pytest.raises(TrackFileError, match=r"made\.csv: "):
        clean(track_of(START_S + np.arange(600) * 2.0, *walk))
