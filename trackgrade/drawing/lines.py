"""Lines through fewer points: those that keep a line within a tolerance of itself."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackgrade.track.track import Floats, Rows

#: No stroke of a drawn line is longer [points]: thinning is four times as fast so, for one point of a hundred more.
LONGEST = 128
#: Of points as far off but for this share the first is kept: on an arc two are, and which is farther, processors round
#: each their own way.
TIE = 1e-9


def simplify(x: Floats, y: Floats, tolerance: float, longest: int | None = None) -> Rows:
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
        where = np.flatnonzero(away >= np.repeat(np.where(split, (1.0 - TIE) * farthest, np.inf), inner))
        middle = point[where[np.diff(of[where], prepend=-1) > 0]]
        keep[middle] = True
        first, last = np.concatenate([first[split], middle]), np.concatenate([middle, last[split]])


def joined(lines: Sequence[tuple[Floats, Floats]]) -> tuple[Floats, Floats]:
    """Some lines, each with its x and y (n,), as one line that lifts the pen after each."""
    hole = np.array([np.nan])
    x, y = (np.concatenate([part for line in axis for part in (line, hole)]) for axis in zip(*lines))
    return x, y


def thinned(
    lines: Sequence[tuple[Floats, Floats]], tolerance: float, longest: int | None = None
) -> list[tuple[Floats, Floats]]:
    """Each line, its x and y (n,), through as few points as `simplify` keeps; all of them at once."""
    if not lines:
        return []
    x, y = joined(lines)
    kept = simplify(x, y, tolerance, longest)
    each = np.split(kept, np.searchsorted(kept, np.cumsum([len(line) + 1 for line, _ in lines]))[:-1])
    return [(x[mine[:-1]], y[mine[:-1]]) for mine in each]
