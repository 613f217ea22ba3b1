"""A season of simulated flights by invented pilots who learn at different rates, and the pages made of it.

Nothing is made up after the simulator: every flight is recorded as a GPX file, read, analysed, graded and entered
in a logbook as a real one would be. The pilots, holds and winds are invented. The same season comes out each time.
"""

from __future__ import annotations

import math
import os
import random
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from trackgrade.batch import pool
from trackgrade.errors import UsageError
from trackgrade.files import spare_others, write_whole
from trackgrade.hold.hold import Leg, TurnSide
from trackgrade.hold.holdfile import write_hold_file
from trackgrade.hold.plan import GuidancePlan, HoldPlan, Position
from trackgrade.logbook.store import Logbook
from trackgrade.simulator.scenario import Air, Entry, Mistakes, Pilot, Scenario

STANDARD = "faa_instrument_airplane"
INVENTED = "# An invented hold for a demonstration. Not a real procedure."


def _hold(
    name: str, course: float, turns: TurnSide, lat: float, lon: float, leg: Leg, *, by_vor: bool = False
) -> HoldPlan:
    place = Position(lat, lon)
    guidance = GuidancePlan("vor", station=place, station_variation_deg=0.0) if by_vor else GuidancePlan()
    return HoldPlan(name, course, place, "true", turns=turns, leg=leg, guidance=guidance, altitude_ft=4000.0)


#: The holds of the season. "class" is the one all fly at the end.
_HOLDS = {
    "class": _hold("Tarne practice hold", 143.0, "right", 44.0, -93.0, Leg(minutes=1.0)),
    "left": _hold("Osk practice hold", 95.0, "left", 44.3, -93.4, Leg(minutes=1.0)),
    "vor": _hold("Wend practice hold", 340.0, "right", 43.7, -92.6, Leg(minutes=1.0), by_vor=True),
    "distance": _hold("Brack practice hold", 150.0, "right", 44.1, -92.2, Leg(nm=3.0)),
}
HoldKey = Literal["class", "left", "vor", "distance"]


@dataclass(frozen=True, eq=False)
class Learner:
    """An invented pilot. ``first`` and ``last`` are errors (1: beginner, 0: polished) at the start and in the end;
    ``sessions_to_learn`` how many sessions take about two thirds of the way; ``gap_after``: a long break after this
    session, which costs ``gap_cost``. ``holds``: those flown in turn; the last session is always the class's hold.
    """

    name: str
    sessions: int
    first: float
    last: float
    sessions_to_learn: float
    holds: tuple[HoldKey, ...]
    gap_after: int = 0
    gap_cost: float = 0.0
    windy: float = 12.0

    def error(self, session: int) -> float:
        """Error in a session, counted from 0."""
        rusty = self.gap_cost * 0.8 ** (session - self.gap_after) if 0 < self.gap_after <= session else 0.0
        learnt = self.last + (self.first - self.last) * math.exp(-session / self.sessions_to_learn)
        return min(learnt + rusty, 1.0)


LEARNERS = (
    Learner("pilot A", 14, 0.95, 0.05, 4.0, ("class", "class", "left", "vor")),
    Learner("pilot B", 12, 0.85, 0.55, 3.0, ("class",), windy=8.0),
    Learner("pilot C", 8, 0.20, 0.05, 4.0, ("vor", "left", "class", "distance"), windy=16.0),
    Learner("pilot D", 16, 0.90, 0.20, 12.0, ("class", "left")),
    Learner("pilot E", 12, 0.70, 0.10, 3.0, ("class", "vor"), gap_after=8, gap_cost=0.5),
    Learner("pilot F", 3, 0.80, 0.40, 4.0, ("class",)),
    Learner("pilot G", 10, 0.60, 0.25, 6.0, ("class", "distance", "left"), windy=14.0),
)

#: How many flights a season has.
FLIGHTS = sum(learner.sessions for learner in LEARNERS)

_FIRST_DAY_EPOCH_S = 1_772_377_200.0  # 2026-03-01T15:00:00Z
_DAY_S = 86_400.0
_LAST_WEEK = 20

#: Headings well inside each sector, against the inbound course toward the holding side [deg]: 70° line, AIM 5-3-8.
_SECTORS: dict[Entry, float] = {"direct": 20.0, "teardrop": 145.0, "parallel": 235.0}
_ENTRIES: tuple[Entry, ...] = ("direct", "teardrop", "parallel")


@dataclass(frozen=True)
class Flight:
    """One flight to be flown: whose, at which hold, how; ``note`` as an instructor might write it."""

    pilot: str
    hold: HoldKey
    scenario: Scenario
    seed: int
    note: str = field(default="")


def flights() -> Iterator[Flight]:
    """The whole season, pilot by pilot."""
    for number, learner in enumerate(LEARNERS):
        chance = random.Random(f"season {learner.name}")
        for session in range(learner.sessions):
            yield _flight(learner, number, session, chance)


