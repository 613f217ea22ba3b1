"""``trackgrade find``: the holds in a track that came with no hold file, as hold files to edit."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackgrade.commands import console
from trackgrade.errors import NoHoldFlown, UsageError
from trackgrade.hold.courses import course_name

if TYPE_CHECKING:
    from trackgrade.segment.proposal import HoldProposal

NOTHING = "no hold in this track: nowhere two turns the same way with a leg between, back to one point"


@click.command(
    "find", epilog=f"Exit status: 0 found, 2 wrong usage or unreadable, 3 no hold in the track. {console.CAUTION}"
)
@click.argument("track")
@click.option("--json", "json_path", metavar="FILE", help="Write the holds found, schema trackgrade.holds/1.")
@click.option("--html", metavar="FILE", help="Write a page: the whole flight, each hold over it.")
@click.option("--write", "folder", metavar="DIR", help="Write a hold file for each, ready to edit.")
@click.option("--columns", metavar="MAP.toml", help="Columns map of a CSV (see: trackgrade columns).")
@click.option("--holds", "hold_set", metavar="DIR", help="Another hold set than your own (see: trackgrade holds).")
def command(
    track: str, json_path: str | None, html: str | None, folder: str | None, columns: str | None, hold_set: str | None
) -> None:
    """Look for racetracks in TRACK and propose a hold for each: fix, inbound course, turns, leg.

    What was cleared may differ from what was flown: check fix and course against the chart before you grade. Where
    the track does not tell which end of a racetrack is the fix, both ends are given. A hold of your set that was
    flown is told by its name there.
    """
    path = Path(track)
    if not path.is_file():
        raise UsageError(f"{track}: this is no file; give one track (GPX, KML, IGC, NMEA or CSV)")
    from trackgrade.choosing import holds_in
    from trackgrade.commands import summary
    from trackgrade.exports import holds_json
    from trackgrade.files import spare_inputs, write_whole
    from trackgrade.hold.holdset import files_in, folder_of, read_set
    from trackgrade.track.altitude import DATUM_NOTES
    from trackgrade.track.readers import read_track

    spare_inputs([json_path, html], [track, columns, *files_in(folder_of(hold_set))])
    flight = read_track(path, columns)
    for note in summary.reading(flight.notes):
        console.note(f"  note: {note}")
    plans, wrong = read_set(folder_of(hold_set))
    console.left_out_of_set(wrong)
    proposals = holds_in(flight, plans)
    if json_path is not None:
        write_whole(Path(json_path), holds_json.to_text(proposals))
    if not proposals:
        raise NoHoldFlown(f"{path.name}: {NOTHING}")
    console.say(f"{console.plain(path.name)}: {len(proposals)} hold{'s' if len(proposals) > 1 else ''} flown")
    console.say(console.table(HEADER, rows(proposals), words=(4, 6)))
    console.say("Times are UTC; courses magnetic by the model and (true); ± is the scatter of the laps.")
    if any(each.other_end is not None for each in proposals):
        console.say("or: the track does not tell which end of the racetrack is the fix; the likelier stands first.")
    if flight.alt_datum in DATUM_NOTES:
        console.say(f"Altitude: {DATUM_NOTES[flight.alt_datum].split(':')[0]}; put in the one assigned.")
    if html is not None:
        from trackgrade.report import found

        console.say(f"Page: {write_whole(Path(html), found.render(flight, proposals))}")
    if folder is not None:
        _write(proposals, Path(folder), path)
    else:
        console.say("With --write DIR each becomes a hold file to edit.")
    console.say(console.CAUTION)


HEADER = ("hold", "flown", "laps", "inbound course", "turns", "leg", "fix", "altitude")


def rows(proposals: list[HoldProposal]) -> list[tuple[str, ...]]:
    """Proposals as rows under `HEADER`; the other end of a racetrack, where it may be the fix, below the first."""
    made = []
    for number, found in enumerate(proposals, start=1):
        made.append(_row(found.name or f"hold {number}", found))
        if found.other_end is not None:
            made.append(_row("  or", found.other_end))
    return made


def _row(name: str, found: HoldProposal) -> tuple[str, ...]:
    hold = found.hold
    course = f"{course_name(found.plan().inbound_course_deg)} ({course_name(hold.inbound_course_true_deg)})"
    return (
        name,
        f"{_clock(found.start_epoch_s)}-{_clock(found.end_epoch_s)}",
        str(found.laps),
        course + _scatter(found.course_sd_deg, "°"),
        hold.turns,
        hold.leg.words,
        f"{hold.fix_lat_deg:.4f} {hold.fix_lon_deg:.4f}{_scatter(found.fix_sd_nm, ' NM')}",
        "-" if hold.altitude_ft is None else f"{hold.altitude_ft:,.0f} ft",
    )


def _write(proposals: list[HoldProposal], folder: Path, track: Path) -> None:
    from trackgrade.files import safe_name, write_whole
    from trackgrade.hold.holdfile import write_hold_file

    stem = safe_name(track.stem)
    for number, found in enumerate(proposals, start=1):
        if found.name:
            console.note(f"{found.name} is in the hold set already: no file is written for it")
            continue
        name = f"{stem} hold {number}" if len(proposals) > 1 else f"{stem} hold"
        target = folder / f"{name.replace(' ', '-')}.toml"
        if target.exists():
            console.note(f"{target} stands already and is left as it is")
            continue
        text = (
            f"# Proposed from {found.laps} laps of {console.plain(track.name)}. What was flown, not what was cleared:\n"
            "# put in the fix, course, leg and guidance of the chart before you grade against it.\n"
        )
        write_whole(target, text + write_hold_file(found.plan(name)))
        console.say(f"Written: {target}")


def _clock(epoch_s: float) -> str:
    return dt.datetime.fromtimestamp(epoch_s, dt.UTC).strftime("%H:%M:%S")


def _scatter(value: float, unit: str) -> str:
    return f" ±{value:.2g}{unit}" if math.isfinite(value) else ""
