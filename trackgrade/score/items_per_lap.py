"""Items that are one value a lap: leg time and length, turns, speed limit, non-holding side, the turn at the fix."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from trackgrade.earth.angles import turn_from_to
from trackgrade.hold.hold import Hold
from trackgrade.score.debrief import Flight
from trackgrade.score.grading import grade_laps_together, grade_value, not_measurable
from trackgrade.score.items_over_time import airspeed_how, airspeed_unknown, lap_scope
from trackgrade.score.lap import GradedLap, TurnMeasures
from trackgrade.score.measures import no_airspeed
from trackgrade.score.results import ItemResult, Measurement
from trackgrade.score.standard import Item
from trackgrade.segment.flown import Entry

#: An item and the flight in; a result a lap and one for the whole hold out (or one an arrival).
Grader = Callable[[Item, Flight], list[ItemResult]]

#: A direct entry from this far off the inbound course comes across it [deg]: a choice.
ACROSS_COURSE_DEG = 20.0


def each_lap(graded: Callable[[Item, Flight, GradedLap], ItemResult | None]) -> Grader:
    """An item that is graded lap by lap: the result of each, and one for the whole hold; none where no lap has it."""

    def grader(item: Item, flight: Flight) -> list[ItemResult]:
        results = [each for lap in flight.laps if (each := graded(item, flight, lap)) is not None]
        return [*results, grade_laps_together(results)] if results else []

    return grader


@each_lap
def inbound_time(item: Item, flight: Flight, lap: GradedLap) -> ItemResult | None:
    """Inbound time less what it must last [s]; long is positive."""
    target_s = flight.hold.leg.seconds
    if target_s is None:
        return None
    if lap.solved is not None and not lap.leg_can_be_met:
        why = f"no lap meets the leg in this wind: the nearest is {lap.solved.inbound_s:.0f} s inbound"
        return not_measurable(item, lap_scope(lap), why)
    note = f"{target_s:.0f} s; {flight.standard.timing_note}"
    first, other = lap.measures.inbound_s, lap.measures.inbound_other_s
    readings = []
    for each in (first, other) if other is not None else (first,):
        off = replace(each, value=None if each.value is None else each.value - target_s)
        readings.append(grade_value(item, lap_scope(lap), off, at_epoch_s=lap.end_epoch_s, reference=note))
    if other is not None and readings[0].result != readings[1].result:
        first_s, other_s = first.value or 0.0, other.value or 0.0
        when = "a later one" if other_s < first_s else "an earlier one"  # where both are roll-outs
        how = f"from {when}" if other.how == first.how else other.how
        why = (
            f"{first_s:.0f} s {first.how} or {other_s:.0f} s {how}: both are fair readings, and the limit lies between"
        )
        return not_measurable(item, lap_scope(lap), why)
    return readings[0]


@each_lap
def leg_length(item: Item, flight: Flight, lap: GradedLap) -> ItemResult | None:
    """Leg length less the one asked for [NM]; long is positive.

    By DME the outbound leg ends at the stated distance (AIM 5-3-8); area navigation takes the distance as the length of
    the inbound leg, which moves the turn back (AIM 5-3-8, notes on RNAV). Either is right: the nearer one counts.
    """
    nm = flight.hold.leg.nm
    if nm is None:
        return None
    miss = lap.measures.outbound_end_nm
    both = [each for each in (miss, lap.measures.inbound_nm) if each.value is not None]
    if both:
        nearer = min(both, key=lambda each: abs((each.value or 0.0) - nm))
        miss = replace(nearer, value=(nearer.value or 0.0) - nm)
    at_epoch_s = lap.measures.outbound_start_epoch_s
    reference = f"{nm:g} NM, at the turn back or as the inbound leg, whichever is nearer"
    return grade_value(item, lap_scope(lap), miss, at_epoch_s=at_epoch_s, reference=reference)


@each_lap
def turn_rate(item: Item, flight: Flight, lap: GradedLap) -> ItemResult:
    """Rate of each turn less what is due [deg/s]; the worse of a lap's two turns. Steep is positive."""
    why = "no airspeed to tell the rate that is due"
    return _turns(item, flight, lap, lambda turn: (turn.rate_deg_s, turn.due_rate_deg_s), why)


