"""Destinations and crossings of radials against GeographicLib (C. F. F. Karney, Algorithms for geodesics, 2013).

pyproj's geodesics are by the same author and method, so this proves our argument order, units and signs, and our
own solution of the crossing; the mathematics is proved by the printed values at the end.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from trackgrade.earth.angles import wrap180
from trackgrade.earth.geodesy import LocalPlane, azimuth_distance, destination, near_east_north_m
from trackgrade.earth.radials import NoCrossing, cross_radials

WGS84 = Geodesic.WGS84
ONE_MILLIMETRE_NM = 0.001 / 1852.0

STATIONS = [(44.0, -93.0), (-33.9, 18.4), (61.2, 179.9), (-0.1, -78.5), (79.5, 15.0), (-45.0, -179.95)]


@pytest.mark.parametrize("station", STATIONS)
@pytest.mark.parametrize("azimuth", [0.0, 38.0, 137.5, 216.0, 301.0])
@pytest.mark.parametrize("distance_nm", [0.5, 12.0, 110.0])
def test_radial_and_distance(station: tuple[float, float], azimuth: float, distance_nm: float) -> None:
    lat, lon = (float(v) for v in destination(*station, azimuth, distance_nm))
    expected = WGS84.Direct(*station, azimuth, distance_nm * 1852.0)
    off = WGS84.Inverse(lat, lon, expected["lat2"], expected["lon2"])["s12"]
    assert off < 0.001
    back_deg, back_nm = (float(v) for v in azimuth_distance(*station, lat, lon))
    assert abs(back_nm - distance_nm) < ONE_MILLIMETRE_NM
    assert abs(wrap180(back_deg - azimuth)) < 1e-6


@pytest.mark.parametrize("fix", STATIONS)
@pytest.mark.parametrize(("distance_nm", "metres"), [(5.0, 0.0001), (50.0, 0.012), (100.0, 0.1)])
def test_the_plane_about_a_fix_holds_to_what_it_says(
    fix: tuple[float, float], distance_nm: float, metres: float
) -> None:
    azimuths = np.arange(3.0, 360.0, 17.0)
    places = [WGS84.Direct(*fix, azimuth, distance_nm * 1852.0) for azimuth in azimuths]
    lat, lon = (np.array([place[key] for place in places]) for key in ("lat2", "lon2"))
    plane = LocalPlane(*fix)
    east, north = plane.to_plane(lat, lon)
    off_nm = np.hypot(
        east - distance_nm * np.sin(np.radians(azimuths)), north - distance_nm * np.cos(np.radians(azimuths))
    )
    assert np.max(off_nm) * 1852.0 < metres
    back = zip(*plane.to_geographic(east, north), lat, lon)
    assert max(WGS84.Inverse(*map(float, each))["s12"] for each in back) < metres
    many_to_one = near_east_north_m(lat, lon, *fix)
    expected = np.array(
        [[WGS84.Inverse(*map(float, each), *fix)[key] for key in ("azi1", "s12")] for each in zip(lat, lon)]
    )
    assert np.allclose(np.hypot(*many_to_one), expected[:, 1], atol=metres)
    assert np.allclose(wrap180(np.degrees(np.arctan2(*many_to_one)) - expected[:, 0]), 0.0, atol=1e-4)


def crossings(count: int = 200) -> list[tuple[tuple[float, float], tuple[float, float], tuple[float, float]]]:
    """A fix, and two stations that GeographicLib puts 1 to 120 NM around it."""
    rng = np.random.default_rng(538)
    cases = []
    while len(cases) < count:
        fix = (float(rng.uniform(-80, 80)), float(rng.uniform(-180, 180)))
        bearings = rng.uniform(0, 360, 2)
        if abs(math.sin(math.radians(bearings[0] - bearings[1]))) < math.sin(math.radians(5)):
            continue
        stations = [WGS84.Direct(*fix, b, rng.uniform(1, 120) * 1852.0) for b in bearings]
        cases.append((fix, *((s["lat2"], s["lon2"]) for s in stations)))
    return cases


def test_crossing_of_radials() -> None:
    for fix, first, second in crossings():
        radials = [WGS84.Inverse(*station, *fix)["azi1"] for station in (first, second)]
        found = cross_radials(first, radials[0], second, radials[1])
        assert WGS84.Inverse(*fix, found.lat_deg, found.lon_deg)["s12"] < 0.001
        toward = [WGS84.Inverse(*fix, *station) for station in (first, second)]
        angle = abs(wrap180(toward[0]["azi1"] - toward[1]["azi1"]))
        assert abs(found.angle_deg - min(angle, 180.0 - angle)) < 1e-6
        assert np.allclose(found.distance_nm, [t["s12"] / 1852.0 for t in toward], atol=1e-6)


def test_sensitivity_is_what_a_hundredth_of_a_degree_does() -> None:
    """NM per degree against the crossing solved again with one radial turned by 0.01 degree."""
    for fix, first, second in crossings(40):
        radials = [WGS84.Inverse(*station, *fix)["azi1"] for station in (first, second)]
        found = cross_radials(first, radials[0], second, radials[1])
        for turned, expected in ((0, found.nm_per_deg[0]), (1, found.nm_per_deg[1])):
            off = radials.copy()
            off[turned] += 0.01
            moved = cross_radials(first, off[0], second, off[1])
            metres = WGS84.Inverse(found.lat_deg, found.lon_deg, moved.lat_deg, moved.lon_deg)["s12"]
            assert metres / 1852.0 / 0.01 == pytest.approx(expected, rel=0.02)


A = (44.0, -93.0)


@pytest.mark.parametrize(
    ("second", "first_deg", "second_deg", "reason"),
    [
        (A, 10.0, 80.0, "one station"),
        ((43.5, -93.0), 233.0, 53.0, "behind|parallel"),
        ((43.5, -93.0), 233.0, 90.0, "behind the second"),
        ((43.5, -93.0), 53.0, 270.0, "behind the first"),
        ((43.5, -93.0), 53.0, 90.0, "behind both"),
        ((43.5, -93.0), 233.0, 233.2, "parallel"),
        ((43.0, -93.0), 180.0, 360.0, "one line|parallel"),
    ],
)
def test_radials_that_make_no_fix(
    second: tuple[float, float], first_deg: float, second_deg: float, reason: str
) -> None:
    with pytest.raises(NoCrossing, match=reason):
        cross_radials(A, first_deg, second, second_deg)


def test_a_degree_of_longitude_on_the_equator() -> None:
    """WGS 84: the equator is a geodesic of radius 6,378,137 m exactly (NGA.STND.0036)."""
    _, distance_nm = azimuth_distance(0.0, 0.0, 0.0, 1.0)
    assert abs(float(distance_nm) * 1852.0 - math.pi * 6378137.0 / 180.0) < 0.001


def test_a_quarter_meridian() -> None:
    """WGS 84: pole to equator along a meridian is 10,001,965.729 m (NGA.STND.0036; the value from memory)."""
    _, distance_nm = azimuth_distance(0.0, 0.0, 90.0, 0.0)
    assert abs(float(distance_nm) * 1852.0 - 10001965.729) < 0.001
