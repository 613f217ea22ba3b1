"""Open questions of a column settled by the positions: its unit, its north, over the ground or through the air.

What the positions cannot settle is either taken with a warning (the unit of an altitude, of an airspeed) or not
used (a heading that does not say which north): a wrong value would be graded as if it were right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.track.altitude import OPEN_UNITS, UNKNOWN_UNIT
from trackgrade.track.columns import QUANTITIES, UNITS, Unit
from trackgrade.track.readers.column_choice import Choice
from trackgrade.track.readers.speed_unit import kt_per_unit, off_course_deg, unit_by_positions
from trackgrade.track.readers.table_rows import Logged, Table
from trackgrade.track.track import AltitudeDatum, Floats, OpenAltitude

_SAME_COURSE_DEG = 2.0  # less than any variation that would matter
_SAME_SPEED = 0.07
_AIRSPEED_TO_GROUNDSPEED = (0.5, 2.0)  # a wind of half the airspeed, either way
REMEDY = "a columns file (--columns) settles it"
#: Two altitudes of one flight differ by weather and by the geoid, never by three times: the unit that brings them this
#: many times nearer to each other is the right one.
_TIMES_NEARER = 4.0
#: Two altitudes of no unit are feet and metres where one is 3.28 times the other, steadily [share either way].
_SAME_RATIO = 0.1
#: A vertical speed is summed up over this [s] and must explain this much of the change of altitude [correlation].
_WINDOW_S, _EXPLAINS = 20.0, 0.9
_LONGEST_STEP_S = 15.0
_FEWEST_WINDOWS = 20
#: Units are told apart where the sum fits one of them this well [share either way]: they differ by 3.28 at least.
_SAME_CLIMB = 0.25
_LIKELY = {"m/s": "metres", "km/h": "metres", "kt": "feet", "mph": "feet"}
_FOOT, _METRE = (next(unit for unit in UNITS["length"] if unit.name == name) for name in OPEN_UNITS)


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


@dataclass(frozen=True, eq=False)
class Altitude:
    """The altitude (n,) [ft] of a table, NaN where it has no known unit; ``open``: one whose unit nothing tells."""

    alt_ft: Floats
    datum: AltitudeDatum = "altimeter"
    open: OpenAltitude | None = None


def read_altitude(table: Table) -> Altitude:
    """The altitude of a table whose other columns are read."""
    nothing = np.full(len(table.epoch_s), np.nan)
    columns = table.choices.altitudes
    heights = [table.logged(choice) for choice in columns[:1]]
    if heights and (heights[0].unit is None or not np.isfinite(heights[0].values).any()):
        heights += [table.logged(choice) for choice in columns[1:]]
    rising = table.choices.chosen.get("vertical_speed")
    climb = None if rising is None else table.logged(rising)
    speed_unit = table.unit_served("groundspeed_kt")
    heights = [each for each in heights if np.isfinite(each.values).any()] or heights
    if not heights:
        return Altitude(nothing)
    first = heights[0]
    found, why = (first.unit, "") if first.unit is not None else _by_others(first, heights[1:])
    if found is None and climb is not None:
        found, why = _by_climb(table, first, climb, speed_unit)
    if found is None:
        first = next((each for each in heights if each.unit is not None), first)
    column = first.choice
    if first.unit is not None:
        values = settled(table, first)
        return Altitude(nothing if values is None else values, column.datum)
    if found is not None:
        table.serve(column, found.name, f"no unit stated; {why}")
        return Altitude(first.values * found.factor, column.datum)
    note = (
        f'altitude "{column.shown}" states no unit, feet or metres: not graded, unless the altitude_ft of the hold '
        f'file was flown in one of them; alt_ft = "ft" or "m" in {REMEDY}'
    )
    if speed_unit in _LIKELY:
        note += f" (its ground speed is in {speed_unit}, so {_LIKELY[speed_unit]} are likely)"
    table.notes.append(note)
    table.serve(column, UNKNOWN_UNIT, "no unit stated")
    return Altitude(nothing, column.datum, OpenAltitude(column.shown, first.values, note))


def _by_others(first: Logged, others: Sequence[Logged]) -> tuple[Unit | None, str]:
    """By a second altitude of a known unit; or of none, where it is the same height in the other unit."""
    with np.errstate(all="ignore"):
        for other in others:
            both = np.isfinite(first.values) & np.isfinite(other.values)
            if not both.any():
                continue
            one, two = first.values[both], other.values[both]
            if other.unit is not None:
                other_ft = two * other.unit.factor
                apart = {unit: float(np.median(np.abs(one * unit.factor - other_ft))) for unit in (_FOOT, _METRE)}
                near, far = sorted(apart, key=apart.__getitem__)
                if apart[near] * _TIMES_NEARER < apart[far]:
                    return near, f'"{other.choice.shown}" beside it agrees in this one'
                continue
            for ratio, unit in ((one / two, _FOOT), (two / one, _METRE)):
                low, high = np.nanquantile(ratio / _METRE.factor, [0.1, 0.9])
                if low > 1.0 - _SAME_RATIO and high < 1.0 + _SAME_RATIO:
                    return unit, f'"{other.choice.shown}" beside it is the same in the other one'
    return None, ""


def _by_climb(table: Table, first: Logged, climb: Logged, speed_unit: str) -> tuple[Unit | None, str]:
    """By a vertical speed: what it sums up to, against the change of altitude."""
    slope = _change_by_sum(table.epoch_s, first.values, climb.values)
    if not slope > 0.0:
        return None, ""
    climbs = UNITS["climb"] if climb.unit is None else (climb.unit,)
    fitting = {
        (unit, of)
        for unit in (_FOOT, _METRE)
        for of in climbs
        if abs(slope / (of.factor / unit.factor) - 1.0) <= _SAME_CLIMB
    }
    units = {unit for unit, _ in fitting}
    if len(units) == 2 and _LIKELY.get(speed_unit) == "metres":
        # Feet a second or metres a second: nobody logs the first beside a ground speed in metres.
        units = {_METRE}
    if len(units) != 1:
        return None, ""
    return units.pop(), f'"{climb.choice.shown}" beside it agrees in this one'


def _change_by_sum(epoch_s: Floats, heights: Floats, climbs: Floats) -> float:
    """Change of height for each unit of vertical speed times a second; NaN where the two do not go together."""
    order = np.argsort(epoch_s, kind="stable")
    order = order[np.isfinite(heights[order]) & np.isfinite(climbs[order]) & np.isfinite(epoch_s[order])]
    if len(order) < _FEWEST_WINDOWS:
        return np.nan
    time_s, height, climb = epoch_s[order], heights[order], climbs[order]
    step_s = np.diff(time_s)
    total = np.concatenate([[0.0], np.cumsum(0.5 * (climb[1:] + climb[:-1]) * step_s)])
    later = np.searchsorted(time_s, time_s + _WINDOW_S)
    start = np.flatnonzero(later < len(time_s))
    hole = np.concatenate([[0], np.cumsum(step_s > _LONGEST_STEP_S)])
    start = start[hole[start] == hole[later[start]]]
    if len(start) < _FEWEST_WINDOWS:
        return np.nan
    summed, changed = total[later[start]] - total[start], height[later[start]] - height[start]
    with np.errstate(all="ignore"):
        size = float(np.sum(summed**2) * np.sum(changed**2)) ** 0.5
        together = float(np.sum(summed * changed))
        return together / float(np.sum(summed**2)) if size > 0.0 and together / size >= _EXPLAINS else np.nan
