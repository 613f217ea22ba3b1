"""The large run: ``python -m tests.fuzz --inputs 100000``."""

from __future__ import annotations

import argparse
import os
import sys

from tests.fuzz.running import LEAST_GRADED, run
from tests.fuzz.targets import TARGETS


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first input")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", choices=TARGETS, default="", help="one target")
    parser.add_argument("--keep", default="fuzz_found", metavar="DIR", help="where inputs that fail are kept")
    asked = parser.parse_args()
    tally = run(asked.inputs, asked.seed, asked.jobs, asked.first, asked.only, asked.keep)
    for outcome, count in sorted(tally.outcomes.items()):
        print(f"{count:8d}  {outcome}")
    print(f"slowest: input {tally.slowest}, {tally.slowest_s:.2f} s")
    for number, target, reason in tally.failures[:20]:
        print(f"\ninput {number} ({target}): {reason.strip().splitlines()[-1]}")
    shares = ", ".join(f"{target} {tally.graded(target):.0%}" for target in TARGETS if tally.graded(target))
    print(f"\nas far as a graded lap: {tally.graded():.1%} of all ({shares}); at least {LEAST_GRADED:.0%} are wanted")
    print(f"{tally.inputs} inputs, {len(tally.failures)} failures")
    too_few = not asked.only and tally.graded() < LEAST_GRADED
    return 1 if tally.failures or too_few else 0


if __name__ == "__main__":
    sys.exit(main())
