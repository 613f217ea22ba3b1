"""Which part of a flight tells the wind, and the fit over it."""

from __future__ import annotations

import numpy as np

from trackgrade.earth.units import METRES_PER_NM
from trackgrade.motion.motion import Motion
from trackgrade.motion.wind import WindFit, fit_wind
from trackgrade.track.ranks import median
from trackgrade.track.track import Bools

#: Flight before and after the laps that belongs to the stay [s].
BEFORE_S, AFTER_S = 30.0, 20.0


def near_the_fix(motion: Motion, leg_s: float) -> Bools:
    """Grid times (g,) at which the aircraft is within reach of a hold with legs of ``leg_s``."""
    position, velocity, _ = motion.trajectory.at(motion.grid_s)
    distance_nm = np.hypot(position[:, 0], position[:, 1]) / METRES_PER_NM
    speed_nm_s = np.hypot(velocity[:, 0], velocity[:, 1]) / METRES_PER_NM
    reach_nm = 3.0 + median(speed_nm_s) * (1.5 * min(leg_s, 400.0) + 60.0)
    return np.asarray(distance_nm < reach_nm)


def over_the_stays(motion: Motion, spans: list[tuple[float, float]]) -> Bools:
    """Grid times (g,) inside the stays in the hold, given as (start, end) [s since 1970]."""
    epoch_s = motion.grid_s + motion.start_epoch_s
    inside = np.zeros(len(epoch_s), dtype=bool)
    for start, end in spans:
        inside |= (epoch_s >= start - BEFORE_S) & (epoch_s <= end + AFTER_S)
    return inside


def wind_over(motion: Motion, where: Bools) -> tuple[WindFit | None, str]:
    """Wind and airspeed from the grid times that are chosen and not in a hole, or why they cannot be told."""
    use = where & ~motion.in_hole
    if np.count_nonzero(use) < 30:
        return None, "too little flight near the fix to estimate the wind"
    times = motion.grid_s[use]
    _, velocity, _ = motion.calm.at(times)
    return fit_wind(times, velocity)
