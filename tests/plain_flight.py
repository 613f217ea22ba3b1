"""A holding pattern written down by arithmetic alone: no wind, constant speed, 3 degrees a second.

Used where a test needs *a* flight (command line, batch, timings), not a hard one. It shares no code with
the package: the racetrack is two straight lines and two half circles, placed by the radii of WGS 84.
"""

from __future__ import annotations

import math
import random
from datetime import UTC, datetime, timedelta

START = datetime(2026, 5, 3, 15, 0, 0, tzinfo=UTC)
FIX_LAT_DEG, FIX_LON_DEG = 44.0, -93.0
COURSE_TRUE_DEG = 143.0
SPEED_KT = 100.0
RATE_DEG_S = 3.0
STRAIGHT_S = 60.0
LAP_S = 240.0  # two legs of a minute, two turns of a minute

HOLD_TOML = f"""\
name = "Plain practice hold"
inbound_course_deg = {COURSE_TRUE_DEG}
north = "true"
turns = "right"
altitude_ft = 4000
airspeed_kias = 94

[fix]
lat = {FIX_LAT_DEG}
lon = {FIX_LON_DEG}

[leg]
minutes = 1.0
"""

Row = tuple[datetime, float, float, float]


def frame_position(since_fix_s: float, laps: int) -> tuple[float, float]:
    """Along and cross [NM] at a time after the first passage of the fix (negative: on the way to it)."""
    speed = SPEED_KT / 3600.0
    radius = speed / math.radians(RATE_DEG_S)
    if since_fix_s < 0.0 or since_fix_s >= laps * LAP_S:
        return speed * (since_fix_s if since_fix_s < 0.0 else since_fix_s - laps * LAP_S), 0.0
    into = since_fix_s % LAP_S
    half_turn_s = 180.0 / RATE_DEG_S
    if into < half_turn_s:
        angle = math.radians(RATE_DEG_S * into)
        return radius * math.sin(angle), radius * (1.0 - math.cos(angle))
    into -= half_turn_s
    if into < STRAIGHT_S:
        return -speed * into, 2.0 * radius
    into -= STRAIGHT_S
    if into < half_turn_s:
        angle = math.radians(RATE_DEG_S * into)
        return -speed * STRAIGHT_S - radius * math.sin(angle), radius * (1.0 + math.cos(angle))
    into -= half_turn_s
    return -speed * (STRAIGHT_S - into), 0.0


def rows(
    *, before_s: float = 240.0, laps: int = 3, after_s: float = 120.0, interval_s: float = 1.0, seed: int = 1
) -> list[Row]:
    """Time, latitude, longitude [deg], altitude [ft], with noise of 2 m in position and 15 ft in altitude."""
    dice = random.Random(seed)
    course = math.radians(COURSE_TRUE_DEG)
    latitude = math.radians(FIX_LAT_DEG)
    squash = 1.0 - 0.00669437999014 * math.sin(latitude) ** 2  # WGS 84, first eccentricity squared
    metres_per_lat_deg = math.radians(6378137.0 * (1.0 - 0.00669437999014) / squash**1.5)
    metres_per_lon_deg = math.radians(6378137.0 / math.sqrt(squash) * math.cos(latitude))
    total = before_s + laps * LAP_S + after_s
    out = []
    for step in range(int(total / interval_s) + 1):
        along, cross = frame_position(step * interval_s - before_s, laps)
        east = (along * math.sin(course) + cross * math.cos(course)) * 1852.0 + dice.gauss(0.0, 2.0)
        north = (along * math.cos(course) - cross * math.sin(course)) * 1852.0 + dice.gauss(0.0, 2.0)
        out.append(
            (
                START + timedelta(seconds=step * interval_s),
                FIX_LAT_DEG + north / metres_per_lat_deg,
                FIX_LON_DEG + east / metres_per_lon_deg,
                4000.0 + dice.gauss(0.0, 15.0),
            )
        )
    return out


def gpx(flight: list[Row]) -> str:
    points = "\n".join(
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><ele>{alt * 0.3048:.1f}</ele><time>{_stamp(time)}</time></trkpt>'
        for time, lat, lon, alt in flight
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="plain flight" xmlns="http://www.topografix.com/GPX/1/1">\n'
        f"<trk><trkseg>\n{points}\n</trkseg></trk>\n</gpx>\n"
    )


def csv(flight: list[Row]) -> str:
    lines = [f"{_stamp(time)},{lat:.7f},{lon:.7f},{alt:.0f}" for time, lat, lon, alt in flight]
    return "time_utc,lat,lon,alt_ft\n" + "\n".join(lines) + "\n"


def _stamp(time: datetime) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%S.") + f"{time.microsecond // 1000:03d}Z"
