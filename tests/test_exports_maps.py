"""Map files of a debrief: what is in them, where and when; read by parsers of other authors; laps as Parquet."""

from __future__ import annotations

import dataclasses
import io
import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import gpxpy
import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner, Result

from tests import plain_flight
from tests.report_flights import make_debrief
from trackgrade.commands import main
from trackgrade.earth.geodesy import azimuth_distance
from trackgrade.exports import laps_csv, laps_parquet
from trackgrade.exports.map_features import Feature, map_features
from trackgrade.exports.map_files import MAP_KINDS, to_text
from trackgrade.score.debrief import Debrief
from trackgrade.track.track import AltitudeDatum

KML = "{http://www.opengis.net/kml/2.2}"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def debrief() -> Debrief:
    return make_debrief(laps=3, gap=True)


def of_kind(debrief: Debrief, kind: str) -> list[Feature]:
    return [f for f in map_features(debrief) if f.kind == kind]


def test_every_part_of_the_debrief_is_there(debrief: Debrief) -> None:
    assert len(of_kind(debrief, "lap")) == len(debrief.laps) == 3
    assert len(of_kind(debrief, "flight")) == 1 + len(debrief.track.gaps)
    for kind in ("fix", "course", "lap that works"):
        assert len(of_kind(debrief, kind)) == 1
    assert sum(len(f.lat_deg) for f in of_kind(debrief, "flight")) == len(debrief.track.track)


def test_events_stand_where_the_aircraft_was_at_their_times(debrief: Debrief) -> None:
    events = {f.name: f for f in of_kind(debrief, "event")}
    track = debrief.track.track
    for lap in debrief.laps:
        for field, title in (("start", "fix passage"), ("abeam", "abeam the fix"), ("outbound_end", "turn back")):
            moment = getattr(lap.flown, field)
            event = events[f"Lap {lap.number}: {title}"]
            assert event.epoch_s[0] == moment.epoch_s
            i = int(np.argmin(np.abs(track.epoch_s - moment.epoch_s)))
            _, away_nm = azimuth_distance(event.lat_deg[0], event.lon_deg[0], track.lat_deg[i], track.lon_deg[i])
            assert away_nm < 150 / 3600  # within a second at 150 kt
    passage = events["Lap 1: fix passage"]
    hold = debrief.hold
    assert azimuth_distance(hold.fix_lat_deg, hold.fix_lon_deg, passage.lat_deg[0], passage.lon_deg[0])[1] < 0.2


def test_the_course_ends_at_the_fix_and_leads_along_the_inbound_course(debrief: Debrief) -> None:
    (course,) = of_kind(debrief, "course")
    azimuth, away_nm = azimuth_distance(course.lat_deg[0], course.lon_deg[0], course.lat_deg[-1], course.lon_deg[-1])
    assert abs(float(azimuth) - debrief.hold.inbound_course_true_deg) < 0.5
    assert away_nm >= 4.0 - 1e-6
    assert (course.lat_deg[-1], course.lon_deg[-1]) == pytest.approx(
        (debrief.hold.fix_lat_deg, debrief.hold.fix_lon_deg)
    )


def test_the_gpx_is_read_by_a_parser_of_other_authors(debrief: Debrief) -> None:
    """gpxpy: tracks with times, routes without, waypoints; the elements in the order of the schema."""
    text = to_text(debrief, "gpx")
    document = gpxpy.parse(text)
    assert [t.name for t in document.tracks if t.name.startswith("Lap")] == ["Lap 1", "Lap 2", "Lap 3"]
    assert {r.name for r in document.routes} >= {"The lap that works in this wind"}
    assert sum(1 for w in document.waypoints if w.time is not None) == len(of_kind(debrief, "event"))
    first = document.tracks[0].segments[0].points[0]
    assert first.time is not None
    assert first.time.timestamp() == pytest.approx(debrief.track.track.epoch_s[0], abs=1e-3)
    assert first.elevation == pytest.approx(debrief.track.track.alt_ft[0] * 0.3048, abs=0.06)
    order = [child.tag.rpartition("}")[2] for child in ElementTree.fromstring(text)]
    assert order == sorted(order, key=["metadata", "wpt", "rte", "trk"].index)
    assert debrief.cautions[0] in text


