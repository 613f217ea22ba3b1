"""Everything the page's template gets, as one documented dataclass: nothing else reaches the template."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from trackgrade.report import evidence, summary
from trackgrade.report.compare import Comparison, compare, flight_laps
from trackgrade.report.evidence import EntryStory, ItemRow
from trackgrade.report.flight_data import flight_data
from trackgrade.report.front import Sheet, ShortLap, short_laps, short_units
from trackgrade.report.lap_table import LapTable, lap_tables
from trackgrade.report.limits import corridor_share, share_words
from trackgrade.report.methods import Method, methods
from trackgrade.report.needles import needle_lines
from trackgrade.report.numbers import RESULT_SIGNS, Number, sentence
from trackgrade.report.plan_marks import EVENT_SIGNS, line_style, sign
from trackgrade.report.plan_view import PlanView
from trackgrade.report.plan_view import draw as draw_plan
from trackgrade.report.side_tables import SideTable, side_tables
from trackgrade.report.strips import DrawnStrip, lap_heads, strips, time_axis
from trackgrade.report.strips import draw as draw_strip
from trackgrade.report.summary import Fact, Point
from trackgrade.report.timeline import Stretch, lay_out
from trackgrade.score.debrief import Debrief

NOTHING_ADDED = Sheet()


@dataclass(frozen=True)
class Page:
    """The context of ``page.html``.

    Attributes
    ----------
    title : the hold's name; ``hold_facts`` the hold in short words, ``flight_facts`` the flight
    cautions : the sentences that go with every verdict
    sheet : what the instructor adds; ``short_laps`` each lap in a line, ``short_units`` what its figures are
    verdict : one sentence; ``work_on`` at most three points; ``praise`` what went well
    next_lap : the card for the next lap (may be empty), ``next_lap_words`` its sentence
    tables : the lap table, in pieces of at most twelve laps
    not_completed : laps listed and not graded, with the reason
    solved : a lap was solved for the wind
    plates : (lap, small drawing); ``watch`` where the time was started, in words
    side_tables : outbound times by reference, inbound legs by needle
    stretches : what can be chosen in the pictures; ``line_styles`` their CSS classes by key
    plan, strips, heads, time_words : the pictures
    corridor_share, corridor_words : half width of the shaded corridor, and what it is
    needles : (kind, label, own) of the two instruments
    signs : (drawing, words) of the plan view's marks
    comparison : the laps over each other, or None
    entries, wind_facts, item_rows, methods : the evidence in words and numbers
    columns : (quantity, column, unit, note) of the track file; ``dropped``, ``holes``, ``estimated``,
        ``marks`` in the log, ``notes``
    seen_instead : what was there when no hold was found
    identity : version, standard, track, fingerprint
    numbers : every traced number, for the notes at the end of the page
    result_signs : sign and word of each result, for the key
    flight : what the script reads
    """

    title: str
    hold_facts: tuple[Fact, ...]
    flight_facts: tuple[Fact, ...]
    cautions: tuple[str, ...]
    verdict: str
    sheet: Sheet
    short_laps: tuple[ShortLap, ...]
    short_units: tuple[str, str, str]
    work_on: tuple[Point, ...]
    praise: tuple[Point, ...]
    next_lap: tuple[Fact, ...]
    next_lap_words: tuple[str, ...]
    tables: tuple[LapTable, ...]
    not_completed: tuple[Fact, ...]
    solved: bool
    plates: tuple[tuple[Stretch, Markup], ...]
    watch: tuple[str, ...]
    side_tables: tuple[SideTable, ...]
    stretches: tuple[Stretch, ...]
    line_styles: dict[str, str]
    plan: PlanView
    strips: tuple[DrawnStrip, ...]
    heads: Markup
    time_words: Markup
    corridor_share: float
    corridor_words: str
    needles: tuple[tuple[str, str, bool], ...]
    signs: tuple[tuple[Markup, str], ...]
    comparison: Comparison | None
    entries: tuple[EntryStory, ...]
    wind_facts: tuple[Fact, ...]
    item_rows: tuple[ItemRow, ...]
    methods: tuple[Method, ...]
    columns: tuple[tuple[str, str, str, str], ...]
    dropped: tuple[str, ...]
    holes: tuple[str, ...]
    estimated: tuple[str, ...]
    marks: tuple[str, ...]
    notes: tuple[str, ...]
    seen_instead: tuple[str, ...]
    identity: tuple[Fact, ...]
    numbers: tuple[Number, ...]
    result_signs: tuple[tuple[str, str], ...]
    flight: dict[str, Any]


def page_of(debrief: Debrief, sheet: Sheet = NOTHING_ADDED) -> Page:
    """The context of one debrief's page; ``sheet``: what the instructor adds to its first sheet."""
    timeline = lay_out(debrief)
    needles = needle_lines(debrief)
    plan = draw_plan(debrief, timeline)
    tables = lap_tables(debrief, timeline)
    entries = tuple(evidence.entries(debrief))
    item_rows = tuple(evidence.item_rows(debrief))
    return Page(
        title=debrief.hold.name,
        hold_facts=summary.hold_facts(debrief),
        flight_facts=summary.flight_facts(debrief),
        cautions=debrief.cautions,
        verdict=debrief.verdict,
        sheet=sheet,
        short_laps=tuple(short_laps(debrief, timeline)),
        short_units=short_units(debrief),
        work_on=tuple(summary.point(debrief, timeline, each) for each in debrief.work_on),
        praise=tuple(summary.point(debrief, timeline, each) for each in debrief.praise),
        next_lap=tuple(summary.next_lap(debrief)),
        next_lap_words=summary.next_lap_words(debrief),
        tables=tables,
        not_completed=tuple(summary.not_completed(timeline)),
        solved=debrief.solved is not None,
        plates=plan.plates,
        watch=summary.watch(debrief),
        side_tables=side_tables(debrief, timeline),
        stretches=timeline.stretches,
        line_styles={each.key: line_style(each) for each in timeline.stretches},
        plan=plan,
        strips=tuple(draw_strip(each, debrief, timeline) for each in strips(debrief, timeline, needles)),
        heads=lap_heads(timeline),
        time_words=time_axis(timeline),
        corridor_share=corridor_share(debrief),
        corridor_words=share_words(corridor_share(debrief)),
        needles=tuple((each.kind, each.label, each.own) for each in needles),
        signs=tuple((sign(shape), words) for shape, words in EVENT_SIGNS),
        comparison=compare((flight_laps(debrief, timeline),)),
        entries=entries,
        wind_facts=tuple(evidence.wind_facts(debrief)),
        item_rows=item_rows,
        methods=methods(debrief),
        columns=tuple((p.quantity, p.column, p.unit, p.note) for p in debrief.track.track.provenance),
        dropped=tuple(evidence.dropped(debrief)),
        holes=tuple(evidence.holes(debrief)),
        estimated=evidence.estimated(debrief),
        marks=tuple(evidence.marks(debrief)),
        notes=tuple(evidence.notes(debrief)),
        seen_instead=tuple(sentence(each) for each in debrief.seen_instead),
        identity=evidence.identity(debrief),
        numbers=tuple(_all_numbers(tables, entries, item_rows)),
        result_signs=tuple((drawn, word) for word, drawn in RESULT_SIGNS.items()),
        flight=flight_data(debrief, timeline, plan.views, needles),
    )


def _all_numbers(
    tables: tuple[LapTable, ...], entries: tuple[EntryStory, ...], item_rows: tuple[ItemRow, ...]
) -> Iterator[Number]:
    for table in tables:
        for group in table.groups:
            for row in group.rows:
                yield from row.cells
    for entry in entries:
        yield from (number for _, _, number in entry.numbers)
    yield from (row.value for row in item_rows)
