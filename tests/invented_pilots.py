"""Invented pilots with a known change, as the rows that a logbook reads: what `tests/test_claims.py` measures claims
on.

The flying has what real flying has: first laps worse than later ones, days that are good or bad for everything, items
with a luck of their own, sizes of a normal error (one value a lap) or of a maximum (over time), a measurement error,
an item told twice, a ceiling, and an item that is zero most of the time. Nothing here is shared with what is tested.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from tests.logbook_rows import hold, item_row
from trackgrade.logbook.history import EntryRow, ItemRow, Session

DAY_S = 86_400.0

#: Item: title, unit, limit, usual size of the error at the start as a share of the limit, and the form of its errors.
ITEMS = {
    "altitude": ("Altitude", "ft", 100.0, 1.1, "largest"),
    "airspeed": ("Airspeed", "kt", 10.0, 0.9, "largest"),
    "course": ("Inbound course", "of full scale", 0.75, 0.4, "largest"),
    "outbound_heading": ("Outbound heading", "deg", 10.0, 0.7, "normal"),
    "inbound_time": ("Inbound leg time", "s", 10.0, 1.4, "normal"),
    "turn_rate": ("Rate of turn", "deg/s", 0.75, 0.5, "normal"),
    "turn_bank": ("Bank in the turns", "deg", 5.0, 0.5, "of turn_rate"),
    "holding_speed": ("Holding speed limit", "kt", 200.0, 0.5, "ceiling"),
    "non_holding_side": ("Non-holding side", "turn radii", 0.5, 0.2, "often zero"),
    "fix_recognition": ("Fix recognised", "s", 5.0, 0.5, "largest"),
}
TITLES = [(item, *each[:2]) for item, each in ITEMS.items()]

#: How much worse the first laps of a session are, where the wind is still being learnt.
FIRST_LAPS = {"inbound_time": (2.0, 1.5, 1.2), "outbound_heading": (1.6, 1.3, 1.1), "course": (1.3, 1.1)}


@dataclass(frozen=True)
class Day:
    """The conditions of one session, and by how much they multiply the errors of each item."""

    laps: int = 4
    hold: str = "easy"
    wind: tuple[float, float] = (8.0, 6.0)
    entry: str = "direct"
    airspeed_kt: float = 100.0
    full_scale: float = 1.0

    def factor(self, item: str) -> float:
        factor = {"easy": 1.0, "other": 1.15, "hard": 1.7}[self.hold]
        if item in ("inbound_time", "outbound_heading", "course"):
            factor *= 1.03 ** (abs(self.wind[0]) + abs(self.wind[1]) - 14.0)
        if item == "course":
            factor /= self.full_scale**0.8
        if item in ("altitude", "airspeed", "fix_recognition", "turn_rate"):
            factor *= (self.airspeed_kt / 100.0) ** 1.2
        if self.entry != "direct" and item in ("course", "inbound_time"):
            factor *= 1.2
        return factor


Changing = Callable[[float, random.Random], Day]


def ordinary(_: float, chance: random.Random) -> Day:
    """Nothing changes for good: winds, laps and entries come and go."""
    return Day(
        laps=chance.choice((3, 4, 4, 5)),
        wind=(chance.gauss(0, 9), chance.gauss(0, 9)),
        entry=chance.choice(("direct", "direct", "teardrop", "parallel")),
        airspeed_kt=chance.gauss(100, 2),
    )


def two_holds(_: float, chance: random.Random) -> Day:
    return _with(ordinary(_, chance), hold=chance.choice(("easy", "other")))


def steady(_: float, __: random.Random) -> Day:
    return Day()


def after_half(**what: object) -> Changing:
    """A condition that changes for good at half time."""

    def day(part: float, chance: random.Random) -> Day:
        usual = _with(ordinary(part, chance), laps=4, entry="direct")
        return _with(usual, **what) if part >= 0.5 else usual

    return day


def stronger_wind(part: float, chance: random.Random) -> Day:
    """From about 8 to about 25 kt, session by session."""
    size = (6.0 + 12.0 * part) * chance.uniform(0.8, 1.2)
    return Day(wind=(size * chance.choice((-1, 1)), size * chance.choice((-1, 1))), laps=4)


def _with(day: Day, **what: object) -> Day:
    return Day(**{**day.__dict__, **what})  # type: ignore[arg-type]


CONDITIONS: dict[str, Changing] = {
    "laps from 2 to 6": lambda part, chance: _with(ordinary(part, chance), laps=2 if part < 0.5 else 6),
    "laps, more each time": lambda part, chance: _with(ordinary(part, chance), laps=2 + round(4 * part)),
    "a harder hold": after_half(hold="hard"),
    "a finer needle": after_half(full_scale=0.3),
    "stronger wind": stronger_wind,
    "another entry": after_half(entry="parallel"),
    "another aircraft": after_half(airspeed_kt=150.0),
}


def sessions(
    seed: object, count: int, days: Changing = ordinary, improved: float = 0.0, only: tuple[str, ...] = ()
) -> tuple[Session, ...]:
    """One pilot's sessions. ``improved``: share of the errors gone from the first to the last, of all items or ``only``
    these.
    """
    chance = random.Random(f"{seed}")
    skill = chance.uniform(0.5, 1.5)
    own = {item: chance.uniform(0.6, 1.4) for item in ITEMS}
    made = []
    for n in range(count):
        part = n / (count - 1) if count > 1 else 0.0
        day = days(part, chance)
        luck = chance.gauss(0, 0.12)
        items: list[ItemRow] = []
        for item, (_, _, limit, usual, form) in ITEMS.items():
            gone = (1 - improved) ** part if not only or item in only else 1.0
            level = usual * limit * skill * own[item] * gone * day.factor(item)
            level *= 2.718281828 ** (luck + chance.gauss(0, 0.15))
            for lap in range(1, day.laps + 1):
                first = FIRST_LAPS.get(item, ())
                size = level * (first[lap - 1] if lap <= len(first) else 1.0)
                value = _value(form, size, limit, chance, items)
                if form in ("normal", "largest"):
                    value += chance.gauss(0, 0.04 * limit)
                result = "outside" if form != "ceiling" and abs(value) > limit else "within"
                items.append(item_row(item, lap, value, result, limit, 0.04 * limit))
        made.append(_session(n, day, items))
    return tuple(made)


def _value(form: str, level: float, limit: float, chance: random.Random, before: list[ItemRow]) -> float:
    if form == "normal":
        return chance.gauss(0.3 * level, 1.2 * level)
    if form == "largest":
        return chance.choice((-1, 1)) * level * chance.gammavariate(5.0, 0.2)
    if form == "often zero":
        return max(chance.gauss(0, 2.0 * level), 0.0)
    if form == "ceiling":
        return limit * chance.uniform(0.48, 0.5)
    laps = [each for each in before if each.item == "turn_rate"]
    lap = sum(each.item == "turn_bank" for each in before)
    return (laps[lap].value or 0.0) * 5.0


def _session(number: int, day: Day, items: list[ItemRow]) -> Session:
    start = 1.77e9 + 7 * DAY_S * number
    timed = sum(each.item == "inbound_time" for each in items)
    flown = hold(
        recording_id=number,
        flight_hash=f"flight {number}",
        hold_hash=day.hold,
        started_epoch_s=start,
        full_scale=day.full_scale,
        true_airspeed_kt=day.airspeed_kt,
        wind_kt=(day.wind[0] ** 2 + day.wind[1] ** 2) ** 0.5,
        wind_head_kt=day.wind[0],
        wind_cross_kt=day.wind[1],
        laps=day.laps,
        laps_judged=day.laps,
        laps_within=day.laps,
        timed_laps=timed,
        laps_to_converge=None,
        entries=(EntryRow(1, day.entry, day.entry, True, False),),
        items=tuple(items),
    )
    return Session((flown,))
