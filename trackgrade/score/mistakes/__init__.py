"""How what was seen becomes findings: causes before consequences, ranked, each with its evidence."""

from __future__ import annotations

from collections.abc import Sequence

from trackgrade.score.debrief import Consequence, Finding, Flight
from trackgrade.score.lap import Sighting
from trackgrade.score.mistakes.mistake import Mistake
from trackgrade.score.mistakes.praise import praise
from trackgrade.score.mistakes.table import BY_NAME, MISTAKES
from trackgrade.score.results import ItemResult
from trackgrade.score.sentences import amount, lap_words, listed, sentence_of
from trackgrade.score.standard import ITEMS

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
#: What endangers outweighs everything else.
DANGER_WEIGHT = 1000.0


def find_mistakes(flight: Flight) -> tuple[tuple[Finding, ...], dict[str, tuple[Sighting, ...]]]:
    """Mistakes, what endangers first, then by weight; then what was flown well; and by name what each was seen as.

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
            title=f"{item.title} outside {'the chosen band' if item.choice else 'the standard'}",
            lap=None,
            at_epoch_s=item.at_epoch_s,
            evidence=_item_outside(item),
            advice=_ADVICE_OF[item.item],
            weight=10.0,
            visit=item.visit,
            about=ITEMS[item.item].about,
        )
        for item in items
        if item.result == "outside" and not item.straddles
    ]


def _item_outside(item: ItemResult) -> str:
    """The worst of an item that is outside, in one sentence."""
    worst = "" if item.value is None else amount(item.value, item.unit, signed=True)
    limit = "" if item.limit is None else f" where {amount(item.limit, item.unit)} is the limit"
    return sentence_of(f"{worst}{limit}; {item.evidence or item.reference}")


def _take_consequences_out(sightings: dict[str, list[Sighting]], laps: int) -> dict[str, tuple[Consequence, ...]]:
    """Remove sightings that follow from another mistake; returns what each mistake led to.

    Causes are taken in the order of the table, so that a cause that is itself a consequence is gone before its turn.
    What is about the same thing as its cause is the same fact in other words: gone, and not told as a consequence.
    """
    led_to: dict[str, tuple[Consequence, ...]] = dict.fromkeys(sightings, ())
    for mistake in MISTAKES:
        causes = sightings[mistake.name]
        if not causes or not _often_enough(mistake, causes, laps):
            continue
        if mistake.habit and 2 * _laps_of(causes) <= laps:
            continue  # named where it is seen twice, but it explains others only as a habit
        taken = []
        for other in MISTAKES:
            seen = sightings[other.name]
            if not mistake.brings(other):
                continue
            if other.habit and 2 * _laps_of(seen) > laps and _laps_of(causes) < _laps_of(seen):
                continue
            gone = [each for each in seen if _follows(each, other, causes, mistake)]
            if not gone:
                continue
            sightings[other.name] = [each for each in seen if each not in gone]
            if other.about != mistake.about:
                taken.append(_consequence(other, gone))
        led_to[mistake.name] = tuple(taken)
    return led_to


def _follows(sighting: Sighting, other: Mistake, causes: Sequence[Sighting], mistake: Mistake) -> bool:
    """Whether a sighting of another mistake follows from this one: after it (or the same fact), and near enough."""
    same = other.about == mistake.about
    least = 0 if same or mistake.comes_before(other) else 1
    for cause in causes:
        if cause.visit is None:
            return True
        if cause.visit != sighting.visit or (not same and _before(sighting, cause)):
            continue
        # A sighting over the whole visit rests on the upset lap too.
        if mistake.whole_visit or (cause.lap is not None and sighting.lap is None):
            return True
        if least <= (sighting.lap or 0) - (cause.lap or 0) <= mistake.laps_after:
            return True
    return False


def _consequence(mistake: Mistake, sightings: Sequence[Sighting]) -> Consequence:
    worst = max(sightings, key=lambda each: each.size)
    where = "" if worst.lap is None else f"on lap {worst.lap}, "
    return Consequence(
        name=mistake.name,
        title=mistake.title,
        about=mistake.about,
        danger=mistake.danger,
        evidence=where + worst.evidence.split(", with ")[0],
        laps=_lap_numbers(sightings),
        at_epoch_s=_first_epoch_s(sightings),
    )


def _before(sighting: Sighting, cause: Sighting) -> bool:
    """Whether what was seen began before its would-be cause."""
    one, other = sighting.began_epoch_s, cause.began_epoch_s
    return one is not None and other is not None and one < other


def _lap_numbers(sightings: Sequence[Sighting]) -> tuple[int, ...]:
    return tuple(sorted({each.lap for each in sightings if each.lap is not None}))


def _first_epoch_s(sightings: Sequence[Sighting]) -> float | None:
    return min((each.began_epoch_s for each in sightings if each.began_epoch_s is not None), default=None)


def _laps_of(sightings: Sequence[Sighting]) -> int:
    return len({(each.visit, each.lap) for each in sightings})


def _often_enough(mistake: Mistake, sightings: Sequence[Sighting], laps: int) -> bool:
    """Whether a mistake was seen on as many laps as it needs to be worth its name."""
    seen_on = _laps_of(sightings)
    if mistake.needs == "once":
        return True
    return seen_on >= min(2, max(1, laps)) and (mistake.needs == "repeated" or 2 * seen_on > laps)


def _finding(mistake: Mistake, sightings: Sequence[Sighting], led_to: tuple[Consequence, ...], laps: int) -> Finding:
    worst = max(sightings, key=lambda each: each.size)
    on = _lap_numbers(sightings)
    share = len(on) / laps if laps and on else 1.0
    first = min(sightings, key=lambda each: (each.visit or 0, each.lap or 0))
    began = _first_epoch_s(sightings)
    # Earlier sightings may have been found to follow from yet another mistake, and what they led to with them.
    after = [each for each in led_to if began is None or each.at_epoch_s is None or each.at_epoch_s >= began]
    led_to = tuple(sorted(after, key=lambda each: not each.danger))
    consequences = tuple(each.title for each in led_to)
    danger = mistake.danger or any(each.danger for each in led_to)
    weight = mistake.weight * min(2.0, 0.5 + 0.25 * min(worst.size, 4.0)) * (0.7 + 0.3 * share)
    return Finding(
        name=mistake.name,
        title=mistake.title,
        lap=on[0] if on else None,
        at_epoch_s=worst.at_epoch_s if worst.at_epoch_s is not None else first.at_epoch_s,
        evidence=_evidence(on, len({each.evidence for each in sightings}), worst.evidence, consequences),
        advice=mistake.advice,
        weight=weight + DANGER_WEIGHT * danger,
        visit=worst.visit,
        laps=on,
        consequences=consequences,
        about=mistake.about,
        danger=danger,
        first_epoch_s=began,
        led_to=led_to,
    )


def _evidence(laps: Sequence[int], kinds: int, worst_clause: str, led_to: Sequence[str]) -> str:
    """Where a mistake was seen and its worst case, with what it led to."""
    where = f"On {lap_words(laps)}" if laps else ""
    if where and kinds > 1:
        where += ", at worst"
    text = sentence_of(f"{where}: {worst_clause}" if where else worst_clause)
    if led_to:
        named = [each[0].lower() + each[1:] for each in led_to[:CONSEQUENCES_NAMED]]
        more = len(led_to) - len(named)
        text += f" It led to: {listed([*named, f'{more} more'] if more else named)}."
    return text
