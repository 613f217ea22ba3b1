"""Point-mass flight in a moving air mass, at 20 steps a second, on a plane about the fix.

The plane is azimuthal equidistant (geodesic distance and azimuth from the fix), in NM east and north; headings and wind
are against its grid north, which is true north at the fix. Coordinated turns: rate = g tan(bank) / V (PHAK ch. 5).
Bank follows its command through a limited roll rate with a short lag, so that turns begin and end in a rounded way.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, field
from math import cos, pi, radians, sin, sqrt, tan
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from trackgrade.simulator.scenario import Air, Aircraft, Pilot

Floats = npt.NDArray[np.float64]
Coordinate = TypeVar("Coordinate", float, Floats)
#: A pilot: yields the bank wanted [rad, right positive] each step, and reads the `State` that resulted.
Script = Generator[float, None, None]

STEP_S = 0.05
GRAVITY_NM_S2 = 9.80665 / 1852.0
ROLL_LAG_S = 0.4  # ailerons and inertia
ROLL_AIM_S = 1.2  # how early the roll is checked; with the lag above nearly critically damped
CHUNK = 6000


@dataclass(frozen=True, eq=False)
class Frame:
    """A hold's axes on the plane: origin [NM], inbound course [rad], side (+1 right turns, -1 left)."""

    east_nm: float
    north_nm: float
    course_rad: float
    side: int

    def along_cross(self, east_nm: Coordinate, north_nm: Coordinate) -> tuple[Coordinate, Coordinate]:
        """A position, or many (n,), as along and cross [NM]."""
        return self.components(east_nm - self.east_nm, north_nm - self.north_nm)

    def components(self, east: Coordinate, north: Coordinate) -> tuple[Coordinate, Coordinate]:
        """A vector (not a position) as (along, cross)."""
        s, c = sin(self.course_rad), cos(self.course_rad)
        return east * s + north * c, self.side * (east * c - north * s)

    def relative(self, heading_rad: float) -> float:
        """A heading against the inbound course, positive toward the holding side; not wrapped."""
        return self.side * (heading_rad - self.course_rad)


@dataclass(eq=False, slots=True)
class State:
    """Where the aircraft is now, and the along and cross of the frame the pilot looks at.

    ``to_t`` is when along last went from - to + (the flag flips), ``abeam_t`` from + to -; both [s], long ago before.
    ``ge`` and ``gn`` are the ground speed [NM/s], ``loss_ft`` what is lost in a turn, ``n`` counts the steps.
    """

    east: float
    north: float
    heading: float
    tas: float
    alt: float
    frame: Frame
    t: float = 0.0
    n: int = 0
    bank: float = 0.0
    rate: float = 0.0
    tas_target: float = field(init=False)
    alt_target: float = field(init=False)
    alt_rate: float = 1000.0 / 60.0
    ge: float = 0.0
    gn: float = 0.0
    bank_wander: float = 0.0
    heading_wander: float = 0.0
    loss_ft: float = 0.0
    roll_max: float = radians(5.0)
    turn_bank: float = radians(20.0)
    along: float = field(init=False)
    cross: float = field(init=False)
    to_t: float = field(init=False)
    abeam_t: float = field(init=False)

    def __post_init__(self) -> None:
        self.tas_target, self.alt_target = self.tas, self.alt
        self.look_at(self.frame)

    def look_at(self, frame: Frame) -> None:
        """Set the needle to another course; forgets earlier passages."""
        self.frame = frame
        self.along, self.cross = frame.along_cross(self.east, self.north)
        self.to_t = self.abeam_t = -1e9


class _Wander:
    """First-order Gauss-Markov noise, smoothed by a second pole; endless, in chunks."""

    def __init__(self, rng: np.random.Generator, sd: float, memory_s: float, smooth_s: float) -> None:
        self.rng = rng
        a = np.exp(-STEP_S / memory_s)
        b = np.exp(-STEP_S / smooth_s) if smooth_s > 0 else 0.0
        self.a, self.den = a, np.array([1.0, -(a + b), a * b])
        # Variance of the cascade for unit white input, so that the output has exactly this sd.
        gain2 = (1 + a * b) / ((1 - a * b) * (1 - a * a) * (1 - b * b)) if smooth_s > 0 else 1 / (1 - a * a)
        self.scale = sd / sqrt(gain2)
        self.state = np.zeros(2)
        if sd > 0:  # forget the start: the noise is stationary when the flight begins
            _, self.state = lfilter(
                [self.scale], self.den, rng.standard_normal(int(3 * memory_s / STEP_S)), zi=self.state
            )

    def chunk(self) -> list[float]:
        if self.scale == 0.0:
            return [0.0] * CHUNK
        out, self.state = lfilter([self.scale], self.den, self.rng.standard_normal(CHUNK), zi=self.state)
        values: list[float] = out.tolist()
        return values


@dataclass(frozen=True, eq=False)
class Motion:
    """The noise-free flight, arrays (m,) every `STEP_S`. Heading is continuous (not wrapped) [rad]; speeds [kt]."""

    t_s: Floats
    east_nm: Floats
    north_nm: Floats
    heading_rad: Floats
    rate_rad_s: Floats
    bank_rad: Floats
    tas_kt: Floats
    alt_ft: Floats
    wind_east_kt: Floats  # toward east
    wind_north_kt: Floats


