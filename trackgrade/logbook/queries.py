"""What the pages read from a logbook: laps and items only of the sessions that are shown."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import fields
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from sqlalchemy import func, select

from trackgrade.errors import UsageError
from trackgrade.logbook import schema
from trackgrade.logbook.database import errors_for_people, reading
from trackgrade.logbook.history import (
    CEILINGS,
    ClassHistory,
    EntryRow,
    FindingRow,
    HoldFlown,
    ItemRow,
    ItemTotal,
    LapRow,
    PilotHistory,
    PilotTotal,
    Session,
)
from trackgrade.logbook.shares import share
from trackgrade.logbook.store import Logbook, find_pilot, stored_debrief

#: What a pilot can do now is read from this many sessions: fewer rest on chance, more on the past.
RECENT_SESSIONS = 5

#: A page draws, and reads a trend from, this many sessions at most: what was long ago hides what changes now.
SESSIONS_DRAWN = 40

#: What conditions do to errors is learnt from this many of the latest recordings of others.
OTHERS_READ = 120

#: Pilots are set beside each other by this many of their latest sessions.
COMPARED = 10

#: Laps are drawn of this many of the latest sessions.
SESSIONS_SEEN = 12

_COLUMNS = [schema.recording.c[each.name] for each in fields(HoldFlown) if each.name in schema.recording.c]


def pilot_history(logbook: Logbook, pilot: str, standard: str | None = None) -> PilotHistory:
    """A pilot's page, to the standard named, else the one most used by this pilot.

    Raises UsageError: no such pilot, or nothing recorded of them to that standard.
    """
    with errors_for_people(logbook.name), reading(logbook.engine) as connection:
        pilot_id = find_pilot(connection, pilot)
        recording = schema.recording.c
        mine = recording.pilot_id == pilot_id
        standards = _standards(connection, mine)
        chosen = _choose(standards, standard)
        to_standard = recording.standard == chosen
        sessions = _sessions(connection, _latest(connection, sa.and_(mine, to_standard), SESSIONS_DRAWN))
        total = _totals(connection, sa.and_(mine, to_standard), sessions)[pilot_id]
        of_others = select(recording.id).where(to_standard, ~mine).order_by(recording.id.desc()).limit(OTHERS_READ)
        others = _sessions(connection, connection.scalars(of_others).all())
        seen = [hold.recording_id for session in sessions[pilot_id][-SESSIONS_SEEN:] for hold in session.holds]
        return PilotHistory(
            total=total,
            sessions=sessions[pilot_id],
            first_session=total.sessions - len(sessions[pilot_id]) + 1,
            flown=_all_flown(connection, mine, chosen),
            other_standards=tuple((name, count) for name, count in standards if name != chosen),
            findings=_findings(sessions[pilot_id]),
            others=tuple(own[-SESSIONS_DRAWN:] for own in others.values()),
            seen={key: stored_debrief(connection, key) for key in seen},
        )


def class_history(logbook: Logbook, standard: str | None = None, hold: str | None = None) -> ClassHistory:
    """The instructor's page, to the standard named or the one most used; ``hold`` names the hold compared.

    Without ``hold``, the one that most pilots flew is compared; None where no two pilots flew the same. Raises
    UsageError: an empty logbook, or a standard or hold that is not in it.
    """
    with errors_for_people(logbook.name), reading(logbook.engine) as connection:
        standards = _standards(connection, sa.true())
        chosen = _choose(standards, standard)
        to_standard = schema.recording.c.standard == chosen
        recent = _sessions(connection, _latest(connection, to_standard, RECENT_SESSIONS))
        totals = _totals(connection, to_standard, recent)
        flown = _holds(connection, _latest(connection, to_standard, COMPARED), whole=False)
        shared = _shared_holds(connection, chosen)
        compared = _pick_hold(shared, hold)
        return ClassHistory(
            standard=chosen,
            title=next(iter(totals.values())).title,
            pilots=tuple(totals.values()),
            flown=tuple((total.pilot, hold) for key, total in totals.items() for hold in flown[key]),
            same_hold=_same_hold(connection, compared[0], chosen, totals) if compared else (),
            other_holds=tuple((name, pilots) for key, name, pilots in shared if not compared or key != compared[0]),
            other_standards=tuple((name, count) for name, count in standards if name != chosen),
        )


def _standards(connection: sa.Connection, where: sa.ColumnElement[bool]) -> list[tuple[str, int]]:
    """Standards with their number of recordings, the most used first."""
    standard = schema.recording.c.standard
    rows = connection.execute(select(standard, func.count()).where(where).group_by(standard)).all()
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


def _latest(connection: sa.Connection, where: sa.ColumnElement[bool], sessions: int) -> Sequence[int]:
    """The recordings of each pilot's latest flights; those that began in the same instant count as one here."""
    recording = schema.recording.c  # only what the index of a pilot's recordings has, in its order
    rank = func.dense_rank().over(partition_by=recording.pilot_id, order_by=recording.started_epoch_s.desc())
    ranked = select(recording.id, rank.label("rank")).where(where).subquery()
    return connection.scalars(select(ranked.c.id).where(ranked.c.rank <= sessions)).all()


