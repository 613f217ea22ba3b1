"""Fly the sample flights anew: ``python sample_tracks/build.py`` in the folder of the project. Same bytes each time."""

from __future__ import annotations

import datetime as dt
import sys
from dataclasses import replace
from pathlib import Path

from trackgrade.files import write_whole
from trackgrade.hold.holdfile import read_hold_file
from trackgrade.hold.setup import resolve
from trackgrade.simulator import Air, Aircraft, Scenario, Sensor, fly
from trackgrade.simulator.scenario import Manoeuvre
from trackgrade.simulator.scenarios import CLEAN, CLEAN_PILOT, named
from trackgrade.simulator.writers import csv_text, gpx_text, truth_text

FOLDER = Path(__file__).parent
LIGHT = Aircraft(tas_kt=101.0, altitude_ft=4000.0)

#: File, hold file, scenario, seed.
FLIGHTS: tuple[tuple[str, str, Scenario, int], ...] = (
    (
        "tarne-good.gpx",
        "tarne.toml",
        replace(CLEAN, aircraft=LIGHT, entry="teardrop", pilot=replace(CLEAN_PILOT, marks=True)),
        3,
    ),
    ("tarne-windy.gpx", "tarne.toml", replace(named("windy"), aircraft=LIGHT, entry="parallel"), 11),
    ("tarne-sloppy.gpx", "tarne.toml", replace(named("sloppy"), aircraft=LIGHT, entry="direct"), 7),
    ("tarne-wrong-entry.gpx", "tarne.toml", replace(named("wrong entry parallel"), aircraft=LIGHT, laps=3), 5),
    (
        "tarne-no-hold.gpx",
        "tarne.toml",
        replace(
            CLEAN, name="no hold", aircraft=LIGHT, laps=0, before=(Manoeuvre("orbits", 2.0), Manoeuvre("dme arc", 6.0))
        ),
        2,
    ),
    (
        "velm-left.gpx",
        "velm.toml",
        replace(
            CLEAN,
            name="left turns",
            entry="parallel",
            aircraft=Aircraft(tas_kt=118.0, altitude_ft=5000.0),
            air=Air(wind_from_true_deg=10.0, wind_kt=16.0),
        ),
        4,
    ),
    (
        "ossa-logged.csv",
        "ossa.toml",
        replace(
            CLEAN,
            name="fast, with heading and airspeed logged",
            laps=3,
            entry="direct",
            aircraft=Aircraft(tas_kt=246.0, altitude_ft=11000.0, roll_s=5.0),
            air=Air(wind_from_true_deg=230.0, wind_kt=34.0),
            sensor=Sensor(interval_s=2.0, noise_m=2.0, channels=("heading_true_deg", "ias_kt", "groundspeed_kt")),
        ),
        9,
    ),
)


def build(folder: Path = FOLDER) -> list[Path]:
    """Write every flight and its truth into the folder; the paths of the tracks."""
    written = []
    for name, hold_name, scenario, seed in FLIGHTS:
        day = dt.datetime.fromtimestamp(scenario.start_epoch_s, dt.UTC).date()
        flight = fly(resolve(read_hold_file(FOLDER / hold_name), day), scenario, seed)
        path = folder / name
        write_whole(path, csv_text(flight) if name.endswith(".csv") else gpx_text(flight))
        write_whole(path.with_suffix(".truth.json"), truth_text(flight))
        written.append(path)
    return written


if __name__ == "__main__":
    for each in build():
        sys.stdout.write(f"{each.name}\n")
