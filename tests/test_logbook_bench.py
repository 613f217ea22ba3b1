"""The benchmark of the logbook in its short form: it runs, and the pages keep their limits in processor time."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests import bench_logbook
from trackgrade.logbook.queries import pilot_history
from trackgrade.logbook.store import Logbook


@pytest.mark.bench
def test_pages_of_ten_thousand_flights_keep_their_limits(tmp_path: Path) -> None:
    path = tmp_path / "bench.sqlite"
    bench_logbook.build(path, flights=10_000, pilots=100)
    for timing in bench_logbook.measure(path):
        print(timing)
        # Ten times fewer flights than the limit is for, in processor time: the machine of a test is shared.
        assert timing.limit_s is None or timing.cpu_s <= timing.limit_s


def test_what_the_benchmark_builds_is_a_logbook(tmp_path: Path) -> None:
    """Its generated rows have the columns of a real one."""
    path = tmp_path / "bench.sqlite"
    bench_logbook.build(path, flights=60, pilots=3)
    with Logbook(path) as logbook:
        assert sum(count for _, count, _ in logbook.pilots()) == 60
        total = pilot_history(logbook, "pilot 0").total
        assert (total.standard, total.title, len(total.items)) == (bench_logbook.STANDARD, "A standard", 12)
        assert logbook.delete_pilot("pilot 0") > 30
