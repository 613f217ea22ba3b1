"""A process that records one debrief after another and says so: ``python -m tests.logbook_writer PLACE PILOT FIRST N``.

Each line "done DAY" is printed after the call returned: what is printed must be in the logbook, whatever
happens to the process next.
"""

from __future__ import annotations

import sys

from tests.logbook_flights import made_debrief
from trackgrade.logbook.store import Logbook


def main(place: str, pilot: str, first: str, count: str) -> None:
    print("ready", flush=True)
    with Logbook(place) as logbook:
        for day in range(int(first), int(first) + int(count)):
            logbook.record(made_debrief(day), pilot=pilot, note=f"day {day}")
            print(f"done {day}", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
