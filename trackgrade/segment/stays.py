"""When the fix was held at, by the ground track alone: from the first round that it led back to the fix to the last.

This tells where to look for the wind, before headings and turns are known in it. Which rounds are laps is seen after.
"""

from __future__ import annotations

from trackgrade.earth.angles import wrap180
from trackgrade.segment.chains import SHORTEST_LAP_S, STAY_LEGS, STAY_TURNS_S, stays_near
from trackgrade.segment.events import Passage, passages_in, passages_of
from trackgrade.segment.laps import END_WITHIN_DEG
from trackgrade.segment.path import FlightPath
from trackgrade.segment.rounds import ROUND_DEG
from trackgrade.segment.visits import ENTRY_LEGS, ENTRY_TURNS_S

#: A round lasts at most this many times the leg, and its turns with slack [s]: laps flown slowly in gales do.
ROUND_LEGS, ROUND_TURNS_S = 5.0, 360.0


def stays(path: FlightPath, leg_s: float) -> list[tuple[float, float]]:
    """First and last moment of each stay at the fix, with its entry [s since 1970]; on the reciprocal course where
    there is none on the hold's own."""
    return _stays(path, leg_s) or _stays(path.seen_as(reciprocal=True, mirrored=False), leg_s)


def _stays(path: FlightPath, leg_s: float) -> list[tuple[float, float]]:
    passages = passages_of(path)
    stays: list[tuple[float, float]] = []
    for a in sorted((*passages.inbound, *passages.arrivals), key=_when):
        b = _once_round(path, a, passages.inbound, leg_s)
        if b is None:
            continue
        if stays and _when(a) - stays[-1][1] < STAY_LEGS * leg_s + STAY_TURNS_S:
            stays[-1] = stays[-1][0], max(stays[-1][1], _when(b))
        else:
            last_s = stays[-1][1] if stays else float("-inf")
            since_s = max(_when(a) - ENTRY_LEGS * leg_s - ENTRY_TURNS_S, last_s)
            arrived_s = [_when(each) for each in passages.arrivals if since_s < _when(each) < _when(a)]
            stays.append((min(arrived_s, default=_when(a)), _when(b)))
    return stays


def _once_round(path: FlightPath, a: Passage, inbound: tuple[Passage, ...], leg_s: float) -> Passage | None:
    """The first inbound passage after another, or after an arrival, to which the track led once round near the fix."""
    for b in passages_in(inbound, _when(a) + SHORTEST_LAP_S):
        if _when(b) - _when(a) > ROUND_LEGS * leg_s + ROUND_TURNS_S:
            return None
        once = ROUND_DEG[0] < abs(b.track_deg - a.track_deg) < ROUND_DEG[1]
        if once and abs(float(wrap180(b.track_deg))) < END_WITHIN_DEG and stays_near(path, a, b, leg_s):
            return b
    return None


def _when(passage: Passage) -> float:
    return passage.moment.epoch_s
