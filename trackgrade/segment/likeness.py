"""Whether laps at a fix that nobody named are a hold: the grader is told that there is one, the search is not.

Each test has a flight it was made for: thermals and orbits (turn rate, legs), circuits of an aerodrome (height, square
corners), searches and procedure turns (corners and corrections on the outbound leg), survey lines (they move on, or
turn about). An only lap has to look like one in all of them; of several most.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.motion.samples import Turn
from trackgrade.segment.events import overlaps
from trackgrade.segment.flown import Entry, Lap
from trackgrade.segment.path import FlightPath
from trackgrade.segment.placing import Placed
from trackgrade.track.track import Floats

#: Half circles of a hold take so long [s]: standard rate (30 degrees of bank at 60 kt is three times that) or less,
#: down to 20 degrees of bank at 500 kt; thermals and cars turn faster, arcs slower.
SHORTEST_HALF_CIRCLE_S, LONGEST_HALF_CIRCLE_S = 28.0, 240.0
#: Of a half circle so much is turning; a square circuit has a leg in it.
LEAST_TURNING_SHARE = 0.6
#: Straight flight on the two legs of a lap together [s]; least and most of an only lap.
LEAST_LEGS_S, LEGS_ONCE_S = 30.0, (50.0, 800.0)
#: Turns on the outbound leg together [deg]: a hold's is flown on one heading; of an only lap.
MOST_CORRECTED_DEG, MOST_CORRECTED_ONCE_DEG = 45.0, 20.0
#: Abeam the fix the outbound leg of an only lap lies this many turn diameters to the side.
ABEAM_DIAMETERS = (0.35, 2.0)
#: A lap that goes down by more than this and comes up again is a circuit of an aerodrome [ft].
CIRCUIT_FT = 350.0
#: The fix of an only lap is met this closely in the end [NM, or turn diameters]; the arrival was straight so long [s].
MISSED_ONCE_NM, MISSED_ONCE_DIAMETERS, STRAIGHT_ARRIVAL_S = 0.25, 0.12, 9.0
#: Passages of one hold scatter by less than this [NM]; moving across by more a lap, in step, they are survey lines.
MOST_SCATTER_NM, MOVES_ON_NM = 0.6, 0.12
#: A turn about before the arrival or after leaving: the other way through this much, no further away than so many legs,
#: is between two lines of a survey, where the lap began on its own course.
TURN_ABOUT_DEG, TURN_ABOUT_LEGS, ON_COURSE_DEG = 150.0, 1.6, 30.0


@dataclass(frozen=True)
class _Shape:
    """One lap in numbers; times [s], angles [deg]."""

    half_circle_s: float
    longest_half_s: float
    turning_share: float
    legs_s: float
    corrected_deg: float
    diameter_nm: float
    abeam_diameters: float
    down_and_up_ft: float


def looks_flown(path: FlightPath, entry: Entry, laps: Sequence[Lap], placed: Placed, alt_ft: Floats) -> bool:
    """Whether these laps can be a hold. ``alt_ft`` (n,) is on the grid of the path, NaN where unknown."""
    shapes = [shape for lap in laps if (shape := _shape(path, lap, alt_ft)) is not None]
    if not shapes or 2 * len(shapes) < len(laps):
        return False
    half, longest, share, legs, corrected, down = (
        float(np.median([getattr(each, name) for each in shapes]))
        for name in ("half_circle_s", "longest_half_s", "turning_share", "legs_s", "corrected_deg", "down_and_up_ft")
    )
    if half < SHORTEST_HALF_CIRCLE_S or longest > LONGEST_HALF_CIRCLE_S or share < LEAST_TURNING_SHARE:
        return False
    if legs < LEAST_LEGS_S or down > CIRCUIT_FT or _ends_scatter(laps) > MOST_SCATTER_NM:
        return False
    if corrected > MOST_CORRECTED_DEG or placed.scatter_nm > MOST_SCATTER_NM or _moves_on(laps):
        return False
    return len(laps) > 1 or _an_only_lap(path, entry, laps[0], shapes[0])


def _shape(path: FlightPath, lap: Lap, alt_ft: Floats) -> _Shape | None:
    if lap.outbound_turn_end is None or lap.outbound_end is None or lap.end is None or lap.inbound_turn_end is None:
        return None
    out = ((lap.outbound_turn_start or lap.start).epoch_s, lap.outbound_turn_end.epoch_s)
    back = (lap.outbound_end.epoch_s, lap.inbound_turn_end.epoch_s)
    turning = sum(overlaps(turn, *span) for turn in path.turns for span in (out, back))
    height = alt_ft[path.index(lap.start.epoch_s) : path.index(lap.end.epoch_s) + 1]
    tenth = max(len(height) // 10, 1)  # outliers are left out: single altitudes of logs are off by miles
    ends = float(np.median(height[:tenth])), float(np.median(height[-tenth:]))
    low, high = np.quantile(height, [0.05, 0.95])
    rate = float(np.median([turn.rate_deg_s for turn in path.turns if overlaps(turn, *back) > 2.0] or [3.0]))
    # Arriving from across, the fix itself may be abeam: the outbound leg then tells.
    k = path.index((lap.abeam or lap.outbound_turn_end).epoch_s)
    diameter_nm = 2.0 * float(path.airspeed_kt[k] / 3600.0 / np.radians(max(rate, 0.8)))
    return _Shape(
        half_circle_s=(out[1] - out[0] + back[1] - back[0]) / 2.0,
        longest_half_s=max(out[1] - out[0], back[1] - back[0]),
        turning_share=turning / max(out[1] - out[0] + back[1] - back[0], 1.0),
        legs_s=back[0] - out[1] + lap.end.epoch_s - back[1],
        corrected_deg=sum(abs(turn.change_deg) for turn in _between(path, out[1] - 1.0, back[0] + 1.0)),
        diameter_nm=diameter_nm,
        abeam_diameters=float(path.cross_nm[k]) / diameter_nm,
        down_and_up_ft=float(high - low) - abs(ends[1] - ends[0]),
    )


def _between(path: FlightPath, start: float, end: float) -> list[Turn]:
    return [turn for turn in path.turns if turn.start_epoch_s > start and turn.end_epoch_s < end]


def _ends_scatter(laps: Sequence[Lap]) -> float:
    across = [lap.end_cross_nm for lap in laps if lap.end_cross_nm is not None]
    return float(np.std(across, ddof=1)) if len(across) > 1 else 0.0


def _moves_on(laps: Sequence[Lap]) -> bool:
    """Whether the laps end further to the same side each time, in even steps."""
    across = np.array([lap.end_cross_nm for lap in laps if lap.end_cross_nm is not None])
    if len(across) < 3:
        return False
    k = np.arange(len(across))
    step, start = np.polyfit(k, across, 1)
    rest = float(np.std(across - step * k - start))
    return abs(float(step)) > MOVES_ON_NM and rest < abs(float(step)) * np.sqrt(len(k)) / 2.0


def _an_only_lap(path: FlightPath, entry: Entry, lap: Lap, shape: _Shape) -> bool:
    if abs(lap.end_cross_nm or 0.0) > max(MISSED_ONCE_NM, MISSED_ONCE_DIAMETERS * shape.diameter_nm):
        return False
    if not LEGS_ONCE_S[0] < shape.legs_s < LEGS_ONCE_S[1] or shape.corrected_deg > MOST_CORRECTED_ONCE_DEG:
        return False
    if not ABEAM_DIAMETERS[0] < shape.abeam_diameters < ABEAM_DIAMETERS[1]:
        return False
    arrival = (entry.start or lap.start).epoch_s
    before = [turn for turn in path.turns if turn.end_epoch_s < arrival + 2.0 and abs(turn.change_deg) > 30.0]
    straight = arrival - (before[-1].end_epoch_s if before else float(path.epoch_s[0]))
    if entry.kind != "direct":
        return True  # who enters so means to hold
    about_s = TURN_ABOUT_LEGS * shape.legs_s / 2.0 + 15.0
    on_course = abs(float(wrap180(path.value(path.track_deg, arrival)))) < ON_COURSE_DEG
    if before and on_course and straight < about_s and before[-1].change_deg < -TURN_ABOUT_DEG:
        return _passed_before(path, before[-1], about_s, shape)
    left = lap.end.epoch_s if lap.end else arrival
    after = [turn for turn in path.turns if turn.start_epoch_s > left and abs(turn.change_deg) > 30.0]
    return not (after and after[0].change_deg < -TURN_ABOUT_DEG and after[0].start_epoch_s - left < about_s)


def _passed_before(path: FlightPath, about: Turn, about_s: float, shape: _Shape) -> bool:
    """Whether the fix was passed before a turn about, as in a parallel entry; a line of a survey lies beside it."""
    leg = slice(path.index(about.start_epoch_s - about_s), path.index(about.start_epoch_s) + 1)
    nearest = float(np.min(np.hypot(path.along_nm[leg], path.cross_nm[leg])))
    return nearest < max(MISSED_ONCE_NM, MISSED_ONCE_DIAMETERS * shape.diameter_nm)
