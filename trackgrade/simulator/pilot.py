"""The simulated pilot: flies entry and laps from the needle, the heading, the watch and the distance."""

from __future__ import annotations

import copy
from dataclasses import replace
from math import asin, atan2, cos, hypot, pi, radians, sin

from trackgrade.simulator.flown_log import LapLog
from trackgrade.simulator.kinematics import STEP_S, Frame, Script, wrap_pi
from trackgrade.simulator.lapplan import LapPlan, plan_lap
from trackgrade.simulator.scenario import Entry, Mistakes
from trackgrade.simulator.steering import TWO_PI, Steering


class HoldFlyer(Steering):
    """Flies one visit to one hold: the way to the fix, the entry, the laps."""

    # ------------------------------------------------------------------ laps

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

        def planned(outbound_rad: float | None) -> LapPlan:
            return plan_lap(
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
                outbound_rad=outbound_rad,
            )

        if fixed is None and m.drift_share != 1.0:
            fixed = pi + m.drift_share * (planned(None).outbound_rad - pi)
        plan = planned(fixed)
        if fixed is not None:
            return plan
        out = plan.outbound_rad + self.out_trim - radians(-m.outbound_toward_course_deg)
        return replace(plan, outbound_rad=out)

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
        missed = yield from self.turn_inbound(log)
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
        seconds = {
            "abeam": turn_at - plan.abeam_s,
            "wings level": plan.straight_s,
            "later of both": min(turn_at - plan.abeam_s, plan.straight_s),
        }[p.watch]
        trimmed = (0.0 if m.outbound_not_corrected else self.time_trim) - 2.5 * p.reaction_s  # knows how slow he is
        seconds = max(2.0, (seconds + trimmed) * m.outbound_factor)
        turn_along = plan.turn_along_nm * m.outbound_factor
        watch = p.watch if not m.watch_alternates else "wings level" if log.number % 2 else "abeam"
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
                    if m.watch_random_s:
                        started += float(self.rng.uniform(-0.5, 0.5)) * m.watch_random_s
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
        arrival = copy.copy(self)
        arrival.frame = Frame(self.frame.east_nm, self.frame.north_nm, track_rad, 1)
        arrival.mistakes = Mistakes()
        _, wc = arrival.frame.components(self.wind[0] / 3600.0, self.wind[1] / 3600.0)
        arrival.crab = -asin(max(-0.9, min(0.9, wc / self.v)))
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
            yield from self.turn_inbound(LapLog(0, s.n))
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
        while s.along < 0.0 and self._predicted_miss() > 0.0:
            yield self.bank_for(self.crab - cut)
        if s.along < 0.0:
            yield from self.turn(self.crab, 1)
