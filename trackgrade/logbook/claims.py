"""Which changes over a pilot's sessions may be claimed: one primary claim, and single items by a step-down. Pure.

The model, on the logarithm of the errors (a change is then per cent): level + line over the sessions + conditions +
chance.

*Test.* One composite over all items, permuted by whole sessions: without a change the residuals of the model without a
line are exchangeable (D. Freedman and D. Lane, J. Bus. Econ. Stat. 1, 1983). Only where it finds a change are single
items looked at, by the largest of their statistics in the same orders (P. H. Westfall and S. S. Young,
Resampling-Based Multiple Testing, 1993, algorithm 2.8). So over everything a page tests, a pilot who did not change is
told of a change in less than one of twenty.

*Conditions.* What they do is learnt within other pilots of the logbook and taken off. What is still not known of them
enters as effects of limited size: where these leave too little of what the sessions tell, nothing is claimed and the
conditions are named; where the line does not stay when they are allowed for, nothing is claimed either.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from trackgrade.logbook.conditions import ITEM_FACTOR, Conditions
from trackgrade.logbook.levels import FEWEST_SESSIONS, Measure
from trackgrade.track.track import Floats, Rows

Direction = Literal["better", "worse"]

#: Below one page in twenty, with a margin for what the model has wrong.
ALPHA = 0.04

#: All orders up to six sessions (720); beyond, the one flown and this many random ones, the same each time.
ORDERS = 3999
_SEED = 19

#: Where conditions leave less than this share of what the sessions could tell of a line, no claim is made ...
LEAST_INFORMATION = 0.25
#: ... nor where the line, with conditions allowed for, is not this many of its standard errors from none. A choice by
#: the sweep of `tests/test_claims.py`: a hold that became more frequent made 15 % false claims at 1.0, and 6 % at 1.7.
LEAST_Z = 1.7
#: Below this share the interval shown is the one with the conditions allowed for.
FREE_INFORMATION = 0.35

#: Standard deviations of a session's own luck that are tried [of the logarithm of the errors].
_BETWEEN_SD = (0.02, 0.1, 0.2, 0.3, 0.4, 0.55, 0.8, 1.2)

COMPOSITE = "all items together"


@dataclass(frozen=True)
class Change:
    """From the first to the last session tested. ``change`` and ``interval`` (95 %) in per cent of the errors at the
    start: negative is better. ``p``: share of the orders, for single items over all of them. ``claimed`` None: shown,
    not claimed.

    ``first`` and ``last``: the line's errors at its ends, in ``unit``; None for the composite.
    """

    measure: str
    title: str
    change: float
    interval: tuple[float, float]
    p: float
    claimed: Direction | None
    unit: str = "%"
    first: float | None = None
    last: float | None = None


@dataclass(frozen=True)
class Verdict:
    """What a page may say of change. ``composite`` None: too few sessions to test anything.

    ``moved``: conditions that cannot be told apart from time. ``tested``: rows of the sessions tested, oldest first.
    """

    composite: Change | None
    items: tuple[Change, ...]
    moved: tuple[str, ...]
    tested: tuple[int, ...]

    @property
    def claims(self) -> tuple[Change, ...]:
        """The primary claim first, then single items, the surest first."""
        if self.composite is None or self.composite.claimed is None:
            return ()
        return (self.composite, *sorted((each for each in self.items if each.claimed), key=lambda each: each.p))


@dataclass(frozen=True, eq=False)
class _Fit:
    """A line fitted to one series. ``order``: time, whitened, free of the level; ``residual``: of the model without a
    line.

    ``information``: of what the sessions tell of a line without conditions, the share that is left with them.
    """

    slope: float
    sd: float
    freedom: float
    middle: float
    steps: float
    level: Floats
    order: Floats
    residual: Floats
    rows: Rows
    information: float


@dataclass(frozen=True, eq=False)
class _Sessions:
    """The sessions tested, those of each other pilot, and the conditions of all."""

    given: Conditions
    tested: Rows
    others: tuple[Rows, ...]


def verdict(measures: Sequence[Measure], given: Conditions, tested: Rows, others: Sequence[Rows] = ()) -> Verdict:
    """What may be claimed of the ``tested`` sessions (rows of ``measures`` and ``given``, oldest first).

    ``others``: the sessions of each other pilot (and of this one before a long break), from which conditions are
    learnt.
    """
    flown = _Sessions(given, tested, tuple(others))
    rows = tuple(int(n) for n in tested)
    if not measures:
        return Verdict(None, (), (), rows)
    log, variance = session_levels(measures, tested, flown.others)
    free = _fit(log, variance, flown, 1.0, allowed=False)
    full = _fit(log, variance, flown, 1.0, allowed=True)
    if free is None or full is None:
        return Verdict(None, (), (), rows)
    observed, chance = _statistics(free, _orders(len(free.rows)))
    p = _share(chance, observed)
    items = _step_down(measures, flown)
    composite = _change(free, full, p)
    hidden = full.information < LEAST_INFORMATION or (p <= ALPHA and not composite.claimed)
    moved = _moved(log, variance, flown) if hidden else ()
    if composite.claimed and not any(each.claimed == composite.claimed or _seen(each, measures) for each in items):
        composite = replace(composite, claimed=None)  # smaller than what was measured with
    if not composite.claimed:
        items = tuple(replace(each, claimed=None) for each in items)
    items = tuple(replace(each, claimed=each.claimed if _seen(each, measures) else None) for each in items)
    return Verdict(composite, items, moved, rows)


def _seen(change: Change, measures: Sequence[Measure]) -> bool:
    """Whether an item's change is larger than the error with which one lap of it is measured."""
    measure = next(each for each in measures if each.item == change.measure)
    return abs((change.last or 0.0) - (change.first or 0.0)) > measure.value_sd


