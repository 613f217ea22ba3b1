"""Opening a logbook's database: where it is, SQLite's settings, PostgreSQL's driver, errors for people.

Every write is one transaction that no other writer overlaps, on both databases: SQLite's own write lock, and
one advisory lock on PostgreSQL. So two graders at once lose nothing.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import sqlalchemy as sa
from sqlalchemy import event, exc

from trackgrade.errors import LogbookError, OutputError, UsageError
from trackgrade.files import data_folder
from trackgrade.logbook import schema

#: Overrides the default place.
ENVIRONMENT = "TRACKGRADE_LOGBOOK"

#: How long a writer waits for another one, in seconds.
BUSY_TIMEOUT_S = 30

#: Key of the advisory lock that writers on PostgreSQL take (any constant will do).
_POSTGRES_LOCK = 7_453_001

_DISK_WORDS = (
    "readonly",
    "read-only",
    "disk is full",
    "disk i/o",
    "unable to open",
    "no space",
    "permission denied",
)


def default_place() -> str:
    """The logbook used when none is named: $TRACKGRADE_LOGBOOK, else a file in the user's data folder."""
    return os.environ.get(ENVIRONMENT, "").strip() or str(data_folder() / "logbook.sqlite")


def url_of(place: str | os.PathLike[str]) -> sa.URL:
    """A path or a URL as a URL. ``postgresql://`` uses psycopg.

    Raises LogbookError: not a URL that can be read, or a database of another kind.
    """
    text = os.fspath(place)
    if "://" not in text:
        return sa.URL.create("sqlite", database=str(Path(text).expanduser()))
    try:
        url = sa.make_url(text)
        kind = url.get_backend_name()
    except (exc.ArgumentError, ValueError) as error:  # a port that is no number
        raise LogbookError("the logbook's URL cannot be read; write postgresql://user@host/database.") from error
    if kind == "sqlite" and url.database not in (None, "", ":memory:"):
        return url
    if kind in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    raise LogbookError(f"logbook {text.split('://')[0]}://...: only a file path (SQLite) or postgresql:// can be used.")


def open_engine(place: str | os.PathLike[str], *, create: bool) -> sa.Engine:
    """An engine on a logbook of the present version; made, or brought up from an older version, as needed.

    Raises LogbookError: it cannot be opened, is no logbook, is of a newer version, or is missing and ``create`` is
    False.
    """
    url = url_of(place)
    name = shown(url)
    if url.get_backend_name() == "sqlite":
        _prepare_file(Path(str(url.database)), create=create)
        url = _as_it_lies(url)
    try:
        engine = sa.create_engine(url, poolclass=sa.pool.NullPool, connect_args=_connect_args(url))
    except ModuleNotFoundError as error:
        raise LogbookError(
            f"logbook {name}: PostgreSQL needs one more package; run  pip install 'psycopg[binary]'."
        ) from error
    if url.get_backend_name() == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    with errors_for_people(name):
        _bring_up(engine, name, create=create)
    return engine


def shown(url: sa.URL) -> str:
    """The place as a person may see it: the path, or the URL without its password."""
    return str(url.database) if url.get_backend_name() == "sqlite" else url.render_as_string(hide_password=True)


@contextlib.contextmanager
def writing(engine: sa.Engine) -> Iterator[sa.Connection]:
    """One transaction that no other writer overlaps: committed whole, or nothing of it."""
    with engine.connect() as plain:
        connection = plain.execution_options(trackgrade_writes=True)
        with connection.begin():
            if connection.dialect.name == "postgresql":
                connection.execute(sa.text("SELECT pg_advisory_xact_lock(:key)"), {"key": _POSTGRES_LOCK})
            yield connection


@contextlib.contextmanager
def reading(engine: sa.Engine) -> Iterator[sa.Connection]:
    """One transaction for reading: every query in it sees the same state."""
    with engine.connect() as plain:
        level = {"isolation_level": "REPEATABLE READ"} if plain.dialect.name == "postgresql" else {}
        connection = plain.execution_options(**level)
        with connection.begin():
            yield connection


@contextlib.contextmanager
def outside_transactions(engine: sa.Engine) -> Iterator[sa.Connection]:
    """For the few statements that no transaction may hold (VACUUM, the journal's mode)."""
    with engine.connect() as plain:
        yield plain.execution_options(isolation_level="AUTOCOMMIT", trackgrade_plain=True)


