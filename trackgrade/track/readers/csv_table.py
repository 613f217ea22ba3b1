"""Text tables (CSV and its kin): the shape is found, columns are chosen, pandas reads, arrays come out."""

from __future__ import annotations

import csv
import itertools
import os
import re
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from trackgrade.errors import TrackFileError
from trackgrade.files import plain_text
from trackgrade.track.columns import QUANTITIES, day_comes_first
from trackgrade.track.columns_map import ColumnsMap, read_columns_map
from trackgrade.track.readers import settle
from trackgrade.track.readers.altitude_unit import Column, read_altitude
from trackgrade.track.readers.column_choice import Choice, Choices, choose
from trackgrade.track.readers.possible import make_track
from trackgrade.track.readers.table_places import doubt_degrees, read_position
from trackgrade.track.readers.table_shape import TableShape, find_shape, missing_columns, text_lines, whole_records
from trackgrade.track.readers.table_times import read_times
from trackgrade.track.readers.table_values import Numbers, numbers
from trackgrade.track.track import CHANNELS, Floats, Provenance, Track

#: Rows read from one table at most: 111 hours at 1 Hz, 5 hours at 20 Hz. Bounds time and memory.
MOST_ROWS = 400_000
_LONGEST_CELL = 200
_CLOCK_AT_END = r"(?:^|[T ])[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?$"
_NOT_MARKED = frozenset(["", "0", "0.0", "false", "no", "none", "off", "-"])
_MARKED = frozenset(["1", "1.0", "true", "yes", "on", "x", "*"])


@dataclass
class Look:
    """A table looked at: what would serve as what, and the track or why there is none."""

    shape: TableShape
    choices: Choices
    track: Track | None = None
    problem: TrackFileError | None = None


def read(
    data: bytes,
    source: str,
    columns: str | os.PathLike[str] | bytes | None = None,
) -> Track:
    """A `Track` of the bytes of a text table.

    Raises
    ------
    TrackFileError
        No table, no time or position columns, or no usable row; one line says where and what to do.
    ColumnsFileError
        The columns map cannot be read or names what is not there.
    """
    columns_map = ColumnsMap() if columns is None else read_columns_map(columns)
    try:
        data = whole_records(data)
        shape = find_shape(data, source, columns_map)
        return _read(data, source, shape, choose(shape, columns_map), columns_map)
    except TrackFileError as problem:
        raise type(problem)(_in_the_map(str(problem), columns_map)) from None


def look(data: bytes, source: str, columns_map: ColumnsMap) -> Look:
    """As `read`, but a table whose rows cannot be read is described all the same."""
    data = whole_records(data)
    shape = find_shape(data, source, columns_map)
    seen = Look(shape, choose(shape, columns_map))
    try:
        seen.track = _read(data, source, shape, seen.choices, columns_map)
    except TrackFileError as problem:
        seen.problem = TrackFileError(_in_the_map(str(problem), columns_map))
    return seen


def _in_the_map(text: str, columns_map: ColumnsMap) -> str:
    """A message that asks for a columns file, where one was given: what to write into that one."""
    if not columns_map.name:
        return text
    asked = r'a columns file(?: \(--columns\)|: "trackgrade columns .*" makes one to edit)'
    return re.sub(asked, lambda _: columns_map.name, text)


