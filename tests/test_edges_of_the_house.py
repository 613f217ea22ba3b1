"""What goes wrong outside harms nothing else: odd names, damaged records, read-only folders, readers that leave."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.logbook_flights import made_debrief
from trackgrade.commands import main
from trackgrade.errors import LogbookError, OutputError
from trackgrade.logbook.store import Logbook

posix = pytest.mark.skipif(os.name == "nt", reason="names and pipes of POSIX")


@pytest.fixture
def several(tmp_path: Path, flight: Path, hold_file: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of two flights and their hold file, and the present folder."""
    (tmp_path / "many").mkdir()
    for name in ("a.gpx", "b.gpx"):
        shutil.copy(flight, tmp_path / "many" / name)
    shutil.copy(hold_file, tmp_path / "h.toml")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@posix
def test_a_name_that_is_no_utf8_harms_no_other(several: Path) -> None:
    shutil.copy("many/a.gpx", os.fsdecode(b"many/c\xff\xfe.gpx"))
    done = CliRunner().invoke(main, ["grade", "many", "--hold", "h.toml", "--out", "out", "--jobs", "1"])
    assert done.exit_code == 0, done.output
    assert "3 flights: 3 graded" in done.output
    assert len(list((several / "out").glob("*.html"))) == 4
    hold = shutil.copy("h.toml", os.fsdecode(b"h\xff.toml"))
    done = CliRunner().invoke(main, ["grade", "many", "--hold", hold, "--out", "out", "--jobs", "1", "--no-html"])
    assert done.exit_code == 0, done.output


@pytest.mark.parametrize("damage", [lambda data: b"no database", lambda data: data[:4096] + bytes(len(data) - 4096)])
def test_beside_a_damaged_record_another_is_begun(several: Path, damage) -> None:  # type: ignore[no-untyped-def]
    line = ["grade", "many", "--hold", "h.toml", "--out", "out", "--jobs", "1", "--resume", "--no-html"]
    assert CliRunner().invoke(main, line).exit_code == 0
    record = several / "out" / "resume.sqlite"
    record.write_bytes(damage(record.read_bytes()))
    done = CliRunner().invoke(main, line)
    assert done.exit_code == 0, done.output
    assert "2 flights: 2 graded" in done.output
    with contextlib.closing(sqlite3.connect(record.with_name("resume-2.sqlite"))) as second:
        assert second.execute("select count(distinct key) from graded").fetchone() == (2,)


@posix
@pytest.mark.parametrize("arguments", ["--help", "standards", "grade many --hold h.toml --csv laps.csv --jobs 1"])
def test_a_reader_that_leaves_changes_neither_work_nor_status(several: Path, arguments: str) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as pipe:
        done = subprocess.run(
            [sys.executable, "-m", "trackgrade", *arguments.split()],
            stdout=pipe, stderr=subprocess.PIPE, timeout=120, check=False,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert b"fault" not in done.stderr
    if arguments.startswith("grade"):
        assert len((several / "laps.csv").read_text(encoding="utf-8").splitlines()) == 7


def test_a_logbook_in_a_read_only_folder_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with Logbook(tmp_path / "l.sqlite") as logbook:
        logbook.record(made_debrief(1), pilot="A")
    monkeypatch.setattr(os, "access", lambda *_: False)  # as such a folder answers; to root all folders are open
    with Logbook(tmp_path / "l.sqlite", create=False) as logbook:
        assert [name for name, *_ in logbook.pilots()] == ["A"]
        assert logbook.name == str(tmp_path / "l.sqlite")
        with pytest.raises(OutputError, match=r"cannot be written"):
            logbook.record(made_debrief(2), pilot="A")


def test_a_damaged_recording_is_left_out_of_an_export_and_told(tmp_path: Path) -> None:
    place = tmp_path / "l.sqlite"
    with Logbook(place) as logbook:
        for day in range(3):
            logbook.record(made_debrief(day), pilot="A")
    with sqlite3.connect(place) as database:
        database.execute("update debrief set json_zlib = x'00' where recording_id = 2")
    database.close()
    done = CliRunner().invoke(main, ["logbook", "export", str(tmp_path / "e.jsonl"), "--logbook", str(place)])
    assert done.exit_code == LogbookError.exit_status
    assert "1 of its recordings cannot be read any more" in done.stderr
    assert len((tmp_path / "e.jsonl").read_text(encoding="utf-8").splitlines()) == 3  # the header, and the other two
