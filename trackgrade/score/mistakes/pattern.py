"""Mistakes of the pattern itself: reversed, on the wrong side, entered wrongly, the fix or the course not met."""

from __future__ import annotations

from collections.abc import Iterator

from trackgrade.score.mistakes.sighting import Seen, Sighting
from trackgrade.score.sentences import amount, listed

#: The fix counts as missed from this far off when it is passed [turn radii]: a choice.
FIX_MISSED_RADII = 0.5


def reciprocal_course(seen: Seen) -> Iterator[Sighting]:
    """The hold flown on the reciprocal of its inbound course."""
    measured = seen.measured
    course = measured.hold.inbound_course_true_deg
    words = f"inbound on {(course + 180.0) % 360.0:03.0f} true, the reciprocal of {course:03.0f}"
    if measured.flown.reversed_laps:
        count = len(measured.flown.reversed_laps)
        start = measured.flown.reversed_laps[0][0]
        yield Sighting(None, None, start, float(count), f"{count} {'lap' if count == 1 else 'laps'} flown {words}")
        return
    for visit in measured.flown.visits:
        if visit.entry.reversed_pattern:
            at = visit.entry.start.epoch_s if visit.entry.start else None
            yield Sighting(visit.number, None, at, 1.0, f"the hold was entered {words}")


def wrong_side(seen: Seen) -> Iterator[Sighting]:
    """Laps turned to the non-holding side."""
    turns = seen.measured.hold.turns
    other = "left" if turns == "right" else "right"
    for visit in seen.measured.flown.visits:
        for lap in (*visit.laps, *visit.incomplete_laps):
            if lap.wrong_side:
                yield Sighting(
                    visit.number, lap.number, lap.start.epoch_s, 2.0, f"{other} turns where the hold asks for {turns}"
                )


def wrong_entry(seen: Seen) -> Iterator[Sighting]:
    """Another entry than the arrival heading asks for."""
    for entry in seen.measured.entries:
        if entry.suits is not False or entry.sector_miss_deg is None:
            continue
        visit = seen.measured.visit(entry.visit)
        expected = listed(list(entry.expected), "or")
        evidence = (
            f"{entry.kind} flown where the heading asks for {expected}, {entry.sector_miss_deg:.0f} deg into its sector"
        )
        if entry.flown_well:
            evidence += "; flown well all the same, and the entries are recommended"
        at = visit.entry.start.epoch_s if visit.entry.start else None
        yield Sighting(entry.visit, None, at, 0.5 if entry.flown_well else 1.5, evidence)


def entry_turned_wrong_way(seen: Seen) -> Iterator[Sighting]:
    """The turn of the entry went to the wrong side."""
    for visit in seen.measured.flown.visits:
        first = next((lap for lap in seen.measured.laps if lap.visit == visit.number), None)
        turned = first.fix_turn.change_deg if first is not None and first.fix_turn is not None else None
        if visit.entry.kind == "direct" and turned is not None and turned * seen.measured.hold.side > 0.0:
            continue  # the turn of a direct entry is the first lap's, and that one went the hold's way
        if visit.entry.turned_wrong_way:
            at = visit.entry.outbound_end or visit.entry.start
            kind = visit.entry.kind
            turn = "its turn at the fix" if kind == "direct" else "its turn back"
            away_from = "inbound course" if kind == "teardrop" else "holding side"
            yield Sighting(
                visit.number,
                None,
                at.epoch_s if at else None,
                2.0,
                f"the {kind} entry made {turn} away from the {away_from}",
            )


def course_not_captured(seen: Seen) -> Iterator[Sighting]:
    """An inbound leg flown to abeam the fix without the course: the fix was passed far to the side."""
    measured = seen.measured
    for lap in measured.laps:
        end_cross = measured.lap(lap).end_cross_nm
        if end_cross is None or measured.turn_radius_nm is None:
            continue
        radii = abs(end_cross) / measured.turn_radius_nm
        if radii < FIX_MISSED_RADII:
            continue
        side = "holding side" if end_cross > 0.0 else "non-holding side"
        yield Sighting(
            lap.visit,
            lap.number,
            lap.end_epoch_s,
            radii / FIX_MISSED_RADII,
            f"the fix was passed {amount(abs(end_cross), 'NM')} off, on the {side}: the course was not captured",
        )


def orbit_inserted(seen: Seen) -> Iterator[Sighting]:
    """A full circle within a lap."""
    for lap in seen.measured.laps:
        for remark in seen.measured.lap(lap).remarks:
            if "orbit" in remark:
                yield Sighting(lap.visit, lap.number, lap.start_epoch_s, 1.0, remark)
