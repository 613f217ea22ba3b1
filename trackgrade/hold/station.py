"""A VOR and the inbound course: where the station stands, the course to set, the flag to expect."""

from __future__ import annotations

import datetime as dt
from typing import Literal, NamedTuple

from trackgrade.earth.angles import between_lines_deg, wrap180, wrap360
from trackgrade.earth.geodesy import azimuth_distance
from trackgrade.errors import HoldFileError
from trackgrade.hold.courses import course_name
from trackgrade.hold.fix import SolvedFix, station_variation
from trackgrade.hold.plan import Crossing, Fix, HoldPlan, Radial, RadialDistance

StationPlace = Literal["at", "beyond", "behind"]

#: A station within this of the fix is the fix: positions are often given to a tenth of a minute.
AT_FIX_NM = 0.3

#: A course line that passes its station by more than this is the wrong course.
MISSES_STATION_DEG = 2.0


class Station(NamedTuple):
    """A VOR as seen from the fix.

    ``bearing_true_deg`` from the fix to the station. ``convergence_deg``: direction at the fix less direction
    at the station, of the one geodesic through both: a course dialled at the station turns by this on the way.
    """

    lat_deg: float
    lon_deg: float
    variation_deg: float
    variation_source: str
    distance_nm: float
    bearing_true_deg: float
    convergence_deg: float

    @property
    def at_fix(self) -> bool:
        return self.distance_nm <= AT_FIX_NM

    def course_at_fix_true_deg(self, course_deg: float) -> float:
        """True course at the fix of a course dialled on this station."""
        return float(wrap360(course_deg + self.variation_deg + self.convergence_deg))

    def course_to_set_deg(self, course_true_deg: float) -> float:
        """The course to dial on this station for a true course at the fix, 0 < course <= 360."""
        return as_dialled(course_true_deg - self.convergence_deg - self.variation_deg)


def as_dialled(course_deg: float) -> float:
    """A course as it is set, 0 < course <= 360 [deg]."""
    return round(float(wrap360(course_deg)), 9) or 360.0


def radials_of(fix: Fix) -> tuple[Radial, ...]:
    """The radials a fix is given by; none for a position."""
    match fix:
        case RadialDistance():
            return (fix.radial,)
        case Crossing():
            return (fix.first, fix.second)
        case _:
            return ()


def find_station(plan: HoldPlan, fix: SolvedFix, date: dt.date) -> Station | None:
    """The station of the plan's guidance, or of the radial the fix is on; None where neither is given."""
    guidance = plan.guidance
    position, given_deg = guidance.station, guidance.station_variation_deg
    if position is None and isinstance(plan.fix, RadialDistance):
        position = plan.fix.radial.station
    if position is None:
        return None
    for radial in radials_of(plan.fix):
        if position == radial.station and given_deg is None:
            given_deg = radial.variation_deg
    variation_deg, source = station_variation(position, given_deg, plan, date)
    bearing, distance = azimuth_distance(fix.lat_deg, fix.lon_deg, position.lat_deg, position.lon_deg)
    radial_to_fix, _ = azimuth_distance(position.lat_deg, position.lon_deg, fix.lat_deg, fix.lon_deg)
    near = float(distance) <= AT_FIX_NM
    return Station(
        position.lat_deg,
        position.lon_deg,
        variation_deg,
        source,
        float(distance),
        float(bearing),
        0.0 if near else float(wrap180(bearing + 180.0 - radial_to_fix)),
    )


def place_of(station: Station, course_true_deg: float) -> StationPlace | None:
    """Where the station stands on the inbound course line; None when the line misses it."""
    if station.at_fix:
        return "at"
    ahead_deg = abs(wrap180(station.bearing_true_deg - course_true_deg))
    if ahead_deg <= MISSES_STATION_DEG:
        return "beyond"
    return "behind" if 180.0 - ahead_deg <= MISSES_STATION_DEG else None


