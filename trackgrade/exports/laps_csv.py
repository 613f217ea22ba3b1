"""The laps as a table: one row a lap, one column a quantity with its unit in the name.

The columns are the same whatever the standard, so that the tables of many flights can be put together.
"""

from __future__ import annotations

import csv
import io
from dataclasses import fields
from typing import Any

from trackgrade.exports.plain import number, utc
from trackgrade.score.debrief import Debrief
from trackgrade.score.lap import GradedLap, LapMeasures
from trackgrade.score.standard import ITEMS
from trackgrade.segment.flown import Moment

_EVENTS = (
    "start",
    "outbound_turn_start",
    "outbound_turn_end",
    "abeam",
    "outbound_end",
    "inbound_start",
    "inbound_turn_end",
    "end",
)
_MEASURES = tuple(
    each.name for each in fields(LapMeasures) if each.type == "Measurement" and each.name != "typical_cross_track_nm"
)
#: Spreadsheets run a cell that begins with one of these as a formula.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

COLUMNS: tuple[str, ...] = (
    "source",
    "hold",
    "standard",
    "visit",
    "lap",
    "entry",
    *(f"{event}_{what}" for event in _EVENTS for what in ("utc", "sd_s")),
    "inbound_start_by",
    *_MEASURES,
    "target_inbound_s",
    "wind_from_true_deg",
    "wind_kt",
    "true_airspeed_kt",
    *(f"{item}_{what}" for item in ITEMS for what in ("value", "limit", "result")),
)


def rows(debrief: Debrief) -> list[dict[str, Any]]:
    """One dict a completed lap, with the keys of `COLUMNS`; None where not measurable."""
    return [_row(debrief, visit.entry.flown.kind, lap) for visit in debrief.visits for lap in visit.laps]


def to_text(debrief: Debrief | None) -> str:
    """The table as CSV text with a header line (of nothing but that without a debrief); lines end in a newline."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    for row in rows(debrief) if debrief is not None else ():
        writer.writerow({key: "" if value is None else value for key, value in row.items()})
    return out.getvalue()


def _row(debrief: Debrief, entry: str, lap: GradedLap) -> dict[str, Any]:
    row: dict[str, Any] = {
        "source": _safe(debrief.track.track.source),
        "hold": _safe(debrief.hold.name),
        "standard": _safe(debrief.standard.name),
        "visit": lap.visit,
        "lap": lap.number,
        "entry": entry,
        "inbound_start_by": lap.flown.inbound_start_by,
        "target_inbound_s": lap.target_inbound_s,
        "wind_from_true_deg": number(lap.wind.from_true_deg, 1) if lap.wind else None,
        "wind_kt": number(lap.wind.speed_kt, 1) if lap.wind else None,
        "true_airspeed_kt": number(debrief.wind.true_airspeed_kt, 1) if debrief.wind else None,
    }
    for event in _EVENTS:
        moment: Moment | None = getattr(lap.flown, event)
        row[f"{event}_utc"] = None if moment is None else utc(moment.epoch_s)
        row[f"{event}_sd_s"] = None if moment is None else number(moment.sd_s, 2)
    for name in _MEASURES:
        row[name] = number(getattr(lap.measures, name).value, 3)
    for name in ITEMS:
        item = lap.item(name)
        row[f"{name}_value"] = number(item.value, 3) if item else None
        row[f"{name}_limit"] = number(item.limit, 3) if item else None
        row[f"{name}_result"] = item.result if item else None
    return row


def _safe(text: str) -> str:
    """Text from a file for a spreadsheet: one line, never a formula."""
    line = " ".join(text.split())
    return f"'{line}" if line.startswith(_FORMULA_STARTS) else line
