"""The rows of the lap table: for each quantity, how the cell of one lap is made and what its note tells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, NamedTuple

from trackgrade.hold.courses import heading_name
from trackgrade.report.numbers import DASH, NOTHING, Number, figure, moment_words, traced
from trackgrade.report.timeline import Stretch
from trackgrade.score.debrief import Debrief
from trackgrade.score.lap import GradedLap, Judged, NeedleReading, TurnMeasures
from trackgrade.score.mistakes.table import BY_NAME
from trackgrade.score.results import Measurement
from trackgrade.score.sentences import sentence_of
from trackgrade.score.standard import ITEMS
from trackgrade.segment.flown import Moment

REFERENCES = {
    "abeam": "from abeam",
    "abeam_by_bearing": "from abeam by bearing",
    "abeam_or_heading": "from abeam or heading",
    "wings_level": "from wings level",
    "mark": "from the mark",
}
#: How the next outbound time answered what was asked.
JUDGED_WORDS: dict[Judged, str] = {
    "right": "as asked",
    "not needed": "no change asked",
    "none": "left as it was",
    "too small": "toward it, too little",
    "too large": "toward it, too much",
    "wrong way": "away from it",
    "no lap": "no lap meets the leg",
    "last lap": "",
    "not measurable": "",
}
STARTED_BY = {"course": "crossed the course", "rollout": "rolled out", None: ""}


class Cell(NamedTuple):
    """A cell in the making: a completed lap, its stretch in the pictures, the head of its row, the name of its note."""

    stretch: Stretch
    lap: GradedLap
    head: str
    key: str

    def title(self, words: str = "") -> str:
        return f"{words or self.head}, {self.stretch.name}"

    def of(self, measured: Measurement, *, words: str = "", item: str = "", **told: Any) -> Number:
        """A measurement of the lap, as `traced` tells it, with the result of the item that grades it.

        ``words`` say more than the head. Where a finding of this lap is about the item, it is not told as within.
        """
        result = self.lap.item(item) if item else None
        number = traced(self.title(words), measured, result, stretch=self.stretch.key, key=self.key, **told)
        if number.result != "within" or not any(BY_NAME[name].about == ITEMS[item].about for name in self.lap.seen):
            return number
        return number._replace(result="", result_class="", sign="", gauge=NOTHING)

    def unknown(self, why: str, **told: Any) -> Number:
        return self.of(Measurement(None, why=why), **told)

    def of_item(self, item: str, *, signed: bool = True, **told: Any) -> Number:
        """An item's own value."""
        result = self.lap.item(item)
        if result is None:
            title = self.title(told.get("words", ""))
            return Number(DASH, title, ("Not an item of this standard.",), stretch=self.stretch.key, key=self.key)
        return self.of(result.measured, item=item, signed=signed, **told)


#: A row in the making: its head, its unit, and how the cell of one lap is made.
Recipe = tuple[str, str, Callable[[Cell], Number]]


def groups(debrief: Debrief) -> tuple[tuple[str, tuple[Recipe, ...]], ...]:
    """The rows under their headings."""
    timing = TIMING if debrief.hold.leg.nm is None else (LEG_LENGTH, *TIMING[:2])
    changing = any(lap.wind_changed for lap in debrief.laps)
    return (
        ("Timing", (*timing, FIX_TO_TURN)),
        ("Course and drift", (*COURSE, WIND) if changing else COURSE),
        ("Height and speed", HEIGHT_AND_SPEED),
        ("Turns", TURNS),
    )


def _outbound(cell: Cell) -> Number:
    measures, flown = cell.lap.measures, cell.lap.flown
    return cell.of(
        measures.outbound_s,
        places=1,
        under=REFERENCES.get(measures.outbound_start_by or "", ""),
        story=(
            f"Abeam {moment_words(flown.abeam)}.",
            f"Wings level outbound {moment_words(flown.outbound_turn_end)}.",
            f"Turn inbound begins {moment_words(flown.outbound_end)}.",
        ),
        at_s=measures.outbound_start_epoch_s,
    )


