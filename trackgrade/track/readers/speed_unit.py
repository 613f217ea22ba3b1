"""Which unit a logged ground speed is in, by the speed between its positions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackgrade.earth.units import KT_PER_M_S
from trackgrade.track.track import Floats

_METRES_PER_DEG = 111_195.0  # mean earth radius 6,371,009 m (IUGG): good to 0.5 %, the units differ by 15 %
_SLOWEST_KT = 20.0
_SHORTEST_S, _LONGEST_S = 0.2, 30.0
_FEWEST_PAIRS = 5
_AGREES_WITHIN = 0.07  # half of the 15 % between knots and miles an hour


@dataclass(frozen=True)
class SpeedUnit:
    """A unit and its size in knots."""

    name: str
    kt: float


SPEED_UNITS = (
    SpeedUnit("m/s", KT_PER_M_S),
    SpeedUnit("km/h", KT_PER_M_S / 3.6),
    SpeedUnit("mph", 1609.344 / 1852.0),
    SpeedUnit("kt", 1.0),
)


@dataclass(frozen=True)
class GroundMotion:
    """Between points ``apart`` rows from each other, each (n - apart,), NaN where the pair tells nothing."""

    speed_kt: Floats
    course_deg: Floats
    apart: int

    def logged_before(self, values: Floats) -> Floats:
        """A logged channel (n,) at the first point of each pair."""
        return values[: len(self.speed_kt)]

    def logged_between(self, values: Floats) -> Floats:
        """The mean of a logged channel (n,) at both points of each pair."""
        return 0.5 * (values[: len(self.speed_kt)] + values[self.apart :])


def ground_motion(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats) -> GroundMotion:
    """Speed and true course over the ground between points about a second or more apart.

    A pair tells nothing that is not 0.2 to 30 s apart or moves slower than 20 kt. A rough measure for telling
    units apart, on a sphere; nothing is graded by it.
    """
    with np.errstate(all="ignore"):
        steps_s = np.diff(epoch_s)
        steps_s = steps_s[steps_s > 0]
        usual_s = float(np.median(steps_s)) if len(steps_s) else 1.0
        apart = int(np.clip(np.ceil(0.9 / usual_s), 1, max(1, min(200, len(epoch_s) - 1))))
        dt = epoch_s[apart:] - epoch_s[:-apart]
        north = (lat_deg[apart:] - lat_deg[:-apart]) * _METRES_PER_DEG
        east = (np.mod(lon_deg[apart:] - lon_deg[:-apart] + 180.0, 360.0) - 180.0) * _METRES_PER_DEG
        east = east * np.cos(np.radians(lat_deg[:-apart]))
        speed_kt = np.hypot(north, east) / dt * KT_PER_M_S
        usable = (dt >= _SHORTEST_S) & (dt <= _LONGEST_S) & (speed_kt > _SLOWEST_KT) & np.isfinite(speed_kt)
        course_deg = np.mod(np.degrees(np.arctan2(east, north)), 360.0)
    return GroundMotion(np.where(usable, speed_kt, np.nan), np.where(usable, course_deg, np.nan), apart)


def unit_by_positions(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats, speed: Floats) -> SpeedUnit | None:
    """The unit in which ``speed`` (n,) agrees with the positions within 7 %; None where none does.

    Compares medians over the pairs of points that `ground_motion` can use.
    """
    flown = ground_motion(epoch_s, lat_deg, lon_deg)
    with np.errstate(all="ignore"):
        ratio = flown.speed_kt / flown.logged_between(speed)
        ratio = ratio[np.isfinite(ratio) & (ratio > 0)]
    if len(ratio) < _FEWEST_PAIRS:
        return None
    kt_per_unit = float(np.median(ratio))
    best = min(SPEED_UNITS, key=lambda unit: abs(np.log(kt_per_unit / unit.kt)))
    return best if abs(kt_per_unit / best.kt - 1.0) <= _AGREES_WITHIN else None
