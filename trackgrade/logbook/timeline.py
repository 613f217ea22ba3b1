"""A pilot's sessions in time: breaks, what each item did from session to session, laps to converge. Pure."""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from trackgrade.logbook.claims import Change, Verdict, session_levels, verdict
from trackgrade.logbook.conditions import conditions
from trackgrade.logbook.history import CEILINGS, HoldFlown, ItemTotal, PilotHistory, Session
from trackgrade.logbook.levels import Measure, measures, tells_nothing, without_repeats
from trackgrade.track.track import Rows

#: A break is long, and flying starts anew after it, above so many days and so many times the pilot's usual interval.
BREAK_DAYS, BREAK_TIMES = 45.0, 4.0
DAY_S = 86_400.0

#: "Lately" is this many sessions, and is set against as many before.
LATELY = 5


@dataclass(frozen=True, eq=False)
class ItemLine(ItemTotal):
    """One item with its sessions drawn. ``sizes``: level of each session (see `levels`), None where not measured.

    ``lap_sizes``: those of its laps, each with whether it was outside. ``before`` and ``lately``: mean level of the
    last five sessions, and of up to five before, of those tested. ``change`` None: not tested, for the
    reason ``untested``.
    """

    limits: tuple[float, ...]
    sizes: tuple[float | None, ...]
    lap_sizes: tuple[tuple[tuple[float, bool], ...], ...]
    before: float | None
    lately: float | None
    change: Change | None
    untested: str
    measured: int


@dataclass(frozen=True, eq=False)
class InboundLine:
    """Inbound time minus target [s]: laps of each session; over the last five sessions the median of their medians,
    the range of these, and the scatter from lap to lap (standard deviation within sessions, pooled: the same for few
    laps and many).
    """

    tolerance_s: float
    errors: tuple[tuple[float, ...], ...]
    bias: float | None
    bias_low: float | None
    bias_high: float | None
    scatter_s: float | None


@dataclass(frozen=True, eq=False)
class Convergence:
    """Laps until the inbound time stays in the band, over the holds with two timed laps or more.

    ``median`` by E. L. Kaplan and P. Meier (J. Am. Stat. Assoc. 53, 1958): a hold left before it came right says only
    that it took longer than its laps. None where half of the holds had not come right within the laps flown.
    """

    holds: int
    reached: int
    median: int | None
    longest: int


@dataclass(frozen=True, eq=False)
class Timeline:
    """Everything that a page draws over time. ``breaks``: index of each session that begins after a long break."""

    breaks: tuple[int, ...]
    verdict: Verdict
    items: tuple[ItemLine, ...]
    inbound: InboundLine
    convergence: Convergence
    lap_shares: tuple[float | None, ...]


def timeline(history: PilotHistory) -> Timeline:
    """A pilot's sessions, with what may be claimed of them."""
    own = history.sessions
    breaks = long_breaks([each.started_epoch_s for each in own])
    every = [*own, *(session for other in history.others for session in other)]
    found = measures(every, [(each.item, each.title, each.unit) for each in history.total.items])
    rows = np.arange(len(every))
    starts = [0, *breaks, *np.cumsum([len(own), *map(len, history.others)]).tolist()]
    stretches = [rows[a:b] for a, b in pairwise(starts)]
    # Sessions after a break go on with those before it, unless they were flown worse: then flying starts anew.
    mine, others = stretches[: len(breaks) + 1], stretches[len(breaks) + 1 :]
    tested = mine.pop()
    while mine and not _fell_back(found, mine[-1], tested):
        tested = np.concatenate([mine.pop(), tested])
    kept = without_repeats(found, tested)
    result = verdict(kept, conditions(every), tested, [*mine, *others])
    told_twice = {each.item for each in found if not tells_nothing(each, tested)} - {each.item for each in kept}
    return Timeline(
        breaks=breaks,
        verdict=result,
        items=tuple(_item_line(own, total, found, result, tested, told_twice) for total in history.total.items),
        inbound=_inbound(own),
        convergence=_convergence(history.flown),
        lap_shares=tuple(each.laps_within / each.laps_judged if each.laps_judged else None for each in own),
    )


