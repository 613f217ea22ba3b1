"""Statistics of improvement: robust slope, share with its interval, scatter. Pure.

A trend is claimed only where its 95 % interval leaves zero out, and never below `FEWEST_SESSIONS` sessions.
"""

from __future__ import annotations

import math
import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from trackgrade.logbook.history import EntryFlown, HoldFlown, ItemTotal, LapTime, Session, Tally
from trackgrade.logbook.rows import CEILINGS

Claim = Literal["better", "worse", "no clear trend", "too few sessions"]

#: Five is the first number of sessions at which the order of the values alone can exclude chance at 95 %: all
#: in order has probability 2/4! = 8 % with four, 2/5! = 1.7 % with five (Kendall's rank test, by arithmetic).
FEWEST_SESSIONS = 5

CONFIDENCE = 0.95
_Z = 1.959964  # of the normal distribution, two-sided 95 %


@dataclass(frozen=True)
class Trend:
    """Change per session of one number, over ``sessions`` sessions that have it.

    ``slope`` with its 95 % interval ``low`` to ``high``, and the line's values at the first and the last
    session; all None below `FEWEST_SESSIONS`.
    """

    claim: Claim
    sessions: int
    slope: float | None = None
    low: float | None = None
    high: float | None = None
    first: float | None = None
    last: float | None = None


@dataclass(frozen=True)
class Share:
    """``passed`` of ``judged`` with the 95 % interval ``low`` to ``high``; all None of nothing judged."""

    passed: int
    judged: int
    sessions: int
    value: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True)
class ItemProgress:
    """One item over the sessions drawn.

    ``sizes``: median size of the error of each session, None where it was not measured. ``lap_sizes``: those
    of its laps, each with whether it was outside (a large but brief excursion is not). ``limits``: all that
    these sessions were graded to, ``limit`` the latest. ``shares``: passed over measured, of each session.
    ``trend``: of the sizes where a size means something, else of the shares (``trend_of``).
    """

    item: str
    title: str
    unit: str
    limit: float | None
    sizes: tuple[float | None, ...]
    lap_sizes: tuple[tuple[tuple[float, bool], ...], ...]
    limits: tuple[float, ...]
    shares: tuple[float | None, ...]
    trend: Trend
    trend_of: Literal["size", "share"]
    recent: Share
    measured: int
    not_measurable: int
    recent_median_size: float | None


@dataclass(frozen=True)
class InboundProgress:
    """The time of the inbound leg over the sessions drawn [s].

    ``errors``: of each session's laps. ``sizes``: median size of the error; ``scatters``: standard deviation
    over the laps of a session with three timed laps or more. ``bias``: median over the last five sessions of the
    session's median error, and ``bias_low`` to ``bias_high`` the range of these five medians.
    """

    tolerance_s: float
    errors: tuple[tuple[float, ...], ...]
    sizes: tuple[float | None, ...]
    scatters: tuple[float | None, ...]
    size_trend: Trend
    scatter_trend: Trend
    bias: float | None
    bias_low: float | None
    bias_high: float | None
    recent_scatter_s: float | None


@dataclass(frozen=True)
class Convergence:
    """Laps needed until the inbound time stayed in the band, for each hold with two timed laps or more.

    ``laps``: None where it did not. ``median``: None when half or more did not. ``low`` to ``high``: the 95 %
    interval of the median from the ordered values (``high`` None: not reached), None below six holds.
    """

    laps: tuple[int | None, ...]
    reached: int
    median: float | None
    low: float | None
    high: float | None
    trend: Trend


@dataclass(frozen=True)
class EntryLine:
    """Entries that one sector and one side asked for: how many, and the share that was right."""

    kind: str
    turns: str
    share: Share
    unclear: int
    flown_instead: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class WindLine:
    """Holds flown in one band of wind speed, and the share of laps within the standard there."""

    title: str
    holds: int
    share: Share


def theil_sen(
    session_numbers: Sequence[float], values: Sequence[float | None], *, smaller_is_better: bool = True
) -> Trend:
    """Median of the slopes between all pairs of sessions, and its interval from Kendall's rank statistic.

    P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat. Assoc. 63, 1968. One
    strange session does not move it. The same numbers as ``scipy.stats.theilslopes``, to which the tests hold
    it; not called here because importing ``scipy.stats`` takes longer than making the whole page.
    """
    known = [(x, y) for x, y in zip(session_numbers, values) if y is not None]
    if len(known) < FEWEST_SESSIONS:
        return Trend("too few sessions", len(known))
    slopes = sorted((y2 - y1) / (x2 - x1) for (x1, y1), (x2, y2) in combinations(known, 2))
    slope = statistics.median(slopes)
    spread = _Z * math.sqrt(_kendall_variance([y for _, y in known]))
    low = slopes[max(round((len(slopes) - spread) / 2) - 1, 0)]
    high = slopes[min(round((len(slopes) + spread) / 2), len(slopes) - 1)]
    claim: Claim = "no clear trend"
    if high < 0 or low > 0:
        claim = "better" if (high < 0) == smaller_is_better else "worse"
    at_zero = statistics.median(y for _, y in known) - slope * statistics.median(x for x, _ in known)
    first, last = known[0][0], known[-1][0]
    return Trend(claim, len(known), slope, low, high, at_zero + slope * first, at_zero + slope * last)


