"""The tables of a logbook, their version, and the steps from older versions to this one.

``pilot`` has ``recording``s (one flight at one hold against one standard); a recording has its ``entry``,
``lap``, ``item_result`` and ``finding`` rows and the whole debrief, compressed, in ``debrief``. A table has a column
for each field of its dataclass in `trackgrade.logbook.history`.

Times are seconds since 1970, UTC. All of a pilot goes when the pilot's row goes (foreign keys cascade).
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable
from dataclasses import fields
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Boolean, Column, Float, ForeignKey, Index, Integer, LargeBinary, String, Table, Text

from trackgrade.logbook.history import EntryRow, FindingRow, HoldFlown, ItemRow, LapRow

#: The version this program reads and writes.
VERSION = 4

metadata = sa.MetaData()

_TYPES = {"int": Integer, "float": Float, "bool": Boolean, "str": Text}
#: Fields that are words of SQL, and what their columns are called.
_CALLED = {"limit": "limit_value", "right": "is_right"}


def _columns(row: type, keys: tuple[str, ...] = ()) -> list[Column[Any]]:
    """A column for each field of a dataclass that is a number or text; it may be null where the field may be None."""
    columns: list[Column[Any]] = []
    for each in fields(row):
        kind = str(each.type).removesuffix(" | None")
        if kind in _TYPES and each.name != "recording_id":
            name, null = _CALLED.get(each.name, each.name), kind != each.type
            key = each.name in keys
            columns.append(
                Column(name, _TYPES[kind], key=each.name, nullable=null, primary_key=key, autoincrement=False)
            )
    return columns


def _of_recording(name: str, rows: list[Column[Any]], **options: Any) -> Table:
    """A table of what belongs to a recording."""
    own = ForeignKey("recording.id", ondelete="CASCADE")
    return Table(name, metadata, Column("recording_id", own, primary_key=True, autoincrement=False), *rows, **options)


def _position() -> Column[int]:
    return Column("position", Integer, primary_key=True, autoincrement=False)


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
    *_columns(HoldFlown),
    sa.UniqueConstraint("content_hash"),
    Index("recording_of_pilot", "pilot_id", "standard", "started_epoch_s"),
    Index("recording_at_hold", "hold_hash", "standard", "pilot_id", "started_epoch_s"),
)

debrief = _of_recording("debrief", [Column("json_zlib", LargeBinary, nullable=False)])
entry = _of_recording("entry", _columns(EntryRow, ("visit",)), sqlite_with_rowid=False)
lap = _of_recording("lap", _columns(LapRow, ("visit", "number")), sqlite_with_rowid=False)
item_result = _of_recording("item_result", [_position(), *_columns(ItemRow)], sqlite_with_rowid=False)
finding = _of_recording("finding", [_position(), *_columns(FindingRow)], sqlite_with_rowid=False)


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
    """Take a logbook of ``version`` (below `VERSION`) to the present one, in the caller's transaction."""
    for step in range(version, VERSION):
        STEPS[step](connection)
    connection.execute(logbook_version.delete())
    connection.execute(logbook_version.insert().values(version=VERSION))


# A step is frozen when it is released: it writes the tables as they were in its version, as text.


def _from_1_to_2(connection: sa.Connection) -> None:
    """Version 2 reads a pilot's page from an index. It had sums of the rows, too, until version 4."""
    for statement in (
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


def _from_3_to_4(connection: sa.Connection) -> None:
    """Version 4 keeps no sums: pages count the rows that they show."""
    for table in ("recording_item", "pilot_item", "pilot_standard"):
        connection.exec_driver_sql(f"DROP TABLE IF EXISTS {table}")


STEPS: dict[int, Callable[[sa.Connection], None]] = {1: _from_1_to_2, 2: _from_2_to_3, 3: _from_3_to_4}
