"""What came of it: the verdict, and what is said of each item. What endangers first, then what the standard says.

A debrief is no test: it says of each item what the standard says, and neither passes nor fails anybody.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from trackgrade.score.debrief import Finding
from trackgrade.score.mistakes.table import BY_NAME
from trackgrade.score.results import ItemResult
from trackgrade.score.sentences import amount, count_of, listed, sentence_of, side_words
from trackgrade.score.standard import ITEMS, Standard
from trackgrade.segment.flown import Flown

#: Items whose values have one side only.
UNSIGNED = ("holding_speed", "non_holding_side", "fix_recognition")


def verdict(flown: Flown, items: Sequence[ItemResult], standard: Standard, findings: Sequence[Finding]) -> str:
    """What endangered, what was flown, and what the standard says of it, item by item."""
    danger = "".join(f"{_danger(each)} " for each in findings if each.danger)
    if not flown.visits:
        seen = f" Seen instead: {'; '.join(flown.seen_instead)}." if flown.seen_instead else ""
        return f"{danger}No hold was flown at this fix.{seen}"
    laps = len(flown.laps)
    head = f"{count_of(laps, 'lap')} after {_entries_words(flown)}"
    if not laps and flown.rounds:
        head = f"A course reversal by {_entries_words(flown)}"
    elif not laps:
        incomplete = sum(len(visit.incomplete_laps) for visit in flown.visits)
        started = f", {incomplete} started" if incomplete else ""
        return f"{danger}{sentence_of(head + started)[:-1]}: no lap was completed, so no lap is graded."
    whole = in_order_of_importance([item for item in items if item.lap is None], findings)
    measured = [item for item in whole if item.result != "not measurable"]
    head = f"{danger}{sentence_of(head)[:-1]}, against {standard.title}"
    if not measured:
        return f"{head}: the track carries too little to grade them."
    out = [f"{_title(item)}: {how_far(item)}" for item in whole if item.result == "outside"]
    brief = [f"{_title(item)} ({how_far(item)})" for item in whole if item.result == "brief excursion"]
    within = [_title(item) for item in whole if item.result == "within"]
    if not out and not brief:
        return f"{head}: within in all {len(measured)} items that the track can show."
    told = [sentence_of("; ".join(out))] if out else []
    if brief:
        told.append(f"Brief excursions: {listed(brief)}.")
    if within:
        told.append(f"Within: {within[0] if len(within) == 1 else f'the other {len(within)}'}.")
    return f"{head}. {' '.join(told)}"


def _danger(finding: Finding) -> str:
    """ "Far on the non-holding side: on lap 2, 1.37 NM beyond the course." """
    own = finding.name in BY_NAME and BY_NAME[finding.name].danger
    for effect in finding.led_to:
        if effect.danger and not own:
            return f"{effect.title}: {effect.evidence}. The cause: {finding.title.lower()}."
    evidence = finding.evidence.split(". ")[0].rstrip(".")
    return f"{finding.title}: {evidence[0].lower()}{evidence[1:].replace(': ', ', ', 1)}."


def in_order_of_importance(items: Sequence[ItemResult], findings: Sequence[Finding]) -> list[ItemResult]:
    """Items in the order in which the findings are about them; those that none is about keep the standard's order."""
    order = list(dict.fromkeys(finding.about for finding in findings if not finding.praise))

    def place(item: ItemResult) -> int:
        about = ITEMS[item.item].about
        return order.index(about) if about in order else len(order)

    return sorted(items, key=place)


def spoken(item: ItemResult, turn_radius_nm: float | None) -> ItemResult:
    """The item as a sentence tells it: in NM what is graded in turn radii, which no pilot flies by."""
    if item.unit != "turn radii" or item.value is None or turn_radius_nm is None:
        return item
    return replace(item, value=item.value * turn_radius_nm, unit="NM")


def _title(item: ItemResult) -> str:
    """An item's title within a sentence, with the visit where it is not the first."""
    visit = item.scope.split(" ")[1] if item.scope.startswith("visit ") else ""
    return item.title.lower() + (f" (visit {visit})" if visit else "")


def how_far(item: ItemResult) -> str:
    """How an item is out: laps counted with the worst value, or how long and how far."""
    doubt = ", no more than its error" if item.straddles else ""
    if item.excursions:
        farthest = max((stay.peak for stay in item.excursions), key=abs)
        on = f" on {item.worst_scope}" if item.lap is None and item.worst_scope else ""
        return f"out for {item.outside_s or 0.0:.0f} s in all, farthest {_far(item, farthest)}{on}{doubt}"
    far = "" if item.value is None else _far(item, item.value)
    if item.laps_out is None or item.laps_known is None or item.laps_known == 1:
        return f"{far}{doubt}"
    return f"{item.laps_out} of {item.laps_known} graded laps out, worst {far} on {item.worst_scope}{doubt}"


def _far(item: ItemResult, value: float) -> str:
    """A value of an item, with its side or its sign where it has one."""
    if item.item == "course":
        return f"{amount(abs(value), item.unit)} {side_words(value)}"
    return amount(value, item.unit, signed=item.item not in UNSIGNED)


def _entries_words(flown: Flown) -> str:
    words = {"none": "no entry that could be seen", "unclear": "an unclear entry"}
    kinds = [words.get(visit.entry.kind, f"a {visit.entry.kind} entry") for visit in flown.visits]
    if len(kinds) == 1:
        return kinds[0]
    return f"{len(kinds)} arrivals ({listed(kinds)})"


def item_evidence(item: ItemResult) -> str:
    """What an item rests on: how many laps were out, or when, how far and how long."""
    if item.laps_known is not None and item.value is not None:
        if item.laps_out:
            return how_far(item)
        return f"all {count_of(item.laps_known, 'graded lap')} within, furthest {item.worst_scope}"
    if not item.excursions:
        return item.evidence
    longest = max(item.excursions, key=lambda stay: stay.seconds)
    farthest = max((stay.peak for stay in item.excursions), key=abs)
    times = count_of(len(item.excursions), "time")
    text = f"left the band {times}, longest {longest.seconds:.0f} s, farthest {_far(item, farthest)}"
    if item.outside_share is not None:
        text += f", {100.0 * item.outside_share:.0f} % of the time"
    return text
