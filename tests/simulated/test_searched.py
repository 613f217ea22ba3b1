"""Holds found with no hold file, in simulated flights with other flying around, and none in flights that have none."""

from __future__ import annotations

import zlib

import numpy as np
import pytest

from tests.simulated.compare import as_track
from tests.simulated.searched import NONE, measure, searched
from trackgrade.segment.finding import find_holds


def test_holds_are_found_in_a_few_flights() -> None:
    tally = measure(flights=6, seed=40, none=0)
    assert tally.counts["not found"] == tally.counts["sure of the wrong end"] == tally.counts["false"] == 0, tally.told


@pytest.mark.parametrize("kind", list(NONE))
@pytest.mark.parametrize("seed", [11, 50048, 50006, 910001])
def test_nothing_is_found_where_nobody_holds(kind: str, seed: int) -> None:
    track = NONE[kind](np.random.default_rng([seed, zlib.crc32(kind.encode())]))
    assert find_holds(track) == []


@pytest.mark.sweep
def test_holds_are_found_as_often_and_as_well_as_promised() -> None:
    tally = measure(flights=120, seed=3000, none=12)
    counts, table = tally.counts, tally.table()
    print("\n".join([*tally.told, table]))
    holds = counts["holds"]
    assert counts["not found"] + counts["sure of the wrong end"] <= 0.03 * holds, table
    assert counts["sure of the wrong end"] <= 0.01 * holds + 1, table
    assert counts["end: sure"] >= 0.6 * holds, table
    assert np.quantile(tally.fix_nm, 0.95) < 0.3, table
    assert np.quantile(tally.course_deg, 0.95) < 4.0, table
    # Surveys flown as racetracks that the wind carries back over the line before: not none, which is what is wanted.
    assert counts["false"] <= 2, table


def test_a_place_that_was_visited_with_no_lap_is_no_hold() -> None:
    """Found in the sweep: a stay that was left before its first lap was done ended the search with a fault."""
    for seed in (1020, 1022):
        flight, _ = searched(seed)
        assert all(each.laps > 0 for each in find_holds(as_track(flight)))


def test_the_same_seed_is_the_same_flight() -> None:
    one, two = searched(7)[0], searched(7)[0]
    assert np.array_equal(one.recording.lat_deg, two.recording.lat_deg)
