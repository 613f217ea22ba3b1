"""Hold files: TOML to `HoldPlan` and back. Every key is known by name; an unknown one is refused."""

from __future__ import annotations

import datetime as dt
import math
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from trackgrade.errors import HoldFileError
from trackgrade.files import plain_text, read_toml, toml_text
from trackgrade.hold.hold import Leg
from trackgrade.hold.plan import (
    ClearedLevel,
    Crossing,
    Fix,
    GuidancePlan,
    HoldPlan,
    Position,
    Radial,
    RadialDistance,
)

#: Beyond the lowest and highest pressures at sea level ever measured, 870 and 1,085 hPa (WMO archive of extremes).
LOWEST_QNH_HPA, HIGHEST_QNH_HPA = 850.0, 1100.0

#: Below these nothing is flown or shown: legs [min, NM], needles [NM, degrees], a distance readout [NM]. They keep
#: everything that is divided by them a number; our own choice, far below what is in use.
LEAST_LEG_MIN, LEAST_LEG_NM = 0.1, 0.1
LEAST_SCALE_NM, LEAST_SCALE_DEG = 0.01, 0.1
LEAST_DME_NM = 0.01

#: What each key takes, in whichever table it stands. A number: from, to, and what it is; a course is more than 0.
_VARIATION = (-180.0, 180.0, "degrees, east positive")
_LATITUDE, _LONGITUDE = (-90.0, 90.0, "degrees, north positive"), (-180.0, 180.0, "degrees, east positive")
_COURSES = ("inbound_course_deg", "radial_deg", "course_set_deg")
_NUMBERS = {
    **dict.fromkeys(_COURSES, (0.0, 360.0, "a course; north is 360")),
    "variation_deg": _VARIATION,
    "altitude_ft": (-1500.0, 60000.0, "feet"),
    "airspeed_kias": (30.0, 500.0, "knots indicated"),
    "qnh_hpa": (LOWEST_QNH_HPA, HIGHEST_QNH_HPA, "hPa, the altimeter setting"),
    "lat": _LATITUDE,
    "lon": _LONGITUDE,
    "dme_nm": (LEAST_DME_NM, 300.0, "NM from the station"),
    "minutes": (LEAST_LEG_MIN, 10.0, "minutes"),
    "nm": (LEAST_LEG_NM, 50.0, "NM"),
    "full_scale_nm": (LEAST_SCALE_NM, 10.0, "NM each side"),
    "full_scale_deg": (LEAST_SCALE_DEG, 20.0, "degrees each side"),
    "station_lat": _LATITUDE,
    "station_lon": _LONGITUDE,
    "station_variation_deg": _VARIATION,
}
_CHOICES = {"north": ("magnetic", "true"), "turns": ("right", "left"), "kind": ("gps", "vor"), "flag": ("TO", "FROM")}
_MOMENTS = ("arrive_utc", "from_utc")
#: What a key is that cannot be left out; of other numbers what the number is.
_NEEDED = {
    "inbound_course_deg": "the course flown to the fix",
    "radial_deg": "the radial of the station",
    "from_utc": "when the level was assigned",
}

#: The keys of each table, in the order in which they are written. Those of the plan itself are named as its fields.
_PLAN = (
    *("name", "inbound_course_deg", "north", "variation_deg", "turns", "altitude_ft", "airspeed_kias", "arrive_utc"),
    "qnh_hpa",
)
_TABLES = ("fix", "leg", "guidance", "levels")
_GUIDANCE = ("kind", "full_scale_nm", "full_scale_deg")
_STATION = ("station_lat", "station_lon")
_SET = ("station_variation_deg", "course_set_deg", "flag")
_RADIAL = ("lat", "lon", "radial_deg", "variation_deg")
_LEVEL = ("altitude_ft", "from_utc")
#: What is written beside a key of the plan.
_ASIDES = {
    "inbound_course_deg": "   # flown TO the fix",
    "variation_deg": "   # east positive",
    "qnh_hpa": "   # the altimeter setting, for a recorded pressure altitude",
}


def read_hold_file(path: str | os.PathLike[str]) -> HoldPlan:
    """Read and check a hold file.

    Raises
    ------
    HoldFileError
        One line: file, key (or line), what is wrong with it, what to do.
    """
    return _plan(read_toml(path, HoldFileError), Path(path).name)


def read_hold(hold: str | os.PathLike[str] | Mapping[str, Any]) -> HoldPlan:
    """A hold from a hold file, from the text of one (anything of several lines or with an ``=``), or from a dict.

    Raises
    ------
    HoldFileError
        One line: file, key (or line), what is wrong with it, what to do.
    """
    if isinstance(hold, Mapping):
        return _plan(hold, "hold")
    if isinstance(hold, str) and ("\n" in hold or "=" in hold):
        return parse_hold(hold)
    return read_hold_file(hold)


