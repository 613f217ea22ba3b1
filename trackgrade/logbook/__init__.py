"""Improvement across sessions: a database of debriefs, and pages that read it."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Mapping
from typing import Any


def name_key(name: str) -> str:
    """What tells pilots apart: the name in whatever case, spacing and form of its letters."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def check_session(pilot: str | None, instructor: str | None, note: str | None) -> None:
    """Refuse texts that neither logbook nor report takes, before anything is graded for them. Raises `UsageError`.

    Without a pilot nothing goes to a logbook; instructor and note stand on the report all the same.
    """
    from trackgrade.logbook.store import clean_texts

    clean_texts("nobody" if pilot is None else pilot, instructor, note)


def record_debrief(
    debrief_dict: Mapping[str, Any],
    *,
    pilot: str,
    instructor: str | None = None,
    note: str | None = None,
    logbook: str | os.PathLike[str] | None = None,
    report: str | os.PathLike[str] | None = None,
) -> str:
    """Record a debrief (schema trackgrade.debrief/1) for a pilot; one line that says what was done.

    ``logbook`` is a path or a URL; without one, $TRACKGRADE_LOGBOOK or the user's data folder. ``report``: where its
    report was written, so that the progress page can link it. Raises `LogbookError`, `OutputError` or `UsageError`.
    """
    from trackgrade.logbook.store import Logbook

    with Logbook(logbook) as opened:
        return opened.record(debrief_dict, pilot=pilot, instructor=instructor, note=note, report=report).message


def files_of(logbook: str | os.PathLike[str] | None = None) -> list[str]:
    """The files of a logbook, none of a PostgreSQL one: nothing is to be written over them. Raises `LogbookError`."""
    from trackgrade.logbook.database import default_place, url_of

    url = url_of(logbook or default_place())
    if url.get_backend_name() != "sqlite" or not url.database:
        return []
    return [url.database + ending for ending in ("", "-wal", "-shm", "-journal")]
