"""One pen for every picture from above: lines over the ground, marks in their places, words where they hide least."""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup

from trackgrade.drawing import furniture
from trackgrade.drawing.labels import Box, Placer, Point, around, text_width
from trackgrade.drawing.lines import joined
from trackgrade.drawing.svg import element, moved, short, simplified_polylines
from trackgrade.drawing.view import PER_NM, View
from trackgrade.track.track import Floats

#: Points (n,) east and north of a fix [NM]; NaN lifts the pen.
Line = tuple[Floats, Floats]
#: Words, each with the CSS class of its letters.
Words = tuple[tuple[str, str], ...]

#: Lines are simplified to this [px]; the head of an arrow is so long [px]; the room about a fix [px].
TOLERANCE_PX, HEAD_PX, FIX_PX = 0.3, 10.0, 24.0
#: Sizes of letters [px], by class: as in the style sheets.
SIZES = {"big": 17.0, "label": 12.5, "sector-name": 12.5, "way-name": 14.0}
LINE_HEIGHT = 1.28
#: How far off what they are about words may stand, beyond the nearest place [px].
FURTHER_PX = (0.0, 12.0, 28.0, 50.0, 80.0, 120.0)


def paths(lines: Sequence[Line], tolerance: float) -> list[str]:
    """Path data of each line, in `PER_NM` of a NM, north up: for a group with the ``transform`` of a view."""
    return simplified_polylines([(east * PER_NM, -north * PER_NM) for east, north in lines], tolerance)


def size_of(words: Words) -> Point:
    """Width and height of lines of words [px]."""
    return max(text_width(text, SIZES[style]) for text, style in words), sum(
        LINE_HEIGHT * SIZES[style] for _, style in words
    )


class Sketch:
    """A drawing in the making, in one view. Lines are in NM, all else in places of the frame [px], y down.

    The words are written last, in the order in which they were asked for, so that they keep off all that is drawn.
    ``foot_px`` of the frame belongs to north and scale.
    """

    def __init__(self, view: View, foot_px: float = 0.0) -> None:
        self.view, self.foot_px = view, foot_px
        self._lines: list[Line] = []
        self._over: list[Markup] = []
        self._styles: list[str] = []
        self._apart: list[Line] = []
        self._boxes: list[Box] = []
        self._words: list[tuple[Floats, Words]] = []

    def line(self, line: Line, style: str, *, apart: bool = True) -> None:
        """A line, or an outline that ends where it begins; words keep ``apart`` from it."""
        self._lines.append(line)
        self._styles.append(style)
        if apart:
            self._apart.append(line)

    def head(self, tip: Point, angle: float, style: str) -> None:
        """The head of an arrow, pointing along an angle of the page [rad]."""
        ends = [
            (tip[0] - HEAD_PX * math.cos(angle + side), tip[1] - HEAD_PX * math.sin(angle + side))
            for side in (0.38, -0.38)
        ]
        d = "L".join(f"{short(x)} {short(y)}" for x, y in (tip, *ends))
        self._over.append(element("path", d=f"M{d}Z", class_=style))

    def arrow(self, line: Line, style: str) -> None:
        """A straight line (2,) with a head at its end, whose class is that of the line and "-head"."""
        self.line(line, style)
        x, y = self.view.places(*line)
        angle = math.atan2(y[1] - y[0], x[1] - x[0])
        self.head((float(x[1]), float(y[1])), angle, f"{style.split()[-1]}-head")

    def mark(
        self, piece: Markup, place: Point, turn_deg: float | None = None, room_px: float = 0.0, style: str | None = None
    ) -> None:
        """What is drawn about the origin, in its place; no words within ``room_px`` of it."""
        self._over.append(element("g", piece, transform=moved(place, turn_deg), class_=style))
        if room_px:
            self._boxes.append(Box.about(*place, room_px, room_px))

    def fix(self, place: Point) -> None:
        self.mark(furniture.fix_mark(), place, room_px=FIX_PX)

    def words(self, spots: Floats, words: Words) -> None:
        """Lines of words about the best of some places (n, 2), the first ones liked best."""
        self._words.append((spots, words))

    def words_beside(self, place: Point, toward: Point, *words: tuple[str, str], gap: float = 9.0) -> None:
        """Lines of words beside a place, in a direction if there is room."""
        self.words(around(place, toward, *size_of(words), [gap + each for each in FURTHER_PX]), words)

    def corners(self, base_px: float, wind: tuple[float, float] | None = None) -> None:
        """North and scale along the foot of the drawing; the wind (from [deg true], speed [kt]) where it is given."""
        width = self.view.size[0]
        self.mark(furniture.north_arrow(), (32.0, base_px), self.view.turn_deg or None, style="furniture")
        if wind is not None:
            self.mark(furniture.wind_arrow(), (78.0, base_px), wind[0], style="furniture")
            text = element("text", f"{wind[1]:.0f} kt", class_="small")
            self.mark(text, (106.0, base_px + 4.0), style="furniture")
        bar, long = furniture.scale_bar(self.view.px_per_nm, 0.2 * width)
        self.mark(bar, (width - 16.0 - long, base_px + 6.0), style="furniture")

    def drawn(self, label: str, style: str = "plan") -> Markup:
        """The drawing as one ``<svg>`` element; ``label`` is for those who do not see it."""
        d = paths(self._lines, TOLERANCE_PX / self.view.px_per_nm * PER_NM)
        lines = [element("path", d=each, class_=own) for each, own in zip(d, self._styles)]
        width, height = self.view.size
        return element(
            "svg",
            element("g", *lines, class_="world", transform=self.view.transform),
            *self._over,
            *self._written(),
            class_=style,
            viewBox=f"0 0 {short(width)} {short(height)}",
            role="img",
            aria_label=label,
        )

    def _written(self) -> list[Markup]:
        """The words, each where it hides least."""
        if not self._words:
            return []
        width, height = self.view.size
        free = Placer(Box(4.0, 4.0, width - 4.0, height - self.foot_px), step=4.0)
        free.keep_off_line(*self.view.places(*joined(self._apart)))
        for box in self._boxes:
            free.keep_off(box)
        written = []
        for spots, words in self._words:
            x, y = free.put(spots, *size_of(words))
            base = y - size_of(words)[1] / 2.0
            for text, style in words:
                base += LINE_HEIGHT * SIZES[style]
                at = base - 0.3 * SIZES[style]
                written.append(element("text", text, class_=style, x=x, y=at, text_anchor="middle"))
        return written
