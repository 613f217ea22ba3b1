"""A smooth trajectory through noisy positions at uneven times.

The aircraft is taken to move with white jerk (an integrated Wiener process on acceleration), seen
through position noise. The most likely trajectory under that model is a banded least-squares
problem, solved by one Cholesky factorisation: the same answer as a Kalman filter followed by a
Rauch-Tung-Striebel smoother, without a loop over the samples.

The jerk density is set by physics, not by the data: a hold's turns need 2.5 to 6 m/s2 across the
track and are rolled into in 3 to 6 s, so jerk stays near 1 m/s3 for a second or so. The bandwidth goes with its
sixth root, so the value is not critical. Position noise is estimated from the data, along and across
the track apart: time-stamp jitter shows along the track only.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded

from trackgrade.track.ranks import median, quantile
from trackgrade.track.track import Floats

#: Spectral density of the jerk [m2/s5]: about 1 m/s3 kept for about 1 s.
JERK_DENSITY_M2_S5 = 1.0
#: The least noise believed [m]: rounding of positions to five decimals alone gives 0.3 m.
LEAST_NOISE_M = 0.3
#: A residual beyond this many standard deviations loses weight (Student-t with these degrees of freedom).
STUDENT_DEGREES = 4.0
PASSES = 3
#: Noise along and across the track this near to each other is one noise: the estimates differ by as much by chance.
SAME_NOISE = 1.2
#: A step this many times the usual one is a hole; its ends are open for this many response times of the smoother.
HOLE_STEPS, HOLE_SETTLING = 4.0, 1.7
#: What the states at the start and end of a step h say of themselves and of each other where a white jerk of density q
#: is integrated three times: precisions of derivatives i and j, times q h**(5 - i - j).
START_START = np.array([[720.0, 360.0, 60.0], [360.0, 192.0, 36.0], [60.0, 36.0, 9.0]])
START_END = np.array([[-720.0, 360.0, -60.0], [-360.0, 168.0, -24.0], [-60.0, 24.0, -3.0]])
END_END = np.array([[720.0, -360.0, 60.0], [-360.0, 192.0, -36.0], [60.0, -36.0, 9.0]])
#: A trace of prior on each state keeps the matrix positive definite for poor tracks.
LEAST_VELOCITY_PRECISION, LEAST_ACCELERATION_PRECISION = 1e-12, 1e-8


class Trajectory(NamedTuple):
    """Position, velocity and acceleration at the sample times, and between them.

    Parameters
    ----------
    time_s : array (n,), strictly increasing            [s]
    position_m, velocity_m_s, acceleration_m_s2 : arrays (n, 2)
    noise_cross_m, noise_along_m : float
        Standard deviation of a single raw position across and along the track.
    weight : array (n,)
        1 for an ordinary sample, towards 0 for an outlier.
    """

    time_s: Floats
    position_m: Floats
    velocity_m_s: Floats
    acceleration_m_s2: Floats
    noise_cross_m: float
    noise_along_m: float
    weight: Floats

    def at(self, time_s: Floats) -> tuple[Floats, Floats, Floats]:
        """Position, velocity, acceleration (k, 2) at times (k,) inside the record: a quintic between samples."""
        if np.array_equal(time_s, self.time_s):  # an even log of 1 Hz is its own grid
            return self.position_m, self.velocity_m_s, self.acceleration_m_s2
        k = np.clip(np.searchsorted(self.time_s, time_s, side="right") - 1, 0, len(self.time_s) - 2)
        h = (self.time_s[k + 1] - self.time_s[k])[:, None]
        u = ((time_s - self.time_s[k])[:, None]) / h
        p0, v0, a0 = self.position_m[k], self.velocity_m_s[k] * h, self.acceleration_m_s2[k] * h * h
        p1, v1, a1 = self.position_m[k + 1], self.velocity_m_s[k + 1] * h, self.acceleration_m_s2[k + 1] * h * h
        # Quintic Hermite coefficients: match position, velocity, acceleration at both ends.
        d = p1 - p0
        c2 = a0 / 2
        c3 = 10 * d - 6 * v0 - 4 * v1 - 1.5 * a0 + 0.5 * a1
        c4 = -15 * d + 8 * v0 + 7 * v1 + 1.5 * a0 - a1
        c5 = 6 * d - 3 * v0 - 3 * v1 - 0.5 * a0 + 0.5 * a1
        position = p0 + u * (v0 + u * (c2 + u * (c3 + u * (c4 + u * c5))))
        velocity = (v0 + u * (2 * c2 + u * (3 * c3 + u * (4 * c4 + u * 5 * c5)))) / h
        acceleration = (2 * c2 + u * (6 * c3 + u * (12 * c4 + u * 20 * c5))) / (h * h)
        return position, velocity, acceleration

    def position_sd_m(self, time_s: Floats) -> tuple[Floats, Floats]:
        """Standard errors across and along the track [m] at times (k,): smoothed noise, and what a hole leaves open.

        Between samples the model is a bridge: variance q*(t*(T-t)/T)**5/20. At samples the posterior
        variance of the continuous-time smoother, noise**2 * dt * w/3 with w = (q/(noise**2 dt))**(1/6),
        never more than a single position's own. At the ends of a hole velocity and acceleration are not known
        exactly either: the bridge begins `HOLE_SETTLING` / w earlier (within a sixth of a Kalman smoother's errors).
        """
        k = np.clip(np.searchsorted(self.time_s, time_s, side="right") - 1, 0, len(self.time_s) - 2)
        gap_s = self.time_s[k + 1] - self.time_s[k]
        into_s = np.clip(time_s - self.time_s[k], 0.0, gap_s)
        usual_s = median(np.diff(self.time_s))
        hole = gap_s > HOLE_STEPS * usual_s

        def error(noise_m: float) -> Floats:
            settling_s = HOLE_SETTLING * (noise_m**2 * usual_s / JERK_DENSITY_M2_S5) ** (1.0 / 6.0)
            across_hole = _bridge_m2(into_s + settling_s, gap_s + 2.0 * settling_s)
            between = smoothed_variance_m2(noise_m, gap_s) + _bridge_m2(into_s, gap_s)
            return np.asarray(np.sqrt(np.where(hole, np.maximum(across_hole, between), between)))

        return error(self.noise_cross_m), error(self.noise_along_m)


def _bridge_m2(into_s: Floats, gap_s: Floats) -> Floats:
    """Variance [m2] of a position ``into_s`` after one end of a bridge over ``gap_s``, its ends known exactly."""
    return np.asarray(JERK_DENSITY_M2_S5 / 20.0 * (into_s * (gap_s - into_s) / gap_s) ** 5)


def smoothed_variance_m2(noise_m: float, interval_s: Floats) -> Floats:
    """Variance [m2] of a smoothed position, for samples ``interval_s`` apart with ``noise_m`` each."""
    density = noise_m**2 * interval_s
    rate = (JERK_DENSITY_M2_S5 / density) ** (1.0 / 6.0)
    return np.minimum(density * rate / 3.0, noise_m**2)


def smoothed_acceleration_sd_m_s2(noise_m: float, interval_s: Floats) -> Floats:
    """Standard error [m/s2] of a smoothed acceleration from noise: variance noise**2 dt w**5 / 3 (same model).

    Never more than a plain second difference of the samples has, which is what sparse sampling comes to.
    """
    density = noise_m**2 * interval_s
    rate = (JERK_DENSITY_M2_S5 / density) ** (1.0 / 6.0)
    return np.asarray(np.minimum(np.sqrt(density * rate**5 / 3.0), np.sqrt(6.0) * noise_m / interval_s**2))


def noise_from_differences(time_s: Floats, position_m: Floats) -> tuple[float, float]:
    """Noise of single positions across and along the track [m], from third divided differences.

    A third difference cancels straight, accelerating and (nearly) circular flight and keeps the noise.
    A low quantile is used, since at 5 s sampling whole turns show through; on straight legs they do not.
    """
    n = len(time_s)
    if n < 8:
        return 3.0, 3.0
    t = np.stack([time_s[i : n - 3 + i] for i in range(4)])
    weights = np.empty_like(t)
    for i in range(4):
        others = [j for j in range(4) if j != i]
        weights[i] = 1.0 / np.prod([t[i] - t[j] for j in others], axis=0)
    weights /= np.sqrt(np.sum(weights**2, axis=0))
    difference = sum(weights[i][:, None] * position_m[i : n - 3 + i] for i in range(4))
    direction = position_m[3:] - position_m[:-3]
    length = np.hypot(direction[:, 0], direction[:, 1])
    moving = (length > 5.0) & (t[3] - t[0] < 90.0)
    if np.count_nonzero(moving) < 8:
        return 3.0, 3.0
    unit = direction[moving] / length[moving][:, None]
    residual = np.asarray(difference)[moving]
    along = np.abs(np.sum(residual * unit, axis=1))
    cross = np.abs(residual[:, 1] * unit[:, 0] - residual[:, 0] * unit[:, 1])
    # 0.31864 is the 25 % point of |N(0, 1)|.
    return (
        float(max(quantile(cross, 0.25) / 0.31864, LEAST_NOISE_M)),
        float(max(quantile(along, 0.25) / 0.31864, LEAST_NOISE_M)),
    )


def smooth(
    time_s: Floats,
    position_m: Floats,
    jerk_density_m2_s5: float = JERK_DENSITY_M2_S5,
    like: Trajectory | None = None,
) -> Trajectory:
    """Most likely trajectory through positions (n, 2) [m] at times (n,) [s], strictly increasing, n >= 4.

    A smaller ``jerk_density_m2_s5`` gives a calmer trajectory that reacts later. ``like``: an earlier trajectory
    through the same positions, whose noise, directions and outliers are taken over.

    Raises
    ------
    ValueError
        Fewer than four samples.
    """
    if len(time_s) < 4:
        raise ValueError("a trajectory needs at least four positions")
    if like is None:
        cross_m, along_m = noise_from_differences(time_s, position_m)
        unit, weight, passes = _directions(time_s, position_m), np.ones(len(time_s)), PASSES
    else:
        cross_m, along_m = like.noise_cross_m, like.noise_along_m
        unit, weight, passes = _unit(like.velocity_m_s, _directions(time_s, position_m)), like.weight, 1
    prior = _prior(time_s, jerk_density_m2_s5)
    state = np.empty(0)
    for _ in range(passes):
        if max(cross_m, along_m) <= SAME_NOISE * min(cross_m, along_m):  # round noise: the axes part
            state = _solve_apart(prior, weight / (cross_m * along_m), position_m)
        else:
            state = _solve(prior, _measurement_precision(unit, cross_m, along_m, weight), position_m)
        unit = _unit(state[:, 1], unit)
        residual = position_m - state[:, 0]
        along = (residual[:, 0] * unit[:, 0] + residual[:, 1] * unit[:, 1]) / along_m
        cross = (residual[:, 1] * unit[:, 0] - residual[:, 0] * unit[:, 1]) / cross_m
        weight = np.minimum((STUDENT_DEGREES + 2.0) / (STUDENT_DEGREES + along**2 + cross**2), 1.0)
    return Trajectory(time_s, state[:, 0], state[:, 1], state[:, 2], cross_m, along_m, weight)


def _unit(velocity_m_s: Floats, otherwise: Floats) -> Floats:
    """Unit vectors (n, 2) of a velocity; ``otherwise`` where it is too slow to have a direction."""
    speed = np.hypot(velocity_m_s[:, 0], velocity_m_s[:, 1])
    return np.where((speed > 5.0)[:, None], velocity_m_s / np.maximum(speed, 1e-9)[:, None], otherwise)


def _directions(time_s: Floats, position_m: Floats) -> Floats:
    """Unit vectors (n, 2) of the motion, from central differences of the raw positions."""
    step = np.gradient(position_m, time_s, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    unit = step / np.maximum(length, 1e-9)[:, None]
    unit[length < 1e-9] = (1.0, 0.0)
    return np.asarray(unit)


def _prior(time_s: Floats, q: float) -> Floats:
    """The prior's precision of one axis (n, 3, 6), in lower band form: [sample, column, row - column]."""
    h = np.diff(time_s)
    shares = np.cumprod([1.0 / (q * h), *[1.0 / h] * 4], axis=0)  # (5, n-1): over each power of the step
    prior = np.zeros((len(time_s), 3, 6))
    for i, j in np.ndindex(3, 3):
        power = shares[4 - i - j]
        if j >= i:
            prior[:-1, i, j - i] += START_START[i, j] * power
            prior[1:, i, j - i] += END_END[i, j] * power
        prior[:-1, i, 3 + j - i] = START_END[i, j] * power
    prior[:, 1, 0] += LEAST_VELOCITY_PRECISION
    prior[:, 2, 0] += LEAST_ACCELERATION_PRECISION
    return prior


def _measurement_precision(unit: Floats, cross_m: float, along_m: float, weight: Floats) -> Floats:
    """Precision matrices (n, 2, 2) of the raw positions [1/m2]."""
    along = unit[:, :, None] * unit[:, None, :]
    across = np.eye(2) - along
    return np.asarray((along / along_m**2 + across / cross_m**2) * weight[:, None, None])


def _solve_apart(prior: Floats, precision: Floats, position_m: Floats) -> Floats:
    """As `_solve` for noise that is the same in all directions, ``precision`` (n,) [1/m2]: one matrix for both axes."""
    n = len(position_m)
    band = prior.copy()
    band[:, 0, 0] += precision
    right = np.zeros((n, 3, 2))
    right[:, 0] = precision[:, None] * position_m
    factor = cholesky_banded(band.reshape(n * 3, 6).T, lower=True, overwrite_ab=True, check_finite=False)
    state = cho_solve_banded((factor, True), right.reshape(n * 3, 2), overwrite_b=True, check_finite=False)
    return np.asarray(state.reshape(n, 3, 2))


def _solve(prior: Floats, precision: Floats, position_m: Floats) -> Floats:
    """States (n, 3, 2): position, velocity, acceleration by axis.

    Unknowns are interleaved as (p, v, a) of the first axis, then of the second, per sample, so that the
    normal equations are banded with eleven (two coupled axes: 6 + 5) sub-diagonals.
    """
    n = len(position_m)
    band = np.zeros((n, 6, 12))  # lower form, band[sample, column, row - column]
    for column in range(6):
        i = column % 3
        band[:, column, : 3 - i] = prior[:, i, : 3 - i]
        band[:, column, 6 - i : 9 - i] = prior[:, i, 3 - i : 6 - i]  # rows of the same axis at the next sample
    band[:, 0, 0] += precision[:, 0, 0]
    band[:, 3, 0] += precision[:, 1, 1]
    band[:, 0, 3] += precision[:, 0, 1]
    right = np.zeros((n, 6))
    seen = np.einsum("nij,nj->ni", precision, position_m)
    right[:, 0], right[:, 3] = seen[:, 0], seen[:, 1]
    factor = cholesky_banded(band.reshape(n * 6, 12).T, lower=True, overwrite_ab=True, check_finite=False)
    state = cho_solve_banded((factor, True), right.reshape(-1), overwrite_b=True, check_finite=False)
    return np.asarray(state.reshape(n, 2, 3).swapaxes(1, 2))
