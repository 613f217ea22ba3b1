"""The logbook: record a debrief, read it back, carry it elsewhere, delete a pilot."""

from __future__ import annotations

import json
import os
import unicodedata
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from types import TracebackType
from typing import Any

import sqlalchemy as sa
from sqlalchemy import select

from trackgrade.errors import LogbookError, UsageError
from trackgrade.logbook import files_of, schema, summaries
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
from trackgrade.logbook.rows import Digest

#: First line of an export.
EXPORT_SCHEMA = "trackgrade.logbook/1"

#: Longest name of a pilot or instructor, and longest note, in characters.
LONGEST_NAME = 200
LONGEST_NOTE = 10_000

#: Zero width joiner and non-joiner: spelling in several scripts, no more.
_JOINERS = "\u200c\u200d"

_OWN_ROWS = {"entries", "laps", "items", "item_summaries", "findings"}
_RECORDING_FIELDS = tuple(each.name for each in fields(Digest) if each.name not in _OWN_ROWS)


@dataclass(frozen=True)
class Recorded:
    """What recording did. ``sessions`` counts the pilot's flights to this standard, this one included.

    ``replaced``: the same flight, hold and standard was there. ``moved_from``: the other pilot it was under.
    """

    pilot: str
    new_pilot: bool
    replaced: bool
    moved_from: str | None
    sessions: int
    place: str

    @property
    def message(self) -> str:
        """One line for the terminal."""
        what = "Replaced in" if self.replaced else "Recorded in"
        who = f"{self.pilot} (a new pilot)" if self.new_pilot else self.pilot
        moved = f", moved from {self.moved_from}" if self.moved_from else ""
        return f"{what} the logbook for {who}{moved}: session {self.sessions} to this standard ({self.place})."


@dataclass(frozen=True)
class Imported:
    """What an import did."""

    recorded: int
    replaced: int
    pilots: int
    place: str


class Logbook:
    """A logbook, by path (SQLite) or URL (PostgreSQL). Use it in a ``with`` block, or `close` it.

    Raises
    ------
    LogbookError
        It cannot be opened, is no logbook, is of a newer version, or is missing and ``create`` is False.
    OutputError
        It cannot be written.
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
        with errors_for_people(self.name), writing(self.engine) as connection:
            outcome = _put(
                connection, debrief, pilot, instructor, note, str(Path(report).absolute()) if report else None
            )
            summaries.refresh_pilots(connection, outcome.touched)
            _drop_empty_pilots(connection, outcome.touched - {outcome.pilot_id})
            sessions = connection.scalar(
                select(schema.pilot_standard.c.sessions).where(
                    schema.pilot_standard.c.pilot_id == outcome.pilot_id,
                    schema.pilot_standard.c.standard == outcome.standard,
                )
            )
        return Recorded(
            pilot=outcome.pilot,
            new_pilot=outcome.new_pilot,
            replaced=outcome.replaced,
            moved_from=outcome.moved_from,
            sessions=int(sessions or 0),
            place=self.name,
        )

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

        In an SQLite file the rows are overwritten and the file is rewritten: nothing stays behind in it.

        Raises
        ------
        UsageError
            No such pilot.
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

        Raises
        ------
        LogbookError
            A line cannot be read; its number is named and the logbook is as it was.
        """
        recorded = replaced = 0
        touched: set[int] = set()
        named: set[int] = set()
        with errors_for_people(self.name), writing(self.engine) as connection:
            for number, line in enumerate(lines, start=1):
                row = _parse_line(line, number)
                if row is None:
                    continue
                try:
                    outcome = _put(connection, row["debrief"], row["pilot"], row.get("instructor"), row.get("note"))
                except (LogbookError, UsageError) as error:
                    raise LogbookError(f"line {number}: {error} Nothing was imported.") from error
                recorded, replaced = recorded + 1, replaced + outcome.replaced
                touched |= outcome.touched
                named.add(outcome.pilot_id)
                if progress is not None:
                    progress(number)
            summaries.refresh_pilots(connection, touched)
            _drop_empty_pilots(connection, touched - named)
        return Imported(recorded=recorded, replaced=replaced, pilots=len(named), place=self.name)


def stored_debrief(connection: sa.Connection, recording_id: int) -> dict[str, Any]:
    """The whole debrief of a recording, as it was recorded; empty where it cannot be read any more."""
    packed = connection.scalar(select(schema.debrief.c.json_zlib).where(schema.debrief.c.recording_id == recording_id))
    return _unpacked(packed) or {}


def _unpacked(packed: bytes | None) -> dict[str, Any] | None:
    try:
        loaded = json.loads(zlib.decompress(packed or b""))
    except (zlib.error, ValueError, TypeError):
        return None
    return loaded if isinstance(loaded, dict) else None


def find_pilot(connection: sa.Connection, name: str) -> int:
    """The id of a pilot by name, in whatever case and spacing.

    Raises
    ------
    UsageError
        No such pilot; the message names those there are.
    """
    pilot = schema.pilot.c
    pilot_id = connection.scalar(select(pilot.id).where(pilot.name_key == _key(name)))
    if pilot_id is not None:
        return int(pilot_id)
    known = connection.scalars(select(pilot.name).order_by(pilot.name_key).limit(9)).all()
    listed = ", ".join(known[:8]) + (", ..." if len(known) > 8 else "")
    raise UsageError(f"no pilot {name!r} in the logbook; it has: {listed or 'nobody yet'}.")


