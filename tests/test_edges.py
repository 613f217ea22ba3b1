"""Edges of turns fitted to raw positions: small errors, honest standard errors, from guesses that are seconds off."""

from __future__ import annotations

import numpy as np
import pytest

from tests.arithmetic_flight import START_S, Flight, fly, straight, turn
from trackgrade.motion.edges import Edge, FittedEdges, fit_edges
from trackgrade.motion.smoothing import smooth

STILL_AIR = np.zeros((2, 2))


def fit(
    flight: Flight,
    *,
    interval_s: float = 1.0,
    noise_m: float = 2.0,
    seed: int = 0,
    guess_off_s: float = 1.0,
    wind_m_s: np.ndarray = STILL_AIR,
) -> tuple[FittedEdges, np.ndarray]:
    """Fit both edges of the flight's one turn; also the true times."""
    dice = np.random.default_rng(seed)
    t, truth = flight.positions(interval_s)
    t, truth = t + 0.0, truth + dice.normal(0.0, 1.0, truth.shape) * noise_m
    (own,) = flight.turns
    true_s = np.array([own.start_epoch_s, own.end_epoch_s]) - START_S
    rate = float(np.copysign(own.rate_deg_s, own.change_deg))
    off = dice.uniform(-guess_off_s, guess_off_s, 2)
    long_s = float(min(0.6 * (true_s[1] - true_s[0]), 20.0))
    edges = [Edge(true_s[k] + off[k], k == 0, rate * 1.05, own.threshold_deg_s, 18.0, long_s) for k in (0, 1)]
    return fit_edges(smooth(t, truth), truth, wind_m_s, edges), true_s


def one_turn(roll_s: float = 4.0, change: float = 180.0, rate: float = 3.0, **more: float) -> Flight:
    return fly([straight(50.3), turn(change, rate), straight(50.0)], roll_s=roll_s, **more)  # type: ignore[arg-type]


def test_without_noise_the_edge_is_where_the_ramp_passes_the_threshold() -> None:
    """4 s of roll to 3 deg/s pass 0.75 deg/s after 1 s: 51.3 s; and 1 s before the end at 50.3 + 60 + 4 s."""
    fitted, true_s = fit(one_turn(), noise_m=0.0)
    np.testing.assert_allclose(true_s, [51.3, 113.3])
    np.testing.assert_allclose(fitted.epoch_s, true_s, atol=0.1)
    np.testing.assert_allclose(fitted.rate_deg_s, 3.0, atol=0.05)


def test_left_is_right_in_the_mirror() -> None:
    right, _ = fit(one_turn(heading_deg=0.0))
    flight = one_turn(heading_deg=0.0)
    dice = np.random.default_rng(0)
    t, truth = flight.positions()
    truth = truth + dice.normal(0.0, 1.0, truth.shape) * 2.0
    mirrored = truth * (-1.0, 1.0)
    off = dice.uniform(-1.0, 1.0, 2)
    own = flight.turns[0]
    times = np.array([own.start_epoch_s, own.end_epoch_s]) - START_S + off
    edges = [Edge(float(times[k]), k == 0, -3.15, 0.75, 18.0, 20.0) for k in (0, 1)]
    left = fit_edges(smooth(t, mirrored), mirrored, STILL_AIR, edges)
    np.testing.assert_allclose(left.epoch_s, right.epoch_s, atol=1e-6)
    np.testing.assert_allclose(left.sd_s, right.sd_s, rtol=1e-6)
    np.testing.assert_allclose(left.rate_deg_s, -right.rate_deg_s, rtol=1e-6)


def test_a_wind_that_is_known_does_not_move_an_edge() -> None:
    blowing = np.radians(310.0 + 180.0)
    wind = 35.0 * 1852 / 3600 * np.array([np.sin(blowing), np.cos(blowing)])
    fitted, true_s = fit(
        one_turn(wind_from_deg=310.0, wind_kt=35.0), noise_m=0.0, wind_m_s=np.broadcast_to(wind, (2, 2))
    )
    np.testing.assert_allclose(fitted.epoch_s, true_s, atol=0.1)


def test_an_edge_is_the_same_alone_and_among_others() -> None:
    """However many are fitted with it, and however long they take."""
    dice = np.random.default_rng(3)
    t, truth = one_turn().positions()
    seen = truth + dice.normal(0.0, 3.0, truth.shape)
    trajectory, still = smooth(t, seen), np.zeros((100, 2))
    edges = [Edge(51.3 + off, True, 3.0, 0.75, 18.0, 20.0) for off in dice.uniform(-4.0, 4.0, 100)]
    together = fit_edges(trajectory, seen, still, edges)
    alone = np.concatenate([fit_edges(trajectory, seen, still[:1], [edge]).epoch_s for edge in edges])
    np.testing.assert_allclose(together.epoch_s, alone, atol=1e-6)
    assert np.ptp(alone) < 0.3


def test_no_edges_are_no_trouble() -> None:
    t, truth = one_turn().positions()
    assert len(fit_edges(smooth(t, truth), truth, np.empty((0, 2)), []).epoch_s) == 0


@pytest.mark.parametrize(
    ("interval_s", "noise_m", "median_s", "most_s"),
    [(1.0, 1.0, 0.2, 0.8), (1.0, 3.0, 0.35, 1.3), (0.5, 3.0, 0.3, 1.2), (2.0, 3.0, 0.45, 1.6), (5.0, 3.0, 0.7, 2.5)],
)
def test_errors_are_small_and_the_stated_ones_honest(
    interval_s: float, noise_m: float, median_s: float, most_s: float
) -> None:
    """40 turns of all kinds, 80 edges: median and 95 % error; the truth within two stated errors in 88 % and more."""
    errors, stated = [], []
    for seed in range(40):
        dice = np.random.default_rng(1000 + seed)
        flight = one_turn(
            roll_s=float(dice.uniform(2.5, 5.5)),
            change=float(dice.choice([-1, 1]) * dice.uniform(90, 200)),
            rate=float(dice.uniform(2.0, 4.0)),
            heading_deg=float(dice.uniform(0, 360)),
            tas_kt=float(dice.uniform(80, 200)),
        )
        fitted, true_s = fit(flight, interval_s=interval_s, noise_m=noise_m, seed=seed, guess_off_s=1.5)
        errors.extend(fitted.epoch_s - true_s)
        stated.extend(fitted.sd_s)
    error, sd = np.abs(errors), np.array(stated)
    assert np.median(error) < median_s
    assert np.quantile(error, 0.95) < most_s
    assert abs(np.mean(errors)) < 0.5 * most_s
    assert np.mean(error < 2 * sd) >= 0.88
    # Not honest by being endless.
    assert np.median(sd) < most_s


def test_the_stated_error_grows_with_noise_and_with_the_interval() -> None:
    flight = one_turn()
    by_noise = [fit(flight, noise_m=noise)[0].sd_s.mean() for noise in (1.0, 4.0, 12.0)]
    by_interval = [fit(flight, interval_s=interval)[0].sd_s.mean() for interval in (0.5, 2.0, 5.0)]
    assert by_noise == sorted(by_noise)
    assert by_interval == sorted(by_interval)


def test_a_guess_three_seconds_off_comes_back() -> None:
    errors = []
    for seed in range(10):
        fitted, true_s = fit(one_turn(), noise_m=1.0, seed=seed, guess_off_s=3.0)
        errors.extend(np.abs(fitted.epoch_s - true_s))
    assert np.median(errors) < 0.3
    assert max(errors) < 1.5
