"""What differed between sessions besides the pilot, as columns of a regression with how much each may matter. Pure."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.logbook.history import HoldFlown, Session
from trackgrade.track.track import Floats

#: How much a condition may change the logarithm of the errors before anything is known of it: one standard deviation, a
#: choice. Wind: for 10 kt more; laps and airspeed: for twice as many; the others: for one kind against the usual.
#: 0.5 is errors larger by two thirds; two holds then differ by up to a factor of two as a matter of course.
PRIOR_SD = {
    "wind along the course": 0.22,
    "wind across the course": 0.22,
    "number of laps": 0.22,
    "airspeed": 1.0,
    "hold": 0.5,
    "guidance": 0.5,
    "entry": 0.15,
}

#: A single item may depend on a condition more than all together do (a finer needle moves the needle's item alone).
ITEM_FACTOR = 1.6

#: Holds, entries and guidances told apart; rarer ones are one more kind.
MOST_KINDS = 40


@dataclass(frozen=True, eq=False)
class Conditions:
    """``columns``: sessions by columns. ``names``: the condition of each; ``sd``: its prior (see `PRIOR_SD`)."""

    columns: Floats
    names: tuple[str, ...]
    sd: Floats


def conditions(sessions: Sequence[Session]) -> Conditions:
    """The conditions of these sessions. What is not known of a session (a wind) is taken as in the others."""
    columns: list[Floats] = []
    names: list[str] = []
    for name, values in (
        ("wind along the course", _numbers(sessions, lambda hold: _tens(hold.wind_head_kt))),
        ("wind across the course", _numbers(sessions, lambda hold: _tens(hold.wind_cross_kt))),
        ("number of laps", np.log2([max(sum(hold.laps for hold in each.holds), 1) for each in sessions])),
        ("airspeed", _numbers(sessions, _doublings)),
    ):
        columns.append(np.where(np.isfinite(values), values, _middle(values)))
        names.append(name)
    for name, kinds in (
        ("hold", [[hold.hold_hash for hold in each.holds] for each in sessions]),
        ("guidance", [[guidance_words(hold) for hold in each.holds] for each in sessions]),
        ("entry", [[hold.entry for hold in each.holds if hold.entry] for each in sessions]),
    ):
        for kind in sorted({kind for own in kinds for kind in own})[:MOST_KINDS]:
            columns.append(np.array([own.count(kind) / len(own) if own else np.nan for own in kinds]))
            columns[-1] = np.where(np.isfinite(columns[-1]), columns[-1], _middle(columns[-1]))
            names.append(name)
    return Conditions(np.column_stack(columns), tuple(names), np.array([PRIOR_SD[name] for name in names]))


def guidance_words(hold: HoldFlown) -> str:
    """ "GPS, 0.3 NM full scale", "VOR, FROM"."""
    words = (hold.guidance or "not known").upper()
    if hold.full_scale is not None:
        words += f", {hold.full_scale:g}{'°' if hold.guidance == 'vor' else ' NM'} full scale"
    return f"{words}, {hold.flag}" if hold.guidance == "vor" and hold.flag else words


def _numbers(sessions: Sequence[Session], of: Callable[[HoldFlown], float | None]) -> Floats:
    values = []
    for session in sessions:
        own = [value for hold in session.holds if (value := of(hold)) is not None]
        values.append(sum(own) / len(own) if own else math.nan)
    return np.array(values)


def _middle(values: Floats) -> float:
    return float(np.nanmedian(values)) if np.isfinite(values).any() else 0.0


def _tens(component_kt: float | None) -> float | None:
    return None if component_kt is None else abs(component_kt) / 10.0


def _doublings(hold: HoldFlown) -> float | None:
    return math.log2(hold.true_airspeed_kt) if hold.true_airspeed_kt and hold.true_airspeed_kt > 0 else None
