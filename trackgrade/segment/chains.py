"""Laps that belong together: every pair of passages that encloses a lap, and which of them are one stay in the hold.

What has the events of a lap can still be another hold, a parallel entry seen from the wrong side, a procedure turn, or
lines of a survey; the tests that tell them apart stand here, each with its reason.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.motion.motion import GRID_STEP_S
from trackgrade.segment.common_ground import over_common_ground
from trackgrade.segment.entry import arrival_heading
from trackgrade.segment.events import Passage, Passages, mirror, passages_in, turns_last
from trackgrade.segment.flown import Lap
from trackgrade.segment.laps import START_TO_DEG, lap_between
from trackgrade.segment.path import FlightPath
from trackgrade.segment.procedures import outbound_legs, read_entry
from trackgrade.track.ranks import median, quantile

#: A lap lasts at most this many times the leg, plus its turns at standard rate [s], and leads no further from the fix
#: than so many legs and seconds of flight, and so far more [NM]: of 2,200 simulated laps in winds to a third of the
#: airspeed all but one. What takes longer or leads further was interrupted.
LAP_LEGS, LAP_TURNS_S = 4.5, 240.0
LAP_REACH_LEGS, LAP_REACH_S, LAP_ASIDE_NM = 2.4, 75.0, 1.0
#: No lap is shorter: two half circles at one and a half times standard rate, and hardly a leg [s].
SHORTEST_LAP_S = 90.0
#: An inbound leg this far off the course, lap after lap (or in an only lap), is another hold [deg].
OTHER_COURSE_DEG, OTHER_COURSE_ONCE_DEG = 35.0, 45.0
#: Such a leg is straight for at least this long [s] and leads to the fix within this [NM].
OTHER_COURSE_LEG_S, OTHER_COURSE_MISS_NM = 30.0, 0.35
#: The turn at the fix begins no later than this after it, and a share of the inbound leg before it more [s]: read on
#: the wrong course what lies before the "fix" is the end of a turn, and what lies after it a whole leg.
LATE_AT_FIX_S, LATE_SHARE_OF_LEG = 10.0, 0.7
#: Passages closer together than this are one [s].
SAME_PASSAGE_S = 20.0
#: Laps no further apart than one more lap takes are one stay: so many legs, and its turns with slack [s].
STAY_LEGS, STAY_TURNS_S = 2.2, 300.0
#: Arrivals on headings beyond this may pass the fix without along rising [deg].
CROSSWISE_FROM_DEG = 60.0
#: Headings to the inbound course well inside the direct sector (AIM 5-3-8: -70 to 110) [deg].
SECTOR_FROM_DEG, SECTOR_TO_DEG = -65.0, 105.0
#: A first lap to the wrong side begins near the inbound course; from further off it is a parallel entry [deg].
WRONG_SIDE_START_DEG = 60.0
#: A round begun across the course ends within this of it [deg].
ACROSS_ENDS_WITHIN_DEG = 40.0
#: No inbound leg of a hold is longer than this many times what it should be; a procedure turn's is.
LONGEST_INBOUND_LEGS = 2.8
#: An entry leads no further from the fix than so many legs and seconds of flight, and so far more [NM]. Of 400
#: simulated entries, long ones and those in gales among them, 99 % stay within a leg and 97 s.
ENTRY_REACH_LEGS, ENTRY_REACH_S, ENTRY_ASIDE_NM = 1.2, 100.0, 0.3
#: Neither inbound nor outbound, over the fix [deg].
ACROSS_FROM_DEG = 30.0
#: On the course outbound: this near, tracking it this closely, for longer than that [NM, deg, s].
ON_COURSE_NM, ON_COURSE_DEG, ON_COURSE_S = 0.15, 12.0, 40.0
#: A leg outbound lasts at least this long [s]; two that differ by more in heading are a procedure turn's [deg].
LEAST_LEG_S, ANOTHER_LEG_DEG = 20.0, 30.0
#: A passage this close is over the fix, however late the turn comes [NM].
OVER_THE_FIX_NM = 0.3
#: A passage this wide need not be the end of a lap [NM].
WIDE_PASS_NM = 0.5


class FoundLap(NamedTuple):
    """A lap with the passages that bound it."""

    lap: Lap
    a: Passage
    b: Passage


def _laps_to_either_side(path: FlightPath, passages: Passages, leg_s: float) -> list[FoundLap]:
    """Every pair of successive inbound passages that encloses a lap, whichever way it turns."""
    return _laps_toward(path, passages, leg_s, mirrored=False) + _laps_toward(
        path.seen_as(reciprocal=False, mirrored=True), passages.mirrored(), leg_s, mirrored=True
    )


def _laps_toward(seen: FlightPath, passages: Passages, leg_s: float, *, mirrored: bool) -> list[FoundLap]:
    longest_s = LAP_LEGS * leg_s + LAP_TURNS_S * turns_last(seen)
    inbound, found = passages.inbound, []
    for a in (*inbound, *_crosswise(seen, passages)):
        for b in passages_in(inbound, a.moment.epoch_s + SHORTEST_LAP_S):
            seconds = b.moment.epoch_s - a.moment.epoch_s
            if seconds > longest_s:
                break
            lap = lap_between(seen, a, b)
            if isinstance(lap, Lap):
                if _credible(seen, a, b, lap, leg_s):
                    found.append(
                        FoundLap(replace(lap, wrong_side=mirrored), as_flown(a, mirrored), as_flown(b, mirrored))
                    )
                break
            # Passing wide of the fix is no end of a lap that goes on: an orbit was inserted.
            if abs(b.cross_nm) < WIDE_PASS_NM or abs(float(wrap180(a.heading_deg))) > CROSSWISE_FROM_DEG:
                break
    return found + _beside(seen, inbound, found, leg_s, mirrored=mirrored)


def _beside(
    seen: FlightPath, inbound: tuple[Passage, ...], found: list[FoundLap], leg_s: float, *, mirrored: bool
) -> list[FoundLap]:
    """Laps with legs too short to show between the turns, in a row with each other or with those found: of a hold flown
    tightly, or recorded in few positions."""
    taken = {each.a.moment.epoch_s for each in found}
    short = []
    for a, b in pairwise(inbound):
        lap = None if a.moment.epoch_s in taken else lap_between(seen, a, b, beside_laps=True)
        if isinstance(lap, Lap) and _credible(seen, a, b, lap, leg_s):
            short.append(FoundLap(replace(lap, wrong_side=mirrored), as_flown(a, mirrored), as_flown(b, mirrored)))
    starts = {each.a.moment.epoch_s for each in (*found, *short)}
    ends = {each.b.moment.epoch_s for each in (*found, *short)}
    return [each for each in short if each.a.moment.epoch_s in ends or each.b.moment.epoch_s in starts]


def _credible(path: FlightPath, a: Passage, b: Passage, lap: Lap, leg_s: float) -> bool:
    """Whether what has the events of a lap can be one of this hold: by its inbound leg, its reach, its start."""
    if lap.inbound_start is not None:
        k = path.index(lap.inbound_start.epoch_s)
        inbound = slice(k, path.index(b.moment.epoch_s) + 1)
        speed_kt = max(median(path.airspeed_kt[inbound]), median(path.groundspeed_kt[inbound]))
        if np.hypot(path.along_nm[k], path.cross_nm[k]) > LONGEST_INBOUND_LEGS * leg_s * speed_kt / 3600.0:
            return False
    if not _ends_inbound(path, a, b, lap) or not stays_near(path, a, b, leg_s):
        return False
    # A round begun across the course shows by its end that it belongs to this one.
    across = abs(float(wrap180(a.heading_deg))) > CROSSWISE_FROM_DEG
    if across and abs(float(wrap180(b.track_deg))) > ACROSS_ENDS_WITHIN_DEG:
        return False
    # From the direct sector it is a lap unless later laps show otherwise; from elsewhere only if it looks like one.
    return SECTOR_FROM_DEG < float(wrap180(a.heading_deg)) < SECTOR_TO_DEG or _is_direct(path, a, b, leg_s)


def _crosswise(path: FlightPath, passages: Passages) -> list[Passage]:
    """Arrivals across the course, which open a direct entry's first lap although along need not rise there."""
    taken = np.array([p.moment.epoch_s for p in passages.inbound])
    return [
        p
        for p in passages.arrivals
        if CROSSWISE_FROM_DEG < float(wrap180(p.heading_deg)) < START_TO_DEG
        and not path.in_hole[path.index(p.moment.epoch_s)]
        and not np.any(np.abs(taken - p.moment.epoch_s) < SAME_PASSAGE_S)
    ]


