"""From laps to visits: each stay in the hold with its entry, its laps in order, and what was not completed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.hold.hold import Hold
from trackgrade.segment.entry import describe_entry, first_turn, outbound_leg, shape
from trackgrade.segment.events import Passage, arrivals, inbound_passages, overlaps
from trackgrade.segment.flown import Entry, Flown, Lap, Visit
from trackgrade.segment.laps import START_TO_DEG, NoLap, lap_between
from trackgrade.segment.path import FlightPath

#: A record that turns by more than this to its first passage, inside the pattern, began in it [deg].
LEAST_TURNED_IN_PATTERN_DEG = 30.0
BEGINS_IN_HOLD = "the record begins in the hold"
#: An entry lasts at most this many times the leg, plus its turns [s].
ENTRY_LEGS, ENTRY_TURNS_S = 3.5, 330.0
#: A lap lasts at most this many times the leg, plus its turns [s].
LAP_LEGS, LAP_TURNS_S = 4.5, 420.0
#: An inbound leg this far off the course, lap after lap (or in an only lap), is another hold [deg].
OTHER_COURSE_DEG, OTHER_COURSE_ONCE_DEG = 27.0, 45.0
#: Such a leg is straight for at least this long [s] and leads to the fix within this [NM].
OTHER_COURSE_LEG_S, OTHER_COURSE_MISS_NM = 30.0, 0.35
#: Of all passages of a stay at least one is this near to the fix: of an only lap, of one to the wrong side [NM].
NEAREST_ONCE_NM, NEAREST_WRONG_SIDE_NM = 0.6, 0.6
#: Laps that typically miss the fix by more may be those of a hold on the reciprocal course [NM].
REVERSED_MISS_NM = 0.4
#: A pass this far off the fix, soon after a much nearer one, is the abeam of the same entry [NM, s].
ABEAM_PASS_NM, ABEAM_PASS_S = 0.25, 240.0
#: Arrivals on headings beyond this may pass the fix without along rising [deg].
CROSSWISE_FROM_DEG = 60.0
#: Headings to the inbound course well inside the direct sector (AIM 5-3-8: -70 to 110) [deg].
SECTOR_FROM_DEG, SECTOR_TO_DEG = -65.0, 105.0
#: A first lap to the wrong side begins near the inbound course; from further off it is a parallel entry [deg].
WRONG_SIDE_START_DEG = 60.0
#: More turning than this since a passage of the fix is no entry but something else flown first [deg].
MOST_TURNED_IN_ENTRY_DEG = 600.0
#: The outbound leg of an entry begins this soon after the fix [s], and lasts no more than this many legs.
LATEST_ENTRY_LEG_S, LONGEST_ENTRY_LEGS = 200.0, 2.5
#: No inbound leg of a hold is longer than this many times what it should be in still air; a procedure turn's is.
LONGEST_INBOUND_LEGS = 2.8
#: A passage this wide need not be the end of a lap [NM].
WIDE_PASS_NM = 0.5
#: The slowest ground speed a leg in miles is expected at [kt].
SLOW_KT = 60.0


def find_visits(path: FlightPath, hold: Hold) -> Flown:
    """Every stay in the hold; where there is none, whether it was flown on the reciprocal course."""
    leg_s = expected_leg_s(hold)
    straight = _laps_of(path, leg_s, mirrored=False) + _laps_of(path, leg_s, mirrored=True)
    found = _chains(_without_overlaps(straight), leg_s)
    chains = [chain for chain in found if not _other_course(path, chain)]
    turned = path.seen_as(reciprocal=True, mirrored=False)
    reverse = _without_overlaps(_laps_of(turned, leg_s, mirrored=False) + _laps_of(turned, leg_s, mirrored=True))
    reverse_chains = [chain for chain in _chains(reverse, leg_s) if not _other_course(turned, chain)]
    # Read on the wrong course, a hold's outbound leg passes the fix a turn's diameter aside.
    miss_nm = _miss_nm(chains)
    if reverse_chains and miss_nm > REVERSED_MISS_NM and _miss_nm(reverse_chains) < 0.5 * miss_nm:
        return _reversed(reverse_chains)
    visits = _visits(path, hold, chains, leg_s)
    if visits:
        return Flown(visits)
    return Flown((), _what_was_seen(path, found))


def _miss_nm(chains: list[list[FoundLap]]) -> float:
    """How far off the fix the laps of all stays begin and end, typically [NM]; infinite without laps."""
    passages = [abs(p.cross_nm) for chain in chains for found in chain for p in (found.a, found.b)]
    return float(np.median(passages)) if passages else float("inf")


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


@dataclass(frozen=True)
class FoundLap:
    """A lap with the passages that bound it."""

    lap: Lap
    a: Passage
    b: Passage


def _laps_of(path: FlightPath, leg_s: float, *, mirrored: bool) -> list[FoundLap]:
    """Every pair of successive inbound passages that encloses a lap, turns toward one side."""
    seen = path.seen_as(reciprocal=False, mirrored=mirrored)
    passages = inbound_passages(seen)
    found = []
    for a in passages + _crosswise(seen, passages):
        for b in (p for p in passages if p.moment.epoch_s > a.moment.epoch_s + 20.0):
            seconds = b.moment.epoch_s - a.moment.epoch_s
            if seconds > LAP_LEGS * leg_s + LAP_TURNS_S:
                break
            lap = lap_between(seen, a, b)
            if isinstance(lap, Lap):
                if _credible(seen, a, b, lap, leg_s):
                    found.append(
                        FoundLap(replace(lap, wrong_side=mirrored), _as_flown(a, mirrored), _as_flown(b, mirrored))
                    )
                break
            # Passing wide of the fix is no end of a lap that goes on: an orbit was inserted.
            if abs(b.cross_nm) < WIDE_PASS_NM or abs(float(wrap180(a.heading_deg))) > CROSSWISE_FROM_DEG:
                break
    return found


def _credible(path: FlightPath, a: Passage, b: Passage, lap: Lap, leg_s: float) -> bool:
    """Whether what has the events of a lap can be one of this hold: by its inbound leg, its reach, its start."""
    if lap.inbound_start is not None:
        k = path.index(lap.inbound_start.epoch_s)
        airspeed_nm_s = float(np.median(path.airspeed_kt[k : path.index(b.moment.epoch_s) + 1])) / 3600.0
        if np.hypot(path.along_nm[k], path.cross_nm[k]) > LONGEST_INBOUND_LEGS * leg_s * airspeed_nm_s:
            return False
    if not _ends_inbound(path, a, lap) or not _stays_near(path, a, b, leg_s):
        return False
    # From the direct sector it is a lap unless later laps show otherwise; from elsewhere only if it looks like one.
    return SECTOR_FROM_DEG < float(wrap180(a.heading_deg)) < SECTOR_TO_DEG or _is_direct(path, a, b)


def _crosswise(path: FlightPath, passages: list[Passage]) -> list[Passage]:
    """Arrivals across the course, which open a direct entry's first lap although along need not rise there."""
    taken = np.array([p.moment.epoch_s for p in passages])
    return [
        p
        for p in arrivals(path)
        if CROSSWISE_FROM_DEG < float(wrap180(p.heading_deg)) < START_TO_DEG
        and not path.in_hole[path.index(p.moment.epoch_s)]
        and not np.any(np.abs(taken - p.moment.epoch_s) < 20.0)
    ]


