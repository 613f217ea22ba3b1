"""A static figure of one debrief for a handout, a slide or a message: one page as PNG, SVG or PDF.

The report is read on a screen; this is what is left on the table. The plan view and, below it, altitude, airspeed and
distance from the course against time. Nothing rests on colour: laps differ in dash and carry their number, events
differ in shape, results have signs.
"""

from __future__ import annotations

import io
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from trackgrade import __version__
from trackgrade.files import write_whole
from trackgrade.hold.courses import course_name
from trackgrade.report import FIGURE_KINDS, figure_plan, figure_style as style, figure_time
from trackgrade.report.numbers import RESULT_SIGNS, share_words
from trackgrade.report.plan import EVENT_SIGNS, Plan, plan_of
from trackgrade.report.strips import Strip
from trackgrade.report.summary import flight_facts, hold_facts, next_lap, point, short_laps, short_units
from trackgrade.report.timeline import Stretch, Timeline, lay_out
from trackgrade.score.debrief import Debrief

Weight = Literal["regular", "bold"]

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

_CANVAS: dict[str, type[Any]] = {"png": FigureCanvasAgg, "svg": FigureCanvasSVG, "pdf": FigureCanvasPdf}


def draw(debrief: Debrief, path: str | os.PathLike[str]) -> Path:
    """Draw the figure into a file; its ending says which kind: .png, .svg or .pdf. Whole or not at all.

    Raises ValueError for another ending, OutputError where it cannot be written.
    """
    return write_whole(path, picture(debrief, Path(path).suffix[1:].lower()))


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
        weight: Weight = "regular", ha: str = "left",
    ) -> float:  # fmt: skip
        """One line on its base line, cut to ``room``; returns its width."""
        text = style.cut(text, room, size, weight)
        self.axes.text(x, y, text, fontsize=size, color=color, ha=ha, va="baseline",
                       fontproperties=_sized(size, weight))  # fmt: skip
        return style.width_in(text, size, weight)

    def stroke(self, x: tuple[float, float], y: tuple[float, float], **look: Any) -> None:
        self.axes.plot(x, y, **look)


def _sized(size: float, weight: Weight) -> Any:
    font = style.letters(weight).copy()
    font.set_size(size)
    return font


def _compose(figure: Figure, debrief: Debrief) -> None:
    timeline = lay_out(debrief)
    page = _Page(figure)
    top = _header(page, debrief) + 0.12
    height = PLAN_END - top
    plan = plan_of(debrief, timeline)
    view = figure_plan.view_of(plan, PLAN_WIDTH, height)
    figure_plan.draw(_axes(figure, LEFT, top, PLAN_WIDTH, height), plan, view)
    key_left = LEFT + PLAN_WIDTH + 0.22
    _advice(page, debrief, timeline, key_left, _key(page, debrief, timeline, plan, key_left, top))
    y = PLAN_END + 0.2
    for share, words in figure_time.lap_heads(timeline, RIGHT - PLOT_LEFT):
        page.words(PLOT_LEFT + share * (RIGHT - PLOT_LEFT), y, words, 7.0, weight="bold", ha="center")
    strips = figure_time.strips(debrief, timeline)
    for strip in strips:
        _strip_words(page, strip, y + PLOT_WORDS - 0.05)
        axes = _axes(figure, PLOT_LEFT, y + PLOT_WORDS, RIGHT - PLOT_LEFT, PLOT_HEIGHT)
        figure_time.draw(axes, strip, debrief, timeline, last=strip is strips[-1])
        y += PLOT_WORDS + PLOT_HEIGHT
    page.words(PLOT_LEFT - 0.05, y + 0.13, "UTC", figure_time.SIZE_PT, color=style.SOFT, ha="right")
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
            page.stroke((x, x + 0.22), (y - 0.03, y - 0.03), **figure_time.line_look(line))
            x += 0.27 + page.words(x + 0.27, y, line.words, 7.0, color=style.SOFT) + 0.12
    tail = strip.why or strip.band_words
    marked = "; dark bar: counted outside" if strip.outside else ""
    page.words(x, y, tail + marked, 7.0, room=RIGHT - x, color=style.SOFT)


# -- the key --------------------------------------------------------------------------------


