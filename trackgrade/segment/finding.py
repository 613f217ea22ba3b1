"""Holds in a track that came with no hold file: racetracks, and which end of them is the fix.

A racetrack is a run of large turns in one direction with straight legs between them. Every second leg is the inbound
leg; those that lead, lap after lap, along one line to one point are taken for it. What was cleared may be another
fix a little further on: a proposal is a start for a hold file, to be checked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from trackgrade.earth.angles import mean_direction_deg, wrap360
from trackgrade.earth.geodesy import LocalPlane, azimuth_distance
from trackgrade.earth.units import METRES_PER_NM
from trackgrade.hold.hold import TurnSide
from trackgrade.motion.airmass import wind_over
from trackgrade.motion.motion import Motion, through_air, trace
from trackgrade.motion.samples import Turn
from trackgrade.motion.turns import find_turns
from trackgrade.track.cleaning import clean
from trackgrade.track.thinning import thin
from trackgrade.track.track import Floats, Track

#: A turn of a hold goes through this much [deg]; in wind the two of a lap share 360 unequally.
LEAST_TURN_DEG, MOST_TURN_DEG = 55.0, 320.0
#: Two turns of one hold are this far apart at the most [s]: a leg of 20 NM at 120 kt.
LONGEST_LEG_S = 620.0
#: Straight flight between two turns that makes them turns of a racetrack and not of an orbit [s].
LEAST_LEG_S = 8.0
#: The turn begins about this long after the fix, which is when a pilot reacts (common practice, no source) [s].
REACTION_S = 2.5
#: The inbound course is read over the last part of the leg [s].
COURSE_OVER_S = 30.0
#: Passages of the fix of one hold scatter by less than this [NM].
SAME_FIX_NM = 1.0
#: One lap alone must come back closer than that [NM]; courses of one hold lie within this [deg].
SAME_FIX_ONE_LAP_NM, SAME_COURSE_DEG = 0.3, 25.0
#: Legs are proposed as 1 or 1.5 min where they come near it [s]; else as flown.
NEAR_STANDARD_S = 20.0


@dataclass(frozen=True)
class HoldProposal:
    """A hold that was flown, in the terms of a hold file. Times in s since 1970 (UTC).

    ``course_sd_deg`` and ``fix_sd_nm``: scatter of its inbound legs (NaN with one) and of its passages of the fix.
    """

    name: str
    fix_lat_deg: float
    fix_lon_deg: float
    inbound_course_true_deg: float
    turns: TurnSide
    leg_minutes: float
    altitude_ft: float | None
    laps: int
    start_epoch_s: float
    end_epoch_s: float
    course_sd_deg: float
    fix_sd_nm: float


@dataclass(frozen=True)
class _Leg:
    """A straight leg between a turn and the fix: its times [s] and the ground track over its last part."""

    start_s: float
    end_s: float
    course_deg: float


def find_holds(track: Track) -> list[HoldProposal]:
    """Every racetrack of at least one whole lap, in order of time.

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
    wind, _ = wind_over(motion, np.ones(len(motion.grid_s), dtype=bool))
    turns = find_turns(motion, through_air(motion, motion.grid_s, wind), wind)
    proposals = []
    for run in _runs(turns):
        proposal = _propose(motion, plane, run, points.epoch_s - motion.start_epoch_s, points.alt_ft)
        if proposal is not None:
            proposals.append(proposal)
    return [replace(proposal, name=f"hold {k}") for k, proposal in enumerate(_distinct(proposals), 1)]


def _distinct(proposals: list[HoldProposal]) -> list[HoldProposal]:
    """Of proposals for one hold (an entry can look like a lap the other way round) the one with most laps."""
    kept: list[HoldProposal] = []
    for each in sorted(proposals, key=lambda p: (-p.laps, p.fix_sd_nm)):
        if not any(_same_hold(each, other) for other in kept):
            kept.append(each)
    return sorted(kept, key=lambda p: p.start_epoch_s)


def _same_hold(one: HoldProposal, two: HoldProposal) -> bool:
    _, apart_nm = azimuth_distance(one.fix_lat_deg, one.fix_lon_deg, two.fix_lat_deg, two.fix_lon_deg)
    overlap = one.start_epoch_s < two.end_epoch_s and two.start_epoch_s < one.end_epoch_s
    off = abs((one.inbound_course_true_deg - two.inbound_course_true_deg + 180.0) % 360.0 - 180.0)
    return overlap or (float(apart_nm) < SAME_FIX_NM and off < SAME_COURSE_DEG)


def _runs(turns: list[Turn]) -> list[list[Turn]]:
    """Runs of large turns in one direction with straight legs between; two of them may be a lap."""
    runs: list[list[Turn]] = []
    for turn in turns:
        if abs(turn.change_deg) < LEAST_TURN_DEG:
            continue
        last = runs[-1][-1] if runs else None
        if (
            last is not None
            and last.change_deg * turn.change_deg > 0
            and LEAST_LEG_S <= turn.start_epoch_s - last.end_epoch_s <= LONGEST_LEG_S
            and abs(turn.change_deg) <= MOST_TURN_DEG
        ):
            runs[-1].append(turn)
        else:
            runs.append([turn])
    return [run for run in runs if len(run) >= 2 and _goes_round(run)]


