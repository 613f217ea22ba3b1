"""The instructor's view: pilots side by side, where they differ, who needs work first. Pure."""

from __future__ import annotations

import hashlib
import math
import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from trackgrade.logbook.history import ClassHistory, PilotTotal, SameHold
from trackgrade.logbook.rows import CEILINGS, HoldFlown
from trackgrade.logbook.shares import Share, share
from trackgrade.logbook.standing import Standing, standings

Sorting = Literal["work", "name", "laps"]
SORTINGS: tuple[Sorting, ...] = ("work", "name", "laps")

#: A wind this far from the class's median one (vector difference, kt) makes a flight hard to compare.
OTHER_WIND_KT = 8.0


@dataclass(frozen=True)
class Cell:
    """One pilot at one item, over the last sessions: share, and the median size of the error."""

    share: Share
    median_size: float | None


@dataclass(frozen=True)
class PilotRow:
    """One pilot's line. ``standing``: beside the others on equal terms, None without a judged lap. ``weakest``: a
    title.
    """

    pilot: str
    total: PilotTotal
    laps: Share
    cells: tuple[Cell | None, ...]
    standing: Standing | None
    weakest: str | None


@dataclass(frozen=True)
class ItemColumn:
    """One item over the class: pooled share (pilots as the units of its interval)."""

    item: str
    title: str
    unit: str
    limit: float | None
    share: Share


@dataclass(frozen=True)
class EqualFooting:
    """One pilot's latest flight at the shared hold. ``other_wind``: too far from the class's to compare."""

    pilot: str
    flown: HoldFlown
    flights: int
    share: Share
    other_wind: bool


@dataclass(frozen=True)
class Comparison:
    """The hold that was flown by most, with the class's median wind (components along and across)."""

    hold: SameHold
    rows: tuple[EqualFooting, ...]
    wind_head_kt: float | None
    wind_cross_kt: float | None


@dataclass(frozen=True)
class ClassView:
    """Everything the page and the terminal show. ``columns`` hardest item first."""

    standard: str
    title: str
    sorting: Sorting
    rows: tuple[PilotRow, ...]
    columns: tuple[ItemColumn, ...]
    laps: Share
    hardest: ItemColumn | None
    comparison: Comparison | None
    other_holds: tuple[tuple[str, int], ...]
    other_standards: tuple[tuple[str, int], ...]
    names_hidden: bool


def class_view(history: ClassHistory, *, sorting: Sorting = "work", hide_names: bool = False) -> ClassView:
    """The view of a class; with ``hide_names`` no name of a pilot, an instructor or a note is left in it."""
    titles = _items_in_order(history.pilots)
    columns = tuple(sorted((_column(history.pilots, item) for item in titles), key=_hardest_first))
    standing = standings(history.flown)
    rows = [_row(each, columns, standing.get(each.pilot)) for each in history.pilots]
    rows.sort(key=_order(sorting))
    known = [column for column in columns if column.share.value is not None]
    view = ClassView(
        standard=history.standard,
        title=history.title,
        sorting=sorting,
        rows=tuple(rows),
        columns=columns,
        laps=_pooled([each.recent for each in history.pilots]),
        hardest=known[0] if known else None,
        comparison=_comparison(history.same_hold) if history.same_hold else None,
        other_holds=history.other_holds,
        other_standards=history.other_standards,
        names_hidden=hide_names,
    )
    return _without_names(view) if hide_names else view


def _order(sorting: Sorting) -> Callable[[PilotRow], tuple[float, str]]:
    if sorting == "name":
        return lambda row: (0.0, row.pilot.casefold())
    if sorting == "laps":
        return lambda row: (-row.total.laps, row.pilot.casefold())
    return lambda row: (-_need(row), row.pilot.casefold())


def _need(row: PilotRow) -> float:
    """How likely a pilot is among the lowest third; where no thirds are told, how often outside."""
    if row.standing is None:
        return -1.0
    return 1.0 - row.standing.value if row.standing.lowest_third is None else row.standing.lowest_third


