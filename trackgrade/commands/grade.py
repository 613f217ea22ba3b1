"""``trackgrade grade``: tracks and hold files in; verdicts, reports, debriefs and laps out."""

from __future__ import annotations

import contextlib
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackgrade.commands import console
from trackgrade.errors import InputError, NoHoldFlown, UsageError

if TYPE_CHECKING:
    from trackgrade.batch.grading import FlightDone, PageWritten


@click.command(
    "grade", epilog=f"Exit status: 0 graded, 2 wrong usage or unreadable, 3 no hold flown. {console.CAUTION}"
)
@click.argument("tracks", nargs=-1, required=True, metavar="TRACK...")
@click.option("--hold", "holds", multiple=True, metavar="HOLD", help="Hold file, or a name in the hold set; repeat it.")
@click.option("--holds", "hold_set", metavar="DIR", help="Another hold set than your own (see: trackgrade holds).")
@click.option("--out", default="reports", metavar="DIR", show_default=True, help="Folder for the reports.")
@click.option("--json", "json_path", metavar="FILE", help="Write the debrief. Of many: an array, .jsonl, a folder.")
@click.option("--csv", "csv_path", metavar="FILE", help="Write the laps as a table (.csv or .parquet).")
@click.option("--figure", "figure_path", metavar="FILE", help="Draw one flight on one page: .png, .svg or .pdf.")
@click.option("--gpx", metavar="FILE", help="Write one flight for a map program: track, laps, events.")
@click.option("--kml", metavar="FILE", help="The same as KML.")
@click.option("--geojson", metavar="FILE", help="The same as GeoJSON.")
@click.option("--write-hold", "hold_path", metavar="FILE", help="Keep the hold that was found, as a hold file.")
@click.option("--compare", is_flag=True, help="Lay the laps of all flights at one hold over each other, on a page.")
@click.option("--no-html", is_flag=True, help="Write no report.")
@click.option("--standard", metavar="NAME|FILE", help="Grade against this one (see: trackgrade standards).")
@click.option("--timing-band", type=float, metavar="S", help="Your own band on the leg time, in seconds.")
@click.option("--columns", metavar="MAP.toml", help="Columns map of a CSV (see: trackgrade columns).")
@click.option("--pilot", metavar="NAME", help="Record the debrief in the logbook under this name.")
@click.option("--instructor", metavar="NAME", help="Instructor, for the first sheet and the logbook.")
@click.option("--note", metavar="TEXT", help="Instructor's comment, for the first sheet and the logbook.")
@click.option("--logbook", metavar="PATH|URL", help="Another logbook than the one in your data folder.")
@click.option("--jobs", type=click.IntRange(1), metavar="N", help="Flights at a time; default: one a core.")
@click.option("--resume", is_flag=True, help="Skip the flights of an earlier run that are unchanged.")
@click.option("--scheduler", metavar="ADDRESS", help="Let a running dask scheduler do the work.")
def command(
    tracks: tuple[str, ...],
    holds: tuple[str, ...],
    hold_set: str | None,
    out: str,
    json_path: str | None,
    csv_path: str | None,
    figure_path: str | None,
    hold_path: str | None,
    compare: bool,
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
    **map_paths: str | None,
) -> None:
    """Find the holding pattern in each TRACK, measure its laps and grade them.

    TRACK is a GPX, KML, IGC, NMEA or CSV file, a folder, or a pattern such as "flights/*.gpx". Prints a verdict with
    the lap table and writes one report a flight. Without --hold each flight is graded at the hold of your set whose
    laps it flew, else at the one found in it; which it was is said.
    """
    if pilot is None and logbook:
        raise UsageError("--logbook needs --pilot NAME: whose session is it?")
    given = {} if figure_path is None else {_figure_kind(figure_path): figure_path}
    from trackgrade.batch.grading import Wanted, grade_flights, plan_batch

    sheet = {"pilot": pilot or "", "instructor": instructor or "", "note": note or ""}
    drawn = {kind: path for kind, name in (given | map_paths).items() if (path := _path(name)) is not None}
    flights, settings = plan_batch(
        tracks,
        holds,
        standard,
        timing_band,
        columns,
        report=not no_html,
        drawn=tuple(drawn),
        hold_set=hold_set,
        compare=compare,
        sheet=sheet,
    )
    console.left_out_of_set(settings.left_out)
    if hold_path is not None and (settings.holds or len(flights) > 1):
        raise UsageError("--write-hold keeps the hold found in one flight: give one TRACK, and no --hold")
    if pilot is not None or instructor or note:
        from trackgrade.logbook import check_session

        check_session(pilot, instructor, note)
    session = None if pilot is None else {**sheet, "logbook": logbook}
    wanted = Wanted(Path(out), _path(json_path), _path(csv_path), _path(hold_path), drawn, session)
    told = _Told(several=len(flights) > 1)
    try:
        with console.progress(len(flights), "flights") as advance:
            events = grade_flights(
                flights, settings, wanted, jobs=jobs, resume=resume, scheduler=scheduler, advance=advance
            )
            with contextlib.closing(events):
                for event in events:
                    told.add(event)
    except KeyboardInterrupt:
        if len(flights) == 1:
            raise
        raise KeyboardInterrupt(
            f"{told.flights} of {len(flights)} flights are done and whole; the same command with --resume goes on"
        ) from None
    told.finish()


