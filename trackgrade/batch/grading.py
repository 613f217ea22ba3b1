"""Many flights as one call that yields events: plan what is to be done, do it, write every result whole.

The command line prints these events, the local page shows them, a script may count them; the work is the same.
"""

from __future__ import annotations

import contextlib
from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from trackgrade import __version__
from trackgrade.batch.alone import Advance, cores
from trackgrade.batch.done import DoneBefore
from trackgrade.batch.inputs import find_holds, find_tracks
from trackgrade.batch.outputs import COMPARISON, Index, Names, debriefs_at, laps_at, write_comparisons, write_report
from trackgrade.batch.run import run
from trackgrade.batch.work import Flight, HoldFile, Outcome, Settings, plan_flights
from trackgrade.errors import ColumnsFileError, UsageError
from trackgrade.files import LARGEST_TOML_BYTES, raw_bytes, spare_inputs, write_whole
from trackgrade.hold.holdfile import read_hold_file
from trackgrade.hold.holdset import ENDING, file_or_name, folder_of, read_set
from trackgrade.score.standard import Standard
from trackgrade.score.standards import DEFAULT, load_standard

if TYPE_CHECKING:
    from trackgrade.report.compare import FlightLaps


@dataclass(frozen=True, eq=False)
class Wanted:
    """Where results go: the folder of the reports, and each of the others where it is asked for.

    ``map_paths``: where each kind of map file goes (gpx, kml, geojson).

    ``session``: who flew, for the logbook (keywords of `trackgrade.logbook.record_debrief`), or None. ``reads``: files
    that this work reads besides tracks and holds; nothing is written over one of them.
    """

    out: Path
    json_path: Path | None = None
    csv_path: Path | None = None
    figure_path: Path | None = None
    map_paths: Mapping[str, Path] = field(default_factory=dict)
    hold_path: Path | None = None
    session: dict[str, str | None] | None = None
    reads: tuple[str, ...] = ()

    @property
    def results(self) -> list[Path]:
        """The files asked for by name."""
        named = (self.json_path, self.csv_path, self.figure_path, self.hold_path, *self.map_paths.values())
        return [path for path in named if path is not None]


@dataclass(frozen=True, eq=False)
class FlightDone:
    """One flight is finished: what became of it, and what was written.

    ``reports``, ``figures`` and ``maps`` are paths; ``recorded`` a line for each entry of the logbook.
    """

    flight: Flight
    outcome: Outcome
    reports: tuple[Path, ...] = ()
    figures: tuple[Path, ...] = ()
    maps: tuple[Path, ...] = ()
    recorded: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class IndexWritten:
    """All flights are finished, and the page that leads to their reports stands."""

    path: Path


@dataclass(frozen=True, eq=False)
class CompareWritten:
    """The laps of several flights at one hold lie over each other on this page."""

    path: Path