def _goes_round(run: list[Turn]) -> bool:
    """Whether two turns in a row come to about a circle."""
    pairs = [abs(a.change_deg + b.change_deg) for a, b in pairwise(run)]
    return 280.0 <= float(np.median(pairs)) <= 440.0


def _propose(
    motion: Motion, plane: LocalPlane, run: list[Turn], sample_s: Floats, alt_ft: Floats
) -> HoldProposal | None:
    """The better of two readings: the first, third, ... turn is the turn at the fix; or the second, fourth, ..."""
    read = [_Reading.of(motion, run, first) for first in (0, 1)]
    best = min(read, key=lambda each: each.scatter_nm)
    most = SAME_FIX_NM if len(best.passages_nm) > 2 else SAME_FIX_ONE_LAP_NM
    if not best.scatter_nm < most or not best.legs:
        return None
    course = mean_direction_deg(np.array([leg.course_deg for leg in best.legs]))
    if not np.isfinite(course):
        return None
    fix = np.median(best.passages_nm, axis=0)
    lat, lon = plane.to_geographic(fix[:1], fix[1:])
    start_s, end_s = best.first_s, best.last_s
    inside = (sample_s >= start_s) & (sample_s <= end_s) & np.isfinite(alt_ft)
    off = np.array([(leg.course_deg - course + 180.0) % 360.0 - 180.0 for leg in best.legs])
    return HoldProposal(
        name="",
        fix_lat_deg=round(float(lat[0]), 5),
        fix_lon_deg=round(float(lon[0]), 5),
        inbound_course_true_deg=round(float(wrap360(course)), 1) or 360.0,
        turns="right" if run[0].change_deg > 0 else "left",
        leg_minutes=_leg_minutes(float(np.median([leg.end_s - leg.start_s for leg in best.legs]))),
        altitude_ft=float(np.round(np.median(alt_ft[inside]), -2)) if np.any(inside) else None,
        laps=len(best.passages_nm) - 1,
        start_epoch_s=start_s + motion.start_epoch_s,
        end_epoch_s=end_s + motion.start_epoch_s,
        course_sd_deg=float(np.std(off, ddof=1)) if len(off) > 1 else float("nan"),
        fix_sd_nm=best.scatter_nm,
    )


@dataclass(frozen=True, eq=False)
class _Reading:
    """A run of turns read one way: where the fix would have been passed (k, 2) [NM], the inbound legs to it, and
    how far the passages lie apart. The inbound legs lead to one point, the outbound legs end where they may."""

    passages_nm: Floats
    legs: list[_Leg]
    scatter_nm: float
    first_s: float
    last_s: float

    @staticmethod
    def of(motion: Motion, run: list[Turn], first: int) -> _Reading:
        at = [max(run[k].start_epoch_s - REACTION_S, 0.0) for k in range(first, len(run), 2)]
        legs = [_leg(motion, run[k - 1].end_epoch_s, run[k].start_epoch_s) for k in range(first or 2, len(run), 2)]
        points, _, _ = motion.trajectory.at(np.array(at))
        if (len(run) - 1 - first) % 2 == 1:  # the last turn was the turn back: the fix is passed once more
            until = min(run[-1].end_epoch_s + LONGEST_LEG_S, float(motion.grid_s[-1]))
            after = np.arange(run[-1].end_epoch_s, until, 1.0)
            if len(after) > 2:
                path, _, _ = motion.trajectory.at(after)
                away = np.hypot(*(path - np.median(points, axis=0)).T)
                nearest = int(np.argmin(away))
                at.append(float(after[nearest]))
                points = np.vstack([points, path[nearest]])
                legs.append(_leg(motion, run[-1].end_epoch_s, at[-1] + REACTION_S))
        points = points / METRES_PER_NM
        spread = np.sqrt(np.mean(np.sum((points - np.median(points, axis=0)) ** 2, axis=1)))
        scatter = float(spread) if len(points) > 1 else float("inf")
        return _Reading(points, legs, scatter, at[0], at[-1])


def _leg(motion: Motion, start_s: float, turn_s: float) -> _Leg:
    """The leg from the end of one turn to the fix, which was passed shortly before the next."""
    end_s = max(turn_s - REACTION_S, start_s)
    since = max(start_s, end_s - COURSE_OVER_S)
    position, _, _ = motion.trajectory.at(np.array([since, end_s]))
    step = position[1] - position[0]
    return _Leg(start_s, end_s, float(wrap360(np.degrees(np.arctan2(step[0], step[1])))))


def _leg_minutes(seconds: float) -> float:
    for minutes in (1.0, 1.5):
        if abs(seconds - 60.0 * minutes) <= NEAR_STANDARD_S * minutes:
            return minutes
    return max(round(seconds / 30.0) / 2.0, 0.5)