def session_levels(measures: Sequence[Measure], tested: Rows, others: Sequence[Rows] = ()) -> tuple[Floats, Floats]:
    """Level of each session over all measures (mean of centred logarithms), and the variance that its laps give it."""
    log = np.stack([each.log for each in measures])
    variance = np.nan_to_num(np.stack([each.log_variance for each in measures]))
    known, filled = np.isfinite(log), np.nan_to_num(log)
    # One weight a measure, the same in every session (else few laps would shift the mix of measures): from what laps
    # leave to chance and not from how far its sessions lie apart: that would weigh down what changed most. 0.04: a
    # session's luck of 0.2, in all.
    usual = np.array([np.median(each[tested][which]) for each, which in zip(variance, known[:, tested])])
    weight = known / (usual + 0.04)[:, None]
    total, rows = weight.sum(axis=0), np.concatenate([tested, *others])
    session = np.zeros(log.shape[1])
    for _ in range(20):
        middle = (weight * (filled - session))[:, rows].sum(axis=1) / weight[:, rows].sum(axis=1)
        session = (weight * (filled - middle[:, None])).sum(axis=0) / np.maximum(total, 1e-12)
    spread = (weight**2 * variance).sum(axis=0) / np.maximum(total, 1e-12) ** 2
    enough = total > 0.5 * total[tested].max()
    return np.where(enough, session, np.nan), np.where(enough, spread, np.nan)


