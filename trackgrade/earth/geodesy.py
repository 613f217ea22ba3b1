"""Distances and directions on the WGS 84 ellipsoid. The only file that imports pyproj."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from pyproj import Geod

from trackgrade.earth.units import METRES_PER_NM

_WGS84 = Geod(ellps="WGS84")


def azimuth_distance(
    lat1_deg: Any, lon1_deg: Any, lat2_deg: Any, lon2_deg: Any
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """True azimuth at the first point [deg, 0-360) and geodesic distance [NM] to the second; broadcasting."""
    lat1, lon1, lat2, lon2 = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (lat1_deg, lon1_deg, lat2_deg, lon2_deg))
    )
    azimuth, _, distance = _WGS84.inv(lon1.copy(), lat1.copy(), lon2.copy(), lat2.copy())
    return np.mod(azimuth, 360.0), np.asarray(distance) / METRES_PER_NM


def cartesian_m(lat_deg: Any, lon_deg: Any) -> npt.NDArray[np.float64]:
    """Earth-centred coordinates (n, 3) [m] of latitudes and longitudes (n,) [deg], at height 0.

    The straight line between two places is the quick way to their distance: 1 micrometre short at 1 km, 1 m at 50 NM.
    Source: the definition of geodetic coordinates on the WGS 84 ellipsoid (NIMA TR8350.2).
    """
    lat, lon = np.radians(lat_deg), np.radians(lon_deg)
    normal = _WGS84.a / np.sqrt(1.0 - _WGS84.es * np.sin(lat) ** 2)
    equatorial = normal * np.cos(lat)
    polar = normal * (1.0 - _WGS84.es) * np.sin(lat)
    return np.stack([equatorial * np.cos(lon), equatorial * np.sin(lon), polar], axis=-1)


def destination(
    lat_deg: Any, lon_deg: Any, azimuth_deg: Any, distance_nm: Any
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Point reached along a geodesic: latitude and longitude [deg, lon -180 to 180]; broadcasting."""
    lat, lon, azimuth, distance = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (lat_deg, lon_deg, azimuth_deg, distance_nm))
    )
    to_lon, to_lat, _ = _WGS84.fwd(lon.copy(), lat.copy(), azimuth.copy(), distance * METRES_PER_NM)
    return np.asarray(to_lat), np.asarray(to_lon)


class LocalPlane:
    """Azimuthal equidistant plane about a point: exact distance and bearing from that point.

    Built on the geodesic itself, so it holds at any latitude and across the 180 degree meridian.
    """

    def __init__(self, lat_deg: float, lon_deg: float) -> None:
        self.lat_deg = float(lat_deg)
        self.lon_deg = float(lon_deg)

    def to_plane(self, lat_deg: Any, lon_deg: Any) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """East and north of the point [NM] for latitudes and longitudes (n,) [deg]."""
        azimuth, distance_nm = azimuth_distance(self.lat_deg, self.lon_deg, lat_deg, lon_deg)
        radians = np.radians(azimuth)
        return distance_nm * np.sin(radians), distance_nm * np.cos(radians)

    def to_geographic(self, east_nm: Any, north_nm: Any) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Latitude and longitude [deg] of points of the plane (n,) [NM]."""
        azimuth = np.degrees(np.arctan2(east_nm, north_nm))
        return destination(self.lat_deg, self.lon_deg, azimuth, np.hypot(east_nm, north_nm))
