"""A place for words: off lines, off each other, inside the frame. For the drawings of pages and of the figure alike."""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.track.track import Floats

Point = tuple[float, float]

#: How bad a place is, in steps of line hidden: lying over other words, or leaving the frame, is worse than any line.
OVER_WORDS, OUT_OF_FRAME = 1000.0, 1000.0
#: The last place of those to choose from is as bad as one that lies across a line: words belong beside what they name.
LAST_PLACE = 3.0
#: Directions to try for words beside a place, from the one liked best [degrees].
TURNS = tuple(side * turn for turn in np.arange(0.0, 181.0, 15.0).tolist() for side in (1.0, -1.0))[1:-1]
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
    """Remembers what is drawn, and finds free places in a frame. One unit both ways, whatever it is.

    How much of the lines lies in a box is asked hundreds of times a page, so that it is kept summed up over cells of
    half a step (a summed-area table: F. C. Crow, "Summed-area tables for texture mapping", SIGGRAPH 1984).
    """

    def __init__(self, frame: Box, step: float) -> None:
        """``step``: lines are looked at every so far along; about half a letter."""
        self.frame, self.step = frame, step
        self._boxes: list[Box] = []
        shape = [math.ceil(extent / (step / 2.0)) for extent in (frame.right - frame.left, frame.high - frame.low)]
        self._drawn = np.zeros(shape)
        self._summed: Floats | None = None

    def copy(self) -> Placer:
        """Another one that knows the same and learns on its own."""
        other = copy.copy(self)
        other._boxes, other._drawn = list(self._boxes), self._drawn.copy()
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
        steps = np.repeat(start, pieces, axis=0) + shares[:, None] * np.repeat(along, pieces, axis=0)
        cells = np.floor(self._cells(np.concatenate((steps, points[known][-1:])))).astype(int)
        inside = ((cells >= 0) & (cells < self._drawn.shape)).all(axis=1)
        np.add.at(self._drawn, tuple(cells[inside].T), 1.0)
        self._summed = None

    def keep_off(self, box: Box) -> None:
        """Nothing may be written over this."""
        self._boxes.append(box)

    def put(self, places: Sequence[Point], width: float, height: float) -> Point:
        """The best of the places (centres) for a box of this size; the first ones are liked best. It is then taken."""
        cost = self._cost(places, width, height)
        cost += self._hidden(places, width, height) + np.linspace(0.0, LAST_PLACE, len(places))
        return self._take(places[int(np.argmin(cost))], width, height)

    def put_on_line(self, places: Sequence[Point], width: float, height: float) -> Point | None:
        """The same for what stands on its line: only boxes and frame count. None, and nothing taken, without room."""
        if not places:
            return None
        cost = self._cost(places, width, height)
        best = int(np.argmin(cost))
        if cost[best] >= min(OVER_WORDS, OUT_OF_FRAME):
            return None
        return self._take(places[best], width, height)

    def _take(self, place: Point, width: float, height: float) -> Point:
        self.keep_off(Box.about(*place, width, height))
        return place

    def _cost(self, places: Sequence[Point], width: float, height: float) -> Floats:
        """How bad each place (n,) is for what lies over words or leaves the frame."""
        x, y = np.array(places, dtype=float).T
        left, low, right, high = x - width / 2, y - height / 2, x + width / 2, y + height / 2
        frame = self.frame
        beyond = (frame.left - left, frame.low - low, right - frame.right, high - frame.high)
        out: Floats = sum(np.maximum(by, 0.0) for by in beyond)
        cost = np.where(out > 0.0, OUT_OF_FRAME + out / self.step, 0.0)
        if self._boxes:
            boxes = np.array([(box.left, box.low, box.right, box.high) for box in self._boxes]).T[:, :, None]
            over = (left < boxes[2]) & (boxes[0] < right) & (low < boxes[3]) & (boxes[1] < high)
            cost += OVER_WORDS * over.sum(axis=0)
        return cost

    def _hidden(self, places: Sequence[Point], width: float, height: float) -> Floats:
        """Steps of line (n,) under a box at each place."""
        if self._summed is None:
            self._summed = np.pad(self._drawn, ((1, 0), (1, 0))).cumsum(axis=0).cumsum(axis=1)
        middle, half = np.array(places, dtype=float), np.array((width, height)) / 2.0
        low, high = (
            np.clip(np.rint(self._cells(corner)).astype(int), 0, self._drawn.shape).T
            for corner in (middle - half, middle + half)
        )
        total = self._summed
        hidden: Floats = total[*high] - total[low[0], high[1]] - total[high[0], low[1]] + total[*low]
        return hidden

    def _cells(self, points: Floats) -> Floats:
        """Points (n, 2) in cells from the corner of the frame."""
        return (points - (self.frame.left, self.frame.low)) / (self.step / 2.0)


def around(
    place: Point, toward: Point, width: float, height: float, gaps: Sequence[float], turns_deg: Sequence[float] = TURNS
) -> list[Point]:
    """Centres of a box of this size beside a place: each gap off it, first in the direction ``toward``, then turned."""
    angle = math.atan2(toward[1], toward[0]) + np.radians(turns_deg)
    along = np.array([np.cos(angle), np.sin(angle)])
    # The box touches a circle about the place: its centre lies further out by its own half size that way.
    reach = np.array(gaps)[:, None] + 0.5 * (width * abs(along[0]) + height * abs(along[1]))
    x, y = np.reshape(place, (2, 1, 1)) + reach * along[:, None, :]
    return list(zip(x.ravel().tolist(), y.ravel().tolist()))
