"""Which measure goes to which item, and the order of the results: arrival and entry, each lap, the whole hold."""

from __future__ import annotations

from collections.abc import Callable

from trackgrade.score import items_arrival, items_over_time, items_per_lap
from trackgrade.score.flight import Flight
from trackgrade.score.grading import WHOLE_HOLD, never_better
from trackgrade.score.items_arrival import arrival_scopes
from trackgrade.score.results import ItemResult
from trackgrade.score.standard import Item

#: An item and the flight in; a result a lap and one for the whole hold out (or one an arrival).
Grader = Callable[[Item, Flight], list[ItemResult]]


def grade_items(flight: Flight) -> tuple[ItemResult, ...]:
    """Every item of the standard: arrival and entry of each visit, every lap, then the whole hold."""
    results: list[ItemResult] = []
    for item in flight.standard.items:
        own = GRADERS[item.name](item, flight)
        laps = [each for each in own if each.lap is not None]
        results += [never_better(each, laps) if each.scope == WHOLE_HOLD.name else each for each in own]
    order = [scope.name for scope in arrival_scopes(flight)] + [lap.scope for lap in flight.laps] + [WHOLE_HOLD.name]
    return tuple(sorted(results, key=lambda result: order.index(result.scope)))


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
    "entry": items_arrival.entry,
    "arrival_speed": items_arrival.arrival_speed,
    "arrival_time": items_arrival.arrival_time,
}
