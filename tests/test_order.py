"""The path of data is one way: a room imports only from rooms before it. The imports are read, not run."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import trackgrade

PACKAGE = Path(trackgrade.__file__).parent

#: Rooms in the order data runs through them. Rooms on one line do not know each other unless allowed below.
ORDER = [
    ["errors", "caution"],
    ["files"],
    ["earth"],
    ["track"],
    ["hold", "motion"],
    ["segment"],
    ["score"],
    ["drawing"],
    ["analysis", "briefing", "simulator"],
    ["report", "exports", "choosing"],
    ["verbs"],
    ["logbook"],
    ["batch"],
    ["page"],
    ["commands"],
]
RANK = {room: rank for rank, line in enumerate(ORDER) for room in line}

#: The simulator is the truth the analysis is measured against: it shares the definition of a hold only.
SIMULATOR_MAY_IMPORT = ("trackgrade.errors", "trackgrade.files", "trackgrade.earth", "trackgrade.hold")

#: A library that only one place may import, so that it can be replaced, or loaded only when needed.
ONLY_IMPORTED_BY = {
    "pyproj": ("earth/geodesy.py", "simulator/recorder.py"),  # the simulator has a geometry of its own
    "pygeomag": ("earth/variation.py",),
    "gpxpy": (),  # our reader of GPX is checked against it, so it must not use it
    "lxml": (),
    "pandas": ("track/", "exports/laps_parquet.py", "verbs.py"),
    "matplotlib": ("report/",),
    "jinja2": ("drawing/",),
    "sqlalchemy": ("logbook/",),
    "distributed": ("batch/",),
    "flask": ("page/",),
    "werkzeug": ("page/",),
    "waitress": ("page/serving.py",),
}


def modules() -> dict[str, Path]:
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = ["trackgrade", *path.relative_to(PACKAGE).with_suffix("").parts]
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


MODULES = modules()


def imports_of(name: str, *, whole: bool = True) -> Iterator[tuple[str, int]]:
    """Every module imported anywhere in a module (or only at its head), with the line."""
    tree = ast.parse(MODULES[name].read_text(encoding="utf-8"))
    for node in ast.walk(tree) if whole else tree.body:
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}:{node.lineno}: write imports in full, from trackgrade..."
            base = node.module or ""
            for alias in node.names:
                inner = f"{base}.{alias.name}"
                yield (inner if inner in MODULES else base), node.lineno


def room_of(name: str) -> str:
    return name.split(".")[1] if "." in name else ""


@pytest.mark.parametrize("name", [name for name in MODULES if room_of(name) not in ("", "__main__")])
def test_a_room_imports_only_from_rooms_before_it(name: str) -> None:
    own = room_of(name)
    assert own in RANK, f"the room '{own}' has no place in the order: add it to ORDER and to DEVELOPERS.md"
    wrong = [
        f"{MODULES[name].relative_to(PACKAGE)}:{line} imports {other}"
        for other, line in imports_of(name)
        if other.startswith("trackgrade.") and room_of(other) != own and RANK[room_of(other)] >= RANK[own]
    ]
    assert not wrong, "\n".join(wrong)


def test_the_simulator_shares_only_the_definition_of_a_hold() -> None:
    wrong = [
        f"{name}:{line} imports {other}"
        for name in MODULES
        if room_of(name) == "simulator"
        for other, line in imports_of(name)
        if other.startswith("trackgrade.")
        and room_of(other) != "simulator"
        and not other.startswith(SIMULATOR_MAY_IMPORT)
    ]
    assert not wrong, "\n".join(wrong)


def test_no_module_imports_itself_through_others() -> None:
    graph = {
        name: {other for other, _ in imports_of(name) if other in MODULES and other != name}
        - {"trackgrade", name.rpartition(".")[0]}
        for name in MODULES
    }
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        pytest.fail(f"modules import each other in a circle: {' -> '.join(error.args[1])}")


@pytest.mark.parametrize("library", ONLY_IMPORTED_BY)
def test_a_library_is_imported_only_where_it_belongs(library: str) -> None:
    wrong = [
        f"{path.relative_to(PACKAGE)}:{line}"
        for name, path in MODULES.items()
        if not path.relative_to(PACKAGE).as_posix().startswith(ONLY_IMPORTED_BY[library])
        for other, line in imports_of(name)
        if other.split(".")[0] == library
    ]
    assert not wrong, f"{library} is imported by {wrong}"


def test_the_readers_of_imports_see_an_import_in_a_function(tmp_path: Path) -> None:
    """The check itself: an import hidden in a function is found, with its line."""
    hidden = tmp_path / "hidden.py"
    hidden.write_text("def f():\n    from trackgrade.commands import console\n", encoding="utf-8")
    MODULES["trackgrade.earth.hidden"] = hidden
    try:
        assert list(imports_of("trackgrade.earth.hidden")) == [("trackgrade.commands.console", 2)]
        assert list(imports_of("trackgrade.earth.hidden", whole=False)) == []
    finally:
        del MODULES["trackgrade.earth.hidden"]


def test_north_is_360_wherever_a_direction_is_read() -> None:
    """Three figures are written by `hold.courses` alone: a bare format would write 000."""
    written = [
        path for path in (*PACKAGE.rglob("*.py"), *PACKAGE.rglob("*.html")) if "03.0f" in path.read_text("utf-8")
    ]
    assert not written
