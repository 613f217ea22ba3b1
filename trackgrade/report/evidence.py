"""The evidence in words: entry, whole hold against the standard, wind, the data, and how numbers were obtained."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from trackgrade import __version__
from trackgrade.earth.units import decimals
from trackgrade.hold.courses import heading_name, variation_name
from trackgrade.report.numbers import (
    DASH,
    Number,
    clock,
    figure,
    lasted,
    moment_words,
    places_of,
    traced,
)
from trackgrade.report.summary import Fact, magnetic_name
from trackgrade.score.debrief import Debrief, GradedEntry
from trackgrade.score.results import Measurement
from trackgrade.score.sentences import sentence_of


class EntryStory(NamedTuple):
    """One entry told: heading, facts, what was remarked, and its traced numbers."""

    title: str
    facts: tuple[Fact, ...]
    numbers: tuple[tuple[str, str, Number], ...]
    remarks: tuple[str, ...]


class ItemRow(NamedTuple):
    """One item of the standard that is not of a single lap: value, limit, result, source."""

    title: str
    scope: str
    value: Number
    unit: str
    limit: str
    source: str


def entries(debrief: Debrief) -> Iterator[EntryStory]:
    for visit in debrief.visits:
        entry = visit.entry.flown
        facts = [
            Fact("Flown", entry.kind),
            Fact("Expected", " or ".join(entry.expected) if entry.expected else "not known"),
        ]
        if entry.arrival_heading_true_deg is not None:
            margin = (
                "" if entry.margin_deg is None else f"{abs(entry.margin_deg):.0f}° from the nearest sector boundary"
            )
            heading = magnetic_name(debrief, entry.arrival_heading_true_deg)
            facts.append(Fact("Arrival heading", f"{heading}° mag", margin))
        facts.append(Fact("First over the fix", moment_words(entry.start)))
        remarks = [*entry.remarks]
        if entry.turned_wrong_way:
            remarks.append("turned the wrong way on the entry")
        if entry.reversed_pattern:
            remarks.append("flown on the reciprocal of the inbound course")
        remarks.insert(0, visit.entry.sentence)
        yield EntryStory(
            title=f"Visit {visit.number}" if len(debrief.visits) > 1 else "",
            facts=tuple(facts),
            numbers=tuple(_entry_numbers(visit.entry)),
            remarks=tuple(sentence_of(each) for each in dict.fromkeys(remarks) if each),
        )


def _entry_numbers(entry: GradedEntry) -> Iterator[tuple[str, str, Number]]:
    measures = entry.measures
    rows: tuple[tuple[str, str, Measurement, int, bool], ...] = (
        ("Fix to start of turn", "s", measures.fix_to_turn_s, 1, True),
        ("Outbound time", "s", measures.outbound_s, 1, False),
        ("Outbound track off the outbound course", "°", measures.offset_deg, 0, True),
        ("Furthest from the course", "NM", measures.max_offset_nm, 2, False),
        ("Non-holding side", "NM", measures.non_holding_side_nm, 2, False),
        ("Airspeed over the fix", "KIAS", measures.arrival_ias_kt, 0, False),
        ("At holding speed before the fix", "s", measures.speed_ready_s, 0, False),
        ("Time over the fix, off the assigned", "s", measures.arrival_miss_s, 0, True),
    )
    for k, (name, unit, measured, places, signed) in enumerate(rows):
        # A direct entry has no outbound leg of its own, and no time may have been assigned: not worth a dash.
        if measured.value is None and (entry.flown.kind == "direct" or not measured.why or name.endswith("assigned")):
            continue
        stretch = f"entry-{entry.visit}"
        told = traced(f"{name}, entry", measured, places=places, signed=signed, stretch=stretch, key=f"n-{stretch}-{k}")
        yield name, unit, told


def item_rows(debrief: Debrief) -> Iterator[ItemRow]:
    for k, item in enumerate(each for each in debrief.items if each.lap is None):
        unit = item.unit.replace("deg", "°")
        asked = debrief.standard.item(item.item)
        signed = item.item != "entry" and (asked is None or asked.counts != "not above")
        told = f"{item.title}, {item.scope}"
        limit = DASH if item.limit is None else f"{figure(item.limit, places_of(item.limit))} {unit}"
        yield ItemRow(
            title=item.title,
            scope=item.scope,
            value=traced(told, item.measured, item, places=decimals(item.unit), signed=signed, key=f"n-item-{k}"),
            unit=unit,
            limit=limit,
            source="choice of this program" if item.choice else item.source,
        )


def wind_facts(debrief: Debrief) -> Iterator[Fact]:
    wind = debrief.wind
    if wind is None:
        yield Fact("Wind", "not measurable", sentence_of(debrief.wind_note))
        return
    source = "from the ground speeds around the turns" if wind.source == "turns" else f"source: {wind.source}"
    yield Fact(
        "Wind from",
        f"{heading_name(wind.from_true_deg)}° true ± {wind.from_sd_deg:.0f}°",
        f"{magnetic_name(debrief, wind.from_true_deg)}° mag",
    )
    yield Fact("Wind speed", f"{wind.speed_kt:.1f} ± {wind.speed_sd_kt:.1f} kt", source)
    yield Fact(
        "True airspeed", f"{wind.true_airspeed_kt:.1f} ± {wind.true_airspeed_sd_kt:.1f} kt", "over the whole hold"
    )
    if debrief.wind_note:
        yield Fact("Note", sentence_of(debrief.wind_note))


def dropped(debrief: Debrief) -> Iterator[str]:
    """Points that cleaning took out, by reason."""
    for each in debrief.track.rejections:
        points = "1 point" if each.count == 1 else f"{figure(each.count)} points"
        yield f"{points}: {each.reason} (first at {clock(each.first_epoch_s)} UTC)."


def holes(debrief: Debrief) -> Iterator[str]:
    """Times of which the record says nothing."""
    for each in debrief.track.gaps:
        yield f"{clock(each.start_epoch_s)} to {clock(each.end_epoch_s)} UTC, {lasted(each.seconds)}."


def marks(debrief: Debrief) -> Iterator[str]:
    """Moments that the pilot or the log marked."""
    for each in debrief.track.track.marks:
        yield f"{clock(each.epoch_s)} UTC: {each.label or 'no label'}"


def notes(debrief: Debrief) -> Iterator[str]:
    """What readers, cleaning, hold and judgement had to say, each once."""
    track = debrief.track
    for each in dict.fromkeys((*track.track.notes, *track.notes, *debrief.hold.notes, *debrief.notes)):
        yield sentence_of(each)


def estimated(debrief: Debrief) -> tuple[str, ...]:
    samples = debrief.samples
    words = {"logged": "from the log", "estimated": "estimated", "none": "not known"}
    how = {
        "Heading": (samples.heading_source, "direction of the ground velocity less the wind"),
        "Airspeed": (samples.airspeed_source, "ground velocity less the wind, to indicated by the standard atmosphere"),
        "Bank": (samples.bank_source, "from rate of turn and true airspeed in a coordinated turn"),
    }
    return tuple(
        f"{name}: {words[source]}{f' ({method})' if source == 'estimated' else ''}."
        for name, (source, method) in how.items()
        if not any(note.startswith(f"{name} is {source}") for note in debrief.notes)
    )


def identity(debrief: Debrief) -> tuple[Fact, ...]:
    track = debrief.track
    standard = debrief.standard
    edition = f"{standard.document}, {standard.edition}, {standard.section}"
    facts = [
        Fact("Program", f"trackgrade {__version__}"),
        Fact("Standard", standard.title, edition),
        Fact("Standard file", standard.name),
        Fact("Track file", track.track.source, f"SHA-256 {track.track.sha256}" if track.track.sha256 else ""),
        Fact(
            "Points",
            f"{figure(track.points_read)} read, {figure(len(track.track))} used",
            f"median interval {track.interval_s:g} s",
        ),
        Fact(
            "Fix",
            f"{debrief.hold.fix_lat_deg:.5f}, {debrief.hold.fix_lon_deg:.5f}",
            f"variation {variation_name(debrief.hold.variation_deg)}, {debrief.hold.variation_source}",
        ),
    ]
    if standard.timing_band_s is not None:
        facts.append(Fact("Leg timing", standard.timing_note))
    return tuple(facts)


#: Each kind of number, and how it is obtained in any flight.
METHODS = {
    "Over the fix": "the track passes the line through the fix at right angles to the inbound course, inbound.",
    "Abeam": "the same line is passed outbound, on the holding side.",
    "Start and end of a turn": "the rate of turn of the heading rises above, or falls below, a quarter of standard "
    "rate (0.75°/s), or a quarter of the turn's own rate where that is less.",
    "Inbound starts": "at the earlier of crossing the inbound course in the turn and rolling out. A roll-out along the "
    "course is no crossing: the aircraft must go beyond it by more than the positions can be trusted.",
    "Moments between samples": "are interpolated on the smoothed track; each carries its standard error. A time is the "
    "difference of two.",
    "Wind and airspeed": "at one airspeed the ground velocity runs on a circle about the wind. The circle is fitted to "
    "the turns; its fit gives the errors. Too little of the circle flown: not measurable.",
    "The lap that works": "for the wind and airspeed measured there is one outbound heading and one outbound time that "
    "roll out on the course with the inbound time asked for. It is the broad pale line in the plan view.",
    "Needles": "distance from the course over full scale (GPS), or angle at the station over full scale (VOR). The "
    "needle points to the course.",
    "±": "is one standard error. A value within two of its limit is said to straddle it.",
}


def methods(debrief: Debrief) -> dict[str, str]:
    """`METHODS`, and what prompt and consistent mean in the standard used."""
    chosen = debrief.standard.choices
    choices = f" ({chosen.prompt_s:g} s; {chosen.consistent_share:.0%} of the time)"
    return METHODS | {
        "Within, brief excursion, outside": "brief: outside the limit and promptly back. What counts as prompt or "
        f"consistent is a choice of this program{choices}, since no published standard gives it in numbers."
    }
