"""A brief on a terminal: one screen of 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator

from trackgrade.briefing import clearance, words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.leaving import clock
from trackgrade.briefing.receivers import dme_reading

WIDTH = 80


def lines(brief: Brief) -> Iterator[tuple[str, bool]]:
    """Lines and whether each is a heading."""
    hold = brief.hold
    yield from _heading(f"{hold.name}: {words.pattern(brief)}")
    yield from _wrapped(words.courses(brief))
    for note in words.notes(brief):
        yield from _wrapped(note)
    yield from _wrapped(words.course_to_set(brief))
    yield from _wrapped(words.air(brief))
    yield from _wrapped(words.slow_down(brief))
    for warning in words.warnings(brief):
        yield from _wrapped(f"! {warning}")
    if brief.entries:
        yield from _heading(words.entry_headline(brief))
        for told in brief.entries:
            yield from _wrapped(words.entry(brief, told))
    if not math.isnan(brief.solved.lap_s):
        yield from _heading("The laps")
        yield from _laps(brief)
        yield from _wrapped(words.drift(brief))
        yield from _wrapped(f"{words.turns(brief)}. {words.by_distance(brief)}")
    if dme_reading(brief):
        yield from _wrapped(dme_reading(brief))
    for text in words.correction(brief):
        yield from _wrapped(text)
    if brief.leaving is not None:
        yield from _heading(words.leaving_headline(brief.leaving))
        yield from _leaving(brief)
    yield from _wrapped(f"Read back: {clearance.in_one_line(brief)}")


def _laps(brief: Brief) -> Iterator[tuple[str, bool]]:
    lap = brief.solved
    yield _row("", "heading", "outbound", "inbound", "rolls out"), False
    heading = words.heading(brief, lap.outbound_heading_true_deg)
    yield _row("solved", heading, clock(lap.outbound_s), clock(lap.inbound_s), words.solved_note(brief)), False
    for number, rule in enumerate(brief.rule_laps, 1):
        heading = words.heading(brief, rule.outbound_heading_true_deg)
        yield (
            _row(
                words.rule_name(brief, number),
                heading,
                clock(rule.outbound_s),
                words.inbound_of(rule),
                words.rollout(rule),
            ),
            False,
        )


def _row(label: str, heading: str, outbound: str, inbound: str, note: str) -> str:
    return f"  {label:20}{heading:>8}{outbound:>10}{inbound:>9}  {note}"


def _leaving(brief: Brief) -> Iterator[tuple[str, bool]]:
    plan = brief.leaving
    assert plan is not None
    for lap in plan.laps:
        ends = words.at(lap.start_epoch_s + lap.lap.lap_s)
        kind = "normal lap" if lap.normal else words.lap_in_short(brief, lap.lap)
        yield f"  {words.at(lap.start_epoch_s)} to {ends}  {kind}", False
    if plan.why:
        yield from _wrapped(plan.why)
    if not plan.laps:
        yield from _wrapped(words.leaving_limits(plan))


def _heading(text: str) -> Iterator[tuple[str, bool]]:
    for line in textwrap.wrap(text, WIDTH, subsequent_indent="  "):
        yield line, True


def _wrapped(text: str) -> Iterator[tuple[str, bool]]:
    for line in textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    "):
        yield line, False
