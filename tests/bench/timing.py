"""Stop watches: whole processes and calls, the floor and the measured thing taking turns.

Seconds are of the processor, user and system together: what is timed uses one thread and waits for nothing, so on an
idle machine they are the seconds of the clock, and on a busy one they leave the neighbours out.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import resource
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

#: prctl(2), PR_SET_CHILD_SUBREAPER: what a process leaves running at its end, as a fork server, is ours to count.
CHILD_SUBREAPER = 36


@dataclass(frozen=True)
class Ratio:
    """One line of the table: median seconds of both, the median of the paired ratios, and the ratio wanted.

    ``held``: what is held to meanwhile, near what is reached, where that is not yet what is wanted. ``by_the_clock``:
    seconds of the clock, which neighbours on the machine lengthen.
    """

    what: str
    floor: str
    floor_s: float
    measured_s: float
    ratio: float
    wanted: float
    held: float | None = None
    at_least: bool = False
    by_the_clock: bool = False
    note: str = ""

    @property
    def bound(self) -> float:
        """Beyond this a run ends badly."""
        return self.wanted if self.held is None else self.held

    def reaches(self, bound: float) -> bool:
        return self.ratio >= bound if self.at_least else self.ratio <= bound


def process_s(arguments: Sequence[str], cwd: Path, *, status: int = 0) -> float:
    """Processor seconds of one process of this interpreter [s]; it must end with the status."""
    started = children_s()
    done = subprocess.run([sys.executable, *arguments], cwd=cwd, capture_output=True, text=True, check=False)
    seconds = children_s() - started
    if done.returncode != status:
        raise RuntimeError(f"{arguments} ended with {done.returncode}, not {status}: {done.stderr[-2000:]}")
    return seconds


def call_s(function: Callable[[], object]) -> float:
    """Processor seconds of one call [s]."""
    started = time.process_time()
    function()
    return time.process_time() - started


def at_once_s(
    commands: Sequence[Sequence[str]], cwd: Path, began: Callable[[int], object] = lambda pid: None
) -> tuple[float, float]:
    """Seconds of the clock and of the processor that processes of this interpreter take beside each other. Linux only.

    Counted with all that they start themselves; all must end well. ``began`` is told the number of the first.
    """
    ctypes.CDLL(None).prctl(CHILD_SUBREAPER, 1, 0, 0, 0)
    used, started = children_s(), time.perf_counter()
    running = [subprocess.Popen([sys.executable, *each], cwd=cwd, stdout=subprocess.DEVNULL) for each in commands]
    began(running[0].pid)
    for process, command in zip(running, commands):
        if process.wait() != 0:
            raise RuntimeError(f"{command} ended with {process.returncode}")
    clock_s = time.perf_counter() - started
    with contextlib.suppress(ChildProcessError):  # none is left
        while True:
            os.wait()
    return clock_s, children_s() - used


def children_s() -> float:
    """Processor seconds of all ended processes that this one started [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def compare(
    what: str,
    floor_name: str,
    floor: Callable[[], float],
    measured: Callable[[], float],
    wanted: float,
    runs: int,
    held: float | None = None,
) -> Ratio:
    """Time both in turn, once unseen to warm the file cache, then ``runs`` times. Load hits both alike."""
    floor()
    measured()
    pairs = [(floor(), measured()) for _ in range(runs)]
    floors, times = zip(*pairs)
    return Ratio(
        what=what,
        floor=floor_name,
        floor_s=statistics.median(floors),
        measured_s=statistics.median(times),
        ratio=statistics.median(time_s / floor_s for floor_s, time_s in pairs),
        wanted=wanted,
        held=held,
    )


class MemoryWatch:
    """Samples the resident memory of a process and all below it [MiB], until told to stop. Linux only."""

    def __init__(self, pid: int, every_s: float = 0.25) -> None:
        self.samples: list[tuple[float, float]] = []
        self._pid = pid
        self._every_s = every_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._started = time.perf_counter()
        self._thread.start()

    def stop(self) -> list[tuple[float, float]]:
        """The samples: seconds since the start, MiB."""
        self._stop.set()
        self._thread.join()
        return self.samples

    def _watch(self) -> None:
        while not self._stop.wait(self._every_s):
            total = sum(_resident_mib(pid) for pid in _tree(self._pid))
            self.samples.append((time.perf_counter() - self._started, total))


def _tree(pid: int) -> list[int]:
    parents: dict[int, list[int]] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                after_name = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            parents.setdefault(int(after_name[1]), []).append(int(entry.name))
    found, waiting = [], [pid]
    while waiting:
        each = waiting.pop()
        found.append(each)
        waiting.extend(parents.get(each, ()))
    return found


def _resident_mib(pid: int) -> float:
    """Private resident memory: pages shared with the fork server are counted once, there."""
    try:
        fields = Path(f"/proc/{pid}/statm").read_text().split()
    except OSError:
        return 0.0
    return (int(fields[1]) - int(fields[2])) * os.sysconf("SC_PAGE_SIZE") / 2**20
