"""Sentences of receivers: read to the flight, against a parser of other authors, whatever loggers write around them."""

from __future__ import annotations

import numpy as np
import pynmea2
import pytest

from tests.awkward.flight import ALT_FT, EPOCH_S, FLIGHT, LAT_DEG, LON_DEG, START, flight
from tests.awkward.receiver import gga, nmea_text, rmc, sentence
from trackgrade.errors import TrackFileError
from trackgrade.track.readers import read_track
from trackgrade.track.track import Track

#: A millionth of a minute, and the rounding of the flight's own seven decimals.
A_MILLIONTH_OF_A_MINUTE_DEG = 1e-6 / 60


def read(text: str | bytes, name: str = "flight.nmea") -> Track:
    return read_track(text if isinstance(text, bytes) else text.encode("latin-1"), name=name)


def same_flight(track: Track) -> None:
    np.testing.assert_array_equal(track.epoch_s, EPOCH_S)
    np.testing.assert_allclose(track.lat_deg, LAT_DEG, rtol=0, atol=A_MILLIONTH_OF_A_MINUTE_DEG)
    np.testing.assert_allclose(track.lon_deg, LON_DEG, rtol=0, atol=A_MILLIONTH_OF_A_MINUTE_DEG)


@pytest.mark.parametrize("talker", ["GP", "GN", "GL", "II", "QZ"])
@pytest.mark.parametrize("before", ["", "2026-05-03T15:20:00.123 ", "[00012345] ", "NMEA,", "\\s:rx1*5A\\"])
def test_any_talker_and_what_loggers_write_before(talker: str, before: str) -> None:
    track = read("# a log made here\n; receiver: none\n\n" + nmea_text(talker=talker, before=before))
    same_flight(track)
    np.testing.assert_allclose(track.alt_ft, ALT_FT, atol=0.01)
    np.testing.assert_allclose(track.channels["groundspeed_kt"], 110.0)
    np.testing.assert_allclose(track.channels["track_true_deg"], [r.course_deg for r in FLIGHT], atol=0.05)


def test_against_a_parser_of_other_authors() -> None:
    """pynmea2, a general library: the positions, times and heights of its sentences are ours."""
    text = nmea_text()
    track = read(text)
    parsed = [pynmea2.parse(line, check=True) for line in text.split()]
    fixes = [each for each in parsed if each.sentence_type == "RMC"]
    heights = [each.altitude / 0.3048 for each in parsed if each.sentence_type == "GGA"]
    np.testing.assert_array_equal(track.epoch_s, [each.datetime.timestamp() for each in fixes])
    np.testing.assert_allclose(track.lat_deg, [each.latitude for each in fixes], rtol=0, atol=1e-12)
    np.testing.assert_allclose(track.lon_deg, [each.longitude for each in fixes], rtol=0, atol=1e-12)
    np.testing.assert_allclose(track.alt_ft, heights, rtol=0, atol=1e-9)


def test_a_wrong_checksum_is_left_out_and_counted() -> None:
    lines = nmea_text().split("\r\n")
    at = next(i for i, line in enumerate(lines) if "RMC,152030" in line)
    lines[at] = lines[at].replace("RMC,152030.00,A,4", "RMC,152030.00,A,5")
    track = read("\r\n".join(lines))
    assert any("checksum is wrong were left out: 1" in note for note in track.notes)
    assert track.lat_deg.max() < 45


def test_sentences_without_a_checksum_are_read() -> None:
    same_flight(read("\n".join(line.split("*")[0] for line in nmea_text().split())))


def test_a_flight_over_midnight() -> None:
    rows = flight(60, START.replace(hour=23, minute=59, second=30))
    track = read(nmea_text(rows))
    np.testing.assert_array_equal(track.epoch_s, [r.epoch_s for r in rows])
    np.testing.assert_allclose(track.alt_ft, [r.alt_ft for r in rows], atol=0.01)
    undated = "\n".join(gga(r) for r in rows)
    track = read("$GPZDA,,03,05,2026\n" + undated)
    np.testing.assert_array_equal(track.epoch_s, [r.epoch_s for r in rows])


def test_the_date_may_come_after_midnight_and_late() -> None:
    rows = flight(60, START.replace(hour=23, minute=59, second=30))
    lines = [*(gga(r) for r in rows[:40]), rmc(rows[40]), *(gga(r) for r in rows[40:])]
    np.testing.assert_array_equal(read("\n".join(lines)).epoch_s, [r.epoch_s for r in rows])


def test_positions_come_from_the_sentence_that_gives_most() -> None:
    lines = [line for i, r in enumerate(FLIGHT) for line in ([rmc(r), gga(r)] if i % 5 == 0 else [gga(r)])]
    track = read("\n".join(lines))
    same_flight(track)
    assert np.isfinite(track.channels["groundspeed_kt"]).sum() == len(FLIGHT) / 5


def test_rmc_alone_has_no_altitude() -> None:
    track = read("\n".join(rmc(r) for r in FLIGHT))
    same_flight(track)
    assert np.isnan(track.alt_ft).all()
    assert "no altitude in the file" in track.notes


def test_headings_where_they_are_spoken() -> None:
    lines = []
    for r in FLIGHT:
        lines += [
            rmc(r),
            sentence(f"HEHDT,{r.course_deg:.1f},T"),
            sentence(f"VWVHW,,T,{(r.course_deg - 2) % 360:.1f},M,,N,,K"),
        ]
    track = read("\n".join(lines))
    np.testing.assert_allclose(track.channels["heading_true_deg"], [r.course_deg for r in FLIGHT], atol=0.05)
    np.testing.assert_allclose(track.channels["heading_mag_deg"], [(r.course_deg - 2) % 360 for r in FLIGHT], atol=0.05)


def test_sentences_without_a_fix_are_left_out() -> None:
    lines = [rmc(r, status="V") for r in FLIGHT[:5]] + [gga(r, quality=0) for r in FLIGHT[:5]]
    lines += [rmc(r) for r in FLIGHT[5:]]
    track = read("\n".join(lines))
    assert len(track) == len(FLIGHT) - 5
    assert any("without a fix were left out: 10" in note for note in track.notes)


def test_a_log_that_never_vouches_for_its_position_is_read_and_that_is_said() -> None:
    track = read("\n".join(rmc(r, status="V") for r in FLIGHT))
    same_flight(track)
    assert any("no sentence vouches" in note for note in track.notes)


def test_two_receivers_in_one_log_are_not_mixed() -> None:
    away = [rmc(r, "GL").replace("4400", "4500") for r in FLIGHT[:30]]
    same_flight(read("\n".join([*away, nmea_text()])))


def test_a_log_without_a_date_is_refused_with_a_remedy_that_works() -> None:
    undated = "\n".join(gga(r) for r in FLIGHT)
    with pytest.raises(TrackFileError, match="an NMEA log without a date") as refused:
        read(undated)
    remedy = str(refused.value).rpartition("such as ")[2]
    same_flight(read(f"{remedy}\n{undated}"))
    same_flight(read(undated, "log_20260503_1520.txt"))


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("$GPRMC,152000.00,V,,,,,,,030526,,,N", "no fix"),
        ("$GPGSA,A,3,01,02,03,,,,,,,,,,1.8,1.0,1.5", "neither RMC nor GGA"),
        (rmc(FLIGHT[0])[:-2] + "00", "checksum of every sentence is wrong"),
    ],
)
def test_a_log_without_positions_is_refused_and_told_why(lines: str, said: str) -> None:
    with pytest.raises(TrackFileError, match="an NMEA log without a position") as refused:
        read(lines + "\n")
    assert said in str(refused.value)
