"""Exact factors between the units of the trade, and how far a number in each is read."""

from __future__ import annotations

METRES_PER_NM = 1852.0
METRES_PER_FT = 0.3048
KT_PER_M_S = 3600.0 / METRES_PER_NM
FT_PER_NM = METRES_PER_NM / METRES_PER_FT
STANDARD_GRAVITY_M_S2 = 9.80665

#: Decimals of one value in a unit as people read it, and of a mean over many; a unit that is not here has one.
DECIMALS: dict[str, tuple[int, int]] = {
    "ft": (0, 0),
    "kt": (0, 1),
    "KIAS": (0, 1),
    "s": (0, 1),
    "deg": (0, 1),
    "deg/s": (1, 2),
    "NM": (2, 2),
    "of full scale": (2, 2),
    "turn radii": (2, 2),
}


def decimals(unit: str, *, mean: bool = False) -> int:
    """Decimals of a value in a unit, or of a mean over many such values."""
    return DECIMALS.get(unit, (1, 1))[mean]
