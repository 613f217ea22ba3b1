"""Times of a table: date and time together or apart, local with an offset, since 1970, or since the start.

What a column holds is found from its cells, not from its header alone. UTC is preferred to local time.
"""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from trackgrade.errors import TrackFileError
from trackgrade.files import plain_text
from trackgrade.track.columns_map import ColumnsMap, offset_minutes
from trackgrade.track.readers.clock_text import (
    BARE_CLOCK,
    BARE_DAY6,
    day_comes_first,
    days_since_1970,
    parts_of,
    seconds_of_day,
    year_first,
    zones,
)
from trackgrade.track.readers.column_choice import Choice
from trackgrade.track.readers.iso_times import plain_texts_s
from trackgrade.track.readers.possible import EARLIEST_EPOCH_S, LATEST_EPOCH_S
from trackgrade.track.readers.time_column import Column, looked_at
from trackgrade.track.track import Floats, Provenance

_DAY_S = 86_400.0
_EXCEL_DAY_ZERO = -25_569  # 30 December 1899 in days from 1 January 1970
_EXCEL_DAYS = (29_221.0, 73_050.0)  # 1980 to 2099

_EPOCH_UNITS = (("epoch_s", 1.0), ("epoch_ms", 1e3), ("epoch_us", 1e6), ("epoch_ns", 1e9))
_EPOCH_PER_S = dict(_EPOCH_UNITS)


@dataclass(frozen=True)
class Times:
    """``epoch_s`` (n,) [s since 1970 UTC], NaN where unreadable, with what was done to get it."""

    epoch_s: Floats
    provenance: tuple[Provenance, ...]
    notes: tuple[str, ...]
    used: frozenset[int]


def read_times(
    choices: list[Choice],
    offset: Choice | None,
    cells_of: dict[int, Any],
    columns: ColumnsMap,
    source: str,
    day_first: bool,
) -> Times:
    """Times of all rows.

    ``cells_of``: column index to its cells (pandas Series of stripped text, n). ``day_first``: the file writes
    numbers the European way, so 03/05 is the third of May.

    Raises
    ------
    TrackFileError
        No date, or numbers that do not count from 1970; the line says what to write into a columns map.
    """
    found = [looked_at(Column(c, cells_of[c.index])) for c in choices]
    options = _options(found, offset is not None or columns.utc_offset_min is not None, columns, day_first)
    if not options:
        raise TrackFileError(_no_time(found, source))
    best = min(options, key=lambda option: option.level)  # of equals the first: the better words, then the left
    epoch_s, notes = best.epoch_s, list(best.notes)
    provenance = [_provenance(column, best.is_utc) for column in best.used]
    taken = {column.choice.index for column in best.used}
    if not best.is_utc:
        epoch_s, more, by = _from_local(epoch_s, offset, cells_of, columns, best.used)
        notes.extend(more)
        provenance.extend(by)
        if offset is not None and by:
            taken.add(offset.index)
    return Times(epoch_s, tuple(provenance), tuple(notes), frozenset(taken))


@dataclass(frozen=True)
class _Option:
    """One way to get the times. ``level``: 0 it is UTC, 1 local with an offset, 2 local or unknown."""

    level: int
    used: tuple[Column, ...]
    epoch_s: Floats
    is_utc: bool
    notes: tuple[str, ...]


def _options(found: list[Column], has_offset: bool, columns: ColumnsMap, day_first: bool) -> list[_Option]:
    mapped = [c for c in found if c.choice.by_map and c.choice.quantity == "time_utc"]
    options = []
    for column in mapped or found:
        result = _moment(column, columns, day_first)
        if result is not None:
            epoch_s, is_utc, notes = result
            level = 0 if is_utc else 1 if has_offset else 2
            options.append(_Option(level, (column,), epoch_s, is_utc, tuple(notes)))
    clocks = [c for c in mapped or found if c.kind == "clock"]
    days: list[Column | None] = [c for c in found if c.kind == "day"]
    for day, clock in itertools.product(days or [None], clocks):
        result = _day_and_clock(day, clock, columns, day_first)
        if result is not None:
            epoch_s, is_utc, notes = result
            mismatch = day is not None and day.says_local and clock.says_utc
            level = 0 if is_utc and not mismatch else 1 if has_offset else 2
            used = (clock,) if day is None else (day, clock)
            options.append(_Option(level, used, epoch_s, is_utc, tuple(notes)))
    return options


def _moment(column: Column, columns: ColumnsMap, day_first: bool) -> tuple[Floats, bool, list[str]] | None:
    """Times of one column [s since 1970], whether they are UTC, and notes; None where it cannot be one."""
    if column.kind == "number":
        return _counted(column, columns)
    if column.kind != "moment":
        return None
    plain = plain_texts_s(column.cells)
    if plain is not None:
        return plain, True, []
    parts = parts_of(column.cells, column.form)
    days, notes = _days(parts, column, day_first)
    epoch_s = days * _DAY_S + seconds_of_day(parts)
    zone_s, zoned = zones(parts)
    if column.offset_s is not None:
        return _by_header(epoch_s, zone_s, zoned, column), True, [*notes, _of_header(column)]
    return epoch_s - zone_s, bool(zoned.all() or column.says_utc), [*notes, *_mixed_zones(zoned)]


def _by_header(epoch_s: Floats, zone_s: Floats, zoned: npt.NDArray[np.bool_], column: Column) -> Floats:
    """UTC of times whose header states the offset; a zone in the cell itself goes before it."""
    named = zoned & np.isfinite(epoch_s)
    return epoch_s - np.where(named, zone_s, column.offset_s or 0.0)


