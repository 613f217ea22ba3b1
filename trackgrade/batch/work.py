"""What a flight's work is made of: plain frozen data that goes to a worker and comes back."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from trackgrade.exports.plain import compact
from trackgrade.files import safe_name
from trackgrade.hold.plan import HoldPlan
from trackgrade.score.standard import Standard

if TYPE_CHECKING:
    from trackgrade.report.compare import FlightLaps


class Flight(NamedTuple):
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


@dataclass(frozen=True, eq=False)
class Graded:
    """One flight at one hold: its debrief (schema trackgrade.debrief/1), its laps as CSV text, its report.

    ``made``: debrief and laps as they were made, or both `packed`: so they go to another process and into the record of
    a batch, at a third of what a dictionary of thousands of objects costs. Each form is made once, where it is wanted.
    ``drawn``: the content of each kind of file asked for. ``hold_toml``: the hold file, where nobody named the hold.
    ``lines``: its laps as drawn, where they are to be compared.
    """

    hold: str
    flown: bool
    made: tuple[dict[str, Any], str] | bytes = field(repr=False)
    html: str | None = None
    drawn: Mapping[str, str | bytes] = field(default_factory=dict)
    hold_toml: str = ""
    lines: FlightLaps | None = None

    @cached_property
    def debrief(self) -> dict[str, Any]:
        """The debrief as JSON reads it."""
        whole: dict[str, Any] = json.loads(self.debrief_json) if isinstance(self.made, bytes) else self.made[0]
        return whole

    @cached_property
    def headline(self) -> dict[str, Any]:
        """Of the debrief, under its keys, what a row on the flight is made of; of items only the results."""
        debrief, few = self.debrief, ("track", "hold", "entry", "findings", "verdict", "seen_instead")
        return {
            **{key: debrief[key] for key in few},
            "laps": [{"items": _results(lap["items"])} for lap in debrief["laps"]],
            "items": _results(item for item in debrief["items"] if item["lap"] is None),
        }

    @property
    def debrief_json(self) -> str:
        """The debrief as JSON text on one line."""
        return self._texts[0]

    @property
    def laps_csv(self) -> str:
        """The laps as CSV text, or "" where nobody wants a table (`Settings.table`)."""
        return self._texts[1] if isinstance(self.made, bytes) else self.made[1]

    @cached_property
    def packed(self) -> bytes:
        """Debrief and laps, to be unpacked elsewhere."""
        return self.made if isinstance(self.made, bytes) else zlib.compress("\n".join(self._texts).encode(), level=1)

    @cached_property
    def _texts(self) -> tuple[str, str]:
        if isinstance(self.made, bytes):
            debrief_json, _, laps_csv = zlib.decompress(self.made).decode().partition("\n")
            return debrief_json, laps_csv
        return compact(self.made[0]), self.made[1]

    def __getstate__(self) -> dict[str, Any]:
        """How it goes to another process; its row can be told there without unpacking."""
        as_it_is = {each.name: getattr(self, each.name) for each in fields(self)}
        return as_it_is | {"made": self.packed, "headline": self.headline}


def _results(items: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [{"result": item["result"]} for item in items]


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
