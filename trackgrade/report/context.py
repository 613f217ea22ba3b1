"""Everything the page's template gets, as one documented dataclass: nothing else reaches the template."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from trackgrade import __version__
from trackgrade.hold.courses import course_name, heading_name, variation_name
from trackgrade.report.flight_data import flight_data
from trackgrade.report.lap_table import LapTable, lap_table
from trackgrade.report.needles import needle_lines
from trackgrade.report.numbers import (
    DASH,
    RESULT_SIGNS,
    Number,
    day,
    figure,
    graded,
    item_number,
    lasted,
    moment_words,
    sentence,
    traced,
)
from trackgrade.report.plan_view import EVENT_SIGNS, PlanView, clock, line_style, sign
from trackgrade.report.plan_view import draw as draw_plan
from trackgrade.report.strips import DrawnStrip, lap_heads, strips, time_axis
from trackgrade.report.strips import draw as draw_strip
from trackgrade.report.timeline import Stretch, Timeline, lay_out
from trackgrade.score.debrief import Debrief, EntryMeasures, Finding, Measurement

#: Shown wherever a verdict is.
CAUTION = (
    "A training aid. Not for navigation, not an official evaluation. "
    "Your instructor, the examiner and the rules where you fly come first."
)


@dataclass(frozen=True)
class Point:
    """One thing to work on, or one done well. ``at`` is its time of day; ``at_s`` and ``stretch`` lead to the pictures."""

    title: str
    where: str
    evidence: str
    advice: str
    consequences: tuple[str, ...]
    at: str
    at_s: float | None
    stretch: str


@dataclass(frozen=True)
class Fact:
    """A name, what it is, and optionally a remark below it."""

    name: str
    value: str
    note: str = ""


@dataclass(frozen=True)
class EntryStory:
    """One entry told: heading, facts, what was remarked, and its traced numbers."""

    title: str
    facts: tuple[Fact, ...]
    numbers: tuple[tuple[str, str, Number], ...]
    remarks: tuple[str, ...]


@dataclass(frozen=True)
class ItemRow:
    """One item of the standard that is not of a single lap: value, limit, result, source."""

    title: str
    scope: str
    value: Number
    limit: str
    source: str


@dataclass(frozen=True)
class Method:
    """How one kind of number was obtained."""

    name: str
    words: str


@dataclass(frozen=True)
class Page:
    """The context of ``page.html``.

    Attributes
    ----------
    title : the hold's name; ``hold_facts`` the hold in short words, ``flight_facts`` the flight
    caution : the one sentence that goes with every verdict; ``cautions`` more of them from the analysis
    verdict : one sentence; ``work_on`` at most three points; ``praise`` what went well
    next_lap : the card for the next lap (may be empty), ``next_lap_words`` its sentence
    table : the lap table, or None; ``not_completed`` laps listed and not graded, with the reason
    plates : (lap, small drawing); ``watch`` where the time was started, in words
    stretches : what can be chosen in the pictures; ``line_styles`` their CSS classes by key
    plan, strips, heads, time_words : the pictures
    needles : (kind, label, own) of the two instruments
    signs : (drawing, words) of the plan view's marks
    entries, wind_facts, item_rows, methods : the evidence in words and numbers
    columns : (quantity, column, unit, note) of the track file; ``dropped``, ``holes``, ``estimated``, ``notes``
    seen_instead : what was there when no hold was found
    identity : version, standard, track, fingerprint
    numbers : every traced number, for the notes at the end of the page
    result_signs : sign and word of each result, for the key
    flight : what the script reads
    """

    title: str
    hold_facts: tuple[Fact, ...]
    flight_facts: tuple[Fact, ...]
    caution: str
    cautions: tuple[str, ...]
    verdict: str
    work_on: tuple[Point, ...]
    praise: tuple[Point, ...]
    next_lap: tuple[Fact, ...]
    next_lap_words: tuple[str, ...]
    table: LapTable | None
    not_completed: tuple[Fact, ...]
    plates: tuple[tuple[Stretch, Markup], ...]
    watch: tuple[str, ...]
    stretches: tuple[Stretch, ...]
    line_styles: dict[str, str]
    plan: PlanView
    strips: tuple[DrawnStrip, ...]
    heads: Markup
    time_words: Markup
    needles: tuple[tuple[str, str, bool], ...]
    signs: tuple[tuple[Markup, str], ...]
    entries: tuple[EntryStory, ...]
    wind_facts: tuple[Fact, ...]
    item_rows: tuple[ItemRow, ...]
    methods: tuple[Method, ...]
    columns: tuple[tuple[str, str, str, str], ...]
    dropped: tuple[str, ...]
    holes: tuple[str, ...]
    estimated: tuple[str, ...]
    notes: tuple[str, ...]
    seen_instead: tuple[str, ...]
    identity: tuple[Fact, ...]
    numbers: tuple[Number, ...]
    result_signs: tuple[tuple[str, str], ...]
    flight: dict[str, Any]


def page_of(debrief: Debrief) -> Page:
    """The context of one debrief's page."""
    timeline = lay_out(debrief)
    needles = needle_lines(debrief)
    plan = draw_plan(debrief, timeline)
    table = lap_table(debrief, timeline)
    entries = tuple(_entries(debrief))
    item_rows = tuple(_item_rows(debrief))
    return Page(
        title=debrief.hold.name,
        hold_facts=_hold_facts(debrief),
        flight_facts=_flight_facts(debrief),
        caution=CAUTION,
        cautions=tuple(each for each in debrief.cautions if each not in CAUTION),
        verdict=debrief.verdict,
        work_on=tuple(_point(debrief, timeline, each) for each in debrief.work_on),
        praise=tuple(_point(debrief, timeline, each) for each in debrief.praise),
        next_lap=tuple(_next_lap(debrief)),
        next_lap_words=_next_lap_words(debrief),
        table=table,
        not_completed=tuple(_not_completed(timeline)),
        plates=plan.plates,
        watch=_watch(debrief),
        stretches=timeline.stretches,
        line_styles={each.key: line_style(each) for each in timeline.stretches},
        plan=plan,
        strips=tuple(draw_strip(each, debrief, timeline) for each in strips(debrief, timeline, needles)),
        heads=lap_heads(timeline),
        time_words=time_axis(timeline),
        needles=tuple((each.kind, each.label, each.own) for each in needles),
        signs=tuple((sign(shape), words) for shape, words in EVENT_SIGNS),
        entries=entries,
        wind_facts=tuple(_wind_facts(debrief)),
        item_rows=item_rows,
        methods=_methods(debrief),
        columns=tuple((p.quantity, p.column, p.unit, p.note) for p in debrief.track.track.provenance),
        dropped=tuple(
            f"{each.count} {'point' if each.count == 1 else 'points'}: {each.reason} (first at "
            f"{clock(each.first_epoch_s)} UTC)."
            for each in debrief.track.rejections
        ),
        holes=tuple(
            f"{clock(each.start_epoch_s)} to {clock(each.end_epoch_s)} UTC, {lasted(each.seconds)}."
            for each in debrief.track.gaps
        ),
        estimated=_estimated(debrief),
        notes=tuple(
            sentence(each)
            for each in dict.fromkeys(
                (*debrief.track.track.notes, *debrief.track.notes, *debrief.hold.notes, *debrief.notes)
            )
        ),
        seen_instead=tuple(sentence(each) for each in debrief.flown.seen_instead),
        identity=_identity(debrief),
        numbers=tuple(_all_numbers(table, entries, item_rows)),
        result_signs=tuple((sign_, word) for word, sign_ in RESULT_SIGNS.items()),
        flight=flight_data(debrief, timeline, plan.views, needles),
    )


