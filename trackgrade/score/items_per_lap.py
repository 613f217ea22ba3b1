"""Items that are one value a lap: leg time and length, turns, speed limit, non-holding side, the turn at the fix."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from trackgrade.earth.angles import turn_from_to
from trackgrade.score.flight import Flight
from trackgrade.score.grading import grade_laps_together, grade_value, not_measurable
from trackgrade.score.items_over_time import airspeed_how, airspeed_unknown, lap_scope, nothing_known
from trackgrade.score.lap import GradedLap, TurnMeasures
from trackgrade.score.measures import no_airspeed
from trackgrade.score.results import ItemResult, Measurement
from trackgrade.score.standard import Item

#: A direct entry from this far off the inbound course comes across it [deg]: a choice.
ACROSS_COURSE_DEG = 20.0


def inbound_time(item: Item, flight: Flight) -> list[ItemResult]:
    """Inbound time less what it must last [s]; long is positive."""
    target_s = flight.hold.leg.seconds
    if target_s is None:
        return []
    note = f"{target_s:.0f} s; {flight.standard.timing_note}"

    def graded(lap: GradedLap, measured: Measurement) -> ItemResult:
        value = None if measured.value is None else measured.value - target_s
        off = replace(measured, value=value)
        return grade_value(item, lap_scope(lap), off, at_epoch_s=lap.end_epoch_s, reference=note)

    results = []
    for lap in flight.laps:
        first, other = lap.measures.inbound_s, lap.measures.inbound_other_s
        if lap.solved is not None and not lap.leg_can_be_met:
            why = f"no lap meets the leg in this wind: the nearest is {lap.solved.inbound_s:.0f} s inbound"
            results.append(not_measurable(item, lap_scope(lap), why))
            continue
        result = graded(lap, first)
        if other is not None and graded(lap, other).result != result.result:
            why = (
                f"{first.value or 0.0:.0f} s {first.how} or {other.value or 0.0:.0f} s {other.how}: both are fair "
                "readings, and the limit lies between"
            )
            result = not_measurable(item, lap_scope(lap), why)
        results.append(result)
    return [*results, grade_laps_together(item, results)] if results else []


def leg_length(item: Item, flight: Flight) -> list[ItemResult]:
    """Leg length less the one asked for [NM]; long is positive.

    By DME the outbound leg ends at the stated distance (AIM 5-3-8); area navigation takes the distance as the length of
    the inbound leg, which moves the turn back (AIM 5-3-8, notes on RNAV). Either is right: the nearer one counts.
    """
    nm = flight.hold.leg.nm
    if nm is None:
        return []

    def miss(lap: GradedLap) -> Measurement:
        both = [each for each in (lap.measures.outbound_end_nm, lap.measures.inbound_nm) if each.value is not None]
        if not both:
            return lap.measures.outbound_end_nm
        nearer = min(both, key=lambda each: abs((each.value or 0.0) - nm))
        return replace(nearer, value=(nearer.value or 0.0) - nm)

    reference = f"{nm:g} NM, at the turn back or as the inbound leg, whichever is nearer"
    return _values(item, flight, miss, reference, lambda lap: lap.measures.outbound_start_epoch_s)


def _values(
    item: Item,
    flight: Flight,
    of: Callable[[GradedLap], Measurement],
    reference: str,
    at: Callable[[GradedLap], float | None],
) -> list[ItemResult]:
    results = [
        grade_value(item, lap_scope(lap), of(lap), at_epoch_s=at(lap), reference=reference) for lap in flight.laps
    ]
    return [*results, grade_laps_together(item, results)] if results else []


def turn_rate(item: Item, flight: Flight) -> list[ItemResult]:
    """Rate of each turn less what is due [deg/s]; the worse of a lap's two turns. Steep is positive."""
    return _turn_item(item, flight, _rate_off)


def turn_bank(item: Item, flight: Flight) -> list[ItemResult]:
    """Bank of each turn less what is due [deg]; the worse of a lap's two turns. Steep is positive."""
    return _turn_item(item, flight, _bank_off)


