"""The logbook: record a debrief, read it back, carry it elsewhere, delete a pilot."""

from __future__ import annotations

import json
import os
import unicodedata
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any

import sqlalchemy as sa
from sqlalchemy import select

from trackgrade.errors import LogbookError, UsageError
from trackgrade.logbook import files_of, name_key, schema
from trackgrade.logbook.database import (
    default_place,
    errors_for_people,
    open_engine,
    outside_transactions,
    reading,
    shown,
    url_of,
    writing,
)
from trackgrade.logbook.digest import digest
from trackgrade.logbook.history import HoldFlown

#: First line of an export.
EXPORT_SCHEMA = "trackgrade.logbook/1"

#: Longest name of a pilot or instructor, and longest note, in characters.
LONGEST_NAME = 200
LONGEST_NOTE = 10_000

#: Zero width joiner and non-joiner: spelling in several scripts, no more.
_JOINERS = "\u200c\u200d"


@dataclass(frozen=True, eq=False)
class Recorded:
    """What recording did. ``sessions`` counts the pilot's flights to this ``standard``, this one included.

    ``replaced``: the same flight, hold and standard was there. ``moved_from``: the other pilot it was under.
    """

    pilot: str
    new_pilot: bool
    replaced: bool
    moved_from: str | None
    standard: str
    sessions: int
    place: str

    @property
    def message(self) -> str:
        """One line for the terminal."""
        what = "Replaced in" if self.replaced else "Recorded in"
        who = f"{self.pilot} (a new pilot)" if self.new_pilot else self.pilot
        moved = f", moved from {self.moved_from}" if self.moved_from else ""
        return f"{what} the logbook for {who}{moved}: session {self.sessions} to this standard ({self.place})."


@dataclass(frozen=True, eq=False)
class Imported:
    """What an import did."""

    recorded: int
    replaced: int
    pilots: int
    place: str


