"""The rows of the lap table: for each quantity, how the cell of one lap is made and what its note tells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from trackgrade.report.numbers import Number, figure, graded, item_number, moment_words, sentence, traced
from trackgrade.report.timeline import Stretch
from trackgrade.score.debrief import (
    Correction,
    Debrief,
    ItemResult,
    LapMeasures,
    Measurement,
    NeedleReading,
    TurnMeasures,
    WindWork,
)
from trackgrade.segment.flown import Lap

REFERENCES = {
    "abeam": "from abeam",
    "abeam_by_bearing": "from abeam by bearing",
    "abeam_or_heading": "from abeam or heading",
    "wings_level": "from wings level",
    "mark": "from the mark",
}


@dataclass(frozen=True)
class LapColumn:
    """Everything known of one lap."""

    stretch: Stretch
    lap: Lap
    measures: LapMeasures | None
    items: dict[str, ItemResult]
    correction: Correction | None
    own_needle: NeedleReading | None
    other_needle: NeedleReading | None
    wind: WindWork | None

    def title(self, words: str) -> str:
        return f"{words}, {self.stretch.label[0].lower()}{self.stretch.label[1:]}"


#: A row in the making: its head, its unit, and how the cell of one lap is made.
Recipe = tuple[str, str, Callable[[LapColumn], Number]]


def groups(debrief: Debrief) -> tuple[tuple[str, list[Recipe]], ...]:
    """The rows under their headings."""
    return (
        ("Timing", _timing(debrief)),
        ("Course and drift", _course()),
        ("Height and speed", _height_and_speed()),
        ("Turns", _turns()),
    )


def _missing(column: LapColumn, words: str, why: str = "the lap was not measured") -> Number:
    return traced(column.title(words), Measurement(None, why=why), stretch=column.stretch.key)


def _timing(debrief: Debrief) -> list[Recipe]:
    rows: list[Recipe] = [
        ("Outbound time", "s", _outbound),
        ("Inbound time", "s", _inbound),
        ("Inbound time off target", "s", _inbound_error),
        ("Next outbound asked for", "s", _asked),
        ("Next outbound flown", "s", _flown_next),
    ]
    if debrief.hold.leg.nm is not None:
        rows = [("Turn back inbound, from the fix", "NM", _leg_length), *rows[:2]]
    return [*rows, ("Fix to start of turn", "s", _fix_to_turn)]


def _outbound(column: LapColumn) -> Number:
    words = "Outbound time"
    measures = column.measures
    if measures is None:
        return _missing(column, words)
    by = measures.outbound_start_by
    story = (
        f"Abeam {moment_words(column.lap.abeam)}.",
        f"Wings level outbound {moment_words(column.lap.outbound_turn_end)}.",
        f"Turn inbound begins {moment_words(column.lap.outbound_end)}.",
    )
    return traced(
        column.title(words),
        measures.outbound_s,
        places=1,
        under=REFERENCES.get(by or "", ""),
        story=story,
        stretch=column.stretch.key,
        at_s=measures.outbound_start_epoch_s,
    )


def _inbound(column: LapColumn) -> Number:
    words = "Inbound time"
    measures, lap = column.measures, column.lap
    if measures is None:
        return _missing(column, words)
    by = {"course": "crossed the course", "rollout": "rolled out"}.get(lap.inbound_start_by or "", "")
    story = [f"Inbound starts {moment_words(lap.inbound_start)}: {by or 'not told'}."]
    story.append(
        f"Course crossed {moment_words(lap.course_crossed)}; wings level {moment_words(lap.inbound_turn_end)}."
    )
    story.append(f"Over the fix {moment_words(lap.end)}.")
    if lap.near_tie:
        story.append("Crossing the course and rolling out on it lie too close to tell apart: the error covers both.")
    if measures.target_inbound_s is not None:
        story.append(f"It should last {measures.target_inbound_s:.0f} s.")
    number = traced(
        column.title(words),
        measures.inbound_s,
        places=1,
        under=by + (" (near tie)" if lap.near_tie else ""),
        story=story,
        stretch=column.stretch.key,
        at_s=lap.inbound_start.epoch_s if lap.inbound_start else None,
    )
    return graded(number, column.items.get("inbound_time"))


def _inbound_error(column: LapColumn) -> Number:
    measures = column.measures
    words = "Inbound time off target"
    if measures is None or measures.target_inbound_s is None:
        return _missing(column, words, "the leg of this hold is not given in minutes")
    value = measures.inbound_s.value
    off = None if value is None else value - measures.target_inbound_s
    measured = replace(measures.inbound_s, value=off, how="inbound time minus what it should last")
    return traced(column.title(words), measured, places=1, signed=True, stretch=column.stretch.key)


def _asked(column: LapColumn) -> Number:
    words = "Next outbound asked for"
    each = column.correction
    if each is None or each.asked_equal_seconds_s is None:
        return _missing(column, words, "no outbound and inbound time of this lap to go by")
    story = [
        "Equal seconds (common practice): this outbound plus what the inbound was short, or less what it was long."
    ]
    if each.asked_ratio_s is not None:
        story.append(f"Scaled by the ground speeds: {each.asked_ratio_s:.0f} s.")
    if each.asked_solved_s is not None:
        story.append(f"The lap solved for the wind: {each.asked_solved_s:.0f} s.")
    return traced(
        column.title(words),
        Measurement(each.asked_equal_seconds_s, None, "s"),
        under="" if each.asked_solved_s is None else f"solved lap {each.asked_solved_s:.0f}",
        story=story,
        stretch=column.stretch.key,
    )


def _flown_next(column: LapColumn) -> Number:
    words = "Next outbound flown"
    each = column.correction
    if each is None or each.flown_next_s is None:
        why = "this is the last lap" if each is not None and each.judged == "last lap" else "no next outbound time"
        return _missing(column, words, why)
    change = "" if each.change_s is None else f"Changed by {figure(each.change_s, 0, signed=True)} s."
    return traced(
        column.title(words),
        Measurement(each.flown_next_s, None, "s", how=f"judged: {each.judged}"),
        under=each.judged,
        story=[change] if change else [],
        stretch=column.stretch.key,
    )


def _leg_length(column: LapColumn) -> Number:
    words = "Turn back inbound, from the fix"
    measures = column.measures
    if measures is None:
        return _missing(column, words)
    number = traced(column.title(words), measures.outbound_end_nm, places=2, stretch=column.stretch.key)
    return graded(number, column.items.get("leg_length"))


def _fix_to_turn(column: LapColumn) -> Number:
    words = "Fix to start of turn"
    if column.measures is None:
        return _missing(column, words)
    number = traced(
        column.title(words),
        column.measures.fix_to_turn_s,
        places=1,
        signed=True,
        story=(
            f"Over the fix {moment_words(column.lap.start)}.",
            f"Turn starts {moment_words(column.lap.outbound_turn_start)}.",
        ),
        stretch=column.stretch.key,
        at_s=column.lap.start.epoch_s,
    )
    return graded(number, column.items.get("fix_recognition"))


def _course() -> list[Recipe]:
    return [
        ("Largest needle", "of full scale", lambda column: _needle(column, column.own_needle)),
        ("The same leg on the other needle", "of full scale", lambda column: _needle(column, column.other_needle)),
        ("Rolled out off the course", "NM", _rollout),
        ("Largest cross-track inbound", "NM", _cross_track),
        ("Beyond the course, non-holding side", "NM", _non_holding),
        ("Correction held inbound", "°", _inbound_wca),
        ("Correction laid off outbound", "°", _outbound_wca),
    ]


def _needle(column: LapColumn, reading: NeedleReading | None) -> Number:
    own = reading is None or reading.own
    words = "Largest needle inbound" if own else "The same leg on the other needle"
    item = column.items.get("course") if own else None
    if reading is None or reading.largest is None:
        why = reading.why if reading is not None else ""
        if item is not None and item.value is not None:
            return item_number(item, column.title(words), places=2, stretch=column.stretch.key, signed=False)
        return graded(_missing(column, words, why or "no inbound leg to read it on"), item)
    story = [sentence(f"{reading.label}; aircraft {reading.side or 'on neither side'} of the course at the largest")]
    if reading.typical is not None:
        story.append(f"Typically {figure(reading.typical, 2)} of full scale.")
    if reading.share_within_three_quarters is not None:
        story.append(f"Inside three quarters for {reading.share_within_three_quarters:.0%} of the leg.")
    number = traced(
        column.title(f"{words} ({reading.label})"),
        Measurement(reading.largest, reading.largest_sd, "of full scale", how="largest deflection of the inbound leg"),
        places=2,
        under=(reading.side or "") if own else f"{reading.kind.upper()} {reading.full_scale:g}{_unit(reading.unit)}",
        story=story,
        stretch=column.stretch.key,
        at_s=reading.largest_epoch_s,
    )
    return graded(number, item)


def _unit(unit: str) -> str:
    return "°" if unit == "deg" else f" {unit}"


def _rollout(column: LapColumn) -> Number:
    words = "Rolled out off the course"
    if column.measures is None:
        return _missing(column, words)
    measured = column.measures.rollout_cross_nm
    under = "" if measured.value is None else "inside" if measured.value >= 0 else "outside"
    return traced(
        column.title(words),
        measured,
        places=2,
        signed=True,
        under=under,
        story=("Plus is the holding side of the course, minus is beyond it.",),
        stretch=column.stretch.key,
        at_s=column.lap.inbound_turn_end.epoch_s if column.lap.inbound_turn_end else None,
    )


def _cross_track(column: LapColumn) -> Number:
    words = "Largest cross-track inbound"
    if column.measures is None:
        return _missing(column, words)
    return traced(column.title(words), column.measures.max_cross_track_nm, places=2, stretch=column.stretch.key)


def _non_holding(column: LapColumn) -> Number:
    words = "Beyond the course, non-holding side"
    if column.measures is None:
        return _missing(column, words)
    number = traced(column.title(words), column.measures.non_holding_side_nm, places=2, stretch=column.stretch.key)
    return graded(number, column.items.get("non_holding_side"))


def _inbound_wca(column: LapColumn) -> Number:
    words = "Correction held inbound"
    if column.wind is None:
        return _missing(column, words, "heading or drift is not known")
    return traced(
        column.title(words),
        column.wind.inbound_correction_deg,
        signed=True,
        story=("Heading minus track, right positive.",),
        stretch=column.stretch.key,
    )


def _outbound_wca(column: LapColumn) -> Number:
    words = "Correction laid off outbound"
    if column.wind is None:
        return _missing(column, words, "heading or drift is not known")
    wind = column.wind
    story = ["Heading minus outbound course, right positive."]
    if wind.multiple is not None:
        story.append(f"{figure(wind.multiple, 1)} times the inbound correction.")
    if wind.triple_correction_deg is not None:
        story.append(f"Triple drift (AIM 5-3-8) asks for {figure(wind.triple_correction_deg, 0, signed=True)}°.")
    if wind.solved_correction_deg is not None:
        story.append(f"The lap solved for the wind asks for {figure(wind.solved_correction_deg, 0, signed=True)}°.")
    if wind.sentence:
        story.append(sentence(wind.sentence))
    under = "" if wind.solved_correction_deg is None else f"asked {figure(wind.solved_correction_deg, 0, signed=True)}"
    number = traced(
        column.title(words),
        wind.outbound_correction_deg,
        signed=True,
        under=under,
        story=story,
        stretch=column.stretch.key,
    )
    return graded(number, column.items.get("outbound_heading"))


def _height_and_speed() -> list[Recipe]:
    return [
        ("Altitude, furthest off", "ft", _altitude),
        ("Airspeed, furthest off", "kt", _airspeed),
        ("Ground speed outbound", "kt", _gs_out),
        ("Ground speed inbound", "kt", _gs_in),
    ]


def _altitude(column: LapColumn) -> Number:
    number = item_number(
        column.items.get("altitude"), column.title("Altitude, furthest off"), places=0, stretch=column.stretch.key
    )
    measures = column.measures
    if measures is None or measures.altitude_low_ft is None or measures.altitude_high_ft is None:
        return number
    spread = f"{figure(measures.altitude_low_ft)} to {figure(measures.altitude_high_ft)}"
    return replace(number, under=spread, story=(*number.story, f"The lap lay between {spread} ft."))


def _airspeed(column: LapColumn) -> Number:
    number = item_number(
        column.items.get("airspeed"), column.title("Airspeed, furthest off"), places=0, stretch=column.stretch.key
    )
    measures = column.measures
    if measures is None or measures.ias_low_kt is None or measures.ias_high_kt is None:
        return number
    spread = f"{figure(measures.ias_low_kt)} to {figure(measures.ias_high_kt)}"
    return replace(number, under=spread, story=(*number.story, f"The lap lay between {spread} KIAS."))


def _gs_out(column: LapColumn) -> Number:
    words = "Ground speed outbound"
    if column.measures is None:
        return _missing(column, words)
    return traced(column.title(words), column.measures.groundspeed_outbound_kt, stretch=column.stretch.key)


def _gs_in(column: LapColumn) -> Number:
    words = "Ground speed inbound"
    if column.measures is None:
        return _missing(column, words)
    return traced(column.title(words), column.measures.groundspeed_inbound_kt, stretch=column.stretch.key)


def _turns() -> list[Recipe]:
    def rate(which: str) -> Callable[[LapColumn], Number]:
        return lambda column: _turn_rate(column, which)

    def lost(which: str) -> Callable[[LapColumn], Number]:
        return lambda column: _turn_altitude(column, which)

    return [
        ("Rate, turn at the fix", "°/s", rate("fix")),
        ("Rate, turn inbound", "°/s", rate("inbound")),
        ("Height lost, turn at the fix", "ft", lost("fix")),
        ("Height lost, turn inbound", "ft", lost("inbound")),
    ]


def _turn_of(column: LapColumn, which: str) -> TurnMeasures | None:
    if column.measures is None:
        return None
    return column.measures.fix_turn if which == "fix" else column.measures.inbound_turn


def _where(which: str) -> str:
    return "turn at the fix" if which == "fix" else "turn inbound"


def _turn_rate(column: LapColumn, which: str) -> Number:
    words = f"Rate, {_where(which)}"
    turn = _turn_of(column, which)
    if turn is None:
        return _missing(column, words, "this turn was not told from the track")
    story = []
    if turn.due_rate_deg_s is not None:
        story.append(f"Due at this airspeed: {turn.due_rate_deg_s:.1f}°/s.")
    if turn.bank_deg.value is not None:
        story.append(
            f"Bank {turn.bank_deg.value:.0f}°" + (f", due {turn.due_bank_deg:.0f}°." if turn.due_bank_deg else ".")
        )
    if turn.rate_spread_deg_s.value is not None:
        story.append(f"Unevenness of the rate: {turn.rate_spread_deg_s.value:.1f}°/s.")
    return traced(
        column.title(words),
        turn.rate_deg_s,
        places=1,
        story=story,
        stretch=column.stretch.key,
        at_s=turn.start_epoch_s,
    )


def _turn_altitude(column: LapColumn, which: str) -> Number:
    words = f"Height lost, {_where(which)}"
    turn = _turn_of(column, which)
    if turn is None:
        return _missing(column, words, "this turn was not told from the track")
    return traced(column.title(words), turn.altitude_lost_ft, stretch=column.stretch.key, at_s=turn.start_epoch_s)
