"""Holds in a track that came with no hold file: places and courses proposed by its turns, judged as laps are graded.

Each family of rounds (`rounds.py`) is a reading: a fix, an inbound course, a side. The same code that finds the laps of
a known hold then says how many laps were flown there, and of readings that share their time the better one is kept.
Which end of a racetrack is the fix is told by `ends.py`, where the track tells it. What was cleared may still be
another hold: a proposal is a guess about the clearance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.earth.geodesy import LocalPlane, azimuth_distance
from trackgrade.earth.units import METRES_PER_NM
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Hold, Leg
from trackgrade.hold.plan import HoldPlan, Position
from trackgrade.motion.airmass import wind_over
from trackgrade.motion.motion import Motion, through_air, trace
from trackgrade.motion.turns import find_turns, in_epoch_time
from trackgrade.segment.course import outbound_of
from trackgrade.segment.ends import Reading, surely_first
from trackgrade.segment.flown import Entry, Visit
from trackgrade.segment.likeness import looks_flown
from trackgrade.segment.path import FlightPath, flight_path
from trackgrade.segment.placing import Placed, place
from trackgrade.segment.proposal import FOUND, HoldProposal, resolved
from trackgrade.segment.rounds import Ground, Round, families
from trackgrade.segment.visits import find_visits
from trackgrade.track.altitude import LEVELS_FROM_FT
from trackgrade.track.cleaning import clean
from trackgrade.track.ranks import median
from trackgrade.track.thinning import thin
from trackgrade.track.track import AltitudeDatum, Floats, Track

#: Flight before the first round, where the entry is, and after the last that is looked at [s].
AROUND_S = 900.0
#: An aircraft holds at no less than this over the ground on average [kt]: walks and rides do not.
SLOWEST_KT = 45.0
#: Two proposals this close [NM, deg] are one hold, flown twice.
SAME_FIX_NM, SAME_COURSE_DEG = 0.6, 20.0
#: The first turn of an entry begins this near to the passage of the fix [s].
FIRST_TURN_S = 25.0
#: A lap is a round of its family where both begin this close together [s].
SAME_ROUND_S = 40.0
#: Legs are proposed as 1 or 1.5 min where they come near it [s a minute]; else as flown.
STANDARD_MINUTES, NEAR_STANDARD_S = (1.0, 1.5), 20.0


def find_holds(track: Track) -> list[HoldProposal]:
    """Every hold of at least one lap, those with most laps first.

    Raises
    ------
    TrackFileError
        Too few usable points.
    """
    cleaned = thin(clean(track))
    points = cleaned.track
    middle = len(points) // 2
    plane = LocalPlane(float(points.lat_deg[middle]), float(points.lon_deg[middle]))
    motion = trace(cleaned, plane)
    over_ground = through_air(motion, motion.grid_s, None)
    ground = Ground.of(motion, over_ground, find_turns(motion, over_ground, None, refine=False))
    alt_ft = _altitude_on(motion.grid_s, points.epoch_s - motion.start_epoch_s, points.alt_ft)
    readings = [reading for stay in _stays(families(ground)) for reading in _readings(motion, ground, alt_ft, stay)]
    return _merged([_proposal(pair, plane, motion, alt_ft, points.alt_datum) for pair in _chosen(readings)])


def _altitude_on(grid_s: Floats, time_s: Floats, alt_ft: Floats) -> Floats:
    known = np.isfinite(alt_ft)
    if not known.any():
        return np.full(len(grid_s), np.nan)
    return np.asarray(np.interp(grid_s, time_s[known], alt_ft[known]))


def _stays(found: list[list[Round]]) -> list[list[list[Round]]]:
    """Families that overlap in time, together: readings of one stay."""
    stays: list[list[list[Round]]] = []
    until = -np.inf
    for family in sorted(found, key=lambda each: each[0].start_s):
        if family[0].start_s > until:
            stays.append([])
        stays[-1].append(family)
        until = max(until, max(each.end_s for each in family))
    return stays


def _readings(motion: Motion, ground: Ground, alt_ft: Floats, stay: list[list[Round]]) -> list[Reading]:
    """The families of a stay that are holds, each placed and with its laps."""
    stay = [family for family in stay if _by_an_aircraft(ground, family)]
    if not stay:
        return []
    first = min(family[0].start_s for family in stay)
    last = max(each.end_s for family in stay for each in family)
    wind, _ = wind_over(motion, (motion.grid_s > first - 30.0) & (motion.grid_s < last + 20.0))
    part = slice(ground.index(first - AROUND_S), ground.index(last + AROUND_S) + 1)
    window = replace(motion, grid_s=motion.grid_s[part], in_hole=motion.in_hole[part])
    air = through_air(window, window.grid_s, wind)
    turns = in_epoch_time(find_turns(window, air, wind, refine=False), motion.start_epoch_s)

    def judged(placed: Placed) -> tuple[FlightPath, tuple[Visit, ...]]:
        leg = Leg(minutes=max(placed.leg_s / 60.0, 1.0))
        hold = Hold("", 0.0, 0.0, placed.course_deg, 0.0, "", placed.turns, leg)
        shifted = air._replace(position_m=air.position_m - placed.fix_nm * METRES_PER_NM)
        path = flight_path(window, shifted, wind, turns, HoldFrame(hold))
        return path, tuple(each for each in find_visits(path, hold).visits if each.laps and not each.wrong_side)

    found = []
    for family in stay:
        placed = place(ground, family)
        path, visits = judged(placed)
        whole = _with_laps(ground, family, visits, motion.start_epoch_s)
        if len(whole) > len(family):  # the laps know of rounds that began or ended a little aside
            placed = place(ground, whole)
            path, visits = judged(placed)
        if not visits:
            continue
        laps = tuple(lap for visit in visits for lap in visit.laps)
        like = looks_flown(path, visits[0].entry, laps, placed, alt_ft[part])
        entry = visits[0].entry
        entered_s = _turned_at_the_fix(entry, motion) if entry.kind in ("teardrop", "parallel") else None
        outbound = outbound_of(path, entry, laps, placed.course_deg, whole[0].side)
        placed = place(ground, whole, outbound, entered_s)
        found.append(Reading(placed, path, visits, laps, motion.start_epoch_s, like))
    return found


def _with_laps(ground: Ground, family: list[Round], visits: Sequence[Visit], began_epoch_s: float) -> list[Round]:
    """The rounds of a family, and those laps that are none of them, in order."""
    more = []
    for lap in (lap for visit in visits for lap in visit.laps if lap.end is not None):
        start = (lap.outbound_turn_start or lap.start).epoch_s - began_epoch_s
        if all(abs(start - each.start_s) > SAME_ROUND_S for each in family) and lap.end is not None:
            end = lap.end.epoch_s - began_epoch_s
            east, north = ground.at(start)
            more.append(Round(start, end, float(east), float(north), family[0].course_deg, family[0].side))
    return sorted([*family, *more], key=lambda each: each.start_s)


def _turned_at_the_fix(entry: Entry, motion: Motion) -> float:
    """When the first turn of an entry began, over the fix; without one, when the fix was passed [s of flight]."""
    passed = entry.start.epoch_s if entry.start else motion.start_epoch_s
    turned = entry.turn_start.epoch_s if entry.turn_start else passed
    return (turned if abs(turned - passed) < FIRST_TURN_S else passed) - motion.start_epoch_s


def _by_an_aircraft(ground: Ground, family: list[Round]) -> bool:
    inside = np.concatenate([ground.speed_kt[ground.index(each.start_s) : ground.index(each.end_s)] for each in family])
    return median(inside) > SLOWEST_KT


def _chosen(readings: list[Reading]) -> list[tuple[Reading, Reading | None, bool]]:
    """Of readings that share their time the best with its other end, best first, and whether it is surely that end."""
    chosen: list[tuple[Reading, Reading | None, bool]] = []
    left = sorted(readings, key=lambda each: each.rank, reverse=True)
    while left:
        best = left[0]
        together = [each for each in left if each.overlaps(best)]
        left = [each for each in left if not each.overlaps(best)]
        if not best.like_a_hold:
            # What it is instead, a circuit or a survey, has another end too; but so has a hold, and it looks like one.
            best = next((each for each in together if each.like_a_hold and each.is_other_end_of(best)), best)
            entered = best.visits[0].entry.kind in ("teardrop", "parallel")
            few = len(best.laps) < len(together[0].laps) - 1 or (len(best.laps) < 2 and not entered)
            if not best.like_a_hold or few:
                continue
        other = next((each for each in together if each.like_a_hold and each.is_other_end_of(best)), None)
        if other is None:
            chosen.append((best, None, True))
            continue
        first, second, sure = surely_first(best, other)
        chosen.append((first, None if sure else second, sure))
    return chosen


def _proposal(
    pair: tuple[Reading, Reading | None, bool],
    plane: LocalPlane,
    motion: Motion,
    alt_ft: Floats,
    datum: AltitudeDatum,
) -> HoldProposal:
    reading, other, sure = pair
    proposal = _as_hold(reading, plane, motion, alt_ft, datum)
    if sure or other is None:
        return proposal
    return replace(proposal, which_end="either", other_end=_as_hold(other, plane, motion, alt_ft, datum))


def _as_hold(reading: Reading, plane: LocalPlane, motion: Motion, alt_ft: Floats, datum: AltitudeDatum) -> HoldProposal:
    placed = reading.placed
    east, north = placed.fix_nm
    sin, cos = np.sin(np.radians(placed.course_deg)), np.cos(np.radians(placed.course_deg))
    # A mile along the course on either side: north in the plane is not north at the fix, far from the middle.
    lat, lon = plane.to_geographic(east + np.array([-sin, 0.0, sin]), north + np.array([-cos, 0.0, cos]))
    course, _ = azimuth_distance(lat[0], lon[0], lat[2], lon[2])
    start_s, end_s = reading.span_s
    inside = alt_ft[np.searchsorted(motion.grid_s, start_s) : np.searchsorted(motion.grid_s, end_s) + 1]
    minutes = _leg_minutes(reading.inbound_s)
    timed = minutes in STANDARD_MINUTES
    plan = HoldPlan(
        name=FOUND,
        inbound_course_deg=round(float(wrap360(float(course))), 1) or 360.0,
        fix=Position(round(float(lat[1]), 5), round(float(lon[1]), 5)),
        north="true",
        turns=placed.turns,
        leg=Leg(minutes=minutes) if timed or reading.leg_nm is None else Leg(nm=reading.leg_nm),
        altitude_ft=_held_ft(inside, datum),
    )
    return HoldProposal(
        resolved(plan, start_s + motion.start_epoch_s),
        len(reading.laps),
        start_s + motion.start_epoch_s,
        end_s + motion.start_epoch_s,
        fix_sd_nm=placed.scatter_nm,
        course_sd_deg=placed.course_scatter_deg,
        leg_minutes=minutes,
    )


def _merged(proposals: list[HoldProposal]) -> list[HoldProposal]:
    """Stays at one hold, made one; most laps first, then the earlier."""
    kept: list[HoldProposal] = []
    for each in sorted(proposals, key=lambda p: -p.laps):
        same = next((k for k, other in enumerate(kept) if _same_hold(each.hold, other.hold)), None)
        if same is None:
            kept.append(each)
            continue
        other = kept[same]
        kept[same] = replace(
            other,
            laps=other.laps + each.laps,
            start_epoch_s=min(other.start_epoch_s, each.start_epoch_s),
            end_epoch_s=max(other.end_epoch_s, each.end_epoch_s),
            stays_epoch_s=(*other.stays, *each.stays),
        )
    return sorted(kept, key=lambda p: (-p.laps, p.start_epoch_s))


def _same_hold(one: Hold, two: Hold) -> bool:
    _, apart_nm = azimuth_distance(one.fix_lat_deg, one.fix_lon_deg, two.fix_lat_deg, two.fix_lon_deg)
    off = abs(float(wrap180(one.inbound_course_true_deg - two.inbound_course_true_deg)))
    return one.turns == two.turns and float(apart_nm) < SAME_FIX_NM and off < SAME_COURSE_DEG


def _held_ft(alt_ft: Floats, datum: AltitudeDatum) -> float | None:
    """The altitude held, where the log has what an altimeter shows, or a flight level; None where it does not [ft]."""
    if not len(alt_ft) or not np.isfinite(alt_ft).all():
        return None
    held = float(np.round(median(alt_ft), -2))
    return held if datum == "altimeter" or (datum == "pressure" and held >= LEVELS_FROM_FT) else None


def _leg_minutes(seconds: float) -> float:
    for minutes in STANDARD_MINUTES:
        if abs(seconds - 60.0 * minutes) <= NEAR_STANDARD_S * minutes:
            return minutes
    return max(round(seconds / 30.0) / 2.0, 0.5)
