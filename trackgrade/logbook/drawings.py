"""The drawings of the progress pages, as SVG: charts with dates from left to right, and the latest laps from above."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from markupsafe import Markup

from trackgrade.drawing.furniture import scale_bar
from trackgrade.drawing.labels import text_width
from trackgrade.drawing.lengths import round_step
from trackgrade.drawing.sketch import Sketch
from trackgrade.drawing.svg import element
from trackgrade.drawing.view import fit
from trackgrade.logbook.history import Session
from trackgrade.logbook.shares import Share
from trackgrade.logbook.standing import Standing
from trackgrade.logbook.timeline import ItemLine, Timeline
from trackgrade.logbook.wording import date, number
from trackgrade.track.track import Floats

#: Size of a chart in units of the drawing, near pixels in a column of the page.
WIDTH, HEIGHT = 360.0, 176.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 18.0, 12.0, 24.0
#: A session mark's half size, and how wide a long break is drawn, whatever its length.
MARK, BREAK_PX = 4.0, 26.0
LETTERS_PX = 10.5


class _Chart:
    """Values from ``low`` to ``high`` over the dates of sessions; what lies beyond is drawn at the edge."""

    def __init__(self, sessions: Sequence[Session], breaks: Sequence[int], low: float, high: float) -> None:
        self.starts, self.breaks = [each.started_epoch_s for each in sessions], set(breaks)
        self.low, self.high = low, high
        self.parts: list[Markup] = []
        gaps = [0.0 if n in self.breaks else b - a for n, (a, b) in enumerate(zip(self.starts, self.starts[1:]), 1)]
        room = WIDTH - LEFT - RIGHT - 16.0 - BREAK_PX * len(self.breaks)
        scale = room / sum(gaps) if sum(gaps) > 0 else 0.0
        self.places = [LEFT + 8.0 + (room / 2 if not sum(gaps) else 0.0)]
        for n, gap in enumerate(gaps, start=1):
            self.places.append(self.places[-1] + (BREAK_PX if n in self.breaks else scale * gap))

    def y(self, value: float) -> float:
        clipped = min(max(value, self.low), self.high)
        return TOP + (HEIGHT - TOP - BOTTOM) * (self.high - clipped) / (self.high - self.low)

    def band(self, low: float, high: float) -> None:
        top, bottom = self.y(high), self.y(low)
        self.parts.append(
            element("rect", class_="band", x=LEFT, y=top, width=WIDTH - LEFT - RIGHT, height=bottom - top)
        )

    def level(self, value: float, style: str) -> None:
        y = self.y(value)
        self.parts.append(element("line", class_=style, x1=LEFT, x2=WIDTH - RIGHT, y1=y, y2=y))

    def laps(self, index: int, values: Sequence[tuple[float, bool]]) -> None:
        """Laps of a session side by side, so that equal ones do not hide each other."""
        for n, (value, outside) in enumerate(values):
            x = self.places[index] + 1.6 * (n - (len(values) - 1) / 2)
            self.parts.append(element("circle", class_="lap out" if outside else "lap", cx=x, cy=self.y(value), r=1.7))

    def mark(self, index: int, value: float, *, outside: bool) -> None:
        """A session: a disc within, a square outside, an arrow head where it is beyond the picture."""
        x, y = self.places[index], self.y(value)
        if value > self.high or value < self.low:
            way = -1.0 if value > self.high else 1.0
            path = f"M{x - MARK:.1f} {y - way * MARK:.1f}h{2 * MARK:.1f}l{-MARK:.1f} {way * 2 * MARK:.1f}z"
            self.parts.append(element("path", class_="session out", d=path))
        elif outside:
            self.parts.append(
                element("rect", class_="session out", x=x - MARK, y=y - MARK, width=2 * MARK, height=2 * MARK)
            )
        else:
            self.parts.append(element("circle", class_="session", cx=x, cy=y, r=MARK))

    def join(self, values: Sequence[float | None], style: str) -> None:
        """A line through the sessions, broken at long breaks."""
        path, pen_up = "", True
        for n, value in enumerate(values):
            pen_up = pen_up or n in self.breaks
            if value is not None:
                path += f"{'M' if pen_up else 'L'}{self.places[n]:.1f} {self.y(value):.1f}"
                pen_up = False
        if "L" in path:
            self.parts.append(element("path", class_=style, d=path))

    def axes(self, values: Sequence[tuple[float, str]]) -> None:
        bottom = HEIGHT - BOTTOM
        self.parts.append(element("line", class_="axis", x1=LEFT, x2=WIDTH - RIGHT, y1=bottom, y2=bottom))
        for value, words in values:
            self.parts.append(
                element("text", words, class_="axis-words", x=LEFT - 5, y=self.y(value) + 3.5, text_anchor="end")
            )
        for n in sorted(self.breaks):
            x = (self.places[n - 1] + self.places[n]) / 2
            days = (self.starts[n] - self.starts[n - 1]) / 86_400.0
            path = f"M{x - 5:.1f} {bottom + 5:.1f}l4 -10M{x + 1:.1f} {bottom + 5:.1f}l4 -10"
            words = element("title", f"a break of {days:.0f} days")
            self.parts.append(element("path", words, class_="pause", d=path))
            self.parts.append(element("line", class_="gap", x1=x, x2=x, y1=TOP, y2=bottom - 6))
        taken: list[tuple[float, float]] = []
        last = len(self.starts) - 1
        for n in dict.fromkeys((0, last, *sorted(self.breaks), *range(1, last))):
            words = date(self.starts[n])
            half = text_width(words, LETTERS_PX) / 2
            x = min(max(self.places[n], half + 1), WIDTH - half - 1)
            if all(x + half + 6 < left or x - half - 6 > right for left, right in taken):
                taken.append((x - half, x + half))
                self.parts.append(element("text", words, class_="axis-words", x=x, y=bottom + 15, text_anchor="middle"))

    def drawn(self, title: str) -> Markup:
        return element(
            "svg",
            element("title", title),
            *self.parts,
            class_="chart",
            viewBox=f"0 0 {WIDTH:.0f} {HEIGHT:.0f}",
            role="img",
        )


def item_chart(line: ItemLine, shown: Timeline, sessions: Sequence[Session]) -> Markup:
    """Size of the error: every lap, every session's mean, and the line that was tested, full where it is claimed."""
    known = [each for each in line.sizes if each is not None]
    if not known:
        return share_chart(line.title, [None] * len(sessions), shown, sessions)
    limit = line.limit
    top = _top([value for own in line.lap_sizes for value, _ in own], known, limit)
    chart = _Chart(sessions, shown.breaks, 0.0, top)
    if limit is not None:
        chart.band(0.0, min(limit, top))
        chart.level(limit, "limit")
    for n, own in enumerate(line.lap_sizes):
        chart.laps(n, own)
    chart.join(line.sizes, "join")
    if line.change and line.change.first and line.change.last:
        tested, ratio = shown.verdict.tested, math.log(line.change.last / line.change.first)
        fitted: list[float | None] = [None] * len(sessions)
        for place, n in enumerate(tested):
            fitted[n] = line.change.first * math.exp(ratio * place / (len(tested) - 1))
        chart.join(fitted, "trend" if line.change.claimed else "trend unclear")
    for n, size in enumerate(line.sizes):
        if size is not None:
            chart.mark(n, size, outside=limit is not None and size > limit)
    chart.axes(_value_ticks(top, limit, line.unit))
    return chart.drawn(f"{line.title}: size of the error by date")


