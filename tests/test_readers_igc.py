"""IGC as recorders write it: read to the flight, against a reader of other authors; which altitude is said."""

from __future__ import annotations

import datetime
import io

import numpy as np
import pytest
from aerofiles.igc import Reader as TheirReader, Writer as TheirWriter

from tests.awkward.flight import EPOCH_S, FLIGHT, LAT_DEG, LON_DEG, START, flight
from tests.awkward.flight_recorder import HEAD, angle, fix, igc_text
from trackgrade.errors import TrackFileError
from trackgrade.track.readers import read_track
from trackgrade.track.readers.column_sheet import column_sheet
from trackgrade.track.track import Track

#: Positions are written to a thousandth of a minute: half of one is 0.93 m.
HALF_A_THOUSANDTH_OF_A_MINUTE_DEG = 0.5e-3 / 60 + 1e-12


def read(text: str | bytes, name: str = "flight.igc") -> Track:
    return read_track(text if isinstance(text, bytes) else text.encode("latin-1"), name=name)


def same_flight(track: Track, within_deg: float = HALF_A_THOUSANDTH_OF_A_MINUTE_DEG) -> None:
    np.testing.assert_array_equal(track.epoch_s, EPOCH_S)
    np.testing.assert_allclose(track.lat_deg, LAT_DEG, rtol=0, atol=within_deg)
    np.testing.assert_allclose(track.lon_deg, LON_DEG, rtol=0, atol=within_deg)


@pytest.mark.parametrize(
    "date", ["HFDTE030526", "HFDTEDATE:030526,01", "HFDTEDATE: 030526", "HODTE030526", "HFDTE 030526"]
)
@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
def test_the_forms_of_the_date_and_of_line_ends(date: str, end: str) -> None:
    head = tuple(date if line.startswith("HFDTE") else line for line in HEAD)
    same_flight(read(igc_text(head=head, end=end)))


def test_against_a_reader_of_other_authors() -> None:
    """aerofiles, a general library for IGC: what it reads of a file of ours is what we read."""
    text = igc_text(decimals=5)
    theirs = TheirReader().read(io.StringIO(text.replace("\r\n", "\n")))["fix_records"][1]
    ours = read(text)
    assert len(theirs) == len(ours)
    base = [
        datetime.datetime(2026, 5, 3, each["time"].hour, each["time"].minute, each["time"].second, tzinfo=datetime.UTC)
        for each in theirs
    ]
    np.testing.assert_array_equal(ours.epoch_s, [each.timestamp() for each in base])
    # Theirs takes LAD and LOD as a number of the next decimals, as the specification says.
    np.testing.assert_allclose(ours.lat_deg, LAT_DEG, rtol=0, atol=0.5e-5 / 60 + 1e-12)
    np.testing.assert_allclose([each["lat"] for each in theirs], ours.lat_deg, rtol=0, atol=1e-3 / 60)
    np.testing.assert_allclose([each["lon"] for each in theirs], ours.lon_deg, rtol=0, atol=1e-3 / 60)
    np.testing.assert_allclose([each["pressure_alt"] / 0.3048 for each in theirs], ours.alt_ft, atol=1e-9)


def test_a_file_by_a_writer_of_other_authors() -> None:
    """aerofiles writes it, with extensions; positions come back to its thousandths of a minute."""
    out = io.BytesIO()
    writer = TheirWriter(out)
    writer.write_headers(
        {
            "manufacturer_code": "XXX",
            "logger_id": "TBX",
            "date": datetime.date(2026, 5, 3),
            "fix_accuracy": 50,
            "pilot": "pilot A",
            "copilot": "",
            "glider_type": "made here",
            "glider_id": "none",
            "firmware_version": "1",
            "hardware_version": "1",
            "logger_type": "made here",
            "gps_receiver": "made here",
            "pressure_sensor": "made here",
            "competition_id": "",
            "competition_class": "",
        }
    )
    writer.write_fix_extensions([("FXA", 3), ("HDT", 3), ("TAS", 3)])
    for i, r in enumerate(FLIGHT):
        if i == 30:
            writer.write_event(r.time.time(), "PEV", "started the watch")
        writer.write_fix(
            r.time.time(),
            latitude=r.lat,
            longitude=r.lon,
            valid=True,
            pressure_alt=1200,
            gps_alt=1275,
            extensions=["012", f"{r.course_deg:03.0f}", f"{r.speed_kt * 1.852:03.0f}"],
        )
    track = read(out.getvalue())
    same_flight(track, 1.0e-3 / 60)
    np.testing.assert_allclose(track.alt_ft, 1200 / 0.3048)
    headings = [round(r.course_deg) % 360 for r in FLIGHT]
    np.testing.assert_allclose(track.channels["heading_true_deg"], headings, atol=0.51)
    np.testing.assert_allclose(track.channels["tas_kt"], 110.0, atol=0.3)
    assert [(m.epoch_s - EPOCH_S[0], m.label) for m in track.marks] == [(30.0, "started the watch")]