def _read(
    data: bytes,
    source: str,
    shape: TableShape,
    choices: Choices,
    columns_map: ColumnsMap,
) -> Track:
    told = [*shape.notes, *choices.notes]
    missing = [QUANTITIES[q].title for q in ("lat", "lon") if q not in choices.chosen]
    missing = missing if choices.times else ["time", *missing]
    if missing:
        raise TrackFileError(missing_columns(source, shape.header_line or 1, missing))
    wanted = sorted({c.index for c in [*choices.chosen.values(), *choices.altitudes, *choices.times]})
    made = dict(enumerate(shape.made, start=len(shape.headers) - len(shape.made)))
    sources = {i for index in wanted for i in (made[index].of if index in made else (index,))}
    cells, lines = _rows(data, source, shape, sorted(sources), told)
    cells |= {index: each.cells(cells) for index, each in made.items() if index in wanted}
    keep = _rows_of_data(cells, lines, shape, choices, source, told)
    cells = {index: column[keep].reset_index(drop=True) for index, column in cells.items()}
    lines = lines[keep]

    lat_deg, lat_from = read_position("lat", choices, cells, lines, shape, source, told)
    lon_deg, lon_from = read_position("lon", choices, cells, lines, shape, source, told)
    half = choices.chosen.get("half_day")
    if half is not None:
        for each in choices.times:
            bare = cells[each.index].str.contains(_CLOCK_AT_END, regex=True)
            cells[each.index] = cells[each.index].mask(bare, cells[each.index] + " " + cells[half.index])
    doubt_degrees(lat_deg, lon_deg, choices, told)
    times = read_times(
        choices.times,
        choices.chosen.get("utc_offset"),
        cells,
        columns_map,
        source,
        shape.decimal == "," or day_comes_first(shape.headers),
    )
    choices.times.sort(key=lambda c: c.index not in times.used)
    told.extend(times.notes)
    choices.unread.extend(c.shown for c in choices.times if c.index not in times.used)
    by_half = [] if half is None else [Provenance("half_day", half.shown, "text", QUANTITIES["half_day"].title)]
    provenance = [*times.provenance, *by_half, *lat_from, *lon_from]

    reading = settle.Reading(times.epoch_s, lat_deg, lon_deg, told, provenance)
    at = len(provenance)

    def read_numbers(choice: Choice) -> Numbers:
        found = numbers(cells[choice.index], QUANTITIES[choice.quantity].kind, shape.decimal, choice.unit)
        if found.unreadable.any():
            row = int(np.argmax(found.unreadable))
            example = plain_text(cells[choice.index].iloc[row], 30)
            told.append(
                f'{choice.quantity}: cells of "{choice.shown}" that are no number: {int(found.unreadable.sum())} '
                f'(first: line {lines[row]}, "{example}")'
            )
        return found

    def height_of(choice: Choice) -> Column:
        found = read_numbers(choice)
        return Column(choice, found.values, found.unit)

    channels: dict[str, Floats] = {}
    for quantity in CHANNELS:
        choice = choices.chosen.get(quantity)
        if choice is None:
            continue
        found = read_numbers(choice)
        values = settle.settled(reading, choice, found.values, found.unit)
        if values is None:
            choices.unread.append(choice.shown)
        else:
            channels[quantity] = values
    heights = [height_of(c) for c in choices.altitudes[:1]]
    if heights and (heights[0].unit is None or not np.isfinite(heights[0].values).any()):
        heights += [height_of(c) for c in choices.altitudes[1:]]
    rising = choices.chosen.get("vertical_speed")
    climb = None if rising is None else height_of(rising)
    speed_unit = next((p.unit for p in provenance if p.quantity == "groundspeed_kt"), "")
    altitude = read_altitude(reading, heights, climb, speed_unit)
    provenance[at:] = sorted(provenance[at:], key=lambda p: p.quantity != "alt_ft")
    choices.unread.extend(
        c.shown for c in [*choices.altitudes, *([rising] if rising else [])] if c is not altitude.column
    )
    if choices.unread:
        shown = ", ".join(dict.fromkeys(choices.unread[:12]))
        told.append(f"columns not read: {shown}{' and more' if len(choices.unread) > 12 else ''}")
    return make_track(
        source,
        times.epoch_s,
        lat_deg,
        lon_deg,
        altitude.alt_ft,
        channels=channels,
        marks=_marks(choices.chosen.get("mark"), cells, times.epoch_s, provenance),
        provenance=provenance,
        notes=[_in_the_map(note, columns_map) for note in told],
        alt_datum=altitude.datum,
        alt_open=altitude.open and replace(altitude.open, note=_in_the_map(altitude.open.note, columns_map)),
    )


def _rows(
    data: bytes, source: str, shape: TableShape, wanted: list[int], told: list[str]
) -> tuple[dict[int, Any], npt.NDArray[np.int64]]:
    """Cells of the wanted columns (stripped text, n) and the line of each row in the file."""
    line_count = sum(1 for _ in text_lines(data, shape.encoding))
    if line_count - shape.first_data_line >= MOST_ROWS:
        raise TrackFileError(
            f"{source} has over {MOST_ROWS:,} rows and is not read. Cut it to the flight, or keep fewer rows a second"
        )
    expected = line_count - shape.first_data_line + 1
    frame = _frame(data, shape, wanted, csv.QUOTE_MINIMAL)
    if frame is None or len(frame) != expected:
        # A quote that is never closed swallows lines: read again and take quotes as they come.
        frame = _frame(data, shape, wanted, csv.QUOTE_NONE)
        told.append("stray quotation marks were ignored")
    if frame is None:
        raise TrackFileError(f"{source} cannot be split into columns. Save it again as CSV")
    cells = {}
    for index in wanted:
        # Cut: no value is longer, and patterns must not meet a cell of a megabyte.
        texts = [
            cell[:_LONGEST_CELL].strip().strip('"').strip() for cell in frame[index].fillna("").to_numpy(dtype=object)
        ]
        cells[index] = pd.Series(texts, dtype=str)
    return cells, shape.first_data_line + np.arange(len(frame), dtype=np.int64)