def _is_direct(path: FlightPath, a: Passage, b: Passage, leg_s: float) -> bool:
    """Whether a round begun far off the inbound course is a direct entry's lap rather than another entry."""
    came_deg, _ = arrival_heading(path, a)
    readings = read_entry(path, a.moment.epoch_s, b.moment.epoch_s, came_deg, None, leg_s)
    return readings[0].kind == "direct"


def as_flown(passage: Passage, mirrored: bool) -> Passage:
    return mirror(passage) if mirrored else passage


def _ends_inbound(path: FlightPath, a: Passage, b: Passage, lap: Lap) -> bool:
    """The fix is where the inbound leg ends, not where the outbound leg begins: the turn comes sooner after it
    than the straight flight before it lasted. Read on the wrong course a hold fails this."""
    if lap.outbound_turn_start is None:
        return False
    if max(abs(a.cross_nm), abs(b.cross_nm)) < OVER_THE_FIX_NM:
        return True  # read on the wrong course, passages lie a turn's diameter off the fix
    after = max(lap.outbound_turn_start.epoch_s - a.moment.epoch_s, 0.0)
    before = a.moment.epoch_s - float(path.epoch_s[0])
    for turn in path.turns:
        if abs(turn.change_deg) > 60.0 and turn.start_epoch_s < a.moment.epoch_s - 5.0 < turn.end_epoch_s - 4.0:
            if turn.start_epoch_s < lap.outbound_turn_start.epoch_s - 1.0:
                before = 0.0  # still in the turn that leads up to here
        # Corrections on the inbound leg do not end it: only a turn through a good part of the half circle does.
        elif turn.end_epoch_s < a.moment.epoch_s + 1.0 and abs(turn.change_deg) > 60.0:
            before = a.moment.epoch_s - turn.end_epoch_s
    return after <= LATE_AT_FIX_S + LATE_SHARE_OF_LEG * max(before, 0.0)


