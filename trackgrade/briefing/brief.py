"""``prepare``: from a resolved hold, an airspeed and a wind to everything a pilot would scribble. No I/O."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trackgrade.briefing.leaving import LeavingPlan, plan_leaving
from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.earth.atmosphere import cas_from_tas_kt
from trackgrade.errors import UsageError
from trackgrade.hold.hold import Hold
from trackgrade.hold.planning import LARGEST_OUTBOUND_WCA_DEG, LONGEST_LAP_S, SolvedLap, air_in, solve_lap
from trackgrade.hold.rules import RuleLap, by_rules, next_outbound_equal_seconds_s, triple_drift_wca_deg
from trackgrade.hold.sectors import EntryPlan, entry_plan, expected_entries, sector_margin_deg
from trackgrade.score.standard import Standard

#: AIM 5-3-8: at or below the holding speed before the fix, slowing when 3 minutes or less from it.
SLOW_WITHIN_MIN = 3.0

#: The laps that are worth telling ahead: after three the wind is known from the watch.
FIRST_LAPS = 3

#: AIM 5-3-8: fixed-wing aircraft hold at 90 KIAS or more; the pattern's protected side allows for no less.
SLOWEST_KIAS = 90.0


@dataclass(frozen=True, eq=False)
class Conditions:
    """What the pilot brings: airspeed [kt true], wind [deg true, kt], turns, and what is known of the arrival.

    ``arrival_heading_true_deg`` None: no entry is told. ``passage_epoch_s``: a time at which the fix will be passed.
    """

    tas_kt: float
    wind_from_true_deg: float = 0.0
    wind_kt: float = 0.0
    turn_rate_deg_s: float = 3.0
    bank_limit_deg: float = 30.0
    isa_deviation_c: float = 0.0
    arrival_heading_true_deg: float | None = None
    passage_epoch_s: float | None = None


@dataclass(frozen=True, eq=False)
class EntryBrief(EntryPlan):
    """One entry, with the heading of its first leg with the drift allowed for, and how long that leg is flown.

    ``outbound_s`` is None for the direct entry: its outbound leg is the first lap's.
    """

    heading_in_wind_true_deg: float
    outbound_s: float | None


@dataclass(frozen=True, eq=False)
class Brief:
    """Everything told before the flight. Angles true; `shown` gives them in the pilot's north."""

    hold: Hold
    conditions: Conditions
    north_is_true: bool
    ias_kt: float | None
    headwind_kt: float
    crosswind_kt: float
    solved: SolvedLap
    rule_laps: tuple[RuleLap, ...]
    entries: tuple[EntryBrief, ...]
    sector_margin_deg: float | None
    speed_limit_kias: float | None
    speed_limit_source: str
    leaving: LeavingPlan | None
    warnings: tuple[str, ...]

    def shown(self, true_deg: float) -> float:
        """A direction in the north of the hold file [deg]: magnetic unless it said true."""
        return float(wrap360(true_deg if self.north_is_true else true_deg - self.hold.variation_deg))

    @property
    def north_word(self) -> str:
        return "true" if self.north_is_true else "magnetic"

    @property
    def inbound_shown_deg(self) -> float:
        """The inbound course as it is spoken: what is set, where that is told, else in the pilot's north."""
        hold = self.hold
        return self.shown(hold.inbound_course_true_deg) if self.north_is_true else hold.course_to_set_deg

    @property
    def target_s(self) -> float:
        """What the inbound leg must last [s]; NaN for a leg in NM on a course that cannot be flown."""
        seconds = self.hold.leg.seconds
        return self.solved.target_inbound_s if seconds is None else seconds


def prepare(hold: Hold, conditions: Conditions, standard: Standard, *, north_is_true: bool = False) -> Brief:
    """The brief of a hold in these conditions; ``standard`` gives the speed limit.

    Raises
    ------
    UsageError
        An airspeed, wind or rate of turn that no aircraft or air has.
    """
    try:
        solved = solve_lap(
            hold,
            conditions.tas_kt,
            conditions.wind_from_true_deg,
            conditions.wind_kt,
            turn_rate_deg_s=conditions.turn_rate_deg_s,
            bank_limit_deg=conditions.bank_limit_deg,
        )
    except ValueError as wrong:
        raise UsageError(f"cannot brief this: {wrong}") from None
    ias_kt = None
    if hold.altitude_ft is not None:
        ias_kt = float(cas_from_tas_kt(conditions.tas_kt, hold.altitude_ft, conditions.isa_deviation_c))
    limit = None if hold.altitude_ft is None else standard.speed_limit_kias(hold.altitude_ft)
    off = math.radians(conditions.wind_from_true_deg - hold.inbound_course_true_deg)
    leaving = None
    if hold.arrive_epoch_s is not None and not math.isnan(solved.lap_s):
        leaving = plan_leaving(hold, solved, hold.arrive_epoch_s, conditions.passage_epoch_s)
    heading = conditions.arrival_heading_true_deg
    course, side = hold.inbound_course_true_deg, hold.side
    return Brief(
        hold=hold,
        conditions=conditions,
        north_is_true=north_is_true,
        ias_kt=ias_kt,
        headwind_kt=conditions.wind_kt * math.cos(off),
        crosswind_kt=conditions.wind_kt * math.sin(off),
        solved=solved,
        rule_laps=first_laps_by_rule(hold, solved),
        entries=() if heading is None else _entries(hold, conditions, solved, heading),
        sector_margin_deg=None if heading is None else sector_margin_deg(course, side, heading),
        speed_limit_kias=limit,
        speed_limit_source=str(standard.speed_limits_source),
        leaving=leaving,
        warnings=_warnings(ias_kt, limit, solved),
    )


