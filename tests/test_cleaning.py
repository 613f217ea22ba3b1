"""What is dropped from a log and why; and that of a sound log nothing is."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.arithmetic_flight import START_S, Flight, fly, keep, laps, record, straight
from trackgrade.errors import TrackFileError
from trackgrade.track.cleaning import clean
from trackgrade.track.track import CleanTrack, Track

METRES_PER_DEG = 111_195.0
DUPLICATE = "the same point twice"
CLASH = "a second position at the same time"
STALE = "position repeated while the aircraft moved"
SPIKE = "single-point spike"
JUMP = "impossible jump away and back"
INVENTED = "row made by a resampler across a hole"


@cache
def flight(laps_flown: int = 3) -> Flight:
    return fly([straight(120.3), *laps(laps_flown), straight(60.0)])


@cache
def log(interval_s: float = 1.0, noise_m: float = 2.0, decimals: int | None = 7) -> Track:
    return record(flight(), interval_s=interval_s, noise_m=noise_m, decimals=decimals)


def moved(track: Track, index: np.ndarray | int | slice, north_m: float, east_m: float = 0.0) -> Track:
    lat, lon = track.lat_deg.copy(), track.lon_deg.copy()
    lat[index] += north_m / METRES_PER_DEG
    lon[index] += east_m / METRES_PER_DEG / np.cos(np.radians(44.0))
    return replace(track, lat_deg=lat, lon_deg=lon, channels={})


def reasons(cleaned: CleanTrack) -> dict[str, int]:
    return {each.reason: each.count for each in cleaned.rejections}


def assert_same_points(cleaned: CleanTrack, track: Track) -> None:
    np.testing.assert_array_equal(cleaned.track.epoch_s, track.epoch_s)
    np.testing.assert_array_equal(cleaned.track.lat_deg, track.lat_deg)
    np.testing.assert_array_equal(cleaned.track.lon_deg, track.lon_deg)


# --- A sound log loses nothing ---


@pytest.mark.parametrize("interval_s", [0.1, 0.2, 1.0, 2.0, 5.0, 10.0])
@pytest.mark.parametrize(("noise_m", "decimals"), [(0.0, None), (0.0, 7), (0.0, 5), (0.0, 4), (3.0, 7), (3.0, 5)])
@pytest.mark.parametrize("tas_kt", [60.0, 280.0])
def test_a_straight_flight_loses_nothing(
    interval_s: float, noise_m: float, decimals: int | None, tas_kt: float
) -> None:
    """Free of noise or coarse: five decimals are about a metre, four eleven."""
    for heading_deg in (0.0, 33.0, 90.0):
        track = record(
            fly([straight(max(200.0, 60 * interval_s))], tas_kt=tas_kt, heading_deg=heading_deg),
            interval_s=interval_s,
            noise_m=noise_m,
            decimals=decimals,
        )
        repeats = (np.diff(track.lat_deg) == 0) & (np.diff(track.lon_deg) == 0)
        cleaned = clean(track)
        assert set(reasons(cleaned)) <= {STALE}
        assert sum(reasons(cleaned).values()) <= np.count_nonzero(repeats)
        if not np.any(repeats):
            assert_same_points(cleaned, track)
        assert cleaned.gaps == ()


@pytest.mark.parametrize("interval_s", [0.2, 1.0, 2.0, 5.0, 10.0])
@pytest.mark.parametrize(("noise_m", "decimals"), [(0.0, None), (0.0, 6), (2.0, 7), (10.0, 7)])
def test_a_hold_loses_nothing(interval_s: float, noise_m: float, decimals: int | None) -> None:
    track = log(interval_s, noise_m, decimals)
    cleaned = clean(track)
    assert_same_points(cleaned, track)
    assert cleaned.rejections == ()
    assert cleaned.gaps == ()
    assert cleaned.notes == ()
    assert cleaned.points_read == len(track)
    assert cleaned.interval_s == pytest.approx(interval_s)


@pytest.mark.parametrize("interval_s", [1.0, 2.0, 3.0, 5.0, 10.0])
@pytest.mark.parametrize("noise_m", [0.0, 0.3, 1.0, 2.0])
def test_a_hold_in_coarse_positions_loses_nothing(interval_s: float, noise_m: float) -> None:
    """With five decimals rows lie on their neighbours' chord by chance, in runs and in turns with others."""
    for seed in range(4):
        track = record(flight(), interval_s=interval_s, noise_m=noise_m, decimals=5, seed=seed)
        assert clean(track).rejections == ()


