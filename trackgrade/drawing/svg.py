"""The few strokes every picture is made of: elements with escaped attributes, short paths, fewer points."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
import numpy.typing as npt
from markupsafe import Markup, escape

from trackgrade.track.runs import runs
from trackgrade.track.track import Floats

Indices = npt.NDArray[np.intp]

#: No stroke of a drawn line is longer [points]: thinning is four times as fast so, for one point of a hundred more.
LONGEST = 128


def short(value: float, places: int = 1) -> str:
    """A number in as few characters as SVG allows: no trailing zeros, no minus zero."""
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def element(name: str, *children: Markup | str, **attributes: object) -> Markup:
    """One SVG element. ``class_`` and ``data_e`` become ``class`` and ``data-e``; children and values are escaped.

    An attribute that is None is left out; a float is written with `short` to two places.
    """
    written = [
        f' {_attribute(key)}="{short(value, 2) if isinstance(value, float) else escape(value)}"'
        for key, value in attributes.items()
        if value is not None
    ]
    inside = "".join([child if isinstance(child, Markup) else escape(child) for child in children])
    opening = f"<{name}{''.join(written)}"
    return Markup(f"{opening}>{inside}</{name}>" if inside else f"{opening}/>")


@cache
def _attribute(key: str) -> str:
    return key.rstrip("_").replace("_", "-")


def moved(place: tuple[float, float], turn_deg: float | None = None) -> str:
    """A ``transform``: to a place, and turned there."""
    turn = "" if turn_deg is None else f" rotate({short(turn_deg, 2)})"
    return f"translate({short(place[0])} {short(place[1])}){turn}"


def polyline(x: Floats, y: Floats) -> str:
    """Path data through the points (n,), whole units and relative steps; NaN lifts the pen.

    Empty text when nothing can be drawn. A lone point between two holes becomes a dot (round caps show it).
    """
    known = np.isfinite(x) & np.isfinite(y)
    parts = []
    for first, last in runs(known):
        xs = np.rint(x[first:last]).astype(int)
        ys = np.rint(y[first:last]).astype(int)
        steps = [f"{dx} {dy}" for dx, dy in zip(np.diff(xs).tolist(), np.diff(ys).tolist()) if dx or dy]
        parts.append(f"M{xs[0]} {ys[0]}l{' '.join(steps) if steps else '0 0'}")
    return "".join(parts).replace(" -", "-")


def simplify(x: Floats, y: Floats, tolerance: float, longest: int | None = None) -> Indices:
    """Indices of the points that keep a line (n,) within ``tolerance`` of itself, first and last included.

    ``longest``: one of so many points is kept anyway, since the first depths of a long line each go over all of it.

    NaN lifts the pen: it stays, and so do the points beside it. Douglas and Peucker, "Algorithms for the reduction of
    the number of points required to represent a digitized line", The Canadian Cartographer 10(2), 1973; all
    stretches of one depth at once, so that the work is done on arrays.
    """
    known = np.isfinite(x) & np.isfinite(y)
    keep = np.ones(len(x), dtype=bool)
    keep[1:-1] = ~(known[:-2] & known[1:-1] & known[2:])
    if longest is not None:
        keep[::longest] = True
    kept = np.flatnonzero(keep)
    first, last = kept[:-1], kept[1:]
    while True:
        wide = last - first >= 2
        first, last = first[wide], last[wide]
        if len(first) == 0:
            return np.flatnonzero(keep)
        inner = last - first - 1
        begin = np.cumsum(inner) - inner
        of = np.repeat(np.arange(len(first)), inner)
        point = np.arange(len(of)) + np.repeat(first + 1 - begin, inner)
        dx, dy = x[last] - x[first], y[last] - y[first]
        squared = dx * dx + dy * dy
        chord_x, chord_y, squared = (
            np.repeat(each, inner) for each in (dx, dy, np.where(squared > 0.0, squared, np.inf))
        )
        px, py = x[point] - np.repeat(x[first], inner), y[point] - np.repeat(y[first], inner)
        # Distance to the chord itself, not to its line: a leg flown out and back lies on one line.
        share = np.minimum(np.maximum((px * chord_x + py * chord_y) / squared, 0.0), 1.0)
        px, py = px - share * chord_x, py - share * chord_y
        away = px * px + py * py
        farthest = np.maximum.reduceat(away, begin)
        split = farthest > tolerance * tolerance
        where = np.flatnonzero(away == np.repeat(np.where(split, farthest, -1.0), inner))
        middle = point[where[np.diff(of[where], prepend=-1) > 0]]
        keep[middle] = True
        first, last = np.concatenate([first[split], middle]), np.concatenate([middle, last[split]])


def joined(lines: Sequence[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    """Some lines, each with its x and y (n,), as one line that lifts the pen after each."""
    hole = np.array([np.nan])
    x, y = (np.concatenate([part for line in axis for part in (line, hole)]) for axis in zip(*lines))
    return x, y


def simplified_polylines(lines: Sequence[tuple[Floats, Floats]], tolerance: float) -> list[str]:
    """`polyline` of each line through as few points as ``tolerance`` allows, all of them at once."""
    if not lines:
        return []
    x, y = joined(lines)
    kept = simplify(x, y, tolerance, LONGEST)
    each = np.split(kept, np.searchsorted(kept, np.cumsum([len(line) + 1 for line, _ in lines]))[:-1])
    return [polyline(x[mine], y[mine]) for mine in each]
