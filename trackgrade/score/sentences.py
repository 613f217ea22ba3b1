"""The wording of the verdict, of evidence and of the next-lap card. No arithmetic beyond rounding for
people."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from trackgrade.score.debrief import EntryMeasures, Finding, GradedEntry, NextLap
from trackgrade.score.lap import WindWork
from trackgrade.score.results import ItemResult
from trackgrade.score.standard import Standard
from trackgrade.segment.flown import EntryKind, Flown

if TYPE_CHECKING:
    from trackgrade.hold.hold import Hold

CAUTIONS = (
    "A training aid: not for navigation, and no official evaluation.",
    "The instructor, the examiner and the rules that apply where you fly decide.",
    "Nothing here says that the flight stayed inside protected airspace: its size is not on a chart.",
)


def listed(words: Sequence[str], last: str = "and") -> str:
    """ "a", "a and b", "a, b and c"."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def lap_words(laps: Sequence[int]) -> str:
    """ "lap 2", "laps 1 and 3", "laps 1 to 4"."""
    if not laps:
        return "the whole hold"
    if len(laps) == 1:
        return f"lap {laps[0]}"
    if len(laps) > 2 and list(laps) == list(range(laps[0], laps[-1] + 1)):
        return f"laps {laps[0]} to {laps[-1]}"
    return f"laps {listed([str(lap) for lap in laps])}"


def count_of(number: int, noun: str) -> str:
    """ "1 lap", "3 laps", "no laps"."""
    return f"{number or 'no'} {noun}{'' if number == 1 else 's'}"


def side_words(right_positive: float) -> str:
    """ "right" or "left" of a signed angle."""
    return "right" if right_positive > 0.0 else "left"


def degrees_words(right_positive_deg: float) -> str:
    """ "8 deg left"; a zero has no side."""
    if abs(right_positive_deg) < 0.5:
        return "0 deg"
    return f"{abs(right_positive_deg):.0f} deg {side_words(right_positive_deg)}"


def verdict(flown: Flown, items: Sequence[ItemResult], standard: Standard, findings: Sequence[Finding]) -> str:
    """What came of it, in one or two sentences."""
    if not flown.visits:
        seen = f" Seen instead: {'; '.join(flown.seen_instead)}." if flown.seen_instead else ""
        return f"No hold was flown at this fix.{seen}"
    laps = len(flown.laps)
    flown_words = f"{count_of(laps, 'lap')} after {_entries_words(flown)}"
    if not laps:
        incomplete = sum(len(visit.incomplete_laps) for visit in flown.visits)
        started = f", {incomplete} started" if incomplete else ""
        return f"{flown_words[0].upper()}{flown_words[1:]}{started}: no lap was completed, so no lap is graded."
    whole = [item for item in items if item.lap is None]
    out = [_item_words(item) for item in whole if item.result == "outside"]
    brief = [_item_words(item) for item in whole if item.result == "brief excursion"]
    measured = [item for item in whole if item.result != "not measurable"]
    head = f"{flown_words[0].upper()}{flown_words[1:]}, against {standard.title}"
    if not measured:
        return f"{head}: the track carries too little to grade them."
    if out:
        rest = f"; brief excursions in {listed(brief)}" if brief else ""
        return f"{head}: outside in {listed(out)}{rest}."
    if brief:
        return f"{head}: within, with brief excursions in {listed(brief)}."
    return f"{head}: within in all {len(measured)} items that the track can show."


def _item_words(item: ItemResult) -> str:
    """An item's title within a sentence, with the visit where it is not the first."""
    visit = item.scope.split(" ")[1] if item.scope.startswith("visit ") else ""
    return item.title.lower() + (f" (visit {visit})" if visit else "")


def _entries_words(flown: Flown) -> str:
    words = {"none": "no entry that could be seen", "unclear": "an unclear entry"}
    kinds = [words.get(visit.entry.kind, f"a {visit.entry.kind} entry") for visit in flown.visits]
    if len(kinds) == 1:
        return kinds[0]
    return f"{len(kinds)} arrivals ({listed(kinds)})"


