"""When a turn begins and ends, to a fraction of a sample.

A smoother blurs the roll-in: its turn rate starts to rise too early and stops falling too late. Here each
edge of a turn is fitted to the raw positions with what an aircraft does there: straight flight, a turn rate that
changes evenly during the roll, a steady turn, all in air that moves with the wind; and, as small departures from
that, a bank that wanders and a pilot who eases onto a heading. The threshold crossing of the resulting rate is the
edge. All edges of a flight are fitted at once (Gauss-Newton on padded arrays).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from trackgrade.motion.smoothing import Trajectory

Floats = npt.NDArray[np.float64]

#: Rolling into and out of a turn takes 3 to 6 s (common practice, no source); prior mean and sd [s].
ROLL_S, ROLL_SD_S = 4.0, 1.5
SHORTEST_ROLL_S, LONGEST_ROLL_S = 1.0, 9.0
#: How far the roll's start, the steady rate and the airspeed may move from the smoothed trajectory's own estimate.
START_SD_S, RATE_SD_DEG_S, AIRSPEED_SD_M_S = 8.0, 0.5, 4.0
#: Departures of the rate from straight, roll, steady: knots this far apart [s], with these standard deviations [deg/s].
KNOT_S = 3.0
WANDER_STRAIGHT_DEG_S, WANDER_TURN_DEG_S = 0.15, 0.35
#: Just outside the end of a turn a pilot may ease onto the heading: more rate may be left over there.
EASING_SPAN_S, EASING_IN_DEG_S, EASING_OUT_DEG_S = 8.0, 0.2, 0.5
#: Reach of the window to either side of the edge [s]; the grid on which the model is integrated.
WINDOW_S, STEP_S = 20.0, 0.5
ITERATIONS = 6
#: Edges looked at together: the arrays of more leave the processor's cache, and take three times as long an edge.
AT_ONCE = 40
#: Parameters of the plain model: x, y, heading, airspeed, roll start, roll time, steady rate.
PLAIN = 7


@dataclass(frozen=True, eq=False)
class Edge:
    """A first guess of one edge, from the smoothed turn rate.

    ``into_turn``: True at the start of a turn, False at its end. ``rate_deg_s`` is the signed steady rate;
    ``threshold_deg_s`` the unsigned rate that bounds the turn; ``straight_s`` and ``turning_s`` how much
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
    """Per edge (e,): time, its standard error [s], signed steady rate [deg/s], chi-square per degree of freedom."""

    epoch_s: Floats
    sd_s: Floats
    rate_deg_s: Floats
    misfit: Floats


@dataclass(frozen=True, eq=False)
class _Problem:
    """Everything about the edges that the fit does not change. Time ``tau`` is relative to the guess and
    runs backwards at the end of a turn, so that every edge is straight flight first.

    ``weigh`` (e, m, 2, 2) turns a miss [m] into misses across and along the track in standard errors, 0 for padding;
    ``samples`` (e,) are no padding.
    """

    tau: Floats
    grid: Floats
    seen_m: Floats
    weigh: Floats
    samples: npt.NDArray[np.intp]
    direction: Floats
    wind_m_s: Floats
    hats: Floats

    def part(self, edges: slice) -> _Problem:
        """The same of some edges."""
        names = ("tau", "seen_m", "weigh", "samples", "direction", "wind_m_s")
        return replace(self, **{name: getattr(self, name)[edges] for name in names})


