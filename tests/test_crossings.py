"""A crossing is where the sign flips: just before it the value is on one side, just after it on the other."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, strategies as st

from trackgrade.segment.crossings import local_minima, zero_crossings

values = st.lists(
    st.one_of(st.integers(-3, 3).map(float), st.floats(-1e3, 1e3).filter(lambda v: v == 0.0 or abs(v) > 1e-3)),
    min_size=0,
    max_size=30,
)


def times(n: int) -> np.ndarray:
    """Uneven, strictly increasing."""
    return np.cumsum(1.0 + 0.5 * np.sin(np.arange(n))) if n else np.empty(0)


@given(values, st.booleans())
def test_the_sign_flips_at_every_crossing(v: list[float], rising: bool) -> None:
    """Below zero just before; and the first value after it that is not zero is above."""
    value, time_s = np.array(v), times(len(v))
    signed = value if rising else -value
    for at in zero_crossings(time_s, value, rising=rising):
        assert np.interp(at - 1e-7, time_s, signed) < 0.0
        assert abs(np.interp(at, time_s, value)) <= 1e-6
        later = np.interp(np.arange(at + 1e-7, time_s[-1], 0.02), time_s, signed)
        later = np.append(later, signed[time_s > at + 1e-7])
        away = later[np.abs(later) > 1e-9]
        assert len(away) == 0 or away[0] > 0.0


@given(values)
def test_none_is_missed_and_rises_and_falls_take_turns(v: list[float]) -> None:
    value, time_s = np.array(v), times(len(v))
    # Zeros have no side; between two neighbours (zeros left out) of unlike sign lies one crossing.
    sides = np.sign(value[value != 0.0])
    rises, falls = (zero_crossings(time_s, value, rising=rising) for rising in (True, False))
    ends_at_zero = len(value) > 0 and value[-1] == 0.0 and len(sides) > 0
    assert len(rises) == np.count_nonzero(np.diff(sides) > 0) + (ends_at_zero and sides[-1] < 0)
    assert len(falls) == np.count_nonzero(np.diff(sides) < 0) + (ends_at_zero and sides[-1] > 0)
    both = np.concatenate([np.stack([rises, np.ones(len(rises))]), np.stack([falls, -np.ones(len(falls))])], axis=1)
    in_order = both[1][np.argsort(both[0], kind="stable")]
    assert np.all(np.diff(in_order) != 0.0)


def test_the_time_is_the_line_between_the_samples() -> None:
    at = zero_crossings(np.array([10.0, 12.0]), np.array([-1.0, 3.0]), rising=True)
    np.testing.assert_allclose(at, [10.5])
    assert len(zero_crossings(np.array([10.0, 12.0]), np.array([-1.0, 3.0]), rising=False)) == 0


@pytest.mark.parametrize("period_s", [7.3, 60.0, 240.0])
def test_a_sine_is_crossed_where_it_is_zero(period_s: float) -> None:
    """Linear between samples of 1 s: the error of a chord is below a twelfth of the sample's turn, squared."""
    t = np.arange(0.0, 1000.0, 1.0)
    value = np.sin(2 * np.pi * (t - 0.37) / period_s)
    expected = 0.37 + period_s * np.arange(0, int((999.0 - 0.37) / period_s) + 1)
    error_s = (2 * np.pi / period_s) ** 2 / 12.0
    np.testing.assert_allclose(zero_crossings(t, value, rising=True), expected, atol=error_s)
    np.testing.assert_allclose(zero_crossings(t, -value, rising=False), expected, atol=error_s)


def test_touching_zero_and_turning_back_is_no_crossing() -> None:
    t = np.arange(5.0)
    for touched in ([2.0, 1.0, 0.5, 1.0, 2.0], [2.0, 1.0, 0.0, 1.0, 2.0], [2.0, 0.0, 0.0, 1.0, 2.0]):
        assert len(zero_crossings(t, np.array(touched), rising=False)) == 0
        assert len(zero_crossings(t, -np.array(touched), rising=True)) == 0
    np.testing.assert_allclose(zero_crossings(t, np.array([-2.0, -1.0, 0.0, 1.0, 2.0]), rising=True), [2.0])
    np.testing.assert_allclose(zero_crossings(t, np.array([2.0, 1.0, 0.0, -1.0, -2.0]), rising=False), [2.0])


def test_a_record_that_ends_on_the_line_has_reached_it() -> None:
    np.testing.assert_allclose(zero_crossings(np.arange(3.0), np.array([-2.0, -1.0, 0.0]), rising=True), [2.0])


def test_a_plateau_at_zero_is_crossed_once_where_it_begins() -> None:
    t = np.arange(6.0)
    np.testing.assert_allclose(zero_crossings(t, np.array([-1.0, 0.0, 0.0, 0.0, 1.0, 2.0]), rising=True), [1.0])
    np.testing.assert_allclose(zero_crossings(t, np.array([1.0, 0.0, 0.0, 0.0, -1.0, -2.0]), rising=False), [1.0])


def test_a_record_that_begins_at_zero_has_crossed_nothing() -> None:
    t = np.arange(3.0)
    assert len(zero_crossings(t, np.array([0.0, 1.0, 2.0]), rising=True)) == 0
    assert len(zero_crossings(t, np.array([0.0, -1.0, -2.0]), rising=False)) == 0


def test_nothing_is_crossed_through_a_blank() -> None:
    t = np.arange(5.0)
    assert len(zero_crossings(t, np.array([-1.0, np.nan, 1.0, 2.0, 3.0]), rising=True)) == 0
    np.testing.assert_allclose(zero_crossings(t, np.array([np.nan, -1.0, 1.0, np.nan, -1.0]), rising=True), [1.5])
    assert len(zero_crossings(t, np.full(5, np.nan), rising=True)) == 0


@pytest.mark.parametrize("n", [0, 1])
@pytest.mark.parametrize("rising", [True, False])
def test_too_few_samples_have_no_crossing(n: int, rising: bool) -> None:
    assert len(zero_crossings(np.arange(float(n)), -np.ones(n), rising=rising)) == 0
    assert len(local_minima(np.ones(n), 2.0)) == 0


@given(values, st.floats(-5.0, 5.0))
def test_a_minimum_is_lower_than_what_stands_beside_it(v: list[float], below: float) -> None:
    value = np.array(v)
    found = local_minima(value, below)
    for k in found:
        assert value[k] < value[k - 1]
        assert value[k] <= value[k + 1]
        assert value[k] < below
    # The lowest sample of all, where it stands inside and below the level, is always among them (the first of equals).
    if len(value) >= 3:
        lowest = int(np.argmin(value))
        if 0 < lowest < len(value) - 1 and value[lowest] < below:
            assert lowest in found


def test_of_equal_lowest_samples_the_first_counts() -> None:
    np.testing.assert_array_equal(local_minima(np.array([3.0, 1.0, 1.0, 3.0, 1.0, 4.0]), 2.0), [1, 4])
    assert len(local_minima(np.array([3.0, np.nan, 1.0]), 2.0)) == 0
