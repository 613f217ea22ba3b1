"""A brief on a terminal: one screen of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from trackgrade.briefing import words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.leaving import LeavingPlan
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
    if laps := words.lap_rows(brief):
        yield from _heading("The laps")
        yield _row("", "heading", "outbound", "inbound", "rolls out"), False
        for lap in laps:
            yield _row(lap.name, lap.heading, lap.outbound, lap.inbound, lap.note), False
        yield from _wrapped(words.drift(brief))
        yield from _wrapped(f"{words.turns(brief)}. {words.by_distance(brief)}")
    if dme_reading(brief):
        yield from _wrapped(dme_reading(brief))
    for text in words.correction(brief):
        yield from _wrapped(text)
    if brief.leaving is not None:
        yield from _heading(words.leaving_headline(brief.leaving))
        yield from _leaving(brief, brief.leaving)
    yield from _wrapped(f"Read back: {words.in_one_line(brief)}")


def _row(label: str, heading: str, outbound: str, inbound: str, note: str) -> str:
    return f"  {label:20}{heading:>8}{outbound:>10}{inbound:>9}  {note}"


def _leaving(brief: Brief, plan: LeavingPlan) -> Iterator[tuple[str, bool]]:
    for when, what in words.planned_laps(brief, plan):
        yield f"  {when}  {what}", False
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
