"""Median and quantiles of one row of numbers: as numpy's, of a few dozen in a fifth of its time, which goes into axes
and masks."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trackgrade.track.track import Floats


def median(values: Floats | Sequence[float]) -> float:
    """The median of values (n,); NaN of none, and where one of them is."""
    ordered = np.sort(values)
    if not len(ordered) or math.isnan(ordered[-1]):  # sorted to the end
        return float("nan")
    return float(ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2]) / 2.0


def row_medians(rows: Floats) -> Floats:
    """The median of each row (k, n) of numbers, none of them NaN, n > 0."""
    count = rows.shape[1]
    middle = [(count - 1) // 2, count // 2]
    return np.asarray(np.partition(rows, middle, axis=1)[:, middle].mean(axis=1))


def quantile(values: Floats, share: float) -> float:
    """What this share of values (n,) lies below, by even steps between two; NaN of none, and where one of them is."""
    ordered = np.sort(values)
    if not len(ordered) or math.isnan(ordered[-1]):  # sorted to the end
        return float("nan")
    k, part = divmod(share * (len(ordered) - 1), 1.0)
    below, above = float(ordered[int(k)]), float(ordered[min(int(k) + 1, len(ordered) - 1)])
    step = above - below
    return below + step * part if part < 0.5 else above - step * (1.0 - part)  # rounded as numpy does
