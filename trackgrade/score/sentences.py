"""Numbers and lists in words; the entry, the wind work, the next-lap card. No arithmetic beyond rounding for people."""

from __future__ import annotations

from collections.abc import Sequence

from trackgrade.earth.units import decimals
from trackgrade.hold.courses import heading_name
from trackgrade.hold.hold import Hold
from trackgrade.score.debrief import EntryMeasures, GradedEntry, NextLap
from trackgrade.score.lap import WindWork
from trackgrade.segment.flown import EntryKind


def listed(words: Sequence[str], last: str = "and") -> str:
    """ "a", "a and b", "a, b and c"."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


def sentence_of(text: str) -> str:
    """A clause as a sentence: a capital first, a full stop last; nothing stays nothing."""
    text = text.strip()
    return f"{text[0].upper()}{text[1:]}{'' if text[-1] in '.!?' else '.'}" if text else ""


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
    """ "8° left"; a zero has no side."""
    if abs(right_positive_deg) < 0.5:
        return "nothing"
    return f"{abs(right_positive_deg):.0f}° {side_words(right_positive_deg)}"


def amount(value: float, unit: str, *, signed: bool = False) -> str:
    """A number with its unit at the precision a pilot reads; nothing is "-0"."""
    places = decimals(unit)
    rounded = round(value, places) + 0.0
    text = f"{rounded:{'+' if signed and rounded else ''}.{places}f}"
    if unit in ("deg", "deg/s"):
        return f"{text}°{unit.removeprefix('deg')}"
    return f"{text} {unit}".strip()


def entry_sentence(entry: GradedEntry) -> str:
    """The entry in a few sentences: what was asked, what was flown, and how."""
    flown = entry.flown
    if flown.kind == "unclear" and len(flown.possible) > 1:
        either = listed(list(flown.possible[:2]), "or")
        return f"Entry {either}: the track fits both, so which was flown cannot be told."
    if flown.kind in ("none", "unclear"):
        return f"The entry is {'not seen' if flown.kind == 'none' else 'unclear'} in this track."
    expected = listed(list(flown.expected), "or") or "not known"
    margin = f", {flown.margin_deg:.0f}° from the nearest sector boundary" if flown.margin_deg is not None else ""
    text = f"Flown {flown.kind}; the arrival heading asks for {expected}{margin}."
    if entry.measures.suits is False:
        text += (
            " Flown well all the same: the entries are recommended, so this is a note."
            if entry.measures.flown_well
            else " And it was not flown cleanly."
        )
    return f"{text} {_entry_details(flown.kind, entry.measures)}".rstrip()


def _entry_details(kind: EntryKind, entry: EntryMeasures) -> str:
    if kind == "direct":
        return ""
    parts = []
    if entry.outbound_s.value is not None:
        parts.append(f"{entry.outbound_s.value:.0f} s outbound")
    if kind == "teardrop" and entry.offset_deg.value is not None:
        parts.append(f"on a track {entry.offset_deg.value:.0f}° into the holding side of the outbound course")
    if kind == "parallel" and entry.max_offset_nm.value is not None:
        parts.append(f"up to {abs(entry.max_offset_nm.value):.2f} NM from the course")
    if entry.end_cross_nm.value is not None:
        parts.append(f"back over the fix {abs(entry.end_cross_nm.value):.2f} NM off it")
    return sentence_of(listed(parts)) if parts else ""


def wind_work_sentence(work: WindWork) -> str:
    """Drift and its correction on one lap in one sentence."""
    inbound, outbound = work.inbound_correction_deg.value, work.outbound_correction_deg.value
    if inbound is None or outbound is None:
        return "The headings of this lap are not known."
    text = f"{degrees_words(inbound)} inbound, {degrees_words(outbound)} outbound"
    if work.multiple is not None and work.multiple >= 0.05:
        text += f" ({work.multiple:.1f} times the drift)"
    if work.solved_correction_deg is not None:
        text += f"; the solved lap lays off {degrees_words(work.solved_correction_deg)}"
    cross = work.rollout_cross_nm.value
    if cross is not None and abs(cross) >= 0.02:
        text += f"; rolled out {abs(cross):.2f} NM {'short of' if cross > 0.0 else 'through'} the course"
    return text + "."


def next_lap_sentence(card: NextLap, hold: Hold) -> str:
    """What to fly next, as read to a pilot."""
    if card.outbound_heading_mag_deg is None:
        if card.equal_seconds_s is None:
            return f"No heading or time can be given: {card.why}."
        return f"By equal seconds, on the same heading, {card.equal_seconds_s:.0f} s outbound; no heading: {card.why}."
    correction = card.outbound_correction_deg or 0.0
    off = "the outbound course" if abs(correction) < 0.5 else f"{degrees_words(correction)} of the outbound course"
    if hold.leg.minutes is None:
        leg = f"turn back {card.outbound_nm or 0.0:.1f} NM from the fix"
    else:
        leg = f"turn back {card.outbound_s:.0f} s after abeam"
    text = (
        f"Fly {heading_name(card.outbound_heading_mag_deg)} magnetic outbound ({off}), {leg}; hold "
        f"{heading_name(card.inbound_heading_mag_deg or 0.0)} inbound. Turns at {card.turn_rate_deg_s or 0.0:.1f}°/s, "
        f"{card.bank_deg or 0.0:.0f}° of bank."
    )
    if not card.feasible:
        text += f" No lap meets the leg in this wind: this is the nearest, {card.expected_inbound_s:.0f} s inbound."
    return text
