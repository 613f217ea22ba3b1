"""A card flown in the simulator by its numbers alone, and read as a lap is graded.

The simulator shares nothing with the planner: it integrates bank, heading and position twenty times a second, with a
limited roll rate and a lag. The pilot here knows heading and time of the card and the watch, turns back to the inbound
heading, and only then looks at the needle. The definitions (a turn ends below a quarter of standard rate; the inbound
time starts at the earlier of course crossed in the turn back, by more than 0.005 NM, and the roll-out) are written
down here again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trackgrade.hold.hold import Hold
from trackgrade.simulator.kinematics import GRAVITY_NM_S2, Frame, Script, State, run, turn_bank_rad, wrap_pi
from trackgrade.simulator.scenario import Air, Aircraft, Pilot

STEADY = Pilot(wind_error_kt=0.0, heading_sd_deg=0.0, bank_sd_deg=0.0, tas_sd_kt=0.0, altitude_sd_ft=0.0)
#: A hand that wanders a little about what it means to fly.
HUMAN = Pilot(heading_sd_deg=0.6, bank_sd_deg=0.3, tas_sd_kt=0.8)
CROSSED_NM = 0.005
#: The needle is flown in by a cut of no more than this [deg], after this many seconds' worth of closing.
CUT_DEG, CLOSES_IN_S = 30.0, 14.0


@dataclass(frozen=True)
class Flown:
    """Seconds from the passage; cross [NM] at the roll-out and at the next passage."""

    outbound_s: float
    inbound_s: float
    rollout_cross_nm: float
    passed_cross_nm: float
    lap_s: float


@dataclass(frozen=True)
class Card:
    """What a pilot takes into the air: headings [deg true], seconds from abeam, and the turn."""

    outbound_heading_true_deg: float
    outbound_s: float
    inbound_heading_true_deg: float
    turn_rate_deg_s: float


def fly_card(
    hold: Hold,
    card: Card,
    *,
    tas_kt: float,
    wind_from_true_deg: float,
    wind_kt: float,
    roll_s: float = 4.0,
    pilot: Pilot = STEADY,
    seed: int = 0,
    needle: bool = True,
) -> Flown:
    """One lap from the fix, established on the inbound heading. Without ``needle`` the heading is held to the fix."""
    frame = Frame(0.0, 0.0, math.radians(hold.inbound_course_true_deg), hold.side)
    outbound, inbound = math.radians(card.outbound_heading_true_deg), math.radians(card.inbound_heading_true_deg)
    state = State(0.0, 0.0, inbound, tas_kt, 5000.0, frame)
    bank = turn_bank_rad(Aircraft(tas_kt=tas_kt, turn_rate_deg_s=card.turn_rate_deg_s, bank_limit_deg=60.0))
    state.turn_bank, state.roll_max = bank, 1.25 * bank / roll_s
    v = tas_kt / 3600.0
    at: dict[str, float] = {}

    def keep(heading: float) -> float:
        error = wrap_pi(heading - state.heading) + state.heading_wander
        return max(-bank, min(bank, math.atan(state.tas / 3600.0 * (error / 4.0) / GRAVITY_NM_S2)))

    def turn(heading: float) -> Script:
        goal = state.heading + hold.side * ((hold.side * (heading - state.heading)) % (2.0 * math.pi))
        # Rolls out a little ahead of the heading, by the rate and the bank to be taken off.
        while (goal - state.heading) * hold.side > abs(state.rate) * (0.5 * abs(state.bank) / state.roll_max + 0.9):
            yield hold.side * bank + state.bank_wander
        while abs(state.rate) > math.radians(0.2) and state.rate * hold.side > 0.0:
            yield 0.0

    def script() -> Script:
        state.abeam_t = -1e9
        yield from turn(outbound)
        while state.abeam_t < 0.0 or state.t < state.abeam_t + card.outbound_s:
            yield keep(outbound)
        at["abeam"], at["back"] = state.abeam_t, state.t
        yield from turn(inbound)
        state.to_t = -1e9
        while state.to_t < 0.0:
            cut = min(math.radians(CUT_DEG), abs(state.cross) / (v * CLOSES_IN_S))
            # No sharper than the arc that ends on the course.
            arc = math.acos(max(-1.0, 1.0 - 0.8 * abs(state.cross) * math.radians(card.turn_rate_deg_s) / v))
            cut = math.copysign(min(cut, max(arc, math.radians(1.0))), -state.cross) if needle else 0.0
            yield keep(inbound + hold.side * cut)

    still = Air(wind_from_true_deg=wind_from_true_deg, wind_kt=wind_kt, change_kt=0.0, gust_kt=0.0)
    motion = run(script(), state, still, Aircraft(), pilot, np.random.default_rng(seed), 3600.0)
    sin, cos = math.sin(frame.course_rad), math.cos(frame.course_rad)
    cross = hold.side * (motion.east_nm * cos - motion.north_nm * sin)
    rate = hold.side * np.degrees(motion.rate_rad_s)
    threshold = min(0.75, card.turn_rate_deg_s / 4.0)
    turning = np.flatnonzero((motion.t_s >= at["back"]) & (rate > threshold))
    begun = int(turning[0])
    level = begun + int(np.argmax(rate[begun:] < threshold))
    start = level
    through = np.flatnonzero((cross[begun:level] > 0.0) & (cross[begun + 1 : level + 1] <= 0.0))
    if len(through) and -cross[level : level + 200].min() > CROSSED_NM:
        start = begun + int(through[-1])
    return Flown(
        outbound_s=float(motion.t_s[begun]) - at["abeam"],
        inbound_s=state.t - float(motion.t_s[start]),
        rollout_cross_nm=float(cross[level]),
        passed_cross_nm=state.cross,
        lap_s=state.t,
    )
