"""From laps to visits: each stay in the hold with its entry, its laps in order, and what was not completed."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.hold.hold import Hold
from trackgrade.segment.chains import (
    CROSSWISE_FROM_DEG,
    FoundLap,
    as_flown,
    chains_of,
    near_for_entry,
    other_course,
    out_along_course,
)
from trackgrade.segment.entry import describe_entry
from trackgrade.segment.events import Passage, Passages, overlaps, passages_of, turns_last
from trackgrade.segment.flown import Entry, Flown, Lap, Visit
from trackgrade.segment.laps import NoLap, lap_between, parted_over_the_fix
from trackgrade.segment.path import FlightPath
from trackgrade.segment.reversal import entry_alone
from trackgrade.track.ranks import median, quantile

#: A record that turns by more than this to its first passage, inside the pattern, began in it [deg].
LEAST_TURNED_IN_PATTERN_DEG = 30.0
BEGINS_IN_HOLD = "the record begins in the hold"
#: An entry lasts at most this many times the leg, plus its turns at standard rate [s].
ENTRY_LEGS, ENTRY_TURNS_S = 3.5, 330.0
#: Laps that typically miss the fix by more may be those of a hold on the reciprocal course [NM].
REVERSED_MISS_NM = 0.4
#: A pass this far off the fix, soon after a much nearer one, is the abeam of the same entry [NM, s].
ABEAM_PASS_NM, ABEAM_PASS_S = 0.25, 240.0
#: A passage so long after another is the same arrival [s].
JUST_BEFORE_S = 40.0
#: More turning than this since a passage of the fix is no entry but something else flown first [deg].
MOST_TURNED_IN_ENTRY_DEG = 600.0
#: No aircraft holds with less than this over the ground even on its faster legs [kt]: walks, rides and drives do.
SLOWEST_FLOWN_KT = 45.0
#: The outbound leg of an entry lasts no more than this many legs, and half a minute [s].
LONGEST_ENTRY_LEGS, ENTRY_LEG_SLACK_S = 2.5, 30.0
#: A record that begins so shortly before the fix shows no arrival; a leg this long has a heading of its own [s].
BEGINS_AT_FIX_S, LEG_WITH_HEADING_S = 20.0, 15.0
#: A lap begun and not ended: abeam came this soon after the fix, and the record went on for less than this after [s].
ABEAM_WITHIN_S, RECORD_ENDS_S = 240.0, 300.0
#: What is said where there was no hold: how near the flight came, and whether it turned at all there [NM, NM, deg].
CAME_NEAR_NM, AROUND_FIX_NM, HARDLY_TURNED_DEG = 1.6, 5.0, 200.0
#: The speed of the faster legs: so large a share of the record is slower.
FAST_SHARE = 0.9
#: The slowest ground speed a leg in miles is expected at [kt].
SLOW_KT = 60.0


def find_visits(path: FlightPath, hold: Hold) -> Flown:
    """Every stay in the hold; where there is none, whether it was flown on the reciprocal course."""
    leg_s = expected_leg_s(hold)
    if len(path.groundspeed_kt) and quantile(path.groundspeed_kt, FAST_SHARE) < SLOWEST_FLOWN_KT:
        return Flown((), (f"not flown: median {median(path.groundspeed_kt):.0f} kt over the ground",))
    passages = passages_of(path)
    path = parted_over_the_fix(path, passages.inbound)
    found = chains_of(path, passages, leg_s)
    chains = [chain for chain in found if not other_course(path, chain) and not out_along_course(path, chain)]
    # Read on the wrong course, a hold's outbound leg passes the fix a turn's diameter aside.
    miss_nm = _miss_nm(chains)
    if miss_nm > REVERSED_MISS_NM:
        turned = path.seen_as(reciprocal=True, mirrored=False)
        reverse = chains_of(turned, passages_of(turned), leg_s)
        reverse_chains = [chain for chain in reverse if not other_course(turned, chain)]
        if reverse_chains and _miss_nm(reverse_chains) < 0.5 * miss_nm:
            return _reversed(reverse_chains)
    visits = _visits(path, hold, chains, passages, leg_s)
    alone = None if visits or found else entry_alone(path, hold, passages, leg_s)
    if alone is not None:
        return Flown((alone,))
    if visits:
        return Flown(visits)
    return Flown((), _what_was_seen(path, found))


def _miss_nm(chains: list[list[FoundLap]]) -> float:
    """How far off the fix the laps of all stays begin and end, typically [NM]; infinite without laps."""
    passages = [abs(p.cross_nm) for chain in chains for found in chain for p in (found.a, found.b)]
    return median(passages) if passages else float("inf")


def _reversed(chains: list[list[FoundLap]]) -> Flown:
    """A hold flown on the reciprocal course is no hold at this fix, but is told for what it is."""
    laps = [found.lap for chain in chains for found in chain]
    side = "the other" if sum(lap.wrong_side for lap in laps) > len(laps) / 2 else "the hold's"
    noun = "lap" if len(laps) == 1 else "laps"
    return Flown(
        (),
        (f"a hold flown on the reciprocal course: {len(laps)} {noun}, turns to {side} side",),
        tuple((lap.start.epoch_s, lap.end.epoch_s) for lap in laps if lap.end is not None),
    )


def expected_leg_s(hold: Hold) -> float:
    """How long a leg may take at the slowest [s]."""
    if hold.leg.nm is not None:
        return hold.leg.nm / SLOW_KT * 3600.0
    return (hold.leg.minutes or 1.0) * 60.0


def _visits(
    path: FlightPath, hold: Hold, chains: list[list[FoundLap]], passages: Passages, leg_s: float
) -> tuple[Visit, ...]:
    visits: list[Visit] = []
    number = 0
    for v, chain in enumerate(chains):
        not_before = chains[v - 1][-1].b.moment.epoch_s + 1.0 if v else -np.inf
        wrong = sum(found.lap.wrong_side for found in chain) > len(chain) / 2
        seen = path.seen_as(reciprocal=False, mirrored=wrong)
        entry, first_laps, chain = _entry(path, hold, chain, passages.arrivals, leg_s, not_before)
        laps = first_laps + [found.lap for found in chain]
        broken = _broken_laps(seen, chain, [as_flown(p, wrong) for p in passages.inbound])
        numbered = []
        for lap in laps:
            number += 1
            numbered.append(replace(lap, number=number))
        last = as_flown(chain[-1].b, wrong)
        until = chains[v + 1][0].a.moment.epoch_s - 1.0 if v + 1 < len(chains) else np.inf
        trailing = _trailing(seen, last, number + 1, until)
        incomplete = tuple(broken) + ((trailing,) if trailing is not None else ())
        visits.append(Visit(v + 1, entry, tuple(numbered), incomplete, wrong_side=wrong))
    return tuple(visits)


def _entry(
    path: FlightPath,
    hold: Hold,
    chain: list[FoundLap],
    came: tuple[Passage, ...],
    leg_s: float,
    not_before: float,
) -> tuple[Entry, list[Lap], list[FoundLap]]:
    """The entry before a chain of laps; the lap that a direct entry itself makes where the chain lacks it; the chain
    without a first round that is an entry and no lap."""
    first = chain[0].a
    wrong = chain[0].lap.wrong_side
    seen = path.seen_as(reciprocal=False, mirrored=wrong)
    own = _own_laps_deg(seen, chain)

    def described(arrival: Passage, end: Passage) -> Entry:
        return describe_entry(seen, hold, as_flown(arrival, wrong), as_flown(end, wrong), leg_s, own, mirrored=wrong)

    since = first.moment.epoch_s - (ENTRY_LEGS * leg_s + ENTRY_TURNS_S * turns_last(path))
    earlier = [p for p in came if max(since, not_before) < p.moment.epoch_s < first.moment.epoch_s - JUST_BEFORE_S]
    if _begins_in_pattern(seen, chain[0], earlier):
        return _in_the_hold(described(first, chain[0].b), first), [], chain
    for passage in reversed(earlier):
        if _turned_deg(path, passage, first) > MOST_TURNED_IN_ENTRY_DEG:
            break
        if _is_abeam_of(passage, earlier) or not near_for_entry(path, passage, first, leg_s):
            continue
        entry = described(passage, first)
        if not entry.possible or _leg_of(entry) > LONGEST_ENTRY_LEGS * leg_s + ENTRY_LEG_SLACK_S:
            continue
        if entry.possible[0] == "direct":
            lap = lap_between(seen, as_flown(passage, wrong), as_flown(first, wrong), any_start=True)
            if isinstance(lap, Lap):
                return replace(entry, end=passage.moment), [replace(lap, wrong_side=wrong)], chain
        return entry, [], chain
    # Nothing before: the chain's own first passage is the arrival, or the nearest point to the fix just before it, from
    # where the line abeam the fix is first crossed outward.
    nearer = [p for p in came if 0.0 < first.moment.epoch_s - p.moment.epoch_s < JUST_BEFORE_S]
    arrival = min([*nearer, first], key=lambda p: abs(p.cross_nm))
    entry = described(arrival, chain[0].b)
    if first.moment.epoch_s - float(path.epoch_s[0]) < BEGINS_AT_FIX_S:
        return _in_the_hold(entry, first), [], chain
    if len(chain) > 1 and entry.possible and entry.possible[0] != "direct":
        return entry, [], chain[1:]
    return replace(entry, end=arrival.moment), [], chain


def _leg_of(entry: Entry) -> float:
    """How long the outbound leg of an entry lasts [s]."""
    if entry.outbound_start is None or entry.outbound_end is None:
        return 0.0
    return entry.outbound_end.epoch_s - entry.outbound_start.epoch_s


def _in_the_hold(entry: Entry, first: Passage) -> Entry:
    """What is told of an entry that the record does not show."""
    return replace(
        entry, kind="unclear", possible=(), turned_wrong_way=False, end=first.moment, remarks=(BEGINS_IN_HOLD,)
    )


def _begins_in_pattern(path: FlightPath, first: FoundLap, earlier: list[Passage]) -> bool:
    """Whether the record begins where the lap after it was flown, less than a lap before the fix, and turns to it as
    the hold does, with no earlier pass of the fix nearer than its abeam point. On the inbound leg alone it may as well
    have come from afar."""
    lap = first.lap
    start, end = first.a.moment.epoch_s, first.b.moment.epoch_s
    if lap.abeam is None or start - float(path.epoch_s[0]) > end - start:
        return False
    flown = slice(path.index(start), path.index(end) + 1)
    along, cross = path.along_nm[flown], path.cross_nm[flown]
    width = path.value(path.cross_nm, lap.abeam.epoch_s)
    if any(abs(passage.cross_nm) < 0.5 * width for passage in earlier):
        return False
    inside = (
        float(np.min(along)) - 0.5 * width < path.along_nm[0] < float(np.max(along)) + 0.5 * width
        and float(np.min(cross)) - 0.3 * width < path.cross_nm[0] < float(np.max(cross)) + 0.3 * width
    )
    turned = path.value(path.track_deg, start) - float(path.track_deg[0])
    return inside and LEAST_TURNED_IN_PATTERN_DEG < turned < 360.0 + LEAST_TURNED_IN_PATTERN_DEG


def _own_laps_deg(path: FlightPath, chain: list[FoundLap]) -> float | None:
    """Heading of the outbound legs of laps begun on the inbound course, against that course [deg]; None without any."""
    angles = []
    for found in chain:
        start, end = found.lap.outbound_turn_end, found.lap.outbound_end
        if start is None or end is None or end.epoch_s - start.epoch_s < LEG_WITH_HEADING_S:
            continue
        if abs(float(wrap180(found.a.heading_deg))) > CROSSWISE_FROM_DEG:
            continue
        leg = path.heading_deg[path.index(start.epoch_s) : path.index(end.epoch_s) + 1]
        angles.append(180.0 + float(wrap180(median(leg) - 180.0)))
    return median(angles) if angles else None


def _turned_deg(path: FlightPath, a: Passage, b: Passage) -> float:
    """Degrees turned, either way, between two passages."""
    start, end = a.moment.epoch_s, b.moment.epoch_s
    return sum(
        abs(turn.change_deg) * overlaps(turn, start, end) / max(turn.end_epoch_s - turn.start_epoch_s, 1.0)
        for turn in path.turns_in(start, end)
    )


def _is_abeam_of(passage: Passage, earlier: list[Passage]) -> bool:
    """Whether a pass is only the abeam point of an entry that began at the fix shortly before."""
    miss = abs(passage.cross_nm)
    return miss > ABEAM_PASS_NM and any(
        0.0 < passage.moment.epoch_s - other.moment.epoch_s < ABEAM_PASS_S and abs(other.cross_nm) < 0.5 * miss
        for other in earlier
    )


def _broken_laps(path: FlightPath, chain: list[FoundLap], passages: list[Passage]) -> list[Lap]:
    """What lies between two laps of one visit that do not join: flown, not completed."""
    broken = []
    for one, two in pairwise(chain):
        if two.a.moment.epoch_s - one.b.moment.epoch_s <= 1.0:
            continue
        start = next((p for p in passages if abs(p.moment.epoch_s - one.b.moment.epoch_s) < 0.5), None)
        if start is None:
            continue
        read = lap_between(path, start, None)
        why = "the fix was passed again without a lap between"
        lap = (
            replace(read, why_incomplete=why, end=None)
            if isinstance(read, Lap) and read.outbound_end is not None
            else _bare_lap(start, why)
        )
        broken.append(replace(lap, number=0))
    return broken


def _bare_lap(start: Passage, why: str) -> Lap:
    return Lap(
        number=0,
        start=start.moment,
        outbound_turn_start=None,
        outbound_turn_end=None,
        abeam=None,
        abeam_by_bearing=None,
        outbound_end=None,
        course_crossed=None,
        inbound_turn_end=None,
        inbound_start=None,
        inbound_start_by=None,
        end=None,
        why_incomplete=why,
        start_cross_nm=start.cross_nm,
    )


def _trailing(path: FlightPath, last: Passage, number: int, until: float) -> Lap | None:
    """A lap begun after the last passage and not brought back to the fix."""
    lap = lap_between(path, last, None, number)
    if (
        isinstance(lap, NoLap)
        or lap.abeam is None
        or lap.abeam.epoch_s > min(until, last.moment.epoch_s + ABEAM_WITHIN_S)
    ):
        return None
    left = float(path.epoch_s[-1]) - lap.abeam.epoch_s
    why = "the record ends before the fix" if left < RECORD_ENDS_S else "not brought back to the fix"
    return replace(lap, why_incomplete=why, end=None)


def _what_was_seen(path: FlightPath, chains: list[list[FoundLap]]) -> tuple[str, ...]:
    """Sentences on what happened near the fix when it was no hold."""
    if chains:
        return ("a hold at this fix on another inbound course",)
    distance = np.hypot(path.along_nm, path.cross_nm)
    nearest = float(np.min(distance))
    if nearest > CAME_NEAR_NM:
        return (f"the flight came no nearer to the fix than {nearest:.1f} NM",)
    near = distance < AROUND_FIX_NM
    turned = float(np.sum(np.abs(path.rate_deg_s[near])))
    if turned < HARDLY_TURNED_DEG:
        return ("the fix was passed without a hold",)
    return ("turns near the fix, but no lap that leaves it outbound and comes back to it inbound",)
