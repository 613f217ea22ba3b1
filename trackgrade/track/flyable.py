"""Stretches that no aircraft can have flown: positions that move fast and turn about at random.

A random walk, rows put in a wrong order, or a receiver fed with false signals can have believable speeds from
point to point, and closes into "laps" by chance. What gives it away is the course from step to step: an aircraft's
changes little in two seconds, even in a steep turn.
"""

from __future__ import annotations

import numpy as np

from trackgrade.earth.geodesy import near_east_north_m
from trackgrade.track.track import Bools, Floats

#: Steps looked at [s]: long enough that some metres of position noise do not turn the course.
STEP_S = 2.0
#: Longer steps tell too little: at 3 deg/s the course turns by 90 deg in 30 s.
LONGEST_STEP_S = 10.5
#: Shorter steps are taxi, a stand, or the noise of a position [m]: 12 kt at 2 s a step.
LEAST_STEP_M = 12.0
#: Steps judged together: half a minute at 2 s a step.
WINDOW = 15
#: Length of the mean of the course changes from step to step, as unit vectors. A steady course and a steady
#: circle of any rate have 1; weaving by 60 deg either way 0.5; random courses 0.23 on average over a window.
LEAST_STEADINESS = 0.45
#: Of the steps in a window so many must move to judge it.
LEAST_SHARE = 0.6
#: Where more of the points than this were dropped as spikes, what is left is a choice, not a record.
MOST_DROPPED = 0.4
#: Where less than this share of the positions is left, and no part of this length [s] and number is whole,
#: nothing is a flight.
LEAST_LEFT, WHOLE_S, WHOLE_POINTS = 0.5, 120.0, 30


def unflyable(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats) -> Bools:
    """Which points (n,) stand in a stretch that no aircraft can have flown; times must increase."""
    n = len(epoch_s)
    bad = np.zeros(n, dtype=bool)
    # One point in each two seconds.
    _, index = np.unique(np.floor((epoch_s - epoch_s[0]) / STEP_S), return_index=True)
    if len(index) < WINDOW + 2:
        return bad
    t, lat, lon = epoch_s[index], lat_deg[index], lon_deg[index]
    east_m, north_m = near_east_north_m(lat[:-1], lon[:-1], lat[1:], lon[1:])
    moving = (np.hypot(east_m, north_m) > LEAST_STEP_M) & (np.diff(t) <= LONGEST_STEP_S)
    both = moving[:-1] & moving[1:]
    change = np.where(both, np.exp(1j * np.diff(np.arctan2(east_m, north_m))), 0.0)

    ones = np.ones(WINDOW)
    count = np.convolve(both, ones, mode="same")
    steadiness = np.abs(np.convolve(change, ones, mode="same")) / np.maximum(count, 1.0)
    judged = count >= LEAST_SHARE * WINDOW
    random = judged & (steadiness < LEAST_STEADINESS)
    # A window is random around its middle: what the windows on both sides say is taken together.
    share = np.convolve(random, ones, mode="same") / np.maximum(np.convolve(judged, ones, mode="same"), 1.0)
    middle = share > 0.5  # one for each inner point of the two-second steps
    if not middle.any():
        return bad
    flagged = np.concatenate([middle[:1], middle, middle[-1:]])
    bad[:] = flagged[np.clip(np.searchsorted(index, np.arange(n), side="right") - 1, 0, len(index) - 1)]
    return bad


def among_dropped(before_s: Floats, kept_s: Floats) -> Bools:
    """Which of the kept points (m,) stand where most were dropped; times of all (n,) and of the kept, increasing."""
    n = len(before_s)
    place = np.searchsorted(before_s, kept_s)
    if n < WINDOW or len(place) == n:
        return np.zeros(len(kept_s), dtype=bool)
    dropped = np.ones(n)
    dropped[place] = 0.0
    ones = np.ones(WINDOW)
    share = np.convolve(dropped, ones, mode="same") / np.convolve(np.ones(n), ones, mode="same")
    return np.asarray(share[place] > MOST_DROPPED)


def left_by_chance(before_s: Floats, kept_s: Floats) -> bool:
    """Whether the kept points are scraps: less than half, and nowhere two minutes in a row."""
    if len(kept_s) >= LEAST_LEFT * len(before_s):
        return False
    if not len(kept_s):
        return True
    apart = np.flatnonzero(np.diff(np.searchsorted(before_s, kept_s)) > 1)
    starts, ends = np.concatenate([[0], apart + 1]), np.concatenate([apart, [len(kept_s) - 1]])
    return not np.any((kept_s[ends] - kept_s[starts] >= WHOLE_S) & (ends - starts >= WHOLE_POINTS))