def _inbound(cell: Cell) -> Number:
    measures, flown = cell.lap.measures, cell.lap.flown
    by = STARTED_BY[flown.inbound_start_by]
    level = moment_words(flown.inbound_turn_end)
    story = [
        f"Inbound starts {moment_words(flown.inbound_start)}: {by or 'not told'}.",
        f"Course crossed {moment_words(flown.course_crossed)}; wings level {level}.",
        f"Over the fix {moment_words(flown.end)}.",
    ]
    other, other_s = flown.inbound_start_other, measures.inbound_other_s
    if other is not None and other_s is not None:
        story.append(
            f"Or it starts {moment_words(other.moment)} ({STARTED_BY[other.by]}), and lasts "
            f"{other_s.value:.0f} s. Both readings are fair: graded only where both give the same."
        )
    elif flown.near_tie:
        story.append("Crossing the course and rolling out on it lie too close to tell apart: the error covers both.")
    if measures.target_inbound_s is not None:
        story.append(f"It should last {measures.target_inbound_s:.0f} s.")
    doubt = " (near tie)" if flown.near_tie else ""
    if other_s is not None and other_s.value is not None:
        doubt = f" (or {other_s.value:.0f} s)"
    return cell.of(
        measures.inbound_s,
        item="inbound_time",
        places=1,
        under=by + doubt,
        story=story,
        at_s=flown.inbound_start.epoch_s if flown.inbound_start else None,
    )


def _inbound_error(cell: Cell) -> Number:
    lap = cell.lap
    off = replace(lap.measures.inbound_s, value=lap.inbound_error_s, how="inbound time minus what it should last")
    return cell.of(off, places=1, signed=True)


def _asked(cell: Cell) -> Number:
    each = cell.lap.correction
    if each is None or each.asked_s is None:
        unmet = each is not None and each.judged == "no lap"
        return cell.unknown(
            "no lap meets the leg in this wind" if unmet else "no outbound and inbound time of this lap to go by"
        )
    if each.asked_by == "card":
        story = ["The outbound time of the lap that works in this lap's wind, on the heading that belongs to it."]
    else:
        story = [
            "Equal seconds (common practice), on the same heading: this outbound time plus what the inbound was short, "
            "or less what it was long."
        ]
        if each.asked_solved_s is not None:
            story.append(f"With another heading, the lap that works in this wind has {each.asked_solved_s:.0f} s.")
    under = "equal seconds" if each.asked_by == "equal seconds" else ""
    return cell.of(Measurement(each.asked_s, None, "s"), under=under, story=story)


def _flown_next(cell: Cell) -> Number:
    each = cell.lap.correction
    if each is None or each.flown_next_s is None:
        last = each is not None and each.judged == "last lap"
        return cell.unknown("this is the last lap" if last else "no next outbound time")
    change = round(each.change_s or 0.0)
    told = f"{abs(change)} s {'longer' if change > 0 else 'shorter'} than before." if change else "As before."
    return cell.of(Measurement(each.flown_next_s, None, "s"), under=JUDGED_WORDS[each.judged], story=(told,))


def _fix_to_turn(cell: Cell) -> Number:
    flown = cell.lap.flown
    return cell.of(
        cell.lap.measures.fix_to_turn_s,
        item="fix_recognition",
        places=1,
        signed=True,
        story=(
            f"Over the fix {moment_words(flown.start)}.",
            f"Turn starts {moment_words(flown.outbound_turn_start)}.",
        ),
        at_s=flown.start.epoch_s,
    )


TIMING: tuple[Recipe, ...] = (
    ("Outbound time", "s", _outbound),
    ("Inbound time", "s", _inbound),
    ("Inbound time off target", "s", _inbound_error),
    ("Next outbound asked for", "s", _asked),
    ("Next outbound flown", "s", _flown_next),
)
LEG_LENGTH: Recipe = (
    "Turn back inbound, from the fix",
    "NM",
    lambda cell: cell.of(cell.lap.measures.outbound_end_nm, item="leg_length", places=2),
)
FIX_TO_TURN: Recipe = ("Fix to start of turn", "s", _fix_to_turn)


