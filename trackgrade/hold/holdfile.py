"""Hold files: TOML to `HoldPlan` and back. Every key is known by name; an unknown one is refused."""

from __future__ import annotations

import datetime as dt
import difflib
import math
import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Literal, cast

from trackgrade.errors import HoldFileError
from trackgrade.files import plain_text, read_bytes
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

#: A hold file is some twenty lines; anything larger is another file given by mistake.
LARGEST_BYTES = 1024 * 1024

#: Beyond the lowest and highest pressures at sea level ever measured, 870 and 1,085 hPa (WMO archive of extremes).
LOWEST_QNH_HPA, HIGHEST_QNH_HPA = 850.0, 1100.0

#: Below these nothing is flown or shown: legs [min, NM], needles [NM, degrees], a distance readout [NM]. They keep
#: everything that is divided by them a number; our own choice, far below what is in use.
LEAST_LEG_MIN, LEAST_LEG_NM = 0.1, 0.1
LEAST_SCALE_NM, LEAST_SCALE_DEG = 0.01, 0.1
LEAST_DME_NM = 0.01

_TOP_KEYS = (
    "name",
    "inbound_course_deg",
    "north",
    "variation_deg",
    "turns",
    "altitude_ft",
    "airspeed_kias",
    "arrive_utc",
    "qnh_hpa",
    "fix",
    "leg",
    "guidance",
    "levels",
)
_GUIDANCE_KEYS = (
    "kind",
    "full_scale_nm",
    "full_scale_deg",
    "station_lat",
    "station_lon",
    "station_variation_deg",
    "course_set_deg",
    "flag",
)
_RADIAL_KEYS = ("lat", "lon", "radial_deg", "variation_deg")


def read_hold_file(path: str | os.PathLike[str]) -> HoldPlan:
    """Read and check a hold file.

    Raises
    ------
    HoldFileError
        One line: file, key (or line), what is wrong with it, what to do.
    """
    source = Path(path).name
    data = read_bytes(path, LARGEST_BYTES, HoldFileError).data
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise HoldFileError(f"{plain_text(source)}: is not UTF-8 text; save it as UTF-8") from None
    return parse_hold(text, source)


def read_hold(hold: str | os.PathLike[str] | Mapping[str, Any]) -> HoldPlan:
    """A hold from a hold file, from the text of one (anything of several lines or with an ``=``), or from a dict.

    Raises
    ------
    HoldFileError
        One line: file, key (or line), what is wrong with it, what to do.
    """
    if isinstance(hold, Mapping):
        return _plan(_Table(hold, "", "hold"), "hold")
    if isinstance(hold, str) and ("\n" in hold or "=" in hold):
        return parse_hold(hold)
    return read_hold_file(hold)


def parse_hold(text: str, source: str = "hold file") -> HoldPlan:
    """`HoldPlan` of the text of a hold file; raises `HoldFileError`."""
    shown = plain_text(source)
    try:
        document = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as error:
        raise HoldFileError(
            f"{shown}: is not TOML: {plain_text(str(error))}. Text stands in quotes, numbers do not"
        ) from None
    except RecursionError:
        raise HoldFileError(f"{shown}: values are nested too deep. Write it flat") from None
    except (ValueError, OverflowError):
        # tomllib lets these through: a number of thousands of digits, a date that the calendar does not have.
        raise HoldFileError(f"{shown}: a number or a date in it is out of all range. Correct it") from None
    return _plan(_Table(document, "", shown), source)


