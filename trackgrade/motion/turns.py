"""Where turns begin and end: heading rate above a threshold, refined on the raw positions.

A turn starts when |heading rate| rises above a quarter of standard rate, 0.75 deg/s, and ends (wings level) when it
falls below; a turn whose own steady rate is less than standard is bounded by a quarter of that instead.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np

from trackgrade.earth.turning import bank_for_rate_deg
from trackgrade.earth.units import KT_PER_M_S
from trackgrade.motion.edges import Edge, fit_edges
from trackgrade.motion.motion import GRID_STEP_S, AirMotion, Motion
from trackgrade.motion.samples import Turn
from trackgrade.motion.wind import WindFit
from trackgrade.track.ranks import median
from trackgrade.track.runs import runs
from trackgrade.track.track import Bools, Floats

STANDARD_RATE_DEG_S = 3.0
THRESHOLD_SHARE = 0.25
#: A turn is at least this much change of heading [deg], and somewhere its rate exceeds this [deg/s].
LEAST_CHANGE_DEG, LEAST_CORE_RATE_DEG_S = 12.0, 0.8
#: Where the rate stays above this, what is flown may be one turn, however unsteady [deg/s].
TURNING_DEG_S = 0.35
#: Where a blurred rate is taken to begin and end a turn, as a share of its steady rate.
BLURRED_LEVEL = 0.4
#: Positions this far apart [s] blur a pause between two turns: a rate that dips below this share of the turn's own,
#: between two stretches above it and longer than so many grid points, shows one; the parts stand so many off the dip.
SPARSE_S, PARTED_LEVEL, APART = 4.0, 0.5, 3
#: The rate may dip below a turn's threshold for this long without ending it; a noisy rate longer [s].
DIP_S, NOISY_DIP_S = 1.5, 4.0
#: An edge fitted further than this from the smoothed one is not believed [s].
FARTHEST_REFINEMENT_S = 6.0
#: Between samples further apart than this nothing bounds an edge but the samples themselves [s].
LONG_STEP_S = 10.5
#: An edge this near to a hole of the record is as uncertain as one inside it [s].
BESIDE_HOLE_S = 8.0
#: A faster and larger turn, for the most part inside a hole, is none [deg/s, deg].
FASTEST_HIDDEN_DEG_S, LARGEST_HIDDEN_DEG = 6.0, 190.0
#: What is seen of a turn beyond a hole may be another, smaller one up to this change [deg].
CORRECTION_DEG = 90.0
#: What the fit cannot know of how a pilot rolls in, and how gently out [s]; found on simulated pilots of many habits.
ROLL_IN_SHAPE_SD_S, ROLL_OUT_SHAPE_SD_S = 0.1, 0.4
#: Standard error of an edge taken from the smoothed rate, at 1 s sampling and at longer intervals [s].
UNREFINED_SD_S = 1.0


def threshold_deg_s(steady_rate_deg_s: float) -> float:
    """Heading rate that bounds a turn: a quarter of standard rate, or of the turn's own rate if that is less."""
    return THRESHOLD_SHARE * min(STANDARD_RATE_DEG_S, abs(steady_rate_deg_s))


