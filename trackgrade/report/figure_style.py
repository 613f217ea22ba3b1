"""Ink, lines, letters and the fit of words of the static figure: the report page's palette on white paper."""

from __future__ import annotations

import bisect
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, Literal

import matplotlib
from matplotlib.font_manager import FontProperties, get_font
from matplotlib.textpath import text_to_path

from trackgrade.drawing import palette
from trackgrade.drawing.palette import PAPER as PAPER_COLOURS
from trackgrade.files import plain_text
from trackgrade.report.timeline import Stretch

Weight = Literal["regular", "bold"]

POINTS_PER_INCH = 72.0
POINTS_PER_PIXEL = 0.75
#: The palette on white paper, for printers and slides.
INK, SOFT, RULE, FAINT = (PAPER_COLOURS[name] for name in ("ink", "soft", "rule", "faint"))
ACCENT, WASH, OUTSIDE = (PAPER_COLOURS[name] for name in ("accent", "wash", "outside"))
SOLVED, SHADE, ENTRY, PAPER = (PAPER_COLOURS[name] for name in ("solved", "shade", "entry", "paper"))
LAPS = tuple(PAPER_COLOURS[name] for name in palette.LAPS)
#: Widths of the lines [pt], by what is drawn.
LAP_PT, PART_PT, ENTRY_PT, ELSEWHERE_PT = 1.5, 1.0, 1.1, 0.8


def dashed(dash: tuple[float, ...], width_pt: float) -> Any:
    """A dash of the palette [px at full size] as matplotlib wants it: in widths of the line."""
    return (0, tuple(each * POINTS_PER_PIXEL / width_pt for each in dash)) if dash else "solid"


LONGEST_TEXT = 400

#: Nothing of a user's own settings may change a figure, and the same debrief must give the same bytes.
SETTINGS: Any = {
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "text.usetex": False,
    "text.hinting": "none",  # letters as wide as they are measured, on any machine
    "svg.hashsalt": "trackgrade",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "path.simplify_threshold": 0.1,
    "lines.dash_capstyle": "butt",
}


@cache
def letters(weight: Weight = "regular") -> FontProperties:
    """A typeface that comes with matplotlib, by its file: one that the machine has may differ."""
    name = {"regular": "DejaVuSans.ttf", "bold": "DejaVuSans-Bold.ttf"}[weight]
    return FontProperties(fname=Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name)


@cache
def _drawable() -> frozenset[int]:
    """Code points that both weights have."""
    codes = [set(get_font(str(letters(weight).get_file())).get_charmap()) for weight in ("regular", "bold")]
    return frozenset(codes[0] & codes[1])


def shown(text: str) -> str:
    """Text from anywhere as one line that the typeface can draw; a letter that it lacks is an empty box."""
    return "".join(c if ord(c) in _drawable() else "\u25a1" for c in plain_text(text, LONGEST_TEXT))


@lru_cache(maxsize=4096)
def width_in(text: str, size_pt: float, weight: Weight = "regular") -> float:
    """How wide a text is when drawn [in]."""
    font = letters(weight).copy()
    font.set_size(size_pt)
    return float(text_to_path.get_text_width_height_descent(text, font, ismath=False)[0]) / POINTS_PER_INCH


def _fits(text: str, room_in: float, size_pt: float, weight: Weight, tail: str = "") -> int:
    """How many letters of a text fit the room [in], with a tail after them."""

    def width(letters: int) -> float:
        return width_in(text[:letters].rstrip() + tail, size_pt, weight)

    return max(bisect.bisect_right(range(len(text) + 1), room_in, key=width) - 1, 0)


def cut(text: str, room_in: float, size_pt: float, weight: Weight = "regular") -> str:
    """The text, or as much of it as fits the room [in] with an ellipsis."""
    text = shown(text)
    if width_in(text, size_pt, weight) <= room_in:
        return text
    return text[: _fits(text, room_in, size_pt, weight, "…")].rstrip() + "…"


def wrap(text: str, room_in: float, size_pt: float, most: int, weight: Weight = "regular") -> list[str]:
    """The text in at most ``most`` lines that fit the room [in]; the last one is cut where it has to be."""
    lines: list[str] = []
    left = " ".join(shown(text).split())
    while left and len(lines) < most - 1 and (fits := _fits(left, room_in, size_pt, weight)) < len(left):
        end = left.rfind(" ", 0, fits + 1)
        end = end if end > 0 else max(fits, 1)  # one word longer than the line: cut there
        lines.append(left[:end])
        left = left[end:].lstrip()
    return [*lines, cut(left, room_in, size_pt, weight)] if left else lines


def line_of(stretch: Stretch) -> dict[str, Any]:
    """Colour, dash and width of the line of one stretch."""
    if stretch.kind == "entry":
        return {"color": ENTRY, "linestyle": dashed(palette.ENTRY_DASH, ENTRY_PT), "linewidth": ENTRY_PT}
    name, dash = palette.lap_look(stretch.style)
    if stretch.kind == "incomplete":
        return {"color": PAPER_COLOURS[name], "linestyle": dashed(palette.PART_DASH, PART_PT), "linewidth": PART_PT}
    return {"color": PAPER_COLOURS[name], "linestyle": dashed(dash, LAP_PT), "linewidth": LAP_PT}


def elsewhere(*, hold_flown: bool) -> dict[str, Any]:
    """The line of what is no part of a hold; where no hold was flown, it is what there is to see."""
    if hold_flown:
        dash = dashed(palette.ELSEWHERE_DASH, ELSEWHERE_PT)
        return {"color": SOFT, "linestyle": dash, "linewidth": ELSEWHERE_PT}
    return {"color": LAPS[0], "linestyle": "solid", "linewidth": 1.4}
