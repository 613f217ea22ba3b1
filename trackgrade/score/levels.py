"""The level in force: the altitude assigned, others assigned later or seen to be held; changes are left alone."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np

from trackgrade.hold.hold import Hold
from trackgrade.track.ranks import median
from trackgrade.track.track import Floats

#: Another level is seen where one this far off is held for so long, within so much either way [ft, s, ft]: vertical
#: separation is 500 ft at the least; the rest are choices.
OTHER_LEVEL_FT, HELD_S, HELD_WITHIN_FT = 450.0, 60.0, 100.0
#: Nearer than this to a level is flown for it, however badly [ft].
ELSEWHERE_FT = OTHER_LEVEL_FT - HELD_WITHIN_FT
#: One left in the last lap may be reached, and held, so long after it [s]: 2,000 ft at 500 ft/min and the minute.
SEEN_AFTER_S = 300.0
#: A level is left this far from what was held about it, toward the next, and reached this near to it [ft]: choices.
LEFT_FT, REACHED_FT = 25.0, 50.0
#: Levels lie a multiple of this apart: one nobody told of is put there if it was held within that tolerance [ft].
LEVELS_APART_FT = 500.0
#: A change assigned is flown at this rate at least [ft/min], after a minute to begin it; later it is graded. It may
#: have been begun so long before the time in the hold file, which is often written to the minute [s]: choices.
SLOWEST_CHANGE_FT_MIN, TO_BEGIN_S, EARLY_S = 300.0, 60.0, 60.0
#: A stay that begins further than this from its level, and at that rate toward it, is still climbing or descending to
#: it, as after a missed approach [ft]: a choice.
COMING_FROM_FT = 100.0

Stay = tuple[float, float]
LevelBy = Literal["first", "hold file", "seen", "again"]


class Level(NamedTuple):
    """An altitude to be held [ft] from ``from_epoch_s`` on, up to the next level's ``left_epoch_s``; the one before was
    left at its own. Both are -inf for one held from the beginning. ``by``: where it is known from; "again" is the level
    of the stay before, reached anew."""

    altitude_ft: float
    left_epoch_s: float
    from_epoch_s: float
    by: LevelBy


def levels_in_force(
    hold: Hold, first_ft: float, stays: Sequence[Stay], epoch_s: Floats, alt_ft: Floats
) -> tuple[Level, ...]:
    """Every level of a flight in order. ``stays``: from when to when each visit lasted [s since 1970].
    ``epoch_s``, ``alt_ft`` (n,): NaN where unknown."""
    known = np.isfinite(alt_ft)
    t, alt = epoch_s[known], alt_ft[known]
    levels = [Level(first_ft, -np.inf, -np.inf, "first")]
    if hold.levels:
        levels += _assigned(hold, first_ft, t, alt)
    for number, (start_s, end_s) in enumerate(stays):
        begun = [each for each in reversed(levels) if each.left_epoch_s <= start_s]
        now = max(begun, key=lambda each: each.left_epoch_s)
        reached_s = max(_coming_to(now.altitude_ft, t, alt, start_s), now.from_epoch_s)
        if reached_s > start_s and number == 0 and now is levels[0]:
            levels[0] = Level(first_ft, -np.inf, reached_s, "first")
        elif reached_s > max(start_s, now.from_epoch_s):
            levels.append(Level(now.altitude_ft, start_s, reached_s, "again"))
        if not hold.levels:
            first, after = np.searchsorted(t, [max(start_s, reached_s), end_s + SEEN_AFTER_S])
            seen = _seen(now.altitude_ft, t[:after], alt[:after], int(first))
            levels += [each for each in seen if each.left_epoch_s < end_s]
    return tuple(sorted(levels, key=lambda each: each.left_epoch_s))


def level_at(levels: Sequence[Level], epoch_s: Floats) -> Floats:
    """Altitude to be held (n,) [ft]; NaN while one level is left for the next."""
    out = np.full(len(epoch_s), np.nan)
    for level in levels:
        out[epoch_s >= level.left_epoch_s] = np.nan
        out[epoch_s >= level.from_epoch_s] = level.altitude_ft
    return out


def held_spans(levels: Sequence[Level], start_s: float, end_s: float) -> list[tuple[Level, float, float]]:
    """The parts of a stretch of time in which a level was to be held, each with its level."""
    until = [*(each.left_epoch_s for each in levels[1:]), np.inf]
    spans = [(each, max(each.from_epoch_s, start_s), min(left, end_s)) for each, left in zip(levels, until)]
    return [span for span in spans if span[2] > span[1]]


def changing(levels: Sequence[Level], start_s: float, end_s: float) -> bool:
    """Whether a change of level lies in a stretch of time."""
    return sum(end - start for _, start, end in held_spans(levels, start_s, end_s)) < end_s - start_s


def altitude_note(first: str, levels: Sequence[Level]) -> str:
    """What the altitude is measured from, in words: the first level, and those after it."""
    words = {"hold file": "assigned later", "seen": "held later"}
    changed = [each for before, each in pairwise(levels) if each.altitude_ft != before.altitude_ft]
    later = [f"{each.altitude_ft:.0f} ft {words[each.by]}" for each in changed]
    left_alone = len(levels) > 1 or any(np.isfinite(each.from_epoch_s) for each in levels)
    return "; ".join([first, *later, *(["changes of level left alone"] if left_alone else [])])


def _coming_to(level_ft: float, t: Floats, alt: Floats, start_s: float) -> float:
    """When a stay's level was reached by a climb or descent that its start lies in [s since 1970]; else -inf."""
    k = int(np.searchsorted(t, start_s))
    reached = np.flatnonzero(np.abs(alt[k:] - level_ft) <= REACHED_FT)
    if not len(reached) or abs(alt[k] - level_ft) <= COMING_FROM_FT:
        return -np.inf
    reached_s = float(t[k + reached[0]])
    slow = abs(alt[k] - level_ft) < SLOWEST_CHANGE_FT_MIN / 60.0 * (reached_s - start_s)
    return -np.inf if slow else reached_s


