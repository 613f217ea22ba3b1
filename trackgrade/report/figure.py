"""A static figure of one debrief for a handout, a slide or a message: one page as PNG, SVG or PDF.

The report is read on a screen; this is what is left on the table. The plan view and, below it, altitude, airspeed and
distance from the course against time. Nothing rests on colour: laps differ in dash and carry their number, events
differ in shape, results have signs.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from trackgrade import __version__
from trackgrade.hold.courses import course_name
from trackgrade.report import FIGURE_KINDS, figure_axes, figure_style as style
from trackgrade.report.numbers import RESULT_SIGNS, share_words
from trackgrade.report.plan import EVENT_SIGNS, Plan, plan_of
from trackgrade.report.strips import Strip
from trackgrade.report.summary import flight_facts, hold_facts, next_lap, point, short_laps, short_units
from trackgrade.report.timeline import Timeline, lay_out
from trackgrade.score.debrief import Debrief

#: The page [in]: it fits A4 and US letter without scaling.
WIDTH, HEIGHT = 8.0, 10.5
LEFT, RIGHT = 0.45, 7.6
DOTS_PER_INCH = 160
#: Plan view: its width, and where it ends [in]; it begins under the verdict.
PLAN_WIDTH, PLAN_END = 4.55, 6.3
#: Strips: left edge of the plots, height of a plot and of the words above it [in].
PLOT_LEFT, PLOT_HEIGHT, PLOT_WORDS = 0.92, 0.85, 0.215
#: Rows of the key [in], and how many laps it lists.
ROW = 0.165
MOST_LAPS = 12

#: How matplotlib draws a line, by the names of its properties.
Look = dict[str, Any]
_CANVAS: dict[str, type[Any]] = {"png": FigureCanvasAgg, "svg": FigureCanvasSVG, "pdf": FigureCanvasPdf}


def picture(debrief: Debrief, kind: str) -> bytes:
    """The bytes of the figure. The same debrief, version and kind give the same bytes.

    Raises ValueError where ``kind`` is none of "png", "svg", "pdf".
    """
    if kind not in FIGURE_KINDS:
        raise ValueError(f"a figure is png, svg or pdf, not {kind!r}")
    title = f"Holding pattern: {style.shown(debrief.hold.name)}"
    metadata: dict[str, dict[str, str | None]] = {
        "png": {"Software": None, "Title": title},
        "svg": {"Date": None, "Creator": "trackgrade", "Title": title},
        "pdf": {"CreationDate": None, "Creator": "trackgrade", "Producer": None, "Title": title},
    }
    out = io.BytesIO()
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(style.SETTINGS)
        figure = Figure(figsize=(WIDTH, HEIGHT), facecolor=style.PAPER)
        canvas = _CANVAS[kind](figure)
        _compose(figure, debrief)
        canvas.print_figure(out, format=kind, dpi=DOTS_PER_INCH, metadata=metadata[kind], facecolor=style.PAPER)
    return out.getvalue()


class _Page:
    """Words and strokes anywhere on the page, placed in inches from its upper left corner."""

    def __init__(self, figure: Figure) -> None:
        self.axes: Axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self.axes.set_xlim(0.0, WIDTH)
        self.axes.set_ylim(HEIGHT, 0.0)
        self.axes.set_axis_off()

    def words(
        self, x: float, y: float, text: str, size: float, *, room: float = 99.0, color: str = style.INK,
        weight: style.Weight = "regular", ha: str = "left",
    ) -> float:  # fmt: skip
        """One line on its base line, cut to ``room``; returns its width."""
        text = style.cut(text, room, size, weight)
        self.axes.text(x, y, text, fontsize=size, color=color, ha=ha, va="baseline",
                       fontproperties=_sized(size, weight))  # fmt: skip
        return style.width_in(text, size, weight)

    def stroke(self, x: tuple[float, float], y: tuple[float, float], **look: Any) -> None:
        self.axes.plot(x, y, **look)


def _sized(size: float, weight: style.Weight) -> Any:
    font = style.letters(weight).copy()
    font.set_size(size)
    return font


def _compose(figure: Figure, debrief: Debrief) -> None:
    timeline = lay_out(debrief)
    page = _Page(figure)
    top = _header(page, debrief) + 0.12
    height = PLAN_END - top
    plan = plan_of(debrief, timeline)
    view = figure_axes.view_of(plan, PLAN_WIDTH, height)
    figure_axes.draw_plan(_axes(figure, LEFT, top, PLAN_WIDTH, height), plan, view)
    column = _Column(page, LEFT + PLAN_WIDTH + 0.22, top + 0.1)
    _key(column, debrief, timeline, plan)
    _advice(column, debrief, timeline)
    y = PLAN_END + 0.2
    for share, words in figure_axes.lap_heads(timeline, RIGHT - PLOT_LEFT):
        page.words(PLOT_LEFT + share * (RIGHT - PLOT_LEFT), y, words, 7.0, weight="bold", ha="center")
    strips = figure_axes.strips(debrief, timeline)
    for strip in strips:
        _strip_words(page, strip, y + PLOT_WORDS - 0.05)
        axes = _axes(figure, PLOT_LEFT, y + PLOT_WORDS, RIGHT - PLOT_LEFT, PLOT_HEIGHT)
        figure_axes.draw_strip(axes, strip, debrief, timeline, last=strip is strips[-1])
        y += PLOT_WORDS + PLOT_HEIGHT
    page.words(PLOT_LEFT - 0.05, y + 0.13, "UTC", figure_axes.TIMES_PT, color=style.SOFT, ha="right")
    _footer(page, debrief)


def _axes(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    axes: Axes = figure.add_axes((left / WIDTH, 1.0 - (top + height) / HEIGHT, width / WIDTH, height / HEIGHT))
    axes.set_facecolor(style.PAPER)
    return axes


def _header(page: _Page, debrief: Debrief) -> float:
    """Hold, flight, standard and verdict; returns where they end."""
    room = RIGHT - LEFT
    page.words(LEFT, 0.56, debrief.hold.name or "Hold", 15.0, room=room, weight="bold")
    facts = [f"{f.name.lower()} {f.value}" + (f" ({f.note})" if f.name == "Inbound course" else "")
             for f in hold_facts(debrief)]  # fmt: skip
    facts[0] = facts[0][0].upper() + facts[0][1:]
    page.words(LEFT, 0.78, ", ".join(facts), 8.0, room=room, color=style.SOFT)
    flight = [each.value if each.name in ("Track", "Date") else f"{each.name.lower()} {each.value}"
              for each in flight_facts(debrief)]  # fmt: skip
    page.words(LEFT, 0.95, ", ".join(flight), 8.0, room=room, color=style.SOFT)
    y = 1.02
    lines = style.wrap(debrief.verdict or "No verdict.", room - 0.15, 10.5, 3, "bold")
    for number, line in enumerate(lines, start=1):
        page.words(LEFT + 0.13, y + 0.19 * number, line, 10.5, weight="bold")
    end = y + 0.19 * len(lines) + 0.06
    page.stroke((LEFT + 0.03, LEFT + 0.03), (y + 0.03, end), color=style.ACCENT, linewidth=3.0, solid_capstyle="butt")
    return end


def _footer(page: _Page, debrief: Debrief) -> None:
    text = " ".join(debrief.cautions)
    lines = style.wrap(text, RIGHT - LEFT, 7.0, 2)
    y = HEIGHT - 0.26 - 0.13 * (len(lines) - 1)
    for number, line in enumerate(lines):
        page.words(LEFT, y + 0.13 * number, line, 7.0, color=style.INK)
    page.words(RIGHT, HEIGHT - 0.11, f"trackgrade {__version__}", 5.5, color=style.SOFT, ha="right")


def _strip_words(page: _Page, strip: Strip, y: float) -> None:
    """Title, lines and band of one strip, in one line; the band is what is cut first."""
    x = LEFT + page.words(LEFT, y, f"{strip.title}, {strip.unit}", 7.5, weight="bold") + 0.12
    if len(strip.lines) > 1 or (strip.lines and strip.key == "airspeed"):
        for line in strip.lines:
            page.stroke((x, x + 0.22), (y - 0.03, y - 0.03), **figure_axes.line_look(line))
            x += 0.27 + page.words(x + 0.27, y, line.words, 7.0, color=style.SOFT) + 0.12
    tail = strip.why or strip.band_words
    marked = "; dark bar: counted outside" if strip.outside else ""
    page.words(x, y, tail + marked, 7.0, room=RIGHT - x, color=style.SOFT)


# -- the key --------------------------------------------------------------------------------


class _Column:
    """Rows under each other, beside the plan: each the words for a line or a mark before them."""

    def __init__(self, page: _Page, x: float, y: float) -> None:
        self.page, self.x, self.y, self.words_at = page, x, y, x + 0.42

    def row(self, words: str, *, look: Look | None = None, mark: str = "", weight: style.Weight = "regular") -> None:
        if look is not None:
            self.page.stroke((self.x, self.x + 0.34), (self.y - 0.03, self.y - 0.03), **look)
        if mark:
            figure_axes.event_mark(self.page.axes, mark, self.x + 0.17, self.y - 0.035)
        self.page.words(self.words_at, self.y, words, 7.2, room=RIGHT - self.words_at, weight=weight)
        self.y += ROW

    def beside(self, cells: Iterable[tuple[float, str]], color: str = style.INK, ha: str = "right") -> None:
        """Words in the row to come, each at so much from the column's edge [in]."""
        for off, words in cells:
            self.page.words(self.x + off, self.y, words, 7.2, color=color, ha=ha)