def _kendall_variance(values: Sequence[float]) -> float:
    """Variance of Kendall's rank statistic under chance, with ties (M. G. Kendall, Rank Correlation Methods)."""
    n = len(values)
    tied = sum(k * (k - 1) * (2 * k + 5) for k in Counter(values).values())
    return (n * (n - 1) * (2 * n + 5) - tied) / 18


def share(tally: Tally) -> Share:
    """Share passed, with Wilson's interval for as many independent laps as these are worth.

    The laps of one session are alike, so they are worth fewer: the number is divided by the design effect,
    the ratio of the variance between sessions to that of independent laps (L. Kish, Survey Sampling, 1965;
    E. B. Wilson, J. Am. Stat. Assoc. 22, 1927).
    """
    n, k = tally.judged, tally.passed
    if n == 0:
        return Share(0, 0, tally.sessions, None, None, None)
    p = k / n
    low, high = wilson(p, n / design_effect(tally))
    return Share(k, n, tally.sessions, p, low, high)


def design_effect(tally: Tally) -> float:
    """How many laps count as one; 1 where it cannot be told (one session, all passed or none)."""
    n, k, m = tally.judged, tally.passed, tally.sessions
    if m < 2 or k in (0, n):
        return 1.0
    p = k / n
    squares = tally.sum_kk - 2 * p * tally.sum_nk + p * p * tally.sum_nn
    between = m / (m - 1) * max(squares, 0.0) / n**2
    return min(max(between / (p * (1 - p) / n), 1.0), n / m)


def wilson(p: float, n: float) -> tuple[float, float]:
    """Wilson's 95 % interval of a share ``p`` of ``n`` trials (n > 0, need not be whole)."""
    centre = (p + _Z**2 / (2 * n)) / (1 + _Z**2 / n)
    half = _Z * math.sqrt(p * (1 - p) / n + _Z**2 / (4 * n * n)) / (1 + _Z**2 / n)
    return max(centre - half, 0.0), min(centre + half, 1.0)


def tally(counts: Sequence[tuple[int, int]]) -> Tally:
    """Of (judged, passed) of each session; sessions in which nothing was judged do not count."""
    counts = [(n, k) for n, k in counts if n > 0]
    return Tally(
        judged=sum(n for n, _ in counts),
        passed=sum(k for _, k in counts),
        sessions=len(counts),
        sum_nn=float(sum(n * n for n, _ in counts)),
        sum_nk=float(sum(n * k for n, k in counts)),
        sum_kk=float(sum(k * k for _, k in counts)),
    )


def item_progress(sessions: Sequence[Session], first_session: int, total: ItemTotal) -> ItemProgress:
    """One item over the sessions drawn (oldest first, the first of them number ``first_session``)."""
    sizes: list[float | None] = []
    lap_sizes: list[tuple[tuple[float, bool], ...]] = []
    limits: set[float] = set()
    shares: list[float | None] = []
    for session in sessions:
        measured = [row for row in session.items if row.item == total.item and row.result != "not measurable"]
        known = tuple((row.size, row.result == "outside") for row in measured if row.size is not None)
        limits |= {row.limit for row in measured if row.limit is not None}
        lap_sizes.append(known)
        sizes.append(statistics.median(each for each, _ in known) if known else None)
        passed = sum(row.result != "outside" for row in measured)
        shares.append(passed / len(measured) if measured else None)
    numbers = range(first_session, first_session + len(sessions))
    by_size = total.item not in CEILINGS and any(each is not None for each in sizes)
    trend = theil_sen(numbers, sizes) if by_size else theil_sen(numbers, shares, smaller_is_better=False)
    return ItemProgress(
        item=total.item,
        title=total.title,
        unit=total.unit,
        limit=total.limit,
        sizes=tuple(sizes),
        lap_sizes=tuple(lap_sizes),
        limits=tuple(sorted(limits)),
        shares=tuple(shares),
        trend=trend,
        trend_of="size" if by_size else "share",
        recent=share(total.recent),
        measured=total.measured,
        not_measurable=total.not_measurable,
        recent_median_size=total.recent_median_size,
    )


def laps_within(sessions: Sequence[Session], first_session: int) -> tuple[tuple[float | None, ...], Trend]:
    """Share of laps without an item outside, session by session, and its trend."""
    shares: list[float | None] = []
    for session in sessions:
        judged = sum(hold.laps_judged for hold in session.holds)
        shares.append(sum(hold.laps_within for hold in session.holds) / judged if judged else None)
    numbers = range(first_session, first_session + len(sessions))
    return tuple(shares), theil_sen(numbers, shares, smaller_is_better=False)


