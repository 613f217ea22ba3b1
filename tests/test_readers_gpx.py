"""GPX in the wild, against the GPX 1.0 and 1.1 schemas (topografix.com): what is read and what is refused."""

from __future__ import annotations

import gzip
import re
from pathlib import Path

import numpy as np
import pytest

from tests.awkward.flight import ALT_FT, EPOCH_S, FLIGHT, LAT_DEG, LON_DEG, flight, gpx_text
from trackgrade.errors import TrackFileError
from trackgrade.track.readers import read_track, xml_guard
from trackgrade.track.readers.gpx_pass import GpxPass
from trackgrade.track.track import Track

ONE_MILLIMETRE_FT = 0.001 / 0.3048


def read_text(tmp_path: Path, text: str | bytes, name: str = "flight.gpx") -> Track:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_track(path)


def assert_is_the_flight(track: Track) -> None:
    np.testing.assert_array_equal(track.epoch_s, EPOCH_S)
    np.testing.assert_array_equal(track.lat_deg, LAT_DEG)
    np.testing.assert_array_equal(track.lon_deg, LON_DEG)
    np.testing.assert_allclose(track.alt_ft, ALT_FT, rtol=0, atol=ONE_MILLIMETRE_FT)


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_versions(tmp_path: Path, version: str) -> None:
    track = read_text(tmp_path, gpx_text(version=version))
    assert_is_the_flight(track)
    assert [p.quantity for p in track.provenance] == ["time", "latitude", "longitude", "altitude"]
    assert track.source == "flight.gpx"


def as_prefixed(text: str) -> str:
    for name in ("gpx", "trk>", "trkseg", "trkpt", "ele", "time", "name"):
        text = text.replace(f"<{name}", f"<g:{name}").replace(f"</{name}", f"</g:{name}")
    return text.replace("xmlns=", "xmlns:g=")


@pytest.mark.parametrize(
    "data",
    [
        b"\xef\xbb\xbf" + gpx_text().encode(),
        gpx_text().replace("UTF-8", "UTF-16").encode("utf-16"),
        gpx_text().replace("UTF-8", "UTF-16").encode("utf-16-be"),
        gpx_text().replace("UTF-8", "ISO-8859-1").replace("practice", "Übung").encode("latin-1"),
        gpx_text().split("?>\n", 1)[1].encode(),
        gzip.compress(gpx_text().encode(), mtime=0),
        gpx_text().replace("<trk>", "<!-- <!DOCTYPE in a comment> --><trk>").encode(),
        gpx_text().replace("practice", "R&D &nbsp; flight").encode(),
        gpx_text().replace("practice", "a\x07b").encode(),
        as_prefixed(gpx_text()).encode(),
        gpx_text().replace('xmlns="http', "xmlns='http").replace('/1"', "/1'").encode(),
        gpx_text().replace("<time>", "<time>\n  ").replace("</time>", "\n</time>").encode(),
        re.sub(r'(lat|lon)="(-?\d+)\.', r'\1="\2,', gpx_text()).encode(),
        gpx_text(point="<extensions><u:speed>51</u:speed><u:hr>70</u:hr></extensions>").encode(),
    ],
    ids=[
        *("bom", "utf16", "utf16be", "latin1", "bare", "gzip", "comment", "ampersand", "control", "prefix", "quotes"),
        *("blanks about times", "decimal commas", "undeclared namespace"),
    ],
)
def test_dressings(tmp_path: Path, data: bytes) -> None:
    assert_is_the_flight(read_text(tmp_path, data))


@pytest.mark.parametrize("name", ["punycode", "hex", "utf-7", "utf-16", "cp037", "rot13", "no-such", "undefined"])
def test_a_declaration_that_cannot_be_true_does_no_harm(tmp_path: Path, name: str) -> None:
    assert_is_the_flight(read_text(tmp_path, gpx_text().replace("UTF-8", name)))


def test_the_extension_does_not_decide(tmp_path: Path) -> None:
    assert_is_the_flight(read_text(tmp_path, gpx_text(), "flight.csv"))


def test_speed_and_course_of_gpx_1_0_have_the_units_of_the_schema(tmp_path: Path) -> None:
    point = "<course>{r.course_deg}</course><speed>{ms}</speed>"
    track = read_text(tmp_path, gpx_text(version="1.0", point=point))
    np.testing.assert_allclose(track.channels["groundspeed_kt"], 110.0, rtol=1e-12)
    np.testing.assert_allclose(track.channels["track_true_deg"], [r.course_deg for r in FLIGHT])
    assert {p.quantity: p.unit for p in track.provenance}["groundspeed_kt"] == "m/s"


