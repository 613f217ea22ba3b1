"""KML and KMZ, against the KML 2.2 and 2.3 standards (OGC 07-147r2, 12-007r2; from memory) and ElementTree."""

from __future__ import annotations

import dataclasses
import subprocess
import sys
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

import numpy as np
import pytest

from tests.awkward.flight import ALT_FT, EPOCH_S, FLIGHT, LAT_DEG, LON_DEG
from tests.awkward.kml import kml, kmz, placemarks, track_text, when
from tests.test_readers_hostile import LAUGHS, within_one_gigabyte
from trackgrade.errors import TrackFileError
from trackgrade.track.readers import read_track
from trackgrade.track.track import Track


def assert_is_the_flight(track: Track) -> None:
    np.testing.assert_array_equal(track.epoch_s, EPOCH_S)
    np.testing.assert_array_equal(track.lat_deg, LAT_DEG)
    np.testing.assert_array_equal(track.lon_deg, LON_DEG)
    np.testing.assert_allclose(track.alt_ft, ALT_FT, rtol=0, atol=0.002)  # a millimetre, in three decimals of metres


MULTI = "<gx:MultiTrack><altitudeMode>absolute</altitudeMode>{}{}</gx:MultiTrack>"


@pytest.mark.parametrize(
    "text",
    [
        kml(track_text()),
        kml(track_text(together=True)),
        kml(track_text(prefix=""), head='<kml xmlns="http://www.opengis.net/kml/2.3" version="2.3">'),
        kml(track_text()).replace("altitudeMode", "gx:altitudeMode"),
        kml(MULTI.format(track_text(FLIGHT[:40], mode=""), track_text(FLIGHT[40:], mode=""))),
        kml(track_text(FLIGHT[50:]), track_text(FLIGHT[:50])),
        kml(extra=placemarks(FLIGHT)),
        kml(track_text()).replace("<Document>", "<Folder><Document>").replace("</Document>", "</Document></Folder>"),
    ],
    ids=["2.2", "pairs", "2.3", "mode of the extension", "multi", "two tracks", "placemarks", "folder"],
)
def test_the_flight_in_every_form(text: str) -> None:
    track = read_track(text.encode(), name="a.kml")
    assert_is_the_flight(track)
    assert track.source == "a.kml"
    assert [p.quantity for p in track.provenance] == ["time", "latitude", "longitude", "altitude"]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_encodings(encoding: str) -> None:
    assert_is_the_flight(read_track(kml(track_text()).replace("UTF-8", encoding[:6]).encode(encoding)))


def test_equal_to_a_reading_through_a_tree() -> None:
    text = kml(track_text(FLIGHT[:50]), track_text(FLIGHT[50:], together=True), extra="<Style id='s'/>")
    root = ET.fromstring(text.encode())
    whens = [e.text for e in root.findall(".//{*}when")]
    coords = [[float(v) for v in e.text.split()] for e in root.findall(".//{*}coord")]
    track = read_track(text.encode())
    np.testing.assert_array_equal(track.epoch_s, [np.datetime64(w[:-1], "s").astype(int) for w in whens])
    np.testing.assert_array_equal(np.column_stack([track.lon_deg, track.lat_deg]), np.array(coords)[:, :2])
    np.testing.assert_allclose(track.alt_ft, np.array(coords)[:, 2] / 0.3048, rtol=1e-15)


@pytest.mark.parametrize("mode", ["clampToGround", "relativeToGround", "clampToSeaFloor"])
def test_a_height_that_is_not_above_the_sea_is_no_altitude(mode: str) -> None:
    for text in (kml(track_text(mode=mode)), kml(extra=placemarks(FLIGHT, mode))):
        track = read_track(text.encode())
        assert np.isnan(track.alt_ft).all()
        assert any(f"altitudeMode is {mode}" in note for note in track.notes)


