"""What one running page has and knows: its data folder, its workers, and how far each dropped track is."""

from __future__ import annotations

import contextlib
import re
import threading
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO

from trackgrade.batch.alone import cores
from trackgrade.errors import HoldFileError, UsageError
from trackgrade.hold.holdfile import read_hold_file
from trackgrade.hold.holdset import names_in, path_of
from trackgrade.hold.plan import HoldPlan
from trackgrade.page.desk import ID, Desk, StoredFlight, StoredReport
from trackgrade.page.workshop import Piece, Workshop

#: Loaded once by the process that the workers are copies of.
PRELOAD = ("trackgrade.page.looking", "trackgrade.page.grading", "trackgrade.report.page")
#: Reports listed on the first page.
LISTED = 60
#: The hold that the program chooses.
CHOOSE = ""


@dataclass(frozen=True, eq=False)
class Row:
    """How far one dropped track is. ``version`` changes with anything that the page shows of it."""

    flight: StoredFlight
    state: str
    busy: bool
    seen: dict[str, Any] | None
    reports: tuple[StoredReport, ...]

    @property
    def version(self) -> str:
        return f"{self.state}:{len(self.reports)}:{self.seen is not None}"


class House:
    """One running page."""

    def __init__(self, desk: Desk, holds: Path, logbook: str, at_a_time: int | None = None) -> None:
        self.desk, self.holds, self.logbook = desk, holds, logbook
        with contextlib.suppress(OSError):  # a school's shared folder may be one to read only
            holds.mkdir(parents=True, exist_ok=True)
        self.shop = Workshop(at_a_time or cores(), PRELOAD)
        self.shop.order(_nothing, urgent=True)  # the fork server loads its modules now, not at the first click
        self._looks: dict[str, Piece] = {}
        self._grades: dict[str, Piece] = {}
        self._lock = threading.Lock()

    def close(self) -> None:
        self.shop.close()

    # -- tracks --

    def drop(self, stream: BinaryIO, name: str | None) -> StoredFlight:
        """Take a track in, and have it looked at. Raises TrackFileError, OutputError."""
        flight = self.desk.receive(stream, name)
        self.look(flight)
        return flight

    def look(self, flight: StoredFlight) -> None:
        """Have a track looked at (again)."""
        from trackgrade.page.looking import look  # numpy and scipy come with it; by then they are loaded

        folder = self.desk.flight_folder(flight.id)
        (folder / "seen.json").unlink(missing_ok=True)
        with self._lock:
            self._looks[flight.id] = self.shop.order(look, folder, flight.name, self.holds, urgent=True)

    def known(self, ids: Iterable[str]) -> list[StoredFlight]:
        """The tracks of these ids that are (still) here, in order, each once."""
        return [
            flight
            for id in dict.fromkeys(ids)
            if ID.fullmatch(id) and (flight := self.desk.kept_flight(id)) is not None
        ]

    def rows(self, flights: Sequence[StoredFlight]) -> list[Row]:
        """How far tracks are; one that an earlier run left unseen is looked at now."""
        reports = self.desk.reports()
        return [self._row(flight, tuple(each for each in reports if each.flight == flight.id)) for flight in flights]

    def _row(self, flight: StoredFlight, reports: tuple[StoredReport, ...]) -> Row:
        look, grade = self._looks.get(flight.id), self._grades.get(flight.id)
        seen = self.desk.seen(flight.id)
        if seen is None and look is None:
            self.look(flight)
            look = self._looks[flight.id]
        if grade is not None and grade.busy:
            state = "being graded" if grade.state == "running" else "waiting to be graded"
        elif look is not None and look.busy:
            state = "being looked at" if look.state == "running" else "waiting"
        elif grade is not None:
            state = {"done": "graded", "failed": "not graded", "stopped": "stopped"}[grade.state]
        elif seen is None or seen["problem"]:
            state = "not readable"
        else:
            state = "graded" if reports else "ready"
        busy = any(piece is not None and piece.busy for piece in (look, grade))
        return Row(flight, state, busy, seen, reports)

    def messages(self, flights: Sequence[StoredFlight]) -> list[str]:
        """What went wrong with these tracks, a line each, each line once."""
        lines = []
        for flight in flights:
            look, grade = self._looks.get(flight.id), self._grades.get(flight.id)
            problem = (self.desk.seen(flight.id) or {}).get("problem", "")
            of_work = [piece.problem for piece in (look, grade) if piece is not None]
            said = [problem] if problem else of_work  # grading a track that cannot be read says the same once more
            if grade is not None and grade.result is not None:
                said += grade.result[1]
            lines += [line if flight.name in line else f"{flight.name}: {line}" for line in said if line]
        return [without_commands(line) for line in dict.fromkeys(lines)]

    # -- holds to choose from --

    def options(self, flights: Sequence[StoredFlight], chosen: str = CHOOSE) -> dict[str, list[tuple[str, str]]]:
        """The holds to choose from, value and label, by group: the one ``chosen`` elsewhere, those flown in the tracks,
        the hold set."""
        groups: dict[str, list[tuple[str, str]]] = {"This hold": [], "Flown in these tracks": [], "Your holds": []}
        for flight in flights:
            of = f" ({flight.name})" if len(flights) > 1 else ""
            for each in (self.desk.seen(flight.id) or {}).get("proposals", ()):
                laps = f"{each['laps']} lap{'' if each['laps'] == 1 else 's'}"
                if not each["value"].startswith("set:"):
                    groups["Flown in these tracks"].append((each["value"], f"{each['label']}, {laps}{of}"))
        known = dict(groups["Flown in these tracks"])
        if chosen != CHOOSE and not chosen.startswith("set:") and chosen not in known:
            with contextlib.suppress(UsageError):  # of an old bookmark: it is gone
                groups["This hold"].append((chosen, self.plan(chosen).name))
        groups["Your holds"] += [(f"set:{name}", name) for name in names_in(self.holds)]
        return {title: options for title, options in groups.items() if options}

    def hold_file(self, choice: str) -> str:
        """The hold file of a choice, or "" for letting the program choose. Raises UsageError: no such hold."""
        kind, _, rest = choice.partition(":")
        if choice == CHOOSE:
            return ""
        if kind == "set":
            if rest not in names_in(self.holds):
                raise UsageError("that hold is not in the set any more: choose another one")
            return str(path_of(rest, self.holds))
        if kind == "typed":
            return str(self.desk.typed_file(rest))
        if kind == "report":
            return str(self.desk.report_file(rest, "hold.toml"))
        flight, _, key = rest.partition(":")
        path = self.desk.flight_folder(flight) / f"found-{key}.toml"
        if kind != "found" or not key.isalnum() or not path.is_file():
            raise UsageError("that hold is no longer here: choose another one")
        return str(path)

    def plan(self, choice: str) -> HoldPlan:
        """The hold of a choice. Raises UsageError, HoldFileError."""
        path = self.hold_file(choice)
        if not path:
            raise UsageError("which hold? Choose one")
        try:
            return read_hold_file(path)
        except HoldFileError as error:
            raise UsageError(str(error)) from error

    # -- grading --

    def grade(self, flights: Sequence[StoredFlight], choice: str, standard: str, session: dict[str, str]) -> None:
        """Have tracks graded. Raises UsageError: no track, no such hold or standard, a text that no logbook takes."""
        from trackgrade.logbook import check_session
        from trackgrade.page.grading import Asked, grade
        from trackgrade.score.standards import list_standards

        if not flights:
            raise UsageError("which flight? Drop a track first")
        if standard and standard not in list_standards():
            raise UsageError("there is no such standard: choose one of the list")
        asked = Asked(self.hold_file(choice), str(self.holds), standard, self.logbook)
        if session.get("pilot"):
            check_session(**session)
            asked = replace(asked, session=session)
        elif session.get("instructor") or session.get("note"):
            raise UsageError("who flew? An instructor and a note go to the logbook under the name of a pilot")
        for flight in flights:
            with self._lock:
                if (before := self._grades.get(flight.id)) is None or not before.busy:
                    self._grades[flight.id] = self.shop.order(grade, self.desk.folder, flight, asked)

    def stop(self, flights: Sequence[StoredFlight]) -> None:
        """End the grading of these tracks; what is finished stays."""
        for flight in flights:
            if (piece := self._grades.get(flight.id)) is not None:
                self.shop.stop(piece)

    def forget(self, id: str) -> None:
        """Delete a track, and what is being done with it."""
        for pieces in (self._looks, self._grades):
            if (piece := pieces.pop(id, None)) is not None:
                self.shop.stop(piece)
        self.desk.forget_flight(id)


#: What a sentence for who types commands has in it.
_OF_COMMANDS = ("trackgrade ", "--", "columns file", "hold file")


def without_commands(line: str) -> str:
    """A message without the sentences that name a command: whoever reads it here types none."""
    sentences = re.split(r"(?<=[.;:!?]) ", line)
    kept = [each for each in sentences if not any(word in each for word in _OF_COMMANDS)]
    return " ".join(kept or sentences).rstrip(" ;:")


def _nothing() -> None:
    """For a first piece of work."""
