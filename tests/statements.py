"""What a debrief may say: the rules that hold on every flight, read from its JSON as anybody else would read it.

Each rule is a function from a debrief to the sentences that break it. It knows nothing of how a statement came about,
only of what stands beside what: a time word belongs to a time; what endangers comes first; one number for one
question; nothing beside its opposite; no effect before its cause.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from trackgrade.score.standard import ITEMS

Json = Mapping[str, Any]
RANK = {"not measurable": 0, "within": 1, "brief excursion": 2, "outside": 3}

#: Faults that endanger: they head the verdict and the findings.
DANGERS = ("reciprocal_course", "wrong_side", "entry_turned_wrong_way", "non_holding_side", "speed_above_limit")
#: Words of which the verdict must hold one, first of all, where such a fault was found.
DANGER_WORDS = {
    "reciprocal_course": "reciprocal",
    "wrong_side": "wrong side",
    "entry_turned_wrong_way": "away from",
    "non_holding_side": "non-holding side",
    "speed_above_limit": "speed limit",
}
#: What each mistake, praise and item is about.
SUBJECTS = {
    "time": (
        *("time_not_corrected", "time_corrected_wrong_way", "time_overcorrected", "outbound_too_short"),
        *("outbound_too_long", "inbound_times_off", "watch_inconsistent", "turned_back_early", "inbound_times"),
        "inbound_time",
    ),
    "altitude": ("altitude_lost_in_turns", "altitude_not_held", "altitude"),
    "airspeed": ("speed_above_limit", "airspeed_not_held", "speed_not_reduced", "airspeed", "holding_speed"),
    "drift": ("no_drift_correction", "half_drift_correction", "reversed_drift_correction", "drift"),
    "entry": ("wrong_entry", "entry_turned_wrong_way", "entry", "reciprocal_course", "wrong_side"),
    "tracking": ("course_left", "needle_chased", "course_not_captured", "course"),
    "turns": ("turns_too_shallow", "turns_too_steep", "turn_uneven", "turn_rate", "turn_bank", "turns"),
}
TIMING_BLAMED = SUBJECTS["time"][:7]


def subject(name: str) -> str:
    return next((about for about, names in SUBJECTS.items() if name.removesuffix("_outside") in names), name)


def mistakes(debrief: Json) -> list[Json]:
    return [each for each in debrief["findings"] if not each["praise"]]


def time_words(debrief: Json) -> Iterator[str]:
    """A brief excursion is something that lasted: one value a lap has none."""
    for item in debrief["items"]:
        if item["result"] == "brief excursion" and ITEMS[item["item"]][1] != "over time":
            yield f"{item['item']} {item['scope']}: brief excursion of a value that is one a lap"
    if "brief" in debrief["verdict"] and not any(
        item["result"] == "brief excursion" and ITEMS[item["item"]][1] == "over time" for item in debrief["items"]
    ):
        yield f"verdict: {debrief['verdict']}"


def whole_and_laps(debrief: Json) -> Iterator[str]:
    """A whole is never better than its laps."""
    for whole in (item for item in debrief["items"] if item["scope"] == "whole hold"):
        laps = [item for item in debrief["items"] if item["item"] == whole["item"] and item["lap"] is not None]
        worst = max((RANK[item["result"]] for item in laps), default=0)
        if RANK[whole["result"]] < worst:
            yield f"{whole['item']}: whole {whole['result']}, laps {[item['result'] for item in laps]}"
        if worst == RANK["outside"] and re.search(rf"within[^;]*{whole['title'].lower()}", debrief["verdict"].lower()):
            yield f"verdict calls within what a lap was not: {debrief['verdict']}"


def danger_first(debrief: Json) -> Iterator[str]:
    """What endangers heads verdict and findings: itself, or what led to it and says so."""
    told = [[each["name"], *(one["name"] for one in each["led_to"])] for each in mistakes(debrief)]
    found = [name for names in told for name in names if name in DANGERS]
    if found and not set(told[0]) & set(DANGERS):
        yield f"{found} behind {told[0][0]}"
    if found and DANGER_WORDS[found[0]] not in debrief["verdict"].split(". ")[0].lower():
        yield f"verdict passes over {found[0]}: {debrief['verdict']}"
    for name, item, times in (
        ("non_holding_side", "non_holding_side", 2.0),
        ("speed_above_limit", "holding_speed", 1.02),
    ):
        out = [each for each in debrief["items"] if each["item"] == item and each["result"] == "outside"]
        clear = [each for each in out if not each["straddles"] and each["value"] > times * each["limit"]]
        if clear and not found:
            yield f"{name}: {clear[0]['value']} where {clear[0]['limit']} is the limit, and no finding or verdict of it"


def one_order(debrief: Json) -> Iterator[str]:
    """The findings stand in the order of their weight."""
    weights = [each["weight"] for each in mistakes(debrief)]
    if weights != sorted(weights, reverse=True):
        yield f"findings out of order: {weights}"


def praise_and_blame(debrief: Json) -> Iterator[str]:
    """No praise for what a finding, a consequence or an item blames."""
    blamed = {subject(each["name"]): each["name"] for each in mistakes(debrief)}
    blamed |= {subject(one["name"]): one["name"] for each in mistakes(debrief) for one in each["led_to"]}
    for item in debrief["items"]:
        if item["result"] == "outside":
            blamed.setdefault(subject(item["item"]), item["item"])
    for each in debrief["findings"]:
        if each["praise"] and subject(each["name"]) in blamed:
            yield f"praises {each['name']} beside {blamed[subject(each['name'])]}"


def tautologies(debrief: Json) -> Iterator[str]:
    """No consequence that is the same fact in other words."""
    by_title = titles()
    for each in mistakes(debrief):
        for title in each["consequences"]:
            name = by_title.get(title)
            if name is not None and subject(name) == subject(each["name"]):
                yield f"{each['name']} led to {name}"


def causes_first(debrief: Json) -> Iterator[str]:
    """No cause that comes after its effect: on the lap, and within it."""
    for each in mistakes(debrief):
        for effect in each["led_to"]:
            if effect["at_utc"] and each["first_utc"] and effect["at_utc"] < each["first_utc"]:
                yield f"{each['name']} at {each['first_utc']} led to {effect['name']} at {effect['at_utc']}"


def corrections_toward_the_card(debrief: Json) -> Iterator[str]:
    """A correction toward what the lap asked for is never condemned; one away from it is never praised."""
    for row in debrief["corrections"]:
        asked, card = row["asked_s"], row["asked_solved_s"]
        if asked is None or row["outbound_s"] is None or row["flown_next_s"] is None:
            continue
        flown = f"{row['outbound_s']:.0f} to {row['flown_next_s']:.0f} s, asked {asked:.0f}"
        told = f"lap {row['lap']}: {row['judged']}, {flown}"
        closer = [abs(row["outbound_s"] - each) - abs(row["flown_next_s"] - each) for each in (asked, card or asked)]
        if row["judged"] == "wrong way" and max(closer) > 0.5:
            yield told
        if row["judged"] in ("wrong way", "none", "too small", "too large") and abs(row["flown_next_s"] - asked) <= 3.0:
            yield told
        if row["judged"] == "right" and closer[0] < -6.0:
            yield told
    last = [row for row in debrief["corrections"] if row["judged"] == "last lap"][-1:]
    card = debrief["next_lap"]
    timed_from = {(lap["visit"], lap["number"]): lap["outbound_start_by"] for lap in debrief["laps"]}
    for row in last:
        if timed_from[row["visit"], row["lap"]] != card["timed_from"]:
            continue  # abeam was not to be seen: the table counts from wings level, as it says
        if row["asked_by"] == "card" and row["asked_s"] is not None and abs(row["asked_s"] - card["outbound_s"]) > 0.5:
            yield f"the table asks for {row['asked_s']:.0f} s, the card for {card['outbound_s']:.0f}"


def no_blame_without_a_lap(debrief: Json) -> Iterator[str]:
    """Where no lap can meet the leg in its wind, timing is not blamed."""
    unmet = {
        (row["visit"], row["lap"])
        for row in debrief["corrections"]
        if row["error_s"] is not None and row["asked_s"] is None
    }
    for item in debrief["items"]:
        if item["item"] == "inbound_time" and (item["visit"], item["lap"]) in unmet and item["result"] == "outside":
            yield f"{item['scope']}: inbound time outside where no lap meets it"
    if unmet and len(unmet) == len(debrief["corrections"]):
        for each in mistakes(debrief):
            if each["name"] in TIMING_BLAMED or each["name"] == "inbound_time_outside":
                yield f"{each['name']} in a wind in which {debrief['next_lap']['why']}"


def one_deflection(debrief: Json) -> Iterator[str]:
    """All linear scales read one stretch: their largest deflections are one distance."""
    for lap in debrief["laps"]:
        read = [
            each
            for each in debrief["needles"]
            if (each["visit"], each["lap"]) == (lap["visit"], lap["number"]) and each["largest"] is not None
        ]
        spans = {(each["from_utc"], each["to_utc"]) for each in read if each["kind"] == "gps"}
        off = [each["largest"] * each["full_scale"] for each in read if each["kind"] == "gps"]
        if len(spans) > 1 or (off and max(off) - min(off) > 0.002):
            yield f"lap {lap['number']}: {[round(each, 3) for each in off]} NM by one needle and another"


def one_card(debrief: Json) -> Iterator[str]:
    """One heading and one time that belong together, and no other number of seconds beside them."""
    card = debrief["next_lap"]
    if card is None:
        return
    for key in ("outbound_heading_true_deg", "outbound_s", "inbound_heading_true_deg", "turn_rate_deg_s", "feasible"):
        if key not in card:
            yield f"the card has no {key}"
    seconds = {float(each) for each in re.findall(r"(\d+) s (?:after|outbound)", card["sentence"])}
    if len(seconds) > 1:
        yield f"two times on one card: {card['sentence']}"
    if card.get("equal_seconds_s") is not None and card["outbound_heading_true_deg"] is not None:
        yield f"equal seconds {card['equal_seconds_s']:.0f} beside {card['outbound_s']}"


_SLIPS = (
    *(r"[-+]0 (s|kt|ft|deg|NM)\b", r"\bnan\b", r"\bNone\b", r"  ", r"\.\.", r" ,", r"\b1 laps\b", r"\bat 0 kt\b"),
    *(r"\b0 deg(rees)? (left|right)\b", r"(left|right) 0\b", r"\bchanged by [+-]?0 s", r"; ;", r"(?<!\.)\b0 times\b"),
)


def slips(debrief: Json) -> Iterator[str]:
    """What no instructor would say."""
    texts = [
        debrief["verdict"],
        (debrief["next_lap"] or {}).get("sentence", ""),
        (debrief["watch"] or {}).get("sentence", ""),
    ]
    texts += [text for each in debrief["findings"] for text in (each["title"], each["evidence"], each["advice"])]
    texts += [each["sentence"] for each in debrief["wind_work"]] + [
        each.get("sentence", "") for each in debrief["entries"]
    ]
    texts += [item["evidence"] for item in debrief["items"]]
    for text in texts:
        for slip in _SLIPS:
            if text and re.search(slip, text):
                yield f"{slip!r} in: {text}"


def titles() -> dict[str, str]:
    """Name of each mistake by its title."""
    from trackgrade.score.mistakes.table import MISTAKES

    return {mistake.title: mistake.name for mistake in MISTAKES}


RULES: tuple[Callable[[Json], Iterator[str]], ...] = (
    time_words,
    whole_and_laps,
    danger_first,
    one_order,
    praise_and_blame,
    tautologies,
    causes_first,
    corrections_toward_the_card,
    no_blame_without_a_lap,
    one_deflection,
    one_card,
    slips,
)


def broken(debrief: Json) -> dict[str, list[str]]:
    """The rules that a debrief breaks, each with the sentences that do."""
    found = {rule.__name__: list(rule(debrief)) for rule in RULES}
    return {name: texts for name, texts in found.items() if texts}
