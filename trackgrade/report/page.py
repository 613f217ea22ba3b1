"""The debrief as one self-contained HTML page.

`render` is the whole edge: a debrief in, text out, no file and no clock. The page carries its style, its script and
its data; a content policy in its head lets nothing else run or load, so a name from a file stays a name.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from trackgrade.drawing import frame
from trackgrade.report import evidence, plan_view, strips, summary
from trackgrade.report.compare import RULES, compare, flight_laps
from trackgrade.report.evidence import EntryStory, ItemRow
from trackgrade.report.flight_data import flight_data
from trackgrade.report.numbers import RESULT_SIGNS, Number, share_words
from trackgrade.report.plan import EVENT_SIGNS, plan_of
from trackgrade.report.plan_view import line_style, sign
from trackgrade.report.summary import NOTHING_ADDED, Sheet, short_laps, short_units
from trackgrade.report.tables import LapTable, lap_tables, side_tables
from trackgrade.report.timeline import lay_out
from trackgrade.score.debrief import Debrief
from trackgrade.score.needles import own_and_other
from trackgrade.score.sentences import sentence_of


def render(debrief: Debrief, sheet: Sheet = NOTHING_ADDED) -> str:
    """One HTML document. The same debrief, and ``sheet`` of the instructor, gives the same text."""
    made = context(debrief, sheet)
    return frame.render("report", "page.html", made, styles=("page.css",), rules=RULES, script="page.js")


def signed(page: str, sheet: Sheet) -> str:
    """A report as `render` gave it, with another ``sheet`` of the instructor."""
    before, found, rest = page.partition('<div class="signed">')
    _, end, after = rest.partition("</section>")
    filled_in = frame.environment("report").get_template("signed.html").render(sheet=sheet)
    return before + filled_in + end + after if found else page


def context(debrief: Debrief, sheet: Sheet = NOTHING_ADDED) -> dict[str, object]:
    """Everything the page's template gets, worded and drawn, in the order of the page: nothing else reaches it."""
    timeline = lay_out(debrief)
    needles = own_and_other(debrief.needles)
    plan = plan_of(debrief, timeline)
    drawn = plan_view.draw(plan)
    tables = lap_tables(debrief, timeline)
    entries = list(evidence.entries(debrief))
    item_rows = list(evidence.item_rows(debrief))
    return {
        "debrief": debrief,
        "sheet": sheet,
        "hold_facts": summary.hold_facts(debrief),
        "flight_facts": summary.flight_facts(debrief),
        "short_laps": list(short_laps(timeline)),
        "short_units": short_units(debrief),
        "work_on": [summary.point(debrief, timeline, each) for each in debrief.work_on],
        "praise": [summary.point(debrief, timeline, each) for each in debrief.praise],
        "next_lap": list(summary.next_lap(debrief)),
        "next_lap_words": summary.next_lap_words(debrief),
        "tables": tables,
        "result_signs": RESULT_SIGNS,
        "not_completed": list(summary.not_completed(timeline)),
        "seen_instead": [sentence_of(each) for each in debrief.flown.seen_instead],
        "watch": summary.watch(debrief),
        "stretches": timeline.stretches,
        "line_styles": {each.key: line_style(each) for each in timeline.stretches},
        "plan": drawn,
        "signs": [(sign(shape), words) for shape, words in EVENT_SIGNS],
        "corridor_words": share_words(debrief.standard.needle_share),
        "needles": [each.needle for each in needles],
        "strips": [
            (each, each.scale.drawn(strips.HEIGHT_PX), strips.draw(each, debrief, timeline))
            for each in strips.strips(debrief, timeline, needles)
        ],
        "heads": strips.lap_heads(timeline),
        "time_words": strips.time_axis(timeline),
        "comparison": compare((flight_laps(debrief, plan),)),
        "entries": entries,
        "side_tables": side_tables(debrief, timeline),
        "wind_facts": list(evidence.wind_facts(debrief)),
        "item_rows": item_rows,
        "methods": evidence.methods(debrief),
        "dropped": list(evidence.dropped(debrief)),
        "holes": list(evidence.holes(debrief)),
        "estimated": evidence.estimated(debrief),
        "notes": list(evidence.notes(debrief)),
        "marks": list(evidence.marks(debrief)),
        "identity": evidence.identity(debrief),
        "numbers": list(_numbers(tables, entries, item_rows)),
        "flight": flight_data(debrief, timeline, drawn.views, needles),
    }


def _numbers(
    tables: Iterable[LapTable], entries: Iterable[EntryStory], item_rows: Iterable[ItemRow]
) -> Iterator[Number]:
    """Every traced number, for the notes at the end of the page."""
    for table in tables:
        yield from (cell for _, rows in table.groups for _, _, cells in rows for cell in cells)
    for entry in entries:
        yield from (number for _, _, number in entry.numbers)
    yield from (row.value for row in item_rows)
