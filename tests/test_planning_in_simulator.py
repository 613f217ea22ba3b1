"""The solved lap, flown in the simulator by its card alone, closes on the fix.

The simulator shares nothing with the planner: it integrates bank, heading and position twenty times a second, with a
limited roll rate and a lag. The pilot here knows the numbers of the card and the watch, and never looks at the needle.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from trackgrade.hold.hold import Hold, Leg
from trackgrade.hold.planning import SolvedLap, solve_lap
from trackgrade.simulator.kinematics import (
    GRAVITY_NM_S2,
    Frame,
    Script,
    State,
    run,
    turn_bank_rad,
    wrap_pi,
)
from trackgrade.simulator.scenario import Air, Aircraft, Pilot

CLOSES_WITHIN_NM = 0.05
CLOSES_WITHIN_S = 1.0
STEADY = Pilot(wind_error_kt=0.0, heading_sd_deg=0.0, bank_sd_deg=0.0, tas_sd_kt=0.0, altitude_sd_ft=0.0)


def fly_the_card(hold: Hold, lap: SolvedLap, roll_s: float) -> tuple[float, float]:
    """Cross [NM] where the fix is passed again, and when [s from the start at the fix]."""
    frame = Frame(0.0, 0.0, math.radians(hold.inbound_course_true_deg), hold.side)
    outbound, inbound = math.radians(lap.outbound_heading_true_deg), math.radians(lap.inbound_heading_true_deg)
    state = State(0.0, 0.0, inbound, lap.tas_kt, 5000.0, frame)
    bank = turn_bank_rad(lap.tas_kt, lap.turn_rate_deg_s, 60.0)
    state.turn_bank, state.roll_max = bank, 1.25 * bank / roll_s

    def keep(heading: float) -> float:
        error = wrap_pi(heading - state.heading)
        return max(-bank, min(bank, math.atan(state.tas / 3600.0 * (error / 4.0) / GRAVITY_NM_S2)))

    def turn(heading: float) -> Script:
        goal = state.heading + hold.side * ((hold.side * (heading - state.heading)) % (2.0 * math.pi))
        # Rolls out a little ahead of the heading, by the rate and the bank to be taken off.
        while (goal - state.heading) * hold.side > abs(state.rate) * (0.5 * abs(state.bank) / state.roll_max + 0.9):
            yield hold.side * bank
        while abs(state.rate) > math.radians(0.2) and state.rate * hold.side > 0.0:
            yield 0.0

    def script() -> Script:
        state.abeam_t = -1e9
        yield from turn(outbound)
        while state.abeam_t < 0.0 or state.t < state.abeam_t + lap.outbound_s:
            yield keep(outbound)
        yield from turn(inbound)
        state.to_t = -1e9
        while state.to_t < 0.0:
            yield keep(inbound)

    still = Air(wind_from_true_deg=lap.wind_from_true_deg, wind_kt=lap.wind_kt, change_kt=0.0, gust_kt=0.0)
    run(script(), state, still, Aircraft(), STEADY, np.random.default_rng(0), 3600.0)
    return state.cross, state.t


@pytest.mark.parametrize("seed", range(10))
def test_it_closes(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tas_kt, turns = float(rng.uniform(80.0, 200.0)), str(rng.choice(["right", "left"]))
    course = float(rng.uniform(0.0, 360.0))
    hold = Hold("test", 44.0, -93.0, course, 0.0, "given", turns, Leg(minutes=1.0))  # type: ignore[arg-type]
    aircraft_roll_s = float(rng.choice([3.0, 4.0, 5.0]))
    # The simulator rolls at 1.25 times the bank over this time, and takes about a second more to begin and to check it.
    roll_s = 0.8 * aircraft_roll_s + 1.0
    share = rng.uniform(0.0, 0.4)
    # Winds that leave no lap of one minute are turned until there is one.
    laps = (solve_lap(hold, tas_kt, float(rng.uniform(0.0, 360.0)), share * tas_kt, roll_s=roll_s) for _ in range(50))
    lap = next(lap for lap in laps if lap.feasible)
    cross_nm, passed_s = fly_the_card(hold, lap, aircraft_roll_s)
    assert abs(cross_nm) < CLOSES_WITHIN_NM
    assert abs(passed_s - lap.lap_s) < CLOSES_WITHIN_S


def test_another_outbound_heading_does_not_close() -> None:
    """The check can fail: fifteen degrees off leave a tenth of a mile."""
    hold = Hold("test", 44.0, -93.0, 360.0, 0.0, "given", "right", Leg(minutes=1.0))
    lap = solve_lap(hold, 100.0, 300.0, 25.0, roll_s=4.2)
    off = SolvedLap(**{**lap.__dict__, "outbound_heading_true_deg": lap.outbound_heading_true_deg + 15.0})
    assert abs(fly_the_card(hold, off, 4.0)[0]) > 0.1 > CLOSES_WITHIN_NM