def parse_hold(text: str, source: str = "hold file") -> HoldPlan:
    """`HoldPlan` of the text of a hold file; raises `HoldFileError`."""
    data = text.encode("utf-8", "surrogatepass")
    return _plan(read_toml(data, HoldFileError, name=plain_text(source)), source)


class _Table:
    """One table of the file, with its place for messages; a key that is not known there is refused."""

    def __init__(self, values: Mapping[str, Any], known: Iterable[str], place: str, shown: str) -> None:
        self.values = values
        self.place = place
        self.shown = shown
        known = tuple(known)
        for key in values:
            if key not in known:
                near = _nearest(key.lower(), known)
                hint = f"did you mean {near}?" if near else f"known here: {', '.join(known)}"
                raise self.fault(key, f"unknown key; {hint}")

    def path(self, key: str) -> str:
        return f"{self.place}.{key}" if self.place else key

    def fault(self, key: str, reason: str) -> HoldFileError:
        return HoldFileError(f"{self.shown}: {plain_text(self.path(key))}: {reason}")

    def table(self, key: str, known: Iterable[str]) -> _Table | None:
        if key not in self.values:
            return None
        value = self.values[key]
        if not isinstance(value, dict):
            raise self.fault(key, f"must be a table, not {_shown_value(value)}")
        return _Table(value, known, self.path(key), self.shown)

    def given(self, *keys: str) -> dict[str, Any]:
        """The values of those keys that are there, each checked by its own rule."""
        return {key: self._checked(key) for key in keys if key in self.values}

    def needed(self, key: str) -> Any:
        """The checked value of a key that cannot be left out."""
        if key not in self.values:
            raise self.fault(key, f"is missing ({_NEEDED.get(key) or _NUMBERS[key][2]})")
        return self._checked(key)

    def _checked(self, key: str) -> Any:
        value = self.values[key]
        if key in _NUMBERS:
            return self._number(key, value, *_NUMBERS[key])
        if key in _MOMENTS:
            return self._moment(key, value)
        if not isinstance(value, str):
            raise self.fault(key, f"must be text in quotes, not {_shown_value(value)}")
        allowed = _CHOICES.get(key)
        if allowed is None or value in allowed:
            return value
        near = _nearest(value, allowed)
        hint = f'did you mean "{near}"?' if near else "must be " + " or ".join(f'"{a}"' for a in allowed)
        raise self.fault(key, f"{_shown_value(value)} is not known; {hint}")

    def _number(self, key: str, value: object, low: float, high: float, what: str) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fault(key, f"must be a number ({what}), not {_shown_value(value)}")
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        above = key in _COURSES
        if not low <= number <= high or (above and number == low):
            bounds = f"above {low:g} and at most {high:g}" if above else f"from {low:g} to {high:g}"
            raise self.fault(key, f"must be {bounds} ({what}), not {_shown_value(value)}")
        return number

    def _moment(self, key: str, value: object) -> dt.datetime:
        as_said = "as 2026-05-03T15:20:00Z"
        if not isinstance(value, dt.datetime):
            raise self.fault(key, f"must be a time without quotes, {as_said}, not {_shown_value(value)}")
        if value.tzinfo is None:
            raise self.fault(key, f"must end in Z (UTC), {as_said}")
        if not 1970 < value.year < 2200:
            raise self.fault(key, f"the year {value.year} is no year of a flight")
        return value.astimezone(dt.UTC)


def _nearest(written: str, known: Iterable[str]) -> str | None:
    import difflib  # only to help with a mistake

    return next(iter(difflib.get_close_matches(written, list(known), n=1, cutoff=0.6)), None)


def _shown_value(value: object) -> str:
    return plain_text(repr(value) if isinstance(value, str) else str(value), 40)


def _plan(values: Mapping[str, Any], source: str) -> HoldPlan:
    top = _Table(values, (*_PLAN, *_TABLES), "", plain_text(source))
    top.needed("inbound_course_deg")
    fix_table = top.table("fix", ("lat", "lon", "from", "radials"))
    if fix_table is None:
        raise top.fault("fix", "is missing: give [fix] with lat and lon, or from, or radials")
    fix = _fix(fix_table)
    given = top.given(*_PLAN)
    return HoldPlan(
        **given | {"name": plain_text(given.get("name", Path(source).stem))},
        fix=fix,
        leg=_leg(top.table("leg", ("minutes", "nm"))),
        guidance=_guidance(top.table("guidance", (*_GUIDANCE, *_STATION, *_SET)), fix),
        levels=_levels(top),
        source=source,
    )