class _Table:
    """One table of the file, with its place for messages."""

    def __init__(self, values: Mapping[str, Any], place: str, shown: str) -> None:
        self.values = values
        self.place = place
        self.shown = shown

    def path(self, key: str) -> str:
        return f"{self.place}.{key}" if self.place else key

    def fault(self, key: str, reason: str) -> HoldFileError:
        return HoldFileError(f"{self.shown}: {plain_text(self.path(key))}: {reason}")

    def only(self, known: Iterable[str]) -> None:
        """Refuse a key that is not known, with the nearest that is."""
        known = tuple(known)
        for key in self.values:
            if key in known:
                continue
            near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.6)
            hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}"
            raise self.fault(key, f"unknown key; {hint}")

    def number(self, key: str, low: float, high: float, what: str, *, open_low: bool = False) -> float | None:
        """A finite number within [low, high] (or above low); None when the key is absent."""
        if key not in self.values:
            return None
        value = self.values[key]
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fault(key, f"must be a number ({what}), not {_shown_value(value)}")
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
        below = number <= low if open_low else number < low
        if not math.isfinite(number) or below or number > high:
            bounds = f"above {low:g} and at most {high:g}" if open_low else f"from {low:g} to {high:g}"
            raise self.fault(key, f"must be {bounds} ({what}), not {_shown_value(value)}")
        return number

    def needed(self, key: str, low: float, high: float, what: str) -> float:
        number = self.number(key, low, high, what)
        if number is None:
            raise self.fault(key, f"is missing ({what})")
        return number

    def text(self, key: str) -> str | None:
        if key not in self.values:
            return None
        value = self.values[key]
        if not isinstance(value, str):
            raise self.fault(key, f"must be text in quotes, not {_shown_value(value)}")
        return value

    def choice(self, key: str, allowed: tuple[str, ...]) -> str | None:
        value = self.text(key)
        if value is None or value in allowed:
            return value
        near = difflib.get_close_matches(value, allowed, n=1, cutoff=0.6)
        hint = f'did you mean "{near[0]}"?' if near else "must be " + " or ".join(f'"{a}"' for a in allowed)
        raise self.fault(key, f"{_shown_value(value)} is not known; {hint}")

    def table(self, key: str) -> _Table | None:
        if key not in self.values:
            return None
        value = self.values[key]
        if not isinstance(value, dict):
            raise self.fault(key, f"must be a table, not {_shown_value(value)}")
        return _Table(value, self.path(key), self.shown)


def _shown_value(value: object) -> str:
    return plain_text(repr(value) if isinstance(value, str) else str(value), 40)


def _plan(top: _Table, source: str) -> HoldPlan:
    top.only(_TOP_KEYS)
    if "inbound_course_deg" not in top.values:
        raise top.fault("inbound_course_deg", "is missing (the course flown to the fix)")
    course = _course(top, "inbound_course_deg")
    assert course is not None
    fix_table = top.table("fix")
    if fix_table is None:
        raise top.fault("fix", "is missing: give [fix] with lat and lon, or from, or radials")
    fix = _fix(fix_table)
    name = top.text("name")
    return HoldPlan(
        name=plain_text(name) if name is not None else plain_text(Path(source).stem),
        inbound_course_deg=course,
        fix=fix,
        north=cast(Literal["magnetic", "true"], top.choice("north", ("magnetic", "true")) or "magnetic"),
        variation_deg=top.number("variation_deg", -180.0, 180.0, "degrees, east positive"),
        turns=cast(Literal["right", "left"], top.choice("turns", ("right", "left")) or "right"),
        leg=_leg(top.table("leg")),
        guidance=_guidance(top.table("guidance"), fix),
        altitude_ft=top.number("altitude_ft", -1500.0, 60000.0, "feet"),
        airspeed_kias=top.number("airspeed_kias", 30.0, 500.0, "knots indicated"),
        arrive_utc=_moment(top, "arrive_utc"),
        levels=_levels(top),
        qnh_hpa=top.number("qnh_hpa", LOWEST_QNH_HPA, HIGHEST_QNH_HPA, "hPa, the altimeter setting"),
        source=source,
    )


def _course(table: _Table, key: str) -> float | None:
    """A course or radial: 0 < course <= 360, as it is spoken."""
    value = table.number(key, 0.0, 360.0, "a course; north is 360", open_low=True)
    return None if value is None else value