def check_course(
    plan: HoldPlan, station: Station, course_true_deg: float, shown: str
) -> tuple[StationPlace, float, Literal["TO", "FROM"]]:
    """Place of the station, course to set and flag inbound, for a hold guided by that VOR.

    Raises
    ------
    HoldFileError
        The course line misses its station by over 2 degrees, or the course or flag that the pilot means to
        set or see is another; says by how much and whether the reciprocal would fit.
    """
    course_set = station.course_to_set_deg(course_true_deg)
    place = place_of(station, course_true_deg)
    if place is None:
        raise HoldFileError(f"{shown}: inbound_course_deg: {_miss(plan, station, course_true_deg)}")
    flag: Literal["TO", "FROM"] = "FROM" if place == "behind" else "TO"
    asked = plan.guidance.course_set_deg
    if asked is not None:
        off_deg = abs(float(wrap180(asked - course_set)))
        if 180.0 - off_deg <= MISSES_STATION_DEG:
            raise HoldFileError(
                f"{shown}: guidance.course_set_deg: {course_name(asked)} is the reciprocal of the inbound "
                f"course; the reciprocal fits, so set {course_name(course_set)}: on {course_name(asked)} the "
                "needle would lead away from the course"
            )
        if off_deg > MISSES_STATION_DEG:
            raise HoldFileError(
                f"{shown}: guidance.course_set_deg: {course_name(asked)} is {off_deg:.1f}° off the inbound "
                f"course, and its reciprocal {course_name(asked + 180.0)} does not fit either: set "
                f"{course_name(course_set)}"
            )
    if plan.guidance.flag is not None and plan.guidance.flag != flag:
        where = {"at": "at the fix", "beyond": "ahead of the fix", "behind": "behind you"}[place]
        fits = "" if place == "at" else f"; the reciprocal {course_name(course_set + 180.0)} would fit that flag"
        raise HoldFileError(
            f"{shown}: guidance.flag: inbound on {course_name(course_set)} the station is {where}, so the "
            f"flag reads {flag}, not {plan.guidance.flag}{fits}: check inbound_course_deg"
        )
    return place, course_set, flag


def _miss(plan: HoldPlan, station: Station, course_true_deg: float) -> str:
    course = course_name(plan.inbound_course_deg)
    miss_deg = between_lines_deg(station.bearing_true_deg, course_true_deg)
    to = station.course_to_set_deg(station.bearing_true_deg)
    text = (
        f"{course} misses its station by {miss_deg:.1f}°: {station.distance_nm:.1f} NM away, it lies on "
        f"{course_name(round(to))} TO or {course_name(round(to) + 180.0)} FROM"
    )
    as_true_deg = between_lines_deg(station.bearing_true_deg, plan.inbound_course_deg)
    if plan.north == "magnetic" and as_true_deg <= MISSES_STATION_DEG:
        return f'{text}. {course} fits as a true course: perhaps north = "true" was meant'
    return f"{text}. The reciprocal {course_name(plan.inbound_course_deg + 180.0)} does not fit either"


def radial_words(plan: HoldPlan, date: dt.date) -> str | None:
    """In plain words, how the radial of the fix and the inbound course go together; None for other fixes."""
    if not isinstance(plan.fix, RadialDistance):
        return None
    radial, course_deg = plan.fix.radial, plan.inbound_course_deg
    if plan.north == "true":  # a radial is a number of its station's own north, so the course is put in that
        course_deg -= station_variation(radial.station, radial.variation_deg, plan, date)[0]
    off = abs(float(wrap180(radial.radial_deg - course_deg)))
    radial_name, course = course_name(radial.radial_deg), course_name(course_deg)
    if off <= MISSES_STATION_DEG:
        return (
            f"The {radial_name} radial and the inbound course {course} are the same number: inbound is away "
            "from the station"
        )
    if 180.0 - off <= MISSES_STATION_DEG:
        return (
            f"The inbound course {course} is the reciprocal of the {radial_name} radial: inbound is toward the station"
        )
    return f"The inbound course {course} does not lie along the {radial_name} radial that the fix is on"