def fit_edges(trajectory: Trajectory, raw_m: Floats, wind_m_s: Floats, edges: list[Edge]) -> FittedEdges:
    """Fit every edge. ``wind_m_s`` (e, 2): the wind (east, north, blowing towards) at each edge."""
    if not edges:
        nothing = np.empty(0)
        return FittedEdges(nothing, nothing, nothing, nothing)
    guess_s = np.array([edge.epoch_s for edge in edges])
    direction = np.array([1.0 if edge.into_turn else -1.0 for edge in edges])
    rate = np.radians([edge.rate_deg_s for edge in edges])
    threshold = np.radians([edge.threshold_deg_s for edge in edges])
    straight = np.array([edge.straight_s for edge in edges])
    problem = _problem(trajectory, raw_m, wind_m_s, edges, guess_s, direction)

    _, velocity, _ = trajectory.at(guess_s - direction * np.minimum(straight, 4.0))
    air = velocity - wind_m_s
    place, _, _ = trajectory.at(guess_s)
    n_hats = problem.hats.shape[1]
    theta = np.zeros((len(edges), PLAIN + n_hats))
    theta[:, 0:2] = place
    theta[:, 2] = np.arctan2(air[:, 0], air[:, 1])
    theta[:, 3] = np.hypot(air[:, 0], air[:, 1])
    theta[:, 4] = -ROLL_S * threshold / np.abs(rate)
    theta[:, 5] = ROLL_S
    theta[:, 6] = rate
    mean = theta.copy()
    sd = np.empty_like(theta)
    sd[:, :PLAIN] = (1e4, 1e4, 10.0, AIRSPEED_SD_M_S, START_SD_S, ROLL_SD_S, np.radians(RATE_SD_DEG_S))
    sd[:, PLAIN:] = _wander_sd(problem, direction)

    theta, normal, misfit = _gauss_newton(problem, theta, mean, sd)
    covariance = np.linalg.inv(normal) * np.maximum(misfit, 1.0)[:, None, None]
    crossing, slope = _crossing(problem, theta, threshold)
    variance = np.einsum("ei,eij,ej->e", slope, covariance, slope)
    return FittedEdges(guess_s + direction * crossing, np.sqrt(variance), np.degrees(theta[:, 6]), misfit)


def _problem(
    trajectory: Trajectory, raw_m: Floats, wind_m_s: Floats, edges: list[Edge], guess_s: Floats, direction: Floats
) -> _Problem:
    """Samples in padded windows about each edge, and the hat functions of the wandering rate."""
    straight = np.array([edge.straight_s for edge in edges])
    turning = np.array([edge.turning_s for edge in edges])
    before = np.where(direction > 0, straight, turning)
    after = np.where(direction > 0, turning, straight)
    first = np.searchsorted(trajectory.time_s, guess_s - before)
    last = np.searchsorted(trajectory.time_s, guess_s + after, side="right")
    index = first[:, None] + np.arange(max(int(np.max(last - first)), 1))
    inside = index < last[:, None]
    index = np.minimum(index, len(trajectory.time_s) - 1)
    # Padding repeats the last sample with no weight; its time is kept inside the grid.
    tau = np.clip((trajectory.time_s[index] - guess_s[:, None]) * direction[:, None], -WINDOW_S, WINDOW_S)
    velocity = trajectory.velocity_m_s[index]
    speed = np.maximum(np.hypot(velocity[..., 0], velocity[..., 1]), 1e-6)
    unit = velocity / speed[..., None]
    across = np.stack([-unit[..., 1], unit[..., 0]], axis=2) / trajectory.noise_cross_m
    weight = np.where(inside, trajectory.weight[index], 0.0)
    weigh = np.stack([across, unit / trajectory.noise_along_m], axis=2) * np.sqrt(weight)[:, :, None, None]
    grid = np.arange(-WINDOW_S - STEP_S, WINDOW_S + 2 * STEP_S, STEP_S)
    knots = np.arange(-WINDOW_S + 2.0, WINDOW_S - 1.0, KNOT_S)
    hats = np.maximum(0.0, 1.0 - np.abs(grid[:, None] - knots[None, :]) / KNOT_S)
    return _Problem(
        tau,
        grid,
        raw_m[index],
        weigh,
        np.count_nonzero(weight > 0.0, axis=1),
        direction,
        wind_m_s,
        hats,
    )


def _wander_sd(problem: _Problem, direction: Floats) -> Floats:
    """Prior standard deviations (e, h) of the departures of the rate [rad/s]."""
    knots = problem.grid[np.argmax(problem.hats, axis=0)]
    sd = np.where(knots > 0.0, WANDER_TURN_DEG_S, WANDER_STRAIGHT_DEG_S)
    easing = (knots <= 0.0) & (knots > -EASING_SPAN_S)
    eased = np.where(direction > 0, EASING_IN_DEG_S, EASING_OUT_DEG_S)
    return np.radians(np.where(easing[None, :], eased[:, None], sd[None, :]))


