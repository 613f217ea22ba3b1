"""From passages and turns to laps: which pairs of fix passages enclose a lap, and its events in order.

A lap is: the fix passed inbound; a turn in the hold's direction to the outbound side; abeam; a turn in the hold's
direction back to the inbound side; the fix passed inbound. What lacks one of these is no lap, and the lack is the
reason told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.motion.motion import GRID_STEP_S
from trackgrade.motion.samples import Turn
from trackgrade.motion.turns import CORRECTION_DEG, STANDARD_RATE_DEG_S
from trackgrade.segment.events import (
    HOLE_TURN_DEG,
    Passage,
    crossing_moment,
    first_crossing,
    overlaps,
    passages_in,
    wing_tip_abeam,
)
from trackgrade.segment.flown import Lap, Moment
from trackgrade.segment.inbound import InboundReadings, read_inbound_start
from trackgrade.segment.path import FlightPath
from trackgrade.track.ranks import median
from trackgrade.track.runs import runs

#: Angles to the inbound course [deg] that a lap may start and must end with (a direct entry starts it wide).
START_FROM_DEG, START_TO_DEG, END_WITHIN_DEG = -80.0, 122.0, 62.0
#: The turn at the fix begins this soon after it, else the aircraft left the hold [s].
LATEST_FIX_TURN_S = 50.0
#: It may begin a little early (s of it at standard rate, longer at a lower one).
EARLIEST_FIX_TURN_S = 40.0
#: Between the turn back and the turn at the fix the roll-out lies no longer before it than this [s]; each is at least
#: so much of a half circle [deg]; rolling out and in again takes this long [s].
ROLL_OUT_BEFORE_S, PART_OF_TURN_DEG, ROLL_OUT_AND_IN_S = 30.0, 60.0, 4.0
#: A rate that nowhere falls below this share of the turn's own shows no roll-out: a circle goes on over the fix.
ROLLED_OUT_SHARE = 0.8
#: A turn from inbound to outbound, even from across and in a gale, is less than a full circle [deg].
MOST_FIX_TURN_DEG = 345.0
#: The half circle at the fix with a whole one flown straight on [deg].
ORBIT_AND_HALF_DEG = (480.0, 620.0)
#: Turns in one direction this close together are one turn with a wobble [s].
SAME_TURN_PAUSE_S = 3.0
#: A turn back may begin with a bite and a pause this long [s].
TURN_BACK_PAUSE_S = 10.0
#: A turn this large against the hold's direction is no correction; one through this much is a circle [deg].
LARGE_TURN_DEG, CIRCLE_DEG = 100.0, (315.0, 405.0)
#: A turn that changes the ground track by so much, and no more, leads nowhere: it is an orbit.
WHOLE_CIRCLE_DEG = (335.0, 440.0)
#: Tracks within this of outbound are the outbound sector; within this of inbound, rolled out inbound [deg].
OUTBOUND_WITHIN_DEG, INBOUND_WITHIN_DEG = 60.0, 80.0
#: A turn at the fix that pauses before this much is not over [deg].
FIX_TURN_LEAST_DEG = 112.0
#: More than a correction, and a shorter pause than this: the first part of the turn at the fix [deg, s].
LEAST_BITE_DEG, FIX_TURN_PAUSE_S = 30.0, 20.0
#: Of a lap whose record has more than this share of its time in holes with turns in them, nothing can be told.
MOST_UNSEEN_SHARE = 0.7
#: Less straight flight than this in a lap is an orbit [s].
LEAST_LEVEL_S = 14.0
#: Beside laps with legs, legs this long by the shape of the lap are legs [s]: in a circle they are none.
LEAST_LEG_BY_SHAPE_S = 3.0
#: Who passes the fix this far across the course has it abeam there and then [deg].
ACROSS_FROM_DEG = 45.0
#: The outbound leg is flown at least this far to the holding side of the inbound leg [NM].
LEAST_ABEAM_NM = 0.05


def parted_over_the_fix(path: FlightPath, passages: Sequence[Passage]) -> FlightPath:
    """The path with every turn that goes on over the fix made two: the turn back, and the turn at the fix.

    With a short inbound leg, or positions far apart, the roll-out between them does not show in the turns; it lies
    where the rate was least shortly before the fix.
    """
    turns: list[Turn] = []
    for turn in path.turns:
        for passage in passages_in(passages, turn.start_epoch_s, turn.end_epoch_s):
            part = _part(path, turn, passage)
            if part is not None:
                turns.append(part[0])
                turn = part[1]
        turns.append(turn)
    return replace(path, turns=tuple(turns))


def _part(path: FlightPath, turn: Turn, passage: Passage) -> tuple[Turn, Turn] | None:
    """A turn before and after its slowest moment near the fix, where a good part of a half circle lies on each side."""
    at = passage.moment.epoch_s
    if not turn.start_epoch_s < at < turn.end_epoch_s or abs(float(wrap180(passage.track_deg))) > END_WITHIN_DEG:
        return None
    k0, k1 = path.index(max(turn.start_epoch_s, at - ROLL_OUT_BEFORE_S)), path.index(at)
    rates = np.abs(path.rate_deg_s[k0 : k1 + 1])
    if np.min(rates) > ROLLED_OUT_SHARE * turn.rate_deg_s:
        return None
    slow = float(path.epoch_s[k0 + int(np.argmin(rates))])
    before = path.value(path.heading_deg, slow) - path.value(path.heading_deg, turn.start_epoch_s)
    after = path.value(path.heading_deg, turn.end_epoch_s) - path.value(path.heading_deg, slow)
    if min(abs(before), abs(after)) < PART_OF_TURN_DEG or before * after < 0.0:
        return None
    # How long it was slow, either way; at least what a roll out of one turn and into the next takes.
    sd_s = max(float(np.count_nonzero(rates < 0.5 * turn.rate_deg_s)) * GRID_STEP_S / 2.0, ROLL_OUT_AND_IN_S)
    apart_s = ROLL_OUT_AND_IN_S / 2.0
    return (
        replace(turn, end_epoch_s=slow - apart_s, end_sd_s=sd_s, change_deg=before),
        replace(turn, start_epoch_s=slow + apart_s, start_sd_s=sd_s, change_deg=after),
    )


class NoLap(NamedTuple):
    """Why two passages enclose no lap; ``outbound`` says that at least an outbound leg was flown."""

    why: str
    outbound: bool = False


def lap_between(
    path: FlightPath,
    a: Passage,
    b: Passage | None,
    number: int = 0,
    *,
    any_start: bool = False,
    beside_laps: bool = False,
) -> Lap | NoLap:
    """The lap from passage ``a`` to passage ``b``, or why there is none.

    Without ``b`` the lap is read as far as the record goes, and is incomplete. ``any_start``: a direct entry,
    which opens a lap from whatever direction it came. ``beside_laps``: on the ground of laps with legs, so that legs
    too short to show between the turns are legs when the shape of the lap has them.
    """
    start = a.moment.epoch_s
    end = b.moment.epoch_s if b is not None else float(path.epoch_s[-1])
    # Angles are counted from the inbound course as the lap starts: 0 inbound, 180 outbound, 360 inbound again.
    start_heading = float(wrap180(a.heading_deg))
    # Progress round the lap is told by the ground track: in strong wind headings hardly leave the inbound half.
    offset = a.track_deg - float(wrap180(a.track_deg))
    if not any_start and not START_FROM_DEG <= start_heading <= START_TO_DEG:
        return NoLap("the fix was not passed inbound")
    turns = _joined(path.turns_in(start - 1.0, end))

    fix_turn = _fix_turn(path, turns, start, end, offset)
    if fix_turn is None:
        return NoLap("no turn to the outbound leg after the fix")
    if fix_turn.start_epoch_s - start > LATEST_FIX_TURN_S + _hidden_s(path, start, fix_turn.start_epoch_s):
        return NoLap("the turn came too long after the fix")
    if start - fix_turn.start_epoch_s > EARLIEST_FIX_TURN_S * max(STANDARD_RATE_DEG_S / fix_turn.rate_deg_s, 1.0):
        return NoLap("an orbit: the turn began long before the fix")
    reached = path.value(path.track_deg, min(fix_turn.end_epoch_s, end)) - offset
    # An orbit flown straight on from the turn at the fix ends outbound all the same.
    with_orbit = (
        ORBIT_AND_HALF_DEG[0] < fix_turn.change_deg < ORBIT_AND_HALF_DEG[1]
        and abs(float(wrap180(reached - 180.0))) < OUTBOUND_WITHIN_DEG
    )
    # One turn all the way from inbound to inbound leaves no outbound leg to be level on.
    unbroken = reached > 360.0 - INBOUND_WITHIN_DEG and not with_orbit
    if fix_turn.change_deg > MOST_FIX_TURN_DEG and not with_orbit and not unbroken:
        return NoLap("an orbit at the fix")
    if unbroken and any(
        abs(t.change_deg) > LARGE_TURN_DEG and fix_turn.end_epoch_s < t.end_epoch_s < end for t in turns
    ):
        return NoLap("an orbit: circles before the fix came again")
    back = None if unbroken else _turn_back(path, turns, fix_turn, end, offset)

    abeam_s = first_crossing(path, path.along_nm, start, end)
    # A fix missed to the non-holding side shifts the whole pattern: what counts is the side of the inbound leg flown.
    if abeam_s is not None and path.value(path.cross_nm, abeam_s) - min(a.cross_nm, 0.0) < LEAST_ABEAM_NM:
        abeam_s = None
    # Arriving across the course the fix itself is the abeam point: along never goes from + to - after it.
    started_outbound = abs(float(wrap180(a.track_deg))) > ACROSS_FROM_DEG
    if abeam_s is None and not started_outbound:
        return NoLap("never abeam the fix on that side")

    if b is not None:
        if abs(float(wrap180(b.track_deg))) > END_WITHIN_DEG:
            return NoLap("the fix was not passed inbound", outbound=True)
        if back is not None and _turned_other_way(turns, fix_turn.end_epoch_s, back.start_epoch_s):
            return NoLap("turned back against the hold's direction, as in a procedure turn", outbound=True)
        if back is None and not unbroken:
            return NoLap("no turn back to the inbound course in the hold's direction", outbound=True)
        # Corrections on the legs are no part of a circle; in a gale those against the hold's direction are large.
        # A lap that is one turn has its leg after it; a whole circle only a leg that makes it longer than wide.
        since = max(start, fix_turn.start_epoch_s) if unbroken else start
        around = path.turns_in(since, end)
        turning = sum(overlaps(turn, since, end) for turn in around if not -LARGE_TURN_DEG < turn.change_deg < 60.0)
        level = end - since - turning
        if unbroken and fix_turn.change_deg > WHOLE_CIRCLE_DEG[0]:
            level = min(level, _leg_by_shape_s(path, start, end))
        if level < LEAST_LEVEL_S and not (beside_laps and _leg_by_shape_s(path, start, end) > LEAST_LEG_BY_SHAPE_S):
            return NoLap("an orbit: no straight legs")
        if _turning_unseen_s(path, start, end) > MOST_UNSEEN_SHARE * (end - start):
            return NoLap("the record has holes where most of it would be", outbound=True)
    return _events(path, a, b, number, fix_turn, back, abeam_s, offset, unbroken)


def _leg_by_shape_s(path: FlightPath, start: float, end: float) -> float:
    """How long the legs of a lap are by its shape in the air: longer along the course than across it [s]."""
    inside = slice(path.index(start), path.index(end) + 1)
    heading, step_nm = np.radians(path.heading_deg[inside]), path.airspeed_kt[inside] / 3600.0 * GRID_STEP_S
    longer_nm = np.ptp(np.cumsum(step_nm * np.cos(heading))) - np.ptp(np.cumsum(step_nm * np.sin(heading)))
    return float(longer_nm / max(median(step_nm), 1e-6)) * GRID_STEP_S


def _turned_other_way(turns: list[Turn], start: float, end: float) -> bool:
    """Whether a large turn against the hold's direction lies between two times; a whole circle is an orbit inserted."""
    between = [turn for turn in turns if turn.start_epoch_s > start - 0.5 and turn.end_epoch_s < end + 0.5]
    return any(
        turn.change_deg < -LARGE_TURN_DEG and not CIRCLE_DEG[0] < -turn.change_deg < CIRCLE_DEG[1] for turn in between
    )


