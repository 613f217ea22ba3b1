"""How the earth about the fix becomes a place on the page: two views of one drawing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from trackgrade.report.drawing import short
from trackgrade.track.track import Floats

#: The drawing is in thousandths of a NM (1.85 m), finer than any track.
PER_NM = 1000.0
#: The frame on the page, in its own units (px at full width).
WIDTH, HEIGHT = 480.0, 640.0
MARGIN = 52.0


@dataclass(frozen=True)
class View:
    """How east and north [NM] become a place in the frame: turn by ``turn_deg``, scale, shift.

    ``turn_deg`` is clockwise on the page: minus the inbound course in the hold frame, 0 north up.
    """

    name: str
    turn_deg: float
    px_per_nm: float
    x0: float
    y0: float

    def place(self, east_nm: float, north_nm: float) -> tuple[float, float]:
        """Place in the frame [px] of one point."""
        a = np.radians(self.turn_deg)
        right, down = east_nm, -north_nm
        x = right * np.cos(a) - down * np.sin(a)
        y = right * np.sin(a) + down * np.cos(a)
        return float(self.x0 + x * self.px_per_nm), float(self.y0 + y * self.px_per_nm)

    @property
    def transform(self) -> str:
        return (
            f"translate({short(self.x0, 2)} {short(self.y0, 2)}) rotate({short(self.turn_deg, 2)}) "
            f"scale({short(self.px_per_nm / PER_NM, 5)})"
        )


def both(views: tuple[View, View], of: Callable[[View], str]) -> dict[str, str]:
    """``transform`` for the first view, and both as data for the switch."""
    hold, north = (of(view) for view in views)
    return {"transform": hold, "data_hold": hold, "data_north": north}


def at(views: tuple[View, View], east_nm: float, north_nm: float) -> dict[str, str]:
    def of(view: View) -> str:
        x, y = view.place(east_nm, north_nm)
        return f"translate({short(x)} {short(y)})"

    return both(views, of)


def fit(name: str, turn_deg: float, east: Floats, north: Floats) -> View:
    a = np.radians(turn_deg)
    x = east * np.cos(a) + north * np.sin(a)
    y = east * np.sin(a) - north * np.cos(a)
    width, height = max(float(np.ptp(x)), 0.5), max(float(np.ptp(y)), 0.5)
    scale = min((WIDTH - 2 * MARGIN) / width, (HEIGHT - 2 * MARGIN) / height)
    middle_x, middle_y = float(x.min() + x.max()) / 2, float(y.min() + y.max()) / 2
    return View(name, turn_deg, scale, WIDTH / 2 - middle_x * scale, HEIGHT / 2 - middle_y * scale)