def item_evidence(item: ItemResult) -> str:
    """When, how far and how long, for an item graded over time."""
    if not item.excursions:
        return item.evidence
    longest = max(item.excursions, key=lambda stay: stay.seconds)
    farthest = max(item.excursions, key=lambda stay: abs(stay.peak))
    times = count_of(len(item.excursions), "time")
    peak = amount(farthest.peak, item.unit, signed=True)
    text = f"left the band {times}, longest {longest.seconds:.0f} s, farthest {peak}"
    if item.outside_share is not None:
        text += f", {100.0 * item.outside_share:.0f} % of the time"
    return text


def item_outside_evidence(item: ItemResult) -> str:
    """The worst of an item that is outside, in one sentence."""
    worst = "" if item.value is None else amount(item.value, item.unit, signed=True)
    limit = "" if item.limit is None else f" where {amount(item.limit, item.unit)} is the limit"
    return f"{item.title}: {worst}{limit}; {item.evidence or item.reference}."


def amount(value: float, unit: str, *, signed: bool = False) -> str:
    """A number with its unit at the precision a pilot reads."""
    places = {"NM": 2, "deg/s": 1, "of full scale": 2, "turn radii": 2, "s": 0, "ft": 0, "kt": 0, "deg": 0}.get(unit, 1)
    text = f"{value:+.{places}f}" if signed else f"{value:.{places}f}"
    return f"{text} {unit}".strip()


def entry_sentence(entry: GradedEntry) -> str:
    """The entry in a few sentences: what was asked, what was flown, and how."""
    flown = entry.flown
    if flown.kind in ("none", "unclear"):
        return f"The entry is {'not seen' if flown.kind == 'none' else 'unclear'} in this track."
    expected = listed(list(flown.expected), "or") or "not known"
    margin = f", {flown.margin_deg:.0f} deg from the nearest sector boundary" if flown.margin_deg is not None else ""
    text = f"Flown {flown.kind}; the arrival heading asks for {expected}{margin}."
    if entry.measures.suits is False:
        text += (
            " Flown well all the same: the entries are recommended, so this is a note."
            if entry.measures.flown_well
            else " And it was not flown cleanly."
        )
    details = _entry_details(flown.kind, entry.measures)
    return f"{text} {details}" if details else text


def _entry_details(kind: EntryKind, entry: EntryMeasures) -> str:
    parts = []
    if kind != "direct":
        if entry.outbound_s.value is not None:
            parts.append(f"{entry.outbound_s.value:.0f} s outbound")
        if kind == "teardrop" and entry.offset_deg.value is not None:
            parts.append(f"on a track {entry.offset_deg.value:.0f} deg into the holding side of the outbound course")
        if kind == "parallel" and entry.max_offset_nm.value is not None:
            parts.append(f"up to {abs(entry.max_offset_nm.value):.2f} NM from the course")
        if entry.end_cross_nm.value is not None:
            parts.append(f"back over the fix {abs(entry.end_cross_nm.value):.2f} NM off it")
    if not parts:
        return ""
    text = listed(parts)
    return f"{text[0].upper()}{text[1:]}."


def wind_work_sentence(work: WindWork) -> str:
    """Drift and its correction on one lap in one sentence."""
    inbound, outbound = work.inbound_correction_deg.value, work.outbound_correction_deg.value
    if inbound is None or outbound is None:
        return "The headings of this lap are not known."
    text = f"{degrees_words(inbound)} inbound, {degrees_words(outbound)} outbound"
    if work.multiple is not None:
        text += f" ({work.multiple:.1f} times the drift)"
    if work.solved_correction_deg is not None:
        text += f"; the solved lap lays off {degrees_words(work.solved_correction_deg)}"
    cross = work.rollout_cross_nm.value
    if cross is not None and abs(cross) >= 0.02:
        text += (
            f"; rolled out {abs(cross):.2f} NM {'inside (short of)' if cross > 0.0 else 'outside (beyond)'} the course"
        )
    return text + "."