def test_the_same_elements_in_a_file_that_says_1_1_are_read_too(tmp_path: Path) -> None:
    track = read_text(tmp_path, gpx_text(point="<speed>{ms}</speed>"))
    np.testing.assert_allclose(track.channels["groundspeed_kt"], 110.0, rtol=1e-12)


@pytest.mark.parametrize(("unit", "per_kt"), [("m/s", 1.852 / 3.6), ("km/h", 1.852), ("kt", 1.0), ("mph", 1.150779)])
def test_the_unit_of_an_extension_is_decided_by_the_positions(tmp_path: Path, unit: str, per_kt: float) -> None:
    speed = f"<x:speed>{110.0 * per_kt}</x:speed>"
    point = f"<extensions><x:more>{speed}<x:course>{{r.course_deg}}</x:course><x:hr>90</x:hr></x:more></extensions>"
    text = gpx_text(point=point).replace("<gpx ", '<gpx xmlns:x="urn:example" ')
    track = read_text(tmp_path, text)
    np.testing.assert_allclose(track.channels["groundspeed_kt"], 110.0, rtol=1e-5)
    np.testing.assert_allclose(track.channels["track_true_deg"], [r.course_deg for r in FLIGHT])
    assert {p.quantity: p.unit for p in track.provenance}["groundspeed_kt"] == unit
    assert any("extensions not read: hr" in note for note in track.notes)


def test_an_extension_that_agrees_in_no_unit_is_not_used(tmp_path: Path) -> None:
    point = "<extensions><x:speed>77</x:speed></extensions>"
    track = read_text(tmp_path, gpx_text(point=point).replace("<gpx ", '<gpx xmlns:x="urn:example" '))
    assert not track.channels
    assert any("in no unit" in note for note in track.notes)


def test_timed_waypoints_are_marks(tmp_path: Path) -> None:
    extra = (
        '<wpt lat="44" lon="-93"><time>2026-05-03T15:20:30Z</time><name>abeam \u202e</name></wpt>'
        '<wpt lat="44" lon="-93"><name>untimed</name></wpt>'
        '<wpt lat="44" lon="-93"><time>2026-05-03T15:20:10Z</time></wpt>'
    )
    track = read_text(tmp_path, gpx_text(extra=extra))
    assert [(m.epoch_s - EPOCH_S[0], m.label) for m in track.marks] == [(10.0, "mark"), (30.0, "abeam")]
    assert any("1 waypoints without a time" in note for note in track.notes)


def segment_text(rows: list, name: str = "trkseg") -> str:  # type: ignore[type-arg]
    text = gpx_text(rows)
    return text[text.index("<trkseg>") : text.index("</trkseg>")] + "</trkseg>"


def with_segments(*segments: str, tracks: bool = False) -> str:
    text = gpx_text()
    between = "</trk><trk>" if tracks else ""
    return text[: text.index("<trkseg>")] + between.join(segments) + "</trk></gpx>"


@pytest.mark.parametrize("tracks", [False, True])
def test_segments_and_tracks_are_joined_in_order_of_time(tmp_path: Path, tracks: bool) -> None:
    parts = [segment_text(FLIGHT[60:]), segment_text(FLIGHT[:30]), segment_text(FLIGHT[30:60])]
    track = read_text(tmp_path, with_segments(*parts, tracks=tracks))
    assert_is_the_flight(track)
    assert any("3 segments" in note and "joined" in note for note in track.notes)


def test_of_two_tracks_at_the_same_time_the_longer_is_read_and_told(tmp_path: Path) -> None:
    other = [r for r in flight(60) if r.lat > 0]
    track = read_text(tmp_path, with_segments(segment_text(other), segment_text(FLIGHT), tracks=True))
    assert_is_the_flight(track)
    assert any("same time" in note and "60 points" in note for note in track.notes)


def test_a_segment_without_times_is_left_out_and_told(tmp_path: Path) -> None:
    drawn = re.sub("<time>.*?</time>", "", segment_text(FLIGHT[:7]))
    track = read_text(tmp_path, with_segments(drawn, segment_text(FLIGHT)))
    assert_is_the_flight(track)
    assert any("7 points stand in segments without any time" in note for note in track.notes)


def test_times_without_a_zone_are_utc_and_told(tmp_path: Path) -> None:
    track = read_text(tmp_path, gpx_text().replace("Z</time>", "</time>"))
    assert_is_the_flight(track)
    assert any("90 of 90 times name no zone" in note for note in track.notes)