def _rate_off(turn: TurnMeasures) -> Measurement:
    if turn.due_rate_deg_s is None or turn.rate_deg_s.value is None:
        return Measurement(None, None, "deg/s", why="no airspeed to tell the rate that is due")
    return replace(turn.rate_deg_s, value=turn.rate_deg_s.value - turn.due_rate_deg_s)


def _bank_off(turn: TurnMeasures) -> Measurement:
    if turn.due_bank_deg is None or turn.bank_deg.value is None:
        return Measurement(None, None, "deg", why="no airspeed to turn the rate into bank")
    return replace(turn.bank_deg, value=turn.bank_deg.value - turn.due_bank_deg)


def _turn_item(item: Item, flight: Flight, off: Callable[[TurnMeasures], Measurement]) -> list[ItemResult]:
    turns_due = flight.standard.turns
    least = f"{turns_due.rate_deg_s:g} deg/s, or {turns_due.bank_deg:g} deg of bank, whichever needs less"
    reference = f"{least} ({turns_due.source})"
    results = []
    for lap in flight.laps:
        measures = [(name, turn, off(turn)) for name, turn in lap.measures.turns]
        known = [each for each in measures if each[2].value is not None]
        if not known:
            why = measures[0][2].why if measures else "the track does not show the turns"
            results.append(not_measurable(item, lap_scope(lap), why))
            continue
        name, turn, worst = max(known, key=lambda each: abs(each[2].value or 0.0))
        results.append(
            grade_value(
                item,
                lap_scope(lap),
                worst,
                at_epoch_s=turn.start_epoch_s,
                reference=reference,
                evidence=f"the turn {name}",
            )
        )
    return [*results, grade_laps_together(item, results)] if results else []


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
    if why is not None or not math.isfinite(flight.series.airspeed_sd_kt):
        return nothing_known(item, flight, why or no_airspeed(flight.samples), limit)
    limited = replace(item, limit=limit)
    results = []
    for lap in flight.laps:
        fastest = Measurement(
            lap.measures.ias_high_kt, flight.series.airspeed_sd_kt, "kt", "no airspeed known here", airspeed_how(flight)
        )
        reference = f"at {altitude_ft:.0f} ft"
        results.append(grade_value(limited, lap_scope(lap), fastest, reference=reference))
    return [*results, grade_laps_together(limited, results)] if results else []


def non_holding_side(item: Item, flight: Flight) -> list[ItemResult]:
    """Largest distance beyond the course on the non-holding side [turn radii]."""
    radius = flight.turn_radius_nm
    if radius is None:
        return nothing_known(item, flight, "the turn radius is not known")

    def beyond(lap: GradedLap) -> Measurement:
        far = lap.measures.non_holding_side_nm
        if far.value is None:
            return far
        return Measurement(far.value / radius, (far.sd or 0.0) / radius, "turn radii", how=far.how)

    return _values(item, flight, beyond, f"one turn radius is {radius:.2f} NM", lambda lap: None)


def fix_recognition(item: Item, flight: Flight) -> list[ItemResult]:
    """Seconds from each fix passage to the start of the turn.

    A direct entry that comes across the course may fly on before its turn, to have room: that passage is not graded.
    """
    results = []
    for visit in flight.visits:
        arrival = visit.entry.flown.arrival_heading_true_deg
        course = flight.hold.inbound_course_true_deg
        across = arrival is not None and abs(float(turn_from_to(course, arrival))) > ACROSS_COURSE_DEG
        for lap in visit.laps:
            if visit.entry.flown.kind == "direct" and lap is visit.laps[0] and across:
                why = "a direct entry from across the course may fly on before its turn"
                results.append(not_measurable(item, lap_scope(lap), why))
                continue
            turned = lap.measures.fix_to_turn_s
            results.append(grade_value(item, lap_scope(lap), turned, at_epoch_s=lap.start_epoch_s))
    return [*results, grade_laps_together(item, results)] if results else []
