"""The part of a flight that can belong to a hold: from a while before it first comes near the fix to a while after.

What was flown an hour away tells nothing about the hold, and takes as long to look at.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackgrade.earth.geodesy import near_east_north_m
from trackgrade.earth.units import METRES_PER_NM
from trackgrade.track.cleaning import LEAST_POINTS
from trackgrade.track.track import CleanTrack

#: A hold lies within this, and as far as two legs and this long in turns take the aircraft [NM, s].
ASIDE_NM, TURNING_S = 5.0, 120.0
#: Flight before and after that is kept [s].
AROUND_S = 300.0
#: Slower than this it is on the ground [m/s].
ON_THE_GROUND_M_S = 15.0


def near_fix(clean: CleanTrack, fix_lat_deg: float, fix_lon_deg: float, leg_s: float) -> CleanTrack:
    """The track from `AROUND_S` before it first comes within reach of a hold with legs of ``leg_s`` to as long after
    it last was; the whole of it where it never does."""
    track = clean.track
    place = np.stack(near_east_north_m(fix_lat_deg, fix_lon_deg, track.lat_deg, track.lon_deg), axis=1)
    step_m = np.hypot(*np.diff(place, axis=0).T)
    speed = step_m / np.diff(track.epoch_s)
    flying = speed[speed > ON_THE_GROUND_M_S]
    fast_m_s = float(np.quantile(flying, 0.9)) if len(flying) else 0.0
    reach_m = ASIDE_NM * METRES_PER_NM + fast_m_s * (2.0 * leg_s + TURNING_S)
    near = np.flatnonzero(np.hypot(place[:, 0], place[:, 1]) < reach_m)
    if not len(near):
        return clean
    start, end = track.epoch_s[near[0]] - AROUND_S, track.epoch_s[near[-1]] + AROUND_S
    kept = slice(int(np.searchsorted(track.epoch_s, start)), int(np.searchsorted(track.epoch_s, end, side="right")))
    part = track.take(kept)
    if len(part) == len(track) or len(part) < LEAST_POINTS:
        return clean
    first, last = part.epoch_s[0], part.epoch_s[-1]
    gaps = tuple(gap for gap in clean.gaps if first <= gap.start_epoch_s and gap.end_epoch_s <= last)
    return replace(clean, track=part, gaps=gaps)