def build(
    out_dir: str | os.PathLike[str], *, jobs: int | None = None, progress: Callable[[], None] | None = None
) -> list[Path]:
    """Fly the season, record it in ``season.sqlite`` and write the class's page and every pilot's.

    Parameters
    ----------
    jobs : flights at a time; one a core by default.
    progress : called once for each flight recorded.

    Returns
    -------
    The files written, the class's page first.

    Raises
    ------
    UsageError
        A hold or the logbook would be written over one that is not of a season.
    """
    folder = Path(out_dir)
    finished, building = folder / "season.sqlite", folder / "season-building.sqlite"
    holds = {
        folder / "season-holds" / f"{key}.toml": f"{INVENTED}\n{write_hold_file(hold)}" for key, hold in _HOLDS.items()
    }
    spare_others(holds)
    if finished.exists():
        with Logbook(finished, create=False) as logbook:
            if {name for name, _, _ in logbook.pilots()} - {each.name for each in LEARNERS}:
                raise UsageError(f"{finished} holds pilots of your own: give another folder, --out DIR")
    for path, text in holds.items():
        write_whole(path, text)
    _remove(building)
    season = list(flights())
    ways = pool.context(["trackgrade.batch.flight", "trackgrade.simulator.flight"])
    with Logbook(building) as logbook, ProcessPoolExecutor(jobs or os.cpu_count() or 1, mp_context=ways) as workers:
        for flight, debrief in zip(season, workers.map(debrief_of, season)):
            if debrief is not None:
                logbook.record(debrief, pilot=flight.pilot, instructor="instructor Q", note=flight.note or None)
            if progress is not None:
                progress()
    _remove(finished)
    building.rename(finished)
    return [*_write_pages(finished, folder), finished]


def debrief_of(flight: Flight) -> dict[str, Any] | None:
    """Fly, record, read, analyse and grade one flight; None where the flying was so poor that no hold came of it."""
    import datetime

    from trackgrade.analysis import analyse
    from trackgrade.exports.debrief_json import debrief_to_dict
    from trackgrade.hold.setup import resolve
    from trackgrade.score.standards import load_standard
    from trackgrade.simulator import fly
    from trackgrade.simulator.writers import gpx_text
    from trackgrade.track.readers import read_track

    day = datetime.datetime.fromtimestamp(flight.scenario.start_epoch_s, datetime.UTC).date()
    hold = resolve(_HOLDS[flight.hold], day)
    flown = gpx_text(fly(hold, flight.scenario, flight.seed))
    track = read_track(flown.encode(), name=f"{flight.pilot.replace(' ', '-')}-{day}.gpx")
    debrief = debrief_to_dict(analyse(track, hold, load_standard(STANDARD)))
    return debrief if debrief["laps"] or debrief["incomplete_laps"] else None


def _flight(learner: Learner, number: int, session: int, chance: random.Random) -> Flight:
    error = min(max(learner.error(session) * chance.uniform(0.75, 1.25), 0.0), 1.0)
    last = session == learner.sessions - 1
    hold: HoldKey = "class" if last else learner.holds[session % len(learner.holds)]
    met = _ENTRIES[(session + number) % 3]
    flown: Entry = met if chance.random() > 0.5 * error else chance.choice(_ENTRIES)
    # The last session is the class's: the same afternoon, nearly the same wind for everyone.
    wind_kt = 12.0 + chance.uniform(-1, 1) if last else chance.uniform(0.2, 1.6) * learner.windy
    wind_from = 200.0 + chance.uniform(-6, 6) if last else chance.uniform(0.0, 360.0)
    # A flight a week, the last one on one day for all; who takes a break flies before and after it.
    weeks = session if not 0 < learner.gap_after <= session else session + _LAST_WEEK - learner.sessions
    day = 7 * (_LAST_WEEK if last else weeks)
    scenario = Scenario(
        name=f"{learner.name} session {session + 1}",
        entry=flown,
        arrival_offset_deg=_SECTORS[met] + chance.uniform(-12.0, 12.0),
        laps=chance.choice((3, 4, 4, 5)),
        air=Air(wind_from_true_deg=wind_from, wind_kt=wind_kt),
        pilot=_pilot(error),
        mistakes=_mistakes(error, chance),
        start_epoch_s=_FIRST_DAY_EPOCH_S + _DAY_S * day + 5400.0 * number,
    )
    note = (
        "end of season, all at the same hold"
        if last
        else "after a long break"
        if session == learner.gap_after > 0
        else ""
    )
    return Flight(learner.name, hold, scenario, seed=1000 * number + session, note=note)


def _pilot(error: float) -> Pilot:
    """The simulator's pilot for an error of 0 (polished) to 1 (beginner)."""
    return Pilot(
        wind_error_kt=1.0 + 12.0 * error,
        reaction_s=0.8 + 2.5 * error,
        heading_sd_deg=0.6 + 2.5 * error,
        bank_sd_deg=0.4 + 2.0 * error,
        rate_bias=1.0 - 0.1 * error,
        tas_sd_kt=1.0 + 4.5 * error,
        altitude_sd_ft=12.0 + 55.0 * error,
        settle_s=14.0 + 12.0 * error,
        finesse=1.0 - error,
        learning=0.75 - 0.45 * error,
        watch="wings level" if error > 0.6 else "later of both",
        drift_rule="none" if error > 0.8 else "triple" if error > 0.3 else "solved",
    )


def _mistakes(error: float, chance: random.Random) -> Mistakes:
    """What goes wrong besides, more often and more for the less polished."""
    return Mistakes(
        late_at_fix_s=7.0 * error if chance.random() < error else 0.0,
        altitude_lost_in_turns_ft=140.0 * error if chance.random() < error else 0.0,
        outbound_not_corrected=chance.random() < 0.5 * error,
        watch_alternates=chance.random() < 0.3 * error,
    )


def _write_pages(place: Path, folder: Path) -> list[Path]:
    from trackgrade.logbook.class_view import class_view
    from trackgrade.logbook.pages import class_pages
    from trackgrade.logbook.queries import class_history

    with Logbook(place, create=False) as logbook:
        pages = class_pages(logbook, class_view(class_history(logbook)), each=True)
        *own, front = [write_whole(folder / name, render()) for name, render in pages.items()]
    return [front, *sorted(own)]


def _remove(path: Path) -> None:
    """A season's database of an earlier run, with what SQLite keeps beside it."""
    for ending in ("", "-wal", "-shm"):
        path.with_name(path.name + ending).unlink(missing_ok=True)
