"""A first look at a dropped track, done by a worker: can it be read, which holds were flown, what must be asked."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from trackgrade.analysis import flight_date
from trackgrade.choosing import holds_in
from trackgrade.drawing.from_above import Line, Shown, draw
from trackgrade.errors import TrackgradeError
from trackgrade.files import plain_text, write_whole
from trackgrade.hold.courses import course_name
from trackgrade.hold.hold import Hold
from trackgrade.hold.holdfile import write_hold_file
from trackgrade.hold.holdset import read_set
from trackgrade.hold.plan import HoldPlan
from trackgrade.hold.setup import resolve
from trackgrade.track.altitude import UNKNOWN_UNIT
from trackgrade.track.columns import QUANTITIES
from trackgrade.track.readers import read_track, reader_of, track_bytes
from trackgrade.track.readers.column_sheet import Sheet, column_sheet
from trackgrade.track.track import Track

#: Rows of a table that are shown, its header among them, and columns of it.
ROWS_SHOWN, COLUMNS_SHOWN = 5, 60
#: Proposals of one track at the most.
MOST_FOUND = 6
COLUMNS_FILE = "columns.toml"


def look(folder: Path, name: str, holds: Path) -> None:
    """Write ``seen.json`` beside a track: what it is, its holds with a drawing, the questions on its columns.

    A track that cannot be read is no error here: ``problem`` says why, and its columns are shown where it has some.
    """
    columns = (folder / COLUMNS_FILE).read_bytes() if (folder / COLUMNS_FILE).exists() else None
    seen: dict[str, Any] = {"problem": "", "proposals": [], "drawing": "", "questions": None, "notes": []}
    data = (folder / "track").read_bytes()
    try:
        seen["questions"] = _questions(data, name, columns)
        track = read_track(data, columns, name=name)
        line = Line.of(track)
        seen |= {
            "points": len(track),
            "started": _clock(track.epoch_s.min(), "%Y-%m-%d %H:%M"),
            "ended": _clock(track.epoch_s.max(), "%H:%M"),
            "notes": [note for note in track.notes if "--" not in note],  # what needs an answer is asked
            "line": [line.epoch_s.tolist(), line.lat_deg.tolist(), line.lon_deg.tolist()],
        }
        plans, wrong = read_set(holds)
        seen["notes"] += wrong
        seen["proposals"], seen["drawing"] = _proposals(track, line, folder, plans)
    except TrackgradeError as error:
        seen["problem"] = str(error)
    write_whole(folder / "seen.json", json.dumps(seen, ensure_ascii=False))


def _proposals(
    track: Track, line: Line, folder: Path, plans: Sequence[tuple[str, HoldPlan]]
) -> tuple[list[dict[str, Any]], str]:
    """Holds of the set that were flown, then those found; each as the page lists it. And the drawing of all."""
    date = flight_date(track)
    flown = holds_in(track, plans)
    of_set = [each for each in flown if each.name]
    proposals = [
        {"value": f"set:{each.name}", "label": f"{each.hold.name}, of your holds", "laps": each.laps, "either": ""}
        for each in of_set
    ]
    shown = [Shown(each.hold) for each in of_set]
    for number, proposal in enumerate([each for each in flown if not each.name][:MOST_FOUND], 1):
        for end, each in enumerate((proposal, proposal.other_end)):
            if each is None:
                continue
            plan = each.plan(f"Found hold {number}" + (", other end" if end else ""))
            key = f"{number}{'b' if end else 'a'}"
            write_whole(folder / f"found-{key}.toml", write_hold_file(plan))
            proposals.append(
                {
                    "value": f"found:{folder.name}:{key}",
                    "label": f"{plan.name}: {_in_words(resolve(plan, date))}",
                    "laps": each.laps,
                    "either": "" if proposal.which_end == "sure" else "the track does not tell which end is the fix",
                }
            )
            shown.append(Shown(each.hold, (each.start_epoch_s, each.end_epoch_s)))
    return proposals, str(draw(line, shown))


def _in_words(hold: Hold) -> str:
    magnetic = course_name(round(hold.inbound_course_true_deg - hold.variation_deg))
    height = f", {hold.altitude_ft:,.0f} ft" if hold.altitude_ft is not None else ""
    return f"{magnetic} inbound, {hold.turns} turns, {hold.leg.words}{height}"


def _questions(data: bytes, name: str, columns: bytes | None) -> dict[str, Any] | None:
    """The columns of a table with its first rows, and what they serve as; None for a format that has none."""
    from trackgrade.track.readers.table_shape import first_rows

    content, source = track_bytes(data, name)
    if not reader_of(content).by_columns:
        return None
    rows = [[plain_text(cell, 24) for cell in row[:COLUMNS_SHOWN]] for row in first_rows(content.data, ROWS_SHOWN)]
    if not rows:
        return None
    try:
        sheet = column_sheet(data, columns, name=source)
    except TrackgradeError:
        sheet = Sheet(source, "", 0, (), (), "", "")
    serves = {line.column: line for line in sheet.lines}
    listed: list[dict[str, Any]] = []
    for number in range(1, max(len(row) for row in rows) + 1):
        cells = [row[number - 1] if number <= len(row) else "" for row in rows]
        line = serves.get(cells[0]) or serves.get(str(number))
        listed.append(
            {
                "number": number,
                "cells": cells,
                "serves": line.quantity if line is not None else "",
                "called": QUANTITIES[line.quantity].title if line is not None and line.quantity else "",
                "unit": line.unit if line is not None else "",
            }
        )
    open_altitude = [each["cells"][0] for each in listed if each["serves"] and each["unit"] == UNKNOWN_UNIT]
    return {"columns": listed, "problem": sheet.problem, "open_altitude": open_altitude}


def _clock(epoch_s: float, shape: str) -> str:
    return dt.datetime.fromtimestamp(float(epoch_s), dt.UTC).strftime(shape)