def test_an_adaptive_log_loses_nothing_and_has_no_gaps() -> None:
    """1 s in turns, 15 s on straight legs."""
    track = log()
    t = track.epoch_s - START_S
    turning = np.abs(flight().at("rate_deg_s", t)) > 0.5
    cleaned = clean(keep(track, turning | (np.arange(len(track)) % 15 == 0)))
    assert cleaned.rejections == ()
    assert cleaned.gaps == ()


def test_a_steep_turn_and_a_late_stamp_are_no_spikes() -> None:
    from tests.arithmetic_flight import turn

    track = record(fly([straight(60.0), turn(720.0, 15.0), straight(60.0)], tas_kt=120.0), noise_m=3.0)
    late = track.epoch_s + np.random.default_rng(1).uniform(-0.4, 0.4, len(track))
    assert clean(replace(track, epoch_s=late, channels={})).rejections == ()


@pytest.mark.parametrize("interval_s", [4.7, 5.0, 9.6])
def test_a_jet_with_stamps_of_whole_seconds_loses_nothing(interval_s: float) -> None:
    """At 450 kt a second is 230 m along the track: stamps cut to it are late by up to one, and no spikes."""
    track = record(fly([straight(900.0)], tas_kt=450.0), interval_s=interval_s, noise_m=5.0)
    whole = replace(track, epoch_s=np.floor(track.epoch_s), channels={})
    assert clean(whole).rejections == ()


# --- Order, doubles, stamps ---


def test_rows_out_of_order_are_sorted_and_told() -> None:
    track = log()
    order = np.arange(len(track))
    order[100:140] = order[100:140][::-1]
    cleaned = clean(keep(track, order))
    assert_same_points(cleaned, track)
    assert any("out of time order" in note for note in cleaned.notes)


def test_doubles_go_and_of_clashing_positions_the_first_stays() -> None:
    track = log()
    doubled = keep(track, np.sort(np.r_[np.arange(len(track)), np.arange(0, len(track), 9)]))
    cleaned = clean(doubled)
    assert reasons(cleaned) == {DUPLICATE: len(range(0, len(track), 9))}
    assert_same_points(cleaned, track)

    second = keep(track, np.arange(50, 60))
    clashing = _joined(track, moved(second, slice(None), 30.0))
    assert reasons(clean(clashing)) == {CLASH: 10}
    assert_same_points(clean(clashing), track)


def _joined(one: Track, two: Track) -> Track:
    """Rows of both by time, of equal times those of the first first."""
    order = np.argsort(np.concatenate([one.epoch_s, two.epoch_s]), kind="stable")
    return Track(
        "joined.csv",
        *(
            np.concatenate([getattr(one, name), getattr(two, name)])[order]
            for name in ("epoch_s", "lat_deg", "lon_deg", "alt_ft")
        ),
    )


@pytest.mark.parametrize("hertz", [2, 5])
@pytest.mark.parametrize("decimals", [7, 5])
def test_fixes_that_share_whole_seconds_are_spread_over_them(hertz: int, decimals: int) -> None:
    track = record(flight(), interval_s=1.0 / hertz, noise_m=1.0, decimals=decimals)
    stamped = replace(track, epoch_s=np.floor(track.epoch_s + 1e-6), channels={})
    cleaned = clean(stamped)
    # At five decimals two fixes of one second can be the same to the last digit; such doubles go first.
    assert cleaned.points_read - len(cleaned.track) <= (0 if decimals == 7 else 0.05 * len(track))
    assert np.all(np.diff(cleaned.track.epoch_s) > 0.0)
    place = np.interp(cleaned.track.epoch_s, track.epoch_s, track.lat_deg)
    assert np.max(np.abs(place - cleaned.track.lat_deg)) * METRES_PER_DEG < 52.0 / hertz + 5.0
    assert any("spread evenly" in note for note in cleaned.notes)
    if decimals == 7:
        np.testing.assert_allclose(cleaned.track.epoch_s, track.epoch_s, atol=1e-3)


