"""Many flights as one call that yields events: plan what is to be done, do it, write every result whole.

The command line prints these events, the local page shows them, a script may count them; the work is the same.
"""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from trackgrade import __version__
from trackgrade.batch import alone
from trackgrade.batch.alone import Advance, cores
from trackgrade.batch.inputs import find_holds, find_tracks
from trackgrade.batch.outputs import COMPARISON, INDEX, Names, debriefs_at, laps_at, write_comparisons
from trackgrade.batch.work import Flight, Outcome, Settings, plan_flights
from trackgrade.errors import ColumnsFileError, UsageError
from trackgrade.files import LARGEST_TOML_BYTES, plain_text, raw_bytes, spare_inputs, write_whole
from trackgrade.hold.holdfile import read_hold_file
from trackgrade.hold.holdset import file_or_name, files_in, folder_of, read_set
from trackgrade.report import FIGURE_KINDS
from trackgrade.score.standard import Standard
from trackgrade.score.standards import DEFAULT, load_standard

if TYPE_CHECKING:
    from trackgrade.batch.done import DoneBefore
    from trackgrade.report.compare import FlightLaps
    from trackgrade.report.index import FlightRow


@dataclass(frozen=True, eq=False)
class Wanted:
    """Where results go: the folder of the reports, and each of the others where it is asked for.

    ``drawn``: of each kind (`Settings.drawn`). ``session``: who flew, for the logbook (keywords of
    `trackgrade.logbook.record_debrief`), or None.
    """

    out: Path
    json_path: Path | None = None
    csv_path: Path | None = None
    hold_path: Path | None = None
    drawn: Mapping[str, Path] = field(default_factory=dict)
    session: dict[str, str | None] | None = None

    @property
    def results(self) -> list[Path]:
        """The files asked for by name."""
        named = (self.json_path, self.csv_path, self.hold_path, *self.drawn.values())
        return [path for path in named if path is not None]


@dataclass(frozen=True, eq=False)
class FlightDone:
    """One flight is finished: what became of it, and what was written.

    ``reports`` are paths, ``drawn`` too, by kind; ``recorded`` a line for each entry of the logbook.
    """

    flight: Flight
    outcome: Outcome
    reports: tuple[Path, ...] = ()
    drawn: Mapping[str, Path] = field(default_factory=dict)
    recorded: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class PageWritten:
    """All flights are finished, and a page on several of them stands: what people call it."""

    called: str
    path: Path


def plan_batch(
    tracks: Sequence[str],
    holds: Sequence[str],
    standard: str | None = None,
    timing_band: float | None = None,
    columns: str | None = None,
    *,
    report: bool = True,
    drawn: Sequence[str] = (),
    hold_set: str | None = None,
    compare: bool = False,
    sheet: Mapping[str, str] | None = None,
) -> tuple[list[Flight], Settings]:
    """Everything a run needs, read and checked before the first flight. A .toml among the tracks is a hold.

    ``holds``: files, folders, patterns, or names in the hold set, which is ``hold_set`` or by itself the user's own.
    Without any each flight is graded where it held: the whole set goes along.

    Raises UsageError, HoldFileError, StandardFileError, ColumnsFileError.
    """
    track_arguments = [each for each in tracks if not each.lower().endswith(".toml")]
    hold_arguments = [*holds, *(each for each in tracks if each.lower().endswith(".toml"))]
    if not track_arguments:
        raise UsageError("which flight? Give the track (GPX, KML, IGC, NMEA or CSV)")
    passed_over: list[str] = []
    flights = plan_flights(find_tracks(track_arguments, passed_over))
    hold_paths = find_holds([file_or_name(each, hold_set) for each in hold_arguments]) if hold_arguments else []
    if drawn and (len(flights) > 1 or len(hold_paths) > 1):
        asked = "figure" if drawn[0] in FIGURE_KINDS else drawn[0]
        raise UsageError(
            f"--{asked} draws one flight at one hold (tracks here: {len(flights)}, hold files: {len(hold_paths)}):"
            " give one TRACK and one --hold, and run it again for each"
        )
    named = tuple((plain_text(path.stem), read_hold_file(path)) for path in hold_paths)  # it may be no UTF-8
    of_set, left_out = ([], []) if named else read_set(folder_of(hold_set))
    hold_paths += [] if named else files_in(folder_of(hold_set))
    settings = Settings(
        holds=named,
        standard=_standard(standard, timing_band),
        version=__version__,
        report=report,
        columns=columns or "",
        columns_data=None if columns is None else raw_bytes(columns, LARGEST_TOML_BYTES, ColumnsFileError),
        drawn=tuple(drawn),
        compare=compare,
        sheet=sheet or {},
        hold_set=tuple(of_set),
        left_out=(*passed_over, *left_out),
        reads=(*map(str, hold_paths), *(each for each in (columns, standard) if each)),
    )
    return flights, settings


