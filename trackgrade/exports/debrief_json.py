"""The debrief as JSON, schema "trackgrade.debrief/1": the stable form for scripts, logbooks and other programs.

Keys are never renamed or dropped under one schema number; more may be added. ``debrief.schema.json`` beside this
file says what is always there. Times are ISO 8601 UTC with milliseconds, directions 0 to 360, null is not measurable.
The same debrief gives the same bytes.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from importlib import resources
from pathlib import Path
from typing import Any

from trackgrade import __version__
from trackgrade.caution import CAUTIONS
from trackgrade.exports.plain import degrees, number, plain, readable, utc
from trackgrade.files import write_whole
from trackgrade.hold.hold import Hold
from trackgrade.score.debrief import Debrief, GradedEntry
from trackgrade.score.lap import GradedLap
from trackgrade.score.results import ItemResult
from trackgrade.score.standard import Standard
from trackgrade.segment.flown import Lap, Moment
from trackgrade.track.track import CleanTrack

SCHEMA = "trackgrade.debrief/1"


def debrief_to_dict(debrief: Debrief) -> dict[str, Any]:
    """The debrief as plain dicts, lists, strings, numbers and None, ready for `json.dumps`."""
    entries = [_entry(visit.entry) for visit in debrief.visits]
    return {
        "schema": SCHEMA,
        "program": {"name": "trackgrade", "version": __version__},
        "track": _track(debrief.track),
        "hold": _hold(debrief.hold),
        "standard": _standard(debrief.standard),
        "wind": _wind(debrief),
        "wind_note": debrief.wind_note,
        "true_airspeed_kt": number(debrief.wind.true_airspeed_kt) if debrief.wind else None,
        "true_airspeed_sd_kt": number(debrief.wind.true_airspeed_sd_kt) if debrief.wind else None,
        "entry": entries[0] if entries else _no_entry(),
        "entries": entries,
        "visits": [
            {
                "number": visit.number,
                "entry": entry,
                "laps": [lap.number for lap in visit.laps],
                "incomplete_laps": [lap.number for lap in visit.incomplete_laps],
                "wrong_side": visit.flown.wrong_side,
                "converged_lap": visit.converged_lap,
            }
            for visit, entry in zip(debrief.visits, entries, strict=True)
        ],
        "laps": [_lap(lap) for lap in debrief.laps],
        "incomplete_laps": [
            {
                **_lap_events(visit.number, lap),
                "why_incomplete": lap.why_incomplete or "the lap was not brought back to the fix",
            }
            for visit in debrief.visits
            for lap in visit.incomplete_laps
        ],
        "items": [_item(item) for item in debrief.items],
        "findings": [plain(finding) | {"at_utc": utc(finding.at_epoch_s)} for finding in debrief.findings],
        "work_on": [finding.name for finding in debrief.work_on],
        "verdict": debrief.verdict,
        "watch": _watch(debrief),
        "corrections": [_of(lap) | plain(lap.correction) for lap in debrief.laps if lap.correction is not None],
        "converged_lap": debrief.converged_lap,
        "needles": [_of(lap) | plain(reading) for lap in debrief.laps for reading in lap.needles],
        "needle_contrasts": [_of(lap) | plain(lap.contrast) for lap in debrief.laps if lap.contrast is not None],
        "wind_work": [_of(lap) | plain(lap.wind_work) for lap in debrief.laps],
        "solved_lap": _solved(debrief),
        "next_lap": plain(debrief.next_lap),
        "references": {
            "altitude_ft": number(debrief.altitude_reference_ft),
            "altitude_note": debrief.altitude_reference_note,
            "airspeed_kias": number(debrief.airspeed_reference_kias),
            "airspeed_note": debrief.airspeed_reference_note,
            "heading_source": debrief.samples.heading_source,
            "airspeed_source": debrief.samples.airspeed_source,
            "bank_source": debrief.samples.bank_source,
        },
        "seen_instead": list(debrief.seen_instead),
        "reversed_laps": [{"start_utc": utc(start), "end_utc": utc(end)} for start, end in debrief.reversed_laps],
        "notes": list(debrief.notes),
        "cautions": list(debrief.cautions),
    }


def nothing_found(clean: CleanTrack, standard: Standard, seen: str) -> dict[str, Any]:
    """What is said of a flight for which no hold was named, and in which none was found: every key, and no hold."""
    nothing: dict[str, Any] = dict.fromkeys(
        ("hold", "wind", "true_airspeed_kt", "true_airspeed_sd_kt", "watch", "converged_lap", "solved_lap", "next_lap")
    )
    lists = (
        "entries", "visits", "laps", "incomplete_laps", "items", "findings", "work_on", "corrections", "needles",
        "needle_contrasts", "wind_work", "reversed_laps", "notes",
    )  # fmt: skip
    return {
        "schema": SCHEMA,
        "program": {"name": "trackgrade", "version": __version__},
        "track": _track(clean),
        "standard": _standard(standard),
        **nothing,
        **{key: [] for key in lists},
        "wind_note": "no hold, no wind over it",
        "entry": _no_entry(),
        "verdict": "No hold was flown.",
        "references": {
            "altitude_ft": None,
            "altitude_note": "",
            "airspeed_kias": None,
            "airspeed_note": "",
            "heading_source": "none",
            "airspeed_source": "none",
            "bank_source": "none",
        },
        "seen_instead": [seen],
        "cautions": list(CAUTIONS),
    }


def to_text(debrief: Debrief) -> str:
    """The debrief as JSON text, a line a key or a member of its list, ending in a newline."""
    return readable(debrief_to_dict(debrief))


def write(debrief: Debrief, path: str | os.PathLike[str]) -> Path:
    """Write the debrief to a file, whole or not at all. Raises OutputError."""
    return write_whole(path, to_text(debrief))


def schema() -> Mapping[str, Any]:
    """The JSON Schema (2020-12) that every debrief written here fulfils."""
    text = resources.files("trackgrade.exports").joinpath("debrief.schema.json").read_text(encoding="utf-8")
    loaded: Mapping[str, Any] = json.loads(text)
    return loaded


def _track(clean: CleanTrack) -> dict[str, Any]:
    track = clean.track
    return {
        "source": track.source,
        "sha256": track.sha256,
        "points": clean.points_read,
        "rejected_points": sum(rejection.count for rejection in clean.rejections),
        "points_used": len(track),
        "interval_s": number(clean.interval_s),
        "started_utc": utc(float(track.epoch_s[0])) if len(track) else None,
        "ended_utc": utc(float(track.epoch_s[-1])) if len(track) else None,
        "gaps": [{"start_utc": utc(gap.start_epoch_s), "seconds": number(gap.seconds)} for gap in clean.gaps],
        "rejections": plain(clean.rejections),
        "columns": plain(track.provenance),
        "marks": [{"at_utc": utc(mark.epoch_s), "label": mark.label} for mark in track.marks],
        "notes": [*track.notes, *clean.notes],
    }


def _hold(hold: Hold) -> dict[str, Any]:
    leg = {"minutes": hold.leg.minutes} if hold.leg.minutes is not None else {"nm": hold.leg.nm}
    return {
        "name": hold.name,
        "from": hold.origin,
        "fix_lat": number(hold.fix_lat_deg, 7),
        "fix_lon": number(hold.fix_lon_deg, 7),
        "inbound_course_true_deg": degrees(hold.inbound_course_true_deg),
        "variation_deg": number(hold.variation_deg),
        "variation_source": hold.variation_source,
        "turns": hold.turns,
        "leg": leg,
        "guidance": plain(hold.guidance),
        "altitude_ft": number(hold.altitude_ft),
        "airspeed_kias": number(hold.airspeed_kias),
        "arrive_utc": utc(hold.arrive_epoch_s),
        "notes": list(hold.notes),
    }


def _standard(standard: Standard) -> dict[str, Any]:
    return {
        "name": standard.name,
        "title": standard.title,
        "authority": standard.authority,
        "document": standard.document,
        "edition": standard.edition,
        "section": standard.section,
        "read": standard.read,
        "outbound_starts": standard.outbound_starts,
        "choices": plain(standard.choices),
        "timing_note": standard.timing_note,
        "adjusted": list(standard.adjusted),
        "notes": list(standard.notes),
    }


def _wind(debrief: Debrief) -> dict[str, Any] | None:
    wind = debrief.wind
    if wind is None:
        return None
    return {
        "from_true_deg": degrees(wind.from_true_deg),
        "speed_kt": number(wind.speed_kt),
        "from_sd_deg": number(wind.from_sd_deg),
        "speed_sd_kt": number(wind.speed_sd_kt),
        "covariance_kt2": plain(wind.covariance_kt2),
        "source": wind.source,
    }


def _no_entry() -> dict[str, Any]:
    return {"arrival_utc": None, "arrival_heading_true_deg": None, "expected": [], "flown": "none"}


def _of(lap: GradedLap) -> dict[str, Any]:
    """Whose it is, for what stands in a list beside the laps."""
    return {"visit": lap.visit, "lap": lap.number}


def _watch(debrief: Debrief) -> dict[str, Any] | None:
    if debrief.watch is None:
        return None
    times = [{"visit": lap.visit, "number": lap.number, **plain(lap.outbound_times)} for lap in debrief.laps]
    return {"times": times, **plain(debrief.watch)}


def _entry(graded: GradedEntry) -> dict[str, Any]:
    entry = graded.flown
    flown = {"kind": entry.kind, "expected": list(entry.expected), "margin_deg": number(entry.margin_deg)}
    return {
        "visit": graded.visit,
        "arrival_utc": _at(entry.start),
        "arrival_sd_s": _sd(entry.start),
        "arrival_heading_true_deg": degrees(entry.arrival_heading_true_deg),
        "expected": list(entry.expected),
        "flown": entry.kind,
        "possible": list(entry.possible),
        "margin_deg": number(entry.margin_deg),
        "end_utc": _at(entry.end),
        "end_sd_s": _sd(entry.end),
        "turn_start_utc": _at(entry.turn_start),
        "turn_start_sd_s": _sd(entry.turn_start),
        "outbound_start_utc": _at(entry.outbound_start),
        "outbound_start_sd_s": _sd(entry.outbound_start),
        "outbound_end_utc": _at(entry.outbound_end),
        "outbound_end_sd_s": _sd(entry.outbound_end),
        "outbound_track_true_deg": degrees(entry.outbound_track_true_deg),
        "max_offset_nm": number(entry.max_offset_nm),
        "non_holding_side_nm": number(entry.non_holding_side_nm),
        "turned_wrong_way": entry.turned_wrong_way,
        "reversed_pattern": entry.reversed_pattern,
        "remarks": list(entry.remarks),
        "measures": {"visit": graded.visit, **flown, **plain(graded.measures), "sentence": graded.sentence},
    }


def _other_start(lap: Lap) -> dict[str, Any] | None:
    """The other fair reading of the inbound start, and how long the inbound leg was by it."""
    other = lap.inbound_start_other
    if other is None:
        return None
    seconds = None if lap.end is None else lap.end.epoch_s - other.moment.epoch_s
    return {"utc": _at(other.moment), "by": other.by, "inbound_s": number(seconds)}


def _lap_events(visit: int, lap: Lap) -> dict[str, Any]:
    return {
        "visit": visit,
        "number": lap.number,
        "start_utc": _at(lap.start),
        "start_sd_s": _sd(lap.start),
        "outbound_turn_start_utc": _at(lap.outbound_turn_start),
        "outbound_turn_start_sd_s": _sd(lap.outbound_turn_start),
        "outbound_turn_end_utc": _at(lap.outbound_turn_end),
        "outbound_turn_end_sd_s": _sd(lap.outbound_turn_end),
        "abeam_utc": _at(lap.abeam),
        "abeam_sd_s": _sd(lap.abeam),
        "abeam_by_bearing_utc": _at(lap.abeam_by_bearing),
        "abeam_by_bearing_sd_s": _sd(lap.abeam_by_bearing),
        "outbound_end_utc": _at(lap.outbound_end),
        "outbound_end_sd_s": _sd(lap.outbound_end),
        "course_crossed_utc": _at(lap.course_crossed),
        "course_crossed_sd_s": _sd(lap.course_crossed),
        "inbound_turn_end_utc": _at(lap.inbound_turn_end),
        "inbound_turn_end_sd_s": _sd(lap.inbound_turn_end),
        "inbound_start_utc": _at(lap.inbound_start),
        "inbound_start_sd_s": _sd(lap.inbound_start),
        "inbound_start_by": lap.inbound_start_by,
        "inbound_start_other": _other_start(lap),
        "end_utc": _at(lap.end),
        "end_sd_s": _sd(lap.end),
        "near_tie": lap.near_tie,
        "start_cross_nm": number(lap.start_cross_nm),
        "end_cross_nm": number(lap.end_cross_nm),
        "wrong_side": lap.wrong_side,
        "remarks": list(lap.remarks),
        "wind_from_true_deg": degrees(lap.wind.from_true_deg) if lap.wind else None,
        "wind_kt": number(lap.wind.speed_kt) if lap.wind else None,
        "wind_from_sd_deg": number(lap.wind.from_sd_deg) if lap.wind else None,
        "wind_sd_kt": number(lap.wind.speed_sd_kt) if lap.wind else None,
    }


def _lap(lap: GradedLap) -> dict[str, Any]:
    measures = lap.measures
    whose = {"visit": lap.visit, "number": lap.number, "scope": lap.scope}
    when = {"start_utc": utc(lap.start_epoch_s), "end_utc": utc(lap.end_epoch_s)}
    return {
        **_lap_events(lap.visit, lap.flown),
        "outbound_s": number(lap.outbound_s),
        "outbound_sd_s": number(measures.outbound_s.sd),
        "outbound_why": measures.outbound_s.why or None,
        "outbound_start_by": measures.outbound_start_by,
        "outbound_start_utc": utc(measures.outbound_start_epoch_s),
        "inbound_s": number(lap.inbound_s),
        "inbound_sd_s": number(measures.inbound_s.sd),
        "target_inbound_s": number(lap.target_inbound_s),
        "max_cross_track_nm": number(lap.max_cross_track_nm),
        "items": [_item(item) for item in lap.items],
        "seen": sorted(lap.seen),
        "measures": {**whose, **when, **plain(measures)},
    }


def _item(item: ItemResult) -> dict[str, Any]:
    return plain(item) | {"at_utc": utc(item.at_epoch_s)}  # type: ignore[no-any-return]


def _solved(debrief: Debrief) -> dict[str, Any] | None:
    if debrief.solved is None:
        return None
    paths = frozenset(("path_s", "path_along_nm", "path_cross_nm"))
    return plain(debrief.solved, leave_out=paths) | {"note": debrief.solved_note}  # type: ignore[no-any-return]


def _at(moment: Moment | None) -> str | None:
    return None if moment is None else utc(moment.epoch_s)


def _sd(moment: Moment | None) -> float | None:
    return None if moment is None else number(moment.sd_s)
