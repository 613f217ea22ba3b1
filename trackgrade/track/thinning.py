"""Many points a second averaged to two: an aircraft does not move in a tenth of a second as its noise does.

The mean of five positions 0.1 s apart lies within centimetres of the aircraft (a turn of 3 m/s2 bends by 3 cm in
half a second) and has less than half of their noise. What follows then takes as long as for a log of 2 Hz.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.track.cleaning import LEAST_POINTS
from trackgrade.track.track import DIRECTIONS, CleanTrack, Floats, Rows

#: Points closer together than this are averaged, into steps of `STEP_S` [s].
CLOSEST_S = 0.3
STEP_S = 0.5


def thin(clean: CleanTrack) -> CleanTrack:
    """A clean track of at most two points a second; one with fewer, or hardly a second long, as it is.

    Positions, altitude and channels are means over steps of half a second, directions the direction of the mean
    vector, NaN left out. No step spans a gap. ``interval_s`` is that of the averaged track.
    """
    track = clean.track
    step = np.floor((track.epoch_s - track.epoch_s[0]) / STEP_S)
    if clean.interval_s >= CLOSEST_S or len(np.unique(step)) < LEAST_POINTS:
        return clean
    first = np.flatnonzero(np.concatenate([[True], np.diff(step) > 0.0]))
    group = np.cumsum(np.concatenate([[False], np.diff(step) > 0.0]))

    def from_first(values: Floats) -> Floats:
        """Means, as departures from each step's first: exact for a step of one point."""
        return np.asarray(values[first] + _means(values - values[first][group], first))

    epoch_s = from_first(track.epoch_s)
    # No longitude is cut by the 180 degree meridian: the departures are folded, then the sums.
    east_deg = _means(wrap180(track.lon_deg - track.lon_deg[first][group]), first)
    thinned = replace(
        track,
        epoch_s=epoch_s,
        lat_deg=from_first(track.lat_deg),
        lon_deg=wrap180(track.lon_deg[first] + east_deg),
        alt_ft=_means(track.alt_ft, first),
        channels={
            name: _mean_directions(values, first) if name in DIRECTIONS else _means(values, first)
            for name, values in track.channels.items()
        },
    )
    note = f"{1.0 / clean.interval_s:.0f} points a second were averaged to {1.0 / STEP_S:.0f}."
    return replace(clean, track=thinned, interval_s=float(np.median(np.diff(epoch_s))), notes=(*clean.notes, note))


def _means(values: Floats, first: Rows) -> Floats:
    """Means (g,) of the values (n,) of each step, from its first index (g,); NaN only where all are."""
    there = ~np.isnan(values)
    count = np.add.reduceat(there.astype(np.float64), first)
    total = np.add.reduceat(np.where(there, values, 0.0), first)
    return np.where(count > 0.0, total / np.maximum(count, 1.0), np.nan)


def _mean_directions(values_deg: Floats, first: Rows) -> Floats:
    """Directions (g,) of the mean unit vector of each step [deg]."""
    radians = np.radians(values_deg)
    return np.asarray(wrap360(np.degrees(np.arctan2(_means(np.sin(radians), first), _means(np.cos(radians), first)))))