def test_a_height_of_no_mode_is_taken_as_above_the_sea_and_said_to_be() -> None:
    for text in (
        kml(track_text(mode="")),
        kml(extra=placemarks(FLIGHT, "")).replace("<altitudeMode></altitudeMode>", ""),
    ):
        track = read_track(text.encode())
        np.testing.assert_allclose(track.alt_ft, [point.alt_ft for point in FLIGHT], atol=0.01)
        assert any("no altitudeMode" in note for note in track.notes)


def test_noughts_of_no_mode_are_no_altitude() -> None:
    rows = [dataclasses.replace(point, alt_ft=0.0) for point in FLIGHT]
    for text in (kml(track_text(rows, mode="")), kml(extra=placemarks(rows, ""))):
        track = read_track(text.encode())
        assert np.isnan(track.alt_ft).all()
        assert "no altitude in the file" in track.notes


def test_empty_elements_keep_times_and_places_in_step() -> None:
    text = kml(track_text()).replace(when(FLIGHT[3]), "<when/>")
    text = text.replace(
        f"<gx:coord>{FLIGHT[7].lon} {FLIGHT[7].lat} {FLIGHT[7].alt_ft * 0.3048:.3f}</gx:coord>", "<gx:coord/>"
    )
    track = read_track(text.encode())
    kept = np.delete(np.arange(len(FLIGHT)), [3, 7])
    np.testing.assert_array_equal(track.epoch_s, EPOCH_S[kept])
    np.testing.assert_array_equal(track.lat_deg, LAT_DEG[kept])


def test_each_track_keeps_to_its_own_times() -> None:
    short = track_text(FLIGHT[:50]).replace(when(FLIGHT[49]), "")
    track = read_track(kml(short, track_text(FLIGHT[50:])).encode())
    np.testing.assert_array_equal(track.lat_deg, np.delete(LAT_DEG, 49))
    assert any(note.startswith("1 times or positions of tracks without their counterpart") for note in track.notes)


def test_timed_places_beside_a_track_are_marks() -> None:
    track = read_track(kml(track_text(), extra=placemarks([FLIGHT[20], FLIGHT[10]])).encode())
    assert_is_the_flight(track)
    assert [(m.epoch_s, m.label) for m in track.marks] == [(EPOCH_S[10], "p1"), (EPOCH_S[20], "p0")]


LINE = "<LineString><coordinates>-93,44,1200 -93.1,44.1,1200</coordinates></LineString>"
MAP = LINE.replace(" -93.1,44.1,1200", " -93.1,44.1,1200" * 89)


def test_too_many_timed_places_are_refused_beside_a_track_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trackgrade.track.readers.xml_guard.MOST_POINTS", 50)
    with pytest.raises(TrackFileError, match="has over 50 track points"):
        read_track(kml(track_text(FLIGHT[:5]), extra=placemarks(FLIGHT[:60])).encode(), name="a.kml")


def test_a_line_that_a_logger_draws_through_its_timed_places_is_left_out() -> None:
    track = read_track(kml(MAP, extra=placemarks(FLIGHT)).encode())
    assert_is_the_flight(track)
    assert "1 lines without times were left out" in track.notes


@pytest.mark.parametrize(
    ("text", "fragments"),
    [
        (kml(LINE), ["a line without times (LineString)", "Export"]),
        (kml(LINE, LINE), ["2 lines without times"]),
        (kml(MAP, extra=placemarks(FLIGHT[:30:10])), ["is a map", "a line of 90 or more points", "only 3 places"]),
        (kml("<Point><coordinates>-93,44</coordinates></Point>"), ["1 places without times"]),
        (kml(), ["no track"]),
        (kml(track_text()).replace("when>", "whence>"), ["no track"]),
        (kml(track_text()).replace("2026-05", "May"), ["90 positions but no time that can be read"]),
        ("<kml><Document>", ["line 1", "cut short"]),
        ("<html><kml/></html>", ["begins with <html>"]),
        (LAUGHS.replace("gpx", "kml") + "]>" + kml(track_text()).split("?>\n", 1)[1], ["entities"]),
    ],
)
def test_refused_in_one_line_with_a_remedy(text: str, fragments: list[str]) -> None:
    with pytest.raises(TrackFileError) as refused:
        read_track(text.encode(), name="a.kml")
    message = str(refused.value)
    assert message.startswith("a.kml")
    assert message.isprintable()
    for fragment in fragments:
        assert fragment in message