def find_turns(motion: Motion, air: AirMotion, wind: WindFit | None, *, refine: bool = True) -> list[Turn]:
    """Turns of a flight, from the heading rate on the motion's grid; times since its start; right positive.

    Without ``refine`` the edges are those of the smoothed rate, good to a second: enough to see where a hold is.
    An edge inside a hole of the record keeps a wide error.
    """
    time_s, rate_deg_s, airspeed_m_s = motion.grid_s, air.heading_rate_deg_s, air.airspeed_m_s
    trajectory, raw_m, in_hole = motion.trajectory, motion.raw_m, motion.in_hole
    interval = median(np.diff(trajectory.time_s))
    rough = _rough_turns(time_s, rate_deg_s, blurred=motion.calm is not motion.trajectory, sparse=interval >= SPARSE_S)
    if not rough:
        return []
    edges: list[Edge] = []
    for k, (start, end, steady, bound) in enumerate(rough):
        straight_before = start - (rough[k - 1][1] if k else time_s[0])
        straight_after = (rough[k + 1][0] if k + 1 < len(rough) else time_s[-1]) - end
        inside = min(max(0.6 * (end - start), 4.0), 20.0)
        edges.append(Edge(start, True, steady, bound, min(max(straight_before, 3.0), 18.0), inside))
        edges.append(Edge(end, False, steady, bound, min(max(straight_after, 3.0), 18.0), inside))
    at = np.array([edge.epoch_s for edge in edges])
    towards = wind.at(at) if wind is not None else np.zeros((len(at), 2))
    fitted = fit_edges(trajectory, raw_m, towards, edges if refine else [])
    step = GRID_STEP_S
    begins_s, ends_s = float(time_s[0]), float(max(time_s[-1], trajectory.time_s[-1]))
    holes = bool(in_hole.any())
    turns = []
    for k, (_, _, steady, bound) in enumerate(rough):
        times, errors = [], []
        for j in (2 * k, 2 * k + 1):
            guess = edges[j].epoch_s
            near = _interval_at(trajectory.time_s, guess)
            good = (
                refine
                and math.isfinite(fitted.epoch_s[j])
                and abs(fitted.epoch_s[j] - guess) < FARTHEST_REFINEMENT_S + near
                and fitted.rate_deg_s[j] * steady > 0.0
            )
            time = float(fitted.epoch_s[j]) if good else guess
            shape_sd_s = ROLL_OUT_SHAPE_SD_S if j % 2 else ROLL_IN_SHAPE_SD_S
            error = math.hypot(fitted.sd_s[j], shape_sd_s) if good else UNREFINED_SD_S + 0.4 * interval
            # An edge beside a hole may as well lie in it: a bend that the hole hid shows only at its end.
            for moment in (guess, time):
                hole_s = _hole_beside(trajectory.time_s, time_s, in_hole, moment) if holes else 0.0
                apart_s = _interval_at(trajectory.time_s, moment)
                error = max(error, hole_s / 4, apart_s / 4 if apart_s > LONG_STEP_S else 0.0)
            times.append(time)
            errors.append(error)
        if times[1] <= times[0]:
            times = [edges[2 * k].epoch_s, edges[2 * k + 1].epoch_s]
        # A turn that the record begins or ends in is known from there on only.
        times = [min(max(each, begins_s), ends_s) for each in times]
        # A slice, not a mask over the whole flight: many turns stay linear.
        turning = slice(int(time_s.searchsorted(times[0])), int(time_s.searchsorted(times[1], side="right")))
        hidden = in_hole[turning]
        change_deg = float(np.sum(rate_deg_s[turning]) * step)
        mostly_hidden = 2 * np.count_nonzero(hidden) > len(hidden)
        if mostly_hidden and abs(steady) > FASTEST_HIDDEN_DEG_S and abs(change_deg) > LARGEST_HIDDEN_DEG:
            continue  # not flown: the curve that joins the two ends of a hole, the long way round
        for hole in _stretches(hidden) if holes else ():
            _widen_for_hole(times, errors, time_s[turning], rate_deg_s[turning], hole)
        speed = median(airspeed_m_s[turning]) if turning.stop > turning.start else float("nan")
        turns.append(
            Turn(
                start_epoch_s=times[0],
                end_epoch_s=times[1],
                start_sd_s=errors[0],
                end_sd_s=errors[1],
                change_deg=change_deg,
                rate_deg_s=abs(steady),
                bank_deg=float(bank_for_rate_deg(speed * KT_PER_M_S, abs(steady))),
                threshold_deg_s=bound,
            )
        )
    return turns


def in_epoch_time(turns: list[Turn], start_epoch_s: float) -> tuple[Turn, ...]:
    """The same turns with times since 1970."""
    return tuple(
        replace(turn, start_epoch_s=turn.start_epoch_s + start_epoch_s, end_epoch_s=turn.end_epoch_s + start_epoch_s)
        for turn in turns
    )


def _widen_for_hole(
    times: list[float], errors: list[float], time_s: Floats, rate_deg_s: Floats, hole: tuple[int, int]
) -> None:
    """Widen the errors of a turn's edges where a hole within it may hide that the turn was two.

    What is seen on one side of the hole may be a correction only; then the turn's true edge lies in the hole.
    """
    step = GRID_STEP_S
    seen_before = abs(float(np.sum(rate_deg_s[: hole[0]])) * step)
    seen_after = abs(float(np.sum(rate_deg_s[hole[1] + 1 :])) * step)
    if seen_before < CORRECTION_DEG:
        errors[0] = max(errors[0], (float(time_s[hole[1]]) - times[0]) / 3.0)
    if seen_after < CORRECTION_DEG:
        errors[1] = max(errors[1], (times[1] - float(time_s[hole[0]])) / 3.0)


def _hole_beside(sample_s: Floats, grid_s: Floats, in_hole: Bools, when: float) -> float:
    """Length of the hole in the record within some seconds of a time [s]; 0 where there is none."""
    first, last = grid_s.searchsorted((when - BESIDE_HOLE_S, when + BESIDE_HOLE_S + 1e-9))
    if not in_hole[first:last].any():
        return 0.0
    before, after = np.searchsorted(sample_s, [when - BESIDE_HOLE_S, when + BESIDE_HOLE_S])
    around = sample_s[max(int(before) - 1, 0) : int(after) + 1]
    return float(np.max(np.diff(around))) if len(around) > 1 else 0.0


def _interval_at(time_s: Floats, when: float) -> float:
    """Spacing of the samples about a time [s]."""
    k = min(max(int(time_s.searchsorted(when)), 1), len(time_s) - 1)
    return float(time_s[k] - time_s[k - 1])