def _all_numbers(
    table: LapTable | None, entries: tuple[EntryStory, ...], item_rows: tuple[ItemRow, ...]
) -> Iterator[Number]:
    if table is not None:
        for group in table.groups:
            for row in group.rows:
                yield from row.cells
    for entry in entries:
        yield from (number for _, _, number in entry.numbers)
    yield from (row.value for row in item_rows)


def magnetic_name(debrief: Debrief, true_deg: float) -> str:
    return heading_name(true_deg - debrief.hold.variation_deg)


def _hold_facts(debrief: Debrief) -> tuple[Fact, ...]:
    hold = debrief.hold
    leg = f"{hold.leg.minutes:g} min" if hold.leg.minutes is not None else f"{hold.leg.nm:g} NM"
    course = course_name((hold.inbound_course_true_deg - hold.variation_deg) % 360.0)
    facts = [
        Fact("Inbound course", f"{course}° mag", f"{hold.inbound_course_true_deg:.1f}° true"),
        Fact("Turns", hold.turns),
        Fact("Leg", leg),
    ]
    if hold.altitude_ft is not None:
        facts.append(Fact("Altitude", f"{figure(hold.altitude_ft)} ft"))
    if hold.airspeed_kias is not None:
        facts.append(Fact("Airspeed", f"{figure(hold.airspeed_kias)} KIAS"))
    guidance = hold.guidance
    if guidance.kind == "gps":
        facts.append(Fact("Guidance", "GPS", f"full scale {guidance.full_scale_nm:g} NM"))
    else:
        to_set = "" if guidance.course_to_set_deg is None else f"set {course_name(guidance.course_to_set_deg)}°, "
        facts.append(Fact("Guidance", "VOR", f"{to_set}flag {guidance.flag}, full scale {guidance.full_scale_deg:g}°"))
    return tuple(facts)


