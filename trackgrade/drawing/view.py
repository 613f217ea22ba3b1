"""How the earth about the fix becomes a place on the page."""

from __future__ import annotations

import math
from typing import NamedTuple, TypeVar

import numpy as np

from trackgrade.drawing.svg import short
from trackgrade.track.track import Floats

#: Drawings are in thousandths of a NM (1.85 m), finer than any track.
PER_NM = 1000.0
Some = TypeVar("Some", float, Floats)
#: What is smaller than this is drawn this large [NM].
SMALLEST_NM = 0.5


class View(NamedTuple):
    """How east and north [NM] become a place in a frame of ``size`` [px]: turn by ``turn_deg``, scale, shift; y down.

    ``turn_deg`` is clockwise on the page: minus the inbound course for a hold seen with its course up, 0 north up.
    """

    name: str
    turn_deg: float
    px_per_nm: float
    x0: float
    y0: float
    size: tuple[float, float]

    def places(self, east_nm: Some, north_nm: Some) -> tuple[Some, Some]:
        """Places in the frame [px] of points (n,), or of one."""
        cos, sin = math.cos(math.radians(self.turn_deg)), math.sin(math.radians(self.turn_deg))
        x, y = east_nm * cos + north_nm * sin, east_nm * sin - north_nm * cos
        return self.x0 + x * self.px_per_nm, self.y0 + y * self.px_per_nm

    def place(self, east_nm: float, north_nm: float) -> tuple[float, float]:
        """The place in the frame [px] of one point."""
        x, y = self.places(east_nm, north_nm)
        return float(x), float(y)

    def within(self, size: tuple[float, float]) -> View:
        """The same view as large as another frame allows, in its middle."""
        by = min(size[0] / self.size[0], size[1] / self.size[1])
        x0, y0 = (at * by + (room - own * by) / 2 for at, room, own in zip((self.x0, self.y0), size, self.size))
        return View(self.name, self.turn_deg, self.px_per_nm * by, x0, y0, size)

    @property
    def transform(self) -> str:
        """For a group drawn in `PER_NM` of a NM, north up."""
        return (
            f"translate({short(self.x0, 2)} {short(self.y0, 2)}) rotate({short(self.turn_deg, 2)}) "
            f"scale({short(self.px_per_nm / PER_NM, 5)})"
        )


def fit(
    name: str, turn_deg: float, east: Floats, north: Floats, size: tuple[float, float],
    margins: tuple[float, float, float, float],
) -> View:  # fmt: skip
    """The largest view of points (n,) [NM] in a frame of this size less margins (left, top, right, bottom) [px]."""
    x, y = View(name, turn_deg, 1.0, 0.0, 0.0, size).places(east, north)
    left, top, right, bottom = margins
    room_x, room_y = size[0] - left - right, size[1] - top - bottom
    scale = min(room_x / max(float(np.ptp(x)), SMALLEST_NM), room_y / max(float(np.ptp(y)), SMALLEST_NM))
    middle_x, middle_y = float(x.min() + x.max()) / 2, float(y.min() + y.max()) / 2
    x0, y0 = left + room_x / 2 - middle_x * scale, top + room_y / 2 - middle_y * scale
    return View(name, turn_deg, scale, x0, y0, size)