def test_stale_repeats_go_but_an_aircraft_that_stands_stays() -> None:
    track = log()
    lat, lon = track.lat_deg.copy(), track.lon_deg.copy()
    for k in (200, 201, 350, 500, 501, 502):
        lat[k], lon[k] = lat[k - 1], lon[k - 1]
    cleaned = clean(replace(track, lat_deg=lat, lon_deg=lon, channels={}))
    assert reasons(cleaned) == {STALE: 6}
    assert not set(track.epoch_s[[200, 201, 350, 500, 501, 502]]) & set(cleaned.track.epoch_s)

    standing = np.concatenate([np.arange(-200.0, 0.0) + START_S])
    n = len(standing)
    parked = Track("a", standing, np.full(n, lat[0]), np.full(n, lon[0]), np.full(n, 900.0))
    assert reasons(clean(_joined(parked, track))) == {}


def test_positions_that_are_no_numbers_go() -> None:
    track = log()
    lat, t = track.lat_deg.copy(), track.epoch_s.copy()
    lat[[10, 20]], t[30] = (np.nan, 95.0), np.nan
    cleaned = clean(replace(track, lat_deg=lat, epoch_s=t, channels={}))
    assert reasons(cleaned) == {"position or time is not a number": 3}
    assert np.all(np.isfinite(cleaned.track.epoch_s))


# --- Spikes and jumps ---


@pytest.mark.parametrize("interval_s", [1.0, 5.0, 10.0])
@pytest.mark.parametrize("spike_m", [500.0, 1500.0, 5000.0])
def test_single_spikes_go_and_only_they(interval_s: float, spike_m: float) -> None:
    """Of 24 spikes: all that stand out of what a turn could do between such samples; at 10 s some 900 m."""
    t = log(interval_s)
    at = np.linspace(8, len(t) - 9, 7).astype(int)
    for degrees in (0.0, 77.0, 160.0, 250.0):
        angle = np.radians(degrees)
        cleaned = clean(moved(t, at, spike_m * np.cos(angle), spike_m * np.sin(angle)))
        left = set(t.epoch_s[at]) & set(cleaned.track.epoch_s)
        assert len(left) <= (1 if interval_s == 10.0 and spike_m == 500.0 else 0)
        lost = set(np.delete(t.epoch_s, at)) - set(cleaned.track.epoch_s)
        assert not lost, (degrees, sorted(x - START_S for x in lost))
        assert set(reasons(cleaned)) <= {SPIKE, JUMP}


def test_two_spikes_in_a_row_go() -> None:
    track = log()
    cleaned = clean(moved(track, slice(300, 302), 3000.0))
    assert len(cleaned.track) == len(track) - 2


@pytest.mark.parametrize("seconds", [1, 20, 90])
@pytest.mark.parametrize("miles", [30.0, 400.0])
@pytest.mark.parametrize("interval_s", [1.0, 5.0])
def test_a_jump_of_hundreds_of_miles_and_back_goes(seconds: int, miles: float, interval_s: float) -> None:
    """As a receiver fed with false signals records it: the whole stretch stands elsewhere."""
    track = log(interval_s)
    first = len(track) // 2
    away = slice(first, first + max(1, int(seconds / interval_s)))
    cleaned = clean(moved(track, away, miles * 1852.0))
    index = np.arange(len(track))[away]
    assert not set(track.epoch_s[index]) & set(cleaned.track.epoch_s)
    # Where most of the rows about it were dropped, the one at each end of the stretch goes with it.
    lost = set(np.delete(track.epoch_s, index)) - set(cleaned.track.epoch_s)
    assert lost <= {track.epoch_s[index[0] - 1], track.epoch_s[index[-1] + 1]}
    assert set(reasons(cleaned)) <= {SPIKE, JUMP, "among so many spikes that nothing there can be trusted"}
    assert len(cleaned.gaps) == (seconds + interval_s > max(10.0, 4 * interval_s))


# --- Rows that a resampler made ---


def interpolated(track: Track, start_s: float, seconds: float) -> tuple[Track, np.ndarray]:
    """The log with a hole filled by equal steps on the straight chord; and which rows are made."""
    t = track.epoch_s - START_S
    made = (t > start_s) & (t < start_s + seconds)
    lat, lon = track.lat_deg.copy(), track.lon_deg.copy()
    for values in (lat, lon):
        values[made] = np.round(np.interp(t[made], t[~made], values[~made]), 7)
    return replace(track, lat_deg=lat, lon_deg=lon, channels={}), made


