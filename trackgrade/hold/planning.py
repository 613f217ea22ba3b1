"""The lap that works in this wind: the outbound heading and time that roll out on the course, on time.

Two unknowns (outbound heading, outbound time), two equations (no distance left across the course at the end of
the turn back; the wanted time from there to the fix). The rules of the trade approximate it; `rules.py` tells
what they would leave.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.earth.units import KT_PER_M_S, STANDARD_GRAVITY_M_S2
from trackgrade.hold.hold import Hold
from trackgrade.hold.lapshape import (
    Air,
    Floats,
    LapShape,
    fix_turn,
    lap_phases,
    lap_shape,
    trace,
    turn_back,
)

STANDARD_RATE_DEG_S = 3.0

#: Beyond this the outbound "leg" goes across the course, not away from the fix. Our own choice.
LARGEST_OUTBOUND_WCA_DEG = 75.0

#: Spacing of the points of a path [s].
DRAWN_EVERY_S = 1.0


@dataclass(frozen=True, eq=False)
class SolvedLap:
    """One lap, fix to fix, in a steady wind. Angles of correction are right positive.

    ``outbound_s`` runs from abeam (`outbound_from_level_s` from wings level). ``path_*`` are arrays (n,): time
    from the fix [s], along and cross [NM]. ``abeam_s``, ``wings_level_s``, ``outbound_end_s``, ``rollout_s`` are
    moments of the lap [s from the fix]. Where ``feasible`` is False no lap meets the target: this is the
    nearest that rolls out on the course, and ``why`` says what stands in the way; where the course cannot be
    tracked at all every number is NaN and the path empty.
    """

    outbound_heading_true_deg: float
    outbound_s: float
    outbound_wca_deg: float
    inbound_heading_true_deg: float
    inbound_wca_deg: float
    inbound_s: float
    inbound_gs_kt: float
    outbound_gs_kt: float
    lap_s: float
    path_s: Floats
    path_along_nm: Floats
    path_cross_nm: Floats
    feasible: bool
    why: str
    target_inbound_s: float = math.nan
    outbound_from_level_s: float = math.nan
    wings_level_s: float = math.nan
    abeam_s: float = math.nan
    outbound_end_s: float = math.nan
    rollout_s: float = math.nan
    outbound_end_along_nm: float = math.nan
    outbound_end_cross_nm: float = math.nan
    rollout_along_nm: float = math.nan
    rollout_cross_nm: float = math.nan
    tas_kt: float = math.nan
    wind_from_true_deg: float = math.nan
    wind_kt: float = math.nan
    turn_rate_deg_s: float = math.nan
    bank_deg: float = math.nan
    turn_radius_nm: float = math.nan

    @property
    def outbound_end_from_fix_nm(self) -> float:
        """Distance from the fix where the turn back begins: what a distance readout to the fix shows."""
        return math.hypot(self.outbound_end_along_nm, self.outbound_end_cross_nm)


def bank_for_rate_deg(tas_kt: float, rate_deg_s: float) -> float:
    """Bank of a coordinated level turn [deg]: tan(bank) = V w / g (PHAK ch. 5)."""
    return math.degrees(math.atan(tas_kt / KT_PER_M_S * math.radians(rate_deg_s) / STANDARD_GRAVITY_M_S2))


def rate_for_bank_deg_s(tas_kt: float, bank_deg: float) -> float:
    """Rate of a coordinated level turn [deg/s]: g tan(bank) / V; 1,091 tan(bank) / kt (PHAK ch. 5)."""
    return math.degrees(STANDARD_GRAVITY_M_S2 * math.tan(math.radians(bank_deg)) / (tas_kt / KT_PER_M_S))


def turn_radius_nm(tas_kt: float, rate_deg_s: float) -> float:
    """Radius in still air [NM]: speed over rate, V / (60 pi) at 3 degrees a second."""
    return tas_kt / 3600.0 / math.radians(rate_deg_s)


def solve_lap(
    hold: Hold,
    tas_kt: float,
    wind_from_true_deg: float,
    wind_kt: float,
    *,
    turn_rate_deg_s: float = STANDARD_RATE_DEG_S,
    bank_limit_deg: float | None = None,
    target_inbound_s: float | None = None,
    roll_s: float = 0.0,
) -> SolvedLap:
    """The lap that rolls out on the course with the target inbound time.

    ``turn_rate_deg_s`` is flown unless it needs more than ``bank_limit_deg``. ``target_inbound_s`` defaults to
    the hold's leg: its minutes, or the time that its NM take. ``roll_s`` is the time to roll into and out of a
    turn; 0 turns at once.

    Without roll the two equations have a closed form: over both turns, a full circle, the way through the air
    cancels, so the straight outbound way must undo the wind's drift over the whole lap, less the inbound leg.
    That is a quadratic in its time with one positive root. Rolling in makes the two turns' ways through the air
    differ a little; then scipy finds the root from there.
    """
    air = air_of(hold, tas_kt, wind_from_true_deg, wind_kt, turn_rate_deg_s, bank_limit_deg, roll_s)
    describe = _Describer(hold, air, wind_from_true_deg, wind_kt)
    gs = air.inbound_gs_nm_s
    if not gs > 0.0:
        return describe.nothing(_why_no_inbound(air))
    if target_inbound_s is None:
        target_inbound_s = hold.leg.nm / gs if hold.leg.nm is not None else 60.0 * (hold.leg.minutes or 1.0)
    shape = _closing(air, target_inbound_s)
    if shape is not None:
        return describe.lap(shape, target_inbound_s, target_inbound_s, True, "")
    best = _nearest(air, target_inbound_s)
    if best is None:
        return describe.nothing(_why_infeasible(air, target_inbound_s, None))
    inbound_s = -best.rollout_along_nm / gs
    why = _why_infeasible(air, target_inbound_s, inbound_s)
    return describe.lap(best, inbound_s, target_inbound_s, False, why)


def same_wind_lap(hold: Hold, lap: SolvedLap, target_inbound_s: float) -> SolvedLap | None:
    """The lap of another inbound time at the airspeed, turn and wind of a solved one; None where none closes."""
    air = air_of(hold, lap.tas_kt, lap.wind_from_true_deg, lap.wind_kt, lap.turn_rate_deg_s)
    shape = _closing(air, target_inbound_s) if air.inbound_gs_nm_s > 0.0 else None
    if shape is None:
        return None
    describe = _Describer(hold, air, lap.wind_from_true_deg, lap.wind_kt)
    return describe.lap(shape, target_inbound_s, target_inbound_s, True, "")


def air_of(
    hold: Hold,
    tas_kt: float,
    wind_from_true_deg: float,
    wind_kt: float,
    turn_rate_deg_s: float = STANDARD_RATE_DEG_S,
    bank_limit_deg: float | None = None,
    roll_s: float = 0.0,
) -> Air:
    """Airspeed, wind and turn in the hold's frame. Raises ValueError for a speed or rate that is not positive."""
    if not tas_kt > 0.0 or not turn_rate_deg_s > 0.0:
        raise ValueError("airspeed and turn rate must be positive")
    rate = turn_rate_deg_s
    if bank_limit_deg is not None:
        rate = min(rate, rate_for_bank_deg_s(tas_kt, bank_limit_deg))
    toward = math.radians(wind_from_true_deg + 180.0 - hold.inbound_course_true_deg)
    return Air(
        tas_nm_s=tas_kt / 3600.0,
        wind_along_nm_s=wind_kt / 3600.0 * math.cos(toward),
        wind_cross_nm_s=hold.side * wind_kt / 3600.0 * math.sin(toward),
        rate_rad_s=math.radians(rate),
        roll_s=roll_s,
    )


