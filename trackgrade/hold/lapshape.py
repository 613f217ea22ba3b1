"""The shape of a lap in wind: straights and turns in the air, carried by the wind. Geometry only, no choices.

Everything is in the hold's frame, so right and left patterns are one case: headings are angles from the inbound
course, positive toward the holding side [rad]; speeds NM/s; the wind is the vector it blows *toward*. A lap is a
row of phases, in each of which the turn rate changes linearly from one value to another; so a straight, a steady
turn and a roll into a turn are the same thing. The heading then is a known function of time, and positions are
its integral by Gauss-Legendre quadrature, exact to rounding.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from trackgrade.track.track import Floats

#: A turn counts as one above a quarter of standard rate, or of its own rate where that is less (as laps are measured).
TURNING_RAD_S, TURNING_SHARE = math.radians(0.75), 0.25

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(24)
_STEP_NODES, _STEP_WEIGHTS = np.polynomial.legendre.leggauss(4)


class Air(NamedTuple):
    """Airspeed, and the wind as (along, cross) [NM/s]; steady turn rate [rad/s]; time to roll into it [s]."""

    tas_nm_s: float
    wind_along_nm_s: float
    wind_cross_nm_s: float
    rate_rad_s: float
    roll_s: float = 0.0

    @property
    def edge_s(self) -> float:
        """From the first movement of a turn to what counts as its start (`TURNING_SHARE`), and the same at its end."""
        return self.roll_s * min(TURNING_RAD_S / self.rate_rad_s, TURNING_SHARE)

    @property
    def wind_speed_nm_s(self) -> float:
        return math.hypot(self.wind_along_nm_s, self.wind_cross_nm_s)

    @property
    def inbound_heading_rad(self) -> float:
        """Heading that tracks the inbound course; NaN where the crosswind is as strong as the airspeed."""
        share = self.wind_cross_nm_s / self.tas_nm_s
        return -math.asin(share) if abs(share) < 1.0 else math.nan

    @property
    def inbound_gs_nm_s(self) -> float:
        """Ground speed along the inbound course; NaN or not positive where it cannot be flown."""
        return self.tas_nm_s * math.cos(self.inbound_heading_rad) + self.wind_along_nm_s

    def velocity(self, heading_rad: float) -> tuple[float, float]:
        """Over the ground, (along, cross) [NM/s]."""
        return (
            self.tas_nm_s * math.cos(heading_rad) + self.wind_along_nm_s,
            self.tas_nm_s * math.sin(heading_rad) + self.wind_cross_nm_s,
        )


class Phase(NamedTuple):
    """Some seconds over which the turn rate goes linearly from one value to another [rad/s]."""

    seconds: float
    rate_from_rad_s: float = 0.0
    rate_to_rad_s: float = 0.0

    @property
    def change_rad(self) -> float:
        return 0.5 * self.seconds * (self.rate_from_rad_s + self.rate_to_rad_s)

    def turned_rad(self, t_s: Floats) -> Floats:
        """Heading change within the phase after ``t_s`` of it."""
        growth = (self.rate_to_rad_s - self.rate_from_rad_s) / self.seconds if self.seconds > 0.0 else 0.0
        return self.rate_from_rad_s * t_s + 0.5 * growth * t_s**2


def turn_phases(change_rad: float, air: Air) -> tuple[Phase, ...]:
    """A turn toward the holding side's hand through ``change_rad`` > 0: roll in, steady, roll out.

    A turn too small to reach the steady rate peaks below it.
    """
    rate, roll_s = air.rate_rad_s, air.roll_s
    if roll_s <= 0.0:
        return (Phase(change_rad / rate, rate, rate),)
    if change_rad < rate * roll_s:
        shrink = math.sqrt(change_rad / (rate * roll_s))
        return (
            Phase(roll_s * shrink, 0.0, rate * shrink),
            Phase(roll_s * shrink, rate * shrink, 0.0),
        )
    return (
        Phase(roll_s, 0.0, rate),
        Phase(change_rad / rate - roll_s, rate, rate),
        Phase(roll_s, rate, 0.0),
    )


def displacement(phases: tuple[Phase, ...], start_rad: float, air: Air) -> tuple[float, float, float]:
    """Seconds taken, and how far over the ground (along, cross) [NM], from a start heading."""
    seconds = along = cross = 0.0
    heading = start_rad
    for phase in phases:
        half = 0.5 * phase.seconds
        headings = heading + phase.turned_rad(half * (_NODES + 1.0))
        along += half * float(_WEIGHTS @ np.cos(headings))
        cross += half * float(_WEIGHTS @ np.sin(headings))
        heading += phase.change_rad
        seconds += phase.seconds
    return (
        seconds,
        air.tas_nm_s * along + air.wind_along_nm_s * seconds,
        air.tas_nm_s * cross + air.wind_cross_nm_s * seconds,
    )


class FixTurn(NamedTuple):
    """The turn at the fix to an outbound heading: when and where it is over, and when abeam comes.

    ``abeam_s`` from the fix: on the straight outbound where the turn ends past the fix, in the turn where the
    wind has carried the aircraft back before; infinite where this heading never comes abeam.
    """

    seconds: float
    along_nm: float
    cross_nm: float
    abeam_s: float


def fix_turn(outbound_rad: float, air: Air) -> FixTurn:
    """The turn from the inbound heading, at the fix, to ``outbound_rad``."""
    start = air.inbound_heading_rad
    phases = turn_phases(outbound_rad - start, air)
    seconds, along, cross = displacement(phases, start, air)
    if along > 0.0:
        speed = air.velocity(outbound_rad)[0]
        return FixTurn(seconds, along, cross, seconds - along / speed if speed < 0.0 else math.inf)
    return FixTurn(seconds, along, cross, _abeam_in(phases, start, air))


def _abeam_in(phases: tuple[Phase, ...], start_rad: float, air: Air) -> float:
    """When along comes back to nought within a turn that starts at the fix and ends behind it."""
    t_s, along, _, heading = trace(phases, start_rad, air, 0.5)
    behind = np.flatnonzero(along[1:] <= 0.0)
    if len(behind) == 0:  # rounding: the turn ends abeam
        return float(t_s[-1])
    before, after = int(behind[0]), int(behind[0]) + 1
    # Between two samples along is a cubic to far below a millimetre: positions and speeds are exact at both.
    span_s, rise = t_s[after] - t_s[before], along[after] - along[before]
    begin, end = span_s * (air.tas_nm_s * np.cos(heading[[before, after]]) + air.wind_along_nm_s)
    roots = np.roots([begin + end - 2.0 * rise, 3.0 * rise - 2.0 * begin - end, begin, along[before]])
    later = roots.real > (0.05 if before == 0 else 0.0)  # a turn from the fix begins abeam too
    return float(t_s[before] + span_s * min(roots.real[later & (np.abs(roots.imag) < 1e-9)], default=1.0))


class LapShape(NamedTuple):
    """A lap flown on one outbound heading for one straight time, and where its turn back ends.

    Times [s] from the fix; turns end where they are measured to on a flown lap, ``edge_s`` before the last movement.
    ``turned_*``: where the turn back is begun; ``rollout_*``: where it ends [NM].
    """

    outbound_rad: float
    straight_s: float
    fix_turn_s: float
    back_turn_s: float
    edge_s: float
    abeam_s: float
    turned_along_nm: float
    turned_cross_nm: float
    rollout_along_nm: float
    rollout_cross_nm: float

    @property
    def wings_level_s(self) -> float:
        return self.fix_turn_s - self.edge_s

    @property
    def outbound_end_s(self) -> float:
        """When the turn back is begun, by hand: it is measured as one ``edge_s`` later."""
        return self.fix_turn_s + self.straight_s

    @property
    def outbound_s(self) -> float:
        """Seconds from abeam to the start of the turn back; negative where that comes first."""
        return self.outbound_end_s - self.abeam_s

    @property
    def rollout_s(self) -> float:
        return self.fix_turn_s + self.straight_s + self.back_turn_s - self.edge_s


def lap_shape(outbound_rad: float, straight_s: float, air: Air) -> LapShape:
    """The lap: turn at the fix, ``straight_s`` on the outbound heading, turn back to the inbound heading."""
    turn = fix_turn(outbound_rad, air)
    speed_along, speed_cross = air.velocity(outbound_rad)
    along = turn.along_nm + straight_s * speed_along
    cross = turn.cross_nm + straight_s * speed_cross
    seconds, back_along, back_cross = turn_back(outbound_rad, air)
    return LapShape(
        outbound_rad=outbound_rad,
        straight_s=straight_s,
        fix_turn_s=turn.seconds,
        back_turn_s=seconds,
        edge_s=air.edge_s,
        abeam_s=turn.abeam_s,
        turned_along_nm=along,
        turned_cross_nm=cross,
        rollout_along_nm=along + back_along - air.edge_s * air.inbound_gs_nm_s,
        rollout_cross_nm=cross + back_cross,
    )


def turns_of(outbound_rad: float, air: Air) -> tuple[float, float, float]:
    """Seconds and displacement [NM] of both turns of a lap on an outbound heading."""
    start = air.inbound_heading_rad
    there = displacement(turn_phases(outbound_rad - start, air), start, air)
    back = turn_back(outbound_rad, air)
    return there[0] + back[0], there[1] + back[1], there[2] + back[2]


def turn_back(outbound_rad: float, air: Air) -> tuple[float, float, float]:
    """Seconds and displacement [NM] of the turn from an outbound heading to the inbound one."""
    change = 2.0 * math.pi + air.inbound_heading_rad - outbound_rad
    return displacement(turn_phases(change, air), outbound_rad, air)


def crossing_before_rollout_s(shape: LapShape, air: Air) -> float:
    """How long before the roll-out the course is crossed in the turn back [s]; 0 where the turn ends short of it."""
    change = 2.0 * math.pi + air.inbound_heading_rad - shape.outbound_rad
    t_s, _, cross, _ = trace(turn_phases(change, air), shape.outbound_rad, air, 0.5)
    cross = cross + shape.turned_cross_nm
    through = np.flatnonzero((cross[:-1] > 0.0) & (cross[1:] <= 0.0))
    if len(through) == 0:
        return 0.0
    k = int(through[-1])
    share = float(cross[k] / (cross[k] - cross[k + 1]))
    return max(0.0, shape.back_turn_s - air.edge_s - float(t_s[k] + share * (t_s[k + 1] - t_s[k])))


def trace(
    phases: tuple[Phase, ...], start_rad: float, air: Air, step_s: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Time [s], along, cross [NM] and heading [rad] about every ``step_s`` and at each end of a phase."""
    times, alongs, crosses, headings = [np.zeros(1)], [np.zeros(1)], [np.zeros(1)], [np.array([start_rad])]
    for phase in phases:
        if phase.seconds <= 0.0:
            continue
        ends = np.linspace(0.0, phase.seconds, max(2, math.ceil(phase.seconds / step_s - 1e-9) + 1))
        half = 0.5 * np.diff(ends)[:, None]
        inside = headings[-1][-1] + phase.turned_rad(ends[:-1, None] + half * (_STEP_NODES + 1.0))
        spent = ends[1:]
        alongs.append(
            alongs[-1][-1]
            + air.tas_nm_s * np.cumsum((half * np.cos(inside)) @ _STEP_WEIGHTS)
            + air.wind_along_nm_s * spent
        )
        crosses.append(
            crosses[-1][-1]
            + air.tas_nm_s * np.cumsum((half * np.sin(inside)) @ _STEP_WEIGHTS)
            + air.wind_cross_nm_s * spent
        )
        times.append(times[-1][-1] + spent)
        headings.append(headings[-1][-1] + phase.turned_rad(spent))
    return tuple(np.concatenate(part) for part in (times, alongs, crosses, headings))  # type: ignore[return-value]


def lap_phases(shape: LapShape, inbound_s: float, air: Air) -> tuple[Phase, ...]:
    """The phases of a whole lap, for `trace` from the inbound heading at the fix."""
    start = air.inbound_heading_rad
    return (
        *turn_phases(shape.outbound_rad - start, air),
        Phase(shape.straight_s),
        *turn_phases(2.0 * math.pi + start - shape.outbound_rad, air),
        Phase(max(inbound_s - shape.edge_s, 0.0)),
    )
