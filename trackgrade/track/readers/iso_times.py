"""Times in ISO 8601, many at once: plain ones all together, odd ones (an offset, no zone, one digit) one by one."""

from __future__ import annotations

import datetime as dt
import re
from calendar import isleap
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from trackgrade.track.track import Bools, Floats

_LARGEST_OFFSET_MIN = 14 * 60  # UTC+14 is the farthest zone in use
_MICROSECOND = dt.timedelta(microseconds=1)
_EPOCH = dt.datetime(1970, 1, 1)
#: One letter more than the longest plain time, so that a longer text does not look like one that was cut to fit.
_WIDTH = len("0000-00-00T00:00:00.000000Z") + 1
_SHORTEST_USUAL = len("0000-00-00T00:00:00")
_YEARS = np.array([1000, 100, 10, 1])
#: Of each month, by two digits; nought where there is none.
_DAYS = np.array([0, 31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31] + [0] * 87, dtype=np.uint8)
_MOMENT = np.frombuffer(b"0000-00-00T00:00:00", dtype=np.uint8)
#: Compiled when the first odd time is read: most files have none.
_ODD = (
    r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})[Tt ]\s?([0-9]{1,2}):([0-9]{1,2}):([0-9]{1,2})"
    r"(?:[.,]([0-9]{1,15}))?\s?(?:([Zz])|([+\-−])([0-9]{2}):?([0-9]{2})?)?"
)


@dataclass(eq=False)
class IsoTimes:
    """Reads the times of a file and remembers what is to be told of their zones."""

    count: int = 0
    without_zone: int = 0
    offsets_min: Counter[int] = field(default_factory=Counter)

    def epochs_s(self, texts: Sequence[str]) -> Floats:
        """Seconds since 1970 UTC (n,), NaN where a text is no time; without a zone it is taken as UTC."""
        self.count += len(texts)
        plain = plain_texts_s(texts)
        return plain if plain is not None else np.array([self._odd(text) for text in texts], dtype=np.float64)

    def notes(self, standard: str) -> list[str]:
        """Sentences on zones other than UTC; ``standard`` is what says that times are UTC."""
        told = []
        if self.without_zone:
            told.append(
                f"{self.without_zone} of {self.count} times name no zone: taken as UTC, which {standard} prescribes"
            )
        if self.offsets_min:
            zones = sorted(self.offsets_min)
            shown = ", ".join(f"{'-' if z < 0 else '+'}{abs(z) // 60:02d}:{abs(z) % 60:02d}" for z in zones[:5])
            told.append(f"times carry the offset {shown}{' and more' if len(zones) > 5 else ''}: made UTC")
        return told

    def _odd(self, text: str) -> float:
        text = text.strip()
        moment = _moment(text)
        if moment is None:
            return np.nan
        offset = moment.utcoffset()
        offset_min = 0 if offset is None else round(offset.total_seconds() / 60.0)
        if abs(offset_min) > _LARGEST_OFFSET_MIN:
            return np.nan
        if offset is None:
            self.without_zone += 1
        elif offset_min:
            self.offsets_min[offset_min] += 1
        return (moment.replace(tzinfo=None) - _EPOCH) // _MICROSECOND / 1e6 - offset_min * 60.0


def _moment(text: str) -> dt.datetime | None:
    """A date with a time of day to the second, with its zone where it has one; finer than microseconds is cut."""
    if len(text) < _SHORTEST_USUAL or text[10] not in "T ":  # a day alone is no time, though Python takes it for one
        return _by_parts(text)
    try:
        return dt.datetime.fromisoformat(text)
    except ValueError:
        return _by_parts(text)


def _by_parts(text: str) -> dt.datetime | None:
    match = re.fullmatch(_ODD, text)
    if match is None:
        return None
    zone = None
    try:
        if match[8] or match[9]:
            size = dt.timedelta(hours=int(match[10] or 0), minutes=int(match[11] or 0))
            zone = dt.timezone(size if match[9] == "+" else -size)
        year, month, day, hour, minute, second = (int(match[i]) for i in range(1, 7))
        microsecond = int((match[7] or "")[:6].ljust(6, "0"))
        return dt.datetime(year, month, day, hour, minute, second, microsecond, tzinfo=zone)
    except ValueError:  # not in the calendar, or no zone on earth
        return None


def plain_texts_s(texts: Sequence[str]) -> Floats | None:
    """As `plain_epochs_s`, of texts of any kind."""
    try:
        return plain_epochs_s(np.array(texts, dtype=f"S{_WIDTH}"))
    except UnicodeEncodeError:
        return None


def plain_epochs_s(texts: npt.NDArray[np.bytes_]) -> Floats | None:
    """Seconds since 1970 (n,); None where one is not ISO 8601 with seconds and a Z, or not in the calendar."""
    # Strictly: numpy would take a zone, or a second Z, with no more than a warning.
    letters = np.ascontiguousarray(texts).view(np.uint8).reshape(len(texts), -1)
    moment, rest = letters[:, : len(_MOMENT)], letters[:, len(_MOMENT) :]
    if not np.where(ord("0") == _MOMENT, _digits(moment), moment == _MOMENT).all():
        return None
    place = np.arange(rest.shape[1])
    end = np.argmax(rest == ord("Z"), axis=1)[:, None]
    fraction = np.where(place == 0, rest == ord("."), _digits(rest))
    right = np.where(place < end, fraction, np.where(place == end, rest == ord("Z"), rest == 0))
    if not right.all() or (end == 1).any():
        return None
    # Whether it is in the calendar is not left to numpy: of over 500 texts, one that is not ends the process (2.4.6).
    numbers = moment - ord("0")
    month, day, hour, minute, second = (10 * numbers[:, at] + numbers[:, at + 1] for at in (5, 8, 11, 14, 17))
    if not ((day - 1 < _DAYS[month]) & (hour < 24) & (minute < 60) & (second < 60)).all():
        return None
    leap_days = (month == 2) & (day == 29)
    if leap_days.any() and not all(isleap(int(year)) for year in np.unique(numbers[leap_days, :4] @ _YEARS)):
        return None
    moments = np.where(letters == ord("Z"), 0, letters).astype(np.uint8).view(texts.dtype)[:, 0].astype("M8[us]")
    return np.asarray(moments.astype(np.int64) / 1e6)


def _digits(letters: npt.NDArray[np.uint8]) -> Bools:
    return (letters >= ord("0")) & (letters <= ord("9"))
