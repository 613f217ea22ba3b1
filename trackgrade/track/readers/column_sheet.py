"""What would be read from a file, column by column, and a columns map to edit; reads nothing into a flight."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest

from trackgrade.files import plain_text, toml_text
from trackgrade.track.altitude import OPEN_UNITS, UNKNOWN_UNIT
from trackgrade.track.columns import QUANTITIES, UNITS
from trackgrade.track.columns_map import ColumnsMap, read_columns_map
from trackgrade.track.readers import TrackSource, reader_of, track_bytes
from trackgrade.track.track import Provenance, Track

_MAP_UNIT = {"degrees and minutes": "dms", "deg with N, S, E, W": "dms"}
_USUAL_UNIT = {"time_utc": "iso", "lat": "deg", "lon": "deg"}
_QUANTITY_BY_TITLE = {"time": "time_utc", "time of day": "time_of_day", "latitude": "lat", "longitude": "lon"}


@dataclass(frozen=True, eq=False)
class Line(Provenance):
    """One column of the file: what it serves as ("" where it is not read), in which unit, with an example."""

    example: str = ""


@dataclass(frozen=True, eq=False)
class Sheet:
    """All columns of a file. ``problem`` says why it could not be read as a flight, or is empty.

    ``format``: what people call it ("a GPX file"). ``map_text`` is empty where a format has no columns to name.
    """

    source: str
    format: str
    points: int
    lines: tuple[Line, ...]
    notes: tuple[str, ...]
    problem: str
    map_text: str


def column_sheet(
    track: TrackSource, columns: str | os.PathLike[str] | bytes | None = None, *, name: str | None = None
) -> Sheet:
    """Look at a file, given and called as in `read_track`.

    Raises TrackFileError: the file cannot be read at all; ColumnsFileError: the columns map is wrong.
    """
    content, source = track_bytes(track, name)
    reader = reader_of(content)
    if reader.by_columns:
        return _of_table(content.data, source, reader.name, columns)
    flight = reader.read(content, source)
    lines = tuple(Line(**vars(each)) for each in flight.provenance)
    return Sheet(source, reader.name, len(flight), lines, flight.notes, "", "")


def _of_table(data: bytes, source: str, called: str, columns: str | os.PathLike[str] | bytes | None) -> Sheet:
    from trackgrade.track.readers import csv_table
    from trackgrade.track.readers.table_shape import NoHeaderError, first_rows

    columns_map = ColumnsMap() if columns is None else read_columns_map(columns)
    try:
        table, read = csv_table.look(data, source, columns_map)
    except NoHeaderError as problem:
        rows = first_rows(data, 3)
        if not rows:
            raise
        lines = [
            Line("", str(number), "", example=", ".join(plain_text(cell, 24) for cell in cells))
            for number, cells in enumerate(zip_longest(*rows, fillvalue=""), start=1)
        ]
        return Sheet(source, called, 0, tuple(lines), (), str(problem), _map_text(source, [], lines, columns_map))
    shape, choices, track = table.shape, table.choices, read if isinstance(read, Track) else None
    first = shape.sample[0] if shape.sample else ()
    repeated = {h for h in shape.headers if shape.headers.count(h) > 1 or not shape.header_line or not h.strip()}

    def example(index: int) -> str:
        return plain_text(first[index], 30) if index < len(first) else ""

    if track is not None:
        served = [(choice, said) for choice, said in table.served if said in track.provenance]
    else:
        first_choices = [*choices.times, *choices.altitudes[:1], *choices.chosen.values()]
        served = [
            (each, Provenance(each.quantity, each.shown, each.unit.name if each.unit else "", each.note))
            for each in first_choices
        ]
    used: list[tuple[Line, str | int]] = []
    for choice, said in served:
        quantity = _QUANTITY_BY_TITLE.get(said.quantity, said.quantity)
        key = choice.index + 1 if choice.header in repeated else choice.header
        used.append((Line(quantity, said.column, said.unit, said.note, example(choice.index)), key))
    taken = {line.column for line, _ in used}
    by_shown: dict[str, int] = {}
    for i, header in enumerate(shape.headers):
        by_shown.setdefault(plain_text(header, 60) or f"column {i + 1}", i)
    unread = [Line("", shown, "", example=example(i)) for shown, i in by_shown.items() if shown not in taken]
    notes = track.notes if track is not None else (*shape.notes, *choices.notes)
    return Sheet(
        source,
        called,
        len(track) if track is not None else 0,
        (*(line for line, _ in used), *unread),
        tuple(note for note in notes if not note.startswith("columns not read")),
        "" if track is not None else str(read),
        _map_text(source, used, unread, columns_map),
    )


def _map_text(source: str, used: Sequence[tuple[Line, str | int]], unread: Sequence[Line], given: ColumnsMap) -> str:
    lines = [
        f"# Columns of {source}. Edit, then give this file with --columns.",
        '# quantity = { column = "header or number", unit = "unit" }, or false to leave it out.',
        "# What is not named here is found by its header.",
        "",
    ]
    lines += [f"{key} = {toml_text(value) if isinstance(value, str) else value}" for key, value in given.fixed.items()]
    lines += [f"{quantity} = false" for quantity, entry in given.entries.items() if entry.leave_out]
    named: set[str] = set()
    for line, key in used:
        column = str(key) if isinstance(key, int) else toml_text(key)
        kind = QUANTITIES[line.quantity].kind
        entry = given.entries.get(line.quantity)
        unit = entry.unit.name if entry is not None and entry.unit is not None else _MAP_UNIT.get(line.unit, line.unit)
        known = kind != "text" and any(unit == u.name for u in UNITS[kind])
        unit_part = f", unit = {toml_text(unit)}" if known else ""
        again = "# or: " if line.quantity in named else ""
        named.add(line.quantity)
        if line.unit == UNKNOWN_UNIT:
            lines.append("# Which of the two? Take away one #:")
            lines += [f'# {line.quantity} = {{ column = {column}, unit = "{unit}" }}' for unit in OPEN_UNITS]
            continue
        lines.append(f"{again}{line.quantity} = {{ column = {column}{unit_part} }}")
    missing = [quantity for quantity in ("lat", "lon") if quantity not in named]
    missing = missing if named & {"time_utc", "time_of_day"} else ["time_utc", *missing]
    if missing:
        lines += ["", "# Not found, and needed. Take away the # and write the column, by its header or its number:"]
        lines += [f'# {q} = {{ column = {i}, unit = "{_USUAL_UNIT[q]}" }}' for i, q in enumerate(missing, start=1)]
    if unread:
        lines += ["", "# Columns not read:"]
        lines += [f"#   {plain_text(line.column, 60)}    {line.example}".rstrip() for line in unread[:200]]
    lines += ["", "# Fixed values, where the file lacks them:"]
    lines += ['# date = "2026-05-03"', '# utc_offset = "-05:00"', '# start_utc = "2026-05-03T15:20:00Z"']
    lines += ["", "# Only where they are found wrongly:"]
    lines += ["# header_line = 4", '# delimiter = ";"', '# decimal = ","']
    lines += ["", "# Quantities and their units:"]
    for quantity in QUANTITIES.values():
        units = "" if quantity.kind == "text" else f": {', '.join(u.name for u in UNITS[quantity.kind])}"
        lines.append(f"#   {quantity.name}{units}")
    return "\n".join(lines) + "\n"
