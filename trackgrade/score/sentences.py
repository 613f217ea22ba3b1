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
