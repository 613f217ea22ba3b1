"""When a turn begins and ends, to a fraction of a sample.

A smoother blurs the roll-in: its turn rate starts to rise too early and stops falling too late. Here each
edge of a turn is fitted to the raw positions with what an aircraft does there: straight flight, a turn rate that rises
evenly during the roll-in, then a steady turn, all in air that moves with the wind. The threshold
crossing of that rate is the edge. All edges of a flight are fitted at once (Gauss-Newton on padded arrays).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trackgrade.motion.smoothing import Trajectory

Floats = npt.NDArray[np.float64]

#: Rolling into a turn takes 3 to 6 s (common practice, no source); prior mean and sd [s].
ROLL_S, ROLL_SD_S = 4.0, 1.5
#: How far the other quantities may move from the smoothed trajectory's own estimate.
START_SD_S, RATE_SD_DEG_S, AIRSPEED_SD_M_S, STRAIGHT_RATE_SD_DEG_S = 8.0, 0.5, 4.0, 0.05
#: Window before and after the edge [s], and the least number of samples on each side.
BEFORE_S, AFTER_S = 18.0, 20.0
STEP_S = 0.25
ITERATIONS = 6
#: Parameters: x, y, heading, airspeed, ramp start, ramp time, steady rate, straight rate.
N_PARAMETERS = 8


@dataclass(frozen=True, eq=False)
class Edge:
    """A first guess of one edge, from the smoothed turn rate.

    ``into_turn``: True at the start of a turn, False at its end. ``rate_deg_s`` is the signed steady rate;
    ``threshold_deg_s`` the unsigned rate that bounds the turn; ``before_s`` and ``after_s`` how much
    straight flight and how much of the turn may be used.
    """

    epoch_s: float
    into_turn: bool
    rate_deg_s: float
    threshold_deg_s: float
    straight_s: float
    turning_s: float


@dataclass(frozen=True, eq=False)
class FittedEdges:
    """Per edge: time, standard error [s], roll-in time [s], steady rate [deg/s], and the fit's chi-square per sample."""

    epoch_s: Floats
    sd_s: Floats
    roll_s: Floats
    rate_deg_s: Floats
    misfit: Floats


def fit_edges(
    trajectory: Trajectory, raw_m: Floats, wind_m_s: Floats, edges: list[Edge]
) -> FittedEdges:
    """Fit every edge. ``wind_m_s`` (e, 2): the wind (east, north, blowing towards) at each edge."""
    if not edges:
        nothing = np.empty(0)
        return FittedEdges(nothing, nothing, nothing, nothing, nothing)
    guess_s = np.array([edge.epoch_s for edge in edges])
    # Time runs backwards at the end of a turn, so that every edge is straight flight first.
    direction = np.array([1.0 if edge.into_turn else -1.0 for edge in edges])
    rate = np.radians([edge.rate_deg_s for edge in edges])
    threshold = np.radians([edge.threshold_deg_s for edge in edges])
    straight = np.array([edge.straight_s for edge in edges])
    turning = np.array([edge.turning_s for edge in edges])

    tau, seen, across, weight = _windows(trajectory, raw_m, guess_s, direction, straight, turning)
    _, velocity, _ = trajectory.at(guess_s - direction * np.minimum(straight, 4.0))
    air = velocity - wind_m_s
    # The heading of the straight part, a few seconds away from the edge.
    heading = np.arctan2(air[:, 0], air[:, 1])
    airspeed = np.hypot(air[:, 0], air[:, 1])
    middle, _, _ = trajectory.at(guess_s)

    steady = np.abs(rate)
    ramp_start = -ROLL_S * threshold / steady
    parameters = np.stack(
        [
            middle[:, 0],
            middle[:, 1],
            heading,
            airspeed,
            ramp_start,
            np.full_like(heading, ROLL_S),
            rate,
            np.zeros_like(heading),
        ],
        axis=1,
    )
    prior_mean = parameters.copy()
    prior_sd = np.tile(
        [
            1e4,
            1e4,
            10.0,
            AIRSPEED_SD_M_S,
            START_SD_S,
            ROLL_SD_S,
            np.radians(RATE_SD_DEG_S),
            np.radians(STRAIGHT_RATE_SD_DEG_S),
        ],
        (len(edges), 1),
    )
    step = np.array([1.0, 1.0, 1e-3, 0.1, 0.02, 0.02, 1e-4, 1e-4])

    def residuals(theta: Floats) -> Floats:
        modelled = _positions(theta, tau, direction, wind_m_s)
        gap = seen - modelled
        along = np.sum(gap * across[:, :, ::-1] * (-1.0, 1.0), axis=2)
        cross = np.sum(gap * across, axis=2)
        root = np.sqrt(weight)
        data = np.concatenate(
            [cross * root / trajectory.noise_cross_m, along * root / trajectory.noise_along_m], axis=1
        )
        return np.concatenate([data, (theta - prior_mean) / prior_sd], axis=1)

    normal = np.zeros((len(edges), N_PARAMETERS, N_PARAMETERS))
    current = residuals(parameters)
    cost = np.sum(current**2, axis=1)
    damping = np.full(len(edges), 1e-3)
    for _ in range(ITERATIONS):
        jacobian = np.empty((*current.shape, N_PARAMETERS))
        for j in range(N_PARAMETERS):
            moved = parameters.copy()
            moved[:, j] += step[j]
            jacobian[:, :, j] = (residuals(moved) - current) / step[j]
        normal = np.swapaxes(jacobian, 1, 2) @ jacobian
        gradient = np.einsum("ekj,ek->ej", jacobian, current)
        diagonal = np.einsum("ejj->ej", normal)
        damped = normal + np.eye(N_PARAMETERS) * (damping[:, None] * diagonal)[:, None, :]
        trial = parameters - np.linalg.solve(damped, gradient[:, :, None])[:, :, 0]
        trial[:, 5] = np.clip(trial[:, 5], 1.0, 9.0)
        trial_residuals = residuals(trial)
        trial_cost = np.sum(trial_residuals**2, axis=1)
        better = trial_cost < cost
        parameters[better], current[better], cost[better] = (
            trial[better],
            trial_residuals[better],
            trial_cost[better],
        )
        damping = np.where(better, damping / 5, damping * 10)

    count = np.sum(weight > 0, axis=1)
    freedom = np.maximum(2 * count - 6, 1)
    misfit = np.sum(current[:, :-N_PARAMETERS] ** 2, axis=1) / freedom
    covariance = np.linalg.inv(normal) * np.maximum(misfit, 1.0)[:, None, None]
    # Threshold crossing: start + roll * threshold / steady.
    share = np.clip(threshold / np.abs(parameters[:, 6]), 0.0, 1.0)
    crossing = parameters[:, 4] + parameters[:, 5] * share
    slope = np.zeros((len(edges), N_PARAMETERS))
    slope[:, 4], slope[:, 5] = 1.0, share
    variance = np.einsum("ei,eij,ej->e", slope, covariance, slope)
    return FittedEdges(
        guess_s + direction * crossing,
        np.sqrt(variance),
        parameters[:, 5],
        np.degrees(parameters[:, 6]),
        misfit,
    )


