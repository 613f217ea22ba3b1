"""Mistakes of the pattern itself: reversed, on the wrong side, entered wrongly, the fix or the course not met."""

from __future__ import annotations

from collections.abc import Iterator

from trackgrade.hold.courses import heading_name
from trackgrade.score.debrief import Flight
from trackgrade.score.lap import Sighting
from trackgrade.score.sentences import amount, count_of, listed

#: The fix counts as missed from this far off when it is passed [turn radii]: a choice.
FIX_MISSED_RADII = 0.5


def reciprocal_course(flight: Flight) -> Iterator[Sighting]:
    """The hold flown on the reciprocal of its inbound course."""
    course = flight.hold.inbound_course_true_deg
    words = f"inbound on {heading_name(course + 180.0)} true, the reciprocal of {heading_name(course)}"
    if reversed_laps := flight.flown.reversed_laps:
        count = len(reversed_laps)
        yield Sighting(None, None, reversed_laps[0][0], float(count), f"{count_of(count, 'lap')} flown {words}")
        return
    for visit in flight.visits:
        entry = visit.entry.flown
        if entry.reversed_pattern:
            at = entry.start.epoch_s if entry.start else None
            yield Sighting(visit.number, None, at, 1.0, f"the hold was entered {words}")


def wrong_side(flight: Flight) -> Iterator[Sighting]:
    """Laps turned to the non-holding side."""
    turns = flight.hold.turns
    other = "left" if turns == "right" else "right"
    for visit in flight.visits:
        for lap in (*visit.flown.laps, *visit.incomplete_laps):
            if lap.wrong_side:
                begun = visit.flown.entry.start or lap.start  # the entry went to that side as well
                evidence = f"{other} turns where the hold asks for {turns}"
                yield Sighting(visit.number, lap.number, lap.start.epoch_s, 2.0, evidence, begun.epoch_s)


def wrong_entry(flight: Flight) -> Iterator[Sighting]:
    """Another entry than the arrival heading asks for."""
    for visit in flight.visits:
        entry, measures = visit.entry.flown, visit.entry.measures
        if measures.suits is not False or measures.sector_miss_deg is None:
            continue
        asked = listed(list(entry.expected), "or")
        far = f"{measures.sector_miss_deg:.0f}° into its sector"
        evidence = f"{entry.kind} flown where the heading asks for {asked}, {far}"
        if measures.flown_well:
            evidence += "; flown well all the same, and the entries are recommended"
        at = entry.start.epoch_s if entry.start else None
        yield Sighting(visit.number, None, at, 0.5 if measures.flown_well else 1.5, evidence)


def entry_turned_wrong_way(flight: Flight) -> Iterator[Sighting]:
    """The turn of the entry went to the wrong side."""
    for visit in flight.visits:
        entry = visit.entry.flown
        first = visit.laps[0].measures.fix_turn if visit.laps else None
        turned = first.change_deg if first is not None else None
        if entry.kind == "direct" and turned is not None and turned * flight.hold.side > 0.0:
            continue  # the turn of a direct entry is the first lap's, and that one went the hold's way
        if entry.turned_wrong_way:
            at = entry.outbound_end or entry.start
            turn = "its turn at the fix" if entry.kind == "direct" else "its turn back"
            away_from = "inbound course" if entry.kind == "teardrop" else "holding side"
            yield Sighting(
                visit.number,
                None,
                at.epoch_s if at else None,
                2.0,
                f"the {entry.kind} entry made {turn} away from the {away_from}",
            )


def course_not_captured(flight: Flight) -> Iterator[Sighting]:
    """An inbound leg flown to abeam the fix without the course: the fix was passed far to the side."""
    for lap in flight.laps:
        end_cross = lap.flown.end_cross_nm
        if end_cross is None or flight.turn_radius_nm is None:
            continue
        radii = abs(end_cross) / flight.turn_radius_nm
        if radii < FIX_MISSED_RADII:
            continue
        side = "holding side" if end_cross > 0.0 else "non-holding side"
        yield lap.sighting(
            lap.end_epoch_s,
            radii / FIX_MISSED_RADII,
            f"the fix was passed {amount(abs(end_cross), 'NM')} off, on the {side}: the course was not captured",
        )


def orbit_inserted(flight: Flight) -> Iterator[Sighting]:
    """A full circle within a lap."""
    for lap in flight.laps:
        for remark in lap.flown.remarks:
            if "orbit" in remark:
                yield lap.sighting(lap.start_epoch_s, 1.0, remark)
