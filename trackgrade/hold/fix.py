"""Where the fix is: as a position, on a radial at a distance, or where two radials cross."""

from __future__ import annotations

import datetime as dt
import math
from typing import NamedTuple

from trackgrade.earth.geodesy import destination
from trackgrade.earth.units import FT_PER_NM
from trackgrade.earth.variation import magnetic_variation
from trackgrade.errors import HoldFileError
from trackgrade.hold.courses import course_name
from trackgrade.hold.plan import Crossing, HoldPlan, Position, Radial, RadialDistance

#: Radials that cross at less than this make a poor fix; procedure design asks for more. The figure 30 is the
#: one of FAA Order 8260.3 for fixes of two radials, from memory.
SHALLOW_CROSSING_DEG = 30.0


class SolvedFix(NamedTuple):
    """The fix as a position, and what people are told of it."""

    lat_deg: float
    lon_deg: float
    notes: tuple[str, ...] = ()


def station_variation(station: Position, given_deg: float | None, plan: HoldPlan, date: dt.date) -> tuple[float, str]:
    """The variation a station's radials are aligned to [deg, east positive], and where it comes from.

    Its own where given; else the hold's where given; else the magnetic model at the station.
    """
    if given_deg is not None:
        return given_deg, "given for the station"
    if plan.variation_deg is not None:
        return plan.variation_deg, "given for the hold"
    model = magnetic_variation(station.lat_deg, station.lon_deg, 0.0, date)
    return model.variation_deg, f"{model.model} at the station"


def radial_true_deg(radial: Radial, plan: HoldPlan, date: dt.date) -> float:
    """Direction of a radial at its station [deg true]."""
    return radial.radial_deg + station_variation(radial.station, radial.variation_deg, plan, date)[0]


def solve_fix(plan: HoldPlan, date: dt.date, shown: str) -> SolvedFix:
    """The fix of a plan as a position; ``shown`` names the file in messages.

    Raises
    ------
    HoldFileError
        The two radials do not cross.
    """
    match plan.fix:
        case Position():
            return SolvedFix(plan.fix.lat_deg, plan.fix.lon_deg)
        case RadialDistance():
            return _on_radial(plan.fix, plan, date)
        case Crossing():
            return _at_crossing(plan.fix, plan, date, shown)


def _on_radial(fix: RadialDistance, plan: HoldPlan, date: dt.date) -> SolvedFix:
    station = fix.radial.station
    azimuth = radial_true_deg(fix.radial, plan, date)
    lat, lon = destination(station.lat_deg, station.lon_deg, azimuth, fix.dme_nm)
    note = f"Fix on the {course_name(fix.radial.radial_deg)} radial at {fix.dme_nm:g} NM of its station"
    note += "; the slant range of DME is ignored"
    if plan.altitude_ft is not None:
        slant_nm = math.hypot(fix.dme_nm, plan.altitude_ft / FT_PER_NM) - fix.dme_nm
        note += f" (at {plan.altitude_ft:,.0f} ft DME reads up to {slant_nm:.2f} NM more over the fix)"
    return SolvedFix(float(lat), float(lon), (note,))


def _at_crossing(fix: Crossing, plan: HoldPlan, date: dt.date, shown: str) -> SolvedFix:
    from trackgrade.earth.radials import NoCrossing, cross_radials  # few fixes are a crossing

    first, second = fix.first, fix.second
    try:
        crossing = cross_radials(
            (first.station.lat_deg, first.station.lon_deg),
            radial_true_deg(first, plan, date),
            (second.station.lat_deg, second.station.lon_deg),
            radial_true_deg(second, plan, date),
        )
    except NoCrossing as none:
        raise HoldFileError(
            f"{shown}: fix.radials: the {course_name(first.radial_deg)} and {course_name(second.radial_deg)} "
            f"radials make no fix: {none.reason}"
        ) from None
    note = (
        f"Fix where the {course_name(first.radial_deg)} radial ({crossing.distance_nm[0]:.1f} NM out) and "
        f"the {course_name(second.radial_deg)} radial ({crossing.distance_nm[1]:.1f} NM out) cross at "
        f"{crossing.angle_deg:.0f}°: 1° of error moves it {crossing.nm_per_deg[0]:.2f} NM (first radial) "
        f"or {crossing.nm_per_deg[1]:.2f} NM (second)"
    )
    notes = [note]
    if crossing.angle_deg < SHALLOW_CROSSING_DEG:
        notes.append(f"Warning: the radials cross at only {crossing.angle_deg:.0f}°, so the fix is poorly defined")
    return SolvedFix(crossing.lat_deg, crossing.lon_deg, tuple(notes))
