"""Every mistake worth naming, in one table, and how sightings become findings.

A mistake that only follows from another (an overshoot from a missing drift correction) is named as its consequence and
not on its own, so that a pilot works on the cause. The table says which leads to which.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from trackgrade.score.debrief import Finding
from trackgrade.score.flight import Flight
from trackgrade.score.lap import Sighting
from trackgrade.score.mistakes import handling, pattern, times, watch, wind
from trackgrade.score.mistakes.praise import praise
from trackgrade.score.mistakes.sighting import Mistake
from trackgrade.score.results import ItemResult
from trackgrade.score.sentences import ITEM_ADVICE, MISTAKE_WORDS, finding_evidence, item_outside_evidence

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
        pattern.reciprocal_course,
        100.0,
        leads_to=_PATTERN | {"wrong_side"},
        whole_visit=True,
    ),
    Mistake("wrong_side", pattern.wrong_side, 95.0, leads_to=_PATTERN, whole_visit=True),
    Mistake("entry_turned_wrong_way", pattern.entry_turned_wrong_way, 60.0, leads_to=_ENTRY, laps_after=4),
    Mistake("wrong_entry", pattern.wrong_entry, 30.0, leads_to=_ENTRY - {"wrong_entry"}, laps_after=4),
    Mistake(
        "speed_above_limit",
        handling.speed_above_limit,
        70.0,
        leads_to=frozenset(("airspeed_not_held", "speed_not_reduced")),
        whole_visit=True,
    ),
    Mistake("speed_not_reduced", handling.speed_not_reduced, 30.0, leads_to=_SPEED, laps_after=1),
    Mistake("airspeed_not_held", handling.airspeed_not_held, 30.0, leads_to=_SPEED, whole_visit=True),
    Mistake("turn_uneven", handling.turn_uneven, 25.0, "repeated", _TIMES | _ROLLOUT | _TURNS, whole_visit=True),
    Mistake("turns_too_shallow", handling.turns_too_shallow, 50.0, "repeated", _BY_TURNS, whole_visit=True),
    Mistake("turns_too_steep", handling.turns_too_steep, 50.0, "repeated", _BY_TURNS, whole_visit=True),
    Mistake(
        "orbit_inserted",
        pattern.orbit_inserted,
        40.0,
        leads_to=_BY_TURNS | _TURNS | {"heading_wandered", "altitude_lost_in_turns"},
        laps_after=2,
    ),
    Mistake(
        "reversed_drift_correction",
        wind.reversed_drift_correction,
        55.0,
        needs="mostly",
        leads_to=_TIMES | _ROLLOUT | _TRACKING | {"non_holding_side", "no_drift_correction", "heading_wandered"},
        laps_after=2,
    ),
    Mistake(
        "no_drift_correction",
        wind.no_drift_correction,
        45.0,
        needs="mostly",
        leads_to=_TIMES | _ROLLOUT | _TRACKING | {"non_holding_side"},
        laps_after=2,
    ),
    Mistake(
        "non_holding_side",
        wind.non_holding_side,
        42.0,
        leads_to=_TIMES | _DRIFT | _ROLLOUT | _TRACKING | {"heading_wandered", "late_at_fix"},
        laps_after=2,
    ),
    Mistake(
        "course_not_captured",
        pattern.course_not_captured,
        65.0,
        leads_to=_TIMES | _DRIFT | _ROLLOUT | _TRACKING | {"late_at_fix"},
        laps_after=2,
    ),
    Mistake(
        "altitude_lost_in_turns", handling.altitude_lost_in_turns, 45.0, leads_to=frozenset(("altitude_not_held",))
    ),
    Mistake("altitude_not_held", handling.altitude_not_held, 45.0),
    Mistake("watch_inconsistent", watch.watch_inconsistent, 38.0, leads_to=_TIMES, whole_visit=True),
    Mistake(
        "time_corrected_wrong_way",
        times.time_corrected_wrong_way,
        36.0,
        needs="repeated",
        leads_to=_TIMES | _ROLLOUT,
        whole_visit=True,
    ),
    Mistake(
        "time_not_corrected",
        times.time_not_corrected,
        34.0,
        needs="repeated",
        leads_to=_TIMES | _ROLLOUT,
        whole_visit=True,
        habit=True,
    ),
    Mistake(
        "turned_back_early",
        times.turned_back_early,
        33.0,
        needs="repeated",
        leads_to=_TIMES | _ROLLOUT,
        whole_visit=True,
    ),
    Mistake("outbound_too_short", times.outbound_too_short, 24.0, leads_to=_TIMES | _ROLLOUT, laps_after=2),
    Mistake("outbound_too_long", times.outbound_too_long, 24.0, leads_to=_TIMES | _ROLLOUT, laps_after=2),
    Mistake(
        "course_undershot",
        wind.course_undershot,
        28.0,
        leads_to=_TIMES | {"course_overshot", "course_left"},
        laps_after=1,
    ),
    Mistake(
        "course_overshot",
        wind.course_overshot,
        32.0,
        leads_to=_TIMES | {"course_undershot", "course_left"},
        laps_after=1,
    ),
    Mistake("late_at_fix", times.late_at_fix, 33.0, leads_to=_TIMES | _ROLLOUT, laps_after=2),
    Mistake("time_overcorrected", times.time_overcorrected, 30.0, leads_to=_TIMES, laps_after=1),
    Mistake("needle_chased", wind.needle_chased, 26.0, leads_to=_TIMES | {"course_left", "late_at_fix"}),
    Mistake("course_left", wind.course_left, 40.0),
    Mistake("heading_wandered", handling.heading_wandered, 20.0),
    Mistake("inbound_times_off", times.inbound_times_off, 28.0, needs="repeated"),
    Mistake("arrival_time_missed", times.arrival_time_missed, 22.0),
)

NAMES = tuple(mistake.name for mistake in MISTAKES)
HABITS = frozenset(mistake.name for mistake in MISTAKES if mistake.habit)


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
            advice=ITEM_ADVICE[item.item],
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
        for name in NAMES:
            if name not in mistake.leads_to or name == mistake.name:
                continue
            if name in HABITS and 2 * _laps_of(sightings[name]) > laps and _laps_of(causes) < _laps_of(sightings[name]):
                continue
            left = [each for each in sightings[name] if not _follows(each, causes, mistake)]
            if len(left) < len(sightings[name]):
                taken.append(name)
                sightings[name] = left
        led_to[mistake.name] = tuple(taken)
    return led_to


def _follows(sighting: Sighting, causes: Sequence[Sighting], mistake: Mistake) -> bool:
    for cause in causes:
        if cause.visit is None or (mistake.whole_visit and cause.visit == sighting.visit):
            return True
        if cause.visit == sighting.visit and cause.lap is not None and sighting.lap is None:
            return True  # a sighting over the whole visit rests on the upset lap too
        if cause.visit == sighting.visit and 0 <= (sighting.lap or 0) - (cause.lap or 0) <= mistake.laps_after:
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
    title, advice = MISTAKE_WORDS[mistake.name]
    worst = max(sightings, key=lambda each: each.size)
    on = tuple(sorted({each.lap for each in sightings if each.lap is not None}))
    share = len(on) / laps if laps and on else 1.0
    first = min((each for each in sightings), key=lambda each: (each.visit or 0, each.lap or 0))
    finding = Finding(
        name=mistake.name,
        title=title,
        lap=on[0] if on else None,
        at_epoch_s=worst.at_epoch_s if worst.at_epoch_s is not None else first.at_epoch_s,
        evidence="",
        advice=advice,
        weight=mistake.weight * min(2.0, 0.5 + 0.25 * min(worst.size, 4.0)) * (0.7 + 0.3 * share),
        visit=worst.visit,
        laps=on,
        consequences=tuple(MISTAKE_WORDS[name][0] for name in led_to),
    )
    return replace(finding, evidence=finding_evidence(finding, [each.evidence for each in sightings], worst.evidence))
