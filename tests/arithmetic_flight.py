"""A flight written down by arithmetic: constant airspeed, steady wind, a turn rate that is a polygon in time.

The heading is the exact integral of that polygon and the position its integral on a grid of 10 ms, so every moment of
the flight is known to far better than a test asks. It shares no code with the measuring core beyond the nouns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trackgrade.earth.geodesy import LocalPlane
from trackgrade.hold.hold import Hold, Leg
from trackgrade.motion.samples import Turn
from trackgrade.segment.path import FlightPath
from trackgrade.track.track import Track

START_S = 1_777_820_400.0  # 2026-05-03T15:00:00Z
FINE_S = 0.01
METRES_PER_NM = 1852.0
STANDARD_RATE_DEG_S = 3.0

HOLD = Hold("Arithmetic hold", 44.0, -93.0, 220.0, 2.0, "given", "right", Leg(minutes=1.0))
LEFT_HOLD = replace(HOLD, turns="left")


@dataclass(frozen=True)
class Piece:
    """Straight for ``seconds``, or a turn through ``change_deg`` (right positive) at ``rate_deg_s``, rolls included."""

    seconds: float = 0.0
    change_deg: float = 0.0
    rate_deg_s: float = STANDARD_RATE_DEG_S


def straight(seconds: float) -> Piece:
    return Piece(seconds=seconds)


def turn(change_deg: float, rate_deg_s: float = STANDARD_RATE_DEG_S) -> Piece:
    return Piece(change_deg=change_deg, rate_deg_s=rate_deg_s)


@dataclass(frozen=True, eq=False)
class Flight:
    """Fine arrays (m,): seconds, metres east and north, heading (unwrapped) and its rate; and the turns in it."""

    t: np.ndarray
    east_m: np.ndarray
    north_m: np.ndarray
    heading_deg: np.ndarray
    rate_deg_s: np.ndarray
    velocity_m_s: np.ndarray
    tas_kt: float
    turns: tuple[Turn, ...]

    def at(self, name: str, t: np.ndarray | float) -> np.ndarray:
        return np.interp(t, self.t, getattr(self, name))

    def velocity(self, t: np.ndarray | float) -> np.ndarray:
        """Over the ground, east and north [m/s]."""
        return np.stack([np.interp(t, self.t, self.velocity_m_s[:, axis]) for axis in (0, 1)], axis=-1)

    def positions(self, interval_s: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
        """Times (n,) [s] and positions (n, 2) [m] at even steps."""
        t = np.arange(0.0, self.t[-1] + 1e-9, interval_s)
        return t, np.stack([self.at("east_m", t), self.at("north_m", t)], axis=1)


def fly(
    pieces: Sequence[Piece],
    *,
    heading_deg: float = HOLD.inbound_course_true_deg,
    tas_kt: float = 100.0,
    wind_from_deg: float = 0.0,
    wind_kt: float = 0.0,
    roll_s: float = 4.0,
    fix_at_s: float = 0.0,
    fix_offset_m: tuple[float, float] = (0.0, 0.0),
) -> Flight:
    """Fly the pieces in order. At ``fix_at_s`` the aircraft is at the fix, or ``fix_offset_m`` (east, north) of it.

    Each turn rolls in and out evenly over ``roll_s``; its duration is change / rate + roll.
    """
    knots_s, knots_rate, turns = [0.0], [0.0], []
    now = 0.0
    roll = max(roll_s, 1e-6)
    for piece in pieces:
        if not piece.change_deg:
            now += piece.seconds
            continue
        steady_s = abs(piece.change_deg) / piece.rate_deg_s - roll
        assert steady_s >= 0.0, "too short a turn for its rolls"
        signed = math.copysign(piece.rate_deg_s, piece.change_deg)
        knots_s += [now, now + roll, now + roll + steady_s, now + 2 * roll + steady_s]
        knots_rate += [0.0, signed, signed, 0.0]
        # The definition: |rate| above 0.75 deg/s, or above a quarter of the turn's own rate where that is less.
        bound = min(0.75, piece.rate_deg_s / 4.0)
        into = roll * bound / piece.rate_deg_s
        bank = math.degrees(math.atan(tas_kt * 1852 / 3600 * math.radians(piece.rate_deg_s) / 9.80665))
        turns.append(
            Turn(
                START_S + now + into,
                START_S + now + 2 * roll + steady_s - into,
                0.1,
                0.1,
                piece.change_deg,
                piece.rate_deg_s,
                bank,
                bound,
            )
        )
        now += 2 * roll + steady_s
    t = np.arange(0.0, now + FINE_S / 2, FINE_S)
    rate = np.interp(t, np.array(knots_s), np.array(knots_rate))
    heading = heading_deg + _integral(t, np.array(knots_s), np.array(knots_rate))
    speed = tas_kt * METRES_PER_NM / 3600.0
    blowing = math.radians(wind_from_deg + 180.0)
    wind = wind_kt * METRES_PER_NM / 3600.0 * np.array([math.sin(blowing), math.cos(blowing)])
    radians = np.radians(heading)
    velocity = speed * np.stack([np.sin(radians), np.cos(radians)], axis=1) + wind
    moved = np.concatenate([[[0.0, 0.0]], np.cumsum((velocity[1:] + velocity[:-1]) * FINE_S / 2, axis=0)])
    fix = np.array([np.interp(fix_at_s, t, moved[:, axis]) for axis in (0, 1)])
    east, north = (moved - fix + np.array(fix_offset_m)).T
    return Flight(t, east, north, heading, rate, velocity, tas_kt, tuple(turns))


def _integral(t: np.ndarray, knots_s: np.ndarray, knots_rate: np.ndarray) -> np.ndarray:
    """The integral of a polygon from 0 to each time, exact at every time."""
    area = np.concatenate([[0.0], np.cumsum(np.diff(knots_s) * (knots_rate[1:] + knots_rate[:-1]) / 2)])
    k = np.clip(np.searchsorted(knots_s, t, side="right") - 1, 0, len(knots_s) - 1)
    into = t - knots_s[k]
    return area[k] + into * (knots_rate[k] + np.interp(t, knots_s, knots_rate)) / 2


def in_frame(flight: Flight, hold: Hold, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Along and cross [NM] at times (n,)."""
    course = math.radians(hold.inbound_course_true_deg)
    east, north = flight.at("east_m", t) / METRES_PER_NM, flight.at("north_m", t) / METRES_PER_NM
    along = east * math.sin(course) + north * math.cos(course)
    return along, hold.side * (east * math.cos(course) - north * math.sin(course))


