"""Work for the tests of the pool: importable by name, as a worker process needs it."""

from __future__ import annotations

import os
import time
import weakref
from collections.abc import Callable

from trackgrade.batch.work import Flight, Outcome, Settings


def echo(flight: Flight, settings: Settings) -> Outcome:
    """Names the flight and the worker; flights called slow take longer than their neighbours."""
    time.sleep(0.3 if "slow" in flight.path else 0.0)
    return Outcome(flight.path, error=f"{os.getpid()}")


def killed_by_bad(flight: Flight, settings: Settings) -> Outcome:
    """Dies as a process killed for its memory does, on one flight."""
    if "bad" in flight.path:
        os._exit(137)
    return Outcome(flight.path, error="done")


def threads(flight: Flight, settings: Settings) -> Outcome:
    return Outcome(flight.path, error=os.environ.get("OPENBLAS_NUM_THREADS", "not set"))


class Loop:
    """Refers to itself, as what a library leaves may: only the search for garbage frees it."""

    def __init__(self) -> None:
        self.itself = self


def loops(left: list[weakref.ref[Loop]]) -> Callable[[Flight, Settings], Outcome]:
    """Work that leaves a loop behind; the references that are collected here tell when it is gone."""

    def work(flight: Flight, settings: Settings) -> Outcome:
        left.append(weakref.ref(Loop()))
        return Outcome(flight.path, error="done")

    return work