@pytest.mark.parametrize(
    ("start_s", "seconds"),
    # From a leg into a turn, from a turn into a leg, and across a whole turn.
    [(start_s, seconds) for start_s in (100.0, 160.0, 225.0, 290.0) for seconds in (40.0, 60.0, 150.0)],
)
@pytest.mark.parametrize("interval_s", [1.0, 2.0, 5.0])
def test_equal_steps_across_a_hole_are_found_and_become_a_gap(
    seconds: float, start_s: float, interval_s: float
) -> None:
    track, made = interpolated(log(interval_s), start_s, seconds)
    cleaned = clean(track)
    left = set(track.epoch_s[made]) & set(cleaned.track.epoch_s)
    lost = set(track.epoch_s[~made]) - set(cleaned.track.epoch_s)
    assert not left
    # The corners at the ends of the chord can look like spikes.
    assert len(lost) <= 2
    (gap,) = cleaned.gaps
    assert gap.seconds >= seconds
    assert reasons(cleaned)[INVENTED] >= np.count_nonzero(made)
    assert set(reasons(cleaned)) <= {INVENTED, SPIKE}


def test_on_a_straight_leg_made_rows_tell_the_truth_and_nothing_else_is_lost() -> None:
    track, made = interpolated(log(), 195.0, 40.0)
    lost = set(track.epoch_s[~made]) - set(clean(track).track.epoch_s)
    assert not lost


def midpoints(track: Track, decimals: int = 7) -> tuple[Track, np.ndarray]:
    """The log at half its rate, with the exact midpoint put between any two rows; and which rows are made."""
    made = np.arange(len(track)) % 2 == 1
    made[-1] = False
    lat, lon = track.lat_deg.copy(), track.lon_deg.copy()
    inner = np.flatnonzero(made)
    for values in (lat, lon):
        values[inner] = np.round((values[inner - 1] + values[inner + 1]) / 2, decimals)
    return replace(track, lat_deg=lat, lon_deg=lon, channels={}), made


@pytest.mark.parametrize("interval_s", [0.5, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("noise_m", [0.5, 3.0])
def test_exact_midpoints_between_real_rows_are_found(interval_s: float, noise_m: float) -> None:
    track, made = midpoints(log(interval_s, noise_m))
    cleaned = clean(track)
    left = set(track.epoch_s[made]) & set(cleaned.track.epoch_s)
    lost = set(track.epoch_s[~made]) - set(cleaned.track.epoch_s)
    assert len(left) <= 0.02 * np.count_nonzero(made)
    assert len(lost) <= 0.02 * np.count_nonzero(~made)
    assert set(reasons(cleaned)) == {INVENTED}
    assert cleaned.interval_s == pytest.approx(2 * interval_s)
    assert cleaned.gaps == ()


@pytest.mark.parametrize("interval_s", [2.0, 5.0])
@pytest.mark.parametrize("every", [2, 3])
def test_in_coarse_positions_no_real_row_is_lost_to_the_pattern(interval_s: float, every: int) -> None:
    """Real rows, too, lie on the chord by chance there; made ones can then not be told, and all stay."""
    track = log(interval_s, 2.0, 5)
    real = np.arange(len(track)) % every == 0
    real[-1] = True
    at = track.epoch_s - START_S
    lat, lon = (np.round(np.interp(at, at[real], values[real]), 5) for values in (track.lat_deg, track.lon_deg))
    cleaned = clean(replace(track, lat_deg=lat, lon_deg=lon, channels={}))
    lost = set(track.epoch_s[real]) - set(cleaned.track.epoch_s)
    assert len(lost) <= 0.02 * np.count_nonzero(real)


def test_midpoints_in_one_stretch_are_found_there() -> None:
    track = log(1.0, 2.0)
    half, made = midpoints(track)
    inside = np.zeros(len(track), dtype=bool)
    inside[200:401] = True
    mixed = replace(
        track,
        lat_deg=np.where(inside, half.lat_deg, track.lat_deg),
        lon_deg=np.where(inside, half.lon_deg, track.lon_deg),
        channels={},
    )
    cleaned = clean(mixed)
    left = set(track.epoch_s[made & inside]) & set(cleaned.track.epoch_s)
    lost = set(track.epoch_s[~(made & inside)]) - set(cleaned.track.epoch_s)
    assert len(left) <= 3
    assert len(lost) <= 3


# --- Altitude ---


def test_altitude_outliers_are_blanked_and_their_positions_stay() -> None:
    track = log()
    alt = 4000.0 + np.linspace(0.0, 1500.0, len(track))
    alt[[50, 51, 400]], alt[600] = 40_000.0, -35_000.0
    cleaned = clean(replace(track, alt_ft=alt, channels={}))
    assert_same_points(cleaned, track)
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(cleaned.track.alt_ft)), [50, 51, 400, 600])
    assert any(note.startswith("4 altitudes") for note in cleaned.notes)