def test_the_kml_is_well_formed_and_says_the_same(debrief: Debrief) -> None:
    placemarks = ElementTree.fromstring(to_text(debrief, "kml")).findall(f".//{KML}Placemark")
    assert len(placemarks) == len(map_features(debrief))
    names = [p.findtext(f"{KML}name") for p in placemarks]
    assert {"Lap 1", "Lap 2: turn back", "The lap that works in this wind"} <= set(names)
    lap = placemarks[names.index("Lap 2")]
    begin = lap.findtext(f"{KML}TimeSpan/{KML}begin")
    assert begin is not None
    assert np.datetime64(begin[:-1]).astype("M8[ms]").astype(float) / 1e3 == pytest.approx(
        debrief.laps[1].start_epoch_s, abs=1e-3
    )
    coordinates = (lap.findtext(f".//{KML}coordinates") or "").split()
    assert all(len(row.split(",")) == 3 for row in coordinates)


def test_the_geojson_is_by_the_standard(debrief: Debrief) -> None:
    """RFC 7946: longitude first, members named as there."""
    collection = json.loads(to_text(debrief, "geojson"))
    assert collection["type"] == "FeatureCollection"
    for feature in collection["features"]:
        assert set(feature) == {"type", "properties", "geometry"}
        geometry = feature["geometry"]
        assert geometry["type"] in ("Point", "LineString")
        rows = [geometry["coordinates"]] if geometry["type"] == "Point" else geometry["coordinates"]
        for row in rows:
            assert abs(row[0] - debrief.hold.fix_lon_deg) < 2.0
            assert abs(row[1] - debrief.hold.fix_lat_deg) < 2.0
        if "times_utc" in feature["properties"]:
            assert len(feature["properties"]["times_utc"]) == len(rows)


def moved(debrief: Debrief, east_deg: float) -> Debrief:
    """The same flight at another longitude."""
    track = debrief.track.track
    lon = np.mod(track.lon_deg + east_deg + 180.0, 360.0) - 180.0
    fix = (debrief.hold.fix_lon_deg + east_deg + 180.0) % 360.0 - 180.0
    return dataclasses.replace(
        debrief,
        hold=dataclasses.replace(debrief.hold, fix_lon_deg=fix),
        track=dataclasses.replace(debrief.track, track=dataclasses.replace(track, lon_deg=lon)),
    )


@pytest.mark.parametrize("edge", [180.0, 179.99, -179.99])
def test_lines_across_the_180_meridian_are_parted_there(debrief: Debrief, edge: float) -> None:
    there = moved(debrief, edge - debrief.hold.fix_lon_deg)
    collection = json.loads(to_text(there, "geojson"))
    many = [f for f in collection["features"] if f["geometry"]["type"] == "MultiLineString"]
    assert many
    for feature in many:
        for part in feature["geometry"]["coordinates"]:
            lon = [row[0] for row in part]
            assert max(lon) - min(lon) < 2.0
            assert max(map(abs, lon)) <= 180.0
        ends = [row for part in feature["geometry"]["coordinates"] for row in (part[0], part[-1])][1:-1]
        for before, after in zip(ends[::2], ends[1::2]):
            assert (abs(before[0]), before[0]) == (180.0, -after[0])
            assert before[1] == pytest.approx(after[1], abs=1e-6)
    for kind in MAP_KINDS:
        assert "nan" not in to_text(there, kind).lower()


@pytest.mark.parametrize("kind", MAP_KINDS)
def test_a_flight_with_little_in_it_and_hostile_names(kind: str) -> None:
    for odd in (
        make_debrief(laps=0, wind=None, altitude=False),
        make_debrief(altitude=False, name='<b>"&\x00]]>', source="a<&.gpx", hostile="<script>"),
    ):
        text = to_text(odd, kind)
        if kind == "geojson":
            assert json.loads(text)["features"]
        else:
            ElementTree.fromstring(text)
        assert "ele>" not in text


