"""The simulated pilot's hands: turns, headings, and the needle of the inbound course.

Written as generators: each yields the bank wanted, step by step, and sees what came of it in the `State`. Headings here
are *relative*: against the inbound course, positive toward the holding side, so right and left holds are one case.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import replace
from math import acos, atan, copysign, cos, pi, radians, sin, tan

import numpy as np

from trackgrade.hold.hold import Leg
from trackgrade.simulator.flown_log import LapLog, VisitLog
from trackgrade.simulator.kinematics import GRAVITY_NM_S2, STEP_S, Frame, Script, State, turn_bank_rad, wrap_pi
from trackgrade.simulator.lapplan import plan_lap
from trackgrade.simulator.scenario import Aircraft, Mistakes, Pilot

TWO_PI = 2 * pi
#: Mistakes that concern the whole flight, and stay where those of single laps are off.
OF_THE_FLIGHT = (
    *("reciprocal_course", "wrong_side", "entry_wrong_way", "altitude_lost_in_turns_ft", "altitude_offset_ft"),
    *("speed_excess_kt", "arrival_excess_kt", "speed_swing_kt"),
)


class Steering:
    """Turns, headings and the inbound course of one hold.

    ``aircraft`` has the airspeed flown; ``leg`` is the inbound leg wanted; ``wind_kt`` the (east, north)
    wind the pilot believes.
    """

    def __init__(
        self,
        s: State,
        frame: Frame,
        pilot: Pilot,
        mistakes: Mistakes,
        rng: np.random.Generator,
        *,
        aircraft: Aircraft,
        leg: Leg,
        wind_kt: tuple[float, float],
        pattern: str,
    ) -> None:
        self.s, self.frame, self.pilot, self.mistakes, self.rng = s, frame, pilot, mistakes, rng
        self.roll_s = aircraft.roll_s
        self.v = aircraft.tas_kt / 3600.0
        self.leg_s = None if leg.minutes is None else 60.0 * leg.minutes
        self.leg_nm = leg.nm
        self.meant_bank = turn_bank_rad(aircraft)
        if not mistakes.on_laps and mistakes.turn_rate_factor != 1.0:
            # All turns alike: a habit. The laps are laid out for the turns as they are flown.
            self.meant_bank = atan(tan(self.meant_bank) * mistakes.turn_rate_factor)
            self.mistakes = replace(mistakes, turn_rate_factor=1.0)
        self.w = float(GRAVITY_NM_S2 * tan(self.meant_bank) / self.v)  # rate meant [rad/s]
        s.turn_bank = self.meant_bank
        s.roll_max = 1.25 * self.meant_bank / self.roll_s
        self.wind = wind_kt
        wa, wc = frame.components(wind_kt[0] / 3600.0, wind_kt[1] / 3600.0)
        self.wind_along, self.wind_cross = wa, wc
        lap = plan_lap(self.v, self.w, self.roll_s, wa, wc, inbound_s=self.leg_s, inbound_nm=self.leg_nm)
        self.crab = lap.crab_rad
        self.out_trim = 0.0  # what earlier laps taught, on the outbound heading [rad]
        self.time_trim = 0.0  # and on the outbound time [s]
        self.swing_phase = float(rng.uniform(0, TWO_PI))
        self.log = VisitLog(frame, "direct", pattern)

    # ------------------------------------------------------------------ small moves

    @property
    def rel(self) -> float:
        return self.frame.relative(self.s.heading)

    def turn(
        self,
        to_rel: float,
        direction: int,
        factor: float = 1.0,
        *,
        swing: float = 0.0,
        trim: bool = False,
        rolls_out: bool = True,
    ) -> Script:
        """Turn (+1 toward the holding side's hand, -1 the other) to a relative heading, and roll out there or go on.

        ``trim``: over the last 90 degrees adjust the bank so as to roll out on the course.
        """
        s = self.s
        sign = self.frame.side * direction
        go = (direction * (to_rel - self.rel)) % TWO_PI
        if go > TWO_PI - radians(12):  # already there, within a correction
            return
        target = s.heading + sign * go
        bank = self.meant_bank * factor * self.pilot.rate_bias
        begun, adjust = s.t, 1.0
        while True:
            left = (target - s.heading) * sign
            lead = abs(s.rate) * (0.5 * abs(s.bank) / s.roll_max + 0.9)
            if left <= (lead if rolls_out else 0.0):
                break
            if trim and left < radians(90 if rolls_out else 60):
                adjust = 0.9 * adjust + 0.1 * self._trim(left + abs(wrap_pi(self.crab - to_rel)))
            wanted = bank * adjust
            if rolls_out and self.pilot.soft_rollout and left < radians(15):
                wanted *= max(0.45, left / radians(15))
            if swing:
                wanted += swing * sin(TWO_PI * (s.t - begun) / 14.0 + self.swing_phase)
            yield sign * max(radians(4), wanted + s.bank_wander)
        while rolls_out and abs(s.rate) > radians(0.4) and s.rate * sign > 0:
            yield 0.0

    def _trim(self, left: float) -> float:
        """Bank factor that would bring the rest of the turn to end on the course."""
        s = self.s
        radius = self.v / self.w
        time = left / self.w + self.roll_s / 2
        still = s.cross + self.wind_cross * time - self.aim - self.short_of_course_nm
        arc = radius * (1 - cos(left)) + self.v * self.roll_s / 2 * sin(left) * 0.5
        if still <= 0.05 * radius:
            return 1.15
        return 1.0 + self.pilot.finesse * float(min(1.2, max(0.75, arc / still)) - 1.0)

    def bank_for(self, to_rel: float) -> float:
        """Bank that brings the nose gently to a relative heading and keeps it there."""
        s = self.s
        error = wrap_pi(to_rel - self.rel) * self.frame.side + s.heading_wander + radians(self.pilot.heading_bias_deg)
        most = min(self.meant_bank, radians(18))
        wanted = atan(s.tas / 3600.0 * (error / 4.0) / GRAVITY_NM_S2)
        return max(-most, min(most, wanted))

    def hold_heading(self, to_rel: float, seconds: float) -> Script:
        until = self.s.t + seconds
        while self.s.t < until:
            yield self.bank_for(to_rel)

    # ------------------------------------------------------------------ the inbound leg

    aim = 0.0  # cross the pilot steers for [NM]
    #: A careful pilot would rather roll out a little short of the course than through it.
    short_of_course_nm = 0.045

    def turn_inbound(self, lap: LapLog) -> Generator[float, None, float]:
        """Turn back to the inbound course; returns by how much the turn missed it [NM], + short, - through."""
        m = self._mistakes(lap.number)
        factor, swing = m.turn_rate_factor, radians(m.bank_swing_deg)
        cut = radians(self.pilot.intercept_deg)
        clean = m.aim_beyond_nm == 0.0 and not m.no_intercept
        if self.pilot.fades_deg_s and clean:
            yield from self._fade_onto_course(factor)
            lap.inbound_level_n = self.s.n
            return self.s.cross - self.aim
        if ((self.crab - cut) - self.rel) % TWO_PI < radians(300):
            yield from self.turn(self.crab - cut, 1, factor, swing=swing, trim=clean, rolls_out=False)
        miss = self._predicted_miss()
        if miss > max(0.06, 0.12 * self.v / self.w) and clean:
            # Short of the course: roll out on a cut to it and wait for the needle.
            yield from self.turn(self.crab - cut, 1, factor)
            lap.inbound_level_n = self.s.n
            while self._predicted_miss() > 0.0 and self.s.along < 0.0:
                yield self.bank_for(self.crab - cut)
            if self.s.along < 0.0:
                yield from self.turn(self.crab, 1)
        else:
            yield from self.turn(self.crab, 1, factor, swing=swing, trim=clean)
            lap.inbound_level_n = self.s.n
        return miss

    def _fade_onto_course(self, factor: float) -> Script:
        """The turn back at the usual rate, and its last part at a low one: a slow capture of the course."""
        s, p, sign = self.s, self.pilot, self.frame.side
        yield from self.turn(self.crab - radians(p.fades_from_deg), 1, factor, trim=True, rolls_out=False)
        low = atan(self.v * radians(p.fades_deg_s) / GRAVITY_NM_S2)
        while (left := wrap_pi(self.crab - self.rel)) > radians(2) and s.along < 0.0:
            # Through the course already, or about to be: the rest at the usual rate.
            late = s.cross - self.aim < self.v / self.w * (1 - cos(left))
            yield sign * (self.meant_bank if late else low + 0.5 * s.bank_wander)

    def _predicted_miss(self) -> float:
        """Cross at the end of the turn if it went on to the course now [NM]."""
        s = self.s
        left = abs(wrap_pi(self.crab - self.rel))
        time = left / self.w + self.roll_s / 2
        rolling = 0.0 if abs(s.bank) > 0.5 * self.meant_bank else self.roll_s / 2
        arc = self.v / self.w * (1 - cos(left)) + self.v * sin(left) * (rolling + self.roll_s / 4)
        return float(s.cross - self.aim + self.wind_cross * (time + rolling) - arc)

    def track_to_fix(self, number: int) -> Script:
        """Keep the needle centred to the fix; ends when the flag flips."""
        s, p, m = self.s, self.pilot, self._mistakes(number)
        settle = p.settle_s
        gain = 1.0 / (self.v * settle)
        most = radians(p.intercept_deg)
        next_look, wanted = s.t, self.crab
        learned = 0.0
        while s.along < 0.0:
            if s.t >= next_look:
                next_look = s.t + p.scan_s
                aim = self.aim
                if m.weave_nm:
                    aim += m.weave_nm * sin(TWO_PI * s.t / (4.0 * settle) + self.swing_phase)
                off = s.cross - aim
                if m.no_intercept:
                    off = 0.0
                learned -= 0.02 * gain * off * p.scan_s
                learned = max(-radians(12), min(radians(12), learned))
                # No sharper than the arc that ends on the course.
                sharpest = acos(max(-1.0, 1.0 - 0.8 * abs(off) * self.w / self.v))
                cut = min(most, gain * abs(off), max(sharpest, radians(1)))
                wanted = self.crab + learned - copysign(cut, off)
                if m.no_intercept:
                    wanted = self.crab
            error = wrap_pi(wanted - self.rel)
            if abs(error) > radians(25):
                yield from self._turn_burst(wanted)
            else:
                yield self.bank_for(wanted)
        if number > 0 and p.learning:
            self.crab += p.learning * learned

    def _passage_n(self) -> int:
        """The step in which the flag flipped; it may have, unseen, in a turn before the tracking began."""
        return round(self.s.to_t / STEP_S)

    def _turn_burst(self, to_rel: float) -> Script:
        """A second of turn toward a heading that is far off."""
        until = self.s.t + 1.0
        sign = self.frame.side * (1 if wrap_pi(to_rel - self.rel) > 0 else -1)
        while self.s.t < until and abs(wrap_pi(to_rel - self.rel)) > radians(10) and self.s.along < 0.0:
            yield sign * self.meant_bank

    def _mistakes(self, number: int) -> Mistakes:
        m = self.mistakes
        if m.on_laps and number not in m.on_laps:
            return Mistakes(**{name: getattr(m, name) for name in OF_THE_FLIGHT})
        return m
