"""The flight as the hold sees it: along, across, and angles relative to the inbound course.

The same flight can be read as flown on the reciprocal course or with turns to the other side: `seen_as` gives that
reading, so that the search for laps is written once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from trackgrade.earth.units import KT_PER_M_S, METRES_PER_NM
from trackgrade.hold.frame import HoldFrame
from trackgrade.motion.motion import AirMotion, Motion
from trackgrade.motion.samples import MotionSamples, Turn, turns_in
from trackgrade.motion.wind import WindFit
from trackgrade.track.track import Bools, Floats

#: Where no wind is known the ground track stands for the heading: off it by what drift usually is [deg].
DRIFT_SD_DEG = 8.0


@dataclass(frozen=True, eq=False)
class FlightPath:
    """Arrays (n,) on an even grid of time; angles relative to the inbound course, toward the holding side positive.

    ``heading_deg`` and ``track_deg`` are unwrapped; ``across_sd_nm`` and ``lengthwise_sd_nm`` are the errors of the
    position across and along the ground track;
    ``heading_sd_deg``: of a heading held, from that of the wind;
    ``turns`` carry ``change_deg`` positive toward the holding side.
    """

    epoch_s: Floats
    along_nm: Floats
    cross_nm: Floats
    heading_deg: Floats
    track_deg: Floats
    rate_deg_s: Floats
    groundspeed_kt: Floats
    airspeed_kt: Floats
    across_sd_nm: Floats
    lengthwise_sd_nm: Floats
    in_hole: Bools
    turns: tuple[Turn, ...]
    heading_sd_deg: float = 0.0

    def seen_as(self, *, reciprocal: bool, mirrored: bool) -> FlightPath:
        """The same flight against the reciprocal course, or against the other holding side, or both."""
        path = self
        if reciprocal:
            path = replace(
                path,
                along_nm=-path.along_nm,
                cross_nm=-path.cross_nm,
                heading_deg=path.heading_deg - 180.0,
                track_deg=path.track_deg - 180.0,
            )
        if mirrored:
            path = replace(
                path,
                cross_nm=-path.cross_nm,
                heading_deg=-path.heading_deg,
                track_deg=-path.track_deg,
                rate_deg_s=-path.rate_deg_s,
                turns=_mirrored(path.turns),
            )
        return path

    def turns_in(self, start: float, end: float) -> Sequence[Turn]:
        """The turns that end after one moment and begin before another [s since 1970]."""
        return turns_in(self.turns, start, end)

    def index(self, epoch_s: float) -> int:
        """Index of the last grid time at or before a moment."""
        return max(int(self.epoch_s.searchsorted(epoch_s, side="right")) - 1, 0)

    def value(self, array: Floats, epoch_s: float) -> float:
        """An array of this path at a moment, by linear interpolation."""
        return float(np.interp(epoch_s, self.epoch_s, array))


@dataclass(frozen=True, eq=False, kw_only=True)
class Samples(MotionSamples):
    """The motion at each clean sample, in the hold's frame too: arrays (n,) [NM].

    ``along_nm`` grows in the direction of the inbound course through the fix, ``cross_nm`` toward the holding side.
    """

    along_nm: Floats
    cross_nm: Floats


def seen_from_hold(samples: MotionSamples, frame: HoldFrame) -> Samples:
    """The same samples with their places in the hold's frame."""
    along_nm, cross_nm = frame.from_east_north(samples.east_nm, samples.north_nm)
    own = {each.name: getattr(samples, each.name) for each in fields(samples)}
    return Samples(**own, along_nm=along_nm, cross_nm=cross_nm)


def flight_path(
    motion: Motion, air: AirMotion, wind: WindFit | None, turns: tuple[Turn, ...], frame: HoldFrame
) -> FlightPath:
    """The motion on its even grid, and its turns (times since 1970, right positive), turned into the hold's frame."""
    along_nm, cross_nm = frame.from_east_north(*(air.position_m / METRES_PER_NM).T)
    across_m, lengthwise_m = motion.grid_sd_m
    return FlightPath(
        epoch_s=motion.grid_s + motion.start_epoch_s,
        along_nm=along_nm,
        cross_nm=cross_nm,
        heading_deg=frame.side * (air.heading_deg - frame.inbound_course_true_deg),
        track_deg=frame.side * (air.track_deg - frame.inbound_course_true_deg),
        rate_deg_s=frame.side * air.heading_rate_deg_s,
        groundspeed_kt=air.groundspeed_m_s * KT_PER_M_S,
        airspeed_kt=air.airspeed_m_s * KT_PER_M_S,
        across_sd_nm=across_m / METRES_PER_NM,
        lengthwise_sd_nm=lengthwise_m / METRES_PER_NM,
        in_hole=motion.in_hole,
        heading_sd_deg=DRIFT_SD_DEG if wind is None else wind.heading_sd_deg(),
        turns=turns if frame.side > 0 else _mirrored(turns),
    )


def _mirrored(turns: tuple[Turn, ...]) -> tuple[Turn, ...]:
    return tuple(replace(turn, change_deg=-turn.change_deg) for turn in turns)
