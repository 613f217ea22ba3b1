"""GPX 1.0 and 1.1 (topografix.com schemas): gpxpy parses, `xml_guard` looks first, arrays come out.

``ele`` is metres, ``time`` is UTC, ``speed`` of GPX 1.0 is metres a second, ``course`` is degrees true.
gpxpy's geometry is not used: it is made for walks.
"""

from __future__ import annotations

import re
from collections import Counter
from typing import Any

import numpy as np

from trackgrade.earth.units import KT_PER_M_S, METRES_PER_FT
from trackgrade.errors import TrackFileError
from trackgrade.files import MIB, plain_text
from trackgrade.track.readers.possible import MOST_XML_BYTES, make_track, usable_angle_deg
from trackgrade.track.readers.speed_unit import unit_by_positions
from trackgrade.track.readers.xml_guard import Survey, decoded, survey
from trackgrade.track.track import Floats, Mark, Provenance, Track

_GPX_LIKE = re.compile(rb"<(?:!DOCTYPE\s+|[\w.-]+:)?(?:gpx|trk|trkseg|trkpt)\b")
_DECIMAL_COMMA = re.compile(r"\s*[+-]?[0-9]{1,6},[0-9]+\s*")
_LARGEST_OFFSET_MIN = 14 * 60  # UTC+14 is the farthest zone in use
_MOST_MARKS = 2_000
#: Words of extension elements and the quantity they are read as.
_EXTENSION_WORDS = {"speed": "groundspeed_kt", "course": "track_true_deg"}
_NUMBER_FIELDS = frozenset(["ele", "speed", "course", "magvar", "geoidheight", "hdop", "vdop", "pdop", "ageofdgpsdata"])
_KEPT_FIELDS = frozenset(["time", "name", "cmt", "desc", "extensions", "link", *_NUMBER_FIELDS])


def sniff(head: bytes) -> bool:
    """Whether the first bytes of a file look like GPX."""
    text = head.replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return text.startswith(b"<") and _GPX_LIKE.search(text) is not None


def read(data: bytes, source: str, sha256: str = "", notes: tuple[str, ...] = ()) -> Track:
    """A `Track` of the bytes of a GPX file.

    Raises
    ------
    TrackFileError
        Not GPX, hostile XML, no track (only routes or waypoints), no times, or no usable point.
    """
    if len(data) > MOST_XML_BYTES:
        raise TrackFileError(
            f"{source} holds more than {MOST_XML_BYTES // MIB} MiB of GPX and is not read. "
            "Cut it to the flight, or keep fewer points a second"
        )
    text, decoding_notes = decoded(data)
    seen = survey(text, source)
    told = [*notes, *decoding_notes, *seen.notes]
    if seen.root.rpartition(":")[2] != "gpx":
        raise TrackFileError(_not_gpx(seen, source))
    if not seen.counts["trkpt"]:
        raise TrackFileError(_no_points(seen, source))
    document, version = _parsed(seen, source, told)

    segments = [(t, s.points) for t, track in enumerate(document.tracks) for s in track.segments if s.points]
    points = [p for _, segment in segments for p in segment]
    if not points:
        raise TrackFileError(_no_points(seen, source, read=False))
    epoch_s = _epochs_s(points, told)
    if not np.isfinite(epoch_s).any():
        raise TrackFileError(
            f"{source}: its {len(points)} track points have no time, so nothing can be timed. "
            "Export the recorded track with times, not a drawn or planned one"
        )
    order = _joined(segments, epoch_s, told)
    points = [points[i] for i in order]
    epoch_s = epoch_s[order]
    lat_deg = _floats(points, "latitude")
    lon_deg = _floats(points, "longitude")
    with np.errstate(over="ignore"):
        alt_ft = _floats(points, "elevation") / METRES_PER_FT
    provenance = [
        Provenance("time", "trkpt/time", "UTC"),
        Provenance("latitude", "trkpt/@lat", "deg"),
        Provenance("longitude", "trkpt/@lon", "deg"),
    ]
    if np.isfinite(alt_ft).any():
        provenance.append(Provenance("altitude", "trkpt/ele", "m", "GPX gives metres; made feet (× 1/0.3048)"))
    else:
        told.append("no altitude in the file")

    channels: dict[str, Floats] = {}
    if version == "1.0":
        _schema_channels(points, channels, provenance)
    else:
        _extension_channels(points, (epoch_s, lat_deg, lon_deg), channels, provenance, told)
        direct = [name for name in ("speed", "course") if seen.in_point[name]]
        if direct:
            told.append(f"{' and '.join(direct)} directly in the points of a GPX 1.1 file were not read")
    return make_track(
        source,
        epoch_s,
        lat_deg,
        lon_deg,
        alt_ft,
        channels=channels,
        marks=_marks(document.waypoints, told),
        provenance=provenance,
        notes=told,
        sha256=sha256,
    )