@pytest.mark.parametrize("interval_s", [1.0, 5.0])
def test_a_hard_climb_is_no_outlier(interval_s: float) -> None:
    track = log(interval_s)
    t = track.epoch_s - START_S
    climbing = 4000.0 + np.clip(t - 200.0, 0.0, 60.0) * 100.0  # 6,000 ft a minute
    cleaned = clean(replace(track, alt_ft=climbing, channels={}))
    np.testing.assert_array_equal(cleaned.track.alt_ft, climbing)


def test_a_log_without_altitude_stays_without() -> None:
    track = log()
    cleaned = clean(replace(track, alt_ft=np.full(len(track), np.nan), channels={}))
    assert np.all(np.isnan(cleaned.track.alt_ft))
    assert cleaned.rejections == ()
    assert cleaned.notes == ()


# --- Gaps and little logs ---


@pytest.mark.parametrize("seconds", [12.0, 30.0, 60.0])
def test_a_hole_is_a_gap_with_its_ends(seconds: float) -> None:
    track = log()
    t = track.epoch_s - START_S
    cleaned = clean(keep(track, (t <= 200.0) | (t >= 200.0 + seconds)))
    (gap,) = cleaned.gaps
    assert (gap.start_epoch_s, gap.end_epoch_s) == (START_S + 200.0, START_S + 200.0 + seconds)
    assert gap.seconds == seconds


@pytest.mark.parametrize("apart_s", [25.0, 60.0, 240.0])
def test_positions_too_far_apart_to_show_a_turn_are_refused_in_words(apart_s: float) -> None:
    """A half turn at standard rate takes 60 s (AIM 5-3-8: 3 degrees a second)."""
    with pytest.raises(TrackFileError, match=rf"{apart_s:.0f} s apart.*Set the logger"):
        clean(record(flight(12), interval_s=apart_s))


def test_a_step_that_can_hide_a_turn_is_a_hole_in_a_log_that_thins_out_on_straight_legs() -> None:
    """Every five seconds in turns, a minute apart on the legs: the legs are holes, and nothing is refused."""
    track = log(5.0)
    t = track.epoch_s - START_S
    turn = np.abs(np.gradient(np.unwrap(np.arctan2(np.gradient(track.lon_deg), np.gradient(track.lat_deg))), t)) > 0.01
    thinned = keep(track, turn | (t % 60.0 < 5.0))
    assert np.median(np.diff(thinned.epoch_s)) < 20.0
    steps_s = np.diff(thinned.epoch_s)
    assert [gap.seconds for gap in clean(thinned).gaps] == list(steps_s[steps_s > 20.0])
    assert np.max(steps_s) > 40.0


def test_a_short_pause_is_no_gap() -> None:
    track = log()
    t = track.epoch_s - START_S
    assert clean(keep(track, (t <= 200.0) | (t >= 208.0))).gaps == ()


@pytest.mark.parametrize("n", [0, 1, 3])
def test_fewer_than_four_points_are_refused_in_words(n: int) -> None:
    with pytest.raises(TrackFileError, match=rf"only {n} of {n} points .* at least 4 are needed"):
        clean(keep(log(), np.arange(n)))


@pytest.mark.parametrize("n", [4, 5, 7, 30])
def test_four_points_and_half_a_minute_are_taken(n: int) -> None:
    cleaned = clean(keep(log(), np.arange(n)))
    assert len(cleaned.track) == n
    assert cleaned.rejections == ()


def test_channels_stay_in_step_with_their_rows() -> None:
    track = log()
    number = np.arange(len(track), dtype=float)
    with_channel = replace(moved(track, 300, 3000.0), channels={"ias_kt": number})
    cleaned = clean(keep(with_channel, np.random.default_rng(0).permutation(len(track))))
    np.testing.assert_array_equal(cleaned.track.channels["ias_kt"], np.delete(number, 300))
