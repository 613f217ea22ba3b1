"""The simulator against physics that is not of our making, and its truth against the definitions."""

from __future__ import annotations

from math import atan, degrees, hypot, pi, radians, tan

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from trackgrade.hold.hold import Hold, Leg
from trackgrade.simulator import Air, Aircraft, Pilot, Scenario, Sensor, fly
from trackgrade.simulator.atmosphere import cas_kt, tas_kt
from trackgrade.simulator.kinematics import Frame, Motion, Script, State, run
from trackgrade.simulator.recorder import to_geographic

STILL = Air(wind_kt=0.0, change_kt=0.0, gust_kt=0.0)
STEADY = Pilot(
    wind_error_kt=0.0, heading_sd_deg=0.0, bank_sd_deg=0.0, tas_sd_kt=0.0, altitude_sd_ft=0.0, reaction_s=0.0
)
FT_PER_NM = 1852.0 / 0.3048


def hold(**changes: object) -> Hold:
    given: dict[str, object] = {
        "name": "T",
        "fix_lat_deg": 44.0,
        "fix_lon_deg": -93.0,
        "inbound_course_true_deg": 143.0,
        "variation_deg": 0.0,
        "variation_source": "given",
        "turns": "right",
        "leg": Leg(minutes=1.0),
    }
    return Hold(**{**given, **changes})  # type: ignore[arg-type]


def steady_turn(tas: float, bank_deg: float, air: Air = STILL) -> Motion:
    """A steady turn of two minutes, after the roll-in."""
    s = State(0.0, 0.0, 0.0, tas, 4000.0, Frame(0.0, 0.0, 0.0, 1))

    def script() -> Script:
        while s.t < 130.0:
            yield radians(bank_deg)

    return run(script(), s, air, Aircraft(tas_kt=tas), STEADY, np.random.default_rng(1), 200.0)


def radius_nm(motion: Motion) -> float:
    """Radius of the circle through the last 100 s, by least squares."""
    late = motion.t_s > 30.0
    x, y = motion.east_nm[late], motion.north_nm[late]
    a = np.column_stack([2 * x, 2 * y, np.ones_like(x)])
    cx, cy, c = np.linalg.lstsq(a, x**2 + y**2, rcond=None)[0]
    return float(np.sqrt(c + cx**2 + cy**2))


@pytest.mark.parametrize(("tas", "nm"), [(90, 0.477), (120, 0.637), (180, 0.955)])
def test_radius_at_standard_rate_is_speed_over_60_pi(tas: float, nm: float) -> None:
    # Arithmetic: three degrees a second go around in two minutes, so 2 pi r = V / 30.
    bank = degrees(atan(tas / 3600.0 * radians(3.0) / (9.80665 / 1852.0)))
    assert radius_nm(steady_turn(tas, bank)) == pytest.approx(nm, abs=0.001)


@pytest.mark.parametrize(("tas", "rate_deg_s", "radius_ft"), [(120, 5.25, 2215), (240, 2.62, 8861)])
def test_rate_and_radius_at_30_degrees_of_bank(tas: float, rate_deg_s: float, radius_ft: float) -> None:
    # PHAK (FAA-H-8083-25) chapter 5, from memory: rate 1,091 tan(bank)/V, radius V^2 / (11.26 tan bank).
    # Its constants are rounded by up to 0.3 %: exactly they are 1,092.2 and 11.294.
    motion = steady_turn(tas, 30.0)
    assert degrees(motion.rate_rad_s[-1]) == pytest.approx(rate_deg_s, rel=0.003)
    assert degrees(motion.rate_rad_s[-1]) == pytest.approx(1091 * tan(radians(30)) / tas, rel=0.002)
    assert radius_nm(motion) * FT_PER_NM == pytest.approx(radius_ft, rel=0.0035)


def test_wind_carries_the_circle() -> None:
    # In a steady wind a circle in the air drifts by wind times time: the hodograph is a circle about the wind.
    motion = steady_turn(100.0, 20.0, Air(wind_from_true_deg=270.0, wind_kt=24.0, change_kt=0.0, gust_kt=0.0))
    period = 2 * pi / motion.rate_rad_s[-1]
    i = round(30.0 / 0.05)
    j = i + round(period / 0.05)
    assert motion.east_nm[j] - motion.east_nm[i] == pytest.approx(24.0 * period / 3600.0, abs=0.003)
    assert motion.north_nm[j] - motion.north_nm[i] == pytest.approx(0.0, abs=0.003)