def _of_header(column: Column) -> str:
    return f'local time made UTC by the offset that the header "{column.choice.shown}" states'


def _mixed_zones(zoned: npt.NDArray[np.bool_]) -> list[str]:
    if not zoned.any() or zoned.all():
        return []
    return [f"{int(np.count_nonzero(~zoned))} times name no zone while others do: those are taken as UTC"]


def _counted(column: Column, columns: ColumnsMap) -> tuple[Floats, bool, list[str]] | None:
    values = np.array(pd.to_numeric(column.cells, errors="coerce"), dtype=np.float64)
    unit = column.unit if column.choice.stated == "map" else ""
    if unit in ("elapsed_s", "elapsed_ms"):
        if columns.start_epoch_s is None:
            raise TrackFileError(
                f'"{column.choice.shown}" counts from the start of the log: add its time to the columns file, '
                'such as start_utc = "2026-05-03T15:20:00Z"'
            )
        return columns.start_epoch_s + values / (1e3 if unit == "elapsed_ms" else 1.0), True, []
    if unit == "excel_days":
        days_s = (values + _EXCEL_DAY_ZERO) * _DAY_S
        if column.offset_s is not None:
            return days_s - column.offset_s, True, [_of_header(column)]
        return days_s, column.says_utc, []
    if unit in _EPOCH_PER_S:
        return values / _EPOCH_PER_S[unit], True, []
    usable = values[np.isfinite(values)]
    if not len(usable):
        return None
    for name, per_s in _EPOCH_UNITS:
        if EARLIEST_EPOCH_S * per_s <= np.median(usable) < LATEST_EPOCH_S * per_s:
            said = column.unit  # an epoch in ms under a header "time (s)" is read by its size, and told
            differs = said in _EPOCH_PER_S and said != name and column.choice.stated != ""
            note = f'"{column.choice.shown}" is read as {name.replace("epoch_", "")} since 1970, by its size'
            return values / per_s, True, [note] if differs else []
    return None


def _day_and_clock(
    day: Column | None, clock: Column, columns: ColumnsMap, day_first: bool
) -> tuple[Floats, bool, list[str]] | None:
    parts = parts_of(clock.cells, clock.form)
    seconds = seconds_of_day(parts)
    notes: list[str] = []
    if day is not None:
        if _unsettled_day(day) and clock.form != BARE_CLOCK:
            return None
        day_parts = parts_of(day.cells, day.form)
        days, notes = _days(day_parts, day, day_first)
        days = np.array(pd.Series(days).ffill(), dtype=np.float64)  # some logs write the date once
        if day.says_local and clock.says_utc:
            notes.append("the date is local and the time UTC: near midnight the day may be wrong")
        late = _midnights_without_date(days, seconds)
        if late.any():
            days = days + late
            notes.append("the date stays the same while the clock passes midnight: the next day was taken")
    elif columns.date is not None:
        first = (np.datetime64(columns.date, "D") - np.datetime64("1970-01-01", "D")).astype(int)
        days = first + _midnights(seconds)
        notes.append(f"the date {columns.date.isoformat()} is from the columns file")
    else:
        return None
    zone_s, zoned = zones(parts)
    for stating in (clock, day):
        if stating is not None and stating.offset_s is not None:
            return _by_header(days * _DAY_S + seconds, zone_s, zoned, stating), True, [*notes, _of_header(stating)]
    utc = bool(zoned.all()) or clock.says_utc or (day is not None and day.says_utc and not clock.says_local)
    return days * _DAY_S + seconds - zone_s, utc, notes


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
    told = day_comes_first(parts)
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


def _from_local(
    epoch_s: Floats,
    offset: Choice | None,
    cells_of: dict[int, Any],
    columns: ColumnsMap,
    used: tuple[Column, ...],
) -> tuple[Floats, list[str], list[Provenance]]:
    """Local times made UTC by the offset column or the map; without either they stay, with a warning."""
    unread = ""
    if offset is not None:
        minutes = _offsets_min(cells_of[offset.index])
        example = next((t for t in cells_of[offset.index] if t), "")
        if example:
            unread = f', and "{plain_text(example, 20)}" of "{offset.shown}" is read as none'
        if np.isfinite(minutes).any():
            minutes = np.array(pd.Series(minutes).ffill().bfill(), dtype=np.float64)
            note = "local time made UTC by it"
            return epoch_s - minutes * 60.0, [], [Provenance("utc_offset", offset.shown, "h:min", note)]
    if columns.utc_offset_min is not None:
        return (
            epoch_s - columns.utc_offset_min * 60.0,
            [f"local time made UTC by the offset of {columns.utc_offset_min / 60.0:+g} h in the columns file"],
            [],
        )
    shown = " and ".join(f'"{c.choice.shown}"' for c in used)
    return (
        epoch_s,
        [
            f"no zone and no offset stated for {shown}{unread}: taken as UTC, so clock times may be off by whole "
            'hours. If it is local time, add  utc_offset = "-05:00"  (yours) to a columns file (--columns)'
        ],
        [],
    )


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


def _provenance(column: Column, zoned: bool) -> Provenance:
    quantity = {"day": "date", "clock": "time of day"}.get(column.kind, "time")
    if column.kind == "number":
        unit = column.unit if column.choice.stated == "map" else "since 1970"
    else:
        unit = "UTC" if zoned else "local"
    return Provenance(quantity, column.choice.shown, unit, column.choice.note)


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
