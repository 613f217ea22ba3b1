"""The tables: laps side by side, every cell traceable; where the watch was started; each inbound leg on each needle."""

from __future__ import annotations

from typing import NamedTuple

from trackgrade.report.lap_rows import Cell, groups
from trackgrade.report.numbers import DASH, Number, figure
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.score.lap import GradedLap, NeedleReading

#: Most laps side by side: what fits across a sheet of paper.
MOST_LAPS = 12
#: Rows shown even where no lap has a value: that they are missing is worth knowing.
ALWAYS = ("Outbound time", "Inbound time", "Largest needle", "Altitude, furthest off", "Airspeed, furthest off")


#: One quantity over the laps: its head, its unit, and a cell for each lap.
Row = tuple[str, str, tuple[Number, ...]]


class LapTable(NamedTuple):
    """``heads`` are the laps in the order flown; ``groups`` rows that belong together, under a heading of their own."""

    heads: tuple[Stretch, ...]
    groups: tuple[tuple[str, tuple[Row, ...]], ...]


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
            cells = tuple(made(Cell(stretch, lap, head, f"n-{stretch.key}-{g}{r:02d}")) for stretch, lap in laps)
            if head in ALWAYS or any(each.text != DASH or each.result for each in cells):
                rows.append((head, unit, cells))
        if rows:
            out.append((title, tuple(rows)))
    return LapTable(tuple(stretch for stretch, _ in laps), tuple(out))


class SideTable(NamedTuple):
    """``heads`` over the columns, ``rows`` of (row head, cells); ``note`` says what the numbers are."""

    title: str
    note: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


def side_tables(debrief: Debrief, timeline: Timeline) -> tuple[SideTable, ...]:
    """The tables that this flight has something for."""
    return tuple(each for each in (_watch(debrief, timeline), _needles(debrief, timeline)) if each is not None)


def _watch(debrief: Debrief, timeline: Timeline) -> SideTable | None:
    watch = debrief.watch
    if watch is None or not watch.references:
        return None
    references = watch.references
    rows = []
    for stretch, lap in timeline.graded:
        seconds = [lap.outbound_times.of(each.reference).value for each in references]
        rows.append((stretch.label, tuple(DASH if value is None else figure(value, 1) for value in seconds)))
    rows += [
        ("Scatter", tuple(figure(each.scatter_s, 1) for each in references)),
        ("Unexplained", tuple(figure(each.unexplained_s, 1) for each in references)),
        ("Share", tuple(f"{each.probability:.0%}" for each in references)),
    ]
    return SideTable(
        title="Outbound time from each place a watch may be started",
        note="Seconds. Scatter is the standard deviation over the laps; unexplained is what is left of it after the "
        "changes that the inbound times asked for. The share says how likely the watch was started there, of these.",
        heads=tuple(each.title[0].upper() + each.title[1:] for each in references),
        rows=tuple(rows),
    )


def _needles(debrief: Debrief, timeline: Timeline) -> SideTable | None:
    if not debrief.laps:
        return None
    needles = debrief.laps[0].needles
    rows = [(stretch.label, tuple(_largest(each) for each in lap.needles)) for stretch, lap in timeline.graded]
    return SideTable(
        title="Each inbound leg on each needle",
        note="Largest deflection as a share of full scale, left (L) or right (R) of the course; 1 and more is pegged. "
        "Read from the capture of the course to the fix, or to half a mile from a VOR.",
        heads=tuple(each.label[0].upper() + each.label[1:] + (" (this hold)" if each.own else "") for each in needles),
        rows=tuple(rows),
    )


def _largest(reading: NeedleReading) -> str:
    if reading.largest is None:
        return DASH
    return f"{figure(reading.largest, 2)} {(reading.side or '')[:1].upper()}".rstrip()
