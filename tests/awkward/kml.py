"""The one flight as KML and KMZ."""

from __future__ import annotations

import io
import zipfile

from tests.awkward.flight import FLIGHT, Row

GX = 'xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="urn:extension"'


def when(row: Row) -> str:
    return f"<when>{row.time.strftime('%Y-%m-%dT%H:%M:%SZ')}</when>"


def track_text(rows: list[Row] = FLIGHT, prefix: str = "gx:", mode: str = "absolute", together: bool = False) -> str:
    """A track; times and places in two rows, or ``together``, pair by pair."""
    coords = [f"<{prefix}coord>{r.lon} {r.lat} {r.alt_ft * 0.3048:.3f}</{prefix}coord>" for r in rows]
    times = [when(r) for r in rows]
    inside = "\n".join(f"{t}{c}" for t, c in zip(times, coords)) if together else "\n".join([*times, *coords])
    stated = f"<altitudeMode>{mode}</altitudeMode>" if mode else ""
    return f"<{prefix}Track>{stated}{inside}</{prefix}Track>"


def kml(*inside: str, extra: str = "", head: str = f"<kml {GX}>") -> str:
    placemarks = "".join(f"<Placemark><name>flight</name>{each}</Placemark>" for each in inside)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{head}<Document><name>x</name>{extra}{placemarks}</Document></kml>'


def placemarks(rows: list[Row], mode: str = "absolute") -> str:
    return "".join(
        f"<Placemark><name>p{i}</name><TimeStamp>{when(r)}</TimeStamp><Point><altitudeMode>{mode}</altitudeMode>"
        f"<coordinates>{r.lon},{r.lat},{r.alt_ft * 0.3048:.3f}</coordinates></Point></Placemark>"
        for i, r in enumerate(rows)
    )


def kmz(members: dict[str, bytes], packed_by: int = zipfile.ZIP_DEFLATED) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", packed_by) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return packed.getvalue()
