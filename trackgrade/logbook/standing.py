"""Where pilots stand beside each other: shares by a model of pilot, session, hold and wind, drawn together. Pure.

A session's share of laps within, on the logit scale, is: level of the class + pilot + hold + wind + the session's own
luck + chance of its few laps. Pilot and hold are drawn toward the class by how far pilots and holds differ at all, so
that a pilot with few laps, or alone on a hard hold, is not told apart by that. C. R. Henderson, Biometrics 31, 1975
(mixed model equations); the variances by the restricted likelihood's own expectation (EM), from a start that is our
choice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.logbook.history import HoldFlown
from trackgrade.logbook.shares import Z_95
from trackgrade.track.track import Floats, Rows

#: Standard deviations on the logit scale before the data speak (1.0: 50 % becomes 73 %), and how many pilots or holds
#: each of these counts for. Holds differ rather more than pilots do: our choice, which matters where few holds were
#: flown.
PILOT_SD, HOLD_SD, SESSION_SD = 0.6, 0.8, 0.6
WIND_SD = 0.4  # for 10 kt
PRIOR_WORTH = 2.0

#: The lowest third of a class is told by drawing from the model this often.
DRAWS, _SEED = 4000, 19


@dataclass(frozen=True, eq=False)
class Standing:
    """One pilot: share of laps within at the class's usual hold and wind, its 95 % interval, and the probability of
    being among the lowest third of the class. ``lowest_third`` None for fewer than three pilots.
    """

    value: float
    low: float
    high: float
    lowest_third: float | None


def standings(flown: Sequence[tuple[str, HoldFlown]]) -> dict[str, Standing]:
    """The standing of every pilot with a judged lap among ``flown`` (pilot and hold, any order)."""
    rows = [(pilot, hold) for pilot, hold in flown if hold.laps_judged]
    if not rows:
        return {}
    pilots = sorted({pilot for pilot, _ in rows})
    holds = sorted({hold.hold_hash for _, hold in rows})
    judged = np.array([float(hold.laps_judged) for _, hold in rows])
    passed = np.array([float(hold.laps_within) for _, hold in rows])
    # The logit of few laps, with half a lap added each way (J. B. S. Haldane, Ann. Hum. Genet. 20, 1956), and its
    # variance at the class's share, drawn in: at the session's own share a session without a miss would seem the
    # surest.
    logit = np.log((passed + 0.5) / (judged - passed + 0.5))
    share = (passed.sum() + 1) / (judged.sum() + 2)
    chance = 1 / ((judged + 1) * share * (1 - share))
    wind = np.array([[abs(hold.wind_head_kt or 0.0), abs(hold.wind_cross_kt or 0.0)] for _, hold in rows]) / 10.0
    # Of each session the five effects that it has (class, pilot, hold, wind along and across), and how much of each.
    named = [*(("pilot", each) for each in pilots), *(("hold", each) for each in holds)]
    column = {each: n for n, each in enumerate(named, start=1)}
    count = 3 + len(named)
    effects = np.array(
        [[0, column["pilot", pilot], column["hold", hold.hold_hash], count - 2, count - 1] for pilot, hold in rows]
    )
    design = np.column_stack([np.ones((len(rows), 3)), wind - wind.mean(axis=0)])
    own = slice(1, 1 + len(pilots))
    others = slice(1 + len(pilots), 1 + len(pilots) + len(holds))
    variance = {"pilot": PILOT_SD**2, "hold": HOLD_SD**2, "session": SESSION_SD**2}
    for _ in range(30):
        mean, cover, left = _solve(effects, design, logit, chance, variance, len(pilots), len(holds))
        for name, part, prior in (("pilot", own, PILOT_SD), ("hold", others, HOLD_SD)):
            size = float((mean[part] ** 2 + np.diag(cover)[part]).sum())
            variance[name] = (size + PRIOR_WORTH * prior**2) / (part.stop - part.start + PRIOR_WORTH)
        # The part of what is left of a session that is its luck and not the chance of its laps.
        luck = variance["session"] / (variance["session"] + chance)
        size = float((luck**2 * left + luck * chance).sum())
        variance["session"] = (size + PRIOR_WORTH * SESSION_SD**2) / (len(rows) + PRIOR_WORTH)
    pick = np.zeros((len(pilots), count))
    pick[:, 0] = 1.0
    pick[:, own] = np.eye(len(pilots))
    # The holds as often as the class flew them.
    pick[:, others] = np.bincount(effects[:, 2], minlength=count)[others] / len(rows)
    centre, spread = pick @ mean, pick @ cover @ pick.T
    far = Z_95 * np.sqrt(np.diag(spread))
    lowest: list[float | None] = [None] * len(pilots)
    if len(pilots) > 2:
        draws = np.random.default_rng(_SEED).multivariate_normal(centre, spread, DRAWS, method="eigh")
        place = draws.argsort(axis=1).argsort(axis=1)
        lowest = [float(each) for each in (place < round(len(pilots) / 3)).mean(axis=0)]
    return {
        name: Standing(float(_share(c)), float(_share(c - f)), float(_share(c + f)), third)
        for name, c, f, third in zip(pilots, centre, far, lowest)
    }


def _solve(
    effects: Rows,
    design: Floats,
    logit: Floats,
    chance: Floats,
    variance: dict[str, float],
    pilots: int,
    holds: int,
) -> tuple[Floats, Floats, Floats]:
    """Effects, their covariance, and the expected square of what is left of each session."""
    prior = np.concatenate(
        [[1e-4], np.full(pilots, 1 / variance["pilot"]), np.full(holds, 1 / variance["hold"]), np.full(2, WIND_SD**-2)]
    )
    weighted = design / (chance + variance["session"])[:, None]
    pairs = effects[:, :, None], effects[:, None, :]
    precision = np.diag(prior)
    np.add.at(precision, pairs, weighted[:, :, None] * design[:, None, :])
    cover = np.asarray(np.linalg.inv(precision))
    mean = cover @ np.bincount(effects.ravel(), (weighted * logit[:, None]).ravel(), len(prior))
    unsure = np.einsum("ni,nij,nj->n", design, cover[pairs], design)
    return mean, cover, (logit - (design * mean[effects]).sum(axis=1)) ** 2 + unsure


def _share(logit: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-logit)))
