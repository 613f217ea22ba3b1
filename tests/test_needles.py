"""Both needles on legs whose deflection is arithmetic; the published scales; where one passes and the other fails."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests import arithmetic_hold as arithmetic
from trackgrade.earth.geodesy import azimuth_distance
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Guidance, Hold, Station
from trackgrade.score.lap import NeedleReading
from trackgrade.score.needles import (
    STATION_PASSAGE_NM,
    Needle,
    inbound_leg,
    needle_contrast,
    needles_of,
    read_needle,
    read_second_needle,
    show,
)
from trackgrade.segment.flown import Lap
from trackgrade.segment.measured import Measured
from trackgrade.segment.path import Samples

#: The plane about the fix is flat, the VOR bearings are geodesic; over 10 NM they differ by less than this.
FLAT_EARTH = 2e-3


def _offset(cross_nm: float, straight_s: float = 120.0) -> Measured:
    """One lap whose inbound leg runs parallel to the course, on the holding side by ``cross_nm``."""
    return arithmetic.fly(
        arithmetic.Plan(straights_s=(straight_s,), inbound_cross_nm=lambda t: np.full_like(t, cross_nm))
    )


def _own(hold: Hold) -> Needle:
    (needle,) = (needle for needle in needles_of(hold) if needle.own)
    return needle


def _reading(needle: Needle, lap: Lap, samples: Samples) -> NeedleReading:
    own = show(_own(needle.hold), samples)
    return read_needle(show(needle, samples), inbound_leg(own, lap, samples), samples)


def _read(flight: Measured, label: str, hold: Hold = arithmetic.HOLD) -> NeedleReading:
    (lap,) = flight.flown.laps
    # Read as an overshoot is, from the inbound start on: an offset is no capture.
    lap = replace(lap, inbound_start_by="course")
    (needle,) = (needle for needle in needles_of(hold) if label in needle.label)
    return _reading(needle, lap, flight.samples)


@pytest.mark.parametrize(
    ("label", "full_scale_nm"),
    [
        ("terminal", 1.0),  # AIM 1-1-17: 1 NM within 30 NM
        ("approach", 0.3),  # AIM 1-1-17: 0.3 NM
        ("en route", 2.0),  # 2 NM with an augmented receiver (secondary source)
    ],
)
def test_linear_needle_is_distance_over_full_scale(label: str, full_scale_nm: float) -> None:
    reading = _read(_offset(0.15), label)
    assert reading.largest == pytest.approx(0.15 / full_scale_nm)
    assert reading.typical == pytest.approx(0.15 / full_scale_nm)
    assert reading.side == "right"  # right turns hold on the right of the inbound course


@pytest.mark.parametrize("cross_nm", [0.1, -0.1])
def test_angular_needle_is_the_angle_at_the_station(cross_nm: float) -> None:
    """A VOR at the fix: deflection is atan(cross / distance) over 10 degrees, read up to half a mile."""
    reading = _read(_offset(cross_nm), "VOR")
    along = math.sqrt(STATION_PASSAGE_NM**2 - cross_nm**2)
    expected = math.degrees(math.atan2(abs(cross_nm), along)) / 10.0
    one_sample = (
        math.degrees(cross_nm**2 / STATION_PASSAGE_NM**2) / 10.0 + 0.02
    )  # the last sample lies up to 1 s before
    assert reading.largest == pytest.approx(expected, abs=one_sample + 0.05)
    assert reading.side == ("right" if cross_nm > 0.0 else "left")


def test_the_needle_is_left_alone_over_the_station() -> None:
    flight = _offset(0.05)
    reading = _read(flight, "VOR")
    at_end = flight.samples.along_nm[np.searchsorted(flight.samples.epoch_s, reading.to_epoch_s)]
    assert abs(at_end) >= STATION_PASSAGE_NM - 0.03


def test_a_practice_station_beyond_the_fix_reads_the_angle_there() -> None:
    """A station 5 NM beyond the fix: at the fix, 0.25 NM off is atan(0.25 / 5) = 2.86 degrees."""
    course = math.radians(arithmetic.HOLD.inbound_course_true_deg)
    station = Guidance(
        station_lat_deg=44.0 + 5.0 * math.cos(course) / 60.0,
        station_lon_deg=-93.0 + 5.0 * math.sin(course) / (60.0 * math.cos(math.radians(44.0))),
        station_place="beyond",
    )
    hold = replace(arithmetic.HOLD, guidance=station)
    assert any(needle.label.startswith("practice VOR,") for needle in needles_of(hold))
    flight = _offset(0.25)
    reading = _read(flight, "VOR", hold)
    assert reading.largest == pytest.approx(math.degrees(math.atan2(0.25, 5.0)) / 10.0, abs=0.02)


def test_the_same_flying_passes_on_one_needle_and_fails_on_another() -> None:
    """0.12 NM off a mile out: 0.12 of a terminal scale, 0.4 of an approach scale; at half a mile 14 degrees of a
    VOR."""
    flight = _offset(0.12)
    (lap,) = (replace(lap, inbound_start_by="course") for lap in flight.flown.laps)
    readings = [_reading(needle, lap, flight.samples) for needle in needles_of(arithmetic.HOLD)]
    contrast = needle_contrast(readings, 0.75)
    assert contrast is not None
    assert any("terminal" in label for label in contrast.passes)
    assert any("VOR" in label for label in contrast.fails)


def test_share_of_time_within_half_and_three_quarters() -> None:
    """Cross grows evenly from 0 to 1 NM: half the time within half scale, three quarters within three quarters."""
    flight = arithmetic.fly(
        arithmetic.Plan(straights_s=(100.0,), inbound_cross_nm=lambda t: np.clip((t - 220.0) / 100.0, 0.0, 1.0))
    )
    reading = _read(flight, "terminal")
    assert reading.share_within_half == pytest.approx(0.5, abs=0.02)
    assert reading.share_within_three_quarters == pytest.approx(0.75, abs=0.02)
    assert reading.largest == pytest.approx(1.0, abs=0.02)


def test_after_a_roll_out_the_needle_counts_from_its_capture() -> None:
    """Rolled out 0.9 NM short and closing: the intercept is not read, the course held after it is."""
    flight = arithmetic.fly(
        arithmetic.Plan(straights_s=(100.0,), inbound_cross_nm=lambda t: np.clip(0.9 - (t - 220.0) / 30.0, 0.0, 0.9))
    )
    (lap,) = flight.flown.laps
    needle = _own(arithmetic.HOLD)
    reading = _reading(needle, lap, flight.samples)
    assert reading.largest is not None
    assert reading.largest <= 0.5
    never = arithmetic.fly(arithmetic.Plan(straights_s=(100.0,), inbound_cross_nm=lambda t: np.full_like(t, 0.9)))
    (lap,) = never.flown.laps
    assert _reading(needle, lap, never.samples).largest == pytest.approx(0.9)


def test_the_holds_own_needle_is_marked() -> None:
    assert _own(arithmetic.HOLD).label.startswith("GPS 1 NM")
    odd = replace(arithmetic.HOLD, guidance=Guidance(kind="gps", full_scale_nm=0.5))
    assert _own(odd).full_scale == 0.5
    assert sum(needle.own for needle in needles_of(odd)) == 1
    vor = replace(arithmetic.HOLD, guidance=Guidance(kind="vor", station_lat_deg=44.0, station_lon_deg=-93.0))
    assert _own(vor).kind == "vor"


def test_left_turns_hold_on_the_left() -> None:
    hold = replace(arithmetic.HOLD, turns="left")
    flight = arithmetic.fly(
        arithmetic.Plan(straights_s=(120.0,), inbound_cross_nm=lambda t: np.full_like(t, 0.2)), hold
    )
    reading = _read(flight, "terminal", hold)
    assert reading.side == "left"


@pytest.mark.parametrize("off_nm", [0.0, 0.2])
def test_the_second_needle_centres_where_its_radial_is_crossed(off_nm: float) -> None:
    """A radial at 45 degrees to the course, met ``off_nm`` to the non-holding side, comes in that much before the fix.

    The turn begins at the fix, so it comes as many seconds after the needle as that distance takes.
    """
    lat, lon = HoldFrame(arithmetic.HOLD).to_geographic(np.array([-15.0]), np.array([-15.0]))
    radial, _ = azimuth_distance(lat[0], lon[0], arithmetic.HOLD.fix_lat_deg, arithmetic.HOLD.fix_lon_deg)
    hold = replace(arithmetic.HOLD, cross_station=Station(float(lat[0]), float(lon[0]), float(radial) - 3.0, 3.0))
    flight = arithmetic.fly(arithmetic.Plan(inbound_cross_nm=lambda t: np.full_like(t, -off_nm)))
    first, second, _ = flight.flown.laps
    read = read_second_needle(hold, second, flight.samples)
    assert read is not None
    assert read.turn_after_s.value == pytest.approx(off_nm / arithmetic.TAS_KT * 3600.0, abs=1.0)
    assert read_second_needle(arithmetic.HOLD, first, flight.samples) is None