def plan_batch(
    tracks: Sequence[str],
    holds: Sequence[str],
    standard: str | None = None,
    timing_band: float | None = None,
    columns: str | None = None,
    *,
    report: bool = True,
    figure: str = "",
    maps: Sequence[str] = (),
    hold_set: str | None = None,
    compare: bool = False,
    sheet: tuple[str, str, str] = ("", "", ""),
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
    flights = plan_flights(find_tracks(track_arguments))
    hold_paths = find_holds([file_or_name(each, hold_set) for each in hold_arguments]) if hold_arguments else []
    drawn = ["figure"] if figure else [*maps]
    if drawn and (len(flights) > 1 or len(hold_paths) > 1):
        raise UsageError(
            f"--{drawn[0]} draws one flight at one hold (tracks here: {len(flights)}, hold files: {len(hold_paths)}):"
            " give one TRACK and one --hold, and run it again for each"
        )
    hold_files = [HoldFile(path.stem, read_hold_file(path), str(path)) for path in hold_paths]
    hold_set_files, left_out = ((), ()) if hold_files else _set_in(folder_of(hold_set))
    settings = Settings(
        holds=tuple(hold_files),
        standard=_standard(standard, timing_band),
        version=__version__,
        report=report,
        columns=columns or "",
        columns_data=None if columns is None else raw_bytes(columns, LARGEST_TOML_BYTES, ColumnsFileError),
        figure=figure,
        maps=tuple(maps),
        compare=compare,
        sheet=sheet,
        hold_set=hold_set_files,
        left_out=left_out,
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
) -> Generator[FlightDone | CompareWritten | IndexWritten]:
    """Grade the flights and write what is wanted: an event for each flight, in the order given, and one for the index.

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
    holds = (*settings.holds, *settings.hold_set)
    reads = [*(each.path for each in flights), *(each.path for each in holds if each.path), *wanted.reads]
    if wanted.session is not None:
        from trackgrade.logbook import files_of

        reads += files_of(wanted.session.get("logbook"))
    own = [*((Index.NAME, *DoneBefore.FILES) if settings.report or several else ()), *([COMPARISON] * settings.compare)]
    spare_inputs([*(wanted.out / name for name in own), *wanted.results], reads)
    places = [(wanted.out, ".html")] if settings.report else []
    if wanted.json_path is not None and wanted.json_path.is_dir():
        places.append((wanted.json_path, ".json"))
    names = Names(places, [*reads, *wanted.results])
    compared: list[FlightLaps] = []
    with contextlib.ExitStack() as stack:
        add_debrief = stack.enter_context(debriefs_at(wanted.json_path, single=single)) if wanted.json_path else None
        add_laps = stack.enter_context(laps_at(wanted.csv_path)) if wanted.csv_path else None
        index = Index(wanted.out, settings.standard.title) if settings.report and not single else None
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
                if index is not None:
                    index.add(graded.debrief, f"{name}.html" if graded.flown or report[0] else "")
            if done is not None:
                done.keep(flight, settings, outcome, reports)
            if outcome.error and index is not None:
                index.add_wrong(Path(flight.path).name, outcome.error)
            compared += [graded.lines for graded in outcome.graded if graded.lines is not None]
            yield event
        if settings.compare:
            yield from map(CompareWritten, write_comparisons(wanted.out, compared, names))
        if index is not None:
            yield IndexWritten(index.write())


def _write(
    flight: Flight, outcome: Outcome, names: Sequence[str], wanted: Wanted
) -> tuple[FlightDone, list[tuple[str, str]]]:
    """Write what one flight gave by itself; the event, and name and SHA-256 of the report at each hold ("" without)."""
    reports, figures, recorded = [], [], []
    maps = [
        write_whole(wanted.map_paths[kind], text) for graded in outcome.graded for kind, text in graded.maps.items()
    ]
    for graded, name in zip(outcome.graded, names):
        reports.append(("", "") if graded.html is None else write_report(wanted.out, f"{name}.html", graded.html))
        if wanted.figure_path is not None and graded.figure is not None:
            figures.append(write_whole(wanted.figure_path, graded.figure))
        if wanted.hold_path is not None and graded.hold_toml:
            write_whole(wanted.hold_path, graded.hold_toml)
        if wanted.session is not None and graded.flown:
            from trackgrade.logbook import record_debrief  # the database is loaded only where one is written

            report = wanted.out / reports[-1][0] if reports[-1][0] else None
            recorded.append(record_debrief(graded.debrief, report=report, **wanted.session))  # type: ignore[arg-type]
    written = tuple(wanted.out / name for name, _ in reports if name)
    return FlightDone(flight, outcome, written, tuple(figures), tuple(maps), tuple(recorded)), reports


def _standard(name: str | None, timing_band_s: float | None) -> Standard:
    standard = load_standard(name or DEFAULT)
    if timing_band_s is None:
        return standard
    try:
        return standard.with_timing_band(timing_band_s)
    except ValueError as error:
        raise UsageError(f"--timing-band: {error}") from error


def _set_in(folder: Path) -> tuple[tuple[HoldFile, ...], tuple[str, ...]]:
    """The holds of a set, and a line on each file that is none."""
    plans, wrong = read_set(folder)
    return tuple(HoldFile(name, plan, str(folder / f"{name}{ENDING}")) for name, plan in plans), tuple(wrong)
