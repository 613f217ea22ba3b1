"""SVG elements over a plane in NM, and labels that keep clear of lines and of each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from xml.sax.saxutils import escape

import numpy as np

from trackgrade.hold.lapshape import Floats

WIDTH, HEIGHT = 720.0, 560.0
MARGIN = 46.0
#: The foot of the drawing belongs to north, wind and scale.
FOOT = 60.0

Point = tuple[float, float]

#: Height of a line of text, and about how wide a character is [px], by class.
TEXT_SIZES = {"big": (25.0, 12.5), "small": (20.0, 8.6), "sector-name": (19.0, 8.2), "arrival-name": (21.0, 10.0)}


@dataclass(frozen=True)
class Label:
    """Lines of text (each with its class) beside a place, by preference in a direction of the page."""

    place: Point
    lines: tuple[tuple[str, str], ...]
    direction: Point
    away: float = 14.0


class Canvas:
    """Collects elements. Places are of the page [px], from `xy`; y grows downward."""

    def __init__(self, east_nm: Floats, north_nm: Floats) -> None:
        spans = (max(float(np.ptp(east_nm)), 0.1), max(float(np.ptp(north_nm)), 0.1))
        self.scale = min((WIDTH - 2 * MARGIN) / spans[0], (HEIGHT - MARGIN - FOOT) / spans[1])
        self.centre = (
            float(east_nm.min() + east_nm.max()) / 2.0,
            float(north_nm.min() + north_nm.max()) / 2.0,
        )
        self.parts: list[str] = []
        self.labels: list[Label] = []
        self._busy: list[Point] = []

    def xy(self, east_nm: float, north_nm: float) -> Point:
        """The place on the page of a place on the plane."""
        return (
            WIDTH / 2.0 + (east_nm - self.centre[0]) * self.scale,
            (HEIGHT - FOOT + MARGIN / 2.0) / 2.0 - (north_nm - self.centre[1]) * self.scale,
        )

    def line(self, points: Iterable[Point], kind: str, *, busy: bool = True) -> None:
        """A line; labels keep clear of it where ``busy``."""
        points = list(points)
        self.parts.append(f'<polyline class="{kind}" points="{_path(points)}"/>')
        if busy:
            for start, end in pairwise(points):
                steps = max(1, int(math.dist(start, end) / 6.0))
                self._busy += [
                    (start[0] + (end[0] - start[0]) * i / steps, start[1] + (end[1] - start[1]) * i / steps)
                    for i in range(steps + 1)
                ]

    def shape(self, points: Iterable[Point], kind: str) -> None:
        self.parts.append(f'<polygon class="{kind}" points="{_path(points)}"/>')

    def arrow(self, start: Point, end: Point, kind: str, size: float = 11.0) -> None:
        """A line with a head at its end."""
        self.line((start, end), kind)
        self.head(end, math.atan2(end[1] - start[1], end[0] - start[0]), f"{kind}-head", size)

    def head(self, tip: Point, angle: float, kind: str, size: float = 11.0) -> None:
        sides = (angle + 0.38, angle - 0.38)
        self.shape([tip, *((tip[0] - size * math.cos(a), tip[1] - size * math.sin(a)) for a in sides)], kind)

    def dot(self, place: Point, radius: float, kind: str) -> None:
        self.parts.append(f'<circle class="{kind}" cx="{place[0]:.1f}" cy="{place[1]:.1f}" r="{radius:g}"/>')

    def text(self, place: Point, text: str, kind: str, anchor: str = "middle") -> None:
        self.parts.append(
            f'<text class="{kind}" x="{place[0]:.1f}" y="{place[1]:.1f}" text-anchor="{anchor}" '
            f'dominant-baseline="middle">{escape(text)}</text>'
        )

    def place_labels(self) -> None:
        """Put each label where it hides least, the first ones first."""
        taken: list[tuple[float, float, float, float]] = []
        for label in self.labels:
            boxes = [
                _box(label, turn, stretch)
                for stretch in (1.0, 1.9, 3.0)
                for turn in (0, 30, -30, 60, -60, 100, -100, 180)
            ]
            box = min(boxes, key=lambda each: self._hides(each, taken))
            taken.append(box)
            top = box[1]
            for text, kind in label.lines:
                height = TEXT_SIZES[kind][0]
                self.text(((box[0] + box[2]) / 2.0, top + height / 2.0), text, kind)
                top += height

    def _hides(
        self, box: tuple[float, float, float, float], taken: Sequence[tuple[float, float, float, float]]
    ) -> float:
        """How bad a place for a label is; the order of candidates breaks a tie."""
        left, top, right, bottom = box
        outside = max(0.0, 4.0 - left) + max(0.0, 4.0 - top) + max(0.0, right - WIDTH + 4.0)
        outside += max(0.0, bottom - HEIGHT + FOOT)
        over = sum(left < other[2] and other[0] < right and top < other[3] and other[1] < bottom for other in taken)
        hidden = sum(left - 2.0 <= x <= right + 2.0 and top - 2.0 <= y <= bottom + 2.0 for x, y in self._busy)
        return 10.0 * outside + 40.0 * over + hidden


def _box(label: Label, turn_deg: float, stretch: float) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of a label put off its place in its direction, turned by some degrees."""
    width = max(len(text) * TEXT_SIZES[kind][1] for text, kind in label.lines)
    height = sum(TEXT_SIZES[kind][0] for _, kind in label.lines)
    angle = math.atan2(label.direction[1], label.direction[0]) + math.radians(turn_deg)
    # The box touches a circle about the place: its centre lies further out by its own half size that way.
    reach = label.away * stretch + 0.5 * abs(width * math.cos(angle)) + 0.5 * abs(height * math.sin(angle))
    x, y = label.place[0] + reach * math.cos(angle), label.place[1] + reach * math.sin(angle)
    return x - width / 2.0, y - height / 2.0, x + width / 2.0, y + height / 2.0


def _path(points: Iterable[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
