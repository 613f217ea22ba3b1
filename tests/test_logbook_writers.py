"""Two writers at once, and writers that are killed in the middle: nothing recorded is lost, nothing is half there."""

from __future__ import annotations

import json
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from tests.logbook_flights import made_debrief
from tests.logbook_places import BOTH, new_place
from trackgrade.errors import LogbookError
from trackgrade.logbook import database, schema, store
from trackgrade.logbook.database import reading, writing
from trackgrade.logbook.store import Logbook


@pytest.fixture(params=BOTH)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    yield from new_place(request.param, tmp_path)


def writer(place: str, pilot: str, first: int, count: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.logbook_writer", place, pilot, str(first), str(count)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def notes(logbook: Logbook) -> set[str]:
    return {str(json.loads(line)["note"]) for line in list(logbook.export_lines())[1:]}


def whole(logbook: Logbook) -> None:
    """Every recording has its rows."""
    with reading(logbook.engine) as connection:
        for table, least in ((schema.debrief, 1), (schema.lap, 3), (schema.item_result, 7)):
            count = sa.func.count(table.c.recording_id)
            short = (
                sa.select(schema.recording.c.id)
                .outerjoin(table, table.c.recording_id == schema.recording.c.id)
                .group_by(schema.recording.c.id)
                .having(count != least)
            )
            assert connection.execute(short).all() == [], table.name


def test_two_writers_at_once_lose_nothing(place: str) -> None:
    """Two processes, 15 recordings each, to the same pilot, the logbook made by whichever is first."""
    both = [writer(place, "pilot A", first, 15) for first in (0, 1000)]
    for process in both:
        out, _ = process.communicate(timeout=120)
        assert process.returncode == 0
        assert out.count("done") == 15
    with Logbook(place) as logbook:
        expected = {f"day {day}" for first in (0, 1000) for day in range(first, first + 15)}
        assert notes(logbook) == expected
        assert [(name, count) for name, count, _ in logbook.pilots()] == [("pilot A", 30)]
        whole(logbook)


def test_two_writers_of_the_same_flight_record_it_once(place: str) -> None:
    both = [writer(place, pilot, 0, 8) for pilot in ("pilot A", "pilot B")]
    for process in both:
        process.communicate(timeout=120)
        assert process.returncode == 0
    with Logbook(place) as logbook:
        assert len(list(logbook.export_lines())) == 1 + 8
        whole(logbook)


def test_a_killed_writer_loses_nothing_that_was_recorded(place: str) -> None:
    """Six writers, each killed (SIGKILL) at a random moment after a few writes."""
    moments = random.Random(7)
    acknowledged: set[str] = set()
    for turn in range(6):
        process = writer(place, "pilot A", 1000 * turn, 500)
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        done = [process.stdout.readline() for _ in range(moments.randint(1, 8))]
        time.sleep(moments.uniform(0.0, 0.02))  # somewhere in the next write
        process.send_signal(signal.SIGKILL)
        rest, _ = process.communicate(timeout=60)
        done += rest.splitlines()
        acknowledged |= {line.strip().replace("done", "day") for line in done if line.startswith("done ")}
    with Logbook(place) as logbook:
        found = notes(logbook)
        assert acknowledged <= found
        assert len(found - acknowledged) <= 6, "at most the one in flight of each writer may be there unannounced"
        assert len(acknowledged) > 12
        whole(logbook)
    if "://" not in place:
        with sqlite3.connect(place) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        connection.close()


def test_a_reader_is_not_kept_waiting_and_sees_no_half_write(place: str) -> None:
    with Logbook(place) as logbook:
        logbook.record(made_debrief(0), pilot="pilot A")
        with writing(logbook.engine) as connection:
            connection.execute(schema.pilot.delete())
            with Logbook(place) as other:
                assert [name for name, _, _ in other.pilots()] == ["pilot A"]
            connection.rollback()
        assert [name for name, _, _ in logbook.pilots()] == ["pilot A"]


def test_a_lock_held_too_long_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "logbook.sqlite"
    Logbook(path).close()
    monkeypatch.setattr(database, "BUSY_TIMEOUT_S", 0)
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with Logbook(path) as logbook, pytest.raises(LogbookError, match="in use by another program"):
        logbook.record(made_debrief(0), pilot="pilot A")
    holder.close()


def test_a_write_that_fails_leaves_nothing(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with Logbook(place) as logbook:
        logbook.record(made_debrief(0), pilot="pilot A")
        before = list(logbook.export_lines())

        def stumbles(*_: object) -> None:
            raise RuntimeError("in the middle")

        monkeypatch.setattr(store, "_drop_empty_pilots", stumbles)
        with pytest.raises(RuntimeError, match="in the middle"):
            logbook.record(made_debrief(1), pilot="pilot B")
        assert list(logbook.export_lines()) == before
        assert [name for name, _, _ in logbook.pilots()] == ["pilot A"]
