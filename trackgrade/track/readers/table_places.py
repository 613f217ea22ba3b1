"""The positions of a table: latitude and longitude as they are written, made degrees."""

from __future__ import annotations

import numpy as np

from trackgrade.errors import TrackFileError
from trackgrade.files import plain_text
from trackgrade.track.columns import QUANTITIES
from trackgrade.track.readers.column_choice import Choice
from trackgrade.track.readers.table_rows import Table
from trackgrade.track.readers.table_values import apply_side, degrees, is_blank
from trackgrade.track.track import Bools, Floats

#: Units of a position that say how it is written, not by what to multiply it.
_AS_WRITTEN = ("deg", "dms", "ddmm")
_UNSIGNED_SIDE = {"lat": ("s", "n", "south"), "lon": ("w", "e", "west")}


def read_places(table: Table) -> None:
    """Fill in latitudes and longitudes (n,) [deg], NaN where unreadable.

    Raises TrackFileError: most cells of a column are no degrees.
    """
    table.lat_deg, table.lon_deg = _read(table, "lat"), _read(table, "lon")
    _doubt_degrees(table)


def _read(table: Table, axis: str) -> Floats:
    choice = table.choices.chosen[axis]
    side = table.choices.chosen.get(f"{axis}_side")
    column, decimal = table.cells[choice.index], table.shape.decimal
    unit = choice.unit.name if choice.unit is not None and choice.unit.name in _AS_WRITTEN else ""
    read, form = degrees(column, axis, unit, decimal)
    values = read.values
    if choice.unit is not None and not unit:
        values = values * choice.unit.factor
        form = choice.unit.name
    most = np.count_nonzero(~is_blank(column)) / 2
    if not unit and form == "deg" and np.count_nonzero(_ten_millionths(values)) > most:
        values, form = values * 1e-7, "e7"
        table.notes.append(
            f'"{choice.shown}" was read as degrees times ten million, by its size; if half a circle is 2^31, add  '
            f'{axis} = "semicircles"  to a columns file (--columns)'
        )
    wrong = read.unreadable | _beyond(values, axis)
    if np.count_nonzero(wrong) > most and side is not None and not unit:
        # 4412.345 beside a column of N and S: the form of receivers' sentences (NMEA 0183).
        parted, _ = degrees(column, axis, "ddmm", decimal)
        if not (parted.unreadable | _beyond(parted.values, axis)).any():
            read, form, values, wrong = parted, "ddmm", parted.values, parted.unreadable
            table.notes.append(f'"{choice.shown}" was read as degrees and minutes run together')
    if np.count_nonzero(wrong) > most:
        raise TrackFileError(_no_degrees(table, choice, axis, values, wrong))
    if wrong.any():
        table.notes.append(
            f"{axis}: cells that cannot be read as degrees: {np.count_nonzero(wrong)} "
            f"(first: {table.place(choice, int(np.argmax(wrong)))})"
        )
    table.serve(choice, form, choice.note, QUANTITIES[axis].title)
    if side is not None:
        given, values = values, apply_side(values, table.cells[side.index])
        if (given < 0).any() and (given * values < 0).any():
            table.notes.append(
                f'"{choice.shown}" has values below zero beside N or E in "{side.shown}": the letter was believed'
            )
        table.serve(side, "text", QUANTITIES[side.quantity].title)
    elif _UNSIGNED_SIDE[axis][0] in choice.words and _UNSIGNED_SIDE[axis][1] not in choice.words:
        if (values < 0).any():
            table.notes.append(f'"{choice.shown}" has values below zero: they were read as they are')
        else:
            values = -values
            table.notes.append(f'"{choice.shown}" was read as positive to the {_UNSIGNED_SIDE[axis][2]}')
    return np.where(read.unreadable, np.nan, values)


def _no_degrees(table: Table, choice: Choice, axis: str, values: Floats, wrong: Bools) -> str:
    row = int(np.argmax(wrong))
    text = plain_text(table.cells[choice.index].iloc[row], 40)
    cell = f'{table.source} line {table.lines[row]}: {axis} "{text}"'
    with np.errstate(invalid="ignore"):
        like_lon = np.count_nonzero((np.abs(values) > 90.0) & (np.abs(values) <= 180.0))
    if axis == "lat" and like_lon > np.count_nonzero(~is_blank(table.cells[choice.index])) / 2:
        return (
            f"{cell} is beyond 90. If latitude and longitude are swapped, name their columns in a columns file "
            "(--columns)"
        )
    return (
        f'{cell} is not degrees. If it is degrees and minutes run together, add  lat = "ddmm"  and  lon = "ddmm"  '
        "to a columns file (--columns)"
    )


def _doubt_degrees(table: Table) -> None:
    """Radians are all within a few degrees of 0, 0, where there is only sea; some simulators write them unsaid.

    Whole degrees are half of a position whose minutes stand in another column.
    """
    choices = [table.choices.chosen[axis] for axis in ("lat", "lon")]
    if any(choice.stated == "own name" for choice in choices):
        return
    unsaid = all(choice.unit is None for choice in choices)
    lat_deg, lon_deg = (values[np.isfinite(values)] for values in (table.lat_deg, table.lon_deg))
    if not len(lat_deg) or not len(lon_deg):
        return
    if unsaid and np.abs(lat_deg).max() <= np.pi / 2 and np.abs(lon_deg).max() <= np.pi:
        table.notes.append(
            "all positions lie within 3° of 0, 0 and no header states degrees: if they are radians, "
            'add  lat = "rad"  and  lon = "rad"  to a columns file (--columns)'
        )
    elif not (lat_deg % 1.0).any() and not (lon_deg % 1.0).any():
        table.notes.append(
            "all positions are whole degrees: where the minutes stand in other columns, write both into one, "
            "such as 44 12.345, before anything is graded"
        )


def _ten_millionths(values: Floats) -> Bools:
    """Whole numbers of a size that only degrees times ten million have, a tenth of a degree at least."""
    with np.errstate(invalid="ignore"):
        return np.asarray((np.abs(values) >= 1e6) & (np.abs(values) <= 1.8e9) & (np.mod(values, 1.0) == 0.0))


def _beyond(values: Floats, axis: str) -> Bools:
    with np.errstate(invalid="ignore"):
        return np.abs(values) > (90.0 if axis == "lat" else 360.0)
