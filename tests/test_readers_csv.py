"""CSV in the wild: every shape of one flight reads to that flight, and what was assumed is told."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from tests.awkward.flight import ALT_FT, EPOCH_S, FLIGHT, LAT_DEG, LON_DEG, START, Row, flight, own_csv
from tests.awkward.shapes import iso, table
from tests.awkward.wild import SHAPES
from trackgrade.errors import TrackFileError
from trackgrade.track.readers import read_track
from trackgrade.track.track import Track

HALF_OF_TEN_MICROSECONDS = 5e-6


def read_text(tmp_path: Path, text: str | bytes, name: str = "flight.csv", columns: str = "") -> Track:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    if not columns:
        return read_track(path)
    map_path = tmp_path / "columns.toml"
    map_path.write_text(columns)
    return read_track(path, map_path)


def test_there_are_at_least_a_hundred_shapes() -> None:
    assert len(SHAPES) >= 100


@pytest.mark.parametrize("name", SHAPES)
def test_shape_reads_to_the_flight(name: str, tmp_path: Path) -> None:
    shape = SHAPES[name]
    track = read_text(tmp_path, shape.data(), f"{name}.csv", shape.columns_map)
    assert len(track) == len(FLIGHT)
    within_s = 1e-4 if "spreadsheet" in name else HALF_OF_TEN_MICROSECONDS
    np.testing.assert_allclose(track.epoch_s, EPOCH_S, rtol=0, atol=within_s)
    np.testing.assert_allclose(track.lat_deg, LAT_DEG, rtol=0, atol=shape.degrees_within)
    np.testing.assert_allclose(track.lon_deg, LON_DEG, rtol=0, atol=shape.degrees_within)
    if shape.altitude:
        np.testing.assert_allclose(track.alt_ft, ALT_FT, rtol=0, atol=shape.altitude_within_ft)
    else:
        assert np.isnan(track.alt_ft).all()
    told = "\n".join(track.notes)
    for fragment in shape.say:
        assert fragment in told
    found = {p.quantity: p.unit for p in track.provenance}
    for quantity, unit in shape.units.items():
        assert found[quantity] == unit
    for quantity in track.channels:
        assert quantity in found  # no channel without a column that is told


def test_speeds_of_every_unit_are_knots(tmp_path: Path) -> None:
    for name in ("tabs", "metres_a_second_without_saying_so", "miles_an_hour_and_unsaid_course", "units_in_the_cells"):
        track = read_text(tmp_path, SHAPES[name].data())
        np.testing.assert_allclose(track.channels["groundspeed_kt"], 110.0, atol=0.02)


@pytest.mark.parametrize("rate_hz", [1, 5, 20])
def test_a_speed_of_no_unit_is_known_at_any_rate(tmp_path: Path, rate_hz: int) -> None:
    lines = ["time_utc,lat,lon,alt_ft,GndSpd"]
    for i in range(40 * rate_hz):
        moment = f"2026-05-03T15:20:{i // rate_hz:02d}.{i % rate_hz * 1000 // rate_hz:03d}Z"
        lines.append(f"{moment},{44 + i / rate_hz * 110 / 216_000:.7f},-93,4000,{110 * 1.852:.1f}")
    track = read_text(tmp_path, "\n".join(lines) + "\n")
    np.testing.assert_allclose(track.channels["groundspeed_kt"], 110.0, atol=0.05)


def test_magnetic_and_true_headings_are_kept_apart(tmp_path: Path) -> None:
    track = read_text(tmp_path, SHAPES["magnetic_and_true_headings"].data())
    difference = track.channels["heading_true_deg"] - track.channels["heading_mag_deg"]
    np.testing.assert_allclose((difference + 180) % 360 - 180, 2.5, atol=0.051)


@pytest.mark.parametrize(
    ("header", "cell", "channel", "value"),
    [
        # Exact factors: international foot, nautical and statute mile; ISO 80000-3, NIST SP 811.
        ("TAS (m/s)", "100", "tas_kt", 194.3844),
        ("TAS (km/h)", "185.2", "tas_kt", 100.0),
        ("TAS [mph]", "115.0779448", "tas_kt", 100.0),
        ("KIAS", "104.5", "ias_kt", 104.5),
        ("OAT (°F)", "59", "oat_c", 15.0),
        ("OAT (K)", "288.15", "oat_c", 15.0),
        ("Bank (rad)", "0.5", "bank_deg", 28.6479),
        ("True Heading (rad)", "3.141592653589793", "heading_true_deg", 180.0),
        ("heading_true_deg", "-90", "heading_true_deg", 270.0),
        ("heading_mag_deg", "360", "heading_mag_deg", 0.0),
    ],
)
def test_units_are_converted(tmp_path: Path, header: str, cell: str, channel: str, value: float) -> None:
    text = table(f"time_utc,lat,lon,alt_ft,{header}", lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},{cell}")
    np.testing.assert_allclose(read_text(tmp_path, text).channels[channel], value, atol=1e-4)


@pytest.mark.parametrize(
    "header", ["Altitude AGL (ft)", "Selected altitude (ft)", "Vertical speed (ft/min)", "Altitude accuracy (m)"]
)
def test_a_header_with_a_word_that_changes_its_meaning_is_not_read(tmp_path: Path, header: str) -> None:
    text = table(f"time_utc,lat,lon,{header}", lambda r: f"{iso(r)},{r.lat},{r.lon},1234")
    track = read_text(tmp_path, text)
    assert np.isnan(track.alt_ft).all()
    assert any("columns not read" in note and header.split(" (")[0] in note for note in track.notes)


def test_an_airspeed_called_speed_is_not_taken_for_ground_speed(tmp_path: Path) -> None:
    text = table("time_utc,lat,lon,alt_ft,Speed (kt)", lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},131")
    track = read_text(tmp_path, text)
    assert not track.channels
    assert any("may be an airspeed" in note for note in track.notes)


def test_a_magnetic_course_called_track_is_not_taken_for_true(tmp_path: Path) -> None:
    text = table(
        "time_utc,lat,lon,alt_ft,Track",
        lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},{(r.course_deg - 14) % 360}",
    )
    track = read_text(tmp_path, text)
    assert "track_true_deg" not in track.channels
    assert any("-15° off" in note or "-14° off" in note or "-13° off" in note for note in track.notes)


def test_marks_are_the_first_rows_of_their_runs(tmp_path: Path) -> None:
    marks = {5: "out", 6: "out", 7: "", 20: "1", 21: "0", 30: "\x1b[31min\x1b[0m"}
    text = table(
        "time_utc,lat,lon,alt_ft,mark",
        lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},{marks.get(int(r.epoch_s - EPOCH_S[0]), '')}",
    )
    track = read_text(tmp_path, text)
    assert [(m.epoch_s - EPOCH_S[0], m.label) for m in track.marks] == [(5.0, "out"), (20.0, "mark"), (30.0, "in")]


def test_midnight_passes_without_a_date_column(tmp_path: Path) -> None:
    def row(r: object) -> str:
        i = int(r.epoch_s - EPOCH_S[0])  # type: ignore[attr-defined]
        seconds = (86370 + i) % 86400
        clock = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
        return f"{clock},{r.lat},{r.lon},{r.alt_ft}"  # type: ignore[attr-defined]

    track = read_text(tmp_path, table("Time UTC,Lat,Lon,alt_ft", row), columns="date = 2026-05-03\n")
    np.testing.assert_array_equal(np.diff(track.epoch_s), 1.0)
    assert any("2026-05-03" in note for note in track.notes)


@pytest.mark.parametrize(
    ("dates", "expected"),
    [
        ("13/05/2026", "2026-05-13"),
        ("05/13/2026", "2026-05-13"),
        ("05.03.2026", "2026-03-05"),
        ("3-5-26", "2026-03-05"),
    ],
)
def test_the_order_of_day_and_month(tmp_path: Path, dates: str, expected: str) -> None:
    text = table(
        "Date,Time UTC,Lat,Lon,alt_ft",
        lambda r: f"{dates},{r.time:%H:%M:%S},{r.lat},{r.lon},{r.alt_ft}",
    )
    track = read_text(tmp_path, text)
    assert np.datetime64(int(track.epoch_s[0]), "s").astype("datetime64[D]") == np.datetime64(expected)
    chosen = [note for note in track.notes if "day or month first" in note]
    assert bool(chosen) == ("13" not in dates)


@pytest.mark.parametrize("late_rows", [0, 3, 1000])
def test_midnight_passes_while_the_date_stays(tmp_path: Path, late_rows: int) -> None:
    """Loggers that write the date of the start into every row, only once, or some seconds late."""
    start = START.replace(hour=23, minute=59, second=30)
    rows = flight(60, start)
    lines = ["Date (UTC),Time (UTC),lat,lon"]
    for i, r in enumerate(rows):
        date = "2026-05-03" if i < 30 + late_rows else "2026-05-04"
        lines.append(f"{'' if late_rows == 1000 and i else date},{r.time:%H:%M:%S},{r.lat},{r.lon}")
    track = read_text(tmp_path, "\n".join(lines))
    assert track.epoch_s == pytest.approx([r.epoch_s for r in rows])
    assert any("the next day was taken" in note for note in track.notes) == (late_rows > 0)


def test_another_flight_of_the_same_day_is_not_moved_to_the_next(tmp_path: Path) -> None:
    clocks = ["21:00:00", "21:00:01", "08:00:00", "08:00:01"]
    track = read_text(
        tmp_path,
        "Date (UTC),Time (UTC),lat,lon\n" + "".join(f"2026-05-03,{c},44.{i},-93\n" for i, c in enumerate(clocks)),
    )
    assert np.ptp(track.epoch_s) < 86_400 / 2 + 3_700
    assert not any("next day" in note for note in track.notes)


DOUBTS = [
    (
        "Latitude,Longitude",
        lambda r: f"{np.radians(r.lat):.9f},{np.radians(r.lon) + 1.5:.9f}",
        "if they are radians",
    ),
    (
        "Lat Deg,Lat Part,Lon Deg,Lon Part",
        lambda r: f"44,{r.lat % 1 * 60:.4f},-93,{-r.lon % 1 * 60:.4f}",
        "whole degrees",
    ),
    ("Lat,Lat dir,Lon,Lon dir", lambda r: f"{r.lat},N,{r.lon},E", "the letter was believed"),
    ("Lat (S),Lon (E)", lambda r: f"{-r.lat},{r.lon}", "values below zero"),
    ("lat,lon,Ground Speed (kt)", lambda r: f"{r.lat},{r.lon},{r.speed_kt * 1.852:.1f}", "states kt, but agrees"),
    ("lat,lon,Time Zone", lambda r: f"{r.lat},{r.lon},EST", ""),
]


@pytest.mark.parametrize(("headers", "cells", "said"), DOUBTS, ids=[d[0] for d in DOUBTS])
def test_what_looks_wrong_is_said(tmp_path: Path, headers: str, cells: Callable[[Row], str], said: str) -> None:
    text = f"time_utc,{headers}\n" + "".join(f"{r.time:%Y-%m-%dT%H:%M:%SZ},{cells(r)}\n" for r in FLIGHT)
    track = read_text(tmp_path, text)
    assert any(said in note for note in track.notes), track.notes
    assert "groundspeed_kt" not in track.channels


def test_a_zone_that_is_no_offset_is_named(tmp_path: Path) -> None:
    text = "Time,Time Zone,lat,lon\n" + "".join(f"{r.time:%Y-%m-%d %H:%M:%S},EST,{r.lat},{r.lon}\n" for r in FLIGHT)
    assert any('"EST" of "Time Zone" is read as none' in note for note in read_text(tmp_path, text).notes)


def test_a_time_that_cannot_be_read_is_no_zone_that_others_lack(tmp_path: Path) -> None:
    text = table("date time,lat,lon,alt_ft", lambda r: f"{iso(r).removesuffix('Z')},{r.lat:.6f},{r.lon:.6f},4000")
    lines = text.splitlines()
    lines[5] = "soon" + lines[5][lines[5].index(",") :]
    notes = read_text(tmp_path, "\n".join(lines)).notes
    assert any("no zone and no offset stated" in note for note in notes), notes
    assert not any("while others do" in note for note in notes), notes


def test_columns_not_read_are_told_in_the_order_of_the_file(tmp_path: Path) -> None:
    text = table(
        "flux,where,heading,time_utc,alt_ft",
        lambda r: f"1,{r.lat:.6f} {r.lon:.6f},90,{iso(r)},4000",
    )
    notes = read_text(tmp_path, text).notes
    assert "columns not read: flux, heading" in notes, notes  # "where" gives latitude and longitude


def test_headers_again_with_another_unit_end_the_reading(tmp_path: Path) -> None:
    text = "".join(
        f"time_utc,lat,lon,Altitude ({unit})\n"
        + "".join(f"{r.time:%Y-%m-%dT%H:%M:%SZ},{r.lat},{r.lon},{r.alt_ft * factor}\n" for r in rows)
        for unit, factor, rows in (("ft", 1.0, FLIGHT[:50]), ("m", 0.3048, FLIGHT[50:]))
    )
    track = read_text(tmp_path, text)
    assert len(track) == 50
    assert any("other headers begin here" in note for note in track.notes)


def test_utc_is_preferred_to_local_time(tmp_path: Path) -> None:
    text = table(
        "Local time,UTC time,Lat,Lon,alt_ft",
        lambda r: f"{r.time:%Y-%m-%d} 08:00:00,{iso(r)},{r.lat},{r.lon},{r.alt_ft}",
    )
    np.testing.assert_allclose(read_text(tmp_path, text).epoch_s, EPOCH_S)


def test_other_headers_half_way_end_the_reading(tmp_path: Path) -> None:
    text = own_csv() + own_csv().replace("lat,lon", "lon,lat", 1)
    track = read_text(tmp_path, text)
    assert len(track) == len(FLIGHT)
    assert any("line 92: other headers begin here" in note for note in track.notes)


def good_rows(count: int = 5) -> str:
    return "\n".join(f"{iso(r)},{r.lat},{r.lon},{r.alt_ft}" for r in FLIGHT[:count]) + "\n"


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("2026-05-03T15:30:00Z,91,-93,4000", "latitude beyond 90°"),
        ("2026-05-03T15:30:00Z,44,-181,4000", "longitude beyond 180°"),
        ("2026-05-03T15:30:00Z,nan,-93,4000", "no readable position"),
        ("2026-05-03T15:30:00Z,1e308,-93,4000", "latitude beyond 90°"),
        ("2026-05-03T15:30:00Z,inf,-93,4000", "no readable position"),
        ("0001-05-03T15:30:00Z,44,-93,4000", "before 1980 or after 2099"),
        ("9999-05-03T15:30:00Z,44,-93,4000", "before 1980 or after 2099"),
        ("2026-02-30T15:30:00Z,44,-93,4000", "no readable time"),
        ("2026-05-03T24:30:00Z,44,-93,4000", "no readable time"),
        ("2026-05-03T15:30:00Z,0,0,4000", "before a fix"),
    ],
)
def test_a_row_that_cannot_be_is_dropped_and_told(tmp_path: Path, row: str, why: str) -> None:
    track = read_text(tmp_path, "time_utc,lat,lon,alt_ft\n" + good_rows() + row + "\n")
    assert len(track) == 5
    assert any(note.startswith("1 point dropped") and why in note for note in track.notes)


@pytest.mark.parametrize("altitude", ["1e308", "-1e308", "500000", "inf", "nan", "99999999999999999999999999"])
def test_an_altitude_that_cannot_be_is_left_out(tmp_path: Path, altitude: str) -> None:
    rows = good_rows() + f"2026-05-03T15:30:00Z,44,-93,{altitude}\n"
    track = read_text(tmp_path, "time_utc,lat,lon,alt_ft\n" + rows)
    assert len(track) == 6
    assert np.isnan(track.alt_ft[5])
    assert np.isfinite(track.alt_ft[:5]).all()


@pytest.mark.parametrize(
    ("text", "fragments"),
    [
        ("", ["empty"]),
        ("\n\n\n", ["empty"]),
        ("hello", ["no line of it names", "trackgrade columns"]),
        ("time_utc,lat,lon\n", ["no rows below"]),
        ("time_utc,lat,lon,alt_ft\n" + good_rows(1), ["fewer than two usable points"]),
        ("lat,lon,alt_ft\n44,-93,4000\n", ["line 1", "no column for time"]),
        ("time_utc,lat,alt_ft\n2026-05-03T15:20:00Z,44,4000\n", ["no column for longitude"]),
        ("time_utc,lat,lon\n" + "2026-05-03T15:20:00Z,4400.12,-9300.5\n" * 3, ['line 2: lat "4400.12"', "ddmm"]),
        ("time_utc,lat,lon\n" + "2026-05-03T15:20:00Z,north,west\n" * 3, ['line 2: lat "north"', "--columns"]),
        ("time,lat,lon\n" + "".join(f"{i},44,-93\n" for i in range(9)), ["does not count from 1970", "start_utc"]),
        ("time,lat,lon\n" + "".join(f"15:20:{i:02d},44,-93\n" for i in range(9)), ['date = "2026-05-03"']),
        ("time,lat,lon\n" + ",44,-93\n" * 9, ["time column is empty"]),
        ("date,time,lat,lon\n" + "030526,15:20:00,44,-93\n" * 9, ['"030526" may begin with', 'unit = "dmy"']),
        ("time,lat,lon\n" + "".join(f"46145.{i}1,44,-93\n" for i in range(9)), ["spreadsheets", "excel_days"]),
        ("date,time,lat,lon\n" + "2026-05-03,20:05.0,44,-93\n" * 9, ['"time" such as "20:05.0"']),
        ("time_utc,lat,lon\n" + "2026-05-03T15:20:00Z,-93.1,44.2\n" * 3, ["is beyond 90", "swapped"]),
        ("time_utc,easting,northing\n" + "2026-05-03T15:20:00Z,500000,4873000\n" * 3, ["on a grid", "in degrees"]),
        ("time,lat,lon\n" + "noon,44,-93\n" * 9, ['"noon" is read as no time']),
        ("time_utc,lat,lon\n" + "2026-05-03T15:20:00Z,44,5,-93,5\n" * 3, ["3 headers", "5 cells"]),
        ("time_utc,lat,lon\n" + "1900-05-03T15:20:00Z,44,-93\n" * 3, ["fewer than two usable", "before 1980"]),
        ('{"lat": 1}', ["JSON"]),
        ("%PDF-1.7 lat lon time", ["PDF"]),
        ("$GPGGA,152000,4400.0,N,09300.0,W", ["NMEA"]),
        ("<kml><Placemark/></kml>", ["KML"]),
        (b"PK\x03\x04" + b"lat,lon,time" * 10, ["zip"]),
        (bytes(range(256)) * 20, ["neither GPX nor a text table"]),
        ("time_utc,lat,lon\n" + "x" * 60_000, ["line 2", "50,000"]),
        (",".join(["lat", "lon", "time"] * 1000) + "\n1,2,3\n", ["columns"]),
    ],
)
def test_refused_in_one_line_with_a_remedy(tmp_path: Path, text: str | bytes, fragments: list[str]) -> None:
    with pytest.raises(TrackFileError) as refused:
        read_text(tmp_path, text)
    message = str(refused.value)
    assert "\n" not in message
    assert message.startswith("flight.csv")
    for fragment in fragments:
        assert fragment in message


def test_the_extension_does_not_decide(tmp_path: Path) -> None:
    assert len(read_text(tmp_path, own_csv(), "flight.gpx")) == len(FLIGHT)


def test_round_trip_of_the_projects_columns(tmp_path: Path) -> None:
    first = read_text(tmp_path, own_csv())
    lines = ["time_utc,lat,lon,alt_ft,groundspeed_kt,track_true_deg"]
    for i in range(len(first)):
        time = np.datetime64(round(first.epoch_s[i] * 1e6), "us")
        channels = [first.channels[c][i] for c in ("groundspeed_kt", "track_true_deg")]
        values = [first.lat_deg[i], first.lon_deg[i], first.alt_ft[i], *channels]
        lines.append(f"{time}Z," + ",".join(repr(float(v)) for v in values))
    again = read_text(tmp_path, "\n".join(lines) + "\n")
    for name in ("epoch_s", "lat_deg", "lon_deg", "alt_ft"):
        np.testing.assert_array_equal(getattr(again, name), getattr(first, name))
    for name in first.channels:
        np.testing.assert_array_equal(again.channels[name], first.channels[name])


def test_a_table_of_eighty_columns_and_three_hours_reads_in_seconds(tmp_path: Path) -> None:
    header = "time_utc,lat,lon,alt_ft," + ",".join(f"engine {i}" for i in range(76))
    tail = "," + ",".join(["12.34"] * 76)
    rows = [
        f"2026-05-03T{12 + i // 3600:02d}:{i // 60 % 60:02d}:{i % 60:02d}Z,{44 + i * 1e-5:.6f},-93,4000{tail}"
        for i in range(10_800)
    ]
    path = tmp_path / "long.csv"
    path.write_text(header + "\n" + "\n".join(rows) + "\n")
    started = time.process_time()
    assert len(read_track(path)) == 10_800
    assert time.process_time() - started < 5.0
