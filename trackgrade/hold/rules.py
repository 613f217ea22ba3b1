"""The rules of thumb of the hold, and what a lap flown by them would come to in a known wind."""

from __future__ import annotations

import math
from typing import NamedTuple

from trackgrade.earth.angles import wrap360
from trackgrade.hold.hold import Hold
from trackgrade.hold.lapshape import crossing_before_rollout_s, fix_turn, lap_phases, lap_shape, trace
from trackgrade.hold.planning import DRAWN_EVERY_S, SolvedLap, air_in
from trackgrade.track.track import Floats

#: AIM 5-3-8: outbound, three times the inbound drift correction.
DRIFT_TIMES = 3.0

#: Rolled out no further through the course than this is rolled out on it [NM]: no needle shows it.
NOT_THROUGH_NM = 0.01

#: A course missed at the roll-out is joined at about this angle: nobody loses no time by it, and a sharper cut loses
#: a few seconds more. Our own choice [deg].
JOINED_AT_DEG = 25.0


class RuleLap(NamedTuple):
    """What a lap flown by rule would come to: where it rolls out, and the inbound time.

    ``rollout_cross_nm``: toward the holding side positive (undershot), negative gone through the course.
    ``inbound_s`` counts as a flown lap's does: from the course crossed in the turn back (``crossed``), else from the
    roll-out, to the fix; negative where the lap rolls out past it. ``path_*`` [NM] (n,) from the fix to the roll-out.
    """

    outbound_heading_true_deg: float
    outbound_wca_deg: float
    outbound_s: float
    rollout_cross_nm: float
    crossed: bool
    inbound_s: float
    inbound_error_s: float
    lap_s: float
    path_along_nm: Floats
    path_cross_nm: Floats


def by_rules(hold: Hold, solved: SolvedLap, outbound_wca_deg: float, outbound_s: float) -> RuleLap:
    """What comes of an outbound correction [deg, right positive] and time from abeam chosen by a rule, at the airspeed,
    turn and target of a solved lap and in its wind."""
    air = air_in(solved, hold)
    outbound_rad = math.pi + hold.side * math.radians(outbound_wca_deg)
    turn = fix_turn(outbound_rad, air)
    after_turn_s = turn.abeam_s - turn.seconds if math.isfinite(turn.abeam_s) else 0.0
    shape = lap_shape(outbound_rad, max(0.0, after_turn_s + outbound_s), air)
    crossed = shape.rollout_cross_nm < -NOT_THROUGH_NM
    joining_nm = abs(shape.rollout_cross_nm) * math.tan(math.radians(JOINED_AT_DEG) / 2.0)
    level_s = (joining_nm - shape.rollout_along_nm) / air.inbound_gs_nm_s
    inbound_s = level_s + (crossing_before_rollout_s(shape, air) if crossed else 0.0)
    _, along, cross, _ = trace(lap_phases(shape, 0.0, air), air.inbound_heading_rad, air, DRAWN_EVERY_S)
    return RuleLap(
        outbound_heading_true_deg=float(wrap360(hold.inbound_course_true_deg + 180.0 + outbound_wca_deg)),
        outbound_wca_deg=outbound_wca_deg,
        outbound_s=outbound_s,
        rollout_cross_nm=shape.rollout_cross_nm,
        crossed=crossed,
        inbound_s=inbound_s,
        inbound_error_s=inbound_s - solved.target_inbound_s,
        lap_s=shape.rollout_s + level_s,
        path_along_nm=along,
        path_cross_nm=cross,
    )


def triple_drift_wca_deg(inbound_wca_deg: float) -> float:
    """Outbound correction by the rule of AIM 5-3-8: three times the inbound one, the other way."""
    return -DRIFT_TIMES * inbound_wca_deg


def next_outbound_equal_seconds_s(outbound_s: float, inbound_s: float, target_inbound_s: float) -> float:
    """The next outbound time by equal seconds (common practice): corrected by what the inbound was off."""
    return max(0.0, outbound_s + target_inbound_s - inbound_s)


def worth_outbound_s(lap: SolvedLap, hold: Hold) -> float:
    """Seconds of outbound time, on the same heading, that move the inbound time by one second.

    Both legs shift the roll-out along the course: so the speeds along it count, not the ground speeds.
    """
    to_course = math.radians(lap.outbound_heading_true_deg - hold.inbound_course_true_deg)
    wind_to = math.radians(lap.wind_from_true_deg + 180.0 - hold.inbound_course_true_deg)
    return -lap.inbound_gs_kt / (lap.tas_kt * math.cos(to_course) + lap.wind_kt * math.cos(wind_to))
