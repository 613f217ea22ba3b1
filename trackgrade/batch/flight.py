"""One flight, file in and texts out: the unit of work, the same in this process, a worker or a cluster."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

from trackgrade import __version__
from trackgrade.analysis import analyse, flight_date
from trackgrade.batch.work import Flight, Graded, HoldFile, Outcome, Settings
from trackgrade.errors import TrackFileError, TrackgradeError
from trackgrade.exports import debrief_json, laps_csv, map_files
from trackgrade.hold.setup import resolve
from trackgrade.track.readers import read_track
from trackgrade.track.track import Track


def grade_flight(flight: Flight, settings: Settings) -> Outcome:
    """Read one track, grade it at each hold, return every text that may be written.

    Never raises for what is in the file: a wrong file is an `Outcome` with ``error``. A fault of ours is one
    too, so that the other flights of a batch are graded; ``fault`` tells them apart.
    """
    if settings.version != __version__:  # a worker of a cluster may have another one installed
        return Outcome(flight.path, error=f"this worker runs trackgrade {__version__}, not {settings.version}")
    try:
        track = _read(flight, settings)
        graded = tuple(_grade_at(track, hold, settings) for hold in settings.holds)
    except TrackgradeError as error:
        return Outcome(flight.path, error=str(error))
    except MemoryError:
        return Outcome(flight.path, error=f"{flight.path}: too large for the memory of this machine")
    except Exception as error:
        if os.environ.get("TRACKGRADE_TRACEBACK"):
            raise
        return Outcome(flight.path, error=f"{flight.path}: {type(error).__name__}: {error}", fault=True)
    return Outcome(flight.path, graded=graded)


def _read(flight: Flight, settings: Settings) -> Track:
    if flight.data is None:
        return read_track(flight.path, settings.columns or None)
    return read_track(flight.data, settings.columns_data, name=Path(flight.path).name)


def _grade_at(track: Track, hold_file: HoldFile, settings: Settings) -> Graded:
    hold = resolve(hold_file.plan, flight_date(track))
    debrief = analyse(track, hold, settings.standard)
    flown = bool(debrief.visits)
    html = None
    # A hold on the reciprocal is no hold flown, and the page is where that is seen best.
    if settings.report and (flown or debrief.reversed_laps):
        from trackgrade.report.page import render  # the page is loaded only when there is one to write

        html = render(debrief)
    figure = None
    if settings.figure:
        from trackgrade.report.figure import picture  # so is matplotlib

        figure = picture(debrief, settings.figure)
    return Graded(
        hold=hold_file.name,
        flown=flown,
        debrief_json=json.dumps(debrief_json.debrief_to_dict(debrief), ensure_ascii=False, allow_nan=False),
        laps_csv=laps_csv.to_text(debrief),
        html=html,
        figure=figure,
        maps={kind: map_files.to_text(debrief, kind) for kind in settings.maps},
    )


def with_data(flight: Flight) -> Flight:
    """The flight with its bytes in it, to be sent to another machine. Raises TrackFileError."""
    try:
        return replace(flight, data=Path(flight.path).read_bytes())
    except OSError as error:
        raise TrackFileError(f"{flight.path}: {error.strerror}; check the path and its permissions") from error
