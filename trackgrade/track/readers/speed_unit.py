"""What the positions say of a logged speed or course: the unit of the one, how far the other is off."""

from __future__ import annotations

import numpy as np

from trackgrade.earth.angles import turn_from_to
from trackgrade.earth.units import KT_PER_M_S
from trackgrade.track.columns import UNITS, Unit
from trackgrade.track.track import Floats

_METRES_PER_DEG = 111_195.0  # mean earth radius 6,371,009 m (IUGG): good to 0.5 %, the units differ by 15 %
_SLOWEST_KT = 20.0
_SHORTEST_S, _LONGEST_S = 0.2, 30.0
_FEWEST_PAIRS = 5
_AGREES_WITHIN = 0.07  # half of the 15 % between knots and miles an hour
_SPEED_UNITS = [unit for unit in UNITS["speed"] if unit.name != "ft/s"]  # too near to km/h, and nobody's ground speed


def unit_by_positions(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats, speed: Floats) -> Unit | None:
    """The unit in which ``speed`` (n,) agrees with the positions within 7 %; None where none does."""
    per_unit_kt = kt_per_unit(epoch_s, lat_deg, lon_deg, speed)
    if np.isnan(per_unit_kt):
        return None
    best = min(_SPEED_UNITS, key=lambda unit: abs(np.log(per_unit_kt / unit.factor)))
    return best if abs(per_unit_kt / best.factor - 1.0) <= _AGREES_WITHIN else None


def kt_per_unit(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats, speed: Floats) -> float:
    """How many knots over the ground, by the positions, go with one of a logged ``speed`` (n,): the median over pairs
    of points; NaN where fewer than five tell."""
    speed_kt, _, apart = _ground_motion(epoch_s, lat_deg, lon_deg)
    with np.errstate(all="ignore"):
        ratio = speed_kt / (0.5 * (speed[:-apart] + speed[apart:]))
        ratio = ratio[np.isfinite(ratio) & (ratio > 0)]
    return float(np.median(ratio)) if len(ratio) >= _FEWEST_PAIRS else np.nan


def off_course_deg(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats, course_deg: Floats) -> float:
    """How far right of the course between positions a logged course (n,) is, by the median; NaN as `kt_per_unit`."""
    _, flown_deg, apart = _ground_motion(epoch_s, lat_deg, lon_deg)
    with np.errstate(all="ignore"):
        off = turn_from_to(flown_deg, course_deg[:-apart])
    off = off[np.isfinite(off)]
    return float(np.median(off)) if len(off) >= _FEWEST_PAIRS else np.nan


def _ground_motion(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats) -> tuple[Floats, Floats, int]:
    """Speed [kt] and true course [deg] over the ground between points about a second or more apart, each (n - apart,),
    and how many rows that is.

    NaN where a pair is not 0.2 to 30 s apart or moves slower than 20 kt. A rough measure for telling units apart, on a
    sphere; nothing is graded by it.
    """
    with np.errstate(all="ignore"):
        steps_s = np.diff(epoch_s)
        steps_s = steps_s[steps_s > 0]
        usual_s = float(np.median(steps_s)) if len(steps_s) else 1.0
        apart = int(np.clip(np.ceil(0.9 / usual_s), 1, max(1, min(200, len(epoch_s) - 1))))
        dt = epoch_s[apart:] - epoch_s[:-apart]
        north = (lat_deg[apart:] - lat_deg[:-apart]) * _METRES_PER_DEG
        east = turn_from_to(lon_deg[:-apart], lon_deg[apart:]) * _METRES_PER_DEG
        east = east * np.cos(np.radians(lat_deg[:-apart]))
        speed_kt = np.hypot(north, east) / dt * KT_PER_M_S
        usable = (dt >= _SHORTEST_S) & (dt <= _LONGEST_S) & (speed_kt > _SLOWEST_KT) & np.isfinite(speed_kt)
        course_deg = np.mod(np.degrees(np.arctan2(east, north)), 360.0)
    return np.where(usable, speed_kt, np.nan), np.where(usable, course_deg, np.nan), apart
