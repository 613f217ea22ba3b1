"""The few strokes every picture is made of: elements with escaped attributes, short paths, fewer points."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from markupsafe import Markup, escape

from trackgrade.track.runs import runs
from trackgrade.track.track import Floats

Indices = npt.NDArray[np.intp]


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
    written = []
    for key, value in attributes.items():
        if value is None:
            continue
        word = short(value, 2) if isinstance(value, float) else escape(value)
        written.append(f' {key.rstrip("_").replace("_", "-")}="{word}"')
    inside = "".join(escape(child) for child in children)
    opening = f"<{name}{''.join(written)}"
    return Markup(f"{opening}>{inside}</{name}>" if inside else f"{opening}/>")


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


def simplify(x: Floats, y: Floats, tolerance: float) -> Indices:
    """Indices of the points that keep a line (n,) within ``tolerance`` of itself, first and last included.

    Finite values only. Douglas and Peucker, "Algorithms for the reduction of the number of points required to
    represent a digitized line", The Canadian Cartographer 10(2), 1973; all stretches of one depth at once, so
    that the work is done on arrays.
    """
    n = len(x)
    if n < 3:
        return np.arange(n)
    keep = np.zeros(n, dtype=bool)
    keep[[0, n - 1]] = True
    first, last = np.array([0]), np.array([n - 1])
    while len(first):
        inner = last - first - 1
        begin = np.cumsum(inner) - inner
        of = np.repeat(np.arange(len(first)), inner)
        point = np.arange(len(of)) + (first + 1 - begin)[of]
        dx, dy = x[last] - x[first], y[last] - y[first]
        px, py = x[point] - x[first][of], y[point] - y[first][of]
        # Distance to the chord itself, not to its line: a leg flown out and back lies on one line.
        squared = dx * dx + dy * dy
        along = (px * dx[of] + py * dy[of]) / np.where(squared > 0.0, squared, np.inf)[of]
        share = np.minimum(np.maximum(along, 0.0), 1.0)
        away = np.hypot(px - share * dx[of], py - share * dy[of])
        farthest = np.maximum.reduceat(away, begin)
        where = np.flatnonzero(away == farthest[of])
        middle = point[where[np.searchsorted(of[where], np.arange(len(first)))]]
        split = farthest > tolerance
        keep[middle[split]] = True
        first, last = (
            np.concatenate([first[split], middle[split]]),
            np.concatenate([middle[split], last[split]]),
        )
        wide = last - first >= 2
        first, last = first[wide], last[wide]
    return np.flatnonzero(keep)


def simplified_polyline(x: Floats, y: Floats, tolerance: float) -> str:
    """`polyline` through as few points as ``tolerance`` allows, hole by hole."""
    out_x, out_y = [], []
    hole = np.array([np.nan])
    for first, last in runs(np.isfinite(x) & np.isfinite(y)):
        kept = first + simplify(x[first:last], y[first:last], tolerance)
        out_x += [x[kept], hole]
        out_y += [y[kept], hole]
    if not out_x:
        return ""
    return polyline(np.concatenate(out_x), np.concatenate(out_y))
