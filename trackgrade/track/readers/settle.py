"""Open questions of a column settled by the positions: its unit, its north, over the ground or through the air.

What the positions cannot settle is either taken with a warning (the unit of an altitude, of an airspeed) or not
used (a heading that does not say which north): a wrong value would be graded as if it were right.
"""

from __future__ import annotations

import numpy as np

from trackgrade.track.columns import QUANTITIES, Unit
from trackgrade.track.readers.column_choice import Choice
from trackgrade.track.readers.speed_unit import kt_per_unit, off_course_deg, unit_by_positions
from trackgrade.track.readers.table_rows import Logged, Table
from trackgrade.track.track import Floats

_SAME_COURSE_DEG = 2.0  # less than any variation that would matter
_SAME_SPEED = 0.07
_AIRSPEED_TO_GROUNDSPEED = (0.5, 2.0)  # a wind of half the airspeed, either way
REMEDY = "a columns file (--columns) settles it"


def settled(table: Table, logged: Logged) -> Floats | None:
    """Values (n,) in the project's unit, and the column serves; None where it is not used, with a note."""
    choice, values, cell_unit = logged.choice, logged.values, logged.cell_unit
    rule = None if choice.stated == "map" else choice.rule  # the map has settled it
    unit, note = choice.unit, choice.note
    if cell_unit is not None and unit is not None and choice.stated and cell_unit.name != unit.name:
        table.notes.append(
            f'"{choice.shown}": the {choice.stated} says {unit.name}, the cells say {cell_unit.name}: the cells are '
            f"believed; {REMEDY}"
        )
    if cell_unit is not None and choice.stated != "map":
        unit, note = cell_unit, _joined(note, "unit written in the cells")
    assumed = not choice.stated and cell_unit is None
    if rule is not None and rule.assumed == "positions":
        unit, note = _ground_speed(table, choice, values, unit if not assumed else None)
    elif rule is not None and rule.doubt == "reference":
        unit, note = _course(table, choice, values, unit)
    elif assumed and choice.quantity == "alt_ft" and unit is not None:
        other = "metres" if unit.name == "ft" else "feet"
        table.notes.append(f'altitude "{choice.shown}" states no unit: read as {unit.name}. If it is {other}, {REMEDY}')
        note = _joined(note, "unit assumed")
    elif assumed and choice.quantity in ("ias_kt", "tas_kt") and unit is not None:
        unit, note = _airspeed(table, choice, values, unit)
    if unit is None:
        table.notes.append(note)
        return None
    table.serve(choice, unit.name, note)
    with np.errstate(over="ignore", invalid="ignore"):
        return values * unit.factor + unit.offset


# Each of these gives the unit and what was done to know it, or None and why the column is not used.


def _ground_speed(table: Table, choice: Choice, values: Floats, stated: Unit | None) -> tuple[Unit | None, str]:
    found = unit_by_positions(table.epoch_s, table.lat_deg, table.lon_deg, values)
    differs = found is not None and stated is not None and abs(found.factor / stated.factor - 1.0) > _SAME_SPEED
    if stated is not None and (choice.rule is None or choice.rule.doubt != "speed"):
        if found is None or not differs:
            return stated, choice.note
        return None, (
            f'"{choice.shown}" states {stated.name}, but agrees with the speed between positions in {found.name}: '
            f"not used; {REMEDY}"
        )
    if found is None:
        return None, (
            f'"{choice.shown}" agrees with the speed between positions in no unit: not used. '
            f"If it is a speed of the flight, {REMEDY}"
        )
    if stated is None:
        return found, _joined(choice.note, "no unit stated; agrees with the positions in this one")
    if differs:
        return None, (
            f'"{choice.shown}" in {stated.name} differs from the speed between positions: it may be an airspeed, '
            f"and was not used; {REMEDY}"
        )
    return stated, _joined(choice.note, "agrees with the positions")


def _course(table: Table, choice: Choice, values: Floats, unit: Unit | None) -> tuple[Unit | None, str]:
    if choice.quantity.startswith("heading") or unit is None:
        return None, (
            f'"{choice.shown}" does not say whether true or magnetic: not used. '
            f"heading_true_deg or heading_mag_deg in {REMEDY}"
        )
    with np.errstate(over="ignore", invalid="ignore"):
        off = off_course_deg(table.epoch_s, table.lat_deg, table.lon_deg, values * unit.factor)
    if not abs(off) <= _SAME_COURSE_DEG:
        why = "cannot be checked against" if np.isnan(off) else f"is {off:+.0f}° off"
        return None, (
            f'"{choice.shown}" {why} the course between positions and does not say true or magnetic: not used; {REMEDY}'
        )
    return unit, _joined(choice.note, "taken as true: agrees with the positions")


def _airspeed(table: Table, choice: Choice, values: Floats, unit: Unit) -> tuple[Unit | None, str]:
    ground_kt = kt_per_unit(table.epoch_s, table.lat_deg, table.lon_deg, values)
    title = QUANTITIES[choice.quantity].title
    low, high = _AIRSPEED_TO_GROUNDSPEED
    if ground_kt * high < 1.0 or ground_kt * low > 1.0:
        return None, (
            f'{title} "{choice.shown}" states no unit and is no speed in knots beside the ground speed: not used; '
            f"{REMEDY}"
        )
    table.notes.append(f'{title} "{choice.shown}" states no unit: read as {unit.name}; {REMEDY}')
    return unit, _joined(choice.note, "unit assumed")


def _joined(*notes: str) -> str:
    return "; ".join(note for note in notes if note)