def _windows(
    trajectory: Trajectory,
    raw_m: Floats,
    guess_s: Floats,
    direction: Floats,
    straight: Floats,
    turning: Floats,
) -> tuple[Floats, Floats, Floats, Floats]:
    """Padded samples about each edge: edge-relative time, positions, unit normals, weights (0 where padded)."""
    before = np.where(direction > 0, straight, turning)
    after = np.where(direction > 0, turning, straight)
    first = np.searchsorted(trajectory.time_s, guess_s - before)
    last = np.searchsorted(trajectory.time_s, guess_s + after, side="right")
    width = max(int(np.max(last - first)), 1)
    index = first[:, None] + np.arange(width)
    inside = index < last[:, None]
    index = np.minimum(index, len(trajectory.time_s) - 1)
    tau = (trajectory.time_s[index] - guess_s[:, None]) * direction[:, None]
    velocity = trajectory.velocity_m_s[index]
    speed = np.maximum(np.hypot(velocity[..., 0], velocity[..., 1]), 1e-6)
    across = np.stack([-velocity[..., 1], velocity[..., 0]], axis=2) / speed[..., None]
    return tau, raw_m[index], across, np.where(inside, trajectory.weight[index], 0.0)


def _positions(theta: Floats, tau: Floats, direction: Floats, wind_m_s: Floats) -> Floats:
    """Model positions (e, m, 2) at edge-relative times (e, m)."""
    low, high = float(np.min(tau)) - STEP_S, float(np.max(tau)) + STEP_S
    grid = np.arange(np.floor(low / STEP_S), np.ceil(high / STEP_S) + 1) * STEP_S
    x, y, heading, airspeed, start, roll, rate, straight_rate = (theta[:, j : j + 1] for j in range(N_PARAMETERS))
    into = np.clip(grid[None, :] - start, 0.0, None)
    rolled = np.where(into < roll, into**2 / (2 * roll), into - roll / 2)
    # Clock time runs against tau at the end of a turn: the heading there is reached by turning back.
    angle = heading + direction[:, None] * (rate * rolled + straight_rate * grid[None, :])
    velocity_x = (airspeed * np.sin(angle) + wind_m_s[:, :1]) * direction[:, None]
    velocity_y = (airspeed * np.cos(angle) + wind_m_s[:, 1:]) * direction[:, None]
    zero = int(np.argmin(np.abs(grid)))
    position = []
    cell = np.clip(((tau - grid[0]) / STEP_S).astype(int), 0, len(grid) - 2)
    part = (tau - grid[cell]) / STEP_S
    rows = np.arange(len(theta))[:, None]
    for start_value, velocity in ((x, velocity_x), (y, velocity_y)):
        integral = np.concatenate(
            [np.zeros((len(theta), 1)), np.cumsum((velocity[:, 1:] + velocity[:, :-1]) / 2 * STEP_S, axis=1)], axis=1
        )
        integral = integral - integral[:, zero : zero + 1] + start_value
        v0, v1 = velocity[rows, cell], velocity[rows, cell + 1]
        position.append(integral[rows, cell] + STEP_S * (v0 * part + (v1 - v0) * part**2 / 2))
    return np.stack(position, axis=2)