def _not_gpx(seen: Survey, source: str) -> str:
    if not seen.root:
        return f"{source} is not readable XML (line {seen.cut_at_line or 1}). Export the track again as GPX"
    return f"{source} is XML but not GPX (it begins with <{plain_text(seen.root, 40)}>). Export it as GPX"


def _no_points(seen: Survey, source: str, *, read: bool = True) -> str:
    if not read and seen.counts["trkpt"]:
        return f"{source}: none of its {seen.counts['trkpt']} track points has a readable position. Export it again"
    if seen.cut_at_line is not None:
        return (
            f"{source} line {seen.cut_at_line}: the file is damaged or cut short before its first "
            "track point. Copy or export it again"
        )
    if seen.counts["rtept"]:
        return (
            f"{source} holds a route (a plan of {seen.counts['rtept']} points), not a recorded track. "
            "Export the track that was flown"
        )
    if seen.counts["wpt"]:
        return f"{source} holds only waypoints, no track. Export the track that was flown"
    return f"{source} is GPX but holds no track point. Choose another file"


def _parsed(seen: Survey, source: str, told: list[str]) -> tuple[Any, str]:
    """gpxpy's document and the version it was read as; bad values are taken out where there are any."""
    import gpxpy

    text = seen.text
    prefix, colon, _ = seen.root.rpartition(":")
    if colon:  # <x:gpx>: gpxpy knows GPX elements only without a prefix
        text = re.sub(rf"<(/?){re.escape(prefix)}:", r"<\1", text)
    # A date is read with no blank before or behind it.
    if any(f"<time>{blank}" in text or f"{blank}</time" in text for blank in " \n\r\t"):
        text = re.sub(r"(<time[^<>]{0,200}>)\s*([^<>\s]{1,60})\s*(?=</time)", r"\1\2", text)
    version = "1.0" if seen.version.strip() == "1.0" else "1.1"
    # Some recorders write the 1.0 elements speed and course into a file that says 1.1.
    if not seen.in_point["extensions"] and (seen.in_point["speed"] or seen.in_point["course"]):
        version = "1.0"
    # gpxpy raises ValueError, AttributeError and lxml's own errors too: all mean a file it cannot read.
    try:
        return gpxpy.parse(text, version=version), version
    except MemoryError:
        raise
    except Exception:
        pass  # outside, so that the error does not keep what was parsed so far in memory
    try:
        mended, removed = _without_bad_values(text)
        document = gpxpy.parse(mended, version=version)
    except MemoryError:
        raise
    except Exception as problem:
        reason = plain_text(str(problem), 120)
        raise TrackFileError(f"{source} is not readable GPX: {reason}. Export the track again") from None
    told.append(f"values that are no numbers were left out or mended: {removed}")
    return document, version


