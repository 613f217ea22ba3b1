"""Leaving (or being over) the fix at an assigned time: how many laps, and how long each must be.

AIM 5-3-8 asks the pilot to adjust the pattern, inside its limits, so as to leave the fix at the exact time given.
A lap is shortened or lengthened by solving it for another inbound time, so heading and outbound time still fit.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from trackgrade.hold.hold import Hold
from trackgrade.hold.planning import SolvedLap, same_wind_lap
from trackgrade.score.sentences import count_of

#: ICAO Doc 8168 Vol II: where the outbound leg is limited, at least this much must be left inbound.
SHORTEST_INBOUND_S = 30.0

#: ICAO Doc 8168 Vol II sizes a hold for this error of outbound timing; so a leg may be this much longer.
LONGER_OUTBOUND_S = 10.0

#: Beyond this the plan is to keep flying normal laps and look again.
MOST_LAPS = 12

#: Last laps are listed for every so many seconds to go, the first step that gives no more rows than that.
LAST_LAP_STEPS_S, MOST_LAST_LAPS = (15, 30, 60, 120, 300), 24


@dataclass(frozen=True, eq=False)
class PlannedLap:
    """One lap of the plan, from a passage at ``start_epoch_s``; ``normal`` where it is the solved lap itself."""

    start_epoch_s: float
    lap: SolvedLap
    normal: bool


@dataclass(frozen=True, eq=False)
class LeavingPlan:
    """How to be over the fix at ``at_epoch_s``.

    ``shortest`` and ``longest`` bound a lap. ``last_laps``: the outbound time and heading of a single last lap, by time
    to go. ``laps``: the plan from the passage given, empty without one or where ``why`` says what stands in the way.
    """

    at_epoch_s: float
    shortest: SolvedLap
    longest: SolvedLap
    last_laps: tuple[SolvedLap, ...]
    laps: tuple[PlannedLap, ...] = ()
    why: str = ""


def lap_lasting(hold: Hold, normal: SolvedLap, lap_s: float) -> SolvedLap | None:
    """The lap that takes ``lap_s`` fix to fix and still rolls out on the course; None where none does."""
    return _lap_where(hold, normal, lambda lap: lap.lap_s - lap_s, 1.0, normal.inbound_s + max(lap_s, 300.0))


def plan_leaving(hold: Hold, normal: SolvedLap, at_epoch_s: float, passage_epoch_s: float | None) -> LeavingPlan:
    """The plan for an assigned time, in the wind of the normal lap."""
    shortest = _shortest(hold, normal)
    longest = _longest(hold, normal)
    last_laps = _last_laps(hold, normal, shortest, longest)
    plan = LeavingPlan(at_epoch_s, shortest, longest, last_laps)
    if passage_epoch_s is None:
        return plan
    laps, why = _from_passage(hold, normal, shortest, longest, passage_epoch_s, at_epoch_s)
    return replace(plan, laps=laps, why=why)


def _from_passage(
    hold: Hold, normal: SolvedLap, shortest: SolvedLap, longest: SolvedLap, passage_s: float, at_s: float
) -> tuple[tuple[PlannedLap, ...], str]:
    """Normal laps first, and as few changed ones at the end as will do."""
    to_go = at_s - passage_s
    if to_go < -0.5:
        return (), "The assigned time is before that passage of the fix"
    if to_go < 0.5:
        return (), "The passage is the assigned time: leave at once"
    if to_go > MOST_LAPS * longest.lap_s:
        return (), (
            f"{clock(to_go)} to go is more than {MOST_LAPS} laps: fly normal laps and plan again nearer the time"
        )
    best: tuple[int, float, int] | None = None
    for count in range(1, MOST_LAPS + 1):
        off = abs(to_go - count * normal.lap_s)
        choices = [(0, off, count)] if off < 0.5 else []
        for changed in range(1, count + 1):
            each = (to_go - (count - changed) * normal.lap_s) / changed
            if shortest.lap_s - 0.5 <= each <= longest.lap_s + 0.5:
                choices.append((changed, abs(each - normal.lap_s), count))
        best = min([*choices, best] if best is not None else choices, default=None)
    if best is None:
        return (), _unreachable(to_go, shortest, longest)
    changed, _, count = best
    each = (to_go - (count - changed) * normal.lap_s) / changed if changed else normal.lap_s
    lap = lap_lasting(hold, normal, each) or normal
    laps, start = [], passage_s
    for number in range(1, count + 1):
        own = normal if number <= count - changed else lap
        laps.append(PlannedLap(start, own, number <= count - changed))
        start += own.lap_s
    return tuple(laps), ""


def _unreachable(to_go: float, shortest: SolvedLap, longest: SolvedLap) -> str:
    fewer = int(to_go // longest.lap_s)
    more = fewer + 1
    soonest, latest = more * shortest.lap_s, fewer * longest.lap_s
    text = f"{clock(to_go)} to go cannot be flown inside the pattern: "
    if fewer == 0:
        return text + f"the shortest lap takes {clock(shortest.lap_s)}. Tell the controller"
    return text + (
        f"at most {clock(latest)} in {count_of(fewer, 'lap')}, at least {clock(soonest)} in {count_of(more, 'lap')}. "
        "Change speed before the fix, or tell the controller"
    )


def _last_laps(hold: Hold, normal: SolvedLap, shortest: SolvedLap, longest: SolvedLap) -> tuple[SolvedLap, ...]:
    """Laps for every quarter minute to go that one lap can take up; where legs are long, for every minute or more."""
    span_s = longest.lap_s - shortest.lap_s
    step_s = next((step for step in LAST_LAP_STEPS_S if span_s <= step * MOST_LAST_LAPS), LAST_LAP_STEPS_S[-1])
    first = math.ceil(shortest.lap_s / step_s) * step_s
    times = range(first, int(longest.lap_s) + 1, step_s)
    laps = (lap_lasting(hold, normal, float(seconds)) for seconds in times)
    return tuple(lap for lap in laps if lap is not None)


def _shortest(hold: Hold, normal: SolvedLap) -> SolvedLap:
    """Down to 30 s inbound, or to where no lap closes any more."""
    inbound_s = SHORTEST_INBOUND_S
    while normal.feasible and inbound_s < normal.inbound_s:
        lap = same_wind_lap(hold, normal, inbound_s)
        if lap is not None:
            return lap
        inbound_s += 1.0
    return normal


def _longest(hold: Hold, normal: SolvedLap) -> SolvedLap:
    """Up to 10 s more outbound than the normal lap."""
    most_s = normal.outbound_s + LONGER_OUTBOUND_S
    low, high = normal.inbound_s, normal.inbound_s + 300.0
    return _lap_where(hold, normal, lambda lap: lap.outbound_s - most_s, low, high) or normal


def _lap_where(
    hold: Hold, normal: SolvedLap, over: Callable[[SolvedLap], float], low_s: float, high_s: float
) -> SolvedLap | None:
    """The lap whose ``over``, growing with the inbound time between the two, is nought; None where none is."""
    from scipy.optimize import brentq

    if not normal.feasible:
        return None
    while low_s < high_s and same_wind_lap(hold, normal, low_s) is None:
        low_s += 2.0  # a short lap may not close where a longer one does

    def over_at(inbound_s: float) -> float:
        lap = same_wind_lap(hold, normal, inbound_s)
        return math.inf if lap is None else over(lap)

    low, high = over_at(low_s), over_at(high_s)
    if not (low <= 0.0 <= high and math.isfinite(high)):
        return None
    return same_wind_lap(hold, normal, float(brentq(over_at, low_s, high_s, xtol=1e-6)))


def clock(seconds: float) -> str:
    """Minutes and seconds, rounded: "4:05"; a minus sign where it is less than nothing."""
    whole = round(abs(seconds))
    return f"{'-' if seconds < 0 and whole else ''}{whole // 60}:{whole % 60:02d}"