def inbound_progress(sessions: Sequence[Session], first_session: int) -> InboundProgress:
    """Error and scatter of the inbound time over the sessions drawn."""
    errors = [_timed(session.laps) for session in sessions]
    sizes = [statistics.median(map(abs, own)) if own else None for own in errors]
    scatters = [statistics.stdev(own) if len(own) > 2 else None for own in errors]
    numbers = range(first_session, first_session + len(sessions))
    medians = [statistics.median(own) for own in errors if own][-FEWEST_SESSIONS:]
    recent_scatters = [each for each in scatters if each is not None][-FEWEST_SESSIONS:]
    return InboundProgress(
        tolerance_s=sessions[-1].holds[-1].inbound_tolerance_s,
        errors=tuple(errors),
        sizes=tuple(sizes),
        scatters=tuple(scatters),
        size_trend=theil_sen(numbers, sizes),
        scatter_trend=theil_sen(numbers, scatters),
        bias=statistics.median(medians) if medians else None,
        bias_low=min(medians) if medians else None,
        bias_high=max(medians) if medians else None,
        recent_scatter_s=statistics.median(recent_scatters) if recent_scatters else None,
    )


def convergence(sessions: Sequence[Session], first_session: int) -> Convergence:
    """Laps to converge; a hold that did not counts as one lap more than it had, the least it can be."""
    laps: list[int | None] = []
    at_least: list[float | None] = []
    for session in sessions:
        holds = [hold for hold in session.holds if hold.timed_laps > 1]
        laps += [hold.laps_to_converge for hold in holds]
        ranked = [hold.laps_to_converge if hold.laps_to_converge is not None else hold.laps + 1 for hold in holds]
        at_least.append(statistics.median(ranked) if ranked else None)
    ordered = sorted(math.inf if each is None else float(each) for each in laps)
    median = statistics.median(ordered) if ordered else math.inf
    low, high = median_interval(ordered)
    return Convergence(
        laps=tuple(laps),
        reached=sum(each is not None for each in laps),
        median=median if math.isfinite(median) else None,
        low=low,
        high=high if high is not None and math.isfinite(high) else None,
        trend=theil_sen(range(first_session, first_session + len(sessions)), at_least),
    )


def median_interval(ordered: Sequence[float]) -> tuple[float | None, float | None]:
    """Interval of the median from ordered values, at 95 % or more; (None, None) below six of them.

    Between the k-th smallest and the k-th largest, for the largest k with at most 2.5 % of a fair coin's n
    tosses below k (the sign test, by arithmetic).
    """
    n = len(ordered)
    tail, k = 0.0, 0
    while k < n:
        tail += math.comb(n, k) * 0.5**n
        if tail > (1 - CONFIDENCE) / 2:
            break
        k += 1
    if k == 0:
        return None, None
    low = ordered[k - 1]
    return (low if math.isfinite(low) else None), ordered[n - k]


def entry_record(entries: Sequence[EntryFlown]) -> tuple[EntryLine, ...]:
    """Right entries by the sector that was met and the side of the turns."""
    lines = []
    for turns in ("right", "left"):
        for kind in ("direct", "teardrop", "parallel"):
            own = [each for each in entries if (each.turns, each.expected) == (turns, kind)]
            judged = [each for each in own if each.right is not None]
            wrong = Counter(_flown_words(each) for each in judged if not each.right)
            lines.append(
                EntryLine(
                    kind=kind,
                    turns=turns,
                    share=share(tally([(1, int(bool(each.right))) for each in judged])),
                    unclear=len(own) - len(judged),
                    flown_instead=tuple(sorted(wrong.items())),
                )
            )
    return tuple(lines)


def _flown_words(entry: EntryFlown) -> str:
    return f"{entry.flown or 'unclear'}{' the wrong way' if entry.wrong_way else ''}"


#: Bands of wind speed [kt], above the first number and up to the second: our own choice.
WIND_BANDS = ((0.0, 8.0, "up to 8 kt"), (8.0, 15.0, "8 to 15 kt"), (15.0, math.inf, "over 15 kt"))


def wind_met(flown: Sequence[HoldFlown]) -> tuple[WindLine, ...]:
    """Laps within the standard by band of wind speed; holds without a wind come last."""
    lines = []
    for low, high, title in WIND_BANDS:
        own = [
            hold
            for hold in flown
            if hold.wind_kt is not None and (low < hold.wind_kt <= high or hold.wind_kt == low == 0.0)
        ]
        lines.append(WindLine(title, len(own), _laps_share(own)))
    unknown = [hold for hold in flown if hold.wind_kt is None]
    if unknown:
        lines.append(WindLine("not known", len(unknown), _laps_share(unknown)))
    return tuple(lines)


def _laps_share(flown: Sequence[HoldFlown]) -> Share:
    return share(tally([(hold.laps_judged, hold.laps_within) for hold in flown]))


def _timed(laps: Sequence[LapTime]) -> tuple[float, ...]:
    return tuple(lap.inbound_error_s for lap in laps if lap.inbound_error_s is not None)