@pytest.mark.parametrize("cut", range(20, 90, 7))
def test_a_truncated_file_is_read_as_far_as_it_goes(cut: int) -> None:
    text = kml(track_text(together=True))
    track = read_track(text[: text.index(when(FLIGHT[cut])) + 12].encode())
    np.testing.assert_array_equal(track.epoch_s, EPOCH_S[:cut])
    assert any("damaged or cut short" in note and f"{cut} points" in note for note in track.notes)


def test_a_kmz_is_its_first_kml() -> None:
    flight, other = kml(track_text()).encode(), kml(track_text(FLIGHT[:5])).encode()
    track = read_track(kmz({"files/a.png": b"x", "doc.kml": flight, "b.kml": other}), name="a.kmz")
    assert_is_the_flight(track)
    assert "doc.kml unpacked from the archive" in track.notes


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (kmz({"a.png": b"x"}), "without a .kml"),
        (kmz({"doc.kml": kml(track_text()).encode()})[:900], "cannot be unpacked"),
        (kmz({"doc.kml": kml(track_text()).encode()}).replace(b"\x08\x00", b"\x63\x00"), "packed in a rare way"),
        (kmz({"doc.kml": b"<kml>"}, zipfile.ZIP_LZMA), "packed in a rare way"),
        (kmz({"doc.kml": b"<kml>"}, zipfile.ZIP_BZIP2), "packed in a rare way"),
        (kmz({f"{i}.kml": b"" for i in range(10_001)}), "over 10,000 files"),
    ],
    ids=["no kml", "cut", "unknown packing", "LZMA", "bzip2", "many"],
)
def test_an_archive_that_holds_no_track_is_refused(data: bytes, why: str) -> None:
    with pytest.raises(TrackFileError, match=why):
        read_track(data, name="a.kmz")


@pytest.mark.skipif(sys.platform == "win32", reason="resource limits of POSIX")
def test_a_bomb_is_refused_within_one_gigabyte(tmp_path: Path) -> None:
    path = tmp_path / "a.kmz"
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive,
        archive.open("a.kml", "w") as file,
    ):
        for _ in range(300):
            file.write(b" " * (1 << 20))
    status, message = within_one_gigabyte(path)
    assert status == 2
    assert "256 MiB" in message


@pytest.mark.fuzz
@pytest.mark.skipif(sys.platform == "win32", reason="resource limits of POSIX")
def test_a_day_at_10_hz_is_read_within_one_gigabyte(tmp_path: Path) -> None:
    times = "".join(
        f"<when>2026-05-03T{i // 36000:02d}:{i // 600 % 60:02d}:{i / 10 % 60:04.1f}Z</when>\n" for i in range(864_000)
    )
    places = "".join(f"<gx:coord>-93.1 {44 + i * 1e-6:.6f} 1200.5</gx:coord>\n" for i in range(864_000))
    path = tmp_path / "day.kml"
    path.write_text(kml(f"<gx:Track><altitudeMode>absolute</altitudeMode>{times}{places}</gx:Track>"))
    assert within_one_gigabyte(path) == (0, "864000 points\n")


def test_reading_kml_loads_no_pandas(tmp_path: Path) -> None:
    (tmp_path / "a.kml").write_text(kml(track_text()))
    code = (
        "import sys; from trackgrade.track.readers import read_track; read_track(sys.argv[1]);"
        "sys.exit(any(m in sys.modules for m in ('pandas', 'scipy', 'lxml')))"
    )
    assert subprocess.run([sys.executable, "-c", code, str(tmp_path / "a.kml")], check=False).returncode == 0
