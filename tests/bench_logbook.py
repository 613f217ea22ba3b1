"""How fast the pages are on a large logbook: ``python -m tests.bench_logbook [--flights N] [--pilots N]``.

Builds an SQLite logbook of generated rows (no flight is analysed; the rows have the form and number that grading to a
standard of twelve items makes), then times what a person waits for. Prints a table; exit status 1 over a limit.
The stored debriefs are short ones: a page reads the last twelve.
"""

from __future__ import annotations

import argparse
import os
import random
import sqlite3
import subprocess
import sys
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.logbook_flights import made_debrief
from trackgrade.logbook import schema
from trackgrade.logbook.class_view import class_view
from trackgrade.logbook.pages import pilot_page, render_class, render_pilot
from trackgrade.logbook.queries import class_history, pilot_history
from trackgrade.logbook.store import Logbook

#: Limits in seconds on two cores, for 100,000 flights.
PILOT_PAGE_S = 1.0
CLASS_VIEW_S = 5.0

STANDARD = "faa_instrument_airplane"
LAPS = 4
OF_LAP = (
    ("altitude", "Altitude", "ft", 100.0),
    ("airspeed", "Airspeed", "kt", 10.0),
    ("course", "Inbound course", "of full scale", 0.75),
    ("outbound_heading", "Outbound heading", "deg", 10.0),
    ("inbound_time", "Inbound leg time", "s", 10.0),
    ("turn_rate", "Rate of turn", "deg/s", 0.75),
    ("turn_bank", "Bank in the turns", "deg", 5.0),
    ("holding_speed", "Holding speed limit", "kt", 200.0),
    ("non_holding_side", "Non-holding side", "turn radii", 0.5),
    ("fix_recognition", "Fix recognised and turn started", "s", 5.0),
)
OF_ENTRY = (("entry", "Entry", "deg", 5.0), ("arrival_speed", "Holding speed at the fix", "kt", 10.0))


def build(path: Path, flights: int, pilots: int) -> None:
    """A logbook of ``flights`` recordings. Pilot 0 has twenty times as many as another: a school's old hand."""
    Logbook(path).close()
    chance = random.Random(1)
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")  # only while building
    connection.execute("BEGIN")
    names = [(n + 1, f"pilot {n}", f"pilot {n}") for n in range(pilots)]
    connection.executemany("INSERT INTO pilot (id, name, name_key) VALUES (?, ?, ?)", names)
    weights = [20.0] + [1.0] * (pilots - 1)
    owners = chance.choices(range(1, pilots + 1), weights, k=flights)
    ids = range(1, flights + 1)
    packed = zlib.compress(b'{"laps": []}')
    _insert(connection, schema.recording.name, (_recording(n, owner, chance) for n, owner in zip(ids, owners)))
    _insert(connection, schema.debrief.name, ((n, packed) for n in ids))
    _insert(connection, schema.entry.name, ((n, 1, "direct", "direct", n % 7 > 0, 0) for n in ids))
    _insert(connection, schema.lap.name, _laps(flights, chance))
    _insert(connection, schema.item_result.name, _items(flights, chance))
    connection.execute("COMMIT")
    connection.close()


def _insert(connection: sqlite3.Connection, table: str, rows: Iterator[tuple[object, ...]]) -> None:
    columns = len(schema.metadata.tables[table].columns)
    connection.executemany(f"INSERT INTO {table} VALUES ({', '.join('?' * columns)})", rows)


def _recording(n: int, owner: int, chance: random.Random) -> tuple[object, ...]:
    start = 1.7e9 + 3600.0 * n
    hold = f"hold {n % 40:060d}"
    wind = (chance.uniform(0, 360), chance.uniform(0, 25), chance.uniform(-20, 20), chance.uniform(-20, 20))
    judged = (
        LAPS,
        0,
        LAPS,
        chance.randrange(LAPS + 1),
        LAPS,
        10.0,
        chance.gauss(0, 8),
        6.0,
        chance.choice((1, 2, None)),
    )
    return (
        *(n, owner, f"content {n:056d}", f"flight {n:057d}", hold, STANDARD, "A standard"),
        *("flight.gpx", start, start + 1500.0, f"Hold {n % 40}", 143.0, "right" if n % 3 else "left", 1.0, None),
        *("gps", 1.0, "TO", 4000.0, *wind, 100.0, *judged, "within", None, None, None),
    )


