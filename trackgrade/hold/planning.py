"""The lap that works in this wind: the outbound heading and time that roll out on the course, on time.

Two unknowns (outbound heading, outbound time), two equations (a wanted distance across the course at the end of the
turn back; the wanted time from there to the fix). The rules of the trade approximate it; `rules.py` tells what they
would leave.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.earth.turning import bank_for_rate_deg, rate_for_bank_deg_s, turn_radius_nm
from trackgrade.hold.hold import Hold
from trackgrade.hold.lapshape import Air, LapShape, lap_phases, lap_shape, trace, turns_of
from trackgrade.track.track import Floats

STANDARD_RATE_DEG_S = 3.0

#: Time to roll into a turn, and out of it [s]: light aircraft take 3 to 5 s for 15 to 20 degrees of bank.
ROLL_S = 3.5

#: Where the lap is to roll out, short of the course [NM]. Aimed at the course itself half of all laps slide through it,
#: and then the inbound time starts at the crossing, up to a quarter of a minute before the roll-out.
SHORT_OF_COURSE_NM = 0.05

#: Beyond this the outbound "leg" goes across the course, not away from the fix. Our own choice.
LARGEST_OUTBOUND_WCA_DEG = 85.0

#: No hold in more wind than this share of the airspeed, with one leg this many times the other, or with a lap this
#: long [s]: our own choices; at the first the aircraft stands still over the ground but for a fifth of its speed.
MOST_WIND_SHARE = 0.8
LEGS_TIMES = 10.0
LONGEST_LAP_S = 3600.0

#: Where no lap meets the target: what is "on the course" all the same, each side of the aim [NM]; and how many seconds
#: nearer to the target are not worth a larger correction.
NEAREST_ACROSS_NM = 0.06
NEAREST_TIE_S = 3.0

#: What can be flown at all: true airspeed [kt], rate of turn [deg/s], wind [kt].
TAS_KT, RATE_DEG_S, WIND_KT = (20.0, 1000.0), (0.1, 30.0), (0.0, 500.0)

#: Spacing of the points of a path [s].
DRAWN_EVERY_S = 1.0

#: The search for the lap: steps, the largest change of heading in one [rad], and what counts as closed [NM].
NEWTON_STEPS, LARGEST_STEP_RAD, CLOSED_NM = 30, 0.3, 1e-9

#: How it is said that there is none.
NO_HOLD = "no hold can be flown in this wind"


def _no_path() -> Floats:
    empty = np.zeros(0)
    empty.setflags(write=False)
    return empty


@dataclass(frozen=True, eq=False)
class SolvedLap:
    """One lap, fix to fix, in a steady wind. Angles of correction are right positive.

    ``outbound_s`` runs from abeam (`outbound_from_level_s` from wings level). ``path_*`` are arrays (n,): time
    from the fix [s], along and cross [NM]. ``abeam_s``, ``wings_level_s``, ``outbound_end_s``, ``rollout_s`` are
    moments of the lap [s from the fix], as they are measured on a flown one. Where ``feasible`` is False no lap
    meets the target: this is the nearest that rolls out on the course, and ``why`` says what stands in the way;
    where no hold can be flown at all every number is NaN and the path empty.
    """

    outbound_heading_true_deg: float = math.nan
    outbound_s: float = math.nan
    outbound_wca_deg: float = math.nan
    inbound_heading_true_deg: float = math.nan
    inbound_wca_deg: float = math.nan
    inbound_s: float = math.nan
    inbound_gs_kt: float = math.nan
    outbound_gs_kt: float = math.nan
    lap_s: float = math.nan
    path_s: Floats = field(default_factory=_no_path)
    path_along_nm: Floats = field(default_factory=_no_path)
    path_cross_nm: Floats = field(default_factory=_no_path)
    feasible: bool = False
    why: str = ""
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
    roll_s: float = 0.0

    @property
    def outbound_end_from_fix_nm(self) -> float:
        """Distance from the fix where the turn back begins: what a distance readout to the fix shows."""
        return math.hypot(self.outbound_end_along_nm, self.outbound_end_cross_nm)


def solve_lap(
    hold: Hold,
    tas_kt: float,
    wind_from_true_deg: float,
    wind_kt: float,
    *,
    turn_rate_deg_s: float = STANDARD_RATE_DEG_S,
    bank_limit_deg: float | None = None,
    target_inbound_s: float | None = None,
    roll_s: float = ROLL_S,
    short_of_course_nm: float = SHORT_OF_COURSE_NM,
) -> SolvedLap:
    """The lap that rolls out ``short_of_course_nm`` from the course with the target inbound time.

    ``turn_rate_deg_s`` is flown unless it needs more than ``bank_limit_deg``. ``target_inbound_s`` defaults to
    the hold's leg: its minutes, or the time that its NM take. ``roll_s`` is the time to roll into and out of a
    turn; 0 turns at once. Raises ValueError for what cannot be flown at all (`TAS_KT`, `RATE_DEG_S`, `WIND_KT`).
    """
    air = air_of(hold, tas_kt, wind_from_true_deg, wind_kt, turn_rate_deg_s, bank_limit_deg, roll_s)
    rate, tas_kt, gs = math.degrees(air.rate_rad_s), air.tas_nm_s * 3600.0, air.inbound_gs_nm_s
    nothing = SolvedLap(
        tas_kt=tas_kt,
        wind_from_true_deg=wind_from_true_deg,
        wind_kt=wind_kt,
        turn_rate_deg_s=rate,
        bank_deg=float(bank_for_rate_deg(tas_kt, rate)),
        turn_radius_nm=turn_radius_nm(tas_kt, rate),
        roll_s=roll_s,
    )
    if air.wind_speed_nm_s > MOST_WIND_SHARE * air.tas_nm_s:
        return replace(nothing, why=f"The wind is {air.wind_speed_nm_s / air.tas_nm_s:.0%} of the airspeed: {NO_HOLD}")
    if target_inbound_s is None:
        target_inbound_s = hold.leg.nm / gs if hold.leg.nm is not None else hold.leg.seconds or 60.0
    shape = _closing(air, target_inbound_s, short_of_course_nm) if target_inbound_s < LONGEST_LAP_S else None
    if target_inbound_s >= LONGEST_LAP_S or (shape is not None and not _bounded(shape, target_inbound_s)):
        return replace(nothing, why=f"A lap with {target_inbound_s:.0f} s inbound would take too long: {NO_HOLD}")
    if shape is not None:
        return _flown(nothing, hold, air, shape, target_inbound_s, target_inbound_s)
    best = _nearest(air, target_inbound_s, short_of_course_nm)
    if best is None:
        return replace(nothing, why=f"No lap gives {target_inbound_s:.0f} s inbound: {NO_HOLD}")
    inbound_s = -best.rollout_along_nm / gs
    nearest = _flown(nothing, hold, air, best, inbound_s, target_inbound_s)
    return replace(nearest, feasible=False, why=_why_infeasible(air, target_inbound_s, inbound_s))


def same_wind_lap(hold: Hold, lap: SolvedLap, target_inbound_s: float) -> SolvedLap | None:
    """The lap of another inbound time at the airspeed, turn and wind of a solved one; None where none closes."""
    air = air_in(lap, hold)
    shape = _closing(air, target_inbound_s, lap.rollout_cross_nm)
    if shape is None or not _bounded(shape, target_inbound_s):
        return None
    return replace(_flown(lap, hold, air, shape, target_inbound_s, target_inbound_s), why="")


def air_of(
    hold: Hold,
    tas_kt: float,
    wind_from_true_deg: float,
    wind_kt: float,
    turn_rate_deg_s: float = STANDARD_RATE_DEG_S,
    bank_limit_deg: float | None = None,
    roll_s: float = ROLL_S,
) -> Air:
    """Airspeed, wind and turn in the hold's frame. Raises ValueError for what no aircraft or air does."""
    rate = turn_rate_deg_s
    if bank_limit_deg is not None and 0.0 < bank_limit_deg < 90.0 and tas_kt > 0.0:
        rate = min(rate, rate_for_bank_deg_s(tas_kt, bank_limit_deg))
    for what, value, (low, high) in (
        ("airspeed [kt]", tas_kt, TAS_KT),
        ("rate of turn [deg/s]", rate, RATE_DEG_S),
        ("wind [kt]", wind_kt, WIND_KT),
    ):
        if not low <= value <= high:
            raise ValueError(f"{what} must be from {low:g} to {high:g}, not {value:g}")
    toward = math.radians(wind_from_true_deg + 180.0 - hold.inbound_course_true_deg)
    return Air(
        tas_nm_s=tas_kt / 3600.0,
        wind_along_nm_s=wind_kt / 3600.0 * math.cos(toward),
        wind_cross_nm_s=hold.side * wind_kt / 3600.0 * math.sin(toward),
        rate_rad_s=math.radians(rate),
        roll_s=roll_s,
    )


