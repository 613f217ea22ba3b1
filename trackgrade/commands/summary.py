"""A debrief on the terminal, from its JSON form: verdict, lap table, what to work on, next lap. 25 lines at most."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from trackgrade.commands import console
from trackgrade.hold.courses import heading_name

MOST_LAPS = 8
MOST_NOTES = 6
ROW_HEADER = ("flight", "hold", "entry", "laps", "worst item of each lap")
#: Worst first: one word stands for a lap.
WORST = ("outside", "brief excursion", "not measurable", "within")

Json = Mapping[str, Any]


def lines(debrief: Json) -> Iterator[str]:
    """The summary of one flight at one hold, each line ready for the terminal."""
    hold, track, laps = debrief["hold"], debrief["track"], debrief["laps"]
    yield console.emphasise(f"{track['source']}: {hold['name']}, {hold['turns']} turns")
    if debrief["verdict"]:
        yield f"  {console.plain(debrief['verdict'])}"
    if hold.get("from", "file") != "file":
        yield f"  {console.plain(debrief['cautions'][-1])}"
    yield f"  {_entry(debrief.get('entry'))}  {_wind(debrief)}"
    if laps:
        yield from _lap_table(debrief).split("\n")
    for number, finding in enumerate(_work_on(debrief), start=1):
        yield f"  {number}. {console.emphasise(finding['title'])}. {console.plain(finding['evidence'])}"
        yield f"     {console.plain(finding['advice'])}"
    next_lap = debrief.get("next_lap") or {}
    if next_lap.get("sentence"):
        yield f"  Next lap: {console.plain(next_lap['sentence'])}"


def reading(notes: Sequence[str]) -> Iterator[str]:
    """What was assumed or left out when the track was read, line by line; what nobody asked for is not listed."""
    told = [note for note in notes if not note.startswith(("columns not read", "extensions not read"))]
    yield from told[:MOST_NOTES]
    if len(told) > MOST_NOTES:
        yield f"and {len(told) - MOST_NOTES} more, in the report"


def row(debrief: Json) -> tuple[str, ...]:
    """One flight of many, as a row under `ROW_HEADER`."""
    laps = debrief["laps"]
    counts = Counter(worst(lap) for lap in laps)
    return (
        console.plain(debrief["track"]["source"]),
        console.plain(debrief["hold"]["name"]),
        f"{(debrief.get('entry') or {}).get('flown', 'none')} entry",
        str(len(laps)),
        ", ".join(f"{counts[word]} {console.result_word(word)}" for word in WORST if counts[word]) or "-",
    )


def not_flown(debrief: Json) -> str:
    """One line for a flight that was read and held no hold: what was seen instead."""
    seen = "; ".join(debrief.get("seen_instead") or ()) or "nothing near the fix"
    if debrief["hold"] is None:
        return f"{debrief['track']['source']}: no hold flown ({seen}); name the hold with --hold HOLD.toml"
    return (
        f"{debrief['track']['source']}: no hold flown at {debrief['hold']['name']} ({seen});"
        " check fix, course and turns in the hold file, or try: trackgrade find"
    )


def worst(lap: Json) -> str:
    """The worst result among the items of a lap; "not measurable" only where nothing else is known."""
    results = {item["result"] for item in lap["items"]}
    graded = results - {"not measurable"}
    return next((result for result in WORST if result in (graded or results)), "not measurable")


def _lap_table(debrief: Json) -> str:
    laps = debrief["laps"]
    shown = laps if len(laps) <= MOST_LAPS else [*laps[: MOST_LAPS - 2], None, laps[-1]]
    header = ("lap", "outbound", "inbound", "starts by", "off course", "worst item")
    rows = []
    for lap in shown:
        if lap is None:
            rows.append(("...", "", "", "", "", f"{len(laps) - MOST_LAPS + 1} more in the report"))
            continue
        rows.append(
            (
                str(lap["number"]),
                _seconds(lap["outbound_s"]),
                _inbound(lap),
                lap["inbound_start_by"] or "-",
                _off_course(debrief, lap),
                console.result_word(worst(lap)),
            )
        )
    return console.table(header, rows, words=(3, 5))


def _off_course(debrief: Json, lap: Json) -> str:
    """How far off the course, over the stretch that every needle is read on: from where the course was met."""
    for each in debrief["needles"]:
        here = (each["visit"], each["lap"]) == (lap["visit"], lap["number"])
        if here and each["kind"] == "gps" and each["largest"] is not None:
            return f"{each['largest'] * each['full_scale']:.2f} NM"
    return "-"


def _inbound(lap: Json) -> str:
    """The inbound time, by both readings of its start where two are fair."""
    other = lap["inbound_start_other"]
    return f"{lap['inbound_s']:.1f} or {other['inbound_s']:.1f} s" if other else _seconds(lap["inbound_s"])


def _seconds(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f} s"


def _entry(entry: Json | None) -> str:
    """What was flown beside what the arrival heading asked for."""
    if not entry or entry["flown"] == "none":
        return "No entry seen."
    expected = " or ".join(entry["expected"])
    if entry["flown"] == "unclear" or not expected:
        return f"Entry {entry['flown']}." if not expected else f"Entry unclear; the heading asked for {expected}."
    if entry["flown"] in entry["expected"]:
        return f"Entry {entry['flown']}, as the heading asked."
    return f"Entry {entry['flown']}; the heading asked for {expected}."


def _wind(debrief: Json) -> str:
    """The wind of the stay, and where it changed, of the first and the last lap."""
    wind = debrief.get("wind")
    if not wind:
        return "Wind not measurable."
    airspeed = debrief.get("true_airspeed_kt")
    told = _wind_words(wind["from_true_deg"], wind["speed_kt"])
    laps = [lap for lap in debrief["laps"] if lap.get("wind_changed")]
    if laps:
        told += "; " + ", ".join(
            f"{_wind_words(lap['wind_from_true_deg'], lap['wind_kt'])} on lap {lap['number']}"
            for lap in (laps[0], laps[-1])[: len(laps)]
        )
    speed = f"; true airspeed {airspeed:.0f} kt" if airspeed is not None else ""
    return f"Wind {told}{speed} (from the {wind['source']})."


def _wind_words(from_true_deg: float, speed_kt: float) -> str:
    if speed_kt < 0.5:
        return "calm"
    return f"{heading_name(from_true_deg)} true at {speed_kt:.0f} kt"


def _work_on(debrief: Json) -> Sequence[Json]:
    return [finding for finding in debrief["findings"] if not finding.get("praise")][:3]