def _is_direct(path: FlightPath, a: Passage, b: Passage) -> bool:
    """Whether a round begun far off the inbound course has the shape of a direct entry's lap, not of another entry."""
    leg = outbound_leg(path, a.moment.epoch_s, b.moment.epoch_s)
    if leg is None:
        return True
    crab = float(wrap180(b.heading_deg - b.track_deg))
    return shape(path, leg, a.heading_deg, first_turn(path, a.moment.epoch_s, leg), crab) == "direct"


def _as_flown(passage: Passage, mirrored: bool) -> Passage:
    if not mirrored:
        return passage
    return replace(passage, cross_nm=-passage.cross_nm, heading_deg=-passage.heading_deg, track_deg=-passage.track_deg)


def _ends_inbound(path: FlightPath, a: Passage, lap: Lap) -> bool:
    """The fix is where the inbound leg ends, not where the outbound leg begins: the turn comes sooner after it
    than the straight flight before it lasted. Read on the wrong course a hold fails this."""
    if lap.outbound_turn_start is None:
        return False
    after = max(lap.outbound_turn_start.epoch_s - a.moment.epoch_s, 0.0)
    before = a.moment.epoch_s - float(path.epoch_s[0])
    for turn in path.turns:
        if abs(turn.change_deg) > 60.0 and turn.start_epoch_s < a.moment.epoch_s - 5.0 < turn.end_epoch_s - 4.0:
            if turn.start_epoch_s < lap.outbound_turn_start.epoch_s - 1.0:
                before = 0.0  # still in the turn that leads up to here
        # Corrections on the inbound leg do not end it: only a turn through a good part of the half circle does.
        elif turn.end_epoch_s < a.moment.epoch_s + 1.0 and abs(turn.change_deg) > 60.0:
            before = a.moment.epoch_s - turn.end_epoch_s
    return after <= 10.0 + 0.7 * max(before, 0.0)