def _hardest_first(column: ItemColumn) -> tuple[float, int]:
    return (2.0 if column.share.value is None else column.share.value, -column.share.judged)


def _items_in_order(pilots: Sequence[PilotTotal]) -> list[str]:
    order: dict[str, None] = {}
    for pilot in sorted(pilots, key=lambda each: -len(each.items)):
        for total in pilot.items:
            order.setdefault(total.item)
    return list(order)


def _column(pilots: Sequence[PilotTotal], item: str) -> ItemColumn:
    own = [total for pilot in pilots for total in pilot.items if total.item == item]
    return ItemColumn(
        item=item,
        title=own[0].title,
        unit=own[0].unit,
        limit=next((total.limit for total in own if total.limit is not None), None),
        share=_pooled([total.recent for total in own]),
    )


def _pooled(shares: Sequence[Share]) -> Share:
    """Share over the class; the pilots take the place of sessions, for a pilot's laps are alike."""
    return share([(each.judged, each.passed) for each in shares])


def _row(pilot: PilotTotal, columns: Sequence[ItemColumn], standing: Standing | None) -> PilotRow:
    by_item = {total.item: total for total in pilot.items}
    cells: list[Cell | None] = []
    for column in columns:
        total = by_item.get(column.item)
        measured = total is not None and total.recent.judged > 0
        size = None if total is None or total.item in CEILINGS else total.median_size
        cells.append(Cell(total.recent, size) if total and measured else None)
    known = [(cell.share.value, n) for n, cell in enumerate(cells) if cell is not None and cell.share.value is not None]
    worst = min(known, default=None)
    return PilotRow(
        pilot=pilot.pilot,
        total=pilot,
        laps=pilot.recent,
        cells=tuple(cells),
        standing=standing,
        weakest=columns[worst[1]].title if worst is not None and worst[0] < 1.0 else None,
    )


def _comparison(hold: SameHold) -> Comparison:
    winds = [
        (flown.wind_head_kt, flown.wind_cross_kt)
        for _, flown, _ in hold.pilots
        if flown.wind_head_kt is not None and flown.wind_cross_kt is not None
    ]
    head = statistics.median(each[0] for each in winds) if winds else None
    cross = statistics.median(each[1] for each in winds) if winds else None
    rows = []
    for pilot, flown, flights in hold.pilots:
        away = math.inf
        if (
            head is not None
            and cross is not None
            and flown.wind_head_kt is not None
            and flown.wind_cross_kt is not None
        ):
            away = math.hypot(flown.wind_head_kt - head, flown.wind_cross_kt - cross)
        rows.append(
            EqualFooting(
                pilot=pilot,
                flown=flown,
                flights=flights,
                share=share([(flown.laps_judged, flown.laps_within)]),
                other_wind=away > OTHER_WIND_KT,
            )
        )
    rows.sort(key=lambda row: (row.other_wind, row.pilot.casefold()))
    return Comparison(hold=hold, rows=tuple(rows), wind_head_kt=head, wind_cross_kt=cross)


def aliases(pilots: Iterable[str]) -> dict[str, str]:
    """Pilots numbered by a hash of their names: it says nothing of how anyone flies, and stays with the class."""
    hashed = sorted(pilots, key=lambda name: hashlib.sha256(name.casefold().encode()).digest())
    return {name: f"Pilot {number}" for number, name in enumerate(hashed, start=1)}


def _without_names(view: ClassView) -> ClassView:
    alias = aliases(row.pilot for row in view.rows)
    rows = tuple(
        replace(row, pilot=alias[row.pilot], total=replace(row.total, pilot=alias[row.pilot])) for row in view.rows
    )
    comparison = view.comparison
    if comparison is not None:
        kept = tuple(
            replace(row, pilot=alias[row.pilot], flown=replace(row.flown, instructor=None, note=None, report=None))
            for row in comparison.rows
        )
        hold = replace(comparison.hold, pilots=())
        comparison = replace(comparison, rows=kept, hold=hold)
    return replace(view, rows=rows, comparison=comparison)
