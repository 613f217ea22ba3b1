"""What was flown well, said with its numbers. Only where the track shows it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackgrade.score.debrief import Finding
from trackgrade.score.flight import Flight
from trackgrade.score.mistakes.mistake import ITEM_ABOUT, About
from trackgrade.score.sentences import amount, count_of

#: Title and a line for what was flown well.
PRAISE_WORDS: dict[str, tuple[str, str]] = {
    "inbound_times": ("Inbound times on the mark", "Keep the way you time the outbound leg."),
    "course": ("Inbound course held closely", "Keep the same cut and bracketing."),
    "altitude": ("Altitude held closely", "Keep the trim and scan of these turns."),
    "airspeed": ("Airspeed held closely", "Keep that power setting for this speed."),
    "drift": ("Wind correction right", "Keep working out the outbound heading before the turn ends."),
    "entry": ("Entry as the sector asks", "Keep reading it off the heading indicator."),
}
#: Half the limit, on every lap, is worth a word: a choice.
WELL_WITHIN = 0.5
#: So much praise at most.
MOST = 3


#: What each praise is about, and so cannot stand beside a finding or an item that blames it.
ABOUT: dict[str, tuple[About, ...]] = {
    "inbound_times": ("time",),
    "course": ("tracking", "across"),
    "altitude": ("altitude",),
    "airspeed": ("airspeed",),
    "drift": ("drift", "across", "heading"),
    "entry": ("entry", "pattern"),
}


def praise(flight: Flight, mistakes: Sequence[Finding]) -> tuple[Finding, ...]:
    """Up to three things flown well, each with its numbers; fewer the more mistakes there are, none that one blames."""
    if not flight.laps:
        return ()
    blamed = {each.about for each in mistakes} | {effect.about for each in mistakes for effect in each.led_to}
    items = [*flight.whole_items, *(item for visit in flight.visits for item in visit.entry.items)]
    blamed |= {ITEM_ABOUT[item.item] for item in items if item.result == "outside"}
    looks = (_times, _course, _altitude, _airspeed, _drift, _entry)
    candidates = [each for look in looks for each in look(flight) if not blamed & set(ABOUT[each.name])]
    keep = MOST if not mistakes else 2 if len(mistakes) < 3 else 1
    return tuple(candidates[:keep])


def _praise(name: str, evidence: str) -> Finding:
    title, advice = PRAISE_WORDS[name]
    return Finding(name, title, None, None, evidence, advice, 0.0, praise=True, about=ABOUT[name][0])


def _within_everywhere(flight: Flight, item: str, share: float) -> list[float] | None:
    """Values of an item on every lap when all are within this share of the limit; else None."""
    results = [each for lap in flight.laps if (each := lap.item(item)) is not None]
    values = [abs(each.value) for each in results if each.value is not None]
    limits = [each.limit for each in results if each.limit is not None]
    if not results or len(values) < len(results) or len(limits) < len(results):
        return None
    return values if all(value <= share * limit for value, limit in zip(values, limits, strict=True)) else None


def _times(flight: Flight) -> list[Finding]:
    values = _within_everywhere(flight, "inbound_time", 1.0)
    laps = flight.laps
    if values is None or len(laps) < 2 or laps[0].target_inbound_s is None:
        return []
    shown = ", ".join(f"{lap.inbound_s:.0f}" for lap in laps if lap.inbound_s is not None)
    return [_praise("inbound_times", f"{shown} s inbound where {laps[0].target_inbound_s:.0f} s is asked for")]


def _course(flight: Flight) -> list[Finding]:
    values = _within_everywhere(flight, "course", WELL_WITHIN)
    if values is None:
        return []
    laps = count_of(len(values), "inbound leg")
    return [_praise("course", f"never more than {max(values):.2f} of full scale off on {laps}")]


def _altitude(flight: Flight) -> list[Finding]:
    values = _within_everywhere(flight, "altitude", WELL_WITHIN)
    if values is None:
        return []
    of_which = "of the level in force over every lap" if len(flight.levels) > 1 else "over every lap"
    return [_praise("altitude", f"within {amount(max(values), 'ft')} {of_which}")]


def _airspeed(flight: Flight) -> list[Finding]:
    values = _within_everywhere(flight, "airspeed", WELL_WITHIN)
    return [] if values is None else [_praise("airspeed", f"within {amount(max(values), 'kt')} over every lap")]


def _drift(flight: Flight) -> list[Finding]:
    works = [lap.wind_work for lap in flight.laps]
    off = [
        abs(work.outbound_correction_deg.value - work.solved_correction_deg)
        for work in works
        if work.outbound_correction_deg.value is not None and work.solved_correction_deg is not None
    ]
    needed = [abs(work.solved_correction_deg) for work in works if work.solved_correction_deg is not None]
    if len(off) < len(works) or not off or min(needed) < 8.0 or max(off) > 5.0:
        return []
    return [
        _praise(
            "drift",
            f"the outbound correction within {max(off):.0f} deg of the {float(np.median(needed)):.0f} deg asked",
        )
    ]


def _entry(flight: Flight) -> list[Finding]:
    entry = flight.visits[0].entry
    if not (entry.measures.suits and entry.measures.flown_well):
        return []
    return [_praise("entry", f"{entry.flown.kind}, as the arrival heading asks")]
