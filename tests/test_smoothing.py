"""The smoother against motion it must reproduce, noise it must find, and two independent solutions of its own model."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import BPoly

from tests.arithmetic_flight import fly, laps, straight
from trackgrade.motion.smoothing import (
    JERK_DENSITY_M2_S5,
    LEAST_NOISE_M,
    Trajectory,
    noise_from_differences,
    smooth,
    smoothed_acceleration_sd_m_s2,
    smoothed_variance_m2,
)

#: Rounding: positions of some 1e4 m carry 1e-12 m, and the normal equations lose about half of the digits.
ROUNDING_M = 1e-4
#: Spread of a robust noise estimate over some hundred samples, and what turns leave in it.
NOISE_WITHIN = 0.25


def uneven(n: int, mean_s: float, seed: int = 0) -> np.ndarray:
    return np.cumsum(np.random.default_rng(seed).uniform(0.5, 1.5, n)) * mean_s


# --- Motion without noise -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("interval_s", [0.2, 1.0, 5.0])
@pytest.mark.parametrize("acceleration", [(0.0, 0.0), (0.3, -0.5)])
def test_constant_velocity_and_constant_acceleration_come_back_exactly(
    interval_s: float, acceleration: tuple[float, float]
) -> None:
    """White jerk asks no price for either, so the most likely trajectory is the motion itself."""
    t = uneven(60, interval_s)
    a = np.array(acceleration)
    v0, p0 = np.array([40.0, -30.0]), np.array([2000.0, -5000.0])
    tau = t[:, None]
    trajectory = smooth(t, p0 + v0 * tau + a * tau**2 / 2)
    np.testing.assert_allclose(trajectory.position_m, p0 + v0 * tau + a * tau**2 / 2, atol=ROUNDING_M)
    np.testing.assert_allclose(trajectory.velocity_m_s, v0 + a * tau, atol=ROUNDING_M)
    np.testing.assert_allclose(trajectory.acceleration_m_s2, np.broadcast_to(a, (60, 2)), atol=ROUNDING_M)
    np.testing.assert_allclose(trajectory.weight, 1.0)
    assert trajectory.noise_cross_m == trajectory.noise_along_m == LEAST_NOISE_M

    between = np.linspace(t[0], t[-1], 301)
    position, velocity, accelerating = trajectory.at(between)
    np.testing.assert_allclose(position, p0 + v0 * between[:, None] + a * between[:, None] ** 2 / 2, atol=ROUNDING_M)
    np.testing.assert_allclose(velocity, v0 + a * between[:, None], atol=ROUNDING_M)
    np.testing.assert_allclose(accelerating, np.broadcast_to(a, (301, 2)), atol=10 * ROUNDING_M)


def test_a_circle_is_hardly_cut() -> None:
    """100 kt at 3 deg/s, 1 s: radius and rate of a steady turn by arithmetic."""
    t = np.arange(0.0, 240.0)
    speed, rate = 100 * 1852 / 3600, np.radians(3.0)
    circle = speed / rate * np.stack([1 - np.cos(rate * t), np.sin(rate * t)], axis=1)
    trajectory = smooth(t, circle)
    inner = slice(20, -20)
    np.testing.assert_allclose(trajectory.position_m[inner], circle[inner], atol=0.01)
    np.testing.assert_allclose(np.hypot(*trajectory.acceleration_m_s2[inner].T), speed * rate, rtol=1e-3)


def test_between_samples_it_is_the_quintic_that_meets_both_ends() -> None:
    """scipy's Bernstein polynomials from derivatives are an independent construction of it."""
    flight = fly([straight(40.0), *laps(1)])
    t, seen = flight.positions(5.0)
    trajectory = smooth(t, seen + np.random.default_rng(1).normal(0, 3.0, seen.shape))
    states = np.stack([trajectory.position_m, trajectory.velocity_m_s, trajectory.acceleration_m_s2], axis=1)
    reference = BPoly.from_derivatives(trajectory.time_s, states)
    at = np.linspace(t[0], t[-1], 777)
    for mine, order in zip(trajectory.at(at), (0, 1, 2), strict=True):
        np.testing.assert_allclose(mine, reference(at, order), rtol=1e-9, atol=1e-6)


