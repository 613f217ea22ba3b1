"""Whether laps at a fix that nobody named are a hold: the grader is told that there is one, the search is not.

Each test has a flight it was made for: thermals and orbits (turn rate, legs), circuits of an aerodrome (height, square
corners), searches and procedure turns (corners, another heading on the outbound leg), survey lines (each round lies
further on, or the next turns go to either side in turn). An only lap has to look like one in all; of several most.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.motion.samples import Turn
from trackgrade.segment.events import overlaps
from trackgrade.segment.flown import Entry, Lap, Moment
from trackgrade.segment.path import FlightPath
from trackgrade.segment.placing import Placed
from trackgrade.segment.rounds import large_turns
from trackgrade.track.ranks import median, quantile
from trackgrade.track.track import Bools, Floats

#: Half circles of a hold take so long [s]: standard rate (30 degrees of bank at 60 kt is three times that) or less,
#: down to 15 degrees of bank at 400 kt, in wind; thermals and cars turn faster, arcs slower.
SHORTEST_HALF_CIRCLE_S, LONGEST_HALF_CIRCLE_S = 28.0, 300.0
#: Of a half circle so much is turning; a square circuit has a leg in it.
LEAST_TURNING_SHARE = 0.6
#: Straight flight on the two legs of a lap together [s]; least and most of an only lap.
LEAST_LEGS_S, LEGS_ONCE_S = 30.0, (50.0, 800.0)
#: A turn on the outbound leg [deg]: a line is intercepted at less, a search has corners; and how far all of them lead
#: away from the side of the turn back, as a procedure turn does and a hold hardly; to either side, of an only lap
#: without an entry before it.
CORNER_DEG, AWAY_DEG, BENT_ONCE_DEG = 70.0, 45.0, 20.0
#: The outbound leg of an only lap lies this many turn diameters to the side.
ASIDE_DIAMETERS = (0.35, 2.0)
#: Stays that go down by more than this and come up again are circuits of an aerodrome [ft]; a few heights may be wrong.
CIRCUIT_FT, WRONG_HEIGHTS = 350.0, 0.03
#: The fix of an only lap is met this closely in the end [NM, or turn diameters].
MISSED_ONCE_NM, MISSED_ONCE_DIAMETERS = 0.25, 0.2
#: Passages of one hold scatter by less than this, or this share of a turn's diameter, and all its rounds together lead
#: no further on [NM]; so many rounds tell, however uneven their steps, and so many steps, both ends together: a pilot's
#: scatter may be one step at each.
MOST_SCATTER_NM, MOST_SCATTER_SHARE, MOVED_NM, EVEN_ROUNDS, LEAST_STEPS = 0.6, 0.2, 0.3, 3.0, 3
#: A half circle is seen from this before its middle to this after [deg].
HALF_WAY_DEG = 45.0
#: A turn about, onto the first line of a survey, goes through at least this; from line to line the track at least that.
TURN_ABOUT_DEG, TO_NEXT_LINE_DEG = 135.0, 165.0


@dataclass(frozen=True, eq=False)
class _Shape:
    """One lap in numbers; times [s], angles [deg]."""

    half_circle_s: float
    longest_half_s: float
    turning_share: float
    legs_s: float
    corner_deg: float
    away_deg: float
    diameter_nm: float
    aside_diameters: float

    @property
    def like_a_racetrack(self) -> bool:
        """Two half circles as an aircraft flies them in a hold, and straight legs between."""
        return (
            self.half_circle_s >= SHORTEST_HALF_CIRCLE_S
            and self.longest_half_s <= LONGEST_HALF_CIRCLE_S
            and self.turning_share >= LEAST_TURNING_SHARE
            and self.legs_s >= LEAST_LEGS_S
            and self.corner_deg <= CORNER_DEG
            and self.away_deg <= AWAY_DEG
        )


def looks_flown(path: FlightPath, entry: Entry, laps: Sequence[Lap], placed: Placed, alt_ft: Floats) -> bool:
    """Whether these laps can be a hold. ``alt_ft`` (n,) is on the grid of the path, NaN where unknown."""
    seen = [shape for lap in laps if (shape := _shape(path, lap)) is not None]
    shapes = [shape for shape in seen if shape.like_a_racetrack]
    if 2 * len(shapes) <= len(seen) or moves_on(path, laps, placed):
        return False
    if _up_and_down_ft(path, entry.start or laps[0].start, laps[-1].end or laps[-1].start, alt_ft) > CIRCUIT_FT:
        return False
    diameter_nm = median([shape.diameter_nm for shape in shapes])
    if max(np.nan_to_num(placed.scatter_nm), _ends_scatter(laps)) > max(
        MOST_SCATTER_NM, MOST_SCATTER_SHARE * diameter_nm
    ):
        return False
    return len(laps) > 1 or _an_only_lap(path, entry, laps[0], shapes[0])


def _shape(path: FlightPath, lap: Lap) -> _Shape | None:
    if lap.outbound_turn_end is None or lap.outbound_end is None or lap.end is None or lap.inbound_turn_end is None:
        return None
    out = ((lap.outbound_turn_start or lap.start).epoch_s, lap.outbound_turn_end.epoch_s)
    back = (lap.outbound_end.epoch_s, lap.inbound_turn_end.epoch_s)
    turning = sum(overlaps(turn, *span) for turn in path.turns for span in (out, back))
    rate = median([turn.rate_deg_s for turn in path.turns if overlaps(turn, *back) > 2.0] or [3.0])
    k = path.index(lap.outbound_turn_end.epoch_s)
    leg = slice(k, path.index(lap.outbound_end.epoch_s) + 1)
    diameter_nm = 2.0 * float(path.airspeed_kt[k] / 3600.0 / np.radians(max(rate, 0.8)))
    outbound = [turn.change_deg for turn in _between(path, out[1] - 1.0, back[0] + 1.0)]
    return _Shape(
        half_circle_s=(out[1] - out[0] + back[1] - back[0]) / 2.0,
        longest_half_s=max(out[1] - out[0], back[1] - back[0]),
        turning_share=turning / max(out[1] - out[0] + back[1] - back[0], 1.0),
        legs_s=back[0] - out[1] + lap.end.epoch_s - back[1],
        corner_deg=max(map(abs, outbound), default=0.0),
        away_deg=-sum(outbound),
        diameter_nm=diameter_nm,
        aside_diameters=median(path.cross_nm[leg]) / diameter_nm,
    )


def _up_and_down_ft(path: FlightPath, arrived: Moment, left: Moment, alt_ft: Floats) -> float:
    """How high the hills, how deep the valleys of the height over this stay are [ft]; 0 where it is not known."""
    height = alt_ft[path.index(arrived.epoch_s) : path.index(left.epoch_s) + 1]
    if not len(height) or not np.isfinite(height).all():
        return 0.0

    def valley(ft: Floats) -> float:
        walls = np.minimum(np.maximum.accumulate(ft), np.maximum.accumulate(ft[::-1])[::-1])
        return quantile(walls - ft, 1.0 - WRONG_HEIGHTS)

    return max(valley(height), valley(-height))


def _between(path: FlightPath, start: float, end: float) -> list[Turn]:
    return [turn for turn in path.turns if turn.start_epoch_s > start and turn.end_epoch_s < end]


def _ends_scatter(laps: Sequence[Lap]) -> float:
    across = [lap.end_cross_nm for lap in laps if lap.end_cross_nm is not None]
    return float(np.std(across, ddof=1)) if len(across) > 1 else 0.0


def moves_on(path: FlightPath, laps: Sequence[Lap], placed: Placed) -> bool:
    """Whether each round lies further on by much the same step, at both its ends: no point is come back to.

    Lines of a survey do, and circuits that drift, aside or along their course as the wind will; a hold comes back.
    Rounds before and after the laps count too.
    """
    middles_nm = _half_circles(path, laps)
    steps_nm = middles_nm[2:] - middles_nm[:-2]
    if len(steps_nm) < LEAST_STEPS:
        return False
    mean_nm = np.mean(steps_nm, axis=0)
    rounds, step_nm = len(steps_nm) / 2.0, float(np.hypot(*mean_nm))
    turned_nm = placed.turn_starts_nm
    if len(laps) > 1 and np.hypot(*np.ptp(turned_nm, axis=0)) < step_nm * (len(turned_nm) - 1) / 2.0:
        return False  # brought back to the fix, only the turns grow wider
    uneven_nm = float(np.max(np.hypot(*(steps_nm - mean_nm).T)))
    return step_nm * rounds > MOVED_NM and uneven_nm < step_nm * min(rounds / EVEN_ROUNDS, 1.0)


def _half_circles(path: FlightPath, laps: Sequence[Lap]) -> Floats:
    """Where along and across the course each half circle has its middle (n, 2) [NM]: of the laps, before and after."""
    track, start = path.track_deg, path.index(laps[0].start.epoch_s)
    lap_s = max(lap.end.epoch_s - lap.start.epoch_s for lap in laps if lap.end is not None)
    first = 360.0 * round(float(track[start]) / 360.0) + 90.0  # across the course, in the turn at the fix
    spans: list[tuple[int, int]] = []
    for step_deg in (180.0, -180.0):
        at, across = start, first if step_deg > 0 else first - 180.0
        while (span := _through(track, at, across, later=step_deg > 0)) is not None:
            reached = span[step_deg > 0]
            if abs(path.epoch_s[reached] - path.epoch_s[at]) > lap_s:
                break
            spans.append(span)
            at, across = reached, across + step_deg
    places_nm = np.stack([path.along_nm, path.cross_nm], axis=1)
    return np.array([np.mean(places_nm[list(span)], axis=0) for span in sorted(spans)])


def _through(track_deg: Floats, at: int, across_deg: float, *, later: bool) -> tuple[int, int] | None:
    """From where to where the track turns through a direction, the next time after an index or the last before."""
    short, beyond = track_deg <= across_deg - HALF_WAY_DEG, track_deg >= across_deg + HALF_WAY_DEG
    if later:
        last = _first(beyond, at)
        first = None if last is None else _last(short, last)
    else:
        first = _last(short, at)
        last = None if first is None else _first(beyond, first)
    return None if first is None or last is None else (first, last)


def _first(where: Bools, since: int) -> int | None:
    found = np.flatnonzero(where[since:])
    return since + int(found[0]) if len(found) else None


def _last(where: Bools, until: int) -> int | None:
    found = np.flatnonzero(where[: until + 1])
    return int(found[-1]) if len(found) else None


def _an_only_lap(path: FlightPath, entry: Entry, lap: Lap, shape: _Shape) -> bool:
    if abs(lap.end_cross_nm or 0.0) > max(MISSED_ONCE_NM, MISSED_ONCE_DIAMETERS * shape.diameter_nm):
        return False
    if entry.kind in ("teardrop", "parallel"):
        return True  # who enters so means to hold
    if not LEGS_ONCE_S[0] < shape.legs_s < LEGS_ONCE_S[1] or abs(shape.away_deg) > BENT_ONCE_DEG:
        return False
    return ASIDE_DIAMETERS[0] < shape.aside_diameters < ASIDE_DIAMETERS[1] and not _to_and_fro(path, lap, shape.legs_s)


def _to_and_fro(path: FlightPath, lap: Lap, legs_s: float) -> bool:
    """Whether a turn about to the other side, to the reciprocal, follows the lap sooner than its legs take (twice
    that with another back after it), or two to either side in turn come before it: lines of a survey, of which the
    first was joined by a turn."""
    begun, left = (lap.outbound_turn_start or lap.start).epoch_s, (lap.end or lap.start).epoch_s
    turns = large_turns(path.turns, TURN_ABOUT_DEG)
    after = [(start, end, change) for start, end, change in turns if (start + end) / 2.0 > left]
    before = [(end, change) for _, end, change in turns if end < begun]
    if after:
        start, end, _ = after[0]
        about_deg = path.value(path.track_deg, start) - path.value(path.track_deg, end)
        soon_s = legs_s * (2.0 if after[1:] and after[1][2] > 0.0 else 1.0)
        if about_deg > TO_NEXT_LINE_DEG and start - left < soon_s:
            return True
    return len(before) > 1 and before[-1][1] < 0.0 < before[-2][1] and begun - before[-2][0] < left - begun
