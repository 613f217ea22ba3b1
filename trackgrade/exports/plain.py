"""Dataclasses as plain JSON values: times as ISO 8601 UTC with milliseconds, NaN as null, numbers rounded."""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
#: Decimals kept of a number: a tenth of a metre in NM, a tenth of a millisecond in seconds.
DECIMALS = 4


def utc(epoch_s: float | None) -> str | None:
    """Seconds since 1970 as "2026-05-03T15:20:00.000Z"; None for None, NaN, and times no calendar has."""
    if epoch_s is None or not math.isfinite(epoch_s):
        return None
    try:
        moment = EPOCH + dt.timedelta(milliseconds=round(epoch_s * 1000.0))
    except OverflowError:
        return None
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z"


def number(value: float | None, decimals: int = DECIMALS) -> float | None:
    """A finite float, rounded; None for None, NaN and infinities. A minus zero is zero."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), decimals) + 0.0


def degrees(value: float | None) -> float | None:
    """A direction in 0 <= d < 360; None for None and NaN."""
    rounded = number(value)
    return None if rounded is None else number(rounded % 360.0)


def plain(value: Any, *, leave_out: frozenset[str] = frozenset()) -> Any:
    """Any of the debrief's values as JSON: dataclasses as objects, ``*_epoch_s`` renamed ``*_utc``."""
    if is_dataclass(value) and not isinstance(value, type):
        out: dict[str, Any] = {}
        for each in fields(value):
            if each.name in leave_out:
                continue
            content = getattr(value, each.name)
            if each.name.endswith("epoch_s"):
                out[each.name.removesuffix("epoch_s") + "utc"] = utc(content)
            else:
                out[each.name] = plain(content)
        return out
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    if isinstance(value, float):
        return number(value)
    if isinstance(value, Mapping):
        return {str(key): plain(content) for key, content in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    return plain(value.item())  # a numpy scalar knows its Python self


def readable(values: Mapping[str, Any]) -> str:
    """JSON text for eyes and diffs: each key on a line, each member of its list too, not deeper.

    A whole tree of indented lines is longer, and is written by Python instead of C, which takes several times as long.
    """
    return "{\n" + ",\n".join(f" {_compact(key)}: {_a_line_each(value)}" for key, value in values.items()) + "\n}\n"


def _a_line_each(value: Any) -> str:
    if isinstance(value, list) and value:
        return "[\n" + ",\n".join(f"  {_compact(each)}" for each in value) + "\n ]"
    return _compact(value)


def _compact(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
