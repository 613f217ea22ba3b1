"""Simulated flights whose laps or entry were once read wrong, each with what was wrong about the reading."""

from __future__ import annotations

import pytest

from tests.simulated.compare import one

#: A direct entry that makes room on a heading 30 degrees out, as a teardrop has it.
NAMED_BY_NO_PATH = ("turns", 13006)


@pytest.mark.parametrize(
    ("suite", "seed"),
    [
        pytest.param("turns", 11042, id="a gentle turn with dips was found once from each stretch between them"),
        pytest.param("turns", 11050, id="a turn at a low rate may begin longer before the fix"),
        pytest.param("turns", 13006, id="the turn at the fix may pause before its half"),
        pytest.param("turns", 12039, id="an entry with turns at a low rate lasts longer"),
        pytest.param("wind", 11046, id="in a gale the turn back is made in two small bites"),
        pytest.param("wind", 12008, id="in a gale the heading turns through most of a circle from leg to leg"),
        pytest.param("wind", 13023, id="in a gale corrections are large, and no part of a circle"),
        pytest.param("bad", 11028, id="an orbit flown in one with the turn back"),
        pytest.param("mixed", 11018, id="a single circle to the wrong side at the fix is no lap"),
        pytest.param("mixed", 14010, id="what leads that far from the fix is no entry"),
        pytest.param("decoys", 12043, id="flown out along the course itself: a procedure turn"),
        pytest.param("decoys", 14020, id="a hold on another course passes the fix across its own laps"),
        pytest.param("messy", 13023, id="the curve that joins the ends of a hole is no turn"),
        pytest.param("messy", 14055, id="one row written twice parts the rows that a resampler made"),
    ],
)
def test_is_read_right(suite: str, seed: int) -> None:
    outcome = one(suite, seed)
    assert outcome.laps_found == outcome.laps_matched == outcome.laps_true
    assert outcome.visits_right
    left_open = ("unclear",) if (suite, seed) == NAMED_BY_NO_PATH else ()
    assert all(told in (flown, *left_open) for flown, told, _, _ in outcome.entries)