def air_in(lap: SolvedLap, hold: Hold) -> Air:
    """The airspeed, wind and turn of a solved lap."""
    return air_of(hold, lap.tas_kt, lap.wind_from_true_deg, lap.wind_kt, lap.turn_rate_deg_s, roll_s=lap.roll_s)


def _solve(air: Air, inbound_s: float, aim_nm: float) -> tuple[float, float] | None:
    """Outbound heading [rad] and straight time [s] that end the lap's turn back where it is wanted; None if none do.

    For turns that begin and end at once there is a closed form: over both turns, a full circle, the way through the
    air cancels. With V the airspeed, w the wind, c the time of both turns, g the wanted end as a vector and T the
    straight outbound time, T V u = g - w (c + T), where u is the unit vector of the outbound heading. Squared, a
    quadratic in T with one positive root. Rolling in makes the two turns' ways through the air differ a little:
    from there Newton's steps find the root.
    """
    wx, wy = air.wind_along_nm_s, air.wind_cross_nm_s
    end = -air.inbound_gs_nm_s * (inbound_s - air.edge_s), aim_nm
    circle_s = 2.0 * math.pi / air.rate_rad_s + 2.0 * air.roll_s
    ax, ay = wx * circle_s - end[0], wy * circle_s - end[1]
    a, b = air.tas_nm_s**2 - wx**2 - wy**2, wx * ax + wy * ay
    straight_s = (b + math.sqrt(b * b + a * (ax**2 + ay**2))) / a
    # Outbound headings run from 0 over 180 to 360, the way the fix turn goes.
    heading = math.atan2(-(ay + wy * straight_s), -(ax + wx * straight_s)) % (2.0 * math.pi)
    # Rolling in moves the heading by a few degrees at most: one far from outbound stays so.
    if abs(math.degrees(heading) - 180.0) > LARGEST_OUTBOUND_WCA_DEG + 15.0:
        return None

    def miss(heading: float) -> tuple[float, float]:
        _, along, cross = turns_of(heading, air)
        speed_along, speed_cross = air.velocity(heading)
        return along + straight_s * speed_along - end[0], cross + straight_s * speed_cross - end[1]

    step = 1e-6
    for _ in range(NEWTON_STEPS):
        along, cross = miss(heading)
        if math.hypot(along, cross) < CLOSED_NM:
            return heading, straight_s
        there_along, there_cross = miss(heading + step)
        turn_along, turn_cross = (there_along - along) / step, (there_cross - cross) / step
        speed_along, speed_cross = air.velocity(heading)
        scale = turn_along * speed_cross - turn_cross * speed_along
        if scale == 0.0:
            return None
        change = (cross * speed_along - along * speed_cross) / scale
        heading += min(max(change, -LARGEST_STEP_RAD), LARGEST_STEP_RAD)
        straight_s += (along * turn_cross - cross * turn_along) / scale
        if abs(math.degrees(heading) - 180.0) > 150.0:
            return None
    return None


