"""A mistake as a rule: its words, how it is looked for, how it ranks, and what it brings about."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Set
from typing import Literal, NamedTuple

from trackgrade.score.debrief import Flight
from trackgrade.score.lap import Sighting
from trackgrade.score.standard import About

Finder = Callable[[Flight], Iterable[Sighting]]
#: Parts of a lap in the order they are flown.
Since = Literal["arrival", "fix", "outbound", "turn back", "roll-out", "inbound"]
ORDER: tuple[Since, ...] = ("arrival", "fix", "outbound", "turn back", "roll-out", "inbound")


class Mistake(NamedTuple):
    """A named mistake.

    Attributes
    ----------
    title, advice : what it is called on the page, and one line of what to do
    find : where it was seen in a flight; its ``name`` is the mistake's in files
    about : what it concerns; a consequence about the same is the same fact, and not told as one
    danger : it endangers: it stands before all others, and so does what led to it
    weight, because : how it ranks on one lap at the least size worth naming, and why; habits and large ones weigh more
    since : where in the lap it begins; nothing that is earlier in the same lap can follow from it
    needs : "once": one lap is enough. "repeated": a habit, seen on two laps or on all of them (one is not worth a
        name); "mostly": on two laps and more than half of them
    leads_to : mistakes that are only its consequence, each by its name or all that are about a thing: on the same lap
        and on ``laps_after`` more (a lap that was upset takes a lap or two to settle); with ``whole_visit`` on every
        lap of the visit. A mistake of the entry has the lap number 0 here, so its consequences are on the first laps.
    habit : named where it is seen twice, but it explains others only where most laps have it
    """

    title: str
    advice: str
    find: Finder
    weight: float
    because: str
    since: Since
    about: About
    leads_to: Set[str] = frozenset()
    needs: Literal["once", "repeated", "mostly"] = "once"
    whole_visit: bool = False
    laps_after: int = 0
    habit: bool = False
    danger: bool = False

    @property
    def name(self) -> str:
        return self.find.__name__

    def brings(self, other: Mistake) -> bool:
        """Whether another may be only its consequence."""
        return other is not self and not self.leads_to.isdisjoint((other.name, other.about))

    def comes_before(self, other: Mistake) -> bool:
        """Whether it begins no later in a lap than another, which may then follow from it there."""
        return ORDER.index(self.since) <= ORDER.index(other.since)
