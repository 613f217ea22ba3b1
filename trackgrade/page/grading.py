"""One dropped track graded, done by a worker: what `trackgrade grade` does, and a report in its place."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from trackgrade.batch.grading import FlightDone, Wanted, grade_flights, plan_batch
from trackgrade.batch.work import Flight
from trackgrade.errors import InputError, NoHoldFlown, TrackgradeError
from trackgrade.files import write_whole
from trackgrade.logbook import record_debrief
from trackgrade.logbook.digest import digest
from trackgrade.page.desk import Desk, StoredFlight, StoredReport
from trackgrade.page.looking import COLUMNS_FILE

REPORT, DEBRIEF, LAPS = "report.html", "debrief.json", "laps.csv"


@dataclass(frozen=True, eq=False)
class Asked:
    """What a grading is asked for. ``hold``: a hold file, or "" to let the program choose. ``session``: pilot,
    instructor and note for the first sheet and the logbook, or nothing."""

    hold: str
    holds: str
    standard: str
    logbook: str
    session: Mapping[str, Any] = field(default_factory=dict)


def grade(data: Path, flight: StoredFlight, asked: Asked) -> tuple[str, tuple[str, ...]]:
    """Grade a track and keep its report: the id of it, and messages.

    Raises InputError: the track cannot be read; NoHoldFlown: it was, and no hold was flown at that fix.
    """
    desk = Desk(data)
    folder = desk.flight_folder(flight.id)
    track, columns = folder / "track", folder / COLUMNS_FILE
    _, settings = plan_batch(
        [str(track)],
        [asked.hold] if asked.hold else [],
        asked.standard or None,
        None,
        str(columns) if columns.exists() else None,
        hold_set=asked.holds,
        sheet=asked.session,
    )
    with desk.new_report() as (id, place):
        # The bytes go along, so that the report calls the track by its own name, not by where it lies.
        named = Flight(flight.name, Path(REPORT).stem, track.read_bytes())
        wanted = Wanted(place, json_path=place / DEBRIEF, csv_path=place / LAPS)
        events = list(grade_flights([named], settings, wanted, jobs=1))
        done = next(event for event in events if isinstance(event, FlightDone))
        if done.outcome.error:
            raise InputError(done.outcome.error)
        debrief = done.outcome.graded[0].debrief
        if not done.reports:
            raise NoHoldFlown(_not_flown(flight.name, debrief))
        if done.reports[0].name != REPORT:
            done.reports[0].rename(place / REPORT)
        hold_toml = done.outcome.graded[0].hold_toml or Path(asked.hold).read_text(encoding="utf-8-sig")
        write_whole(place / "hold.toml", hold_toml)
        messages = []
        kept = _about(id, flight, debrief)
        if asked.session and done.outcome.flown:
            try:
                record_debrief(debrief, **asked.session, logbook=asked.logbook or None)
                kept = replace(kept, **asked.session)
            except TrackgradeError as error:  # the report is made all the same
                messages.append(f"{flight.name} is graded, but not in the logbook: {error}")
        desk.finish(kept)
    return id, tuple(messages)


def _about(id: str, flight: StoredFlight, debrief: dict[str, Any]) -> StoredReport:
    try:
        recording = digest(debrief).flight_hash
    except TrackgradeError:  # flown the other way round: there is a report, and nothing for a logbook
        recording = ""
    return StoredReport(
        id=id,
        flight=flight.id,
        name=flight.name,
        hold=str(debrief["hold"]["name"]),
        verdict=str(debrief["verdict"]),
        laps=len(debrief["laps"]),
        started_utc=str(debrief["track"]["started_utc"]),
        graded_epoch_s=time.time(),
        standard=str(debrief["standard"]["title"]),
        recording=recording,
        found=debrief["hold"].get("from") == "found",
    )


def _not_flown(name: str, debrief: dict[str, Any]) -> str:
    seen: Sequence[str] = debrief.get("seen_instead") or ()
    hold = debrief.get("hold") or {}
    where = f" at {hold['name']}" if hold.get("name") else ""
    instead = "; ".join(seen) or "nothing near the fix"
    return f"{name}: no hold flown{where} ({instead}); choose another hold, or type it in"
