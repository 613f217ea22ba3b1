"""``trackgrade columns``: what would be read from a log, column by column, and a map to edit."""

from __future__ import annotations

import re
from pathlib import Path

import click

from trackgrade.commands import console
from trackgrade.errors import UsageError


@click.command("columns", epilog=console.CAUTION)
@click.argument("file")
@click.option("--columns", "map_path", metavar="MAP.toml", help="Look at it through this columns map.")
@click.option("--write", "write_path", metavar="MAP.toml", help="Write a columns map of the file, to edit.")
def command(file: str, map_path: str | None, write_path: str | None) -> None:
    """Show which column of FILE serves as what, in which unit, and what is assumed or not read.

    Where a log does not say enough (no unit, no date, true or magnetic), write a map, edit it, and give it to
    every command with --columns.
    """
    from trackgrade.files import spare_inputs, write_whole
    from trackgrade.track.readers.column_sheet import column_sheet

    if write_path is not None and Path(write_path).exists():
        raise UsageError(f"{write_path} exists: give another name, or delete it first")
    spare_inputs([write_path], [file, map_path])
    sheet = column_sheet(file, map_path)
    header = ("read as", "column", "unit", "first value", "")
    rows = [(s.quantity or "-", s.column, s.unit, s.example, s.note) for s in sheet.lines]
    console.say(console.table(header, rows, left=len(header)))
    for note in sheet.notes:
        console.say(f"  - {note}")
    if sheet.problem:
        problem = sheet.problem
        if write_path is not None:  # no advice to do what is being done
            problem = re.sub(
                r'a columns file: "trackgrade columns .*" makes one to edit', lambda _: write_path, problem
            )
        console.say(f"\nNot readable as it is: {problem}")
    else:
        console.say(f"\n{sheet.points} points would be read.")
    if write_path is not None:
        if not sheet.map_text:
            raise UsageError(f"{sheet.source} is {sheet.format} and needs no columns map")
        write_whole(write_path, sheet.map_text)
        console.note(f"wrote {write_path}: edit it, then give it with --columns")