def next_lap_sentence(card: NextLap, hold: Hold) -> str:
    """What to fly next, as read to a pilot."""
    if card.outbound_heading_mag_deg is None:
        if card.equal_seconds_s is not None:
            return f"By equal seconds, time {card.equal_seconds_s:.0f} s outbound; no heading: {card.why}."
        return f"No heading or time can be given: {card.why}."
    heading = f"Fly {_three(card.outbound_heading_mag_deg)} magnetic outbound"
    correction = degrees_words(card.outbound_correction_deg or 0.0)
    if hold.leg.minutes is None:
        leg = f"turn back {card.outbound_nm or 0.0:.1f} NM from the fix"
    else:
        leg = f"turn back {card.outbound_s:.0f} s after abeam"
    inbound = _three(card.inbound_heading_mag_deg or 0.0)
    text = f"{heading} ({correction} of the outbound course), {leg}; hold {inbound} inbound."
    if not card.feasible:
        text += f" No lap meets the leg in this wind ({card.why}): this is the nearest."
    return text


def _three(heading_deg: float) -> str:
    return f"{round(heading_deg) % 360 or 360:03d}"


#: Title and one line of advice for every named mistake.
MISTAKE_WORDS: dict[str, tuple[str, str]] = {
    "reciprocal_course": (
        "Flown on the reciprocal course",
        "Before the fix, say the inbound course aloud and check that it leads to the fix; set it, and check the flag.",
    ),
    "wrong_side": (
        "Turns to the wrong side",
        "Draw the hold on the clearance: inbound arrow to the fix, then which way it turns, before arriving.",
    ),
    "wrong_entry": (
        "Another entry than the heading asks for",
        "Put the outbound course on the heading indicator before the fix: where it lies names the entry.",
    ),
    "entry_turned_wrong_way": (
        "Entry turned away from the hold",
        "Say before rolling in which way leads back to the holding side, and turn that way.",
    ),
    "course_not_captured": (
        "Inbound course not captured before the fix",
        "Roll out on a cut of 30 to 45 degrees, keep it until the needle moves, and only then turn to the course.",
    ),
    "orbit_inserted": (
        "A full circle inside the lap",
        "When behind, shorten the outbound leg next lap instead of circling inside the pattern.",
    ),
    "speed_above_limit": (
        "Faster than the holding speed limit",
        "Note the limit for the altitude with the clearance, and slow to it before the fix.",
    ),
    "speed_not_reduced": (
        "Not slowed before the fix",
        "Start slowing three minutes out, so that the first crossing of the fix is at holding speed.",
    ),
    "airspeed_not_held": (
        "Airspeed not held",
        "Set the power that gives holding speed, note it, and bring airspeed into the scan in the turns.",
    ),
    "turns_too_shallow": (
        "Turns too shallow",
        "Hold the bank that gives 3 degrees a second (about a tenth of the true airspeed plus 7), rolled in at once.",
    ),
    "turns_too_steep": (
        "Turns too steep",
        "Ease the bank to what gives 3 degrees a second, and never more than the hold's limit.",
    ),
    "turn_uneven": (
        "Bank wandering in the turns",
        "Set the bank, trim, and keep it in the scan until five degrees before the roll-out.",
    ),
    "altitude_lost_in_turns": (
        "Altitude lost in the turns",
        "Add back pressure as the bank goes in, and read the vertical speed first in every turn.",
    ),
    "altitude_not_held": (
        "Altitude not held",
        "Correct a hundred feet at once with a small pitch change, then trim; do not wait for the leg to end.",
    ),
    "heading_wandered": (
        "Outbound heading not held",
        "Choose the outbound heading before the turn ends and hold it on the heading indicator, wings level.",
    ),
    "no_drift_correction": (
        "No drift correction outbound",
        "Take the crab that holds the inbound course, triple it, and lay it off to the other side outbound.",
    ),
    "reversed_drift_correction": (
        "Drift correction to the wrong side",
        "Outbound the wind is on the other side: turn the nose into it, away from where inbound had it.",
    ),
    "course_overshot": (
        "Inbound course overshot",
        "The outbound leg lay too close to the course: turn the outbound heading away from it, by the next-lap card.",
    ),
    "course_undershot": (
        "Inbound course undershot",
        "The outbound leg lay too far from the course: turn the outbound heading toward it, by the next-lap card.",
    ),
    "course_left": (
        "Off the inbound course",
        "Bracket the course: a cut back, then half of it, and keep the crab that stops the needle.",
    ),
    "needle_chased": (
        "Needle chased inbound",
        "Hold a heading and let the needle answer; change it by five degrees, not by a swing through the course.",
    ),
    "non_holding_side": (
        "Far on the non-holding side",
        "Keep the outbound leg on the holding side: check the heading against the hold before starting the watch.",
    ),
    "time_not_corrected": (
        "Outbound time hardly corrected",
        "Note each inbound time at the fix, and take the difference out of the next outbound leg.",
    ),
    "time_corrected_wrong_way": (
        "Outbound time corrected the wrong way",
        "Inbound too long means the next outbound leg is shorter by about as much; too short, longer.",
    ),
    "time_overcorrected": (
        "Outbound time overcorrected",
        "Take out the difference of the last inbound time once, and no more: a second for a second.",
    ),
    "turned_back_early": (
        "Turned back before abeam the fix",
        "Fly the outbound leg past abeam and start the watch there; the turn back comes when it has run.",
    ),
    "outbound_too_short": (
        "Outbound leg too short",
        "Start the watch abeam the fix, and turn back on the watch and on nothing else.",
    ),
    "outbound_too_long": (
        "Outbound leg too long",
        "Start the watch abeam the fix, and turn back on the watch and on nothing else.",
    ),
    "inbound_times_off": (
        "Inbound times not brought to the leg time",
        "Take the whole difference out of the next outbound leg at once, and judge the next lap by its inbound time.",
    ),
    "watch_inconsistent": (
        "The watch started at different places",
        "Start the outbound time at the same place every lap, abeam the fix, or no correction can be right.",
    ),
    "late_at_fix": (
        "Late turn at the fix",
        "Have the bank and heading ready, and roll in as the flag flips or the distance stops counting down.",
    ),
    "arrival_time_missed": (
        "Assigned time over the fix missed",
        "Plan the last lap backwards from the assigned time, and change its outbound leg by half of what is left over.",
    ),
}

