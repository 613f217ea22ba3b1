"""Items that are one value a lap: leg time and length, turns, speed limit, non-holding side, the turn at the fix."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from trackgrade.earth.angles import turn_from_to
from trackgrade.hold.hold import Hold
from trackgrade.score.debrief import Flight
from trackgrade.score.grading import grade_laps_together, grade_value, not_measurable
from trackgrade.score.items_over_time import airspeed_how, airspeed_unknown, lap_scope, nothing_known
from trackgrade.score.lap import GradedLap, TurnMeasures
from trackgrade.score.measures import no_airspeed
from trackgrade.score.results import ItemResult, Measurement
from trackgrade.score.standard import Item
from trackgrade.segment.flown import Entry

#: A direct entry from this far off the inbound course comes across it [deg]: a choice.
ACROSS_COURSE_DEG = 20.0


def _each_lap(item: Item, flight: Flight, graded: Callable[[GradedLap], ItemResult]) -> list[ItemResult]:
    """The result of each lap, and the one for the whole hold; none where there is no lap."""
    results = [graded(lap) for lap in flight.laps]
    return [*results, grade_laps_together(item, results)] if results else []


def inbound_time(item: Item, flight: Flight) -> list[ItemResult]:
    """Inbound time less what it must last [s]; long is positive."""
    target_s = flight.hold.leg.seconds
    if target_s is None:
        return []
    note = f"{target_s:.0f} s; {flight.standard.timing_note}"

    def by_reading(lap: GradedLap, measured: Measurement) -> ItemResult:
        value = None if measured.value is None else measured.value - target_s
        off = replace(measured, value=value)
        return grade_value(item, lap_scope(lap), off, at_epoch_s=lap.end_epoch_s, reference=note)

    def graded(lap: GradedLap) -> ItemResult:
        first, other = lap.measures.inbound_s, lap.measures.inbound_other_s
        if lap.solved is not None and not lap.leg_can_be_met:
            why = f"no lap meets the leg in this wind: the nearest is {lap.solved.inbound_s:.0f} s inbound"
            return not_measurable(item, lap_scope(lap), why)
        result = by_reading(lap, first)
        if other is not None and by_reading(lap, other).result != result.result:
            first_s, other_s = first.value or 0.0, other.value or 0.0
            when = "a later one" if other_s < first_s else "an earlier one"  # where both are roll-outs
            how = f"from {when}" if other.how == first.how else other.how
            why = (
                f"{first_s:.0f} s {first.how} or {other_s:.0f} s {how}: both are fair readings, and the limit "
                "lies between"
            )
            return not_measurable(item, lap_scope(lap), why)
        return result

    return _each_lap(item, flight, graded)


def leg_length(item: Item, flight: Flight) -> list[ItemResult]:
    """Leg length less the one asked for [NM]; long is positive.

    By DME the outbound leg ends at the stated distance (AIM 5-3-8); area navigation takes the distance as the length of
    the inbound leg, which moves the turn back (AIM 5-3-8, notes on RNAV). Either is right: the nearer one counts.
    """
    nm = flight.hold.leg.nm
    if nm is None:
        return []
    reference = f"{nm:g} NM, at the turn back or as the inbound leg, whichever is nearer"

    def graded(lap: GradedLap) -> ItemResult:
        miss = lap.measures.outbound_end_nm
        both = [each for each in (miss, lap.measures.inbound_nm) if each.value is not None]
        if both:
            nearer = min(both, key=lambda each: abs((each.value or 0.0) - nm))
            miss = replace(nearer, value=(nearer.value or 0.0) - nm)
        at_epoch_s = lap.measures.outbound_start_epoch_s
        return grade_value(item, lap_scope(lap), miss, at_epoch_s=at_epoch_s, reference=reference)

    return _each_lap(item, flight, graded)


def turn_rate(item: Item, flight: Flight) -> list[ItemResult]:
    """Rate of each turn less what is due [deg/s]; the worse of a lap's two turns. Steep is positive."""
    why = "no airspeed to tell the rate that is due"
    return _turns(item, flight, lambda turn: (turn.rate_deg_s, turn.due_rate_deg_s), why)


def turn_bank(item: Item, flight: Flight) -> list[ItemResult]:
    """Bank of each turn less what is due [deg]; the worse of a lap's two turns. Steep is positive."""
    why = "no airspeed to turn the rate into bank"
    return _turns(item, flight, lambda turn: (turn.bank_deg, turn.due_bank_deg), why)


