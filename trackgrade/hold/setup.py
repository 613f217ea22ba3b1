"""From the hold as written to the hold as resolved: fix solved, course made true, leg by altitude."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from trackgrade.earth.angles import between_lines_deg, wrap180, wrap360
from trackgrade.earth.variation import magnetic_variation
from trackgrade.files import plain_text
from trackgrade.hold.courses import variation_name
from trackgrade.hold.fix import SolvedFix, solve_fix, station_variation
from trackgrade.hold.guidance import flag_words
from trackgrade.hold.hold import Guidance, Hold, Leg, Station as TellingStation
from trackgrade.hold.plan import Crossing, HoldPlan, Radial, RadialDistance
from trackgrade.hold.station import (
    MISSES_STATION_DEG,
    Station,
    as_dialled,
    check_course,
    find_station,
    place_of,
    radial_words,
)

#: AIM 5-3-8 and ICAO Doc 8168: one minute at or below 14,000 ft, one and a half above.
LEG_CHANGES_ABOVE_FT = 14000.0

#: A given variation further than this from the model's is more likely a slip (sign, old chart) than a fact.
#: Our own choice; the model's own error is under 1 degree away from the magnetic poles.
VARIATION_DOUBT_DEG = 2.0


def default_leg(altitude_ft: float | None) -> Leg:
    """The leg where none is stated: 1 min at or below 14,000 ft (or no altitude given), 1.5 min above.

    Source: AIM 5-3-8; ICAO Doc 8168 Vol I, holding, outbound timing.
    """
    return Leg(minutes=1.5 if altitude_ft is not None and altitude_ft > LEG_CHANGES_ABOVE_FT else 1.0)


def resolve(plan: HoldPlan, date: dt.date) -> Hold:
    """The hold in numbers that need nothing else: position, true course, side, leg, guidance.

    ``date`` is the day of the flight, for the magnetic model. What was taken from where is in ``notes``.

    Raises
    ------
    HoldFileError
        The radials make no fix, or the course and its station do not agree.
    """
    shown = plain_text(plan.source) or "hold file"
    fix = solve_fix(plan, date, shown)
    notes = [*fix.notes]
    words = radial_words(plan, date)
    if words is not None and plan.guidance.kind == "gps":  # a VOR's flag is told with the same words
        notes.append(words)
    variation_deg, variation_source = _local_variation(plan, fix, date, notes)
    station = find_station(plan, fix, date)
    course_true_deg = _true_course(plan, station, variation_deg, notes)
    guidance = _guidance(plan, station, course_true_deg, variation_deg, shown, notes)
    leg = plan.leg
    if leg is None:
        leg = default_leg(plan.altitude_ft)
        why = "no altitude given" if plan.altitude_ft is None else f"{plan.altitude_ft:,.0f} ft"
        notes.append(f"Leg by altitude ({why}): {leg.minutes:g} min inbound (AIM 5-3-8)")
    return Hold(
        name=plan.name,
        fix_lat_deg=fix.lat_deg,
        fix_lon_deg=fix.lon_deg,
        inbound_course_true_deg=course_true_deg,
        variation_deg=variation_deg,
        variation_source=variation_source,
        turns=plan.turns,
        leg=leg,
        guidance=guidance,
        altitude_ft=plan.altitude_ft,
        airspeed_kias=plan.airspeed_kias,
        arrive_epoch_s=plan.arrive_utc.timestamp() if plan.arrive_utc is not None else None,
        qnh_hpa=plan.qnh_hpa,
        levels=tuple((each.from_utc.timestamp(), each.altitude_ft) for each in plan.levels),
        dme_station=_told_by(plan.fix.radial, plan, date) if isinstance(plan.fix, RadialDistance) else None,
        cross_station=_told_by(_crossing_radial(plan.fix, plan), plan, date)
        if isinstance(plan.fix, Crossing)
        else None,
        notes=tuple(notes),
    )


def _told_by(radial: Radial, plan: HoldPlan, date: dt.date) -> TellingStation:
    variation_deg, _ = station_variation(radial.station, radial.variation_deg, plan, date)
    return TellingStation(radial.station.lat_deg, radial.station.lon_deg, radial.radial_deg, variation_deg)


def _crossing_radial(fix: Crossing, plan: HoldPlan) -> Radial:
    """The radial of the two that the inbound course does not follow: what the second needle is set to."""
    if plan.guidance.station is not None:
        return fix.second if plan.guidance.station == fix.first.station else fix.first
    return max(fix.first, fix.second, key=lambda each: between_lines_deg(each.radial_deg, plan.inbound_course_deg))


def _local_variation(plan: HoldPlan, fix: SolvedFix, date: dt.date, notes: list[str]) -> tuple[float, str]:
    """Variation at the fix [deg, east positive] and its source; doubts go to ``notes``."""
    model = magnetic_variation(fix.lat_deg, fix.lon_deg, plan.altitude_ft or 0.0, date)
    notes += [f"Warning: {warning}" for warning in model.warnings]
    where = f"{model.model} at the fix on {date.isoformat()}"
    if plan.variation_deg is None:
        notes.append(f"Variation {variation_name(model.variation_deg)} by {where}")
        return model.variation_deg, where
    off_deg = abs(float(wrap180(plan.variation_deg - model.variation_deg)))
    if off_deg > VARIATION_DOUBT_DEG:
        notes.append(
            f"Warning: variation_deg {variation_name(plan.variation_deg)} is {off_deg:.1f}° from {where} "
            f"({variation_name(model.variation_deg)}): check it (east is positive). The given one is used"
        )
    return plan.variation_deg, "given in the hold file"


def _true_course(plan: HoldPlan, station: Station | None, variation_deg: float, notes: list[str]) -> float:
    """The inbound course at the fix [deg true].

    A course along a radial is oriented by its station, by the variation that one is aligned to; any other
    magnetic course by the variation at the fix.
    """
    if plan.north == "true":
        return float(wrap360(plan.inbound_course_deg))
    if station is not None and _by_station(plan):
        if abs(station.variation_deg - variation_deg) >= 0.05:
            notes.append(
                f"The inbound course is along a radial, so its north is the station's: variation "
                f"{variation_name(station.variation_deg)} ({station.variation_source})"
            )
        return station.course_at_fix_true_deg(plan.inbound_course_deg)
    return float(wrap360(plan.inbound_course_deg + variation_deg))


def _by_station(plan: HoldPlan) -> bool:
    """Whether the station orients the inbound course: VOR guidance, or a course along the fix's radial."""
    if plan.guidance.kind == "vor":
        return True
    if not isinstance(plan.fix, RadialDistance) or plan.guidance.station is not None:
        return False
    return between_lines_deg(plan.fix.radial.radial_deg, plan.inbound_course_deg) <= MISSES_STATION_DEG


def _guidance(
    plan: HoldPlan,
    station: Station | None,
    course_true_deg: float,
    variation_deg: float,
    shown: str,
    notes: list[str],
) -> Guidance:
    given = plan.guidance
    guidance = Guidance(
        kind=given.kind,
        full_scale_nm=given.full_scale_nm,
        full_scale_deg=given.full_scale_deg,
        course_to_set_deg=as_dialled(course_true_deg - variation_deg),
    )
    place = None if station is None else place_of(station, course_true_deg)
    if given.kind == "vor":
        assert station is not None  # the hold file asks for one
        place, course_set, flag = check_course(plan, station, course_true_deg, shown)
        guidance = replace(guidance, course_to_set_deg=course_set, flag=flag)
    if station is not None and place is not None:
        guidance = replace(
            guidance,
            station_lat_deg=station.lat_deg,
            station_lon_deg=station.lon_deg,
            station_variation_deg=station.variation_deg,
            station_place=place,
            station_distance_nm=station.distance_nm,
        )
    elif given.station is not None:
        notes.append("Warning: the inbound course misses the station, so no VOR needle is shown")
    notes += flag_words(guidance)
    return guidance