def _without_overlaps(found: list[FoundLap]) -> list[FoundLap]:
    """Laps in order of time; of two that overlap the one nearer to the fix stays."""
    ordered = sorted(found, key=lambda each: abs(each.a.cross_nm) + abs(each.b.cross_nm))
    kept: list[FoundLap] = []
    for each in ordered:
        start, end = each.a.moment.epoch_s, each.b.moment.epoch_s
        if all(end <= k.a.moment.epoch_s + 1.0 or start >= k.b.moment.epoch_s - 1.0 for k in kept):
            kept.append(each)
    return sorted(kept, key=lambda each: each.a.moment.epoch_s)


def chains_of(path: FlightPath, passages: Passages, leg_s: float) -> list[list[FoundLap]]:
    """Stays: laps to either side no longer apart than one more lap would take, over one ground."""
    chains: list[list[FoundLap]] = []
    for each in _without_overlaps(_laps_to_either_side(path, passages, leg_s)):
        apart = each.a.moment.epoch_s - chains[-1][-1].b.moment.epoch_s if chains else np.inf
        if apart < STAY_LEGS * leg_s + STAY_TURNS_S:
            chains[-1].append(each)
        else:
            chains.append([each])
    return [
        chain
        for chain in map(_without_parallel_entry, chains)
        if chain and over_common_ground(path, [found.lap for found in chain], passages)
    ]


def _without_parallel_entry(chain: list[FoundLap]) -> list[FoundLap]:
    """A first round to one side, begun far off the inbound course, before laps to the other side, is a parallel
    entry and not a lap; so is any first round to the wrong side that no other to that side follows."""
    far_off = abs(float(wrap180(chain[0].a.heading_deg))) > WRONG_SIDE_START_DEG
    if len(chain) == 1:
        circle = chain[0].lap.outbound_turn_end is None  # one to the wrong side, alone, is an orbit at the fix
        return [] if (far_off or circle) and chain[0].lap.wrong_side else chain
    if chain[0].lap.wrong_side == chain[1].lap.wrong_side:
        return chain
    return chain[1:] if far_off or chain[0].lap.wrong_side else chain


