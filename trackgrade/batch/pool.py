"""Workers on this machine: each flight once, in order; one that kills its worker stops no other."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections import deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool

from trackgrade.batch.work import Flight, Outcome, Settings

Advance = Callable[[], None]

#: Flights handed out ahead of the one awaited, for each worker: enough that none waits, few enough that
#: finished reports do not pile up in memory behind a slow flight.
AHEAD = 4


def run(flights: Sequence[Flight], settings: Settings, jobs: int, advance: Advance) -> Generator[Outcome]:
    """The outcome of each flight, in the order given, with ``jobs`` worker processes.

    ``advance`` is called once for each flight done. Closing the iterator (or an interrupt) ends the workers
    without waiting for the flights not begun.
    """
    if jobs <= 1 or len(flights) <= 1:
        yield from _run_here(flights, settings, advance)
        return
    waiting = deque(flights)
    while waiting:
        pool = _pool(min(jobs, len(waiting)))
        running: deque[tuple[Flight, Future[Outcome]]] = deque()
        try:
            while waiting or running:
                while waiting and len(running) < AHEAD * jobs:
                    running.append((waiting[0], pool.submit(_in_worker, waiting[0], settings)))
                    waiting.popleft()
                outcome = running[0][1].result()
                running.popleft()
                advance()
                yield outcome
        except BrokenProcessPool:
            # Some worker was killed (memory, a crash in a library). Which flight did it is not known: do
            # the ones that were out one at a time, then go on with the rest.
            for flight, _ in running:
                outcome = _run_alone(flight, settings)
                advance()
                yield outcome
        finally:
            _end(pool)


def cores() -> int:
    """How many flights to grade at a time: the cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _run_here(flights: Sequence[Flight], settings: Settings, advance: Advance) -> Generator[Outcome]:
    from trackgrade.batch.flight import grade_flight

    for flight in flights:
        outcome = grade_flight(flight, settings)
        advance()
        yield outcome


def _run_alone(flight: Flight, settings: Settings) -> Outcome:
    pool = _pool(1)
    try:
        return pool.submit(_in_worker, flight, settings).result()
    except BrokenProcessPool:
        return Outcome(flight.path, error=f"{flight.path}: the worker died on it (out of memory?); grade it alone")
    finally:
        _end(pool)


def _pool(workers: int) -> ProcessPoolExecutor:
    # A fork server loads numpy, scipy and the rest once, and every worker starts as its copy. It is also safe
    # where the parent has threads. Windows has no fork: each worker loads them itself.
    if "forkserver" in multiprocessing.get_all_start_methods():
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(["trackgrade.batch.flight"])
    else:
        context = multiprocessing.get_context("spawn")  # type: ignore[assignment]
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_start_worker)


def _start_worker() -> None:
    # Ctrl-C reaches the whole group of processes: the parent decides, the workers do not print.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def _in_worker(flight: Flight, settings: Settings) -> Outcome:
    from trackgrade.batch.flight import grade_flight

    return grade_flight(flight, settings)


def _end(pool: ProcessPoolExecutor) -> None:
    processes = list((pool._processes or {}).values())
    pool.shutdown(wait=False, cancel_futures=True)
    for process in processes:  # only reached with work left when interrupted: workers own no files
        process.terminate()
    for process in processes:
        process.join(timeout=5)
