"""How well holds are found with no hold file: simulated flights with known holds, and flights with none.

    python -m tests.simulated.searched --flights 200 --seed 0

Each flight has one hold or two, of any entry, one to six laps, winds to 40 kt, legs of time or distance, sampled at
1 to 10 s, with other flying before and after. The flights with none are simulated, or written down by arithmetic.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from tests.arithmetic_flight import Piece, fly as fly_pieces, record, straight, turn
from tests.simulated.compare import as_track
from tests.simulated.draws import air, hold_at, light_aircraft, one_hertz, style
from tests.simulated.suites import _flown_as_meant, _sensible, flight_of
from trackgrade.earth.angles import wrap180
from trackgrade.earth.geodesy import azimuth_distance
from trackgrade.hold.hold import Hold, Leg
from trackgrade.segment.finding import find_holds
from trackgrade.segment.proposal import HoldProposal
from trackgrade.simulator.flight import SimulatedFlight, fly
from trackgrade.simulator.recorder import convergence_deg, to_geographic
from trackgrade.simulator.scenario import Manoeuvre, Scenario
from trackgrade.track.track import Track

#: A proposal is right within these of the truth [NM, deg].
FIX_NM, COURSE_DEG = 0.3, 4.0

Rng = np.random.Generator


@dataclass(frozen=True)
class TrueHold:
    lat_deg: float
    lon_deg: float
    course_true_deg: float
    turns: str
    laps: int
    entry: str


def _elsewhere(rng: Rng, minutes_each: float, tas_kt: float) -> tuple[Manoeuvre, ...]:
    """Twenty minutes or so of other flying, well away from the hold."""
    made = []
    for _ in range(int(rng.integers(1, 4))):
        kind = str(rng.choice(["pass", "orbits", "s-turns", "steep turns", "dme arc", "survey", "procedure turn"]))
        size = {
            "pass": rng.uniform(2, 8), "orbits": rng.integers(1, 4), "s-turns": rng.integers(3, 7),
            "steep turns": rng.integers(1, 3), "dme arc": rng.uniform(5, 10), "survey": rng.integers(3, 6),
            "procedure turn": rng.uniform(2, 5),
        }[kind]  # fmt: skip
        made.append(
            Manoeuvre(
                kind,  # type: ignore[arg-type]
                float(size),
                float(rng.uniform(0.06, 0.15) * tas_kt + 5.0) * minutes_each,
                float(rng.uniform(0, 360)),
                float(rng.uniform(0, 360)),
                int(rng.choice([-1, 1])),
            )
        )
    return tuple(made)


def draw(rng: Rng) -> tuple[Hold, Scenario]:
    """A hold among other flying."""
    craft = replace(light_aircraft(rng), tas_kt=float(rng.uniform(75, 150)))
    if rng.random() < 0.3:
        craft = replace(
            craft,
            tas_kt=float(rng.uniform(150, 260)),
            bank_limit_deg=25.0,
            altitude_ft=float(rng.uniform(5000, 16000)),
        )
    leg = Leg(minutes=float(rng.choice([1.0, 1.0, 1.5])))
    if rng.random() < 0.3:
        leg = Leg(nm=float(np.round(rng.uniform(0.02, 0.055) * craft.tas_kt, 0)))
    hold = hold_at(rng, leg)
    kind = str(rng.choice(["1 s", "2 s", "5 s", "10 s", "adaptive"], p=[0.4, 0.15, 0.2, 0.15, 0.1]))
    sensor = replace(
        one_hertz(rng),
        interval_s={"2 s": 2.0, "5 s": 5.0, "10 s": 10.0}.get(kind, 1.0),
        adaptive=kind == "adaptive",
        jitter_s=float(rng.choice([0.0, 0.3])) if kind != "1 s" else 0.0,
    )
    before = _elsewhere(rng, 1.0, craft.tas_kt) if rng.random() < 0.7 else ()
    after = _elsewhere(rng, 1.0, craft.tas_kt) if rng.random() < 0.6 else ()
    if rng.random() < 0.25:
        second = Manoeuvre(
            "hold",
            float(rng.integers(1, 4)),
            float(rng.uniform(15, 30)),
            float(rng.uniform(0, 360)),
            float(rng.uniform(0, 360)),
            int(rng.choice([-1, 1])),
        )
        after = (*after, second)
    return hold, Scenario(
        name="searched",
        laps=int(rng.integers(1, 7)),
        air=air(rng, float(rng.uniform(0, min(40, 0.4 * craft.tas_kt)))),
        aircraft=craft,
        pilot=style(rng),
        sensor=sensor,
        before=before,
        after=after,
    )


def searched(seed: int) -> tuple[SimulatedFlight, list[TrueHold]]:
    """The flight of a seed with its true holds."""
    for attempt in range(30):
        rng = np.random.default_rng([seed, zlib.crc32(b"searched"), attempt])
        hold, scenario = draw(rng)
        try:
            flight = fly(hold, _sensible("searched", scenario), seed)
        except ValueError:
            continue
        if _flown_as_meant(flight, missed_nm=0.4):
            return flight, _true_holds(flight)
    raise RuntimeError(f"seed {seed}: no flyable draw in 30")


def _true_holds(flight: SimulatedFlight) -> list[TrueHold]:
    hold, visit = flight.hold, flight.truth.visits[0]
    found = [
        TrueHold(
            hold.fix_lat_deg, hold.fix_lon_deg, hold.inbound_course_true_deg, hold.turns, len(visit.laps),
            visit.entry.flown,
        )
    ]  # fmt: skip
    for m in flight.scenario.after:
        if m.kind != "hold":
            continue
        bearing = np.radians(m.bearing_true_deg)
        lat, lon = to_geographic(hold, np.array([m.away_nm * np.sin(bearing)]), np.array([m.away_nm * np.cos(bearing)]))
        course = (m.course_true_deg + float(convergence_deg(hold, lat, lon)[0])) % 360.0
        side = "right" if m.turn > 0 else "left"
        found.append(TrueHold(float(lat[0]), float(lon[0]), course, side, int(m.size), "direct"))
    return found


def errors_of(proposal: HoldProposal, true: TrueHold) -> tuple[float, float]:
    """Distance of the fixes [NM] and between the courses [deg]; a hold to the other side is infinitely wrong."""
    hold = proposal.hold
    _, apart = azimuth_distance(hold.fix_lat_deg, hold.fix_lon_deg, true.lat_deg, true.lon_deg)
    off = abs(float(wrap180(hold.inbound_course_true_deg - true.course_true_deg)))
    return float(apart), off if hold.turns == true.turns else 999.0


@dataclass
class Tally:
    """What became of the true holds, and what else was proposed."""

    counts: Counter[str] = field(default_factory=Counter)
    fix_nm: list[float] = field(default_factory=list)
    course_deg: list[float] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def add(self, name: str, proposals: list[HoldProposal], holds: list[TrueHold]) -> None:
        left = list(proposals)
        for true in holds:
            self.counts["holds"] += 1
            read = [(each, other, reading) for each in left for other, reading in _readings(each)]
            near = [(errors_of(reading, true), each, other) for each, other, reading in read]
            near = [each for each in near if each[0][0] < 6.0 and (each[0][1] < 60.0)]
            if not near:
                ends = [each for each in left if _apart_nm(each, true) < 15.0]
                kind = "sure of the wrong end" if ends and ends[0].which_end == "sure" else "not found"
                for each in ends[:1]:
                    left.remove(each)
                self._tell(name, true, kind, ends[:1])
                continue
            (nm, deg), best, other = min(near, key=lambda each: each[0][0] + each[0][1] / 15.0)
            left.remove(best)
            self.fix_nm.append(nm)
            self.course_deg.append(deg)
            right = nm <= FIX_NM and deg <= COURSE_DEG
            self.counts["fix and course right"] += right
            self.counts["laps right"] += best.laps == true.laps
            end = "other end first" if other else best.which_end
            self.counts[f"end: {end}"] += 1
            if not right or other:
                self._tell(name, true, f"{end}, off {nm:.2f} NM {deg:.1f} deg", [best])
        for extra in left:
            self._tell(name, None, "false", [extra])

    def _tell(self, name: str, true: TrueHold | None, what: str, proposals: list[HoldProposal]) -> None:
        self.counts[what.split(", ")[0]] += "off" not in what
        said = "; ".join(
            f"{each.laps} laps {each.hold.inbound_course_true_deg:.0f} {each.which_end}" for each in proposals
        )
        truth = "" if true is None else f"{true.laps} laps {true.course_true_deg:.0f} {true.entry}"
        self.told.append(f"{name}: {what} | true {truth} | {said}")

    def table(self) -> str:
        lines = [f"{key}: {count}" for key, count in sorted(self.counts.items())]
        for what, values in (("fix NM", self.fix_nm), ("course deg", self.course_deg)):
            if values:
                q = np.quantile(values, [0.5, 0.9, 0.95, 1.0])
                lines.append(f"{what}: median {q[0]:.3f}, 90 % {q[1]:.3f}, 95 % {q[2]:.3f}, worst {q[3]:.3f}")
        return "\n".join(lines)


def _readings(proposal: HoldProposal) -> list[tuple[bool, HoldProposal]]:
    other = proposal.other_end
    return [(False, proposal)] + ([(True, other)] if other is not None else [])


def _apart_nm(proposal: HoldProposal, true: TrueHold) -> float:
    return errors_of(proposal, true)[0]


# ------------------------------------------------------------------------------------- flights with no hold


def _noisy(pieces: list[Piece], tas_kt: float, rng: Rng, alt_ft: object = None, interval_s: float = 1.0) -> Track:
    roll_s = 1.5
    pieces = [
        replace(p, rate_deg_s=min(p.rate_deg_s, abs(p.change_deg) / (2.0 * roll_s))) if p.change_deg else p
        for p in pieces
    ]
    flight = fly_pieces(
        pieces, tas_kt=tas_kt, wind_from_deg=float(rng.uniform(0, 360)),
        wind_kt=float(rng.uniform(0, 0.15)) * tas_kt, roll_s=roll_s,
    )  # fmt: skip
    track = record(flight, noise_m=float(rng.uniform(0.5, 3.0)), interval_s=interval_s)
    if callable(alt_ft):
        track = replace(track, alt_ft=alt_ft(track.epoch_s - track.epoch_s[0]))
    return track


def thermals(rng: Rng) -> Track:
    """A glider: glides, and circles of 18 to 35 s that drift, are widened and shifted."""
    pieces = [straight(120.0)]
    for _ in range(6):
        side = float(rng.choice([-1, 1]))
        for _ in range(int(rng.integers(4, 12))):
            pieces.append(turn(side * float(rng.uniform(150, 360)), float(rng.uniform(9, 18))))
            if rng.random() < 0.5:
                pieces.append(straight(float(rng.uniform(2, 12))))
        pieces += [straight(float(rng.uniform(120, 400))), turn(float(rng.uniform(-60, 60)) or 20.0, 5.0)]
    pieces.append(straight(120.0))
    return _noisy(pieces, float(rng.uniform(45, 65)), rng, interval_s=float(rng.choice([1.0, 2.0, 4.0])))


def circuits(rng: Rng) -> Track:
    """Touch-and-goes, square or with half circles at the ends; down to the ground in each."""
    side = float(rng.choice([-1, 1]))
    half = bool(rng.random() < 0.5)
    pieces, heights, now = [straight(90.0)], [(0.0, 0.0), (30.0, 0.0), (90.0, 700.0)], 90.0
    for _ in range(int(rng.integers(3, 7))):
        cross, downwind = float(rng.uniform(8, 30)), float(rng.uniform(70, 120))
        quarter = 31.5
        if half:
            part = [turn(side * 180.0), straight(downwind), turn(side * 180.0), straight(downwind)]
            there, back = 61.5 + downwind, 61.5 + downwind
        else:
            part = [
                turn(side * 90.0), straight(cross), turn(side * 90.0), straight(downwind),
                turn(side * 90.0), straight(cross), turn(side * 90.0), straight(downwind),
            ]  # fmt: skip
            there = back = 2 * quarter + cross + downwind
        pieces += part
        heights += [(now + 0.3 * there, 1000.0), (now + there, 1000.0), (now + there + 0.75 * back, 20.0)]
        now += there + back
        heights.append((now, 700.0))
    times, feet = np.array(heights).T
    return _noisy(pieces, float(rng.uniform(65, 90)), rng, lambda t: 300.0 + np.interp(t, times, feet))


def on_foot(rng: Rng) -> Track:
    """A walk or a ride: blocks and a ring, at 3 to 22 kt."""
    side = float(rng.choice([-1, 1]))
    around = [turn(side * 180.0, 12.0), straight(float(rng.uniform(30, 120)))] * 2
    block = [turn(side * 90.0, 20.0), straight(float(rng.uniform(20, 90)))] * 4
    pieces = [straight(60.0), *around * 4, straight(100.0), *block * 3]
    return _noisy(pieces, float(rng.uniform(3, 22)), rng, lambda t: 600.0 + 0.0 * t)


def on_the_road(rng: Rng) -> Track:
    """A car round a track and round blocks, at 35 to 110 kt."""
    side = float(rng.choice([-1, 1]))
    kt = float(rng.uniform(35, 110))
    lap = [turn(side * 180.0, 12.0), straight(float(rng.uniform(15, 60)))] * 2
    pieces = [straight(60.0), *lap * 6, straight(120.0), turn(side * 90.0, 15.0), straight(90.0)]
    return _noisy(pieces, kt, rng, lambda t: 600.0 + 0.0 * t)


def racetrack_survey(rng: Rng) -> Track:
    """Survey lines flown as racetracks that move on by a line with each lap."""
    side = float(rng.choice([-1, 1]))
    pieces = [straight(100.0)]
    for _ in range(int(rng.integers(4, 7))):
        step = float(rng.uniform(6, 20))
        pieces += [
            turn(side * 180.0),
            straight(200.0),
            turn(side * 90.0),
            straight(step),
            turn(side * 90.0),
            straight(200.0),
        ]
    return _noisy(pieces, float(rng.uniform(80, 120)), rng)


def square_search(rng: Rng) -> Track:
    """An expanding square and a sector search."""
    side = float(rng.choice([-1, 1]))
    pieces = [straight(60.0)]
    for k in range(10):
        pieces += [straight(30.0 * (1 + k // 2)), turn(side * 90.0)]
    for _ in range(3):
        pieces += [straight(120.0), turn(side * 120.0)]
    return _noisy([*pieces, straight(60.0)], 100.0, rng)


NONE = {
    "thermals": thermals,
    "circuits": circuits,
    "on foot": on_foot,
    "on the road": on_the_road,
    "racetrack survey": racetrack_survey,
    "searches": square_search,
}
#: Flights of the suite of decoys that do hold, elsewhere than at their fix.
HOLDS_ELSEWHERE = ("hold elsewhere", "hold at fix, other course")


def without_hold(seed: int, each: int) -> Iterator[tuple[str, Track]]:
    """Flights with no hold: of every kind ``each``, and three simulated decoys for each of those."""
    for name, make in NONE.items():
        for k in range(each):
            yield f"{name} {seed + k}", make(np.random.default_rng([seed + k, zlib.crc32(name.encode())]))
    for k in range(3 * each):
        flight = flight_of("decoys", seed + k)
        if flight.scenario.name not in HOLDS_ELSEWHERE:
            yield f"{flight.scenario.name} {seed + k}", as_track(flight)


def measure(flights: int, seed: int, none: int) -> Tally:
    """Search that many flights with holds, and those with none."""
    tally = Tally()
    for k in range(flights):
        flight, holds = searched(seed + k)
        tally.add(f"seed {seed + k}", find_holds(as_track(flight)), holds)
    for name, track in without_hold(seed, none):
        tally.counts["flights with none"] += 1
        tally.add(name, find_holds(track), [])
    return tally


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.simulated.searched", description=__doc__.splitlines()[0])
    parser.add_argument("--flights", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--none", type=int, default=6, help="flights with no hold, of each kind")
    given = parser.parse_args()
    tally = measure(given.flights, given.seed, given.none)
    print("\n".join(tally.told), file=sys.stderr)
    print(tally.table())


if __name__ == "__main__":
    main()
