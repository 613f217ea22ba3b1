"""Days of a file: by its own figures, or in its name where it has none: 2026-05-03-flight.igc, log_20260503.nmea."""

from __future__ import annotations

import datetime
import re

_IN_NAME = re.compile(r"(?<![0-9])((?:19|20)[0-9]{2})([-_.]?)([01][0-9])\2([0-3][0-9])(?![0-9])")
_CENTURY = 80  # two-digit years from here on are 19..: GPS time begins in 1980


def calendar_day(year: int, month: int, day: int) -> datetime.date | None:
    """The day, of a year of two digits or of four; None where the calendar has none."""
    if year < 100:
        year += 1900 if year >= _CENTURY else 2000
    try:
        return datetime.date(year, month, day)
    except ValueError:
        return None


def midnight_s(day: datetime.date) -> float:
    """When the day begins, in UTC [s since 1970]."""
    return datetime.datetime.combine(day, datetime.time(), datetime.UTC).timestamp()


def date_in_name(source: str, told: list[str]) -> datetime.date | None:
    """The date, and a note that it was taken; None where the name has none that the calendar has."""
    for year, _, month, day in _IN_NAME.findall(source):
        if date := calendar_day(int(year), int(month), int(day)):
            told.append(f"the file has no date: {date.isoformat()} was taken from its name")
            return date
    return None
