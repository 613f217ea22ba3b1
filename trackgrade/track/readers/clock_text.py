"""Dates and clocks as text: the forms they are written in, and the days and seconds they mean."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pandas as pd

from trackgrade.track.columns_map import offset_minutes
from trackgrade.track.track import Bools, Floats

_YMD = r"(?P<year>[0-9]{4})[-/.:](?P<month>[0-9]{1,2})[-/.:](?P<day>[0-9]{1,2})"
_YMD8 = r"(?P<year>[0-9]{4})(?P<month>[0-9]{2})(?P<day>[0-9]{2})"
_ABY = r"(?P<a>[0-9]{1,2})(?P<mark>[-/.])(?P<b>[0-9]{1,2})[-/.](?P<year>[0-9]{4}|[0-9]{2})"
_WEEKDAY = r"(?:(?:[Mm]on|[Tt]ue|[Ww]ed|[Tt]hu|[Ff]ri|[Ss]at|[Ss]un)[a-z]{0,6},?\s+)?"
_NAMED = _WEEKDAY + r"(?P<day>[0-9]{1,2})[- ](?P<name>[A-Za-z]{3,9})\.?[-, ]+(?P<year>[0-9]{4}|[0-9]{2})"
_NAME_FIRST = _WEEKDAY + r"(?P<name>[A-Za-z]{3,9})\.?\s+(?P<day>[0-9]{1,2})"
_CLOCK = (
    r"(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2})(?::(?P<second>[0-9]{2}(?:[.,][0-9]{1,12})?))?"
    r"(?:\s*(?P<half>[AaPp])\.?[Mm]\.?)?"
)
_CLOCK6 = r"(?P<hour>[0-9]{1,2})(?P<minute>[0-9]{2})(?P<second>[0-9]{2}(?:[.,][0-9]{1,12})?)"
# "GMT+0200 (CEST)", "+02", "EST": a name alone is no offset, for one name stands for several.
_OFFSET = r"(?:(?:UTC|GMT)(?=[+\-−]))?(?P<zone>Z|z|UTC|GMT|[+\-−][0-9]{2}:?[0-9]{2}|[+\-−][0-9]{2})"
_ZONE = rf"\s*(?:{_OFFSET}(?:\s*\([A-Za-z .]{{1,40}}\))?|(?P<zone_name>[A-Z]{{3,5}}))?"
_BETWEEN = r"(?:T|\s*[,_ ]\s*|\s+)"

#: Forms of a cell. "moment" has a date and a time, "day" a date, "clock" a time of day.
FORMS: tuple[tuple[str, str], ...] = (
    ("moment", _YMD + _BETWEEN + _CLOCK + _ZONE),
    ("moment", _YMD8 + r"[T _-]" + _CLOCK6 + _ZONE),
    ("moment", _ABY + _BETWEEN + _CLOCK + _ZONE),
    ("moment", _NAMED + _BETWEEN + _CLOCK + _ZONE),
    ("day", _YMD),
    ("day", _ABY),
    ("day", _NAMED),
    ("day", _YMD8),
    ("clock", _CLOCK + _ZONE),
    ("clock", _CLOCK6 + r"(?P<zone>Z|z)?"),
    ("day", r"(?P<a>[0-9]{2})(?P<b>[0-9]{2})(?P<c>[0-9]{2})"),
    ("moment", _NAME_FIRST + r",?\s+(?P<year>[0-9]{4})" + _BETWEEN + _CLOCK + _ZONE),
    ("day", _NAME_FIRST + r",?\s+(?P<year>[0-9]{4})"),
    ("moment", _YMD8 + r"(?P<hour>[0-9]{2})(?P<minute>[0-9]{2})(?P<second>[0-9]{2}(?:[.,][0-9]{1,12})?)" + _ZONE),
    ("moment", _NAME_FIRST + r"\s+" + _CLOCK + r"\s+(?P<year>[0-9]{4})"),
)
FORM_PATTERNS = tuple((kind, re.compile(pattern)) for kind, pattern in FORMS)
BARE_DAY = 7  # index of the bare eight digits: a day only where a date is wanted
BARE_CLOCK = 9  # and of the bare six digits (five where a sheet dropped the zero): a clock only beside a date
BARE_DAY6 = 10  # six digits under a header that says date; only a map can say which two are the day
_MONTHS = {
    name: number
    for number, name in enumerate("jan feb mar apr may jun jul aug sep oct nov dec".split(), start=1)  # noqa: SIM905
}


def parts_of(cells: Any, form: int) -> Any:
    """A frame with one column for each part of the form, text or NaN; ``cells`` is a pandas Series of text."""
    return cells.str.extract(f"^{FORMS[form][1]}$")


def _number(parts: Any, name: str, blank: float = np.nan) -> Floats:
    if name not in parts:
        return np.full(len(parts), blank)
    text = parts[name].str.replace(",", ".", regex=False)
    values = np.array(pd.to_numeric(text, errors="coerce"), dtype=np.float64)
    return values if np.isnan(blank) else np.where(np.isnan(values), blank, values)


def seconds_of_day(parts: Any) -> Floats:
    """Seconds since midnight, NaN for a clock that does not exist."""
    hour, minute = _number(parts, "hour"), _number(parts, "minute")
    second = _number(parts, "second", 0.0)
    with np.errstate(invalid="ignore"):
        wrong = (minute > 59) | (second >= 61) | (hour > 23)
        if "half" in parts and parts["half"].notna().any():
            half = parts["half"].str.lower()
            wrong |= np.asarray(half.notna()) & ((hour > 12) | (hour < 1))
            hour = np.where(half.notna(), np.mod(hour, 12), hour) + np.where(half == "p", 12.0, 0.0)
    return np.where(wrong, np.nan, hour * 3600.0 + minute * 60.0 + second)


def zones(parts: Any) -> tuple[Floats, Bools]:
    """Seconds east of UTC (0 where none is named), and which rows name a zone; unreadable rows count as naming one."""
    unreadable = np.asarray(parts["hour"].isna())
    if "zone" not in parts:
        return np.zeros(len(parts)), unreadable
    known: dict[Any, float] = {}
    for text in parts["zone"].dropna().unique():
        minutes = offset_minutes(text)
        known[text] = 0.0 if text in ("UTC", "GMT") else np.nan if minutes is None else minutes * 60.0
    seconds = np.array([known.get(text, 0.0) for text in parts["zone"]], dtype=np.float64)
    return seconds, np.asarray(parts["zone"].notna()) | unreadable


def first_is_day(parts: Any) -> bool | None:
    """For dates such as 03/05/2026: whether the first number is the day; None where the numbers do not tell."""
    a, b = _number(parts, "a"), _number(parts, "b")
    with np.errstate(invalid="ignore"):
        a_is_day, b_is_day = bool((a > 12).any()), bool((b > 12).any())
    return a_is_day if a_is_day != b_is_day else None


def year_first(parts: Any) -> Any:
    """The parts of six digits that begin with the year, named as such."""
    return parts.rename(columns={"a": "year", "b": "month", "c": "day"})


def days_since_1970(parts: Any, day_first: bool) -> Floats:
    """Days since 1970, NaN for a day that the calendar does not have; two-digit years are 1980 to 2079."""
    if "c" in parts:  # six digits, year last: the day or the month comes first
        parts = parts.rename(columns={"c": "year"})
    year = _number(parts, "year")
    short = np.asarray(parts["year"].str.len() == 2)
    with np.errstate(invalid="ignore"):
        year = np.where(short, year + np.where(year < 80, 2000.0, 1900.0), year)
    if "a" in parts:
        first, second = _number(parts, "a"), _number(parts, "b")
        month, day = (second, first) if day_first else (first, second)
    elif "name" in parts:
        month = np.array(parts["name"].str.lower().str[:3].map(_MONTHS), dtype=np.float64)
        day = _number(parts, "day")
    else:
        month, day = _number(parts, "month"), _number(parts, "day")
    with np.errstate(invalid="ignore"):
        good = np.isfinite(year) & (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0).astype(np.int64).astype("datetime64[M]")
    dates = months.astype("datetime64[D]") + np.where(good, day - 1, 0).astype("timedelta64[D]")
    good &= dates.astype("datetime64[M]") == months  # 31 April is not 1 May
    return np.where(good, dates.astype(np.int64).astype(np.float64), np.nan)
