"""The run: each input follows from its number and the seed alone; what came of it is counted, every failure kept."""

from __future__ import annotations

import faulthandler
import multiprocessing
import random
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

from tests.fuzz.graded import GRADED
from tests.fuzz.targets import TARGETS

LONGEST_S = 5.0
HARD_STOP_S = 240.0  # a hang inside C code, where no signal is heard: the process ends with its stack
CHUNK = 250
PATIENCE = 24  # the wall clock of a busy machine; process time is what is judged
#: So many of all inputs must get as far as a graded lap: a run that is refused at the door proves little.
LEAST_GRADED = 0.25


@dataclass
class Tally:
    """What came of the inputs; ``failures`` are (number, target, reason)."""

    outcomes: Counter[str] = field(default_factory=Counter)
    failures: list[tuple[int, str, str]] = field(default_factory=list)
    slowest_s: float = 0.0
    slowest: int = -1

    @property
    def inputs(self) -> int:
        return self.outcomes.total()

    def graded(self, target: str = "") -> float:
        """The share of inputs (of a target) that got as far as a graded lap."""
        of = {
            outcome: count
            for outcome, count in self.outcomes.items()
            if outcome.startswith(f"{target}:" if target else "")
        }
        return sum(count for outcome, count in of.items() if outcome.endswith(GRADED)) / max(sum(of.values()), 1)


class Hang(BaseException):
    """Raised by the alarm; not an Exception, so that no reader can swallow it."""


# ---------------------------------------------------------------- the run


def made(number: int, seed: int, only: str = "") -> tuple[str, bytes, random.Random]:
    """The target, bytes and dice of an input, from its number and the seed alone."""
    dice = random.Random(f"{seed}:{number}")
    target = only or dice.choices(list(TARGETS), [each.weight for each in TARGETS.values()])[0]
    return target, TARGETS[target].make(dice), dice


@contextmanager
def alarm(seconds: float) -> Iterator[None]:
    """Raise `Hang` in the main thread after some seconds; where signals lack, only the clock tells afterwards."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def ring(_number: int, _frame: FrameType | None) -> None:
        raise Hang

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def run_some(first: int, count: int, seed: int, only: str = "", keep: str = "", longest_s: float = LONGEST_S) -> Tally:
    """Inputs ``first`` to ``first + count``, one after the other."""
    from trackgrade.errors import InputError

    tally = Tally()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name, warnings.catch_warnings():
        warnings.simplefilter("error")
        # What the server's library keeps of an upload that breaks off; nothing of ours opens a file in this mode.
        warnings.filterwarnings(
            "ignore", r"unclosed file .*mode='rb\+'|unclosed file .*BufferedRandom", ResourceWarning
        )
        folder = Path(name)
        for number in range(first, first + count):
            target, data, dice = made(number, seed, only)
            ending, check = TARGETS[target].ending, TARGETS[target].check
            path = folder / f"input{ending}"
            path.write_bytes(data)
            started = time.process_time()
            if keep:  # only the command's own workers may end hard
                faulthandler.dump_traceback_later(HARD_STOP_S, exit=True)
            reason = ""
            try:
                with alarm(longest_s * PATIENCE):
                    outcome = check(path, folder, dice)
            except InputError as refused:
                outcome = "refused"
                message = str(refused)
                if TARGETS[target].ending == ".none":
                    reason = traceback.format_exc(limit=-6)
                if "\n" in message or not message.isprintable() or len(message) > 1_000:
                    reason = f"a message of several lines or with control characters: {message!r:.300}"
            except Hang:
                outcome, reason = "hang", f"over {longest_s} s"
            except Exception:
                outcome, reason = "traceback", traceback.format_exc(limit=-6)
            spent = time.process_time() - started
            if spent > longest_s and not reason:
                outcome, reason = "hang", f"{spent:.1f} s"
            if spent > tally.slowest_s:
                tally.slowest_s, tally.slowest = spent, number
            tally.outcomes[f"{target}: {outcome}"] += 1
            if reason:
                tally.failures.append((number, target, reason))
                if keep:
                    Path(keep).mkdir(parents=True, exist_ok=True)
                    (Path(keep) / f"{seed}-{number}-{target}{ending}").write_bytes(data)
                    print(f"\ninput {number} ({target}): {reason}", file=sys.stderr, flush=True)
    faulthandler.cancel_dump_traceback_later()
    return tally


def run(inputs: int, seed: int, jobs: int, first: int, only: str, keep: str) -> Tally:
    """All inputs over some processes, with progress on standard error."""
    total = Tally()
    starts = range(first, first + inputs, CHUNK)
    began = time.monotonic()
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, mp_context=context) as pool:
        work = [pool.submit(run_some, s, min(CHUNK, first + inputs - s), seed, only, keep) for s in starts]
        for done, future in enumerate(work, start=1):
            part = future.result()
            total.outcomes += part.outcomes
            total.failures += part.failures
            if part.slowest_s > total.slowest_s:
                total.slowest_s, total.slowest = part.slowest_s, part.slowest
            rate = done * CHUNK / (time.monotonic() - began)
            if sys.stderr.isatty() or done % 8 == 0 or done == len(work):
                print(
                    f"{min(done * CHUNK, inputs)} inputs, {rate:.0f} a second, {len(total.failures)} failures",
                    file=sys.stderr,
                    flush=True,
                )
    return total