def _hidden_s(path: FlightPath, start: float, end: float) -> float:
    """How long the record has a hole between two times [s]."""
    return float(np.count_nonzero(path.in_hole[path.index(start) : path.index(end) + 1])) * GRID_STEP_S


def _turning_unseen_s(path: FlightPath, start: float, end: float) -> float:
    """How long the holes are, between two times, that hide a turn [s]; over a straight one nothing is lost."""
    k0, k1 = path.index(start), path.index(end)
    unseen = 0
    for first, after in runs(path.in_hole[k0 : k1 + 1]):
        before, beyond = max(k0 + first - 1, 0), min(k0 + after, len(path.track_deg) - 1)
        if abs(path.track_deg[beyond] - path.track_deg[before]) > HOLE_TURN_DEG:
            unseen += after - first
    return unseen * GRID_STEP_S


def _joined(turns: Sequence[Turn]) -> list[Turn]:
    """Turns in one direction that follow within a few seconds, made one."""
    joined: list[Turn] = []
    for turn in turns:
        last = joined[-1] if joined else None
        if (
            last is not None
            and last.change_deg * turn.change_deg > 0
            and turn.start_epoch_s - last.end_epoch_s < SAME_TURN_PAUSE_S
        ):
            joined[-1] = _join(last, turn)
        else:
            joined.append(turn)
    return joined


