"""Flights one after another in this process: no machinery of workers is loaded for it."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Sequence

from trackgrade.batch.work import Flight, Outcome, Settings

Advance = Callable[[], None]
Work = Callable[[Flight, Settings], Outcome]


def grade(flight: Flight, settings: Settings) -> Outcome:
    """`trackgrade.batch.flight.grade_flight`, loaded where and when it runs: it brings numpy and scipy with it."""
    from trackgrade.batch.flight import grade_flight

    return grade_flight(flight, settings)


def run(flights: Sequence[Flight], settings: Settings, advance: Advance, work: Work = grade) -> Generator[Outcome]:
    """The outcome of each flight, in the order given; ``advance`` is called once for each flight done."""
    for flight in flights:
        outcome = work(flight, settings)
        advance()
        yield outcome


def cores() -> int:
    """How many flights to grade at a time: the cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
