"""The pictures of the static figure, on axes of matplotlib: the plan view, inbound course up the page; the strips."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke

from trackgrade.drawing import palette
from trackgrade.drawing.furniture import LETTERS_PX, NORTH_ARROW, WIND_ARROW, bar_length
from trackgrade.drawing.labels import Point
from trackgrade.drawing.view import View
from trackgrade.report import figure_style as style
from trackgrade.report.plan import BAR_PX, Places, Plan, arrange
from trackgrade.report.strips import Line, Strip, airspeed, altitude, off_course, time_ticks
from trackgrade.report.timeline import AXIS_WIDTH, Stretch, TimeAxis, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.track.track import Floats

#: Letters of the plan [pt], and how many px of a drawing an inch is so that they are as large in it as on the page.
SIZE_PT = 7.5
PX_PER_IN = LETTERS_PX * style.POINTS_PER_INCH / SIZE_PT
#: Marks of the events by shape: matplotlib's sign, its size, filled or hollow.
EVENT_MARKS = {
    "fix": ("o", 4.2, True),
    "level": ("o", 4.2, False),
    "abeam": ("D", 4.0, False),
    "turn": ("^", 4.8, True),
    "inbound": ("s", 4.2, False),
}
#: Marks are smaller where more laps than these lie over each other.
ROOMY_LAPS = 6
TAG_PT = 6.5


def view_of(plan: Plan, width_in: float, height_in: float) -> View:
    """The hold in a frame of this size [in]."""
    return plan.view("hold", -plan.debrief.hold.inbound_course_true_deg, (width_in * PX_PER_IN, height_in * PX_PER_IN))


def draw_plan(axes: Axes, plan: Plan, view: View) -> None:
    """Draw a plan on axes that fill the frame of the view."""
    places = arrange(plan, view)
    axes.set_xlim(0.0, view.size[0])
    axes.set_ylim(view.size[1], 0.0)
    axes.set_xticks([])
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_color(style.RULE)

    def line(each: tuple[Floats, Floats], zorder: int, **look: Any) -> None:
        axes.plot(*view.places(*each), zorder=zorder, **look)

    axes.fill(*view.places(*plan.corridor), color=style.WASH, alpha=0.6, linewidth=0, zorder=1)
    if plan.solved is not None:
        line(plan.solved, 2, color=style.SOLVED, linewidth=6.5, solid_capstyle="round", solid_joinstyle="round")
    for each in plan.elsewhere:
        line(each, 3, **style.elsewhere(hold_flown=bool(plan.flown)))
    line(plan.course, 4, color=style.INK, linewidth=1.0)
    for stretch in plan.timeline.stretches:
        line(plan.flown[stretch.key], 5, solid_joinstyle="round", **style.line_of(stretch))
    roomy = len({event.stretch for event in plan.events}) <= ROOMY_LAPS
    for event in plan.events:
        event_mark(axes, event.shape, *view.place(event.east_nm, event.north_nm), 1.0 if roomy else 0.75)
    fix = view.place(0.0, 0.0)
    _mark(axes, fix, marker="+", markersize=15, color=style.INK, markeredgewidth=1.0)
    _mark(axes, fix, marker="o", markersize=10, markerfacecolor="none", markeredgecolor=style.INK, markeredgewidth=1.2)
    for stretch in plan.timeline.stretches:
        if stretch.key in places.tags:
            _tag(axes, places.tags[stretch.key], stretch)
    for text, centre in places.words:
        _words(axes, text, centre, style.SOFT)
    _corners(axes, plan, view, places)


def event_mark(axes: Axes, shape: str, x: float, y: float, scale: float = 1.0) -> None:
    """The mark of one kind of event; shapes differ, not only their fill."""
    marker, size, full = EVENT_MARKS[shape]
    axes.plot([x], [y], marker=marker, markersize=size * scale, markeredgewidth=0.9 * scale, zorder=6,
              markerfacecolor=style.INK if full else style.PAPER, markeredgecolor=style.INK)  # fmt: skip


def _mark(axes: Axes, place: Point, **look: Any) -> None:
    axes.plot([place[0]], [place[1]], zorder=7, **look)


def _tag(axes: Axes, place: Point, stretch: Stretch) -> None:
    """The number of a lap on its line."""
    axes.text(
        *place, style.shown(stretch.tag), ha="center", va="center_baseline", color=style.PAPER, zorder=8, clip_on=True,
        fontproperties=style.letters("bold"), fontsize=TAG_PT,
        bbox={"boxstyle": "round,pad=0.22", "facecolor": style.line_of(stretch)["color"],
              "edgecolor": style.PAPER, "linewidth": 0.6},
    )  # fmt: skip


def _words(axes: Axes, text: str, place: Point, color: str = style.INK, ha: str = "center") -> None:
    halo = [withStroke(linewidth=2.5, foreground=style.PAPER)]
    axes.text(*place, text, ha=ha, va="center", color=color, fontproperties=style.letters(), fontsize=SIZE_PT,
              path_effects=halo, zorder=9, clip_on=True)  # fmt: skip


def _corners(axes: Axes, plan: Plan, view: View, places: Places) -> None:
    """North arrow, wind arrow with its words, and scale bar."""

    def turned(points: Sequence[Point], place: Point, degrees: float) -> tuple[list[float], list[float]]:
        """Points [px] turned clockwise about the origin and set at a place of the frame."""
        a = np.radians(degrees)
        x, y = np.array(points, dtype=float).T
        return (
            (place[0] + x * np.cos(a) - y * np.sin(a)).tolist(),
            (place[1] + x * np.sin(a) + y * np.cos(a)).tolist(),
        )

    axes.fill(*turned(NORTH_ARROW, places.north, view.turn_deg), color=style.INK, linewidth=0, zorder=9)
    (x,), (y,) = turned([(0.0, -26.0)], places.north, view.turn_deg)
    _words(axes, "N", (x, y))
    _words(axes, *places.wind_words)
    wind = plan.debrief.wind
    if places.wind is not None and wind is not None:
        for stroke in WIND_ARROW:
            axes.plot(*turned(stroke, places.wind, view.turn_deg + wind.from_true_deg), color=style.ACCENT,
                      linewidth=1.8, zorder=9, solid_capstyle="round", solid_joinstyle="round")  # fmt: skip
    x, y = places.bar
    px, words = bar_length(view.px_per_nm, BAR_PX)
    axes.plot([x, x, x + px, x + px], [y - 5.0, y, y, y - 5.0], color=style.INK, linewidth=1.0, zorder=9)
    _words(axes, words, (x + px + 6.0, y - 3.0), ha="left")


# -- the strips --------------------------------------------------------------------------

#: Letters beside and under the strips [pt].
TIMES_PT = 7.0


def strips(debrief: Debrief, timeline: Timeline) -> tuple[Strip, ...]:
    """What the figure shows, from the top."""
    return altitude(debrief, timeline), airspeed(debrief, timeline), off_course(debrief, timeline)


def draw_strip(axes: Axes, strip: Strip, debrief: Debrief, timeline: Timeline, *, last: bool) -> None:
    """Draw a strip; the ``last`` one carries the times of day."""
    scale, axis = strip.scale, timeline.axis
    axes.set_xlim(0.0, AXIS_WIDTH)
    axes.set_ylim(scale.low, scale.high)
    for spine in axes.spines.values():
        spine.set_color(style.RULE)
    _shade(axes, timeline)
    for band in strip.bands:
        axes.fill_between(axis.x(band.epoch_s), band.low, band.high, color=style.WASH, linewidth=0, zorder=2)
        for edge in (band.low, band.high):
            axes.plot(axis.x(band.epoch_s), edge, color=style.ACCENT, linewidth=0.6, zorder=2)
    for value, _ in scale.ticks:
        axes.axhline(value, color=style.FAINT, linewidth=0.5, zorder=1)
    if strip.key == "cross" and strip.lines:
        axes.axhline(0.0, color=style.INK, linewidth=0.8, zorder=3)
    holes = np.flatnonzero(debrief.samples.gap_before)
    x = np.insert(axis.x(debrief.samples.epoch_s), holes, np.nan)
    for line in reversed(strip.lines):
        first = line.style == "first"
        axes.plot(x, np.insert(line.values, holes, np.nan), zorder=5 if first else 4, **line_look(line))
    for start, end in strip.outside:
        edges = axis.x(np.array([start, max(end, start + 1.0)]))
        if np.isfinite(edges).all():
            axes.fill_between(edges, 0.0, 0.06, transform=axes.get_xaxis_transform(), color=style.OUTSIDE,
                              linewidth=0, zorder=6)  # fmt: skip
    air = 0.05 * (scale.high - scale.low)  # a number on the edge would touch the words of the next strip
    ticks_y = [(value, words) for value, words in scale.ticks if scale.low + air <= value <= scale.high - air]
    axes.set_yticks([value for value, _ in ticks_y], [words for _, words in ticks_y])
    ticks = time_ticks(axis) if last else ()
    axes.set_xticks([percent / 100.0 * AXIS_WIDTH for percent, _, _ in ticks], [words for _, words, _ in ticks])
    axes.tick_params(length=2.0, color=style.RULE, pad=2.0)
    for label in (*axes.get_xticklabels(), *axes.get_yticklabels()):
        label.set_fontproperties(style.letters())
        label.set_fontsize(TIMES_PT)
        label.set_color(style.INK)
    _breaks(axes, axis)


def line_look(line: Line) -> dict[str, Any]:
    """Colour, dash and width of one quantity."""
    if line.style == "first":
        return {"color": style.INK, "linewidth": 1.1}
    return {"color": style.LAPS[0], "linewidth": 0.9, "linestyle": style.dashed(palette.DASHES[1], 0.9)}


def _shade(axes: Axes, timeline: Timeline) -> None:
    """Every other lap shaded, an upright line at each end of a lap and at each mark."""
    for each in timeline.stretches:
        edges = timeline.axis.x(np.array([each.start_epoch_s, each.end_epoch_s]))
        if not np.isfinite(edges).all():
            continue
        if each.lap is not None and each.style % 2 == 0:
            axes.axvspan(float(edges[0]), float(edges[1]), color=style.SHADE, linewidth=0, zorder=0)
        for edge in edges:
            axes.axvline(float(edge), color=style.SOFT, linewidth=0.6, linestyle=(0, (3, 3)), zorder=3)


def _breaks(axes: Axes, axis: TimeAxis) -> None:
    """What was left out between two pieces of the flight."""
    for (_, _, _, x0), (_, _, x1, _) in zip(axis.pieces[:-1], axis.pieces[1:]):
        axes.axvspan(x0, x1, color=style.PAPER, linewidth=0, zorder=7)
        for x in (x0, x1):
            axes.axvline(x, color=style.SOFT, linewidth=0.8, zorder=8)


def lap_heads(timeline: Timeline, room_in: float) -> tuple[tuple[float, str], ...]:
    """(share of the width, words) over the middle of each stretch; one that would touch the one before is left out."""
    heads = timeline.heads(lambda words: style.width_in(words, TIMES_PT, "bold") / room_in, apart=0.04 / room_in)
    return tuple((share, each.tag) for each, share, room in heads if room)