def _without_overlaps(found: list[FoundLap]) -> list[FoundLap]:
    """Laps in order of time; of two that overlap the one nearer to the fix stays."""
    ordered = sorted(found, key=lambda each: abs(each.a.cross_nm) + abs(each.b.cross_nm))
    kept: list[FoundLap] = []
    for each in ordered:
        start, end = each.a.moment.epoch_s, each.b.moment.epoch_s
        if all(end <= k.a.moment.epoch_s + 1.0 or start >= k.b.moment.epoch_s - 1.0 for k in kept):
            kept.append(each)
    return sorted(kept, key=lambda each: each.a.moment.epoch_s)


def _chains(found: list[FoundLap], leg_s: float) -> list[list[FoundLap]]:
    """Laps that belong to one stay: no longer apart than one more lap would take."""
    chains: list[list[FoundLap]] = []
    for each in found:
        apart = each.a.moment.epoch_s - chains[-1][-1].b.moment.epoch_s if chains else np.inf
        if apart < 2.2 * leg_s + 300.0:
            chains[-1].append(each)
        else:
            chains.append([each])
    return [kept for kept in map(_without_parallel_entry, chains) if kept and _near_enough(kept)]


def _without_parallel_entry(chain: list[FoundLap]) -> list[FoundLap]:
    """A first round to one side, begun far off the inbound course, before laps to the other side, is a parallel
    entry and not a lap; so is any first round to the wrong side that no other to that side follows."""
    far_off = abs(float(wrap180(chain[0].a.heading_deg))) > WRONG_SIDE_START_DEG
    if len(chain) == 1:
        return [] if far_off and chain[0].lap.wrong_side else chain
    if chain[0].lap.wrong_side == chain[1].lap.wrong_side:
        return chain
    return chain[1:] if far_off or chain[0].lap.wrong_side else chain


def _near_enough(chain: list[FoundLap]) -> bool:
    """Whether this stay came near the fix at all; lines flown nearby can look like a lap, but not at the fix."""
    nearest = min(min(abs(found.a.cross_nm), abs(found.b.cross_nm)) for found in chain)
    if any(found.lap.wrong_side for found in chain):
        return nearest < NEAREST_WRONG_SIDE_NM
    return len(chain) > 1 or nearest < NEAREST_ONCE_NM