#: One line for an item that is outside without a mistake that has a name.
ITEM_ADVICE: dict[str, str] = {
    "altitude": MISTAKE_WORDS["altitude_not_held"][1],
    "airspeed": MISTAKE_WORDS["airspeed_not_held"][1],
    "course": MISTAKE_WORDS["course_left"][1],
    "outbound_heading": MISTAKE_WORDS["heading_wandered"][1],
    "inbound_time": MISTAKE_WORDS["inbound_times_off"][1],
    "leg_length": "Begin the turn back at the distance of the leg, read ahead of it by what the roll-in takes.",
    "turn_rate": MISTAKE_WORDS["turn_uneven"][1],
    "turn_bank": MISTAKE_WORDS["turn_uneven"][1],
    "holding_speed": MISTAKE_WORDS["speed_above_limit"][1],
    "non_holding_side": MISTAKE_WORDS["course_overshot"][1],
    "fix_recognition": MISTAKE_WORDS["late_at_fix"][1],
}

#: Title and a line for what was flown well.
PRAISE_WORDS: dict[str, tuple[str, str]] = {
    "inbound_times": ("Inbound times on the mark", "Keep the way you time the outbound leg."),
    "course": ("Inbound course held closely", "Keep the same cut and bracketing."),
    "altitude": ("Altitude held closely", "Keep the trim and scan of these turns."),
    "airspeed": ("Airspeed held closely", "Keep that power setting for this speed."),
    "drift": ("Wind correction right", "Keep working out the outbound heading before the turn ends."),
    "entry": ("Entry as the sector asks", "Keep reading it off the heading indicator."),
}


#: So many consequences are named with a mistake; more would bury the cause.
CONSEQUENCES_NAMED = 3


def finding_evidence(finding: Finding, clauses: Sequence[str], worst_clause: str) -> str:
    """Where a mistake was seen and its worst case, with what it led to."""
    where = f"On {lap_words(finding.laps)}" if finding.laps else ""
    if where and len(clauses) > 1:
        where += ", at worst"
    text = f"{where}: {worst_clause}" if where else worst_clause
    if finding.consequences:
        named = [each[0].lower() + each[1:] for each in finding.consequences[:CONSEQUENCES_NAMED]]
        more = len(finding.consequences) - len(named)
        text += f". It led to: {listed([*named, f'{more} more'] if more else named)}"
    return f"{text[0].upper()}{text[1:]}."
