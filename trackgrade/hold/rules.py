"""The rules of thumb of the hold, and what a lap flown by them would come to in a known wind."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trackgrade.earth.angles import wrap360
from trackgrade.hold.hold import Hold
from trackgrade.hold.lapshape import Floats, fix_turn, lap_phases, lap_shape, trace
from trackgrade.hold.planning import DRAWN_EVERY_S, STANDARD_RATE_DEG_S, air_of

#: AIM 5-3-8: outbound, three times the inbound drift correction.
DRIFT_TIMES = 3.0


@dataclass(frozen=True, eq=False)
class RuleLap:
    """What a lap flown by rule would come to: where it rolls out, and the inbound time.

    ``rollout_cross_nm``: toward the holding side positive (undershot), negative gone through the course.
    ``inbound_s`` from the roll-out to abeam the fix along the course, as if it was joined without losing time;
    negative where the lap rolls out past the fix. ``path_*`` [NM] (n,) from the fix to the roll-out.
    """

    outbound_heading_true_deg: float
    outbound_wca_deg: float
    outbound_s: float
    rollout_cross_nm: float
    inbound_s: float
    inbound_error_s: float
    lap_s: float
    path_along_nm: Floats
    path_cross_nm: Floats


def by_rules(
    hold: Hold,
    tas_kt: float,
    wind_from_true_deg: float,
    wind_kt: float,
    outbound_wca_deg: float,
    outbound_s: float,
    *,
    target_inbound_s: float,
    turn_rate_deg_s: float = STANDARD_RATE_DEG_S,
    bank_limit_deg: float | None = None,
    roll_s: float = 0.0,
) -> RuleLap:
    """What comes of an outbound correction [deg, right positive] and time from abeam chosen by a rule."""
    air = air_of(hold, tas_kt, wind_from_true_deg, wind_kt, turn_rate_deg_s, bank_limit_deg, roll_s)
    outbound_rad = math.pi + hold.side * math.radians(outbound_wca_deg)
    turn = fix_turn(outbound_rad, air)
    straight_s = max(0.0, turn.abeam_s + outbound_s - turn.seconds) if math.isfinite(turn.abeam_s) else outbound_s
    shape = lap_shape(outbound_rad, straight_s, air)
    inbound_s = -shape.rollout_along_nm / air.inbound_gs_nm_s
    _, along, cross, _ = trace(lap_phases(shape, 0.0, air), air.inbound_heading_rad, air, DRAWN_EVERY_S)
    return RuleLap(
        outbound_heading_true_deg=float(wrap360(hold.inbound_course_true_deg + 180.0 + outbound_wca_deg)),
        outbound_wca_deg=outbound_wca_deg,
        outbound_s=outbound_s,
        rollout_cross_nm=shape.rollout_cross_nm,
        inbound_s=inbound_s,
        inbound_error_s=inbound_s - target_inbound_s,
        lap_s=shape.rollout_s + inbound_s,
        path_along_nm=along,
        path_cross_nm=cross,
    )


def triple_drift_wca_deg(inbound_wca_deg: float) -> float:
    """Outbound correction by the rule of AIM 5-3-8: three times the inbound one, the other way."""
    return -DRIFT_TIMES * inbound_wca_deg


def next_outbound_equal_seconds_s(outbound_s: float, inbound_s: float, target_inbound_s: float) -> float:
    """The next outbound time by equal seconds (common practice): corrected by what the inbound was off."""
    return max(0.0, outbound_s + target_inbound_s - inbound_s)
