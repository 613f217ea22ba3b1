"""Work for the tests of the pool: importable by name, as a worker process needs it."""

from __future__ import annotations

import os
import time

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