def _assigned(hold: Hold, first_ft: float, t: Floats, alt: Floats) -> list[Level]:
    levels = []
    before_ft, early_s = first_ft, -np.inf
    for from_s, level_ft in hold.levels:
        longest_s = TO_BEGIN_S + abs(level_ft - before_ft) / SLOWEST_CHANGE_FT_MIN * 60.0
        early_s = max(from_s - EARLY_S, early_s)  # none before the one assigned before it
        reached = np.flatnonzero((t >= early_s) & (np.abs(alt - level_ft) <= REACHED_FT))
        reached_s = float(t[reached[0]]) if len(reached) else np.inf
        reached_s = min(reached_s, from_s + longest_s)
        flown = reached_s < from_s + longest_s
        left_s = _left_s(before_ft, level_ft, t, alt, early_s, reached_s) if flown else from_s
        levels.append(Level(level_ft, min(from_s, left_s), reached_s, "hold file"))
        before_ft, early_s = level_ft, levels[-1].left_epoch_s
    return levels


def _left_s(level_ft: float, next_ft: float, t: Floats, alt: Floats, from_s: float, until_s: float) -> float:
    """When a level, or what was flown for it, was last held between two times [s since 1970]; else their first."""
    about = (t >= from_s) & (t < until_s) & (np.abs(alt - level_ft) < ELSEWHERE_FT)
    if not about.any():
        return from_s
    toward_next = (alt - median(alt[about])) * np.sign(next_ft - level_ft)
    return float(t[np.flatnonzero(about & (toward_next <= LEFT_FT))[-1]])


def held_from(t: Floats, alt: Floats, first: int, off_ft: float | None = None) -> tuple[int, float] | None:
    """From which sample on, and about what altitude [ft], one was held for a minute first; ``off_ft``: another than
    that. None where none was."""
    # As nearly always nothing is flown elsewhere, and no other level begins.
    elsewhere = np.ones(len(alt), dtype=bool) if off_ft is None else np.abs(alt - off_ft) > ELSEWHERE_FT
    for k in (first + np.flatnonzero(elsewhere[first:])).tolist():
        end = int(t.searchsorted(t[k] + HELD_S))
        if end >= len(t):
            break
        window = alt[k:end]
        if np.ptp(window) > 2.0 * HELD_WITHIN_FT or not elsewhere[k:end].all():
            continue
        middle = median(window)
        if off_ft is None or abs(middle - off_ft) > OTHER_LEVEL_FT:
            gone = np.flatnonzero(np.abs(alt[k:] - middle) > ELSEWHERE_FT)
            return k, median(alt[k : k + int(gone[0])] if len(gone) else alt[k:])
    return None


def _seen(first_ft: float, t: Floats, alt: Floats, first: int) -> list[Level]:
    """Levels held from a sample on that nobody told of."""
    levels: list[Level] = []
    level_ft, k, since_s = first_ft, first, -np.inf
    while (found := held_from(t, alt, k, level_ft)) is not None:
        k, held_ft = found
        whole_ft = level_ft + LEVELS_APART_FT * round((held_ft - level_ft) / LEVELS_APART_FT)
        next_ft = whole_ft if abs(held_ft - whole_ft) <= HELD_WITHIN_FT else float(np.round(held_ft, -1))
        reached = int(np.argmax(np.abs(alt[k : np.searchsorted(t, t[k] + HELD_S)] - next_ft) <= REACHED_FT))
        reached_s = float(t[k + reached])  # the first of the minute, where none of it was that near
        levels.append(Level(next_ft, _left_s(level_ft, next_ft, t, alt, since_s, float(t[k])), reached_s, "seen"))
        level_ft, since_s = next_ft, reached_s
    return levels