def _fit(log: Floats, variance: Floats, flown: _Sessions, factor: float, *, allowed: bool) -> _Fit | None:
    """The line over the tested sessions, by generalised least squares; None below `FEWEST_SESSIONS`.

    ``allowed``: what is not known of the conditions' effects is allowed for. ``factor`` widens their prior.
    """
    rows = flown.tested[np.isfinite(log[flown.tested])]
    if len(rows) < FEWEST_SESSIONS:
        return None
    used = np.ptp(flown.given.columns[rows], axis=0) > 1e-9
    columns = flown.given.columns[:, used]
    usual, spread = _learnt(log, variance, columns, factor * flown.given.sd[used], flown.others)
    columns = columns[rows]
    shared = columns @ spread @ columns.T if allowed else np.zeros((len(rows), len(rows)))
    time = np.searchsorted(flown.tested, rows).astype(float)
    design, y = np.column_stack([np.ones(len(rows)), time]), log[rows] - columns @ usual
    tried = [(*_restricted(y, design, np.diag(variance[rows] + sd**2) + shared), sd) for sd in _BETWEEN_SD]
    _, root, between = max(tried, key=lambda each: each[0])
    white, target = np.linalg.solve(root, design), np.linalg.solve(root, y)
    level = white[:, 0] / np.linalg.norm(white[:, 0])
    order, residual = (each - level * (level @ each) for each in (white[:, 1], target))
    slope = float(order @ residual / (order @ order))
    left = residual - slope * order
    lonely = variance[rows] + between**2
    centred = time - (time / lonely).sum() / (1 / lonely).sum()
    return _Fit(
        slope=slope,
        sd=math.sqrt(max(float(left @ left) / (len(rows) - 2.0), 0.25) / float(order @ order)),
        freedom=max(len(rows) - 2.0 - _directions(shared, lonely), 2.0),
        middle=float(np.mean(log[rows])),
        steps=float(time[-1] - time[0]),
        level=level,
        order=order,
        residual=residual,
        rows=rows,
        information=float(order @ order) / float((centred**2 / lonely).sum()),
    )


def _restricted(y: Floats, design: Floats, whole: Floats) -> tuple[float, Floats]:
    """Restricted log-likelihood of a covariance (Patterson and Thompson, Biometrika 58, 1971), and its root."""
    root = np.linalg.cholesky(whole)
    white, target = np.linalg.solve(root, design), np.linalg.solve(root, y)
    inner = white.T @ white
    left = target - white @ np.linalg.solve(inner, white.T @ target)
    return float(-np.log(np.diag(root)).sum() - 0.5 * np.linalg.slogdet(inner)[1] - 0.5 * left @ left), np.asarray(root)


def _directions(shared: Floats, variance: Floats) -> float:
    """How many sessions' worth the conditions take from telling chance: the trace of their ridge regression."""
    middle = np.eye(len(shared)) - 1 / len(shared)
    values = np.maximum(np.linalg.eigvalsh(middle @ (shared / np.sqrt(np.outer(variance, variance))) @ middle), 0)
    return float((values / (1 + values)).sum())


def _learnt(
    log: Floats, variance: Floats, columns: Floats, sd: Floats, others: Sequence[Rows]
) -> tuple[Floats, Floats]:
    """Mean and covariance of the conditions' effects, from within the other pilots: each has a level and a line of its
    own.
    """
    precision, push = np.diag(1 / sd**2), np.zeros(len(sd))
    for rows in others:
        rows = rows[np.isfinite(log[rows])]
        if len(rows) < 3:
            continue
        root = 1 / np.sqrt(variance[rows] + 0.04)  # and a session's own luck, about 0.2
        design = np.column_stack([np.ones(len(rows)), np.arange(len(rows))]) * root[:, None]
        basis = np.linalg.qr(design)[0]
        x, y = columns[rows] * root[:, None], log[rows] * root
        x, y = x - basis @ (basis.T @ x), y - basis @ (basis.T @ y)
        precision += x.T @ x
        push += x.T @ y
    spread = np.asarray(np.linalg.inv(precision))
    return spread @ push, spread


