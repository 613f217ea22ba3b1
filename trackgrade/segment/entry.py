"""The entry that was flown: what the path from the first passage to the inbound leg was, and what it is told of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.hold.hold import Hold
from trackgrade.hold.sectors import EITHER_WITHIN_DEG, EntryChoice, expected_entries, sector_margin_deg
from trackgrade.motion.samples import Turn
from trackgrade.segment.events import Passage
from trackgrade.segment.flown import Entry, Moment
from trackgrade.segment.path import FlightPath
from trackgrade.segment.procedures import Leg, probabilities, read_entry
from trackgrade.track.ranks import median

#: A turn at the fix may be begun this early; earlier than that the fix is reached on another heading [s].
EARLY_TURN_S = 5.0
#: The arrival heading is that held over so many seconds before the fix, or before the turn at it [s].
HELD_S = 10.0
#: The wind of the hold is not quite that of the arrival: error of a heading from it [deg], of 1 kt across at 80 kt.
ARRIVAL_SD_DEG = 0.7
#: Less than this is a correction of heading [deg].
LEAST_TURN_DEG = 15.0
#: How probable an entry has to be to be named: the only one that the arrival asks for; one of two that are right
#: (nothing hangs on its name), one not asked for (its leg outbound has to be seen as well), or a turn the wrong way.
NAMED_FROM, ACCUSED_FROM = 0.92, 0.95
#: Kinds less probable than this are no longer possible.
POSSIBLE_FROM = 0.02
#: Log likelihood below which no procedure explains the path: a heading four standard errors off, or a circle more.
LEAST_EXPLAINED = -20.0

WRONG_WAY_REMARKS: dict[EntryChoice, str] = {
    "direct": "direct entry: the turn at the fix was made against the direction of the hold",
    "teardrop": "teardrop entry: the turn back was made against the direction of the hold",
    "parallel": "parallel entry: the turn back was made away from the holding side",
}


def describe_entry(
    path: FlightPath,
    hold: Hold,
    arrival: Passage,
    end: Passage | None,
    leg_s: float,
    own_laps_deg: float | None = None,
    *,
    mirrored: bool = False,
) -> Entry:
    """What was flown from ``arrival`` to the passage that closes the entry (or the direct entry's first lap).

    ``own_laps_deg``: heading of the outbound legs of the laps, against the inbound course, where laps are known.
    ``mirrored``: the path is seen from the wrong side, which is where this pilot held; the entry flown is named in that
    pattern, the entry expected in the hold's own.
    """
    came_deg, came_sd_deg = arrival_heading(path, arrival)
    side = -hold.side if mirrored else hold.side
    heading_true = float(wrap360(hold.inbound_course_true_deg + side * came_deg))
    within = EITHER_WITHIN_DEG + 2.0 * came_sd_deg
    start, until = arrival.moment.epoch_s, end.moment.epoch_s if end is not None else float(path.epoch_s[-1])
    readings = read_entry(path, start, until, came_deg, own_laps_deg, leg_s)
    chances, wrong_way = probabilities(readings)
    named, chance = next(iter(chances.items()))
    expected = expected_entries(hold.inbound_course_true_deg, hold.side, heading_true, within)
    best = next(reading for reading in readings if reading.kind == named)
    explained = best.log_likelihood > LEAST_EXPLAINED
    sure = explained and chance >= (NAMED_FROM if expected == (named,) else ACCUSED_FROM)
    sure = sure and (named in expected or best.leg is not None)
    entry = Entry(
        kind=named if sure else "unclear",
        expected=expected,
        start=arrival.moment,
        end=end.moment if end else None,
        arrival_heading_true_deg=heading_true,
        margin_deg=sector_margin_deg(hold.inbound_course_true_deg, hold.side, heading_true),
        possible=tuple(kind for kind, share in chances.items() if share >= POSSIBLE_FROM) if explained else (),
        turned_wrong_way=sure and wrong_way[named] >= ACCUSED_FROM,
    )
    if not sure:
        between = f"{entry.possible[0]} or {entry.possible[1]}" if len(entry.possible) > 1 else ""
        why = f"{between}: the path fits both" if between else "no procedure fits what was flown after the fix"
        entry = replace(entry, remarks=(why,))
    elif entry.turned_wrong_way:
        entry = replace(entry, remarks=(WRONG_WAY_REMARKS[named],))
    if best.leg is None:
        return entry
    return _with_leg(entry, path, best.leg, hold.inbound_course_true_deg, side, until)


def arrival_heading(path: FlightPath, arrival: Passage) -> tuple[float, float]:
    """Heading against the inbound course on which the fix was reached, before any turn there, and its error [deg]."""
    until = arrival.moment.epoch_s
    for turn in path.turns:
        # A turn at the fix that began a little early: the heading it began from is the one that chose the entry.
        if turn.start_epoch_s < until <= turn.end_epoch_s and until - turn.start_epoch_s < EARLY_TURN_S:
            until = turn.start_epoch_s
    window = (path.epoch_s >= until - HELD_S) & (path.epoch_s <= until)
    if not np.any(window):
        return float(wrap180(arrival.heading_deg)), float(np.hypot(path.heading_sd_deg, ARRIVAL_SD_DEG))
    held = path.heading_deg[window]
    sd_deg = float(np.sqrt(path.heading_sd_deg**2 + np.var(held) + ARRIVAL_SD_DEG**2))
    return float(wrap180(median(held))), sd_deg


def _with_leg(entry: Entry, path: FlightPath, leg: Leg, course_true_deg: float, side: int, until: float) -> Entry:
    """The entry with its turns and its outbound leg: where it began and ended, its track, and how far aside it went."""
    assert entry.start is not None
    start = entry.start.epoch_s
    before = [turn for turn in path.turns_in(start, leg.start_s) if _is_turn(turn)]
    after = [t for t in path.turns if t.start_epoch_s > leg.start_s and t.end_epoch_s > leg.end_s and _is_turn(t)]
    began = Moment(before[-1].end_epoch_s, before[-1].end_sd_s) if before else entry.start
    ended = Moment(after[0].start_epoch_s, after[0].start_sd_s) if after else None
    k0, k1 = path.index(leg.start_s), path.index(leg.end_s)
    track = np.degrees(np.arctan2(path.cross_nm[k1] - path.cross_nm[k0], path.along_nm[k1] - path.along_nm[k0]))
    cross = path.cross_nm[path.index(start) : path.index(until) + 1]
    return replace(
        entry,
        turn_start=Moment(before[0].start_epoch_s, before[0].start_sd_s) if before else None,
        outbound_start=began if began.epoch_s < leg.end_s else Moment(leg.start_s, 2.0),
        outbound_end=ended,
        outbound_track_true_deg=float(wrap360(course_true_deg + side * track)),
        max_offset_nm=float(np.max(np.abs(cross))),
        non_holding_side_nm=max(0.0, -float(np.min(cross))),
    )


def _is_turn(turn: Turn) -> bool:
    return abs(turn.change_deg) > LEAST_TURN_DEG