def _flight_facts(debrief: Debrief) -> tuple[Fact, ...]:
    epoch = debrief.samples.epoch_s
    facts = [Fact("Track", debrief.track.track.source)]
    if len(epoch):
        facts.append(Fact("Date", day(float(epoch[0]))))
        facts.append(Fact("Recorded", f"{clock(float(epoch[0]))[:5]} to {clock(float(epoch[-1]))[:5]} UTC"))
    facts.append(Fact("Judged by", debrief.standard_title))
    return tuple(facts)


def _lap_words(debrief: Debrief, finding: Finding) -> str:
    laps = finding.laps or ((finding.lap,) if finding.lap is not None else ())
    if not laps:
        return "whole hold"
    where = f"visit {finding.visit}, " if finding.visit and len(debrief.flown.visits) > 1 else ""
    if len(laps) == 1:
        return f"{where}lap {laps[0]}"
    return f"{where}laps {', '.join(map(str, laps[:-1]))} and {laps[-1]}"


def _point(debrief: Debrief, timeline: Timeline, finding: Finding) -> Point:
    at = finding.at_epoch_s
    stretch = ""
    if at is not None:
        if not bool(timeline.axis.covers(at)):
            at = None
        else:
            here = [each for each in timeline.stretches if each.start_epoch_s <= at <= each.end_epoch_s]
            same = [each for each in here if each.lap is not None and each.lap.number == finding.lap]
            stretch = (same or here)[0].key if same or here else ""
    return Point(
        title=finding.title,
        where=_lap_words(debrief, finding),
        evidence=sentence(finding.evidence),
        advice=sentence(finding.advice),
        consequences=tuple(sentence(each) for each in finding.consequences),
        at="" if finding.at_epoch_s is None else f"{clock(finding.at_epoch_s)} UTC",
        at_s=at,
        stretch=stretch,
    )


