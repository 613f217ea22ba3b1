"""A column that may give times: its cells, what its header says of them, and what they look like."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trackgrade.track.columns_map import offset_minutes
from trackgrade.track.readers.clock_text import BARE_CLOCK, BARE_DAY, BARE_DAY6, FORM_PATTERNS
from trackgrade.track.readers.column_choice import Choice

_OFFSET_IN_HEADER = re.compile(r"(?i)(?:utc|gmt)\s*([+\-−]\s?[0-9]{1,2}(?::?[0-9]{2})?)(?![0-9])")
_LATE_FRACTION = re.compile(r"Z(\.[0-9]+)$")
_SAMPLE = 300
_MOSTLY = 0.7  # share of the filled cells that must look like the kind


@dataclass(eq=False)
class Column:
    """A column that may give times: its cells, and what they look like."""

    choice: Choice
    cells: Any
    kind: str = "unknown"  # moment, day, clock, number, blank, unknown
    form: int = -1

    @property
    def says_utc(self) -> bool:
        return "utc" in self.choice.words

    @property
    def offset_s(self) -> float | None:
        """Seconds east of UTC that the header states, such as "Time (UTC-5)"; None where it states none."""
        stated = _OFFSET_IN_HEADER.search(self.choice.header)
        minutes = offset_minutes(stated[1].replace(" ", "")) if stated else None
        return None if minutes is None else minutes * 60.0

    @property
    def says_local(self) -> bool:
        return "local" in self.choice.words

    @property
    def unit(self) -> str:
        return self.choice.unit.name if self.choice.unit else ""


def looked_at(column: Column) -> Column:
    """The column with its kind, by the form most of its filled cells have."""
    if any(_LATE_FRACTION.search(cell) for cell in column.cells[:1]):  # 15:20:02Z.997
        column.cells = column.cells.str.replace(_LATE_FRACTION, r"\1Z", regex=True)
    filled = [t for t in column.cells if t]
    # From all over the column: the first minute of seconds counted from 10000 looks like 1:00:00 and on.
    filled = filled[:: max(1, len(filled) // _SAMPLE)]
    if not filled:
        column.kind = "blank"
        return column
    wanted = column.choice.quantity
    share = _MOSTLY * len(filled)
    for index, (kind, pattern) in enumerate(FORM_PATTERNS):
        if index in (BARE_DAY, BARE_DAY6) and wanted != "date":
            continue
        if index == BARE_CLOCK and wanted == "date":
            continue
        if index == BARE_CLOCK and not (wanted == "time_of_day" or column.unit == "hms" or _six_digits(filled)):
            continue
        if sum(1 for t in filled if pattern.fullmatch(t)) >= share:
            column.kind, column.form = kind, index
            return column
    if np.isfinite(pd.to_numeric(pd.Series(filled, dtype=str), errors="coerce")).sum() >= share:
        column.kind = "number"
    return column


def _six_digits(filled: list[str]) -> bool:
    """Times of day such as 152000 or 91500: six digits (or five) in every cell, minutes and seconds below 60."""
    return all(re.fullmatch(r"[0-2]?[0-9][0-5][0-9][0-5][0-9](?:[.,][0-9]+)?", t) for t in filled)
