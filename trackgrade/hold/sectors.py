"""Entry sectors: which entry an arrival heading asks for, how near the next one is, and what to fly.

AIM 5-3-8 and ICAO Doc 8168 Vol I (holding procedures): by heading at the fix, from the outbound course 70
degrees toward the holding side teardrop, 110 degrees the other way parallel, the rest direct; within 5 degrees of
a boundary either neighbour.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trackgrade.earth.angles import wrap180, wrap360

EntryChoice = Literal["direct", "teardrop", "parallel"]

TEARDROP_DEG = 70.0
PARALLEL_DEG = 110.0
EITHER_WITHIN_DEG = 5.0

#: A teardrop goes out this far into the holding side of the outbound course (AIM 5-3-8, ICAO Doc 8168).
TEARDROP_ANGLE_DEG = 30.0

#: The sector of each entry, from and to, by where the outbound course lies from the nose (`outbound_off_deg`). On a
#: line itself the own sector is the first of these that it bounds: the teardrop (0 and 70) or the parallel (110).
SECTORS: dict[EntryChoice, tuple[float, float]] = {
    "teardrop": (0.0, TEARDROP_DEG),
    "parallel": (-PARALLEL_DEG, 0.0),
    "direct": (TEARDROP_DEG, 360.0 - PARALLEL_DEG),
}

_ROUNDING_DEG = 1e-9


def outbound_off_deg(inbound_course_true_deg: float, side: int, arrival_heading_true_deg: float) -> float:
    """How far the outbound course lies from the nose [-180 to 180), right positive for right turns, else left.

    ``side`` is +1 for right turns, -1 for left.
    """
    if side not in (1, -1):
        raise ValueError("side is +1 (right turns) or -1 (left turns)")
    # Wrapped before the side is applied and after: -180 mirrored is 180 again.
    return float(wrap180(side * wrap180(inbound_course_true_deg + 180.0 - arrival_heading_true_deg)))


def sector_miss_deg(
    kind: EntryChoice, inbound_course_true_deg: float, side: int, arrival_heading_true_deg: float
) -> float:
    """How far an arrival heading lies outside the sector of an entry [deg]; 0 inside."""
    off = outbound_off_deg(inbound_course_true_deg, side, arrival_heading_true_deg)
    low, high = SECTORS[kind]
    return 0.0 if (off - low) % 360.0 <= high - low else min(abs(wrap180(off - low)), abs(wrap180(off - high)))


def expected_entries(
    inbound_course_true_deg: float,
    side: int,
    arrival_heading_true_deg: float,
    within_deg: float = EITHER_WITHIN_DEG,
) -> tuple[EntryChoice, ...]:
    """Entries that are right for an arrival heading: the sector's own first, then a neighbour within 5 degrees
    (``within_deg``: more, where the heading itself is known no better)."""
    arrival = inbound_course_true_deg, side, arrival_heading_true_deg
    misses = {kind: sector_miss_deg(kind, *arrival) for kind in SECTORS}
    own = next(kind for kind, miss_deg in misses.items() if miss_deg <= _ROUNDING_DEG)
    return (own, *(kind for kind, miss in misses.items() if kind != own and miss <= within_deg + _ROUNDING_DEG))


def sector_margin_deg(inbound_course_true_deg: float, side: int, arrival_heading_true_deg: float) -> float:
    """Distance of an arrival heading from the nearest sector boundary [deg], 0 to 90."""
    off = outbound_off_deg(inbound_course_true_deg, side, arrival_heading_true_deg)
    return min(abs(float(wrap180(off - low))) for low, _ in SECTORS.values())


@dataclass(frozen=True, eq=False)
class EntryPlan:
    """What to fly for one entry, in still air: add the drift correction.

    Turns are signed, right positive: the first at the fix, to ``first_heading_true_deg``; the second, after the
    time of the outbound leg, back toward the inbound course (for a parallel entry through it, to a cut of 30
    degrees from the holding side).
    """

    kind: EntryChoice
    first_heading_true_deg: float
    first_turn_deg: float
    second_turn_deg: float


def entry_plan(
    kind: EntryChoice, inbound_course_true_deg: float, side: int, arrival_heading_true_deg: float
) -> EntryPlan:
    """Headings and turns of an entry (AIM 5-3-8; ICAO Doc 8168 Vol I, holding, sector 1 to 3).

    direct: turn the hold's way to the outbound heading. teardrop: the shorter way to 30 degrees into the holding
    side, then back the hold's way. parallel: the shorter way to the outbound heading, then back through more
    than 180 degrees toward the holding side, against the hold's way.
    """
    outbound = inbound_course_true_deg + 180.0
    off = outbound_off_deg(inbound_course_true_deg, side, arrival_heading_true_deg)
    if kind == "direct":
        return EntryPlan(kind, float(wrap360(outbound)), side * float(wrap360(off)), side * 180.0)
    if kind == "teardrop":
        first = float(wrap360(outbound - side * TEARDROP_ANGLE_DEG))
        turn = float(wrap180(off - TEARDROP_ANGLE_DEG))
        return EntryPlan(kind, first, side * turn, side * (180.0 + TEARDROP_ANGLE_DEG))
    # Through the inbound course and on by a cut of 30 degrees or so to meet it: over 180 (Doc 8168, sector 1).
    return EntryPlan(kind, float(wrap360(outbound)), side * float(wrap180(off)), -side * (180.0 + TEARDROP_ANGLE_DEG))
