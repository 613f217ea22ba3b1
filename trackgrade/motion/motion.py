"""The motion of a whole flight: a trajectory about the fix, on the samples and on an even grid of time."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from trackgrade.earth.geodesy import LocalPlane
from trackgrade.earth.units import METRES_PER_NM
from trackgrade.motion.smoothing import (
    JERK_DENSITY_M2_S5,
    Trajectory,
    smooth,
    smoothed_acceleration_sd_m_s2,
)
from trackgrade.motion.wind import WindFit
from trackgrade.track.ranks import median
from trackgrade.track.track import Bools, CleanTrack, Floats

#: Step of the even grid on which turns and passages are looked for [s].
GRID_STEP_S = 1.0
#: A heading rate noisier than this cannot tell a turn's edges [deg/s]; a calmer trajectory serves there.
CALM_RATE_SD_DEG_S = 0.35


@dataclass(frozen=True, eq=False)
class Motion:
    """Trajectories in metres east and north of the fix, times in seconds since ``start_epoch_s``.

    ``calm`` reacts later and is less noisy: for turn rates only. ``grid_s`` (g,) is even; ``in_hole`` (g,)
    marks its times inside a gap. ``raw_m`` (n, 2) are the cleaned positions as recorded.
    """

    start_epoch_s: float
    raw_m: Floats
    trajectory: Trajectory
    calm: Trajectory
    grid_s: Floats
    in_hole: Bools
    rate_sd_deg_s: float

    @cached_property
    def grid_sd_m(self) -> tuple[Floats, Floats]:
        """`Trajectory.position_sd_m` on the grid."""
        return self.trajectory.position_sd_m(self.grid_s)


class AirMotion(NamedTuple):
    """Through the air at given times: heading (unwrapped) [deg true], its rate [deg/s], airspeed [m/s]; and over
    the ground: position [m], speed [m/s], track (unwrapped) [deg true], its rate [deg/s]."""

    position_m: Floats
    heading_deg: Floats
    heading_rate_deg_s: Floats
    airspeed_m_s: Floats
    groundspeed_m_s: Floats
    track_deg: Floats
    track_rate_deg_s: Floats


def trace(clean: CleanTrack, plane: LocalPlane) -> Motion:
    """Smooth a cleaned track in the plane about the fix."""
    track = clean.track
    start = float(track.epoch_s[0])
    time_s = track.epoch_s - start
    east, north = plane.to_plane(track.lat_deg, track.lon_deg)
    raw_m = np.stack([east, north], axis=1) * METRES_PER_NM
    trajectory = smooth(time_s, raw_m)
    speed = np.hypot(trajectory.velocity_m_s[:, 0], trajectory.velocity_m_s[:, 1])
    typical = max(median(speed[speed > 10.0]) if np.any(speed > 10.0) else 10.0, 10.0)
    rate_sd = float(
        np.degrees(smoothed_acceleration_sd_m_s2(trajectory.noise_cross_m, np.array(clean.interval_s)) / typical)
    )
    calm = trajectory
    if rate_sd > CALM_RATE_SD_DEG_S:
        # The variance of a smoothed acceleration goes with the jerk density to the power 5/6.
        calm = smooth(time_s, raw_m, JERK_DENSITY_M2_S5 * (CALM_RATE_SD_DEG_S / rate_sd) ** 2.4, trajectory)
    grid_s = np.arange(0.0, time_s[-1] + 1e-9, GRID_STEP_S)
    in_hole = np.zeros(len(grid_s), dtype=bool)
    for gap in clean.gaps:
        in_hole |= (grid_s > gap.start_epoch_s - start) & (grid_s < gap.end_epoch_s - start)
    return Motion(start, raw_m, trajectory, calm, grid_s, in_hole, min(rate_sd, CALM_RATE_SD_DEG_S))


def through_air(motion: Motion, time_s: Floats, wind: WindFit | None) -> AirMotion:
    """Motion at times (k,) since the start; without a wind the ground track stands for the heading."""
    position, velocity, _ = motion.trajectory.at(time_s)
    _, calm_velocity, calm_acceleration = motion.calm.at(time_s)
    track_deg, rate_deg_s = _direction_deg(velocity), _rate_deg_s(calm_velocity, calm_acceleration)
    speed_m_s = np.hypot(velocity[:, 0], velocity[:, 1])
    if wind is None:
        return AirMotion(position, track_deg, rate_deg_s, speed_m_s, speed_m_s, track_deg, rate_deg_s)
    towards = wind.at(time_s)
    air = velocity - towards
    return AirMotion(
        position_m=position,
        heading_deg=_direction_deg(air),
        heading_rate_deg_s=_rate_deg_s(calm_velocity - towards, calm_acceleration),
        airspeed_m_s=np.hypot(air[:, 0], air[:, 1]),
        groundspeed_m_s=speed_m_s,
        track_deg=track_deg,
        track_rate_deg_s=rate_deg_s,
    )


def _direction_deg(vector: Floats) -> Floats:
    """Compass direction of (east, north) vectors (k, 2), unwrapped along the array [deg]."""
    return np.degrees(np.unwrap(np.arctan2(vector[:, 0], vector[:, 1])))


def _rate_deg_s(velocity: Floats, acceleration: Floats) -> Floats:
    """Rate of change of the direction of a velocity [deg/s], right positive; 0 for an aircraft that stands."""
    square = velocity[:, 0] ** 2 + velocity[:, 1] ** 2
    turning = velocity[:, 1] * acceleration[:, 0] - velocity[:, 0] * acceleration[:, 1]
    return np.degrees(np.where(square > 25.0, turning / np.maximum(square, 25.0), 0.0))