def _own_needle(cell: Cell) -> Number:
    reading, words = cell.lap.own_needle, "Largest needle inbound"
    if reading.largest is not None:
        return _needle(cell, reading, words, under=reading.side or "", item="course")
    item = cell.lap.item("course")
    if item is not None and item.value is not None:
        return cell.of_item("course", words=words, places=2, signed=False)
    return cell.unknown(reading.why or "no inbound leg to read it on", words=words, item="course")


def _other_needle(cell: Cell) -> Number:
    """A hold on a VOR read again as a GPS would have shown it in the terminal area, and the other way round."""
    reading = cell.lap.other_needle
    if reading.largest is None:
        return cell.unknown(reading.why)
    unit = "°" if reading.unit == "deg" else f" {reading.unit}"
    return _needle(cell, reading, cell.head, under=f"{reading.kind.upper()} {reading.full_scale:g}{unit}")


def _needle(cell: Cell, reading: NeedleReading, words: str, *, under: str, item: str = "") -> Number:
    story = [sentence_of(f"{reading.label}; aircraft {reading.side or 'on neither side'} of the course at the largest")]
    if reading.typical is not None:
        story.append(f"Typically {figure(reading.typical, 2)} of full scale.")
    if reading.share_within_three_quarters is not None:
        story.append(f"Inside three quarters for {reading.share_within_three_quarters:.0%} of the leg.")
    return cell.of(
        Measurement(reading.largest, reading.largest_sd, "of full scale", how="largest deflection of the inbound leg"),
        words=f"{words} ({reading.label})",
        item=item,
        places=2,
        under=under,
        story=story,
        at_s=reading.largest_epoch_s,
    )


def _second_needle(cell: Cell) -> Number:
    read = cell.lap.second_needle
    if read is None:
        return cell.unknown("the fix is not where two radials cross")
    story = () if read.centred_epoch_s is None else (f"Centred {moment_words(Moment(read.centred_epoch_s, 0.5))}.",)
    under = "" if read.turn_after_s.value is None else "after it" if read.turn_after_s.value > 0.0 else "before it"
    return cell.of(read.turn_after_s, places=1, signed=True, under=under, story=story, at_s=read.centred_epoch_s)


def _rollout(cell: Cell) -> Number:
    measured, level = cell.lap.measures.rollout_cross_nm, cell.lap.flown.inbound_turn_end
    return cell.of(
        measured,
        places=2,
        signed=True,
        under="" if measured.value is None else "short of it" if measured.value >= 0 else "through it",
        story=("Plus is the holding side of the course, minus is beyond it.",),
        at_s=level.epoch_s if level else None,
    )


def _inbound_wca(cell: Cell) -> Number:
    held = cell.lap.wind_work.inbound_correction_deg
    return cell.of(held, signed=True, story=("Heading minus track, right positive.",))


def _outbound_wca(cell: Cell) -> Number:
    work = cell.lap.wind_work
    asked = "" if work.solved_correction_deg is None else figure(work.solved_correction_deg, 0, signed=True)
    story = ["Heading minus outbound course, right positive."]
    if work.multiple is not None:
        story.append(f"{figure(work.multiple, 1)} times the inbound correction.")
    if work.triple_correction_deg is not None:
        story.append(f"Triple drift (AIM 5-3-8) asks for {figure(work.triple_correction_deg, 0, signed=True)}°.")
    if asked:
        story.append(f"The lap solved for the wind asks for {asked}°.")
    story.append(sentence_of(work.sentence))
    return cell.of(work.outbound_correction_deg, signed=True, under=f"asked {asked}" if asked else "", story=story)


def _wind(cell: Cell) -> Number:
    wind = cell.lap.wind
    if wind is None:
        return cell.unknown("no wind could be told")
    error = f"± {wind.from_sd_deg:.0f}°, ± {wind.speed_sd_kt:.1f} kt (one standard error), at the middle of the lap."
    text = f"{heading_name(wind.from_true_deg)}/{wind.speed_kt:.0f}"
    return Number(text, cell.title(), (f"From {text} kt, true, {error}",), stretch=cell.stretch.key, key=cell.key)


