"""A hold written down by arithmetic, as the analysis would hand it to the judgement: samples, turns, laps.

No wind, constant speed, 3 degrees a second: a lap is two straight legs and two half circles of radius V / (60 pi).
Every moment of every lap is known exactly, so a test of the judgement can state what must come out of it. It shares
no code with the package beyond the nouns it fills.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from trackgrade.hold.hold import Guidance, Hold, Leg
from trackgrade.motion.samples import Turn, Wind
from trackgrade.segment.flown import Entry, Flown, Lap, Moment, Visit
from trackgrade.segment.measured import Measured
from trackgrade.segment.path import Samples
from trackgrade.track.track import CleanTrack, Mark, Track

START_S = 1_777_820_400.0  # 2026-05-03T15:00:00Z
TAS_KT = 100.0
HALF_TURN_S = 60.0
RADIUS_NM = TAS_KT / 3600.0 / math.radians(3.0)
SD_S = 0.1

HOLD = Hold(
    name="Arithmetic hold",
    fix_lat_deg=44.0,
    fix_lon_deg=-93.0,
    inbound_course_true_deg=220.0,
    variation_deg=2.0,
    variation_source="given in the hold file",
    turns="right",
    leg=Leg(minutes=1.0),
    guidance=Guidance(kind="gps", full_scale_nm=1.0),
    altitude_ft=4000.0,
    airspeed_kias=94.0,
)
STILL_AIR = Wind(0.0, 0.0, TAS_KT, 10.0, 0.3, 0.3, ((0.05, 0.0), (0.0, 0.05)))


@dataclass(frozen=True)
class Plan:
    """What is flown: straight seconds of each lap, and what altitude, airspeed and cross-track do in time.

    The functions take the array of seconds since the first fix passage; ``inbound_cross_nm`` is added to cross
    on the inbound legs only.
    """

    straights_s: Sequence[float] = (60.0, 60.0, 60.0)
    altitude_ft: Callable[[np.ndarray], np.ndarray] = field(default=lambda t: np.full_like(t, 4000.0))
    ias_kt: Callable[[np.ndarray], np.ndarray] = field(default=lambda t: np.full_like(t, 94.0))
    inbound_cross_nm: Callable[[np.ndarray], np.ndarray] = field(default=np.zeros_like)
    marks: tuple[float, ...] = ()
    interval_s: float = 1.0
    airspeed_source: str = "logged"
    entry: str = "direct"
    lead_in_s: float = 200.0


def fly(plan: Plan = Plan(), hold: Hold = HOLD, wind: Wind | None = STILL_AIR) -> Measured:
    """The flight of a plan: straight in, the laps, straight on."""
    lap_s = [2.0 * HALF_TURN_S + 2.0 * straight for straight in plan.straights_s]
    starts = np.concatenate(([0.0], np.cumsum(lap_s)))
    t = np.arange(-plan.lead_in_s, starts[-1] + 30.0 + 1e-9, plan.interval_s)
    along, cross, heading, rate, inbound = _path(t, starts, plan.straights_s)
    cross = cross + np.where(inbound, plan.inbound_cross_nm(t), 0.0)
    course = math.radians(hold.inbound_course_true_deg)
    right = hold.side * cross
    n = len(t)
    samples = Samples(
        epoch_s=START_S + t,
        along_nm=along,
        cross_nm=cross,
        east_nm=along * math.sin(course) + right * math.cos(course),
        north_nm=along * math.cos(course) - right * math.sin(course),
        position_sd_nm=np.full(n, 0.001),
        alt_ft=plan.altitude_ft(t),
        groundspeed_kt=np.full(n, TAS_KT),
        ground_track_true_deg=np.mod(hold.inbound_course_true_deg + hold.side * heading, 360.0),
        ground_track_rate_deg_s=hold.side * rate,
        heading_true_deg=np.mod(hold.inbound_course_true_deg + hold.side * heading, 360.0),
        heading_rate_deg_s=hold.side * rate,
        heading_rate_sd_deg_s=np.full(n, 0.05),
        bank_deg=np.where(rate > 0.0, 15.4, 0.0),
        tas_kt=np.full(n, TAS_KT),
        ias_kt=plan.ias_kt(t),
        gap_before=np.zeros(n, dtype=bool),
        heading_source="logged",
        airspeed_source=plan.airspeed_source,  # type: ignore[arg-type]
        bank_source="estimated",
    )
    laps, turns = _laps(starts, plan.straights_s, hold.side)
    first = Moment(START_S, SD_S)
    entry = Entry(
        kind=plan.entry,  # type: ignore[arg-type]
        expected=("direct",),
        start=first,
        end=first,
        arrival_heading_true_deg=hold.inbound_course_true_deg,
        margin_deg=70.0,
        turn_start=first,
        non_holding_side_nm=0.0,
    )
    lat = 44.0 + samples.north_nm / 60.0  # only the frame's numbers are judged
    lon = -93.0 + samples.east_nm / (60.0 * math.cos(math.radians(44.0)))
    marks = tuple(Mark(START_S + when, "watch") for when in plan.marks)
    track = Track("arithmetic", samples.epoch_s, lat, lon, samples.alt_ft, marks=marks)
    clean = CleanTrack(track, n, (), (), plan.interval_s)
    why = "" if wind else "the directions flown cover too little of the circle"
    return Measured(clean, hold, samples, wind, why, turns, Flown((Visit(1, entry, laps, ()),)))


def _path(t, starts, straights):  # type: ignore[no-untyped-def]
    """Along, cross [NM], heading off the inbound course, its rate, and whether on an inbound leg."""
    speed = TAS_KT / 3600.0
    along, cross = np.where(t < 0.0, speed * t, speed * (t - starts[-1])), np.zeros_like(t)
    heading, rate, inbound = np.zeros_like(t), np.zeros_like(t), t < 0.0
    for start, straight in zip(starts[:-1], straights, strict=True):
        u = t - start
        one, two, three = HALF_TURN_S, HALF_TURN_S + straight, 2.0 * HALF_TURN_S + straight
        angle = np.radians(3.0 * u)
        here = (u >= 0.0) & (u < one)
        along[here], cross[here] = RADIUS_NM * np.sin(angle[here]), RADIUS_NM * (1.0 - np.cos(angle[here]))
        heading[here], rate[here] = 3.0 * u[here], 3.0
        here = (u >= one) & (u < two)
        along[here], cross[here], heading[here] = -speed * (u[here] - one), 2.0 * RADIUS_NM, 180.0
        here = (u >= two) & (u < three)
        angle = np.radians(3.0 * (u - two))
        along[here] = -speed * straight - RADIUS_NM * np.sin(angle[here])
        cross[here] = RADIUS_NM * (1.0 + np.cos(angle[here]))
        heading[here], rate[here] = 180.0 + 3.0 * (u[here] - two), 3.0
        here = (u >= three) & (u < three + straight)
        along[here], cross[here], heading[here] = -speed * (straight - (u[here] - three)), 0.0, 0.0
        inbound = inbound | here
    return along, cross, heading, rate, inbound


def _laps(starts, straights, side):  # type: ignore[no-untyped-def]
    laps, turns = [], []
    for number, (start, straight) in enumerate(zip(starts[:-1], straights, strict=True), start=1):
        at = [
            Moment(START_S + start + offset, SD_S)
            for offset in (
                0.0,
                HALF_TURN_S,
                HALF_TURN_S + straight,
                2.0 * HALF_TURN_S + straight,
                2.0 * (HALF_TURN_S + straight),
            )
        ]
        fix, level, back, rolled, end = at
        laps.append(
            Lap(number, fix, fix, level, level, level, back, None, rolled, rolled, "rollout", end, end_cross_nm=0.0)
        )
        for begin, stop in ((fix, level), (back, rolled)):
            turns.append(Turn(begin.epoch_s, stop.epoch_s, SD_S, SD_S, side * 180.0, 3.0, 15.4, 0.75))
    return tuple(laps), tuple(turns)