def _turns(
    item: Item, flight: Flight, of: Callable[[TurnMeasures], tuple[Measurement, float | None]], why: str
) -> list[ItemResult]:
    """The worse of each lap's turns, of a measure and what is due of it; ``why``: no turn has both."""
    due = flight.standard.turns
    reference = f"{due.rate_deg_s:g} deg/s, or {due.bank_deg:g} deg of bank, whichever needs less ({due.source})"

    def graded(lap: GradedLap) -> ItemResult:
        known = []
        for name, turn in lap.measures.turns:
            flown, asked = of(turn)
            if flown.value is not None and asked is not None:
                known.append((name, turn, replace(flown, value=flown.value - asked)))
        if not known:
            return not_measurable(
                item, lap_scope(lap), why if lap.measures.turns else "the track does not show the turns"
            )
        name, turn, off = max(known, key=lambda each: abs(each[2].value or 0.0))
        evidence = f"the turn {name}"
        at_epoch_s = turn.start_epoch_s
        return grade_value(item, lap_scope(lap), off, at_epoch_s=at_epoch_s, reference=reference, evidence=evidence)

    return _each_lap(item, flight, graded)


def holding_speed(item: Item, flight: Flight) -> list[ItemResult]:
    """Highest airspeed of each lap against the holding speed limit at the altitude [KIAS]."""
    # The limit goes by the altitude assigned, not by a momentary one: 20 ft above 6,000 is not another band.
    altitude_ft = flight.altitude.value if flight.hold.altitude_ft is None else flight.hold.altitude_ft
    if altitude_ft is None:
        return nothing_known(item, flight, flight.altitude.note)
    limit = flight.standard.speed_limit_kias(round(altitude_ft, -1))
    if limit is None:
        return nothing_known(item, flight, "the limit at this altitude is a Mach number")
    why = airspeed_unknown(flight) if flight.airspeed.value is not None else None
    sd_kt = flight.series.airspeed_sd_kt
    if why is not None or not math.isfinite(sd_kt):
        return nothing_known(item, flight, why or no_airspeed(flight.samples), limit)
    limited, how = replace(item, limit=limit), airspeed_how(flight)

    def graded(lap: GradedLap) -> ItemResult:
        fastest = Measurement(lap.measures.ias_high_kt, sd_kt, "kt", "no airspeed known here", how)
        return grade_value(limited, lap_scope(lap), fastest, reference=f"at {altitude_ft:.0f} ft")

    return _each_lap(limited, flight, graded)


def non_holding_side(item: Item, flight: Flight) -> list[ItemResult]:
    """Largest distance beyond the course on the non-holding side [turn radii]."""
    radius = flight.turn_radius_nm
    if radius is None:
        return nothing_known(item, flight, "the turn radius is not known")

    def graded(lap: GradedLap) -> ItemResult:
        far = lap.measures.non_holding_side_nm
        if far.value is not None:
            far = Measurement(far.value / radius, (far.sd or 0.0) / radius, "turn radii", how=far.how)
        return grade_value(item, lap_scope(lap), far, reference=f"one turn radius is {radius:.2f} NM")

    return _each_lap(item, flight, graded)


def fix_recognition(item: Item, flight: Flight) -> list[ItemResult]:
    """Seconds from each fix passage to the start of the turn.

    A direct entry that comes across the course may fly on before its turn, to have room: that passage is not graded.
    """
    across = [visit.laps[0] for visit in flight.visits if visit.laps and _across(visit.entry.flown, flight.hold)]

    def graded(lap: GradedLap) -> ItemResult:
        if any(lap is each for each in across):
            why = "a direct entry from across the course may fly on before its turn"
            return not_measurable(item, lap_scope(lap), why)
        return grade_value(item, lap_scope(lap), lap.measures.fix_to_turn_s, at_epoch_s=lap.start_epoch_s)

    return _each_lap(item, flight, graded)


def _across(entry: Entry, hold: Hold) -> bool:
    """Whether an entry is a direct one from across the course."""
    heading = entry.arrival_heading_true_deg
    if entry.kind != "direct" or heading is None:
        return False
    return abs(float(turn_from_to(hold.inbound_course_true_deg, heading))) > ACROSS_COURSE_DEG