def _key(column: _Column, debrief: Debrief, timeline: Timeline, plan: Plan) -> None:
    """What each line and mark means, and beside each lap its two times."""
    if timeline.laps:
        _lap_rows(column, debrief, timeline)
        column.y += 0.1
    for kind in dict.fromkeys(each.kind for each in timeline.stretches if each.kind != "lap"):
        first = next(each for each in timeline.stretches if each.kind == kind)
        column.row(_stretch_words(debrief, kind), look=style.line_of(first))
    wide = {"solid_capstyle": "butt"}
    if plan.solved is not None:
        column.row("the lap that works in this wind", look={"color": style.SOLVED, "linewidth": 6.5, **wide})
    course = f"inbound {course_name(debrief.hold.course_to_set_deg)}° mag"
    column.row(course, look={"color": style.INK, "linewidth": 1.0})
    if plan.elsewhere:
        look = style.elsewhere(hold_flown=bool(plan.flown))
        column.row("flown before, between or after" if plan.flown else "flown", look=look)
    within = f"within {share_words(debrief.standard.needle_share)}"
    column.row(within, look={"color": style.WASH, "linewidth": 8.0, **wide})
    column.y += 0.06
    flown = {event.shape for event in plan.events}
    for shape, words in EVENT_SIGNS:
        if shape in flown:
            column.row(words, mark=shape)


