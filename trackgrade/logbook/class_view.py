"""The instructor's view: pilots side by side, where they differ, who needs work first. Pure."""

from __future__ import annotations

import hashlib
import math
import statistics
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from trackgrade.logbook.history import ClassHistory, HoldFlown, ItemTotal, PilotTotal
from trackgrade.logbook.shares import Share, share
from trackgrade.logbook.standing import Standing, standings

#: A wind this far from the class's median one (vector difference, kt) makes a flight hard to compare.
OTHER_WIND_KT = 8.0


@dataclass(frozen=True, eq=False)
class PilotRow:
    """One pilot's line; ``cells``: items in the order of the columns, None where not measured lately.

    ``standing``: beside the others on equal terms, None without a judged lap. ``weakest``: a title.
    """

    pilot: str
    total: PilotTotal
    cells: tuple[ItemTotal | None, ...]
    standing: Standing | None
    weakest: str | None


@dataclass(frozen=True, eq=False)
class EqualFooting:
    """One pilot's latest flight at the shared hold. ``other_wind``: too far from the class's to compare."""

    pilot: str
    flown: HoldFlown
    flights: int
    share: Share
    other_wind: bool


@dataclass(frozen=True, eq=False)
class Comparison:
    """The hold that was flown by most, with the class's median wind (components along and across)."""

    rows: tuple[EqualFooting, ...]
    wind_head_kt: float | None
    wind_cross_kt: float | None


@dataclass(frozen=True, eq=False)
class ClassView:
    """Everything the page and the terminal show.

    ``columns``: items over the class, hardest first, with the pooled share (pilots as the units of its interval).
    """

    standard: str
    title: str
    sorting: str
    rows: tuple[PilotRow, ...]
    columns: tuple[ItemTotal, ...]
    laps: Share
    hardest: ItemTotal | None
    comparison: Comparison | None
    other_holds: tuple[tuple[str, int], ...]
    other_standards: tuple[tuple[str, int], ...]
    names_hidden: bool


def class_view(history: ClassHistory, *, sorting: str = "work", hide_names: bool = False) -> ClassView:
    """The view of a class, in one of `ORDERS`; ``hide_names`` leaves no name of a pilot or an instructor in it."""
    sorting = sorting if sorting in ORDERS else "work"
    titles = _items_in_order(history.pilots)
    columns = tuple(sorted((_column(history.pilots, item) for item in titles), key=_hardest_first))
    standing = standings(history.flown)
    rows = [_row(each, columns, standing.get(each.pilot)) for each in history.pilots]
    rows.sort(key=lambda row: (ORDERS[sorting](row), row.pilot.casefold()))
    known = [column for column in columns if column.recent.value is not None]
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


def _need(row: PilotRow) -> float:
    """How likely a pilot is among the lowest third; where no thirds are told, how often outside."""
    if row.standing is None:
        return -1.0
    return 1.0 - row.standing.value if row.standing.lowest_third is None else row.standing.lowest_third


#: Orders of the pilots: who needs work first, by name, most laps first. Equals are in the order of names.
ORDERS: dict[str, Callable[[PilotRow], float]] = {
    "work": lambda row: -_need(row),
    "name": lambda row: 0.0,
    "laps": lambda row: -row.total.laps,
}


def _hardest_first(column: ItemTotal) -> tuple[float, int]:
    return (2.0 if column.recent.value is None else column.recent.value, -column.recent.judged)


def _items_in_order(pilots: Sequence[PilotTotal]) -> list[str]:
    order: dict[str, None] = {}
    for pilot in sorted(pilots, key=lambda each: -len(each.items)):
        for total in pilot.items:
            order.setdefault(total.item)
    return list(order)


def _column(pilots: Sequence[PilotTotal], item: str) -> ItemTotal:
    own = [total for pilot in pilots for total in pilot.items if total.item == item]
    limit = next((total.limit for total in own if total.limit is not None), None)
    return replace(own[0], limit=limit, recent=_pooled([total.recent for total in own]), median_size=None)


def _pooled(shares: Sequence[Share]) -> Share:
    """Share over the class; the pilots take the place of sessions, for a pilot's laps are alike."""
    return share([(each.judged, each.passed) for each in shares])


def _row(pilot: PilotTotal, columns: Sequence[ItemTotal], standing: Standing | None) -> PilotRow:
    measured = {total.item: total for total in pilot.items if total.recent.judged}
    cells = tuple(measured.get(column.item) for column in columns)
    shares = [(cell.recent.value, n) for n, cell in enumerate(cells) if cell and cell.recent.value is not None]
    worst, n = min(shares, default=(1.0, 0))
    return PilotRow(pilot.pilot, pilot, cells, standing, columns[n].title if worst < 1.0 else None)


def _comparison(pilots: Sequence[tuple[str, HoldFlown, int]]) -> Comparison:
    winds = {
        pilot: (flown.wind_head_kt, flown.wind_cross_kt)
        for pilot, flown, _ in pilots
        if flown.wind_head_kt is not None and flown.wind_cross_kt is not None
    }
    middle = [statistics.median(each) for each in zip(*winds.values())]
    rows = []
    for pilot, flown, flights in pilots:
        near = pilot in winds and math.dist(winds[pilot], middle) <= OTHER_WIND_KT
        rows.append(EqualFooting(pilot, flown, flights, share([(flown.laps_judged, flown.laps_within)]), not near))
    rows.sort(key=lambda row: (row.other_wind, row.pilot.casefold()))
    head, cross = middle or (None, None)
    return Comparison(rows=tuple(rows), wind_head_kt=head, wind_cross_kt=cross)


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
        comparison = replace(comparison, rows=kept)
    return replace(view, rows=rows, comparison=comparison)