def _rough_turns(
    time_s: Floats, rate_deg_s: Floats, *, blurred: bool, sparse: bool
) -> list[tuple[float, float, float, float]]:
    """(start, end, signed steady rate, threshold) from the smoothed rate alone, in order, not overlapping.

    ``sparse``: turns are parted at deep dips. A ``blurred`` rate runs a turn together with a correction that follows
    it; there the edge is first looked for where the rate passes half the steady rate, and the fit does the rest.
    """
    step = GRID_STEP_S
    found: list[tuple[int, int, float]] = []
    for sign in (1.0, -1.0):
        signed = rate_deg_s * sign
        for first, last in _stretches(signed > TURNING_DEG_S):
            inside = signed[first : last + 1]
            if np.max(inside) < LEAST_CORE_RATE_DEG_S or np.sum(inside) * step < LEAST_CHANGE_DEG:
                continue
            bound = threshold_deg_s(_steady(inside))
            # The threshold may lie below the level that marked the stretch, or above dips inside it.
            while first > 0 and signed[first - 1] > bound:
                first -= 1
            while last < len(signed) - 1 and signed[last + 1] > bound:
                last += 1
            dip = (NOISY_DIP_S if blurred else DIP_S) / step
            pieces = _closed(_stretches(signed[first : last + 1] > bound), dip)
            if sparse:
                pieces = [part for a, b in pieces for part in _parted(signed[first : last + 1], a, b)]
            for a, b in pieces:
                piece = signed[first + a : first + b + 1]
                if np.max(piece) >= LEAST_CORE_RATE_DEG_S and np.sum(piece) * step >= LEAST_CHANGE_DEG:
                    found.append((first + a, first + b, sign))
    turns, size = [], np.abs(rate_deg_s)
    for first, last, sign in _overlaps_joined(found):
        own = _steady(sign * rate_deg_s[first : last + 1])
        steady, bound = sign * own, threshold_deg_s(own)
        level = bound
        if blurred:
            level = BLURRED_LEVEL * abs(steady)
            above = first + np.flatnonzero(rate_deg_s[first : last + 1] * np.sign(steady) >= level)
            first, last = int(above[0]), int(above[-1])
        start = _level_time(time_s, size, first, -1, level)
        end = _level_time(time_s, size, last, 1, level)
        turns.append((start, end, steady, bound))
    return turns


def _overlaps_joined(found: list[tuple[int, int, float]]) -> list[tuple[int, int, float]]:
    """Stretches (first, last, sign) in order: a gentle turn with dips is found once from each stretch between them."""
    joined: list[tuple[int, int, float]] = []
    for first, last, sign in sorted(found):
        if joined and first <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(last, joined[-1][1]), sign)
        else:
            joined.append((first, last, sign))
    return joined


def _steady(rate: Floats) -> float:
    """The rate (n,) of a turn proper, rolling in and out left aside: the median of what exceeds six tenths of its ninth
    decile."""
    ordered = np.sort(rate)
    upper = ordered[ordered.searchsorted(0.6 * ordered[int(0.9 * (len(ordered) - 1))], side="right") :]
    return median(upper)


def _parted(rate: Floats, first: int, last: int) -> list[tuple[int, int]]:
    """A turn parted at its deep dips: where a pilot rolled out between two turns, sparse positions show no more.

    ``rate`` (n,) on the grid, positive in the turn's direction; index of its first and last point, in and out. The
    parts stand apart, so that they are not taken for one turn with a wobble; where exactly is for the fit.
    """
    inside = rate[first : last + 1]
    level = PARTED_LEVEL * median(inside[inside > 0.6 * np.max(inside)])
    high = [(first + a, first + b) for a, b in _stretches(inside > level) if np.max(inside[a : b + 1]) > 1.3 * level]
    dips = [b + int(np.argmin(rate[b : c + 1])) for (_, b), (c, _) in pairwise(high) if c - b > APART]
    return list(zip([first, *(dip + APART for dip in dips)], [*(dip - APART for dip in dips), last]))


def _level_time(time_s: Floats, rate: Floats, index: int, step: int, bound: float) -> float:
    """Where the rate meets the bound between the last sample above it and the next one outwards."""
    outside = index + step
    if outside < 0 or outside >= len(time_s):
        return float(time_s[index])
    above, below = rate[index], rate[outside]
    if above <= below:
        return float(time_s[index])
    part = min(max((above - bound) / (above - below), 0.0), 1.0)
    return float(time_s[index] + part * (time_s[outside] - time_s[index]))


def _stretches(flag: Bools) -> list[tuple[int, int]]:
    """First and last index of every stretch of True."""
    return [(first, after - 1) for first, after in runs(flag)]


def _closed(stretches: list[tuple[int, int]], most: float) -> list[tuple[int, int]]:
    """Stretches with holes of at most ``most`` samples closed."""
    closed: list[tuple[int, int]] = []
    for first, last in stretches:
        if closed and first - closed[-1][1] - 1 <= most:
            closed[-1] = (closed[-1][0], last)
        else:
            closed.append((first, last))
    return closed