def _other_course(path: FlightPath, chain: list[FoundLap]) -> bool:
    """Whether the inbound legs of these laps follow another course than this hold's."""
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
    return float(np.median(angles)) > (OTHER_COURSE_DEG if len(angles) > 1 else OTHER_COURSE_ONCE_DEG)


def _visits(path: FlightPath, hold: Hold, chains: list[list[FoundLap]], leg_s: float) -> tuple[Visit, ...]:
    visits: list[Visit] = []
    number = 0
    came = arrivals(path)
    passages = inbound_passages(path)
    for v, chain in enumerate(chains):
        not_before = chains[v - 1][-1].b.moment.epoch_s + 1.0 if v else -np.inf
        wrong = sum(found.lap.wrong_side for found in chain) > len(chain) / 2
        seen = path.seen_as(reciprocal=False, mirrored=wrong)
        entry, first_laps, chain = _entry(path, hold, chain, came, leg_s, not_before)
        laps = first_laps + [found.lap for found in chain]
        broken = _broken_laps(seen, chain, [_as_flown(p, wrong) for p in passages])
        numbered = []
        for lap in laps:
            number += 1
            numbered.append(replace(lap, number=number))
        last = _as_flown(chain[-1].b, wrong)
        until = chains[v + 1][0].a.moment.epoch_s - 1.0 if v + 1 < len(chains) else np.inf
        trailing = _trailing(seen, last, number + 1, until)
        incomplete = tuple(broken) + ((trailing,) if trailing is not None else ())
        visits.append(Visit(v + 1, entry, tuple(numbered), incomplete, wrong_side=wrong))
    return tuple(visits)


def _entry(
    path: FlightPath,
    hold: Hold,
    chain: list[FoundLap],
    came: list[Passage],
    leg_s: float,
    not_before: float,
) -> tuple[Entry, list[Lap], list[FoundLap]]:
    """The entry before a chain of laps; the lap that a direct entry itself makes where the chain lacks it; the chain
    without a first round that is an entry and no lap."""
    first = chain[0].a
    wrong = chain[0].lap.wrong_side
    seen = path.seen_as(reciprocal=False, mirrored=wrong)
    outward = _laps_outward_deg(seen, chain)
    since = first.moment.epoch_s - (ENTRY_LEGS * leg_s + ENTRY_TURNS_S)
    earlier = [p for p in came if max(since, not_before) < p.moment.epoch_s < first.moment.epoch_s - 40.0]
    if _begins_in_pattern(seen, chain[0], earlier):
        entry = describe_entry(seen, hold, _as_flown(first, wrong), _as_flown(chain[0].b, wrong), outward, mirrored=wrong)
        return replace(entry, kind="unclear", end=first.moment, remarks=(BEGINS_IN_HOLD,)), [], chain
    for passage in reversed(earlier):
        if _turned_deg(path, passage, first) > MOST_TURNED_IN_ENTRY_DEG:
            break
        if _is_abeam_of(passage, earlier) or not _stays_near(path, passage, first, leg_s):
            continue
        leg = outbound_leg(path, passage.moment.epoch_s, first.moment.epoch_s)
        if (
            leg is None
            or leg.start_s - passage.moment.epoch_s > LATEST_ENTRY_LEG_S
            or leg.end_s - leg.start_s > LONGEST_ENTRY_LEGS * leg_s + 30.0
        ):
            continue
        entry = describe_entry(seen, hold, _as_flown(passage, wrong), _as_flown(first, wrong), outward, mirrored=wrong)
        if entry.kind == "direct":
            lap = lap_between(seen, _as_flown(passage, wrong), _as_flown(first, wrong), any_start=True)
            if isinstance(lap, Lap):
                return replace(entry, end=passage.moment), [replace(lap, wrong_side=wrong)], chain
        return entry, [], chain
    # Nothing before: the chain's own first passage is the arrival.
    entry = describe_entry(seen, hold, _as_flown(first, wrong), _as_flown(chain[0].b, wrong), outward, mirrored=wrong)
    if first.moment.epoch_s - float(path.epoch_s[0]) < 20.0:
        return replace(entry, kind="unclear", end=first.moment, remarks=(BEGINS_IN_HOLD,)), [], chain
    far_off = abs(float(wrap180(first.heading_deg))) > CROSSWISE_FROM_DEG
    if len(chain) > 1 and far_off and entry.kind in ("teardrop", "parallel"):
        return entry, [], chain[1:]
    return replace(entry, kind="direct", end=first.moment), [], chain


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