def _one_of(column: sa.Column[int], ids: Sequence[int]) -> sa.ColumnElement[bool]:
    """Written out: a database takes only so many parameters."""
    return column.in_(sa.bindparam("ids", ids, expanding=True, literal_execute=True))


def _holds(connection: sa.Connection, ids: Sequence[int], *, whole: bool) -> dict[int, list[HoldFlown]]:
    """The recordings of each pilot, oldest first, with their entries, and with all else where they are ``whole``."""
    recording = schema.recording.c
    children = [_rows(connection, schema.entry, EntryRow, ids)]
    if whole:
        more = ((schema.lap, LapRow), (schema.item_result, ItemRow), (schema.finding, FindingRow))
        children += [_rows(connection, table, kind, ids) for table, kind in more]
    flown: dict[int, list[HoldFlown]] = defaultdict(list)
    for id, pilot_id, *values in connection.execute(
        select(recording.id, recording.pilot_id, *_COLUMNS)
        .where(_one_of(recording.id, ids))
        .order_by(recording.pilot_id, recording.started_epoch_s, recording.flight_hash, recording.id)
    ):
        own = [*values, id, *(tuple(rows[id]) for rows in children)]  # the fields of a hold, in their order
        flown[pilot_id].append(HoldFlown(*own))
    return flown


def _rows(connection: sa.Connection, table: sa.Table, kind: type, ids: Sequence[int]) -> dict[int, list[Any]]:
    """The rows of a table of these recordings, by recording, in order."""
    found: dict[int, list[Any]] = defaultdict(list)
    columns = [table.c[each.name] for each in fields(kind)]
    own = select(table.c.recording_id, *columns).where(_one_of(table.c.recording_id, ids)).order_by(*table.primary_key)
    for recording_id, *values in connection.execute(own).all():
        found[recording_id].append(kind(*values))
    return found


def _sessions(connection: sa.Connection, ids: Sequence[int]) -> dict[int, tuple[Session, ...]]:
    """These recordings of each pilot as sessions, oldest first."""
    return {
        pilot_id: tuple(Session(tuple(holds)) for _, holds in groupby(own, lambda hold: hold.flight_hash))
        for pilot_id, own in sorted(_holds(connection, ids, whole=True).items())
    }


def _all_flown(connection: sa.Connection, mine: sa.ColumnElement[bool], standard: str) -> tuple[HoldFlown, ...]:
    """All recordings of a pilot, oldest first; of one flight at one hold only one, to ``standard`` if there is."""
    once: dict[tuple[str, str], HoldFlown] = {}
    ids = connection.scalars(select(schema.recording.c.id).where(mine)).all()
    (flown,) = _holds(connection, ids, whole=False).values()
    for hold in sorted(flown, key=lambda hold: (hold.standard != standard, hold.standard)):
        once.setdefault((hold.flight_hash, hold.hold_hash), hold)
    return tuple(sorted(once.values(), key=lambda hold: (hold.started_epoch_s, hold.flight_hash, hold.recording_id)))