def test_wind_triangle() -> None:
    # Arithmetic: heading north at 100 kt, wind from 090 at 20 kt: drift atan(20/100) left, ground speed 101.98 kt.
    s = State(0.0, 0.0, 0.0, 100.0, 4000.0, Frame(0.0, 0.0, 0.0, 1))

    def straight() -> Script:
        while s.t < 60.0:
            yield 0.0

    air = Air(wind_from_true_deg=90.0, wind_kt=20.0, change_kt=0.0, gust_kt=0.0)
    m = run(straight(), s, air, Aircraft(), STEADY, np.random.default_rng(1), 100.0)
    east, north = m.east_nm[-1] - m.east_nm[0], m.north_nm[-1] - m.north_nm[0]
    seconds = m.t_s[-1] - m.t_s[0]
    assert degrees(atan(east / north)) == pytest.approx(-11.31, abs=0.01)
    assert hypot(east, north) / seconds * 3600.0 == pytest.approx(101.98, abs=0.02)


def test_a_lap_of_one_minute_legs_in_still_air_takes_four_minutes() -> None:
    # Two turns of 180 degrees at 3 degrees a second, two legs of a minute (arithmetic). The rolls add their half.
    scenario = Scenario(air=STILL, aircraft=Aircraft(roll_s=3.0), pilot=STEADY, laps=3, entry="teardrop")
    laps = fly(hold(), scenario, 1).truth.laps
    for lap in laps[1:]:
        assert lap.end is not None
        assert lap.end - lap.start == pytest.approx(240.0, abs=8.0)
        assert lap.inbound_s == pytest.approx(60.0, abs=4.0)


def test_a_wind_along_the_course_is_flown_out_by_the_outbound_time() -> None:
    # AIM 5-3-8: the inbound leg is the one that must last a minute; against the wind inbound, outbound is shorter.
    def outbound(wind_from: float) -> float:
        air = Air(wind_from_true_deg=wind_from, wind_kt=20.0, change_kt=0.0, gust_kt=0.0)
        lap = fly(hold(), Scenario(air=air, pilot=STEADY, entry="teardrop"), 1).truth.laps[-1]
        assert lap.inbound_s == pytest.approx(60.0, abs=5.0)
        assert lap.outbound_s is not None
        return lap.outbound_s

    assert outbound(143.0) < 45.0  # headwind inbound
    assert outbound(38.0) > 75.0


@pytest.mark.parametrize(("lat", "lon"), [(44.0, -93.0), (85.0, 179.99), (-71.0, -179.995), (0.01, 0.0)])
def test_positions_lie_at_their_geodesic_distance_and_azimuth(lat: float, lon: float) -> None:
    # Against GeographicLib (Karney 2013), anywhere: near the pole, across the 180 degree meridian and the equator.
    east, north = np.array([3.0, -8.0, 0.2, 0.0]), np.array([4.0, 1.5, -0.1, -6.0])
    lats, lons = to_geographic(hold(fix_lat_deg=lat, fix_lon_deg=lon), east, north)
    assert np.all(np.abs(lons) <= 180.0)
    for e, n, la, lo in zip(east, north, lats, lons):
        back = Geodesic.WGS84.Inverse(lat, lon, float(la), float(lo))
        assert back["s12"] / 1852.0 == pytest.approx(float(np.hypot(e, n)), abs=1e-6)
        off = (back["azi1"] - degrees(np.arctan2(e, n)) + 180.0) % 360.0 - 180.0
        assert off == pytest.approx(0.0, abs=1e-6)


def test_airspeeds_agree_with_the_standard_atmosphere() -> None:
    # ambiance: an independent ICAO standard atmosphere. Impact pressure is what both airspeeds share.
    from ambiance import Atmosphere

    for altitude_ft in (0.0, 5000.0, 18000.0):
        air = Atmosphere(altitude_ft * 0.3048)
        pressure, sound = float(air.pressure[0]), float(air.speed_of_sound[0])
        for cas in (90.0, 200.0, 265.0):
            tas = tas_kt(cas, altitude_ft) * 1852.0 / 3600.0
            impact = pressure * ((1 + 0.2 * (tas / sound) ** 2) ** 3.5 - 1)
            sea = 101325.0 * ((1 + 0.2 * (cas * 1852.0 / 3600.0 / 340.294) ** 2) ** 3.5 - 1)
            assert impact == pytest.approx(sea, rel=2e-3)
            assert cas_kt(tas_kt(cas, altitude_ft), altitude_ft) == pytest.approx(cas, abs=1e-6)


