"""The columns map: a TOML file that says, once for a kind of log, which column is what in which unit.

::

    time_utc = { column = "Time", unit = "iso" }
    lat      = "ddmm"                              # the column found by its header, in this unit
    alt_ft   = { column = "AltB", unit = "m" }
    ias_kt   = false                               # leave it out
    date       = "2026-05-03"                      # a fixed value: for times of day without a date
    utc_offset = "-05:00"                          # a fixed value: for local times
    start_utc  = "2026-05-03T15:20:00Z"            # for times that count from the start of the log
    header_line = 4                                # these three only where they are found wrongly
    delimiter = ";"
    decimal = ","
"""

from __future__ import annotations

import datetime
import difflib
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trackgrade.errors import ColumnsFileError
from trackgrade.files import plain_text, read_toml
from trackgrade.track.columns import QUANTITIES, UNITS, Unit, unit_named

_OFFSET = re.compile(r"(?:UTC|GMT)?\s*([+\-−]?)(\d{1,2})(?::?(\d{2}))?|Z")
_LARGEST_OFFSET_MIN = 14 * 60
_DELIMITERS = {",": ",", ";": ";", "\t": "\t", "tab": "\t", "|": "|", " ": " ", "space": " "}


@dataclass(frozen=True, eq=False)
class Entry:
    """One line of the map. ``column`` is a header or a number from 1; None: by the words of the header."""

    column: str | int | None = None
    unit: Unit | None = None
    leave_out: bool = False


@dataclass(frozen=True, eq=False)
class ColumnsMap:
    """What the map says; an empty one says nothing. ``fixed``: the values for the whole file, as they are written."""

    name: str = ""
    entries: Mapping[str, Entry] = field(default_factory=dict)
    date: datetime.date | None = None
    utc_offset_min: float | None = None
    start_epoch_s: float | None = None
    header_line: int | None = None
    delimiter: str | None = None
    decimal: str | None = None
    fixed: Mapping[str, Any] = field(default_factory=dict)


def read_columns_map(source: str | os.PathLike[str] | bytes) -> ColumnsMap:
    """Read a columns map: a path, or its bytes.

    Raises ColumnsFileError: not TOML, or an unknown quantity, unit or setting; one line names it and what is known.
    """
    name = "the columns map" if isinstance(source, bytes) else plain_text(Path(source).name, 120)
    try:
        return _from_toml(read_toml(source, ColumnsFileError, name=name), name)
    except _WrongValue as wrong:
        raise ColumnsFileError(f"{name}: {wrong}") from None


class _WrongValue(Exception):
    """A value that the map cannot have; turned into one line that names the file."""


def _from_toml(content: dict[str, Any], name: str) -> ColumnsMap:
    entries: dict[str, Entry] = {}
    settings: dict[str, Any] = {}
    fixed: dict[str, Any] = {}
    for key, value in content.items():
        if key in _SETTINGS and not (key in QUANTITIES and isinstance(value, dict | bool)):
            field_name, read = _SETTINGS[key]
            settings[field_name], fixed[key] = read(value), value
        elif key in QUANTITIES:
            entries[key] = _entry(key, value)
        else:
            known = [*dict.fromkeys([*QUANTITIES, *_SETTINGS])]
            close = difflib.get_close_matches(str(key), known, 1)
            hint = f"Did you mean {close[0]}?" if close else f"Known are {', '.join(known)}"
            raise _WrongValue(f'"{plain_text(str(key), 40)}" is no quantity. {hint}')
    return ColumnsMap(name, entries, **settings, fixed=fixed)


def _entry(key: str, value: Any) -> Entry:
    if value is False:
        return Entry(leave_out=True)
    if isinstance(value, str):
        return Entry(unit=_unit(key, value))
    if not isinstance(value, dict):
        raise _WrongValue(f'{key} must be {{ column = "...", unit = "..." }}, a unit, or false')
    for inner in value:
        if inner not in ("column", "unit"):
            raise _WrongValue(f'{key}: "{plain_text(inner, 40)}" is unknown; it takes column and unit')
    column = value.get("column")
    if isinstance(column, bool) or not isinstance(column, str | int | None) or column == "":
        raise _WrongValue(f"{key}: column must be the header as text, or its number from 1")
    if isinstance(column, int) and not 1 <= column <= 100_000:
        raise _WrongValue(f"{key}: column {column} is no column; they count from 1")
    return Entry(column, _unit(key, value["unit"]) if "unit" in value else None)


def _unit(key: str, value: Any) -> Unit:
    kind = QUANTITIES[key].kind
    unit = unit_named(value, kind) if isinstance(value, str) else None
    if unit is None:
        known = ", ".join(u.name for u in UNITS[kind])
        raise _WrongValue(f'{key}: unit "{plain_text(str(value), 40)}" is unknown. Known are {known}')
    return unit


def _date(value: Any) -> datetime.date:
    if isinstance(value, datetime.datetime):
        return value.date()
    if isinstance(value, datetime.date):
        return value
    try:
        return datetime.date.fromisoformat(value)
    except (TypeError, ValueError):
        raise _WrongValue('date must be a day such as date = "2026-05-03"') from None


def _offset(value: Any) -> float:
    minutes = offset_minutes(value) if isinstance(value, str) else None
    if minutes is None:
        raise _WrongValue('utc_offset must be hours and minutes such as utc_offset = "-05:00"')
    return minutes


def offset_minutes(text: str) -> float | None:
    """Minutes east of UTC of an offset such as ``-05:00``, ``+0530``, ``UTC+2`` or ``Z``; None for anything else."""
    match = _OFFSET.fullmatch(text.strip().strip("()").strip().upper())
    if match is None:
        return None
    if match[2] is None:
        return 0.0
    minutes = int(match[2]) * 60 + int(match[3] or 0)
    if minutes > _LARGEST_OFFSET_MIN or int(match[3] or 0) > 59:
        return None
    return float(-minutes if match[1] in ("-", "−") else minutes)


def _start(value: Any) -> float:
    try:
        if isinstance(value, str) and len(value) <= len("2026-05-03"):  # a day alone: Python would take it for a time
            raise ValueError
        moment = value if isinstance(value, datetime.datetime) else datetime.datetime.fromisoformat(value)
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=datetime.UTC)
        return moment.timestamp()
    except (TypeError, ValueError, OverflowError):
        raise _WrongValue('start_utc must be a time such as start_utc = "2026-05-03T15:20:00Z"') from None


def _header_line(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 10_000:
        raise _WrongValue("header_line must be the number of the line with the headers, from 1")
    return value


def _one_of(key: str, known: Mapping[str, str]) -> Callable[[Any], str]:
    def read(value: Any) -> str:
        if not isinstance(value, str) or value not in known:
            raise _WrongValue(f"{key} must be one of {', '.join(map(repr, known))}")
        return known[value]

    return read


#: Keys with one value for the whole file: the field that keeps it, and what reads it. Two of them may be columns, too.
_SETTINGS: dict[str, tuple[str, Callable[[Any], Any]]] = {
    "date": ("date", _date),
    "utc_offset": ("utc_offset_min", _offset),
    "start_utc": ("start_epoch_s", _start),
    "header_line": ("header_line", _header_line),
    "delimiter": ("delimiter", _one_of("delimiter", _DELIMITERS)),
    "decimal": ("decimal", _one_of("decimal", {",": ",", ".": "."})),
}