@contextlib.contextmanager
def errors_for_people(name: str) -> Iterator[None]:
    """Database errors as one line that says which logbook, what, and what to do."""
    try:
        yield
    except UnicodeEncodeError as error:
        raise UsageError(
            "a name that was given is no text (its bytes are not UTF-8): write it in plain text."
        ) from error
    except UnicodeDecodeError as error:  # of its table of contents, which SQLite quotes in a message
        raise LogbookError(
            f"logbook {name} is damaged (text in it is not UTF-8); name another with --logbook."
        ) from error
    except exc.DBAPIError as error:
        text = " ".join(str(error.orig).split())
        lower = text.lower()
        if "locked" in lower or "busy" in lower:
            raise LogbookError(
                f"logbook {name} was in use by another program for over {BUSY_TIMEOUT_S} s; try again."
            ) from error
        if any(word in lower for word in _DISK_WORDS):
            raise OutputError(
                f"logbook {name} cannot be written ({text}); check the folder, its rights and the disk."
            ) from error
        if any(word in lower for word in ("not a database", "malformed", "could not decode")):
            raise LogbookError(
                f"logbook {name} is not a logbook, or is damaged ({text}); name another with --logbook."
            ) from error
        if isinstance(error, exc.OperationalError):
            raise LogbookError(f"logbook {name} cannot be reached ({text}); check the URL and the server.") from error
        raise LogbookError(f"logbook {name}: {text}.") from error


def _connect_args(url: sa.URL) -> dict[str, Any]:
    if url.get_backend_name() == "sqlite":
        return {"timeout": BUSY_TIMEOUT_S}
    return {} if "connect_timeout" in url.query else {"connect_timeout": 10}


def _prepare_file(path: Path, *, create: bool) -> None:
    if path.is_dir():
        raise LogbookError(f"logbook {path} is a folder; name a file in it.")
    if path.exists():
        return
    if not create:
        raise LogbookError(
            f"no logbook at {path}; record a flight first:  trackgrade grade TRACK --hold HOLD --pilot NAME."
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # It holds personal data: for its owner alone.
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    except OSError as error:
        raise OutputError(
            f"logbook {path} cannot be made ({error.strerror}); name another place with --logbook."
        ) from error


def _as_it_lies(url: sa.URL) -> sa.URL:
    """The URL of a logbook in a folder that takes no files (a backup, another's share): read as it lies there.

    SQLite wants to write beside a database even to read it, unless it is told that nobody else can.
    """
    path = Path(str(url.database)).absolute()
    if os.access(path.parent, os.W_OK) or not path.exists():
        return url
    with contextlib.suppress(OSError):
        if path.with_name(path.name + "-wal").stat().st_size:
            raise LogbookError(
                f"logbook {path} has unfinished entries in a folder that cannot be written; copy the folder elsewhere."
            )
    return sa.URL.create("sqlite", database=f"file:{quote(str(path))}", query={"immutable": "1", "uri": "true"})


def _set_up_sqlite(dbapi_connection: sqlite3.Connection, _record: object) -> None:
    # No statement of the driver's own: transactions begin where `_begin_sqlite` says.
    dbapi_connection.isolation_level = None
    cursor = dbapi_connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_S * 1000}")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute("PRAGMA synchronous = FULL")  # what is committed survives a power cut, too
    cursor.execute("PRAGMA secure_delete = ON")  # a deleted pilot's rows are overwritten
    cursor.execute("PRAGMA temp_store = MEMORY")
    cursor.close()


def _begin_sqlite(connection: sa.Connection) -> None:
    # A writer takes the lock at once: taken later, SQLite may refuse it without waiting.
    options = connection.get_execution_options()
    if not options.get("trackgrade_plain"):
        connection.exec_driver_sql("BEGIN IMMEDIATE" if options.get("trackgrade_writes") else "BEGIN")


def _keep_write_ahead_log(engine: sa.Engine) -> None:
    """Readers and a writer at once; the file keeps the mode. SQLite refuses the change at once where another program
    has the file open, whatever its timeout: it is asked again, for as long."""
    until = time.monotonic() + BUSY_TIMEOUT_S
    while True:
        try:
            with outside_transactions(engine) as connection:
                connection.exec_driver_sql("PRAGMA journal_mode = WAL")
            return
        except exc.OperationalError as error:
            if "locked" not in str(error).lower() or time.monotonic() > until:
                raise
            time.sleep(0.02)


def _bring_up(engine: sa.Engine, name: str, *, create: bool) -> None:
    with reading(engine) as connection:
        version = schema.found_version(connection)
        empty = version is None and not sa.inspect(connection).get_table_names()
    if version == schema.VERSION:
        return
    if version is None and not empty:
        raise LogbookError(f"logbook {name} is a database of something else; name another with --logbook.")
    if version is None and not create:
        raise LogbookError(f"logbook {name} is empty; record a flight first:  trackgrade grade ... --pilot NAME.")
    if version is not None and version < min(schema.STEPS):
        raise LogbookError(f"logbook {name} is of version {version}, which never was; name another with --logbook.")
    if version is not None and version > schema.VERSION:
        raise LogbookError(
            f"logbook {name} is of version {version}, and this program knows {schema.VERSION};"
            " install a newer trackgrade."
        )
    if engine.dialect.name == "sqlite":
        _keep_write_ahead_log(engine)
    with writing(engine) as connection:
        version = schema.found_version(connection)  # another program may have been first
        if version is None:
            schema.create(connection)
        elif version < schema.VERSION:
            schema.migrate(connection, version)