def _closing(air: Air, inbound_s: float, aim_nm: float) -> LapShape | None:
    """The lap that closes with this inbound time and can be flown as a hold; None where there is none."""
    found = _solve(air, inbound_s, aim_nm)
    shape = None if found is None else lap_shape(*found, air)
    return shape if shape is not None and _flyable(shape) else None


def _flyable(shape: LapShape) -> bool:
    wca = abs(math.degrees(shape.outbound_rad) - 180.0)
    return wca <= LARGEST_OUTBOUND_WCA_DEG and shape.straight_s >= -1e-9 and shape.outbound_s >= -1e-9


def _bounded(shape: LapShape, inbound_s: float) -> bool:
    """Whether a lap is one that anybody would fly: an hour at most, the outbound leg not many times the inbound."""
    return shape.rollout_s + inbound_s <= LONGEST_LAP_S and shape.outbound_s <= LEGS_TIMES * max(inbound_s, 60.0)


def _nearest(air: Air, inbound_s: float, aim_nm: float) -> LapShape | None:
    """Among laps that roll out on the course, the one whose inbound time is nearest the target; None if none.

    Where many headings do as well (with next to no straight outbound the heading hardly matters), the one with the
    least correction.
    """
    largest = math.radians(LARGEST_OUTBOUND_WCA_DEG)
    best: tuple[float, float, LapShape] | None = None
    low, high, count = math.pi - largest, math.pi + largest, 61  # odd: straight out and back is one of them
    for _ in range(3):  # each pass looks closer around the best so far
        found = []
        for heading in np.linspace(low, high, count):
            shape = _nearest_on(float(heading), air, inbound_s, aim_nm)
            if shape is not None:
                own_s = -shape.rollout_along_nm / air.inbound_gs_nm_s
                found.append((abs(own_s - inbound_s), abs(shape.outbound_rad - math.pi), shape))
        if best is not None:
            found.append(best)
        if not found:
            return None
        least = min(miss for miss, _, _ in found)
        best = min((each for each in found if each[0] <= least + NEAREST_TIE_S), key=lambda each: each[1])
        step, heading = (high - low) / (count - 1), best[2].outbound_rad
        low, high, count = max(heading - step, math.pi - largest), min(heading + step, math.pi + largest), 11
    assert best is not None
    return best[2]