ALTITUDES = {
    "both": (1190.0, 1260.0, "pressure", 1190.0),
    "no sensor": (None, 1260.0, "ellipsoid", 1260.0),
    "the sensor's field holds the satellites' height": (1260.0, 1260.0, "ellipsoid", 1260.0),
    "no satellites' height": (1190.0, None, "pressure", 1190.0),
}


@pytest.mark.parametrize("name", ALTITUDES)
def test_which_altitude_it_is(name: str) -> None:
    pressure, gnss, datum, metres = ALTITUDES[name]
    track = read(igc_text(pressure_m=pressure, gnss_m=gnss))
    assert track.alt_datum == datum
    assert track.alt_ft[0] == pytest.approx(metres / 0.3048)
    (source,) = [p for p in track.provenance if p.quantity == "altitude"]
    assert {"pressure": "1013.25", "ellipsoid": "ellipsoid"}[datum] in source.note


def test_a_height_above_the_geoid_is_said_to_be_one() -> None:
    track = read(igc_text(head=(*HEAD, "HFALGALTGPS:GEO"), pressure_m=None))
    assert track.alt_datum == "altimeter"
    assert any("above the sea" in p.note for p in track.provenance)


def test_no_altitude_at_all() -> None:
    track = read(igc_text(pressure_m=None, gnss_m=None))
    assert np.isnan(track.alt_ft).all()
    assert "no altitude in the file" in track.notes


def test_more_decimals_of_the_position() -> None:
    same_flight(read(igc_text(decimals=5)), 0.5e-5 / 60 + 1e-12)


def test_the_other_halves_of_the_world() -> None:
    lines = [*HEAD]
    for i in range(5):
        lat, lon = angle(-33.5 - i / 100, 2, "NS")[0], angle(18.25 + i / 100, 3, "EW")[0]
        lines.append(f"B1520{i:02d}{lat}{lon}A0010000120")
    track = read("\n".join(lines))
    np.testing.assert_allclose(track.lat_deg, [-33.5 - i / 100 for i in range(5)])
    np.testing.assert_allclose(track.lon_deg, [18.25 + i / 100 for i in range(5)])


@pytest.mark.parametrize("dated_again", [False, True])
def test_a_flight_over_midnight(dated_again: bool) -> None:
    rows = flight(60, START.replace(hour=23, minute=59, second=30))
    text = igc_text(rows, events={40: ""})
    if dated_again:
        text = text.replace("B000000", "HFDTE040526\r\nB000000", 1)
    track = read(text)
    np.testing.assert_array_equal(track.epoch_s, [r.epoch_s for r in rows])
    assert [m.epoch_s for m in track.marks] == [rows[40].epoch_s]


def test_a_clock_that_stumbles_is_no_midnight() -> None:
    lines = igc_text().split("\r\n")
    lines.insert(40, fix(FLIGHT[0], pressure_m=1190, gnss_m=1260).replace("B152000", "B000000"))
    track = read("\r\n".join(lines))
    assert len(track) == len(FLIGHT) + 1
    assert np.median(track.epoch_s) == pytest.approx(np.median(EPOCH_S), abs=1.0)