def _advice(column: _Column, debrief: Debrief, timeline: Timeline) -> None:
    """What to work on and the next lap, as far as the key leaves room."""
    page, x, y = column.page, column.x, column.y
    work_on = [point(debrief, timeline, each) for each in debrief.work_on]
    card = [f"{fact.name}: {fact.value}" for fact in next_lap(debrief)][:4]
    blocks = (("Work on", [f"{n}. {each.title} ({each.where})" for n, each in enumerate(work_on, 1)]),
              ("Next lap", card))  # fmt: skip
    for title, rows in blocks:
        lines = [line for row in rows for line in style.wrap(row, RIGHT - x, 7.2, 2)]
        if not lines or y + 0.26 + ROW * 0.85 * len(lines) > PLAN_END:
            continue
        y += 0.22
        page.words(x, y, title, 8.0, weight="bold")
        for line in lines:
            y += ROW * 0.85
            page.words(x, y, line, 7.2)


def _stretch_words(debrief: Debrief, kind: str) -> str:
    if kind != "entry":
        return "lap not completed" if kind == "incomplete" else "lap on the reciprocal"
    kinds = list(dict.fromkeys(each.entry.flown.kind for each in debrief.visits))
    return f"entry, {' and '.join(kinds)}" if kinds != ["none"] else "entry"


def _lap_rows(column: _Column, debrief: Debrief, timeline: Timeline) -> None:
    """A row a lap: its line and number, outbound and inbound, each inbound with the sign of its result."""
    outbound, inbound, unit = short_units(debrief)
    column.beside([(0.42, "lap")], style.SOFT, "left")
    column.beside([(1.42, f"{outbound}, {unit}"), (2.14, f"{inbound}, {unit}")], style.SOFT)
    column.y += ROW
    signs: list[str] = []
    laps = list(short_laps(timeline))
    for short, (_, lap) in zip(laps[:MOST_LAPS], timeline.graded):
        column.beside([(1.42, short.outbound), (2.14, short.inbound)])
        graded = lap.item("leg_length" if unit == "NM" else "inbound_time")
        if graded is not None:
            column.beside([(2.21, RESULT_SIGNS[graded.result])], ha="left")
            signs.append(graded.result)
        column.row(short.stretch.tag, look=style.line_of(short.stretch), weight="bold")
    if len(laps) > MOST_LAPS:
        column.beside([(0.42, f"and {len(laps) - MOST_LAPS} more, in the report")], style.SOFT, "left")
        column.y += ROW
    meant = ", ".join(f"{sign} {word}" for word, sign in RESULT_SIGNS.items() if word in signs)
    if meant:
        column.page.words(column.x, column.y, meant, 6.5, room=RIGHT - column.x, color=style.SOFT)
        column.y += ROW
