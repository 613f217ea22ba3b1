"""Where two radials cross, solved on the ellipsoid."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.earth.geodesy import azimuth_distance, destination

#: Radials that cross at less than this do not fix a place: 1 degree of error moves it by a quarter of its
#: distance. Our own choice for "parallel".
PARALLEL_DEG = 4.0
PARALLEL = f"they are parallel within {PARALLEL_DEG:g} degrees"

_ENOUGH_NM = 1e-9
_ONE_LINE = 1e-6  # sine of the angle between them


@dataclass(frozen=True, eq=False)
class RadialCrossing:
    """The crossing of two radials.

    ``angle_deg`` 0 to 90, between the two lines at the crossing. ``distance_nm`` from each station.
    ``nm_per_deg``: how far the crossing moves for 1 degree of error in the first and in the second radial.
    """

    lat_deg: float
    lon_deg: float
    angle_deg: float
    distance_nm: tuple[float, float]
    nm_per_deg: tuple[float, float]


class NoCrossing(ValueError):
    """The radials do not cross; ``reason`` is a phrase for people."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


def cross_radials(
    first: tuple[float, float], first_true_deg: float, second: tuple[float, float], second_true_deg: float
) -> RadialCrossing:
    """The point that bears ``first_true_deg`` from the first station and ``second_true_deg`` from the second.

    Parameters
    ----------
    first, second : (lat, lon)   [deg, WGS 84]
    first_true_deg, second_true_deg : float   [deg true, from the station]

    Raises
    ------
    NoCrossing
        Parallel (under 4 degrees), one station for both, or crossing only behind a station.

    Newton's method on the ellipsoid: each step moves to where the two straight lines through the present point, offset
    by what each radial misses, cross.
    """
    apart_nm = float(azimuth_distance(*first, *second)[1])
    if apart_nm < 0.01:
        raise NoCrossing("both radials are of one station, so they meet only at the station")
    lat, lon = _in_the_plane(first, first_true_deg, second, second_true_deg)
    stations = np.array([first, second])
    wanted = np.array([first_true_deg, second_true_deg])
    for _ in range(30):
        radial, distance_nm = azimuth_distance(stations[:, 0], stations[:, 1], lat, lon)
        behind = np.abs(wrap180(radial - wanted)) > 90.0
        back, _ = azimuth_distance(lat, lon, stations[:, 0], stations[:, 1])
        line = np.radians(back)  # direction of each line at the point, toward its station
        angle = float(abs(wrap180(2.0 * (back[0] - back[1])))) / 2.0
        if angle < PARALLEL_DEG:
            raise NoCrossing(PARALLEL)
        miss = np.radians(wrap180(np.where(behind, radial + 180.0, radial) - wanted))
        # How far the point lies to the right of each line, looking away from the station through the point.
        right_nm = distance_nm * np.sin(miss)
        right_of_line = np.stack([-np.cos(line), np.sin(line)], axis=1)
        east, north = np.linalg.solve(right_of_line, -right_nm)
        step_nm = math.hypot(east, north)
        lat_step, lon_step = destination(lat, lon, math.degrees(math.atan2(east, north)), step_nm)
        lat, lon = float(lat_step), float(lon_step)
        if step_nm < _ENOUGH_NM:
            break
    else:
        raise NoCrossing("they do not settle on one point")
    if behind.any():
        which = "both stations" if behind.all() else f"the {'first' if behind[0] else 'second'} station"
        raise NoCrossing(f"the lines cross only behind {which}; check the radials for a reciprocal")
    spread = distance_nm * math.radians(1.0) / math.sin(math.radians(angle))
    return RadialCrossing(
        lat,
        lon,
        angle,
        (float(distance_nm[0]), float(distance_nm[1])),
        (float(spread[0]), float(spread[1])),
    )


def _in_the_plane(
    first: tuple[float, float], first_true_deg: float, second: tuple[float, float], second_true_deg: float
) -> tuple[float, float]:
    """Where the two lines cross in a plane triangle with the angles at the stations: near enough to begin with."""
    bearing_deg, apart_nm = azimuth_distance(*first, *second)
    back_deg, _ = azimuth_distance(*second, *first)
    at_first, at_second = np.radians([first_true_deg - bearing_deg, back_deg - second_true_deg])
    across = math.sin(at_first + at_second)
    if abs(across) < _ONE_LINE:
        raise NoCrossing("they lie on one line" if abs(math.sin(at_second)) < _ONE_LINE else PARALLEL)
    lat, lon = destination(*first, first_true_deg, apart_nm * math.sin(at_second) / across)
    return float(lat), float(lon)
