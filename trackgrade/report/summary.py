"""The first page, screen and paper: hold and flight, the laps in short, what to work on, the next lap, the sheet."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from trackgrade.hold.courses import course_name, heading_name
from trackgrade.report.numbers import DASH, RESULT_CLASSES, RESULT_SIGNS, clock, day, figure
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief, Finding
from trackgrade.score.lap import GradedLap
from trackgrade.score.results import Measurement
from trackgrade.score.sentences import lap_words, sentence_of


class Fact(NamedTuple):
    """A name, what it is, and optionally a remark below it."""

    name: str
    value: str
    note: str = ""


class Point(NamedTuple):
    """One thing to work on, or one done well.

    ``at`` is its time of day; ``at_s`` and ``stretch`` lead to the pictures.
    """

    title: str
    where: str
    evidence: str
    advice: str
    at: str
    at_s: float | None
    stretch: str


def magnetic_name(debrief: Debrief, true_deg: float) -> str:
    return heading_name(true_deg - debrief.hold.variation_deg)


def hold_facts(debrief: Debrief) -> tuple[Fact, ...]:
    hold = debrief.hold
    magnetic, true = course_name(hold.course_to_set_deg), course_name(hold.inbound_course_true_deg)
    facts = [
        Fact("Inbound course", f"{magnetic}° mag", f"{true}° true"),
        Fact("Turns", hold.turns),
        Fact("Leg", hold.leg.words),
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


def flight_facts(debrief: Debrief) -> tuple[Fact, ...]:
    track = debrief.track.track
    epoch = track.epoch_s
    facts = [Fact("Track", track.source)]
    if len(epoch):
        facts.append(Fact("Date", day(float(epoch[0]))))
        facts.append(Fact("Recorded", f"{clock(float(epoch[0]))[:5]} to {clock(float(epoch[-1]))[:5]} UTC"))
    facts.append(Fact("Judged by", debrief.standard.title))
    return tuple(facts)


def _lap_words(debrief: Debrief, finding: Finding) -> str:
    laps = finding.laps or ((finding.lap,) if finding.lap is not None else ())
    where = f"visit {finding.visit}, " if laps and finding.visit and len(debrief.visits) > 1 else ""
    return where + lap_words(laps).removeprefix("the ")


def point(debrief: Debrief, timeline: Timeline, finding: Finding) -> Point:
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
        evidence=sentence_of(finding.evidence),
        advice=sentence_of(finding.advice),
        at="" if finding.at_epoch_s is None else f"{clock(finding.at_epoch_s)} UTC",
        at_s=at,
        stretch=stretch,
    )


def next_lap(debrief: Debrief) -> Iterator[Fact]:
    card = debrief.next_lap
    if card is None:
        return
    if card.outbound_heading_mag_deg is not None:
        off = card.outbound_correction_deg
        note = (
            "" if off is None or abs(off) < 0.5 else f"{abs(off):.0f}° {'right' if off > 0 else 'left'} of the course"
        )
        yield Fact("Outbound heading", f"{heading_name(card.outbound_heading_mag_deg)}° mag", note)
    if card.outbound_s is not None:
        yield Fact("Outbound time", f"{card.outbound_s:.0f} s", f"from {card.timed_from}" if card.timed_from else "")
    if card.outbound_nm is not None:
        yield Fact("Outbound to", f"{card.outbound_nm:.1f} NM", "from the fix")
    if card.inbound_heading_mag_deg is not None:
        yield Fact("Inbound heading", f"{heading_name(card.inbound_heading_mag_deg)}° mag")
    if card.expected_inbound_s is not None:
        yield Fact("Expect inbound", f"{card.expected_inbound_s:.0f} s")


def next_lap_words(debrief: Debrief) -> tuple[str, ...]:
    card = debrief.next_lap
    if card is None:
        return (sentence_of(debrief.solved_note),) if debrief.solved_note else ()
    words = [sentence_of(card.sentence)] if card.sentence else []
    if not card.feasible and card.why and card.why not in card.sentence:
        words.append(sentence_of(card.why))
    return tuple(words)


def not_completed(timeline: Timeline) -> Iterator[Fact]:
    for each in timeline.stretches:
        if each.kind == "incomplete" and each.lap is not None:
            why = each.lap.why_incomplete or "the fix was not passed again"
            yield Fact(each.label, sentence_of(why), f"from {clock(each.start_epoch_s)} UTC")


def watch(debrief: Debrief) -> tuple[str, ...]:
    words = []
    if debrief.watch is not None and debrief.watch.sentence:
        words.append(sentence_of(debrief.watch.sentence))
    band = debrief.standard.timing_band_s
    if debrief.converged_lap is not None and band is not None:
        words.append(f"From lap {debrief.converged_lap} on every inbound time lay within {band:g} s of its target.")
    words += [
        f"Lap {lap.number}: within {each.limit_share:g} of full scale on {' and '.join(each.passes)}, "
        f"outside on {' and '.join(each.fails)}."
        for lap in debrief.laps
        if (each := lap.contrast) is not None
    ]
    return tuple(words)


#: Results of a lap's items from the worst on: the lap is marked by the worst of them.
WORST_FIRST = ("outside", "brief excursion", "within")
#: So many items are named behind a mark; the lap table has the others.
MOST_NAMED = 2


class ShortLap(NamedTuple):
    """One lap in a line: outbound, inbound, and the mark with the items that gave it ("altitude, course")."""

    stretch: Stretch
    outbound: str
    inbound: str
    sign: str
    result: str
    result_class: str
    because: str


class Sheet(NamedTuple):
    """What the instructor adds to the first sheet; all may be empty and written in by hand."""

    pilot: str = ""
    instructor: str = ""
    note: str = ""


NOTHING_ADDED = Sheet()


def short_laps(timeline: Timeline) -> Iterator[ShortLap]:
    """The completed laps in the order flown."""
    for stretch, lap in timeline.graded:
        outbound, inbound = _lengths(lap)
        result = next((each for each in WORST_FIRST if any(item.result == each for item in lap.items)), "")
        named = [item.title.lower() for item in lap.items if item.result == result and result != "within"]
        more = len(named) - MOST_NAMED
        yield ShortLap(
            stretch=stretch,
            outbound=outbound,
            inbound=inbound,
            sign=RESULT_SIGNS.get(result, DASH),
            result=result or "not measurable",
            result_class=RESULT_CLASSES.get(result, "unknown"),
            because=", ".join(named[:MOST_NAMED]) + (f" and {more} more" if more > 0 else ""),
        )


def short_units(debrief: Debrief) -> tuple[str, str, str]:
    """What the two figures of a lap in short are, and their unit."""
    return ("turned at", "inbound", "NM") if debrief.hold.leg.minutes is None else ("out", "in", "s")


def _lengths(lap: GradedLap) -> tuple[str, str]:
    """Where the outbound leg ended and how long the inbound one was, for a leg in NM; else the two times.

    Where two readings of the inbound start are fair, both times.
    """
    if lap.measures.target_nm is not None:
        return _short(lap.measures.outbound_end_nm, 1), _short(lap.measures.inbound_nm, 1)
    inbound, other = _short(lap.measures.inbound_s, 0), lap.measures.inbound_other_s
    return _short(lap.measures.outbound_s, 0), f"{inbound} or {_short(other, 0)}" if other else inbound


def _short(measured: Measurement, places: int) -> str:
    return DASH if measured.value is None else figure(measured.value, places)
