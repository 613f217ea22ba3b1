"""Rounds: where a flight turns away from a place and comes back to it the same way round.

A pilot in a hold begins the turn over the fix, and the inbound leg leads back to where it began. So the start of every
large turn is a place where the fix may be, and the path that returns there, once round, is the inbound leg. Rounds that
begin at one place on one course belong together; a racetrack makes two such families, one at each of its ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.earth.units import METRES_PER_NM
from trackgrade.motion.motion import AirMotion, Motion
from trackgrade.motion.samples import Turn
from trackgrade.track.ranks import median
from trackgrade.track.track import Floats

#: A turn away from a fix goes through this much over the ground, one from across the course too [deg].
LEAST_TURN_DEG = 55.0
#: A turn through more than this may have the fix in it: its rate falls below this share of what it is typically [deg].
LONG_TURN_DEG, ROLLED_OUT_SHARE = 200.0, 0.8
#: Turns one way with a shorter pause are bites of one [s].
BITE_PAUSE_S = 12.0
#: Once round: from any direction of the direct sector to the inbound course (AIM 5-3-8), in wind [deg].
ROUND_DEG = (225.0, 460.0)
#: Turned back by more than this on the way, it was no round [deg].
TURNED_BACK_DEG = 100.0
#: A lap takes longer than this, however short its legs [s]: circles and thermals do not; and no longer than that: 20 NM
#: out and back at 100 kt over the ground.
SHORTEST_LAP_S, LONGEST_LAP_S = 90.0, 1800.0
#: It comes back within this of where it began: so far, or so many seconds of flight [NM, s].
BACK_WITHIN_NM, BACK_WITHIN_S = 0.7, 15.0
#: No aircraft holds slower than this over the ground, but on a leg against the wind [kt].
SLOWEST_KT = 35.0
#: Rounds of one family begin this close together, on courses this close, with no longer pause than this [NM, deg, s].
SAME_PLACE_NM, SAME_COURSE_DEG, SAME_STAY_S = 1.0, 40.0, 600.0


@dataclass(frozen=True, eq=False)
class Ground:
    """A flight over the ground on the grid of its motion: seconds (g,), places (g, 2) [NM], track, unwrapped (g,)
    [deg], speed (g,) [kt]; and its turns, small ones too, right positive."""

    time_s: Floats
    place_nm: Floats
    track_deg: Floats
    speed_kt: Floats
    turns: tuple[Turn, ...]

    @staticmethod
    def of(motion: Motion, air: AirMotion, turns: list[Turn]) -> Ground:
        return Ground(
            motion.grid_s,
            air.position_m / METRES_PER_NM,
            air.track_deg,
            air.groundspeed_m_s / METRES_PER_NM * 3600.0,
            tuple(turns),
        )

    def index(self, time_s: float) -> int:
        return min(max(int(np.searchsorted(self.time_s, time_s)), 0), len(self.time_s) - 1)

    def at(self, time_s: float) -> Floats:
        """The place (2,) at a time, by interpolation [NM]."""
        return np.array([np.interp(time_s, self.time_s, self.place_nm[:, axis]) for axis in (0, 1)])


class Round(NamedTuple):
    """From the start of a turn to the return to that place. ``side``: +1 turned right; ``course_deg`` on the return."""

    start_s: float
    end_s: float
    east_nm: float
    north_nm: float
    course_deg: float
    side: int
    near_nm: float = BACK_WITHIN_NM  # how near to it is back, at its speed


def families(ground: Ground) -> list[list[Round]]:
    """Rounds that begin at one place on one course, each family in order of time.

    A turn onto the inbound course may go on into the turn at the fix; the fix then lies inside, where it is slowest.
    """
    grown: list[list[Round]] = []
    turns = large_turns(ground.turns)
    inside = [part for turn in turns if (part := _after_the_slowest(ground, turn)) is not None]
    for each in _rounds(ground, turns) + _rounds(ground, inside):
        known = [one for family in grown for one in family if abs(one.start_s - each.start_s) < SHORTEST_LAP_S]
        if any(_belongs(one, each) for one in known):
            continue
        for family in grown:
            if _belongs(family[-1], each) or _belongs(family[0], each):
                family.append(each)
                break
        else:
            grown.append([each])
    return [sorted(family, key=lambda each: each.start_s) for family in grown]


def _after_the_slowest(ground: Ground, turn: tuple[float, float, float]) -> tuple[float, float, float] | None:
    """The part of a large turn after its slowest moment, where a good part of a half circle lies on each side."""
    start, end, change = turn
    k0, k1 = ground.index(start), ground.index(end)
    turned = np.abs(ground.track_deg[k0 : k1 + 1] - ground.track_deg[k0])
    within = np.flatnonzero((turned > LEAST_TURN_DEG) & (turned < abs(change) - LEAST_TURN_DEG))
    if abs(change) < LONG_TURN_DEG or len(within) < 3:
        return None
    rate = np.abs(np.gradient(ground.track_deg[k0 : k1 + 1]))[within]
    slowest = within[int(np.argmin(rate))]
    if np.min(rate) > ROLLED_OUT_SHARE * median(rate):
        return None
    return float(ground.time_s[k0 + slowest]), end, float(np.sign(change) * (abs(change) - turned[slowest]))


def large_turns(turns: tuple[Turn, ...], least_deg: float = LEAST_TURN_DEG) -> list[tuple[float, float, float]]:
    """(start, end, change) of large turns, bites of one put together [s, s, deg]."""
    joined: list[tuple[float, float, float]] = []
    for turn in turns:
        if joined and joined[-1][2] * turn.change_deg > 0 and turn.start_epoch_s - joined[-1][1] < BITE_PAUSE_S:
            joined[-1] = (joined[-1][0], turn.end_epoch_s, joined[-1][2] + turn.change_deg)
        else:
            joined.append((turn.start_epoch_s, turn.end_epoch_s, turn.change_deg))
    return [each for each in joined if abs(each[2]) >= least_deg]


def _belongs(one: Round, two: Round) -> bool:
    apart = float(np.hypot(one.east_nm - two.east_nm, one.north_nm - two.north_nm))
    near = max(SAME_PLACE_NM, one.near_nm, two.near_nm)
    off = abs(float(wrap180(one.course_deg - two.course_deg)))
    return one.side == two.side and apart < near and off < SAME_COURSE_DEG and two.start_s - one.end_s < SAME_STAY_S


def _rounds(ground: Ground, turns: list[tuple[float, float, float]]) -> list[Round]:
    found = []
    for start, _, change in turns:
        side = 1 if change > 0 else -1
        k0 = ground.index(start)
        if ground.speed_kt[k0] < SLOWEST_KT:
            continue
        k1 = ground.index(start + LONGEST_LAP_S)
        turned = side * (ground.track_deg[k0 : k1 + 1] - ground.track_deg[k0])
        over = (turned > ROUND_DEG[1]) | (np.maximum.accumulate(turned) - turned > TURNED_BACK_DEG)
        last = int(np.argmax(over)) if over.any() else len(turned)
        first = int(SHORTEST_LAP_S)
        if last <= first:
            continue
        inside = slice(k0 + first, k0 + last)
        away = np.hypot(*(ground.place_nm[inside] - ground.place_nm[k0]).T)
        away = np.where(turned[first:last] >= ROUND_DEG[0], away, np.inf)
        k = int(np.argmin(away))
        near = max(BACK_WITHIN_NM, BACK_WITHIN_S * float(ground.speed_kt[k0]) / 3600.0)
        if not away[k] < near:
            continue
        end = k0 + first + k
        before = max(end - 15, k0)
        step = ground.place_nm[end] - ground.place_nm[before]
        east, north = ground.place_nm[k0]
        course = float(np.degrees(np.arctan2(step[0], step[1])))
        found.append(Round(start, float(ground.time_s[end]), float(east), float(north), course, side, near))
    return found
