"""The lap the simulated pilot means to fly, from the wind it believes in.

A lap is arcs and straights in the air mass, carried by the wind. For each outbound heading one outbound time
gives the wanted inbound leg; the heading is found for which the turn back ends on the course. Half of each roll
counts as straight.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import asin, cos, pi, radians, sin

from scipy.optimize import brentq

LEAST_OUTBOUND_S = 5.0
#: No leg is made longer than about this many times what was asked for.
MOST_LONGER = 4.0


@dataclass(frozen=True, eq=False)
class LapPlan:
    """Headings against the inbound course [rad, toward the holding side]; speeds NM/s.

    ``straight_s`` wings level to the start of the turn back; ``abeam_s`` is when abeam comes, ``level_s`` when wings
    are level, both from the start of the plan; ``turn_along_nm`` where the turn back begins.
    """

    crab_rad: float
    inbound_gs_nm_s: float
    outbound_rad: float
    straight_s: float
    level_s: float
    abeam_s: float
    turn_along_nm: float


def plan_lap(
    tas_nm_s: float,
    rate_rad_s: float,
    roll_s: float,
    wind_along: float,
    wind_cross: float,
    *,
    inbound_s: float | None = None,
    inbound_nm: float | None = None,
    start_rad: float | None = None,
    start_nm: tuple[float, float] = (0.0, 0.0),
    aim_cross_nm: float = 0.0,
    outbound_rad: float | None = None,
) -> LapPlan:
    """Plan from ``start_nm`` (along, cross), heading ``start_rad`` (None: the inbound crab).

    Wind [NM/s] blows toward along, cross.

    ``outbound_rad`` given: only the time is found. Raises ValueError where the crosswind exceeds the airspeed.
    """
    v, w = tas_nm_s, rate_rad_s
    if abs(wind_cross) >= 0.95 * v:
        raise ValueError("the crosswind on the inbound course is as strong as the airspeed")
    crab = -asin(wind_cross / v)
    gs_in = v * cos(crab) + wind_along
    if gs_in <= 0.1 * v:
        raise ValueError("the headwind on the inbound course is as strong as the airspeed")
    start = crab if start_rad is None else start_rad
    leg = inbound_nm if inbound_nm is not None else inbound_s or 60.0
    aim_along = -leg * (1.0 if inbound_nm is not None else gs_in)

    def turn(first: float, last: float) -> tuple[float, float, float]:
        """Seconds and way over the ground of a turn between two headings, half of each roll straight."""
        change = (last - first) % (2 * pi)
        seconds, half = change / w + roll_s, roll_s / 2
        along = v * half * (cos(first) + cos(last)) + v / w * (sin(first + change) - sin(first))
        cross = v * half * (sin(first) + sin(last)) + v / w * (cos(first) - cos(first + change))
        return seconds, along + wind_along * seconds, cross + wind_cross * seconds

    def fly(out: float) -> tuple[float, float, float, float, float]:
        """(time, x, y where wings are level; dx, dy of the turn back)"""
        seconds, along, cross = turn(start, out)
        return seconds, start_nm[0] + along, start_nm[1] + cross, *turn(out, crab)[1:]

    def straight(out: float) -> float:
        _, x, _, dx, _ = fly(out)
        speed = v * cos(out) + wind_along
        if speed >= -1e-6:
            return 1e6
        return (aim_along - x - dx) / speed

    def miss(out: float) -> float:
        _, _, y, _, dy = fly(out)
        so = max(straight(out), LEAST_OUTBOUND_S)
        return y + dy + so * (v * sin(out) + wind_cross) - aim_cross_nm

    grid = [radians(a) for a in range(100, 261, 4)]
    usable = [a for a in grid if v * cos(a) + wind_along < -0.05 * v]
    longer = 1.0
    while outbound_rad is None:
        roots = [
            float(brentq(miss, a, b)) for a, b in pairwise(usable) if miss(a) * miss(b) <= 0.0 and b - a < radians(5)
        ]
        if roots:
            outbound_rad = min(roots, key=lambda a: abs(a - pi))
        elif longer < MOST_LONGER:
            # So much wind across that the leg is too short to come back to the course: accept a longer one.
            longer, leg = 1.25 * longer, 1.25 * leg
            aim_along = -leg * (1.0 if inbound_nm is not None else gs_in)
        else:
            outbound_rad = min(usable or [pi], key=lambda a: abs(miss(a)))
    straight_s = min(max(straight(outbound_rad), LEAST_OUTBOUND_S), 3600.0)
    t1, x1, _, _, _ = fly(outbound_rad)
    out_gs = v * cos(outbound_rad) + wind_along
    turn_along = x1 + straight_s * out_gs
    abeam_s = t1 - x1 / out_gs if out_gs < 0 else t1  # straight extrapolation: also right enough when within the turn
    return LapPlan(crab, gs_in, outbound_rad, straight_s, t1, abeam_s, turn_along)
