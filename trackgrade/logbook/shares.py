"""Shares of laps with honest intervals: laps of one session are alike and count for fewer than they are. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trackgrade.logbook.history import Tally

Z_95 = 1.959964  # of the normal distribution, two-sided 95 %


@dataclass(frozen=True)
class Share:
    """``passed`` of ``judged`` with the 95 % interval ``low`` to ``high``; all None of nothing judged."""

    passed: int
    judged: int
    sessions: int
    value: float | None
    low: float | None
    high: float | None


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
    centre = (p + Z_95**2 / (2 * n)) / (1 + Z_95**2 / n)
    half = Z_95 * math.sqrt(p * (1 - p) / n + Z_95**2 / (4 * n * n)) / (1 + Z_95**2 / n)
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
