"""Airspeeds of the simulated aircraft: ICAO standard atmosphere below 36,089 ft (ICAO Doc 7488), compressible flow."""

from __future__ import annotations

from math import sqrt

_A0_KT = 661.4788  # speed of sound at sea level
_LAPSE_PER_FT = 6.8755856e-6


def _ratios(altitude_ft: float) -> tuple[float, float]:
    theta = 1.0 - _LAPSE_PER_FT * altitude_ft
    return theta, theta**5.2558797


def tas_kt(cas_kt: float, altitude_ft: float) -> float:
    """True from calibrated airspeed [kt] at a pressure altitude [ft], standard temperature."""
    theta, delta = _ratios(altitude_ft)
    impact = (1.0 + 0.2 * (cas_kt / _A0_KT) ** 2) ** 3.5 - 1.0
    return _A0_KT * sqrt(5.0 * theta * ((impact / delta + 1.0) ** (1 / 3.5) - 1.0))


def cas_kt(tas: float, altitude_ft: float) -> float:
    """Calibrated from true airspeed [kt]; the inverse of `tas_kt`."""
    theta, delta = _ratios(altitude_ft)
    impact = delta * ((1.0 + 0.2 * (tas / _A0_KT) ** 2 / theta) ** 3.5 - 1.0)
    return _A0_KT * sqrt(5.0 * ((impact + 1.0) ** (1 / 3.5) - 1.0))