def _frame(data: bytes, shape: TableShape, wanted: list[int], quoting: int) -> Any:
    widest = max([len(shape.headers), *(len(row) for row in shape.sample)]) - len(shape.made)
    try:
        return pd.read_csv(
            text_lines(data, shape.encoding),
            sep=r"\s+" if shape.delimiter == " " else shape.delimiter,
            skiprows=shape.first_data_line - 1,
            header=None,
            names=list(range(widest)),
            usecols=wanted,
            dtype=str,
            na_filter=False,
            skip_blank_lines=False,
            skipinitialspace=True,
            quoting=quoting,
            index_col=False,
            engine="c",
        )
    except pd.errors.EmptyDataError:
        return pd.DataFrame({index: pd.Series([], dtype=str) for index in wanted})
    except (pd.errors.ParserError, ValueError):
        return None


def _rows_of_data(
    cells: dict[int, Any],
    lines: npt.NDArray[np.int64],
    shape: TableShape,
    choices: Choices,
    source: str,
    told: list[str],
) -> npt.NDArray[np.bool_]:
    """Which rows are data: not blank, no comment, no repeated header or units, no other text."""
    lat, lon = choices.chosen["lat"], choices.chosen["lon"]
    blank = np.ones(len(lines), dtype=bool)
    for column in cells.values():
        blank &= np.asarray(column == "")
    comment = np.asarray(cells[min(cells)].str.startswith(("#", "%", "//")), dtype=bool) & ~blank
    headers = np.zeros(len(lines), dtype=bool)
    for choice in (lat, lon):
        units = shape.unit_cells[choice.index]
        headers |= np.asarray(cells[choice.index] == choice.header.strip()) & bool(choice.header)
        headers |= np.asarray(cells[choice.index] == units) & bool(units)
    headers &= ~comment
    moved = _moved_header(cells, lat, lon, [*choices.chosen.values(), *choices.altitudes, *choices.times])
    keep: npt.NDArray[np.bool_] = ~(blank | comment | headers)
    if comment.any():
        told.append(f"comment lines skipped: {int(comment.sum())}")
    if headers.any():
        told.append(f"rows that repeat the headers or units skipped (a restart of the log): {int(headers.sum())}")
    if moved is not None:
        keep[moved:] = False
        told.append(f"line {lines[moved]}: other headers begin here; the rows from there on were not read")
    if not keep.any():
        raise TrackFileError(f"{source} has headers but no rows below them. Choose another file")
    return keep


def _moved_header(cells: dict[int, Any], lat: Choice, lon: Choice, used: list[Choice]) -> int | None:
    """The row at which the headers come again in another order or with other units, or None."""
    if not lat.header or not lon.header or lat.header == lon.header:
        return None
    moved = np.zeros(len(cells[lat.index]), dtype=bool)
    for index, column in cells.items():
        moved |= np.asarray(column == lat.header) & (index != lat.index)
        moved |= np.asarray(column == lon.header) & (index != lon.index)
    again = np.asarray((cells[lat.index] == lat.header) & (cells[lon.index] == lon.header))
    for choice in used:
        column = cells[choice.index]
        moved |= again & np.asarray((column != choice.header.strip().strip('"').strip()) & (column != ""))
    return int(np.argmax(moved)) if moved.any() else None


def _marks(
    choice: Choice | None, cells: dict[int, Any], epoch_s: Floats, provenance: list[Provenance]
) -> list[tuple[float, str]]:
    """One mark at the first row of each run of the same text."""
    if choice is None:
        return []
    provenance.append(Provenance("mark", choice.shown, "text", choice.note))
    texts = [text if text.lower() not in _NOT_MARKED else "" for text in cells[choice.index]]
    return [
        (epoch_s[row], "mark" if text.lower() in _MARKED else text)
        for row, (before, text) in enumerate(itertools.pairwise(["", *texts]))
        if text and text != before
    ]
