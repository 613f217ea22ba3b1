"""``fly``: from a hold, a scenario and a seed to a recorded track and its truth. Order of calls only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import atan2, cos, hypot, pi, radians, sin

import numpy as np

from trackgrade.hold.hold import Hold
from trackgrade.simulator.flown_log import VisitLog
from trackgrade.simulator.kinematics import (
    Frame,
    Motion,
    Script,
    State,
    run,
    turn_bank_rad,
    wind_components_kt,
)
from trackgrade.simulator.manoeuvres import Flyer, fly_manoeuvre
from trackgrade.simulator.pilot import HoldFlyer
from trackgrade.simulator.recorder import Recording, record
from trackgrade.simulator.scenario import Entry, Manoeuvre, Mistakes, Scenario
from trackgrade.simulator.truth import TrueLevel, Truth, expected_entries, tell

LONGEST_FLIGHT_S = 6 * 3600.0
#: A level assigned is begun so long after it was read back [s].
LEVEL_BEGUN_S = (3.0, 25.0)


@dataclass(frozen=True, eq=False)
class SimulatedFlight:
    """A flight as flown (``motion``, noise-free), as recorded, and its truth."""

    hold: Hold
    scenario: Scenario
    seed: int
    motion: Motion
    recording: Recording
    truth: Truth


#: Headings against the inbound course, toward the holding side [deg], well inside each sector.
SECTOR_HEADINGS: dict[Entry, tuple[float, float]] = {
    "direct": (-62.0, 102.0),
    "teardrop": (118.0, 172.0),
    "parallel": (188.0, 282.0),
}


class _Conductor:
    def __init__(self, hold: Hold, scenario: Scenario, rng: np.random.Generator) -> None:
        self.hold, self.sc, self.rng = hold, scenario, rng
        a, m = scenario.aircraft, scenario.mistakes
        # The hold as this pilot flies it, rightly or not.
        course, side, self.pattern = radians(hold.inbound_course_true_deg), hold.side, "as published"
        if m.reciprocal_course:
            course, self.pattern = course + pi, "reciprocal"
        if m.wrong_side:
            side, self.pattern = -side, "wrong side"
        self.frame = Frame(0.0, 0.0, course, side)
        self.tas = a.tas_kt + m.speed_excess_kt
        self.aircraft = replace(a, tas_kt=self.tas)
        self.true_wind = wind_components_kt(scenario.air.wind_from_true_deg, scenario.air.wind_kt)
        error = rng.normal(0.0, max(1e-9, scenario.pilot.wind_error_kt), 2)
        self.wind = (self.true_wind[0] + float(error[0]), self.true_wind[1] + float(error[1]))
        self.visits: list[VisitLog] = []
        entry, heading = self._arrival()
        if scenario.reversal and entry == "direct":
            raise ValueError("a direct entry is a lap: a course reversal is a teardrop or a parallel entry")
        self.entry, self.arrival = entry, heading
        bank = turn_bank_rad(self.aircraft)
        track = self._track(heading)
        reach = scenario.arrive_from_nm or max(3.0, self.tas / 3600.0 * 110.0)
        self.reach = reach
        if scenario.before:
            first = self._place(scenario.before[0])
            start_heading = float(rng.uniform(0, 2 * pi))
            back = max(2.0, self.tas / 3600.0 * 60.0)
            east, north = first[0] - back * sin(start_heading), first[1] - back * cos(start_heading)
        else:
            start_heading = heading
            east, north = -reach * sin(track), -reach * cos(track)
        self.s = State(east, north, start_heading, self.tas + m.arrival_excess_kt, a.altitude_ft, self.frame)
        self.s.alt_target = self.s.alt = a.altitude_ft + m.altitude_offset_ft
        self.s.loss_ft = m.altitude_lost_in_turns_ft
        begun = scenario.start_epoch_s
        self.levels = [TrueLevel(a.altitude_ft, begun, begun)]
        self.flyer = Flyer(self.s, self.tas, bank, self.wind, rng)
        self.s.turn_bank, self.s.roll_max = bank, 1.25 * bank / a.roll_s

    def _arrival(self) -> tuple[Entry, float]:
        """Entry to fly and arrival heading [rad]."""
        sc, frame, entry = self.sc, self.frame, self.sc.entry
        if sc.arrival_heading_true_deg is not None:
            heading = radians(sc.arrival_heading_true_deg)
        elif sc.arrival_offset_deg is not None:
            heading = frame.course_rad + frame.side * radians(sc.arrival_offset_deg)
        else:
            entry = entry or self.rng.choice(list(SECTOR_HEADINGS)[1 if sc.reversal else 0 :]).item()
            heading = frame.course_rad + frame.side * radians(float(self.rng.uniform(*SECTOR_HEADINGS[entry])))
        return entry or expected_entries(float(np.degrees(frame.relative(heading))))[0], heading

    def _track(self, heading: float) -> float:
        """Ground track flown on this heading in the true wind [rad]."""
        east = self.tas * sin(heading) + self.true_wind[0]
        north = self.tas * cos(heading) + self.true_wind[1]
        return atan2(east, north)

    def _place(self, m: Manoeuvre) -> tuple[float, float]:
        b = radians(m.bearing_true_deg)
        return m.away_nm * sin(b), m.away_nm * cos(b)

    def script(self) -> Script:
        sc = self.sc
        for m in sc.before:
            yield from self._manoeuvre(m)
        if sc.laps > 0 or sc.reversal:
            for visit in range(sc.visits):
                if visit:
                    yield from self._approach_and_back()
                last = visit == sc.visits - 1
                yield from self._visit(bool(sc.before) or visit > 0, last)
        for m in sc.after:
            yield from self._manoeuvre(m)

    def _change_level(self, altitude_ft: float, rate_ft_min: float, *, missed: bool = False) -> None:
        """Leave the level held for another one; ``missed``: where this pilot misses levels."""
        s, m, start = self.s, self.sc.mistakes, self.sc.start_epoch_s
        target = altitude_ft + m.altitude_offset_ft + (m.level_missed_ft if missed else 0.0)
        seconds = min(abs(target - s.alt_target), abs(altitude_ft - s.alt_target)) / (rate_ft_min / 60.0)
        s.alt_rate, s.alt_target = rate_ft_min / 60.0, target
        self.levels.append(TrueLevel(altitude_ft, start + s.t, start + s.t + seconds))

    def obeying(self, script: Script) -> Script:
        """The script, with the levels that the hold has flown on the way, each some seconds after its time."""
        start = self.sc.start_epoch_s
        due = [(at - start + float(self.rng.uniform(*LEVEL_BEGUN_S)), ft) for at, ft in self.hold.levels]
        for bank in script:
            if due and self.s.t >= due[0][0]:
                at_s, level_ft = due.pop(0)
                if self.sc.mistakes.level_not_flown:
                    self.levels.append(TrueLevel(level_ft, start + at_s, start + at_s))
                else:
                    self._change_level(level_ft, self.sc.pilot.level_rate_ft_min, missed=True)
            yield bank

    def _flyer_for(self, frame: Frame, pattern: str, mistakes: Mistakes) -> HoldFlyer:
        return HoldFlyer(
            self.s,
            frame,
            self.sc.pilot,
            mistakes,
            self.rng,
            aircraft=self.aircraft,
            leg=self.hold.leg,
            wind_kt=self.wind,
            pattern=pattern,
        )

    def _visit(self, ferry: bool, last: bool) -> Script:
        s, sc = self.s, self.sc
        h = self._flyer_for(self.frame, self.pattern, sc.mistakes)
        self.visits.append(h.log)
        heading = self.arrival
        entry = self.entry
        if len(self.visits) > 1:
            entry, heading = self._arrival()
        track = self._track(heading)
        if ferry:
            yield from self._ferry(track)
        s.tas_target = self.tas + sc.mistakes.arrival_excess_kt
        yield from h.fly_to_fix(track)
        s.tas_target = self.tas
        climb = sc.aircraft
        if climb.climb_ft_min:
            self._change_level(self.levels[-1].altitude_ft + climb.climb_ft, abs(climb.climb_ft_min))
        yield from h.enter(entry, sc.mistakes.entry_wrong_way)
        for number in range(1, sc.laps + 1):
            for lap, feet in sc.levels:
                if lap == number:
                    self._change_level(self.levels[-1].altitude_ft + feet, sc.pilot.level_rate_ft_min, missed=True)
            direct = number == 1 and entry == "direct"
            passed = s.t if direct else s.to_t
            stop = "inbound" if sc.mistakes.cut_short_on_lap == number else ""
            yield from h.lap(number, passed_t=passed, after_entry_direct=direct, stop=stop)
            if stop:
                break
        leaves = "straight" if sc.reversal else sc.pilot.leaves
        if sc.mistakes.cut_short_on_lap:
            yield from self.flyer.turn(float(self.rng.choice([-1, 1])) * radians(70))
            yield from self.flyer.hold(s.heading, 90.0)
        elif leaves == "one more" and last:
            yield from h.lap(sc.laps + 1, passed_t=s.to_t, stop="outbound")
            yield from self.flyer.turn(-self.frame.side * radians(60))
            yield from self.flyer.hold(s.heading, 60.0)
        elif leaves == "away" and last:
            yield from self.flyer.hold(s.heading, 3.0)
            yield from self.flyer.turn(-self.frame.side * radians(float(self.rng.uniform(40, 110))))
            yield from self.flyer.hold(s.heading, 60.0)
        else:
            yield from self.flyer.hold(s.heading, 75.0)

    def _ferry(self, track: float) -> Script:
        """To where the arrival begins, clear of the fix: what passes over it and comes back at once is an entry."""
        s, far = self.s, max(8.0, 1.5 * self.reach)
        east, north = -far * sin(track), -far * cos(track)
        de, dn = east - s.east, north - s.north
        length = max(0.1, hypot(de, dn))
        share = max(0.0, min(1.0, -(s.east * de + s.north * dn) / length**2))
        miss_e, miss_n = s.east + share * de, s.north + share * dn
        clear = max(3.0, self.reach)
        if hypot(miss_e, miss_n) < clear and hypot(s.east, s.north) > 0.5 * clear:
            # Around it, on the side the line already passes.
            side = 1.0 if miss_e * -dn + miss_n * de >= 0.0 else -1.0
            yield from self.flyer.go_to(-side * dn / length * 2 * clear, side * de / length * 2 * clear, near_nm=1.0)
        yield from self.flyer.go_to(east, north)

    def _approach_and_back(self) -> Script:
        """On along the inbound course, down, around, and up again on the way back."""
        s, f = self.s, self.flyer
        level = s.alt_target
        s.alt_rate, s.alt_target = 700.0 / 60.0, level - 1500.0
        yield from f.along_line(0.0, 0.0, self.frame.course_rad, max(5.0, self.tas / 3600.0 * 150))
        s.alt_rate, s.alt_target = 900.0 / 60.0, level
        yield from f.hold(s.heading, 20.0)
        yield from f.turn(-self.frame.side * radians(float(self.rng.uniform(150, 200))))

    def _manoeuvre(self, m: Manoeuvre) -> Script:
        east, north = self._place(m)
        if m.kind == "hold":
            frame = Frame(east, north, radians(m.course_true_deg), m.turn)
            h = self._flyer_for(frame, "elsewhere", Mistakes())
            low, high = SECTOR_HEADINGS["direct"]
            track = frame.course_rad + frame.side * radians(float(self.rng.uniform(low / 2, high / 2)))
            yield from self.flyer.go_to(east - self.reach * sin(track), north - self.reach * cos(track))
            yield from h.fly_to_fix(track)
            yield from h.enter("direct")
            for number in range(1, int(m.size) + 1):
                yield from h.lap(
                    number, passed_t=self.s.t if number == 1 else self.s.to_t, after_entry_direct=number == 1
                )
            yield from self.flyer.hold(self.s.heading, 60.0)
        elif m.kind == "approach":
            yield from self.flyer.go_to(east, north)
            yield from self._approach_and_back()
        else:
            yield from fly_manoeuvre(self.flyer, m, east, north)


def fly(hold: Hold, scenario: Scenario, seed: int = 0) -> SimulatedFlight:
    """Fly the scenario at the hold. Same arguments, same flight, to the last bit.

    Raises ValueError where the wind leaves no lap to fly (headwind or crosswind as strong as the airspeed).
    """
    rng = np.random.default_rng([seed, 0x7261636B])
    air_rng, pilot_rng, sensor_rng = rng.spawn(3)
    pilot = scenario.pilot
    if scenario.mistakes.speed_swing_kt:
        pilot = replace(pilot, tas_sd_kt=scenario.mistakes.speed_swing_kt)
        scenario = replace(scenario, pilot=pilot)
    conductor = _Conductor(hold, scenario, pilot_rng)
    script = conductor.obeying(conductor.script()) if hold.levels else conductor.script()
    motion = run(script, conductor.s, scenario.air, scenario.aircraft, pilot, air_rng, LONGEST_FLIGHT_S)
    marks = tuple(mark for visit in conductor.visits for mark in visit.marks)
    truth = tell(scenario, motion, conductor.visits, tuple(conductor.levels))
    recording = record(hold, scenario, motion, marks, sensor_rng)
    return SimulatedFlight(hold, scenario, seed, motion, recording, truth)
