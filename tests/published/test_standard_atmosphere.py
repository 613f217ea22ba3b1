"""The standard atmosphere and airspeeds against printed tables and an independent library."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from ambiance import Atmosphere

from trackgrade.earth.atmosphere import (
    SEA_LEVEL_PRESSURE_HPA,
    SEA_LEVEL_SOUND_KT,
    SEA_LEVEL_TEMPERATURE_K,
    cas_from_tas_kt,
    isa_deviation_c,
    pressure_ratio,
    speed_of_sound_kt,
    tas_from_cas_kt,
    temperature_c,
)

HPA_PER_INHG = 33.8639


def density_ratio(feet: Any, isa_deviation_c: Any = 0.0) -> Any:
    """Air density over that at sea level, by the gas law."""
    return pressure_ratio(feet) * SEA_LEVEL_TEMPERATURE_K / (temperature_c(feet, isa_deviation_c) + 273.15)


def tas_by_density_kt(ias_kt: Any, feet: Any, isa_deviation_c: Any) -> Any:
    """The way of procedure design, without compressibility: 1 % above `tas_from_cas_kt` at 230 kt and 14,000 ft."""
    return ias_kt / np.sqrt(density_ratio(feet, isa_deviation_c))


# US Standard Atmosphere 1976 (the ICAO one below 32 km), as printed in handbooks: feet, deg C, inHg, sigma.
# Computed again from the constants of the standard and compared with its printed table from memory.
PRINTED = [
    (0, 15.0, 29.92, 1.0000),
    (2000, 11.0, 27.82, 0.9428),
    (4000, 7.1, 25.84, 0.8881),
    (5000, 5.1, 24.90, 0.8617),
    (6000, 3.1, 23.98, 0.8359),
    (8000, -0.8, 22.22, 0.7860),
    (10000, -4.8, 20.58, 0.7385),
    (14000, -12.7, 17.58, 0.6500),
    (18000, -20.7, 14.94, 0.5699),
    (20000, -24.6, 13.75, 0.5328),
]


@pytest.mark.parametrize(("feet", "celsius", "inches", "sigma"), PRINTED)
def test_printed_table(feet: float, celsius: float, inches: float, sigma: float) -> None:
    assert abs(temperature_c(feet) - celsius) <= 0.05 + 1e-9
    assert abs(pressure_ratio(feet) * SEA_LEVEL_PRESSURE_HPA / HPA_PER_INHG - inches) <= 0.005 + 1e-9
    assert abs(density_ratio(feet) - sigma) <= 0.0001


def test_against_an_independent_library() -> None:
    """ambiance: the ICAO standard atmosphere of 1993 by other authors. It takes geometric height."""
    height_m = np.linspace(-400.0, 19800.0, 60)
    theirs = Atmosphere(height_m)
    feet = theirs.H / 0.3048  # geopotential, which a pressure altitude is
    assert np.allclose(temperature_c(feet), theirs.temperature_in_celsius, atol=1e-6)
    # It starts each layer from the printed pressure, of seven digits; ours goes through without a seam.
    assert np.allclose(pressure_ratio(feet) * SEA_LEVEL_PRESSURE_HPA * 100.0, theirs.pressure, rtol=3e-6)
    assert np.allclose(density_ratio(feet) * 1.225, theirs.density, rtol=3e-6)
    assert np.allclose(speed_of_sound_kt(feet), theirs.speed_of_sound * 3600.0 / 1852.0, rtol=1e-12)


def test_density_only_airspeed_of_procedure_design() -> None:
    """ICAO Doc 8168 Vol II, Table I-4-3-App C-1: 140 kt at 6,000 ft, ISA+15: K 1.1231, TAS 157.23 kt.

    The same table in SI: 260 km/h at 1,850 m: K 1.1244, 292.34 km/h.
    """
    assert abs(tas_by_density_kt(140.0, 6000.0, 15.0) - 157.23) < 0.01
    assert abs(tas_by_density_kt(1.0, 6000.0, 15.0) - 1.1231) < 0.0001
    assert abs(tas_by_density_kt(260.0, 1850.0 / 0.3048, 15.0) - 292.34) < 0.03


def test_that_airspeed_against_the_formula_of_the_same_document() -> None:
    """ICAO Doc 8168 Vol II: TAS = IAS 171233 sqrt(288 + dT - 0.00198 H) / (288 - 0.00198 H)^2.628 (from memory)."""
    feet, deviation = np.meshgrid(np.arange(0.0, 35001.0, 2500.0), np.arange(-10.0, 31.0, 10.0))
    formula = 171233.0 * np.sqrt(288.0 + deviation - 0.00198 * feet) / (288.0 - 0.00198 * feet) ** 2.628
    assert np.allclose(tas_by_density_kt(1.0, feet, deviation), formula, rtol=1.5e-3)


# Own arithmetic of the isentropic equation, by hand calculator: kt CAS, feet, kt TAS.
@pytest.mark.parametrize(
    ("cas", "feet", "tas"), [(100, 5000, 107.7), (120, 10000, 139.4), (200, 6000, 218.2), (230, 14000, 282.4)]
)
def test_true_airspeed(cas: float, feet: float, tas: float) -> None:
    assert abs(tas_from_cas_kt(cas, feet) - tas) <= 0.05 + 1e-9


def test_speed_of_sound_at_sea_level() -> None:
    """ICAO Doc 7488: 340.294 m/s."""
    assert abs(SEA_LEVEL_SOUND_KT - 340.294 * 3600.0 / 1852.0) < 0.001


def test_scalar_array_empty_and_nan() -> None:
    for function in (tas_from_cas_kt, cas_from_tas_kt):
        one = function(120.0, 8000.0, 5.0)
        assert np.ndim(one) == 0
        many = function(np.array([120.0, np.nan, 120.0]), 8000.0, 5.0)
        assert many[0] == one == many[2]
        assert np.isnan(many[1])
        assert function(np.zeros(0), 8000.0, 5.0).shape == (0,)
    assert np.isnan(pressure_ratio(70000.0))  # above the layers kept here: said, not invented


def test_there_and_back() -> None:
    cas, feet = np.meshgrid(np.linspace(40.0, 350.0, 32), np.linspace(-1000.0, 41000.0, 29))
    for deviation in (-20.0, 0.0, 25.0):
        assert np.allclose(cas_from_tas_kt(tas_from_cas_kt(cas, feet, deviation), feet, deviation), cas, rtol=1e-12)
    assert isa_deviation_c(6000.0, temperature_c(6000.0, 15.0)) == pytest.approx(15.0)
