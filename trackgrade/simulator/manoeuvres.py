"""Flying that is not the hold: what comes before, after, or instead of it."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, atan2, cos, hypot, pi, radians, sin, tan

import numpy as np

from trackgrade.simulator.kinematics import GRAVITY_NM_S2, Frame, Script, State, wrap_pi
from trackgrade.simulator.scenario import Manoeuvre


@dataclass(eq=False)
class Flyer:
    """Plain flying in the plane: headings are absolute [rad]; the wind is the (east, north) the pilot believes [kt]."""

    s: State
    tas_kt: float
    bank_rad: float
    wind_kt: tuple[float, float]
    rng: np.random.Generator

    @property
    def v(self) -> float:
        return self.tas_kt / 3600.0

    @property
    def rate(self) -> float:
        return GRAVITY_NM_S2 * tan(self.bank_rad) / self.v

    @property
    def radius_nm(self) -> float:
        return self.v / self.rate

    def heading_for_track(self, track_rad: float) -> float:
        """Heading that makes this ground track in the wind believed."""
        east, north = self.wind_kt
        across = (east * cos(track_rad) - north * sin(track_rad)) / self.tas_kt
        return track_rad - asin(max(-0.9, min(0.9, across)))

    def hold(self, heading_rad: float, seconds: float) -> Script:
        until = self.s.t + seconds
        while self.s.t < until:
            yield self.bank_for(heading_rad)

    def bank_for(self, heading_rad: float) -> float:
        error = wrap_pi(heading_rad - self.s.heading) + self.s.heading_wander
        if abs(error) > radians(25):
            return self.bank_rad if error > 0 else -self.bank_rad
        wanted = self.v * (error / 4.0) / GRAVITY_NM_S2
        return max(-self.bank_rad, min(self.bank_rad, wanted))

    def turn(self, change_rad: float, bank_rad: float | None = None) -> Script:
        """Turn by a signed angle, and roll out."""
        s = self.s
        bank = self.bank_rad if bank_rad is None else bank_rad
        sign = 1 if change_rad > 0 else -1
        target = s.heading + change_rad
        roll = s.roll_max
        s.roll_max = max(roll, bank / 4.0)
        while (target - s.heading) * sign > abs(s.rate) * (0.5 * abs(s.bank) / s.roll_max + 0.9):
            yield sign * (bank + s.bank_wander)
        s.roll_max = roll
        while abs(s.rate) > radians(0.4) and s.rate * sign > 0:
            yield 0.0

    def go_to(self, east_nm: float, north_nm: float, near_nm: float | None = None) -> Script:
        """Straight to a point; ends near it."""
        s = self.s
        near = max(0.15, 0.3 * self.radius_nm) if near_nm is None else near_nm
        give_up = s.t + 4.0 * hypot(s.east - east_nm, s.north - north_nm) / self.v + 900.0
        last, turned, settled = 1e9, False, 0.0
        while s.t < give_up:
            d = hypot(s.east - east_nm, s.north - north_nm)
            if d < near or (turned and d > last and d < 2.5 * self.radius_nm):
                return
            last = d
            bearing = atan2(east_nm - s.east, north_nm - s.north)
            turned = abs(wrap_pi(self.heading_for_track(bearing) - s.heading)) < radians(40)
            if not turned and d < 2.2 * self.radius_nm and settled <= 0.0:
                # Inside the turning circle: fly on before turning back.
                settled = s.t
                yield from self.hold(s.heading, 2.5 * self.radius_nm / self.v)
            yield self.bank_for(self.heading_for_track(bearing))

    def along_line(self, east_nm: float, north_nm: float, course_rad: float, length_nm: float) -> Script:
        """Track a course line from where it is abeam now, up to ``length_nm`` past the point given."""
        s = self.s
        frame = Frame(east_nm, north_nm, course_rad, 1)
        give_up = s.t + 3600.0
        while s.t < give_up:
            along, cross = frame.along_cross(s.east, s.north)
            if along >= length_nm:
                return
            cut = max(-radians(40), min(radians(40), cross / (self.v * 16.0)))
            yield self.bank_for(self.heading_for_track(course_rad) - cut)


def fly_manoeuvre(f: Flyer, m: Manoeuvre, east_nm: float, north_nm: float) -> Script:
    """One manoeuvre at the place (east, north); "hold" and "approach" are flown by the conductor."""
    s = f.s
    if m.kind not in ("straight", "turn", "steep turns", "s-turns"):
        if m.kind == "dme arc":
            yield from _dme_arc(f, m, east_nm, north_nm)
            return
        yield from f.go_to(east_nm, north_nm)
    if m.kind in ("straight", "pass"):
        yield from f.hold(s.heading, m.size / f.v)
    elif m.kind == "turn":
        yield from f.turn(m.turn * radians(m.size))
    elif m.kind == "orbits":
        yield from f.turn(m.turn * 2 * pi * m.size)
        yield from f.hold(s.heading, 20.0)
    elif m.kind == "s-turns":
        for i in range(int(m.size)):
            sign = m.turn if i % 2 == 0 else -m.turn
            yield from f.turn(sign * (pi / 2 if i == 0 else pi))
            yield from f.hold(s.heading, 2.0)
        yield from f.turn(-sign * pi / 2)
    elif m.kind == "steep turns":
        for _ in range(int(m.size)):
            yield from f.turn(m.turn * 2 * pi, radians(45))
            yield from f.hold(s.heading, 5.0)
            yield from f.turn(-m.turn * 2 * pi, radians(45))
            yield from f.hold(s.heading, 10.0)
    elif m.kind == "procedure turn":
        out = radians(m.course_true_deg) + pi
        yield from f.along_line(east_nm, north_nm, out, m.size)
        yield from f.turn(-m.turn * pi / 4)
        yield from f.hold(s.heading, 60.0)
        yield from f.turn(m.turn * pi)
        frame = Frame(east_nm, north_nm, out + pi, 1)
        side = 1 if frame.along_cross(s.east, s.north)[1] > 0 else -1
        give_up = s.t + 240.0
        while s.t < give_up and frame.along_cross(s.east, s.north)[1] * side > 0.3 * f.radius_nm:
            yield f.bank_for(s.heading)
        yield from f.along_line(east_nm, north_nm, out + pi, 3.0)
    elif m.kind == "survey":
        course = radians(m.course_true_deg)
        for i in range(int(m.size)):
            yield from f.hold(f.heading_for_track(course + (pi if i % 2 else 0.0)), 4.0 / f.v)
            if i + 1 < m.size:
                sign = m.turn if i % 2 == 0 else -m.turn
                yield from f.turn(sign * pi)


def _dme_arc(f: Flyer, m: Manoeuvre, east_nm: float, north_nm: float) -> Script:
    s = f.s
    start = radians(m.course_true_deg)
    yield from f.go_to(east_nm + m.size * sin(start), north_nm + m.size * cos(start))
    flown = 0.0
    bearing = atan2(s.east - east_nm, s.north - north_nm)
    give_up = s.t + 3600.0
    while flown < pi / 2 and s.t < give_up:
        now = atan2(s.east - east_nm, s.north - north_nm)
        flown += m.turn * wrap_pi(now - bearing)
        bearing = now
        off = hypot(s.east - east_nm, s.north - north_nm) - m.size
        cut = max(-radians(40), min(radians(40), off / (f.v * 16.0)))
        track = bearing + m.turn * (pi / 2 + cut)
        lead = m.turn * (f.v / m.size) * 4.0
        yield f.bank_for(f.heading_for_track(track) + lead)