@dataclass(frozen=True)
class _Outcome:
    pilot_id: int
    pilot: str
    new_pilot: bool
    replaced: bool
    moved_from: str | None
    standard: str
    touched: frozenset[int]


def clean_texts(pilot: str, instructor: str | None, note: str | None) -> tuple[str, str | None, str | None]:
    """The texts of a session as they are recorded. Raises UsageError where one cannot be."""
    return (
        _clean_text(pilot, "the pilot's name", LONGEST_NAME),
        _clean_text(instructor, "the instructor's name", LONGEST_NAME) if instructor else None,
        _clean_text(note, "the note", LONGEST_NOTE, lines=True) if note else None,
    )


def _put(
    connection: sa.Connection,
    debrief: Mapping[str, Any],
    pilot: str,
    instructor: str | None,
    note: str | None,
    report: str | None = None,
) -> _Outcome:
    """Write one debrief's rows; the caller makes the summaries of the pilots touched anew."""
    name, instructor, note = clean_texts(pilot, instructor, note)
    rows = digest(debrief)
    pilot_id, known_as, new = _pilot(connection, name)

    recording = schema.recording
    old = connection.execute(
        select(
            recording.c.id,
            recording.c.pilot_id,
            recording.c.instructor,
            recording.c.note,
            recording.c.report,
            schema.pilot.c.name,
        )
        .join(schema.pilot)
        .where(recording.c.content_hash == rows.content_hash)
    ).one_or_none()
    touched = {pilot_id}
    if old is not None:
        connection.execute(recording.delete().where(recording.c.id == old.id))
        touched.add(old.pilot_id)
        if old.pilot_id == pilot_id:
            instructor, note, report = instructor or old.instructor, note or old.note, report or old.report
    _insert(connection, rows, debrief, pilot_id, instructor, note, report)
    return _Outcome(
        pilot_id=pilot_id,
        pilot=known_as,
        new_pilot=new,
        replaced=old is not None,
        moved_from=old.name if old is not None and old.pilot_id != pilot_id else None,
        standard=rows.standard,
        touched=frozenset(touched),
    )


def _insert(
    connection: sa.Connection,
    rows: Digest,
    debrief: Mapping[str, Any],
    pilot_id: int,
    instructor: str | None,
    note: str | None,
    report: str | None,
) -> None:
    values = {name: getattr(rows, name) for name in _RECORDING_FIELDS}
    values |= {"pilot_id": pilot_id, "instructor": instructor, "note": note, "report": report, "laps": len(rows.laps)}
    inserted = connection.execute(schema.recording.insert().values(**values)).inserted_primary_key
    assert inserted is not None
    recording_id = int(inserted[0])
    packed = zlib.compress(json.dumps(debrief, separators=(",", ":")).encode())
    connection.execute(schema.debrief.insert().values(recording_id=recording_id, json_zlib=packed))
    own: dict[str, Any] = {"recording_id": recording_id}
    for table, many in (
        (schema.entry, [own | _renamed(asdict(each), "right", "is_right") for each in rows.entries]),
        (schema.lap, [own | asdict(each) for each in rows.laps]),
        (
            schema.item_result,
            [
                own | {"position": n} | _renamed(asdict(each), "limit", "limit_value")
                for n, each in enumerate(rows.items)
            ],
        ),
        (
            schema.finding,
            [
                own | {"position": n, "name": name, "title": title, "lap": lap, "advice": advice}
                for n, (name, title, lap, advice) in enumerate(rows.findings)
            ],
        ),
        (schema.recording_item, summaries.item_summary_rows(recording_id, rows.item_summaries)),
    ):
        if many:
            connection.execute(table.insert(), many)


def _renamed(row: dict[str, Any], old: str, new: str) -> dict[str, Any]:
    row[new] = row.pop(old)
    return row


def _pilot(connection: sa.Connection, name: str) -> tuple[int, str, bool]:
    """Id, name as first written, and whether the pilot is new."""
    pilot = schema.pilot
    found = connection.execute(select(pilot.c.id, pilot.c.name).where(pilot.c.name_key == _key(name))).one_or_none()
    if found is not None:
        return int(found.id), str(found.name), False
    inserted = connection.execute(pilot.insert().values(name=name, name_key=_key(name))).inserted_primary_key
    assert inserted is not None
    return int(inserted[0]), name, True


def _drop_empty_pilots(connection: sa.Connection, pilot_ids: Iterable[int]) -> None:
    """A pilot whose last recording moved to another one (a slip of the pen put right) is no pilot."""
    for pilot_id in pilot_ids:
        has_some = sa.exists().where(schema.recording.c.pilot_id == pilot_id)
        connection.execute(schema.pilot.delete().where(schema.pilot.c.id == pilot_id, ~has_some))


def _key(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


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
    except ValueError as error:
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
