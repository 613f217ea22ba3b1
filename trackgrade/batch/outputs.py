"""What a batch writes: reports, debriefs and laps, every file whole or not there."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from trackgrade.errors import OutputError
from trackgrade.files import safe_name, sha256_hex, write_whole


def report_name(flight_name: str, hold_name: str, holds: int, ending: str) -> str:
    """File name of one flight at one hold; the hold is named only where there are several."""
    return f"{flight_name}{f'-{safe_name(hold_name)}' if holds > 1 else ''}{ending}"


def write_report(folder: Path, name: str, html: str) -> tuple[str, str]:
    """Write one report; returns its name and SHA-256. Raises OutputError."""
    write_whole(folder / name, html)
    return name, sha256_hex(html.encode())


@contextlib.contextmanager
def growing_file(path: Path) -> Iterator[TextIO]:
    """A text file written piece by piece beside its place, and put there when the block ends well.

    For results of many flights, which are not to be held in memory. Raises OutputError.
    """
    beside = path.with_name(f".trackgrade-{secrets.token_hex(8)}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with beside.open("w", encoding="utf-8", newline="") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror}; choose another place") from error
    finally:
        with contextlib.suppress(OSError):
            beside.unlink()


class Debriefs:
    """Where ``--json`` goes: one debrief as it is, many as an array, as lines (.jsonl), or a file each (a folder)."""

    def __init__(self, path: Path, *, single: bool, as_folder: bool) -> None:
        self._path = path
        self._single = single
        self._as_folder = as_folder
        self._lines = path.suffix.lower() in (".jsonl", ".ndjson")
        self._stack = contextlib.ExitStack()
        self._file: TextIO | None = None
        self._count = 0

    def __enter__(self) -> Debriefs:
        if not self._as_folder:
            self._file = self._stack.enter_context(growing_file(self._path))
            if not self._single and not self._lines:
                self._file.write("[\n")
        return self

    def add(self, name: str, debrief_json: str) -> None:
        """Add one debrief; ``name`` is its file name where each has a file."""
        if self._file is None:
            write_whole(self._path / name, debrief_json + "\n")
        else:
            between = ",\n" if self._count and not self._lines else ""
            self._file.write(between + debrief_json + ("\n" if self._lines else ""))
        self._count += 1

    def __exit__(self, *error: object) -> bool | None:
        if self._file is not None and error[0] is None:
            self._file.write("" if self._lines else "\n" if self._single else "\n]\n")
        return self._stack.__exit__(*error)  # type: ignore[arg-type]


class Laps:
    """Where ``--csv`` goes: the laps of every flight under one header."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._stack = contextlib.ExitStack()
        self._file: TextIO | None = None
        self._headed = False

    def __enter__(self) -> Laps:
        self._file = self._stack.enter_context(growing_file(self._path))
        return self

    def add(self, laps_csv: str) -> None:
        """Add the CSV text of one flight; its header is kept once."""
        assert self._file is not None, "used outside its with block"
        header, _, rows = laps_csv.partition("\n")
        self._file.write(rows if self._headed else f"{header}\n{rows}")
        self._headed = True

    def __exit__(self, *error: object) -> bool | None:
        return self._stack.__exit__(*error)  # type: ignore[arg-type]