# --- Against other solutions of the same model ----------------------------------------------------------------------


def kalman_and_rts(t: np.ndarray, seen: np.ndarray, noise: np.ndarray, q: float) -> tuple[np.ndarray, np.ndarray]:
    """Plain Kalman filter and Rauch-Tung-Striebel smoother, state (p, v, a) by axis; ``noise`` (n, 2, 2) [m2]."""
    see = np.zeros((2, 6))
    see[0, 0] = see[1, 3] = 1.0
    state, spread = np.zeros(6), np.diag([1e9, 1e6, 1e4] * 2)
    steps, before, after = [], [], []
    for k in range(len(t)):
        if k:
            h = t[k] - t[k - 1]
            one = np.array([[1, h, h * h / 2], [0, 1, h], [0, 0, 1]])
            grow = q * np.array(
                [[h**5 / 20, h**4 / 8, h**3 / 6], [h**4 / 8, h**3 / 3, h**2 / 2], [h**3 / 6, h**2 / 2, h]]
            )
            step = np.kron(np.eye(2), one)
            state, spread = step @ state, step @ spread @ step.T + np.kron(np.eye(2), grow)
            steps.append(step)
        before.append((state, spread))
        gain = spread @ see.T @ np.linalg.inv(see @ spread @ see.T + noise[k])
        state = state + gain @ (seen[k] - see @ state)
        keep = np.eye(6) - gain @ see
        spread = keep @ spread @ keep.T + gain @ noise[k] @ gain.T
        after.append((state, spread))
    smoothed, spreads = [after[-1][0]], [after[-1][1]]
    for k in range(len(t) - 2, -1, -1):
        back = after[k][1] @ steps[k].T @ np.linalg.inv(before[k + 1][1])
        smoothed.insert(0, after[k][0] + back @ (smoothed[0] - before[k + 1][0]))
        spreads.insert(0, after[k][1] + back @ (spreads[0] - before[k + 1][1]) @ back.T)
    return np.array(smoothed), np.array(spreads)


def with_noise(t: np.ndarray, seen: np.ndarray, cross_m: float, along_m: float, weight: np.ndarray) -> Trajectory:
    """What `smooth` is given as ``like``: known noise and weights, and the direction of motion (north-east)."""
    still = np.zeros_like(seen)
    return Trajectory(t, seen, still + 40.0, still, cross_m, along_m, weight)


@pytest.mark.parametrize(("cross_m", "along_m"), [(2.0, 2.0), (1.5, 6.0)])
@pytest.mark.parametrize("q", [JERK_DENSITY_M2_S5, 0.02])
def test_the_same_as_a_kalman_filter_and_rts_smoother(cross_m: float, along_m: float, q: float) -> None:
    dice = np.random.default_rng(4)
    t = uneven(80, 1.3, 3)
    t = t + np.where(np.arange(80) > 40, 25.0, 0.0)  # a hole
    seen = 40.0 * t[:, None] + dice.normal(0, 3.0, (80, 2)) + 30.0 * np.sin(t / 20.0)[:, None]
    weight = dice.uniform(0.2, 1.0, 80)
    trajectory = smooth(t, seen, q, with_noise(t, seen, cross_m, along_m, weight))

    along, across = np.array([1.0, 1.0]) / np.sqrt(2), np.array([-1.0, 1.0]) / np.sqrt(2)
    one = along_m**2 * np.outer(along, along) + cross_m**2 * np.outer(across, across)
    state, _ = kalman_and_rts(t, seen, one / weight[:, None, None], q)
    # The filter starts from a wide but finite spread; that is what the two differ by.
    np.testing.assert_allclose(trajectory.position_m, state[:, [0, 3]], atol=1e-3)
    np.testing.assert_allclose(trajectory.velocity_m_s, state[:, [1, 4]], atol=1e-3)
    np.testing.assert_allclose(trajectory.acceleration_m_s2, state[:, [2, 5]], atol=1e-3)


