"""What stands in the corners of every drawing of a hold: north, wind, scale; and the fix. About the origin, as SVG."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from trackgrade.drawing.labels import text_width
from trackgrade.drawing.lengths import round_length
from trackgrade.drawing.svg import element, short

#: Size of words in a drawing at full size [px], as ``picture.css`` has it, and the height of a line of them.
LETTERS_PX, LINE_PX = 12.0, 15.5


#: North and wind arrows about the origin, y down: lines through points [px]. North up, the wind blowing down.
NORTH_ARROW = ((0, -17), (6, 9), (0, 4), (-6, 9))
WIND_ARROW = (((0, -20), (0, 14)), ((-6, 6), (0, 17), (6, 6)))


def north_arrow() -> Markup:
    """Points up: turn it with the view. Its letter turns with it."""
    arrow = element("path", d=f"{_through(NORTH_ARROW)}Z", class_="north-arrow")
    return arrow + element("text", "N", y=-20, text_anchor="middle")


def wind_arrow() -> Markup:
    """Blows down: turn it with the view and by where the wind comes from."""
    return element("path", d="".join(map(_through, WIND_ARROW)), class_="wind-arrow")


def _through(points: Sequence[tuple[int, int]]) -> str:
    first, *others = (f"{x} {y}" for x, y in points)
    return f"M{first}L{' '.join(others)}".replace(" -", "-")


def bar_length(px_per_nm: float, room_px: float) -> tuple[float, str]:
    """The length of a scale bar [px] that is a round length, and its words."""
    length = round_length(room_px / px_per_nm) if px_per_nm > 0 else 1.0
    return length * px_per_nm, f"{short(length, 3)} NM"


def scale_bar(px_per_nm: float, room_px: float) -> tuple[Markup, float]:
    """A round length and its words to the right of it, from the origin to the right; and how wide it all is."""
    px, words = bar_length(px_per_nm, room_px)
    bar = element("path", d=f"M0-5V0H{short(px)}V-5", class_="scale-bar")
    return bar + element("text", words, x=px + 6.0, class_="small"), px + 6.0 + text_width(words, LETTERS_PX)


def fix_mark() -> Markup:
    """The fix: a cross in a ring."""
    return element("path", d="M-11 0H11M0-11V11", class_="fix-cross") + element("circle", r=7.0, class_="fix-ring")


def needle(share: float, flag: str, words: str) -> Markup:
    """A course needle as its pilot sees it: marks at half and full scale, the pointer, the flag as a word.

    ``share`` of full scale, positive where the needle lies right.
    """
    return element(
        "svg",
        element("path", d="M-100 34H100", class_="beam"),
        element("path", d="M-100 26V42M-50 30V38M0 24V44M50 30V38M100 26V42", class_="tick"),
        element(
            "path", d="M0 8L7 20H2V46H-2V20H-7Z", class_="pointer", transform=f"translate({short(100.0 * share)} 0)"
        ),
        element("text", flag, x=0, y=62, text_anchor="middle", class_="flag"),
        class_="needle-drawing",
        viewBox="-110 4 220 64",
        role="img",
        aria_label=f"{words}; flag {flag}",
    )
