"""A logbook of version 1, made here by its frozen tables, comes up to the present version with all it holds."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from tests.logbook_flights import made_debrief
from tests.logbook_places import BOTH, new_place
from trackgrade.errors import LogbookError
from trackgrade.logbook import schema
from trackgrade.logbook.database import reading, url_of
from trackgrade.logbook.queries import class_history, pilot_history
from trackgrade.logbook.store import Logbook

#: Version 1 as it was. Never changed: it stands for the files that exist. ID, REAL and BYTES are the database's words.
VERSION_1 = """
CREATE TABLE logbook_version (version INTEGER NOT NULL PRIMARY KEY);
CREATE TABLE pilot (id ID, name VARCHAR(200) NOT NULL, name_key VARCHAR(400) NOT NULL UNIQUE);
CREATE TABLE recording (
    id ID, pilot_id INTEGER NOT NULL REFERENCES pilot (id) ON DELETE CASCADE,
    content_hash VARCHAR(64) NOT NULL UNIQUE, flight_hash VARCHAR(64) NOT NULL, hold_hash VARCHAR(64) NOT NULL,
    standard VARCHAR(200) NOT NULL, standard_title TEXT NOT NULL, instructor VARCHAR(200), note TEXT,
    track_source TEXT NOT NULL, started_epoch_s REAL NOT NULL, ended_epoch_s REAL NOT NULL, hold_name TEXT NOT NULL,
    inbound_course_true_deg REAL NOT NULL, turns VARCHAR(5) NOT NULL, leg_minutes REAL, leg_nm REAL,
    guidance VARCHAR(20), flag VARCHAR(4), altitude_ft REAL,
    wind_from_true_deg REAL, wind_kt REAL, wind_head_kt REAL, wind_cross_kt REAL, true_airspeed_kt REAL,
    laps INTEGER NOT NULL, incomplete_laps INTEGER NOT NULL, laps_judged INTEGER NOT NULL,
    laps_within INTEGER NOT NULL, timed_laps INTEGER NOT NULL, inbound_tolerance_s REAL NOT NULL,
    inbound_error_median_s REAL, inbound_error_sd_s REAL, laps_to_converge INTEGER, verdict TEXT NOT NULL);
CREATE TABLE debrief (
    recording_id INTEGER NOT NULL PRIMARY KEY REFERENCES recording (id) ON DELETE CASCADE, json_zlib BYTES NOT NULL);
CREATE TABLE entry (
    recording_id INTEGER NOT NULL REFERENCES recording (id) ON DELETE CASCADE, visit INTEGER NOT NULL,
    expected VARCHAR(20), flown VARCHAR(20), is_right BOOLEAN, turned_wrong_way BOOLEAN NOT NULL,
    PRIMARY KEY (recording_id, visit));
CREATE TABLE lap (
    recording_id INTEGER NOT NULL REFERENCES recording (id) ON DELETE CASCADE, visit INTEGER NOT NULL,
    number INTEGER NOT NULL, started_epoch_s REAL, outbound_s REAL, inbound_s REAL, inbound_error_s REAL,
    max_cross_track_nm REAL, judged INTEGER NOT NULL, outside INTEGER NOT NULL,
    PRIMARY KEY (recording_id, visit, number));
CREATE TABLE item_result (
    recording_id INTEGER NOT NULL REFERENCES recording (id) ON DELETE CASCADE, position INTEGER NOT NULL,
    item VARCHAR(100) NOT NULL, title TEXT NOT NULL, scope TEXT NOT NULL, visit INTEGER NOT NULL, lap INTEGER,
    value REAL, value_sd REAL, unit VARCHAR(20) NOT NULL, limit_value REAL, result VARCHAR(20) NOT NULL,
    PRIMARY KEY (recording_id, position));
CREATE TABLE finding (
    recording_id INTEGER NOT NULL REFERENCES recording (id) ON DELETE CASCADE, position INTEGER NOT NULL,
    name VARCHAR(100) NOT NULL, title TEXT NOT NULL, lap INTEGER, advice TEXT NOT NULL,
    PRIMARY KEY (recording_id, position));
INSERT INTO logbook_version VALUES (1);
"""
WORDS = {
    "sqlite": {"ID": "INTEGER NOT NULL PRIMARY KEY", "BYTES": "BLOB"},
    "postgresql": {"ID": "SERIAL PRIMARY KEY", "BYTES": "BYTEA", "REAL": "DOUBLE PRECISION"},
}


@pytest.fixture(params=BOTH)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    yield from new_place(request.param, tmp_path)


@pytest.fixture
def present(tmp_path: Path) -> Iterator[Logbook]:
    """A logbook of the present version with a few sessions of two pilots."""
    with Logbook(tmp_path / "present.sqlite") as logbook:
        for day in range(7):
            leg = {"nm": 4.0} if day == 3 else None
            logbook.record(
                made_debrief(day, leg=leg, wind=None if day == 2 else (200.0, day)), pilot=f"pilot {day % 2}"
            )
        yield logbook


#: Columns that version 1 did not have.
LATER = ("full_scale", "report")


def make_version_1(place: str, present: Logbook) -> None:
    """A version-1 logbook at ``place`` with the rows of ``present``."""
    url = url_of(place)
    engine = sa.create_engine(url, poolclass=sa.pool.NullPool)
    words = WORDS[url.get_backend_name()]
    text = re.sub(r"\b[A-Z]+\b", lambda match: words.get(match[0], match[0]), VERSION_1)
    with engine.begin() as new, reading(present.engine) as old:
        for statement in filter(str.strip, text.split(";")):
            new.exec_driver_sql(statement)
        for name in ("pilot", "recording", "debrief", "entry", "lap", "item_result", "finding"):
            table = schema.metadata.tables[name]
            then = [column for column in table.columns if column.name not in LATER]
            rows = old.execute(sa.select(*then)).all()
            new.execute(table.insert(), [{column.key: value for column, value in zip(then, row)} for row in rows])
        if new.dialect.name == "postgresql":  # numbers given by hand do not move the sequences
            for name in ("pilot", "recording"):
                new.exec_driver_sql(f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), max(id)) FROM {name}")


def contents(logbook: Logbook) -> dict[str, list[str]]:
    with reading(logbook.engine) as connection:
        return {
            table.name: sorted(repr(tuple(row)) for row in connection.execute(sa.select(table)))
            for table in schema.metadata.sorted_tables
        }


def shape(logbook: Logbook) -> dict[str, object]:
    """Columns, keys and indexes of every table, without the database's names for types."""
    inspector = sa.inspect(logbook.engine)
    own = {index.name for table in schema.metadata.sorted_tables for index in table.indexes}
    return {
        table: (
            sorted((column["name"], column["nullable"]) for column in inspector.get_columns(table)),
            inspector.get_pk_constraint(table)["constrained_columns"],
            sorted(
                (each["name"], *each["column_names"]) for each in inspector.get_indexes(table) if each["name"] in own
            ),
            sorted(each["referred_table"] for each in inspector.get_foreign_keys(table)),
        )
        for table in inspector.get_table_names()
    }


