"""Whether rounds flown one after another end over one ground: what a hold does, and circles here and there do not.

Each lap of a hold comes back to the fix along the same inbound leg. Which leg that is the hold says; where the pilot
kept to another line, his other laps do. Loops, eights and searches pass the fix now and then, on any line.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trackgrade.motion.motion import GRID_STEP_S
from trackgrade.segment.events import Passages, turn_radius_nm
from trackgrade.segment.flown import Lap
from trackgrade.segment.path import FlightPath
from trackgrade.segment.procedures import LEAST_LEG_S, LEAST_RADIUS_NM
from trackgrade.track.track import Bools, Floats

#: On the inbound course: rolled out, and over the last so many turn radii before the fix no further off it than so
#: many. Of simulated laps, in gales and by poor pilots, all but those that missed the fix.
COURSE_RADII = 1.0
#: Or beside it, as pilots who miss the fix keep to: over so many radii the leg leads along the course, as closely as
#: along another lap's.
BESIDE_OVER_RADII = 3.0
#: Over the ground of another lap that is along the course: longer and closer, for chance has many laps to choose from.
GROUND_OVER_RADII, GROUND_WITHIN_RADII = 1.5, 0.5
#: A ground goes on before what is laid over it by so many radii: a leg may begin further out.
GROUND_LONGER_RADII = 1.0
#: For each round that ends elsewhere so many passages are over the ground: most, and a lap missed now and then is one.
FOR_EACH_ELSEWHERE = 2.0
#: Circles flown further from the fix than so many times the stay led are another matter.
REACHES = 2.0
#: Who turns this much in the time of a lap still circles [deg]; an entry before and a lap left after are a round each.
STILL_CIRCLING_DEG, ENTRY_OR_LEFT_ROUNDS = 200.0, 1.0


def over_common_ground(path: FlightPath, laps: Sequence[Lap], passages: Passages) -> bool:
    """Whether most rounds of a stay, its completed laps (one at least) and what was circled before and after, end over
    one ground.

    The first passage speaks for the stay where it is near the course, and never against it: an entry comes from
    anywhere.
    """
    radius_nm = max(turn_radius_nm(path), LEAST_RADIUS_NM)
    start_s = laps[0].start.epoch_s
    ends_s = [lap.end.epoch_s for lap in laps if lap.end is not None]
    places_nm = np.column_stack((path.along_nm, path.cross_nm))

    def flown_to(at_s: float, radii: float) -> Floats:
        """The last so many turn radii to a moment: places (n, 2), along and across [NM]."""
        last = path.index(at_s)
        fast_nm_s = max(float(path.groundspeed_kt[last]), 1.0) / 3600.0
        return places_nm[max(last - round(radii * radius_nm / fast_nm_s / GRID_STEP_S), 0) : last + 1]

    def along_course(at_s: float) -> bool:
        on, beside = flown_to(at_s, COURSE_RADII)[:, 1], flown_to(at_s, BESIDE_OVER_RADII)[:, 1]
        return bool(np.max(np.abs(on)) < COURSE_RADII * radius_nm or np.ptp(beside) < GROUND_WITHIN_RADII * radius_nm)

    def over(ground: Floats, at_s: float) -> bool:
        return _furthest(flown_to(at_s, GROUND_OVER_RADII), ground) < GROUND_WITHIN_RADII * radius_nm

    # A lap goes round once; with a circle in it, or to the other side, it says nothing for those that do.
    round_to = np.array([_rounds(path, lap.start.epoch_s, at_s) for lap, at_s in zip(laps, ends_s, strict=True)])
    started = abs(path.value(path.cross_nm, start_s)) < COURSE_RADII * radius_nm

    def mostly(ways: Sequence[Bools], passed_s: Sequence[float]) -> bool:
        most = max(int(np.count_nonzero(way & (round_to == side))) for way in ways for side in (1, -1))
        elsewhere = len(ends_s) - most + _rounds_elsewhere(path, laps, ends_s, np.array(passed_s))
        return most > 0 and most + started >= FOR_EACH_ELSEWHERE * elsewhere

    on_course = np.array([_leg_flown(lap) and along_course(at_s) for lap, at_s in zip(laps, ends_s, strict=True)])
    if mostly([on_course], []):  # nearly always; other grounds can only say more for the stay, and are slow to compare
        return True
    # A ground leads along the course; over it is its own leg, and another, or the arrival, has to be too.
    grounds = [
        flown_to(at_s, GROUND_OVER_RADII + GROUND_LONGER_RADII) for at_s in (start_s, *ends_s) if along_course(at_s)
    ]
    over_each = [np.array([over(ground, at_s) for at_s in (start_s, *ends_s)]) for ground in grounds]
    ways = [on_course, *(each[1:] for each in over_each if np.count_nonzero(each) > 1)]
    return mostly(ways, [p.moment.epoch_s for p in passages.inbound if any(over(g, p.moment.epoch_s) for g in grounds)])


def _leg_flown(lap: Lap) -> bool:
    """Whether the turn back was over before the fix by more than a pause in a turn lasts."""
    assert lap.end is not None
    return lap.inbound_turn_end is None or lap.end.epoch_s - lap.inbound_turn_end.epoch_s >= LEAST_LEG_S


def _rounds(path: FlightPath, start_s: float, end_s: float) -> int:
    """Whole circles of the ground track between two moments, to the holding side positive."""
    return round((path.value(path.track_deg, end_s) - path.value(path.track_deg, start_s)) / 360.0)


def _furthest(leg: Floats, ground: Floats) -> float:
    """How far a leg leads from a ground at most [NM]; both places (n, 2)."""
    return float(np.max(np.min(np.hypot(*(leg[:, None] - ground[None]).transpose(2, 0, 1)), axis=1)))


def _rounds_elsewhere(path: FlightPath, laps: Sequence[Lap], ends_s: Sequence[float], passed_s: Floats) -> float:
    """Rounds circled before a stay, between its laps and after it, within its reach, but for those over its ground,
    an entry, and a lap begun and left."""
    start_s = laps[0].start.epoch_s
    lap_s = (ends_s[-1] - start_s) / len(ends_s)
    distance_nm = np.hypot(path.along_nm, path.cross_nm)
    reach_nm = REACHES * float(np.max(distance_nm[path.index(start_s) : path.index(ends_s[-1]) + 1]))

    def elsewhere(from_s: float, to_s: float, turned_deg: float) -> float:
        low, high = sorted((from_s, to_s))
        return turned_deg / 360.0 - float(np.count_nonzero((passed_s > low) & (passed_s < high)))

    rounds = 0.0
    for end_s, lap in zip(ends_s, laps[1:], strict=False):
        rounds += max(elsewhere(end_s, lap.start.epoch_s, _turned_deg(path, end_s, lap.start.epoch_s)), 0.0)
    for step_s, from_s in ((-lap_s, start_s), (lap_s, ends_s[-1])):
        turned_deg, at_s = 0.0, from_s
        while (more := _turned_deg(path, at_s, at_s + step_s)) > STILL_CIRCLING_DEG:
            at_s += step_s
            if path.value(distance_nm, at_s) > reach_nm:
                break
            turned_deg += more
        rounds += max(elsewhere(from_s, at_s, turned_deg) - ENTRY_OR_LEFT_ROUNDS, 0.0)
    return rounds


def _turned_deg(path: FlightPath, one_s: float, other_s: float) -> float:
    """How far the ground track turned between two moments, to one side [deg]."""
    return abs(path.value(path.track_deg, other_s) - path.value(path.track_deg, one_s))
