"""The pictures of the progress pages, as SVG. Shapes carry the meaning, colour comes from the page's style."""

from __future__ import annotations

import statistics
from collections.abc import Sequence

from markupsafe import Markup

from trackgrade.drawing.lengths import round_step
from trackgrade.drawing.svg import element
from trackgrade.logbook.class_view import ItemColumn, PilotRow
from trackgrade.logbook.trends import InboundProgress, ItemProgress, Share, Trend
from trackgrade.logbook.wording import number, percent

#: Size of a chart in units of the drawing, near pixels in a column of the page.
WIDTH, HEIGHT = 360.0, 168.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 10.0, 12.0, 24.0
#: A session mark's half size.
MARK = 4.0


class _Chart:
    """Sessions from left to right, values from ``low`` to ``high``; what lies beyond is drawn at the edge."""

    def __init__(self, first_session: int, sessions: int, low: float, high: float, unit: str) -> None:
        self.first, self.count = first_session, sessions
        self.low, self.high, self.unit = low, high, unit
        self.parts: list[Markup] = []

    def x(self, index: float) -> float:
        inner = WIDTH - LEFT - RIGHT - 16.0
        return LEFT + 8.0 + (inner / 2 if self.count == 1 else inner * index / (self.count - 1))

    def y(self, value: float) -> float:
        clipped = min(max(value, self.low), self.high)
        return TOP + (HEIGHT - TOP - BOTTOM) * (self.high - clipped) / (self.high - self.low)

    def beyond(self, value: float) -> bool:
        return value > self.high or value < self.low

    def band(self, low: float, high: float) -> None:
        top, bottom = self.y(high), self.y(low)
        self.parts.append(
            element("rect", class_="band", x=LEFT, y=top, width=WIDTH - LEFT - RIGHT, height=bottom - top)
        )

    def level(self, value: float, style: str) -> None:
        y = self.y(value)
        self.parts.append(element("line", class_=style, x1=LEFT, x2=WIDTH - RIGHT, y1=y, y2=y))

    def dot(self, index: float, value: float, *, outside: bool) -> None:
        self.parts.append(
            element("circle", class_="lap out" if outside else "lap", cx=self.x(index), cy=self.y(value), r=1.7)
        )

    def mark(self, index: float, value: float, *, outside: bool) -> None:
        """A session: a disc within, a square outside, an arrow head where it is beyond the picture."""
        x, y = self.x(index), self.y(value)
        if self.beyond(value):
            way = -1.0 if value > self.high else 1.0
            path = f"M{x - MARK:.1f} {y - way * MARK:.1f}h{2 * MARK:.1f}l{-MARK:.1f} {way * 2 * MARK:.1f}z"
            self.parts.append(element("path", class_="session out", d=path))
        elif outside:
            self.parts.append(
                element("rect", class_="session out", x=x - MARK, y=y - MARK, width=2 * MARK, height=2 * MARK)
            )
        else:
            self.parts.append(element("circle", class_="session", cx=x, cy=y, r=MARK))

    def join(self, values: Sequence[float | None]) -> None:
        points = [(self.x(n), self.y(value)) for n, value in enumerate(values) if value is not None]
        if len(points) > 1:
            path = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
            self.parts.append(element("path", class_="join", d=path))

    def trend(self, trend: Trend, indices: Sequence[int]) -> None:
        """The fitted line, and the slopes its interval allows, turned about the line's middle."""
        if trend.slope is None or trend.first is None or trend.last is None or len(indices) < 2:
            return
        start, end = indices[0], indices[-1]
        middle, centre = (start + end) / 2, (trend.first + trend.last) / 2
        assert trend.low is not None
        assert trend.high is not None
        corners = [
            (self.x(index), self.y(centre + slope * (index - middle)))
            for slope in (trend.low, trend.high)
            for index in (start, end)
        ]
        (a, b, c, d), (mx, my) = corners, (self.x(middle), self.y(centre))
        for one, two in ((a, c), (b, d)):
            fan = f"M{mx:.1f} {my:.1f}L{one[0]:.1f} {one[1]:.1f}L{two[0]:.1f} {two[1]:.1f}z"
            self.parts.append(element("path", class_="fan", d=fan))
        style = "trend" if trend.claim in ("better", "worse") else "trend unclear"
        self.parts.append(
            element(
                "line", class_=style, x1=self.x(start), y1=self.y(trend.first), x2=self.x(end), y2=self.y(trend.last)
            )
        )

    def axes(self, values: Sequence[tuple[float, str]]) -> None:
        bottom = HEIGHT - BOTTOM
        self.parts.append(element("line", class_="axis", x1=LEFT, x2=WIDTH - RIGHT, y1=bottom, y2=bottom))
        for value, words in values:
            self.parts.append(
                element("text", words, class_="tick", x=LEFT - 5, y=self.y(value) + 3.5, text_anchor="end")
            )
        step = max(int(round_step(float(self.count), 8)), 1)
        shown = [n for n in range(self.count) if (self.first + n) % step == 0 or self.count <= 8]
        for n in shown:
            words = str(self.first + n)
            self.parts.append(element("text", words, class_="tick", x=self.x(n), y=bottom + 14, text_anchor="middle"))

    def drawn(self, title: str) -> Markup:
        return element(
            "svg",
            element("title", title),
            *self.parts,
            class_="chart",
            viewBox=f"0 0 {WIDTH:.0f} {HEIGHT:.0f}",
            role="img",
        )


