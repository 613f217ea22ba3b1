"""Every mistake worth naming, in one table, and how sightings become findings.

A mistake that only follows from another (an overshoot from a missing drift correction) is named as its consequence and
not on its own, so that a pilot works on the cause. The table says which leads to which.
"""

from __future__ import annotations

from collections.abc import Sequence

from trackgrade.score.debrief import Consequence, Finding
from trackgrade.score.finding_words import ITEM_ADVICE, MISTAKE_WORDS, finding_evidence, item_outside_evidence
from trackgrade.score.flight import Flight
from trackgrade.score.lap import Sighting
from trackgrade.score.mistakes import handling, pattern, times, watch, wind
from trackgrade.score.mistakes.praise import praise
from trackgrade.score.mistakes.sighting import ITEM_ABOUT, Mistake
from trackgrade.score.results import ItemResult

_TIMES = frozenset(
    (
        "time_not_corrected",
        "time_corrected_wrong_way",
        "time_overcorrected",
        "outbound_too_short",
        "outbound_too_long",
        "watch_inconsistent",
        "inbound_times_off",
        "turned_back_early",
    )
)
_DRIFT = frozenset(("no_drift_correction", "reversed_drift_correction"))
_ROLLOUT = frozenset(("course_overshot", "course_undershot"))
_TRACKING = frozenset(("needle_chased", "course_left", "course_not_captured"))
_TURNS = frozenset(("turns_too_shallow", "turns_too_steep", "turn_uneven"))
_PATTERN = (
    _TIMES
    | _DRIFT
    | _ROLLOUT
    | _TRACKING
    | {"wrong_entry", "entry_turned_wrong_way", "non_holding_side", "late_at_fix", "orbit_inserted"}
)
_ENTRY = _TIMES | _ROLLOUT | {"wrong_entry", "non_holding_side", "late_at_fix"}
_SPEED = _TIMES | _ROLLOUT | {"airspeed_not_held", "non_holding_side", "course_left"}
_BY_TURNS = _TIMES | _DRIFT | _ROLLOUT | _TRACKING | {"turn_uneven", "non_holding_side"}