def first_laps_by_rule(hold: Hold, solved: SolvedLap) -> tuple[RuleLap, ...]:
    """The first laps as the rules of the trade would have them, and what they come to in this wind.

    Lap 1: three times the drift, the leg's own time outbound; then each outbound time corrected by equal seconds.
    A leg in NM is one lap, turned back at that distance along the course: it leaves no time to correct. Empty
    where no hold can be flown, and where three times the drift no longer leads away from the fix.
    """
    wca_deg = triple_drift_wca_deg(solved.inbound_wca_deg)
    if not abs(wca_deg) <= LARGEST_OUTBOUND_WCA_DEG:
        return ()
    laps: list[RuleLap] = []
    outbound_s: float = round(solved.target_inbound_s)
    if hold.leg.nm is not None:
        away = math.radians(wca_deg) * hold.side + math.pi
        speed = air_in(solved, hold).velocity(away)[0]
        if speed * LONGEST_LAP_S > -hold.leg.nm:
            return ()
        outbound_s = -hold.leg.nm / speed
    for _ in range(FIRST_LAPS if hold.leg.nm is None else 1):
        lap = by_rules(hold, solved, wca_deg, outbound_s)
        laps.append(lap)
        outbound_s = round(next_outbound_equal_seconds_s(outbound_s, lap.inbound_s, solved.target_inbound_s))
    return tuple(laps)


def _entries(hold: Hold, conditions: Conditions, solved: SolvedLap, heading_true_deg: float) -> tuple[EntryBrief, ...]:
    course, side = hold.inbound_course_true_deg, hold.side
    told = []
    for kind in expected_entries(course, side, heading_true_deg):
        plan = entry_plan(kind, course, side, heading_true_deg)
        in_wind = heading_for_track_deg(
            plan.first_heading_true_deg,
            conditions.tas_kt,
            conditions.wind_from_true_deg,
            conditions.wind_kt,
        )
        if kind == "direct" and conditions.wind_kt > 0.0 and not math.isnan(solved.outbound_heading_true_deg):
            in_wind = solved.outbound_heading_true_deg
        leg_s = None if kind == "direct" else _entry_leg_s(hold, solved)
        told.append(EntryBrief(**vars(plan), heading_in_wind_true_deg=in_wind, outbound_s=leg_s))
    return tuple(told)


def _entry_leg_s(hold: Hold, solved: SolvedLap) -> float:
    """AIM 5-3-8: the parallel and teardrop legs last the leg's minute (or its NM at this speed)."""
    if hold.leg.seconds is not None:
        return hold.leg.seconds
    return (hold.leg.nm or 0.0) / solved.tas_kt * 3600.0


def heading_for_track_deg(track_true_deg: float, tas_kt: float, wind_from_true_deg: float, wind_kt: float) -> float:
    """Heading that makes a track good [deg true]; the track itself where the crosswind is as strong as the airspeed."""
    across = wind_kt * math.sin(math.radians(wind_from_true_deg - track_true_deg))
    if abs(across) >= tas_kt:
        return track_true_deg
    return float(wrap360(track_true_deg + math.degrees(math.asin(across / tas_kt))))


def _warnings(ias_kt: float | None, limit: float | None, solved: SolvedLap) -> tuple[str, ...]:
    found = []
    if not solved.feasible:
        found.append(solved.why)
    if ias_kt is not None and limit is not None and ias_kt > limit + 0.5:
        found.append(f"{ias_kt:.0f} KIAS is above the holding speed limit of {limit:.0f} KIAS at that altitude")
    if ias_kt is not None and ias_kt < SLOWEST_KIAS - 0.5:
        found.append(f"{ias_kt:.0f} KIAS is below the {SLOWEST_KIAS:.0f} that AIM 5-3-8 asks of aeroplanes in a hold")
    if not math.isnan(solved.outbound_wca_deg):
        share = abs(float(wrap180(solved.outbound_wca_deg)))
        if solved.feasible and share > 45.0:
            found.append(f"The wind asks for {share:.0f}° of correction outbound: expect to correct it lap by lap")
    return tuple(found)
