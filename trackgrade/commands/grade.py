"""``trackgrade grade``: tracks and hold files in; verdicts, reports, debriefs and laps out."""

from __future__ import annotations

import contextlib
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackgrade import __version__
from trackgrade.commands import console
from trackgrade.errors import ColumnsFileError, InputError, NoHoldFlown, UsageError

if TYPE_CHECKING:
    from trackgrade.batch.done import DoneBefore
    from trackgrade.batch.outputs import Debriefs, Index, Laps
    from trackgrade.batch.work import Flight, Outcome, Settings
    from trackgrade.commands.summary import Json
    from trackgrade.score.standard import Standard


@click.command(
    "grade",
    short_help="After the flight: measure and grade the laps of a track.",
    epilog=f"Exit status: 0 graded, 2 wrong usage or unreadable, 3 no hold flown. {console.CAUTION}",
)
@click.argument("tracks", nargs=-1, required=True, metavar="TRACK...")
@click.option("--hold", "holds", multiple=True, metavar="HOLD.toml", help="Hold file; give it again for more.")
@click.option("--out", default="reports", metavar="DIR", show_default=True, help="Folder for the reports.")
@click.option("--json", "json_path", metavar="FILE", help="Write the debrief. Of many: an array, .jsonl, a folder.")
@click.option("--csv", "csv_path", metavar="FILE", help="Write the laps as a table.")
@click.option("--figure", "figure_path", metavar="FILE", help="Draw one flight on one page: .png, .svg or .pdf.")
@click.option("--no-html", is_flag=True, help="Write no report.")
@click.option("--standard", metavar="NAME|FILE", help="Grade against this one (see: trackgrade standards).")
@click.option("--timing-band", type=float, metavar="S", help="Your own band on the leg time, in seconds.")
@click.option("--columns", metavar="MAP.toml", help="Columns map of a CSV (see: trackgrade columns).")
@click.option("--pilot", metavar="NAME", help="Record the debrief in the logbook under this name.")
@click.option("--instructor", metavar="NAME", help="Instructor, for the logbook.")
@click.option("--note", metavar="TEXT", help="A note, for the logbook.")
@click.option("--logbook", metavar="PATH|URL", help="Another logbook than the one in your data folder.")
@click.option("--jobs", type=click.IntRange(1), metavar="N", help="Flights at a time; default: one a core.")
@click.option("--resume", is_flag=True, help="Skip the flights of an earlier run that are unchanged.")
@click.option("--scheduler", metavar="ADDRESS", help="Let a running dask scheduler do the work.")
def command(
    tracks: tuple[str, ...],
    holds: tuple[str, ...],
    out: str,
    json_path: str | None,
    csv_path: str | None,
    figure_path: str | None,
    no_html: bool,
    standard: str | None,
    timing_band: float | None,
    columns: str | None,
    pilot: str | None,
    instructor: str | None,
    note: str | None,
    logbook: str | None,
    jobs: int | None,
    resume: bool,
    scheduler: str | None,
) -> None:
    """Find the holding pattern in each TRACK, measure its laps and grade them.

    TRACK is a GPX or CSV file, a folder, or a pattern such as "flights/*.gpx". Prints a verdict with the lap
    table and writes one report a flight.
    """
    from trackgrade.files import spare_inputs

    if pilot is None and (instructor or note or logbook):
        raise UsageError("--instructor, --note and --logbook need --pilot NAME: whose session is it?")
    figure = _figure_kind(figure_path) if figure_path is not None else ""
    flights, settings = plan(tracks, holds, standard, timing_band, columns, report=not no_html, figure=figure)
    spare_inputs(
        [json_path, csv_path, figure_path], [*(each.path for each in flights), *holds, *tracks, columns, standard]
    )
    session: dict[str, str | None] | None = None
    if pilot is not None:
        from trackgrade.logbook import check_session

        check_session(pilot, instructor, note)
        session = {"pilot": pilot, "instructor": instructor, "note": note, "logbook": logbook}
    grade(
        flights,
        settings,
        Path(out),
        json_path=_path(json_path),
        csv_path=_path(csv_path),
        figure_path=_path(figure_path),
        session=session,
        jobs=jobs,
        resume=resume,
        scheduler=scheduler,
    )


