"""What a batch writes: reports, debriefs and laps, every file whole or not there."""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from trackgrade.exports import laps_parquet
from trackgrade.exports.plain import readable
from trackgrade.files import safe_name, whole_file, write_whole

if TYPE_CHECKING:
    from trackgrade.batch.work import Graded
    from trackgrade.report.compare import FlightLaps

#: The page that leads to the reports of several flights, or of one flight at several holds.
INDEX = "index.html"
#: The page of laps over each other; at further holds with a number.
COMPARISON = "comparison.html"


class Names:
    """Names, without ending, of what each flight gives at each hold: no two alike, none over a file to be spared.

    A name that is taken gets a number. The same flights in the same order get the same names.
    """

    def __init__(self, places: Iterable[tuple[Path, str]], spare: Iterable[str | os.PathLike[str]]) -> None:
        """``places``: the folders that files of these names go to, each with their ending there."""
        self._places = tuple(places)
        self._spare = {os.path.realpath(path).lower() for path in spare}
        self._taken = {Path(INDEX).stem, Path(COMPARISON).stem}

    def take(self, flight_name: str, hold_name: str, *, several: bool) -> str:
        """The name of a flight's results at a hold; the hold is in it only where there are ``several``."""
        wanted = f"{flight_name}-{safe_name(hold_name)}" if several else flight_name
        name, number = wanted, 1
        while name.lower() in self._taken or any(self._over_spared(name)):  # a file system may not tell case apart
            number += 1
            name = f"{wanted}-{number}"
        self._taken.add(name.lower())
        return name

    def _over_spared(self, name: str) -> Iterator[bool]:
        for folder, ending in self._places:
            yield os.path.realpath(folder / (name + ending)).lower() in self._spare


def write_comparisons(folder: Path, flights: Iterable[FlightLaps], names: Names) -> Iterator[Path]:
    """Write a page for each hold that was flown in these flights, their laps over each other. Raises OutputError."""
    from trackgrade.report.compare import render

    by_hold: dict[tuple[object, ...], list[FlightLaps]] = {}
    for each in flights:
        by_hold.setdefault(each.hold, []).append(each)
    name = COMPARISON
    for together in by_hold.values():
        yield write_whole(folder / name, render(together))
        name = f"{names.take(Path(COMPARISON).stem, '', several=False)}.html"


@contextlib.contextmanager
def debriefs_at(path: Path, *, single: bool) -> Iterator[Callable[[str, Graded], object]]:
    """Where ``--json`` goes: what adds a debrief, by its file name where each has a file.

    One debrief is written as it is. Many are an array, or one a line in a .jsonl file, or a file each in a folder.
    """
    if single or path.is_dir():
        each_a_file = path.is_dir()
        yield lambda name, graded: write_whole(path / name if each_a_file else path, readable(graded.debrief))
        return
    a_line_each, count = path.suffix.lower() == ".jsonl", 0
    with whole_file(path, text=True) as file:

        def add(name: str, graded: Graded) -> None:
            nonlocal count
            text = graded.debrief_json
            file.write(text + "\n" if a_line_each else (",\n" if count else "[\n") + text)
            count += 1

        yield add
        if not a_line_each:
            file.write("\n]\n" if count else "[]\n")


@contextlib.contextmanager
def laps_at(path: Path) -> Iterator[Callable[[str], None]]:
    """Where ``--csv`` goes: what adds the CSV text of one flight, all under one header.

    Parquet where the name ends in .parquet; raises UsageError where nothing here can write it.
    """
    parquet = path.suffix.lower() == ".parquet"
    if parquet:
        laps_parquet.needs_engine(path)
    table, headed = io.StringIO(), False
    with contextlib.nullcontext(table) if parquet else whole_file(path, text=True) as file:

        def add(laps_csv: str) -> None:
            nonlocal headed
            header, _, rows = laps_csv.partition("\n")
            file.write(rows if headed else f"{header}\n{rows}")
            headed = True

        yield add
    if parquet:
        write_whole(path, laps_parquet.from_csv(table.getvalue()))
