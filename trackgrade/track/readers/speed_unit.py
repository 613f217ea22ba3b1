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


def ground_motion(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats) -> tuple[Floats, Floats]:
    """Speed [kt] and course [deg true] from each point to the next, each (n - 1,).

    NaN where the pair is not 0.2 to 30 s apart or moves slower than 20 kt. A rough measure for telling
    units apart, on a sphere; nothing is graded by it.
    """
    with np.errstate(all="ignore"):
        dt = np.diff(epoch_s)
        north = np.diff(lat_deg) * _METRES_PER_DEG
        east = (np.mod(np.diff(lon_deg) + 180.0, 360.0) - 180.0) * _METRES_PER_DEG
        east = east * np.cos(np.radians(lat_deg[:-1]))
        speed_kt = np.hypot(north, east) / dt * KT_PER_M_S
        usable = (dt >= _SHORTEST_S) & (dt <= _LONGEST_S) & (speed_kt > _SLOWEST_KT) & np.isfinite(speed_kt)
        course_deg = np.mod(np.degrees(np.arctan2(east, north)), 360.0)
    return np.where(usable, speed_kt, np.nan), np.where(usable, course_deg, np.nan)


def unit_by_positions(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats, speed: Floats) -> SpeedUnit | None:
    """The unit in which ``speed`` (n,) agrees with the positions within 7 %; None where none does.

    Compares medians over the pairs of points that `ground_motion` can use.
    """
    flown_kt, _ = ground_motion(epoch_s, lat_deg, lon_deg)
    with np.errstate(all="ignore"):
        ratio = flown_kt / (0.5 * (speed[:-1] + speed[1:]))
        ratio = ratio[np.isfinite(ratio) & (ratio > 0)]
    if len(ratio) < _FEWEST_PAIRS:
        return None
    kt_per_unit = float(np.median(ratio))
    best = min(SPEED_UNITS, key=lambda unit: abs(np.log(kt_per_unit / unit.kt)))
    return best if abs(kt_per_unit / best.kt - 1.0) <= _AGREES_WITHIN else None