def test_mixed_zones_become_utc_and_are_told(tmp_path: Path) -> None:
    text = gpx_text().replace("2026-05-03T15:20:00Z", "2026-05-03T17:20:00+02:00")
    text = text.replace("2026-05-03T15:20:01Z", "2026-05-03T09:50:01-05:30").replace("15:20:02Z", "15:20:02")
    track = read_text(tmp_path, text)
    assert_is_the_flight(track)
    assert any("-05:30, +02:00" in note for note in track.notes)
    assert any("1 of 90 times name no zone" in note for note in track.notes)


def test_fractions_of_a_second_stay(tmp_path: Path) -> None:
    track = read_text(tmp_path, gpx_text().replace("15:20:07Z", "15:20:07.250Z"))
    assert track.epoch_s[7] == EPOCH_S[7] + 0.25


@pytest.mark.parametrize("cut", range(1, 40, 3))
def test_a_truncated_file_is_read_as_far_as_it_goes_and_says_so(tmp_path: Path, cut: int) -> None:
    text = gpx_text()
    where = text.index("15:20:45Z") - 20 + cut * 4
    track = read_text(tmp_path, text[:where])
    assert 44 <= len(track) <= 47
    np.testing.assert_array_equal(track.epoch_s, EPOCH_S[: len(track)])
    assert any("damaged or cut short at line" in note and f"{len(track)} points" in note for note in track.notes)


def test_a_truncated_gzip_is_read_as_far_as_it_goes_and_says_so(tmp_path: Path) -> None:
    packed = gzip.compress(gpx_text(flight(400)).encode(), mtime=0)
    track = read_text(tmp_path, packed[: len(packed) * 2 // 3])
    assert 50 < len(track) < 400
    assert any("gzip file is damaged or cut short" in note for note in track.notes)
    assert any("damaged or cut short at line" in note for note in track.notes)


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("<ele>", "<ele>high", "ele (90)"),
        ('lat="44.0"', 'lat="north"', "point without a position (1)"),
        ('lat="44.0" ', "", "point without a position (1)"),
        ("</ele>", "</ele><fix>rtk</fix>", "details beside the track"),
        ("</ele>", "</ele><sat>many</sat><hdop/>", "details beside the track"),
        ("<trk>", '<metadata><bounds minlat="x"/></metadata><trk>', "details beside the track"),
    ],
)
def test_values_that_are_no_numbers_do_not_cost_the_flight(tmp_path: Path, old: str, new: str, why: str) -> None:
    track = read_text(tmp_path, gpx_text().replace(old, new, 1 if "lat" in old else -1))
    assert len(track) >= 89
    assert any(why in note for note in track.notes) or why == "details beside the track"


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ('lat="44.0"', 'lat="91"', "latitude beyond 90°"),
        ('lat="44.0"', 'lat="nan"', "no readable position"),
        ('lat="44.0"', 'lat="1e308"', "latitude beyond 90°"),
        ('lon="-93.0"', 'lon="-inf"', "no readable position"),
        ("2026-05-03T15:20:00Z", "0001-01-01T00:00:00Z", "before 1980 or after 2099"),
        ("2026-05-03T15:20:00Z", "9999-12-31T23:59:59Z", "before 1980 or after 2099"),
        ("2026-05-03T15:20:00Z", "1969-12-31T23:59:59Z", "before 1980 or after 2099"),
        ("2026-05-03T15:20:00Z", "2026-13-03T15:20:00Z", "no readable time"),
        ("2026-05-03T15:20:00Z", "2026-05-03T15:20:00+99:00", "no readable time"),
        ("<time>2026-05-03T15:20:00Z</time>", "", "no readable time"),
    ],
)
def test_a_point_that_cannot_be_is_dropped_and_told(tmp_path: Path, old: str, new: str, why: str) -> None:
    track = read_text(tmp_path, gpx_text().replace(old, new, 1))
    assert len(track) == 89
    assert any(note.startswith("1 point dropped") and why in note for note in track.notes)


def plain_points(count: int, at: int = 0) -> str:
    return "\n".join(
        f'<trkpt lat="44.{i:03}" lon="-93.1"><ele>{900 + i}</ele><time>2026-05-03T15:00:{i:02}Z</time></trkpt>'
        for i in range(at, at + count)
    )


def in_gpx(inside: str, head: str = "") -> str:
    return f"<gpx>{head}<trk><trkseg>{plain_points(9)}{inside}{plain_points(9, 20)}</trkseg></trk></gpx>"