def path_of(flight: Flight, hold: Hold = HOLD) -> FlightPath:
    """The flight as the search for laps gets it, free of error, once a second."""
    t = np.arange(0.0, flight.t[-1] + 1e-9, 1.0)
    along, cross = in_frame(flight, hold, t)
    east, north = flight.velocity(t).T
    speed_kt = np.hypot(east, north) * 3600.0 / METRES_PER_NM
    ones = np.ones_like(t)
    track = np.degrees(np.unwrap(np.arctan2(east, north)))
    heading = flight.at("heading_deg", t)
    track += 360.0 * np.round((heading[0] - track[0]) / 360.0)
    return FlightPath(
        epoch_s=START_S + t,
        along_nm=along,
        cross_nm=cross,
        heading_deg=hold.side * (heading - hold.inbound_course_true_deg),
        track_deg=hold.side * (track - hold.inbound_course_true_deg),
        rate_deg_s=hold.side * flight.at("rate_deg_s", t),
        groundspeed_kt=speed_kt,
        airspeed_kt=flight.tas_kt * ones,
        across_sd_nm=0.0005 * ones,
        lengthwise_sd_nm=0.0005 * ones,
        in_hole=np.zeros(len(t), dtype=bool),
        turns=tuple(replace(each, change_deg=each.change_deg * hold.side) for each in flight.turns),
    )


