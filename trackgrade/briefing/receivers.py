"""What each receiver will show on a lap: the course to set, the needle and its flag, the reading of the DME."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from markupsafe import Markup

from trackgrade.briefing.brief import Brief
from trackgrade.drawing.furniture import needle
from trackgrade.earth.angles import wrap180
from trackgrade.earth.geodesy import azimuth_distance
from trackgrade.hold.courses import course_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.guidance import flag_is_to
from trackgrade.hold.hold import Hold

#: Where on the inbound leg a needle is drawn: half a mile, or so, before the fix [NM].
BEFORE_FIX_NM = 0.5


@dataclass(frozen=True, eq=False)
class Receiver:
    """One needle: what it is set to, how it stands on course shortly before the fix, and its flag round the lap."""

    name: str
    setting: str
    flags: str
    drawing: Markup


def receivers(brief: Brief) -> tuple[Receiver, ...]:
    """The GPS needle; the VOR's, where the hold names a station on its course; the second one, where radials cross."""
    hold, guidance = brief.hold, brief.hold.guidance
    magnetic = course_name(round(hold.inbound_course_true_deg - hold.variation_deg))
    by_gps = replace(hold, guidance=replace(guidance, station_lat_deg=None, station_lon_deg=None, station_place=None))
    shown = [_receiver("GPS", brief, by_gps, magnetic, f"full scale {guidance.full_scale_nm:g} NM")]
    if guidance.station_place is not None:
        course = guidance.course_to_set_deg if guidance.kind == "vor" else None
        if course is None:
            course = hold.inbound_course_true_deg - (guidance.station_variation_deg or 0.0)
        shown.append(_receiver("VOR", brief, hold, course_name(course), f"full scale {guidance.full_scale_deg:g}°"))
    if guidance.kind == "vor":
        shown = shown[::-1]
    if hold.cross_station is not None:
        shown.append(_second(hold))
    return tuple(shown)


def _receiver(name: str, brief: Brief, hold: Hold, course: str, scale: str) -> Receiver:
    """A needle that follows the inbound course: its flag inbound, past the fix, and at the end of the outbound leg."""
    lap, frame = brief.solved, HoldFrame(hold)
    end = (float(lap.path_along_nm.min()), float(lap.path_cross_nm.max())) if len(lap.path_s) else (-2.0, 1.0)
    places = np.array([(-BEFORE_FIX_NM, 0.0), (2.0 * BEFORE_FIX_NM, 0.0), end])
    to = flag_is_to(hold, *frame.to_geographic(places[:, 0], places[:, 1])).tolist()
    inbound, past, outbound = ("TO" if each else "FROM" for each in to)
    flags = f"{inbound} throughout" if inbound == past == outbound else f"{inbound} in, {past} past the fix"
    if outbound != past:
        flags += f", {outbound} from abeam"
    return Receiver(name, f"set {course}, {scale}", flags, needle(0.0, inbound, f"{name}: centred on course"))


def _second(hold: Hold) -> Receiver:
    """The needle set to the crossing radial: which side it comes from, and that it centres at the fix."""
    station = hold.cross_station
    assert station is not None, "asked for where there is one"
    lat, lon = HoldFrame(hold).to_geographic(-BEFORE_FIX_NM, 0.0)
    bearing, _ = azimuth_distance(station.lat_deg, station.lon_deg, lat, lon)
    off = float(wrap180(bearing - station.radial_deg - station.variation_deg))
    side = "left" if off > 0.0 else "right"  # right of the radial, seen from the station: the needle lies left
    name = course_name(station.radial_deg)
    share = float(np.clip(-off / hold.guidance.full_scale_deg, -1.0, 1.0))
    return Receiver(
        "Second VOR", f"set {name}, the crossing radial", f"FROM; needle {side} before the fix, centred over it",
        needle(share, "FROM", f"Second VOR: needle {side} before the fix"),
    )  # fmt: skip


def dme_reading(brief: Brief) -> str:
    """Where the outbound leg of a leg in NM ends, as the box reads it; empty where the fix has no DME.

    The distance that is given ends the outbound leg (AIM 5-3-8): 5 NM on a fix at 15 DME, outbound away from the
    station, is 20 DME.
    """
    hold = brief.hold
    if hold.dme_station is None or hold.leg.nm is None:
        return ""
    lat, lon = HoldFrame(hold).to_geographic(np.array([0.0, -hold.leg.nm]), np.zeros(2))
    _, away = azimuth_distance(hold.dme_station.lat_deg, hold.dme_station.lon_deg, lat, lon)
    at_fix, at_end = (float(each) for each in away)
    return f"On the box: fix at {at_fix:.1f} DME, turn back at {at_end:.1f} DME"