def other_course(path: FlightPath, chain: list[FoundLap]) -> bool:
    """Whether the inbound legs of these laps follow another course than this hold's."""
    if all(abs(float(wrap180(found.b.track_deg))) > OTHER_COURSE_ONCE_DEG for found in chain):
        return True
    if all(_passes_fix_across(path, found) for found in chain):
        return True
    angles = []
    for found in chain:
        rolled = found.lap.inbound_turn_end
        end = found.b.moment.epoch_s
        if rolled is None:
            continue
        start = rolled.epoch_s
        for turn in path.turns:
            if start < turn.end_epoch_s < end:
                start = turn.end_epoch_s
        if end - start < OTHER_COURSE_LEG_S or abs(found.b.cross_nm) > OTHER_COURSE_MISS_NM:
            continue
        k0, k1 = path.index(start), path.index(end)
        chord = np.degrees(np.arctan2(path.cross_nm[k1] - path.cross_nm[k0], path.along_nm[k1] - path.along_nm[k0]))
        angles.append(min(abs(float(chord)), abs(float(wrap180(found.b.track_deg)))))
    if not angles:
        return False
    return median(angles) > (OTHER_COURSE_DEG if len(angles) > 1 else OTHER_COURSE_ONCE_DEG)


def _passes_fix_across(path: FlightPath, found: FoundLap) -> bool:
    """Whether a lap that begins and ends wide of the fix comes over it in between, on neither leg's direction."""
    if min(abs(found.a.cross_nm), abs(found.b.cross_nm)) < WIDE_PASS_NM:
        return False
    lap = slice(path.index(found.a.moment.epoch_s), path.index(found.b.moment.epoch_s) + 1)
    distance = np.hypot(path.along_nm[lap], path.cross_nm[lap])
    nearest = int(np.argmin(distance))
    across = abs(float(wrap180(path.track_deg[lap][nearest])))
    return bool(distance[nearest] < OVER_THE_FIX_NM) and ACROSS_FROM_DEG < across < 180.0 - ACROSS_FROM_DEG


def out_along_course(path: FlightPath, chain: list[FoundLap]) -> bool:
    """Whether an only lap is a procedure turn: its outbound leg tracks the inbound course itself for a while, where a
    hold's lies a turn's diameter beside it; or its last leg outbound leads away from the side of the turn back."""
    lap = chain[0].lap
    if len(chain) > 1 or lap.outbound_turn_end is None or lap.outbound_end is None:
        return False
    leg = slice(path.index(lap.outbound_turn_end.epoch_s), path.index(lap.outbound_end.epoch_s))
    on = np.abs(path.cross_nm[leg]) < ON_COURSE_NM
    away = np.abs(wrap180(path.track_deg[leg] - 180.0)) < ON_COURSE_DEG
    if int(np.count_nonzero(on & away)) * GRID_STEP_S > ON_COURSE_S:
        return True
    headings = leg_headings(path, chain[0].a, chain[0].b, lap.outbound_turn_end.epoch_s)
    return max(headings, default=0.0) - (headings or [0.0])[-1] > ANOTHER_LEG_DEG


def leg_headings(path: FlightPath, a: Passage, b: Passage, since_s: float = 0.0) -> list[float]:
    """Headings of the legs outbound, between two passages and after a time, that last as long as legs do [deg]."""
    came_deg, _ = arrival_heading(path, a)
    legs = outbound_legs(path, a.moment.epoch_s, b.moment.epoch_s, came_deg)
    return [leg.heading_deg for leg in legs if leg.end_s - max(leg.start_s, since_s) > LEAST_LEG_S]


def stays_near(path: FlightPath, a: Passage, b: Passage, leg_s: float) -> bool:
    """Whether the aircraft stayed within reach of the fix between two passages."""
    furthest_nm, fast_nm_s = _reach(path, a, b)
    return furthest_nm < LAP_ASIDE_NM + fast_nm_s * (LAP_REACH_LEGS * leg_s + LAP_REACH_S)


def near_for_entry(path: FlightPath, a: Passage, b: Passage, leg_s: float) -> bool:
    """Whether it stayed as near as an entry does: a leg, and what the turns take, of which an entry has one less."""
    furthest_nm, fast_nm_s = _reach(path, a, b)
    return furthest_nm < ENTRY_ASIDE_NM + fast_nm_s * (ENTRY_REACH_LEGS * leg_s + ENTRY_REACH_S * turns_last(path))


def _reach(path: FlightPath, a: Passage, b: Passage) -> tuple[float, float]:
    """Furthest from the fix between two passages [NM], and a high speed over the ground there [NM/s]."""
    inside = slice(path.index(a.moment.epoch_s), path.index(b.moment.epoch_s) + 1)
    distance = np.hypot(path.along_nm[inside], path.cross_nm[inside])
    return float(np.max(distance)), quantile(path.groundspeed_kt[inside], 0.9) / 3600.0
