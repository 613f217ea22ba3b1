"""Shares of laps with honest intervals: laps of one session are alike and count for fewer than they are. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

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


def share(counts: Sequence[tuple[int, int]]) -> Share:
    """Share passed of (judged, passed) in each session, with Wilson's interval for as many independent laps as these
    are worth. Sessions in which nothing was judged do not count.

    The laps of one session are alike, so they are worth fewer: the number is divided by the design effect,
    the ratio of the variance between sessions to that of independent laps (L. Kish, Survey Sampling, 1965;
    E. B. Wilson, J. Am. Stat. Assoc. 22, 1927).
    """
    counts = [(n, k) for n, k in counts if n > 0]
    n, k = sum(n for n, _ in counts), sum(k for _, k in counts)
    if n == 0:
        return Share(0, 0, 0, None, None, None)
    low, high = wilson(k / n, n / design_effect(counts))
    return Share(k, n, len(counts), k / n, low, high)


def design_effect(counts: Sequence[tuple[int, int]]) -> float:
    """How many laps count as one, of (judged, passed) in each session; 1 where it cannot be told (one session, all
    passed or none).
    """
    n, k, m = sum(n for n, _ in counts), sum(k for _, k in counts), len(counts)
    if m < 2 or k in (0, n):
        return 1.0
    p = k / n
    between = m / (m - 1) * sum((own_k - p * own_n) ** 2 for own_n, own_k in counts) / n**2
    return min(max(between / (p * (1 - p) / n), 1.0), n / m)


def wilson(p: float, n: float) -> tuple[float, float]:
    """Wilson's 95 % interval of a share ``p`` of ``n`` trials (n > 0, need not be whole)."""
    centre = (p + Z_95**2 / (2 * n)) / (1 + Z_95**2 / n)
    half = Z_95 * math.sqrt(p * (1 - p) / n + Z_95**2 / (4 * n * n)) / (1 + Z_95**2 / n)
    return max(centre - half, 0.0), min(centre + half, 1.0)
