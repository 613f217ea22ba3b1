"""The date in a file's name, for files that have none themselves: 2026-05-03-flight.igc, log_20260503_1520.nmea."""

from __future__ import annotations

import datetime
import re

_IN_NAME = re.compile(r"(?<![0-9])((?:19|20)[0-9]{2})([-_.]?)([01][0-9])\2([0-3][0-9])(?![0-9])")


def date_in_name(source: str, told: list[str]) -> datetime.date | None:
    """The date, and a note that it was taken; None where the name has none that the calendar has."""
    for year, _, month, day in _IN_NAME.findall(source):
        try:
            date = datetime.date(int(year), int(month), int(day))
        except ValueError:
            continue
        told.append(f"the file has no date: {date.isoformat()} was taken from its name")
        return date
    return None
