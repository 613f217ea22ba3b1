"""Rows that nobody recorded: put between real ones by a publisher's resampling, on the straight chord, in equal steps.

They hide a hole, or halve the interval of a log that never had so many positions.
"""

from __future__ import annotations

import numpy as np

from trackgrade.track.runs import runs
from trackgrade.track.track import Bools, Floats, Track

#: A resampler's straight chord must be this long to matter [s] and bend this much at an end [deg].
LEAST_CHORD_S, LEAST_KINK_DEG = 20.0, 12.0
#: So many rows in a row must be exact, by the last printed digit [deg]: coarser positions are exact by chance.
LEAST_ROWS = ((1e-7, 2), (1e-6, 3), (1.0, 6))
#: Runs of at least so many rows on one chord, and parted by fewer, are one.
MOST_BETWEEN = 4
#: Single real rows between runs of exact ones make a pattern after so many runs; nine of ten real rows must stray from
#: the chord by this many printed digits, else the file is too coarse to tell.
PATTERN_RUNS, PATTERN_DIGITS = 5, 3.0


_Run = tuple[int, int]  # first row, and the one after the last, of inner rows that are exact


def rows_invented(track: Track) -> Bools:
    """Rows (n,) that a resampler put between real ones, by being exactly on the chord of their neighbours.

    Real positions carry noise: their second differences are not zero to the last printed digit for twenty seconds. On a
    truly straight, noise-free leg such a row tells the truth, so only chords with a kink at an end are dropped; and
    midpoints (or thirds, ...) between real rows, which give themselves away by their regular order.
    """
    n = len(track)
    drop = np.zeros(n, dtype=bool)
    if n < 8:
        return drop
    quantum = _printed_step_deg(track)
    t, lon = track.epoch_s, np.unwrap(track.lon_deg, period=360.0)
    bend = np.max(np.abs(off_chord_deg(track)), axis=0)
    exact = bend <= 1.01 * quantum
    found = runs(exact)
    if not exact.all() and np.quantile(bend[~exact], 0.1) > PATTERN_DIGITS * quantum:
        drop |= _between_single_rows(found, n)
    # Where most points are exact the file is too coarse, or too clean, for a chord to mean anything.
    if np.mean(exact & ~drop[1:-1]) > 0.6:
        return drop
    least_rows = next(rows for digit, rows in LEAST_ROWS if quantum <= 1.5 * digit)
    for first, after in _joined(found, t, track.lat_deg, lon, 2.0 * quantum):
        last = after + 1  # the chord's ends in the track are first and last
        if t[last] - t[first] < LEAST_CHORD_S or first < 2 or last > n - 3 or last - first - 1 < least_rows:
            continue
        if (
            max(_kink_deg(track, lon, first - 1, first, last), _kink_deg(track, lon, first, last, last + 1))
            > LEAST_KINK_DEG
        ):
            drop[first + 1 : last] = True
            # The chord's real end may have gone as a spike, for the corner there: then this end is made, too.
            usual = 1.5 * (t[last] - t[first]) / (last - first)
            drop[first] |= bool(t[first] - t[first - 1] > usual)
            drop[last] |= bool(t[last + 1] - t[last] > usual)
    return drop


def off_chord_deg(track: Track) -> Floats:
    """How far off the straight chord of its neighbours, at its time, each inner point lies: north, east (2, n - 2)."""
    t, places = track.epoch_s, np.stack([track.lat_deg, np.unwrap(track.lon_deg, period=360.0)])
    part = (t[1:-1] - t[:-2]) / (t[2:] - t[:-2])
    return np.asarray(places[:, 1:-1] - (places[:, :-2] * (1 - part) + places[:, 2:] * part))


def _between_single_rows(found: list[_Run], n: int) -> Bools:
    """Rows (n,) of short runs of exact rows that take turns with single rows that are not, many times over."""
    drop = np.zeros(n, dtype=bool)
    group: list[_Run] = []
    for run in [*found, (n + 9, n + 9)]:
        if group and run[0] - group[-1][1] != 1:
            if len(group) >= PATTERN_RUNS:
                for first, after in group:
                    drop[first + 1 : after + 1] = True
            group = []
        group.append(run)
    return drop


def _joined(found: list[_Run], t: Floats, lat: Floats, lon: Floats, within_deg: float) -> list[_Run]:
    """Runs on one chord made one, where a few rows part them: such as one written twice."""
    joined: list[_Run] = []
    for first, after in found:
        begun, ended = joined[-1] if joined else (first, after)
        if joined and first - ended < MOST_BETWEEN and min(ended - begun, after - first) >= MOST_BETWEEN:
            ends, inner = [begun, after + 1], [ended + 1, first]
            off = [np.abs(np.interp(t[inner], t[ends], each[ends]) - each[inner]) for each in (lat, lon)]
            if np.max(off) <= within_deg:
                joined[-1] = (begun, after)
                continue
        joined.append((first, after))
    return joined


def _printed_step_deg(track: Track) -> float:
    """The last printed digit of the positions [deg], 1e-4 to 1e-8, from a sample of them."""
    sample = np.concatenate([track.lat_deg[:: max(1, len(track) // 200)], track.lon_deg[:: max(1, len(track) // 200)]])
    for digits in range(4, 8):
        if np.all(np.abs(sample * 10**digits - np.round(sample * 10**digits)) < 1e-4):
            return float(10.0**-digits)
    return 1e-8


def _kink_deg(track: Track, lon: Floats, a: int, b: int, c: int) -> float:
    """Change of direction at ``b`` between the steps a-b and b-c [deg]."""
    scale = np.cos(np.radians(track.lat_deg[b]))
    one = np.array([(lon[b] - lon[a]) * scale, track.lat_deg[b] - track.lat_deg[a]])
    two = np.array([(lon[c] - lon[b]) * scale, track.lat_deg[c] - track.lat_deg[b]])
    cross = one[0] * two[1] - one[1] * two[0]
    return float(np.degrees(np.abs(np.arctan2(cross, np.dot(one, two)))))
