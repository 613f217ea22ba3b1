"""Many points a second averaged to two: nothing but noise is lost, whatever the meridian, the gaps and the blanks."""

from __future__ import annotations

import numpy as np
import pytest

from trackgrade.track.thinning import thin
from trackgrade.track.track import CleanTrack, Gap, Track


def clean_track(
    epoch_s: np.ndarray, lat: np.ndarray, lon: np.ndarray, gaps: tuple[Gap, ...] = (), **channels: np.ndarray
) -> CleanTrack:
    track = Track("a.csv", epoch_s, lat, lon, np.full(len(epoch_s), 4000.0), channels)
    return CleanTrack(track, len(epoch_s), (), gaps, float(np.median(np.diff(epoch_s))))


def even(rate_hz: float, seconds: float) -> np.ndarray:
    return 1.7e9 + np.arange(round(rate_hz * seconds)) / rate_hz


@pytest.mark.parametrize("interval_s", [0.32, 0.5, 1.0, 5.0])
def test_a_log_of_few_points_a_second_stays_as_it_is(interval_s: float) -> None:
    t = 1.7e9 + np.arange(40) * interval_s
    clean = clean_track(t, np.linspace(44, 44.1, 40), np.full(40, -93.0))
    assert thin(clean) is clean


def test_a_straight_line_stays_the_same_line() -> None:
    t = even(10.0, 60.0)
    clean = clean_track(t, 44.0 + (t - t[0]) * 1e-4, -93.0 + (t - t[0]) * 2e-4)
    thinned = thin(clean)
    track = thinned.track
    assert len(track) == 120
    assert thinned.interval_s == pytest.approx(0.5)
    np.testing.assert_allclose(track.lat_deg, 44.0 + (track.epoch_s - t[0]) * 1e-4, atol=1e-10)
    np.testing.assert_allclose(track.lon_deg, -93.0 + (track.epoch_s - t[0]) * 2e-4, atol=1e-10)
    assert any("averaged" in note for note in thinned.notes)


def test_noise_falls_with_the_root_of_the_points_averaged() -> None:
    dice = np.random.default_rng(1)
    t = even(10.0, 2000.0)
    thinned = thin(clean_track(t, 44.0 + dice.normal(0.0, 1e-5, len(t)), np.full(len(t), -93.0)))
    assert np.std(thinned.track.lat_deg) == pytest.approx(1e-5 / np.sqrt(5.0), rel=0.05)


def test_the_180_degree_meridian_is_no_edge() -> None:
    t = even(10.0, 20.0)
    east = 179.9995 + (t - t[0]) * 1e-4
    track = thin(clean_track(t, np.zeros(len(t)), np.where(east >= 180.0, east - 360.0, east))).track
    expected = 179.9995 + (track.epoch_s - t[0]) * 1e-4
    np.testing.assert_allclose((track.lon_deg - expected + 180.0) % 360.0 - 180.0, 0.0, atol=1e-9)
    assert np.all((track.lon_deg >= -180.0) & (track.lon_deg < 180.0))


def test_directions_are_averaged_through_north_and_blanks_left_out() -> None:
    t = even(10.0, 10.0)
    heading = np.tile([358.0, 2.0, 358.0, 2.0, np.nan], 20)
    speed = np.tile([90.0, np.nan, 100.0, np.nan, np.nan], 20)
    clean = clean_track(t, np.zeros(len(t)), np.zeros(len(t)), heading_true_deg=heading, ias_kt=speed)
    channels = thin(clean).track.channels
    np.testing.assert_allclose((channels["heading_true_deg"] + 180.0) % 360.0, 180.0, atol=1e-9)
    np.testing.assert_allclose(channels["ias_kt"], 95.0)


def test_a_gap_stays_between_its_points() -> None:
    t = even(10.0, 30.0)
    t = t[(t < t[0] + 10.03) | (t > t[0] + 19.98)]
    at = int(np.argmax(np.diff(t)))
    thinned = thin(clean_track(t, np.zeros(len(t)), np.zeros(len(t)), gaps=(Gap(t[at], t[at + 1]),)))
    (gap,) = thinned.gaps
    times = thinned.track.epoch_s
    assert not np.any((times > gap.start_epoch_s) & (times < gap.end_epoch_s))
    assert np.all(np.diff(times) > 0.0)
    assert np.searchsorted(times, gap.end_epoch_s) < len(times)


def test_a_second_and_a_half_at_five_hertz_is_left_as_it_is() -> None:
    """Eight points thinned to three would be too few for a trajectory."""
    epoch_s = even(5.0, 1.6)
    track = clean_track(epoch_s, 50.0 + 1e-5 * np.arange(8.0), np.full(8, 8.0))
    assert thin(track) is track
