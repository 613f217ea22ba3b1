"""The simulated pilot: flies entry and laps from the needle, the heading, the watch and the distance.

Written as generators: each yields the bank wanted, step by step, and sees what came of it in the `State`. Headings here
are *relative*: against the inbound course, positive toward the holding side, so right and left holds are one case.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, field, replace
from math import acos, atan, atan2, copysign, cos, hypot, pi, radians, sin, tan

import numpy as np

from trackgrade.simulator.kinematics import (
    GRAVITY_NM_S2,
    STEP_S,
    Frame,
    Script,
    State,
    turn_bank_rad,
    wrap_pi,
)
from trackgrade.simulator.lapplan import LapPlan, plan_lap
from trackgrade.simulator.scenario import Entry, Mistakes, Pilot

TWO_PI = 2 * pi


@dataclass
class LapLog:
    """What the pilot did, as step numbers into the motion; the truth finds exact times near them. -1: never."""

    number: int
    start_n: int
    fix_turn_n: int = -1  # the turn at the fix begun
    level_n: int = -1  # and over
    inbound_turn_n: int = -1  # the turn back begun
    inbound_level_n: int = -1  # rolled out, on an intercept or on the course
    end_n: int = -1
    watch_t: float | None = None  # the watch was started
    why_incomplete: str | None = None


@dataclass
class VisitLog:
    frame: Frame
    entry: Entry
    pattern: str  # "as published", "reciprocal", "wrong side"
    arrival_n: int = -1
    entry_turn_n: int = -1
    entry_end_n: int = -1
    wrong_way: bool = False
    laps: list[LapLog] = field(default_factory=list)
    marks: list[tuple[float, str]] = field(default_factory=list)


class HoldFlyer:
    """Flies one visit to one hold.

    ``leg_s`` or ``leg_nm`` is the inbound leg wanted; ``wind_kt`` the (east, north) wind the pilot believes.
    """

    def __init__(
        self,
        s: State,
        frame: Frame,
        pilot: Pilot,
        mistakes: Mistakes,
        rng: np.random.Generator,
        *,
        tas_kt: float,
        turn_rate_deg_s: float,
        bank_limit_deg: float,
        roll_s: float,
        leg_s: float | None,
        leg_nm: float | None,
        wind_kt: tuple[float, float],
        pattern: str = "as published",
    ) -> None:
        self.s, self.frame, self.pilot, self.mistakes, self.rng = s, frame, pilot, mistakes, rng
        self.tas_kt, self.roll_s = tas_kt, roll_s
        self.v = tas_kt / 3600.0
        self.leg_s, self.leg_nm = leg_s, leg_nm
        self.meant_bank = turn_bank_rad(tas_kt, turn_rate_deg_s, bank_limit_deg)
        if not mistakes.on_laps and mistakes.turn_rate_factor != 1.0:
            # All turns alike: a habit. The laps are laid out for the turns as they are flown.
            self.meant_bank = atan(tan(self.meant_bank) * mistakes.turn_rate_factor)
            self.mistakes = replace(mistakes, turn_rate_factor=1.0)
        self.w = float(GRAVITY_NM_S2 * tan(self.meant_bank) / self.v)  # rate meant [rad/s]
        s.turn_bank = self.meant_bank
        s.roll_max = 1.25 * self.meant_bank / roll_s
        self.wind = wind_kt
        wa, wc = frame.components(wind_kt[0] / 3600.0, wind_kt[1] / 3600.0)
        self.wind_along, self.wind_cross = wa, wc
        self.crab = plan_lap(self.v, self.w, roll_s, wa, wc, inbound_s=leg_s, inbound_nm=leg_nm).crab_rad
        self.out_trim = 0.0  # what earlier laps taught, on the outbound heading [rad]
        self.time_trim = 0.0  # and on the outbound time [s]
        self.swing_phase = float(rng.uniform(0, TWO_PI))
        self.log = VisitLog(frame, "direct", pattern)

    # ------------------------------------------------------------------ small moves

    @property
    def rel(self) -> float:
        return self.frame.relative(self.s.heading)

    def turn(
        self, to_rel: float, direction: int, factor: float = 1.0, *, swing: float = 0.0, trim: bool = False
    ) -> Script:
        """Turn (+1 toward the holding side's hand, -1 the other) to a relative heading, and roll out.

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
            if left <= lead:
                break
            if trim and left < radians(90):
                adjust = 0.9 * adjust + 0.1 * self._trim(left)
            wanted = bank * adjust
            if self.pilot.soft_rollout and left < radians(15):
                wanted *= max(0.45, left / radians(15))
            if swing:
                wanted += swing * sin(TWO_PI * (s.t - begun) / 14.0 + self.swing_phase)
            yield sign * max(radians(4), wanted + s.bank_wander)
        while abs(s.rate) > radians(0.4) and s.rate * sign > 0:
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

    def turn_inbound(self, lap: LapLog | None, number: int, direction: int = 1) -> Generator[float, None, float]:
        """Turn back to the inbound course; returns by how much the turn missed it [NM], + short, - through."""
        m = self._mistakes(number)
        factor, swing = m.turn_rate_factor, radians(m.bank_swing_deg)
        cut = radians(self.pilot.intercept_deg)
        clean = m.aim_beyond_nm == 0.0 and not m.no_intercept
        if direction * ((self.crab - cut) - self.rel) % TWO_PI < radians(300) and direction > 0:
            yield from self._turn_part(self.crab - direction * cut, direction, factor, swing, trim=clean)
        miss = self._predicted_miss(cut)
        if miss > max(0.06, 0.12 * self.v / self.w) and clean:
            # Short of the course: roll out on a cut to it and wait for the needle.
            yield from self.turn(self.crab - direction * cut, direction, factor)
            if lap is not None:
                lap.inbound_level_n = self.s.n
            while self._predicted_miss(cut) > 0.0 and self.s.along < 0.0:
                yield self.bank_for(self.crab - cut)
            if self.s.along < 0.0:
                yield from self.turn(self.crab, 1)
        else:
            yield from self.turn(self.crab, direction, factor, swing=swing, trim=clean)
            if lap is not None:
                lap.inbound_level_n = self.s.n
        return miss

    def _turn_part(self, to_rel: float, direction: int, factor: float, swing: float, *, trim: bool) -> Script:
        """The first part of a turn, without rolling out."""
        s, sign = self.s, self.frame.side * direction
        go = (direction * (to_rel - self.rel)) % TWO_PI
        target = s.heading + sign * go
        bank, begun, adjust = self.meant_bank * factor * self.pilot.rate_bias, s.t, 1.0
        while (left := (target - s.heading) * sign) > 0.0:
            if trim and left < radians(60):
                adjust = 0.9 * adjust + 0.1 * self._trim(left + abs(wrap_pi(self.crab - to_rel)))
            wanted = bank * adjust + s.bank_wander
            if swing:
                wanted += swing * sin(TWO_PI * (s.t - begun) / 14.0 + self.swing_phase)
            yield sign * max(radians(4), wanted)

    def _predicted_miss(self, cut: float) -> float:
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

    # ------------------------------------------------------------------ laps

    def _mistakes(self, number: int) -> Mistakes:
        m = self.mistakes
        if m.on_laps and number not in m.on_laps:
            return _lap_mistakes_off(m)
        return m

    def _plan(self, number: int, start_rel: float | None) -> LapPlan:
        """From where the turn at the fix begins."""
        m, p = self._mistakes(number), self.pilot
        crab = self.crab
        fixed: float | None = None
        if m.no_drift_correction:
            fixed = pi
        elif m.reversed_drift_correction:
            fixed = pi + 2.5 * crab
        elif p.drift_rule != "solved":  # the rule, and what the laps have taught since
            rule = 3.0 if p.drift_rule == "triple" else 0.0
            fixed = pi - max(-radians(45), min(radians(45), rule * crab)) + self.out_trim
            fixed = max(radians(100), min(radians(260), fixed))
        # The wind the pilot knows by now: the drift that was seen inbound, the along part as believed.
        wind_cross = -self.v * sin(crab)
        plan = plan_lap(
            self.v,
            self.w,
            self.roll_s,
            self.wind_along,
            wind_cross,
            inbound_s=self.leg_s,
            inbound_nm=self.leg_nm,
            start_rad=start_rel,
            start_nm=(self.s.along, self.s.cross),
            aim_cross_nm=self.aim + m.aim_beyond_nm + self.short_of_course_nm,
            outbound_rad=fixed,
        )
        if fixed is not None:
            return plan
        out = plan.outbound_rad + self.out_trim - radians(-m.outbound_toward_course_deg)
        return LapPlan(
            plan.crab_rad, plan.inbound_gs_nm_s, out, plan.straight_s, plan.level_s, plan.abeam_s,
            plan.turn_along_nm, plan.closes,
        )  # fmt: skip

    def lap(self, number: int, *, passed_t: float, after_entry_direct: bool = False, stop: str = "") -> Script:
        """One lap, from the fix to the fix. ``stop``: "outbound" leaves it there, "inbound" before the fix."""
        s, p, m = self.s, self.pilot, self._mistakes(number)
        log = LapLog(number, round(passed_t / STEP_S))
        self.log.laps.append(log)
        self.aim = m.off_course_nm + (m.miss_fix_nm if m.miss_fix_nm else 0.0)
        # At the fix: see it, move the controls; on some direct entries wait, to have room.
        wait = max(0.0, p.reaction_s * float(self.rng.uniform(0.6, 1.4)) + m.late_at_fix_s - (s.t - passed_t))
        start_rel = self.rel
        if after_entry_direct and radians(20) < wrap_pi(start_rel) < radians(115):
            room = self.v / self.w * (1 - cos(start_rel)) / (self.v * sin(start_rel))
            wait += p.widen * room
        yield from self.hold_heading(start_rel, wait)
        plan = self._plan(number, self.rel if after_entry_direct else None)
        log.fix_turn_n = s.n
        factor, swing = m.turn_rate_factor, radians(m.bank_swing_deg)
        yield from self.turn(plan.outbound_rad, 1, factor, swing=swing)
        log.level_n = s.n
        yield from self._outbound(log, plan, m, passed_t, stop)
        if stop == "outbound":
            log.why_incomplete = "left the hold on the outbound leg"
            return
        log.inbound_turn_n = s.n
        missed = yield from self.turn_inbound(log, number)
        if stop == "inbound":
            log.why_incomplete = "left the hold before the fix"
            return
        inbound_began = s.t - 1.5  # the roll out of the turn took so long
        yield from self.track_to_fix(number)
        log.end_n = self._passage_n()
        self._learn(m, s.to_t - inbound_began, missed, plan)

    def _outbound(self, log: LapLog, plan: LapPlan, m: Mistakes, passed_t: float, stop: str) -> Script:
        """The outbound leg, until the watch or the distance says turn."""
        s, p = self.s, self.pilot
        level_t = s.t
        turn_at = plan.level_s + plan.straight_s
        watch = p.watch
        if m.watch_alternates:
            watch = "wings level" if log.number % 2 else "abeam"
        seconds = {
            "abeam": turn_at - plan.abeam_s,
            "wings level": plan.straight_s,
            "later of both": min(turn_at - plan.abeam_s, plan.straight_s),
        }[p.watch if m.watch_alternates else watch]
        trimmed = (0.0 if m.outbound_not_corrected else self.time_trim) - 2.5 * p.reaction_s  # knows how slow he is
        seconds = max(2.0, (seconds + trimmed) * m.outbound_factor)
        turn_along = plan.turn_along_nm
        if self.leg_nm is not None and m.outbound_factor != 1.0:
            turn_along = plan.turn_along_nm * m.outbound_factor
        started: float | None = None
        orbit_due = m.orbit_on_lap == log.number
        late = p.reaction_s * float(self.rng.uniform(0.6, 1.4))
        give_up = s.t + 3.0 * max(60.0, plan.straight_s) + 120.0
        while s.t < give_up:
            abeam = s.abeam_t if s.abeam_t > passed_t else (passed_t if s.along <= 0.0 else None)
            if started is None:
                if watch == "wings level":
                    started = level_t + late
                elif abeam is not None:
                    started = (abeam if watch == "abeam" else max(abeam, level_t)) + late
                if started is not None:
                    log.watch_t = started
                    if p.marks:
                        self.log.marks.append((started, "watch started"))
            if self.leg_nm is not None:
                if s.along <= turn_along and s.t - level_t > 2.0:
                    break
            elif started is not None and s.t - started >= seconds:
                break
            if orbit_due and started is not None and s.t - started > 0.4 * seconds:
                orbit_due = False
                before = s.t
                yield from self._circle(1)
                started += s.t - before
            if stop == "outbound" and started is not None and s.t - started > 0.4 * seconds:
                return
            yield self.bank_for(plan.outbound_rad)
        yield from self.hold_heading(plan.outbound_rad, 0.5 * late)

    def _circle(self, direction: int) -> Script:
        heading = self.rel
        sign = self.frame.side * direction
        target = self.s.heading + sign * TWO_PI
        while (target - self.s.heading) * sign > radians(12):
            yield sign * self.meant_bank
        yield from self.hold_heading(heading, 4.0)

    def _learn(self, m: Mistakes, inbound_s: float, missed_nm: float, plan: LapPlan) -> None:
        """Take a share of what went wrong out of the next lap."""
        p = self.pilot
        if self.leg_s is not None:
            ratio = plan.inbound_gs_nm_s / max(0.3 * self.v, self.v - self.wind_along)
            change = p.learning * ratio * (self.leg_s - inbound_s)
            if m.outbound_corrected_wrong_way:
                change = -1.2 * ratio * (self.leg_s - inbound_s)
            self.time_trim += max(-40.0, min(40.0, change))
        reach = self.v * max(30.0, plan.straight_s)
        change = p.learning * atan2(missed_nm - m.aim_beyond_nm, reach)
        self.out_trim = max(-radians(25), min(radians(25), self.out_trim + max(-radians(8), min(radians(8), change))))

    # ------------------------------------------------------------------ entries

    def fly_to_fix(self, track_rad: float) -> Script:
        """Along the line through the fix on this ground track, to passage. Leaves the needle on the hold's course."""
        s = self.s
        arrival = HoldFlyer.__new__(HoldFlyer)
        arrival.__dict__.update(self.__dict__)
        arrival.frame = Frame(self.frame.east_nm, self.frame.north_nm, track_rad, 1)
        arrival.mistakes = Mistakes()
        _, wc = arrival.frame.components(self.wind[0] / 3600.0, self.wind[1] / 3600.0)
        arrival.crab = -np.arcsin(max(-0.9, min(0.9, wc / self.v)))
        s.look_at(arrival.frame)
        yield from arrival.track_to_fix(0)
        s.look_at(self.frame)

    def enter(self, entry: Entry, wrong_way: bool = False) -> Script:
        """From over the fix; ends at the passage that ends the entry (at once, for a direct entry)."""
        s, p = self.s, self.pilot
        self.log.entry, self.log.wrong_way = entry, wrong_way
        self.log.arrival_n = s.n
        if entry == "direct":
            self.log.entry_end_n = s.n
            return
        begun = s.t
        yield from self.hold_heading(self.rel, p.reaction_s)
        self.log.entry_turn_n = s.n
        drift = -self.crab
        out = radians(150) if entry == "teardrop" else pi
        out = out + max(-radians(25), min(radians(25), drift)) + float(self.rng.normal(0, radians(p.heading_sd_deg)))
        turn = 1 if wrap_pi(out - self.rel) > 0 else -1
        yield from self.turn(out, turn)
        level = s.t
        # A minute (or the leg's length), adjusted for what the wind does to it; at least room for the turn.
        seconds = self.leg_s if self.leg_s is not None else min(120.0, (self.leg_nm or 2.0) / self.v)
        back_gs = max(0.4 * self.v, self.v * cos(self.crab) + self.wind_along)
        out_gs = max(0.3 * self.v, self.v - self.wind_along)
        seconds *= min(2.5, max(0.5, back_gs / out_gs))
        least_nm = 2.2 * self.v / self.w + (1.0 + 1.5 * self.v / self.w if entry == "parallel" else 0.3)
        least_nm += max(0.0, self.wind_along) * 200 / (self.w / radians(3)) / 3.0
        while s.t - level < seconds or -s.along < least_nm * (0.6 if entry == "parallel" else 0.5):
            if s.t - begun > 1800:
                break
            yield self.bank_for(out)
        self.aim = self._mistakes(0).off_course_nm
        if entry == "teardrop" and not wrong_way:
            yield from self.turn_inbound(None, 0)
        elif entry == "teardrop" or not wrong_way:
            yield from self._back_from_holding_side()
        else:  # a parallel entry turned away from the holding side: back to the course from the other side
            cut = radians(40)
            yield from self.turn(self.crab + cut, 1)
            while s.cross < -self.v / self.w * (1 - cos(cut)) and s.along < 0.0:
                yield self.bank_for(self.crab + cut)
        yield from self.track_to_fix(0)
        self.log.entry_end_n = self._passage_n()

    def _back_from_holding_side(self) -> Script:
        s, p = self.s, self.pilot
        cut = radians(max(30.0, p.intercept_deg))
        if p.parallel_return == "fix" and self.log.entry == "parallel":
            # Turn until the nose is on the fix, then follow it.
            sign = -self.frame.side
            turned, last = 0.0, s.heading
            while s.along < -0.05:
                to_fix = atan2(-s.cross, -s.along)  # relative bearing of the fix
                bearing = to_fix + self.crab
                left = wrap_pi(self.rel - bearing)
                turned += abs(s.heading - last)
                last = s.heading
                if turned > radians(150) and left < abs(s.rate) * 3.0:
                    break
                yield sign * (self.meant_bank + s.bank_wander)
            radius = self.v / self.w
            while s.along < -0.15 and hypot(s.along, s.cross) > 0.3 * radius:
                yield self.bank_for(atan2(-s.cross, -s.along) + self.crab)
            return
        yield from self.turn(self.crab - cut, -1)
        while s.along < 0.0 and self._predicted_miss(cut) > 0.0:
            yield self.bank_for(self.crab - cut)
        if s.along < 0.0:
            yield from self.turn(self.crab, 1)


def _lap_mistakes_off(m: Mistakes) -> Mistakes:
    """The mistakes that concern the whole flight, without those of single laps."""
    return Mistakes(
        reciprocal_course=m.reciprocal_course,
        wrong_side=m.wrong_side,
        entry_wrong_way=m.entry_wrong_way,
        altitude_lost_in_turns_ft=m.altitude_lost_in_turns_ft,
        altitude_offset_ft=m.altitude_offset_ft,
        speed_excess_kt=m.speed_excess_kt,
        arrival_excess_kt=m.arrival_excess_kt,
        speed_swing_kt=m.speed_swing_kt,
    )
