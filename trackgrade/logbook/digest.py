"""A debrief (schema trackgrade.debrief/1) as the rows a logbook keeps. Pure; knows no database.

The only file of the logbook that knows the keys of the debrief. It reads what it needs, ignores keys it does
not know, and takes a missing or ``null`` value as not measurable. A debrief may come from an export that others have
written: what is no debrief raises LogbookError, whatever it is.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import math
import re
import statistics
from collections.abc import Mapping, Sequence
from typing import Any

from trackgrade.errors import LogbookError
from trackgrade.files import plain_text
from trackgrade.logbook.history import EntryRow, FindingRow, HoldFlown, ItemRow, LapRow
from trackgrade.score.standard import ASKS_FROM_S

SCHEMA = "trackgrade.debrief/1"

RESULTS = frozenset({"within", "brief excursion", "outside", "not measurable"})

#: No flight has more laps, visits or points than this; a larger number is damage.
_LARGEST_COUNT = 1_000_000

_LAP_IN_SCOPE = re.compile(r"\blap (\d+)\b")
_VISIT_IN_SCOPE = re.compile(r"\bvisit (\d+)\b")


def digest(debrief: Mapping[str, Any]) -> HoldFlown:
    """One debrief with all its rows.

    Raises LogbookError: not a debrief, a debrief of another version, or one without a flown hold.
    """
    schema = debrief.get("schema") if isinstance(debrief, Mapping) else None
    if schema != SCHEMA:
        raise LogbookError(
            f"not a debrief this program can record: schema is {plain_text(repr(schema))}, expected {SCHEMA!r}."
        )
    try:
        return _digest(debrief)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError, IndexError) as error:
        what = plain_text(f"{type(error).__name__}: {error}")
        raise LogbookError(f"the debrief is damaged ({what}); grade the track again.") from error


def _digest(debrief: Mapping[str, Any]) -> HoldFlown:
    track, hold = debrief["track"], debrief["hold"]
    if hold["turns"] not in ("right", "left"):
        raise ValueError(f"the hold's turns are {hold['turns']!r}")
    standard, standard_title = _standard(debrief)
    rows = debrief.get("items") or [row for lap in debrief.get("laps") or () for row in lap.get("items") or ()]
    items = tuple(_item(each) for each in rows)
    minutes = _number((hold.get("leg") or {}).get("minutes"))
    target_s = None if minutes is None else 60.0 * minutes
    laps = tuple(_lap(each, items, target_s) for each in debrief.get("laps") or ())
    if len({(lap.visit, lap.number) for lap in laps}) < len(laps):
        raise ValueError("a lap stands twice")
    entries = _entries(debrief)
    incomplete = len(debrief.get("incomplete_laps") or ())
    if not laps and not incomplete and not any(e.flown not in (None, "none") for e in entries):
        raise LogbookError("no hold was flown in this debrief; nothing to record.")

    converged = debrief.get("converged_lap")
    timed = [lap.inbound_error_s for lap in laps if lap.inbound_error_s is not None]
    head_kt, cross_kt, from_deg, wind_kt = _wind(debrief.get("wind"), hold)
    leg, guidance = hold.get("leg") or {}, hold.get("guidance") or {}
    flight_hash = _flight_hash(track, debrief)
    hold_hash = _hold_hash(hold)
    return HoldFlown(
        content_hash=_sha256(flight_hash, hold_hash, standard),
        flight_hash=flight_hash,
        hold_hash=hold_hash,
        standard=standard,
        standard_title=standard_title,
        track_source=_words(track.get("source")),
        started_epoch_s=epoch_s(track["started_utc"]),
        ended_epoch_s=epoch_s(track["ended_utc"]),
        hold_name=_words(hold.get("name")) or "unnamed hold",
        inbound_course_true_deg=_known(hold["inbound_course_true_deg"]),
        turns=hold["turns"],
        leg_minutes=_number(leg.get("minutes")),
        leg_nm=_number(leg.get("nm")),
        guidance=_words(guidance.get("kind"), 20) or None,
        full_scale=_number(guidance.get("full_scale_deg" if guidance.get("kind") == "vor" else "full_scale_nm")),
        flag=_words(guidance.get("flag"), 4) or None,
        altitude_ft=_number(hold.get("altitude_ft")),
        wind_from_true_deg=from_deg,
        wind_kt=wind_kt,
        wind_head_kt=head_kt,
        wind_cross_kt=cross_kt,
        true_airspeed_kt=_number(debrief.get("true_airspeed_kt")),
        laps=len(laps),
        incomplete_laps=incomplete,
        laps_judged=sum(lap.judged > 0 for lap in laps),
        laps_within=sum(lap.judged > 0 and lap.outside == 0 for lap in laps),
        timed_laps=len(timed),
        inbound_tolerance_s=inbound_tolerance_s(items),
        inbound_error_median_s=statistics.median(timed) if timed else None,
        inbound_error_sd_s=statistics.stdev(timed) if len(timed) > 1 else None,
        laps_to_converge=None if converged is None else _count(converged),
        verdict=_words(debrief.get("verdict"), 1000),
        entries=entries,
        lap_rows=laps,
        items=items,
        findings=_findings(debrief),
    )


def inbound_tolerance_s(items: Sequence[ItemRow]) -> float:
    """The standard's own limit for the time of the inbound leg, else `ASKS_FROM_S`."""
    for row in items:
        if row.item == "inbound_time" and row.limit:
            return row.limit
    return ASKS_FROM_S