def _totals(
    connection: sa.Connection, where: sa.ColumnElement[bool], sessions: Mapping[int, Sequence[Session]]
) -> dict[int, PilotTotal]:
    """Each pilot by id, in the order of names; ``sessions``: the last ones of each, at least."""
    recording, pilot = schema.recording.c, schema.pilot.c
    rows = connection.execute(
        select(
            *(pilot.id, pilot.name, func.count(recording.flight_hash.distinct()), func.sum(recording.laps)),
            *(func.min(recording.started_epoch_s), func.max(recording.started_epoch_s)),
        )
        .select_from(schema.recording.join(schema.pilot))
        .where(where)
        .group_by(pilot.id, pilot.name)
    ).all()
    totals = {}
    for id, name, count, laps, first, last in sorted(rows, key=lambda row: row.name.casefold()):
        recent = sessions[id][-RECENT_SESSIONS:]
        counts = [(each.laps_judged, each.laps_within) for each in recent]
        latest = recent[-1].holds[-1]
        totals[id] = PilotTotal(
            pilot=name,
            standard=latest.standard,
            title=latest.standard_title,
            sessions=count,
            laps=laps,
            first_epoch_s=first,
            last_epoch_s=last,
            recent=share(counts),
            items=_item_totals(sessions[id]),
        )
    return totals


def _item_totals(sessions: Sequence[Session]) -> tuple[ItemTotal, ...]:
    """Every item of these sessions, as the latest has it, over the last of them, in the order of the debrief."""
    place: dict[str, int] = defaultdict(int)
    latest: dict[str, Sequence[ItemRow]] = {}
    for session in sessions:
        latest |= session.by_item
        for n, name in enumerate(session.by_item):
            place[name] = max(place[name], n)
    totals = []
    for name in sorted(latest, key=lambda name: (place[name], name)):
        rows = latest[name]
        measured = [session.measured(name) for session in sessions[-RECENT_SESSIONS:]]
        sizes = [[row.size for row in own if row.size is not None] for own in measured]
        medians = [statistics.median(own) for own in sizes if own]
        totals.append(
            ItemTotal(
                item=name,
                title=rows[0].title,
                unit=rows[0].unit,
                limit=next((row.limit for row in rows if row.limit is not None), None),
                recent=share([(len(own), sum(row.result != "outside" for row in own)) for own in measured]),
                median_size=statistics.median(medians) if medians and name not in CEILINGS else None,
            )
        )
    return tuple(totals)


def _findings(sessions: Sequence[Session]) -> tuple[tuple[str, str, int], ...]:
    """Title, advice and count of the mistakes in the last sessions, most often first."""
    holds = [hold for session in sessions[-RECENT_SESSIONS:] for hold in session.holds]
    seen: dict[str, tuple[str, str, set[int]]] = {}
    for hold in sorted(holds, key=lambda each: -each.recording_id):
        for row in hold.findings:
            seen.setdefault(row.name, (row.title, row.advice, set()))[2].add(hold.recording_id)
    return tuple(
        sorted(((title, advice, len(where)) for title, advice, where in seen.values()), key=lambda row: -row[2])
    )


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


def _same_hold(
    connection: sa.Connection, hold_hash: str, standard: str, totals: Mapping[int, PilotTotal]
) -> tuple[tuple[str, HoldFlown, int], ...]:
    """Each pilot's latest recording at one hold, and how many there are, in the order of names."""
    recording = schema.recording.c
    at_hold = sa.and_(recording.hold_hash == hold_hash, recording.standard == standard)
    counts = connection.execute(select(recording.pilot_id, func.count()).where(at_hold).group_by(recording.pilot_id))
    flights = {id: int(count) for id, count in counts}
    latest = _holds(connection, _latest(connection, at_hold, 1), whole=False)
    return tuple((total.pilot, latest[id][-1], flights[id]) for id, total in totals.items() if id in flights)
