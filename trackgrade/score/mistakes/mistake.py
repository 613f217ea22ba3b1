"""A mistake as a rule: its words, how it is looked for, how it ranks, and what it brings about."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from trackgrade.score.flight import Flight
from trackgrade.score.lap import Sighting

Finder = Callable[[Flight], Iterable[Sighting]]
#: Parts of a lap in the order they are flown.
Since = Literal["arrival", "fix", "outbound", "turn back", "roll-out", "inbound"]
ORDER: tuple[Since, ...] = ("arrival", "fix", "outbound", "turn back", "roll-out", "inbound")

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


@dataclass(frozen=True)
class Mistake:
    """A named mistake.

    Attributes
    ----------
    name, title, advice : what it is called in files and on the page, and one line of what to do
    find : where it was seen in a flight
    about : what it concerns; a consequence about the same is the same fact, and not told as one
    danger : it endangers: it stands before all others, and so does what led to it
    weight, because : how it ranks on one lap at the least size worth naming, and why; habits and large ones weigh more
    since : where in the lap it begins; nothing that is earlier in the same lap can follow from it
    needs : "once": one lap is enough. "repeated": a habit, seen on two laps or on all of them (one is not worth a
        name); "mostly": on two laps and more than half of them
    leads_to : mistakes that are only its consequence: on the same lap and on ``laps_after`` more (a lap that was upset
        takes a lap or two to settle); with ``whole_visit`` on every lap of the visit. A mistake of the entry has the
        lap number 0 here, so its consequences are on the first laps.
    habit : named where it is seen twice, but it explains others only where most laps have it
    """

    name: str
    title: str
    advice: str
    find: Finder
    weight: float
    because: str
    since: Since
    about: About
    leads_to: frozenset[str] = frozenset()
    needs: Literal["once", "repeated", "mostly"] = "once"
    whole_visit: bool = False
    laps_after: int = 0
    habit: bool = False
    danger: bool = False

    def comes_before(self, other: Mistake) -> bool:
        """Whether it begins no later in a lap than another, which may then follow from it there."""
        return ORDER.index(self.since) <= ORDER.index(other.since)