class Logbook:
    """A logbook, by path (SQLite) or URL (PostgreSQL). Use it in a ``with`` block, or `close` it.

    Raises LogbookError: it cannot be opened, is no logbook, is of a newer version, or is missing and ``create`` is
    False; OutputError: it cannot be written.
    """

    def __init__(self, place: str | os.PathLike[str] | None = None, *, create: bool = True) -> None:
        where = default_place() if place is None else place
        self.engine = open_engine(where, create=create)
        self.name = shown(url_of(where))
        self.files = files_of(where)

    def __enter__(self) -> Logbook:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        self.engine.dispose()

    def record(
        self,
        debrief: Mapping[str, Any],
        *,
        pilot: str,
        instructor: str | None = None,
        note: str | None = None,
        report: str | os.PathLike[str] | None = None,
    ) -> Recorded:
        """Record one debrief (schema trackgrade.debrief/1), in one transaction.

        The same flight, hold and standard replaces what was there, under whichever pilot. An instructor
        or a note not given now is kept from what is replaced, when the pilot is the same.
        """
        where = str(Path(report).absolute()) if report else None
        recording = schema.recording
        with errors_for_people(self.name), writing(self.engine) as connection:
            done = self._put(connection, debrief, pilot, instructor, note, where)
            _drop_empty_pilots(connection)
            sessions = connection.scalar(
                select(sa.func.count(recording.c.flight_hash.distinct()))
                .join(schema.pilot)
                .where(schema.pilot.c.name == done.pilot, recording.c.standard == done.standard)
            )
        return replace(done, sessions=int(sessions or 0))

    def pilots(self) -> list[tuple[str, int, float]]:
        """Name, number of recordings and start of the last one [s since 1970], by name."""
        pilot, recording = schema.pilot, schema.recording
        with errors_for_people(self.name), reading(self.engine) as connection:
            rows = connection.execute(
                select(pilot.c.name, sa.func.count(), sa.func.max(recording.c.started_epoch_s))
                .join(recording, recording.c.pilot_id == pilot.c.id)
                .group_by(pilot.c.id, pilot.c.name)
            ).all()
        return sorted(
            ((str(name), int(count), float(last)) for name, count, last in rows),
            key=lambda row: row[0].casefold(),
        )

    def delete_pilot(self, name: str) -> int:
        """Delete a pilot and everything recorded of them; the number of recordings that went.

        In an SQLite file the rows are overwritten and the file is rewritten: nothing stays behind in it. Raises
        UsageError: no such pilot.
        """
        with errors_for_people(self.name):
            with writing(self.engine) as connection:
                pilot_id = find_pilot(connection, name)
                count = connection.scalar(
                    select(sa.func.count()).select_from(schema.recording).where(schema.recording.c.pilot_id == pilot_id)
                )
                connection.execute(schema.pilot.delete().where(schema.pilot.c.id == pilot_id))
            with outside_transactions(self.engine) as connection:
                if connection.dialect.name == "sqlite":
                    connection.exec_driver_sql("VACUUM")
                    connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
                else:
                    for table in schema.metadata.sorted_tables:
                        connection.exec_driver_sql(f"VACUUM {table.name}")
        return int(count or 0)

    def export_lines(self, pilot: str | None = None) -> Iterator[str]:
        """The logbook (or one pilot) as JSON lines: a header, then a recording a line, oldest first.

        Raises LogbookError, after the last line, where recordings are damaged: they are left out.
        """
        damaged = 0
        yield json.dumps({"schema": EXPORT_SCHEMA})
        person, recording, stored = schema.pilot, schema.recording, schema.debrief
        statement = (
            select(person.c.name, recording.c.instructor, recording.c.note, stored.c.json_zlib)
            .select_from(recording.join(person).join(stored))
            .order_by(recording.c.started_epoch_s, recording.c.content_hash)
        )
        with errors_for_people(self.name), reading(self.engine) as connection:
            if pilot is not None:
                statement = statement.where(person.c.id == find_pilot(connection, pilot))
            for row in connection.execution_options(yield_per=200).execute(statement):
                debrief = _unpacked(row.json_zlib)
                if debrief is None:
                    damaged += 1
                    continue
                yield json.dumps(
                    {"pilot": row.name, "instructor": row.instructor, "note": row.note, "debrief": debrief}
                )
        if damaged:
            raise LogbookError(
                f"logbook {self.name}: {damaged} of its recordings cannot be read any more and are not in the export;"
                " all others are. Grade those flights again, or take them from a backup."
            )

    def import_lines(self, lines: Iterable[str], progress: Callable[[int], None] | None = None) -> Imported:
        """Record what `export_lines` wrote: every line, or none when one of them is wrong.

        Raises LogbookError: a line cannot be read; its number is named and the logbook is as it was.
        """
        recorded = replaced = 0
        named: set[str] = set()
        with errors_for_people(self.name), writing(self.engine) as connection:
            for number, line in enumerate(lines, start=1):
                row = _parse_line(line, number)
                if row is None:
                    continue
                try:
                    done = self._put(connection, row["debrief"], row["pilot"], row.get("instructor"), row.get("note"))
                except (LogbookError, UsageError) as error:
                    raise LogbookError(f"line {number}: {error} Nothing was imported.") from error
                recorded, replaced = recorded + 1, replaced + done.replaced
                named.add(done.pilot)
                if progress is not None:
                    progress(number)
            _drop_empty_pilots(connection)
        return Imported(recorded=recorded, replaced=replaced, pilots=len(named), place=self.name)

    def _put(
        self,
        connection: sa.Connection,
        debrief: Mapping[str, Any],
        pilot: str,
        instructor: str | None,
        note: str | None,
        report: str | None = None,
    ) -> Recorded:
        """Write one debrief's rows."""
        name, instructor, note = clean_texts(pilot, instructor, note)
        flown = digest(debrief)
        pilot_id, known_as, new = _pilot(connection, name)
        recording = schema.recording
        old = connection.execute(
            select(recording, schema.pilot.c.name)
            .join(schema.pilot)
            .where(recording.c.content_hash == flown.content_hash)
        ).one_or_none()
        if old is not None:
            connection.execute(recording.delete().where(recording.c.id == old.id))
            if old.pilot_id == pilot_id:
                instructor, note, report = instructor or old.instructor, note or old.note, report or old.report
        _insert(connection, replace(flown, instructor=instructor, note=note, report=report), debrief, pilot_id)
        moved_from = old.name if old is not None and old.pilot_id != pilot_id else None
        return Recorded(known_as, new, old is not None, moved_from, flown.standard, 0, self.name)


def stored_debrief(connection: sa.Connection, recording_id: int) -> dict[str, Any]:
    """The whole debrief of a recording, as it was recorded; empty where it cannot be read any more."""
    packed = connection.scalar(select(schema.debrief.c.json_zlib).where(schema.debrief.c.recording_id == recording_id))
    return _unpacked(packed) or {}


def _unpacked(packed: bytes | None) -> dict[str, Any] | None:
    try:
        loaded = json.loads(zlib.decompress(packed or b""))
    except (zlib.error, ValueError, TypeError, RecursionError):
        return None
    return loaded if isinstance(loaded, dict) else None


