"""What a debrief says, held to the rules of `statements` on simulated flights that nobody has looked at.

A dozen in the default suite: single faults, a windy one, a sloppy one. Every flight of the sweep with ``-m sweep``.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import pytest

from tests import confusion
from tests.simulated.compare import as_track
from tests.simulated.suites import SUITES, flight_of
from tests.statements import RULES, broken
from trackgrade.analysis import analyse
from trackgrade.exports.debrief_json import debrief_to_dict
from trackgrade.score.standards import load_standard
from trackgrade.simulator import SimulatedFlight, fly
from trackgrade.simulator.scenarios import named

STANDARD = load_standard()
A_DOZEN = (
    *("wrong side", "reciprocal course", "non-holding side", "reversed drift correction", "half a drift correction"),
    *("outbound time corrected the wrong way", "altitude lost in turns", "wrong entry direct", "course overshot"),
    *("windy", "sloppy", "holding speed limit"),
)


def broken_by(flight: SimulatedFlight) -> dict[str, list[str]]:
    return broken(debrief_to_dict(analyse(as_track(flight), flight.hold, STANDARD)))


def of_name(name: str, wind: tuple[float, float], hold: tuple[float, str], seed: int) -> SimulatedFlight:
    scenario, case = named(name), confusion.Case(name, seed, wind, hold)
    if name in ("windy", "sloppy"):
        return fly(confusion.hold_of(case), scenario, seed)
    air = replace(scenario.air, wind_from_true_deg=(hold[0] + wind[0]) % 360.0, wind_kt=wind[1])
    return fly(confusion.hold_of(case), replace(scenario, air=air), seed)


@pytest.mark.parametrize("name", A_DOZEN)
def test_a_dozen_flights(name: str) -> None:
    number = A_DOZEN.index(name)
    flight = of_name(name, confusion.WINDS[number % 3], confusion.HOLDS[number % 2], 700 + number)
    assert broken_by(flight) == {}


def test_a_course_reversal_flown_badly_has_items_and_no_lap() -> None:
    """Altitude out of its band where there is no lap to name: found by the sweep as a fault."""
    scenario = replace(named("altitude off"), laps=0, reversal=True, entry="parallel")
    flight = fly(confusion.hold_of(confusion.Case("", 0, confusion.WINDS[0], confusion.HOLDS[0])), scenario, 3)
    debrief = analyse(as_track(flight), flight.hold, STANDARD)
    (altitude,) = (item for item in debrief.whole_items if item.item == "altitude")
    assert altitude.result == "outside"
    assert {stay.lap for stay in altitude.excursions} == {None}
    assert broken(debrief_to_dict(debrief)) == {}


def test_the_rules_can_be_broken() -> None:
    """Each rule that reads sentences, against a debrief made wrong by hand."""
    flight = of_name("non-holding side", confusion.WINDS[0], confusion.HOLDS[0], 700)
    debrief = debrief_to_dict(analyse(as_track(flight), flight.hold, STANDARD))
    assert broken(debrief) == {}
    first = debrief["findings"][0]
    wrong = {
        **debrief,
        "verdict": "4 laps: within, with brief excursions in inbound leg time.",
        "findings": [
            *debrief["findings"][1:],
            {**first, "weight": 1e6, "evidence": "changed by -0 s", "praise": False},
        ],
        "items": [
            {**item, "result": "brief excursion"}
            if item["item"] == "non_holding_side" and item["lap"] is None
            else item
            for item in debrief["items"]
        ],
        "next_lap": {**debrief["next_lap"], "equal_seconds_s": 30.0},
        "needles": [{**each, "from_utc": str(n)} for n, each in enumerate(debrief["needles"])],
    }
    assert {"time_words", "whole_and_laps", "danger_first", "slips", "one_card", "one_deflection"} <= set(broken(wrong))


def sweep() -> Iterator[tuple[str, SimulatedFlight]]:
    for kind in confusion.kinds():
        for case in confusion.cases([kind], 1, 1):
            name = kind.removesuffix(confusion.WITH_MARKS)
            yield f"{kind} {case.wind} {case.hold}", of_name(name, case.wind, case.hold, case.seed)
    for suite in SUITES.values():
        if not suite.decoy:
            for seed in range(suite.flights):
                yield f"{suite.name} {seed}", flight_of(suite.name, seed)


@pytest.mark.sweep
def test_every_flight_of_the_sweep() -> None:
    counts: Counter[str] = Counter()
    told = []
    for name, flight in sweep():
        counts["flights"] += 1
        for rule, sentences in broken_by(flight).items():
            counts[rule] += 1
            told.append(f"{name}: {rule}: {sentences[0]}")
    print(counts)
    assert counts["flights"] > 700
    assert not told, "\n".join(told[:40])
    assert len(RULES) >= 12
