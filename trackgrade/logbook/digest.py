"""A debrief (schema trackgrade.debrief/1) as the rows a logbook keeps. Pure; knows no database.

The only file of the logbook that knows the keys of the debrief. It reads what it needs, ignores keys it does
not know, and takes a missing or ``null`` value as not measurable.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import math
import re
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from trackgrade.errors import LogbookError
from trackgrade.score.standard import ITEMS

SCHEMA = "trackgrade.debrief/1"

#: Used where the standard has no limit for the time of the inbound leg. No test standard has one
#: (FAA-S-ACS-8C asks for accurate timing and gives no number): a choice of this project.
DEFAULT_INBOUND_TOLERANCE_S = 10.0

#: AIM 5-3-8: one minute inbound at or below 14,000 ft MSL, one and a half above.
LONG_LEG_ABOVE_FT = 14_000.0

#: Items whose value is no error but a ceiling that may be used up: a smaller size is no better flying.
CEILINGS = frozenset({"holding_speed"})

_LAP_IN_SCOPE = re.compile(r"\blap (\d+)\b")
_VISIT_IN_SCOPE = re.compile(r"\bvisit (\d+)\b")


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
    ``laps_to_converge`` is the first lap of the first visit from which on every inbound time is within
    ``inbound_tolerance_s``; None when its last lap is not, or nothing could be timed.
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


def digest(debrief: Mapping[str, Any]) -> Digest:
    """The rows of one debrief.

    Raises
    ------
    LogbookError
        Not a debrief, a debrief of another version, or one without a flown hold.
    """
    schema = debrief.get("schema") if isinstance(debrief, Mapping) else None
    if schema != SCHEMA:
        raise LogbookError(f"not a debrief this program can record: schema is {schema!r}, expected {SCHEMA!r}.")
    try:
        return _digest(debrief)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise LogbookError(
            f"the debrief is damaged ({type(error).__name__}: {error}); grade the track again."
        ) from error


def _digest(debrief: Mapping[str, Any]) -> Digest:
    track, hold = debrief["track"], debrief["hold"]
    standard, standard_title = _standard(debrief)
    items = tuple(_item(each) for each in debrief.get("items") or ())
    target_s = _target_s(debrief, hold)
    laps = tuple(_lap(each, items, target_s) for each in debrief.get("laps") or ())
    entries = _entries(debrief)
    incomplete = len(debrief.get("incomplete_laps") or ())
    if not laps and not incomplete and not any(e.flown not in (None, "none") for e in entries):
        raise LogbookError("no hold was flown in this debrief; nothing to record.")

    tolerance_s = inbound_tolerance_s(items)
    timed = [lap.inbound_error_s for lap in laps if lap.inbound_error_s is not None]
    first_visit = [lap.inbound_error_s for lap in laps if lap.visit == laps[0].visit]
    head_kt, cross_kt, from_deg, wind_kt = _wind(debrief.get("wind"), hold)
    leg, guidance = hold.get("leg") or {}, hold.get("guidance") or {}
    flight_hash = _flight_hash(track, debrief)
    hold_hash = _hold_hash(hold)
    return Digest(
        content_hash=_sha256(flight_hash, hold_hash, standard),
        flight_hash=flight_hash,
        hold_hash=hold_hash,
        standard=standard,
        standard_title=standard_title,
        track_source=str(track.get("source") or ""),
        started_epoch_s=epoch_s(track["started_utc"]),
        ended_epoch_s=epoch_s(track["ended_utc"]),
        hold_name=str(hold.get("name") or "unnamed hold"),
        inbound_course_true_deg=float(hold["inbound_course_true_deg"]),
        turns=str(hold["turns"]),
        leg_minutes=_number(leg.get("minutes")),
        leg_nm=_number(leg.get("nm")),
        guidance=_text(guidance.get("kind")),
        flag=_text(guidance.get("flag")),
        altitude_ft=_number(hold.get("altitude_ft")),
        wind_from_true_deg=from_deg,
        wind_kt=wind_kt,
        wind_head_kt=head_kt,
        wind_cross_kt=cross_kt,
        true_airspeed_kt=_number(debrief.get("true_airspeed_kt")),
        incomplete_laps=incomplete,
        laps_judged=sum(lap.judged > 0 for lap in laps),
        laps_within=sum(lap.judged > 0 and lap.outside == 0 for lap in laps),
        timed_laps=len(timed),
        inbound_tolerance_s=tolerance_s,
        inbound_error_median_s=statistics.median(timed) if timed else None,
        inbound_error_sd_s=statistics.stdev(timed) if len(timed) > 1 else None,
        laps_to_converge=laps_to_converge(first_visit, tolerance_s),
        verdict=_verdict(debrief.get("verdict")),
        entries=entries,
        laps=laps,
        items=items,
        item_summaries=summarise_items(items),
        findings=_findings(debrief),
    )


def laps_to_converge(errors_s: Sequence[float | None], tolerance_s: float) -> int | None:
    """Number (from 1) of the first lap from which on every timed lap is within the tolerance.

    None when the last timed lap is outside it, or no lap could be timed. A lap that could not be timed
    neither helps nor harms.
    """
    converged: int | None = None
    for number, error in enumerate(errors_s, start=1):
        if error is None:
            continue
        if abs(error) > tolerance_s:
            converged = None
        elif converged is None:
            converged = number
    return converged


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


def inbound_tolerance_s(items: Sequence[ItemRow]) -> float:
    """The standard's own limit for the time of the inbound leg, else `DEFAULT_INBOUND_TOLERANCE_S`."""
    for row in items:
        if row.item == "inbound_time" and row.limit:
            return row.limit
    return DEFAULT_INBOUND_TOLERANCE_S