class _Told:
    """What the terminal tells: one flight in full, or many in a table, wrong files last."""

    def __init__(self, *, several: bool) -> None:
        self.flights = 0
        self.pages: list[str] = []
        self._several = several
        self._rows: list[tuple[str, ...]] = []
        self._counts = Counter[str]()
        self._wrong: list[str] = []
        self._faults = 0
        self._recorded = 0
        self._not_flown = ""
        self._doubted = 0

    def add(self, done: FlightDone | PageWritten) -> None:
        from trackgrade.batch.grading import PageWritten
        from trackgrade.commands import summary

        if isinstance(done, PageWritten):
            self.pages.append(f"{done.called}: {done.path}")
            return
        self.flights += 1
        outcome = done.outcome
        if outcome.error:
            self._counts["wrong"] += 1
            self._wrong.append(outcome.error)
            self._faults += outcome.fault
            return
        self._counts["flown" if outcome.flown else "not flown"] += 1
        notes = list(summary.reading(outcome.graded[0].headline["track"]["notes"])) if outcome.graded else []
        self._doubted += bool(notes)
        if not self._several:
            for note in notes:
                console.note(f"  note: {note}")
        for graded in outcome.graded:
            if not graded.flown:
                self._not_flown = summary.not_flown(graded.headline)
            elif self._several:
                self._rows.append(summary.row(graded.headline))
            else:
                for line in summary.lines(graded.debrief):
                    console.say(line)
        if self._several and not outcome.flown:
            self._rows.append((console.plain(Path(done.flight.path).name), "-", "no hold flown", "-", "-"))
        if self._several:
            self._recorded += len(done.recorded)
            return
        from trackgrade.report import FIGURE_KINDS

        for line in (
            *(f"Report: {path}" for path in done.reports),
            *(f"{'Figure' if kind in FIGURE_KINDS else 'For a map'}: {path}" for kind, path in done.drawn.items()),
            *done.recorded,
        ):
            console.say(f"  {line}")

    def finish(self) -> None:
        """The table of many flights, the cautions, and the error that the run ends with, if any.

        Raises NoHoldFlown where not one flight held, InputError where one could not be graded.
        """
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
        for line in self.pages:
            console.say(line)
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


def _figure_kind(path: str) -> str:
    """The kind of figure that the ending of its file asks for. Raises UsageError."""
    from trackgrade.report import FIGURE_KINDS

    kind = Path(path).suffix[1:].lower()
    if kind not in FIGURE_KINDS:
        raise UsageError(f"--figure {console.plain(path)}: the name must end in .png, .svg or .pdf")
    return kind


def _path(given: str | None) -> Path | None:
    if given == "":
        raise UsageError("a file name is empty: give the name, or leave the option out")
    return None if given is None else Path(given)
