"""Which column is the altitude, and which unit it is in where it states none: as far as the file itself tells.

A second altitude beside it tells, or a vertical speed. That other columns are metric is a hint and is said, no more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.track.altitude import OPEN_UNITS, UNKNOWN_UNIT
from trackgrade.track.columns import UNITS, Unit
from trackgrade.track.readers.settle import REMEDY, settled
from trackgrade.track.readers.table_rows import Logged, Table
from trackgrade.track.track import AltitudeDatum, Floats, OpenAltitude

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
