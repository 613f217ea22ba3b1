"""Sizes of errors session by session, made comparable between sessions of few and of many laps. Pure.

The level of a session is the mean size of the error over its laps, never a median, a maximum or a share: only the mean
has the same expectation whatever the number of laps. First laps are flown worse than later ones, so the mean is taken
after dividing by what each lap of a session usually is of the session's level, estimated within sessions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.logbook.history import CEILINGS, Session
from trackgrade.track.track import Floats, Rows

#: Laps of a session that count one by one; what comes later is counted with the last of these.
LAPS_TOLD_APART = 6

#: Usual laps (1.0 of the session's level) mixed into what a lap number usually is: few sessions tell little.
PRIOR_LAPS = 2.0

#: Squared variation of sizes within a session where it cannot be measured: that of the size of a normal error (pi/2 -
#: 1).
NORMAL_CV2 = 0.57

#: Two measures whose levels go up and down together like this are one measure told twice (bank and rate of the turns).
REPEATS = 0.97

#: Where more than this share of the sessions has no error at all, sizes tell little: half a lap decides.
MOSTLY_NONE = 0.25

#: Below this many sessions with a level, a measure is shown and nothing is said of it.
FEWEST_SESSIONS = 5


@dataclass(frozen=True, eq=False)
class Measure:
    """One item's errors over sessions: ``level`` (mean size of the error, in ``unit``) is NaN where not measured.

    ``log`` is its logarithm, free of the bias that few laps give a logarithm, with the variance ``log_variance``
    that the laps' scatter gives it. ``laps``: laps measured. ``value_sd``: typical error of one lap's measurement.
    """

    item: str
    title: str
    unit: str
    level: Floats
    log: Floats
    log_variance: Floats
    laps: Floats
    value_sd: float


def measures(sessions: Sequence[Session], titles: Sequence[tuple[str, str, str]]) -> tuple[Measure, ...]:
    """Every item with a size, over ``sessions``; ``titles``: item, title and unit in the order wanted."""
    found = (_measure(sessions, *each) for each in titles if each[0] not in CEILINGS)
    return tuple(measure for measure in found if measure is not None)


def _measure(sessions: Sequence[Session], item: str, title: str, unit: str) -> Measure | None:
    rows = [[row for row in session.measured(item) if row.size is not None] for session in sessions]
    sizes = [np.array([row.size for row in own], dtype=float) for own in rows]
    if not sum(map(len, sizes)):
        return None
    numbers = [np.minimum([row.lap or 1 for row in own], LAPS_TOLD_APART).astype(int) - 1 for own in rows]
    sds = [row.value_sd for own in rows for row in own if row.value_sd]
    value_sd = float(np.median(sds)) if sds else 0.0
    level, laps = _levels(sizes, numbers)
    # What the measurement adds to the size of a normal error (2/pi: mean size, squared) is taken off again.
    level = np.sqrt(np.maximum(level**2 - 2 / np.pi * value_sd**2, 0.0))
    usual = float(np.nanmean(level)) or 1.0
    floor = max(0.25 * value_sd, 0.02 * usual)
    cv2 = _cv2(sizes, level)
    with np.errstate(invalid="ignore", divide="ignore"):
        shape = np.maximum(laps, 1e-9) / cv2  # of the gamma distribution that a mean of sizes is near
        # Mean and variance of the logarithm of a gamma variable, by Stirling (NIST DLMF 5.11.2).
        log = np.log(np.maximum(level, floor)) + 1 / (2 * shape) + 1 / (12 * shape**2)
        variance = 1 / shape + 1 / (2 * shape**2) + 1 / (6 * shape**3)
    return Measure(item, title, unit, level, log, np.where(np.isfinite(log), variance, np.nan), laps, value_sd)


def _levels(sizes: Sequence[Floats], numbers: Sequence[Rows]) -> tuple[Floats, Floats]:
    """Level of each session and the laps it rests on, by proportional fitting of sessions and lap numbers."""
    laps = np.array([float(len(own)) for own in sizes])
    flat, lap = np.concatenate(sizes), np.concatenate(numbers)
    of, count = np.repeat(np.arange(len(sizes)), laps.astype(int)), len(sizes)
    sums = np.bincount(of, flat, count)
    with np.errstate(invalid="ignore"):
        level = sums / laps
    several = laps[of] > 1
    middle = float(level[of][several].mean()) if several.any() else 0.0
    if middle > 0:
        for _ in range(20):
            flown = np.bincount(lap[several], flat[several], LAPS_TOLD_APART) + PRIOR_LAPS * middle
            due = np.bincount(lap[several], level[of][several], LAPS_TOLD_APART) + PRIOR_LAPS * middle
            with np.errstate(invalid="ignore"):
                level = sums / np.bincount(of, (flown / due)[lap], count)
    return level, laps


def _cv2(sizes: Sequence[Floats], level: Floats) -> float:
    """Squared coefficient of variation of the laps within a session, pooled, drawn to that of a normal error."""
    squares, freedom = 20.0 * NORMAL_CV2, 20.0
    for own, middle in zip(sizes, level):
        if len(own) > 1 and middle > 0:
            squares += float(np.sum((own / own.mean() - 1) ** 2)) if own.mean() > 0 else 0.0
            freedom += len(own) - 1
    return squares / freedom


def without_repeats(measures: Sequence[Measure], chosen: Rows) -> tuple[Measure, ...]:
    """Those with something to tell over the ``chosen`` sessions: measured often enough, not constant, none twice."""
    kept: list[Measure] = []
    for measure in measures:
        own = measure.log[chosen]
        if tells_nothing(measure, chosen):
            continue
        if not any(_together(own, other.log[chosen]) for other in kept):
            kept.append(measure)
    return tuple(kept)


def tells_nothing(measure: Measure, chosen: Rows) -> bool:
    """Measured in too few sessions, or without an error in many of them (an entry is nearly always right)."""
    own = measure.level[chosen]
    own = own[np.isfinite(own)]
    none = own <= 0.25 * measure.value_sd
    return len(own) < FEWEST_SESSIONS or float(np.mean(none)) > MOSTLY_NONE or float(np.ptp(own)) < 1e-9


def _together(one: Floats, two: Floats) -> bool:
    both = np.isfinite(one) & np.isfinite(two)
    # From session to session, so that two items which both got better are not taken for one.
    steps = np.diff(one[both]), np.diff(two[both])
    return bool(both.sum() >= FEWEST_SESSIONS and min(map(np.ptp, steps)) > 0 and np.corrcoef(*steps)[0, 1] > REPEATS)