def _key(page: _Page, debrief: Debrief, timeline: Timeline, plan: Plan, x: float, top: float) -> float:
    """What each line and mark means, and beside each lap its two times; returns where it ends."""
    y = top + 0.1
    words_at, room = x + 0.42, RIGHT - x - 0.42
    if timeline.laps:
        y = _lap_rows(page, debrief, timeline, x, y) + 0.1
    for each in _other_stretches(timeline):
        page.stroke((x, x + 0.34), (y - 0.03, y - 0.03), **style.line_of(each))
        page.words(words_at, y, _stretch_words(debrief, each), 7.2, room=room)
        y += ROW
    course = f"inbound {course_name(debrief.hold.course_to_set_deg)}° mag"
    lines: list[tuple[dict[str, Any], str]] = [({"color": style.INK, "linewidth": 1.0}, course)]
    if plan.solved is not None:
        wide = {"color": style.SOLVED, "linewidth": 6.5, "solid_capstyle": "butt"}
        lines.insert(0, (wide, "the lap that works in this wind"))
    if plan.elsewhere:
        look = style.elsewhere(hold_flown=bool(plan.flown))
        lines.append((look, "flown before, between or after" if plan.flown else "flown"))
    wash = {"color": style.WASH, "linewidth": 8.0, "solid_capstyle": "butt"}
    lines.append((wash, f"within {share_words(debrief.standard.needle_share)}"))
    for look, words in lines:
        page.stroke((x, x + 0.34), (y - 0.03, y - 0.03), **look)
        page.words(words_at, y, words, 7.2, room=room)
        y += ROW
    y += 0.06
    flown = {event.shape for event in plan.events}
    for shape, words in EVENT_SIGNS:
        if shape in flown:
            figure_plan.event_mark(page.axes, shape, x + 0.17, y - 0.035)
            page.words(words_at, y, words, 7.2, room=room)
            y += ROW
    return y


def _advice(page: _Page, debrief: Debrief, timeline: Timeline, x: float, y: float) -> None:
    """What to work on and the next lap, as far as the key leaves room."""
    room = RIGHT - x
    work_on = [point(debrief, timeline, each) for each in debrief.work_on]
    card = [f"{fact.name}: {fact.value}" for fact in next_lap(debrief)][:4]
    blocks = (("Work on", [f"{n}. {each.title} ({each.where})" for n, each in enumerate(work_on, 1)]),
              ("Next lap", card))  # fmt: skip
    for title, rows in blocks:
        lines = [line for row in rows for line in style.wrap(row, room, 7.2, 2)]
        if not lines or y + 0.26 + ROW * 0.85 * len(lines) > PLAN_END:
            continue
        y += 0.22
        page.words(x, y, title, 8.0, weight="bold")
        for line in lines:
            y += ROW * 0.85
            page.words(x, y, line, 7.2)


def _other_stretches(timeline: Timeline) -> Iterator[Stretch]:
    """One of each kind of line that is no lap."""
    kinds = set()
    for each in timeline.stretches:
        if each.kind != "lap" and each.kind not in kinds:
            kinds.add(each.kind)
            yield each


def _stretch_words(debrief: Debrief, stretch: Stretch) -> str:
    if stretch.kind == "incomplete":
        return "lap not completed"
    if stretch.kind == "reversed":
        return "lap on the reciprocal"
    kinds = list(dict.fromkeys(each.entry.flown.kind for each in debrief.visits))
    return f"entry, {' and '.join(kinds)}" if kinds != ["none"] else "entry"


def _lap_rows(page: _Page, debrief: Debrief, timeline: Timeline, x: float, y: float) -> float:
    """A row a lap: its line and number, outbound and inbound, each inbound with the sign of its result."""
    outbound, inbound, unit = short_units(debrief)
    columns = x + 1.42, x + 2.14
    page.words(words_x := x + 0.42, y, "lap", 7.2, color=style.SOFT)
    for at, words in zip(columns, (outbound, inbound)):
        page.words(at, y, f"{words}, {unit}", 7.2, color=style.SOFT, ha="right")
    y += ROW
    signs: list[str] = []
    laps = list(short_laps(timeline))
    for short, (_, lap) in zip(laps[:MOST_LAPS], timeline.graded):
        page.stroke((x, x + 0.34), (y - 0.035, y - 0.035), **style.line_of(short.stretch))
        page.words(words_x, y, short.stretch.tag, 7.2, weight="bold")
        for at, words in zip(columns, (short.outbound, short.inbound)):
            page.words(at, y, words, 7.2, ha="right")
        graded = lap.item("leg_length" if unit == "NM" else "inbound_time")
        if graded is not None:
            page.words(columns[1] + 0.07, y, RESULT_SIGNS[graded.result], 7.2)
            signs.append(graded.result)
        y += ROW
    left_out = len(laps) - MOST_LAPS
    if left_out > 0:
        page.words(words_x, y, f"and {left_out} more, in the report", 7.2, color=style.SOFT)
        y += ROW
    meant = ", ".join(f"{sign} {word}" for word, sign in RESULT_SIGNS.items() if word in signs)
    if meant:
        page.words(x, y, meant, 6.5, room=RIGHT - x, color=style.SOFT)
        y += ROW
    return y