def epoch_s(iso_utc: str) -> float:
    """Seconds since 1970 of an ISO 8601 time; without an offset it is UTC."""
    moment = datetime.datetime.fromisoformat(iso_utc.replace("Z", "+00:00"))
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=datetime.UTC)
    return moment.timestamp()


def _item(row: Mapping[str, Any]) -> ItemRow:
    scope = str(row.get("scope") or "")
    lap, visit = row.get("lap"), row.get("visit")
    if lap is None and (match := _LAP_IN_SCOPE.search(scope)):
        lap = int(match.group(1))
    if visit is None:
        visit = int(match.group(1)) if (match := _VISIT_IN_SCOPE.search(scope)) else 1
    name = str(row["item"])
    return ItemRow(
        item=name,
        title=str(row.get("title") or name.replace("_", " ")),
        scope=scope,
        visit=int(visit),
        lap=None if lap is None else int(lap),
        value=_number(row.get("value")),
        value_sd=_number(row.get("value_sd")),
        unit=str(row.get("unit") or ""),
        limit=_number(row.get("limit")),
        result=str(row["result"]),
    )


def _lap(lap: Mapping[str, Any], items: Sequence[ItemRow], target_s: float | None) -> LapRow:
    visit, number = int(lap.get("visit") or 1), int(lap["number"])
    of_lap = [row.result for row in items if (row.visit, row.lap) == (visit, number)]
    own = [result for result in of_lap if result != "not measurable"]
    inbound_s = _number(lap.get("inbound_s"))
    target_s = _number(lap["target_inbound_s"]) if "target_inbound_s" in lap else target_s
    start = lap.get("start_utc")
    return LapRow(
        visit=visit,
        number=number,
        started_epoch_s=epoch_s(start) if start else None,
        outbound_s=_number(lap.get("outbound_s")),
        inbound_s=inbound_s,
        inbound_error_s=inbound_s - target_s if inbound_s is not None and target_s is not None else None,
        max_cross_track_nm=_number(lap.get("max_cross_track_nm")),
        judged=len(own),
        outside=own.count("outside"),
    )


def _entries(debrief: Mapping[str, Any]) -> tuple[EntryRow, ...]:
    visits = debrief.get("visits") or ()
    entries = [visit.get("entry") for visit in visits if isinstance(visit, Mapping)]
    if not any(entries):
        entries = [debrief.get("entry")]
    return tuple(_entry(n, entry) for n, entry in enumerate(entries, start=1) if entry)


