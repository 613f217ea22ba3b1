"""How what was seen becomes findings: causes before consequences, ranked, each with its evidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from trackgrade.score.debrief import Finding
from trackgrade.score.flight import Flight
from trackgrade.score.lap import Sighting
from trackgrade.score.mistakes.mistake import Mistake
from trackgrade.score.mistakes.praise import praise
from trackgrade.score.mistakes.table import BY_NAME, MISTAKES
from trackgrade.score.results import ItemResult
from trackgrade.score.sentences import item_outside_evidence, lap_words, listed

#: Whose advice helps where an item is outside and no mistake has a name.
_ADVICE_OF = {
    "altitude": BY_NAME["altitude_not_held"].advice,
    "airspeed": BY_NAME["airspeed_not_held"].advice,
    "course": BY_NAME["course_left"].advice,
    "outbound_heading": BY_NAME["heading_wandered"].advice,
    "inbound_time": BY_NAME["inbound_times_off"].advice,
    "turn_rate": BY_NAME["turn_uneven"].advice,
    "turn_bank": BY_NAME["turn_uneven"].advice,
    "holding_speed": BY_NAME["speed_above_limit"].advice,
    "non_holding_side": BY_NAME["course_overshot"].advice,
    "fix_recognition": BY_NAME["late_at_fix"].advice,
    "leg_length": "Begin the turn back at the distance of the leg, read ahead of it by what the roll-in takes.",
}
#: So many consequences are named with a mistake; more would bury the cause.
CONSEQUENCES_NAMED = 3


def find_mistakes(flight: Flight) -> tuple[tuple[Finding, ...], dict[str, tuple[Sighting, ...]]]:
    """Mistakes ranked by weight, the heaviest first, then what was flown well; and by name what each was seen as.

    Nothing without evidence.
    """
    laps = len(flight.laps)
    sightings = {mistake.name: list(mistake.find(flight)) for mistake in MISTAKES}
    led_to = _take_consequences_out(sightings, laps)
    named = [each for each in MISTAKES if sightings[each.name] and _often_enough(each, sightings[each.name], laps)]
    findings = [_finding(each, sightings[each.name], led_to[each.name], laps) for each in named]
    findings.sort(key=lambda finding: -finding.weight)
    if not findings:
        findings = _items_outside(flight.whole_items)
    return (*findings, *praise(flight, findings)), {each.name: tuple(sightings[each.name]) for each in named}


def _items_outside(items: Sequence[ItemResult]) -> list[Finding]:
    """Where no mistake has a name but an item is outside over the whole hold: the item itself."""
    return [
        Finding(
            name=f"{item.item}_outside",
            title=f"{item.title} outside the standard",
            lap=None,
            at_epoch_s=item.at_epoch_s,
            evidence=item_outside_evidence(item),
            advice=_ADVICE_OF[item.item],
            weight=10.0,
            visit=item.visit,
        )
        for item in items
        if item.result == "outside" and not item.straddles
    ]


def _take_consequences_out(sightings: dict[str, list[Sighting]], laps: int) -> dict[str, tuple[str, ...]]:
    """Remove sightings that follow from another mistake; returns what each mistake led to.

    Causes are taken in the order of the table, so that a cause that is itself a consequence is gone before its turn.
    """
    led_to: dict[str, tuple[str, ...]] = dict.fromkeys(sightings, ())
    for mistake in MISTAKES:
        causes = sightings[mistake.name]
        if not causes or not _often_enough(mistake, causes, laps):
            continue
        if mistake.habit and 2 * _laps_of(causes) <= laps:
            continue  # named where it is seen twice, but it explains others only as a habit
        taken = []
        for other in MISTAKES:
            seen = sightings[other.name]
            if other.name not in mistake.leads_to or other is mistake:
                continue
            if other.habit and 2 * _laps_of(seen) > laps and _laps_of(causes) < _laps_of(seen):
                continue
            left = [each for each in seen if not _follows(each, other, causes, mistake)]
            if len(left) < len(seen):
                taken.append(other.name)
                sightings[other.name] = left
        led_to[mistake.name] = tuple(taken)
    return led_to


def _follows(sighting: Sighting, other: Mistake, causes: Sequence[Sighting], mistake: Mistake) -> bool:
    """Whether a sighting of another mistake is a consequence of this one: after it, and near enough."""
    least = 0 if mistake.comes_before(other) else 1
    for cause in causes:
        if cause.visit is None or (mistake.whole_visit and cause.visit == sighting.visit):
            return True
        if cause.visit == sighting.visit and cause.lap is not None and sighting.lap is None:
            return True  # a sighting over the whole visit rests on the upset lap too
        if cause.visit == sighting.visit and least <= (sighting.lap or 0) - (cause.lap or 0) <= mistake.laps_after:
            return True
    return False


def _laps_of(sightings: Sequence[Sighting]) -> int:
    return len({(each.visit, each.lap) for each in sightings})


def _often_enough(mistake: Mistake, sightings: Sequence[Sighting], laps: int) -> bool:
    """Whether a mistake was seen on as many laps as it needs to be worth its name."""
    seen_on = _laps_of(sightings)
    if mistake.needs == "once":
        return True
    return seen_on >= min(2, max(1, laps)) and (mistake.needs == "repeated" or 2 * seen_on > laps)


def _finding(mistake: Mistake, sightings: Sequence[Sighting], led_to: tuple[str, ...], laps: int) -> Finding:
    worst = max(sightings, key=lambda each: each.size)
    on = tuple(sorted({each.lap for each in sightings if each.lap is not None}))
    share = len(on) / laps if laps and on else 1.0
    first = min((each for each in sightings), key=lambda each: (each.visit or 0, each.lap or 0))
    finding = Finding(
        name=mistake.name,
        title=mistake.title,
        lap=on[0] if on else None,
        at_epoch_s=worst.at_epoch_s if worst.at_epoch_s is not None else first.at_epoch_s,
        evidence="",
        advice=mistake.advice,
        weight=mistake.weight * min(2.0, 0.5 + 0.25 * min(worst.size, 4.0)) * (0.7 + 0.3 * share),
        visit=worst.visit,
        laps=on,
        consequences=tuple(BY_NAME[name].title for name in led_to),
    )
    return replace(finding, evidence=_evidence(finding, [each.evidence for each in sightings], worst.evidence))


def _evidence(finding: Finding, clauses: Sequence[str], worst_clause: str) -> str:
    """Where a mistake was seen and its worst case, with what it led to."""
    where = f"On {lap_words(finding.laps)}" if finding.laps else ""
    if where and len(clauses) > 1:
        where += ", at worst"
    text = f"{where}: {worst_clause}" if where else worst_clause
    if finding.consequences:
        named = [each[0].lower() + each[1:] for each in finding.consequences[:CONSEQUENCES_NAMED]]
        more = len(finding.consequences) - len(named)
        text += f". It led to: {listed([*named, f'{more} more'] if more else named)}"
    return f"{text[0].upper()}{text[1:]}."