def _rate(problem: _Problem, theta: Floats) -> Floats:
    """Modelled turn rate (e, g) on the grid [rad/s], signed as in clock time."""
    start, roll, steady = theta[:, 4:5], theta[:, 5:6], theta[:, 6:7]
    return np.asarray(steady * np.clip((problem.grid - start) / roll, 0.0, 1.0) + theta[:, PLAIN:] @ problem.hats.T)


def _residuals(problem: _Problem, theta: Floats) -> tuple[Floats, Floats]:
    """Weighted misses (e, 2m) across and along the track, and their Jacobian (e, 2m, p)."""
    if len(theta) <= AT_ONCE:
        return _residuals_of_some(problem, theta)
    some = [slice(first, first + AT_ONCE) for first in range(0, len(theta), AT_ONCE)]
    misses, jacobians = zip(*(_residuals_of_some(problem.part(each), theta[each]) for each in some))
    return np.concatenate(misses), np.concatenate(jacobians)


def _residuals_of_some(problem: _Problem, theta: Floats) -> tuple[Floats, Floats]:
    grid, zero = problem.grid, int(np.argmin(np.abs(problem.grid)))
    start, roll, steady = theta[:, 4:5], theta[:, 5:6], theta[:, 6:7]
    into = grid[None, :] - start
    rolling = np.clip(into, 0.0, roll)
    turned = steady * (rolling**2 / (2 * roll) + np.maximum(into - roll, 0.0))
    # Heading's derivatives by roll start, roll time, steady rate; the hats' integrals are their own.
    by_start = -steady * rolling / roll
    by_roll = -steady * np.where(into < roll, rolling**2 / (2 * roll**2), 0.5)
    by_rate = turned / steady
    hat_angle = np.cumsum(problem.hats, axis=0) * STEP_S
    hat_angle = hat_angle - hat_angle[zero]
    # Clock time runs against tau at the end of a turn: the heading there is reached by turning back.
    sense = problem.direction[:, None]
    angle = theta[:, 2:3] + sense * (turned + theta[:, PLAIN:] @ hat_angle.T)
    sine, cosine = np.sin(angle), np.cos(angle)
    speed = theta[:, 3:4]
    n, p = len(theta), theta.shape[1]
    # Velocity, and its derivatives by all parameters but the place; their sums over time are the place and its own.
    flow = np.empty((n, len(grid), 2, p - 1))
    flow[:, :, 0, -1] = (speed * sine + problem.wind_m_s[:, :1]) * sense
    flow[:, :, 1, -1] = (speed * cosine + problem.wind_m_s[:, 1:]) * sense
    flow[:, :, 0, 1], flow[:, :, 1, 1] = sine * sense, cosine * sense
    sideways = np.stack([speed * cosine, -speed * sine], axis=2) * sense[:, :, None]
    flow[:, :, :, 0] = sideways
    for j, derivative in ((2, by_start), (3, by_roll), (4, by_rate)):
        flow[:, :, :, j] = sideways * (sense * derivative)[:, :, None]
    np.multiply((sideways * sense[:, :, None])[..., None], hat_angle[:, None, :], out=flow[:, :, :, PLAIN - 2 : -1])
    summed = _running_sums(flow)
    cell = np.clip(((problem.tau - grid[0]) / STEP_S).astype(int), 0, len(grid) - 2)
    part = ((problem.tau - grid[cell]) / STEP_S)[:, :, None, None]
    rows = np.arange(n)[:, None]
    here, there = flow[rows, cell], flow[rows, cell + 1]
    # Trapezes from the guess to the cell, and into it.
    origin = (summed[:, zero] - flow[:, zero] / 2.0)[:, None]
    moved = STEP_S * (summed[rows, cell] - origin + here * (part - 0.5) + (there - here) * (part**2 / 2.0))
    miss = np.zeros((*problem.tau.shape, 2, p + 1))
    miss[:, :, 0, 0] = miss[:, :, 1, 1] = 1.0
    miss[:, :, :, 2:] = moved
    miss[:, :, :, p] += theta[:, None, :2] - problem.seen_m
    both = (problem.weigh @ miss).reshape(n, -1, p + 1)
    return both[:, :, p], both[:, :, :p]


def _running_sums(values: Floats) -> Floats:
    """As ``numpy.cumsum(values, axis=1)``, which goes through memory once a column: eight times as long here."""
    sums = values.copy()
    for k in range(1, values.shape[1]):
        sums[:, k] += sums[:, k - 1]
    return sums


