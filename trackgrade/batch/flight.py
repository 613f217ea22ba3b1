"""One flight, file in and texts out: the unit of work, the same in this process, a worker or a cluster."""

from __future__ import annotations

import contextlib
import ctypes
import os
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from trackgrade import __version__
from trackgrade.analysis import analyse, flight_date
from trackgrade.batch.work import Flight, Graded, Outcome, Settings
from trackgrade.errors import TrackFileError, TrackgradeError
from trackgrade.exports import debrief_json
from trackgrade.files import MIB, raw_bytes
from trackgrade.hold.hold import Hold
from trackgrade.hold.setup import resolve
from trackgrade.report import FIGURE_KINDS
from trackgrade.track.cleaning import clean
from trackgrade.track.readers import MOST_BYTES, read_track
from trackgrade.track.track import Track

if TYPE_CHECKING:
    from trackgrade.choosing import Chosen
    from trackgrade.score.debrief import Debrief

#: What the C library's allocator keeps of freed memory, by its own numbers (mallopt(3)): so much at the end of the heap
#: (M_TRIM_THRESHOLD), and arrays of up to the most that it can be told (M_MMAP_THRESHOLD).
_KEEP_BYTES = {-1: 256 * MIB, -3: 32 * MIB}


def grade_flight(flight: Flight, settings: Settings) -> Outcome:
    """Read one track, grade it at each hold, return every text that may be written.

    Never raises for what is in the file: a wrong file is an `Outcome` with ``error``. A fault of ours is one
    too, so that the other flights of a batch are graded; ``fault`` tells them apart.
    """
    if settings.version != __version__:  # a worker of a cluster may have another one installed
        return Outcome(flight.path, error=f"this worker runs trackgrade {__version__}, not {settings.version}")
    _keep_memory()
    try:
        track = _read(flight, settings)
        date = flight_date(track)
        graded = tuple(_grade_at(track, resolve(plan, date), name, settings) for name, plan in settings.holds)
        if not settings.holds:
            graded = (_grade_where_it_held(track, settings),)
    except TrackgradeError as error:
        return Outcome(flight.path, error=str(error))
    except MemoryError:
        return Outcome(flight.path, error=f"{flight.path}: too large for the memory of this machine")
    except Exception as error:
        if os.environ.get("TRACKGRADE_TRACEBACK"):
            raise
        return Outcome(flight.path, error=f"{flight.path}: {type(error).__name__}: {error}", fault=True)
    return Outcome(flight.path, graded=graded)


@cache
def _keep_memory() -> None:
    """Let this process keep what arrays leave for those of the next step: fetched anew, and cleared, a flight of 45
    minutes took 700 pages from the system, a twentieth of its time."""
    with contextlib.suppress(OSError, TypeError, AttributeError):  # another system, or C library
        mallopt = ctypes.CDLL(None).mallopt
        for setting, most_bytes in _KEEP_BYTES.items():
            mallopt(setting, most_bytes)


def _read(flight: Flight, settings: Settings) -> Track:
    if flight.data is None:
        return read_track(flight.path, settings.columns or None)
    return read_track(flight.data, settings.columns_data, name=Path(flight.path).name)


def _grade_where_it_held(track: Track, settings: Settings) -> Graded:
    """At a hold of the set, or the one found; without any a debrief that says so."""
    from trackgrade.choosing import NONE_FOUND, choose

    chosen = choose(track, settings.hold_set)
    if chosen is None:
        nothing = debrief_json.nothing_found(clean(track), settings.standard, NONE_FOUND)
        return Graded("", False, (nothing, _table(None) if settings.table else ""))
    return _grade_at(track, chosen.hold, chosen.hold.name, settings, chosen)


def _grade_at(track: Track, hold: Hold, name: str, settings: Settings, chosen: Chosen | None = None) -> Graded:
    debrief = analyse(track, hold, settings.standard)
    if chosen is not None:
        debrief = replace(debrief, cautions=(*debrief.cautions, chosen.words))
    flown = bool(debrief.visits)
    html = None
    # A hold on the reciprocal is no hold flown, and the page is where that is seen best.
    if settings.report and (flown or debrief.flown.reversed_laps):
        from trackgrade.report.page import render  # the page is loaded only when there is one to write
        from trackgrade.report.summary import Sheet

        html = render(debrief, Sheet(**settings.sheet))
    lines = None
    if settings.compare and flown:
        from trackgrade.report.compare import flight_laps

        lines = flight_laps(debrief)
    return Graded(
        hold=name,
        flown=flown,
        made=(debrief_json.debrief_to_dict(debrief), _table(debrief) if settings.table else ""),
        html=html,
        drawn={kind: _drawn(debrief, kind) for kind in settings.drawn},
        hold_toml="" if chosen is None else chosen.toml,
        lines=lines,
    )


def _table(debrief: Debrief | None) -> str:
    from trackgrade.exports.laps_csv import to_text

    return to_text(debrief)


def _drawn(debrief: Debrief, kind: str) -> str | bytes:
    if kind in FIGURE_KINDS:
        from trackgrade.report.figure import picture  # matplotlib is loaded only here

        return picture(debrief, kind)
    from trackgrade.exports.map_files import to_text

    return to_text(debrief, kind)


def with_data(flight: Flight) -> Flight:
    """The flight with its bytes in it, to be sent to another machine. Raises TrackFileError."""
    return flight._replace(data=raw_bytes(flight.path, MOST_BYTES, TrackFileError))
