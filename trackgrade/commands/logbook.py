"""``trackgrade logbook``: carry recorded sessions elsewhere, bring them back, delete a pilot's."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

from trackgrade.commands import console
from trackgrade.errors import InputError, LogbookError, UsageError

if TYPE_CHECKING:
    from trackgrade.logbook.store import Imported

#: Characters of one line of an export. A debrief of ten hours has a few million.
LONGEST_LINE = 64_000_000

_where = click.option("--logbook", metavar="PATH|URL", help="Another logbook than the one in your data folder.")


@click.group("logbook", epilog=console.CAUTION)
def command() -> None:
    """Look after the logbook: an SQLite file in your data folder, or a school's PostgreSQL database.

    $TRACKGRADE_LOGBOOK names another one for every command. What is in it is personal data.
    """


@command.command("pilots", short_help="List the pilots, and where the logbook is.")
@_where
def pilots(logbook: str | None) -> None:
    """List the pilots with their number of recordings, and say where the logbook is."""
    from trackgrade.logbook import wording
    from trackgrade.logbook.store import Logbook

    with Logbook(logbook, create=False) as opened:
        rows = [(name, str(count), wording.date(last)) for name, count, last in opened.pilots()]
        if rows:
            console.say(console.table(("pilot", "recordings", "last flown"), rows))
        else:
            console.say("No pilot is in this logbook.")
        console.say(f"Logbook: {opened.name}")


@command.command("export", short_help="Write everything recorded as JSON lines.")
@click.argument("file", metavar="FILE.jsonl")
@click.option("--pilot", metavar="NAME", help="Only this pilot's.")
@_where
def export(file: str, pilot: str | None, logbook: str | None) -> None:
    """Write the logbook to FILE (or "-"), one recording a line with its whole debrief: a backup, or a move."""
    from trackgrade.files import spare_inputs, whole_file
    from trackgrade.logbook import files_of
    from trackgrade.logbook.store import Logbook

    count = -1  # the header
    damaged: LogbookError | None = None
    with Logbook(logbook, create=False) as opened:
        lines = opened.export_lines(pilot)
        if file == "-":
            for line in lines:
                click.echo(line)
            return
        spare_inputs([file], files_of(logbook))
        with whole_file(file, text=True) as stream:
            try:
                for line in lines:
                    count += 1
                    stream.write(line + "\n")
            except LogbookError as error:  # of the damaged ones; the others are to be kept
                if count < 0:
                    raise
                damaged = error
    console.say(f"Exported {count} recordings to {file}.")
    if damaged is not None:
        raise damaged


@command.command("import", short_help="Record what an export holds.")
@click.argument("file", metavar="FILE.jsonl")
@_where
def import_(file: str, logbook: str | None) -> None:
    """Record every line of FILE (or "-"), or none when one is wrong. What is there already is replaced."""
    try:
        with sys.stdin if file == "-" else Path(file).open(encoding="utf-8-sig") as lines:
            done = _import(lines, logbook)
    except UnicodeDecodeError as error:
        raise InputError(f"{file}: not UTF-8 text; name a file that 'trackgrade logbook export' wrote.") from error
    console.say(
        f"Imported {done.recorded} recordings of {done.pilots} pilots, {done.replaced} of them in place of the same"
        f" ones. Logbook: {done.place}"
    )


def _import(lines: TextIO, logbook: str | None) -> Imported:
    from trackgrade.logbook.store import Logbook

    total = 0
    if lines.seekable():
        total = sum(1 for _ in _bounded(lines))
        lines.seek(0)
    with Logbook(logbook) as opened, console.progress(total, "recordings") as advance:
        return opened.import_lines(_bounded(lines), lambda _: advance())


def _bounded(lines: TextIO) -> Iterator[str]:
    while line := lines.readline(LONGEST_LINE + 1):
        if len(line) > LONGEST_LINE:
            raise InputError("a line is too long for a recording; name a file that 'trackgrade logbook export' wrote.")
        yield line


@command.command("delete", short_help="Delete a pilot and everything recorded of them.")
@click.option("--pilot", required=True, metavar="NAME", help="Whose data to delete.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@_where
def delete(pilot: str, yes: bool, logbook: str | None) -> None:
    """Delete a pilot: sessions, notes, debriefs, whole and for good. Export first to keep a copy."""
    from trackgrade.logbook.store import Logbook

    with Logbook(logbook, create=False) as opened:
        if not yes:
            if not sys.stdin.isatty():
                raise UsageError("deleting asks first and nobody can answer here: add --yes.")
            click.confirm(
                f"Delete everything recorded of {console.plain(pilot)} in {opened.name}?", abort=True, err=True
            )
        gone = opened.delete_pilot(pilot)
    console.say(f"Deleted {console.plain(pilot)}: {gone} recordings. Exports, reports and backups made before are not.")