def epoch_s(iso_utc: str) -> float:
    """Seconds since 1970 of an ISO 8601 time; without an offset it is UTC."""
    moment = datetime.datetime.fromisoformat(iso_utc.replace("Z", "+00:00"))
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=datetime.UTC)
    return moment.timestamp()


def _item(row: Mapping[str, Any]) -> ItemRow:
    scope = _words(row.get("scope"))
    lap, visit = row.get("lap"), row.get("visit")
    if lap is None and (match := _LAP_IN_SCOPE.search(scope)):
        lap = int(match.group(1))
    if visit is None:
        visit = int(match.group(1)) if (match := _VISIT_IN_SCOPE.search(scope)) else 1
    name = _words(row["item"], 100)
    result = row["result"]
    if result not in RESULTS:
        raise ValueError(f"an item's result is {result!r}")
    return ItemRow(
        item=name,
        title=_words(row.get("title")) or name.replace("_", " "),
        scope=scope,
        visit=_count(visit),
        lap=None if lap is None else _count(lap),
        value=_number(row.get("value")),
        value_sd=_number(row.get("value_sd")),
        unit=_words(row.get("unit"), 20),
        limit=_number(row.get("limit")),
        result=result,
    )


def _lap(lap: Mapping[str, Any], items: Sequence[ItemRow], target_s: float | None) -> LapRow:
    visit, number = _count(lap.get("visit") or 1), _count(lap["number"])
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
    accepted = [_words(kind, 20) for kind in entry.get("expected") or ()]
    flown = _words(entry.get("flown"), 20) or None
    wrong_way = bool(entry.get("turned_wrong_way")) or bool(entry.get("reversed_pattern"))
    known = bool(accepted) and flown not in (None, "unclear")
    return EntryRow(
        visit=visit,
        expected=accepted[0] if accepted else None,
        flown=flown,
        right=(flown in accepted and not wrong_way) if known else None,
        turned_wrong_way=wrong_way,
    )


def _findings(debrief: Mapping[str, Any]) -> tuple[FindingRow, ...]:
    rows = []
    for each in debrief.get("findings") or ():
        if not each.get("praise"):
            name, lap = _words(each.get("name"), 100), each.get("lap")
            title = _words(each.get("title")) or name.replace("_", " ")
            rows.append(FindingRow(name, title, None if lap is None else _count(lap), _words(each.get("advice"), 1000)))
    return tuple(rows)


def _standard(debrief: Mapping[str, Any]) -> tuple[str, str]:
    standard = debrief.get("standard") or {}
    name = _words(standard.get("name")) or "unnamed"
    return name, _words(standard.get("title")) or name


def _wind(
    wind: Mapping[str, Any] | None, hold: Mapping[str, Any]
) -> tuple[float | None, float | None, float | None, float | None]:
    """Headwind inbound, crosswind from the holding side, direction it comes from, speed."""
    from_deg = _number((wind or {}).get("from_true_deg"))
    speed_kt = _number((wind or {}).get("speed_kt"))
    if from_deg is None or speed_kt is None:
        return None, None, None, None
    angle = math.radians(from_deg - _known(hold["inbound_course_true_deg"]))
    side = 1.0 if hold["turns"] == "right" else -1.0
    return speed_kt * math.cos(angle), side * speed_kt * math.sin(angle), from_deg, speed_kt


def _flight_hash(track: Mapping[str, Any], debrief: Mapping[str, Any]) -> str:
    """The file's own hash where the debrief has it, else what identifies the flight in it."""
    if re.fullmatch(r"[0-9a-f]{64}", str(track.get("sha256"))):
        return str(track["sha256"])
    laps = [[lap.get("start_utc"), lap.get("end_utc")] for lap in debrief.get("laps") or ()]
    return _sha256(track.get("started_utc"), track.get("ended_utc"), track.get("points"), laps)


def _hold_hash(hold: Mapping[str, Any]) -> str:
    """Same place, course, side and leg is the same hold, whatever its name.

    Fix to 1e-4 degrees (11 m), course to 0.1 degree: finer differences are rounding of the same hold.
    """
    leg = hold.get("leg") or {}
    return _sha256(
        round(_known(hold["fix_lat"]), 4) + 0.0,
        round(_known(hold["fix_lon"]), 4) + 0.0,
        round(_known(hold["inbound_course_true_deg"]), 1) % 360.0,
        hold["turns"],
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


def _known(value: Any) -> float:
    number = _number(value)
    if number is None:
        raise ValueError(f"{value!r} is no number")
    return number


def _count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= _LARGEST_COUNT:
        raise ValueError(f"{value!r} is no count")
    return value


def _words(value: Any, longest: int = 200) -> str:
    """Text on one line without control characters; empty where there is none."""
    return "" if value is None else plain_text(str(value), longest)
