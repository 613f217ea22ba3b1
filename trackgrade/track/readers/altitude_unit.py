"""Which column is the altitude, and which unit it is in where it states none: as far as the file itself tells.

A second altitude beside it tells, or a vertical speed. That other columns are metric is a hint and is said, no more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.track.altitude import OPEN_UNITS, UNKNOWN_UNIT
from trackgrade.track.columns import UNITS, Unit
from trackgrade.track.readers.column_choice import Choice
from trackgrade.track.readers.settle import REMEDY, Reading, settled
from trackgrade.track.track import AltitudeDatum, Floats, OpenAltitude, Provenance

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


@dataclass(frozen=True)
class Column:
    """A column of heights or of vertical speeds, as numbers (n,); ``unit`` as stated or written in the cells."""

    choice: Choice
    values: Floats
    cell_unit: Unit | None

    @property
    def unit(self) -> Unit | None:
        return self.cell_unit or self.choice.unit


@dataclass(frozen=True, eq=False)
class Altitude:
    """The altitude of a table. ``column`` is the one taken, None where there is none."""

    alt_ft: Floats
    column: Choice | None = None
    datum: AltitudeDatum = "altimeter"
    open: OpenAltitude | None = None


def read_altitude(reading: Reading, altitudes: Sequence[Column], climb: Column | None, speed_unit: str) -> Altitude:
    """The altitude (n,) [ft], NaN where it has no known unit.

    ``altitudes``: the best first. ``climb``: a vertical speed, where there is one. ``speed_unit``: that of the ground
    speed, "" where it is not known.
    """
    nothing = np.full(len(reading.epoch_s), np.nan)
    altitudes = [a for a in altitudes if np.isfinite(a.values).any()] or list(altitudes)
    if not altitudes:
        return Altitude(nothing)
    first = altitudes[0]
    found, why = (first.unit, "") if first.unit is not None else _by_others(first, altitudes[1:])
    if found is None and climb is not None:
        found, why = _by_climb(reading, first, climb, speed_unit)
    if found is None:
        first = next((a for a in altitudes if a.unit is not None), first)
    column = first.choice
    if first.unit is not None:
        values = settled(reading, column, first.values, first.cell_unit)
        return Altitude(nothing if values is None else values, column, column.datum)
    if found is not None:
        reading.provenance.append(Provenance("alt_ft", column.shown, found.name, f"no unit stated; {why}"))
        return Altitude(first.values * found.factor, column, column.datum)
    note = (
        f'altitude "{column.shown}" states no unit, feet or metres: not graded, unless the altitude_ft of the hold '
        f'file was flown in one of them; alt_ft = "ft" or "m" in {REMEDY}'
    )
    if speed_unit in _LIKELY:
        note += f" (its ground speed is in {speed_unit}, so {_LIKELY[speed_unit]} are likely)"
    reading.notes.append(note)
    reading.provenance.append(Provenance("alt_ft", column.shown, UNKNOWN_UNIT, "no unit stated"))
    return Altitude(nothing, column, column.datum, OpenAltitude(column.shown, first.values, note))


def _by_others(first: Column, others: Sequence[Column]) -> tuple[Unit | None, str]:
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


def _by_climb(reading: Reading, first: Column, climb: Column, speed_unit: str) -> tuple[Unit | None, str]:
    """By a vertical speed: what it sums up to, against the change of altitude."""
    slope = _change_by_sum(reading.epoch_s, first.values, climb.values)
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
