"""The sums that pages read instead of every lap: made from the recordings' rows, and kept in step with them.

Called inside the transaction that changes the recordings, so a reader never sees one without the other.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

import sqlalchemy as sa
from sqlalchemy import func, select

from trackgrade.logbook import schema
from trackgrade.logbook.rows import ItemRow, ItemSummary, summarise_items

#: A session is one flight. What a pilot can do now is read from this many: fewer rest on chance, more on
#: the past.
RECENT_SESSIONS = 5

_ITEM_COLUMNS = ("item", "title", "scope", "visit", "lap", "value", "value_sd", "unit", "result")


def item_summary_rows(recording_id: int, summaries: Sequence[ItemSummary]) -> list[dict[str, Any]]:
    """Rows of ``recording_item``."""
    rows = []
    for position, summary in enumerate(summaries):
        row = asdict(summary)
        row["limit_value"] = row.pop("limit")
        rows.append({"recording_id": recording_id, "position": position, **row})
    return rows


def refresh_pilots(connection: sa.Connection, pilot_ids: Iterable[int]) -> None:
    """Make the summary rows of these pilots anew."""
    for pilot_id in sorted(set(pilot_ids)):
        for table in (schema.pilot_item, schema.pilot_standard):
            connection.execute(table.delete().where(table.c.pilot_id == pilot_id))
        recording = schema.recording
        standards = connection.scalars(
            select(recording.c.standard).where(recording.c.pilot_id == pilot_id).distinct()
        ).all()
        for standard in sorted(standards):
            _refresh(connection, pilot_id, standard)


def rebuild(connection: sa.Connection) -> None:
    """Make every summary row anew, for every recording and pilot."""
    for table in schema.SUMMARY_TABLES:
        connection.execute(table.delete())
    items = schema.item_result
    for recording_id in connection.scalars(select(schema.recording.c.id).order_by(schema.recording.c.id)).all():
        rows = connection.execute(
            select(items).where(items.c.recording_id == recording_id).order_by(items.c.position)
        ).mappings()
        results = [
            ItemRow(
                **{name: row[name] for name in _ITEM_COLUMNS},
                limit=row["limit_value"],
            )
            for row in rows
        ]
        if summary_rows := item_summary_rows(recording_id, summarise_items(results)):
            connection.execute(schema.recording_item.insert(), summary_rows)
    refresh_pilots(connection, connection.scalars(select(schema.pilot.c.id)).all())


def _refresh(connection: sa.Connection, pilot_id: int, standard: str) -> None:
    recording = schema.recording.c
    mine = sa.and_(recording.pilot_id == pilot_id, recording.standard == standard)
    recent = _recent_recordings(connection, mine)

    totals = connection.execute(
        select(
            func.count(recording.flight_hash.distinct()).label("sessions"),
            func.count().label("recordings"),
            func.sum(recording.laps).label("laps"),
            func.sum(recording.incomplete_laps).label("incomplete_laps"),
            func.min(recording.started_epoch_s).label("first_epoch_s"),
            func.max(recording.started_epoch_s).label("last_epoch_s"),
        ).where(mine)
    ).one()
    errors = [abs(row.inbound_error_median_s) for row in recent if row.inbound_error_median_s is not None]
    winds = [row.wind_kt for row in recent if row.wind_kt is not None]
    connection.execute(
        schema.pilot_standard.insert().values(
            pilot_id=pilot_id,
            standard=standard,
            title=recent[0].standard_title,
            **totals._mapping,
            recent_sessions=len({row.flight_hash for row in recent}),
            recent_laps=sum(row.laps for row in recent),
            recent_judged=sum(row.laps_judged for row in recent),
            recent_passed=sum(row.laps_within for row in recent),
            **_sums([(row.laps_judged, row.laps_within) for row in recent]),
            recent_inbound_error_s=statistics.median(errors) if errors else None,
            recent_wind_kt=statistics.fmean(winds) if winds else None,
        )
    )
    _refresh_items(connection, pilot_id, standard, mine, [row.id for row in recent])


def _recent_recordings(connection: sa.Connection, mine: sa.ColumnElement[bool]) -> list[Any]:
    """The recordings of the last `RECENT_SESSIONS` flights, latest first."""
    recording = schema.recording
    flights: set[str] = set()
    recent = []
    statement = select(recording).where(mine).order_by(recording.c.started_epoch_s.desc(), recording.c.id.desc())
    with connection.execute(statement) as rows:
        for row in rows:
            flights.add(row.flight_hash)
            if len(flights) > RECENT_SESSIONS:
                break
            recent.append(row)
    return recent


def _refresh_items(
    connection: sa.Connection,
    pilot_id: int,
    standard: str,
    mine: sa.ColumnElement[bool],
    recent_ids: Sequence[int],
) -> None:
    recording, item = schema.recording, schema.recording_item
    joined = item.join(recording, item.c.recording_id == recording.c.id)
    counted = ("measured", "within", "brief", "outside", "not_measurable")
    measured_flight = sa.case((item.c.measured > 0, recording.c.flight_hash))
    totals = connection.execute(
        select(
            item.c.item,
            func.count(measured_flight.distinct()).label("sessions"),
            func.max(item.c.position).label("position"),
            *(func.sum(item.c[name]).label(name) for name in counted),
        )
        .select_from(joined)
        .where(mine)
        .group_by(item.c.item)
    ).all()
    latest: dict[str, list[Any]] = {}
    for row in connection.execute(
        select(item, recording.c.flight_hash, recording.c.started_epoch_s)
        .select_from(joined)
        .where(item.c.recording_id.in_(recent_ids))
        .order_by(recording.c.started_epoch_s.desc(), recording.c.id.desc())
    ):
        latest.setdefault(row.item, []).append(row)

    rows = []
    for total in totals:
        recent = latest.get(total.item, [])
        described = recent[0] if recent else _last_described(connection, mine, total.item)
        measured = [row for row in recent if row.measured]
        sizes = [row.median_size for row in measured if row.median_size is not None]
        rows.append(
            {
                **total._mapping,
                "pilot_id": pilot_id,
                "standard": standard,
                "title": described.title,
                "unit": described.unit,
                "limit_value": described.limit_value,
                "recent_sessions": len({row.flight_hash for row in measured}),
                "recent_measured": sum(row.measured for row in recent),
                "recent_passed": sum(row.within + row.brief for row in recent),
                "recent_brief": sum(row.brief for row in recent),
                **_sums([(row.measured, row.within + row.brief) for row in recent]),
                "recent_median_size": statistics.median(sizes) if sizes else None,
            }
        )
    if rows:
        connection.execute(schema.pilot_item.insert(), rows)


def _last_described(connection: sa.Connection, mine: sa.ColumnElement[bool], name: str) -> Any:
    """Title, unit and limit of an item that no recent session has, from the last one that had it."""
    recording, item = schema.recording, schema.recording_item
    return connection.execute(
        select(item)
        .select_from(item.join(recording, item.c.recording_id == recording.c.id))
        .where(mine, item.c.item == name)
        .order_by(recording.c.started_epoch_s.desc())
        .limit(1)
    ).one()


def _sums(counts: Sequence[tuple[int, int]]) -> dict[str, float]:
    """Sums over recordings of n², nk and k², for n judged and k passed."""
    return {
        "recent_sum_nn": float(sum(n * n for n, _ in counts)),
        "recent_sum_nk": float(sum(n * k for n, k in counts)),
        "recent_sum_kk": float(sum(k * k for _, k in counts)),
    }