@pytest.mark.parametrize("datum", ["pressure", "ellipsoid"])
def test_a_height_that_is_not_above_the_sea_is_left_out(debrief: Debrief, datum: AltitudeDatum) -> None:
    """Read back it would be graded as one."""
    track = dataclasses.replace(debrief.track.track, alt_datum=datum)
    odd = dataclasses.replace(debrief, track=dataclasses.replace(debrief.track, track=track))
    assert "<ele>" in to_text(debrief, "gpx")
    assert "<ele>" not in to_text(odd, "gpx")


@pytest.fixture
def flight(tmp_path: Path) -> tuple[Path, Path]:
    (tmp_path / "a.gpx").write_text(plain_flight.gpx(plain_flight.rows(laps=2)))
    (tmp_path / "hold.toml").write_text(plain_flight.HOLD_TOML)
    return tmp_path / "a.gpx", tmp_path / "hold.toml"


def test_grade_writes_each_of_them(tmp_path: Path, flight: tuple[Path, Path]) -> None:
    track, hold = flight
    wanted = {kind: tmp_path / f"map.{kind}" for kind in MAP_KINDS}
    options = [part for kind, path in wanted.items() for part in (f"--{kind}", path)]
    result = run("grade", track, "--hold", hold, "--no-html", *options)
    assert result.exit_code == 0, result.output
    for kind, path in wanted.items():
        assert f"For a map: {path}" in result.stdout
        assert "Lap 2" in path.read_text(), kind


def test_maps_are_of_one_flight_and_written_over_nothing_that_is_read(
    tmp_path: Path, flight: tuple[Path, Path]
) -> None:
    track, hold = flight
    before = track.read_bytes()
    assert run("grade", track, "--hold", hold, "--no-html", "--gpx", track).exit_code == 2
    assert track.read_bytes() == before
    (tmp_path / "b.gpx").write_bytes(before)
    result = run("grade", track, tmp_path / "b.gpx", "--hold", hold, "--no-html", "--kml", tmp_path / "m.kml")
    assert result.exit_code == 2
    assert "--kml draws one flight at one hold" in result.stderr
    assert not (tmp_path / "m.kml").exists()


def test_without_an_engine_parquet_is_refused_in_one_line_before_any_work(
    tmp_path: Path, flight: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(laps_parquet, "find_spec", lambda name: None)
    track, hold = flight
    result = run("grade", track, "--hold", hold, "--out", tmp_path / "out", "--csv", tmp_path / "laps.parquet")
    assert result.exit_code == 2
    assert "pip install pyarrow" in result.stderr
    assert "Traceback" not in result.output
    assert not (tmp_path / "laps.parquet").exists()
    assert not (tmp_path / "out").exists()


def test_the_table_handed_to_parquet(debrief: Debrief, monkeypatch: pytest.MonkeyPatch) -> None:
    """The engine is another program's; what it is given is ours: kinds of columns, and every value of the CSV."""
    given: dict[str, Any] = {}

    def to_parquet(frame: pd.DataFrame, out: io.BytesIO, **how: object) -> None:
        given["frame"] = frame
        out.write(b"PAR1")

    monkeypatch.setattr(pd.DataFrame, "to_parquet", to_parquet)
    assert laps_parquet.from_csv(laps_csv.to_text(debrief)) == b"PAR1"
    frame = given["frame"]
    assert list(frame.columns) == list(laps_csv.COLUMNS)
    assert len(frame) == 3
    np.testing.assert_allclose(frame["inbound_s"], [lap.inbound_s for lap in debrief.laps], atol=1e-3)
    assert str(frame["start_utc"].dtype).endswith("UTC]")
    assert frame["start_utc"].iloc[0].timestamp() == pytest.approx(debrief.laps[0].start_epoch_s, abs=1e-3)
    kinds = {name: frame[name].dtype.kind for name in frame.columns}
    assert {kind for name, kind in kinds.items() if name.endswith(("_s", "_nm", "_kt", "_value", "_limit"))} == {"f"}
    assert kinds["lap"] == "i"
    assert kinds["altitude_result"] == "O" or "str" in str(frame["altitude_result"].dtype)
