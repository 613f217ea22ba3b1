"""The suites: how many flights of which draw. A flight is a function of suite and seed alone, to be flown again."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace

import numpy as np

from tests.simulated.draws import (
    LEVELS_NOT_TOLD,
    Draw,
    draw_bad,
    draw_channels,
    draw_circles,
    draw_clean,
    draw_decoys,
    draw_entries,
    draw_fading,
    draw_geography,
    draw_jets,
    draw_levels,
    draw_messy,
    draw_mixed,
    draw_other_entries,
    draw_racetracks,
    draw_reversals,
    draw_sparse,
    draw_turns,
    draw_wind,
)
from trackgrade.simulator.flight import SimulatedFlight, fly
from trackgrade.simulator.scenario import Scenario
from trackgrade.simulator.truth import TrueLap


@dataclass(frozen=True)
class Suite:
    name: str
    about: str
    draw: Draw
    flights: int
    decoy: bool = False


SUITES = {
    s.name: s
    for s in (
        Suite("clean", "1 Hz, noise to 3 m, wind to 30 kt, light aircraft, any entry", draw_clean, 200),
        Suite("wind", "25 to 60 kt, changing with time and height", draw_wind, 40),
        Suite("jets", "160 to 280 kt, 25 or 30 degrees of bank, legs to 20 NM, wind to 60 kt", draw_jets, 40),
        Suite("turns", "half to over standard rate, uneven, climbing and descending, 1 to 12 laps", draw_turns, 30),
        Suite("messy", "5 Hz to 5 s, adaptive to 15 s, holes, invented rows, spikes, stale, disorder", draw_messy, 80),
        Suite("sparse", "the same at a point every 10 s", draw_sparse, 20),
        Suite("bad", "badly flown: missed, reversed, wrong side, wrong entry, weaving, cut short", draw_bad, 95),
        Suite("decoys", "no hold at this fix: any lap is false", draw_decoys, 68, decoy=True),
        Suite("mixed", "a hold among other flying, some with two visits", draw_mixed, 30),
        Suite("geography", "to 85 degrees, both hemispheres, the 180 and 0 meridians, the equator; 5 and 1 Hz",
              draw_geography, 30),
        Suite("fading", "every other pilot lets the turn back fade into a slow capture of the course", draw_fading, 40),
        Suite("entries", "right entries from any heading, half near a boundary, short direct ones", draw_entries, 80),
        Suite("other entries", "entries not asked for by the arrival, or turned back the wrong way",
              draw_other_entries, 80),
        Suite("reversals", "the hold flown once in place of a procedure turn: no laps", draw_reversals, 30),
        Suite("circles", "circles, eights, loops here and there: any lap is false", draw_circles, 45, decoy=True),
        Suite("racetracks", "legs of some 20 s, a position in 10 to 12 s", draw_racetracks, 20),
        Suite("levels", "changes of level: told in the hold file or not, a stack, a climb to it", draw_levels, 70),
        Suite("channels", "logged heading, speeds and track: right, late, offset, stuck", draw_channels, 20),
    )
}  # fmt: skip


def _sensible(suite: str, scenario: Scenario) -> Scenario:
    """Nobody holds without any drift correction in a wind of a fifth of the airspeed, but those who hold badly."""
    blown = scenario.air.wind_kt > 0.2 * scenario.aircraft.tas_kt
    if suite != "bad" and blown and scenario.pilot.drift_rule == "none":
        return replace(scenario, pilot=replace(scenario.pilot, drift_rule="solved"))
    return scenario


def flight_of(suite: str, seed: int) -> SimulatedFlight:
    """The flight of this suite and seed. A draw that no pilot could fly (headwind near the airspeed) is drawn again."""
    for attempt in range(20):
        rng = np.random.default_rng([seed, zlib.crc32(suite.encode()), attempt])
        hold, scenario = SUITES[suite].draw(rng, seed)
        try:
            flight = fly(hold, _sensible(suite, scenario), seed)
        except ValueError:
            continue
        if suite == "other entries" and _is_direct_in_all_but_name(flight):
            continue
        missed_nm = {"bad": 2.3, "other entries": 1.0}.get(suite, 0.4)
        if _flown_as_meant(flight, missed_nm):
            return _as_written(flight) if hold.levels else flight
    raise RuntimeError(f"suite {suite}, seed {seed}: no flyable draw in 20")


def _is_direct_in_all_but_name(flight: SimulatedFlight) -> bool:
    """A teardrop turned the hold's way to a leg within 15 degrees of the pilot's own laps: no path tells them apart."""
    visit, motion, hold = flight.truth.visits[0], flight.motion, flight.hold
    if visit.entry.flown != "teardrop" or visit.entry.turned_wrong_way:
        return False
    relative = hold.side * (np.degrees(motion.heading_rad) - hold.inbound_course_true_deg)
    t = motion.t_s + flight.scenario.start_epoch_s

    def heading(start: float, end: float) -> float:
        return float(np.median(relative[(t >= start) & (t <= end)]))

    arrived = heading(visit.entry.arrival - 5.0, visit.entry.arrival)
    leg = heading(visit.entry.arrival + 60.0, visit.entry.arrival + 75.0)
    legs = [
        heading(lap.outbound_turn_end, lap.outbound_end) % 360.0
        for lap in visit.laps
        if lap.outbound_turn_end and lap.outbound_end and lap.outbound_end > lap.outbound_turn_end + 1.0
    ]
    return bool(leg > arrived and legs and abs(leg % 360.0 - np.median(legs)) < 15.0)


def _as_written(flight: SimulatedFlight) -> SimulatedFlight:
    """With the hold file as it is written afterwards: without the levels, or with their times, often to the minute."""
    levels = flight.hold.levels
    if flight.scenario.name in LEVELS_NOT_TOLD:
        levels = ()
    elif flight.seed % 2:
        levels = tuple((60.0 * round(at / 60.0), altitude_ft) for at, altitude_ft in levels)
    return replace(flight, hold=replace(flight.hold, levels=levels))


def _flown_as_meant(flight: SimulatedFlight, missed_nm: float) -> bool:
    """Whether the pilot managed the laps that were asked for, over the fix but for ``missed_nm``.

    A lap lost to the wind has no truth to compare with; missing the fix, and reaching it from across the course, are
    for the suite of badly flown holds.
    """
    asked = flight.scenario.laps * flight.scenario.visits
    if flight.scenario.mistakes.cut_short_on_lap:
        asked -= 1
    laps = flight.truth.laps
    whole = len(laps) == asked and all(
        lap.end is not None and lap.inbound_start is not None and (lap.fix_missed_nm or 0.0) <= missed_nm
        for lap in laps
    )
    return whole and (missed_nm > 1.0 or all(_established(flight, lap) for lap in laps))


def _established(flight: SimulatedFlight, lap: TrueLap) -> bool:
    """Within 0.35 NM of the course over the last 15 s to the fix, and 35 degrees of its direction."""
    motion, hold = flight.motion, flight.hold
    course = np.radians(hold.inbound_course_true_deg)
    cross = motion.east_nm * np.cos(course) - motion.north_nm * np.sin(course)
    end = (lap.end or 0.0) - flight.scenario.start_epoch_s
    last = (motion.t_s >= end - 15.0) & (motion.t_s <= end)
    along = motion.east_nm * np.sin(course) + motion.north_nm * np.cos(course)
    angle = np.degrees(np.arctan2(np.diff(cross[last]), np.diff(along[last])))
    return bool(np.max(np.abs(cross[last])) < 0.35 and np.median(np.abs(angle)) < 35.0)