def find_pilot(connection: sa.Connection, name: str) -> int:
    """The id of a pilot by name, in whatever case and spacing.

    Raises UsageError: no such pilot; the message names those there are.
    """
    pilot = schema.pilot.c
    pilot_id = connection.scalar(select(pilot.id).where(pilot.name_key == name_key(name)))
    if pilot_id is not None:
        return int(pilot_id)
    known = connection.scalars(select(pilot.name).order_by(pilot.name_key).limit(9)).all()
    listed = ", ".join(known[:8]) + (", ..." if len(known) > 8 else "")
    raise UsageError(f"no pilot {name!r} in the logbook; it has: {listed or 'nobody yet'}.")


def clean_texts(pilot: str, instructor: str | None, note: str | None) -> tuple[str, str | None, str | None]:
    """The texts of a session as they are recorded. Raises UsageError where one cannot be."""
    return (
        _clean_text(pilot, "the pilot's name", LONGEST_NAME),
        _clean_text(instructor, "the instructor's name", LONGEST_NAME) if instructor else None,
        _clean_text(note, "the note", LONGEST_NOTE, lines=True) if note else None,
    )


def _insert(connection: sa.Connection, flown: HoldFlown, debrief: Mapping[str, Any], pilot_id: int) -> None:
    values = {name: value for name, value in vars(flown).items() if name in schema.recording.c}
    inserted = connection.execute(schema.recording.insert().values(**values, pilot_id=pilot_id)).inserted_primary_key
    assert inserted is not None
    own = {"recording_id": int(inserted[0])}
    packed = zlib.compress(json.dumps(debrief, separators=(",", ":")).encode())
    connection.execute(schema.debrief.insert().values(**own, json_zlib=packed))
    for table, rows in (
        (schema.entry, flown.entries),
        (schema.lap, flown.lap_rows),
        (schema.item_result, flown.items),
        (schema.finding, flown.findings),
    ):
        if rows:
            numbered = [own | {"position": n} | vars(row) for n, row in enumerate(rows)]
            connection.execute(table.insert(), [{k: v for k, v in row.items() if k in table.c} for row in numbered])


def _pilot(connection: sa.Connection, name: str) -> tuple[int, str, bool]:
    """Id, name as first written, and whether the pilot is new."""
    pilot = schema.pilot
    found = connection.execute(select(pilot.c.id, pilot.c.name).where(pilot.c.name_key == name_key(name))).one_or_none()
    if found is not None:
        return int(found.id), str(found.name), False
    inserted = connection.execute(pilot.insert().values(name=name, name_key=name_key(name))).inserted_primary_key
    assert inserted is not None
    return int(inserted[0]), name, True


def _drop_empty_pilots(connection: sa.Connection) -> None:
    """A pilot whose last recording moved to another one (a slip of the pen put right) is no pilot."""
    has_some = sa.exists().where(schema.recording.c.pilot_id == schema.pilot.c.id)
    connection.execute(schema.pilot.delete().where(~has_some))


def _clean_text(text: Any, what: str, longest: int, *, lines: bool = False) -> str:
    if not isinstance(text, str):
        raise UsageError(f"{what} must be text, not {text!r}.")
    kept = unicodedata.normalize("NFC", text).strip()
    if not kept:
        raise UsageError(f"{what} is empty.")
    if len(kept) > longest:
        raise UsageError(f"{what} has {len(kept)} characters; at most {longest} are kept.")
    allowed = _JOINERS + ("\n\t" if lines else "")
    if any(unicodedata.category(letter) in ("Cc", "Cf", "Cs", "Zl", "Zp") and letter not in allowed for letter in kept):
        raise UsageError(f"{what} holds control or direction characters; write it in plain text.")
    return kept


def _parse_line(line: str, number: int) -> dict[str, Any] | None:
    """One line of an export; None for a blank line or the header."""
    if not line.strip():
        return None
    try:
        row = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise LogbookError(f"line {number}: not JSON ({error}). Nothing was imported.") from error
    if isinstance(row, dict) and "schema" in row and "debrief" not in row:
        if row["schema"] != EXPORT_SCHEMA:
            raise LogbookError(
                f"line {number}: schema {row['schema']!r}, expected {EXPORT_SCHEMA!r}. Nothing was imported."
            )
        return None
    if not isinstance(row, dict) or not isinstance(row.get("debrief"), dict) or "pilot" not in row:
        raise LogbookError(
            f"line {number}: not a line of a logbook export (no pilot, or no debrief). Nothing was imported."
        )
    return row
