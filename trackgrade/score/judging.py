"""All judgement behind one call: measures, items, mistakes, watch, corrections, needles, wind work, next
lap, verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from trackgrade.hold.hold import Hold
from trackgrade.motion.samples import Samples, Turn, Wind
from trackgrade.score.debrief import Debrief
from trackgrade.score.items import grade_items
from trackgrade.score.measured import Measured, measure_all
from trackgrade.score.mistakes import find_mistakes
from trackgrade.score.needles import THREE_QUARTERS, needle_contrasts
from trackgrade.score.sentences import (
    CAUTIONS,
    entry_sentence,
    item_evidence,
    next_lap_sentence,
    verdict,
    wind_work_sentence,
)
from trackgrade.score.standard import Standard
from trackgrade.score.timing import converged_lap
from trackgrade.score.wind_work import next_lap
from trackgrade.segment.flown import Flown
from trackgrade.track.track import CleanTrack

if TYPE_CHECKING:
    from trackgrade.hold.planning import SolvedLap


def judge(
    clean: CleanTrack,
    hold: Hold,
    samples: Samples,
    wind: Wind | None,
    wind_note: str,
    turns: Sequence[Turn],
    flown: Flown,
    standard: Standard,
) -> Debrief:
    """The debrief of what was flown, against a standard. Pure: the same input gives the same debrief.

    With no visit in ``flown`` the debrief holds no items and no findings, and its verdict says what was
    seen instead.
    """
    solved, solved_note = solve_for_wind(hold, wind, wind_note, standard)
    measured = measure_all(clean, hold, samples, wind, tuple(turns), flown, standard, solved)
    items = tuple(replace(item, evidence=item_evidence(item)) for item in grade_items(measured))
    findings = find_mistakes(measured, items)
    card = next_lap(hold, solved, solved_note, measured.laps[-1] if measured.laps else None)
    course = standard.item("course")
    return Debrief(
        track=clean,
        hold=hold,
        wind=wind,
        wind_note=wind_note,
        samples=samples,
        turns=tuple(turns),
        flown=flown,
        items=items,
        findings=findings,
        verdict=verdict(flown, items, standard, findings),
        standard_name=standard.name,
        standard_title=standard.title,
        standard=standard,
        laps=measured.laps,
        entries=tuple(replace(entry, sentence=entry_sentence(entry)) for entry in measured.entries),
        watch=measured.watch,
        corrections=measured.corrections,
        converged_lap=None if standard.timing_band_s is None else converged_lap(measured.laps, standard.timing_band_s),
        needles=measured.needles,
        needle_contrasts=needle_contrasts(
            measured.needles, course.limit if course is not None and course.limit is not None else THREE_QUARTERS
        ),
        wind_work=tuple(replace(work, sentence=wind_work_sentence(work)) for work in measured.wind_work),
        solved=solved,
        solved_note=solved_note,
        next_lap=None if card is None else replace(card, sentence=next_lap_sentence(card, hold)),
        altitude_reference_ft=measured.altitude.value,
        altitude_reference_note=measured.altitude.note,
        airspeed_reference_kias=measured.airspeed.value,
        airspeed_reference_note=measured.airspeed.note,
        notes=_notes(measured),
        cautions=CAUTIONS,
    )


def solve_for_wind(hold: Hold, wind: Wind | None, wind_note: str, standard: Standard) -> tuple[SolvedLap | None, str]:
    """The lap that works in the wind measured, or None and why there is none."""
    if wind is None:
        return None, wind_note or "the wind could not be estimated"
    from trackgrade.hold.planning import solve_lap  # scipy: loaded only where a lap is solved

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


def _notes(measured: Measured) -> tuple[str, ...]:
    """What a reader must know of the numbers: estimates and references."""
    notes = []
    samples = measured.samples
    if samples.airspeed_source == "estimated":
        notes.append("Airspeed is estimated from ground velocity and wind, not logged.")
    if samples.heading_source == "estimated":
        notes.append("Heading is estimated from ground velocity and wind, not logged.")
    if measured.laps:
        notes += [
            f"Altitude is measured from {measured.altitude.note}.",
            f"Airspeed is measured from {measured.airspeed.note}.",
        ]
    notes.append(measured.standard.timing_note)
    return tuple(notes)
