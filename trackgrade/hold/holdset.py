"""The hold set: hold files by name in a folder, one's own or a school's; it travels as the folder."""

from __future__ import annotations

import os
from pathlib import Path

from trackgrade.errors import HoldFileError, UsageError
from trackgrade.files import data_folder, plain_text, safe_name, write_whole
from trackgrade.hold.holdfile import parse_hold, read_hold_file, write_hold_file
from trackgrade.hold.plan import HoldPlan

#: Names another folder for every command; ``--holds DIR`` does so for one.
VARIABLE = "TRACKGRADE_HOLDS"
ENDING = ".toml"


def folder_of(given: str | None = None, *, new: bool = False) -> Path:
    """The folder of the hold set: the one given, else that of the environment, else the one in the user's data folder.

    Raises UsageError: a folder that was given or set in the environment does not exist; one that is to be made
    (``new``) may not, unless something else stands there.
    """
    named = given or os.environ.get(VARIABLE)
    if not named:
        return data_folder() / "holds"
    folder = Path(named)
    if not folder.is_dir() and not (new and not folder.exists()):
        by = "--holds" if given else f"${VARIABLE}"
        raise UsageError(
            f"{by} {plain_text(named)}: there is no such folder; make it, or name the folder of hold files"
        )
    return folder


def names_in(folder: Path) -> list[str]:
    """The names of the holds in a set, in order; none where the folder is not there yet."""
    return sorted((path.stem for path in folder.glob(f"*{ENDING}") if not path.name.startswith(".")), key=str.lower)


def files_in(folder: Path) -> list[Path]:
    """The files of a set, those that are no hold too."""
    return [folder / f"{name}{ENDING}" for name in names_in(folder)]


def path_of(name: str, folder: Path) -> Path:
    """The file of a hold in the set; upper and lower case are one. Raises UsageError, with names that come near."""
    names = names_in(folder)
    wanted = name.removesuffix(ENDING).lower()
    for each in names:
        if each.lower() == wanted:
            return folder / f"{each}{ENDING}"
    import difflib  # to help with a name that is not there

    near = difflib.get_close_matches(wanted, [each.lower() for each in names], n=3, cutoff=0.5)
    if near:
        instead = "did you mean " + " or ".join(near) + "?"
    elif names:
        instead = f"it has {', '.join(names[:8])}{', ...' if len(names) > 8 else ''}"
    else:
        instead = "the set is empty: trackgrade holds add HOLD.toml"
    raise UsageError(f"{plain_text(name)}: neither a file nor a hold of the set in {folder}; {instead}")


def file_or_name(argument: str, holds: str | None = None) -> str:
    """A hold as a command takes it: the path as it is where something stands there or it looks like a path, else the
    file of that name in the set. Raises UsageError."""
    looks_like_a_path = os.sep in argument or argument.lower().endswith(ENDING) or any(c in argument for c in "/*?[")
    if Path(argument).exists() or (looks_like_a_path and not _in_set(argument, holds)):
        return argument
    return str(path_of(argument, folder_of(holds)))


def _in_set(argument: str, holds: str | None) -> bool:
    names = {each.lower() for each in names_in(folder_of(holds))}
    return os.sep not in argument and argument.removesuffix(ENDING).lower() in names


def read_set(folder: Path) -> tuple[list[tuple[str, HoldPlan]], list[str]]:
    """Every hold of a set by name, and a sentence on each file that is none; one wrong file harms no other."""
    plans, wrong = [], []
    for name in names_in(folder):
        try:
            plans.append((name, read_hold_file(folder / f"{name}{ENDING}")))
        except HoldFileError as error:
            wrong.append(f"left out of the hold set until it is corrected: {error}")
    return plans, wrong


def name_of(text: str) -> str:
    """The name in the set of a hold that is called so."""
    return safe_name(text, fallback="hold").replace(" ", "-")


def add(plan: HoldPlan, folder: Path, name: str | None = None, *, text: str = "", replace: bool = False) -> Path:
    """Put a hold into the set, whole or not at all; ``text`` keeps the file as it was written, comments too.

    Raises UsageError where the name is taken, unless it is to be replaced; OutputError.
    """
    wanted = name_of(name or plan.name)
    target = folder / f"{wanted}{ENDING}"
    taken = next((each for each in names_in(folder) if each.lower() == wanted.lower()), None)
    if taken is not None:
        if not replace:
            raise UsageError(
                f"{taken} is in the set already ({folder}); give another --name, or --replace to write over it"
            )
        target = folder / f"{taken}{ENDING}"
    written = text or write_hold_file(plan)
    parse_hold(written, target.name)  # what goes into the set can be read from it
    folder.mkdir(parents=True, exist_ok=True)
    return write_whole(target, written)


def remove(name: str, folder: Path) -> Path:
    """Take a hold out of the set; returns the file that was deleted. Raises UsageError."""
    path = path_of(name, folder)
    path.unlink()
    return path
