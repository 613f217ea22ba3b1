"""Many commands in one folder at once, and one of them killed: nothing half written, nothing lost, no traceback."""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import sqlite3
import sys
import time
from pathlib import Path

from tests import plain_flight
from tests.fuzz.commands import ENDS, a_folder, flight_csv, ran, whole
from tests.fuzz.graded import GRADED

#: All of them write to the same files.
GRADE = "grade a.csv b.csv --hold h.toml --out out --json all.json --csv laps.csv --jobs 1"
LINES = (
    GRADE,
    f"{GRADE} --resume",
    f"{GRADE} --pilot A",
    f"{GRADE} --pilot B --logbook own.sqlite",
    "grade a.csv --hold h.toml --out out --json one.json --pilot A --kml m.kml",
    "grade a.csv --holds set --out out --no-html --write-hold found.toml",
    "brief h.toml --tas 100 --html out/a.html",
    "holds add h.toml --holds set --replace",
    "holds add h.toml k.toml --holds set --replace",
    "holds list --holds set",
    "progress --out out --json p.json",
    "logbook export x.jsonl",
    "logbook pilots",
    "find a.csv --json f.json --html out/f.html --write found",
    "columns a.csv --write map.toml",
)
LONGEST_S = 90.0


def _command(line: str, number: int, environment: dict[str, str]) -> None:
    """One command in a process of its own, its words in a file."""
    os.environ |= environment  # the process that it is a copy of began before
    from trackgrade.commands import main

    out = os.open(f"said-{number}", os.O_WRONLY | os.O_CREAT, 0o600)
    os.dup2(out, 1)
    os.dup2(out, 2)
    sys.stdout, sys.stderr = open(1, "w", closefd=False), open(2, "w", closefd=False)  # noqa: SIM115
    main(line.split())


def many_at_once(path: Path, folder: Path, dice: random.Random) -> str:
    from trackgrade.batch import pool

    ways = pool.context(["trackgrade.batch.flight", "trackgrade.report.page", "trackgrade.logbook.store"])
    lines = [GRADE, *(dice.choice(LINES) for _ in range(dice.choice((2, 3, 5))))]
    killed = dice.randrange(len(lines)) if dice.random() < 0.5 else -1
    with a_folder() as here:
        for name, seed in (("a.csv", 1), ("b.csv", 2)):
            Path(name).write_bytes(flight_csv(seed))
        for name in ("h.toml", "k.toml"):
            Path(name).write_text(plain_flight.HOLD_TOML)
        Path("set").mkdir()
        if dice.random() < 0.3:  # a record that is damaged: all of them find it so
            Path("out").mkdir()
            Path("out/resume.sqlite").write_bytes(dice.choice((b"not a record", b"SQLite format 3\x00" + bytes(500))))
        processes = [
            ways.Process(target=_command, args=(line, number, dict(os.environ))) for number, line in enumerate(lines)
        ]
        for process in processes:
            process.start()
        if killed >= 0:
            time.sleep(dice.uniform(0.0, 0.4))
            processes[killed].kill()
        for process in processes:
            process.join(LONGEST_S)
            if process.is_alive():
                process.kill()
                raise AssertionError(f"{lines}: one of them does not end")
        recorded: set[str] = set()
        for number, (line, process) in enumerate(zip(lines, processes)):
            said = f"{line}: {process.exitcode} {_said(number)[-500:]}, beside {lines}"
            if number == killed and process.exitcode == -signal.SIGKILL:
                continue
            assert process.exitcode in ENDS, said
            assert "Traceback" not in said, said
            if line.startswith("grade") and "--hold " in line:
                assert process.exitcode == 0, said
                recorded |= {track for track in ("a.csv", "b.csv") if track in line and "--pilot" in line}
        _all_whole(here, recorded, lines)
        again = ran(f"{GRADE} --resume".split())  # what was killed leaves nothing in the way
        assert again.exit_code == 0, again.stderr
        with contextlib.closing(sqlite3.connect(sorted(here.glob("out/resume*.sqlite"))[0])) as record:
            assert record.execute("pragma quick_check(1)").fetchone() == ("ok",)
            assert record.execute("select count(distinct key) from graded").fetchone()[0] >= 2
        assert not list(here.rglob("*.part")) or killed >= 0
    return GRADED


def _said(number: int) -> str:
    try:
        return Path(f"said-{number}").read_text(errors="replace")
    except FileNotFoundError:
        return ""


def _all_whole(here: Path, recorded: set[str], lines: list[str]) -> None:
    from trackgrade.hold.holdset import read_set
    from trackgrade.logbook.store import Logbook

    for each in here.rglob("*"):
        if each.is_file() and not each.name.startswith(".trackgrade-"):
            whole(each)
    if Path("all.json").exists():
        assert len(json.loads(Path("all.json").read_text())) == 2, lines
    if Path("laps.csv").exists():
        assert len(Path("laps.csv").read_text().splitlines()) == 3, lines
    assert not read_set(Path("set"))[1], "a hold of the set is half written"
    if recorded:
        assert Path("own.sqlite").exists(), lines
        with Logbook("own.sqlite", create=False) as logbook:
            kept = sum(count for _, count, _ in logbook.pilots())
        assert kept >= len(recorded), (kept, lines)  # a flight is recorded once, under the pilot who came last
