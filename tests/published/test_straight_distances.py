"""Straight-line distances between near places, against the geodesics of GeographicLib (C. Karney)."""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from trackgrade.earth.geodesy import cartesian_m

#: An arc of length s on a radius R is longer than its chord by s**3 / (24 R**2); twice that for the ellipsoid.
LEAST_RADIUS_M = 6_335_000.0


@pytest.mark.parametrize("metres", [0.5, 30.0, 1_000.0, 92_600.0])
@pytest.mark.parametrize(("lat", "lon"), [(0.0, 0.0), (44.0, -93.0), (-34.25, 179.9999), (85.0, 12.0), (-89.9, 0.0)])
def test_the_chord_is_the_geodesic_but_for_the_bend_of_the_earth(lat: float, lon: float, metres: float) -> None:
    for azimuth in (0.0, 37.0, 90.0, 200.0, 271.0):
        there = Geodesic.WGS84.Direct(lat, lon, azimuth, metres)
        here_m, there_m = cartesian_m([lat, there["lat2"]], [lon, there["lon2"]])
        chord = float(np.linalg.norm(there_m - here_m))
        assert chord == pytest.approx(metres, abs=2.0 * metres**3 / (24.0 * LEAST_RADIUS_M**2) + 1e-7)
