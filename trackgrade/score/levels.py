"""The level in force: the altitude assigned, others assigned later or seen to be held; changes are left alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from trackgrade.hold.hold import Hold
from trackgrade.track.track import Floats

#: Another level is seen where one this far off is held for so long, within so much either way [ft, s, ft]: vertical
#: separation is 500 ft at the least; the rest are choices.
OTHER_LEVEL_FT, HELD_S, HELD_WITHIN_FT = 450.0, 60.0, 100.0
#: A level is left this far from it, and reached this near to it [ft]: choices.
LEFT_FT, REACHED_FT = 75.0, 50.0
#: A change assigned is flown at this rate at least [ft/min], after a minute to begin it; later it is graded: a choice.
SLOWEST_CHANGE_FT_MIN, TO_BEGIN_S = 300.0, 60.0


@dataclass(frozen=True)
class Level:
    """An altitude to be held [ft], in force from ``from_epoch_s``; the one before was left at ``left_epoch_s``."""

    altitude_ft: float
    left_epoch_s: float
    from_epoch_s: float
    by: Literal["first", "hold file", "seen"]


def levels_in_force(hold: Hold, first_ft: float, epoch_s: Floats, alt_ft: Floats, until_s: float) -> tuple[Level, ...]:
    """Every level of a stay in order, the first from the beginning. ``epoch_s``, ``alt_ft`` (n,): NaN where unknown;
    looked at up to ``until_s``."""
    first = Level(first_ft, -np.inf, -np.inf, "first")
    known = np.isfinite(alt_ft) & (epoch_s <= until_s)
    t, alt = epoch_s[known], alt_ft[known]
    return (first, *(_assigned(hold, first_ft, t, alt) if hold.levels else _seen(first_ft, t, alt)))


def level_at(levels: Sequence[Level], epoch_s: Floats) -> Floats:
    """Altitude to be held (n,) [ft]; NaN while one level is left for the next."""
    out = np.full(len(epoch_s), levels[0].altitude_ft)
    for level in levels[1:]:
        out[epoch_s >= level.left_epoch_s] = np.nan
        out[epoch_s >= level.from_epoch_s] = level.altitude_ft
    return out


def changing(levels: Sequence[Level], start_s: float, end_s: float) -> bool:
    """Whether a change of level lies in a stretch of time."""
    return any(level.left_epoch_s < end_s and level.from_epoch_s > start_s for level in levels[1:])


def altitude_note(first: str, levels: Sequence[Level]) -> str:
    """What the altitude is measured from, in words: the first level, and those after it."""
    words = {"hold file": "assigned later", "seen": "held later"}
    later = [f"{each.altitude_ft:.0f} ft {words[each.by]}" for each in levels[1:]]
    return "; ".join([first, *later, *(["changes of level left alone"] if later else [])])


def _assigned(hold: Hold, first_ft: float, t: Floats, alt: Floats) -> list[Level]:
    levels = []
    before_ft = first_ft
    for from_s, level_ft in hold.levels:
        longest_s = TO_BEGIN_S + abs(level_ft - before_ft) / SLOWEST_CHANGE_FT_MIN * 60.0
        reached = np.flatnonzero((t >= from_s) & (np.abs(alt - level_ft) <= REACHED_FT))
        reached_s = float(t[reached[0]]) if len(reached) else np.inf
        levels.append(Level(level_ft, from_s, min(reached_s, from_s + longest_s), "hold file"))
        before_ft = level_ft
    return levels


def _seen(first_ft: float, t: Floats, alt: Floats) -> list[Level]:
    levels: list[Level] = []
    level_ft, k = first_ft, 0
    while k < len(t):
        if abs(alt[k] - level_ft) <= OTHER_LEVEL_FT - HELD_WITHIN_FT:  # as nearly always: no other level begins here
            k += 1
            continue
        end = int(np.searchsorted(t, t[k] + HELD_S))
        window = alt[k:end]
        if end >= len(t):
            break
        middle = float(np.median(window))
        off = np.abs(window - level_ft) > OTHER_LEVEL_FT - HELD_WITHIN_FT
        if abs(middle - level_ft) > OTHER_LEVEL_FT and off.all() and np.ptp(window) <= 2.0 * HELD_WITHIN_FT:
            near_old = np.flatnonzero(np.abs(alt[:k] - level_ft) <= LEFT_FT)
            left_s = float(t[near_old[-1]]) if len(near_old) else float(t[0])
            held_ft = float(np.round(middle, -2))
            reached = k + int(np.argmax(np.abs(alt[k:] - held_ft) <= REACHED_FT))
            levels.append(Level(held_ft, left_s, float(t[reached]), "seen"))
            level_ft, k = held_ft, end
        else:
            k += 1
    return levels
