"""A whole batch in order: what is done already comes from the record, the rest from workers."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Generator, Sequence
from typing import TYPE_CHECKING

from trackgrade.batch import alone
from trackgrade.batch.alone import Advance
from trackgrade.batch.work import Flight, Outcome, Settings

if TYPE_CHECKING:
    from trackgrade.batch.done import DoneBefore


def run(
    flights: Sequence[Flight],
    settings: Settings,
    *,
    jobs: int = 1,
    scheduler: str | None = None,
    done: DoneBefore | None = None,
    advance: Advance = lambda: None,
) -> Generator[tuple[Flight, Outcome]]:
    """Each flight with its outcome, in the order given, whoever does the work.

    ``done``: skip what stands unchanged in this record. ``scheduler``: the address of a dask scheduler, instead of
    ``jobs`` processes here. Close the iterator to stop early. Raises UsageError where no scheduler answers.
    """
    skipped = {flight.path for flight in flights if done is not None and done.find(flight, settings)}
    left = [flight for flight in flights if flight.path not in skipped]
    if scheduler is not None:
        from trackgrade.batch import cluster

        fresh = cluster.run(left, settings, scheduler, advance)
    elif jobs <= 1 or len(left) <= 1:
        fresh = alone.run(left, settings, advance)
    else:
        from trackgrade.batch import pool

        fresh = pool.run(left, settings, jobs, advance)
    with contextlib.closing(fresh):
        for number, flight in enumerate(flights):
            if number:
                # A command looks for garbage rarely (`commands`); what a flight left is too much to wait for that.
                # After the last one it would only look through every module.
                gc.collect(1)
            earlier = done.find(flight, settings) if done is not None and flight.path in skipped else None
            if flight.path not in skipped:
                yield flight, next(fresh)
            elif earlier is not None:
                advance()
                yield flight, earlier
            else:  # its report was deleted meanwhile
                yield from run([flight], settings, jobs=1, advance=advance)
