"""Angles on the compass: wrapping, signed difference, mean direction; and as people write a latitude or longitude."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

_PART = r"([0-9]{1,3}(?:\.[0-9]{1,20})?)"
#: Compiled when the first text is read: most runs read none.
_WRITTEN = (
    rf"([NSEWnsew]|[+-])?\s*{_PART}\s*"
    rf"(?:[°ºd:\s]\s*{_PART}\s*(?:['′’m:\s]\s*{_PART}\s*(?:[\"″”s]|'')?)?['′’m]?)?[°ºd]?\s*([NSEWnsew])?"
)


def wrap360(angle_deg: Any) -> Any:
    """Fold to 0 <= angle < 360 [deg]; scalar or array; NaN stays NaN."""
    if isinstance(angle_deg, float):  # as below, in a tenth of the time
        folded_deg = angle_deg % 360.0
        return 0.0 if folded_deg >= 360.0 else folded_deg
    folded = np.mod(angle_deg, 360.0)
    # A tiny negative angle folds to 360.0 exactly in floating point.
    return np.where(folded >= 360.0, 0.0, folded)[()]


def wrap180(angle_deg: Any) -> Any:
    """Fold to -180 <= angle < 180 [deg]; scalar or array; NaN stays NaN."""
    if isinstance(angle_deg, float):
        return wrap360(angle_deg + 180.0) - 180.0
    return (wrap360(np.asarray(angle_deg) + 180.0) - 180.0)[()]


def turn_from_to(from_deg: Any, to_deg: Any) -> Any:
    """Signed smallest turn from one direction to another [deg], right positive."""
    return wrap180(np.asarray(to_deg) - from_deg)


def between_lines_deg(one_deg: float, other_deg: float) -> float:
    """The angle between two directions as lines, whichever way each is followed [deg], 0 to 90."""
    off = abs(float(wrap180(one_deg - other_deg)))
    return min(off, 180.0 - off)


def mean_direction_deg(angle_deg: Any) -> float:
    """Direction of the mean unit vector of an array (n,) [deg], 0 to 360; NaN when the vectors cancel."""
    radians = np.radians(angle_deg)
    x, y = np.mean(np.cos(radians)), np.mean(np.sin(radians))
    if not np.hypot(x, y) > 1e-12:
        return float("nan")
    return float(wrap360(np.degrees(np.arctan2(y, x))))


def written_deg(text: str, sides: str) -> tuple[float, bool] | None:
    """Degrees [deg], perhaps with minutes and seconds, of ``sides`` "NS" or "EW", and whether minutes were there; a
    letter or a sign tells the side, point or comma the fraction. None: no such text."""
    match = re.fullmatch(_WRITTEN, text.strip().replace("−", "-").replace(",", "."))
    if match is None:
        return None
    before, whole, minutes, seconds, after = match.groups()
    letters = [s.upper() for s in (before, after) if s and s not in "+-"]
    if len(letters) > 1 or any(s not in sides for s in letters):
        return None
    if float(minutes or 0) >= 60.0 or float(seconds or 0) >= 60.0 or (minutes and "." in whole):
        return None
    value = float(whole) + float(minutes or 0) / 60.0 + float(seconds or 0) / 3600.0
    negative = before == "-" or bool(letters and letters[0] in "SW")
    return (-value if negative else value), minutes is not None