def test_the_same_as_dense_least_squares() -> None:
    """One axis, by numpy's own solver on the stacked and whitened equations: no band, no Cholesky."""
    t = uneven(40, 1.0, 8)
    seen = np.stack([50.0 * t + np.random.default_rng(2).normal(0, 2.0, 40), np.zeros(40)], axis=1)
    rows, right = [], []
    for k in range(40):
        row = np.zeros(120)
        row[3 * k] = 1 / 2.0
        rows.append(row)
        right.append(seen[k, 0] / 2.0)
    for k in range(39):
        h = t[k + 1] - t[k]
        grow = JERK_DENSITY_M2_S5 * np.array(
            [[h**5 / 20, h**4 / 8, h**3 / 6], [h**4 / 8, h**3 / 3, h**2 / 2], [h**3 / 6, h**2 / 2, h]]
        )
        whiten = np.linalg.inv(np.linalg.cholesky(grow))
        block = np.zeros((3, 120))
        block[:, 3 * k : 3 * k + 3] = -np.array([[1, h, h * h / 2], [0, 1, h], [0, 0, 1]])
        block[:, 3 * k + 3 : 3 * k + 6] = np.eye(3)
        rows.extend(whiten @ block)
        right.extend(np.zeros(3))
    solution = np.linalg.lstsq(np.array(rows), np.array(right), rcond=None)[0].reshape(40, 3)
    trajectory = smooth(t, seen, like=with_noise(t, seen, 2.0, 2.0, np.ones(40)))
    np.testing.assert_allclose(trajectory.position_m[:, 0], solution[:, 0], atol=1e-5)
    np.testing.assert_allclose(trajectory.velocity_m_s[:, 0], solution[:, 1], atol=1e-5)
    np.testing.assert_allclose(trajectory.acceleration_m_s2[:, 0], solution[:, 2], atol=1e-5)


