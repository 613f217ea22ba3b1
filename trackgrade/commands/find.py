"""``trackgrade find``: the holds in a track that came with no hold file, as hold files to edit."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackgrade.commands import console
from trackgrade.errors import NoHoldFlown, UsageError

if TYPE_CHECKING:
    from trackgrade.hold.plan import HoldPlan
    from trackgrade.segment.finding import HoldProposal


@click.command(
    "find",
    short_help="Find the holds in a track that came with no hold file.",
    epilog=f"Exit status: 0 found, 2 wrong usage or unreadable, 3 no hold in the track. {console.CAUTION}",
)
@click.argument("track")
@click.option("--write", "folder", metavar="DIR", help="Write a hold file for each, ready to edit.")
@click.option("--columns", metavar="MAP.toml", help="Columns map of a CSV (see: trackgrade columns).")
def command(track: str, folder: str | None, columns: str | None) -> None:
    """Look for racetracks in TRACK and propose a hold for each: fix, inbound course, turns, leg.

    What was cleared may differ from what was flown: check fix and course against the chart before you grade.
    """
    path = Path(track)
    if not path.is_file():
        raise UsageError(f"{track}: this is no file; give one track (GPX or CSV)")
    from trackgrade.commands import summary
    from trackgrade.segment.finding import find_holds
    from trackgrade.track.readers import read_track

    flight = read_track(path, columns)
    for note in summary.reading(flight.notes):
        console.note(f"  note: {note}")
    proposals = find_holds(flight)
    if not proposals:
        raise NoHoldFlown(
            f"{path.name}: no hold in this track: nowhere two turns the same way with a leg between, back to one point"
        )
    console.say(f"{console.plain(path.name)}: {len(proposals)} hold{'s' if len(proposals) > 1 else ''} flown")
    console.say(console.table(HEADER, [row(each) for each in proposals], words=(4, 6)))
    console.say("Times are UTC; courses magnetic by the model and (true); ± is the scatter of the laps.")
    if folder is not None:
        _write(proposals, Path(folder), path)
    else:
        console.say("With --write DIR each becomes a hold file to edit.")
    console.say(console.CAUTION)


HEADER = ("hold", "flown", "laps", "inbound course", "turns", "leg", "fix", "altitude")


def row(found: HoldProposal) -> tuple[str, ...]:
    """A proposal as a row under `HEADER`."""
    course = f"{plan_of(found, '').inbound_course_deg:05.1f} ({found.inbound_course_true_deg:05.1f})"
    altitude = "-" if found.altitude_ft is None else f"{found.altitude_ft:,.0f} ft"
    return (
        found.name,
        f"{_clock(found.start_epoch_s)}-{_clock(found.end_epoch_s)}",
        str(found.laps),
        course + _scatter(found.course_sd_deg, "°"),
        found.turns,
        f"{found.leg_minutes:g} min",
        f"{found.fix_lat_deg:.4f} {found.fix_lon_deg:.4f}{_scatter(found.fix_sd_nm, ' NM')}",
        altitude,
    )


def plan_of(found: HoldProposal, name: str) -> HoldPlan:
    """A proposal as a hold plan, its course magnetic as charts give it (by the model, at the fix and date)."""
    from trackgrade.earth.angles import wrap360
    from trackgrade.earth.variation import magnetic_variation
    from trackgrade.hold.hold import Leg
    from trackgrade.hold.plan import HoldPlan, Position

    day = dt.datetime.fromtimestamp(found.start_epoch_s, dt.UTC).date()
    variation = magnetic_variation(found.fix_lat_deg, found.fix_lon_deg, found.altitude_ft or 0.0, day)
    magnetic = round(float(wrap360(found.inbound_course_true_deg - variation.variation_deg)), 1)
    return HoldPlan(
        name=name,
        inbound_course_deg=magnetic or 360.0,
        fix=Position(found.fix_lat_deg, found.fix_lon_deg),
        turns=found.turns,
        leg=Leg(minutes=found.leg_minutes),
        altitude_ft=found.altitude_ft,
    )


def _write(proposals: list[HoldProposal], folder: Path, track: Path) -> None:
    from trackgrade.files import safe_name, write_whole
    from trackgrade.hold.holdfile import write_hold_file

    stem = safe_name(track.stem)
    for number, found in enumerate(proposals, start=1):
        name = f"{stem} hold {number}" if len(proposals) > 1 else f"{stem} hold"
        target = folder / f"{name.replace(' ', '-')}.toml"
        if target.exists():
            console.note(f"{target} stands already and is left as it is")
            continue
        text = (
            f"# Proposed from {found.laps} laps of {console.plain(track.name)}. What was flown, not what was cleared:\n"
            "# put in the fix, course, leg and guidance of the chart before you grade against it.\n"
        )
        write_whole(target, text + write_hold_file(plan_of(found, name)))
        console.say(f"Written: {target}")


def _clock(epoch_s: float) -> str:
    return dt.datetime.fromtimestamp(epoch_s, dt.UTC).strftime("%H:%M:%S")


def _scatter(value: float, unit: str) -> str:
    return f" ±{value:.2g}{unit}" if math.isfinite(value) else ""
