"""The plan view of the static figure, on axes of matplotlib: the hold's frame, the inbound course up the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke

from trackgrade.drawing.furniture import LETTERS_PX, NORTH_ARROW, WIND_ARROW, bar_length
from trackgrade.drawing.labels import Point
from trackgrade.drawing.sketch import Line
from trackgrade.drawing.view import View
from trackgrade.report import figure_style as style
from trackgrade.report.plan import BAR_PX, Places, Plan, arrange
from trackgrade.report.timeline import Stretch

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


def draw(axes: Axes, plan: Plan, view: View) -> None:
    """Draw a plan on axes that fill the frame of the view."""
    places = arrange(plan, view)
    axes.set_xlim(0.0, view.size[0])
    axes.set_ylim(view.size[1], 0.0)
    axes.set_xticks([])
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_color(style.RULE)

    def line(each: Line, zorder: int, **look: Any) -> None:
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