def inbound_chart(shown: Timeline, sessions: Sequence[Session]) -> Markup:
    """Inbound time minus target, every timed lap and the session's median; above zero is long."""
    inbound = shown.inbound
    band = inbound.tolerance_s
    sizes = [abs(value) for own in inbound.errors for value in own]
    medians = [statistics.median(own) if own else None for own in inbound.errors]
    top = _top(sizes or [1.0], [abs(each) for each in medians if each is not None], band)
    chart = _Chart(sessions, shown.breaks, -top, top)
    chart.band(-band, band)
    chart.level(0.0, "zero")
    for n, own in enumerate(inbound.errors):
        chart.laps(n, [(value, abs(value) > band) for value in own])
    chart.join(medians, "join")
    for n, median in enumerate(medians):
        if median is not None:
            chart.mark(n, median, outside=abs(median) > band)
    ticks = [(0.0, "0 s"), (band, number(band, "", signed=True)[:-2]), (-band, number(-band, "", signed=True)[:-2])]
    if 0.95 * top > 1.6 * band:
        ticks += [(top, f"+{top:.0f}"), (-top, f"−{top:.0f}")]
    chart.axes(ticks)
    return chart.drawn("Inbound time minus target, lap by lap")


def share_chart(title: str, shares: Sequence[float | None], shown: Timeline, sessions: Sequence[Session]) -> Markup:
    """Share within, session by session, 0 to 100 %."""
    chart = _Chart(sessions, shown.breaks, 0.0, 1.0)
    for level in (0.25, 0.5, 0.75, 1.0):
        chart.level(level, "grid")
    chart.join(shares, "join")
    for n, value in enumerate(shares):
        if value is not None:
            chart.mark(n, value, outside=False)
    chart.axes([(0.0, "0 %"), (0.5, "50 %"), (1.0, "100 %")])
    return chart.drawn(f"{title}: share within by date")


