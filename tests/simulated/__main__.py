"""``python -m tests.simulated``: fly the suites, measure, and print the table.

    python -m tests.simulated                             all suites, their usual numbers of flights
    python -m tests.simulated --suite jets --flights 100 --seed 500
    python -m tests.simulated --save tests/simulated/RESULTS.md

Same suites, numbers and seed: same table.
"""

from __future__ import annotations

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.simulated.compare import Outcome, one
from tests.simulated.suites import SUITES
from tests.simulated.table import report


def _one(job: tuple[str, int]) -> Outcome:
    return one(*job)


def run(suites: list[str], flights: int | None, seed: int, processes: int) -> list[Outcome]:
    """Outcomes in order of suite and seed; progress on standard error when it is a terminal."""
    jobs = [(name, seed + i) for name in suites for i in range(flights or SUITES[name].flights)]
    outcomes: list[Outcome] = []
    # One thread of linear algebra a process: two processes on two cores.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    with ProcessPoolExecutor(processes) as pool:
        for done, outcome in enumerate(pool.map(_one, jobs, chunksize=4), 1):
            outcomes.append(outcome)
            if sys.stderr.isatty():
                print(f"\r{done}/{len(jobs)} {outcome.suite:<12}", end="", file=sys.stderr, flush=True)
    if sys.stderr.isatty():
        print(file=sys.stderr)
    return outcomes


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.simulated", description=__doc__.splitlines()[0])
    parser.add_argument("--suite", action="append", choices=list(SUITES), help="only this suite (may be repeated)")
    parser.add_argument("--flights", type=int, help="flights in each suite")
    parser.add_argument("--seed", type=int, default=0, help="seed of the first flight")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--save", type=Path, help="write the table to this file")
    given = parser.parse_args()
    outcomes = run(given.suite or list(SUITES), given.flights, given.seed, given.processes)
    words = ["python -m tests.simulated"]
    words += [f"--suite {name}" for name in given.suite or []]
    words += [f"--flights {given.flights}"] if given.flights else []
    words += [f"--seed {given.seed}"] if given.seed else []
    text = report(outcomes, " ".join(words))
    print(text)
    if given.save:
        given.save.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
