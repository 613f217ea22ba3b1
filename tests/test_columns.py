"""The vocabulary of headers, the columns map, and the command that shows what would be read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from tests.awkward.flight import FLIGHT, gpx_text, own_csv
from tests.awkward.wild import SHAPES
from trackgrade.commands import main
from trackgrade.errors import ColumnsFileError, TrackFileError
from trackgrade.files import toml_text
from trackgrade.track.columns import (
    OWN_COLUMNS,
    QUANTITIES,
    RULES,
    SPELLINGS,
    UNITS,
    header_words,
    matching_rule,
    unit_named,
    unit_of,
)
from trackgrade.track.columns_map import offset_minutes, read_columns_map
from trackgrade.track.readers import read_track
from trackgrade.track.readers.column_sheet import column_sheet
from trackgrade.track.track import CHANNELS


@pytest.mark.parametrize(
    ("header", "quantity", "unit"),
    [
        ("Latitude", "lat", None),
        ("Lat (°)", "lat", "deg"),
        ("LON", "lon", None),
        ("Longitude [deg]", "lon", "deg"),
        ("lat_e7", "lat", "e7"),
        ("GPS Altitude (m)", "alt_ft", "m"),
        ("AltMSL", "alt_ft", None),
        ("Altitude (ft MSL)", "alt_ft", "ft"),
        ("Elevation", "alt_ft", None),
        ("FL", "alt_ft", "fl"),
        ("IAS", "ias_kt", None),
        ("KTAS", "tas_kt", "kt"),
        ("TAS(m/s)", "tas_kt", "m/s"),
        ("GndSpd", "groundspeed_kt", None),
        ("Ground Speed [km/h]", "groundspeed_kt", "km/h"),
        ("SOG m s-1", "groundspeed_kt", "m/s"),
        ("Heading (°M)", "heading_mag_deg", "deg"),
        ("heading_mag_deg", "heading_mag_deg", "deg"),
        ("TrueHeading", "heading_true_deg", None),
        ("HDG (deg T)", "heading_true_deg", "deg"),
        ("True Track", "track_true_deg", None),
        ("COG", "track_true_deg", None),
        ("Roll", "bank_deg", None),
        ("Bank angle (rad)", "bank_deg", "rad"),
        ("OAT (°C)", "oat_c", "C"),
        ("Outside Air Temperature [F]", "oat_c", "F"),
        ("Lcl Date", "date", None),
        ("UTCOfst", "utc_offset", None),
        ("Date/Time", "time_utc", None),
        ("unix_time_ms", "time_utc", "epoch_ms"),
        ("Timestamp", "time_utc", None),
        ("Marker", "mark", None),
        ("N/S", "lat_side", None),
    ],
)
def test_headers_that_are_understood(header: str, quantity: str, unit: str | None) -> None:
    rule = matching_rule(header)
    assert rule is not None
    assert rule.quantity == quantity
    found = unit_of(header_words(header), QUANTITIES[quantity].kind)
    assert (found.name if found else None) == unit


@pytest.mark.parametrize(
    "header",
    [
        *("Selected Altitude", "Altitude AGL", "Alt accuracy (m)", "WindSpd", "Track (mag)"),
        *("Heading bug", "Ground speed limit", "Lat acceleration", "Time to go", "Oil Temp", "RPM", "", " ", "123"),
        *("Course deviation", "Target heading", "Bank limit", "GPS satellites", "Date of birth", "remark"),
    ],
)
def test_headers_that_must_not_be_taken(header: str) -> None:
    assert matching_rule(header) is None


def test_every_rule_can_be_reached_and_every_table_agrees() -> None:
    known_after_spelling = {w for text in SPELLINGS.values() for w in text.split()}
    for rule in RULES:
        assert rule.quantity in QUANTITIES
        names = {u.name for u in UNITS[QUANTITIES[rule.quantity].kind]}
        assert rule.assumed in names | {"", "positions"}
        for word in rule.needs:  # a word that spelling rewrites could never be met
            assert word not in SPELLINGS or word in SPELLINGS[word].split() or word in known_after_spelling
        met = matching_rule(" ".join(rule.needs))
        assert met is not None
        assert met.quantity == rule.quantity
    assert set(CHANNELS) <= set(QUANTITIES)
    assert set(OWN_COLUMNS) <= set(QUANTITIES)
    for own in OWN_COLUMNS:
        assert matching_rule(own) is not None or own == "time_utc"


def test_units_have_exact_factors() -> None:
    # International yard and pound agreement (1959): foot 0.3048 m, mile 1,609.344 m; nautical mile 1,852 m (BIPM).
    to_ft = {u.name: u.factor for u in UNITS["length"]}
    to_kt = {u.name: u.factor for u in UNITS["speed"]}
    assert to_ft["m"] * 0.3048 == pytest.approx(1.0, rel=1e-15)
    assert to_ft["fl"] == 100.0
    assert to_kt["m/s"] == pytest.approx(3600 / 1852, rel=1e-15)
    assert to_kt["km/h"] == pytest.approx(1 / 1.852, rel=1e-15)
    assert to_kt["mph"] == pytest.approx(1.609344 / 1.852, rel=1e-15)
    assert to_kt["ft/s"] == pytest.approx(0.3048 * 3600 / 1852, rel=1e-15)
    celsius = {u.name: u for u in UNITS["temperature"]}
    assert 212 * celsius["F"].factor + celsius["F"].offset == pytest.approx(100.0)
    assert 373.15 * celsius["K"].factor + celsius["K"].offset == pytest.approx(100.0)
    for units in UNITS.values():
        for unit in units:
            assert unit_named(unit.name, next(k for k, us in UNITS.items() if us is units)) == unit


@pytest.mark.parametrize(
    ("text", "minutes"),
    [
        *(("Z", 0), ("-05:00", -300), ("+0530", 330), ("+2", 120), ("UTC-3:30", -210), ("−0700", -420)),
        *(("GMT+1", 60), ("14:00", 840), ("+15:00", None), ("5 h", None), ("", None), ("+05:75", None)),
    ],
)
def test_offsets(text: str, minutes: float | None) -> None:
    assert offset_minutes(text) == minutes


def map_of(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "columns.toml"
    path.write_text(text)
    return path


def flight_of(tmp_path: Path, text: str = "") -> Path:
    path = tmp_path / "flight.csv"
    path.write_text(text or own_csv())
    return path


@pytest.mark.parametrize(
    ("text", "fragments"),
    [
        ("latt = 'deg'", ['"latt"', "Did you mean lat?"]),
        ("qwerty = 1", ['"qwerty" is no quantity', "Known are time_utc"]),
        ("lat = 3", ["lat must be"]),
        ("lat = 'furlongs'", ['unit "furlongs" is unknown', "ddmm"]),
        ("lat = { column = 'lat', colour = 'red' }", ['"colour" is unknown']),
        ("lat = { column = true }", ["header as text, or its number"]),
        ("lat = { column = 0 }", ["count from 1"]),
        ("lat = { column = 99 }", ["column 99 of 6 columns"]),
        ("lat = { column = '' }", ["header as text"]),
        ("lat = { column = 'latt', unit = 'deg' }", ['no column "latt"', 'Did you mean "lat"?']),
        ("lat = { column = 2, unit = 'deg' }\nlon = { column = 2, unit = 'deg' }", ["named for both lat and lon"]),
        ("date = 3.5", ["date must be a day"]),
        ("date = 'yesterday'", ["date must be a day"]),
        ("utc_offset = 'far'", ["utc_offset must be"]),
        ("utc_offset = '+25:00'", ["utc_offset must be"]),
        ("start_utc = 'noon'", ["start_utc must be"]),
        ("start_utc = '2026-05-03'", ["start_utc must be"]),
        ("header_line = 0", ["header_line must be"]),
        ("header_line = 5000", ["header_line 5000 is beyond"]),
        ("delimiter = 'x'", ["delimiter must be"]),
        ("decimal = ';'", ["decimal must be"]),
        ("a = [", ["not valid TOML"]),
        ("mark = { column = 'lat', unit = 'deg' }", ["mark: unit"]),
        ("date = true", ["date must be"]),
        ("'\\u001b[31m' = 1", ["is no quantity"]),
    ],
)
def test_a_wrong_map_is_refused_in_one_line(tmp_path: Path, text: str, fragments: list[str]) -> None:
    with pytest.raises(ColumnsFileError) as refused:
        read_track(flight_of(tmp_path), map_of(tmp_path, text))
    message = str(refused.value)
    assert message.startswith("columns.toml: ") or "columns.toml holds" in message
    assert message.isprintable()
    for fragment in fragments:
        assert fragment in message


def test_a_map_needs_the_unit_of_a_column_that_says_none(tmp_path: Path) -> None:
    path = flight_of(tmp_path, own_csv().replace("groundspeed_kt", "V"))
    with pytest.raises(ColumnsFileError, match="groundspeed_kt needs its unit"):
        read_track(path, map_of(tmp_path, "groundspeed_kt = { column = 'V' }"))
    track = read_track(path, map_of(tmp_path, "groundspeed_kt = { column = 'V', unit = 'km/h' }"))
    np.testing.assert_allclose(track.channels["groundspeed_kt"], 110 / 1.852)


def test_a_map_leaves_a_quantity_out(tmp_path: Path) -> None:
    track = read_track(flight_of(tmp_path), map_of(tmp_path, "groundspeed_kt = false\nalt_ft = false\n"))
    assert "groundspeed_kt" not in track.channels
    assert np.isnan(track.alt_ft).all()
    assert not {"alt_ft", "groundspeed_kt"} & {p.quantity for p in track.provenance}


def test_a_map_settles_two_altitudes_a_north_and_an_order_of_day_and_month(tmp_path: Path) -> None:
    text = "Date,Time UTC,lat,lon,AltInd,GPS Alt,HDG\n" + "\n".join(
        f"05/03/2026,{r.time:%H:%M:%S},{r.lat},{r.lon},{r.alt_ft},{r.alt_ft + 100},212" for r in FLIGHT
    )
    settled = (
        'date = { column = "Date", unit = "mdy" }\nalt_ft = { column = "GPS Alt", unit = "ft" }\n'
        'heading_mag_deg = { column = "HDG", unit = "deg" }\n'
    )
    track = read_track(flight_of(tmp_path, text), map_of(tmp_path, settled))
    assert track.epoch_s[0] == FLIGHT[0].epoch_s
    assert track.alt_ft[0] == FLIGHT[0].alt_ft + 100
    assert track.channels["heading_mag_deg"][0] == 212
    told = " ".join(track.notes)
    assert "settles it" not in told
    assert "would do as well" not in told


def test_a_unit_in_the_map_settles_what_the_positions_would_be_asked(tmp_path: Path) -> None:
    text = "time_utc,lat,lon,alt_ft,HDG,Speed\n" + "\n".join(
        f"{r.time.isoformat()},{r.lat},{r.lon},{r.alt_ft},212,65" for r in FLIGHT
    )
    path = flight_of(tmp_path, text)
    assert not read_track(path).channels
    track = read_track(path, map_of(tmp_path, 'heading_mag_deg = "deg"\ngroundspeed_kt = "m/s"\n'))
    assert track.channels["heading_mag_deg"][0] == 212
    assert track.channels["groundspeed_kt"][0] == pytest.approx(65 * 3600 / 1852)


def test_columns_of_one_name_are_told_apart_by_number(tmp_path: Path) -> None:
    text = "time_utc,lat,lon,Alt (ft),Alt (ft)\n" + "\n".join(
        f"{r.time.isoformat()},{r.lat},{r.lon},1,{r.alt_ft}" for r in FLIGHT
    )
    path = flight_of(tmp_path, text)
    with pytest.raises(ColumnsFileError, match="names 2 columns; give the number, such as column = 4"):
        read_track(path, map_of(tmp_path, "alt_ft = { column = 'Alt (ft)' }"))
    assert read_track(path, map_of(tmp_path, "alt_ft = { column = 5 }")).alt_ft[0] == FLIGHT[0].alt_ft


@pytest.mark.parametrize("name", SHAPES)
def test_the_map_that_is_written_reads_the_same_flight(tmp_path: Path, name: str) -> None:
    shape = SHAPES[name]
    path = tmp_path / f"{name}.csv"
    path.write_bytes(shape.data())
    first_map = map_of(tmp_path, shape.columns_map) if shape.columns_map else None
    before = read_track(path, first_map)
    sheet = column_sheet(path, first_map)
    assert sheet.points == len(before)
    assert not sheet.problem
    second = tmp_path / "written.toml"
    second.write_text(sheet.map_text)
    after = read_track(path, second)
    for array in ("epoch_s", "lat_deg", "lon_deg", "alt_ft"):
        np.testing.assert_allclose(getattr(after, array), getattr(before, array), rtol=1e-12)
    assert set(after.channels) == set(before.channels)
    for channel in after.channels:
        np.testing.assert_allclose(after.channels[channel], before.channels[channel], rtol=1e-9)


def test_a_written_map_holds_any_header(tmp_path: Path) -> None:
    import tomllib

    for text in ['quote " and \\ slash', "tab\tDEL\x7f", "ünï ☃ \U0001f600", "\x1b[31m", "new\nline"]:
        assert tomllib.loads(f"a = {toml_text(text)}") == {"a": text}


def run(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["columns", *arguments])
    return result.exit_code, result.output


def test_the_command_shows_what_would_be_read(tmp_path: Path) -> None:
    status, output = run(str(flight_of(tmp_path, str(SHAPES["two_altitudes"].make()))))
    assert status == 0
    assert "AltInd (ft)" in output
    assert "90 points would be read" in output
    assert "GPS Alt (ft)" in output


def test_the_command_shows_gpx_too(tmp_path: Path) -> None:
    path = tmp_path / "flight.gpx"
    path.write_text(gpx_text())
    status, output = run(str(path))
    assert status == 0
    assert "trkpt/ele" in output
    status, output = run(str(path), "--write", str(tmp_path / "m.toml"))
    assert status == 2
    assert "needs no columns map" in output


def test_the_command_writes_a_map_once(tmp_path: Path) -> None:
    path, target = flight_of(tmp_path), tmp_path / "map.toml"
    status, output = run(str(path), "--write", str(target))
    assert status == 0
    assert f"wrote {target}" in output
    read_columns_map(target)
    before = target.read_bytes()
    status, output = run(str(path), "--write", str(target))
    assert status == 2
    assert "exists" in output
    assert target.read_bytes() == before


def test_the_command_helps_with_a_table_it_cannot_read(tmp_path: Path) -> None:
    target = tmp_path / "map.toml"
    path = flight_of(tmp_path, "a;b;c\n1;2;3\n4;5;6\n")
    status, output = run(str(path), "--write", str(target))
    assert status == 0
    assert "Not readable as it is" in output
    assert "a, 1, 4" in output
    read_columns_map(target)


def test_the_command_refuses_in_one_line(tmp_path: Path) -> None:
    for arguments in (
        [str(tmp_path / "none.csv")],
        [str(tmp_path)],
        [str(flight_of(tmp_path)), "--columns", "none.toml"],
    ):
        status, output = run(*arguments)
        assert status == 2
        assert output.count("\n") == 1
        assert output.startswith("trackgrade: ")


def test_a_map_that_is_missing_is_told(tmp_path: Path) -> None:
    with pytest.raises(ColumnsFileError, match="no such file"):
        read_track(flight_of(tmp_path), tmp_path / "none.toml")
    with pytest.raises(TrackFileError, match="no such file"):
        read_track(tmp_path / "none.csv", map_of(tmp_path, ""))


def test_without_a_time_all_other_columns_are_shown_and_the_map_written_needs_one_line(tmp_path: Path) -> None:
    text = "moment,Latitude,Longitude,Altitude (m),GndSpd (kt)\n" + "\n".join(
        f"{r.epoch_s:.0f},{r.lat},{r.lon},{r.alt_ft * 0.3048:.3f},{r.speed_kt}" for r in FLIGHT
    )
    path = flight_of(tmp_path, text)
    sheet = column_sheet(path)
    assert {line.quantity: line.column for line in sheet.lines if line.quantity} == {
        "lat": "Latitude",
        "lon": "Longitude",
        "alt_ft": "Altitude (m)",
        "groundspeed_kt": "GndSpd (kt)",
    }
    assert "no column for time among its headers" in sheet.problem
    wanted = '# time_utc = { column = 1, unit = "iso" }'
    assert wanted in sheet.map_text
    with pytest.raises(TrackFileError, match=r"no column for time among its headers. Name the columns in columns.toml"):
        read_track(path, map_of(tmp_path, sheet.map_text))
    track = read_track(
        path, map_of(tmp_path, sheet.map_text.replace(wanted, 'time_utc = { column = "moment", unit = "epoch_s" }'))
    )
    assert track.epoch_s[0] == FLIGHT[0].epoch_s
    assert track.alt_ft[0] == pytest.approx(FLIGHT[0].alt_ft, abs=0.01)


def test_no_message_asks_for_the_map_that_was_given(tmp_path: Path) -> None:
    text = "time_utc,lat,lon,Altitude,HDG\n" + "\n".join(
        f"{r.time.isoformat()},{r.lat},{r.lon},{r.alt_ft},212" for r in FLIGHT
    )
    path = flight_of(tmp_path, text)
    assert sum("a columns file (--columns)" in note for note in read_track(path).notes) == 2
    mapped = read_track(path, map_of(tmp_path, 'lat = "deg"\n'))
    assert sum("columns.toml" in note for note in mapped.notes) == 2
    assert not any("--columns" in note for note in mapped.notes)
    assert mapped.alt_open is not None
    assert mapped.alt_open.note in mapped.notes