def _fix(table: _Table) -> Fix:
    table.only(("lat", "lon", "from", "radials"))
    ways = [way for way in ("lat", "from", "radials") if way in table.values]
    if "lon" in table.values and "lat" not in table.values:
        raise table.fault("lat", "is missing beside lon")
    if len(ways) != 1:
        found = f"found {' and '.join(ways)}" if ways else "none is there"
        raise table.fault("lat", f"give the fix in one way: lat and lon, or from, or radials ({found})")
    if ways[0] == "lat":
        return _position(table, "lat", "lon")
    if "lon" in table.values:
        raise table.fault("lon", f"cannot stand beside {ways[0]}")
    if ways[0] == "from":
        station = table.table("from")
        assert station is not None
        station.only((*_RADIAL_KEYS, "dme_nm"))
        return RadialDistance(_radial(station), station.needed("dme_nm", LEAST_DME_NM, 300.0, "NM from the station"))
    radials = table.values["radials"]
    if not isinstance(radials, list) or len(radials) != 2 or not all(isinstance(r, dict) for r in radials):
        raise table.fault("radials", "must be a list of two tables, each a station and its radial")
    first, second = (
        _Table(values, table.path(f"radials[{number}]"), table.shown) for number, values in enumerate(radials, 1)
    )
    for each in (first, second):
        each.only(_RADIAL_KEYS)
    return Crossing(_radial(first), _radial(second))


def _position(table: _Table, lat: str, lon: str) -> Position:
    return Position(
        table.needed(lat, -90.0, 90.0, "degrees, north positive"),
        table.needed(lon, -180.0, 180.0, "degrees, east positive"),
    )


def _radial(table: _Table) -> Radial:
    position = _position(table, "lat", "lon")
    radial = _course(table, "radial_deg")
    if radial is None:
        raise table.fault("radial_deg", "is missing (the radial of the station)")
    return Radial(position, radial, table.number("variation_deg", -180.0, 180.0, "degrees, east positive"))


def _leg(table: _Table | None) -> Leg | None:
    if table is None:
        return None
    table.only(("minutes", "nm"))
    minutes = table.number("minutes", LEAST_LEG_MIN, 10.0, "minutes")
    nm = table.number("nm", LEAST_LEG_NM, 50.0, "NM")
    if (minutes is None) == (nm is None):
        raise table.fault("minutes", "give either minutes or nm" + ("" if minutes is None else ", not both"))
    return Leg(minutes=minutes, nm=nm)


def _guidance(table: _Table | None, fix: Fix) -> GuidancePlan:
    if table is None:
        return GuidancePlan()
    table.only(_GUIDANCE_KEYS)
    kind = cast(Literal["gps", "vor"], table.choice("kind", ("gps", "vor")) or "gps")
    full_scale_nm = table.number("full_scale_nm", LEAST_SCALE_NM, 10.0, "NM each side")
    full_scale_deg = table.number("full_scale_deg", LEAST_SCALE_DEG, 20.0, "degrees each side")
    station = None
    if "station_lat" in table.values or "station_lon" in table.values:
        station = _position(table, "station_lat", "station_lon")
    elif kind == "vor" and not isinstance(fix, RadialDistance):
        raise table.fault("station_lat", "is missing: say where the VOR stands (station_lat, station_lon)")
    return GuidancePlan(
        kind=kind,
        full_scale_nm=full_scale_nm or GuidancePlan.full_scale_nm,
        full_scale_deg=full_scale_deg or GuidancePlan.full_scale_deg,
        station=station,
        station_variation_deg=table.number("station_variation_deg", -180.0, 180.0, "degrees, east positive"),
        course_set_deg=_course(table, "course_set_deg"),
        flag=cast(Literal["TO", "FROM"] | None, table.choice("flag", ("TO", "FROM"))),
    )