def _fell_back(found: Sequence[Measure], before: Rows, after: Rows) -> bool:
    """Whether sessions after a break were flown worse than the last ones before it, by over a standard error."""
    kept = without_repeats(found, np.concatenate([before, after]))
    if not kept:
        return False
    level = session_levels(kept, np.concatenate([before, after]))[0]
    old, new = (level[rows][np.isfinite(level[rows])] for rows in (before, after))
    if len(old) < 2 or not len(new):
        return False
    noise = float(np.std(np.diff(old))) / math.sqrt(2.0)  # of one session, whatever their trend
    old, new = old[-LATELY:], new[:LATELY]
    return float(new.mean() - old.mean()) > max(noise, 0.1) * math.sqrt(1 / len(old) + 1 / len(new))


def long_breaks(starts_epoch_s: Sequence[float]) -> tuple[int, ...]:
    """Index of each session after a break over `BREAK_DAYS` and `BREAK_TIMES` the pilot's median interval."""
    gaps = [(b - a) / DAY_S for a, b in pairwise(starts_epoch_s)]
    usual = statistics.median(gaps) if gaps else 0.0
    return tuple(n for n, gap in enumerate(gaps, start=1) if gap > max(BREAK_DAYS, BREAK_TIMES * usual))


def _item_line(
    sessions: Sequence[Session],
    total: ItemTotal,
    found: Sequence[Measure],
    result: Verdict,
    tested: Rows,
    told_twice: set[str],
) -> ItemLine:
    measure = next((each for each in found if each.item == total.item), None)
    level = measure.level if measure else np.full(len(sessions), np.nan)
    rows = [session.measured(total.item) for session in sessions]
    change = next((each for each in result.items if each.measure == total.item), None)
    lately, before = tested[-LATELY:], tested[-2 * LATELY : -LATELY]
    untested = ""
    if change is None and result.composite is not None:
        untested = "as another item" if total.item in told_twice else "nothing to tell"
        untested = "a ceiling" if total.item in CEILINGS else untested
    return ItemLine(
        **vars(total),
        limits=tuple(sorted({row.limit for own in rows for row in own if row.limit is not None})),
        sizes=tuple(float(each) if math.isfinite(each) else None for each in level[: len(sessions)]),
        lap_sizes=tuple(
            tuple((row.size, row.result == "outside") for row in own if row.size is not None) for own in rows
        ),
        before=_mean(level[before]),
        lately=_mean(level[lately]),
        change=change,
        untested=untested,
        measured=sum(map(len, rows)),
    )


def _mean(values: np.ndarray) -> float | None:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else None


def _inbound(sessions: Sequence[Session]) -> InboundLine:
    errors = [tuple(lap.inbound_error_s for lap in each.laps if lap.inbound_error_s is not None) for each in sessions]
    lately = [own for own in errors if own][-LATELY:]
    medians = [statistics.median(own) for own in lately]
    several = [own for own in lately if len(own) > 1]
    squares = sum(statistics.variance(own) * (len(own) - 1) for own in several)
    return InboundLine(
        tolerance_s=sessions[-1].holds[-1].inbound_tolerance_s,
        errors=tuple(errors),
        bias=statistics.median(medians) if medians else None,
        bias_low=min(medians, default=None),
        bias_high=max(medians, default=None),
        scatter_s=math.sqrt(squares / sum(len(own) - 1 for own in several)) if several else None,
    )


def _convergence(flown: Sequence[HoldFlown]) -> Convergence:
    holds = [hold for hold in flown if hold.timed_laps > 1]
    reached = Counter(hold.laps_to_converge for hold in holds if hold.laps_to_converge is not None)
    left = Counter(hold.laps for hold in holds if hold.laps_to_converge is None)
    at_risk, still = len(holds), 1.0
    longest = max((*reached, *left), default=0)
    median = None
    for lap in range(1, longest + 1):
        if at_risk:
            still *= 1 - reached[lap] / at_risk
        if median is None and holds and still <= 0.5:
            median = lap
        at_risk -= reached[lap] + left[lap]
    return Convergence(len(holds), sum(reached.values()), median, longest)
