"""Distances and directions on the WGS 84 ellipsoid. The only file that imports pyproj.

Near a fix the straight line through the earth serves: the same to centimetres, and pyproj, which takes longer to load
than a flight to grade, is not loaded for it.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from trackgrade.earth.units import METRES_PER_NM

if TYPE_CHECKING:
    from pyproj import Geod

Floats = npt.NDArray[np.float64]
Pair = tuple[Floats, Floats]

#: Semi-major axis [m] and flattening of the ellipsoid (WGS 84, NGA.STND.0036), and the square of its eccentricity.
_AXIS_M, _FLATTENING = 6378137.0, 1.0 / 298.257223563
_E2 = _FLATTENING * (2.0 - _FLATTENING)


@cache
def _wgs84() -> Geod:
    from pyproj import Geod

    return Geod(ellps="WGS84")


def azimuth_distance(lat1_deg: Any, lon1_deg: Any, lat2_deg: Any, lon2_deg: Any) -> Pair:
    """True azimuth at the first point [deg, 0-360) and geodesic distance [NM] to the second; broadcasting."""
    lat1, lon1, lat2, lon2 = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (lat1_deg, lon1_deg, lat2_deg, lon2_deg))
    )
    azimuth, _, distance = _wgs84().inv(lon1.copy(), lat1.copy(), lon2.copy(), lat2.copy())
    return np.mod(azimuth, 360.0), np.asarray(distance) / METRES_PER_NM


def cartesian_m(lat_deg: Any, lon_deg: Any) -> Floats:
    """Earth-centred coordinates (n, 3) [m] of latitudes and longitudes (n,) [deg], at height 0.

    The straight line between two places is the quick way to their distance: 1 micrometre short at 1 km, 1 m at 50 NM.
    Source: the definition of geodetic coordinates on the WGS 84 ellipsoid (NIMA TR8350.2).
    """
    lat, lon = np.radians(lat_deg), np.radians(lon_deg)
    sin_lat = np.sin(lat)
    normal = _AXIS_M / np.sqrt(1.0 - _E2 * sin_lat**2)
    equatorial = normal * np.cos(lat)
    polar = normal * (1.0 - _E2) * sin_lat
    return np.stack([equatorial * np.cos(lon), equatorial * np.sin(lon), polar], axis=-1)


def near_east_north_m(lat1_deg: Any, lon1_deg: Any, lat2_deg: Any, lon2_deg: Any) -> Pair:
    """East and north [m] of second places seen from first ones, true to distance and azimuth; broadcasting.

    The straight line between them gives the azimuth of the normal section, and its length the arc on the circle of
    curvature in that azimuth (Euler's formula). From the geodesic that differs by 1 cm at 50 NM, 10 cm at 100 NM.
    """
    lat, lon = np.radians(lat1_deg), np.radians(lon1_deg)
    straight = cartesian_m(lat2_deg, lon2_deg) - cartesian_m(lat1_deg, lon1_deg)
    x, y, z = straight[..., 0], straight[..., 1], straight[..., 2]
    outward = x * np.cos(lon) + y * np.sin(lon)
    east = y * np.cos(lon) - x * np.sin(lon)
    north = z * np.cos(lat) - outward * np.sin(lat)
    chord = np.sqrt(x * x + y * y + z * z)
    level = np.maximum(np.hypot(east, north), 1e-9)
    radius = _radius_m(lat, (north / level) ** 2)
    arc = 2.0 * radius * np.arcsin(np.minimum(chord / (2.0 * radius), 1.0))
    return np.asarray(east * arc / level), np.asarray(north * arc / level)


def _radius_m(lat_rad: Any, northward: Any) -> Any:
    """Radius of curvature [m] of the ellipsoid at a latitude, in a direction whose cosine to north squared is given."""
    flat = 1.0 - _E2 * np.sin(lat_rad) ** 2
    meridian = _AXIS_M * (1.0 - _E2) / flat**1.5
    across = _AXIS_M / np.sqrt(flat)
    return 1.0 / (northward / meridian + (1.0 - northward) / across)


def destination(lat_deg: Any, lon_deg: Any, azimuth_deg: Any, distance_nm: Any) -> Pair:
    """Point reached along a geodesic: latitude and longitude [deg, lon -180 to 180]; broadcasting."""
    lat, lon, azimuth, distance = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (lat_deg, lon_deg, azimuth_deg, distance_nm))
    )
    to_lon, to_lat, _ = _wgs84().fwd(lon.copy(), lat.copy(), azimuth.copy(), distance * METRES_PER_NM)
    return np.asarray(to_lat), np.asarray(to_lon)


class LocalPlane:
    """Azimuthal equidistant plane about a point: distance and bearing from that point, as `near_east_north_m` says.

    It holds at any latitude and across the 180 degree meridian.
    """

    def __init__(self, lat_deg: float, lon_deg: float) -> None:
        self.lat_deg = float(lat_deg)
        self.lon_deg = float(lon_deg)

    def to_plane(self, lat_deg: Any, lon_deg: Any) -> Pair:
        """East and north of the point [NM] for latitudes and longitudes (n,) [deg]."""
        east_m, north_m = near_east_north_m(self.lat_deg, self.lon_deg, lat_deg, lon_deg)
        return east_m / METRES_PER_NM, north_m / METRES_PER_NM

    def to_geographic(self, east_nm: Any, north_nm: Any) -> Pair:
        """Latitude and longitude [deg] of points of the plane (n,) [NM]."""
        east, north = (np.asarray(v, dtype=np.float64) * METRES_PER_NM for v in (east_nm, north_nm))
        lat, lon = np.radians(self.lat_deg), np.radians(self.lon_deg)
        arc = np.maximum(np.hypot(east, north), 1e-9)
        radius = _radius_m(lat, (north / arc) ** 2)
        level = radius * np.sin(arc / radius) / arc
        inward = radius * (1.0 - np.cos(arc / radius))
        outward = -inward * np.cos(lat) - north * level * np.sin(lat)
        origin = cartesian_m(self.lat_deg, self.lon_deg)
        return _geographic(
            origin[0] + outward * np.cos(lon) - east * level * np.sin(lon),
            origin[1] + outward * np.sin(lon) + east * level * np.cos(lon),
            origin[2] - inward * np.sin(lat) + north * level * np.cos(lat),
        )


def _geographic(x: Any, y: Any, z: Any) -> Pair:
    """Latitude and longitude [deg] of earth-centred coordinates [m] near height 0.

    Source: B. R. Bowring, Transformation from spatial to geographical coordinates, Survey Review 23 (1976): one round
    is exact to far below a millimetre near the ground.
    """
    shrink = 1.0 - _FLATTENING
    equatorial = np.hypot(x, y)
    reduced = np.arctan2(z, equatorial * shrink)
    lat = np.arctan2(
        z + _E2 / (1.0 - _E2) * _AXIS_M * shrink * np.sin(reduced) ** 3,
        equatorial - _E2 * _AXIS_M * np.cos(reduced) ** 3,
    )
    return np.asarray(np.degrees(lat)), np.asarray(np.degrees(np.arctan2(y, x)))