#: All mistakes. Weight is for one lap of the least size; habits and large ones weigh more. A cause stands before
#: what it leads to, where both lead to a third.
MISTAKES: tuple[Mistake, ...] = (
    Mistake(
        "reciprocal_course",
        "pattern",
        pattern.reciprocal_course,
        100.0,
        leads_to=_PATTERN | {"wrong_side"},
        whole_visit=True,
        danger=True,
    ),
    Mistake("wrong_side", "pattern", pattern.wrong_side, 95.0, leads_to=_PATTERN, whole_visit=True, danger=True),
    Mistake(
        "entry_turned_wrong_way",
        "entry",
        pattern.entry_turned_wrong_way,
        60.0,
        leads_to=_ENTRY,
        laps_after=4,
        danger=True,
    ),
    Mistake("wrong_entry", "entry", pattern.wrong_entry, 30.0, leads_to=_ENTRY - {"wrong_entry"}, laps_after=4),
    Mistake(
        "speed_above_limit",
        "airspeed",
        handling.speed_above_limit,
        70.0,
        leads_to=frozenset(("airspeed_not_held", "speed_not_reduced")),
        whole_visit=True,
        danger=True,
    ),
    Mistake("speed_not_reduced", "airspeed", handling.speed_not_reduced, 30.0, leads_to=_SPEED, laps_after=1),
    Mistake("airspeed_not_held", "airspeed", handling.airspeed_not_held, 30.0, leads_to=_SPEED, whole_visit=True),
    Mistake(
        "turn_uneven", "turns", handling.turn_uneven, 25.0, "repeated", _TIMES | _ROLLOUT | _TURNS, whole_visit=True
    ),
    Mistake("turns_too_shallow", "turns", handling.turns_too_shallow, 50.0, "repeated", _BY_TURNS, whole_visit=True),
    Mistake("turns_too_steep", "turns", handling.turns_too_steep, 50.0, "repeated", _BY_TURNS, whole_visit=True),
    Mistake(
        "orbit_inserted",
        "pattern",
        pattern.orbit_inserted,
        40.0,
        leads_to=_BY_TURNS | _TURNS | {"heading_wandered", "altitude_lost_in_turns"},
        laps_after=2,
    ),
    Mistake(
        "reversed_drift_correction",
        "drift",
        wind.reversed_drift_correction,
        55.0,
        needs="mostly",
        leads_to=_TIMES | _ROLLOUT | _TRACKING | {"non_holding_side", "no_drift_correction", "heading_wandered"},
        laps_after=2,
        danger=True,
    ),
    Mistake(
        "no_drift_correction",
        "drift",
        wind.no_drift_correction,
        45.0,
        needs="mostly",
        leads_to=_TIMES | _ROLLOUT | _TRACKING | {"non_holding_side"},
        laps_after=2,
    ),
    Mistake(
        "non_holding_side",
        "across",
        wind.non_holding_side,
        42.0,
        leads_to=_TIMES | _DRIFT | _ROLLOUT | _TRACKING | {"heading_wandered", "late_at_fix"},
        laps_after=2,
    ),
    Mistake(
        "course_not_captured",
        "tracking",
        pattern.course_not_captured,
        65.0,
        leads_to=_TIMES | _DRIFT | _ROLLOUT | _TRACKING | {"late_at_fix"},
        laps_after=2,
    ),
    Mistake(
        "altitude_lost_in_turns",
        "altitude",
        handling.altitude_lost_in_turns,
        45.0,
        leads_to=frozenset(("altitude_not_held",)),
    ),
    Mistake("altitude_not_held", "altitude", handling.altitude_not_held, 45.0),
    Mistake("watch_inconsistent", "time", watch.watch_inconsistent, 38.0, leads_to=_TIMES, whole_visit=True),
    Mistake(
        "time_corrected_wrong_way",
        "time",
        times.time_corrected_wrong_way,
        36.0,
        needs="repeated",
        leads_to=_TIMES | _ROLLOUT,
        whole_visit=True,
    ),
    Mistake(
        "time_not_corrected",
        "time",
        times.time_not_corrected,
        34.0,
        needs="repeated",
        leads_to=_TIMES | _ROLLOUT,
        whole_visit=True,
        habit=True,
    ),
    Mistake(
        "turned_back_early",
        "time",
        times.turned_back_early,
        33.0,
        needs="repeated",
        leads_to=_TIMES | _ROLLOUT,
        whole_visit=True,
    ),
    Mistake("outbound_too_short", "time", times.outbound_too_short, 24.0, leads_to=_TIMES | _ROLLOUT, laps_after=2),
    Mistake("outbound_too_long", "time", times.outbound_too_long, 24.0, leads_to=_TIMES | _ROLLOUT, laps_after=2),
    Mistake(
        "course_undershot",
        "tracking",
        wind.course_undershot,
        28.0,
        leads_to=_TIMES | {"course_overshot", "course_left"},
        laps_after=1,
    ),
    Mistake(
        "course_overshot",
        "across",
        wind.course_overshot,
        32.0,
        leads_to=_TIMES | {"course_undershot", "course_left"},
        laps_after=1,
    ),
    Mistake("late_at_fix", "fix", times.late_at_fix, 33.0, leads_to=_TIMES | _ROLLOUT, laps_after=2),
    Mistake("time_overcorrected", "time", times.time_overcorrected, 30.0, leads_to=_TIMES, laps_after=1),
    Mistake("needle_chased", "tracking", wind.needle_chased, 26.0, leads_to=_TIMES | {"course_left", "late_at_fix"}),
    Mistake("course_left", "tracking", wind.course_left, 40.0),
    Mistake("heading_wandered", "heading", handling.heading_wandered, 20.0),
    Mistake("inbound_times_off", "time", times.inbound_times_off, 28.0, needs="repeated"),
    Mistake("arrival_time_missed", "arrival", times.arrival_time_missed, 22.0),
)

#: What endangers outweighs everything else.
DANGER_WEIGHT = 1000.0

