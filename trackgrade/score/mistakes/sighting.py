"""One mistake seen once: the nouns that every mistake function shares."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from trackgrade.score.debrief import ItemResult, LapMeasures
from trackgrade.score.measured import Measured


@dataclass(frozen=True)
class Sighting:
    """A mistake seen on one lap (``lap`` None: on the entry, the arrival or the hold as a whole).

    ``size`` 1 is just worth naming; it ranks sightings of one mistake and adds to the finding's weight.
    ``evidence`` is a clause with numbers; the lap is added by the finding.
    """

    visit: int | None
    lap: int | None
    at_epoch_s: float | None
    size: float
    evidence: str


@dataclass(frozen=True, eq=False)
class Seen:
    """What a mistake function may look at."""

    measured: Measured
    items: tuple[ItemResult, ...]

    def item(self, name: str, scope: str) -> ItemResult | None:
        """The result of one item in one scope, or None when the standard does not ask for it."""
        return next((each for each in self.items if each.item == name and each.scope == scope), None)

    def out(self, name: str, lap: LapMeasures) -> ItemResult | None:
        """The result of an item on a lap when it is clearly not within: beyond the limit by more than its error."""
        result = self.item(name, lap.scope)
        if result is None or result.value is None or result.result == "within" or result.straddles:
            return None
        return result


Finder = Callable[[Seen], Iterable[Sighting]]


@dataclass(frozen=True)
class Mistake:
    """A named mistake: how it is looked for, how it ranks, and what it brings about.

    ``needs`` "once": one lap is enough. "repeated": a habit, seen on two laps or on all of them (one is not worth
    a name); "mostly": on two laps and more than half of them. ``leads_to`` are mistakes that are only its
    consequence: on the same lap and on ``laps_after`` more (a lap that was upset takes a lap or two to settle);
    with ``whole_visit`` on every lap of the visit. A mistake of the entry has the lap number 0 here, so its
    consequences are on the first laps.
    """

    name: str
    find: Finder
    weight: float
    needs: Literal["once", "repeated", "mostly"] = "once"
    leads_to: frozenset[str] = frozenset()
    whole_visit: bool = False
    laps_after: int = 0
    habit: bool = False
