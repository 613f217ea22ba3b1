"""``trackgrade simulate``: a flight of the hold with known truth, as a track file with the truth beside it."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trackgrade.commands import console
from trackgrade.errors import UsageError, within

if TYPE_CHECKING:
    from trackgrade.hold.plan import HoldPlan
    from trackgrade.simulator import Scenario

_WIND = re.compile(r"(\d{1,3}(?:\.\d+)?)/(\d{1,3}(?:\.\d+)?)")
#: Name of a sampling, and the recorder's settings for it.
_SAMPLINGS = {
    "5hz": {"interval_s": 0.2},
    "1s": {"interval_s": 1.0},
    "2s": {"interval_s": 2.0},
    "5s": {"interval_s": 5.0},
    "10s": {"interval_s": 10.0},
    "adaptive": {"adaptive": True},
}


@click.command("simulate", epilog=f"The flight is invented. {console.CAUTION}")
@click.argument("hold", metavar="HOLD.toml", required=False)
@click.option("--hold", "named", metavar="HOLD", help="Instead: a hold file, or a name in the hold set.")
@click.option("--holds", "hold_set", metavar="DIR", help="Another hold set than your own (see: trackgrade holds).")
@click.option("--out", metavar="FILE", help="Track file to write; default: the hold file's name with .gpx.")
@click.option("--format", "kind", type=click.Choice(["gpx", "csv"]), help="Default: by the ending of --out, else gpx.")
@click.option("--entry", type=click.Choice(["direct", "teardrop", "parallel"]), help="Default: drawn by the seed.")
@click.option("--arriving", type=float, metavar="HDG", help="Arrival heading, true; the entry follows from it.")
@click.option(
    "--laps", type=int, metavar="N", help="Laps after the entry; 0: the entry alone, in place of a procedure turn."
)
@click.option("--tas", type=float, metavar="KT", help="True airspeed; default: airspeed_kias of the hold file, or 100.")
@click.option("--wind", metavar="FROM/KT", help="Mean wind, true: 280/18.")
@click.option("--noise", type=float, metavar="M", help="Noise of the positions, standard deviation of one axis.")
@click.option("--sampling", type=click.Choice(list(_SAMPLINGS)), help="How often the recorder keeps a point.")
@click.option(
    "--channels", metavar="A,B,...", help="Log these beside the position (csv): heading_true_deg, ias_kt, ..."
)
@click.option("--mistake", metavar="NAME", help="A named flight or mistake; --list shows them.")
@click.option("--seed", type=int, default=0, metavar="N", show_default=True, help="Same seed, same flight.")
@click.option("--list", "show", is_flag=True, help="List the named flights and mistakes, and stop.")
def command(
    hold: str | None,
    named: str | None,
    hold_set: str | None,
    out: str | None,
    kind: str | None,
    seed: int,
    show: bool,
    **asked: Any,
) -> None:
    """Fly the hold of HOLD.toml and write the track, and beside it FILE.truth.json with what was really flown.

    Without --mistake a clean flight is flown in a light wind; with it one thing goes wrong and all else is clean.
    """
    if show:
        _list()
        return
    if (hold or named) is None:
        raise UsageError("which hold? Give a hold file: trackgrade simulate HOLD.toml")
    from trackgrade.hold.holdfile import read_hold_file
    from trackgrade.hold.holdset import file_or_name

    hold = file_or_name(hold or named or "", hold_set)
    plan = read_hold_file(hold)
    scenario = _scenario(plan, **asked)
    kind, track_path = _where(hold, out, kind)
    truth_path = track_path.with_suffix(".truth.json")
    if out is None and track_path.exists() and not truth_path.exists():
        raise UsageError(f"{track_path} exists and was not simulated: give another name with --out")
    if scenario.sensor.channels and kind == "gpx":
        raise UsageError("a GPX has no place for --channels; add  --format csv")

    from trackgrade.files import spare_inputs, write_whole
    from trackgrade.hold.setup import resolve
    from trackgrade.simulator import fly
    from trackgrade.simulator.writers import csv_text, gpx_text, truth_text

    spare_inputs([track_path, truth_path], [hold])
    day = dt.datetime.fromtimestamp(scenario.start_epoch_s, dt.UTC).date()
    try:
        flight = fly(resolve(plan, day), scenario, seed)
    except (ValueError, RuntimeError) as error:
        raise UsageError(f"this cannot be flown: {error}; less --wind or more --tas") from None
    write_whole(track_path, csv_text(flight) if kind == "csv" else gpx_text(flight))
    write_whole(truth_path, truth_text(flight))
    minutes = (flight.recording.epoch_s[-1] - flight.recording.epoch_s[0]) / 60.0
    console.say(f"{track_path}: {len(flight.recording.epoch_s)} points, {minutes:.0f} min")
    for visit in flight.truth.visits:
        wind_text = f"wind {visit.wind_from_true_deg:.0f}/{visit.wind_kt:.0f} kt, TAS {visit.tas_kt:.0f} kt"
        flown = f"{len(visit.laps)} laps" if visit.laps else "in place of a procedure turn"
        console.say(f"truth: entry {visit.entry.flown}, {flown}, {wind_text}: {truth_path}")


def _scenario(
    plan: HoldPlan,
    *,
    mistake: str | None,
    entry: str | None,
    arriving: float | None,
    laps: int | None,
    tas: float | None,
    wind: str | None,
    noise: float | None,
    sampling: str | None,
    channels: str | None,
) -> Scenario:
    """The named scenario with what was asked for on the command line."""
    from dataclasses import replace

    from trackgrade.simulator import scenarios
    from trackgrade.simulator.atmosphere import tas_kt

    name = mistake or "clean"
    if name not in scenarios.names():
        raise UsageError(f"no flight is named {name!r}; see  trackgrade simulate --list")
    sc = scenarios.named(name)
    altitude = plan.altitude_ft if plan.altitude_ft is not None else sc.aircraft.altitude_ft + sc.aircraft.climb_ft
    speed = sc.aircraft.tas_kt
    if tas is not None:
        speed = within("--tas", tas, 40.0, 400.0)
    elif plan.airspeed_kias is not None and sc.aircraft == scenarios.CLEAN_AIRCRAFT:
        speed = tas_kt(plan.airspeed_kias, altitude)
    begins_ft = altitude - sc.aircraft.climb_ft  # a climb through the entry ends at the hold's level
    sc = replace(sc, aircraft=replace(sc.aircraft, tas_kt=speed, altitude_ft=begins_ft))
    if entry is not None or arriving is not None:
        if arriving is not None:
            within("--arriving", arriving, 0.0, 360.0)
        sc = replace(sc, entry=entry, arrival_heading_true_deg=arriving, arrival_offset_deg=None)  # type: ignore[arg-type]
    if laps is not None:
        sc = replace(sc, laps=int(within("--laps", laps, 0, 30)), reversal=laps == 0)
    if wind is not None:
        match = _WIND.fullmatch(wind.strip())
        if match is None or float(match[1]) > 360.0 or float(match[2]) > 150.0:
            raise UsageError(f"--wind must be FROM/KT, as 280/18, not {wind}")
        sc = replace(sc, air=replace(sc.air, wind_from_true_deg=float(match[1]) % 360.0, wind_kt=float(match[2])))
    sensor = sc.sensor
    if noise is not None:
        sensor = replace(sensor, noise_m=within("--noise", noise, 0.0, 100.0))
    if sampling is not None:
        sensor = replace(sensor, **_SAMPLINGS[sampling])  # type: ignore[arg-type]
    if channels:
        from trackgrade.simulator.scenario import CHANNELS

        asked = tuple(part.strip() for part in channels.split(",") if part.strip())
        unknown = [each for each in asked if each not in CHANNELS]
        if unknown:
            raise UsageError(f"--channels: no {unknown[0]!r}; there are {', '.join(CHANNELS)}")
        sensor = replace(sensor, channels=asked)
    return replace(sc, sensor=sensor)


def _where(hold: str, out: str | None, kind: str | None) -> tuple[str, Path]:
    """(format, path of the track)"""
    if out is None:
        kind = kind or "gpx"
        return kind, Path(Path(hold).stem + f".{kind}")
    path = Path(out)
    by_ending = {".gpx": "gpx", ".csv": "csv"}.get(path.suffix.lower())
    if kind is None and by_ending is None:
        raise UsageError(f"--out {out}: end it in .gpx or .csv, or give --format")
    return kind or str(by_ending), path


def _list() -> None:
    from trackgrade.simulator import scenarios

    rows = [(name, each.what) for name, each in scenarios.FLIGHTS.items()]
    console.say(console.table(("name", "what is flown"), rows, left=2))