def _moved(log: Floats, variance: Floats, flown: _Sessions) -> tuple[str, ...]:
    """The conditions that take most of what the sessions tell, each looked at alone."""
    told = []
    for name in dict.fromkeys(flown.given.names):
        kept = np.array([each == name for each in flown.given.names])
        alone = Conditions(flown.given.columns[:, kept], (name,) * int(kept.sum()), flown.given.sd[kept])
        fit = _fit(log, variance, replace(flown, given=alone), 1.0, allowed=True)
        told.append((fit.information if fit else 1.0, name))
    told.sort()
    return tuple(name for information, name in told if information <= max(LEAST_INFORMATION, 1.5 * told[0][0]))[:3]


def _orders(n: int) -> Rows:
    """Orders of n sessions, the one flown first."""
    if math.factorial(n) <= ORDERS + 1:
        return np.array(list(permutations(range(n))))
    chance = np.random.default_rng(_SEED)
    return np.vstack([np.arange(n), *(chance.permutation(n) for _ in range(ORDERS))])


def _statistics(fit: _Fit, orders: Rows) -> tuple[float, Floats]:
    """Size of the partial correlation with time: as flown, and in every order."""
    shuffled = fit.residual[orders]
    # A permuted residual has a level again: taken out, as Freedman and Lane do.
    along = shuffled @ fit.order
    size = np.sqrt(np.maximum((shuffled**2).sum(axis=1) - (shuffled @ fit.level) ** 2, 1e-12)) * np.linalg.norm(
        fit.order
    )
    values = np.abs(along) / size
    return float(values[0]), values


def _share(chance: Floats, observed: float) -> float:
    return float((chance >= observed - 1e-9).mean())


def _step_down(measures: Sequence[Measure], flown: _Sessions) -> tuple[Change, ...]:
    """Every item by itself; p over all of them, by the largest statistic of those not larger than its own."""
    fits = []
    for measure in measures:
        pair = [_fit(measure.log, measure.log_variance, flown, ITEM_FACTOR, allowed=each) for each in (False, True)]
        if pair[0] is not None and pair[1] is not None:
            fits.append((measure, pair[0], pair[1]))
    orders, count = _orders(len(flown.tested)), len(flown.tested)
    table = np.zeros((len(fits), len(orders)))
    for n, (_, fit, _) in enumerate(fits):
        # A session without this item keeps its place, so that one order serves all items.
        where = np.searchsorted(flown.tested, fit.rows)
        level, order, residual = (np.zeros(count) for _ in range(3))
        level[where], order[where], residual[where] = fit.level, fit.order, fit.residual
        table[n] = _statistics(replace(fit, level=level, order=order, residual=residual), orders)[1]
    p, largest = np.zeros(len(fits)), 0.0
    by_size = np.argsort(-table[:, 0], kind="stable")
    for step, n in enumerate(by_size):
        largest = max(largest, _share(table[by_size[step:]].max(axis=0), table[n, 0]))
        p[n] = largest
    return tuple(_change(free, full, float(own), measure) for (measure, free, full), own in zip(fits, p))


def _change(free: _Fit, full: _Fit, p: float, measure: Measure | None = None) -> Change:
    """In per cent and units. Claimed where the orders, the interval and the conditions allow it."""
    shown = free if full.information >= FREE_INFORMATION else full
    far = float(stdtrit(shown.freedom, 0.975)) * shown.sd
    change, low, high = (
        100 * math.expm1(min(shown.steps * slope, 5.0)) for slope in (shown.slope, shown.slope - far, shown.slope + far)
    )
    stays = full.slope * free.slope > 0 and abs(full.slope) > LEAST_Z * full.sd
    sure = p <= ALPHA and low * high > 0 and stays and full.information >= LEAST_INFORMATION
    claimed: Direction | None = None if not sure else "better" if free.slope < 0 else "worse"
    if measure is None:
        return Change(COMPOSITE, "All items together", change, (low, high), p, claimed)
    first, last = (math.exp(shown.middle + sign * shown.steps / 2 * shown.slope) for sign in (-1, 1))
    return Change(measure.item, measure.title, change, (low, high), p, claimed, measure.unit, first, last)
