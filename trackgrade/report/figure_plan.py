"""The plan view of the static figure: the hold's frame as lines and marks, then the same on axes of matplotlib.

Coordinates are NM from the fix, the inbound course up the page: ``right_nm`` of the course, ``along_nm`` in its
direction. So a left pattern lies left, as it is flown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke

from trackgrade.drawing.labels import Box, Placer
from trackgrade.drawing.lengths import round_length
from trackgrade.hold.frame import HoldFrame
from trackgrade.report import figure_style as style
from trackgrade.report.limits import magnetic_course
from trackgrade.report.plan_marks import find_events, tag_places, wind_words
from trackgrade.report.plan_view import corridor_edges, flown_between, outline
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.track.track import Floats

#: Paper kept free of lines inside the frame of the plan, for arrows and scale [in].
SIDES_IN, TOP_IN, BOTTOM_IN = 0.22, 0.62, 0.34
#: How far before the fix the course and the corridor are drawn [NM].
COURSE_NM = 40.0
#: Marks of the events by shape: matplotlib's sign, its size, filled or hollow.
EVENT_MARKS = {
    "fix": ("o", 4.2, True),
    "level": ("o", 4.2, False),
    "abeam": ("D", 4.0, False),
    "turn": ("^", 4.8, True),
    "inbound": ("s", 4.2, False),
}
SIZE_PT = 7.5
HOLDING_SIDE = "holding side"
#: Numbers on the lines: letters [pt], and the least distance of two of them one above the other [in].
TAG_PT, TAG_TALL_IN = 6.5, 0.15


@dataclass(frozen=True, eq=False)
class PlanLine:
    """A line of the plan, (n,) each; NaN is a hole. ``stretch`` is None for what is no part of the hold."""

    right_nm: Floats
    along_nm: Floats
    stretch: Stretch | None = None


@dataclass(frozen=True, eq=False)
class Plan:
    """Everything on the plan view, in NM.

    ``limits`` are left, right, bottom, top. ``events`` are (shape, right, along, lap's key), ``tags`` (words, right,
    along, stretch). ``corridor`` is a closed outline (n, 2). ``solved`` is None where no lap was solved.
    ``wind_to_deg`` is where the wind blows to, clockwise from up the page; ``north_deg`` likewise.
    """

    limits: tuple[float, float, float, float]
    flown: tuple[PlanLine, ...]
    elsewhere: tuple[PlanLine, ...]
    solved: PlanLine | None
    corridor: Floats
    events: tuple[tuple[str, float, float, str], ...]
    tags: tuple[tuple[str, float, float, Stretch], ...]
    side: int
    course_words: str
    course_words_at: tuple[float, float]
    holding_side_at: tuple[float, float]
    north_deg: float
    wind_to_deg: float | None
    wind_words: str
    scale_bar_nm: float


def tag_of(stretch: Stretch, several_visits: bool) -> str:
    """What stands on the line: the lap's number, after its visit's where there are several."""
    return f"{stretch.visit}.{stretch.tag}" if several_visits and stretch.kind in ("lap", "incomplete") else stretch.tag


def plan_of(debrief: Debrief, timeline: Timeline, width_in: float, height_in: float) -> Plan:
    """The plan of a debrief for a frame of this size [in]; the hold is drawn whatever was flown."""
    hold, frame = debrief.hold, HoldFrame(debrief.hold)

    def page(east: Any, north: Any) -> tuple[Floats, Floats]:
        along, cross = frame.from_east_north(np.asarray(east, dtype=float), np.asarray(north, dtype=float))
        return hold.side * cross, along

    def spot(east: float, north: float) -> tuple[float, float]:
        x, y = page(east, north)
        return float(x), float(y)

    def line(start_s: float, end_s: float, stretch: Stretch | None = None) -> PlanLine:
        return PlanLine(*page(*flown_between(debrief, start_s, end_s)), stretch)

    flown = tuple(line(each.start_epoch_s, each.end_epoch_s, each) for each in timeline.stretches)
    elsewhere = tuple(line(start, end) for start, end in timeline.axis.spans)
    limits = _limits(*page(*outline(debrief, timeline, frame)), width_in, height_in)
    solved = debrief.solved
    width_nm, length_nm = 1.2, 2.0
    if solved is not None:
        width_nm = max(0.6, float(np.max(solved.path_cross_nm)))
        length_nm = max(1.2, -float(np.min(solved.path_along_nm)))
    along = np.linspace(-COURSE_NM, 0.0, 41)
    low, high = corridor_edges(debrief, frame, along)
    wind = debrief.wind
    nm_per_in = (limits[1] - limits[0]) / width_in
    free = Placer(Box(limits[0], limits[2], limits[1], limits[3]), 0.05 * nm_per_in)
    free.keep_off(Box.about(0.0, 0.0, 0.2 * nm_per_in, 0.2 * nm_per_in))  # the fix and its ring
    top, foot = limits[3] - TOP_IN * nm_per_in, limits[2] + BOTTOM_IN * nm_per_in
    free.keep_off(Box(limits[0], top, limits[0] + 0.7 * nm_per_in, limits[3]))
    free.keep_off(Box(limits[1] - 2.2 * nm_per_in, top, limits[1], limits[3]))
    free.keep_off(Box(limits[0], limits[2], limits[0] + (limits[1] - limits[0]) / 3.0 + 0.25 * nm_per_in, foot))
    tags = tuple(_tags(debrief, timeline, page, nm_per_in, free))
    scale_nm = round_length((limits[1] - limits[0]) / 3.0)
    for each in (*flown, *elsewhere):
        free.keep_off_line(each.right_nm, each.along_nm)
    free.keep_off_line(np.zeros(2), np.array([-COURSE_NM, 0.0]))
    course_words = f"inbound {magnetic_course(hold)}° mag"
    width, tall = (style.width_in(course_words, SIZE_PT) + 0.08) * nm_per_in, 0.18 * nm_per_in
    beside = [
        (side * (0.06 * nm_per_in + width / 2), limits[2] + y_in * nm_per_in)
        for y_in in np.arange(0.15, 0.6 * height_in, 0.12)
        for side in (-hold.side, hold.side)
    ]
    course_at = free.put(beside, width, tall)
    inside = [
        (hold.side * off * width_nm, -length * length_nm)
        for length in (0.3, 0.4, 0.2, 0.5, 0.1, 0.6, 0.7)
        for off in (0.5, 0.35, 0.65, 1.5)
    ]
    inside_at = free.put(inside, (style.width_in(HOLDING_SIDE, SIZE_PT) + 0.06) * nm_per_in, tall)
    assert course_at is not None and inside_at is not None, "they must"  # noqa: PT018
    return Plan(
        limits=limits,
        flown=flown,
        elsewhere=elsewhere,
        solved=None
        if solved is None
        else PlanLine(hold.side * np.asarray(solved.path_cross_nm), np.asarray(solved.path_along_nm)),
        corridor=np.column_stack((hold.side * np.concatenate((low, high[::-1])), np.concatenate((along, along[::-1])))),
        events=tuple(
            (event.shape, *spot(event.east_nm, event.north_nm), event.stretch)
            for event in find_events(debrief, timeline)
        ),
        tags=tags,
        side=hold.side,
        course_words=course_words,
        course_words_at=course_at,
        holding_side_at=inside_at,
        north_deg=-hold.inbound_course_true_deg,
        wind_to_deg=None if wind is None else wind.from_true_deg + 180.0 - hold.inbound_course_true_deg,
        wind_words=wind_words(debrief),
        scale_bar_nm=scale_nm,
    )


def _tags(
    debrief: Debrief, timeline: Timeline, page: Callable[[Any, Any], tuple[Floats, Floats]], nm_per_in: float,
    free: Placer,
) -> Iterator[tuple[str, float, float, Stretch]]:  # fmt: skip
    """The number of each lap on its line; one that would lie on another is left out: strips and key still name it."""
    several = len(debrief.visits) > 1
    for stretch in timeline.stretches:
        if stretch.kind == "entry":
            continue
        words = tag_of(stretch, several)
        right, along = page(*tag_places(debrief, stretch))
        known = np.isfinite(right) & np.isfinite(along)
        places = list(zip(right[known].tolist(), along[known].tolist()))
        width = (style.width_in(words, TAG_PT, "bold") + 0.08) * nm_per_in
        place = free.put(places, width, TAG_TALL_IN * nm_per_in, must=False, lines=False) if places else None
        if place is not None:
            yield words, *place, stretch


def _limits(right: Floats, along: Floats, width_in: float, height_in: float) -> tuple[float, float, float, float]:
    """One scale both ways, everything inside, arrows and scale bar on free paper."""
    room_x, room_y = width_in - 2 * SIDES_IN, height_in - TOP_IN - BOTTOM_IN
    nm_per_in = max(float(np.ptp(right)) / room_x, float(np.ptp(along)) / room_y, 0.1)
    middle_x = float(right.min() + right.max()) / 2
    middle_y = float(along.min() + along.max()) / 2 + (TOP_IN - BOTTOM_IN) / 2 * nm_per_in
    half_x, half_y = width_in / 2 * nm_per_in, height_in / 2 * nm_per_in
    return middle_x - half_x, middle_x + half_x, middle_y - half_y, middle_y + half_y


def draw(axes: Axes, plan: Plan, width_in: float, height_in: float) -> None:
    """Draw a plan on axes that fill a frame of this size [in]."""
    left, right, bottom, top = plan.limits
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    axes.set_xticks([])
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_color(style.RULE)
    axes.fill(plan.corridor[:, 0], plan.corridor[:, 1], color=style.WASH, alpha=0.6, linewidth=0, zorder=1)
    if plan.solved is not None:
        axes.plot(plan.solved.right_nm, plan.solved.along_nm, color=style.SOLVED, linewidth=6.5, zorder=2,
                  solid_capstyle="round", solid_joinstyle="round")  # fmt: skip
    for each in plan.elsewhere:
        axes.plot(each.right_nm, each.along_nm, zorder=3, **style.elsewhere(hold_flown=bool(plan.flown)))
    axes.plot([0.0, 0.0], [-COURSE_NM, 0.0], color=style.INK, linewidth=1.0, zorder=4)
    for each in plan.flown:
        assert each.stretch is not None, "made with one"
        axes.plot(each.right_nm, each.along_nm, zorder=5, solid_joinstyle="round", **style.line_of(each.stretch))
    laps = len({key for *_, key in plan.events})
    for shape, x, y, _ in plan.events:
        event_mark(axes, shape, x, y, 1.0 if laps <= 6 else 0.75)
    axes.plot([0.0], [0.0], marker="+", markersize=15, color=style.INK, markeredgewidth=1.0, zorder=7)
    axes.plot([0.0], [0.0], marker="o", markersize=10, markerfacecolor="none", markeredgecolor=style.INK,
              markeredgewidth=1.2, zorder=7)  # fmt: skip
    for words, x, y, stretch in plan.tags:
        tag(axes, words, x, y, stretch)
    _words(axes, plan, (right - left) / width_in)
    _furniture(axes, plan, width_in, height_in)


def event_mark(axes: Axes, shape: str, x: float, y: float, scale: float = 1.0) -> None:
    """The mark of one kind of event; shapes differ, not only their fill."""
    marker, size, full = EVENT_MARKS[shape]
    axes.plot([x], [y], marker=marker, markersize=size * scale, markeredgewidth=0.9 * scale, zorder=6,
              markerfacecolor=style.INK if full else style.PAPER, markeredgecolor=style.INK)  # fmt: skip


def tag(axes: Axes, words: str, x: float, y: float, stretch: Stretch) -> None:
    """The number of a lap on its line."""
    axes.text(
        x, y, style.shown(words), ha="center", va="center_baseline", color=style.PAPER, zorder=8, clip_on=True,
        fontproperties=style.letters("bold"), fontsize=TAG_PT,
        bbox={"boxstyle": "round,pad=0.22", "facecolor": style.line_of(stretch)["color"],
              "edgecolor": style.PAPER, "linewidth": 0.6},
    )  # fmt: skip


def _words(axes: Axes, plan: Plan, nm_per_in: float) -> None:
    halo = [withStroke(linewidth=2.5, foreground=style.PAPER)]
    for at, words in ((plan.course_words_at, plan.course_words), (plan.holding_side_at, HOLDING_SIDE)):
        axes.text(*at, words, ha="center", va="center", color=style.SOFT, fontproperties=style.letters(),
                  fontsize=SIZE_PT, path_effects=halo, zorder=6, clip_on=True)  # fmt: skip
    # Which way the course is flown.
    tip = plan.limits[2] + (BOTTOM_IN + 0.04) * nm_per_in
    side, back = 0.055 * nm_per_in, tip - 0.1 * nm_per_in
    axes.plot([-side, 0.0, side], [back, tip, back], color=style.INK, linewidth=1.0, zorder=9)


def _furniture(axes: Axes, plan: Plan, width_in: float, height_in: float) -> None:
    """North arrow, wind arrow and scale bar, on the paper kept free for them."""
    left, right, bottom, _ = plan.limits
    nm_per_in = (right - left) / width_in
    halo = [withStroke(linewidth=2.5, foreground=style.PAPER)]

    def words(x_in: float, y_in: float, text: str, ha: str) -> None:
        axes.text(left + x_in * nm_per_in, bottom + y_in * nm_per_in, text, ha=ha, va="center", color=style.INK,
                  fontproperties=style.letters(), fontsize=SIZE_PT, path_effects=halo, zorder=9)  # fmt: skip

    def turned(points: list[tuple[float, float]], x_in: float, y_in: float, degrees: float) -> tuple[Floats, Floats]:
        """Points [in] turned clockwise about the origin and set at a place of the frame."""
        x, y = np.array(points).T
        a = np.radians(degrees)
        return (
            left + (x_in + x * np.cos(a) + y * np.sin(a)) * nm_per_in,
            bottom + (y_in - x * np.sin(a) + y * np.cos(a)) * nm_per_in,
        )

    y_in = height_in - 0.32
    needle = [(0.0, 0.17), (0.07, -0.12), (0.0, -0.06), (-0.07, -0.12)]
    axes.fill(*turned(needle, 0.32, y_in, plan.north_deg), color=style.INK, linewidth=0, zorder=9)
    a = np.radians(plan.north_deg)
    words(0.32 + 0.25 * float(np.sin(a)), y_in + 0.25 * float(np.cos(a)), "N", "center")
    if plan.wind_to_deg is None:
        words(width_in - 0.12, y_in, plan.wind_words, "right")
    else:
        x_in = width_in - 0.3
        for stroke in ([(0.0, -0.19), (0.0, 0.18)], [(-0.065, 0.08), (0.0, 0.18), (0.065, 0.08)]):
            axes.plot(*turned(stroke, x_in, y_in, plan.wind_to_deg), color=style.ACCENT, linewidth=1.8, zorder=9,
                      solid_capstyle="round", solid_joinstyle="round")  # fmt: skip
        words(x_in - 0.27, y_in, plan.wind_words, "right")
    length_in = plan.scale_bar_nm / nm_per_in
    ends = [(0.0, 0.06), (0.0, 0.0), (length_in, 0.0), (length_in, 0.06)]
    axes.plot(*turned(ends, 0.15, 0.12, 0.0), color=style.INK, linewidth=1.0, zorder=9)
    words(0.15 + length_in / 2, 0.22, f"{plan.scale_bar_nm:g} NM", "center")
