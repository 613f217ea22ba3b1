"""Which measure goes to which item, and the order of the results: arrival and entry, each lap, the whole hold."""

from __future__ import annotations

from dataclasses import replace

from trackgrade.score import items_over_time, items_per_lap
from trackgrade.score.debrief import Flight, GradedEntry
from trackgrade.score.grading import STRADDLE_SDS, WHOLE_HOLD, Scope, grade_value, never_better, not_measurable
from trackgrade.score.items_over_time import airspeed_unknown
from trackgrade.score.items_per_lap import Grader
from trackgrade.score.results import ItemResult, Measurement
from trackgrade.score.standard import Item


def grade_items(flight: Flight) -> tuple[ItemResult, ...]:
    """Every item of the standard: arrival and entry of each visit, every lap, then the whole hold."""
    results: list[ItemResult] = []
    for item in flight.standard.items:
        own = GRADERS[item.name](item, flight)
        laps = [each for each in own if each.lap is not None]
        results += [never_better(each, laps) if each.scope == WHOLE_HOLD.name else each for each in own]
    order = [scope.name for scope in arrival_scopes(flight)] + [lap.scope for lap in flight.laps] + [WHOLE_HOLD.name]
    return tuple(sorted(results, key=lambda result: order.index(result.scope)))


# -- arrival and entry -------------------------------------------------------------------------------------------------


def arrival_scopes(flight: Flight) -> list[Scope]:
    """ "arrival" and "entry" of each visit, named by the visit from the second on."""
    return [_scope_of(flight, visit.entry, kind) for visit in flight.visits for kind in ("arrival", "entry")]


def _scope_of(flight: Flight, entry: GradedEntry, kind: str) -> Scope:
    prefix = "" if entry.visit == flight.visits[0].number else f"visit {entry.visit} "
    return Scope(f"{prefix}{kind}", entry.visit)


def entry(item: Item, flight: Flight) -> list[ItemResult]:
    """How far the arrival heading lay outside the sector of the entry flown [deg].

    Another entry flown well is within, with a note: the entries are recommended (AIM 5-3-8).
    """
    return [_entry(item, flight, visit.entry) for visit in flight.visits]


def _entry(item: Item, flight: Flight, entry: GradedEntry) -> ItemResult:
    scope = _scope_of(flight, entry, "entry")
    flown, measures = entry.flown, entry.measures
    miss = measures.sector_miss_deg
    if flown.kind in ("none", "unclear") or miss is None:
        return not_measurable(item, scope, f"the entry flown is {flown.kind}")
    heading_sd = 3.0 if flight.samples.heading_source != "logged" else 1.0
    expected = " or ".join(flown.expected)
    graded = grade_value(
        item,
        scope,
        Measurement(miss, heading_sd, "deg", how="arrival heading against the sector of the entry flown"),
        at_epoch_s=flown.start.epoch_s if flown.start else None,
        reference=f"expected {expected}",
        evidence=f"flown {flown.kind}, expected {expected}",
    )
    if miss == 0.0 and (flown.margin_deg or 0.0) + (item.limit or 0.0) > STRADDLE_SDS * heading_sd:
        graded = replace(graded, straddles=False)  # well inside the sector
    if measures.suits and graded.result == "outside":  # the neighbouring sector counts too, near the boundary
        return replace(graded, result="within")
    if graded.result == "outside" and measures.flown_well:
        why = "another entry than the sector's, flown well: a note, not a failure"
        return replace(graded, result="within", why=why)
    if graded.result == "within" and measures.flown_well is False and not measures.suits:
        return replace(graded, result="outside")
    return graded


def arrival_speed(item: Item, flight: Flight) -> list[ItemResult]:
    """Airspeed over the first fix less holding speed [kt]; fast is positive."""
    why = airspeed_unknown(flight)
    results = []
    for visit in flight.visits:
        scope = _scope_of(flight, visit.entry, "arrival")
        arrival, ready = visit.entry.measures.arrival_ias_kt, visit.entry.measures.speed_ready_s
        if why is not None or arrival.value is None:
            results.append(not_measurable(item, scope, why or arrival.why))
            continue
        assert flight.airspeed.value is not None
        excess = replace(arrival, value=arrival.value - flight.airspeed.value)
        evidence = f"at holding speed {ready.value:.0f} s before the fix" if ready.value is not None else ready.why
        results.append(grade_value(item, scope, excess, reference=flight.airspeed.note, evidence=evidence))
    return results


def arrival_time(item: Item, flight: Flight) -> list[ItemResult]:
    """Fix passage less assigned time [s]; only where a time is assigned."""
    if flight.hold.arrive_epoch_s is None or not flight.visits:
        return []
    first = flight.visits[0].entry
    miss = first.measures.arrival_miss_s
    at = None if miss.value is None else flight.hold.arrive_epoch_s + miss.value
    scope = _scope_of(flight, first, "arrival")
    return [grade_value(item, scope, miss, at_epoch_s=at, reference="the time assigned in the hold file")]


GRADERS: dict[str, Grader] = {
    "altitude": items_over_time.altitude,
    "airspeed": items_over_time.airspeed,
    "course": items_over_time.course,
    "outbound_heading": items_over_time.outbound_heading,
    "inbound_time": items_per_lap.inbound_time,
    "leg_length": items_per_lap.leg_length,
    "turn_rate": items_per_lap.turn_rate,
    "turn_bank": items_per_lap.turn_bank,
    "holding_speed": items_per_lap.holding_speed,
    "non_holding_side": items_per_lap.non_holding_side,
    "fix_recognition": items_per_lap.fix_recognition,
    "entry": entry,
    "arrival_speed": arrival_speed,
    "arrival_time": arrival_time,
}
