"""What was flown well, said with its numbers. Only where the track shows it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

from trackgrade.score.debrief import Finding, Flight
from trackgrade.score.sentences import amount, count_of
from trackgrade.score.standard import ITEMS, About
from trackgrade.track.ranks import median

#: Half the limit, on every lap, is worth a word: a choice.
WELL_WITHIN = 0.5
#: So much praise at most.
MOST = 3


class Praise(NamedTuple):
    """Something flown well: its evidence in a flight (None where there is none), whose name is the praise's in files;
    what it is about (it cannot stand beside a finding or an item that blames any of it); title and a line of advice."""

    evidence: Callable[[Flight], str | None]
    about: tuple[About, ...]
    title: str
    advice: str


def praise(flight: Flight, mistakes: Sequence[Finding]) -> tuple[Finding, ...]:
    """Up to three things flown well, each with its numbers; fewer the more mistakes there are, none that one blames."""
    if not flight.laps:
        return ()
    blamed = {each.about for each in mistakes} | {effect.about for each in mistakes for effect in each.led_to}
    items = [*flight.whole_items, *(item for visit in flight.visits for item in visit.entry.items)]
    blamed |= {ITEMS[item.item].about for item in items if item.result == "outside"}
    found = [
        Finding(each.evidence.__name__, each.title, None, None, evidence, each.advice, praise=True, about=each.about[0])
        for each in PRAISE
        if blamed.isdisjoint(each.about) and (evidence := each.evidence(flight)) is not None
    ]
    return tuple(found[: MOST if not mistakes else 2 if len(mistakes) < 3 else 1])


def _within_everywhere(flight: Flight, item: str, share: float) -> list[float] | None:
    """Values of an item on every lap when all are within this share of the limit; else None."""
    results = [each for lap in flight.laps if (each := lap.item(item)) is not None]
    values = [abs(each.value) for each in results if each.value is not None]
    limits = [each.limit for each in results if each.limit is not None]
    if not results or len(values) < len(results) or len(limits) < len(results):
        return None
    return values if all(value <= share * limit for value, limit in zip(values, limits, strict=True)) else None


def inbound_times(flight: Flight) -> str | None:
    laps, target_s = flight.laps, flight.laps[0].target_inbound_s
    if len(laps) < 2 or target_s is None or _within_everywhere(flight, "inbound_time", 1.0) is None:
        return None
    shown = ", ".join(f"{lap.inbound_s:.0f}" for lap in laps if lap.inbound_s is not None)
    return f"{shown} s inbound where {target_s:.0f} s is asked for"


def course(flight: Flight) -> str | None:
    values = _within_everywhere(flight, "course", WELL_WITHIN)
    if values is None:
        return None
    return f"never more than {max(values):.2f} of full scale off on {count_of(len(values), 'inbound leg')}"


def altitude(flight: Flight) -> str | None:
    values = _within_everywhere(flight, "altitude", WELL_WITHIN)
    of_which = "of the level in force over every lap" if len(flight.levels) > 1 else "over every lap"
    return None if values is None else f"within {amount(max(values), 'ft')} {of_which}"


def airspeed(flight: Flight) -> str | None:
    values = _within_everywhere(flight, "airspeed", WELL_WITHIN)
    return None if values is None else f"within {amount(max(values), 'kt')} over every lap"


def drift(flight: Flight) -> str | None:
    both = [lap.wind_work.needed_and_flown_deg for lap in flight.laps]
    known = [each for each in both if each is not None]
    off = [abs(needed - flown) for needed, flown in known]
    needed = [abs(needed) for needed, _ in known]
    if len(known) < len(both) or min(needed) < 8.0 or max(off) > 5.0:
        return None
    return f"the outbound correction within {max(off):.0f} deg of the {median(needed):.0f} deg asked"


def entry(flight: Flight) -> str | None:
    first = flight.visits[0].entry
    well = first.measures.suits and first.measures.flown_well
    return f"{first.flown.kind}, as the arrival heading asks" if well else None


PRAISE = (
    Praise(inbound_times, ("time",), "Inbound times on the mark", "Keep the way you time the outbound leg."),
    Praise(course, ("tracking", "across"), "Inbound course held closely", "Keep the same cut and bracketing."),
    Praise(altitude, ("altitude",), "Altitude held closely", "Keep the trim and scan of these turns."),
    Praise(airspeed, ("airspeed",), "Airspeed held closely", "Keep that power setting for this speed."),
    Praise(
        drift,
        ("drift", "across", "heading"),
        "Wind correction right",
        "Keep working out the outbound heading before the turn ends.",
    ),
    Praise(entry, ("entry", "pattern"), "Entry as the sector asks", "Keep reading it off the heading indicator."),
)
