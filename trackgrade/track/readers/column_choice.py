"""Which column of a table serves as which quantity, in which unit: the map decides, then the headers' words."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, field, replace

from trackgrade.errors import ColumnsFileError
from trackgrade.files import plain_text
from trackgrade.track.columns import (
    OWN_COLUMNS,
    QUANTITIES,
    UNITS,
    Rule,
    Unit,
    header_words,
    matching_rule,
    unit_of,
)
from trackgrade.track.columns_map import ColumnsMap
from trackgrade.track.readers.clock_text import BARE_CLOCK, BARE_DAY, BARE_DAY6, FORM_PATTERNS
from trackgrade.track.readers.made_columns import bare_places
from trackgrade.track.readers.table_shape import TableShape
from trackgrade.track.track import AltitudeDatum

_TIME_QUANTITIES = ("time_utc", "date", "time_of_day")
_BLANK_COST = 100  # and one whose first cells are all blank after everything
_SIDES = {"lat_side": ("lat", "NORTH", "SOUTH"), "lon_side": ("lon", "EAST", "WEST")}
#: The forms of times that are no bare numbers.
_WRITTEN_TIMES = [each for i, each in enumerate(FORM_PATTERNS) if i not in (BARE_CLOCK, BARE_DAY, BARE_DAY6)]
_HALVES = frozenset(["AM", "PM", "A.M.", "P.M."])


@dataclass(frozen=True, eq=False)
class Choice:
    """One column and what it is taken for.

    ``unit`` is None where nothing states it and the values must decide. ``stated``: who says the unit ("header",
    "units row", "map", "own name") or "" where it is assumed. ``rank``: of several for one quantity the lowest
    is taken.
    """

    quantity: str
    index: int
    header: str
    unit: Unit | None
    stated: str
    rule: Rule | None = None
    note: str = ""
    by_map: bool = False
    rank: int = 0

    @property
    def words(self) -> tuple[str, ...]:
        """The plain words of the header."""
        return header_words(self.header)

    @property
    def datum(self) -> AltitudeDatum:
        """What an altitude of this header is measured from."""
        rule = matching_rule(self.header)
        return "altimeter" if rule is None else rule.datum

    @property
    def shown(self) -> str:
        return plain_text(self.header, 60) or f"column {self.index + 1}"


@dataclass(eq=False)
class Choices:
    """``chosen``: one column for each quantity but times and altitudes; of these all that may be it, the best first."""

    chosen: dict[str, Choice] = field(default_factory=dict)
    altitudes: list[Choice] = field(default_factory=list)
    times: list[Choice] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def all(self) -> list[Choice]:
        return [*self.chosen.values(), *self.altitudes, *self.times]


def choose(shape: TableShape, columns: ColumnsMap) -> Choices:
    """Choose the columns of a table: by the map, by the words of the headers, then by what only their cells tell.

    Raises ColumnsFileError: the map names a column that the table does not have.
    """
    result = Choices()
    mapped = _mapped(shape, columns)
    candidates: dict[str, list[Choice]] = {}
    for index, header in enumerate(shape.headers):
        choice = None if index in mapped else _by_words(index, header, shape.unit_cells[index], result.notes)
        if choice is None:
            continue
        entry = columns.entries.get(choice.quantity)
        if entry is not None and (entry.leave_out or entry.column is not None):
            continue
        if entry is not None and entry.unit is not None:
            choice = replace(choice, unit=entry.unit, stated="map")
        if shape.sample and not shape.cells(index):
            choice = replace(choice, rank=choice.rank + _BLANK_COST)
        candidates.setdefault(choice.quantity, []).append(choice)
    candidates |= {choice.quantity: [choice] for choice in mapped.values()}
    for quantity, found in candidates.items():
        best_first = sorted(found, key=lambda choice: (choice.rank, choice.index))
        if quantity in _TIME_QUANTITIES:
            result.times.extend(best_first)
        elif quantity == "alt_ft":
            result.altitudes = best_first
        else:
            result.chosen[quantity] = best_first[0]
    left_out = {quantity for quantity, entry in columns.entries.items() if entry.leave_out}
    _degrees_with_letters(result, shape)
    _places_by_one_word(result, shape)
    if not shape.header_line and not columns.entries:
        for axis, index in zip(("lat", "lon"), bare_places(shape.sample) or ()):
            _take(result, shape, axis, index, f"no line names the columns: column {index + 1} was taken for {{title}}")
    _times_by_cells(result, shape)
    _sides_by_cells(result, shape, left_out)
    if "half_day" not in result.chosen.keys() | left_out:
        _take_only(result, shape, "half_day", _HALVES, "AM and PM")
    return result


def _take(result: Choices, shape: TableShape, quantity: str, index: int, note: str) -> None:
    """Choose a column by something else than its header; ``note`` has {shown} and {title}."""
    header, kind = shape.headers[index], QUANTITIES[quantity].kind
    unit = UNITS["text"][0] if kind == "text" else unit_of(header_words(header), kind) if kind == "position" else None
    choice = Choice(quantity, index, header, unit, "")
    if quantity in _TIME_QUANTITIES:
        result.times.append(choice)
    else:
        result.chosen[quantity] = choice
    result.notes.append(note.format(shown=choice.shown, title=QUANTITIES[quantity].title))


def _free(result: Choices, shape: TableShape) -> dict[int, list[str]]:
    """The columns that serve as nothing yet, with the filled cells of the sample; none that is blank."""
    taken = {choice.index for choice in result.all()}
    return {i: cells for i in range(len(shape.headers)) if i not in taken and (cells := shape.cells(i))}


def _take_only(result: Choices, shape: TableShape, quantity: str, words: frozenset[str], holds: str) -> None:
    """The one column that holds nothing but these words, whatever its header says."""
    found = [i for i, cells in _free(result, shape).items() if {cell.upper() for cell in cells} <= words]
    if len(found) == 1:
        _take(result, shape, quantity, found[0], f'"{{shown}}" holds only {holds}: taken for {{title}}')


def _degrees_with_letters(result: Choices, shape: TableShape) -> None:
    """A column headed "LATITUDE N/S" may hold the letter alone, or the degrees with the letter behind."""
    for axis, side in (("lat", "lat_side"), ("lon", "lon_side")):
        choice = result.chosen.get(side)
        if choice is None or axis in result.chosen:
            continue
        if any(character.isdecimal() for cell in shape.cells(choice.index) for character in cell):
            result.chosen[axis] = replace(result.chosen.pop(side), quantity=axis, unit=None)


def _places_by_one_word(result: Choices, shape: TableShape) -> None:
    """The only two columns that have "lat" and "lon" among their words, whatever else they say: OSD.latitude."""
    if {"lat", "lon"} & set(result.chosen):
        return
    words = [{"lat", "lon"} & set(header_words(header)) for header in shape.headers]
    found = [[i for i, each in enumerate(words) if each == {axis} and shape.cells(i)] for axis in ("lat", "lon")]
    if all(len(at) == 1 for at in found):
        for axis, at in zip(("lat", "lon"), found):
            _take(result, shape, axis, at[0], '"{shown}" was taken for {title}: no other column says so')


def _times_by_cells(result: Choices, shape: TableShape) -> None:
    """A column of dates with times is the time, whatever its header says; or one of dates and one of clocks."""
    if any(choice.quantity != "date" for choice in result.times):
        return
    found: dict[str, list[int]] = {"moment": [], "day": [], "clock": []}
    for index, cells in _free(result, shape).items():
        kinds = [kind for kind, pattern in _WRITTEN_TIMES if all(pattern.fullmatch(cell) for cell in cells)]
        if kinds and not all(map(str.isdecimal, cells)):
            found[kinds[0]].append(index)
    dated = bool(result.times)
    wanted = {"time_utc": found["moment"]}
    if not found["moment"] and len(found["clock"]) == 1 and (dated or len(found["day"]) == 1):
        wanted = {"date": [] if dated else found["day"], "time_of_day": found["clock"]}
    for quantity, columns in wanted.items():
        for index in columns:
            _take(result, shape, quantity, index, '"{shown}" holds nothing else: taken for {title}')


def _sides_by_cells(result: Choices, shape: TableShape, left_out: set[str]) -> None:
    """A column of nothing but N and S (E and W) is the side of an unsigned position."""
    for quantity, (axis, *sides) in _SIDES.items():
        if axis not in result.chosen or quantity in result.chosen or quantity in left_out:
            continue
        if any(cell.startswith(("-", "−")) for cell in shape.cells(result.chosen[axis].index)):
            continue
        letters = frozenset(side[:n] for side in sides for n in (1, len(side)))
        _take_only(result, shape, quantity, letters, " and ".join(side[0] for side in sides))


def _mapped(shape: TableShape, columns: ColumnsMap) -> dict[int, Choice]:
    """The columns that the map names, by index."""
    taken: dict[int, Choice] = {}
    for quantity, entry in columns.entries.items():
        if entry.column is None:
            continue
        index = _index_of(entry.column, shape, quantity, columns.name)
        if index in taken:
            raise ColumnsFileError(
                f"{columns.name}: column {entry.column!r} is named for both {taken[index].quantity} and {quantity}"
            )
        header = shape.headers[index]
        words = header_words(header)
        unit, stated = entry.unit, "map"
        if unit is None:
            unit, stated = _stated_unit(quantity, words, shape.unit_cells[index])
        if unit is None and QUANTITIES[quantity].kind not in ("time", "day", "clock", "text", "position"):
            known = ", ".join(u.name for u in UNITS[QUANTITIES[quantity].kind])
            raise ColumnsFileError(f'{columns.name}: {quantity} needs its unit, such as unit = "...": {known}')
        taken[index] = Choice(quantity, index, header, unit, stated, None, f"by {columns.name}", True)
    return taken


def _index_of(column: str | int, shape: TableShape, quantity: str, name: str) -> int:
    if isinstance(column, int):
        if column > len(shape.headers):
            raise ColumnsFileError(f"{name}: {quantity}: column {column} of {len(shape.headers)} columns")
        return column - 1
    wanted = column.strip()
    same = [i for i, h in enumerate(shape.headers) if h == wanted]
    same = same or [i for i, h in enumerate(shape.headers) if h.lower() == wanted.lower()]
    if len(same) == 1:
        return same[0]
    if same:
        raise ColumnsFileError(
            f'{name}: {quantity}: "{plain_text(wanted, 40)}" names {len(same)} columns; '
            f"give the number, such as column = {same[0] + 1}"
        )
    close = difflib.get_close_matches(wanted[:100], [h[:100] for h in shape.headers if h], 1)
    hint = (
        f'Did you mean "{plain_text(close[0], 40)}"?'
        if close
        else "Its columns: " + ", ".join(plain_text(h, 30) for h in shape.headers[:12] if h)
    )
    raise ColumnsFileError(f'{name}: {quantity}: no column "{plain_text(wanted, 40)}". {hint}')


def _by_words(index: int, header: str, unit_cell: str, notes: list[str]) -> Choice | None:
    """The choice by the header's words, or None."""
    if header.lower() in OWN_COLUMNS:
        quantity = header.lower()
        kind = QUANTITIES[quantity].kind
        # "lat" alone is anybody's header: its cells decide between degrees, and degrees and minutes.
        unit = None if kind in ("time", "text", "position") else UNITS[kind][0]
        return Choice(quantity, index, header, unit, "own name", rank=-1)
    # A reference may stand in the units row: heading | deg true.
    references = [w for w in header_words(unit_cell) if w in ("true", "magnetic")]
    rule = matching_rule(header)
    if rule is not None and rule.doubt == "reference" and len(references) == 1:
        rule = matching_rule(f"{header} {references[0]}")
    if rule is None:
        return None
    words = header_words(header)
    unit, stated = _stated_unit(rule.quantity, words, unit_cell)
    by_row = unit_of(header_words(unit_cell), QUANTITIES[rule.quantity].kind)
    if unit is not None and by_row is not None and unit.name != by_row.name:
        notes.append(f'"{plain_text(header, 60)}" and the units row state different units: {unit.name} was taken')
    if unit is None and rule.assumed not in ("", "positions"):
        unit = next(u for u in UNITS[QUANTITIES[rule.quantity].kind] if u.name == rule.assumed)
    return Choice(rule.quantity, index, header, unit, stated, rule, rule.note, rank=rule.rank)


def _stated_unit(quantity: str, words: tuple[str, ...], unit_cell: str) -> tuple[Unit | None, str]:
    kind = QUANTITIES[quantity].kind
    if unit := unit_of(words, kind):
        return unit, "header"
    if unit := unit_of(header_words(unit_cell), kind):
        return unit, "units row"
    return None, ""
