"""What a logbook holds: the rows it keeps of one flight at one hold, and sessions and pilots as its pages read them.

A session is one flight. A flight with two holds is one session with two recordings. Nouns: no database here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from trackgrade.logbook.shares import Share
from trackgrade.score.standard import ITEMS

#: Items whose value is no error but a ceiling that may be used up: a smaller size is no better flying.
CEILINGS = frozenset({"holding_speed"})


@dataclass(frozen=True)
class ItemRow:
    """One item of the standard; ``result`` as in the debrief; ``lap`` None when it is not of one lap.

    ``visit`` numbers the stays in the hold of one flight; laps are numbered from 1 in each.
    """

    item: str
    title: str
    scope: str
    visit: int
    lap: int | None
    value: float | None
    value_sd: float | None
    unit: str
    limit: float | None
    result: str

    @property
    def measured(self) -> bool:
        return self.result != "not measurable"

    @property
    def size(self) -> float | None:
        """How large the error is, side and sign left out, in the item's unit.

        Items that only must not be exceeded have no error below zero (a turn started early is not late).
        """
        if self.value is None:
            return None
        counting = ITEMS[self.item][1] if self.item in ITEMS else "one value"
        return max(self.value, 0.0) if counting == "not above" else abs(self.value)


@dataclass(frozen=True)
class LapRow:
    """One completed lap. ``inbound_error_s`` is inbound time minus target; None for a leg given in NM.

    ``judged`` and ``outside`` count the items of this lap that could be measured, and those outside.
    """

    visit: int
    number: int
    started_epoch_s: float | None
    outbound_s: float | None
    inbound_s: float | None
    inbound_error_s: float | None
    max_cross_track_nm: float | None
    judged: int
    outside: int


@dataclass(frozen=True)
class EntryRow:
    """One entry. ``expected`` is the sector's own; ``right`` is None when the flown one is unclear."""

    visit: int
    expected: str | None
    flown: str | None
    right: bool | None
    turned_wrong_way: bool


@dataclass(frozen=True)
class FindingRow:
    """A mistake that the debrief names; ``lap`` None when it is not of one lap."""

    name: str
    title: str
    lap: int | None
    advice: str


@dataclass(frozen=True)
class HoldFlown:
    """One flight at one hold against one standard: a recording. Hashes are hexadecimal SHA-256.

    ``wind_head_kt`` is the headwind on the inbound leg (tailwind negative); ``wind_cross_kt`` is the
    crosswind there, positive when it blows from the holding side.
    ``inbound_error_sd_s`` is the sample standard deviation over the laps, None below two.
    ``laps_to_converge`` is what the debrief says: the first lap of the last visit from which on every inbound time
    was in the band; None when the last was not.
    ``report``: where its report was written. ``recording_id``: 0 before it is recorded. The rows of its ``entries``,
    ``lap_rows``, ``items`` and ``findings`` are read only where a page needs them.
    """

    content_hash: str
    flight_hash: str
    hold_hash: str
    standard: str
    standard_title: str
    track_source: str
    started_epoch_s: float
    ended_epoch_s: float
    hold_name: str
    inbound_course_true_deg: float
    turns: str
    leg_minutes: float | None
    leg_nm: float | None
    guidance: str | None
    full_scale: float | None
    flag: str | None
    altitude_ft: float | None
    wind_from_true_deg: float | None
    wind_kt: float | None
    wind_head_kt: float | None
    wind_cross_kt: float | None
    true_airspeed_kt: float | None
    laps: int
    incomplete_laps: int
    laps_judged: int
    laps_within: int
    timed_laps: int
    inbound_tolerance_s: float
    inbound_error_median_s: float | None
    inbound_error_sd_s: float | None
    laps_to_converge: int | None
    verdict: str
    instructor: str | None = None
    note: str | None = None
    report: str | None = None
    recording_id: int = 0
    entries: tuple[EntryRow, ...] = ()
    lap_rows: tuple[LapRow, ...] = ()
    items: tuple[ItemRow, ...] = ()
    findings: tuple[FindingRow, ...] = ()

    @property
    def entry(self) -> str | None:
        """The entry that its first visit asked for, else the one flown there."""
        return next((each.expected or each.flown for each in self.entries if each.visit == 1), None)


def once_a_lap(items: Sequence[ItemRow]) -> Iterator[ItemRow]:
    """The rows without those of the whole hold where an item has rows of laps: they say the same laps once more."""
    by_lap = {row.item for row in items if row.lap is not None}
    return (row for row in items if row.lap is not None or row.item not in by_lap)


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