def plan(
    tracks: Sequence[str],
    holds: Sequence[str],
    standard: str | None = None,
    timing_band: float | None = None,
    columns: str | None = None,
    *,
    report: bool = True,
    figure: str = "",
) -> tuple[list[Flight], Settings]:
    """Everything a run needs, read and checked before the first flight. A .toml among the tracks is a hold.

    Raises UsageError, HoldFileError, StandardFileError, ColumnsFileError.
    """
    from trackgrade.batch.inputs import find_holds, find_tracks
    from trackgrade.batch.work import HoldFile, Settings, plan_flights
    from trackgrade.hold.holdfile import read_hold_file

    track_arguments = [each for each in tracks if not each.lower().endswith(".toml")]
    hold_arguments = [*holds, *(each for each in tracks if each.lower().endswith(".toml"))]
    if not track_arguments:
        raise UsageError("which flight? Give the track (GPX or CSV) before --hold HOLD.toml")
    flights = plan_flights(find_tracks(track_arguments))
    if not hold_arguments:
        raise UsageError("which hold? Give --hold HOLD.toml; 'trackgrade find TRACK' writes one for you to edit")
    hold_paths = find_holds(hold_arguments)
    if figure and (len(flights) > 1 or len(hold_paths) > 1):
        raise UsageError(
            f"--figure draws one flight at one hold (tracks here: {len(flights)}, hold files: {len(hold_paths)}):"
            " give one TRACK and one --hold, and run it again for each"
        )
    hold_files = [HoldFile(path.stem, read_hold_file(path)) for path in hold_paths]
    settings = Settings(
        holds=tuple(hold_files),
        standard=_standard(standard, timing_band),
        version=__version__,
        report=report,
        columns=columns or "",
        columns_data=_bytes_of(columns),
        figure=figure,
    )
    return flights, settings


def grade(
    flights: Sequence[Flight],
    settings: Settings,
    out: Path,
    *,
    json_path: Path | None = None,
    csv_path: Path | None = None,
    figure_path: Path | None = None,
    session: dict[str, str | None] | None = None,
    jobs: int | None = None,
    resume: bool = False,
    scheduler: str | None = None,
) -> None:
    """Grade the flights, write what was asked for, and say what came of it.

    Raises NoHoldFlown where not one flight held, InputError where one could not be graded: after everything
    else is written.
    """
    from trackgrade.batch.alone import cores
    from trackgrade.batch.outputs import Debriefs, Index, Laps
    from trackgrade.batch.run import run

    several = len(flights) > 1
    single = not several and len(settings.holds) == 1
    told = _Told(several=several)
    try:
        with contextlib.ExitStack() as stack:
            writing = _Writing(
                settings,
                out,
                debriefs=stack.enter_context(Debriefs(json_path, single=single)) if json_path else None,
                laps=stack.enter_context(Laps(csv_path)) if csv_path else None,
                index=Index(out, settings.standard.title) if settings.report and not single else None,
                done=stack.enter_context(_done_before(out)) if several else None,
                figure_path=figure_path,
                session=session,
            )
            advance = stack.enter_context(console.progress(len(flights), "flights"))
            outcomes = run(
                flights,
                settings,
                jobs=jobs or cores(),
                scheduler=scheduler,
                done=writing.done if resume else None,
                advance=advance,
            )
            for flight, outcome in stack.enter_context(contextlib.closing(outcomes)):
                debriefs = [json.loads(graded.debrief_json) for graded in outcome.graded]
                told.add(flight, outcome, debriefs, writing.write(flight, outcome, debriefs))
            if writing.index is not None:
                told.index = writing.index.write()
    except KeyboardInterrupt:
        if not several:
            raise
        raise KeyboardInterrupt(
            f"{told.flights} of {len(flights)} flights are done and whole; the same command with --resume goes on"
        ) from None
    told.finish()


@dataclass(frozen=True)
class _Writing:
    """Everywhere that the results of a flight go."""

    settings: Settings
    out: Path
    debriefs: Debriefs | None
    laps: Laps | None
    index: Index | None
    done: DoneBefore | None
    figure_path: Path | None
    session: dict[str, str | None] | None

    def write(self, flight: Flight, outcome: Outcome, debriefs: Sequence[Json]) -> list[str]:
        """Write what one flight gave; returns lines that say where: reports first, then logbook entries."""
        from trackgrade.batch.outputs import output_name, write_report
        from trackgrade.files import write_whole
        from trackgrade.logbook import record_debrief

        said = []
        reports = []
        for graded, debrief in zip(outcome.graded, debriefs):
            name = output_name(flight.report_name, graded.hold, len(self.settings.holds))
            report = ("", "")
            if graded.html is not None:
                report = write_report(self.out, f"{name}.html", graded.html)
                said.append(f"Report: {self.out / report[0]}")
            reports.append(report)
            if self.figure_path is not None and graded.figure is not None:
                said.append(f"Figure: {write_whole(self.figure_path, graded.figure)}")
            if self.debriefs is not None:
                self.debriefs.add(f"{name}.json", graded.debrief_json)
            if self.laps is not None:
                self.laps.add(graded.laps_csv)
            if self.index is not None:
                self.index.add(debrief, f"{name}.html" if graded.flown or report[0] else "")
            if self.session is not None and graded.flown:
                said.append(record_debrief(debrief, **self.session))  # type: ignore[arg-type]
        if self.done is not None:
            self.done.keep(flight, self.settings, outcome, reports)
        if outcome.error and self.index is not None:
            self.index.add_wrong(Path(flight.path).name, outcome.error)
        return said


