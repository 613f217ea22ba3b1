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
Work = Callable[[Flight, Settings], Outcome]

#: Flights handed out ahead of the one awaited, for each worker: enough that none waits, few enough that
#: finished reports do not pile up in memory behind a slow flight.
AHEAD = 4


def grade(flight: Flight, settings: Settings) -> Outcome:
    """`trackgrade.batch.flight.grade_flight`, loaded where and when it runs: it brings numpy and scipy with it."""
    from trackgrade.batch.flight import grade_flight

    return grade_flight(flight, settings)


def run(
    flights: Sequence[Flight], settings: Settings, jobs: int, advance: Advance, work: Work = grade
) -> Generator[Outcome]:
    """The outcome of each flight, in the order given, with ``jobs`` worker processes.

    ``advance`` is called once for each flight done; ``work`` must be importable by name. Closing the iterator (or an
    interrupt) ends the workers at once: they write nothing, so nothing is left half done.
    """
    if jobs <= 1 or len(flights) <= 1:
        for flight in flights:
            outcome = work(flight, settings)
            advance()
            yield outcome
        return
    waiting = deque(flights)
    while waiting:
        pool = _pool(min(jobs, len(waiting)), settings)
        running: deque[tuple[Flight, Future[Outcome]]] = deque()
        try:
            while waiting or running:
                while waiting and len(running) < AHEAD * jobs:
                    running.append((waiting[0], pool.submit(work, waiting[0], settings)))
                    waiting.popleft()
                outcome = running[0][1].result()
                running.popleft()
                advance()
                yield outcome
        except BrokenProcessPool:
            # Some worker was killed (memory, a crash in a library). Which flight did it is not known: do
            # the ones that were out one at a time, then go on with the rest.
            while running:
                outcome = _run_alone(running[0][0], settings, work)
                running.popleft()
                advance()
                yield outcome
        finally:
            _end(pool, at_once=bool(running))


def cores() -> int:
    """How many flights to grade at a time: the cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _run_alone(flight: Flight, settings: Settings, work: Work) -> Outcome:
    pool = _pool(1, settings)
    try:
        return pool.submit(work, flight, settings).result()
    except BrokenProcessPool:
        return Outcome(flight.path, error=f"{flight.path}: the worker died on it (out of memory?); grade it alone")
    finally:
        _end(pool, at_once=False)


def _pool(workers: int, settings: Settings) -> ProcessPoolExecutor:
    # A fork server loads numpy, scipy and the rest once, and every worker starts as its copy. It is also safe
    # where the parent has threads. Windows has no fork: each worker loads them itself.
    if "forkserver" in multiprocessing.get_all_start_methods():
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(["trackgrade.batch.flight", *(["trackgrade.report.page"] * settings.report)])
    else:
        context = multiprocessing.get_context("spawn")  # type: ignore[assignment]
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_start_worker)


def _start_worker() -> None:
    # Ctrl-C reaches the whole group of processes: the parent decides, the workers do not print.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


def _end(pool: ProcessPoolExecutor, *, at_once: bool) -> None:
    processes = list((pool._processes or {}).values())  # gone from the pool once it is shut down
    pool.shutdown(wait=not at_once, cancel_futures=True)
    if at_once:
        for process in processes:
            process.terminate()
        for process in processes:
            process.join(timeout=5)
