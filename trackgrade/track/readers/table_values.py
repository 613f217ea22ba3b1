"""Cells of a table as numbers: decimal marks, units written into cells, degrees and minutes as text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trackgrade.earth.angles import written_deg
from trackgrade.track.columns import UNITS, Kind, Unit, header_words, unit_of
from trackgrade.track.track import Bools, Floats

_NUMBER_AND_UNIT = re.compile(r"([+-]?[0-9][0-9.,]*(?:[eE][+-]?[0-9]{1,3})?)\s*([^0-9\s][^0-9]{0,20})?")
#: 4,001 or 4.001,5: thousands parted by the mark that is not the decimal one, perhaps with a unit behind.
_GROUPED = {
    ",": r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]*)?(?:\s*[^0-9\s][^0-9]{0,20})?",
    ".": r"[+-]?[0-9]{1,3}(?:\.[0-9]{3})+(?:,[0-9]*)?(?:\s*[^0-9\s][^0-9]{0,20})?",
}
_GROUP_BLANK = re.compile(r"(?<=[0-9])['’ \u00a0\u2009\u202f](?=[0-9]{3}(?![0-9]))")
_FLIGHT_LEVEL = re.compile(r"[Ff][Ll]\s?([0-9]{2,3})")
_FLIGHT_LEVEL_UNIT = next(unit for unit in UNITS["length"] if unit.name == "fl")
#: Texts that loggers write where they have no value.
_NO_VALUE = frozenset(["", "-", "--", "---", "n/a", "na", "nan", "null", "none", "nil", "#n/a", "invalid", "?"])


@dataclass(frozen=True, eq=False)
class Numbers:
    """``values`` (n,), NaN where blank or unreadable; which cells are ``unreadable``; a unit met in the cells."""

    values: Floats
    unreadable: Bools
    unit: Unit | None = None


def is_blank(cells: Any) -> Bools:
    """Which cells hold no value: empty, or a word that says so."""
    return np.asarray(cells.str.strip().str.lower().isin(_NO_VALUE), dtype=bool)


def numbers(cells: Any, kind: Kind, decimal: str, stated: Unit | None = None) -> Numbers:
    """A column of text (pandas Series) as numbers.

    ``decimal`` is the mark of the file; ``stated`` the unit that cells without one are in, as far as it is known.
    """
    groups = _group_mark(cells, kind, decimal)
    plain = cells.str.replace(groups, "", regex=False) if groups == "." else cells
    values = np.array(pd.to_numeric(plain, errors="coerce"), dtype=np.float64)
    values[~np.isfinite(values)] = np.nan
    left = np.flatnonzero(np.isnan(values))
    if not len(left):
        return Numbers(values, np.zeros(len(values), dtype=bool))
    blank = is_blank(cells)
    unreadable = np.zeros(len(values), dtype=bool)
    levels = np.zeros(len(values), dtype=bool)
    units: dict[str, Unit] = {}
    texts = cells.to_numpy(dtype=object)
    for row in left[~blank[left]]:
        text = texts[row].strip().replace("−", "-")
        if kind == "length":
            if level := _FLIGHT_LEVEL.fullmatch(text):
                values[row], levels[row] = float(level[1]), True
                continue
            text = _GROUP_BLANK.sub("", text)
        match = _NUMBER_AND_UNIT.fullmatch(text)
        value = None if match is None else _float(match[1], groups)
        if match is None or value is None:
            unreadable[row] = True
            continue
        if match[2]:
            words = header_words(match[2])
            unit = unit_of(words, kind)
            if unit is None or any(w not in unit.words and w not in ("msl", "amsl") for w in words):
                unreadable[row] = True
                continue
            units[unit.name] = unit
        values[row] = value
    # Two units in one column: neither can be trusted for the cells that name none.
    if len(units) > 1:
        return Numbers(np.full(len(values), np.nan), ~blank)
    unit = next(iter(units.values()), None)
    if levels.any() and (unit is not None or np.isfinite(values[~levels]).any()):
        # Feet below the transition altitude, levels above it: a level says itself what it is, and the rest is feet too.
        unit = unit or stated or UNITS["length"][0]
        values[levels] *= _FLIGHT_LEVEL_UNIT.factor / unit.factor
    elif levels.any():
        unit = _FLIGHT_LEVEL_UNIT
    return Numbers(values, unreadable, unit)


def _group_mark(cells: Any, kind: Kind, decimal: str) -> str:
    """The mark that parts thousands in this column, "." or ","; "" where none does. Only heights run to thousands."""
    other = "." if decimal == "," else ","
    if kind != "length":
        return ""
    marked = cells[cells.str.contains(other, regex=False)]
    return other if len(marked) and marked.str.fullmatch(_GROUPED[other]).all() else ""


def _float(text: str, groups: str) -> float | None:
    """A number with point or comma; of two different marks the last is the decimal one."""
    point, comma = text.rfind("."), text.rfind(",")
    if point >= 0 and comma >= 0:
        groups = "," if point > comma else "."
    elif not groups:
        groups = next((mark for mark in ".," if text.count(mark) > 1), "")
    text = text.replace(groups, "") if groups else text
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        return None
    return value if np.isfinite(value) else None


def degrees(cells: Any, axis: str, unit: str, decimal: str) -> tuple[Numbers, str]:
    """Latitudes ("lat") or longitudes ("lon") [deg], and in which form they were written.

    ``unit`` is "" (find out), "deg", "dms" or "ddmm" (degrees and minutes run together, 4412.345).
    """
    read = numbers(cells, "position", decimal)
    if unit == "ddmm":
        return _run_together(read), "ddmm"
    plain = int(np.count_nonzero(np.isfinite(read.values)))
    if not read.unreadable.any() or (unit == "deg" and plain):
        return read, "deg"
    values, unreadable = read.values.copy(), read.unreadable.copy()
    texts = cells.to_numpy(dtype=object)
    parted = 0
    for row in np.flatnonzero(read.unreadable):
        found = written_deg(texts[row], "NS" if axis == "lat" else "EW")
        if found is not None:
            values[row], unreadable[row] = found[0], False
            parted += found[1]
    return Numbers(values, unreadable), "degrees and minutes" if parted else "deg with N, S, E, W"


def _run_together(read: Numbers) -> Numbers:
    size = np.abs(read.values)
    whole = np.floor(size / 100.0)
    minutes = size - 100.0 * whole
    with np.errstate(invalid="ignore"):
        wrong = minutes >= 60.0
    values = np.where(wrong, np.nan, np.copysign(whole + minutes / 60.0, read.values))
    return Numbers(values, read.unreadable | wrong)


def apply_side(values: Floats, sides: Any) -> Floats:
    """Positions made negative where the side column says S or W; NaN where it says nothing known."""
    letters = sides.str.strip().str.upper().str[:1].to_numpy(dtype=object)
    sign = np.array([{"N": 1.0, "E": 1.0, "S": -1.0, "W": -1.0}.get(s, np.nan) for s in letters], dtype=np.float64)
    return np.abs(values) * sign