@pytest.mark.parametrize("chunk", [70, 333, 128 * 1024])
@pytest.mark.parametrize(
    "text",
    [
        in_gpx(""),
        in_gpx("</trkseg>\n<trkseg>"),
        in_gpx("</trkseg></trk><trk><trkseg>"),
        in_gpx(plain_points(5, 10).replace("\n", "\r\n")),
        in_gpx(f"<!-- {plain_points(5, 10)} -->"),
        in_gpx(f"<![CDATA[ {plain_points(5, 10)} ]]>"),
        in_gpx(f"<?other {plain_points(5, 10)} ?>"),
        in_gpx(f"<trkpt lat='44.5' lon='-93.1'><extensions>{plain_points(2, 10)}</extensions></trkpt>"),
        in_gpx("", f"<wpt lat='44.5' lon='-93.1'><time>2026-05-03T15:00:07Z</time>{plain_points(2, 10)}</wpt>"),
        in_gpx(f"<trkpt lat='44.5' lon='-93.1'><trkseg>{plain_points(2, 10)}</trkseg></trkpt>"),
        in_gpx("", f"<metadata><desc>{plain_points(2, 10)}</desc></metadata>"),
        in_gpx(plain_points(5, 10).replace("44.011", "44,011").replace("<ele>913</ele>", "").replace("912", "")),
        in_gpx(plain_points(5, 10).replace("<time>2026-05-03T15:00:12Z</time>", "").replace(":13Z", ":13+02:00")),
        in_gpx(plain_points(5, 10).replace("44.011", "..-1").replace("912", "+-2")),
        in_gpx("") + plain_points(2, 40),
        plain_points(3),
        in_gpx(plain_points(5, 10))[:-400],
        in_gpx(plain_points(5, 10)).replace("</trkseg>", "</trk>"),
        in_gpx(plain_points(5, 10)).replace("<trkseg", "<g:trkseg").replace("</trkseg", "</g:trkseg"),
    ],
)
def test_points_taken_at_once_are_those_of_the_elements(monkeypatch: pytest.MonkeyPatch, text: str, chunk: int) -> None:
    """Against the pass that expat makes over every element; notes tell the line of a damage."""

    def read() -> tuple[object, ...]:
        try:
            track = read_track(text.encode())
        except TrackFileError as refused:
            return (str(refused),)
        values = [array.tobytes() for array in (track.epoch_s, track.lat_deg, track.lon_deg, track.alt_ft)]
        return (*values, track.marks, track.provenance, track.notes)

    monkeypatch.setattr(xml_guard, "_CHUNK", chunk)
    at_once = read()
    monkeypatch.setattr(GpxPass, "plain", None)
    assert read() == at_once


def no_points(inside: str) -> str:
    return f'<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{inside}</gpx>'


ROUTE = '<rte><rtept lat="44" lon="-93"/><rtept lat="45" lon="-93"/></rte>'


@pytest.mark.parametrize(
    ("text", "fragments"),
    [
        (gpx_text().replace("<time>", "<when>").replace("</time>", "</when>"), ["no time", "90 track points"]),
        (no_points(ROUTE), ["route", "2 points"]),
        (no_points('<wpt lat="44" lon="-93"><time>2026-05-03T15:20:00Z</time></wpt>'), ["only waypoints"]),
        (no_points(""), ["no track point"]),
        (no_points("<trk><trkseg/></trk>"), ["no track point"]),
        (gpx_text(FLIGHT[:1]), ["fewer than two usable points"]),
        ("<gpx", ["line 1"]),
        ("<gpx><trk><trkseg><trkpt lat='44' lon='-93'>", ["before its first track point"]),
        ("<html><gpx/></html>", ["begins with <html>"]),
        (gpx_text().replace('lat="4', 'lat="4a'), ["none of its 90 track points has a readable position"]),
    ],
)
def test_refused_in_one_line_with_a_remedy(tmp_path: Path, text: str, fragments: list[str]) -> None:
    with pytest.raises(TrackFileError) as refused:
        read_text(tmp_path, text)
    message = str(refused.value)
    assert "\n" not in message
    assert message.startswith("flight.gpx")
    for fragment in fragments:
        assert fragment in message


def test_the_hash_is_of_the_file_as_it_lies_on_the_disk(tmp_path: Path) -> None:
    import hashlib

    packed = gzip.compress(gpx_text().encode(), mtime=0)
    assert read_text(tmp_path, packed).sha256 == hashlib.sha256(packed).hexdigest()
    assert read_text(tmp_path, gpx_text()).sha256 == hashlib.sha256(gpx_text().encode()).hexdigest()


def test_reading_gpx_loads_no_pandas(tmp_path: Path) -> None:
    import subprocess
    import sys

    (tmp_path / "a.gpx").write_text(gpx_text())
    code = (
        "import sys; from trackgrade.track.readers import read_track; read_track(sys.argv[1]);"
        "sys.exit(any(m in sys.modules for m in ('pandas', 'scipy', 'matplotlib', 'gpxpy', 'lxml')))"
    )
    assert subprocess.run([sys.executable, "-c", code, str(tmp_path / "a.gpx")], check=False).returncode == 0
