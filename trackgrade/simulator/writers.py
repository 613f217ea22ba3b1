"""A simulated flight as files: GPX 1.1 and the project's CSV as text, its truth as JSON. Nothing is written here."""

from __future__ import annotations

import json
from dataclasses import asdict, fields
from datetime import UTC, datetime
from math import isfinite
from typing import Any
from xml.sax.saxutils import escape

from trackgrade.simulator.flight import SimulatedFlight
from trackgrade.simulator.truth import TrueEntry, TrueLap, TrueLevel

METRES_PER_FT = 0.3048


def iso(epoch_s: float) -> str:
    """ISO 8601 UTC; whole seconds without a fraction."""
    when = datetime.fromtimestamp(round(epoch_s, 3), UTC)
    text = when.strftime("%Y-%m-%dT%H:%M:%S")
    if when.microsecond:
        text += f".{when.microsecond // 1000:03d}"
    return text + "Z"


def gpx_text(flight: SimulatedFlight) -> str:
    """GPX 1.1: one track, elevation in metres, marks as timed waypoints. Channels do not fit in and are left out."""
    r = flight.recording
    name = escape(f"{flight.hold.name}: {flight.scenario.name}, seed {flight.seed}")
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="trackgrade simulate" xmlns="http://www.topografix.com/GPX/1/1">',
        f"<metadata><name>{name}</name><desc>Simulated flight. Invented, not flown.</desc></metadata>",
    ]
    for when, label in r.marks:
        i = min(range(len(r.epoch_s)), key=lambda k: abs(r.epoch_s[k] - when))
        lines.append(
            f'<wpt lat="{r.lat_deg[i]:.7f}" lon="{r.lon_deg[i]:.7f}"><time>{iso(when)}</time>'
            f"<name>{escape(label)}</name></wpt>"
        )
    lines.append(f"<trk><name>{name}</name><trkseg>")
    places = 7 if flight.scenario.sensor.decimals is None else min(7, flight.scenario.sensor.decimals)
    for t, lat, lon, alt in zip(r.epoch_s, r.lat_deg, r.lon_deg, r.alt_ft):
        ele = f"<ele>{alt * METRES_PER_FT:.1f}</ele>" if isfinite(alt) else ""
        lines.append(f'<trkpt lat="{lat:.{places}f}" lon="{lon:.{places}f}">{ele}<time>{iso(float(t))}</time></trkpt>')
    lines.append("</trkseg></trk></gpx>\n")
    return "\n".join(lines)


def csv_text(flight: SimulatedFlight) -> str:
    """The project's own columns, with the channels that were logged and a ``mark`` column where there are marks."""
    r = flight.recording
    names = list(r.channels)
    marks = {min(range(len(r.epoch_s)), key=lambda k: abs(r.epoch_s[k] - when)): label for when, label in r.marks}
    lines = [",".join(["time_utc", "lat", "lon", "alt_ft", *names, *(["mark"] if marks else [])])]
    for i, t in enumerate(r.epoch_s):
        row = [iso(float(t)), f"{r.lat_deg[i]:.7f}", f"{r.lon_deg[i]:.7f}", f"{r.alt_ft[i]:.0f}"]
        row += ["" if not isfinite(r.channels[n][i]) else f"{r.channels[n][i]:g}" for n in names]
        if marks:
            row.append(marks.get(i, "").replace(",", " "))
        lines.append(",".join(row))
    return "\n".join(lines) + "\n"


def truth_dict(flight: SimulatedFlight) -> dict[str, Any]:
    """What was really flown, with the words of the debrief file; times ISO 8601 and, as ``*_epoch_s``, in seconds."""
    return {
        "schema": "trackgrade.truth/1",
        "about": "Truth of a simulated flight, from its noise-free motion. Not an analysis of the track.",
        "scenario": asdict(flight.scenario),
        "seed": flight.seed,
        "mistakes": list(flight.truth.mistakes),
        "recorder": {
            "faults": dict(flight.recording.faults),
            "holes": [[iso(a), iso(b)] for a, b in flight.recording.holes],
        },
        "levels": [_readable(asdict(level)) for level in flight.truth.levels],
        "visits": [_readable(asdict(visit)) for visit in flight.truth.visits],
    }


def truth_text(flight: SimulatedFlight) -> str:
    return json.dumps(truth_dict(flight), indent=1) + "\n"


#: Keys of the truth that are moments.
_MOMENTS = {
    each.name for kind in (TrueLap, TrueEntry, TrueLevel) for each in fields(kind) if "Moment" in str(each.type)
}


def _readable(value: Any) -> Any:
    """Moments as ``name_utc`` and ``name_epoch_s``, windows as two ISO times, other numbers rounded."""
    if isinstance(value, dict):
        out: dict[str, Any] = {}
        for key, each in value.items():
            if key in _MOMENTS:
                out[f"{key}_utc"] = None if each is None else iso(each)
                out[f"{key}_epoch_s"] = None if each is None else round(each, 3)
            elif key.endswith("_window"):
                out[key] = None if each is None else [iso(t) for t in each]
            else:
                out[key] = _readable(each)
        return out
    if isinstance(value, list | tuple):
        return [_readable(each) for each in value]
    if isinstance(value, float):
        return round(value, 4)
    return value
