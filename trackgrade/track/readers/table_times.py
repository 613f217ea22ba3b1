"""Times of a table: date and time together or apart, local with an offset, since 1970, or since the start.

What a column holds is found from its cells, not from its header alone. UTC is preferred to local time.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from trackgrade.errors import TrackFileError
from trackgrade.files import plain_text
from trackgrade.track.columns import QUANTITIES, day_comes_first
from trackgrade.track.columns_map import ColumnsMap, offset_minutes
from trackgrade.track.readers.clock_text import (
    BARE_CLOCK,
    BARE_DAY,
    BARE_DAY6,
    FORM_PATTERNS,
    days_since_1970,
    first_is_day,
    parts_of,
    seconds_of_day,
    year_first,
    zones,
)
from trackgrade.track.readers.column_choice import Choice
from trackgrade.track.readers.iso_times import plain_texts_s
from trackgrade.track.readers.possible import EARLIEST_EPOCH_S, LATEST_EPOCH_S
from trackgrade.track.readers.table_rows import Table
from trackgrade.track.track import Floats

_DAY_S = 86_400.0
_EXCEL_DAY_ZERO = -25_569  # 30 December 1899 in days from 1 January 1970
_EXCEL_DAYS = (29_221.0, 73_050.0)  # 1980 to 2099

_EPOCH_PER_S = {"epoch_s": 1.0, "epoch_ms": 1e3, "epoch_us": 1e6, "epoch_ns": 1e9}
_CLOCK_AT_END = r"(?:^|[T ])[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?$"

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


@dataclass(frozen=True, eq=False)
class _Way:
    """One way to get the times (n,) [s since 1970]: by these columns, which make them UTC or local.

    ``doubtful``: it is UTC, but any other way that is goes before it.
    """

    used: tuple[Column, ...]
    epoch_s: Floats
    is_utc: bool
    notes: list[str]
    doubtful: bool = False


def read_times(table: Table) -> None:
    """Fill in the times of a table (n,) [s since 1970 UTC], NaN where unreadable.

    Raises TrackFileError: no date, or numbers that do not count from 1970; the line says what to write into a columns
    map.
    """
    cells = table.cells
    half = table.choices.chosen.get("half_day")
    if half is not None:
        for each in table.choices.times:
            bare = cells[each.index].str.contains(_CLOCK_AT_END, regex=True)
            cells[each.index] = cells[each.index].mask(bare, cells[each.index] + " " + cells[half.index])
        table.serve(half, "text", QUANTITIES["half_day"].title)
    found = [looked_at(Column(choice, cells[choice.index])) for choice in table.choices.times]
    # Numbers written the European way: 03/05 is the third of May.
    day_first = table.shape.decimal == "," or day_comes_first(table.shape.headers)
    ways = _ways(found, table.columns_map, day_first)
    if not ways:
        raise TrackFileError(_no_time(found, table.source))
    best = min(ways, key=lambda way: way.doubtful or not way.is_utc)  # of equals the first: better words, then the left
    table.notes += best.notes
    for column in best.used:
        unit = "UTC" if best.is_utc else "local"
        if column.kind == "number":
            unit = column.unit if column.choice.stated == "map" else "since 1970"
        quantity = {"day": "date", "clock": "time of day"}.get(column.kind, "time")
        table.serve(column.choice, unit, column.choice.note, quantity)
    table.epoch_s = best.epoch_s if best.is_utc else _from_local(table, best)


def _ways(found: list[Column], columns: ColumnsMap, day_first: bool) -> list[_Way]:
    mapped = [c for c in found if c.choice.by_map and c.choice.quantity == "time_utc"] or found
    clocks = [c for c in mapped if c.kind == "clock"]
    days: list[Column | None] = [c for c in found if c.kind == "day"]
    ways = [
        *(_moment(column, columns, day_first) for column in mapped),
        *(_day_and_clock(day, clock, columns, day_first) for day, clock in itertools.product(days or [None], clocks)),
    ]
    return [way for way in ways if way is not None]


def _moment(column: Column, columns: ColumnsMap, day_first: bool) -> _Way | None:
    """By one column; None where it cannot give times."""
    if column.kind == "number":
        return _counted(column, columns)
    if column.kind != "moment":
        return None
    plain = plain_texts_s(column.cells)
    if plain is not None:
        return _Way((column,), plain, True, [])
    parts = parts_of(column.cells, column.form)
    days, notes = _days(parts, column, day_first)
    return _zoned(days * _DAY_S + seconds_of_day(parts), parts, (column,), column.says_utc, notes)


def _zoned(local_s: Floats, parts: Any, used: tuple[Column, ...], says_utc: bool, notes: list[str]) -> _Way:
    """Times made UTC by the zones in the cells, where they have none by the offset that a header states."""
    zone_s, zoned = zones(parts)
    stating = next((column for column in reversed(used) if column.offset_s is not None), None)
    if stating is not None:
        offset_s = np.where(zoned & np.isfinite(local_s), zone_s, stating.offset_s or 0.0)
        return _Way(used, local_s - offset_s, True, [*notes, _of_header(stating)])
    if (zoned & np.isfinite(local_s)).any() and not zoned.all():
        without = int(np.count_nonzero(~zoned))
        notes = [*notes, f"{without} times name no zone while others do: those are taken as UTC"]
    return _Way(used, local_s - zone_s, bool(zoned.all()) or says_utc, notes)


def _of_header(column: Column) -> str:
    return f'local time made UTC by the offset that the header "{column.choice.shown}" states'


def _counted(column: Column, columns: ColumnsMap) -> _Way | None:
    """By a column of numbers that count from a known moment."""
    used = (column,)
    values = np.array(pd.to_numeric(column.cells, errors="coerce"), dtype=np.float64)
    unit = column.unit if column.choice.stated == "map" else ""
    if unit in ("elapsed_s", "elapsed_ms"):
        if columns.start_epoch_s is None:
            raise TrackFileError(
                f'"{column.choice.shown}" counts from the start of the log: add its time to the columns file, '
                'such as start_utc = "2026-05-03T15:20:00Z"'
            )
        return _Way(used, columns.start_epoch_s + values / (1e3 if unit == "elapsed_ms" else 1.0), True, [])
    if unit == "excel_days":
        days_s = (values + _EXCEL_DAY_ZERO) * _DAY_S
        if column.offset_s is not None:
            return _Way(used, days_s - column.offset_s, True, [_of_header(column)])
        return _Way(used, days_s, column.says_utc, [])
    if unit in _EPOCH_PER_S:
        return _Way(used, values / _EPOCH_PER_S[unit], True, [])
    usable = values[np.isfinite(values)]
    if not len(usable):
        return None
    for name, per_s in _EPOCH_PER_S.items():
        if EARLIEST_EPOCH_S * per_s <= np.median(usable) < LATEST_EPOCH_S * per_s:
            said = column.unit  # an epoch in ms under a header "time (s)" is read by its size, and told
            differs = said in _EPOCH_PER_S and said != name and column.choice.stated != ""
            note = f'"{column.choice.shown}" is read as {name.replace("epoch_", "")} since 1970, by its size'
            return _Way(used, values / per_s, True, [note] if differs else [])
    return None


def _day_and_clock(day: Column | None, clock: Column, columns: ColumnsMap, day_first: bool) -> _Way | None:
    """By a column of times of day, and one of dates or the date of the map."""
    parts = parts_of(clock.cells, clock.form)
    seconds = seconds_of_day(parts)
    if day is None:
        if columns.date is None:
            return None
        first = (np.datetime64(columns.date, "D") - np.datetime64("1970-01-01", "D")).astype(int)
        days = first + _midnights(seconds)
        notes = [f"the date {columns.date.isoformat()} is from the columns file"]
        return _zoned(days * _DAY_S + seconds, parts, (clock,), clock.says_utc, notes)
    if _unsettled_day(day) and clock.form != BARE_CLOCK:
        return None
    days, notes = _days(parts_of(day.cells, day.form), day, day_first)
    days = np.array(pd.Series(days).ffill(), dtype=np.float64)  # some logs write the date once
    mixed = day.says_local and clock.says_utc
    if mixed:
        notes.append("the date is local and the time UTC: near midnight the day may be wrong")
    late = _midnights_without_date(days, seconds)
    if late.any():
        days = days + late
        notes.append("the date stays the same while the clock passes midnight: the next day was taken")
    says_utc = clock.says_utc or (day.says_utc and not clock.says_local)
    way = _zoned(days * _DAY_S + seconds, parts, (day, clock), says_utc, notes)
    return replace(way, doubtful=mixed)


def _midnights(seconds: Floats) -> Floats:
    """Midnights passed before each row: a clock that falls by over 12 hours has passed one."""
    known = np.array(pd.Series(seconds).ffill().bfill(), dtype=np.float64)
    return np.concatenate([[0.0], np.cumsum(np.diff(known) < -0.5 * _DAY_S)]) if len(known) else known


def _midnights_without_date(days: Floats, seconds: Floats) -> Floats:
    """Days (n,) to add where the clock passed midnight within an hour and the date did not follow, or did so late."""
    known = np.array(pd.Series(seconds).ffill().bfill(), dtype=np.float64)
    with np.errstate(invalid="ignore"):
        step_s, step_days = np.diff(known), np.diff(days)
        passed = (step_s < 0.0) & (step_s + _DAY_S < 3600.0)
        change = np.where(passed & (step_days == 0.0), 1.0, 0.0) - np.where(~passed & (step_days > 0.0), 1.0, 0.0)
    owed = np.concatenate([[0.0], np.cumsum(change)])
    # A date that changes with no midnight owed (another flight) pays nothing back.
    return owed - np.minimum.accumulate(np.minimum(owed, 0.0))


def _days(parts: Any, column: Column, day_first: bool) -> tuple[Floats, list[str]]:
    """Days since 1970, and a note where day or month first was a choice."""
    if column.form == BARE_DAY6 and column.unit not in ("dmy", "mdy"):
        days = days_since_1970(year_first(parts), day_first)
        if column.unit == "iso" or not np.isfinite(days).any():
            return days, []
        example = plain_text(next(t for t in column.cells if t), 20)
        return days, [
            f'"{column.choice.shown}" such as "{example}" was read year first, as the time beside it is written hour '
            f'first; {column.choice.quantity} = "dmy" or "mdy" in a columns file (--columns) settles it'
        ]
    if "a" not in parts:
        return days_since_1970(parts, day_first), []
    if column.unit in ("dmy", "mdy"):
        return days_since_1970(parts, column.unit == "dmy"), []
    told = first_is_day(parts)
    if told is not None:
        return days_since_1970(parts, told), []
    # Dots are written day first; strokes are too where numbers are written with a decimal comma.
    chosen = day_first or bool((parts["mark"] == ".").any())
    example = plain_text(next(t for t in column.cells if t), 30)
    note = (
        f'"{column.choice.shown}" may be day or month first: "{example}" was read {"day" if chosen else "month"} '
        f'first; {column.choice.quantity} = "dmy" or "mdy" in a columns file (--columns) settles it'
    )
    return days_since_1970(parts, chosen), [note]


def _unsettled_day(day: Column) -> bool:
    """Six digits such as 030526, and nobody says which are the day."""
    return day.form == BARE_DAY6 and day.choice.stated == ""


def _from_local(table: Table, way: _Way) -> Floats:
    """Local times made UTC by the offset column or the map; without either they stay, with a warning."""
    unread = ""
    offset, by_map_min = table.choices.chosen.get("utc_offset"), table.columns_map.utc_offset_min
    if offset is not None:
        minutes = _offsets_min(table.cells[offset.index])
        if np.isfinite(minutes).any():
            table.serve(offset, "h:min", "local time made UTC by it")
            return way.epoch_s - np.array(pd.Series(minutes).ffill().bfill(), dtype=np.float64) * 60.0
        example = next((t for t in table.cells[offset.index] if t), "")
        if example:
            unread = f', and "{plain_text(example, 20)}" of "{offset.shown}" is read as none'
    if by_map_min is not None:
        table.notes.append(f"local time made UTC by the offset of {by_map_min / 60.0:+g} h in the columns file")
        return way.epoch_s - by_map_min * 60.0
    shown = " and ".join(f'"{c.choice.shown}"' for c in way.used)
    table.notes.append(
        f"no zone and no offset stated for {shown}{unread}: taken as UTC, so clock times may be off by whole "
        'hours. If it is local time, add  utc_offset = "-05:00"  (yours) to a columns file (--columns)'
    )
    return way.epoch_s


def _offsets_min(cells: Any) -> Floats:
    """Minutes east of UTC: -05:00, -0500, -5, -5.5 (hours), -300 (minutes) or -18000 (seconds)."""
    known: dict[str, float] = {}
    for text in cells.unique():
        minutes = offset_minutes(text)
        if minutes is None or re.fullmatch(r"[+-]?[0-9]{3}", text):
            try:
                number = float(text.replace(",", "."))
            except ValueError:
                number = np.nan
            size = abs(number)
            minutes = number * 60.0 if size <= 14.0 else number if size <= 840.0 else number / 60.0
            if not abs(minutes) <= 840.0:
                minutes = np.nan
        known[text] = minutes
    return np.array([known[text] for text in cells], dtype=np.float64)


def _no_time(found: list[Column], source: str) -> str:
    clocks = [c for c in found if c.kind == "clock"]
    for day in found:
        if day.kind == "day" and _unsettled_day(day):
            example = plain_text(next(t for t in day.cells if t), 20)
            return (
                f'{source}: "{day.choice.shown}" such as "{example}" may begin with the day, the month or the year. '
                f'Add  date = {{ column = "{day.choice.shown}", unit = "dmy" }}  ("mdy", "iso") to a columns file '
                "(--columns)"
            )
    if clocks:
        return (
            f'{source}: "{clocks[0].choice.shown}" gives the time of day, and no column gives the date. '
            'Add the date of the flight, such as  date = "2026-05-03"  to a columns file (--columns)'
        )
    for column in found:
        if column.kind == "number" and _like_a_spreadsheet(column):
            return (
                f'{source}: "{column.choice.shown}" does not count from 1970. If it counts days as spreadsheets do, '
                f'add  time_utc = {{ column = "{column.choice.shown}", unit = "excel_days" }}  to a columns file '
                "(--columns)"
            )
        if column.kind == "number":
            return (
                f'{source}: "{column.choice.shown}" does not count from 1970. If it counts from the start of the log, '
                f'add  time_utc = {{ column = "{column.choice.shown}", unit = "elapsed_s" }}  and  '
                'start_utc = "2026-05-03T15:20:00Z"  to a columns file (--columns)'
            )
    if not found or all(column.kind == "blank" for column in found):
        return f"{source}: its time column is empty, so nothing can be timed. Export the track with times"
    column = min((c for c in found if c.kind != "blank"), key=lambda c: c.kind == "day")
    example = plain_text(next(t for t in column.cells if t), 40)
    return (
        f'{source}: "{column.choice.shown}" such as "{example}" is read as no time. '
        "Write times as 2026-05-03T15:20:00Z, or name another column in a columns file (--columns)"
    )


def _like_a_spreadsheet(column: Column) -> bool:
    values = np.array(pd.to_numeric(column.cells, errors="coerce"), dtype=np.float64)
    values = values[np.isfinite(values)]
    usual = float(np.median(values)) if len(values) else 0.0
    return _EXCEL_DAYS[0] <= usual < _EXCEL_DAYS[1] and bool(np.any(values % 1.0))
