"""What a flight's work is made of: plain frozen data that goes to a worker and comes back."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trackgrade.exports.plain import compact
from trackgrade.files import safe_name
from trackgrade.hold.plan import HoldPlan
from trackgrade.score.standard import Standard

if TYPE_CHECKING:
    from trackgrade.report.compare import FlightLaps


@dataclass(frozen=True, eq=False)
class Flight:
    """A track to grade. ``data`` is None where the worker can read ``path`` itself."""

    path: str
    report_name: str
    data: bytes | None = None


@dataclass(frozen=True, eq=False)
class Settings:
    """What is the same for every flight of a batch.

    ``holds``: what each is graded at, by name; without any, each flight at a hold of the ``hold_set`` whose laps it
    flew, else at the one found in it. ``report``: render the HTML too. ``columns``: path of a columns map, or "".
    ``version``: of the program that asks. ``drawn``: what to draw of a flight too, by the endings of its files: the
    figure (png, svg, pdf), map files (gpx, kml, geojson). ``compare``: bring the laps' lines home too, to lay them over
    each other. ``sheet``: pilot, instructor and note for the report's first sheet. ``table``: the laps as CSV text too.
    ``left_out``: a line on each folder that could not be looked into, and on each file of the set's folder that is no
    hold. ``reads``: files read besides the tracks; nothing is written over one of them.
    """

    holds: tuple[tuple[str, HoldPlan], ...]
    standard: Standard
    version: str
    report: bool = True
    columns: str = ""
    columns_data: bytes | None = field(default=None, repr=False)
    drawn: tuple[str, ...] = ()
    hold_set: tuple[tuple[str, HoldPlan], ...] = ()
    left_out: tuple[str, ...] = ()
    compare: bool = False
    sheet: Mapping[str, str] = field(default_factory=dict)
    table: bool = True
    reads: tuple[str, ...] = ()

    @cached_property
    def fingerprint(self) -> str:
        """SHA-256 over everything that can change a result. Equal settings, equal results, bit for bit.

        What is drawn is drawn of a single flight only, which no record of earlier runs knows.
        """
        parts = (self.holds, self.hold_set, self.standard, self.version, self.report, self.columns_data, self.sheet)
        return hashlib.sha256(repr(parts).encode()).hexdigest()


@dataclass(frozen=True)
class Graded:
    """One flight at one hold: the debrief (schema trackgrade.debrief/1), its laps as CSV text, its report.

    ``drawn``: the content of each kind of file asked for. ``hold_toml``: the hold file, where nobody named the hold.
    ``lines``: its laps as drawn, where they are to be compared.
    """

    hold: str
    flown: bool
    debrief: dict[str, Any]
    laps_csv: str
    html: str | None = None
    drawn: Mapping[str, str | bytes] = field(default_factory=dict)
    hold_toml: str = ""
    lines: FlightLaps | None = None

    @cached_property
    def debrief_json(self) -> str:
        """The debrief as JSON text on one line: for the record and the file of many, made once."""
        return compact(self.debrief)


@dataclass(frozen=True)
class Outcome:
    """What became of one flight: graded at each hold, or one line that says why not.

    ``fault``: the line tells of a fault of the program, not of the file. ``earlier``: from the record of an earlier
    run; its reports are on disk.
    """

    path: str
    graded: tuple[Graded, ...] = ()
    error: str = ""
    fault: bool = False
    earlier: bool = field(default=False, compare=False)

    @property
    def flown(self) -> bool:
        return any(each.flown for each in self.graded)


def plan_flights(paths: list[Path]) -> list[Flight]:
    """One `Flight` a path, each with a report name of its own that any file system takes.

    Two tracks of one name get their folder's name in front, then a number. The same paths always get the same names.
    """
    stems = [safe_name(_stem(path)) for path in paths]
    counts = Counter(stem.lower() for stem in stems)
    taken: set[str] = set()
    flights = []
    for path, stem in zip(paths, stems):
        wanted = f"{safe_name(path.resolve().parent.name)}-{stem}" if counts[stem.lower()] > 1 else stem
        name, number = wanted, 1
        while name.lower() in taken:  # a file system may not tell upper from lower case
            number += 1
            name = f"{wanted}-{number}"
        taken.add(name.lower())
        flights.append(Flight(str(path), name))
    return flights


def _stem(path: Path) -> str:
    name = path.name
    return Path(name.removesuffix(".gz")).stem if name.lower().endswith(".gz") else path.stem
