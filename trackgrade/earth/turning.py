"""A coordinated level turn: bank, rate and radius."""

from __future__ import annotations

from typing import Any

import numpy as np

from trackgrade.earth.units import KT_PER_M_S, STANDARD_GRAVITY_M_S2


def bank_for_rate_deg(tas_kt: Any, rate_deg_s: Any) -> Any:
    """Bank [deg] at a true airspeed [kt] and a rate [deg/s], scalars or arrays: tan(bank) = V w / g (PHAK ch. 5)."""
    return np.degrees(np.arctan(tas_kt / KT_PER_M_S * np.radians(rate_deg_s) / STANDARD_GRAVITY_M_S2))


def rate_for_bank_deg_s(tas_kt: float, bank_deg: float) -> float:
    """Rate [deg/s] at a true airspeed [kt] and a bank [deg]: g tan(bank) / V; 1,091 tan(bank) / kt (PHAK ch. 5)."""
    return float(np.degrees(STANDARD_GRAVITY_M_S2 * np.tan(np.radians(bank_deg)) / (tas_kt / KT_PER_M_S)))


def turn_radius_nm(tas_kt: float, rate_deg_s: float) -> float:
    """Radius in still air [NM]: speed over rate, V / (60 pi) at 3 degrees a second."""
    return float(tas_kt / 3600.0 / np.radians(rate_deg_s))
