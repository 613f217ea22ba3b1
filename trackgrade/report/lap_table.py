"""The lap table: laps side by side as they were flown, one row a quantity, every cell traceable."""

from __future__ import annotations

from dataclasses import dataclass, replace

from trackgrade.report.lap_rows import Cell, groups
from trackgrade.report.numbers import DASH, Number
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.score.lap import GradedLap

#: Most laps side by side: what fits across a sheet of paper.
MOST_LAPS = 12
#: Rows shown even where no lap has a value: that they are missing is worth knowing.
ALWAYS = ("Outbound time", "Inbound time", "Largest needle", "Altitude, furthest off", "Airspeed, furthest off")


@dataclass(frozen=True)
class Row:
    """One quantity over the laps, in the order of the table's heads."""

    head: str
    unit: str
    cells: tuple[Number, ...]


@dataclass(frozen=True)
class RowGroup:
    """Rows that belong together, under a heading of their own."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class LapTable:
    """``heads`` are the laps (label, stretch key, line style); every row has a cell for each."""

    heads: tuple[Stretch, ...]
    groups: tuple[RowGroup, ...]


def lap_tables(debrief: Debrief, timeline: Timeline) -> tuple[LapTable, ...]:
    """The completed laps, in one table or, where they are too many for a page, in several alike; none without laps."""
    laps = timeline.graded
    tables = -(-len(laps) // MOST_LAPS)
    size = -(-len(laps) // tables) if tables else 0
    return tuple(_table(debrief, laps[k * size : (k + 1) * size]) for k in range(tables))


def _table(debrief: Debrief, laps: tuple[tuple[Stretch, GradedLap], ...]) -> LapTable:
    out = []
    for g, (title, recipes) in enumerate(groups(debrief)):
        rows = []
        for r, (head, unit, made) in enumerate(recipes):
            cells = tuple(
                replace(made(Cell(stretch, lap, head)), key=f"n-{stretch.key}-{g}{r:02d}") for stretch, lap in laps
            )
            if head in ALWAYS or any(each.text != DASH or each.result for each in cells):
                rows.append(Row(head, unit, cells))
        if rows:
            out.append(RowGroup(title, tuple(rows)))
    return LapTable(tuple(stretch for stretch, _ in laps), tuple(out))