def _join(one: Turn, two: Turn) -> Turn:
    return Turn(
        one.start_epoch_s,
        two.end_epoch_s,
        one.start_sd_s,
        two.end_sd_s,
        one.change_deg + two.change_deg,
        max(one.rate_deg_s, two.rate_deg_s),
        max(one.bank_deg, two.bank_deg),
        min(one.threshold_deg_s, two.threshold_deg_s),
    )


def _fix_turn(path: FlightPath, turns: list[Turn], start: float, end: float, offset: float) -> Turn | None:
    """The turn that takes the track from inbound to outbound, with what follows until it is outbound."""
    bite: Turn | None = None  # a first part of the turn, after which it paused
    for k, turn in enumerate(turns):
        if turn.change_deg <= 0 or turn.end_epoch_s < start:
            bite = None
            continue
        if bite is not None and turn.start_epoch_s - bite.end_epoch_s < FIX_TURN_PAUSE_S:
            turn = _join(bite, turn)
        reached = path.value(path.track_deg, min(turn.end_epoch_s, end)) - offset
        if reached < 60.0:
            bite = turn if turn.change_deg > LEAST_BITE_DEG else None
            continue
        while reached < FIX_TURN_LEAST_DEG and k + 1 < len(turns) and turns[k + 1].change_deg > 0:
            k += 1
            turn = _join(turn, turns[k])
            reached = path.value(path.track_deg, min(turn.end_epoch_s, end)) - offset
        return turn if reached >= 90.0 else None
    return None


