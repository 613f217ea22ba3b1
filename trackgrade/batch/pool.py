"""Workers on this machine: each flight once, in order; one that kills its worker stops no other."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.context import BaseContext
from multiprocessing.synchronize import Event

from trackgrade.batch.alone import Advance, Work, grade
from trackgrade.batch.work import Flight, Outcome, Settings

#: Flights handed out ahead of the one awaited, for each worker: enough that none waits, few enough that
#: finished reports do not pile up in memory behind a slow flight.
AHEAD = 4


def run(
    flights: Sequence[Flight], settings: Settings, jobs: int, advance: Advance, work: Work = grade
) -> Generator[Outcome]:
    """The outcome of each flight, in the order given, with ``jobs`` worker processes.

    ``advance`` is called once for each flight done; ``work`` must be importable by name. Closing the iterator (or an
    interrupt) ends the workers after the flight each is at; those not begun are left.
    """
    waiting = deque(flights)
    while waiting:
        pool, stop = _pool(min(jobs, len(waiting)), settings)
        running: deque[tuple[Flight, Future[Outcome]]] = deque()
        try:
            while waiting or running:
                while waiting and len(running) < AHEAD * jobs:
                    with _interrupts_held():
                        running.append((waiting[0], pool.submit(_in_worker, work, waiting[0], settings)))
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
            # Not terminated: a worker killed in the middle of a result would leave this process waiting for the rest.
            stop.set()
            pool.shutdown(wait=True, cancel_futures=True)


def _run_alone(flight: Flight, settings: Settings, work: Work) -> Outcome:
    pool, _ = _pool(1, settings)
    try:
        with _interrupts_held():
            future = pool.submit(_in_worker, work, flight, settings)
        return future.result()
    except BrokenProcessPool:
        return Outcome(flight.path, error=f"{flight.path}: the worker died on it (out of memory?); grade it alone")
    finally:
        pool.shutdown(wait=True)


def _pool(workers: int, settings: Settings) -> tuple[ProcessPoolExecutor, Event]:
    """Workers, and the event that tells them to begin no more flights."""
    ways = context(["trackgrade.batch.flight", *(["trackgrade.report.page"] * settings.report)])
    stop = ways.Event()
    return ProcessPoolExecutor(workers, mp_context=ways, initializer=_start_worker, initargs=(stop,)), stop


def context(preload: list[str]) -> BaseContext:
    """How processes are started here, with these modules loaded in them."""
    # A fork server loads numpy, scipy and the rest once, and every worker starts as its copy. It is also safe
    # where the parent has threads. Windows has no fork: each worker loads them itself.
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    ways = multiprocessing.get_context("forkserver")
    ways.set_forkserver_preload(preload)
    _start_fork_server()
    return ways


def _start_fork_server() -> None:
    """Start the fork server deaf to Ctrl-C, and so its workers: the parent decides, they do not print."""
    from multiprocessing import forkserver

    if threading.current_thread() is not threading.main_thread():  # signals are the main thread's to set
        forkserver.ensure_running()
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)  # for the milliseconds of a start; it is inherited
    try:
        forkserver.ensure_running()
    finally:
        signal.signal(signal.SIGINT, before)


@contextlib.contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C takes effect at the end of the block. A worker whose start is cut short is nobody's, and complains."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    held: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, _: held.append(number))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if held:
        raise KeyboardInterrupt


_stop: Event | None = None  # of a worker: set when the parent wants no more


def _start_worker(stop: Event) -> None:
    global _stop
    _stop = stop
    prepare_worker()


def prepare_worker() -> None:
    """In a new process: deaf to Ctrl-C, one thread for numbers, and it ends with its parent."""
    # Ctrl-C reaches the whole group of processes; here for Windows, where each worker starts by itself.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    """End this worker when its parent is gone (killed): it would wait for flights for ever."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _in_worker(work: Work, flight: Flight, settings: Settings) -> Outcome:
    if _stop is not None and _stop.is_set():  # handed out before the interrupt, and waited for by nobody
        return Outcome(flight.path, error="not begun")
    return work(flight, settings)
