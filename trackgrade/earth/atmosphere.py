"""The ICAO standard atmosphere to 65,617 ft, and calibrated against true airspeed in it.

Source: ICAO Doc 7488, Manual of the ICAO Standard Atmosphere (the same as ISO 2533 and, this low, the US
Standard Atmosphere 1976). Altitudes are pressure altitudes, so geopotential. A temperature deviation shifts
the temperature at a given pressure and leaves the pressure alone, as a pilot's ISA deviation does.
All functions take and give floats or arrays (n,); NaN in, NaN out.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from trackgrade.earth.units import KT_PER_M_S, METRES_PER_FT, STANDARD_GRAVITY_M_S2

SEA_LEVEL_TEMPERATURE_K = 288.15
SEA_LEVEL_PRESSURE_HPA = 1013.25
LAPSE_RATE_K_M = 0.0065
GAS_CONSTANT_J_KG_K = 287.05287
HEAT_RATIO = 1.4
TROPOPAUSE_M = 11000.0
TOP_FT = 20000.0 / METRES_PER_FT
SEA_LEVEL_SOUND_KT = (HEAT_RATIO * GAS_CONSTANT_J_KG_K * SEA_LEVEL_TEMPERATURE_K) ** 0.5 * KT_PER_M_S

_PRESSURE_POWER = STANDARD_GRAVITY_M_S2 / (GAS_CONSTANT_J_KG_K * LAPSE_RATE_K_M)
_TROPOPAUSE_K = SEA_LEVEL_TEMPERATURE_K - LAPSE_RATE_K_M * TROPOPAUSE_M
_SCALE_HEIGHT_M = GAS_CONSTANT_J_KG_K * _TROPOPAUSE_K / STANDARD_GRAVITY_M_S2


def standard_temperature_k(pressure_alt_ft: Any) -> Any:
    """Standard temperature [K]: 288.15 K less 6.5 K a km, steady from 11 km; NaN above 65,617 ft."""
    height_m = np.asarray(pressure_alt_ft, dtype=np.float64) * METRES_PER_FT
    kelvin = SEA_LEVEL_TEMPERATURE_K - LAPSE_RATE_K_M * np.minimum(height_m, TROPOPAUSE_M)
    return np.where(height_m > TOP_FT * METRES_PER_FT, np.nan, kelvin)[()]


def temperature_c(pressure_alt_ft: Any, isa_deviation_c: Any = 0.0) -> Any:
    """Outside air temperature [deg C]."""
    return standard_temperature_k(pressure_alt_ft) - 273.15 + isa_deviation_c


def isa_deviation_c(pressure_alt_ft: Any, oat_c: Any) -> Any:
    """How much warmer than standard the air is [deg C], from the outside air temperature."""
    return oat_c - temperature_c(pressure_alt_ft)


def pressure_ratio(pressure_alt_ft: Any) -> Any:
    """Static pressure over that at sea level (delta)."""
    height_m = np.asarray(pressure_alt_ft, dtype=np.float64) * METRES_PER_FT
    theta = standard_temperature_k(pressure_alt_ft) / SEA_LEVEL_TEMPERATURE_K
    above_m = np.maximum(height_m - TROPOPAUSE_M, 0.0)
    return theta**_PRESSURE_POWER * np.exp(-above_m / _SCALE_HEIGHT_M)


def altitude_at_pressure_ft(hpa: Any) -> Any:
    """The pressure altitude [ft] of a static pressure [hPa], up to the tropopause: the reverse of `pressure_ratio`."""
    theta = (np.asarray(hpa, dtype=np.float64) / SEA_LEVEL_PRESSURE_HPA) ** (1.0 / _PRESSURE_POWER)
    return SEA_LEVEL_TEMPERATURE_K / LAPSE_RATE_K_M * (1.0 - theta) / METRES_PER_FT


def speed_of_sound_kt(pressure_alt_ft: Any, isa_deviation_c: Any = 0.0) -> Any:
    """Speed of sound [kt]."""
    theta = (standard_temperature_k(pressure_alt_ft) + isa_deviation_c) / SEA_LEVEL_TEMPERATURE_K
    return SEA_LEVEL_SOUND_KT * np.sqrt(theta)


def tas_from_cas_kt(cas_kt: Any, pressure_alt_ft: Any, isa_deviation_c: Any = 0.0) -> Any:
    """True airspeed [kt] of a calibrated airspeed [kt], with compressibility (subsonic).

    Impact pressure of the calibrated airspeed at sea level, then the Mach number that gives the same impact
    pressure at the static pressure aloft. ICAO Doc 7488; the isentropic pitot equation with 1.4.
    """
    mach_sea_level = np.asarray(cas_kt, dtype=np.float64) / SEA_LEVEL_SOUND_KT
    impact = (1.0 + 0.2 * mach_sea_level**2) ** 3.5 - 1.0
    mach = np.sqrt(5.0 * ((impact / pressure_ratio(pressure_alt_ft) + 1.0) ** (2.0 / 7.0) - 1.0))
    return mach * speed_of_sound_kt(pressure_alt_ft, isa_deviation_c)


def cas_from_tas_kt(tas_kt: Any, pressure_alt_ft: Any, isa_deviation_c: Any = 0.0) -> Any:
    """Calibrated airspeed [kt] of a true airspeed [kt]: the reverse of `tas_from_cas_kt`."""
    mach = np.asarray(tas_kt, dtype=np.float64) / speed_of_sound_kt(pressure_alt_ft, isa_deviation_c)
    impact = ((1.0 + 0.2 * mach**2) ** 3.5 - 1.0) * pressure_ratio(pressure_alt_ft)
    return SEA_LEVEL_SOUND_KT * np.sqrt(5.0 * ((impact + 1.0) ** (2.0 / 7.0) - 1.0))
