"""What lies on the disk: tracks as they were dropped, what was seen in them, finished reports, holds typed in.

Everything lies under an id of its own making; the name of a file is kept as text and never becomes a path. A folder of
results is made elsewhere and renamed into place, so that it is whole or not there.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

from trackgrade.errors import OutputError, TrackFileError, UsageError
from trackgrade.files import MIB, plain_text, write_whole
from trackgrade.logbook import name_key
from trackgrade.track.readers import MOST_BYTES

ID = re.compile(r"[0-9a-f]{16}")
LONGEST_NAME = 120
_CHUNK = 1024 * 1024
#: Tracks that were dropped and never graded, and holds typed for a grading, are forgotten after this long [s].
FORGOTTEN_AFTER_S = 14 * 86400.0
#: Nothing takes so long to be made [s].
KILLED_BEFORE_S = 86400.0


#: What a look at a track gives, whatever it is.
SEEN = frozenset(["problem", "proposals", "drawing", "questions", "notes"])
#: What a field of a record may be, by its annotation.
_PLAIN: dict[str, tuple[type, ...]] = {"str": (str,), "int": (int,), "float": (int, float), "bool": (bool,)}


@dataclass(frozen=True)
class StoredFlight:
    """A track as it was dropped."""

    id: str
    name: str
    received_epoch_s: float


@dataclass(frozen=True, eq=False)
class StoredReport:
    """A finished report, and what of it stands in lists. ``recording`` is how the logbook knows the flight."""

    id: str
    flight: str
    name: str
    hold: str
    verdict: str
    laps: int
    started_utc: str
    graded_epoch_s: float
    standard: str = ""
    recording: str = ""
    pilot: str = ""
    instructor: str = ""
    note: str = ""
    found: bool = False


Stored = TypeVar("Stored", StoredFlight, StoredReport)


class Desk:
    """One data folder. Its files belong to its user alone."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.flights, self.finished = folder / "flights", folder / "reports"
        self.unfinished, self.typed = folder / "unfinished", folder / "typed"
        self._reports: dict[str, StoredReport] = {}
        self._seen: dict[str, tuple[int, dict[str, Any] | None]] = {}
        self._lock = threading.Lock()
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            for each in (self.flights, self.finished, self.unfinished, self.typed):
                each.mkdir(exist_ok=True, mode=0o700)
        except OSError as problem:
            raise OutputError(f"{folder}: {problem.strerror}; give another folder with --data") from problem
        for left in self.unfinished.iterdir():  # by a run that was killed; another one may be at work here
            if left.stat().st_mtime < time.time() - KILLED_BEFORE_S:
                shutil.rmtree(left, ignore_errors=True)
        for hold in self.typed.iterdir():
            if hold.stat().st_mtime < time.time() - FORGOTTEN_AFTER_S:
                hold.unlink(missing_ok=True)

    # -- tracks --

    def receive(self, stream: BinaryIO, name: str | None) -> StoredFlight:
        """Keep a track as it comes in, never more of it than a reader takes. Raises TrackFileError, OutputError."""
        shown = plain_text((name or "").replace("\\", "/").rpartition("/")[2], LONGEST_NAME) or "track"
        flight = StoredFlight(secrets.token_hex(8), shown, time.time())
        place = self.unfinished / flight.id
        try:
            place.mkdir(mode=0o700)
            with (place / "track").open("wb") as file:
                size = 0
                while chunk := stream.read(_CHUNK):
                    size += len(chunk)
                    if size > MOST_BYTES:
                        raise TrackFileError(f"{shown}: {too_large()}")
                    file.write(chunk)
            (place / "about.json").write_text(json.dumps(asdict(flight)), encoding="utf-8")
            place.rename(self.flights / flight.id)
        except OSError as problem:
            raise OutputError(f"{shown} was not kept: {problem.strerror}; free some space, and drop it again") from None
        finally:
            shutil.rmtree(place, ignore_errors=True)
        return flight

    def flight(self, id: str) -> StoredFlight:
        """Raises UsageError: there is no such track (any more)."""
        if (flight := self.kept_flight(id)) is None:
            raise UsageError("that track is no longer here: drop it again")
        return flight

    def kept_flight(self, id: str) -> StoredFlight | None:
        """None where it is not there (any more), or its record is damaged."""
        return _record(self.flight_folder(id) / "about.json", StoredFlight)

    def flight_folder(self, id: str) -> Path:
        """Where a track and what was seen in it lie."""
        return self.flights / _checked(id)

    def seen(self, id: str) -> dict[str, Any] | None:
        """What a look at the track gave (`looking.look`), or None before it; read again only where it is new."""
        path = self.flight_folder(id) / "seen.json"
        try:
            written = path.stat().st_mtime_ns
        except OSError:
            return None
        if id not in self._seen or self._seen[id][0] != written:
            seen = _read(path)
            self._seen[id] = written, seen if isinstance(seen, dict) and seen.keys() >= SEEN else None
        return self._seen[id][1]

    def ungraded(self) -> list[StoredFlight]:
        """Tracks with no report, latest first; those left long ago are forgotten here."""
        graded = {report.flight for report in self.reports()}
        left = []
        for id in _ids(self.flights):
            if id not in graded and (flight := self.kept_flight(id)) is not None:
                if flight.received_epoch_s < time.time() - FORGOTTEN_AFTER_S:
                    self.forget_flight(id)
                else:
                    left.append(flight)
        return sorted(left, key=lambda each: -each.received_epoch_s)

    def forget_flight(self, id: str) -> None:
        """Delete a track and what was seen in it."""
        shutil.rmtree(self.flight_folder(id), ignore_errors=True)

    # -- reports --

    @contextlib.contextmanager
    def new_report(self) -> Iterator[tuple[str, Path]]:
        """An id and a folder to fill, which does not last: `finish` puts it in its place."""
        id = secrets.token_hex(8)
        place = self.unfinished / id
        place.mkdir(mode=0o700)
        try:
            yield id, place
        finally:
            shutil.rmtree(place, ignore_errors=True)

    def finish(self, report: StoredReport) -> None:
        """Take a report from where it was made to where it stays, for any earlier one of the same flight, hold and
        standard; who flew is taken over from that."""
        place = self.unfinished / _checked(report.id)
        what = (report.flight, report.hold, report.standard)
        earlier = [each for each in self.reports() if (each.flight, each.hold, each.standard) == what]
        if earlier and not report.pilot:
            last = earlier[0]
            report = replace(report, pilot=last.pilot, instructor=last.instructor, note=last.note)
        write_whole(place / "about.json", json.dumps(asdict(report)))
        place.rename(self.finished / report.id)
        for each in earlier:
            shutil.rmtree(self.finished / each.id, ignore_errors=True)

    def reports(self) -> list[StoredReport]:
        """All finished reports, latest first, those of another server on this folder too."""
        there = set(_ids(self.finished))
        with self._lock:
            for gone in set(self._reports) - there:
                del self._reports[gone]
            for id in there - set(self._reports):
                if (report := _record(self.finished / id / "about.json", StoredReport)) is not None:
                    self._reports[id] = report
            return sorted(self._reports.values(), key=lambda each: (-each.graded_epoch_s, each.id))

    def report(self, id: str) -> StoredReport:
        """Raises UsageError: there is no such report (any more)."""
        found = next((each for each in self.reports() if each.id == _checked(id)), None)
        if found is None:
            raise UsageError("that report is no longer here: grade the track again")
        return found

    def report_file(self, id: str, name: str) -> Path:
        """A file of a report; ``name`` is ours ("report.html")."""
        return self.finished / self.report(id).id / name

    def note_session(self, id: str, pilot: str, instructor: str, note: str) -> None:
        """Write who flew beside a report."""
        report = replace(self.report(id), pilot=pilot, instructor=instructor, note=note)
        write_whole(self.finished / report.id / "about.json", json.dumps(asdict(report)))
        with self._lock:
            self._reports[report.id] = report

    def forget_report(self, id: str) -> None:
        """Delete a report, and the track where no other report is of it."""
        report = self.report(id)
        shutil.rmtree(self.finished / report.id, ignore_errors=True)
        if all(other.flight != report.flight for other in self.reports()):
            self.forget_flight(report.flight)

    def reports_of(self, pilot: str) -> list[StoredReport]:
        """Every report of a pilot, told apart as in the logbook."""
        key = name_key(pilot)
        return [each for each in self.reports() if key and name_key(each.pilot) == key]

    # -- holds that were typed in --

    def keep_typed(self, text: str) -> str:
        """Keep the text of a hold file for this grading; returns its id."""
        id = secrets.token_hex(8)
        write_whole(self.typed / f"{id}.toml", text)
        return id

    def typed_file(self, id: str) -> Path:
        """Raises UsageError: no such hold."""
        path = self.typed / f"{_checked(id)}.toml"
        if not path.is_file():
            raise UsageError("that hold is no longer here: choose or type it again")
        return path


def too_large() -> str:
    """What is said of more than a reader takes."""
    return f"more than {MOST_BYTES // MIB} MiB is not taken. Cut it to the flight, or keep fewer points a second"


def _checked(id: str) -> str:
    """An id as we make them, and nothing else: it becomes a part of a path. Raises UsageError."""
    if not ID.fullmatch(id):
        raise UsageError("there is no such thing here")
    return id


def _ids(folder: Path) -> list[str]:
    with os.scandir(folder) as entries:
        return [entry.name for entry in entries if ID.fullmatch(entry.name)]


def _read(path: Path) -> Any:
    """A JSON file of ours, or None where it is not there or damaged."""
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None


def _record(path: Path, kind: type[Stored]) -> Stored | None:
    """What is kept under the id that its folder is named for, or None where it is not there or damaged."""
    found = _read(path)
    if not isinstance(found, dict):
        return None
    try:
        record = kind(**{each.name: found[each.name] for each in fields(kind) if each.name in found})
    except TypeError:  # not all is there
        return None
    whole = all(isinstance(getattr(record, each.name), _PLAIN[str(each.type)]) for each in fields(kind))
    return record if whole and record.id == path.parent.name else None
