"""The strips of the static figure on axes of matplotlib: altitude, airspeed, distance from the course against time."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes

from trackgrade.drawing import palette
from trackgrade.report import figure_style as style
from trackgrade.report.strips import Line, Strip, airspeed, altitude, off_course, time_ticks
from trackgrade.report.timeline import AXIS_WIDTH, TimeAxis, Timeline
from trackgrade.score.debrief import Debrief

SIZE_PT = 7.0


def strips(debrief: Debrief, timeline: Timeline) -> tuple[Strip, ...]:
    """What the figure shows, from the top."""
    return altitude(debrief, timeline), airspeed(debrief, timeline), off_course(debrief, timeline)


def draw(axes: Axes, strip: Strip, debrief: Debrief, timeline: Timeline, *, last: bool) -> None:
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
        label.set_fontsize(SIZE_PT)
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
    heads: list[tuple[float, str]] = []
    free_from = 0.0
    for each, share in timeline.heads:
        half = style.width_in(each.tag, SIZE_PT, "bold") / 2
        if share * room_in - half >= free_from:
            heads.append((share, each.tag))
            free_from = share * room_in + half + 0.04
    return tuple(heads)
