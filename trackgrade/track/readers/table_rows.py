"""The rows of a text table: the cells of the columns that serve, without comments, repeated headers and blank lines."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from trackgrade.errors import TrackFileError
from trackgrade.files import plain_text
from trackgrade.track.columns import QUANTITIES, Unit
from trackgrade.track.columns_map import ColumnsMap
from trackgrade.track.readers.column_choice import Choice, Choices
from trackgrade.track.readers.table_shape import TableShape, text_lines
from trackgrade.track.readers.table_values import numbers
from trackgrade.track.track import Bools, Floats, Provenance

#: Rows read from one table at most: 111 hours at 1 Hz, 5 hours at 20 Hz. Bounds time and memory.
MOST_ROWS = 400_000
_LONGEST_CELL = 200


@dataclass(frozen=True, eq=False)
class Logged:
    """A column as numbers (n,), NaN where blank; ``cell_unit``: one written into the cells themselves ("4000 ft")."""

    choice: Choice
    values: Floats
    cell_unit: Unit | None

    @property
    def unit(self) -> Unit | None:
        """As the cells say, else as the header does."""
        return self.cell_unit or self.choice.unit


@dataclass(eq=False)
class Table:
    """A table on its way to a track: rows, then positions, then times, each read by its own file.

    ``cells``: of each column that may serve (pandas Series of stripped text, n), by its index; ``lines``: the line of
    each row in the file. ``served``: columns that are used, and as what. ``notes``: what people are told.
    """

    source: str
    shape: TableShape
    columns_map: ColumnsMap
    choices: Choices
    notes: list[str]
    served: list[tuple[Choice, Provenance]] = field(default_factory=list)
    cells: dict[int, Any] = field(default_factory=dict)
    lines: npt.NDArray[np.int64] = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    epoch_s: Floats = field(default_factory=lambda: np.empty(0))
    lat_deg: Floats = field(default_factory=lambda: np.empty(0))
    lon_deg: Floats = field(default_factory=lambda: np.empty(0))

    def serve(self, choice: Choice, unit: str, note: str = "", quantity: str = "") -> None:
        """Note that a column is used, and as which quantity if not the one it was chosen for."""
        self.served.append((choice, Provenance(quantity or choice.quantity, choice.shown, unit, note)))

    def unit_served(self, quantity: str) -> str:
        """In which unit the column was that serves as this quantity; "" where none does."""
        return next((said.unit for _, said in self.served if said.quantity == quantity), "")

    def unread(self) -> list[str]:
        """What people call the columns that serve as nothing, in the order of the file."""
        used = {choice.index for choice, _ in self.served}
        used |= {i for index, made in self.shape.made.items() if index in used for i in made.of}
        return [plain_text(h, 60) for i, h in enumerate(self.shape.headers) if h and i not in used]

    def place(self, choice: Choice, row: int, longest: int = 30) -> str:
        """A cell with its line, for messages: ``line 7, "N/A"``."""
        return f'line {self.lines[row]}, "{plain_text(self.cells[choice.index].iloc[row], longest)}"'

    def logged(self, choice: Choice) -> Logged:
        """A column as numbers; how many cells are none is told."""
        cells = self.cells[choice.index]
        found = numbers(cells, QUANTITIES[choice.quantity].kind, self.shape.decimal, choice.unit)
        if found.unreadable.any():
            self.notes.append(
                f'{choice.quantity}: cells of "{choice.shown}" that are no number: {int(found.unreadable.sum())} '
                f"(first: {self.place(choice, int(np.argmax(found.unreadable)))})"
            )
        return Logged(choice, found.values, found.unit)


def read_rows(table: Table, data: bytes) -> None:
    """Fill in the cells and lines of a table.

    Raises TrackFileError: too many rows, none, or rows that cannot be split into columns.
    """
    shape = table.shape
    wanted = {choice.index for choice in table.choices.all()}
    made = {index: each for index, each in shape.made.items() if index in wanted}
    sources = (wanted - made.keys()) | {i for each in made.values() for i in each.of}
    _split(table, data, sorted(sources))
    table.cells |= {index: each.cells(table.cells) for index, each in made.items()}
    keep = _rows_of_data(table)
    table.cells = {index: column[keep].reset_index(drop=True) for index, column in table.cells.items()}
    table.lines = table.lines[keep]


def _split(table: Table, data: bytes, wanted: list[int]) -> None:
    shape = table.shape
    line_count = sum(1 for _ in text_lines(data, shape.encoding))
    expected = line_count - shape.first_data_line + 1
    if expected > MOST_ROWS:
        raise TrackFileError(
            f"{table.source} has over {MOST_ROWS:,} rows and is not read. Cut it to the flight, or keep fewer rows a "
            "second"
        )
    frame = _frame(data, shape, wanted, csv.QUOTE_MINIMAL)
    if frame is None or len(frame) != expected:
        # A quote that is never closed swallows lines: read again and take quotes as they come.
        frame = _frame(data, shape, wanted, csv.QUOTE_NONE)
        table.notes.append("stray quotation marks were ignored")
    if frame is None:
        raise TrackFileError(f"{table.source} cannot be split into columns. Save it again as CSV")
    for index in wanted:
        # Cut: no value is longer, and patterns must not meet a cell of a megabyte.
        texts = frame[index].fillna("").to_numpy(dtype=object)
        table.cells[index] = pd.Series([cell[:_LONGEST_CELL].strip().strip('"').strip() for cell in texts], dtype=str)
    table.lines = shape.first_data_line + np.arange(len(frame), dtype=np.int64)


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


def _rows_of_data(table: Table) -> Bools:
    """Which rows are data: not blank, no comment, no repeated header or units, no other text."""
    cells = table.cells
    blank = np.ones(len(table.lines), dtype=bool)
    for column in cells.values():
        blank &= np.asarray(column == "")
    comment = np.asarray(cells[min(cells)].str.startswith(("#", "%", "//")), dtype=bool) & ~blank
    headers = np.zeros(len(table.lines), dtype=bool)
    for choice in (table.choices.chosen["lat"], table.choices.chosen["lon"]):
        for again in (choice.header.strip(), table.shape.unit_cells[choice.index]):
            headers |= np.asarray(cells[choice.index] == again) & bool(again)
    headers &= ~comment
    moved = _moved_header(table)
    keep: Bools = ~(blank | comment | headers)
    if comment.any():
        table.notes.append(f"comment lines skipped: {int(comment.sum())}")
    if headers.any():
        count = int(headers.sum())
        table.notes.append(f"rows that repeat the headers or units skipped (a restart of the log): {count}")
    if moved is not None:
        keep[moved:] = False
        line = table.lines[moved]
        table.notes.append(f"line {line}: other headers begin here; the rows from there on were not read")
    if not keep.any():
        raise TrackFileError(f"{table.source} has headers but no rows below them. Choose another file")
    return keep


def _moved_header(table: Table) -> int | None:
    """The row at which the headers come again in another order or with other units, or None."""
    cells, lat, lon = table.cells, table.choices.chosen["lat"], table.choices.chosen["lon"]
    if not lat.header or not lon.header or lat.header == lon.header:
        return None
    moved = np.zeros(len(table.lines), dtype=bool)
    for index, column in cells.items():
        moved |= np.asarray(column == lat.header) & (index != lat.index)
        moved |= np.asarray(column == lon.header) & (index != lon.index)
    again = np.asarray((cells[lat.index] == lat.header) & (cells[lon.index] == lon.header))
    for choice in table.choices.all():
        column = cells[choice.index]
        moved |= again & np.asarray((column != choice.header.strip().strip('"').strip()) & (column != ""))
    return int(np.argmax(moved)) if moved.any() else None
