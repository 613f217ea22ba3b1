"""Sub-sample times at which a sampled quantity crosses zero. Knows nothing of holds."""

from __future__ import annotations

import numpy as np

from trackgrade.track.track import Floats, Rows


def zero_crossings(time_s: Floats, value: Floats, *, rising: bool) -> Floats:
    """Times (k,) where ``value`` (n,) goes from below zero to zero or above (rising), or the reverse.

    Linear between samples. A value that only touches zero and turns back is no crossing; NaN is never crossed.
    """
    signed = value if rising else -value
    at = np.flatnonzero((signed[:-1] < 0.0) & (signed[1:] >= 0.0))
    if not signed[at + 1].all():  # reached exactly: does it go on, or turn back?
        at = at[[not _turns_back(signed[k + 1 :]) for k in at]]
    before, after = signed[at], signed[at + 1]
    return np.asarray(time_s[at] + (time_s[at + 1] - time_s[at]) * before / (before - after))


def _turns_back(signed: Floats) -> bool:
    """Whether values that begin at zero next go below it; the end of the record is no turning back."""
    away = np.flatnonzero(signed != 0.0)
    return bool(len(away) and signed[away[0]] < 0.0)


def local_minima(value: Floats, below: float) -> Rows:
    """Indices of samples lower than both neighbours (the first of equals) and below a level."""
    inner = (value[1:-1] < value[:-2]) & (value[1:-1] <= value[2:]) & (value[1:-1] < below)
    return np.flatnonzero(inner) + 1