def interval_bar(share: Share | Standing | None) -> Markup:
    """A share on a line from 0 to 100 % with its interval: what a table cell shows; nothing where it is not known."""
    if share is None or share.value is None or share.low is None or share.high is None:
        return Markup("")
    width, height = 70.0, 12.0

    def x(place: float) -> float:
        return 3.0 + (width - 6.0) * place

    return element(
        "svg",
        element("line", class_="rail", x1=x(0.0), x2=x(1.0), y1=6.0, y2=6.0),
        element("line", class_="span", x1=x(share.low), x2=x(share.high), y1=6.0, y2=6.0),
        element("circle", class_="value", cx=x(share.value), cy=6.0, r=3.2),
        class_="bar",
        viewBox=f"0 0 {width:.0f} {height:.0f}",
        width=int(width),
        height=int(height),
        aria_hidden="true",
    )


def _top(laps: Sequence[float], sessions: Sequence[float], limit: float | None) -> float:
    """The value at the upper edge: nearly all laps, all sessions unless far away, and the limit with room."""
    ordered = sorted(laps)
    most = ordered[min(int(0.95 * len(ordered)), len(ordered) - 1)]
    middle = statistics.median(sessions) if sessions else most
    top = max(most, min(max(sessions, default=most), 6 * middle))
    if limit is not None:
        top = max(min(top, 6 * limit), 1.5 * limit)
    return 1.08 * top if top > 0 else 1.0


def _value_ticks(top: float, limit: float | None, unit: str) -> list[tuple[float, str]]:
    ticks = [(0.0, "0")]
    if limit is not None:
        ticks.append((limit, _short(limit, unit)))
    step = round_step(top, 3)
    value = step
    while value < top:
        if limit is None or abs(value - limit) > 0.12 * top:
            ticks.append((value, _short(value, unit)))
        value += step
    return ticks


def _short(value: float, unit: str) -> str:
    """ "100 ft", "0.5 NM": for an axis."""
    if unit in ("", "of full scale", "turn radii"):
        return f"{value:g}"
    sign = {"deg": "°", "deg/s": "°/s"}.get(unit)
    return f"{value:g}{sign}" if sign else f"{value:g} {unit}"


# -- laps from above, small, course up, over the lap that works in that day's wind ------------------------------------

#: The frame of a session's laps, and its margins [px].
SIGHT, SIGHT_MARGINS = (150.0, 200.0), (10.0, 10.0, 10.0, 22.0)


def sights(sessions: Sequence[Session], debriefs: Mapping[int, Mapping[str, Any]]) -> Iterator[tuple[Session, Markup]]:
    """A drawing of each session whose debrief has its laps' paths, latest first, all of them to one scale."""
    drawn = []
    for session in reversed(sessions):
        hold = next((each for each in session.holds if each.recording_id in debriefs), None)
        if hold is None:
            continue
        debrief = debriefs[hold.recording_id]
        side = 1.0 if hold.turns == "right" else -1.0
        laps = [path for lap in debrief.get("laps") or () if len(path := _path(lap, side)) > 1]
        if laps:
            drawn.append((session, hold.hold_name, laps, _path(debrief.get("solved_lap") or {}, side)))
    if not drawn:
        return
    # A lap flown far away is cut off by its frame rather than making all others small.
    reach = np.array([np.ptp(np.vstack(laps), axis=0) for _, _, laps, _ in drawn])
    wide, high = np.quantile(reach, 0.8, axis=0)
    for session, name, laps, solved in drawn:
        yield session, _drawing(name, laps, solved, float(wide), float(high))


def _path(of: Mapping[str, Any], side: float) -> Floats:
    """Points (n, 2): to the right of the inbound course, and along it [NM]; none where the debrief has no path."""
    try:
        points = np.array(of.get("path_nm") or [], dtype=float).reshape(-1, 2)
    except (TypeError, ValueError, AttributeError):  # a debrief that others wrote
        points = np.zeros((0, 2))
    seen: Floats = np.column_stack([side * points[:, 1], points[:, 0]])[np.isfinite(points).all(axis=1)]
    return seen


def _drawing(name: str, laps: Sequence[Floats], solved: Floats, wide: float, high: float) -> Markup:
    middle = np.median(np.vstack([path.min(axis=0) + path.max(axis=0) for path in laps]), axis=0) / 2
    corners = middle + np.array([[-wide, -high], [wide, high]]) / 2
    view = fit(name, 0.0, corners[:, 0], corners[:, 1], SIGHT, SIGHT_MARGINS)
    sketch = Sketch(view)
    if len(solved) > 1:
        sketch.line((solved[:, 0], solved[:, 1]), "solved")
    for path in laps:
        sketch.line((path[:, 0], path[:, 1]), "flown-lap")
    cross = element("path", class_="fix-cross", d="M-5 0H5M0-5V5")
    sketch.mark(cross, view.place(0.0, 0.0))
    bar, _ = scale_bar(view.px_per_nm, 50.0)
    sketch.mark(bar, (8.0, SIGHT[1] - 8))
    return sketch.drawn(f"{name}: {len(laps)} laps from above, the inbound course up", "sight")
