"""Open questions of a column settled by the positions: its unit, its north, over the ground or through the air.

What the positions cannot settle is either taken with a warning (the unit of an altitude, of an airspeed) or not
used (a heading that does not say which north): a wrong value would be graded as if it were right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trackgrade.track.columns import QUANTITIES, Unit
from trackgrade.track.readers.column_choice import Choice
from trackgrade.track.readers.speed_unit import ground_motion, unit_by_positions
from trackgrade.track.track import Floats, Provenance

_SAME_COURSE_DEG = 2.0  # less than any variation that would matter
_SAME_SPEED = 0.07
_AIRSPEED_TO_GROUNDSPEED = (0.5, 2.0)  # a wind of half the airspeed, either way
REMEDY = "a columns file (--columns) settles it"


@dataclass
class Reading:
    """A table half read: positions in time, and what is told on the way."""

    epoch_s: Floats
    lat_deg: Floats
    lon_deg: Floats
    notes: list[str]
    provenance: list[Provenance]


def settled(reading: Reading, choice: Choice, values: Floats, cell_unit: Unit | None) -> Floats | None:
    """Values (n,) in the project's unit, with provenance; None where the column is not used, with a note.

    ``cell_unit``: a unit written into the cells themselves ("4000 ft").
    """
    rule = None if choice.stated == "map" else choice.rule  # the map has settled it
    unit, note = choice.unit, choice.note
    if cell_unit is not None and unit is not None and choice.stated and cell_unit.name != unit.name:
        reading.notes.append(
            f'"{choice.shown}": the {choice.stated} says {unit.name}, the cells say {cell_unit.name}: the cells are '
            f"believed; {REMEDY}"
        )
    if cell_unit is not None and choice.stated != "map":
        unit, note = cell_unit, _joined(note, "unit written in the cells")
    assumed = not choice.stated and cell_unit is None
    if rule is not None and rule.assumed == "positions":
        unit, note = _ground_speed(reading, choice, values, unit if not assumed else None)
    elif rule is not None and rule.doubt == "reference":
        unit, note = _course(reading, choice, values, unit)
    elif assumed and choice.quantity == "alt_ft" and unit is not None:
        other = "metres" if unit.name == "ft" else "feet"
        reading.notes.append(
            f'altitude "{choice.shown}" states no unit: read as {unit.name}. If it is {other}, {REMEDY}'
        )
        note = _joined(note, "unit assumed")
    elif assumed and choice.quantity in ("ias_kt", "tas_kt") and unit is not None:
        unit, note = _airspeed(reading, choice, values, unit)
    if unit is None:
        return None
    reading.provenance.append(Provenance(choice.quantity, choice.shown, unit.name, note))
    with np.errstate(over="ignore", invalid="ignore"):
        return values * unit.factor + unit.offset


def _ground_speed(reading: Reading, choice: Choice, values: Floats, stated: Unit | None) -> tuple[Unit | None, str]:
    doubtful = choice.rule is not None and choice.rule.doubt == "speed"
    found = unit_by_positions(reading.epoch_s, reading.lat_deg, reading.lon_deg, values)
    if stated is not None and not doubtful:
        if found is None or abs(found.kt / stated.factor - 1.0) <= _SAME_SPEED:
            return stated, choice.note
        reading.notes.append(
            f'"{choice.shown}" states {stated.name}, but agrees with the speed between positions in {found.name}: '
            f"not used; {REMEDY}"
        )
        return None, ""
    if found is None:
        reading.notes.append(
            f'"{choice.shown}" agrees with the speed between positions in no unit: not used. '
            f"If it is a speed of the flight, {REMEDY}"
        )
        return None, ""
    if stated is not None:
        known_kt = stated.factor
        if abs(found.kt / known_kt - 1.0) > _SAME_SPEED:
            reading.notes.append(
                f'"{choice.shown}" in {stated.name} differs from the speed between positions: it may be an airspeed, '
                f"and was not used; {REMEDY}"
            )
            return None, ""
        return stated, _joined(choice.note, "agrees with the positions")
    unit = Unit(found.name, found.kt)
    return unit, _joined(choice.note, "no unit stated; agrees with the positions in this one")


def _course(reading: Reading, choice: Choice, values: Floats, unit: Unit | None) -> tuple[Unit | None, str]:
    if choice.quantity.startswith("heading") or unit is None:
        reading.notes.append(
            f'"{choice.shown}" does not say whether true or magnetic: not used. '
            f"heading_true_deg or heading_mag_deg in {REMEDY}"
        )
        return None, ""
    flown = ground_motion(reading.epoch_s, reading.lat_deg, reading.lon_deg)
    with np.errstate(over="ignore", invalid="ignore"):
        logged = flown.logged_before(values) * unit.factor
        difference = np.mod(logged - flown.course_deg + 180.0, 360.0) - 180.0
    difference = difference[np.isfinite(difference)]
    off = float(np.median(difference)) if len(difference) >= 5 else np.nan
    if not abs(off) <= _SAME_COURSE_DEG:
        why = "cannot be checked against" if np.isnan(off) else f"is {off:+.0f}° off"
        reading.notes.append(
            f'"{choice.shown}" {why} the course between positions and does not say true or magnetic: not used; {REMEDY}'
        )
        return None, ""
    return unit, _joined(choice.note, "taken as true: agrees with the positions")


def _airspeed(reading: Reading, choice: Choice, values: Floats, unit: Unit) -> tuple[Unit | None, str]:
    flown = ground_motion(reading.epoch_s, reading.lat_deg, reading.lon_deg)
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        ratio = flown.logged_before(values) / flown.speed_kt
        ratio = ratio[np.isfinite(ratio) & (ratio > 0)]
    title = QUANTITIES[choice.quantity].title
    low, high = _AIRSPEED_TO_GROUNDSPEED
    if len(ratio) >= 5 and not low <= float(np.median(ratio)) <= high:
        reading.notes.append(
            f'{title} "{choice.shown}" states no unit and is no speed in knots beside the ground speed: not used; '
            f"{REMEDY}"
        )
        return None, ""
    reading.notes.append(f'{title} "{choice.shown}" states no unit: read as {unit.name}; {REMEDY}')
    return unit, _joined(choice.note, "unit assumed")


def _joined(*notes: str) -> str:
    return "; ".join(note for note in notes if note)
