"""The rows that stand for one debrief in a logbook, and the counting that needs nothing but them. Pure."""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

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
class ItemSummary:
    """The results of one item in one recording, by lap where it has laps. ``median_size``: see `size`."""

    item: str
    title: str
    unit: str
    limit: float | None
    measured: int
    within: int
    brief: int
    outside: int
    not_measurable: int
    median_size: float | None


@dataclass(frozen=True)
class Digest:
    """One debrief in rows. Hashes are hexadecimal SHA-256.

    ``wind_head_kt`` is the headwind on the inbound leg (tailwind negative); ``wind_cross_kt`` is the
    crosswind there, positive when it blows from the holding side.
    ``inbound_error_sd_s`` is the sample standard deviation over the laps, None below two.
    ``laps_to_converge`` is what the debrief says: the first lap of the last visit from which on every inbound time
    was in the band; None when the last was not.
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
    incomplete_laps: int
    laps_judged: int
    laps_within: int
    timed_laps: int
    inbound_tolerance_s: float
    inbound_error_median_s: float | None
    inbound_error_sd_s: float | None
    laps_to_converge: int | None
    verdict: str
    entries: tuple[EntryRow, ...]
    laps: tuple[LapRow, ...]
    items: tuple[ItemRow, ...]
    item_summaries: tuple[ItemSummary, ...]
    findings: tuple[tuple[str, str, int | None, str], ...]


def summarise_items(items: Sequence[ItemRow]) -> tuple[ItemSummary, ...]:
    """Results counted by item, in the order in which the items first appear."""
    summaries = []
    for name, rows in by_lap(items).items():
        results = [row.result for row in rows]
        measured = [row for row in rows if row.result != "not measurable"]
        sizes = [size(row) for row in measured if row.value is not None]
        limits = [row.limit for row in rows if row.limit is not None]
        summaries.append(
            ItemSummary(
                item=name,
                title=rows[0].title,
                unit=rows[0].unit,
                limit=limits[0] if limits else None,
                measured=len(measured),
                within=results.count("within"),
                brief=results.count("brief excursion"),
                outside=results.count("outside"),
                not_measurable=results.count("not measurable"),
                median_size=statistics.median(sizes) if sizes else None,
            )
        )
    return tuple(summaries)


def by_lap(items: Sequence[ItemRow]) -> dict[str, list[ItemRow]]:
    """The rows of each item, in the order in which items first appear.

    Where an item has rows of laps, its row of the whole hold is left out: it says the same laps once more.
    """
    grouped: dict[str, list[ItemRow]] = {}
    for row in items:
        grouped.setdefault(row.item, []).append(row)
    return {
        name: [row for row in rows if row.lap is not None] if any(row.lap is not None for row in rows) else rows
        for name, rows in grouped.items()
    }


def size(row: ItemRow) -> float:
    """How large the error is, side and sign left out, in the item's unit.

    Items that only must not be exceeded have no error below zero (a turn started early is not late).
    """
    assert row.value is not None
    counting = ITEMS[row.item][1] if row.item in ITEMS else "one value"
    return max(row.value, 0.0) if counting == "not above" else abs(row.value)