@pytest.mark.parametrize("turns", ["right", "left"])
@pytest.mark.parametrize("entry", ["direct", "teardrop", "parallel"])
def test_truth_is_what_the_definitions_say(turns: str, entry: str) -> None:
    flight = fly(hold(turns=turns), Scenario(entry=entry), 3)  # type: ignore[arg-type]
    m, course = flight.motion, radians(143.0)
    side = 1.0 if turns == "right" else -1.0
    along = m.east_nm * np.sin(course) + m.north_nm * np.cos(course)
    cross = side * (m.east_nm * np.cos(course) - m.north_nm * np.sin(course))
    rate = side * np.degrees(m.rate_rad_s)

    def at(values: np.ndarray, t: float | None) -> float:
        assert t is not None
        return float(np.interp(t - flight.scenario.start_epoch_s, m.t_s, values))

    (visit,) = flight.truth.visits
    assert visit.entry.flown == entry
    assert entry in visit.entry.expected
    assert len(visit.laps) == 3
    for lap in visit.laps:
        assert lap.end is not None
        assert lap.abeam is not None
        assert lap.outbound_end is not None
        for passage in [lap.end] if lap.number == 1 and entry == "direct" else [lap.start, lap.end]:
            assert at(along, passage - 0.1) < 0.0 < at(along, passage + 0.1)
        assert at(along, lap.abeam - 0.1) > 0.0 > at(along, lap.abeam + 0.1)
        assert at(cross, lap.abeam) > 0.3
        for edge, rising in (
            (lap.outbound_turn_start, True),
            (lap.outbound_turn_end, False),
            (lap.outbound_end, True),
            (lap.inbound_turn_end, False),
        ):
            # A quarter of standard rate; of the turn's own steady rate where the pilot turned slower than that.
            assert 0.55 < at(rate, edge) < 0.76
            assert edge is not None
            assert (at(rate, edge + 0.3) > at(rate, edge - 0.3)) is rising
        assert lap.inbound_start == min(t for t in (lap.course_crossed, lap.inbound_turn_end) if t is not None)
        assert lap.start < lap.outbound_end < (lap.inbound_start or 0.0) < lap.end


def test_turns_slower_than_standard_rate_end_at_a_quarter_of_their_own() -> None:
    fast = Aircraft(tas_kt=270.0, bank_limit_deg=25.0, altitude_ft=15000.0)
    flight = fly(hold(), Scenario(aircraft=fast, laps=2, entry="teardrop", pilot=STEADY, air=STILL), 1)
    own = degrees(9.80665 / 1852.0 * tan(radians(25.0)) / (270.0 / 3600.0))  # 1.9 degrees a second
    for lap in flight.truth.laps:
        assert lap.outbound_end is not None
        t = lap.outbound_end - flight.scenario.start_epoch_s
        rate = float(np.interp(t, flight.motion.t_s, np.degrees(flight.motion.rate_rad_s)))
        assert rate == pytest.approx(own / 4.0, abs=0.02)


def test_same_seed_same_flight_and_another_seed_another() -> None:
    one, same, other = (fly(hold(), Scenario(laps=1, entry="direct"), seed) for seed in (7, 7, 8))
    assert one.truth == same.truth
    assert np.array_equal(one.recording.lat_deg, same.recording.lat_deg)
    assert not np.array_equal(one.recording.lat_deg[:500], other.recording.lat_deg[:500])


def test_wind_of_the_truth_is_the_wind_that_blew() -> None:
    air = Air(wind_from_true_deg=120.0, wind_kt=22.0, change_kt=1.5, gust_kt=1.0)
    flight = fly(hold(), Scenario(air=air, sensor=Sensor(noise_m=0.0)), 5)
    (visit,) = flight.truth.visits
    m = flight.motion
    end = visit.laps[-1].end
    assert end is not None
    t0 = flight.scenario.start_epoch_s
    during = (m.t_s >= visit.entry.arrival - t0) & (m.t_s <= end - t0)
    # From positions and headings alone: what is left of the displacement when the air path is taken away.
    air_east = np.sum(m.tas_kt[during] * np.sin(m.heading_rad[during])) * 0.05 / 3600.0
    ground_east = m.east_nm[during][-1] - m.east_nm[during][0]
    told = -visit.wind_kt * np.sin(radians(visit.wind_from_true_deg))
    assert (ground_east - air_east) / (np.sum(during) * 0.05) * 3600.0 == pytest.approx(told, abs=0.3)
