"""The one flight that every awkward file holds: 90 s, half a turn, 110 kt, near an invented fix."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import numpy as np

START = datetime.datetime(2026, 5, 3, 15, 20, 0, tzinfo=datetime.UTC)


@dataclass(frozen=True)
class Row:
    """One second of the flight; all values in the project's units."""

    time: datetime.datetime
    epoch_s: float
    lat: float
    lon: float
    alt_ft: float
    speed_kt: float
    course_deg: float


def flight(count: int = 90, start: datetime.datetime = START) -> list[Row]:
    """A level half turn to the right at 2 deg/s and 110 kt over the ground."""
    rows = []
    lat, lon, course = 44.0, -93.0, 30.0
    step_deg = 110.0 / 3600.0 / 60.0
    for i in range(count):
        time = start + datetime.timedelta(seconds=i)
        rows.append(
            Row(time, time.timestamp(), round(lat, 7), round(lon, 7), 4000.0 + i % 3, 110.0, round(course % 360, 1))
        )
        lat += step_deg * np.cos(np.radians(course))
        lon += step_deg * np.sin(np.radians(course)) / np.cos(np.radians(lat))
        course += 2.0
    return rows


FLIGHT = flight()
EPOCH_S = np.array([r.epoch_s for r in FLIGHT])
LAT_DEG = np.array([r.lat for r in FLIGHT])
LON_DEG = np.array([r.lon for r in FLIGHT])
ALT_FT = np.array([r.alt_ft for r in FLIGHT])


def gpx_text(rows: list[Row] = FLIGHT, version: str = "1.1", extra: str = "", point: str = "") -> str:
    """A GPX file; ``extra`` goes before the track, ``point`` into every track point (formatted with the row)."""
    points = "\n".join(
        f'<trkpt lat="{r.lat}" lon="{r.lon}"><ele>{r.alt_ft * 0.3048:.3f}</ele>'
        f"<time>{r.time.strftime('%Y-%m-%dT%H:%M:%SZ')}</time>{point.format(r=r, ms=r.speed_kt / 3.6 * 1.852)}</trkpt>"
        for r in rows
    )
    namespace = f"http://www.topografix.com/GPX/{version.replace('.', '/')}"
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="{version}" creator="made here" xmlns="{namespace}">\n'
        f"{extra}<trk><name>practice</name><trkseg>\n{points}\n</trkseg></trk></gpx>\n"
    )


def own_csv(rows: list[Row] = FLIGHT) -> str:
    """The project's own columns."""
    lines = ["time_utc,lat,lon,alt_ft,groundspeed_kt,track_true_deg"]
    lines += [
        f"{r.time.strftime('%Y-%m-%dT%H:%M:%SZ')},{r.lat},{r.lon},{r.alt_ft},{r.speed_kt},{r.course_deg}" for r in rows
    ]
    return "\n".join(lines) + "\n"
