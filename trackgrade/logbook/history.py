"""What a logbook holds, as the pages read it: nouns, no database and no arithmetic.

A session is one flight. A flight with two holds is one session with two recordings.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from trackgrade.logbook.rows import HoldFlown, ItemRow, LapRow, once_a_lap
from trackgrade.logbook.shares import Share


@dataclass(frozen=True)
class Session:
    """One flight, with all the holds that were flown in it."""

    holds: tuple[HoldFlown, ...]

    @property
    def flight_hash(self) -> str:
        return self.holds[0].flight_hash

    @property
    def started_epoch_s(self) -> float:
        return self.holds[0].started_epoch_s

    @property
    def laps_judged(self) -> int:
        return sum(hold.laps_judged for hold in self.holds)

    @property
    def laps_within(self) -> int:
        return sum(hold.laps_within for hold in self.holds)

    @property
    def laps(self) -> tuple[LapRow, ...]:
        """Its completed laps, through all its holds."""
        return tuple(lap for hold in self.holds for lap in hold.lap_rows)

    @cached_property
    def items(self) -> tuple[ItemRow, ...]:
        """Its items, each lap once."""
        return tuple(row for hold in self.holds for row in once_a_lap(hold.items))

    @cached_property
    def by_item(self) -> Mapping[str, Sequence[ItemRow]]:
        """Its items by name, in the order in which they first appear."""
        found: dict[str, list[ItemRow]] = defaultdict(list)
        for row in self.items:
            found[row.item].append(row)
        return found

    def measured(self, item: str) -> list[ItemRow]:
        """The rows of an item that say something."""
        return [row for row in self.by_item.get(item, ()) if row.measured]


@dataclass(frozen=True)
class ItemTotal:
    """One item over the last few sessions; ``median_size``: of the medians of each, None for a ceiling."""

    item: str
    title: str
    unit: str
    limit: float | None
    recent: Share
    median_size: float | None


@dataclass(frozen=True)
class PilotTotal:
    """One pilot against one standard: over all sessions; ``recent`` (laps) and ``items`` over the last few."""

    pilot: str
    standard: str
    title: str
    sessions: int
    laps: int
    first_epoch_s: float
    last_epoch_s: float
    recent: Share
    items: tuple[ItemTotal, ...]


@dataclass(frozen=True)
class PilotHistory:
    """Everything a pilot's page reads.

    ``sessions``: the latest ones to this standard, oldest first; ``first_session`` numbers the first of them.
    ``flown``: all holds ever recorded with their entries, whatever the standard, each once, oldest first.
    ``other_standards``: name and recordings of those this page is not about. ``findings``: title, advice
    and in how many recent recordings each mistake was found, most often first. ``others``: sessions of each other
    pilot. ``seen``: the debriefs of the last few recordings, by recording.
    """

    total: PilotTotal
    sessions: tuple[Session, ...]
    first_session: int
    flown: tuple[HoldFlown, ...]
    other_standards: tuple[tuple[str, int], ...]
    findings: tuple[tuple[str, str, int], ...]
    others: tuple[tuple[Session, ...], ...] = ()
    seen: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def latest(self) -> Mapping[str, Any]:
        """The debrief of the last recording."""
        return self.seen.get(self.sessions[-1].holds[-1].recording_id, {})


@dataclass(frozen=True)
class ClassHistory:
    """What the instructor's page reads. ``flown``: each pilot's latest recordings; ``other_holds``: also shared.

    ``same_hold``: of the hold that is compared, each pilot's latest recording and their number; empty without one.
    """

    standard: str
    title: str
    pilots: tuple[PilotTotal, ...]
    flown: tuple[tuple[str, HoldFlown], ...]
    same_hold: tuple[tuple[str, HoldFlown, int], ...]
    other_holds: tuple[tuple[str, int], ...]
    other_standards: tuple[tuple[str, int], ...]