def _without_bad_values(text: str) -> tuple[str, str]:
    """The text without points that lack a position and without values that are no number; and what was mended."""
    from lxml import etree

    text = re.sub(r"""\sxmlns=(['"])[^'"]+\1""", "", text, count=1)
    parser = etree.XMLParser(
        remove_comments=True, remove_pis=True, resolve_entities=False, no_network=True, recover=True
    )
    root = etree.fromstring(text.encode("utf-8"), parser)
    removed: Counter[str] = Counter()
    for element in list(root.iter()):
        if isinstance(element.tag, str) and ":" in element.tag.rpartition("}")[2] and element.getparent() is not None:
            removed["element of an undeclared namespace"] += 1
            element.getparent().remove(element)
    for child in list(root):
        if child.tag not in ("trk", "wpt"):  # metadata, routes, extensions: nothing of them is used
            root.remove(child)
    for point in list(root.iter("trkpt", "wpt")):
        for name in ("lat", "lon"):
            if _DECIMAL_COMMA.fullmatch(point.get(name) or ""):
                removed["decimal comma, read as a point"] += 1
                point.set(name, point.get(name).replace(",", "."))
        if not (_is_number(point.get("lat")) and _is_number(point.get("lon"))):
            removed["point without a position"] += 1
            point.getparent().remove(point)
            continue
        for child in list(point):
            if child.tag in _NUMBER_FIELDS and _DECIMAL_COMMA.fullmatch(child.text or ""):
                child.text = child.text.replace(",", ".")
            if child.tag in _NUMBER_FIELDS and not _is_number(child.text):
                removed[child.tag] += 1
                point.remove(child)
            elif child.tag not in _KEPT_FIELDS:
                point.remove(child)
    for parent in root.iter("trk", "trkseg"):
        for child in list(parent):
            if child.tag not in ("trkseg", "trkpt", "name"):
                parent.remove(child)
    shown = ", ".join(f"{name} ({count})" for name, count in sorted(removed.items()))
    return etree.tostring(root, encoding="unicode"), shown or "details beside the track"


def _is_number(text: str | None) -> bool:
    try:
        float((text or "").strip())
    except ValueError:
        return False
    return True


def _floats(points: list[Any], name: str) -> Floats:
    return np.array([getattr(p, name) for p in points], dtype=np.float64)


def _epochs_s(points: list[Any], told: list[str]) -> Floats:
    """Times of the points [s since 1970 UTC], NaN where there is none; zones other than UTC are noted."""
    times = [p.time for p in points]
    offsets = np.array(
        [np.nan if t is None else 0.0 if t.tzinfo is None else t.tzinfo.offset for t in times],
        dtype=np.float64,
    )
    wall = np.array([None if t is None else t.replace(tzinfo=None) for t in times], dtype="datetime64[us]")
    epoch_s = (wall - np.datetime64("1970-01-01", "us")) / np.timedelta64(1, "s")
    with np.errstate(invalid="ignore"):
        wild = np.abs(offsets) > _LARGEST_OFFSET_MIN
    epoch_s = np.where(wild, np.nan, epoch_s - offsets * 60.0)
    naive = sum(1 for t in times if t is not None and t.tzinfo is None)
    if naive:
        told.append(f"{naive} of {len(points)} times name no zone: taken as UTC, which GPX prescribes")
    zones = sorted({float(o) for o in offsets[np.isfinite(offsets) & (offsets != 0.0) & ~wild]})
    if zones:
        shown = ", ".join(f"{'-' if z < 0 else '+'}{abs(z) // 60:02.0f}:{abs(z) % 60:02.0f}" for z in zones[:5])
        told.append(f"times carry the offset {shown}{' and more' if len(zones) > 5 else ''}: made UTC")
    return epoch_s


def _joined(segments: list[tuple[int, list[Any]]], epoch_s: Floats, told: list[str]) -> list[int]:
    """Indexes of the points, segments in time order; of several at the same time the largest stays."""
    if len(segments) == 1:
        return list(range(len(epoch_s)))
    spans = []
    first = untimed = 0
    for track, points in segments:
        rows = range(first, first + len(points))
        first += len(points)
        times = epoch_s[rows.start : rows.stop]
        times = times[np.isfinite(times)]
        if len(times):
            # The middle 96 %: one point with a wild date must not stretch the segment over the others.
            start, end = np.percentile(times, [2.0, 98.0])
            spans.append((float(start), float(end), rows, track))
        else:
            untimed += len(points)
    if untimed:
        told.append(f"{untimed} points stand in segments without any time and were left out")
    kept: list[tuple[float, float, range, int]] = []
    for span in sorted(spans, key=lambda s: (-len(s[2]), s[0])):
        if all(span[1] <= other[0] or span[0] >= other[1] for other in kept):
            kept.append(span)
    kept.sort(key=lambda s: (s[0], s[1]))
    tracks = len({span[3] for span in kept})
    if len(kept) > 1:
        told.append(f"{len(kept)} segments{f' of {tracks} tracks' if tracks > 1 else ''} were joined in order of time")
    if len(kept) < len(spans):
        left_out = sum(len(s[2]) for s in spans) - sum(len(s[2]) for s in kept)
        which = "one segment" if len(spans) - len(kept) == 1 else f"{len(spans) - len(kept)} segments"
        told.append(
            f"{which} ({left_out} points) at the same time as a longer one left out: "
            "for another recorder or aircraft, split the file"
        )
    return [row for span in kept for row in span[2]]


