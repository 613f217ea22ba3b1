"""All judgement behind one call: measures, items, mistakes, the next lap, the verdict, and the debrief of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from trackgrade.hold.hold import Hold
from trackgrade.hold.planning import SolvedLap, solve_lap
from trackgrade.motion.samples import Wind
from trackgrade.score.debrief import Debrief, Flight, GradedVisit, NextLap
from trackgrade.score.flight import in_numbers
from trackgrade.score.items import grade_items
from trackgrade.score.lap import GradedLap, Sighting
from trackgrade.score.mistakes import find_mistakes
from trackgrade.score.sentences import entry_sentence, next_lap_sentence, wind_work_sentence
from trackgrade.score.standard import Standard
from trackgrade.score.verdict import item_evidence, spoken, verdict
from trackgrade.score.wind_work import next_lap
from trackgrade.segment.measured import Measured


def judge(measured: Measured, standard: Standard) -> Debrief:
    """The debrief of what was flown, against a standard. Pure: the same input gives the same debrief.

    With no visit flown the debrief holds no items and no findings, and its verdict says what was seen instead.
    """
    hold, flown = measured.hold, measured.flown
    known: dict[Wind | None, tuple[SolvedLap | None, str]] = {}

    def solver(wind: Wind | None) -> SolvedLap | None:
        if wind not in known:
            known[wind] = solve_for_wind(hold, wind, measured.wind_note, standard)
        return known[wind][0]

    flight = in_numbers(measured, standard, solver)
    why_not = next((why for lap, why in known.values() if lap is None), "")
    solved_note = flight.solved.why if flight.solved is not None else why_not
    graded = grade_items(flight)
    told = [spoken(item, flight.turn_radius_nm) for item in graded]
    evidence = map(item_evidence, told)
    flight = flight.with_items(
        [item if say == item.evidence else replace(item, evidence=say) for item, say in zip(graded, evidence)]
    )
    findings, seen = find_mistakes(flight)
    card = next_lap(hold, flight.solved, solved_note, flight.laps[-1] if flight.laps else None)
    if card is not None:
        card = replace(card, sentence=next_lap_sentence(card, hold))
    last = flight.visits[-1] if flight.visits else None
    visits = tuple(_told(visit, seen, card if visit is last else None) for visit in flight.visits)
    return Debrief(
        **vars(replace(flight, visits=visits)),
        track=measured.clean,
        turns=measured.turns,
        wind_note=measured.wind_note,
        solved_note=solved_note,
        findings=findings,
        verdict=verdict(flown, told, standard, findings),
        notes=_notes(flight),
    )


def _told(visit: GradedVisit, seen: Mapping[str, tuple[Sighting, ...]], card: NextLap | None) -> GradedVisit:
    """The visit with what the findings saw on each lap, its entry in words, and the card."""

    def noticed(lap: GradedLap) -> GradedLap:
        here = {
            name: each
            for name, all_of_it in seen.items()
            for each in all_of_it
            if (each.visit, each.lap) == (lap.visit, lap.number)
        }
        work = replace(lap.wind_work, sentence=wind_work_sentence(lap.wind_work))
        return replace(lap, seen=here, wind_work=work)

    entry = replace(visit.entry, sentence=entry_sentence(visit.entry))
    return replace(visit, entry=entry, laps=tuple(noticed(lap) for lap in visit.laps), next_lap=card)


def solve_for_wind(hold: Hold, wind: Wind | None, wind_note: str, standard: Standard) -> tuple[SolvedLap | None, str]:
    """The lap that works in the wind measured, or None and why there is none."""
    if wind is None:
        return None, wind_note or "the wind could not be estimated"
    try:
        solved = solve_lap(
            hold,
            wind.true_airspeed_kt,
            wind.from_true_deg,
            wind.speed_kt,
            turn_rate_deg_s=standard.turns.rate_deg_s,
            bank_limit_deg=standard.turns.bank_deg,
        )
    except ValueError as wrong:  # a balloon, a rocket
        return None, f"no lap can be solved: {wrong}"
    if math.isnan(solved.outbound_s):  # the course cannot be tracked at all
        return None, solved.why
    return solved, solved.why


def _notes(flight: Flight) -> tuple[str, ...]:
    """What a reader must know of the numbers: estimates and references."""
    notes = []
    samples = flight.samples
    if samples.airspeed_source == "estimated":
        notes.append("Airspeed is estimated from ground velocity and wind, not logged.")
    if samples.heading_source == "estimated":
        notes.append("Heading is estimated from ground velocity and wind, not logged.")
    if flight.laps:
        for name, base in (("Altitude", flight.altitude), ("Airspeed", flight.airspeed)):
            notes.append(f"{name} is {'not graded:' if base.value is None else 'measured from'} {base.note}.")
    notes.append(flight.standard.timing_note)
    return tuple(notes)
