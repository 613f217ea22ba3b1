"""What the pages read from a logbook. Summary rows first; laps only of the sessions that are drawn."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy import func, select

from trackgrade.errors import UsageError
from trackgrade.logbook import schema
from trackgrade.logbook.database import errors_for_people, reading
from trackgrade.logbook.history import (
    ClassHistory,
    EntryFlown,
    HoldFlown,
    ItemTotal,
    ItemValue,
    LapTime,
    PilotHistory,
    PilotTotal,
    SameHold,
    Session,
    Tally,
)
from trackgrade.logbook.rows import ItemRow, by_lap, size
from trackgrade.logbook.store import Logbook, find_pilot, stored_debrief

#: A page draws, and reads a trend from, this many sessions at most: what was long ago hides what changes now.
SESSIONS_DRAWN = 40

#: What conditions do to errors is learnt from this many of the latest recordings of others.
OTHERS_READ = 120

#: Pilots are set beside each other by this many of their latest recordings.
COMPARED = 10

#: Laps are drawn of this many of the latest sessions.
SESSIONS_SEEN = 12

_HOLD_FIELDS = tuple(HoldFlown.__dataclass_fields__)
_OTHER_NAMES = {
    "recording_id": schema.recording.c.id.label("recording_id"),
    "entry": func.coalesce(schema.entry.c.expected, schema.entry.c.flown).label("entry"),
}
_HOLD_COLUMNS = [_OTHER_NAMES[name] if name in _OTHER_NAMES else schema.recording.c[name] for name in _HOLD_FIELDS]
_HOLD_ROWS = schema.recording.outerjoin(
    schema.entry, sa.and_(schema.entry.c.recording_id == schema.recording.c.id, schema.entry.c.visit == 1)
)


def pilot_history(logbook: Logbook, pilot: str, standard: str | None = None) -> PilotHistory:
    """A pilot's page, to the standard named, else the one most used by this pilot.

    Raises
    ------
    UsageError
        No such pilot, or nothing recorded of them to that standard.
    """
    with errors_for_people(logbook.name), reading(logbook.engine) as connection:
        pilot_id = find_pilot(connection, pilot)
        standards = _standards(connection, schema.pilot_standard.c.pilot_id == pilot_id)
        chosen = _choose(standards, standard)
        (total,) = _totals(connection, chosen, pilot_id)
        flown = _all_flown(connection, pilot_id, chosen)
        sessions = _latest_sessions(connection, flown, chosen)
        seen = [hold.recording_id for session in sessions[-SESSIONS_SEEN:] for hold in session.holds]
        return PilotHistory(
            total=total,
            sessions=sessions,
            first_session=total.sessions - len(sessions) + 1,
            flown=flown,
            entries=_entries(connection, pilot_id, {hold.recording_id for hold in flown}),
            other_standards=tuple((name, count) for name, count in standards if name != chosen),
            findings=_findings(connection, sessions),
            others=_others(connection, pilot_id, chosen),
            seen={key: stored_debrief(connection, key) for key in seen},
        )


def class_history(logbook: Logbook, standard: str | None = None, hold: str | None = None) -> ClassHistory:
    """The instructor's page, to the standard named or the one most used; ``hold`` names the hold compared.

    Without ``hold``, the one that most pilots flew is compared; None where no two pilots flew the same.

    Raises
    ------
    UsageError
        An empty logbook, or a standard or hold that is not in it.
    """
    with errors_for_people(logbook.name), reading(logbook.engine) as connection:
        standards = _standards(connection, sa.true())
        chosen = _choose(standards, standard)
        totals = _totals(connection, chosen, None)
        shared = _shared_holds(connection, chosen)
        compared = _pick_hold(shared, hold)
        return ClassHistory(
            standard=chosen,
            title=totals[0].title,
            pilots=totals,
            flown=_latest_flown(connection, chosen),
            same_hold=_same_hold(connection, compared[0], chosen) if compared else None,
            other_holds=tuple((name, pilots) for key, name, pilots in shared if not compared or key != compared[0]),
            other_standards=tuple((name, count) for name, count in standards if name != chosen),
        )


def _standards(connection: sa.Connection, where: sa.ColumnElement[bool]) -> list[tuple[str, int]]:
    """Standards with their number of recordings, the most used first."""
    table = schema.pilot_standard.c
    rows = connection.execute(
        select(table.standard, func.sum(table.recordings)).where(where).group_by(table.standard)
    ).all()
    return sorted(((str(name), int(count)) for name, count in rows), key=lambda row: (-row[1], row[0]))


def _choose(standards: Sequence[tuple[str, int]], wanted: str | None) -> str:
    names = [name for name, _ in standards]
    if not names:
        raise UsageError("nothing is recorded in this logbook yet; record with:  trackgrade grade ... --pilot NAME.")
    if wanted is None:
        return names[0]
    if wanted not in names:
        raise UsageError(f"nothing is recorded to the standard {wanted!r}; there is: {', '.join(names)}.")
    return wanted


def _totals(connection: sa.Connection, standard: str, pilot_id: int | None) -> tuple[PilotTotal, ...]:
    total, item, pilot = schema.pilot_standard, schema.pilot_item, schema.pilot
    of_total, of_item = [total.c.standard == standard], [item.c.standard == standard]
    if pilot_id is not None:
        of_total.append(total.c.pilot_id == pilot_id)
        of_item.append(item.c.pilot_id == pilot_id)
    items: dict[int, list[ItemTotal]] = defaultdict(list)
    for row in connection.execute(select(item).where(*of_item).order_by(item.c.position, item.c.item)):
        items[row.pilot_id].append(
            ItemTotal(
                item=row.item,
                title=row.title,
                unit=row.unit,
                limit=row.limit_value,
                sessions=row.sessions,
                measured=row.measured,
                within=row.within,
                brief=row.brief,
                outside=row.outside,
                not_measurable=row.not_measurable,
                recent=Tally(
                    row.recent_measured,
                    row.recent_passed,
                    row.recent_sessions,
                    row.recent_sum_nn,
                    row.recent_sum_nk,
                    row.recent_sum_kk,
                ),
                recent_median_size=row.recent_median_size,
            )
        )
    rows = connection.execute(
        select(total, pilot.c.name).join(pilot, pilot.c.id == total.c.pilot_id).where(*of_total)
    ).all()
    totals = [
        PilotTotal(
            pilot=row.name,
            standard=row.standard,
            title=row.title,
            sessions=row.sessions,
            recordings=row.recordings,
            laps=row.laps,
            incomplete_laps=row.incomplete_laps,
            first_epoch_s=row.first_epoch_s,
            last_epoch_s=row.last_epoch_s,
            recent_laps=row.recent_laps,
            recent=Tally(
                row.recent_judged,
                row.recent_passed,
                row.recent_sessions,
                row.recent_sum_nn,
                row.recent_sum_nk,
                row.recent_sum_kk,
            ),
            recent_inbound_error_s=row.recent_inbound_error_s,
            recent_wind_kt=row.recent_wind_kt,
            items=tuple(items[row.pilot_id]),
        )
        for row in rows
    ]
    return tuple(sorted(totals, key=lambda each: each.pilot.casefold()))


def _all_flown(connection: sa.Connection, pilot_id: int, standard: str) -> tuple[HoldFlown, ...]:
    """All recordings of a pilot, oldest first; of one flight at one hold only one, to ``standard`` if there is."""
    recording = schema.recording.c
    rows = connection.execute(
        select(*_HOLD_COLUMNS)
        .select_from(_HOLD_ROWS)
        .where(recording.pilot_id == pilot_id)
        .order_by(recording.standard != standard, recording.standard)
    ).all()
    once: dict[tuple[str, str], HoldFlown] = {}
    for row in rows:
        once.setdefault((row.flight_hash, row.hold_hash), _hold(row))
    return tuple(sorted(once.values(), key=lambda hold: (hold.started_epoch_s, hold.flight_hash, hold.recording_id)))


def _hold(row: Any) -> HoldFlown:
    return HoldFlown(*row[: len(_HOLD_FIELDS)])


def _latest_sessions(connection: sa.Connection, flown: Sequence[HoldFlown], standard: str) -> tuple[Session, ...]:
    flights: dict[str, list[HoldFlown]] = {}
    for hold in flown:
        if hold.standard == standard:
            flights.setdefault(hold.flight_hash, []).append(hold)
    latest = list(flights.items())[-SESSIONS_DRAWN:]
    ids = [hold.recording_id for _, holds in latest for hold in holds]
    laps, items = _laps(connection, ids), _items(connection, ids)
    return tuple(
        Session(
            flight_hash=flight,
            started_epoch_s=holds[0].started_epoch_s,
            holds=tuple(holds),
            laps=tuple(lap for hold in holds for lap in laps[hold.recording_id]),
            items=tuple(item for hold in holds for item in items[hold.recording_id]),
        )
        for flight, holds in latest
    )


def _others(connection: sa.Connection, pilot_id: int, standard: str) -> tuple[tuple[Session, ...], ...]:
    """The sessions of each other pilot to this standard, of the latest recordings."""
    recording = schema.recording.c
    rows = connection.execute(
        select(*_HOLD_COLUMNS, recording.pilot_id)
        .select_from(_HOLD_ROWS)
        .where(recording.standard == standard, recording.pilot_id != pilot_id)
        .order_by(recording.id.desc())
        .limit(OTHERS_READ)
    ).all()
    flown: dict[int, list[HoldFlown]] = defaultdict(list)
    for row in rows:
        flown[row.pilot_id].append(_hold(row))
    return tuple(
        _latest_sessions(connection, sorted(own, key=lambda hold: (hold.started_epoch_s, hold.recording_id)), standard)
        for _, own in sorted(flown.items())
    )


def _laps(connection: sa.Connection, ids: Sequence[int]) -> dict[int, list[LapTime]]:
    lap = schema.lap.c
    laps: dict[int, list[LapTime]] = defaultdict(list)
    for row in connection.execute(
        select(lap.recording_id, lap.inbound_error_s, lap.judged, lap.outside)
        .where(lap.recording_id.in_(ids))
        .order_by(lap.recording_id, lap.visit, lap.number)
    ):
        laps[row.recording_id].append(LapTime(row.inbound_error_s, row.judged, row.outside))
    return laps


def _items(connection: sa.Connection, ids: Sequence[int]) -> dict[int, list[ItemValue]]:
    item = schema.item_result.c
    rows: dict[int, list[ItemRow]] = defaultdict(list)
    for row in connection.execute(
        select(
            *(item.recording_id, item.item, item.lap, item.visit),
            *(item.value, item.value_sd, item.limit_value, item.result),
        )
        .where(item.recording_id.in_(ids))
        .order_by(item.recording_id, item.position)
    ):
        rows[row.recording_id].append(
            ItemRow(row.item, "", "", row.visit, row.lap, row.value, row.value_sd, "", row.limit_value, row.result)
        )
    return defaultdict(
        list,
        {
            key: [
                ItemValue(
                    item=each.item,
                    lap=each.lap,
                    value=each.value,
                    size=None if each.value is None else size(each),
                    result=each.result,
                    limit=each.limit,
                    value_sd=each.value_sd,
                )
                for rows_of_item in by_lap(own).values()
                for each in rows_of_item
            ]
            for key, own in rows.items()
        },
    )


def _entries(connection: sa.Connection, pilot_id: int, kept: set[int]) -> tuple[EntryFlown, ...]:
    entry, recording = schema.entry.c, schema.recording
    rows = connection.execute(
        select(entry.recording_id, recording.c.started_epoch_s, recording.c.turns, entry.expected, entry.flown)
        .add_columns(entry.is_right, entry.turned_wrong_way)
        .select_from(schema.entry.join(recording))
        .where(recording.c.pilot_id == pilot_id)
        .order_by(recording.c.started_epoch_s, entry.recording_id, entry.visit)
    )
    return tuple(EntryFlown(*row[1:]) for row in rows if row.recording_id in kept)


def _findings(connection: sa.Connection, sessions: Sequence[Session]) -> tuple[tuple[str, str, int], ...]:
    """Title, advice and count of the mistakes in the last five sessions, most often first."""
    ids = [hold.recording_id for session in sessions[-5:] for hold in session.holds]
    finding = schema.finding.c
    seen: dict[str, tuple[str, str, set[int]]] = {}
    for row in connection.execute(
        select(finding.recording_id, finding.name, finding.title, finding.advice)
        .where(finding.recording_id.in_(ids))
        .order_by(finding.recording_id.desc(), finding.position)
    ):
        seen.setdefault(row.name, (row.title, row.advice, set()))[2].add(row.recording_id)
    return tuple(
        sorted(((title, advice, len(where)) for title, advice, where in seen.values()), key=lambda row: -row[2])
    )


def _latest_flown(connection: sa.Connection, standard: str) -> tuple[tuple[str, HoldFlown], ...]:
    """The latest recordings of every pilot to one standard, by name and date."""
    recording = schema.recording
    newest_first = (recording.c.started_epoch_s.desc(), recording.c.id.desc())
    ranked = (
        select(
            recording.c.id,
            func.row_number().over(partition_by=recording.c.pilot_id, order_by=newest_first).label("rank"),
        )
        .where(recording.c.standard == standard)
        .subquery()
    )
    rows = connection.execute(
        select(*_HOLD_COLUMNS, schema.pilot.c.name)
        .select_from(
            _HOLD_ROWS.join(ranked, ranked.c.id == recording.c.id).join(
                schema.pilot, schema.pilot.c.id == recording.c.pilot_id
            )
        )
        .where(ranked.c.rank <= COMPARED)
        .order_by(schema.pilot.c.name, recording.c.started_epoch_s, recording.c.id)
    ).all()
    return tuple((str(row.name), _hold(row)) for row in rows)


def _shared_holds(connection: sa.Connection, standard: str) -> list[tuple[str, str, int]]:
    """Hash, name and pilots of every hold that two or more pilots flew, most pilots first."""
    recording = schema.recording.c
    pilots = func.count(recording.pilot_id.distinct())
    rows = connection.execute(
        select(recording.hold_hash, func.min(recording.hold_name), pilots)
        .where(recording.standard == standard)
        .group_by(recording.hold_hash)
        .having(pilots > 1)
    ).all()
    return sorted(((str(a), str(b), int(c)) for a, b, c in rows), key=lambda row: (-row[2], row[1], row[0]))


def _pick_hold(shared: Sequence[tuple[str, str, int]], wanted: str | None) -> tuple[str, str, int] | None:
    if wanted is None:
        return shared[0] if shared else None
    for each in shared:
        if each[1].casefold() == wanted.strip().casefold():
            return each
    names = ", ".join(name for _, name, _ in shared[:8]) or "none"
    raise UsageError(f"no hold {wanted!r} that two pilots flew to this standard; there is: {names}.")


def _same_hold(connection: sa.Connection, hold_hash: str, standard: str) -> SameHold:
    """Each pilot's latest flight at one hold, and how many flights of theirs there are."""
    recording = schema.recording
    at_hold = sa.and_(recording.c.hold_hash == hold_hash, recording.c.standard == standard)
    newest_first = (recording.c.started_epoch_s.desc(), recording.c.id.desc())
    ranked = (
        select(
            recording.c.id,
            func.row_number().over(partition_by=recording.c.pilot_id, order_by=newest_first).label("rank"),
            func.count().over(partition_by=recording.c.pilot_id).label("flights"),
        )
        .where(at_hold)
        .subquery()
    )
    rows = connection.execute(
        select(
            *_HOLD_COLUMNS,
            recording.c.inbound_course_true_deg,
            schema.pilot.c.name,
            ranked.c.flights,
            schema.entry.c.expected,
            schema.entry.c.flown,
            schema.entry.c.is_right,
            schema.entry.c.turned_wrong_way,
        )
        .select_from(
            _HOLD_ROWS.join(ranked, ranked.c.id == recording.c.id).join(
                schema.pilot, schema.pilot.c.id == recording.c.pilot_id
            )
        )
        .where(ranked.c.rank == 1)
    ).all()
    pilots = []
    for row in rows:
        entry = None
        if row.expected is not None or row.flown is not None:
            entry = EntryFlown(
                row.started_epoch_s, row.turns, row.expected, row.flown, row.is_right, bool(row.turned_wrong_way)
            )
        pilots.append((str(row.name), _hold(row), entry, int(row.flights)))
    first = rows[0]
    return SameHold(
        hold_hash=hold_hash,
        name=first.hold_name,
        turns=first.turns,
        inbound_course_true_deg=first.inbound_course_true_deg,
        pilots=tuple(sorted(pilots, key=lambda each: each[0].casefold())),
    )
