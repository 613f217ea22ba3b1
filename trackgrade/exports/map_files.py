"""The features of a debrief as files of map programs: GPX 1.1 (topografix.com), KML 2.2 (OGC), GeoJSON (RFC 7946)."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from typing import Any
from xml.sax.saxutils import escape

from trackgrade.exports.map_features import Feature, map_features
from trackgrade.exports.plain import number, utc
from trackgrade.score.debrief import Debrief

#: A hundredth of a metre, and a tenth of a metre of height.
_DEGREE_DECIMALS, _METRE_DECIMALS = 7, 1
#: Colours of KML lines by what they are, as alpha, blue, green, red.
_COLOURS = {
    "course": "ff808080",
    "flight": "ffb0b0b0",
    "lap": "ffd07020",
    "incomplete lap": "80d07020",
    "lap that works": "ff30a030",
}


def to_text(debrief: Debrief, kind: str) -> str:
    """The file of one of `MAP_KINDS`."""
    return MAP_KINDS[kind](map_features(debrief), " ".join(debrief.cautions))


def _gpx(features: Sequence[Feature], caution: str) -> str:
    """Points are waypoints, flown lines are tracks with times, the others routes: what nobody flew has no time."""
    points = [f for f in features if f.is_point]
    flown = [f for f in features if not f.is_point and math.isfinite(f.epoch_s[0])]
    drawn = [f for f in features if not f.is_point and not math.isfinite(f.epoch_s[0])]
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="trackgrade" xmlns="http://www.topografix.com/GPX/1/1">',
        f"<metadata><desc>{escape(caution)}</desc></metadata>",
    ]
    lines += [_gpx_point("wpt", f, 0, f"<name>{escape(f.name)}</name><desc>{escape(f.text)}</desc>") for f in points]
    for tag, point, of in (("rte", "rtept", drawn), ("trk", "trkpt", flown)):
        for f in of:
            lines.append(f"<{tag}><name>{escape(f.name)}</name><desc>{escape(f.text)}</desc>")
            rows = [_gpx_point(point, f, i) for i in range(len(f.lat_deg))]
            lines += ["<trkseg>", *rows, "</trkseg>"] if tag == "trk" else rows
            lines.append(f"</{tag}>")
    return "\n".join([*lines, "</gpx>", ""])


def _gpx_point(tag: str, f: Feature, i: int, more: str = "") -> str:
    height, time = number(f.alt_m[i], _METRE_DECIMALS), utc(f.epoch_s[i])
    inside = ("" if height is None else f"<ele>{height}</ele>") + ("" if time is None else f"<time>{time}</time>")
    place = f'lat="{number(f.lat_deg[i], _DEGREE_DECIMALS)}" lon="{number(f.lon_deg[i], _DEGREE_DECIMALS)}"'
    return f"<{tag} {place}>{inside}{more}</{tag}>"


def _kml(features: Sequence[Feature], caution: str) -> str:
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>Debrief of a holding pattern</name>',
        f"<description>{escape(caution)}</description>",
    ]
    for kind, colour in _COLOURS.items():
        style = f"<LineStyle><color>{colour}</color><width>2</width></LineStyle>"
        lines.append(f'<Style id="{kind.replace(" ", "_")}">{style}</Style>')
    for f in features:
        parts = f.within_180()
        high = all(math.isfinite(value) for value in f.alt_m)
        mode = f"<altitudeMode>{'absolute' if high else 'clampToGround'}</altitudeMode>"
        shapes = []
        for part in parts:
            shape = "Point" if part.is_point else "LineString"
            line = "" if part.is_point else "<tessellate>1</tessellate>"
            rows = " ".join(",".join(str(value) for value in row) for row in _coordinates(part))
            shapes.append(f"<{shape}>{line}{mode}<coordinates>{rows}</coordinates></{shape}>")
        body = shapes[0] if len(shapes) == 1 else f"<MultiGeometry>{''.join(shapes)}</MultiGeometry>"
        begin, end = utc(f.epoch_s[0]), utc(f.epoch_s[-1])
        when = ""
        if begin is not None:
            span = f"<TimeSpan><begin>{begin}</begin><end>{end}</end></TimeSpan>"
            when = f"<TimeStamp><when>{begin}</when></TimeStamp>" if f.is_point else span
        style = "" if f.is_point else f"<styleUrl>#{f.kind.replace(' ', '_')}</styleUrl>"
        said = f"<name>{escape(f.name)}</name><description>{escape(f.text)}</description>"
        lines.append(f"<Placemark>{said}{when}{style}{body}</Placemark>")
    return "\n".join([*lines, "</Document></kml>", ""])


def _geojson(features: Sequence[Feature], caution: str) -> str:
    collection = {"type": "FeatureCollection", "description": caution, "features": [_as_json(f) for f in features]}
    return json.dumps(collection, ensure_ascii=False, allow_nan=False) + "\n"


def _as_json(f: Feature) -> dict[str, Any]:
    properties: dict[str, Any] = {"kind": f.kind, "name": f.name, "text": f.text}
    parts = f.within_180()
    if math.isfinite(f.epoch_s[0]):
        times = [[utc(value) for value in part.epoch_s] for part in parts]
        if f.is_point:
            properties["time_utc"] = times[0][0]
        else:
            properties["times_utc"] = times[0] if len(times) == 1 else times
    coordinates: Any = [_coordinates(part) for part in parts]
    if f.is_point:
        geometry = {"type": "Point", "coordinates": coordinates[0][0]}
    elif len(parts) == 1:
        geometry = {"type": "LineString", "coordinates": coordinates[0]}
    else:
        geometry = {"type": "MultiLineString", "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def _coordinates(f: Feature) -> list[list[float]]:
    """Longitude, latitude and, where all are known, height in metres."""
    columns = [[number(v, _DEGREE_DECIMALS) for v in values] for values in (f.lon_deg, f.lat_deg)]
    if all(math.isfinite(value) for value in f.alt_m):
        columns.append([number(v, _METRE_DECIMALS) for v in f.alt_m])
    return [[value for value in row if value is not None] for row in zip(*columns)]


#: The kinds of map file, and how each is written.
MAP_KINDS: dict[str, Callable[[Sequence[Feature], str], str]] = {"gpx": _gpx, "kml": _kml, "geojson": _geojson}
