"""Which hold a flight is graded at when none was named: of the hold set where laps were flown, else the one found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackgrade.analysis import flight_date, measure
from trackgrade.earth.geodesy import near_east_north_m
from trackgrade.earth.units import METRES_PER_NM
from trackgrade.hold.courses import heading_name
from trackgrade.hold.hold import Hold
from trackgrade.hold.holdfile import write_hold_file
from trackgrade.hold.plan import HoldPlan
from trackgrade.hold.setup import resolve
from trackgrade.segment.finding import find_holds
from trackgrade.segment.flown import Visit
from trackgrade.segment.proposal import HoldProposal
from trackgrade.track.track import Track

#: A flight that came no nearer to a fix did not hold there; laps that end further off are another hold's [NM].
NEAR_NM, MISSED_NM = 2.0, 0.8
NONE_FOUND = "no hold of the set was flown, and nowhere two turns the same way with a leg between, back to one point"
MAY_BE_ANOTHER = "the clearance may have been another"


@dataclass(frozen=True, eq=False)
class Chosen:
    """The hold, one sentence on where it comes from, and the hold file that keeps it."""

    hold: Hold
    words: str
    toml: str


def flown_of_set(track: Track, hold_set: Sequence[tuple[str, HoldPlan]]) -> list[HoldProposal]:
    """The holds of a set where laps were flown: most laps first, and of as many those that ended nearer to the fix.

    Raises
    ------
    TrackFileError, HoldFileError
        Too few usable points; a hold of the set whose radials make no fix.
    """
    ranked = []
    for name, plan in hold_set:
        hold = resolve(plan, flight_date(track))
        if _nearest_nm(track, hold) > NEAR_NM:
            continue
        visits = [visit for visit in measure(track, hold).flown.visits if visit.laps and not visit.wrong_side]
        laps = [lap for visit in visits for lap in visit.laps]
        missed = float(np.median([abs(lap.end_cross_nm or 0.0) for lap in laps])) if laps else np.inf
        if missed < MISSED_NM:
            stays = tuple(_stay(visit) for visit in visits)
            flown = HoldProposal(
                replace(hold, origin="set"),
                len(laps),
                stays[0][0],
                stays[-1][1],
                leg_minutes=hold.leg.minutes,
                name=name,
                stays_epoch_s=stays,
            )
            ranked.append((-len(laps), missed, flown))
    return [flown for _, _, flown in sorted(ranked, key=lambda each: each[:2])]


def holds_in(track: Track, hold_set: Sequence[tuple[str, HoldPlan]]) -> list[HoldProposal]:
    """The holds flown in a track, most laps first: those of the set by their names there, where it settles which end
    of a racetrack is the fix, and what was found beside them.

    Raises
    ------
    TrackFileError, HoldFileError
        Too few usable points; a hold of the set whose radials make no fix.
    """
    found: list[HoldProposal] = []
    for each in (*flown_of_set(track, hold_set), *find_holds(track)):
        if not any(each.shares_time(other) for other in found if other.name):
            found.append(each)
    return sorted(found, key=lambda each: (-each.laps, each.start_epoch_s))


def choose(track: Track, hold_set: Sequence[tuple[str, HoldPlan]]) -> Chosen | None:
    """The hold to grade a flight at, or None where no hold was flown.

    Raises
    ------
    TrackFileError, HoldFileError
        Too few usable points; a hold of the set whose radials make no fix.
    """
    of_set = flown_of_set(track, hold_set)
    if of_set:
        best = of_set[0]
        laps_were = "1 lap was" if best.laps == 1 else f"{best.laps} laps were"
        words = f"No hold was named: {laps_were} flown at {best.name} of the hold set; {MAY_BE_ANOTHER}."
        return Chosen(best.hold, words, write_hold_file(dict(hold_set)[best.name]))
    found = find_holds(track)
    if not found:
        return None
    words = f"No hold was named: this one was found in the track ({_told(found[0])}); {MAY_BE_ANOTHER}."
    if found[0].other_end is not None:
        words += f" The track does not tell which end is the fix; at the other: {_told(found[0].other_end)}."
    if len(found) > 1:
        words += f" Also flown: {'; '.join(_told(each) for each in found[1:])}."
    return Chosen(replace(found[0].hold, origin="found"), words, write_hold_file(found[0].plan()))


def _stay(visit: Visit) -> tuple[float, float]:
    first, last = visit.entry.start or visit.laps[0].start, visit.laps[-1].end or visit.laps[-1].start
    return first.epoch_s, last.epoch_s


def _nearest_nm(track: Track, hold: Hold) -> float:
    east, north = near_east_north_m(hold.fix_lat_deg, hold.fix_lon_deg, track.lat_deg, track.lon_deg)
    return float(np.nanmin(np.hypot(east, north))) / METRES_PER_NM


def _told(found: HoldProposal) -> str:
    hold = found.hold
    return (
        f"fix {hold.fix_lat_deg:.4f} {hold.fix_lon_deg:.4f}, "
        f"inbound {heading_name(hold.inbound_course_true_deg)}° true, "
        f"{hold.turns} turns, {hold.leg.words}, {found.laps} lap{'s' if found.laps > 1 else ''}"
    )
