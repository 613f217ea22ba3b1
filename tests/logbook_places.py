"""Where the tests of the logbook keep theirs: an SQLite file, or a schema of their own in a real PostgreSQL."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

#: URL of a server that tests may write to, as .ci/start-postgres prints it.
POSTGRES = "TRACKGRADE_TEST_POSTGRES"

#: The same test on both databases.
BOTH = ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]


def new_place(kind: str, folder: Path) -> Iterator[str]:
    """A place with no logbook in it yet; what is made there is removed afterwards."""
    if kind == "sqlite":
        yield str(folder / "logbook.sqlite")
        return
    url = os.environ.get(POSTGRES)
    if not url:
        # Under CI=true a skipped test is a failure: see conftest.py.
        pytest.skip(f"{POSTGRES} is not set; start a server with .ci/start-postgres")
    name = f"logbook_{secrets.token_hex(6)}"
    engine = sa.create_engine(sa.make_url(url).set(drivername="postgresql+psycopg"), poolclass=sa.pool.NullPool)
    with engine.begin() as connection:
        connection.exec_driver_sql(f"CREATE SCHEMA {name}")
    try:
        yield f"{url}?options=-csearch_path%3D{name}"
    finally:
        with engine.begin() as connection:
            connection.exec_driver_sql(f"DROP SCHEMA {name} CASCADE")
