"""A place for words: off lines, off each other, inside the frame. For the drawings of pages and of the figure alike."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.track.track import Floats

Point = tuple[float, float]

#: How bad a place is, in steps of line hidden: lying over other words, or leaving the frame, is worse than any line.
OVER_WORDS, OUT_OF_FRAME = 1000.0, 1000.0
#: About how wide letters are, in their size, of the typefaces that `palette.SANS` names: Helvetica's figures, widened
#: by an eighth for the broader of them.
_NARROW, _BROAD, _BROADER = "ijlI.,:;'|!()[]/ ftr", "ABCDEFGHKLNOPQRSTUVXYZ", "mwMW@%—"
_WIDTHS = dict.fromkeys(_NARROW, 0.36) | dict.fromkeys(_BROAD, 0.77) | dict.fromkeys(_BROADER, 0.98)
_OTHER_WIDTH = 0.62


def text_width(text: str, size: float) -> float:
    """About how wide a line of text is, in the unit of its letters' ``size``; rather more than less."""
    return size * sum(_WIDTHS.get(c, _OTHER_WIDTH if ord(c) < 0x2E80 else 1.0) for c in text)


@dataclass(frozen=True)
class Box:
    """A rectangle with sides along the axes; ``low`` and ``high`` are the smaller and larger y, whichever way is up."""

    left: float
    low: float
    right: float
    high: float

    @staticmethod
    def about(x: float, y: float, width: float, height: float) -> Box:
        return Box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)


class Placer:
    """Remembers what is drawn, and finds free places in a frame. One unit both ways, whatever it is."""

    def __init__(self, frame: Box, step: float) -> None:
        """``step``: lines are looked at every so far along; about half a letter."""
        self.frame, self.step = frame, step
        self._boxes: list[Box] = []
        self._lines: list[Floats] = []

    def copy(self) -> Placer:
        """Another one that knows the same and learns on its own."""
        other = copy.copy(self)
        other._boxes, other._lines = list(self._boxes), list(self._lines)
        return other

    def keep_off_line(self, x: Floats, y: Floats) -> None:
        """A line through points (n,); NaN lifts the pen."""
        points = np.column_stack((np.asarray(x, dtype=float), np.asarray(y, dtype=float)))
        known = np.isfinite(points).all(axis=1)
        start, along = points[:-1], np.diff(points, axis=0)
        drawn = known[:-1] & known[1:]
        start, along = start[drawn], along[drawn]
        pieces = (np.hypot(*along.T) / self.step).astype(int) + 1
        shares = (np.arange(pieces.sum()) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / np.repeat(pieces, pieces)
        self._lines += [np.repeat(start, pieces, axis=0) + shares[:, None] * np.repeat(along, pieces, axis=0)]
        self._lines += [points[known][-1:]]

    def keep_off(self, box: Box) -> None:
        """Nothing may be written over this."""
        self._boxes.append(box)

    def put(self, places: Sequence[Point], width: float, height: float) -> Point:
        """The best of the places (centres) for a box of this size; the first ones are liked best. It is then taken."""
        best, _ = self._best(places, width, height, self._lines)
        self.keep_off(Box.about(*best, width, height))
        return best

    def put_on_line(self, places: Sequence[Point], width: float, height: float) -> Point | None:
        """The same for what stands on its line: only boxes and frame count. None, and nothing taken, without room."""
        if not places:
            return None
        best, cost = self._best(places, width, height, [])
        if cost >= min(OVER_WORDS, OUT_OF_FRAME):
            return None
        self.keep_off(Box.about(*best, width, height))
        return best

    def _best(
        self, places: Sequence[Point], width: float, height: float, lines: Sequence[Floats]
    ) -> tuple[Point, float]:
        x, y = np.array(places, dtype=float).T
        left, low, right, high = x - width / 2, y - height / 2, x + width / 2, y + height / 2
        frame = self.frame
        beyond = (frame.left - left, frame.low - low, right - frame.right, high - frame.high)
        out = sum(np.maximum(by, 0.0) for by in beyond)
        cost = np.where(out > 0.0, OUT_OF_FRAME + out / self.step, 0.0)
        if self._boxes:
            boxes = np.array([(box.left, box.low, box.right, box.high) for box in self._boxes]).T[:, :, None]
            over = (left < boxes[2]) & (boxes[0] < right) & (low < boxes[3]) & (boxes[1] < high)
            cost += OVER_WORDS * over.sum(axis=0)
        if lines:
            at_x, at_y = np.concatenate(lines).T
            near = (at_x > left.min()) & (at_x < right.max()) & (at_y > low.min()) & (at_y < high.max())
            at_x, at_y = at_x[near, None], at_y[near, None]
            cost += ((at_x > left) & (at_x < right) & (at_y > low) & (at_y < high)).sum(axis=0)
        best = int(np.argmin(cost))
        return places[best], float(cost[best])


def around(
    place: Point, toward: Point, width: float, height: float, gaps: Sequence[float], turns_deg: Sequence[float] = ()
) -> Iterator[Point]:
    """Centres of a box of this size beside a place: each gap off it, first in the direction ``toward``, then turned."""
    first = math.atan2(toward[1], toward[0])
    for gap in gaps:
        for turn in turns_deg or (0, 30, -30, 60, -60, 95, -95, 130, -130, 180):
            angle = first + math.radians(turn)
            # The box touches a circle about the place: its centre lies further out by its own half size that way.
            reach = gap + 0.5 * abs(width * math.cos(angle)) + 0.5 * abs(height * math.sin(angle))
            yield place[0] + reach * math.cos(angle), place[1] + reach * math.sin(angle)
