"""GPX 1.0 and 1.1 (topografix.com schemas), read in one pass straight into arrays.

``ele`` is metres, ``time`` is UTC, ``speed`` of GPX 1.0 is metres a second, ``course`` is degrees true.
"""

from __future__ import annotations

import re

import numpy as np

from trackgrade.earth.units import KT_PER_M_S, METRES_PER_FT
from trackgrade.errors import TrackFileError
from trackgrade.files import plain_text
from trackgrade.track.readers.gpx_pass import EXTENSION, GpxPass
from trackgrade.track.readers.iso_times import IsoTimes
from trackgrade.track.readers.parts import joined
from trackgrade.track.readers.possible import make_track, moment_and_place
from trackgrade.track.readers.xml_guard import read_xml
from trackgrade.track.track import Floats, Provenance, Rows, Track

_GPX_LIKE = re.compile(rb"<(?:!DOCTYPE\s+|[\w.-]+:)?(?:gpx|trk|trkseg|trkpt)\b")


def sniff(head: bytes) -> bool:
    """Whether the first bytes of a file look like GPX."""
    text = head.replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return text.startswith(b"<") and _GPX_LIKE.search(text) is not None


def read(data: bytes, source: str) -> Track:
    """A `Track` of the bytes of a GPX file.

    Raises TrackFileError: not GPX, hostile XML, no track (only routes or waypoints), no times, or no usable point.
    """
    seen = read_xml(data, source, GpxPass)
    told = seen.notes
    if seen.root.rpartition(":")[2] != "gpx":
        raise TrackFileError(_not_gpx(seen, source))
    if not seen.points:
        raise TrackFileError(_no_points(seen, source))
    lat_deg, lon_deg, epoch_s, ele_m = (np.array(values) for values in (seen.lat, seen.lon, seen.epoch, seen.ele))
    if seen.bad["point without a position"] == seen.points:
        raise TrackFileError(
            f"{source}: none of its {seen.points} track points has a readable position. Export it again"
        )
    if not np.isfinite(epoch_s).any():
        raise TrackFileError(
            f"{source}: its {seen.points} track points have no time, so nothing can be timed. "
            "Export the recorded track with times, not a drawn or planned one"
        )
    told += seen.times.notes("GPX")
    order = joined(seen.parts, epoch_s, told)
    lat_deg, lon_deg, epoch_s = lat_deg[order], lon_deg[order], epoch_s[order]
    with np.errstate(over="ignore"):
        alt_ft = ele_m[order] / METRES_PER_FT
    provenance = moment_and_place("trkpt/time", "trkpt/@lat", lon="trkpt/@lon")
    if np.isfinite(alt_ft).any():
        provenance.append(Provenance("altitude", "trkpt/ele", "m", "GPX gives metres; made feet (× 1/0.3048)"))
    channels = _channels(seen, order, (epoch_s, lat_deg, lon_deg), provenance, told)
    if seen.bad:
        shown = ", ".join(f"{name} ({count})" for name, count in sorted(seen.bad.items()))
        told.append(f"values that are no numbers were left out or mended: {shown}")
    there = ~seen.unplaced()[order]
    return make_track(
        source,
        epoch_s[there],
        lat_deg[there],
        lon_deg[there],
        alt_ft[there],
        channels={name: values[there] for name, values in channels.items()},
        marks=_marks(seen, told),
        provenance=provenance,
        notes=told,
    )


def _not_gpx(seen: GpxPass, source: str) -> str:
    if not seen.root:
        return f"{source} is not readable XML (line {seen.cut_at_line or 1}). Export the track again as GPX"
    return f"{source} is XML but not GPX (it begins with <{plain_text(seen.root, 40)}>). Export it as GPX"


def _no_points(seen: GpxPass, source: str) -> str:
    if seen.cut_at_line is not None:
        return (
            f"{source} line {seen.cut_at_line}: the file is damaged or cut short before its first "
            "track point. Copy or export it again"
        )
    if seen.route_points:
        return (
            f"{source} holds a route (a plan of {seen.route_points} points), not a recorded track. "
            "Export the track that was flown"
        )
    if seen.waypoints:
        return f"{source} holds only waypoints, no track. Export the track that was flown"
    return f"{source} is GPX but holds no track point. Choose another file"


def _channels(
    seen: GpxPass, order: Rows, positions: tuple[Floats, Floats, Floats], provenance: list[Provenance], told: list[str]
) -> dict[str, Floats]:
    """Speed and course: by the elements of GPX 1.0, whose units the schema fixes (some recorders write them into a file
    that says 1.1), or by extensions of 1.1, whose unit of speed no schema fixes: the positions decide it."""
    by_schema = seen.version.strip() == "1.0" or not seen.extended
    where = "" if by_schema else EXTENSION
    speed, course = (seen.values[where + word].dense(seen.points)[order] for word in ("speed", "course"))
    channels: dict[str, Floats] = {}
    if np.isfinite(speed).any() and by_schema:
        channels["groundspeed_kt"] = speed * KT_PER_M_S
        provenance.append(Provenance("groundspeed_kt", "trkpt/speed", "m/s", "the GPX 1.0 schema; made knots"))
    elif np.isfinite(speed).any():
        from trackgrade.track.readers.speed_unit import unit_by_positions  # brings the words of tables with it

        unit = unit_by_positions(*positions, speed)
        if unit is None:
            told.append("speed in the extensions agrees with the positions in no unit: not used")
        else:
            channels["groundspeed_kt"] = speed * unit.factor
            note = "no schema fixes the unit; the positions agree with it; made knots"
            provenance.append(Provenance("groundspeed_kt", "trkpt/extensions/speed", unit.name, note))
    if np.isfinite(course).any():
        channels["track_true_deg"] = course
        note = "the GPX 1.0 schema" if by_schema else "taken as true"
        provenance.append(Provenance("track_true_deg", f"trkpt/{where}course", "deg true", note))
    if seen.unread and not by_schema:
        names = ", ".join(plain_text(w, 30) for w in sorted(seen.unread)[:8])
        told.append(f"extensions not read: {names}{' and more' if len(seen.unread) > 8 else ''}")
    direct = [word for word in ("speed", "course") if seen.values[word].rows]
    if direct and not by_schema:
        told.append(f"{' and '.join(direct)} directly in the points of a GPX 1.1 file were not read")
    return channels


def _marks(seen: GpxPass, told: list[str]) -> list[tuple[float, str]]:
    """Timed waypoints; the untimed are counted in a note."""
    if not seen.waypoints:
        return []
    times_s = IsoTimes().epochs_s([time for time, _ in seen.timed]) if seen.timed else np.empty(0)
    marks = [(time_s, label) for time_s, (_, label) in zip(times_s, seen.timed) if np.isfinite(time_s)]
    untimed = seen.waypoints - seen.with_time + len(seen.timed) - len(marks)
    if untimed:
        told.append(f"{untimed} waypoints without a time are no marks and were left out")
    return marks
