"""When a turn begins and ends, to a fraction of a sample.

A smoother blurs the roll-in: its turn rate starts to rise too early and stops falling too late. Here each
edge of a turn is fitted to the raw positions with what an aircraft does there: straight flight, a turn rate that
changes evenly during the roll, a steady turn, all in air that moves with the wind; and, as small departures from
that, a bank that wanders and a pilot who eases onto a heading. The threshold crossing of the resulting rate is the
edge. Many edges are fitted at once (Gauss-Newton on padded arrays), each until its own fit gets no better.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trackgrade.motion.smoothing import Trajectory
from trackgrade.track.track import Floats, Rows

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
#: Reach of the window to either side of the edge [s]; the grid on which the model is integrated, and the finer one on
#: which its rate meets the threshold.
WINDOW_S, STEP_S, FINE_STEP_S = 20.0, 1.0, 0.5
ITERATIONS = 6
#: A step that lowers the cost by less than this share of it is the last.
LEAST_GAIN = 3e-4
#: Edges looked at together: the arrays of more leave the processor's cache, and the memory kept between steps.
AT_ONCE = 45
#: Parameters of the plain model: x, y, heading, airspeed, roll start, roll time, steady rate.
PLAIN = 7
#: The grid (g,), where on it the guess is, and the finer one (f,).
GRID_S = np.arange(-WINDOW_S - STEP_S, WINDOW_S + 2 * STEP_S, STEP_S)
GUESS = int(np.argmin(np.abs(GRID_S)))
FINE_S = np.arange(-WINDOW_S, WINDOW_S + FINE_STEP_S, FINE_STEP_S)
KNOTS_S = np.arange(-WINDOW_S + 2.0, WINDOW_S - 1.0, KNOT_S)


def _hats(time_s: Floats) -> Floats:
    """The hat functions of the wandering rate (t, h)."""
    return np.maximum(0.0, 1.0 - np.abs(time_s[:, None] - KNOTS_S) / KNOT_S)


#: The hats on the finer grid (f, h), and what each turns from the guess to the grid's times (g, h): knots lie on it.
HATS = _hats(FINE_S)
HAT_TURNS = (np.cumsum(_hats(GRID_S), axis=0) - _hats(GRID_S) / 2.0) * STEP_S
HAT_TURNS -= HAT_TURNS[GUESS]


class Edge(NamedTuple):
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


class FittedEdges(NamedTuple):
    """Per edge (e,): time, its standard error [s], signed steady rate [deg/s], chi-square per degree of freedom."""

    epoch_s: Floats
    sd_s: Floats
    rate_deg_s: Floats
    misfit: Floats


class _Problem(NamedTuple):
    """Everything about the edges that the fit does not change. Time is relative to the guess and runs backwards at the
    end of a turn (``direction`` (e,) -1), so that every edge is straight flight first.

    ``sums`` (e, m, g) adds up what changes at some rate on the grid, between the guess and each sample [s]. ``weigh``
    (e, m, 2, 2) turns a miss [m] into misses across and along the track in standard errors, 0 for padding; ``samples``
    (e,) are no padding.
    """

    sums: Floats
    seen_m: Floats
    weigh: Floats
    samples: Rows
    direction: Floats
    wind_m_s: Floats

    def of(self, edges: Rows) -> _Problem:
        """The same of some edges."""
        return _Problem._make(each[edges] for each in self)


def fit_edges(trajectory: Trajectory, raw_m: Floats, wind_m_s: Floats, edges: list[Edge]) -> FittedEdges:
    """Fit every edge. ``wind_m_s`` (e, 2): the wind (east, north, blowing towards) at each edge."""
    if not edges:
        nothing = np.empty(0)
        return FittedEdges(nothing, nothing, nothing, nothing)
    some = [slice(first, first + AT_ONCE) for first in range(0, len(edges), AT_ONCE)]
    fitted = [_fit(trajectory, raw_m, wind_m_s[each], edges[each]) for each in some]
    return FittedEdges(*(np.concatenate(each) for each in zip(*fitted)))


def _fit(
    trajectory: Trajectory, raw_m: Floats, wind_m_s: Floats, edges: list[Edge]
) -> tuple[Floats, Floats, Floats, Floats]:
    """What `FittedEdges` holds, of a few edges."""
    guess_s = np.array([edge.epoch_s for edge in edges])
    direction = np.array([1.0 if edge.into_turn else -1.0 for edge in edges])
    rate = np.radians([edge.rate_deg_s for edge in edges])
    threshold = np.radians([edge.threshold_deg_s for edge in edges])
    straight = np.array([edge.straight_s for edge in edges])
    problem = _problem(trajectory, raw_m, wind_m_s, edges, guess_s, direction)

    _, velocity, _ = trajectory.at(guess_s - direction * np.minimum(straight, 4.0))
    air = velocity - wind_m_s
    place, _, _ = trajectory.at(guess_s)
    theta = np.zeros((len(edges), PLAIN + len(KNOTS_S)))
    theta[:, 0:2] = place
    theta[:, 2] = np.arctan2(air[:, 0], air[:, 1])
    theta[:, 3] = np.hypot(air[:, 0], air[:, 1])
    theta[:, 4] = -ROLL_S * threshold / np.abs(rate)
    theta[:, 5] = ROLL_S
    theta[:, 6] = rate
    sd = np.empty_like(theta)
    sd[:, :PLAIN] = (1e4, 1e4, 10.0, AIRSPEED_SD_M_S, START_SD_S, ROLL_SD_S, np.radians(RATE_SD_DEG_S))
    sd[:, PLAIN:] = _wander_sd(direction)

    theta, normal, misfit = _gauss_newton(problem, theta, sd)
    crossing, slope = _crossing(theta, threshold)
    variance = np.sum(slope * np.linalg.solve(normal, slope[:, :, None])[:, :, 0], axis=1) * np.maximum(misfit, 1.0)
    return guess_s + direction * crossing, np.sqrt(variance), np.degrees(theta[:, 6]), misfit


def _problem(
    trajectory: Trajectory, raw_m: Floats, wind_m_s: Floats, edges: list[Edge], guess_s: Floats, direction: Floats
) -> _Problem:
    """Samples in padded windows about each edge."""
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
    return _Problem(
        sums=_until(tau[:, :, None]) - _until(np.zeros(1)),
        seen_m=raw_m[index],
        weigh=weigh,
        samples=np.count_nonzero(weight > 0.0, axis=1),
        direction=direction,
        wind_m_s=wind_m_s,
    )


def _until(tau: Floats) -> Floats:
    """How much each grid time counts in a sum over time up to ``tau`` (..., 1), linear in between: (..., g) [s]. The
    half step that each counts before it is left out.
    """
    within = np.clip(tau - GRID_S, -STEP_S, STEP_S)
    rounded = np.abs(within)
    rounded *= within
    rounded /= 2.0 * STEP_S
    within -= rounded
    return within


def _wander_sd(direction: Floats) -> Floats:
    """Prior standard deviations (e, h) of the departures of the rate [rad/s]."""
    sd = np.where(KNOTS_S > 0.0, WANDER_TURN_DEG_S, WANDER_STRAIGHT_DEG_S)
    easing = (KNOTS_S <= 0.0) & (KNOTS_S > -EASING_SPAN_S)
    eased = np.where(direction > 0, EASING_IN_DEG_S, EASING_OUT_DEG_S)
    return np.radians(np.where(easing[None, :], eased[:, None], sd[None, :]))


def _rate(theta: Floats) -> Floats:
    """Modelled turn rate (e, f) on the finer grid [rad/s], signed as in clock time."""
    start, roll, steady = theta[:, 4:5], theta[:, 5:6], theta[:, 6:7]
    return np.asarray(steady * np.clip((FINE_S - start) / roll, 0.0, 1.0) + theta[:, PLAIN:] @ HATS.T)


def _rolled(theta: Floats) -> tuple[Floats, Floats]:
    """How long the roll has gone on at each grid time, and how long the whole of the steady rate would have turned as
    much (e, g) [s]."""
    into, roll = GRID_S - theta[:, 4:5], theta[:, 5:6]
    rolling = np.minimum(np.maximum(into, 0.0), roll)
    return rolling, rolling**2 / (2 * roll) + np.maximum(into - roll, 0.0)


def _through_air(problem: _Problem, theta: Floats) -> Floats:
    """Velocity through the air (e, g, 2) on the grid, east and north [m/s]."""
    turned = theta[:, 6:7] * _rolled(theta)[1] + theta[:, PLAIN:] @ HAT_TURNS.T
    # Clock time runs against the grid's at the end of a turn: the heading there is reached by turning back.
    angle = theta[:, 2:3] + problem.direction[:, None] * turned
    return np.stack([np.sin(angle), np.cos(angle)], axis=2) * theta[:, 3, None, None]


def _weighed(problem: _Problem, miss_m: Floats) -> Floats:
    """Misses (e, m, 2, k), east and north, as across and along the track in standard errors (e, 2m, k)."""
    east, north = miss_m[:, :, None, 0], miss_m[:, :, None, 1]
    both = problem.weigh[..., :1] * east
    both += problem.weigh[..., 1:] * north
    return both.reshape(len(both), -1, both.shape[-1])


def _misses(problem: _Problem, theta: Floats) -> Floats:
    """Weighted misses (e, 2m) across and along the track."""
    sense = problem.direction[:, None, None]
    moved = problem.sums @ ((_through_air(problem, theta) + problem.wind_m_s[:, None]) * sense)
    return _weighed(problem, (theta[:, None, :2] + moved - problem.seen_m)[..., None])[..., 0]


def _slopes(problem: _Problem, theta: Floats) -> Floats:
    """The Jacobian (e, 2m, p) of the misses."""
    n, p = theta.shape
    sense = problem.direction[:, None, None]
    air = _through_air(problem, theta) * sense
    rolling, steadily = _rolled(theta)
    start, roll, steady = theta[:, 4:5], theta[:, 5:6], theta[:, 6:7]
    # Velocity's derivatives by all parameters but the place; by all but the airspeed they are across it.
    sideways = np.stack([air[:, :, 1], -air[:, :, 0]], axis=2)
    turning = sideways * sense
    flow = np.empty((n, len(GRID_S), 2, p - 2))
    flow[..., 0] = sideways
    flow[..., 1] = air / theta[:, 3, None, None]
    flow[..., 2] = turning * (-steady * rolling / roll)[..., None]
    by_roll = np.where(GRID_S - start < roll, rolling**2 / (2 * roll**2), 0.5)
    flow[..., 3] = turning * (-steady * by_roll)[..., None]
    flow[..., 4] = turning * steadily[..., None]
    np.multiply(turning[..., None], HAT_TURNS[:, None, :], out=flow[..., 5:])
    by = np.zeros((*problem.seen_m.shape, p))
    by[:, :, 0, 0] = by[:, :, 1, 1] = 1.0
    by[..., 2:] = (problem.sums @ flow.reshape(n, len(GRID_S), -1)).reshape(n, -1, 2, p - 2)
    return _weighed(problem, by)


def _gauss_newton(problem: _Problem, mean: Floats, sd: Floats) -> tuple[Floats, Floats, Floats]:
    """Least squares with priors about a first guess (e, p), damped where a step does not help; also the normal matrix
    and the misfit. An edge is left alone once a step lowers its cost no more."""
    theta, p = mean.copy(), mean.shape[1]
    damping = np.full(len(theta), 1e-3)
    residual = _misses(problem, theta)
    cost = np.sum(residual**2, axis=1)
    normal = np.empty((len(theta), p, p))
    left = np.arange(len(theta))
    for _ in range(ITERATIONS):
        its, off, precision = problem.of(left), theta[left] - mean[left], 1.0 / sd[left] ** 2
        jacobian = _slopes(its, theta[left])
        damped = np.swapaxes(jacobian, 1, 2) @ jacobian
        damped[:, np.arange(p), np.arange(p)] += precision
        normal[left] = damped
        damped[:, np.arange(p), np.arange(p)] *= 1.0 + damping[left, None]
        gradient = np.einsum("ekj,ek->ej", jacobian, residual[left]) + off * precision
        trial = theta[left] - np.linalg.solve(damped, gradient[:, :, None])[:, :, 0]
        trial[:, 5] = np.clip(trial[:, 5], SHORTEST_ROLL_S, LONGEST_ROLL_S)
        missed = _misses(its, trial)
        gain = cost[left] - np.sum(missed**2, axis=1) - np.sum((trial - mean[left]) ** 2 * precision, axis=1)
        better, goes_on = gain > 0.0, gain > LEAST_GAIN * cost[left]
        theta[left[better]], residual[left[better]] = trial[better], missed[better]
        cost[left[better]] -= gain[better]
        damping[left] *= np.where(better, 0.2, 10.0)
        left = left[goes_on | ~better]
        if not len(left):
            break
    freedom = np.maximum(2 * problem.samples - PLAIN, 1)
    return theta, normal, np.sum(residual**2, axis=1) / freedom


def _crossing(theta: Floats, threshold: Floats) -> tuple[Floats, Floats]:
    """Edge-relative times (e,) at which the modelled rate meets the threshold, and their slopes (e, p)."""
    sign = np.sign(theta[:, 6])[:, None]
    rate = _rate(theta) * sign - threshold[:, None]
    # Outward from where the roll is over: the last grid point below the threshold before that.
    reached = np.clip(theta[:, 4] + theta[:, 5], FINE_S[1], FINE_S[-1])
    below = (rate[:, :-1] < 0.0) & (rate[:, 1:] >= 0.0) & (FINE_S[None, :-1] <= reached[:, None] + 1.0)
    found = np.any(below, axis=1)
    k = np.where(found, below.shape[1] - 1 - np.argmax(below[:, ::-1], axis=1), 0)
    rows = np.arange(len(theta))
    lift = np.maximum(rate[rows, k + 1] - rate[rows, k], 1e-9)
    part = np.clip(-rate[rows, k] / lift, 0.0, 1.0)
    plain = theta[:, 4] + theta[:, 5] * np.clip(threshold / np.abs(theta[:, 6]), 0.0, 1.0)
    crossing = np.where(found, FINE_S[k] + part * FINE_STEP_S, plain)
    # Moving the rate up by d moves the crossing back by d over the rate's slope there.
    steepness = np.maximum(lift / FINE_STEP_S, np.abs(theta[:, 6]) / (2.0 * LONGEST_ROLL_S))
    share = np.clip((crossing - theta[:, 4]) / theta[:, 5], 0.0, 1.0)
    slope = np.zeros_like(theta)
    inside = (share > 0.0) & (share < 1.0)
    ramp = np.abs(theta[:, 6]) / theta[:, 5]
    slope[:, 4] = np.where(inside, ramp / steepness, 0.0)
    slope[:, 5] = np.where(inside, ramp * share / steepness, 0.0)
    slope[:, 6] = -sign[:, 0] * share / steepness
    hats = HATS[k] * (1.0 - part[:, None]) + HATS[np.minimum(k + 1, len(FINE_S) - 1)] * part[:, None]
    slope[:, PLAIN:] = -sign * hats / steepness[:, None]
    return np.asarray(crossing), slope
