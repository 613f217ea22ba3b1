"""The tables of a logbook, their version, and the steps from older versions to this one.

``pilot`` has ``recording``s (one flight at one hold against one standard); a recording has its ``entry``,
``lap``, ``item_result`` and ``finding`` rows and the whole debrief, compressed, in ``debrief``.
``recording_item``, ``pilot_item`` and ``pilot_standard`` hold sums of these rows, so that a page over many
flights reads few rows. They can be made again at any time: `trackgrade.logbook.summaries`.

Times are seconds since 1970, UTC. All of a pilot goes when the pilot's row goes (foreign keys cascade).
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable

import sqlalchemy as sa
from sqlalchemy import Boolean, Column, Float, ForeignKey, Index, Integer, LargeBinary, String, Table, Text

#: The version this program reads and writes.
VERSION = 3

metadata = sa.MetaData()

logbook_version = Table(
    "logbook_version",
    metadata,
    Column("version", Integer, primary_key=True, autoincrement=False),
)

pilot = Table(
    "pilot",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(200), nullable=False),
    Column("name_key", String(400), nullable=False, unique=True),  # folded: "Pilot A" is "pilot  a"
)

recording = Table(
    "recording",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("pilot_id", ForeignKey("pilot.id", ondelete="CASCADE"), nullable=False),
    Column("content_hash", String(64), nullable=False, unique=True),
    Column("flight_hash", String(64), nullable=False),
    Column("hold_hash", String(64), nullable=False),
    Column("standard", String(200), nullable=False),
    Column("standard_title", Text, nullable=False),
    Column("instructor", String(200)),
    Column("note", Text),
    Column("track_source", Text, nullable=False),
    Column("started_epoch_s", Float, nullable=False),
    Column("ended_epoch_s", Float, nullable=False),
    Column("hold_name", Text, nullable=False),
    Column("inbound_course_true_deg", Float, nullable=False),
    Column("turns", String(5), nullable=False),
    Column("leg_minutes", Float),
    Column("leg_nm", Float),
    Column("guidance", String(20)),
    Column("full_scale", Float),
    Column("flag", String(4)),
    Column("altitude_ft", Float),
    Column("wind_from_true_deg", Float),
    Column("wind_kt", Float),
    Column("wind_head_kt", Float),
    Column("wind_cross_kt", Float),
    Column("true_airspeed_kt", Float),
    Column("laps", Integer, nullable=False),
    Column("incomplete_laps", Integer, nullable=False),
    Column("laps_judged", Integer, nullable=False),
    Column("laps_within", Integer, nullable=False),
    Column("timed_laps", Integer, nullable=False),
    Column("inbound_tolerance_s", Float, nullable=False),
    Column("inbound_error_median_s", Float),
    Column("inbound_error_sd_s", Float),
    Column("laps_to_converge", Integer),
    Column("verdict", Text, nullable=False),
    Column("report", Text),
    Index("recording_of_pilot", "pilot_id", "standard", "started_epoch_s"),
    Index("recording_at_hold", "hold_hash", "standard", "pilot_id", "started_epoch_s"),
)


def _of_recording() -> Column[int]:
    return Column("recording_id", ForeignKey("recording.id", ondelete="CASCADE"), primary_key=True, autoincrement=False)


def _of_pilot() -> Column[int]:
    return Column("pilot_id", ForeignKey("pilot.id", ondelete="CASCADE"), primary_key=True, autoincrement=False)


debrief = Table(
    "debrief",
    metadata,
    _of_recording(),
    Column("json_zlib", LargeBinary, nullable=False),
)

entry = Table(
    "entry",
    metadata,
    _of_recording(),
    Column("visit", Integer, primary_key=True, autoincrement=False),
    Column("expected", String(20)),
    Column("flown", String(20)),
    Column("is_right", Boolean),
    Column("turned_wrong_way", Boolean, nullable=False),
    sqlite_with_rowid=False,
)

lap = Table(
    "lap",
    metadata,
    _of_recording(),
    Column("visit", Integer, primary_key=True, autoincrement=False),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("started_epoch_s", Float),
    Column("outbound_s", Float),
    Column("inbound_s", Float),
    Column("inbound_error_s", Float),
    Column("max_cross_track_nm", Float),
    Column("judged", Integer, nullable=False),
    Column("outside", Integer, nullable=False),
    sqlite_with_rowid=False,
)

item_result = Table(
    "item_result",
    metadata,
    _of_recording(),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("item", String(100), nullable=False),
    Column("title", Text, nullable=False),
    Column("scope", Text, nullable=False),
    Column("visit", Integer, nullable=False),
    Column("lap", Integer),
    Column("value", Float),
    Column("value_sd", Float),
    Column("unit", String(20), nullable=False),
    Column("limit_value", Float),
    Column("result", String(20), nullable=False),
    sqlite_with_rowid=False,
)

finding = Table(
    "finding",
    metadata,
    _of_recording(),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("name", String(100), nullable=False),
    Column("title", Text, nullable=False),
    Column("lap", Integer),
    Column("advice", Text, nullable=False),
    sqlite_with_rowid=False,
)

recording_item = Table(
    "recording_item",
    metadata,
    _of_recording(),
    Column("item", String(100), primary_key=True),
    Column("position", Integer, nullable=False),
    Column("title", Text, nullable=False),
    Column("unit", String(20), nullable=False),
    Column("limit_value", Float),
    Column("measured", Integer, nullable=False),
    Column("within", Integer, nullable=False),
    Column("brief", Integer, nullable=False),
    Column("outside", Integer, nullable=False),
    Column("not_measurable", Integer, nullable=False),
    Column("median_size", Float),
    sqlite_with_rowid=False,
)

# "recent" is the last `summaries.RECENT_SESSIONS` sessions. The three sums over recordings of n (measured)
# and k (within or brief) give the spread between sessions that an honest interval of a share needs.
pilot_item = Table(
    "pilot_item",
    metadata,
    _of_pilot(),
    Column("standard", String(200), primary_key=True),
    Column("item", String(100), primary_key=True),
    Column("position", Integer, nullable=False),
    Column("title", Text, nullable=False),
    Column("unit", String(20), nullable=False),
    Column("limit_value", Float),
    Column("sessions", Integer, nullable=False),
    Column("measured", Integer, nullable=False),
    Column("within", Integer, nullable=False),
    Column("brief", Integer, nullable=False),
    Column("outside", Integer, nullable=False),
    Column("not_measurable", Integer, nullable=False),
    Column("recent_sessions", Integer, nullable=False),
    Column("recent_measured", Integer, nullable=False),
    Column("recent_passed", Integer, nullable=False),
    Column("recent_brief", Integer, nullable=False),
    Column("recent_sum_nn", Float, nullable=False),
    Column("recent_sum_nk", Float, nullable=False),
    Column("recent_sum_kk", Float, nullable=False),
    Column("recent_median_size", Float),
    sqlite_with_rowid=False,
)

pilot_standard = Table(
    "pilot_standard",
    metadata,
    _of_pilot(),
    Column("standard", String(200), primary_key=True),
    Column("title", Text, nullable=False),
    Column("sessions", Integer, nullable=False),
    Column("recordings", Integer, nullable=False),
    Column("laps", Integer, nullable=False),
    Column("incomplete_laps", Integer, nullable=False),
    Column("first_epoch_s", Float, nullable=False),
    Column("last_epoch_s", Float, nullable=False),
    Column("recent_sessions", Integer, nullable=False),
    Column("recent_laps", Integer, nullable=False),
    Column("recent_judged", Integer, nullable=False),
    Column("recent_passed", Integer, nullable=False),
    Column("recent_sum_nn", Float, nullable=False),
    Column("recent_sum_nk", Float, nullable=False),
    Column("recent_sum_kk", Float, nullable=False),
    Column("recent_inbound_error_s", Float),
    Column("recent_wind_kt", Float),
    sqlite_with_rowid=False,
)

SUMMARY_TABLES = (recording_item, pilot_item, pilot_standard)


def create(connection: sa.Connection) -> None:
    """All tables of the present version, in an empty database."""
    metadata.create_all(connection, checkfirst=False)
    connection.execute(logbook_version.insert().values(version=VERSION))


def found_version(connection: sa.Connection) -> int | None:
    """The version of the logbook in this database; None where there is none."""
    if not sa.inspect(connection).has_table(logbook_version.name):
        return None
    version = connection.scalar(sa.select(sa.func.max(logbook_version.c.version)))
    return None if version is None else int(version)


def migrate(connection: sa.Connection, version: int) -> None:
    """Take a logbook of ``version`` (below `VERSION`) to the present one, in the caller's transaction.

    The caller makes the summary rows again afterwards: no step needs to fill them.
    """
    for step in range(version, VERSION):
        STEPS[step](connection)
    connection.execute(logbook_version.delete())
    connection.execute(logbook_version.insert().values(version=VERSION))


# A step is frozen when it is released: it writes the tables as they were in its version, as text.


def _from_1_to_2(connection: sa.Connection) -> None:
    """Version 2 adds the summary rows, and reads a pilot's page from an index."""
    counts = "measured INTEGER NOT NULL, within INTEGER NOT NULL, brief INTEGER NOT NULL"
    float_type = "FLOAT" if connection.dialect.name == "sqlite" else "DOUBLE PRECISION"
    sums = ", ".join(f"recent_sum_{pair} {float_type} NOT NULL" for pair in ("nn", "nk", "kk"))
    tail = " WITHOUT ROWID" if connection.dialect.name == "sqlite" else ""
    of_pilot = "pilot_id INTEGER NOT NULL REFERENCES pilot (id) ON DELETE CASCADE"
    described = f"position INTEGER NOT NULL, title TEXT NOT NULL, unit VARCHAR(20) NOT NULL, limit_value {float_type}"
    for statement in (
        f"""CREATE TABLE recording_item (
            recording_id INTEGER NOT NULL REFERENCES recording (id) ON DELETE CASCADE,
            item VARCHAR(100) NOT NULL, {described}, {counts},
            outside INTEGER NOT NULL, not_measurable INTEGER NOT NULL, median_size {float_type},
            PRIMARY KEY (recording_id, item)){tail}""",
        f"""CREATE TABLE pilot_item (
            {of_pilot}, standard VARCHAR(200) NOT NULL, item VARCHAR(100) NOT NULL, {described},
            sessions INTEGER NOT NULL, {counts}, outside INTEGER NOT NULL, not_measurable INTEGER NOT NULL,
            recent_sessions INTEGER NOT NULL, recent_measured INTEGER NOT NULL,
            recent_passed INTEGER NOT NULL, recent_brief INTEGER NOT NULL, {sums},
            recent_median_size {float_type}, PRIMARY KEY (pilot_id, standard, item)){tail}""",
        f"""CREATE TABLE pilot_standard (
            {of_pilot}, standard VARCHAR(200) NOT NULL, title TEXT NOT NULL,
            sessions INTEGER NOT NULL, recordings INTEGER NOT NULL, laps INTEGER NOT NULL,
            incomplete_laps INTEGER NOT NULL,
            first_epoch_s {float_type} NOT NULL, last_epoch_s {float_type} NOT NULL,
            recent_sessions INTEGER NOT NULL, recent_laps INTEGER NOT NULL, recent_judged INTEGER NOT NULL,
            recent_passed INTEGER NOT NULL, {sums},
            recent_inbound_error_s {float_type}, recent_wind_kt {float_type},
            PRIMARY KEY (pilot_id, standard)){tail}""",
        "CREATE INDEX recording_of_pilot ON recording (pilot_id, standard, started_epoch_s)",
        "CREATE INDEX recording_at_hold ON recording (hold_hash, standard, pilot_id, started_epoch_s)",
    ):
        connection.exec_driver_sql(statement)


def _from_2_to_3(connection: sa.Connection) -> None:
    """Version 3 knows how fine the needle was, and where the report of a flight was written."""
    float_type = "FLOAT" if connection.dialect.name == "sqlite" else "DOUBLE PRECISION"
    connection.exec_driver_sql(f"ALTER TABLE recording ADD COLUMN full_scale {float_type}")
    connection.exec_driver_sql("ALTER TABLE recording ADD COLUMN report TEXT")
    for row in connection.execute(sa.text("SELECT recording_id, json_zlib FROM debrief")).all():
        try:
            guidance = json.loads(zlib.decompress(row.json_zlib))["hold"].get("guidance") or {}
        except (zlib.error, ValueError, TypeError, KeyError, AttributeError):
            continue  # damaged: an export tells of it
        scale = guidance.get("full_scale_deg" if guidance.get("kind") == "vor" else "full_scale_nm")
        if isinstance(scale, (int, float)):
            statement = sa.text("UPDATE recording SET full_scale = :scale WHERE id = :id")
            connection.execute(statement, {"scale": float(scale), "id": row.recording_id})


STEPS: dict[int, Callable[[sa.Connection], None]] = {1: _from_1_to_2, 2: _from_2_to_3}