def test_fixes_marked_v_are_used_and_counted() -> None:
    rows = [
        fix(r, pressure_m=1190, gnss_m=0 if i < 9 else 1260, validity="V" if i < 9 else "A")
        for i, r in enumerate(FLIGHT)
    ]
    track = read("\r\n".join([*HEAD, *rows]))
    same_flight(track)
    assert any("9 fixes are marked" in note for note in track.notes)
    np.testing.assert_allclose(track.alt_ft, 1190 / 0.3048)


@pytest.mark.parametrize("cut", [3, 10, 20])
def test_a_file_cut_short_keeps_what_is_whole(cut: int) -> None:
    rows = [fix(r, pressure_m=1190, gnss_m=1260) for r in FLIGHT]
    track = read("\r\n".join([*HEAD, *rows])[: -35 + cut])
    assert len(track) == len(FLIGHT) - 1


def test_lines_that_are_damaged_are_counted_and_the_rest_is_read() -> None:
    lines = igc_text().split("\r\n")
    at = next(i for i, line in enumerate(lines) if line.startswith("B"))
    lines[at + 3] = lines[at + 3].replace("N", "?")
    lines.insert(2, "LXXX B152000 in a comment, and a Latin-1 letter: \xe9")
    track = read("\r\n".join(lines))
    assert len(track) == len(FLIGHT) - 1
    assert any("cannot be read: 1 (first: line" in note for note in track.notes)


@pytest.mark.parametrize(("digits", "factor"), [(3, 1), (5, 100), (5, 1), (4, 10)])
def test_speeds_with_and_without_decimals(digits: int, factor: int) -> None:
    value = round(110 * 1.852 * factor)
    rows = [fix(r, pressure_m=1190, gnss_m=1260, more=f"{value:0{digits}d}") for r in FLIGHT]
    track = read("\r\n".join([*HEAD, f"I0136{35 + digits:02d}TAS", *rows]))
    np.testing.assert_allclose(track.channels["tas_kt"], 110.0, atol=0.4)


def test_a_speed_that_is_none_is_left_out_and_said() -> None:
    rows = [fix(r, pressure_m=1190, gnss_m=1260, more="009") for r in FLIGHT]
    track = read("\r\n".join([*HEAD, "I013638GSP", *rows]))
    assert not track.channels
    assert any("GSP" in note and "not used" in note for note in track.notes)


def test_parts_of_a_second() -> None:
    rows = [fix(r, pressure_m=1190, gnss_m=1260, more="250") for r in FLIGHT]
    track = read("\r\n".join([*HEAD, "I013638TDS", *rows]))
    np.testing.assert_allclose(track.epoch_s, EPOCH_S + 0.25)


UNDATED = tuple(line for line in HEAD if not line.startswith("HFDTE"))


@pytest.mark.parametrize(
    ("date", "said"), [((), "is missing"), (("HFDTE000000",), f"unreadable in line {len(UNDATED) + 1}")]
)
def test_a_file_without_a_date_is_refused_with_a_remedy_that_works(date: tuple[str, ...], said: str) -> None:
    head = (*UNDATED, *date)
    with pytest.raises(TrackFileError, match="an IGC file whose date") as refused:
        read(igc_text(head=head))
    assert said in str(refused.value)
    assert "HFDTE030526" in str(refused.value)
    same_flight(read(igc_text(head=(*head, "HFDTE030526"))))


def test_a_date_in_the_name_is_taken_and_said() -> None:
    track = read(igc_text(head=UNDATED), "2026-05-03-xxx-abc-01.igc")
    same_flight(track)
    assert any("2026-05-03 was taken from its name" in note for note in track.notes)


def test_a_table_under_a_title_is_no_igc_file() -> None:
    table = "AIRCRAFT LOG\nLATITUDE,LONGITUDE,TIME\n" + "".join(f"{r.lat},{r.lon},{r.time:%FT%TZ}\n" for r in FLIGHT)
    assert len(read(table, "a.csv")) == len(FLIGHT)


def test_a_file_without_fixes_is_refused() -> None:
    with pytest.raises(TrackFileError, match=r"an IGC file without fixes"):
        read("\r\n".join(HEAD))


def test_the_sheet_names_the_format() -> None:
    assert column_sheet(igc_text().encode(), name="a.igc").format == "an IGC file"
