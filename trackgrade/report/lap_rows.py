"""The rows of the lap table: for each quantity, how the cell of one lap is made and what its note tells."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from trackgrade.hold.courses import heading_name
from trackgrade.report.numbers import NOTHING, Number, figure, graded, item_number, moment_words, sentence, traced
from trackgrade.report.timeline import Stretch
from trackgrade.score.debrief import Debrief
from trackgrade.score.lap import GradedLap, Judged, NeedleReading, TurnMeasures
from trackgrade.score.mistakes.mistake import ITEM_ABOUT
from trackgrade.score.mistakes.table import BY_NAME
from trackgrade.score.results import Measurement
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


@dataclass(frozen=True)
class LapColumn:
    """A completed lap as a column of the table, and its stretch in the pictures."""

    stretch: Stretch
    lap: GradedLap

    def title(self, words: str) -> str:
        return f"{words}, {self.stretch.label[0].lower()}{self.stretch.label[1:]}"

    def cell(
        self,
        words: str,
        measured: Measurement,
        *,
        item: str = "",
        places: int = 0,
        signed: bool = False,
        under: str = "",
        story: Sequence[str] = (),
        at_s: float | None = None,
    ) -> Number:
        """A measurement of the lap, with the result of the item that grades it."""
        number = traced(
            self.title(words), measured, places=places, signed=signed, under=under, story=story,
            stretch=self.stretch.key, at_s=at_s,
        )  # fmt: skip
        return self._unticked(graded(number, self.lap.item(item) if item else None), item)

    def of_item(self, words: str, item: str, *, places: int = 0, signed: bool = True) -> Number:
        """An item's own value."""
        number = item_number(
            self.lap.item(item), self.title(words), places=places, stretch=self.stretch.key, signed=signed
        )
        return self._unticked(number, item)

    def _unticked(self, number: Number, item: str) -> Number:
        """The number without its sign where it says "within" of what a finding is about on this lap."""
        if number.result != "within" or not any(BY_NAME[name].about == ITEM_ABOUT[item] for name in self.lap.seen):
            return number
        return replace(number, result="", result_class="", sign="", gauge=NOTHING)


#: A row in the making: its head, its unit, and how the cell of one lap is made.
Recipe = tuple[str, str, Callable[[LapColumn], Number]]


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


def _unknown(why: str) -> Measurement:
    return Measurement(None, why=why)