def _levels(top: _Table) -> tuple[ClearedLevel, ...]:
    """Other altitudes assigned in the hold, in order of time."""
    rows = top.values.get("levels", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise top.fault("levels", "must be tables [[levels]], each with altitude_ft and from_utc")
    levels = []
    for number, row in enumerate(rows, 1):
        table = _Table(row, f"levels[{number}]", top.shown)
        table.only(("altitude_ft", "from_utc"))
        from_utc = _moment(table, "from_utc")
        if from_utc is None:
            raise table.fault("from_utc", "is missing (when the level was assigned)")
        levels.append(ClearedLevel(table.needed("altitude_ft", -1500.0, 60000.0, "feet"), from_utc))
    return tuple(sorted(levels, key=lambda each: each.from_utc))


def _moment(top: _Table, key: str) -> dt.datetime | None:
    if key not in top.values:
        return None
    value = top.values[key]
    if not isinstance(value, dt.datetime):
        raise top.fault(
            key,
            f"must be a time without quotes, as 2026-05-03T15:20:00Z, not {_shown_value(value)}",
        )
    if value.tzinfo is None:
        raise top.fault(key, "must end in Z (UTC), as 2026-05-03T15:20:00Z")
    if not 1970 < value.year < 2200:
        raise top.fault(key, f"the year {value.year} is no year of a flight")
    return value.astimezone(dt.UTC)


def write_hold_file(plan: HoldPlan) -> str:
    """The text of a hold file that reads back as the same plan."""
    lines = [
        f"name = {_quoted(plan.name)}",
        f"inbound_course_deg = {plan.inbound_course_deg!r}   # flown TO the fix",
        f'north = "{plan.north}"',
    ]
    if plan.variation_deg is not None:
        lines.append(f"variation_deg = {plan.variation_deg!r}   # east positive")
    lines.append(f'turns = "{plan.turns}"')
    if plan.altitude_ft is not None:
        lines.append(f"altitude_ft = {plan.altitude_ft!r}")
    if plan.airspeed_kias is not None:
        lines.append(f"airspeed_kias = {plan.airspeed_kias!r}")
    if plan.arrive_utc is not None:
        lines.append(f"arrive_utc = {_utc(plan.arrive_utc)}")
    if plan.qnh_hpa is not None:
        lines.append(f"qnh_hpa = {plan.qnh_hpa!r}   # the altimeter setting, for a recorded pressure altitude")
    lines += ["", "[fix]", *_fix_lines(plan.fix)]
    if plan.leg is not None:
        key, value = ("minutes", plan.leg.minutes) if plan.leg.minutes is not None else ("nm", plan.leg.nm)
        lines += ["", "[leg]", f"{key} = {value!r}"]
    lines += ["", "[guidance]", *_guidance_lines(plan.guidance)]
    for level in plan.levels:
        lines += ["", "[[levels]]", f"altitude_ft = {level.altitude_ft!r}", f"from_utc = {_utc(level.from_utc)}"]
    return "\n".join(lines) + "\n"


def _utc(moment: dt.datetime) -> str:
    return moment.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


def _fix_lines(fix: Fix) -> list[str]:
    match fix:
        case Position():
            return [f"lat = {fix.lat_deg!r}", f"lon = {fix.lon_deg!r}"]
        case RadialDistance():
            return [f"from = {{ {_radial_items(fix.radial)}, dme_nm = {fix.dme_nm!r} }}"]
        case Crossing():
            return [
                "radials = [",
                f"  {{ {_radial_items(fix.first)} }},",
                f"  {{ {_radial_items(fix.second)} }},",
                "]",
            ]


def _radial_items(radial: Radial) -> str:
    items = [
        f"lat = {radial.station.lat_deg!r}",
        f"lon = {radial.station.lon_deg!r}",
        f"radial_deg = {radial.radial_deg!r}",
    ]
    if radial.variation_deg is not None:
        items.append(f"variation_deg = {radial.variation_deg!r}")
    return ", ".join(items)


def _guidance_lines(guidance: GuidancePlan) -> list[str]:
    lines = [f'kind = "{guidance.kind}"', f"full_scale_nm = {guidance.full_scale_nm!r}"]
    if guidance.kind == "vor" or guidance.full_scale_deg != GuidancePlan.full_scale_deg:
        lines.append(f"full_scale_deg = {guidance.full_scale_deg!r}")
    if guidance.station is not None:
        lines += [
            f"station_lat = {guidance.station.lat_deg!r}",
            f"station_lon = {guidance.station.lon_deg!r}",
        ]
    if guidance.station_variation_deg is not None:
        lines.append(f"station_variation_deg = {guidance.station_variation_deg!r}")
    if guidance.course_set_deg is not None:
        lines.append(f"course_set_deg = {guidance.course_set_deg!r}")
    if guidance.flag is not None:
        lines.append(f'flag = "{guidance.flag}"')
    return lines


def _quoted(text: str) -> str:
    """A TOML basic string."""
    escaped = re.sub(r'[\\"]', lambda match: "\\" + match.group(), text)
    return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04X}" for c in escaped) + '"'
