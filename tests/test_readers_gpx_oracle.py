"""GPX read in one pass, against an independent reader: gpxpy, a library that builds a tree with lxml."""

from __future__ import annotations

import datetime as dt
import time
import xml.etree.ElementTree as ET
from pathlib import Path

import gpxpy
import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from tests.awkward.flight import flight, gpx_text
from trackgrade.track.readers import read_track

SAMPLES = sorted((Path(__file__).parent.parent / "sample_tracks").rglob("*.gpx"))
UTC = dt.UTC


def by_gpxpy(text: str) -> list[np.ndarray]:  # type: ignore[type-arg]
    """Epoch, latitude, longitude, elevation of the points that have a time, in order of the file."""
    points = [p for t in gpxpy.parse(text).tracks for s in t.segments for p in s.points if p.time is not None]
    epoch_s = [(p.time if p.time.tzinfo else p.time.replace(tzinfo=UTC)).timestamp() for p in points]
    rest = ([getattr(p, name) for p in points] for name in ("latitude", "longitude", "elevation"))
    return [np.array(values, dtype=np.float64) for values in (epoch_s, *rest)]


def assert_equal(data: bytes, text: str) -> None:
    track = read_track(data)
    epoch_s, lat_deg, lon_deg, ele_m = by_gpxpy(text)
    np.testing.assert_array_equal(track.epoch_s, epoch_s)
    np.testing.assert_array_equal(track.lat_deg, lat_deg)
    np.testing.assert_array_equal(track.lon_deg, lon_deg)
    np.testing.assert_allclose(track.alt_ft, ele_m / 0.3048, rtol=1e-15)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_every_sample_track(path: Path) -> None:
    assert_equal(path.read_bytes(), path.read_text(encoding="utf-8"))


def zoned(moment: dt.datetime, zone: str, digits: int) -> str:
    """A time as it may be written: in UTC, with an offset, with no zone; with a fraction of a second or none."""
    offset = {"": 0, "Z": 0, "+00:00": 0, "+02:00": 120, "-05:30": -330, "+0530": 330}[zone]
    local = (moment + dt.timedelta(minutes=offset)).replace(tzinfo=None)
    fraction = f".{local.microsecond:06d}000"[: 1 + digits] if digits else ""
    return local.strftime("%Y-%m-%dT%H:%M:%S") + fraction + zone


#: What may stand between the elements of a point and change nothing.
NOTHING = st.sampled_from(["", "\n\t ", "<!-- <time>1999-01-01T00:00:00Z</time> -->", "<?note this?>", "<sat>7</sat>"])
POINTS = st.lists(
    st.tuples(
        st.floats(-89.9, 89.9).filter(lambda v: abs(v) > 0.001),
        st.floats(-180, 180).filter(lambda v: abs(v) > 0.001),
        st.one_of(st.none(), st.floats(-500, 20_000)),
        st.sampled_from(["Z", "", "+00:00", "+02:00", "-05:30", "+0530", "untimed"]),
        st.integers(0, 9),
        NOTHING,
        st.booleans(),  # a new segment begins
        st.sampled_from(["{:.9f}", "{:e}", " {!r} "]),
    ),
    min_size=4,
    max_size=30,
)
NAMES = st.sampled_from(["Übung", "A&amp;B", "<![CDATA[<trk>]]>"])


@settings(max_examples=80, deadline=None, derandomize=True)
@given(
    POINTS, st.sampled_from(["utf-8", "utf-16", "latin-1"]), st.sampled_from(["Übung", "A&amp;B", "<![CDATA[<trk>]]>"])
)
def test_awkward_shapes(points: list, encoding: str, name: str) -> None:  # type: ignore[type-arg]
    start = dt.datetime(2026, 5, 3, 23, 59, 50, tzinfo=UTC)
    body = ""
    for row, (lat, lon, ele, zone, digits, nothing, begins, form) in enumerate(points):
        moment = start + dt.timedelta(seconds=row, microseconds=123_456)
        # Two points at least in each segment: one alone at the second of its neighbour is another matter.
        body += "</trkseg><trkseg>" if begins and row % 2 == 0 and row else ""
        height = "" if ele is None else f"<ele>{ele:.3f}</ele>"
        when = (
            ""
            if zone == "untimed" and row > 1
            else f"<time>{zoned(moment, zone.replace('untimed', 'Z'), digits)}</time>"
        )
        places = f"lat=\"{form.format(lat)}\" lon='{form.format(lon)}'"
        body += f"<trkpt {places}>{nothing}{height}{nothing}{when}{nothing}</trkpt>"
    head = '<gpx version="1.1" creator="made" xmlns="http://www.topografix.com/GPX/1/1">'
    text = f"{head}<trk><name>{name}</name><trkseg>{body}</trkseg></trk></gpx>"
    assert_equal(f'<?xml version="1.0" encoding="{encoding}"?>\n{text}'.encode(encoding), text)


@pytest.mark.bench
def test_three_hours_cost_little_over_a_pull_parse(tmp_path: Path) -> None:
    path = tmp_path / "three hours.gpx"
    path.write_text(gpx_text(flight(10_800)))

    def pull_parse() -> None:
        for _, element in ET.iterparse(path):
            if element.tag.endswith("trkpt"):
                assert element.get("lat")
                assert [child.text for child in element]
                element.clear()

    spent: dict[str, list[float]] = {"pull parse": [], "read_track": []}
    for _ in range(5):
        for what, work in (("pull parse", pull_parse), ("read_track", lambda: read_track(path))):
            started = time.process_time()
            work()
            spent[what].append(time.process_time() - started)
    floor_s, reader_s = min(spent["pull parse"]), min(spent["read_track"])
    print(f"10,800 points: pull parse {floor_s:.3f} s, read_track {reader_s:.3f} s")
    assert reader_s < 3.0 * floor_s
