"""``trackgrade demo``: the whole job on a flight whose truth is known, with no input and no network."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackgrade.commands import console

if TYPE_CHECKING:
    from trackgrade.simulator import SimulatedFlight

#: An invented fix. The course is magnetic, so that the magnetic model has a part in the demo.
HOLD_FILE = """\
# An invented hold for a demonstration. Not a real procedure.
name = "Tarne practice hold"
inbound_course_deg = 143.0
north = "magnetic"
turns = "right"
altitude_ft = 4000
airspeed_kias = 95

[fix]
lat = 44.0
lon = -93.0

[leg]
minutes = 1.0

[guidance]
kind = "gps"
full_scale_nm = 1.0
"""
SEED = 10


@click.command("demo", epilog=console.CAUTION)
@click.option("--out", default="reports", metavar="DIR", show_default=True, help="Folder for everything written.")
@click.option("--season", is_flag=True, help="A season of invented pilots and their progress pages instead.")
def command(out: str, season: bool) -> None:
    """Fly a simulated hold, grade its track, write the report, and compare with what was really flown."""
    folder = Path(out)
    if season:
        _season(folder)
        return
    from trackgrade.batch.grading import FlightDone, Wanted, grade_flights, plan_batch
    from trackgrade.commands import summary
    from trackgrade.errors import UsageError
    from trackgrade.files import spare_others, write_whole
    from trackgrade.simulator.writers import gpx_text

    hold_path, track_path, debrief_path = folder / "demo.toml", folder / "demo.gpx", folder / "demo.json"
    flight = _fly()
    flown = {hold_path: HOLD_FILE, track_path: gpx_text(flight)}
    spare_others(flown)
    for result in (debrief_path, track_path.with_suffix(".html")):
        if result.exists() and not track_path.exists():
            raise UsageError(f"{result} is there, and no demo beside it: give another folder, --out DIR")
    for path, text in flown.items():
        write_whole(path, text)
    console.say(f"Simulated a flight of {len(flight.truth.laps)} laps in a wind unknown to the grading: {track_path}")
    flights, settings = plan_batch([str(track_path)], [str(hold_path)])
    (done,) = grade_flights(flights, settings, Wanted(folder, json_path=debrief_path), jobs=1)
    assert isinstance(done, FlightDone)
    (graded,), (report,) = done.outcome.graded, done.reports
    for line in summary.lines(graded.debrief):
        console.say(line)
    console.say(f"  Report: {report}")
    console.say(console.CAUTION)
    console.say()
    console.say("The simulation knows what was really flown. Measured from the track, and true:")
    console.say(_against_truth(graded.debrief, flight))
    console.say()
    console.say(f"The same by hand:  trackgrade grade {track_path} --hold {hold_path}")


def _fly() -> SimulatedFlight:
    """Four laps in a crosswind that the pilot has to learn about, with a weakness: the turns lose altitude."""
    import datetime as dt

    from trackgrade.hold.holdfile import parse_hold
    from trackgrade.hold.setup import resolve
    from trackgrade.simulator import Air, Mistakes, Pilot, Scenario, fly

    scenario = Scenario(
        name="demo",
        laps=4,
        arrive_from_nm=6.0,
        air=Air(wind_from_true_deg=205.0, wind_kt=18.0),
        pilot=Pilot(wind_error_kt=3.0),
        mistakes=Mistakes(altitude_lost_in_turns_ft=140.0),
    )
    day = dt.datetime.fromtimestamp(scenario.start_epoch_s, dt.UTC).date()
    return fly(resolve(parse_hold(HOLD_FILE), day), scenario, SEED)


def _against_truth(debrief: dict[str, object], flight: SimulatedFlight) -> str:
    measured = debrief["laps"]
    assert isinstance(measured, list)
    rows = [
        (
            str(true.number),
            *(f"{lap[key]:.1f} s" if lap[key] is not None else "-" for key in ("outbound_s", "inbound_s")),
            *(f"{value:.1f} s" if value is not None else "-" for value in (true.outbound_s, true.inbound_s)),
        )
        for lap, true in zip(measured, flight.truth.laps)
    ]
    return console.table(("lap", "outbound", "inbound", "outbound, true", "inbound, true"), rows)


def _season(folder: Path) -> None:
    from trackgrade.batch.season import build, flights

    with console.progress(sum(1 for _ in flights()), "flights") as advance:
        written = build(folder, progress=advance)
    console.say(f"A season of invented pilots, flown, graded and recorded. Open first: {written[0]}")
    for path in written[1:]:
        console.say(f"  {path}")
    console.say(console.CAUTION)