COURSE: tuple[Recipe, ...] = (
    ("Largest needle", "of full scale", _own_needle),
    ("The same leg on the other needle", "of full scale", _other_needle),
    ("Second needle centred to start of turn", "s", _second_needle),
    ("Rolled out off the course", "NM", _rollout),
    ("Largest cross-track inbound", "NM", lambda cell: cell.of(cell.lap.measures.max_cross_track_nm, places=2)),
    (
        "Beyond the course, non-holding side",
        "NM",
        lambda cell: cell.of(cell.lap.measures.non_holding_side_nm, item="non_holding_side", places=2),
    ),
    ("Correction held inbound", "°", _inbound_wca),
    ("Correction laid off outbound", "°", _outbound_wca),
    (
        "Outbound heading, furthest off",
        "°",
        lambda cell: cell.of_item("outbound_heading", words="Outbound heading, furthest off its own mean"),
    ),
)
WIND: Recipe = ("Wind", "true", _wind)


def _with_range(cell: Cell, item: str, least: float | None, most: float | None, unit: str) -> Number:
    """An item over time, with the range of the lap below it."""
    number = cell.of_item(item)
    if least is None or most is None:
        return number
    spread = f"{figure(least)} to {figure(most)}"
    return number._replace(under=spread, story=(*number.story, f"The lap lay between {spread} {unit}."))


def _altitude(cell: Cell) -> Number:
    measures = cell.lap.measures
    return _with_range(cell, "altitude", measures.altitude_low_ft, measures.altitude_high_ft, "ft")


def _airspeed(cell: Cell) -> Number:
    measures = cell.lap.measures
    return _with_range(cell, "airspeed", measures.ias_low_kt, measures.ias_high_kt, "KIAS")


HEIGHT_AND_SPEED: tuple[Recipe, ...] = (
    ("Altitude, furthest off", "ft", _altitude),
    ("Airspeed, furthest off", "kt", _airspeed),
    ("Ground speed outbound", "kt", lambda cell: cell.of(cell.lap.measures.groundspeed_outbound_kt)),
    ("Ground speed inbound", "kt", lambda cell: cell.of(cell.lap.measures.groundspeed_inbound_kt)),
)


def _turn(which: str, of: Callable[[Cell, TurnMeasures], Number]) -> Callable[[Cell], Number]:
    """A cell of one of the two turns."""

    def made(cell: Cell) -> Number:
        turn = dict(cell.lap.measures.turns).get(which)
        return cell.unknown("this turn was not told from the track") if turn is None else of(cell, turn)

    return made


def _rate(cell: Cell, turn: TurnMeasures) -> Number:
    story = []
    if turn.due_rate_deg_s is not None:
        story.append(f"Due at this airspeed: {turn.due_rate_deg_s:.1f}°/s.")
    if turn.bank_deg.value is not None:
        due = f", due {turn.due_bank_deg:.0f}°." if turn.due_bank_deg else "."
        story.append(f"Bank {turn.bank_deg.value:.0f}°{due}")
    if turn.rate_spread_deg_s.value is not None:
        story.append(f"Unevenness of the rate: {turn.rate_spread_deg_s.value:.1f}°/s.")
    return cell.of(turn.rate_deg_s, places=1, story=story, at_s=turn.start_epoch_s)


def _lost(cell: Cell, turn: TurnMeasures) -> Number:
    return cell.of(turn.altitude_lost_ft, at_s=turn.start_epoch_s)


TURNS: tuple[Recipe, ...] = (
    ("Rate, turn at the fix", "°/s", _turn("at the fix", _rate)),
    ("Rate, turn inbound", "°/s", _turn("inbound", _rate)),
    ("Height lost, turn at the fix", "ft", _turn("at the fix", _lost)),
    ("Height lost, turn inbound", "ft", _turn("inbound", _lost)),
)