def _nearest_on(heading: float, air: Air, inbound_s: float, aim_nm: float) -> LapShape | None:
    """The lap on one heading that rolls out on the course, give or take `NEAREST_ACROSS_NM`, nearest the target."""
    shape = lap_shape(heading, 0.0, air)
    if not math.isfinite(shape.abeam_s):
        return None
    shortest = max(0.0, -shape.outbound_s)
    speed_along, speed_cross = air.velocity(heading)
    low, high = shortest, LONGEST_LAP_S
    if abs(speed_cross) > 1e-12:
        ends = sorted(
            (aim_nm + off - shape.rollout_cross_nm) / speed_cross for off in (-NEAREST_ACROSS_NM, NEAREST_ACROSS_NM)
        )
        low, high = max(low, ends[0]), min(high, ends[1])
    elif abs(shape.rollout_cross_nm - aim_nm) > NEAREST_ACROSS_NM:
        return None
    if low > high:
        return None
    gs = air.inbound_gs_nm_s
    wanted = (-gs * inbound_s - shape.rollout_along_nm) / speed_along if abs(speed_along) > 1e-12 else low
    found = lap_shape(heading, min(max(wanted, low), high), air)
    own_s = -found.rollout_along_nm / gs
    fits = _flyable(found) and _bounded(found, own_s) and 0.0 < own_s <= LEGS_TIMES * inbound_s
    return found if fits else None


def _why_infeasible(air: Air, target_s: float, best_s: float) -> str:
    circle_s = 2.0 * math.pi / air.rate_rad_s
    carried_nm = air.wind_speed_nm_s * circle_s
    text = (
        f"No lap gives {target_s:.0f} s inbound: in the {circle_s:.0f} s of the two turns the wind alone carries "
        f"the aircraft {carried_nm:.1f} NM"
    )
    if air.wind_along_nm_s < 0.0:
        text += ", back along the course"
    which = "longer" if best_s > target_s else "shorter"
    return (
        f"{text}. The best that rolls out on the course is {best_s:.0f} s inbound, "
        f"{abs(best_s - target_s):.0f} s {which}"
    )


def _flown(lap: SolvedLap, hold: Hold, air: Air, shape: LapShape, inbound_s: float, target_s: float) -> SolvedLap:
    """A shape in the hold's frame as the lap a pilot reads, at the airspeed, turn and wind of ``lap``."""
    path_s, along, cross, _ = trace(lap_phases(shape, inbound_s, air), air.inbound_heading_rad, air, DRAWN_EVERY_S)
    for array in (path_s, along, cross):
        array.setflags(write=False)
    inbound_wca = hold.side * math.degrees(air.inbound_heading_rad)
    outbound_wca = hold.side * (math.degrees(shape.outbound_rad) - 180.0)
    return replace(
        lap,
        outbound_heading_true_deg=float(wrap360(hold.inbound_course_true_deg + 180.0 + outbound_wca)),
        outbound_s=shape.outbound_s,
        outbound_wca_deg=float(wrap180(outbound_wca)),
        inbound_heading_true_deg=float(wrap360(hold.inbound_course_true_deg + inbound_wca)),
        inbound_wca_deg=inbound_wca,
        inbound_s=inbound_s,
        inbound_gs_kt=air.inbound_gs_nm_s * 3600.0,
        outbound_gs_kt=math.hypot(*air.velocity(shape.outbound_rad)) * 3600.0,
        lap_s=shape.rollout_s + inbound_s,
        path_s=path_s,
        path_along_nm=along,
        path_cross_nm=cross,
        feasible=True,
        target_inbound_s=target_s,
        outbound_from_level_s=shape.outbound_end_s - shape.wings_level_s,
        wings_level_s=shape.wings_level_s,
        abeam_s=shape.abeam_s,
        outbound_end_s=shape.outbound_end_s,
        rollout_s=shape.rollout_s,
        outbound_end_along_nm=shape.turned_along_nm,
        outbound_end_cross_nm=shape.turned_cross_nm,
        rollout_along_nm=shape.rollout_along_nm,
        rollout_cross_nm=shape.rollout_cross_nm,
    )
