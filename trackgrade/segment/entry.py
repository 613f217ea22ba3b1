"""The entry that was flown: what the path from the first passage to the inbound leg looks like.

AIM 5-3-8 and ICAO Doc 8168 describe the three by where they go: direct turns at the fix to the outbound leg; teardrop
leaves
the fix about 30 degrees into the holding side; parallel flies outbound on the course or its non-holding side and
turns back toward the holding side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.hold.hold import Hold
from trackgrade.hold.sectors import expected_entries, sector_margin_deg
from trackgrade.motion.samples import Turn
from trackgrade.segment.events import Passage, overlaps
from trackgrade.segment.flown import Entry, EntryKind, Moment
from trackgrade.segment.path import FlightPath

#: The outbound leg of an entry ends at most this far from the outbound course [deg].
OUTBOUND_WITHIN_DEG = 75.0
#: A turn at the fix may be begun this early; earlier than that the fix is reached on another heading [s].
EARLY_TURN_S = 5.0
#: A turn back ends within this of the inbound course [deg]: with a steep cut to it, in a gale.
BACK_WITHIN_DEG = 115.0
#: At the end of its outbound leg a parallel entry is still this near the course, in turn radii.
PARALLEL_WITHIN_RADII = 0.45
#: Arrival headings to the inbound course [deg] at which the direct sector meets the teardrop's.
BOUNDARY_DEG, BOUNDARY_WIDTH_DEG = 110.0, 6.0
#: Where the leg of a teardrop points, off the reciprocal of the course, and how closely it is flown there; how closely
#: the leg of a direct entry follows the outbound legs of the laps, or the wind [deg]: of simulated pilots' many habits.
TEARDROP_DEG, TEARDROP_SD_DEG, LAP_LEG_SD_DEG, WIND_LEG_SD_DEG = 29.0, 6.0, 7.0, 12.0
#: A direct entry's leg points anywhere in so many of them; the right entry is believed on evidence weaker by so much.
ANYWHERE_SHARE, RIGHT_ENTRY_LEAD = 0.05, 1.5
#: No teardrop's leg is shorter [s]; no one turns out further than this to its heading [deg].
LEAST_TEARDROP_S, LARGEST_TURN_OUT_DEG = 30.0, 150.0
#: A turn at the fix through this much in the hold's direction is a direct entry's [deg].
ROUND_THE_FIX_DEG = 100.0
#: A turn at the fix of less than this has no wrong way [deg].
LEAST_WRONG_TURN_DEG = 70.0


@dataclass(frozen=True)
class OutboundLeg:
    """The straight leg away from the fix in an entry: its ends, direction, and offset from the fix."""

    start_s: float
    end_s: float
    start_sd_s: float
    end_sd_s: float
    track_deg: float
    offset_at_fix_nm: float
    cross_at_end_nm: float
    back: Turn


def describe_entry(
    path: FlightPath,
    hold: Hold,
    arrival: Passage,
    end: Passage | None,
    lap_outward_deg: float | None = None,
    *,
    mirrored: bool = False,
) -> Entry:
    """What was flown from ``arrival`` to the passage that closes the entry (or the direct entry's first lap).

    ``lap_outward_deg``: how far the outbound legs of the laps point into the holding side, where laps are known.
    ``mirrored``: the path is seen from the wrong side, which is where this pilot held; the entry flown is named in that
    pattern, the entry expected in the hold's own.
    """
    heading = _arrival_heading(path, arrival)
    side = -hold.side if mirrored else hold.side
    heading_true = float(wrap360(hold.inbound_course_true_deg + side * heading))
    expected = expected_entries(hold.inbound_course_true_deg, hold.side, heading_true)
    margin = sector_margin_deg(hold.inbound_course_true_deg, hold.side, heading_true)
    start = arrival.moment.epoch_s
    until = end.moment.epoch_s if end is not None else float(path.epoch_s[-1])
    leg = outbound_leg(path, start, until)
    if leg is None:
        return Entry(
            kind="unclear",
            expected=expected,
            start=arrival.moment,
            end=end.moment if end else None,
            arrival_heading_true_deg=heading_true,
            margin_deg=margin,
            remarks=("no outbound leg could be told apart after the first passage of the fix",),
        )
    first = first_turn(path, start, leg)
    crab = 0.0 if end is None else float(wrap180(end.heading_deg - end.track_deg))
    kind = shape(path, leg, heading, first, crab, lap_outward_deg)
    wrong_way, remark = _wrong_way(kind, heading, first, leg)
    inside = slice(path.index(start), path.index(until) + 1)
    cross = path.cross_nm[inside]
    return Entry(
        kind=kind,
        expected=expected,
        start=arrival.moment,
        end=end.moment if end else None,
        arrival_heading_true_deg=heading_true,
        margin_deg=margin,
        turn_start=None if first is None else Moment(first.start_epoch_s, first.start_sd_s),
        outbound_start=Moment(leg.start_s, leg.start_sd_s),
        outbound_end=Moment(leg.end_s, leg.end_sd_s),
        outbound_track_true_deg=float(wrap360(hold.inbound_course_true_deg + side * leg.track_deg)),
        max_offset_nm=float(np.max(np.abs(cross))),
        non_holding_side_nm=max(0.0, -float(np.min(cross))),
        turned_wrong_way=wrong_way,
        remarks=(remark,) if remark else (),
    )


def _arrival_heading(path: FlightPath, arrival: Passage) -> float:
    """Heading relative to the inbound course on which the fix was reached, before any turn there [deg]."""
    at = arrival.moment.epoch_s
    for turn in path.turns:
        # A turn at the fix that began a little early: the heading it began from is the one that chose the entry.
        if turn.start_epoch_s < at <= turn.end_epoch_s and at - turn.start_epoch_s < EARLY_TURN_S:
            return path.value(path.heading_deg, turn.start_epoch_s - 1.0)
    window = (path.epoch_s >= at - 3.0) & (path.epoch_s <= at)
    return float(np.median(path.heading_deg[window])) if np.any(window) else arrival.heading_deg


def outbound_leg(path: FlightPath, start: float, end: float) -> OutboundLeg | None:
    """The leg that goes outbound between two times and the turn that brings it back, or None."""
    turns = [t for t in path.turns if t.start_epoch_s > start - 12.0 and t.start_epoch_s < end]
    for k, turn in enumerate(turns):
        before = path.value(path.heading_deg, turn.start_epoch_s)
        if turn.start_epoch_s < start or abs(float(wrap180(before - 180.0))) > OUTBOUND_WITHIN_DEG:
            continue
        # The turn back: the first from outbound that (with what follows in its direction) ends inbound; a turn at the
        # fix out of an arrival across the course begins nearly outbound, but ends outbound too.
        change, last = turn.change_deg, turn
        for more in turns[k + 1 :]:
            if abs(change) > 110.0 or more.change_deg * change < 0 or more.start_epoch_s - turn.end_epoch_s > 45.0:
                break
            change, last = change + more.change_deg, more
        ends = abs(float(wrap180(path.value(path.heading_deg, min(last.end_epoch_s, end)))))
        if abs(change) < 85.0 or ends > BACK_WITHIN_DEG:
            continue
        leg_start, leg_start_sd = start, 1.0
        for earlier in turns[:k]:
            if earlier.end_epoch_s <= turn.start_epoch_s and abs(earlier.change_deg) > 20.0:
                leg_start, leg_start_sd = max(earlier.end_epoch_s, start), earlier.end_sd_s
        inside = (path.epoch_s >= leg_start + 2.0) & (path.epoch_s <= turn.start_epoch_s - 1.0)
        if np.count_nonzero(inside) < 4:
            inside = (path.epoch_s >= leg_start) & (path.epoch_s <= turn.start_epoch_s)
        along, cross = path.along_nm[inside], path.cross_nm[inside]
        if len(along) < 3:
            continue
        d_along, d_cross = along[-1] - along[0], cross[-1] - cross[0]
        track = float(np.degrees(np.arctan2(d_cross, d_along)))
        unit = np.array([d_along, d_cross]) / max(float(np.hypot(d_along, d_cross)), 1e-6)
        # Signed distance of the leg's line from the fix, positive where it passes on the holding side.
        offset = float(along.mean() * unit[1] - cross.mean() * unit[0])
        return OutboundLeg(
            leg_start,
            turn.start_epoch_s,
            leg_start_sd,
            turn.start_sd_s,
            track,
            offset,
            path.value(path.cross_nm, turn.start_epoch_s),
            turn,
        )
    return None


def shape(
    path: FlightPath,
    leg: OutboundLeg,
    arrival_heading_deg: float,
    first: Turn | None,
    inbound_crab_deg: float,
    lap_outward_deg: float | None = None,
) -> EntryKind:
    """Direct, teardrop or parallel, by the offset of the outbound leg, its direction, and the turns at its ends.

    In strong wind a direct entry and a teardrop can trace the same path; the sector decides there, unless the
    outbound legs of this pilot's laps (``lap_outward_deg``) show that this one was another leg. A direct entry's own
    outbound heading is three times the inbound crab (``inbound_crab_deg``) off the reciprocal (AIM 5-3-8).
    """
    k = path.index(0.5 * (leg.back.start_epoch_s + leg.back.end_epoch_s))
    airspeed_nm_s = float(path.airspeed_kt[k]) / 3600.0
    radius_nm = airspeed_nm_s / np.radians(max(leg.back.rate_deg_s, 0.8))
    # How far the leg points into the holding side, off the reciprocal of the course.
    outward_deg = float(wrap180(180.0 - leg.track_deg))
    toward_holding_side = leg.back.change_deg < 0
    across = leg.cross_at_end_nm / radius_nm
    if toward_holding_side and across < 1.5 and outward_deg < 22.0:
        return "parallel"
    round_the_fix = first is not None and first.change_deg > ROUND_THE_FIX_DEG
    if across < PARALLEL_WITHIN_RADII and outward_deg < 15.0 and not round_the_fix:
        return "parallel"
    # Between teardrop (from the fix, 30 degrees outward) and direct (two radii aside, no slope): what the
    # wind does to a direct entry moves both together, so their difference tells them apart.
    offset = leg.offset_at_fix_nm / radius_nm
    heading = float(wrap180(arrival_heading_deg))
    toward_teardrop = float(np.clip((heading - BOUNDARY_DEG) / BOUNDARY_WIDTH_DEG, -1.0, 1.0))
    held = float(wrap180(180.0 - path.value(path.heading_deg, 0.5 * (leg.start_s + leg.end_s))))
    if heading < BOUNDARY_DEG and abs(3.0 * inbound_crab_deg) > 20.0 and abs(held - 3.0 * inbound_crab_deg) < 15.0:
        return "direct"
    if heading < BOUNDARY_DEG - BOUNDARY_WIDTH_DEG:
        direct_deg, direct_sd_deg = 1.5 * inbound_crab_deg, WIND_LEG_SD_DEG
        if lap_outward_deg is not None:
            direct_deg, direct_sd_deg = lap_outward_deg, LAP_LEG_SD_DEG
        # Out to a teardrop's heading the turn is the shorter way, and not a large one.
        out_deg = float(wrap180(180.0 - TEARDROP_DEG - heading))
        turned_deg = 0.0 if first is None else first.change_deg
        turned_out = abs(out_deg) < LARGEST_TURN_OUT_DEG and abs(turned_deg - out_deg) < 90.0
        can_be = turned_out and leg.end_s - leg.start_s > LEAST_TEARDROP_S
        return "teardrop" if can_be and _teardrop_rather(outward_deg, direct_deg, direct_sd_deg) else "direct"
    return "teardrop" if offset - (outward_deg - 15.0) / 30.0 < 0.1 + 0.3 * toward_teardrop else "direct"


def _teardrop_rather(outward_deg: float, direct_deg: float, direct_sd_deg: float) -> bool:
    """Whether a leg is a teardrop's rather than a direct entry's, by where it points alone, in the direct sector.

    From the fix to the leg both are one turn, so only its direction tells: a teardrop's lies 30 degrees outward, a
    direct entry's where this pilot's other outbound legs lie (now and then anywhere). What is right there needs less.
    """
    teardrop = _log_density(outward_deg, TEARDROP_DEG, TEARDROP_SD_DEG)
    usual = _log_density(outward_deg, direct_deg, direct_sd_deg)
    anywhere = math.log(ANYWHERE_SHARE) + _log_density(outward_deg, 15.0, 30.0)
    return bool(teardrop - np.logaddexp(usual, anywhere) > RIGHT_ENTRY_LEAD)


def _log_density(value: float, mean: float, sd: float) -> float:
    return -0.5 * ((value - mean) / sd) ** 2 - math.log(sd)


def first_turn(path: FlightPath, start: float, leg: OutboundLeg) -> Turn | None:
    """The first real turn at the fix, before the outbound leg."""
    for turn in path.turns:
        if turn.end_epoch_s > start and turn.start_epoch_s < leg.end_s - 1.0 and overlaps(turn, start, leg.end_s) > 1.0:
            return turn
    return None


def _wrong_way(kind: EntryKind, heading: float, first: Turn | None, leg: OutboundLeg) -> tuple[bool, str]:
    """Whether a turn of the entry went the wrong way, and the sentence for it."""
    if kind == "parallel":
        if leg.back.change_deg > 0:
            return True, "parallel entry: the turn back was made away from the holding side"
        return False, ""
    if leg.back.change_deg < 0:
        return True, f"{kind} entry: the turn back was made against the direction of the hold"
    if kind == "direct" and first is not None and first.change_deg < -LEAST_WRONG_TURN_DEG:
        return True, "direct entry: the turn at the fix was made against the direction of the hold"
    return False, ""
