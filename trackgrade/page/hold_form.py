"""A hold as a form: fields named as the keys of a hold file, checked by the one reader of hold files, told in words.

``fix.from.radial_deg`` is the field, the key, and what a message is about; `LABELS` says what people call it.
"""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from trackgrade.earth.angles import written_deg
from trackgrade.errors import HoldFileError
from trackgrade.files import plain_text
from trackgrade.hold.hold import Hold
from trackgrade.hold.holdfile import read_hold, write_hold_file
from trackgrade.hold.plan import HoldPlan
from trackgrade.hold.setup import resolve

_STATION = {
    "lat": "Latitude of the station",
    "lon": "Longitude of the station",
    "radial_deg": "Radial",
    "variation_deg": "Variation of the station",
}
#: Levels assigned later that a form takes.
MOST_LEVELS = 20
_LEVEL = {"altitude_ft": "then", "from_utc": "from"}
#: What people call each field. Fields that are no number are in `TEXTS`, `TIMES` and `POSITIONS`.
LABELS: dict[str, str] = {
    "name": "Name",
    "inbound_course_deg": "Inbound course",
    "north": "North",
    "variation_deg": "Variation",
    "turns": "Turns",
    "altitude_ft": "Altitude",
    "airspeed_kias": "Airspeed",
    **{
        f"levels[{n}].{key}": f"Level {n + 1}: {words}"
        for n in range(1, MOST_LEVELS + 1)
        for key, words in _LEVEL.items()
    },
    "arrive_utc": "Time to leave the fix",
    "qnh_hpa": "QNH",
    "fix.lat": "Latitude of the fix",
    "fix.lon": "Longitude of the fix",
    **{f"fix.from.{key}": words for key, words in _STATION.items()},
    "fix.from.dme_nm": "Distance from the station",
    **{f"fix.radials[1].{key}": f"{words} (first)" for key, words in _STATION.items()},
    **{f"fix.radials[2].{key}": f"{words} (second)" for key, words in _STATION.items()},
    "leg.minutes": "Leg in minutes",
    "leg.nm": "Leg in NM",
    "guidance.kind": "Needle",
    "guidance.full_scale_nm": "Full scale, GPS",
    "guidance.full_scale_deg": "Full scale, VOR",
    "guidance.station_lat": "Latitude of the VOR",
    "guidance.station_lon": "Longitude of the VOR",
    "guidance.station_variation_deg": "Variation of the VOR",
    "guidance.course_set_deg": "Course set",
    "guidance.flag": "Flag",
}
TEXTS = ("name", "north", "turns", "guidance.kind", "guidance.flag")
#: Fields that count only where the form says so: by the choice, its value, and how their names begin.
WAYS = {
    "fix_way": {"position": ("fix.lat", "fix.lon"), "from": ("fix.from.",), "radials": ("fix.radials",)},
    "leg_way": {"altitude": (), "minutes": ("leg.minutes",), "nm": ("leg.nm",)},
}
_VOR_ONLY = ("guidance.station_", "guidance.full_scale_deg", "guidance.course_set_deg", "guidance.flag")
#: An altitude as it is printed, 4,000, which is no decimal comma: nobody is assigned 4.000 ft.
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(?:[,' ][0-9]{3})+")
EMPTY = {
    "north": "magnetic",
    "turns": "right",
    "fix_way": "position",
    "leg_way": "altitude",
    "guidance.kind": "gps",
    "guidance.full_scale_nm": "1.0",
}


@dataclass(frozen=True, eq=False)
class Checked:
    """What came of a form: the hold, or what is wrong in words and the field that it is about."""

    plan: HoldPlan | None = None
    hold: Hold | None = None
    problem: str = ""
    field: str = ""


class _Wrong(Exception):
    """A field that holds no value of its kind."""

    def __init__(self, field: str, reason: str) -> None:
        super().__init__(f"{LABELS[field]}: {reason}")
        self.field = field


def check(form: Mapping[str, str], date: dt.date) -> Checked:
    """The hold of a form, resolved for a day; never raises for what is typed."""
    try:
        plan = read_hold(_as_hold_file(form))
        return Checked(plan, resolve(plan, date))
    except _Wrong as wrong:
        return Checked(problem=str(wrong), field=wrong.field)
    except HoldFileError as error:
        return _in_words(str(error))


def form_of(plan: HoldPlan) -> dict[str, str]:
    """The form that a hold fills."""
    form = EMPTY | {"guidance.full_scale_nm": ""} | _flat(tomllib.loads(write_hold_file(plan)))
    form["fix_way"] = next(
        way for way, names in WAYS["fix_way"].items() if any(key.startswith(names) for key in form if "." in key)
    )
    form["leg_way"] = "minutes" if "leg.minutes" in form else "nm" if "leg.nm" in form else "altitude"
    return form


def _flat(table: Mapping[str, Any], path: str = "") -> dict[str, str]:
    flat: dict[str, str] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            flat |= _flat(value, f"{path}{key}.")
        elif isinstance(value, list):
            for number, each in enumerate(value, 1):
                flat |= _flat(each, f"{path}{key}[{number}].")
        elif isinstance(value, dt.datetime):
            flat[path + key] = value.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S")
        else:
            flat[path + key] = str(value)
    return flat


def _as_hold_file(form: Mapping[str, str]) -> dict[str, Any]:
    """The form as a hold file holds it: nested, numbers as numbers; what is left blank is not there."""
    counts = [name for way, ways in WAYS.items() for name in ways.get(form.get(way, ""), ())]
    hold: dict[str, Any] = {}
    for field in LABELS:
        text = form.get(field, "").strip()
        by_way = field.startswith(("fix.", "leg."))
        if by_way and not field.startswith(tuple(counts) or ("-",)):
            continue
        if not text and not (by_way and field.endswith((".lat", ".lon"))):  # a place that the way asks for is needed
            continue
        if form.get("guidance.kind") != "vor" and field.startswith(_VOR_ONLY):
            continue
        _put(hold, field, _value(field, text))
    if "levels" in hold:
        hold["levels"] = [level for level in hold["levels"] if level]
    return hold


def _put(hold: dict[str, Any], field: str, value: Any) -> None:
    """A value at its place: ``fix.radials[2].lat`` is in the second table of a list."""
    *tables, key = field.split(".")
    place = hold
    for table in tables:
        name, _, number = table.rstrip("]").partition("[")
        if number:
            listed = place.setdefault(name, [])
            listed += [{} for _ in range(int(number) - len(listed))]
            place = listed[int(number) - 1]
        else:
            place = place.setdefault(name, {})
    place[key] = value


def _value(field: str, text: str) -> Any:
    if field in TEXTS:
        return plain_text(text)
    if field.endswith("_utc"):
        try:
            moment = dt.datetime.fromisoformat(text.upper())
            if len(text) <= len("2026-05-03"):  # a day alone is no time, though Python takes it for one
                raise ValueError
            return moment.replace(tzinfo=moment.tzinfo or dt.UTC).astimezone(dt.UTC)
        except (ValueError, OverflowError):  # the latter: by its zone it is no day of the calendar
            raise _Wrong(field, f"{plain_text(text, 40)} is no time of a day; write it as 2026-05-03 15:20") from None
    last = field.rpartition(".")[2].removeprefix("station_")
    if last in ("lat", "lon"):
        place = written_deg(text, "NS" if last == "lat" else "EW")
        if place is None:
            example = "44.25 or 44 15.0 N" if last == "lat" else "-93.5 or 93 30.0 W"
            raise _Wrong(field, f"{plain_text(text, 40) or 'nothing'} is no such place; write it as {example}")
        return place[0]
    if last == "altitude_ft" and _THOUSANDS.fullmatch(text):
        text = re.sub(r"\D", "", text)
    try:
        return float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        raise _Wrong(field, f"{plain_text(text, 40)} is no number") from None


def _in_words(message: str) -> Checked:
    """A message of the hold file's reader, about the field instead of the key."""
    _, _, rest = message.partition(": ")
    key, _, reason = rest.partition(": ")
    if key in LABELS:
        return Checked(problem=f"{LABELS[key]}: {reason}", field=key)
    return Checked(problem=rest or message)