def _next_lap(debrief: Debrief) -> Iterator[Fact]:
    card = debrief.next_lap
    if card is None:
        return
    if card.outbound_heading_mag_deg is not None:
        off = card.outbound_correction_deg
        note = "" if off is None or abs(off) < 0.5 else f"{abs(off):.0f}° {'right' if off > 0 else 'left'} of the course"
        yield Fact("Outbound heading", f"{heading_name(card.outbound_heading_mag_deg)}° mag", note)
    if card.outbound_s is not None:
        yield Fact("Outbound time", f"{card.outbound_s:.0f} s", f"from {card.timed_from}" if card.timed_from else "")
    if card.outbound_nm is not None:
        yield Fact("Outbound to", f"{card.outbound_nm:.1f} NM", "from the fix")
    if card.inbound_heading_mag_deg is not None:
        yield Fact("Inbound heading", f"{heading_name(card.inbound_heading_mag_deg)}° mag")
    if card.expected_inbound_s is not None:
        yield Fact("Expect inbound", f"{card.expected_inbound_s:.0f} s")
    if card.equal_seconds_s is not None:
        yield Fact("Equal seconds asks", f"{card.equal_seconds_s:.0f} s", "outbound, after the last lap")


def _next_lap_words(debrief: Debrief) -> tuple[str, ...]:
    card = debrief.next_lap
    if card is None:
        return (sentence(debrief.solved_note),) if debrief.solved_note else ()
    words = [sentence(card.sentence)] if card.sentence else []
    if not card.feasible and card.why:
        words.append(sentence(card.why))
    return tuple(words)


def _not_completed(timeline: Timeline) -> Iterator[Fact]:
    for each in timeline.stretches:
        if each.kind == "incomplete" and each.lap is not None:
            why = each.lap.why_incomplete or "the fix was not passed again"
            yield Fact(each.label, sentence(why), f"from {clock(each.start_epoch_s)} UTC")


def _watch(debrief: Debrief) -> tuple[str, ...]:
    words = []
    if debrief.watch is not None and debrief.watch.sentence:
        words.append(sentence(debrief.watch.sentence))
    for each in debrief.needle_contrasts:
        words.append(
            f"Lap {each.lap}: within {each.limit_share:g} of full scale on {' and '.join(each.passes)}, "
            f"outside on {' and '.join(each.fails)}."
        )
    return tuple(words)


# -- entry -------------------------------------------------------------------------------------------------------------


def _entries(debrief: Debrief) -> Iterator[EntryStory]:
    several = len(debrief.flown.visits) > 1
    for visit in debrief.flown.visits:
        entry = visit.entry
        measures = next((each for each in debrief.entries if each.visit == visit.number), None)
        facts = [
            Fact("Flown", entry.kind),
            Fact("Expected", " or ".join(entry.expected) if entry.expected else "not known"),
        ]
        if entry.arrival_heading_true_deg is not None:
            margin = "" if entry.margin_deg is None else f"{abs(entry.margin_deg):.0f}° from the nearest sector boundary"
            heading = magnetic_name(debrief, entry.arrival_heading_true_deg)
            facts.append(Fact("Arrival heading", f"{heading}° mag", margin))
        facts.append(Fact("First over the fix", moment_words(entry.start)))
        remarks = [*entry.remarks]
        if entry.turned_wrong_way:
            remarks.append("turned the wrong way on the entry")
        if entry.reversed_pattern:
            remarks.append("flown on the reciprocal of the inbound course")
        if measures is not None and measures.sentence:
            remarks.insert(0, measures.sentence)
        yield EntryStory(
            title=f"Visit {visit.number}" if several else "",
            facts=tuple(facts),
            numbers=tuple(_entry_numbers(debrief, measures, visit.number)) if measures is not None else (),
            remarks=tuple(sentence(each) for each in dict.fromkeys(remarks) if each),
        )


def _entry_numbers(debrief: Debrief, measures: EntryMeasures, visit: int) -> Iterator[tuple[str, str, Number]]:
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
        if measured.value is None and not measured.why:
            continue
        number = traced(f"{name}, entry", measured, places=places, signed=signed, stretch=f"entry-{visit}")
        yield name, unit, _keyed(number, f"n-entry-{visit}-{k}")


def _keyed(number: Number, key: str) -> Number:
    from dataclasses import replace

    return replace(number, key=key)


# -- items, wind, methods -----------------------------------------------------------------------------------------------


