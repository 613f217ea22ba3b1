"""Wind and true airspeed from ground velocities: at constant airspeed they lie on a circle about the wind.

The fit is robust (outlying speeds lose weight), gives every direction flown the same say (a long leg does not
outvote a turn), and lets the wind drift evenly with time. Its standard error allows for residuals that
last: airspeed wanders over some twenty seconds, so a thousand samples are not a thousand observations.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.linalg import solveh_banded

from trackgrade.earth.angles import wrap360
from trackgrade.earth.units import KT_PER_M_S
from trackgrade.motion.samples import Wind
from trackgrade.track.ranks import median
from trackgrade.track.track import Floats

#: At most this many velocities enter the fit; more would only repeat the same wander.
MOST_POINTS = 400
#: Directions further apart leave a hole in the cover [deg]; concentration of the kernel (about 10 degrees wide).
WIDEST_STEP_DEG, DIRECTION_KERNEL = 15.0, 33.0
#: Residuals beyond this many standard deviations lose weight (Student-t).
STUDENT_DEGREES = 5.0
#: The wind is refused beyond these standard errors, or below this cover of directions.
LARGEST_SD_KT, LEAST_COVER_DEG = 8.0, 200.0
#: Airspeed wander lasts at least this long [s] (common practice, no source).
LEAST_CORRELATION_S = 20.0
#: The residuals never hold less than this share of the variance.
LEAST_LEFT = 0.2
#: What no fit can know: airspeed that goes with heading (slower in every turn) reads as neither [m/s].
FLOOR_SD_M_S = 0.15
#: Prior on the drift of the wind over the fit: this much per half hour [m/s].
DRIFT_SD_M_S, DRIFT_SPAN_S = 2.5, 1800.0


class WindFit(NamedTuple):
    """Wind towards (east, north) [m/s] at ``middle_s``, its drift per second, airspeed [m/s], covariance (3, 3)."""

    middle_s: float
    towards_m_s: Floats
    drift_m_s2: Floats
    airspeed_m_s: float
    covariance: Floats
    first_s: float
    last_s: float

    def at(self, time_s: Floats) -> Floats:
        """Wind (n, 2) towards east and north [m/s]; held at its end values outside the fitted span."""
        into = np.clip(time_s, self.first_s, self.last_s) - self.middle_s
        return self.towards_m_s + into[:, None] * self.drift_m_s2

    def heading_sd_deg(self) -> float:
        """Error of a heading from the ground velocity and this wind [deg]: that of a wind across over the airspeed."""
        across_m_s = float(np.sqrt(np.trace(self.covariance[:2, :2]) / 2.0))
        return float(np.degrees(across_m_s / max(self.airspeed_m_s, 1.0)))

    def as_wind(self, time_s: float | None = None) -> Wind:
        """In the words of the trade at a time (the middle where None is given), with the errors of the whole fit."""
        east, north = self.towards_m_s if time_s is None else self.at(np.array([time_s]))[0]
        speed = float(np.hypot(east, north))
        # Along and across the wind; in a calm the direction is open and its error says so.
        unit = np.array([east, north]) / speed if speed > 1e-9 else np.array([0.0, 1.0])
        block = self.covariance[:2, :2]
        across = np.array([unit[1], -unit[0]])
        speed_sd = float(np.sqrt(unit @ block @ unit))
        across_sd = float(np.sqrt(across @ block @ across))
        kt2 = block * KT_PER_M_S**2
        return Wind(
            from_true_deg=float(wrap360(np.degrees(np.arctan2(-east, -north)))),
            speed_kt=speed * KT_PER_M_S,
            true_airspeed_kt=self.airspeed_m_s * KT_PER_M_S,
            from_sd_deg=float(np.degrees(np.arctan2(across_sd, speed))) if speed > 1e-9 else 180.0,
            speed_sd_kt=speed_sd * KT_PER_M_S,
            true_airspeed_sd_kt=float(np.sqrt(self.covariance[2, 2])) * KT_PER_M_S,
            covariance_kt2=((float(kt2[0, 0]), float(kt2[0, 1])), (float(kt2[1, 0]), float(kt2[1, 1]))),
        )


def fit_wind(time_s: Floats, velocity_m_s: Floats, velocity_sd_m_s: float = 0.5) -> tuple[WindFit | None, str]:
    """Fit wind and airspeed to ground velocities (n, 2) [m/s] at times (n,) [s].

    Returns the fit and "", or None and the reason in words why the wind cannot be told.
    """
    if len(time_s) < 12:
        return None, "too few positions near the hold to estimate the wind"
    cover = directions_covered_deg(velocity_m_s)  # of all: thinned, a turn flown alike in every lap shows holes
    thin = max(1, int(np.ceil(len(time_s) / MOST_POINTS)))
    time_s, velocity_m_s = time_s[::thin], velocity_m_s[::thin]
    if cover < LEAST_COVER_DEG:
        return None, f"the directions flown cover only {cover:.0f}° of 360°, too little to tell wind from airspeed"

    middle = float((time_s[0] + time_s[-1]) / 2)
    into = time_s - middle
    scale = max(float(time_s[-1] - time_s[0]) / 2, 60.0)
    theta = np.append(_algebraic_circle(velocity_m_s), [0.0, 0.0])
    share = _direction_weight(velocity_m_s)
    drift_sd = DRIFT_SD_M_S * scale / DRIFT_SPAN_S
    prior = np.array([1e-6, 1e-6, 1e-6, 1.0 / drift_sd**2, 1.0 / drift_sd**2])
    weight = share.copy()
    jacobian = np.empty((len(time_s), 5))
    residual = np.empty(0)
    spread = 1.0
    for _ in range(12):
        air = velocity_m_s - theta[:2] - np.outer(into / scale, theta[3:])
        speed = np.maximum(np.hypot(air[:, 0], air[:, 1]), 1e-6)
        unit = air / speed[:, None]
        residual = speed - theta[2]
        jacobian[:, :2] = -unit
        jacobian[:, 2] = -1.0
        jacobian[:, 3:] = -unit * (into / scale)[:, None]
        spread = max(1.4826 * median(np.abs(residual)), 0.2)
        robust = (STUDENT_DEGREES + 1) / (STUDENT_DEGREES + (residual / spread) ** 2)
        weight = share * robust
        normal = jacobian.T @ (weight[:, None] * jacobian) / spread**2 + np.diag(prior)
        gradient = jacobian.T @ (weight * residual) / spread**2 + prior * theta
        step = -np.linalg.solve(normal, gradient)
        theta = theta + step
        if float(np.max(np.abs(step))) < 1e-4:
            break
    if not np.all(np.isfinite(theta)) or theta[2] < 10.0:
        return None, "the ground speeds fit no steady wind and airspeed"

    # Sandwich covariance: correlated residuals widen it by far more than their count narrows it.
    correlation_s = _correlation_s(time_s, residual)
    response = np.linalg.solve(normal, (weight[:, None] * jacobian).T / spread**2)  # (5, n): the fit's answer to noise
    answer = correlated(response, time_s, correlation_s)
    seen = _share_left(jacobian, response, answer, weight)
    variance = max(float(np.average(residual**2, weights=weight)) / seen, velocity_sd_m_s**2)
    covariance = (answer @ response.T)[:3, :3] * variance + np.eye(3) * FLOOR_SD_M_S**2
    largest_sd_kt = float(np.sqrt(np.linalg.eigvalsh(covariance[:2, :2])[-1])) * KT_PER_M_S
    if largest_sd_kt > LARGEST_SD_KT:
        return None, f"the ground speeds scatter too much to tell the wind (standard error {largest_sd_kt:.0f} kt)"
    fit = WindFit(
        middle, theta[:2], theta[3:] / scale, float(theta[2]), covariance, float(time_s[0]), float(time_s[-1])
    )
    return fit, ""


def directions_covered_deg(velocity_m_s: Floats) -> float:
    """How much of the circle of ground tracks holds velocities [deg]: 360 less the holes wider than 15 degrees."""
    track = np.sort(np.degrees(np.arctan2(velocity_m_s[:, 0], velocity_m_s[:, 1])))
    holes = np.diff(np.append(track, track[0] + 360.0))
    return float(360.0 - np.sum(holes[holes > WIDEST_STEP_DEG]))


def _algebraic_circle(velocity_m_s: Floats) -> Floats:
    """A first circle (east, north, radius) by linear least squares (Kasa's method)."""
    x, y = velocity_m_s[:, 0], velocity_m_s[:, 1]
    design = np.stack([2 * x, 2 * y, np.ones_like(x)], axis=1)
    solution, *_ = np.linalg.lstsq(design, x**2 + y**2, rcond=None)
    radius = float(np.sqrt(max(solution[2] + solution[0] ** 2 + solution[1] ** 2, 1.0)))
    return np.array([solution[0], solution[1], radius])


def _direction_weight(velocity_m_s: Floats) -> Floats:
    """Weights (n,), mean 1, that give every direction of ground track flown about the same say.

    One over the density of directions, by a circular kernel (von Mises), so that no bin edge favours a compass
    direction. Directions hit by only a point or two must not rule: the density has a floor.
    """
    unit = velocity_m_s / np.maximum(np.hypot(velocity_m_s[:, 0], velocity_m_s[:, 1]), 1e-9)[:, None]
    near = unit @ unit.T
    near -= 1.0  # in place: a new array for each step takes five times as long
    near *= DIRECTION_KERNEL
    density = np.sum(np.exp(near, out=near), axis=1)
    weight = 1.0 / np.maximum(density, 0.25 * np.mean(density))
    return np.asarray(weight / np.mean(weight))


def correlated(rows: Floats, time_s: Floats, correlation_s: float) -> Floats:
    """Rows (k, n) times the correlation exp(-|lag| / ``correlation_s``) of noise at times (n,), increasing [s].

    Such noise depends on its past through its last value only: the inverse of its correlation has three diagonals
    (Ornstein-Uhlenbeck process), which are solved.
    """
    kept = np.exp(-np.diff(time_s) / correlation_s)
    fresh = -np.expm1(-2.0 * np.diff(time_s) / correlation_s)  # 1 - kept**2
    inverse = np.zeros((2, len(time_s)))  # upper form: beside the diagonal, and the diagonal
    inverse[0, 1:] = -kept / fresh
    inverse[1] = 1.0
    inverse[1, :-1] += kept**2 / fresh
    inverse[1, 1:] += kept**2 / fresh
    return np.asarray(solveh_banded(inverse, rows.T, overwrite_ab=True, check_finite=False).T)


def _share_left(jacobian: Floats, response: Floats, answer: Floats, weight: Floats) -> float:
    """Share of the variance of correlated noise that is left in the residuals; the fit swallows the rest.

    One lap holds only some six independent looks at an airspeed that wanders over twenty seconds, and the fit takes up
    three of them. ``response`` (5, n) is how the fit answers to noise, ``answer`` that times the noise's correlation.
    """
    swallowed = 2.0 * np.sum(jacobian * answer.T, axis=1) - np.sum(jacobian @ (answer @ response.T) * jacobian, axis=1)
    return max(float(np.average(1.0 - swallowed, weights=weight)), LEAST_LEFT)


def _correlation_s(time_s: Floats, residual: Floats) -> float:
    """How long residuals last [s]: where their autocorrelation falls below 1/e, at least the common wander."""
    centred = residual - np.mean(residual)
    n = len(centred)
    variance = float(np.dot(centred, centred)) / n
    if variance <= 0:
        return LEAST_CORRELATION_S
    step = median(np.diff(time_s))
    for lag in range(1, n // 3):
        if float(np.dot(centred[:-lag], centred[lag:])) / (n - lag) < variance / np.e:
            return max(lag * step, LEAST_CORRELATION_S)
    return max(n // 3 * step, LEAST_CORRELATION_S)
