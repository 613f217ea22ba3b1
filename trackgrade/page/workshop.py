"""Work that takes seconds, each piece in a process of its own: the page stays quick, and any piece can be stopped.

A file that kills its process (memory, a fault in a library) harms no other piece. What somebody waits for before the
next click goes first.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import queue
import signal
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any, Literal

from trackgrade.batch import pool
from trackgrade.errors import TrackgradeError

State = Literal["waiting", "running", "done", "failed", "stopped"]
#: Workers give way to the page: niceness above its own.
NICER_BY = 5
#: To end after it is told to [s]; then it is ended.
PATIENCE_S = 3.0


@dataclass(eq=False)
class Piece:
    """One piece of work, and what it is given. ``result`` is what it gave; ``problem`` one line where it failed."""

    work: Callable[..., Any]
    given: tuple[Any, ...]
    state: State = "waiting"
    result: Any = None
    problem: str = ""
    over: threading.Event = field(default_factory=threading.Event, repr=False)

    @property
    def busy(self) -> bool:
        return self.state in ("waiting", "running")


class Workshop:
    """So many pieces at a time, the urgent first. `close` ends everything."""

    def __init__(self, at_a_time: int, preload: tuple[str, ...] = ()) -> None:
        self._ways: Any = pool.context(list(preload))
        self._orders: queue.PriorityQueue[tuple[int, int, Piece | None]] = queue.PriorityQueue()
        self._numbers = itertools.count()
        self._lock = threading.Lock()
        self._running: dict[Piece, Any] = {}
        self._threads = [threading.Thread(target=self._serve, daemon=True) for _ in range(at_a_time)]
        for thread in self._threads:
            thread.start()

    def order(self, work: Callable[..., Any], *given: Any, urgent: bool = False) -> Piece:
        """Hand a piece in; ``work`` and what it is given go to another process by name and value."""
        piece = Piece(work, given)
        self._orders.put((0 if urgent else 1, next(self._numbers), piece))
        return piece

    def stop(self, piece: Piece) -> None:
        """End a piece now, or never begin it. What it wrote is whole or not there."""
        with self._lock:
            if not piece.busy:
                return
            piece.state = "stopped"
            process = self._running.get(piece)
            if process is not None:
                process.terminate()
        piece.over.set()

    def close(self) -> None:
        """End every piece, and the threads."""
        with self._lock:
            for piece, process in self._running.items():
                piece.state = "stopped"
                process.terminate()
        for _ in self._threads:
            self._orders.put((-1, next(self._numbers), None))
        for thread in self._threads:
            thread.join(PATIENCE_S)

    def _serve(self) -> None:
        while True:
            _, _, piece = self._orders.get()
            if piece is None:
                return
            self._do(piece)
            piece.over.set()

    def _do(self, piece: Piece) -> None:
        receiver, sender = self._ways.Pipe(duplex=False)
        process = self._ways.Process(target=_in_process, args=(sender, piece.work, piece.given), daemon=True)
        problem, result = "the work on it ended without a result (out of memory?)", None
        try:
            with self._lock:
                if not piece.busy:
                    return
                piece.state = "running"
                process.start()
                self._running[piece] = process
            sender.close()
            problem, result = receiver.recv()
        except (EOFError, OSError):  # it died, or no more processes can be started
            pass
        finally:
            receiver.close()
            self._end(piece, process)
        with self._lock:
            if piece.busy:  # else it was stopped meanwhile
                piece.result, piece.problem = result, problem
                piece.state = "failed" if problem else "done"

    def _end(self, piece: Piece, process: Any) -> None:
        with self._lock:
            begun = self._running.pop(piece, None) is not None
        if begun:
            process.join(PATIENCE_S)
            if process.is_alive():
                process.kill()
                process.join()


def _in_process(sender: Connection, work: Callable[..., Any], given: tuple[Any, ...]) -> None:
    """One piece: what it gave, or in one line why not."""
    pool.prepare_worker()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # stopped: what it was writing is taken away on the way out
    with contextlib.suppress(AttributeError, OSError):  # Windows has no niceness
        os.nice(NICER_BY)
    try:
        answer = ("", work(*given))
    except TrackgradeError as error:
        answer = (str(error), None)
    except MemoryError:
        answer = ("too large for the memory of this machine", None)
    except Exception as error:
        if os.environ.get("TRACKGRADE_TRACEBACK"):
            raise
        answer = (f"a fault in trackgrade, please report it: {type(error).__name__}: {error}", None)
    sender.send(answer)
    sender.close()
