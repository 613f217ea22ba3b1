"""Start-up is instant: what a command does not need is not imported. Each case is its own process."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from trackgrade.commands import COMMANDS

HEAVY = ("numpy", "pandas", "scipy", "matplotlib", "sqlalchemy", "jinja2", "pyproj", "lxml", "gpxpy")
HEAVY += ("flask", "waitress")

RUN = """
import sys
sys.argv = ["trackgrade", *sys.argv[1:]]
from trackgrade.commands import main
try:
    main()
finally:
    print("loaded:", *sorted({name.split(".")[0] for name in sys.modules}))
"""


def run(*arguments: str, cwd: Path) -> tuple[int, set[str], str]:
    """Exit status, top-level modules loaded, and standard error of one run in a new process."""
    done = subprocess.run(
        [sys.executable, "-c", RUN, *arguments],
        capture_output=True,
        text=True,
        cwd=cwd,
        timeout=60,
        check=False,
    )
    *_, loaded = done.stdout.splitlines()
    return done.returncode, set(loaded.split()[1:]), done.stderr


@pytest.mark.parametrize(
    "arguments",
    [("--help",), ("--version",), ("standards",), *[(name, "--help") for name in COMMANDS]],
    ids=" ".join,
)
def test_help_and_standards_load_nothing_heavy(arguments: tuple[str, ...], tmp_path: Path) -> None:
    status, loaded, _ = run(*arguments, cwd=tmp_path)
    assert status == 0
    assert "click" in loaded  # the list is really of this process
    assert not loaded.intersection(HEAVY)


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("no-such-command",),
        ("--no-such-option",),
        ("grade",),
        ("grade", "no-such-file.gpx"),
        ("grade", "no-such-file.gpx", "--hold", "no-such-hold.toml"),
        ("brief",),
        ("brief", "no-such-hold.toml", "--tas", "100"),
        ("find",),
        ("simulate", "no-such-hold.toml"),
        ("standards", "no-such-standard"),
    ],
    ids=" ".join,
)
def test_a_usage_error_loads_nothing_heavy(arguments: tuple[str, ...], tmp_path: Path) -> None:
    status, loaded, stderr = run(*arguments, cwd=tmp_path)
    assert status == 2
    assert "Traceback" not in stderr
    assert not loaded.intersection(HEAVY)


def test_a_gpx_is_graded_without_pandas_and_pictures(flight: Path, hold_file: Path, tmp_path: Path) -> None:
    status, loaded, stderr = run(
        "grade", str(flight), "--hold", str(hold_file), "--no-html", "--json", "debrief.json", cwd=tmp_path
    )
    assert status == 0, stderr
    unused = {"pandas", "matplotlib", "sqlalchemy", "distributed", "pyproj", "jinja2", "markupsafe", "sqlite3"}
    assert not loaded.intersection(unused)
