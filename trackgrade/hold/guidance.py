"""What the needle and the flag showed: the GPS needle, the VOR needle, TO and FROM.

A deflection is a share of full scale: 0 centred, 1 full scale, more than 1 pegged. It is positive when the
aircraft is on the holding side of the course. Arrays (n,) in, arrays (n,) out; NaN in, NaN out.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.earth.geodesy import azimuth_distance, near_east_north_m
from trackgrade.earth.units import METRES_PER_NM
from trackgrade.hold.courses import course_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Guidance, Hold
from trackgrade.track.track import Bools, Floats

#: A station nearer than this may be passed abeam in the turn at the fix, or on the outbound leg: the flag flips there.
NEAR_BEYOND_NM = 2.5
NEAR_BEHIND_NM = 8.0


def gps_needle(cross_nm: Any, full_scale_nm: float) -> Floats:
    """Share of full scale of a linear needle, from the distance across the course [NM]."""
    return np.asarray(np.asarray(cross_nm, dtype=np.float64) / full_scale_nm)


def vor_needle(hold: Hold, lat_deg: Any, lon_deg: Any) -> Floats:
    """Share of full scale of the VOR's needle with the inbound course set, at positions (n,) [deg].

    A hold without a station counts as one with a VOR at the fix: what that would have shown. Near the station
    a real needle swings by itself; this one goes on showing the angle.
    """
    return _share(hold, _from_station(hold, lat_deg, lon_deg)[0])


def vor_needle_in_frame(hold: Hold, along_nm: Any, cross_nm: Any) -> tuple[Floats, Floats]:
    """`vor_needle` for positions in the hold's frame [NM], and how far they are from the station [NM]."""
    frame, (lat, lon, course) = HoldFrame(hold), station_of(hold)
    if (lat, lon) == (hold.fix_lat_deg, hold.fix_lon_deg):  # the frame shows the places as the station sees them
        off_deg, distance_nm = _seen(course, *frame.east_north(along_nm, cross_nm))
        return _share(hold, off_deg), distance_nm
    off_deg, distance_m = _from_station(hold, *frame.to_geographic(along_nm, cross_nm))
    return _share(hold, off_deg), distance_m / METRES_PER_NM


def _share(hold: Hold, off_deg: Floats) -> Floats:
    # Behind the station the needle reads the angle to the same line, so it folds at 90 degrees.
    folded = np.minimum(np.abs(off_deg), 180.0 - np.abs(off_deg)) * np.sign(off_deg)
    return np.asarray(hold.side * folded / hold.guidance.full_scale_deg)


def flag_is_to(hold: Hold, lat_deg: Any, lon_deg: Any) -> Bools:
    """True where the flag reads TO, False where it reads FROM, at positions (n,) [deg].

    VOR: TO on the near side of the line through the station, square to the course set. Heading plays no part.
    GPS: the same about the fix. (n,) of NaN positions read FROM.
    """
    return np.asarray(np.abs(_from_station(hold, lat_deg, lon_deg)[0]) > 90.0)


def _from_station(hold: Hold, lat_deg: Any, lon_deg: Any) -> tuple[Floats, Floats]:
    """Bearing from the station to the positions, less the course set, both at the station [-180 to 180); and their
    distance [m]."""
    lat, lon, course = station_of(hold)
    return _seen(course, *near_east_north_m(lat, lon, lat_deg, lon_deg))


def _seen(course_deg: float, east: Floats, north: Floats) -> tuple[Floats, Floats]:
    """Direction of places east and north of a station, less the course set [-180 to 180); and their distance."""
    distance = np.hypot(east, north)
    off = np.asarray(wrap180(np.degrees(np.arctan2(east, north)) - course_deg))
    return np.where(distance > 0.0, off, np.where(np.isnan(distance), np.nan, 0.0)), distance


def station_of(hold: Hold) -> tuple[float, float, float]:
    """Latitude, longitude of the VOR and the true direction, there, of the course set [deg].

    For GPS guidance the VOR is the one the hold names, else one at the fix.
    """
    guidance = hold.guidance
    if guidance.station_lat_deg is None or guidance.station_lon_deg is None:
        return hold.fix_lat_deg, hold.fix_lon_deg, hold.inbound_course_true_deg
    lat, lon = guidance.station_lat_deg, guidance.station_lon_deg
    if guidance.kind == "vor" and guidance.course_to_set_deg is not None:
        return lat, lon, guidance.course_to_set_deg + (guidance.station_variation_deg or 0.0)
    to_station, _ = azimuth_distance(hold.fix_lat_deg, hold.fix_lon_deg, lat, lon)
    from_station, _ = azimuth_distance(lat, lon, hold.fix_lat_deg, hold.fix_lon_deg)
    convergence = 0.0 if guidance.station_place == "at" else wrap180(to_station + 180.0 - from_station)
    return lat, lon, hold.inbound_course_true_deg - float(convergence)


def flag_words(guidance: Guidance) -> tuple[str, ...]:
    """What to set and what the flag does, in sentences; empty for GPS guidance."""
    if guidance.kind != "vor" or guidance.course_to_set_deg is None:
        return ()
    inbound, reciprocal = course_name(guidance.course_to_set_deg), course_name(guidance.course_to_set_deg + 180.0)
    away_nm = guidance.station_distance_nm or 0.0
    no_flip = "no flip at the fix; tell the fix by distance or a crossing radial"
    if guidance.station_place == "at":
        return (
            f"Set {inbound} when the flag flips over the fix, turning outbound at the latest, and leave it set",
            f"The station is the fix and inbound is on its {reciprocal} radial: the flag reads TO inbound, flips to "
            "FROM at the fix, and back to TO abeam it on the outbound leg",
        )
    set_it = f"Set {inbound} before the fix and leave it set"
    if guidance.station_place == "beyond":
        near = f", but FROM where the turn goes over {away_nm:.1f} NM past the fix" if away_nm < NEAR_BEYOND_NM else ""
        return (
            set_it,
            f"The station is {away_nm:.1f} NM beyond the fix and inbound is toward it, on its {reciprocal} radial: the "
            f"flag reads TO inbound and outbound{near}; {no_flip}",
        )
    near = f", but TO where the lap goes over {away_nm:.1f} NM back from the fix" if away_nm < NEAR_BEHIND_NM else ""
    return (
        set_it,
        f"The station is {away_nm:.1f} NM behind the fix and inbound leads away from it, on its {inbound} radial: the "
        f"flag reads FROM inbound and outbound{near}; {no_flip}",
    )
