"""The wording of findings: title and advice of every mistake and praise, and how their evidence is put together."""

from __future__ import annotations

from collections.abc import Sequence

from trackgrade.score.results import ItemResult
from trackgrade.score.sentences import amount, lap_words, listed, sentence_of

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


def finding_evidence(laps: Sequence[int], clauses: int, worst_clause: str, led_to: Sequence[str]) -> str:
    """Where a mistake was seen and its worst case, with what it led to."""
    where = f"On {lap_words(laps)}" if laps else ""
    if where and clauses > 1:
        where += ", at worst"
    text = sentence_of(f"{where}: {worst_clause}" if where else worst_clause)
    if led_to:
        named = [each[0].lower() + each[1:] for each in led_to[:CONSEQUENCES_NAMED]]
        more = len(led_to) - len(named)
        text += f" It led to: {listed([*named, f'{more} more'] if more else named)}."
    return text


def item_outside_evidence(item: ItemResult) -> str:
    """The worst of an item that is outside, in one sentence."""
    worst = "" if item.value is None else amount(item.value, item.unit, signed=True)
    limit = "" if item.limit is None else f" where {amount(item.limit, item.unit)} is the limit"
    return sentence_of(f"{worst}{limit}; {item.evidence or item.reference}")