def _gauss_newton(problem: _Problem, theta: Floats, mean: Floats, sd: Floats) -> tuple[Floats, Floats, Floats]:
    """Least squares with priors, damped where a step does not help; also the normal matrix and the misfit."""
    p = theta.shape[1]
    damping = np.full(len(theta), 1e-3)
    residual, jacobian = _residuals(problem, theta)
    cost = np.sum(residual**2, axis=1) + np.sum(((theta - mean) / sd) ** 2, axis=1)
    normal = np.empty(0)
    for _ in range(ITERATIONS):
        normal = np.swapaxes(jacobian, 1, 2) @ jacobian
        normal[:, np.arange(p), np.arange(p)] += 1.0 / sd**2
        gradient = np.einsum("ekj,ek->ej", jacobian, residual) + (theta - mean) / sd**2
        damped = normal.copy()
        damped[:, np.arange(p), np.arange(p)] *= 1.0 + damping[:, None]
        trial = theta - np.linalg.solve(damped, gradient[:, :, None])[:, :, 0]
        trial[:, 5] = np.clip(trial[:, 5], SHORTEST_ROLL_S, LONGEST_ROLL_S)
        new_residual, new_jacobian = _residuals(problem, trial)
        new_cost = np.sum(new_residual**2, axis=1) + np.sum(((trial - mean) / sd) ** 2, axis=1)
        better = new_cost < cost
        if not np.any(better & (cost - new_cost > 1e-3 * cost)):
            break
        theta = np.where(better[:, None], trial, theta)
        residual = np.where(better[:, None], new_residual, residual)
        jacobian = np.where(better[:, None, None], new_jacobian, jacobian)
        cost = np.where(better, new_cost, cost)
        damping = np.where(better, damping / 5, damping * 10)
    freedom = np.maximum(2 * problem.samples - PLAIN, 1)
    return theta, normal, np.sum(residual**2, axis=1) / freedom


def _crossing(problem: _Problem, theta: Floats, threshold: Floats) -> tuple[Floats, Floats]:
    """Edge-relative times (e,) at which the modelled rate meets the threshold, and their slopes (e, p)."""
    sign = np.sign(theta[:, 6])[:, None]
    rate = _rate(problem, theta) * sign - threshold[:, None]
    grid = problem.grid
    # Outward from where the roll is over: the last grid point below the threshold before that.
    reached = np.clip(theta[:, 4] + theta[:, 5], grid[1], grid[-1])
    below = (rate[:, :-1] < 0.0) & (rate[:, 1:] >= 0.0) & (grid[None, :-1] <= reached[:, None] + 1.0)
    found = np.any(below, axis=1)
    k = np.where(found, below.shape[1] - 1 - np.argmax(below[:, ::-1], axis=1), 0)
    rows = np.arange(len(theta))
    lift = np.maximum(rate[rows, k + 1] - rate[rows, k], 1e-9)
    part = np.clip(-rate[rows, k] / lift, 0.0, 1.0)
    plain = theta[:, 4] + theta[:, 5] * np.clip(threshold / np.abs(theta[:, 6]), 0.0, 1.0)
    crossing = np.where(found, grid[k] + part * STEP_S, plain)
    # Moving the rate up by d moves the crossing back by d over the rate's slope there.
    steepness = np.maximum(lift / STEP_S, np.abs(theta[:, 6]) / (2.0 * LONGEST_ROLL_S))
    share = np.clip((crossing - theta[:, 4]) / theta[:, 5], 0.0, 1.0)
    slope = np.zeros_like(theta)
    inside = (share > 0.0) & (share < 1.0)
    ramp = np.abs(theta[:, 6]) / theta[:, 5]
    slope[:, 4] = np.where(inside, ramp / steepness, 0.0)
    slope[:, 5] = np.where(inside, ramp * share / steepness, 0.0)
    slope[:, 6] = -sign[:, 0] * share / steepness
    hats = problem.hats[k] * (1.0 - part[:, None]) + problem.hats[np.minimum(k + 1, len(grid) - 1)] * part[:, None]
    slope[:, PLAIN:] = -sign * hats / steepness[:, None]
    return np.asarray(crossing), slope
