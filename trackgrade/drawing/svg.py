"""The few strokes every picture is made of: elements with escaped attributes, and short paths."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from markupsafe import Markup, escape

from trackgrade.drawing.lines import LONGEST, thinned
from trackgrade.track.runs import runs
from trackgrade.track.track import Floats, Rows

#: The whole numbers to this size as text.
_LOOKED_UP = 999
_TEXTS = np.array([str(number) for number in range(-_LOOKED_UP, _LOOKED_UP + 1)], dtype=object)


def texts(numbers: Rows) -> list[str]:
    """Whole numbers (n,) as text. Steps are small, and looking them up takes a third of the time of writing each."""
    found = _TEXTS.take(numbers + _LOOKED_UP, mode="clip")
    for k in np.flatnonzero(abs(numbers) > _LOOKED_UP).tolist():
        found[k] = str(numbers[k])
    looked_up: list[str] = found.tolist()
    return looked_up


def short(value: float, places: int = 1) -> str:
    """A number in as few characters as SVG allows: no trailing zeros, no minus zero; one decimal place or more."""
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


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
    parts = []
    for first, last in runs(np.isfinite(x) & np.isfinite(y)):
        points = np.rint((x[first:last], y[first:last])).astype(int).T
        steps = np.diff(points, axis=0)
        steps = steps[steps.any(axis=1)].ravel()
        parts.append(f"M{points[0, 0]} {points[0, 1]}l{' '.join(texts(steps)) or '0 0'}")
    return "".join(parts).replace(" -", "-")


def simplified_polylines(lines: Sequence[tuple[Floats, Floats]], tolerance: float) -> list[str]:
    """`polyline` of each line through as few points as ``tolerance`` allows, all of them at once."""
    return [polyline(x, y) for x, y in thinned(lines, tolerance, LONGEST)]