def _entry(visit: int, entry: Mapping[str, Any]) -> EntryRow:
    accepted = [str(kind) for kind in entry.get("expected") or ()]
    flown = _text(entry.get("flown"))
    wrong_way = bool(entry.get("turned_wrong_way")) or bool(entry.get("reversed_pattern"))
    known = bool(accepted) and flown not in (None, "unclear")
    return EntryRow(
        visit=visit,
        expected=accepted[0] if accepted else None,
        flown=flown,
        right=(flown in accepted and not wrong_way) if known else None,
        turned_wrong_way=wrong_way,
    )


def _findings(debrief: Mapping[str, Any]) -> tuple[tuple[str, str, int | None, str], ...]:
    rows = []
    for each in debrief.get("findings") or ():
        if not each.get("praise"):
            name = str(each.get("name") or "")
            title = str(each.get("title") or name.replace("_", " "))
            rows.append((name, title, each.get("lap"), str(each.get("advice") or "")))
    return tuple(rows)


def _standard(debrief: Mapping[str, Any]) -> tuple[str, str]:
    standard = debrief.get("standard") or {}
    if isinstance(standard, str):
        standard = {"name": standard}
    name = str(standard.get("name") or debrief.get("standard_name") or "unnamed")
    return name, str(standard.get("title") or debrief.get("standard_title") or name)


def _target_s(debrief: Mapping[str, Any], hold: Mapping[str, Any]) -> float | None:
    leg = hold.get("leg") or {}
    if (minutes := _number(leg.get("minutes"))) is not None:
        return minutes * 60.0
    if _number(leg.get("nm")) is not None:
        return None
    altitude_ft = _number(hold.get("altitude_ft"))
    return 90.0 if altitude_ft is not None and altitude_ft > LONG_LEG_ABOVE_FT else 60.0


def _wind(
    wind: Mapping[str, Any] | None, hold: Mapping[str, Any]
) -> tuple[float | None, float | None, float | None, float | None]:
    """Headwind inbound, crosswind from the holding side, direction it comes from, speed."""
    from_deg = _number((wind or {}).get("from_true_deg"))
    speed_kt = _number((wind or {}).get("speed_kt"))
    if from_deg is None or speed_kt is None:
        return None, None, None, None
    angle = math.radians(from_deg - float(hold["inbound_course_true_deg"]))
    side = 1.0 if hold["turns"] == "right" else -1.0
    return speed_kt * math.cos(angle), side * speed_kt * math.sin(angle), from_deg, speed_kt


def _verdict(verdict: Any) -> str:
    if isinstance(verdict, Mapping):
        verdict = verdict.get("text") or verdict.get("sentence") or ""
    return str(verdict or "")


def _flight_hash(track: Mapping[str, Any], debrief: Mapping[str, Any]) -> str:
    """The file's own hash where the debrief has it, else what identifies the flight in it."""
    if track.get("sha256"):
        return str(track["sha256"])
    laps = [[lap.get("start_utc"), lap.get("end_utc")] for lap in debrief.get("laps") or ()]
    return _sha256(track.get("started_utc"), track.get("ended_utc"), track.get("points"), laps)


def _hold_hash(hold: Mapping[str, Any]) -> str:
    """Same place, course, side and leg is the same hold, whatever its name.

    Fix to 1e-4 degrees (11 m), course to 0.1 degree: finer differences are rounding of the same hold.
    """
    leg = hold.get("leg") or {}
    return _sha256(
        round(float(hold["fix_lat"]), 4) + 0.0,
        round(float(hold["fix_lon"]), 4) + 0.0,
        round(float(hold["inbound_course_true_deg"]), 1) % 360.0,
        str(hold["turns"]),
        _number(leg.get("minutes")),
        _number(leg.get("nm")),
    )


def _sha256(*parts: Any) -> str:
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def _number(value: Any) -> float | None:
    if value is None or isinstance(value, bool):
        return None
    number = float(value)
    return number if math.isfinite(number) else None


def _text(value: Any) -> str | None:
    return None if value is None else str(value)