def _solve(air: Air, inbound_s: float) -> tuple[float, float] | None:
    """Outbound heading [rad] and straight time [s] that close the lap; None where scipy finds none."""
    heading, straight_s = _closed_form(air, inbound_s)
    if air.roll_s <= 0.0:
        return heading, straight_s
    from scipy.optimize import root

    # Rolling in moves the heading by a few degrees at most: one far from outbound stays so.
    if abs(math.degrees(heading) - 180.0) > LARGEST_OUTBOUND_WCA_DEG + 15.0:
        return None
    leg_nm = air.inbound_gs_nm_s * inbound_s
    first, last = air.inbound_heading_rad + 0.01, air.inbound_heading_rad + 2.0 * math.pi - 0.01

    def misses(unknown: Floats) -> list[float]:
        shape = lap_shape(min(max(float(unknown[0]), first), last), float(unknown[1]) * 60.0, air)
        return [shape.rollout_along_nm + leg_nm, shape.rollout_cross_nm]

    answer = root(misses, [heading, straight_s / 60.0], tol=1e-12)
    if math.hypot(*misses(answer.x)) > 1e-6:
        return None
    return float(answer.x[0]), float(answer.x[1]) * 60.0


def _closed_form(air: Air, inbound_s: float) -> tuple[float, float]:
    """The root for turns that begin and end at once.

    With V the airspeed, w the wind, c the time of a full circle, g the inbound leg as a vector and T the straight
    outbound time, T V u = -(w (c + T) + g), where u is the unit vector of the outbound heading. Squared, a
    quadratic in T: (V^2 - w^2) T^2 - 2 T w.(w c + g) - |w c + g|^2 = 0.
    """
    circle_s = 2.0 * math.pi / air.rate_rad_s
    wx, wy = air.wind_along_nm_s, air.wind_cross_nm_s
    ax = wx * circle_s + air.inbound_gs_nm_s * inbound_s
    ay = wy * circle_s
    a = air.tas_nm_s**2 - wx**2 - wy**2
    b = wx * ax + wy * ay
    c = ax**2 + ay**2
    # The inbound course can be tracked, but a tailwind may still exceed the airspeed: then no lap closes.
    if a <= 0.0:
        return math.pi, 0.0
    straight_s = (b + math.sqrt(b * b + a * c)) / a
    heading = math.atan2(-(ay + wy * straight_s), -(ax + wx * straight_s))
    # Outbound headings run from 0 over 180 to 360, the way the fix turn goes.
    return heading % (2.0 * math.pi), straight_s


