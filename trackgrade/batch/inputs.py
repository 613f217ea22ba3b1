"""Which files a command line means: names, folders and patterns become a list of tracks."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Sequence
from itertools import takewhile
from pathlib import Path

from trackgrade.errors import UsageError
from trackgrade.track.readers import TRACK_ENDINGS


def find_tracks(arguments: Sequence[str], passed_over: list[str] | None = None) -> list[Path]:
    """The track files meant, each once, in the order given; folders and patterns in sorted order.

    ``passed_over`` gets a line on each folder in them that cannot be looked into.
    Raises UsageError: a name that does not exist, a pattern that matches nothing, a folder without tracks.
    """
    told = [] if passed_over is None else passed_over
    nothing = f"no track ({', '.join(TRACK_ENDINGS)}, or one of them with .gz)"
    return _find(arguments, lambda folder: _tracks_in(folder, told), nothing)


def find_holds(arguments: Sequence[str]) -> list[Path]:
    """The hold files meant: as `find_tracks`, for TOML."""
    return _find(arguments, lambda folder: sorted(folder.glob("*.toml")), "no hold file (.toml)")


def _find(arguments: Sequence[str], inside: Callable[[Path], list[Path]], nothing: str) -> list[Path]:
    found: dict[Path, Path] = {}
    for argument in arguments:
        path = Path(argument)
        if path.is_dir():
            if not os.access(path, os.R_OK | os.X_OK):
                raise UsageError(f"{argument}: no permission to look into this folder")
            paths = inside(path)
            if not paths:
                raise UsageError(f"{argument}: there is {nothing} in this folder")
        elif path.exists():
            paths = [path]
        elif any(sign in argument for sign in "*?["):  # a shell leaves a pattern that is in quotes alone
            try:
                paths = _matching(path)
            except RecursionError:
                raise UsageError(f"{argument}: a pattern of so many folders is not looked for; shorten it") from None
            if not paths:
                raise UsageError(f"{argument}: no file matches this pattern; check the folder and the ending")
        else:
            raise UsageError(f"{argument}: there is no such file; check the name and the folder")
        for each in paths:
            found.setdefault(each.resolve(), each)
    return list(found.values())


def _matching(pattern: Path) -> list[Path]:
    """The files of a pattern, nothing hidden among them; links to folders are not followed, or they might go round."""
    fixed = list(takewhile(lambda part: not any(sign in part for sign in "*?["), pattern.parts))
    folder = Path(*fixed)
    # Two stars mean folders only where they stand alone; at the end they mean what is in the folders.
    rest = [part if part == "**" else re.sub(r"\*+", "*", part) for part in pattern.parts[len(fixed) :]]
    if rest[-1] == "**":
        rest.append("*")
    found = folder.glob(str(Path(*rest)))
    return sorted(each for each in found if not _hidden(each.relative_to(folder)) and each.is_file())


def _hidden(path: Path) -> bool:
    return any(part.startswith(".") for part in path.parts)


def _tracks_in(folder: Path, passed_over: list[str]) -> list[Path]:
    """The tracks under a folder. What goes away meanwhile, or cannot be looked into, is passed over, the latter with a
    line on it; links to folders are not followed."""

    def refused(problem: OSError) -> None:
        if isinstance(problem, PermissionError):
            passed_over.append(f"{problem.filename}: no permission to look into this folder; it was passed over")

    found = []
    for place, folders, names in os.walk(folder, onerror=refused):
        folders[:] = [each for each in folders if not each.startswith(".")]
        found += [
            path
            for name in names
            if not name.startswith(".") and name.lower().removesuffix(".gz").endswith(TRACK_ENDINGS)
            if os.path.isfile(path := os.path.join(place, name))  # noqa: PTH113, PTH118  # a Path raises on an odd disk
        ]
    return sorted(map(Path, found))
