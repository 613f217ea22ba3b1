"""Columns that a table has in another form: latitude and longitude in one cell, a moment in the columns year to second.

They are made when the table is read and stand behind its own; whatever chooses columns sees them like any other.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from trackgrade.track.columns import header_words

_ONE = r"[+\-−]?[0-9]{1,3}\.[0-9]+°?\s*"
#: Both coordinates of a cell, such as 44.123, -93.456 or POINT (-93.456 44.123).
_BOTH = re.compile(
    rf"(POINT)?\s*Z?\s*[(\[]?\s*({_ONE}[NSEW]?)\s*[,;/ ]\s*({_ONE}[NSEW]?)\s*(?:[,; ]\s*[0-9.\-]+)?[)\]]?"
)
#: A number that is written as positions are.
_DECIMALS = re.compile(r"[+\-]?[0-9]{1,3}\.[0-9]{3,}")
_MOSTLY = 0.7  # share of the filled cells that must look so
#: The columns of a moment, by the words of their headers; the first four must be there.
_PARTS = (
    ("year", "yr", "yyyy"),
    ("month", "mon", "mm"),
    ("day", "dd"),
    ("hour", "hr", "hh"),
    ("minute", "minutes", "min", "mi"),
    ("second", "seconds", "sec", "s"),
)
_NEEDED = 4
#: Words behind "lat" and "lon" for the parts of an angle.
_ANGLE_PARTS = (
    (("deg",), ("degs",), ("degree",), ("degrees",), ("d",)),
    (("min",), ("mins",), ("minute",), ("minutes",)),
    (("sec",), ("seconds",), ("s",)),
)


@dataclass(frozen=True, eq=False)
class Made:
    """One more column: its header, the columns it is made of, and which part of a cell it is.

    ``part`` 0: a moment joined of its parts; -1: degrees, minutes and seconds joined by blanks.
    """

    header: str
    of: tuple[int, ...]
    part: int = 0

    def cells(self, columns: Mapping[int, Any]) -> Any:
        """Its cells (pandas Series of text) from those of its columns."""
        if self.part < 0:
            return _joined([columns[i] for i in self.of])
        if self.part:
            return columns[self.of[0]].str.extract(f"^{_BOTH.pattern}$")[self.part - 1].fillna("").str.strip()
        parts = [columns[i].str.replace(r"\.0*$", "", regex=True) for i in self.of[:_NEEDED]]
        whole = parts[0] + "-" + parts[1] + "-" + parts[2] + " " + parts[3]
        for i in self.of[_NEEDED:]:
            whole = whole + ":" + columns[i].str.replace(r"^([0-9])(?=\.|$)", r"0\1", regex=True)
        return whole if len(self.of) > _NEEDED else whole + ":00"


def made_of(headers: Sequence[str], sample: Sequence[Sequence[str]], named: set[str]) -> tuple[Made, ...]:
    """The columns to make; ``named`` are the quantities that the headers name."""
    place = parted_places(headers) if {"lat", "lon"} <= named else places(headers, sample)
    return (*place, *(() if named & {"time_utc", "time_of_day"} else moment(headers)))


def places(headers: Sequence[str], sample: Sequence[Sequence[str]]) -> tuple[Made, ...]:
    """Latitude and longitude of the column that holds both, or nothing."""
    for index, header in enumerate(headers):
        cells = [row[index] for row in sample if index < len(row) and row[index]]
        found = [match for match in map(_BOTH.fullmatch, cells) if match is not None]
        if not found or len(found) < _MOSTLY * len(cells):
            continue
        words = header_words(header)
        swapped = "lon" in words and words.index("lon") < (words.index("lat") if "lat" in words else 0)
        if found[0][1] or swapped or any(_beyond_90(match[2]) for match in found):
            return (Made("latitude", (index,), 3), Made("longitude", (index,), 2))
        return (Made("latitude", (index,), 2), Made("longitude", (index,), 3))
    return ()


def parted_places(headers: Sequence[str]) -> tuple[Made, ...]:
    """Latitude and longitude of columns of degrees and columns of minutes (and seconds), or nothing."""
    words = [header_words(header) for header in headers]
    made = []
    for axis in ("lat", "lon"):
        of = [i for part in _ANGLE_PARTS for i, found in enumerate(words) if found[:1] == (axis,) and found[1:] in part]
        if len(of) > 1 and words[of[0]][1:] in _ANGLE_PARTS[0] and words[of[1]][1:] in _ANGLE_PARTS[1]:
            made.append(Made(axis, tuple(of), -1))
    return tuple(made) if len(made) == 2 else ()


def bare_places(sample: Sequence[Sequence[str]]) -> tuple[int, int] | None:
    """The columns of latitude and longitude where no header names any, or None where the cells leave it open.

    They are the only two of decimal numbers of a position's size, and the one that goes beyond 90 is the longitude.
    """
    width = min((len(row) for row in sample), default=0)
    found = []
    for index in range(width):
        cells = [row[index] for row in sample]
        if all(_DECIMALS.fullmatch(cell) for cell in cells) and all(abs(float(cell)) <= 180.0 for cell in cells):
            found.append((index, max(abs(float(cell)) for cell in cells)))
    if len(found) != 2 or (found[0][1] > 90.0) == (found[1][1] > 90.0):
        return None
    (one, first), (two, _) = found
    return (two, one) if first > 90.0 else (one, two)


def moment(headers: Sequence[str]) -> tuple[Made, ...]:
    """The moment that stands in columns from year to second, or nothing."""
    words = [header_words(header) for header in headers]
    of = []
    for names in _PARTS:
        at = [i for i, found in enumerate(words) if found and found[0] in names and set(found[1:]) <= {"utc"}]
        if not at:
            break
        of.append(at[0])
    if len(of) < _NEEDED:
        return ()
    utc = " utc" if any("utc" in words[i] for i in of) else ""
    return (Made(f"date time{utc}", tuple(of)),)


def _beyond_90(text: str) -> bool:
    digits = re.match(r"[+\-−]?([0-9]{1,3})", text)
    return digits is not None and int(digits[1]) >= 90


def _joined(parts: Sequence[Any]) -> Any:
    """Columns of text, cell by cell with a blank between."""
    whole = parts[0].str.replace(r"\.0*$", "", regex=True)
    for part in parts[1:]:
        whole = whole + " " + part
    return whole