def _closing(air: Air, inbound_s: float) -> LapShape | None:
    """The lap that closes with this inbound time and can be flown as a hold; None where there is none."""
    found = _solve(air, inbound_s)
    shape = None if found is None else lap_shape(*found, air)
    return shape if shape is not None and _flyable(shape) else None


def _flyable(shape: LapShape) -> bool:
    wca = abs(math.degrees(shape.outbound_rad) - 180.0)
    straight_s = shape.outbound_end_s - shape.wings_level_s
    return wca <= LARGEST_OUTBOUND_WCA_DEG and straight_s >= -1e-9 and shape.outbound_s >= -1e-9


def _nearest(air: Air, inbound_s: float) -> LapShape | None:
    """Among laps that roll out on the course, the one whose inbound time is nearest the target; None if none.

    Where many headings do as well (with next to no straight outbound the heading hardly matters), the one with
    the least correction: a degree of it counts as much as a tenth of a second.
    """
    if air.wind_speed_nm_s >= air.tas_nm_s:
        return None
    largest = math.radians(LARGEST_OUTBOUND_WCA_DEG)
    best: LapShape | None = None
    best_miss = math.inf
    low, high, count = math.pi - largest, math.pi + largest, 76
    for _ in range(3):  # each pass looks closer around the best so far
        headings = np.linspace(low, high, count)
        chosen: float | None = None
        for heading in headings:
            for straight_s in _straights_on_course(float(heading), air):
                shape = lap_shape(float(heading), straight_s, air)
                if not _flyable(shape):
                    continue
                miss = abs(-shape.rollout_along_nm / air.inbound_gs_nm_s - inbound_s)
                miss += 0.1 * abs(math.degrees(float(heading)) - 180.0)
                if miss < best_miss - 1e-9:
                    best, best_miss, chosen = shape, miss, float(heading)
        if chosen is None:
            break
        step = (high - low) / (count - 1)
        low, high, count = max(chosen - step, math.pi - largest), min(chosen + step, math.pi + largest), 21
    return best


def _straights_on_course(heading: float, air: Air) -> list[float]:
    """Straight times on a heading after which the turn back ends on the course."""
    turn = fix_turn(heading, air)
    if not math.isfinite(turn.abeam_s):
        return []
    _, _, back_cross = turn_back(heading, air)
    left = turn.cross_nm + back_cross
    speed = air.velocity(heading)[1]
    shortest = max(0.0, turn.abeam_s - turn.seconds)
    if abs(left + shortest * speed) < 1e-9:
        return [shortest]
    if abs(speed) < 1e-12:
        return []
    straight_s = -left / speed
    return [straight_s] if straight_s >= shortest else []