def grade_flights(
    flights: Sequence[Flight],
    settings: Settings,
    wanted: Wanted,
    *,
    jobs: int | None = None,
    resume: bool = False,
    scheduler: str | None = None,
    advance: Advance = lambda: None,
) -> Generator[FlightDone | PageWritten]:
    """Grade the flights and write what is wanted: an event for each flight, in the order given, and each page.

    A flight that cannot be graded is an event with ``outcome.error``; it stops no other. Close the generator to stop
    early: what was written is whole. ``jobs``: processes at a time (default: one a core); ``resume``: skip what an
    earlier run did and nothing changed; ``advance``: called as flights finish, for a progress bar.

    Raises
    ------
    UsageError
        A result asked for by name is a file that is read, or another result. Nothing is written then.
    OutputError
        A result could not be written.
    LogbookError
        The logbook cannot be written to.
    """
    several = len(flights) > 1
    single = not several and len(settings.holds) <= 1
    reads = [*(each.path for each in flights), *settings.reads]
    if wanted.session is not None:
        from trackgrade.logbook import files_of

        reads += files_of(wanted.session.get("logbook"))
    own = [*([INDEX] * (settings.report or several)), *([COMPARISON] * settings.compare)]
    if several:
        from trackgrade.batch.done import DoneBefore  # the record of a batch, with its database

        own += DoneBefore.FILES
    settings = replace(settings, table=several or wanted.csv_path is not None)  # that record keeps the tables too
    spare_inputs([*(wanted.out / name for name in own), *wanted.results], reads)
    places = [(wanted.out, ".html")] if settings.report else []
    if wanted.json_path is not None and wanted.json_path.is_dir():
        places.append((wanted.json_path, ".json"))
    names = Names(places, [*reads, *wanted.results])
    compared: list[FlightLaps] = []
    rows: list[FlightRow] = []
    if indexed := settings.report and not single:
        from trackgrade.report import index  # pages are loaded only where one is written
    with contextlib.ExitStack() as stack:
        add_debrief = stack.enter_context(debriefs_at(wanted.json_path, single=single)) if wanted.json_path else None
        add_laps = stack.enter_context(laps_at(wanted.csv_path)) if wanted.csv_path else None
        done = stack.enter_context(DoneBefore(wanted.out)) if several else None
        outcomes = run(
            flights,
            settings,
            jobs=jobs or cores(),
            scheduler=scheduler,
            done=done if resume and not settings.compare else None,  # the record of an earlier run has no lines
            advance=advance,
        )
        for flight, outcome in stack.enter_context(contextlib.closing(outcomes)):
            stems = [
                names.take(flight.report_name, graded.hold, several=len(settings.holds) > 1)
                for graded in outcome.graded
            ]
            event, reports = _write(flight, outcome, stems, wanted)
            for graded, name, report in zip(outcome.graded, stems, reports):
                if add_debrief is not None:
                    add_debrief(f"{name}.json", graded)
                if add_laps is not None:
                    add_laps(graded.laps_csv)
                if indexed:
                    rows.append(index.row(graded.headline, f"{name}.html" if graded.flown or report else ""))
            if done is not None:
                done.keep(flight, settings, outcome, reports)
            if outcome.error and indexed:
                rows.append(index.not_graded(Path(flight.path).name, outcome.error))
            compared += [graded.lines for graded in outcome.graded if graded.lines is not None]
            yield event
        if settings.compare:
            for path in write_comparisons(wanted.out, compared, names):
                yield PageWritten("Laps over each other", path)
        if indexed:
            page = index.render(rows, [settings.standard.title])
            yield PageWritten("Reports", write_whole(wanted.out / INDEX, page))


def run(
    flights: Sequence[Flight],
    settings: Settings,
    *,
    jobs: int = 1,
    scheduler: str | None = None,
    done: DoneBefore | None = None,
    advance: Advance = lambda: None,
) -> Generator[tuple[Flight, Outcome]]:
    """Each flight with its outcome, in the order given, whoever does the work.

    ``done``: skip what stands unchanged in this record. ``scheduler``: the address of a dask scheduler, instead of
    ``jobs`` processes here. Close the iterator to stop early. Raises UsageError where no scheduler answers.
    """
    skipped = {flight.path for flight in flights if done is not None and done.has(flight, settings)}
    left = [flight for flight in flights if flight.path not in skipped]
    if scheduler is not None:
        from trackgrade.batch import cluster

        fresh = cluster.run(left, settings, scheduler, advance)
    elif jobs <= 1 or len(left) <= 1:
        fresh = alone.run(left, settings, advance)
    else:
        from trackgrade.batch import pool

        fresh = pool.run(left, settings, jobs, advance)
    with contextlib.closing(fresh):
        for number, flight in enumerate(flights):
            if number:
                # A command looks for garbage rarely (`commands`); what a flight left is too much to wait for that.
                # After the last one it would only look through every module.
                gc.collect(1)
            earlier = done.find(flight, settings) if done is not None and flight.path in skipped else None
            if flight.path not in skipped:
                yield flight, next(fresh)
            elif earlier is not None:
                advance()
                yield flight, earlier
            else:  # its report was deleted meanwhile
                yield from run([flight], settings, jobs=1, advance=advance)


def _write(flight: Flight, outcome: Outcome, names: Sequence[str], wanted: Wanted) -> tuple[FlightDone, list[str]]:
    """Write what one flight gave by itself; the event, and the name of the report at each hold ("" without)."""
    reports, recorded = [], []
    drawn: dict[str, Path] = {}
    for graded, name in zip(outcome.graded, names):
        reports.append("" if graded.html is None else write_whole(wanted.out / f"{name}.html", graded.html).name)
        drawn |= {kind: write_whole(wanted.drawn[kind], content) for kind, content in graded.drawn.items()}
        if wanted.hold_path is not None and graded.hold_toml:
            write_whole(wanted.hold_path, graded.hold_toml)
        if wanted.session is not None and graded.flown:
            from trackgrade.logbook import record_debrief  # the database is loaded only where one is written

            report = wanted.out / reports[-1] if reports[-1] else None
            recorded.append(record_debrief(graded.debrief, report=report, **wanted.session))  # type: ignore[arg-type]
    written = tuple(wanted.out / name for name in reports if name)
    return FlightDone(flight, outcome, written, drawn, tuple(recorded)), reports


def _standard(name: str | None, timing_band_s: float | None) -> Standard:
    standard = load_standard(name or DEFAULT)
    if timing_band_s is None:
        return standard
    try:
        return standard.with_timing_band(timing_band_s)
    except ValueError as error:
        raise UsageError(f"--timing-band: {error}") from error
