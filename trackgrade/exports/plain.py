"""Dataclasses as plain JSON values: times as ISO 8601 UTC with milliseconds, NaN as null, numbers rounded.

A field becomes a key of its name, but for these, which `trackgrade.exports.schema` describes by the same rules: a
``*_epoch_s`` is a time, ``*_utc``; a `Moment` is two keys, ``*_utc`` and ``*_sd_s``; a direction (``*_true_deg``,
``*_mag_deg``) is folded to 0 to 360; what a field made by `spread` holds stands among the keys beside it.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import Field, fields, is_dataclass
from functools import cache, lru_cache, partial
from typing import Any

EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
#: Decimals kept of a number: a tenth of a metre in NM, a tenth of a millisecond in seconds; of a position a centimetre.
DECIMALS, POSITION_DECIMALS = 4, 7
DIRECTIONS = ("_true_deg", "_mag_deg")
POSITIONS = ("_lat", "_lon")
#: How a field says that it is a `Moment`: by its hint, since an object of it may be None.
MOMENTS = ("Moment", "Moment | None")


def spread(*leave_out: str) -> dict[str, frozenset[str]]:
    """Metadata of a field whose keys, but for some, stand among those of the dataclass that has it."""
    return {"spread": frozenset(leave_out)}


def kept(fields_of: Any, leave_out: frozenset[str]) -> Iterator[Field[Any]]:
    """The fields of a dataclass or of one of its objects that are not left out."""
    return (each for each in fields(fields_of) if each.name not in leave_out)


def utc(epoch_s: float | None) -> str | None:
    """Seconds since 1970 as "2026-05-03T15:20:00.000Z"; None for None, NaN, and times no calendar has."""
    if epoch_s is None or not math.isfinite(epoch_s):
        return None
    day, milliseconds = divmod(round(epoch_s * 1000.0), 86_400_000)
    seconds, milliseconds = divmod(milliseconds, 1000)
    minutes, seconds = divmod(seconds, 60)
    date = _date(day)
    return date and f"{date}T{minutes // 60:02}:{minutes % 60:02}:{seconds:02}.{milliseconds:03}Z"


@lru_cache(maxsize=64)
def _date(day: int) -> str | None:
    """The date of a day counted from 1970; None beyond the calendar. A flight has one or two."""
    try:
        return (EPOCH + dt.timedelta(days=day)).date().isoformat()
    except OverflowError:
        return None


def number(value: float | None, decimals: int = DECIMALS) -> float | None:
    """A finite float, rounded; None for None, NaN and infinities. A minus zero is zero."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0


def degrees(value: float | None) -> float | None:
    """A direction in 0 <= d < 360; None for None and NaN."""
    rounded = number(value)
    return None if rounded is None else number(rounded % 360.0)


def plain(value: Any) -> Any:
    """Any of the debrief's values as JSON."""
    write = _WRITERS.get(type(value), _other)
    return value if write is None else write(value)


def _many(values: Any) -> list[Any]:
    return [plain(each) for each in values]


def _other(value: Any) -> Any:
    """Of a kind that is met less often than those in `_WRITERS`."""
    if is_dataclass(value) and not isinstance(value, type):
        return _object(value, frozenset())
    if isinstance(value, Mapping):
        return {str(key): plain(content) for key, content in value.items()}
    for kind, write in _WRITERS.items():
        if isinstance(value, kind):
            return value if write is None else write(value)
    return plain(value.item())  # a numpy scalar knows its Python self


#: By the very kind of a value, what writes it; None: it is written as it is.
_WRITERS: dict[type, Callable[[Any], Any] | None] = {
    type(None): None,
    str: None,
    int: None,
    bool: None,
    float: number,
    list: _many,
    tuple: _many,
}


def _object(value: Any, leave_out: frozenset[str]) -> dict[str, Any]:
    """A dataclass by its keys."""
    keys: dict[str, Any] = {}
    for name, key, write in _forms(type(value), leave_out):  # type: ignore[arg-type]
        written = write(getattr(value, name))
        if key:
            keys[key] = written
        else:
            keys |= written
    return keys


def _direction(value: Any) -> Any:
    return degrees(value) if value is None or isinstance(value, float) else plain(value)


def _position(value: float | None) -> float | None:
    return number(value, POSITION_DECIMALS)


def _moment(name: str, value: Any) -> dict[str, Any]:
    """A `Moment`, or None, by its two keys."""
    when, sd_s = (None, None) if value is None else (utc(value.epoch_s), number(value.sd_s))
    return {f"{name}_utc": when, f"{name}_sd_s": sd_s}


@cache
def _forms(kind: type, leave_out: frozenset[str]) -> tuple[tuple[str, str, Callable[[Any], Any]], ...]:
    """Of each field of a dataclass: its name, its key, and what writes it; the key is "" where several are written."""
    forms: list[tuple[str, str, Callable[[Any], Any]]] = []
    for each in kept(kind, leave_out):
        name = each.name
        if "spread" in each.metadata:
            forms.append((name, "", partial(_object, leave_out=each.metadata["spread"])))
        elif name.endswith("epoch_s"):
            forms.append((name, name.removesuffix("epoch_s") + "utc", utc))
        elif each.type in MOMENTS:
            forms.append((name, "", partial(_moment, name)))
        elif name.endswith(DIRECTIONS):
            forms.append((name, name, _direction))
        elif name.endswith(POSITIONS):
            forms.append((name, name, _position))
        else:
            forms.append((name, name.removesuffix("_"), plain))
    return tuple(forms)


#: JSON text of a value on one line; made once, since a debrief has hundreds of lines.
compact = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode


def readable(values: Mapping[str, Any]) -> str:
    """JSON text for eyes and diffs: each key on a line, each member of its list too, not deeper.

    A whole tree of indented lines is longer, and is written by Python instead of C, which takes several times as long.
    """
    return "{\n" + ",\n".join(f" {compact(key)}: {_a_line_each(value)}" for key, value in values.items()) + "\n}\n"


def _a_line_each(value: Any) -> str:
    if isinstance(value, list) and value:
        return "[\n" + ",\n".join(f"  {compact(each)}" for each in value) + "\n ]"
    return compact(value)