def record(
    flight: Flight,
    hold: Hold = HOLD,
    *,
    interval_s: float = 1.0,
    noise_m: float = 0.0,
    decimals: int | None = None,
    seed: int = 1,
    alt_ft: float = 4000.0,
) -> Track:
    """The flight as a log: even steps, with noise in the positions or none, rounded or not."""
    t, position_m = flight.positions(interval_s)
    position_m = position_m + np.random.default_rng(seed).normal(0.0, 1.0, position_m.shape) * noise_m
    plane = LocalPlane(hold.fix_lat_deg, hold.fix_lon_deg)
    lat, lon = plane.to_geographic(position_m[:, 0] / METRES_PER_NM, position_m[:, 1] / METRES_PER_NM)
    if decimals is not None:
        lat, lon = np.round(lat, decimals), np.round(lon, decimals)
    return Track("arithmetic.csv", START_S + t, lat, lon, np.full(len(t), alt_ft))


def keep(track: Track, index: np.ndarray) -> Track:
    """Some rows of a log, by index or mask."""
    return track.take(index)


def laps(count: int, straight_s: float = 60.0, side: int = 1) -> list[Piece]:
    """Laps from the fix: turn, outbound leg, turn, inbound leg; the last leg ends at the fix."""
    return [turn(side * 180.0), straight(straight_s), turn(side * 180.0), straight(straight_s)] * count


def end_of(pieces: Sequence[Piece], hold: Hold = HOLD, **more: float) -> tuple[float, float]:
    """Along and cross [NM] where the pieces end."""
    flight = fly(pieces, **more)  # type: ignore[arg-type]
    along, cross = in_frame(flight, hold, flight.t[-1:])
    return float(along[0]), float(cross[0])


def turn_to(from_deg: float, to_deg: float, direction: int = 0) -> list[Piece]:
    """A turn from one heading to another: the shorter way, or right (1) or left (-1); small ones at a lower rate."""
    change = (to_deg - from_deg) % 360.0
    if direction < 0 or (direction == 0 and change > 180.0):
        change -= 360.0
    if abs(change) < 0.5 or abs(change) > 359.5:
        return []
    return [turn(change, min(STANDARD_RATE_DEG_S, abs(change) / 5.0))]


def to_the_fix(before: Sequence[Piece], outbound_deg: float, direction: int, hold: Hold, **more: float) -> list[Piece]:
    """The pieces, then a turn in a direction onto an intercept of the inbound course, onto it, and to the fix.

    ``outbound_deg`` is the heading at the end of ``before``; ``more`` is what `fly` is to be told.
    """
    course = hold.inbound_course_true_deg
    speed_nm_s = float(more.get("tas_kt", 100.0)) / 3600.0
    pieces = [*before, *turn_to(outbound_deg, course, direction)]
    along, cross = end_of(pieces, hold, **more)
    if abs(cross) < 1e-6:
        return [*pieces, straight(-along / speed_nm_s)]
    toward = hold.side * (1 if cross < 0 else -1)  # right or left of the course, toward it
    for angle in (45.0, 30.0, 20.0, 10.0, 5.0, 2.0, 60.0, 75.0):
        intercept = course + toward * angle
        out = [*before, *turn_to(outbound_deg, intercept, direction)]
        last = turn_to(intercept, course)
        misses = [end_of([*out, straight(seconds), *last], hold, **more)[1] for seconds in (10.0, 20.0)]
        seconds = 10.0 - misses[0] * 10.0 / (misses[1] - misses[0])  # linear in the length of the leg
        if seconds < 1.0:
            continue
        pieces = [*out, straight(seconds), *last]
        along, _ = end_of(pieces, hold, **more)
        if along < -0.1:
            return [*pieces, straight(-along / speed_nm_s)]
    raise AssertionError("this flight cannot be brought to the fix on its inbound course")