def _outbound(column: LapColumn) -> Number:
    measures, flown = column.lap.measures, column.lap.flown
    return column.cell(
        "Outbound time",
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


def _inbound(column: LapColumn) -> Number:
    measures, flown = column.lap.measures, column.lap.flown
    by = STARTED_BY[flown.inbound_start_by]
    level = moment_words(flown.inbound_turn_end)
    story = [
        f"Inbound starts {moment_words(flown.inbound_start)}: {by or 'not told'}.",
        f"Course crossed {moment_words(flown.course_crossed)}; wings level {level}.",
        f"Over the fix {moment_words(flown.end)}.",
    ]
    other = flown.inbound_start_other
    if other is not None and measures.inbound_other_s is not None:
        story.append(
            f"Or it starts {moment_words(other.moment)} ({STARTED_BY[other.by]}), and lasts "
            f"{measures.inbound_other_s.value:.0f} s. Both readings are fair: graded only where both give the same."
        )
    elif flown.near_tie:
        story.append("Crossing the course and rolling out on it lie too close to tell apart: the error covers both.")
    if measures.target_inbound_s is not None:
        story.append(f"It should last {measures.target_inbound_s:.0f} s.")
    return column.cell(
        "Inbound time",
        measures.inbound_s,
        item="inbound_time",
        places=1,
        under=by + _other_words(column),
        story=story,
        at_s=flown.inbound_start.epoch_s if flown.inbound_start else None,
    )


def _other_words(column: LapColumn) -> str:
    other = column.lap.measures.inbound_other_s
    if other is not None and other.value is not None:
        return f" (or {other.value:.0f} s)"
    return " (near tie)" if column.lap.flown.near_tie else ""


def _inbound_error(column: LapColumn) -> Number:
    measured = replace(
        column.lap.measures.inbound_s,
        value=column.lap.inbound_error_s,
        how="inbound time minus what it should last",
    )
    return column.cell("Inbound time off target", measured, places=1, signed=True)


def _asked(column: LapColumn) -> Number:
    words, each = "Next outbound asked for", column.lap.correction
    if each is None or each.asked_s is None:
        unmet = each is not None and each.judged == "no lap"
        why = "no lap meets the leg in this wind" if unmet else "no outbound and inbound time of this lap to go by"
        return column.cell(words, _unknown(why))
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
    return column.cell(words, Measurement(each.asked_s, None, "s"), under=under, story=story)


def _flown_next(column: LapColumn) -> Number:
    words, each = "Next outbound flown", column.lap.correction
    if each is None or each.flown_next_s is None:
        last = each is not None and each.judged == "last lap"
        return column.cell(words, _unknown("this is the last lap" if last else "no next outbound time"))
    change = round(each.change_s or 0.0)
    told = f"{abs(change)} s {'longer' if change > 0 else 'shorter'} than before." if change else "As before."
    return column.cell(words, Measurement(each.flown_next_s, None, "s"), under=JUDGED_WORDS[each.judged], story=(told,))


def _leg_length(column: LapColumn) -> Number:
    return column.cell(LEG_LENGTH[0], column.lap.measures.outbound_end_nm, item="leg_length", places=2)


def _fix_to_turn(column: LapColumn) -> Number:
    flown = column.lap.flown
    return column.cell(
        FIX_TO_TURN[0],
        column.lap.measures.fix_to_turn_s,
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
LEG_LENGTH: Recipe = ("Turn back inbound, from the fix", "NM", _leg_length)
FIX_TO_TURN: Recipe = ("Fix to start of turn", "s", _fix_to_turn)


def _own_needle(column: LapColumn) -> Number:
    reading, words = column.lap.own_needle, "Largest needle inbound"
    if reading.largest is not None:
        return _needle(column, reading, words, under=reading.side or "", item="course")
    item = column.lap.item("course")
    if item is not None and item.value is not None:
        return column.of_item(words, "course", places=2, signed=False)
    return column.cell(words, _unknown(reading.why or "no inbound leg to read it on"), item="course")


def _other_needle(column: LapColumn) -> Number:
    """A hold on a VOR read again as a GPS would have shown it in the terminal area, and the other way round."""
    words = "The same leg on the other needle"
    reading = column.lap.other_needle
    if reading.largest is None:
        return column.cell(words, _unknown(reading.why))
    unit = "°" if reading.unit == "deg" else f" {reading.unit}"
    return _needle(column, reading, words, under=f"{reading.kind.upper()} {reading.full_scale:g}{unit}")


def _needle(column: LapColumn, reading: NeedleReading, words: str, *, under: str, item: str = "") -> Number:
    story = [sentence(f"{reading.label}; aircraft {reading.side or 'on neither side'} of the course at the largest")]
    if reading.typical is not None:
        story.append(f"Typically {figure(reading.typical, 2)} of full scale.")
    if reading.share_within_three_quarters is not None:
        story.append(f"Inside three quarters for {reading.share_within_three_quarters:.0%} of the leg.")
    return column.cell(
        f"{words} ({reading.label})",
        Measurement(reading.largest, reading.largest_sd, "of full scale", how="largest deflection of the inbound leg"),
        item=item,
        places=2,
        under=under,
        story=story,
        at_s=reading.largest_epoch_s,
    )


def _second_needle(column: LapColumn) -> Number:
    words, read = "Second needle centred to start of turn", column.lap.second_needle
    if read is None:
        return column.cell(words, _unknown("the fix is not where two radials cross"))
    story = () if read.centred_epoch_s is None else (f"Centred {moment_words(Moment(read.centred_epoch_s, 0.5))}.",)
    under = "" if read.turn_after_s.value is None else "after it" if read.turn_after_s.value > 0.0 else "before it"
    return column.cell(
        words, read.turn_after_s, places=1, signed=True, under=under, story=story, at_s=read.centred_epoch_s
    )


def _rollout(column: LapColumn) -> Number:
    measured, level = column.lap.measures.rollout_cross_nm, column.lap.flown.inbound_turn_end
    return column.cell(
        "Rolled out off the course",
        measured,
        places=2,
        signed=True,
        under="" if measured.value is None else "short of it" if measured.value >= 0 else "through it",
        story=("Plus is the holding side of the course, minus is beyond it.",),
        at_s=level.epoch_s if level else None,
    )


def _cross_track(column: LapColumn) -> Number:
    return column.cell("Largest cross-track inbound", column.lap.measures.max_cross_track_nm, places=2)


def _non_holding(column: LapColumn) -> Number:
    measured = column.lap.measures.non_holding_side_nm
    return column.cell("Beyond the course, non-holding side", measured, item="non_holding_side", places=2)


def _inbound_wca(column: LapColumn) -> Number:
    measured = column.lap.wind_work.inbound_correction_deg
    return column.cell(
        "Correction held inbound", measured, signed=True, story=("Heading minus track, right positive.",)
    )


def _outbound_wca(column: LapColumn) -> Number:
    work = column.lap.wind_work
    asked = "" if work.solved_correction_deg is None else figure(work.solved_correction_deg, 0, signed=True)
    story = ["Heading minus outbound course, right positive."]
    if work.multiple is not None:
        story.append(f"{figure(work.multiple, 1)} times the inbound correction.")
    if work.triple_correction_deg is not None:
        story.append(f"Triple drift (AIM 5-3-8) asks for {figure(work.triple_correction_deg, 0, signed=True)}°.")
    if asked:
        story.append(f"The lap solved for the wind asks for {asked}°.")
    story.append(sentence(work.sentence))
    return column.cell(
        "Correction laid off outbound",
        work.outbound_correction_deg,
        signed=True,
        under=f"asked {asked}" if asked else "",
        story=story,
    )


def _steadiness(column: LapColumn) -> Number:
    return column.of_item("Outbound heading, furthest off its own mean", "outbound_heading")


def _wind(column: LapColumn) -> Number:
    wind, words = column.lap.wind, column.title("Wind")
    if wind is None:
        return column.cell("Wind", _unknown("no wind could be told"))
    error = f"± {wind.from_sd_deg:.0f}°, ± {wind.speed_sd_kt:.1f} kt (one standard error), at the middle of the lap."
    text = f"{heading_name(wind.from_true_deg)}/{wind.speed_kt:.0f}"
    return Number(text, words, (f"From {text} kt, true, {error}",), stretch=column.stretch.key)


COURSE: tuple[Recipe, ...] = (
    ("Largest needle", "of full scale", _own_needle),
    ("The same leg on the other needle", "of full scale", _other_needle),
    ("Second needle centred to start of turn", "s", _second_needle),
    ("Rolled out off the course", "NM", _rollout),
    ("Largest cross-track inbound", "NM", _cross_track),
    ("Beyond the course, non-holding side", "NM", _non_holding),
    ("Correction held inbound", "°", _inbound_wca),
    ("Correction laid off outbound", "°", _outbound_wca),
    ("Outbound heading, furthest off", "°", _steadiness),
)
WIND: Recipe = ("Wind", "true", _wind)


def _band_item(words: str, item: str, unit: str, low: str, high: str) -> Callable[[LapColumn], Number]:
    """An item over time, with the range of the lap below it."""

    def cell(column: LapColumn) -> Number:
        number = column.of_item(words, item)
        least, most = getattr(column.lap.measures, low), getattr(column.lap.measures, high)
        if least is None or most is None:
            return number
        spread = f"{figure(least)} to {figure(most)}"
        return replace(number, under=spread, story=(*number.story, f"The lap lay between {spread} {unit}."))

    return cell


HEIGHT_AND_SPEED: tuple[Recipe, ...] = (
    (
        "Altitude, furthest off",
        "ft",
        _band_item("Altitude, furthest off", "altitude", "ft", "altitude_low_ft", "altitude_high_ft"),
    ),
    (
        "Airspeed, furthest off",
        "kt",
        _band_item("Airspeed, furthest off", "airspeed", "KIAS", "ias_low_kt", "ias_high_kt"),
    ),
    (
        "Ground speed outbound",
        "kt",
        lambda column: column.cell("Ground speed outbound", column.lap.measures.groundspeed_outbound_kt),
    ),
    (
        "Ground speed inbound",
        "kt",
        lambda column: column.cell("Ground speed inbound", column.lap.measures.groundspeed_inbound_kt),
    ),
)


def _turn(
    quantity: str, which: str, of: Callable[[LapColumn, str, TurnMeasures], Number]
) -> Callable[[LapColumn], Number]:
    """A cell of one of the two turns."""
    words = f"{quantity}, turn {which}"

    def cell(column: LapColumn) -> Number:
        turn = dict(column.lap.measures.turns).get(which)
        if turn is None:
            return column.cell(words, _unknown("this turn was not told from the track"))
        return of(column, words, turn)

    return cell


def _rate(column: LapColumn, words: str, turn: TurnMeasures) -> Number:
    story = []
    if turn.due_rate_deg_s is not None:
        story.append(f"Due at this airspeed: {turn.due_rate_deg_s:.1f}°/s.")
    if turn.bank_deg.value is not None:
        due = f", due {turn.due_bank_deg:.0f}°." if turn.due_bank_deg else "."
        story.append(f"Bank {turn.bank_deg.value:.0f}°{due}")
    if turn.rate_spread_deg_s.value is not None:
        story.append(f"Unevenness of the rate: {turn.rate_spread_deg_s.value:.1f}°/s.")
    return column.cell(words, turn.rate_deg_s, places=1, story=story, at_s=turn.start_epoch_s)


def _lost(column: LapColumn, words: str, turn: TurnMeasures) -> Number:
    return column.cell(words, turn.altitude_lost_ft, at_s=turn.start_epoch_s)


TURNS: tuple[Recipe, ...] = (
    ("Rate, turn at the fix", "°/s", _turn("Rate", "at the fix", _rate)),
    ("Rate, turn inbound", "°/s", _turn("Rate", "inbound", _rate)),
    ("Height lost, turn at the fix", "ft", _turn("Height lost", "at the fix", _lost)),
    ("Height lost, turn inbound", "ft", _turn("Height lost", "inbound", _lost)),
)
