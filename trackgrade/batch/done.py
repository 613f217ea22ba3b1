"""What a batch has done already, so that ``--resume`` skips what is unchanged and still has its results.

One SQLite file in the output folder. Every flight is one transaction: a killed batch has each flight whole or
not at all.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from trackgrade.batch.work import Flight, Graded, Outcome, Settings
from trackgrade.errors import OutputError
from trackgrade.exports.plain import compact
from trackgrade.files import sha256_hex

#: The record, and where it goes on beside a damaged one: none is renamed, as other commands may have it open.
FILE_NAMES = ("resume.sqlite", "resume-2.sqlite", "resume-3.sqlite")
#: How long a command waits for another one that writes in the same folder.
_BUSY_TIMEOUT_S = 30

#: Of each flight what it gave at each hold, packed: a line of JSON on it, and one of its debrief.
_TABLE = "create table if not exists flights (key text primary key, graded blob not null) without rowid"


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
            except sqlite3.DatabaseError:
                pass
            connection.close()
        raise sqlite3.DatabaseError("it and those after it are damaged")

    def __enter__(self) -> DoneBefore:
        return self

    def __exit__(self, *error: object) -> None:
        self._connection.close()

    def key(self, flight: Flight, settings: Settings) -> str | None:
        """The key of a flight, or None where its file cannot be read now, or is none (a pipe, a device)."""
        try:
            if not Path(flight.path).is_file():
                return None
            with Path(flight.path).open("rb") as file:
                content = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError:
            return None
        name = Path(flight.path).name  # stands in the report
        parts = (content, name, flight.report_name, settings.fingerprint)
        return sha256_hex(os.fsencode("\0".join(parts)))  # a name may be no UTF-8

    def has(self, flight: Flight, settings: Settings) -> bool:
        """Whether the record has the flight as `find` gives it, without reading its debriefs."""
        return self._kept(flight, settings) is not None

    def find(self, flight: Flight, settings: Settings) -> Outcome | None:
        """The earlier outcome, or None: not done, changed since, or a report of it is gone or edited."""
        kept = self._kept(flight, settings)
        if kept is None:
            return None
        try:
            graded = [Graded(hold, flown, json.loads(debrief), laps_csv) for (hold, flown, laps_csv), debrief in kept]
        except ValueError:  # damaged: graded again
            return None
        return Outcome(flight.path, tuple(graded), earlier=True)

    def _kept(self, flight: Flight, settings: Settings) -> list[tuple[list[Any], str]] | None:
        """At each hold its name, whether it was flown, its table and the text of its debrief."""
        key = self.key(flight, settings)
        row = self._connection.execute("select graded from flights where key = ?", (key,)).fetchone()
        if row is None:
            return None
        kept = []
        try:
            lines = zlib.decompress(row[0]).decode().split("\n")
            for about, debrief_json in zip(lines[::2], lines[1::2], strict=True):
                *graded, report, report_sha256 = json.loads(about)
                if report and not _stands(self._folder / report, report_sha256):
                    return None
                kept.append((graded, debrief_json))
        except (zlib.error, ValueError, TypeError):  # damaged: graded again
            return None
        return kept

    def keep(self, flight: Flight, settings: Settings, outcome: Outcome, reports: Sequence[str]) -> None:
        """Record a flight graded now; ``reports`` are the file names of its report at each hold ("" without)."""
        if outcome.error or outcome.earlier or (key := self.key(flight, settings)) is None:
            return
        lines = []
        for each, report in zip(outcome.graded, reports):
            report_sha256 = "" if each.html is None else sha256_hex(each.html.encode())
            lines += [compact((each.hold, each.flown, each.laps_csv, report, report_sha256)), each.debrief_json]
        packed = zlib.compress("\n".join(lines).encode(), level=1)
        try:
            with self._connection:
                self._connection.execute("insert or replace into flights values (?, ?)", (key, packed))
        except sqlite3.Error as error:
            raise OutputError(f"the record in {self._folder} cannot be written: {error}; free some space") from error


def _stands(path: Path, sha256: str) -> bool:
    try:
        return sha256_hex(path.read_bytes()) == sha256
    except OSError:
        return False