def _schema_channels(points: list[Any], channels: dict[str, Floats], provenance: list[Provenance]) -> None:
    """Speed and course of GPX 1.0, whose units the schema fixes."""
    speed_kt = _floats(points, "speed") * KT_PER_M_S
    if np.isfinite(speed_kt).any():
        channels["groundspeed_kt"] = speed_kt
        provenance.append(Provenance("groundspeed_kt", "trkpt/speed", "m/s", "the GPX 1.0 schema; made knots"))
    course_deg = usable_angle_deg(_floats(points, "course"))
    if np.isfinite(course_deg).any():
        channels["track_true_deg"] = course_deg
        provenance.append(Provenance("track_true_deg", "trkpt/course", "deg true", "the GPX 1.0 schema"))


def _extension_channels(
    points: list[Any],
    positions: tuple[Floats, Floats, Floats],
    channels: dict[str, Floats],
    provenance: list[Provenance],
    told: list[str],
) -> None:
    """Speed and course of GPX 1.1 extensions, whose unit no schema fixes: the positions decide it."""
    values: dict[str, Floats] = {}
    shown: dict[str, str] = {}
    unread: Counter[str] = Counter()
    for row, point in enumerate(points):
        for extension in point.extensions:
            for element in extension.iter():
                if not isinstance(element.tag, str) or len(element):
                    continue
                word = element.tag.rpartition("}")[2]
                if word not in _EXTENSION_WORDS:
                    unread[word] += 1
                    continue
                if word not in values:
                    values[word] = np.full(len(points), np.nan)
                    shown[word] = f"trkpt/extensions/{plain_text(word, 40)}"
                if _is_number(element.text):
                    values[word][row] = float(element.text)
    if "speed" in values:
        unit = unit_by_positions(*positions, values["speed"])
        if unit is None:
            told.append("speed in the extensions agrees with the positions in no unit: not used")
        else:
            channels["groundspeed_kt"] = values["speed"] * unit.kt
            note = "no schema fixes the unit; the positions agree with it; made knots"
            provenance.append(Provenance("groundspeed_kt", shown["speed"], unit.name, note))
    if "course" in values:
        channels["track_true_deg"] = usable_angle_deg(values["course"])
        provenance.append(Provenance("track_true_deg", shown["course"], "deg true", "taken as true"))
    if unread:
        names = ", ".join(plain_text(w, 30) for w in sorted(unread)[:8])
        told.append(f"extensions not read: {names}{' and more' if len(unread) > 8 else ''}")


def _marks(waypoints: list[Any], told: list[str]) -> list[Mark]:
    """Timed waypoints; the untimed are counted in a note."""
    timed = [w for w in waypoints if w.time is not None]
    if len(timed) < len(waypoints):
        told.append(f"{len(waypoints) - len(timed)} waypoints without a time are no marks and were left out")
    if not timed:
        return []
    epoch_s = _epochs_s(timed, [])
    labels = [plain_text(w.name or w.comment or w.description or "", 80) or "mark" for w in timed]
    marks = [Mark(float(t), label) for t, label in zip(epoch_s, labels) if np.isfinite(t)]
    if len(marks) > _MOST_MARKS:
        told.append(f"only the first {_MOST_MARKS} of {len(marks)} timed waypoints were taken as marks")
    return sorted(marks, key=lambda m: (m.epoch_s, m.label))[:_MOST_MARKS]
