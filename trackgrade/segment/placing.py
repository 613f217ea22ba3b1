"""Where the rounds of a family put the fix and the inbound course.

The turn at the fix begins a reaction after it, so the places where the turns begin give the fix along the course; the
inbound legs give it across, and the course over the last part of each, with what the outbound legs say (`course.py`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.hold.hold import TurnSide
from trackgrade.segment.course import InboundLeg, Outbound, likeliest_course
from trackgrade.segment.rounds import Ground, Round, large_turns
from trackgrade.track.ranks import median
from trackgrade.track.track import Floats

#: The turn begins about this long after the fix, which is when a pilot reacts (common practice, no source), and varies
#: by as much; at a first passage, from across the course, by more [s].
REACTION_S, REACTION_SD_S, FIRST_REACTION_SD_S = 2.0, 2.0, 5.0
#: How closely a pilot tracks the course to the fix, and the first passage is over it [NM].
ACROSS_SD_NM, FIRST_ACROSS_SD_NM = 0.04, 0.08
#: The course is read over the last part of the leg [s], which may still hold the end of an intercept.
COURSE_OVER_S, SHORTEST_LEG_S = 25.0, 8.0
#: A leg's direction is as good as the tracking, and as the places at its ends over its length [deg, NM].
TRACKING_SD_DEG, ENDS_SD_NM = 1.5, 0.03
#: A turn this small is a correction on the leg [deg].
CORRECTION_DEG = 12.0
#: A turn that begins on a track so far short of the course is one onto it, which goes on over the fix [deg].
CAPTURE_DEG = 30.0
#: The inbound leg of an entry may lead straight to the fix, not along the course: so far off it, typically [deg].
ENTRY_SD_DEG = 4.0


@dataclass(frozen=True, eq=False)
class Placed:
    """A fix (2,) in the plane [NM], course there [deg of the plane], side; the starts of the turns at it (k, 2) [NM]
    with their times [s], how long the inbound legs last [s], and the scatter of both (NaN with one):
    half of the turns begin this near to their middle."""

    fix_nm: Floats
    course_deg: float
    turns: TurnSide
    turn_starts_nm: Floats
    turn_starts_s: Floats
    leg_s: float
    scatter_nm: float
    course_scatter_deg: float


def place(
    ground: Ground,
    family: list[Round],
    outbound: Outbound | None = None,
    entered_s: float | None = None,
) -> Placed:
    """The fix and course that the rounds of one family agree on.

    ``outbound``: what was flown outbound. ``entered_s``: when an entry passed the fix, after which an inbound leg led
    to the first round [s of flight].
    """
    family = sorted(family, key=lambda each: each.start_s)
    legs = [_leg_to(ground, each.end_s) for each in family]
    typical_s = median([leg.end_s - leg.start_s for leg in legs])
    if entered_s is not None:
        before = _leg_to(ground, family[0].start_s)
        legs.insert(0, replace(before, sd_deg=float(np.hypot(before.sd_deg, ENTRY_SD_DEG))))
    course = likeliest_course(legs, outbound or Outbound(), family[0].side)
    starts = [
        (start if first and entered_s is None else _from_course(ground, start, course, family[0].side), first)
        for start, first in _turns_at(ground, family)
    ]
    seen = [*([(entered_s, True)] if entered_s is not None else []), *((s, f and entered_s is None) for s, f in starts)]
    fix = _fix(ground, legs, seen, course)
    places = np.array([ground.at(start) for start, _ in starts])
    directions = np.array([leg.direction_deg for leg in legs])
    off = np.asarray(wrap180(directions - course))
    # The first turn may have been begun anywhere near the fix, by an arrival from across.
    later = np.hypot(*(places[1:] - np.median(places[1:], axis=0)).T) if len(places) > 2 else np.array([np.nan])
    return Placed(
        fix,
        course,
        "right" if family[0].side > 0 else "left",
        places,
        np.array([start for start, _ in starts]),
        typical_s,
        median(later),
        float(np.std(off, ddof=1)) if len(off) > 1 else float("nan"),
    )


def _leg_to(ground: Ground, end_s: float) -> InboundLeg:
    """The straight leg that ends at a time: from the last real turn before it."""
    start_s = max(
        (
            turn.end_epoch_s
            for turn in ground.turns
            if turn.start_epoch_s < end_s - 4.0
            and turn.end_epoch_s < end_s + 8.0
            and abs(turn.change_deg) > CORRECTION_DEG
        ),
        default=float(ground.time_s[0]),
    )
    # Turned onto the course at the last moment, it shows by the direction over the fix, less well.
    since = end_s - SHORTEST_LEG_S if end_s - start_s < SHORTEST_LEG_S else max(start_s, end_s - COURSE_OVER_S)
    inside = slice(ground.index(since), ground.index(end_s) + 1)
    places = ground.place_nm[inside]
    middle = places - places.mean(axis=0)
    _, size, axes = np.linalg.svd(middle, full_matrices=False)
    along = axes[0] if np.dot(axes[0], places[-1] - places[0]) > 0 else -axes[0]
    length = float(np.hypot(*(places[-1] - places[0])))
    bend = float(size[1] / np.sqrt(len(places)))  # how far from straight [NM]
    ends_deg = np.degrees(np.arctan2(ENDS_SD_NM + 3.0 * bend, max(length, 0.05)))
    sd = float(np.hypot(TRACKING_SD_DEG, ends_deg))
    return InboundLeg(start_s, end_s, float(np.degrees(np.arctan2(along[0], along[1]))), sd)


def _turns_at(ground: Ground, family: list[Round]) -> list[tuple[float, bool]]:
    """When turns began at the fix, in order, and whether nothing but the arrival came before it [s]."""
    starts = [each.start_s for each in family]
    last = family[-1]
    for start, _, change in large_turns(ground.turns):
        if change * last.side > 0 and abs(start - last.end_s) < 30.0:
            away = float(np.hypot(*(ground.at(start) - np.array([last.east_nm, last.north_nm]))))
            if away < 1.0 and start > starts[-1] + 30.0:
                starts.append(start)
    return [(start, k == 0) for k, start in enumerate(starts)]


def _from_course(ground: Ground, start_s: float, course_deg: float, side: int) -> float:
    """When a turn from an inbound leg begins at the fix: one from an intercept turns onto the course first [s]."""
    k = ground.index(start_s)
    short_deg = -side * float(wrap180(float(ground.track_deg[k]) - course_deg))
    if short_deg < CAPTURE_DEG:
        return start_s
    turned = side * (ground.track_deg[k:] - ground.track_deg[k])
    return float(ground.time_s[k + int(np.argmax(turned >= short_deg))])


def _fix(ground: Ground, legs: list[InboundLeg], starts: list[tuple[float, bool]], course_deg: float) -> Floats:
    """Least squares of points known well across their direction and less along it; outlying ones lose weight."""
    points, directions, along_sd, across_sd = [], [], [], []
    for start, first in starts:
        at = start - REACTION_S
        k = ground.index(at)
        speed = ground.speed_kt[k] / 3600.0
        crosswise = first and abs(float(wrap180(ground.track_deg[k] - course_deg))) > 20.0
        points.append(ground.at(at))
        directions.append(ground.track_deg[k])
        along_sd.append(speed * (FIRST_REACTION_SD_S if crosswise else REACTION_SD_S))
        across_sd.append(FIRST_ACROSS_SD_NM if first else ACROSS_SD_NM)
    for leg in legs:
        if not any(abs(leg.end_s - start) < 30.0 for start, _ in starts):
            points.append(ground.at(leg.end_s))
            directions.append(leg.direction_deg)
            along_sd.append(10.0)
            across_sd.append(ACROSS_SD_NM)
    point, angle = np.array(points), np.radians(np.array(directions))
    unit = np.stack([np.sin(angle), np.cos(angle)], axis=1)
    normal = np.stack([unit[:, 1], -unit[:, 0]], axis=1)
    # Each point says where the fix is along its direction, and across it: two equations, each with its error.
    lines, sd = np.concatenate([unit, normal]), np.array([*along_sd, *across_sd])
    said = np.sum(lines * np.concatenate([point, point]), axis=1)
    fix = np.median(point[: len(starts)], axis=0)
    for _ in range(6):
        off = (said - lines @ fix) / sd
        weighed = lines.T * (4.0 / (3.0 + (off / 1.5) ** 2) / sd**2)
        fix = np.linalg.solve(weighed @ lines, weighed @ said)
    return np.asarray(fix)