@each_lap
def turn_bank(item: Item, flight: Flight, lap: GradedLap) -> ItemResult:
    """Bank of each turn less what is due [deg]; the worse of a lap's two turns. Steep is positive."""
    why = "no airspeed to turn the rate into bank"
    return _turns(item, flight, lap, lambda turn: (turn.bank_deg, turn.due_bank_deg), why)


def _turns(
    item: Item,
    flight: Flight,
    lap: GradedLap,
    of: Callable[[TurnMeasures], tuple[Measurement, float | None]],
    why: str,
) -> ItemResult:
    """The worse of a lap's turns, of a measure and what is due of it; ``why``: no turn has both."""
    due = flight.standard.turns
    reference = f"{due.rate_deg_s:g} deg/s, or {due.bank_deg:g} deg of bank, whichever needs less ({due.source})"
    known = []
    for name, turn in lap.measures.turns:
        flown, asked = of(turn)
        if flown.value is not None and asked is not None:
            known.append((name, turn, flown, flown.value - asked))
    if not known:
        return not_measurable(item, lap_scope(lap), why if lap.measures.turns else "the track does not show the turns")
    name, turn, flown, value = max(known, key=lambda each: abs(each[3]))
    off, at_epoch_s, evidence = replace(flown, value=value), turn.start_epoch_s, f"the turn {name}"
    return grade_value(item, lap_scope(lap), off, at_epoch_s=at_epoch_s, reference=reference, evidence=evidence)


@each_lap
def holding_speed(item: Item, flight: Flight, lap: GradedLap) -> ItemResult:
    """Highest airspeed of each lap against the holding speed limit at the altitude [KIAS]."""
    # The limit goes by the altitude assigned, not by a momentary one: 20 ft above 6,000 is not another band.
    altitude_ft = flight.altitude.value if flight.hold.altitude_ft is None else flight.hold.altitude_ft
    if altitude_ft is None:
        return not_measurable(item, lap_scope(lap), flight.altitude.note)
    limit = flight.standard.speed_limit_kias(round(altitude_ft, -1))
    if limit is None:
        return not_measurable(item, lap_scope(lap), "the limit at this altitude is a Mach number")
    why = airspeed_unknown(flight) if flight.airspeed.value is not None else None
    sd_kt = flight.series.airspeed_sd_kt
    if why is not None or not math.isfinite(sd_kt):
        return not_measurable(item, lap_scope(lap), why or no_airspeed(flight.samples), limit)
    fastest = Measurement(lap.measures.ias_high_kt, sd_kt, "kt", "no airspeed known here", airspeed_how(flight))
    reference = f"at {altitude_ft:.0f} ft"
    return grade_value(replace(item, limit=limit), lap_scope(lap), fastest, reference=reference)


@each_lap
def non_holding_side(item: Item, flight: Flight, lap: GradedLap) -> ItemResult:
    """Largest distance beyond the course on the non-holding side [turn radii]."""
    radius, far = flight.turn_radius_nm, lap.measures.non_holding_side_nm
    if radius is None:
        return not_measurable(item, lap_scope(lap), "the turn radius is not known")
    if far.value is not None:
        far = Measurement(far.value / radius, (far.sd or 0.0) / radius, "turn radii", how=far.how)
    return grade_value(item, lap_scope(lap), far, reference=f"one turn radius is {radius:.2f} NM")


@each_lap
def fix_recognition(item: Item, flight: Flight, lap: GradedLap) -> ItemResult:
    """Seconds from each fix passage to the start of the turn.

    A direct entry that comes across the course may fly on before its turn, to have room: that passage is not graded.
    """
    visit = next(each for each in flight.visits if each.number == lap.visit)
    if lap is visit.laps[0] and _across(visit.entry.flown, flight.hold):
        return not_measurable(item, lap_scope(lap), "a direct entry from across the course may fly on before its turn")
    return grade_value(item, lap_scope(lap), lap.measures.fix_to_turn_s, at_epoch_s=lap.start_epoch_s)


def _across(entry: Entry, hold: Hold) -> bool:
    """Whether an entry is a direct one from across the course."""
    heading = entry.arrival_heading_true_deg
    if entry.kind != "direct" or heading is None:
        return False
    return abs(float(turn_from_to(hold.inbound_course_true_deg, heading))) > ACROSS_COURSE_DEG
