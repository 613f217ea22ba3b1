"""Median and quantiles against numpy's, bit for bit."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trackgrade.track.ranks import median, quantile, row_medians


@pytest.mark.parametrize("count", [1, 2, 3, 4, 7, 60, 61, 500])
def test_as_numpy(count: int) -> None:
    for seed in range(20):
        values = np.random.default_rng(seed).normal(100.0, 30.0, count)
        assert median(values) == np.median(values)
        assert median(values.tolist()) == np.median(values)
        for share in (0.0, 0.1, 0.25, 0.5, 0.9, 0.95, 1.0):
            assert quantile(values, share) == np.quantile(values, share)
        rows = np.random.default_rng(seed).normal(100.0, 30.0, (9, count))
        assert np.array_equal(row_medians(rows), np.median(rows, axis=1))


def test_no_number_of_none_or_of_no_numbers() -> None:
    for values in (np.empty(0), np.array([1.0, np.nan, 2.0])):
        assert math.isnan(median(values))
        assert math.isnan(quantile(values, 0.9))
