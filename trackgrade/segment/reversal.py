"""A hold flown once in place of a procedure turn: over the fix, outbound, back to the inbound course and on.

It is an entry that no lap follows. A direct entry's round is itself a lap, from whatever direction it came. A procedure
turn beside the course is neither: it has two legs outbound, and leaves the fix along the course.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.hold.hold import Hold
from trackgrade.segment.chains import (
    ANOTHER_LEG_DEG,
    FoundLap,
    leg_headings,
    near_for_entry,
    out_along_course,
    stays_near,
)
from trackgrade.segment.common_ground import over_common_ground
from trackgrade.segment.entry import describe_entry
from trackgrade.segment.events import Passage, Passages, turn_radius_nm, turns_last
from trackgrade.segment.flown import Entry, Lap, Moment, Visit
from trackgrade.segment.inbound import read_inbound_start
from trackgrade.segment.laps import lap_between
from trackgrade.segment.path import FlightPath

#: It lasts at least so long, and at most so many legs and its turns at standard rate [s].
SHORTEST_S, LONGEST_LEGS, LONGEST_TURNS_S = 90.0, 3.5, 330.0
#: It comes back to the fix this near, in turn radii, and on a track this near to the inbound course [deg].
ENDS_WITHIN_RADII, ENDS_WITHIN_DEG = 1.0, 30.0
#: A turn through this much, over so shortly before the fix [deg, s].
CIRCLE_DEG, CIRCLED_S = 300.0, 60.0
#: More than a correction of heading [deg].
TURN_DEG = 15.0


def entry_alone(path: FlightPath, hold: Hold, passages: Passages, leg_s: float) -> Visit | None:
    """The first round over the fix and back to it on the inbound course, where the flight has no laps; else None."""
    longest_s = LONGEST_LEGS * leg_s + LONGEST_TURNS_S * turns_last(path)
    near_nm = ENDS_WITHIN_RADII * turn_radius_nm(path)
    for arrival in passages.arrivals:
        since_s = arrival.moment.epoch_s
        end = next((b for b in passages.inbound if b.moment.epoch_s > since_s + SHORTEST_S), None)
        if end is None or end.moment.epoch_s > since_s + longest_s or abs(end.cross_nm) > near_nm:
            continue
        if abs(float(wrap180(end.track_deg))) > ENDS_WITHIN_DEG or not near_for_entry(path, arrival, end, leg_s):
            continue
        entry = describe_entry(path, hold, arrival, end, leg_s)
        headings = leg_headings(path, arrival, end)
        if not entry.possible or float(np.ptp(headings or [0.0])) > ANOTHER_LEG_DEG:
            continue
        # Without laps to follow only the entry that the arrival asks for, flown its right way, is believed.
        if entry.possible[0] not in entry.expected or entry.turned_wrong_way:
            continue
        if entry.possible[0] != "direct":
            if entry.kind in entry.expected and headings and not _circled_before(path, arrival):
                return Visit(1, entry, (), (), reversal=_round(path, entry, arrival, end))
            continue
        lap = lap_between(path, arrival, end, 1, any_start=True)
        if not isinstance(lap, Lap) or not stays_near(path, arrival, end, leg_s):
            continue
        if over_common_ground(path, [lap], passages) and not out_along_course(path, [FoundLap(lap, arrival, end)]):
            return Visit(1, replace(entry, end=arrival.moment), (lap,), ())
    return None


def _circled_before(path: FlightPath, arrival: Passage) -> bool:
    """Whether the fix was reached out of a circle: then what follows is no arrival."""
    at = arrival.moment.epoch_s
    return any(
        abs(turn.change_deg) > CIRCLE_DEG and at - CIRCLED_S < turn.end_epoch_s < at + CIRCLED_S for turn in path.turns
    )


def _round(path: FlightPath, entry: Entry, arrival: Passage, end: Passage) -> Lap:
    """The round as a lap is told, number 0: its turn back, its inbound leg, its end."""
    end_s = end.moment.epoch_s
    back = entry.outbound_end
    turns = [] if back is None else [t for t in path.turns if back.epoch_s - 1.0 < t.start_epoch_s < end_s]
    last = next((t for t in reversed(turns) if abs(t.change_deg) > TURN_DEG), None)
    level = None if last is None else Moment(min(last.end_epoch_s, end_s), last.end_sd_s)
    read = None
    if last is not None and level is not None:
        read = read_inbound_start(path, last.start_epoch_s, last, level, end_s)
    return Lap(
        number=0,
        start=arrival.moment,
        outbound_turn_start=entry.turn_start,
        outbound_turn_end=entry.outbound_start,
        abeam=None,
        abeam_by_bearing=None,
        outbound_end=back,
        course_crossed=read.crossed if read else None,
        inbound_turn_end=level,
        inbound_start=read.start.moment if read else None,
        inbound_start_by=read.start.by if read else None,
        end=end.moment,
        inbound_start_other=read.other if read else None,
        start_cross_nm=arrival.cross_nm,
        end_cross_nm=end.cross_nm,
    )
