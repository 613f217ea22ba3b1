"""The hold's own frame: along the inbound course and across it, holding side positive.

Right and left patterns, any latitude, and a fix next to the 180 degree meridian are one case in it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from trackgrade.earth.geodesy import LocalPlane
from trackgrade.hold.hold import Hold
from trackgrade.track.track import Floats


class HoldFrame:
    """Origin at the fix; ``along`` grows in the direction of the inbound course, ``cross`` toward the holding side."""

    def __init__(self, hold: Hold) -> None:
        self.plane = LocalPlane(hold.fix_lat_deg, hold.fix_lon_deg)
        self.inbound_course_true_deg = hold.inbound_course_true_deg
        self.side = hold.side
        course = np.radians(hold.inbound_course_true_deg)
        self._sin, self._cos = float(np.sin(course)), float(np.cos(course))

    def from_east_north(self, east: Any, north: Any) -> tuple[Floats, Floats]:
        """Rotate (and for left turns mirror) plane vectors into along and cross; any unit."""
        along = east * self._sin + north * self._cos
        cross = self.side * (east * self._cos - north * self._sin)
        return along, cross

    def east_north(self, along: Any, cross: Any) -> tuple[Floats, Floats]:
        """The reverse of `from_east_north`."""
        right = self.side * np.asarray(cross)
        east = np.asarray(along) * self._sin + right * self._cos
        north = np.asarray(along) * self._cos - right * self._sin
        return east, north

    def from_geographic(self, lat_deg: Any, lon_deg: Any) -> tuple[Floats, Floats]:
        """Along and cross [NM] of latitudes and longitudes (n,) [deg]."""
        return self.from_east_north(*self.plane.to_plane(lat_deg, lon_deg))

    def to_geographic(self, along_nm: Any, cross_nm: Any) -> tuple[Floats, Floats]:
        """Latitude and longitude [deg] of along and cross (n,) [NM]."""
        return self.plane.to_geographic(*self.east_north(along_nm, cross_nm))