@pytest.mark.parametrize(("interval_s", "noise_m"), [(0.2, 3.0), (1.0, 1.0), (1.0, 6.0), (2.0, 3.0)])
def test_stated_errors_are_those_of_the_model(interval_s: float, noise_m: float) -> None:
    """In the middle of a long even record, the closed forms against the smoother's own covariance."""
    t = np.arange(0.0, 200 * interval_s, interval_s)
    _, spread = kalman_and_rts(t, np.zeros((len(t), 2)), np.broadcast_to(noise_m**2 * np.eye(2), (len(t), 2, 2)), 1.0)
    middle = spread[len(t) // 2]
    assert smoothed_variance_m2(noise_m, np.array(interval_s)) == pytest.approx(middle[0, 0], rel=0.1)
    assert smoothed_acceleration_sd_m_s2(noise_m, np.array(interval_s)) == pytest.approx(middle[2, 2] ** 0.5, rel=0.15)


# --- Noise and outliers ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("interval_s", [0.2, 1.0, 5.0])
@pytest.mark.parametrize("noise_m", [1.0, 3.0, 10.0])
def test_noise_is_found_from_the_data(interval_s: float, noise_m: float) -> None:
    """Straight flight, several seeds: each within a quarter, the mean within a tenth."""
    flight = fly([straight(max(600.0, 150 * interval_s))])
    t, seen = flight.positions(interval_s)
    found = [
        noise_from_differences(t, seen + np.random.default_rng(seed).normal(0, noise_m, seen.shape))
        for seed in range(6)
    ]
    np.testing.assert_allclose(np.mean(found), noise_m, rtol=0.1)
    np.testing.assert_allclose(np.mean(found, axis=0), noise_m, rtol=NOISE_WITHIN)


@pytest.mark.parametrize("interval_s", [0.2, 1.0, 5.0])
def test_noise_is_found_where_half_of_the_flight_is_turns(interval_s: float) -> None:
    t, seen = fly([straight(120.0), *laps(6), straight(60.0)]).positions(interval_s)
    seen = seen + np.random.default_rng(1).normal(0, 3.0, seen.shape)
    np.testing.assert_allclose(noise_from_differences(t, seen), 3.0, rtol=NOISE_WITHIN if interval_s < 5 else 0.5)


def test_jitter_of_time_stamps_is_told_apart_from_noise_across_the_track() -> None:
    flight = fly([straight(900.0)])
    dice = np.random.default_rng(3)
    t = np.arange(1.0, 899.0)
    late = t + dice.normal(0.0, 0.2, len(t))  # where the aircraft was is not when the stamp says
    seen = np.stack([flight.at("east_m", late), flight.at("north_m", late)], axis=1) + dice.normal(0, 2.0, (len(t), 2))
    cross_m, along_m = noise_from_differences(t, seen)
    assert cross_m == pytest.approx(2.0, rel=NOISE_WITHIN)
    assert along_m == pytest.approx(np.hypot(2.0, 0.2 * 100 * 1852 / 3600), rel=NOISE_WITHIN)


def test_an_outlier_loses_its_weight_and_hardly_moves_the_trajectory() -> None:
    flight = fly([straight(120.0)])
    t, truth = flight.positions()
    seen = truth + np.random.default_rng(5).normal(0, 2.0, truth.shape)
    seen[60] += (45.0, 20.0)
    trajectory = smooth(t, seen)
    assert trajectory.weight[60] < 0.05
    assert np.median(trajectory.weight) > 0.8
    assert np.hypot(*(trajectory.position_m[60] - truth[60])) < 3.0


def test_the_error_grows_into_a_hole() -> None:
    t, truth = fly([straight(200.0)]).positions()
    there = (t <= 80) | (t >= 110)
    trajectory = smooth(t[there], truth[there] + np.random.default_rng(6).normal(0, 2.0, truth[there].shape))
    at = np.array([40.0, 80.0, 85.0, 90.0, 95.0, 100.0, 105.0, 109.9])
    for sd in trajectory.position_sd_m(at):
        assert np.all(np.diff(sd[1:5]) > 0)
        assert np.all(np.diff(sd[4:]) < 0)
        assert np.argmax(sd) == 4
        assert sd[0] < 2.0


@pytest.mark.parametrize(("interval_s", "noise_m"), [(1.0, 2.0), (1.0, 5.0), (2.0, 3.0), (5.0, 3.0)])
@pytest.mark.parametrize("hole_s", [25.0, 45.0, 60.0])
@pytest.mark.parametrize("part", [0.25, 0.5])
def test_the_error_in_a_hole_is_that_of_the_model(
    interval_s: float, noise_m: float, hole_s: float, part: float
) -> None:
    """Against the covariance of a Kalman smoother that is asked for a moment in the hole and sees nothing there."""
    t = np.arange(0.0, 60 * interval_s, interval_s)
    t = np.concatenate([t, t[-1] + hole_s + np.arange(0.0, 60 * interval_s, interval_s)])
    when = t[59] + part * hole_s
    with_it = np.sort(np.append(t, when))
    noise = np.where(with_it == when, 1e10, noise_m**2)[:, None, None] * np.eye(2)
    _, spread = kalman_and_rts(with_it, np.zeros((len(with_it), 2)), noise, JERK_DENSITY_M2_S5)
    own = float(np.sqrt(spread[60, 0, 0]))
    nothing = np.zeros((len(t), 2))
    for stated in with_noise(t, nothing, noise_m, noise_m, np.ones(len(t))).position_sd_m(np.array([when])):
        assert stated[0] == pytest.approx(own, rel=0.2)


# --- Poor tracks ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [0, 1, 3])
def test_too_few_positions_are_refused(n: int) -> None:
    with pytest.raises(ValueError, match="at least four"):
        smooth(np.arange(float(n)), np.zeros((n, 2)))


@pytest.mark.parametrize("seen", [np.zeros((4, 2)), np.zeros((30, 2)), np.outer(np.arange(4.0), [50.0, 10.0])])
def test_few_positions_and_an_aircraft_that_stands_are_no_trouble(seen: np.ndarray) -> None:
    trajectory = smooth(np.arange(float(len(seen))), seen)
    np.testing.assert_allclose(trajectory.position_m, seen, atol=0.1)
    assert np.all(np.isfinite(trajectory.velocity_m_s))
