"""Text tables (CSV and its kin): the shape is found, columns are chosen, rows are read, open questions settled."""

from __future__ import annotations

import itertools
import os
import re
from dataclasses import replace

from trackgrade.errors import TrackFileError
from trackgrade.track.columns_map import ColumnsMap, read_columns_map
from trackgrade.track.readers.column_choice import choose
from trackgrade.track.readers.possible import make_track
from trackgrade.track.readers.settle import read_altitude, settled
from trackgrade.track.readers.table_places import read_places
from trackgrade.track.readers.table_rows import Table, read_rows
from trackgrade.track.readers.table_shape import find_shape, missing_columns, whole_records
from trackgrade.track.readers.table_times import read_times
from trackgrade.track.track import CHANNELS, Floats, Track

_NOT_MARKED = frozenset(["", "0", "0.0", "false", "no", "none", "off", "-"])
_MARKED = frozenset(["1", "1.0", "true", "yes", "on", "x", "*"])
#: What is told first of what served as what; the rest follows in the order of `CHANNELS`.
_TOLD_FIRST = (
    *("time", "date", "time of day", "utc_offset", "half_day"),
    *("latitude", "lat_side", "longitude", "lon_side", "alt_ft"),
)


def read(data: bytes, source: str, columns: str | os.PathLike[str] | bytes | None = None) -> Track:
    """A `Track` of the bytes of a text table.

    Raises TrackFileError: no table, no time or position columns, or no usable row; one line says where and what to do;
    ColumnsFileError: the columns map cannot be read or names what is not there.
    """
    _, track = look(data, source, ColumnsMap() if columns is None else read_columns_map(columns))
    if isinstance(track, TrackFileError):
        raise track
    return track


def look(data: bytes, source: str, columns_map: ColumnsMap) -> tuple[Table, Track | TrackFileError]:
    """As `read`, with what serves as what; a table whose rows cannot be read is told with the reason."""
    try:
        data = whole_records(data)
        shape = find_shape(data, source, columns_map)
        choices = choose(shape, columns_map)
    except TrackFileError as problem:
        raise type(problem)(_in_the_map(str(problem), columns_map)) from None
    table = Table(source, shape, columns_map, choices, [*shape.notes, *choices.notes])
    try:
        return table, _track(table, data)
    except TrackFileError as problem:
        return table, TrackFileError(_in_the_map(str(problem), columns_map))


def _in_the_map(text: str, columns_map: ColumnsMap) -> str:
    """A message that asks for a columns file, where one was given: what to write into that one."""
    if not columns_map.name:
        return text
    asked = r'a columns file(?: \(--columns\)|: "trackgrade columns .*" makes one to edit)'
    return re.sub(asked, lambda _: columns_map.name, text)


def _track(table: Table, data: bytes) -> Track:
    chosen = table.choices.chosen
    there = chosen.keys() | ({"time_utc"} if table.choices.times else set())
    if not {"time_utc", "lat", "lon"} <= there:
        raise TrackFileError(missing_columns(table.source, table.shape.header_line or 1, there))
    read_rows(table, data)
    read_places(table)
    read_times(table)
    channels: dict[str, Floats] = {}
    for quantity in CHANNELS:
        if (choice := chosen.get(quantity)) and (values := settled(table, table.logged(choice))) is not None:
            channels[quantity] = values
    altitude = read_altitude(table)
    marks = _marks(table)
    told_first = {quantity: place for place, quantity in enumerate(_TOLD_FIRST)}
    table.served.sort(key=lambda pair: told_first.get(pair[1].quantity, len(told_first)))
    if unread := table.unread():
        shown = ", ".join(dict.fromkeys(unread[:12]))
        table.notes.append(f"columns not read: {shown}{' and more' if len(unread) > 12 else ''}")
    columns_map = table.columns_map
    return make_track(
        table.source,
        table.epoch_s,
        table.lat_deg,
        table.lon_deg,
        altitude.alt_ft,
        channels=channels,
        marks=marks,
        provenance=[said for _, said in table.served],
        notes=[_in_the_map(note, columns_map) for note in table.notes],
        alt_datum=altitude.datum,
        alt_open=altitude.open and replace(altitude.open, note=_in_the_map(altitude.open.note, columns_map)),
    )


def _marks(table: Table) -> list[tuple[float, str]]:
    """One mark at the first row of each run of the same text."""
    choice = table.choices.chosen.get("mark")
    if choice is None:
        return []
    table.serve(choice, "text", choice.note)
    texts = [text if text.lower() not in _NOT_MARKED else "" for text in table.cells[choice.index]]
    return [
        (table.epoch_s[row], "mark" if text.lower() in _MARKED else text)
        for row, (before, text) in enumerate(itertools.pairwise(["", *texts]))
        if text and text != before
    ]