def _turn_back(path: FlightPath, turns: list[Turn], fix_turn: Turn, end: float, offset: float) -> Turn | None:
    """The turn from the outbound sector to an inbound heading, in the hold's direction; with its pauses.

    Corrections of heading on the outbound leg are no turn back, nor is an orbit that ends outbound again.
    """
    group: Turn | None = None
    previous: Turn | None = None  # a first bite of the turn back, not yet out of the outbound sector
    for turn in turns:
        if turn.start_epoch_s < fix_turn.end_epoch_s - 0.5:
            continue
        reached = path.value(path.track_deg, min(turn.end_epoch_s, end)) - offset
        from_outbound = float(wrap180(reached - 180.0))
        if turn.change_deg <= 0:
            previous = None
            if group is not None and abs(from_outbound) < OUTBOUND_WITHIN_DEG:
                group = None
            continue
        outbound = abs(from_outbound) < OUTBOUND_WITHIN_DEG
        # Circles are told by the ground track: in a gale the heading turns through most of one from leg to leg.
        through = path.value(path.track_deg, turn.end_epoch_s) - path.value(path.track_deg, turn.start_epoch_s)
        if group is None and (outbound or WHOLE_CIRCLE_DEG[0] < through < WHOLE_CIRCLE_DEG[1]):
            previous = turn if through < CIRCLE_DEG[0] else None
            continue
        if group is None and previous is not None and turn.start_epoch_s - previous.end_epoch_s < TURN_BACK_PAUSE_S:
            turn = _join(previous, turn)
        group = turn if group is None else _join(group, turn)
        # In a gale the turn ends on a cut that points well across the course; what it has passed is the inbound side.
        if -INBOUND_WITHIN_DEG < float(wrap180(reached)) < 180.0 - OUTBOUND_WITHIN_DEG:
            return group
        if outbound:
            group = None
    return None


