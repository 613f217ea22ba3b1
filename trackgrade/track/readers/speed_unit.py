"""Which unit a logged ground speed is in, by the speed between its positions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackgrade.earth.units import KT_PER_M_S
from trackgrade.track.track import Floats

_METRES_PER_DEG = 111_195.0  # mean earth radius 6,371,009 m (IUGG): good to 0.4 %, the units differ by 15 %
_SLOWEST_KT = 20.0
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


def unit_by_positions(epoch_s: Floats, lat_deg: Floats, lon_deg: Floats, speed: Floats) -> SpeedUnit | None:
    """The unit in which ``speed`` (n,) agrees with the positions within 7 %; None where none does.

    Compares medians over the pairs of points that are 0.5 to 30 s apart and move faster than 20 kt.
    """
    with np.errstate(all="ignore"):
        dt = np.diff(epoch_s)
        north = np.diff(lat_deg) * _METRES_PER_DEG
        east = (np.mod(np.diff(lon_deg) + 180.0, 360.0) - 180.0) * _METRES_PER_DEG
        east *= np.cos(np.radians(lat_deg[:-1]))
        flown_kt = np.hypot(north, east) / dt * KT_PER_M_S
        logged = 0.5 * (speed[:-1] + speed[1:])
        usable = (dt >= 0.5) & (dt <= 30.0) & (flown_kt > _SLOWEST_KT) & np.isfinite(logged) & (logged > 0)
        usable &= np.isfinite(flown_kt)
        if np.count_nonzero(usable) < _FEWEST_PAIRS:
            return None
        kt_per_unit = float(np.median(flown_kt[usable] / logged[usable]))
    best = min(SPEED_UNITS, key=lambda unit: abs(np.log(kt_per_unit / unit.kt)))
    return best if abs(kt_per_unit / best.kt - 1.0) <= _AGREES_WITHIN else None