def make_version(version: int, place: str, present: Logbook) -> None:
    """A logbook of an earlier version, brought there from version 1 as the programs of that time did."""
    make_version_1(place, present)
    with sa.create_engine(url_of(place), poolclass=sa.pool.NullPool).begin() as old:
        for step in range(1, version):
            schema.STEPS[step](old)
        if version in (2, 3):  # they kept sums, which are dropped
            old.exec_driver_sql("CREATE TABLE pilot_item (pilot_id INTEGER REFERENCES pilot, item TEXT, laps INTEGER)")
            old.exec_driver_sql("INSERT INTO pilot_item SELECT id, 'altitude', 3 FROM pilot")
        old.exec_driver_sql(f"UPDATE logbook_version SET version = {version}")


@pytest.mark.parametrize("version", range(1, schema.VERSION))
def test_every_earlier_version_comes_up_with_all_it_holds(version: int, place: str, present: Logbook) -> None:
    make_version(version, place, present)
    with Logbook(place) as logbook:
        with reading(logbook.engine) as connection:
            assert schema.found_version(connection) == schema.VERSION
        assert contents(logbook) == contents(present)
        assert list(logbook.export_lines()) == list(present.export_lines())
        assert pilot_history(logbook, "pilot 1") == pilot_history(present, "pilot 1")
        assert class_history(logbook) == class_history(present)
        logbook.delete_pilot("pilot 1")
        assert not sa.inspect(logbook.engine).has_table("pilot_item")


def test_a_migrated_logbook_has_the_shape_of_a_new_one(place: str, present: Logbook, tmp_path: Path) -> None:
    make_version_1(place, present)
    with Logbook(place) as migrated, Logbook(tmp_path / "new.sqlite") as new:
        assert shape(migrated) == shape(new)
        migrated.record(made_debrief(99), pilot="pilot 2")
        migrated.delete_pilot("pilot 0")
        migrated.delete_pilot("pilot 1")
        new.record(made_debrief(99), pilot="pilot 2")
        assert {name: len(rows) for name, rows in contents(migrated).items()} == {
            name: len(rows) for name, rows in contents(new).items()
        }, "what is deleted goes from every table, and no more"


def test_a_migration_that_fails_leaves_version_1(place: str, present: Logbook, monkeypatch: pytest.MonkeyPatch) -> None:
    make_version_1(place, present)

    def stumbles(_: sa.Connection) -> None:
        raise sa.exc.OperationalError("drop", {}, Exception("the disk is full"))

    with monkeypatch.context() as patch:
        patch.setitem(schema.STEPS, schema.VERSION - 1, stumbles)
        with pytest.raises(Exception, match="the disk is full"):
            Logbook(place)
    engine = sa.create_engine(url_of(place), poolclass=sa.pool.NullPool)
    with engine.connect() as connection:
        assert schema.found_version(connection) == 1
        assert "report" not in [each["name"] for each in sa.inspect(connection).get_columns("recording")]
    with Logbook(place) as logbook:
        assert contents(logbook) == contents(present)


def test_two_programs_may_open_an_old_or_a_missing_logbook_at_once(place: str, present: Logbook) -> None:
    make_version_1(place, present)
    _open_at_once(place)
    with Logbook(place) as logbook:
        assert contents(logbook) == contents(present)


def test_two_programs_may_make_a_logbook_at_once(place: str) -> None:
    _open_at_once(place)
    with Logbook(place) as logbook:
        assert logbook.pilots() == []


def _open_at_once(place: str) -> None:
    start, problems = threading.Barrier(4), []

    def opens() -> None:
        start.wait()
        try:
            Logbook(place).close()
        except Exception as problem:
            problems.append(problem)

    threads = [threading.Thread(target=opens) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []


def test_every_version_has_its_step() -> None:
    assert sorted(schema.STEPS) == list(range(1, schema.VERSION))


def test_a_version_below_the_first_is_refused(place: str, present: Logbook) -> None:
    make_version_1(place, present)
    engine = sa.create_engine(url_of(place), poolclass=sa.pool.NullPool)
    with engine.begin() as connection:
        connection.execute(schema.logbook_version.update().values(version=0))
    with pytest.raises(LogbookError, match="of version 0"):
        Logbook(place)