def _laps(flights: int, chance: random.Random) -> Iterator[tuple[object, ...]]:
    for n in range(1, flights + 1):
        for lap in range(1, LAPS + 1):
            error = chance.gauss(0, 8)
            yield (n, 1, lap, 1.7e9 + 3600.0 * n + 240 * lap, 60.0, 60.0 + error, error, 0.1, 10, int(abs(error) > 10))


def _items(flights: int, chance: random.Random) -> Iterator[tuple[object, ...]]:
    rows = [(item, f"lap {lap}", lap) for lap in range(1, LAPS + 1) for item in OF_LAP]
    rows += [(item, "entry", None) for item in OF_ENTRY]  # type: ignore[misc]
    for n in range(1, flights + 1):
        for position, ((item, title, unit, limit), scope, lap) in enumerate(rows):
            value = limit * chance.random() * 1.2
            yield (
                n,
                position,
                item,
                title,
                scope,
                1,
                lap,
                value,
                1.0,
                unit,
                limit,
                "within" if value <= limit else "outside",
            )


@dataclass(frozen=True)
class Timing:
    """Seconds of the fastest of a few calls: on the clock, and of a processor (its own and its children's)."""

    what: str
    wall_s: float
    cpu_s: float
    limit_s: float | None = None


def timed(what: str, call: Callable[[], object], limit_s: float | None = None, repeats: int = 3) -> Timing:
    walls, cpus = [], []
    for _ in range(repeats):
        wall, cpu = time.perf_counter(), _cpu_s()
        call()
        walls.append(time.perf_counter() - wall)
        cpus.append(_cpu_s() - cpu)
    return Timing(what, min(walls), min(cpus), limit_s)


def _cpu_s() -> float:
    return sum(os.times()[:4])


def measure(path: Path) -> list[Timing]:
    """What a person waits for. Each opens the logbook anew."""

    def pilot(name: str) -> str:
        with Logbook(path, create=False) as logbook:
            return render_pilot(pilot_page(pilot_history(logbook, name)))

    def whole_class() -> str:
        with Logbook(path, create=False) as logbook:
            return render_class(class_view(class_history(logbook)))

    def record(name: str) -> None:
        with Logbook(path) as logbook:
            logbook.record(made_debrief(), pilot=name)

    def command(*more: str) -> None:
        words = [
            sys.executable,
            "-m",
            "trackgrade",
            "progress",
            "--logbook",
            str(path),
            "--out",
            str(path.parent),
            *more,
        ]
        subprocess.run(words, check=True, capture_output=True)

    return [
        timed("page of a pilot, the whole command", lambda: command("--pilot", "pilot 7"), PILOT_PAGE_S),
        timed("class view, the whole command", command, CLASS_VIEW_S),
        timed("page of a pilot", lambda: pilot("pilot 7"), PILOT_PAGE_S),
        timed("page of the pilot with most flights", lambda: pilot("pilot 0"), PILOT_PAGE_S),
        timed("class view", whole_class, CLASS_VIEW_S),
        timed("record one more flight", lambda: record("pilot 7")),
        timed("record one more flight of the pilot with most", lambda: record("pilot 0")),
    ]


def run(flights: int, pilots: int, keep: Path | None) -> bool:
    """Build, measure, print; True when every limit was kept."""
    with tempfile.TemporaryDirectory() as folder:
        path = keep or Path(folder) / "bench.sqlite"
        if not path.exists():
            start = time.perf_counter()
            build(path, flights, pilots)
            print(f"built in {time.perf_counter() - start:.1f} s")
        print(f"{flights} flights of {pilots} pilots, {path.stat().st_size / 1e6:.0f} MB")
        results = measure(path)
    print(f"{'fastest of three':<48} {'clock':>9}  {'processor':>9}")
    for each in results:
        told = f"limit {each.limit_s:.0f} s on the clock" if each.limit_s else ""
        slow = "  TOO SLOW" if each.limit_s and each.wall_s > each.limit_s else ""
        print(f"{each.what:<48} {each.wall_s:7.3f} s  {each.cpu_s:7.3f} s  {told}{slow}")
    return all(each.limit_s is None or each.wall_s <= each.limit_s for each in results)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--flights", type=int, default=100_000)
    parser.add_argument("--pilots", type=int, default=200)
    parser.add_argument("--keep", type=Path, help="use this database, building it when it is not there")
    arguments = parser.parse_args()
    sys.exit(0 if run(arguments.flights, arguments.pilots, arguments.keep) else 1)
