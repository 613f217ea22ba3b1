"""Exact factors between the units of the trade."""

from __future__ import annotations

METRES_PER_NM = 1852.0
METRES_PER_FT = 0.3048
KT_PER_M_S = 3600.0 / METRES_PER_NM
FT_PER_NM = METRES_PER_NM / METRES_PER_FT
STANDARD_GRAVITY_M_S2 = 9.80665