def _events(
    path: FlightPath,
    a: Passage,
    b: Passage | None,
    number: int,
    fix_turn: Turn,
    back: Turn | None,
    abeam_s: float | None,
    offset: float,
    unbroken: bool,
) -> Lap:
    start = a.moment.epoch_s
    end = b.moment.epoch_s if b is not None else float(path.epoch_s[-1])
    remarks: list[str] = []
    outbound_level = None if unbroken else Moment(fix_turn.end_epoch_s, fix_turn.end_sd_s)
    turned_back = None if back is None else Moment(back.start_epoch_s, back.start_sd_s)
    level_end = fix_turn if unbroken else back
    rollout = None if level_end is None else Moment(level_end.end_epoch_s, _end_sd_s(path, level_end))
    if rollout is not None and b is not None and rollout.epoch_s > end:
        # Still turning over the fix: the inbound leg was never level, but the passage ends it all the same.
        rollout = Moment(end, rollout.sd_s)

    abeam = None if abeam_s is None else _line_moment(path, abeam_s, along=True)
    tip_s = wing_tip_abeam(path, start, turned_back.epoch_s if turned_back else end)
    by_bearing = None if tip_s is None else _line_moment(path, tip_s, along=True)

    read: InboundReadings | None = None
    if rollout is not None and level_end is not None:
        since = turned_back.epoch_s if turned_back is not None else _outbound_at(path, start, rollout.epoch_s, offset)
        read = read_inbound_start(path, since, level_end, rollout, end)

    turned = path.value(path.track_deg, end) - offset
    if b is not None and abs(turned - 360.0) > 180.0:
        remarks.append("an orbit was flown within the lap")
    return Lap(
        number=number,
        start=a.moment,
        outbound_turn_start=Moment(fix_turn.start_epoch_s, fix_turn.start_sd_s),
        outbound_turn_end=outbound_level,
        abeam=abeam,
        abeam_by_bearing=by_bearing,
        outbound_end=turned_back,
        course_crossed=read.crossed if read else None,
        inbound_turn_end=rollout,
        inbound_start=read.start.moment if read else None,
        inbound_start_by=read.start.by if read else None,
        end=b.moment if b is not None else None,
        near_tie=read is not None and read.near_tie,
        inbound_start_other=read.other if read else None,
        start_cross_nm=a.cross_nm,
        end_cross_nm=b.cross_nm if b is not None else None,
        remarks=tuple(remarks),
    )


def _end_sd_s(path: FlightPath, turn: Turn) -> float:
    """Error of a turn's end [s]: where a hole lies in it and little is seen after, the end may be in the hole."""
    k0, k1 = path.index(turn.start_epoch_s), path.index(turn.end_epoch_s)
    hidden = k0 + np.flatnonzero(path.in_hole[k0 : k1 + 1])
    if not len(hidden) or abs(path.heading_deg[k1] - path.heading_deg[hidden[-1]]) > CORRECTION_DEG:
        return turn.end_sd_s
    return max(turn.end_sd_s, (turn.end_epoch_s - float(path.epoch_s[hidden[0]])) / 3.0)


def _outbound_at(path: FlightPath, start: float, end: float, offset: float) -> float:
    """When the track first points outbound [s since 1970]: where an unbroken turn begins to lead back."""
    inside = (path.epoch_s >= start) & (path.epoch_s <= end) & (path.track_deg - offset >= 180.0)
    return float(path.epoch_s[np.argmax(inside)]) if np.any(inside) else start


def _line_moment(path: FlightPath, epoch_s: float, *, along: bool) -> Moment:
    track = path.value(path.track_deg, epoch_s)
    return crossing_moment(path, epoch_s, track if along else track - 90.0)