def item_chart(item: ItemProgress, first_session: int) -> Markup:
    """Size of the error session by session, its laps, the tolerance band from zero, the trend."""
    if item.trend_of == "share":
        return share_chart(item.title, item.shares, item.trend, first_session)
    known = [value for value in item.sizes if value is not None]
    limit = item.limit
    top = _top([value for own in item.lap_sizes for value, _ in own] or [1.0], known, limit)
    chart = _Chart(first_session, len(item.sizes), 0.0, top, item.unit)
    if limit is not None:
        chart.band(0.0, min(limit, top))
        chart.level(limit, "limit")
    for n, own in enumerate(item.lap_sizes):
        for value, outside in own:
            chart.dot(n, value, outside=outside)
    chart.trend(item.trend, [n for n, value in enumerate(item.sizes) if value is not None])
    chart.join(item.sizes)
    for n, size in enumerate(item.sizes):
        if size is not None:
            chart.mark(n, size, outside=limit is not None and size > limit)
    chart.axes(_value_ticks(top, limit, item.unit))
    return chart.drawn(f"{item.title}: size of the error, session by session")


def inbound_chart(inbound: InboundProgress, first_session: int) -> Markup:
    """Inbound time minus target, every timed lap and the session's median; above zero is long."""
    band = inbound.tolerance_s
    sizes = [abs(value) for own in inbound.errors for value in own]
    top = _top(sizes or [1.0], [each for each in inbound.sizes if each is not None], band)
    chart = _Chart(first_session, len(inbound.errors), -top, top, "s")
    chart.band(-band, band)
    chart.level(0.0, "zero")
    medians = [statistics.median(own) if own else None for own in inbound.errors]
    for n, own in enumerate(inbound.errors):
        for value in own:
            chart.dot(n, value, outside=abs(value) > band)
    chart.join(medians)
    for n, median in enumerate(medians):
        if median is not None:
            chart.mark(n, median, outside=abs(median) > band)
    ticks = [(0.0, "0 s"), (band, number(band, "", signed=True)[:-2]), (-band, number(-band, "", signed=True)[:-2])]
    far = 0.95 * top
    if far > 1.6 * band:
        ticks += [(top, f"+{top:.0f}"), (-top, f"−{top:.0f}")]
    chart.axes(ticks)
    return chart.drawn("Inbound time minus target, lap by lap")


def share_chart(title: str, shares: Sequence[float | None], trend: Trend, first_session: int) -> Markup:
    """Share within, session by session, 0 to 100 %."""
    chart = _Chart(first_session, len(shares), 0.0, 1.0, "")
    for level in (0.25, 0.5, 0.75, 1.0):
        chart.level(level, "grid")
    chart.trend(trend, [n for n, value in enumerate(shares) if value is not None])
    chart.join(shares)
    for n, value in enumerate(shares):
        if value is not None:
            chart.mark(n, value, outside=False)
    chart.axes([(0.0, "0 %"), (0.5, "50 %"), (1.0, "100 %")])
    return chart.drawn(f"{title}: share within, session by session")


def interval_bar(share: Share) -> Markup:
    """A share on a line from 0 to 100 % with its interval: what a table cell shows."""
    if share.value is None or share.low is None or share.high is None:
        return Markup("")
    width, height = 70.0, 12.0

    def x(value: float) -> float:
        return 3.0 + (width - 6.0) * value

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


def spread_chart(columns: Sequence[ItemColumn], rows: Sequence[PilotRow]) -> Markup:
    """One line an item: every pilot's share as a ring, the class's share with its interval below it."""
    left, width, row_height = 0.0, 400.0, 42.0
    height = 26.0 + row_height * len(columns)

    def x(value: float) -> float:
        return left + 12.0 + (width - left - 30.0) * value

    parts = []
    for level in (0.0, 0.25, 0.5, 0.75, 1.0):
        parts.append(element("line", class_="grid", x1=x(level), x2=x(level), y1=6.0, y2=height - 18.0))
        parts.append(element("text", percent(level), class_="tick", x=x(level), y=height - 4.0, text_anchor="middle"))
    for n, column in enumerate(columns):
        y = 28.0 + row_height * n
        parts.append(element("text", column.title, class_="name", x=left + 12.0, y=y - 12.0))
        shown: dict[int, int] = {}
        for row in rows:
            cell = row.cells[n]
            if cell is not None and cell.share.value is not None:
                place = round(100 * cell.share.value)
                shown[place] = shown.get(place, 0) + 1
        for place, pilots in sorted(shown.items()):
            radius = min(3.0 + 1.2 * (pilots - 1) ** 0.5, 9.0)
            ring = element(
                "circle",
                element("title", f"{place} %: {pilots} of {column.pilots} pilots"),
                class_="ring",
                cx=x(place / 100),
                cy=y,
                r=radius,
            )
            parts.append(ring)
        share = column.share
        if share.value is not None and share.low is not None and share.high is not None:
            below = y + 10.0
            parts.append(element("line", class_="span", x1=x(share.low), x2=x(share.high), y1=below, y2=below))
            path = f"M{x(share.value):.1f} {below - 4:.1f}l4 4l-4 4l-4-4z"
            parts.append(element("path", class_="value", d=path))
    return element(
        "svg",
        element("title", "Share within, by item: the pilots and the class"),
        *parts,
        class_="spread",
        viewBox=f"0 0 {width:.0f} {height:.0f}",
        role="img",
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
    return f"{value:g}" if unit in ("", "of full scale", "turn radii", "points") else number_without_zeros(value, unit)


def number_without_zeros(value: float, unit: str) -> str:
    """ "100 ft", "0.5 NM": for an axis."""
    sign = {"deg": "°", "deg/s": "°/s"}.get(unit)
    return f"{value:g}{sign}" if sign else f"{value:g} {unit}"
