"""A mistake as a rule: how it is looked for, how it ranks, and what it brings about."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from trackgrade.score.flight import Flight
from trackgrade.score.lap import Sighting

#: What a mistake, a praise or an item is about. Two that are about one thing are one fact in two words.
About = Literal[
    "time",
    "altitude",
    "airspeed",
    "turns",
    "drift",
    "across",
    "tracking",
    "heading",
    "entry",
    "pattern",
    "fix",
    "arrival",
]

#: What each item of a standard is about.
ITEM_ABOUT: dict[str, About] = {
    "altitude": "altitude",
    "airspeed": "airspeed",
    "course": "tracking",
    "outbound_heading": "heading",
    "inbound_time": "time",
    "leg_length": "time",
    "turn_rate": "turns",
    "turn_bank": "turns",
    "holding_speed": "airspeed",
    "non_holding_side": "across",
    "fix_recognition": "fix",
    "entry": "entry",
    "arrival_speed": "airspeed",
    "arrival_time": "arrival",
}

Finder = Callable[[Flight], Iterable[Sighting]]


@dataclass(frozen=True)
class Mistake:
    """A named mistake: how it is looked for, how it ranks, and what it brings about.

    ``needs`` "once": one lap is enough. "repeated": a habit, seen on two laps or on all of them (one is not worth
    a name); "mostly": on two laps and more than half of them. ``leads_to`` are mistakes that are only its
    consequence: on the same lap and on ``laps_after`` more (a lap that was upset takes a lap or two to settle);
    with ``whole_visit`` on every lap of the visit. A mistake of the entry has the lap number 0 here, so its
    consequences are on the first laps. A ``danger`` stands before all others, and is nobody's consequence but another
    danger's.
    """

    name: str
    about: About
    find: Finder
    weight: float
    needs: Literal["once", "repeated", "mostly"] = "once"
    leads_to: frozenset[str] = frozenset()
    whole_visit: bool = False
    laps_after: int = 0
    habit: bool = False
    danger: bool = False
