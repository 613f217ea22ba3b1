"""A place for words: off lines, off each other, inside the frame. For the drawings of pages and of the figure alike."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from trackgrade.track.track import Bools, Floats

Point = tuple[float, float]

#: How bad a place is, in steps of line hidden: lying over other words, or leaving the frame, is worse than any line.
OVER_WORDS, OUT_OF_FRAME = 1000.0, 1000.0
#: Words belong beside what they name: the furthest of some 150 places about it is as bad as one across a line.
NEXT_PLACE = 0.02
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


class Box(NamedTuple):
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
        self._low, self._high = np.array((frame.left, frame.low)), np.array((frame.right, frame.high))
        self.step = step
        self._boxes = np.empty((4, 0, 1))  # left, low, right and high of each that is taken, in each set
        self._drawn = np.zeros(np.ceil((self._high - self._low) / (step / 2.0)).astype(int))
        self._summed: Floats | None = None

    def apart(self, sets: int) -> Placer:
        """One for so many sets of words, none of which sees another: each keeps off all that is known here."""
        other = copy.copy(self)
        other._boxes, other._summed, other._drawn = np.empty((4, 0, sets)), None, self._drawn.copy()
        # Half a cell about them: the corners of what is placed are rounded.
        low, high = self._cells(self._boxes[:2, :, 0]) - 0.5, self._cells(self._boxes[2:, :, 0]) + 0.5
        cells = np.concatenate((np.floor(low), np.ceil(high))).clip(0.0).astype(int)
        for left, bottom, right, top in cells.T:
            other._drawn[left:right, bottom:top] += OVER_WORDS
        return other

    def keep_off_line(self, x: Floats, y: Floats) -> None:
        """A line through points (n,); NaN lifts the pen."""
        points = np.stack((x, y))
        known = np.isfinite(x) & np.isfinite(y)
        drawn = known[:-1] & known[1:]
        start, along = points[:, :-1][:, drawn], np.diff(points)[:, drawn]
        pieces = (np.hypot(*along) / self.step).astype(int) + 1
        shares = (np.arange(pieces.sum()) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / np.repeat(pieces, pieces)
        steps = np.repeat(start, pieces, axis=1) + shares * np.repeat(along, pieces, axis=1)
        across, up = np.floor(self._cells(np.concatenate((steps, points[:, known][:, -1:]), axis=1))).astype(int)
        inside = (across >= 0) & (across < self._drawn.shape[0]) & (up >= 0) & (up < self._drawn.shape[1])
        np.add.at(self._drawn, (across[inside], up[inside]), 1.0)
        self._summed = None

    def keep_off(self, box: Box) -> None:
        """Nothing may be written over this."""
        self._taken(np.array([[box.left], [box.low], [box.right], [box.high]]))

    def put(self, places: Sequence[Point] | Floats, width: float, height: float) -> Point:
        """The best of the places (centres) for a box of this size; the first ones are liked best. It is then taken."""
        (x, y), *_ = self.put_each(np.array([places]), np.array([width]), height)
        return float(x), float(y)

    def put_each(self, places: Floats, widths: Floats, height: float) -> Floats:
        """The same for a box of each set: places (sets, n, 2), widths (sets,), the best of each (sets, 2)."""
        boxes = boxed(places, widths[:, None], height)
        cost = self._cost(boxes) + self._hidden(boxes) + NEXT_PLACE * np.arange(places.shape[1])
        best = np.arange(len(places)), cost.argmin(axis=1)
        self._taken(boxes[:, *best])
        chosen: Floats = places[best]
        return chosen

    def put_on_lines(self, places: Floats, widths: Floats, height: float) -> Iterator[Point | None]:
        """For boxes on their lines, one after the other: the first of its places (boxes, n, 2), NaN for none, that is
        free of boxes and in the frame; ``widths`` (boxes,). None, and nothing taken, without room."""
        boxes = boxed(places, widths[:, None], height)
        free = self._cost(boxes) == 0.0
        for k, (x, y) in enumerate(np.moveaxis(places, -1, 1)):
            best = free[k].argmax()
            if not free[k, best]:
                yield None
                continue
            self._taken(boxes[:, k, best, None])
            free &= ~_over(boxes, boxes[:, k, best])
            yield float(x[best]), float(y[best])

    def keep_off_each(self, places: Floats, width: float, height: float) -> None:
        """A box of this size about a place of each set (sets, 2): no word of the set may be written over it."""
        self._taken(boxed(places, width, height))

    def _taken(self, boxes: Floats) -> None:
        """Boxes (4, sets), one in each set."""
        self._boxes = np.concatenate((self._boxes, boxes[:, None]), axis=1)

    def _cost(self, boxes: Floats) -> Floats:
        """How bad boxes (4, sets, n) are for what lies over words or leaves the frame."""
        low, high = (each[:, None, None] for each in (self._low, self._high))
        out = (np.maximum(low - boxes[:2], 0.0) + np.maximum(boxes[2:] - high, 0.0)).sum(axis=0)
        over = _over(boxes, self._boxes[..., None])
        cost: Floats = np.where(out <= 0.0, 0.0, OUT_OF_FRAME + out / self.step) + OVER_WORDS * over.sum(axis=0)
        return cost

    def _hidden(self, boxes: Floats) -> Floats:
        """Steps of line under boxes (4, sets, n)."""
        if self._summed is None:
            self._summed = np.pad(self._drawn, ((1, 0), (1, 0))).cumsum(axis=0).cumsum(axis=1)
        corners = np.concatenate((self._cells(boxes[:2]), self._cells(boxes[2:])))
        (left, right), (low, high) = (
            np.rint(corners[axis::2]).astype(int).clip(0, cells) for axis, cells in enumerate(self._drawn.shape)
        )
        total = self._summed
        hidden: Floats = total[right, high] - total[left, high] - total[right, low] + total[left, low]
        return hidden

    def _cells(self, points: Floats) -> Floats:
        """Points (2, ...) in cells from the corner of the frame."""
        cells: Floats = ((points.T - self._low) / (self.step / 2.0)).T
        return cells


def _over(boxes: Floats, others: Floats) -> Bools:
    """Which boxes (4, ...) lie over which others (4, ...)."""
    over: Bools = (boxes[0] < others[2]) & (others[0] < boxes[2]) & (boxes[1] < others[3]) & (others[1] < boxes[3])
    return over


def boxed(centres: Floats, width: Floats | float, height: float) -> Floats:
    """Left, low, right and high (4, ...) of boxes of this size about their centres (..., 2)."""
    half_width, half_height = np.asarray(width) / 2.0, height / 2.0
    x, y = centres[..., 0], centres[..., 1]
    return np.stack((x - half_width, y - half_height, x + half_width, y + half_height))


def around(
    place: Point | Floats,
    toward: Point | Floats,
    width: float | Floats,
    height: float,
    gaps: Sequence[float],
    turns_deg: Sequence[float] = TURNS,
) -> Floats:
    """Centres (n, 2) of a box of this size beside a place: each gap off it, first in the direction ``toward``, then
    turned. Of several places (m, 2), with directions (m, 2) and widths (m,), the centres (m, n, 2)."""
    place, toward, width = np.asarray(place), np.asarray(toward), np.asarray(width)
    angle = np.arctan2(toward[..., 1], toward[..., 0])[..., None] + np.radians(turns_deg)
    along = np.stack((np.cos(angle), np.sin(angle)))
    # The box touches a circle about the place: its centre lies further out by its own half size that way.
    half = 0.5 * (width[..., None] * abs(along[0]) + height * abs(along[1]))
    reach = np.array(gaps)[:, None] + half[..., None, :]
    centres = np.moveaxis(place, -1, 0)[..., None, None] + reach * along[..., None, :]
    return np.moveaxis(centres.reshape((*centres.shape[:-2], -1)), 0, -1)