def wind_components_kt(from_true_deg: float, speed_kt: float) -> tuple[float, float]:
    """(east, north) the wind blows toward [kt]."""
    a = radians(from_true_deg)
    return -speed_kt * sin(a), -speed_kt * cos(a)


def run(
    script: Script, s: State, air: Air, aircraft: Aircraft, pilot: Pilot, rng: np.random.Generator, limit_s: float
) -> Motion:
    """Fly the script to its end. Raises RuntimeError past ``limit_s`` (a script that never ends is our bug)."""
    noise = [
        _Wander(rng, air.gust_kt, air.gust_s, 1.0),
        _Wander(rng, air.gust_kt, air.gust_s, 1.0),
        _Wander(rng, air.change_kt, air.change_s, 20.0),
        _Wander(rng, air.change_kt, air.change_s, 20.0),
        _Wander(rng, pilot.tas_sd_kt, 40.0, 5.0),
        _Wander(rng, pilot.altitude_sd_ft, 35.0, 8.0),
        _Wander(rng, radians(pilot.bank_sd_deg), 4.0, 0.7),
        _Wander(rng, radians(pilot.heading_sd_deg), 20.0, 4.0),
    ]
    rows: list[tuple[float, ...]] = []
    add = rows.append
    tas_now, level, loss, roll_rate = s.tas, s.alt, 0.0, 0.0
    base_alt = aircraft.altitude_ft
    east, north, heading, bank, t = s.east, s.north, s.heading, s.bank, s.t
    we0, wn0 = wind_components_kt(air.wind_from_true_deg, air.wind_kt)
    layered = air.shear_kt_per_1000_ft != 0.0 or air.veer_deg_per_1000_ft != 0.0
    frame = s.frame
    fs, fc = sin(frame.course_rad), cos(frame.course_rad)
    while True:
        if t > limit_s:
            raise RuntimeError(f"the simulated pilot did not finish within {limit_s:.0f} s")
        for ge, gn, ce, cn, tas_w, alt_w, s.bank_wander, s.heading_wander in zip(*(w.chunk() for w in noise)):
            wanted = next(script, None)
            if wanted is None:
                return _as_motion(rows)
            if s.frame is not frame:
                frame = s.frame
                fs, fc = sin(frame.course_rad), cos(frame.course_rad)
            # Roll.
            limit = s.roll_max
            aim = (wanted - bank) / ROLL_AIM_S
            aim = limit if aim > limit else (-limit if aim < -limit else aim)
            roll_rate += (aim - roll_rate) * (STEP_S / ROLL_LAG_S)
            bank += roll_rate * STEP_S
            # Speed and height.
            dv = s.tas_target - tas_now
            most = 1.0 * STEP_S  # one knot a second
            tas_now += most if dv > most else (-most if dv < -most else dv)
            dh = s.alt_target - level
            most = s.alt_rate * STEP_S
            level += most if dh > most else (-most if dh < -most else dh)
            loss += (s.loss_ft * min(1.0, abs(bank) / s.turn_bank) - loss) * (STEP_S / 8.0)
            tas = tas_now + tas_w
            alt = level + alt_w - loss
            if layered:
                above = (alt - base_alt) / 1000.0
                speed = max(0.0, air.wind_kt + air.shear_kt_per_1000_ft * above)
                we0, wn0 = wind_components_kt(air.wind_from_true_deg + air.veer_deg_per_1000_ft * above, speed)
            we, wn = we0 + ce + ge, wn0 + cn + gn
            v = tas / 3600.0
            rate = GRAVITY_NM_S2 * tan(bank) / v
            # Heading at the middle of the step: second order in the step.
            half = heading + rate * (STEP_S / 2)
            heading += rate * STEP_S
            s.ge = v * sin(half) + we / 3600.0
            s.gn = v * cos(half) + wn / 3600.0
            east += s.ge * STEP_S
            north += s.gn * STEP_S
            t += STEP_S
            s.n += 1
            add((t, east, north, heading, rate, bank, tas, alt, we, wn))
            s.t, s.east, s.north, s.heading = t, east, north, heading
            s.rate, s.bank, s.tas, s.alt = rate, bank, tas, alt
            de, dn = east - frame.east_nm, north - frame.north_nm
            along = de * fs + dn * fc
            if along >= 0.0 > s.along:
                s.to_t = t
            elif along <= 0.0 < s.along:
                s.abeam_t = t
            s.along = along
            s.cross = frame.side * (de * fc - dn * fs)


def _as_motion(rows: list[tuple[float, ...]]) -> Motion:
    columns = np.array(rows).T.copy() if rows else np.zeros((10, 0))
    columns.setflags(write=False)
    return Motion(*columns)


def turn_bank_rad(aircraft: Aircraft) -> float:
    """Bank of a coordinated turn at its rate, no more than its limit [rad]."""
    rate = aircraft.tas_kt / 3600.0 * radians(aircraft.turn_rate_deg_s)
    return min(float(np.arctan(rate / GRAVITY_NM_S2)), radians(aircraft.bank_limit_deg))


def wrap_pi(angle_rad: float) -> float:
    """Fold to -pi <= angle < pi."""
    return (angle_rad + pi) % (2 * pi) - pi
