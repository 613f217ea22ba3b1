"""What a batch has done already, so that ``--resume`` skips what is unchanged and still has its results.

One SQLite file in the output folder. Every flight is one transaction: a killed batch has each flight whole or
not at all.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from trackgrade.batch.work import Flight, Graded, Outcome, Settings
from trackgrade.errors import OutputError
from trackgrade.files import sha256_hex

#: The record, and where it goes on beside a damaged one: none is renamed, as other commands may have it open.
FILE_NAMES = ("resume.sqlite", "resume-2.sqlite", "resume-3.sqlite")
#: How long a command waits for another one that writes in the same folder.
_BUSY_TIMEOUT_S = 30

#: Of each flight what it gave at each hold: its report, and `Graded.packed`.
_TABLE = """create table if not exists graded (
    key text, number integer, hold text, flown integer, report text, report_sha256 text, packed blob,
    primary key (key, number)) without rowid"""


class DoneBefore:
    """The record of one output folder.

    A flight is known by the content of its file, its report's name and the fingerprint of the settings:
    renaming a folder or touching a file changes nothing, editing one does. Only graded flights are kept;
    one that was refused is tried again.
    """

    #: Every file that the record may have in its folder; the last two endings are of earlier versions.
    FILES = tuple(name + ending for name in FILE_NAMES for ending in ("", "-journal", "-wal", "-shm"))

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._connection = self._open()
        except (OSError, sqlite3.Error) as error:
            raise OutputError(f"{folder / FILE_NAMES[0]} cannot be written: {error}; choose another folder") from error

    def _open(self) -> sqlite3.Connection:
        """The first record that is sound, or can be begun: of what a damaged one holds every flight is graded again."""
        for name in FILE_NAMES:
            connection = sqlite3.connect(self._folder / name, timeout=_BUSY_TIMEOUT_S)
            try:
                # Killed, it is whole all the same; after a power cut, which may damage it, flights are graded again.
                # Waiting for the disk twice a flight would take longer than a tenth of the grading.
                connection.execute("pragma synchronous = off")
                connection.execute(_TABLE)
                if connection.execute("pragma quick_check(1)").fetchone() == ("ok",):
                    return connection
            except sqlite3.OperationalError:  # it cannot be written, damaged or not
                connection.close()
                raise
            except (sqlite3.DatabaseError, UnicodeDecodeError):
                pass
            connection.close()
        raise sqlite3.DatabaseError("it and those after it are damaged")

    def __enter__(self) -> DoneBefore:
        return self

    def __exit__(self, *error: object) -> None:
        self._connection.close()

    def has(self, flight: Flight, settings: Settings) -> bool:
        """Whether the record has the flight as `find` gives it, without reading its debriefs."""
        return bool(self._kept(flight, settings, ""))

    def find(self, flight: Flight, settings: Settings) -> Outcome | None:
        """The earlier outcome, or None: not done, changed since, or a report of it is gone or edited."""
        graded = [Graded(hold, bool(flown), packed) for hold, flown, packed in self._kept(flight, settings, ", packed")]
        try:
            for each in graded:
                each.headline  # noqa: B018  # damaged: graded again
        except (zlib.error, ValueError, TypeError, LookupError):
            return None
        return Outcome(flight.path, tuple(graded), earlier=True) if graded else None

    def _kept(self, flight: Flight, settings: Settings, more: str) -> list[tuple[Any, ...]]:
        """At each hold its name, whether it was flown, and ``more`` columns; nothing where a report does not stand."""
        try:
            if not Path(flight.path).is_file():  # a pipe, a device
                return []
            with Path(flight.path).open("rb") as file:
                content_sha256 = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError:
            return []
        asked = f"select report, report_sha256, hold, flown{more} from graded where key = ? order by number"
        kept = self._connection.execute(asked, (_key(content_sha256, flight, settings),)).fetchall()
        if any(report and not _stands(self._folder / report, sha256) for report, sha256, *_ in kept):
            return []
        return [tuple(rest) for _, _, *rest in kept]

    def keep(self, flight: Flight, settings: Settings, outcome: Outcome, reports: Sequence[str]) -> None:
        """Record a flight graded now; ``reports`` are the file names of its report at each hold ("" without)."""
        if outcome.error or outcome.earlier:
            return
        key = _key(outcome.graded[0].headline["track"]["sha256"], flight, settings)
        rows = []
        for number, (each, report) in enumerate(zip(outcome.graded, reports)):
            report_sha256 = "" if each.html is None else sha256_hex(each.html.encode())
            rows.append((key, number, each.hold, each.flown, report, report_sha256, each.packed))
        try:
            with self._connection:
                self._connection.executemany("insert or replace into graded values (?, ?, ?, ?, ?, ?, ?)", rows)
        except sqlite3.Error as error:
            raise OutputError(f"the record in {self._folder} cannot be written: {error}; free some space") from error


def _key(content_sha256: str, flight: Flight, settings: Settings) -> str:
    name = Path(flight.path).name  # stands in the report
    parts = (content_sha256, name, flight.report_name, settings.fingerprint)
    return sha256_hex(os.fsencode("\0".join(parts)))  # a name may be no UTF-8


def _stands(path: Path, sha256: str) -> bool:
    try:
        return sha256_hex(path.read_bytes()) == sha256
    except OSError:
        return False