def _fix(table: _Table) -> Fix:
    ways = [way for way in ("lat", "lon", "from", "radials") if way in table.values]
    if len(ways) != 1 and ways != ["lat", "lon"]:
        found = f"found {' and '.join(ways)}" if ways else "none is there"
        raise table.fault("lat", f"give the fix in one way: lat and lon, or from, or radials ({found})")
    if ways[0] in ("lat", "lon"):
        return Position(table.needed("lat"), table.needed("lon"))
    if station := table.table("from", (*_RADIAL, "dme_nm")):
        return RadialDistance(_radial(station), station.needed("dme_nm"))
    radials = table.values["radials"]
    if not isinstance(radials, list) or len(radials) != 2 or not all(isinstance(r, dict) for r in radials):
        raise table.fault("radials", "must be a list of two tables, each a station and its radial")
    return Crossing(
        *(
            _radial(_Table(values, _RADIAL, table.path(f"radials[{number}]"), table.shown))
            for number, values in enumerate(radials, 1)
        )
    )


def _radial(table: _Table) -> Radial:
    station = Position(table.needed("lat"), table.needed("lon"))
    return Radial(station, table.needed("radial_deg"), **table.given("variation_deg"))


def _leg(table: _Table | None) -> Leg | None:
    if table is None:
        return None
    given = table.given("minutes", "nm")
    if len(given) != 1:
        raise table.fault("minutes", "give either minutes or nm" + (", not both" if given else ""))
    return Leg(**given)


def _guidance(table: _Table | None, fix: Fix) -> GuidancePlan:
    if table is None:
        return GuidancePlan()
    given = table.given(*_GUIDANCE, *_SET)
    if not table.values.keys().isdisjoint(_STATION):
        return GuidancePlan(**given, station=Position(*map(table.needed, _STATION)))
    if given.get("kind") == "vor" and not isinstance(fix, RadialDistance):
        raise table.fault("station_lat", "is missing: say where the VOR stands (station_lat, station_lon)")
    return GuidancePlan(**given)


def _levels(top: _Table) -> tuple[ClearedLevel, ...]:
    """Other altitudes assigned in the hold, in order of time."""
    rows = top.values.get("levels", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise top.fault("levels", "must be tables [[levels]], each with altitude_ft and from_utc")
    tables = [_Table(row, _LEVEL, f"levels[{number}]", top.shown) for number, row in enumerate(rows, 1)]
    levels = [ClearedLevel(*map(table.needed, _LEVEL)) for table in tables]
    return tuple(sorted(levels, key=lambda each: each.from_utc))


def write_hold_file(plan: HoldPlan) -> str:
    """The text of a hold file that reads back as the same plan."""
    guidance = _values(plan.guidance, _GUIDANCE)
    if plan.guidance.kind == "gps" and plan.guidance.full_scale_deg == GuidancePlan.full_scale_deg:
        del guidance["full_scale_deg"]
    if plan.guidance.station is not None:
        guidance |= {"station_lat": plan.guidance.station.lat_deg, "station_lon": plan.guidance.station.lon_deg}
    lines = [line + _ASIDES.get(line.partition(" ")[0], "") for line in _lines(_values(plan, _PLAN))]
    lines += ["", "[fix]", *_fix_lines(plan.fix)]
    if plan.leg is not None:
        lines += ["", "[leg]", *_lines(_values(plan.leg, ("minutes", "nm")))]
    lines += ["", "[guidance]", *_lines(guidance | _values(plan.guidance, _SET))]
    for level in plan.levels:
        lines += ["", "[[levels]]", *_lines(_values(level, _LEVEL))]
    return "\n".join(lines) + "\n"


def _values(of: object, keys: Iterable[str]) -> dict[str, Any]:
    """The fields of these names that have a value."""
    return {key: value for key in keys if (value := getattr(of, key)) is not None}


def _lines(values: Mapping[str, Any]) -> list[str]:
    return [f"{key} = {_written(value)}" for key, value in values.items()]


def _written(value: object) -> str:
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
    return toml_text(value) if isinstance(value, str) else repr(value)


def _fix_lines(fix: Fix) -> list[str]:
    match fix:
        case Position():
            return _lines({"lat": fix.lat_deg, "lon": fix.lon_deg})
        case RadialDistance():
            return [f"from = {{ {_radial_items(fix.radial)}, dme_nm = {fix.dme_nm!r} }}"]
        case Crossing():
            each = [f"  {{ {_radial_items(radial)} }}," for radial in (fix.first, fix.second)]
            return ["radials = [", *each, "]"]


def _radial_items(radial: Radial) -> str:
    station = {"lat": radial.station.lat_deg, "lon": radial.station.lon_deg}
    return ", ".join(_lines(station | _values(radial, ("radial_deg", "variation_deg"))))