class _Told:
    """What the terminal tells: one flight in full, or many in a table, wrong files last."""

    def __init__(self, *, several: bool) -> None:
        self.flights = 0
        self.index: Path | None = None
        self._several = several
        self._rows: list[tuple[str, ...]] = []
        self._counts = Counter[str]()
        self._wrong: list[str] = []
        self._faults = 0
        self._recorded = 0
        self._not_flown = ""
        self._doubted = 0

    def add(self, flight: Flight, outcome: Outcome, debriefs: Sequence[Json], said: Sequence[str]) -> None:
        from trackgrade.commands import summary

        self.flights += 1
        if outcome.error:
            self._counts["wrong"] += 1
            self._wrong.append(outcome.error)
            self._faults += outcome.fault
            return
        self._counts["flown" if outcome.flown else "not flown"] += 1
        notes = list(summary.reading(debriefs[0]["track"]["notes"])) if debriefs else []
        self._doubted += bool(notes)
        if not self._several:
            for note in notes:
                console.note(f"  note: {note}")
        for graded, debrief in zip(outcome.graded, debriefs):
            if not graded.flown:
                self._not_flown = summary.not_flown(debrief)
            elif self._several:
                self._rows.append(summary.row(debrief))
            else:
                for line in summary.lines(debrief):
                    console.say(line)
        if self._several and not outcome.flown:
            self._rows.append((console.plain(Path(flight.path).name), "-", "no hold flown", "-", "-"))
        if self._several:
            self._recorded += len(said) - sum(graded.html is not None for graded in outcome.graded)
            return
        for line in said:
            console.say(f"  {line}")

    def finish(self) -> None:
        """The table of many flights, the cautions, and the error that the run ends with, if any."""
        from trackgrade.commands import summary

        if self._rows:
            console.say(console.table(summary.ROW_HEADER, self._rows, left=3, indent=0, words=(4,)))
        flown, not_flown, wrong = (self._counts[key] for key in ("flown", "not flown", "wrong"))
        if self._several:
            unread = f", {wrong} not readable" if wrong else ""
            console.say(f"{self.flights} flights: {flown} graded, {not_flown} with no hold flown{unread}.")
            if self._doubted:
                console.note(
                    f"In reading {self._doubted} of them something was assumed or left out: the reports say what."
                )
        if self._recorded:
            console.say(f"Recorded in the logbook: {self._recorded} sessions.")
        if self.index is not None:
            console.say(f"Reports: {self.index}")
        if flown:
            console.say(console.CAUTION)
        if self._faults and not self._several:
            raise RuntimeError(self._wrong[0])
        if wrong and not self._several:
            raise InputError(self._wrong[0])
        if wrong:
            for line in self._wrong:
                console.complain(line)
            raise InputError(f"{wrong} of {self.flights} flights could not be graded: the lines above say why")
        if not flown:
            raise NoHoldFlown(
                f"none of the {self.flights} flights has a hold flown at that fix; check the hold file"
                if self._several
                else self._not_flown
            )


def _path(given: str | None) -> Path | None:
    if given == "":
        raise UsageError("a file name is empty: give the name, or leave the option out")
    return None if given is None else Path(given)


def _done_before(out: Path) -> DoneBefore:
    from trackgrade.batch.done import DoneBefore

    return DoneBefore(out)


def _standard(name: str | None, timing_band_s: float | None) -> Standard:
    from trackgrade.score.standards import DEFAULT, load_standard

    standard = load_standard(name or DEFAULT)
    if timing_band_s is None:
        return standard
    try:
        return standard.with_timing_band(timing_band_s)
    except ValueError as error:
        raise UsageError(f"--timing-band: {error}") from error


def _figure_kind(path: str) -> str:
    """The kind of figure that the ending of its file asks for. Raises UsageError."""
    from trackgrade.report import FIGURE_KINDS

    kind = Path(path).suffix[1:].lower()
    if kind not in FIGURE_KINDS:
        raise UsageError(f"--figure {console.plain(path)}: the name must end in .png, .svg or .pdf")
    return kind


def _bytes_of(columns: str | None) -> bytes | None:
    if columns is None:
        return None
    try:
        return Path(columns).read_bytes()
    except OSError as error:
        raise ColumnsFileError(f"{columns}: {error.strerror}; check the path") from error