def _why_no_inbound(air: Air) -> str:
    if math.isnan(air.inbound_heading_rad):
        kind, share = "crosswind", abs(air.wind_cross_nm_s) / air.tas_nm_s
    else:
        kind, share = "headwind", -air.wind_along_nm_s / air.tas_nm_s
    return f"The {kind} on the inbound course is {share:.0%} of the airspeed: the course cannot be flown"


def _why_infeasible(air: Air, target_s: float, best_s: float | None) -> str:
    circle_s = 2.0 * math.pi / air.rate_rad_s
    carried_nm = air.wind_speed_nm_s * circle_s
    text = (
        f"No lap gives {target_s:.0f} s inbound: in the {circle_s:.0f} s of the two turns the wind alone carries "
        f"the aircraft {carried_nm:.1f} NM"
    )
    if air.wind_along_nm_s < 0.0:
        text += ", back along the course"
    if best_s is None:
        return text + ", and no outbound heading brings it back to the course"
    which = "longer" if best_s > target_s else "shorter"
    return (
        f"{text}. The best that rolls out on the course is {best_s:.0f} s inbound, "
        f"{abs(best_s - target_s):.0f} s {which}"
    )


@dataclass(frozen=True)
class _Describer:
    """Turns a shape in the hold's frame into the lap a pilot reads."""

    hold: Hold
    air: Air
    wind_from_true_deg: float
    wind_kt: float

    def lap(self, shape: LapShape, inbound_s: float, target_s: float, feasible: bool, why: str) -> SolvedLap:
        air, hold = self.air, self.hold
        path_s, along, cross, _ = trace(lap_phases(shape, inbound_s, air), air.inbound_heading_rad, air, DRAWN_EVERY_S)
        for array in (path_s, along, cross):
            array.setflags(write=False)
        inbound_wca = hold.side * math.degrees(air.inbound_heading_rad)
        outbound_wca = hold.side * (math.degrees(shape.outbound_rad) - 180.0)
        return replace(
            self.nothing(why),
            outbound_heading_true_deg=self._heading(180.0 + outbound_wca),
            outbound_s=shape.outbound_s,
            outbound_wca_deg=float(wrap180(outbound_wca)),
            inbound_heading_true_deg=self._heading(inbound_wca),
            inbound_wca_deg=inbound_wca,
            inbound_s=inbound_s,
            inbound_gs_kt=air.inbound_gs_nm_s * 3600.0,
            outbound_gs_kt=math.hypot(*air.velocity(shape.outbound_rad)) * 3600.0,
            lap_s=shape.rollout_s + inbound_s,
            path_s=path_s,
            path_along_nm=along,
            path_cross_nm=cross,
            feasible=feasible,
            target_inbound_s=target_s,
            outbound_from_level_s=shape.outbound_end_s - shape.wings_level_s,
            wings_level_s=shape.wings_level_s,
            abeam_s=shape.abeam_s,
            outbound_end_s=shape.outbound_end_s,
            rollout_s=shape.rollout_s,
            outbound_end_along_nm=shape.outbound_end_along_nm,
            outbound_end_cross_nm=shape.outbound_end_cross_nm,
            rollout_along_nm=shape.rollout_along_nm,
            rollout_cross_nm=shape.rollout_cross_nm,
        )

    def nothing(self, why: str) -> SolvedLap:
        """No lap at all: every number NaN but those of the aircraft and the wind."""
        nan, empty = math.nan, np.zeros(0)
        empty.setflags(write=False)
        rate, tas_kt = math.degrees(self.air.rate_rad_s), self.air.tas_nm_s * 3600.0
        return SolvedLap(
            *(nan,) * 9,
            path_s=empty,
            path_along_nm=empty,
            path_cross_nm=empty,
            feasible=False,
            why=why,
            tas_kt=tas_kt,
            wind_from_true_deg=self.wind_from_true_deg,
            wind_kt=self.wind_kt,
            turn_rate_deg_s=rate,
            bank_deg=bank_for_rate_deg(tas_kt, rate),
            turn_radius_nm=turn_radius_nm(tas_kt, rate),
        )

    def _heading(self, from_course_deg: float) -> float:
        return float(wrap360(self.hold.inbound_course_true_deg + from_course_deg))
