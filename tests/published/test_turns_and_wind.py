"""Turn performance, the wind triangle and the rules of the hold against handbook numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.earth.turning import bank_for_rate_deg, rate_for_bank_deg_s, turn_radius_nm
from trackgrade.earth.units import FT_PER_NM
from trackgrade.hold.hold import Hold, Leg
from trackgrade.hold.planning import air_of, solve_lap
from trackgrade.hold.rules import next_outbound_equal_seconds_s, triple_drift_wca_deg
from trackgrade.hold.setup import default_leg


def hold(inbound_true_deg: float = 360.0, turns: str = "right", **leg: float) -> Hold:
    return Hold(
        name="test",
        fix_lat_deg=44.0,
        fix_lon_deg=-93.0,
        inbound_course_true_deg=inbound_true_deg,
        variation_deg=0.0,
        variation_source="given",
        turns=turns,  # type: ignore[arg-type]
        leg=Leg(**(leg or {"minutes": 1.0})),
    )


# --- Turns ------------------------------------------------------------------------------------------------------------


# FAA-H-8083-25 (PHAK, 2009) ch. 4, rate of turn: 1,091 tan(bank) / kt; 360 degrees takes 68.6 s and about 137 s.
@pytest.mark.parametrize(("tas", "rate", "circle_s"), [(120, 5.25, 68.6), (240, 2.63, 137.0)])
def test_rate_of_turn_at_thirty_degrees(tas: float, rate: float, circle_s: float) -> None:
    assert abs(rate_for_bank_deg_s(tas, 30.0) - rate) <= 0.0055
    assert abs(360.0 / rate_for_bank_deg_s(tas, 30.0) - circle_s) <= 0.5


# PHAK, radius of turn: V^2 / (11.26 tan bank) (its constant is rounded, by 0.3 %): feet.
@pytest.mark.parametrize(("tas", "feet"), [(120, 2215), (240, 8861)])
def test_radius_of_turn_at_thirty_degrees(tas: float, feet: float) -> None:
    radius_ft = turn_radius_nm(tas, rate_for_bank_deg_s(tas, 30.0)) * FT_PER_NM
    assert radius_ft == pytest.approx(feet, rel=0.0035)


# Aviation Formulary (E. Williams): 100 kt and 45 degrees: 891 ft, 10.9 deg/s; standard rate at 100 kt 15.4 degrees.
def test_aviation_formulary() -> None:
    rate = rate_for_bank_deg_s(100.0, 45.0)
    assert abs(rate - 10.9) <= 0.05
    # Its constant, 11.23, is rounded down by 0.6 %: with the exact one the radius is 885 ft.
    assert turn_radius_nm(100.0, rate) * FT_PER_NM == pytest.approx(891.0, rel=0.0065)
    assert abs(bank_for_rate_deg(100.0, 3.0) - 15.4) <= 0.05


# Common practice: 25 degrees of bank give less than standard rate above about 170 kt TAS.
def test_where_standard_rate_ends() -> None:
    assert bank_for_rate_deg(169.0, 3.0) < 25.0 < bank_for_rate_deg(172.0, 3.0)


# Arithmetic: V / (60 pi) NM at 3 degrees a second.
@pytest.mark.parametrize(("tas", "radius"), [(90, 0.477), (120, 0.637), (180, 0.955)])
def test_radius_at_standard_rate(tas: float, radius: float) -> None:
    assert abs(turn_radius_nm(tas, 3.0) - radius) <= 0.0005
    assert turn_radius_nm(tas, 3.0) == pytest.approx(tas / (60.0 * math.pi))


def test_procedure_designs_turn() -> None:
    """ICAO Doc 8168 Vol II, Table I-4-3-App C-1: 157.23 kt, 25 degrees of bank is 3.24 deg/s, held to 3; r 0.83 NM."""
    tas = 157.23
    assert abs(rate_for_bank_deg_s(tas, 25.0) - 3.24) <= 0.005
    lap = solve_lap(hold(), tas, 0.0, 0.0, bank_limit_deg=25.0)
    assert lap.turn_rate_deg_s == pytest.approx(3.0)
    # The table prints 0.83, from V / (62.83 R), which is rounded down: V / (20 pi R) is 0.834.
    assert abs(lap.turn_radius_nm - 0.83) <= 0.005


def test_bank_limit_binds_for_the_fast() -> None:
    """PHAK: at 240 kt 30 degrees of bank gives 2.63 deg/s, so the turn is flown at that, not at 3."""
    assert abs(solve_lap(hold(), 240.0, 0.0, 0.0, bank_limit_deg=30.0).turn_rate_deg_s - 2.63) <= 0.0055


# --- The wind triangle ------------------------------------------------------------------------------------------------


def test_phak_wind_triangle() -> None:
    """PHAK, navigation chapter: course 090, TAS 120, wind 045 at 40: 14 left, heading 076, ground speed 88."""
    lap = solve_lap(hold(90.0), 120.0, 45.0, 40.0)
    assert round(lap.inbound_wca_deg) == -14
    assert round(lap.inbound_heading_true_deg) == 76
    assert round(lap.inbound_gs_kt) == 88


def test_flight_computer_manual() -> None:
    """Smithsonian NASM computer manual, example 16: course 094, TAS 165, GS 146, crab 10 right: wind 154 at 34."""
    lap = solve_lap(hold(94.0), 165.0, 154.0, 34.0)
    assert abs(lap.inbound_wca_deg - 10.0) <= 0.5
    assert abs(lap.inbound_gs_kt - 146.0) <= 1.0  # read off a dial


# Heading and airspeed to course and ground speed: Mathematics for Air Crew Trainees; RA-Aus navigation tutorial.
@pytest.mark.parametrize(
    ("heading", "tas", "wind_from", "wind", "course", "speed", "within"),
    [(315, 150, 45, 30, 304, 153, 0.5), (45, 75, 135, 20, 30, 77.6, 0.5)],
)
def test_heading_to_course(
    heading: float, tas: float, wind_from: float, wind: float, course: float, speed: float, within: float
) -> None:
    along, cross = air_of(hold(360.0), tas, wind_from, wind).velocity(math.radians(heading))
    assert abs(wrap180(math.degrees(math.atan2(cross, along)) - course)) <= within
    assert abs(math.hypot(along, cross) * 3600.0 - speed) <= within


# --- The rules of the hold --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("turns", ["right", "left"])
def test_four_minute_lap(turns: str) -> None:
    """No wind, one-minute legs, standard rate: one minute outbound from abeam, four minutes a lap (arithmetic)."""
    lap = solve_lap(hold(143.0, turns), 100.0, 0.0, 0.0, roll_s=0.0, short_of_course_nm=0.0)
    assert lap.feasible
    assert lap.lap_s == pytest.approx(240.0, abs=1e-9)
    assert lap.outbound_s == pytest.approx(60.0, abs=1e-9)
    assert lap.outbound_heading_true_deg == pytest.approx(323.0)
    assert (lap.abeam_s, lap.rollout_s) == pytest.approx((60.0, 180.0))
    # Abeam and roll-out: one turn diameter to the side.
    assert np.interp(lap.abeam_s, lap.path_s, lap.path_cross_nm) == pytest.approx(2 * lap.turn_radius_nm)


# AIM 5-3-8: 8 degrees left inbound, 24 right outbound. CNATRA P-871: 5 right inbound on 360 gives outbound 165; on an
# outbound 090 with wind from the north, 075. Two more pages: 10 inbound, 30 outbound.
@pytest.mark.parametrize(
    ("inbound_course", "inbound_wca", "outbound_heading"), [(360, -8, 204), (360, 5, 165), (270, 5, 75), (90, 10, 240)]
)
def test_triple_drift(inbound_course: float, inbound_wca: float, outbound_heading: float) -> None:
    assert wrap360(inbound_course + 180.0 + triple_drift_wca_deg(inbound_wca)) == outbound_heading


# CNATRA P-871: inbound took 50 s where 60 was wanted: next outbound 70 s. P-801: 90 s inbound: 30 s less. Common
# practice: 1:45 inbound, 15 s outbound.
@pytest.mark.parametrize(("outbound", "inbound", "next_outbound"), [(60, 50, 70), (60, 90, 30), (60, 105, 15)])
def test_equal_seconds(outbound: float, inbound: float, next_outbound: float) -> None:
    assert next_outbound_equal_seconds_s(outbound, inbound, 60.0) == next_outbound


def test_equal_seconds_never_asks_for_less_than_nothing() -> None:
    assert next_outbound_equal_seconds_s(60.0, 150.0, 60.0) == 0.0


# AIM 5-3-8 and ICAO Doc 8168: 1 min at or below 14,000 ft, 1.5 min above.
@pytest.mark.parametrize(
    ("altitude_ft", "minutes"), [(None, 1.0), (0.0, 1.0), (14000.0, 1.0), (14001.0, 1.5), (30000.0, 1.5)]
)
def test_leg_by_altitude(altitude_ft: float | None, minutes: float) -> None:
    assert default_leg(altitude_ft).minutes == minutes


def test_largest_drift() -> None:
    """Common practice (one in sixty): the largest drift is about 60 times wind over airspeed, in degrees."""
    lap = solve_lap(hold(360.0), 100.0, 90.0, 15.0)
    assert lap.inbound_wca_deg == pytest.approx(60.0 * 15.0 / 100.0, rel=0.05)