NAMES = tuple(mistake.name for mistake in MISTAKES)
HABITS = frozenset(mistake.name for mistake in MISTAKES if mistake.habit)


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
            evidence=item_outside_evidence(item),
            advice=ITEM_ADVICE[item.item],
            weight=10.0,
            visit=item.visit,
            about=ITEM_ABOUT[item.item],
        )
        for item in items
        if item.result == "outside" and not item.straddles
    ]


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
        for effect in MISTAKES:
            name = effect.name
            if name not in mistake.leads_to or name == mistake.name or (effect.danger and not mistake.danger):
                continue
            if name in HABITS and 2 * _laps_of(sightings[name]) > laps and _laps_of(causes) < _laps_of(sightings[name]):
                continue
            same = effect.about == mistake.about
            gone = [each for each in sightings[name] if _follows(each, causes, mistake, same)]
            if not gone:
                continue
            sightings[name] = [each for each in sightings[name] if each not in gone]
            if not same:
                when = min((each.began_epoch_s for each in gone if each.began_epoch_s is not None), default=None)
                taken.append(Consequence(name, effect.about, _lap_numbers(gone), when))
        led_to[mistake.name] = tuple(taken)
    return led_to


def _follows(sighting: Sighting, causes: Sequence[Sighting], mistake: Mistake, same: bool) -> bool:
    """Whether a mistake seen may come of another: after it began (but for the same fact), on its lap or soon after."""
    for cause in causes:
        if cause.visit is None:
            return True
        if cause.visit != sighting.visit or (not same and _before(sighting, cause)):
            continue
        # A sighting over the whole visit rests on the upset lap too.
        rests_on_it = cause.lap is not None and sighting.lap is None
        if mistake.whole_visit or rests_on_it:
            return True
        if 0 <= (sighting.lap or 0) - (cause.lap or 0) <= mistake.laps_after:
            return True
    return False


def _before(sighting: Sighting, cause: Sighting) -> bool:
    """Whether what was seen began before its would-be cause."""
    one, other = sighting.began_epoch_s, cause.began_epoch_s
    return one is not None and other is not None and one < other


def _lap_numbers(sightings: Sequence[Sighting]) -> tuple[int, ...]:
    return tuple(sorted({each.lap for each in sightings if each.lap is not None}))


def _laps_of(sightings: Sequence[Sighting]) -> int:
    return len({(each.visit, each.lap) for each in sightings})


def _often_enough(mistake: Mistake, sightings: Sequence[Sighting], laps: int) -> bool:
    """Whether a mistake was seen on as many laps as it needs to be worth its name."""
    seen_on = _laps_of(sightings)
    if mistake.needs == "once":
        return True
    return seen_on >= min(2, max(1, laps)) and (mistake.needs == "repeated" or 2 * seen_on > laps)


def _finding(mistake: Mistake, sightings: Sequence[Sighting], led_to: tuple[Consequence, ...], laps: int) -> Finding:
    title, advice = MISTAKE_WORDS[mistake.name]
    worst = max(sightings, key=lambda each: each.size)
    on = _lap_numbers(sightings)
    share = len(on) / laps if laps and on else 1.0
    first = min((each for each in sightings), key=lambda each: (each.visit or 0, each.lap or 0))
    consequences = tuple(MISTAKE_WORDS[each.name][0] for each in led_to)
    weight = mistake.weight * min(2.0, 0.5 + 0.25 * min(worst.size, 4.0)) * (0.7 + 0.3 * share)
    return Finding(
        name=mistake.name,
        title=title,
        lap=on[0] if on else None,
        at_epoch_s=worst.at_epoch_s if worst.at_epoch_s is not None else first.at_epoch_s,
        evidence=finding_evidence(on, len(sightings), worst.evidence, consequences),
        advice=advice,
        weight=weight + DANGER_WEIGHT * mistake.danger,
        visit=worst.visit,
        laps=on,
        consequences=consequences,
        about=mistake.about,
        danger=mistake.danger,
        first_epoch_s=min((each.began_epoch_s for each in sightings if each.began_epoch_s is not None), default=None),
        led_to=led_to,
    )