def _laps_outward_deg(path: FlightPath, chain: list[FoundLap]) -> float | None:
    """How far the outbound legs of laps begun on the inbound course point into the holding side [deg]; None if few."""
    angles = []
    for found in chain:
        start, end = found.lap.outbound_turn_end, found.lap.outbound_end
        if start is None or end is None or end.epoch_s - start.epoch_s < 15.0:
            continue
        if abs(float(wrap180(found.a.heading_deg))) > CROSSWISE_FROM_DEG:
            continue
        k0, k1 = path.index(start.epoch_s), path.index(end.epoch_s)
        d_along, d_cross = path.along_nm[k1] - path.along_nm[k0], path.cross_nm[k1] - path.cross_nm[k0]
        angles.append(float(np.degrees(np.arctan2(d_cross, -d_along))))
    return float(np.median(angles)) if angles else None


def _turned_deg(path: FlightPath, a: Passage, b: Passage) -> float:
    """Degrees turned, either way, between two passages."""
    start, end = a.moment.epoch_s, b.moment.epoch_s
    return sum(
        abs(turn.change_deg) * overlaps(turn, start, end) / max(turn.end_epoch_s - turn.start_epoch_s, 1.0)
        for turn in path.turns
    )


def _is_abeam_of(passage: Passage, earlier: list[Passage]) -> bool:
    """Whether a pass is only the abeam point of an entry that began at the fix shortly before."""
    miss = abs(passage.cross_nm)
    return miss > ABEAM_PASS_NM and any(
        0.0 < passage.moment.epoch_s - other.moment.epoch_s < ABEAM_PASS_S and abs(other.cross_nm) < 0.5 * miss
        for other in earlier
    )


def _stays_near(path: FlightPath, a: Passage, b: Passage, leg_s: float) -> bool:
    """Whether the aircraft stayed within reach of the fix between two passages."""
    inside = slice(path.index(a.moment.epoch_s), path.index(b.moment.epoch_s) + 1)
    distance = np.hypot(path.along_nm[inside], path.cross_nm[inside])
    speed = float(np.median(path.groundspeed_kt[inside]))
    return float(np.max(distance)) < 3.0 + speed / 3600.0 * (1.8 * leg_s + 90.0)


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
    if isinstance(lap, NoLap) or lap.abeam is None or lap.abeam.epoch_s > min(until, last.moment.epoch_s + 240.0):
        return None
    left = float(path.epoch_s[-1]) - lap.abeam.epoch_s
    why = "the record ends before the fix" if left < 300.0 else "not brought back to the fix"
    return replace(lap, why_incomplete=why, end=None)


def _what_was_seen(path: FlightPath, chains: list[list[FoundLap]]) -> tuple[str, ...]:
    """Sentences on what happened near the fix when it was no hold."""
    if chains:
        return ("a hold at this fix on another inbound course",)
    distance = np.hypot(path.along_nm, path.cross_nm)
    nearest = float(np.min(distance))
    if nearest > 1.6:
        return (f"the flight came no nearer to the fix than {nearest:.1f} NM",)
    near = distance < 5.0
    turned = float(np.sum(np.abs(path.rate_deg_s[near])))
    if turned < 200.0:
        return ("the fix was passed without a hold",)
    return ("turns near the fix, but no lap that leaves it outbound and comes back to it inbound",)