def _item_rows(debrief: Debrief) -> Iterator[ItemRow]:
    for k, item in enumerate(each for each in debrief.items if each.lap is None):
        places = 0 if item.unit in ("ft", "kt", "deg", "KIAS", "°") else 2 if item.unit in ("NM", "of full scale") else 1
        number = _keyed(item_number(item, f"{item.title}, {item.scope}", places=places), f"n-item-{k}")
        limit = DASH if item.limit is None else f"{item.limit:g} {item.unit}"
        yield ItemRow(
            item.title, item.scope, number, limit, "choice of this program" if item.choice else item.source
        )


def _wind_facts(debrief: Debrief) -> Iterator[Fact]:
    wind = debrief.wind
    if wind is None:
        yield Fact("Wind", "not measurable", sentence(debrief.wind_note))
        return
    source = "from the ground speeds around the turns" if wind.source == "turns" else f"source: {wind.source}"
    yield Fact(
        "Wind from",
        f"{heading_name(wind.from_true_deg)}° true ± {wind.from_sd_deg:.0f}°",
        f"{magnetic_name(debrief, wind.from_true_deg)}° mag",
    )
    yield Fact("Wind speed", f"{wind.speed_kt:.1f} ± {wind.speed_sd_kt:.1f} kt", source)
    yield Fact("True airspeed", f"{wind.true_airspeed_kt:.1f} ± {wind.true_airspeed_sd_kt:.1f} kt", "over the whole hold")
    if debrief.wind_note:
        yield Fact("Note", sentence(debrief.wind_note))


def _estimated(debrief: Debrief) -> tuple[str, ...]:
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
    )


def _methods(debrief: Debrief) -> tuple[Method, ...]:
    """What the numbers of the lap table mean, in the words of the trade."""
    return (
        Method("Over the fix", "the track passes the line through the fix at right angles to the inbound course, inbound."),
        Method("Abeam", "the same line is passed outbound, on the holding side."),
        Method(
            "Start and end of a turn",
            "the rate of turn of the heading rises above, or falls below, a quarter of standard rate (0.75°/s), or a "
            "quarter of the turn's own rate where that is less.",
        ),
        Method(
            "Inbound starts",
            "at the earlier of crossing the inbound course in the turn and rolling out. A roll-out along the course is no "
            "crossing: the aircraft must go beyond it by more than the positions can be trusted.",
        ),
        Method(
            "Moments between samples",
            "are interpolated on the smoothed track; each carries its standard error. A time is the difference of two moments.",
        ),
        Method(
            "Wind and airspeed",
            "at one airspeed the ground velocity runs on a circle about the wind. The circle is fitted to the turns; its "
            "fit gives the errors. Too little of the circle flown: not measurable.",
        ),
        Method(
            "The lap that works",
            "for the wind and airspeed measured there is one outbound heading and one outbound time that roll out on the "
            "course with the inbound time asked for. It is the broad pale line in the plan view.",
        ),
        Method(
            "Needles",
            "distance from the course over full scale (GPS), or angle at the station over full scale (VOR). "
            "The needle points to the course.",
        ),
        Method(
            "±",
            "is one standard error. A value within two of its limit is said to straddle it.",
        ),
        Method(
            "Within, brief excursion, outside",
            "brief: outside the limit and promptly back. What counts as prompt or consistent is a choice of this program"
            + (
                ""
                if debrief.standard is None
                else f" ({debrief.standard.choices.prompt_s:g} s; {debrief.standard.choices.consistent_share:.0%} of the time)"
            )
            + ", since no published standard gives it in numbers.",
        ),
    )


def _identity(debrief: Debrief) -> tuple[Fact, ...]:
    track = debrief.track
    standard = debrief.standard
    edition = f"{standard.document}, {standard.edition}, {standard.section}" if standard else ""
    facts = [
        Fact("Program", f"trackgrade {__version__}"),
        Fact("Standard", debrief.standard_title, edition),
        Fact("Standard file", debrief.standard_name),
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
    if standard is not None and standard.timing_band_s is not None:
        facts.append(Fact("Leg timing", standard.timing_note))
    return tuple(facts)
