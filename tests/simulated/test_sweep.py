"""The figures that the measurements must reach, on flights the analysis has not seen. Some minutes: ``-m sweep``.

Each limit is asserted on all flights of its suite. RESULTS.md is the table of the same run.
"""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from tests.simulated.__main__ import run
from tests.simulated.compare import LINES, NEARER, SECOND, TURNS, Outcome
from tests.simulated.suites import SUITES
from tests.simulated.table import LEGS, entry_counts, errors, report

pytestmark = pytest.mark.sweep

RESULTS = Path(__file__).parent / "RESULTS.md"
Outcomes = dict[str, list[Outcome]]
#: The suite of entries that the arrival does not ask for.
OTHERS = "other entries"


@pytest.fixture(scope="module")
def outcomes() -> Outcomes:
    found = run(list(SUITES), None, 0, os.cpu_count() or 2)
    print(report(found, "python -m tests.simulated"))
    return {name: [o for o in found if o.suite == name] for name in SUITES}


def share_right(found: list[Outcome]) -> float:
    return float(np.mean([o.laps_right for o in found]))


def median_and_95(values: np.ndarray) -> tuple[float, float]:
    median, most = np.percentile(values, [50, 95])
    return float(median), float(most)


def test_there_are_enough_flights() -> None:
    assert SUITES["clean"].flights >= 200
    assert sum(s.flights for s in SUITES.values()) >= 300


def test_nothing_crashed(outcomes: Outcomes) -> None:
    assert [(o.suite, o.seed, o.crash) for found in outcomes.values() for o in found if o.crash] == []


@pytest.mark.parametrize("suite", ["clean", "wind", "jets", "geography", "channels"])
def test_laps_of_whole_records(outcomes: Outcomes, suite: str) -> None:
    assert share_right(outcomes[suite]) == 1.0


def test_entries_are_named_rightly_or_not_at_all(outcomes: Outcomes) -> None:
    n, wrong, unclear, accused = entry_counts([o for name, found in outcomes.items() for o in found if name != OTHERS])
    assert n > 400
    assert accused == 0
    assert (wrong <= 0.003 * n, unclear <= 0.03 * n) == (True, True), (n, wrong, unclear)


def test_entries_not_asked_for_are_named_rightly_or_left_open(outcomes: Outcomes) -> None:
    # A teardrop flown where a direct entry is asked for differs by the heading of its leg alone: left open, unless that
    # is far from where the same pilot's laps go.
    n, wrong, unclear, _ = entry_counts(outcomes[OTHERS])
    assert (n >= 70, wrong <= 0.02 * n, unclear <= 0.2 * n) == (True, True, True), (n, wrong, unclear)
    named = [o.named for o in outcomes[OTHERS] if o.named is not None]
    assert float(np.mean(named)) >= 0.95


def test_altitude_over_changes_of_level(outcomes: Outcomes) -> None:
    told = [o.levels for o in outcomes["levels"] if o.levels is not None]
    assert all(each.right for each in told)
    assert sum(each.laps_accused for each in told) == 0
    assert not any(each.named and not each.flown_badly for each in told)
    badly = [each for each in told if each.flown_badly]
    assert len(badly) >= 20
    assert all(each.found for each in badly)


@pytest.mark.parametrize("suite", ["clean", "wind", "jets"])
def test_moments_at_one_hertz(outcomes: Outcomes, suite: str) -> None:
    median, most = median_and_95(errors(outcomes[suite], LINES))
    assert (median <= 0.1, most <= 0.4) == (True, True), (median, most)
    median, most = median_and_95(errors(outcomes[suite], TURNS))
    assert (median <= 0.5, most <= 1.5) == (True, True), (median, most)


def test_leg_times_at_one_hertz(outcomes: Outcomes) -> None:
    _, most = median_and_95(errors(outcomes["clean"], LEGS[:1]))
    assert most <= 1.5
    median, most = median_and_95(errors(outcomes["clean"], LEGS))
    assert (median <= 0.5, most <= 2.0) == (True, True), (median, most)


@pytest.mark.parametrize("suite", ["clean", "wind", "jets"])
def test_wind(outcomes: Outcomes, suite: str) -> None:
    found = np.array([o.wind_error_kt for o in outcomes[suite] if o.wind_error_kt is not None])
    assert len(found) >= 0.9 * len(outcomes[suite])
    median, most = median_and_95(found)
    assert (median <= 1.0, most <= 3.0) == (True, True), (median, most)


def test_messy_records(outcomes: Outcomes) -> None:
    messy = outcomes["messy"]
    assert share_right(messy) >= 0.98
    assert median_and_95(errors(messy, LINES))[1] <= 1.5
    assert median_and_95(errors(messy, TURNS))[1] <= 4.0


def test_badly_flown_holds_are_counted_and_named(outcomes: Outcomes) -> None:
    bad = outcomes["bad"]
    assert share_right(bad) >= 0.95
    named = [o.named for o in bad if o.named is not None]
    assert len(named) >= 15
    assert float(np.mean(named)) >= 0.95


def test_no_lap_where_no_hold_was_flown(outcomes: Outcomes) -> None:
    assert [(o.seed, o.what) for o in outcomes["decoys"] if o.laps_found] == []


def test_visits_apart(outcomes: Outcomes) -> None:
    assert share_right(outcomes["mixed"]) >= 0.95


def test_stated_errors_are_honest(outcomes: Outcomes) -> None:
    # The truth within two standard errors in 90 to 99 %: of the winds and airspeeds, and of the moments outside holes.
    whole = [o for name in ("clean", "wind", "jets", "turns", "geography", "mixed") for o in outcomes[name]]
    wind = [o.wind_within for o in whole if o.wind_within is not None]
    tas = [o.tas_within for o in whole if o.tas_within is not None]
    assert float(np.mean(wind)) >= 0.90
    assert float(np.mean(tas)) >= 0.90
    moments = [
        abs(d.error_s) <= 2.0 * d.sd_s
        for o in [*whole, *outcomes["messy"]]
        for d in o.differences
        if d.error_s is not None and d.sd_s is not None and not d.in_hole and "readings" not in d.kind
    ]
    assert float(np.mean(moments)) >= 0.90


def test_a_moment_inside_a_hole_is_never_a_confident_guess(outcomes: Outcomes) -> None:
    # Of the moments: durations carry no error of their own here, it is worked out from those of their ends.
    inside = [d for o in outcomes["messy"] for d in o.differences if d.in_hole and d.sd_s is not None]
    confident = [d for d in inside if abs(d.error_s or 0) > 3.0 and abs(d.error_s or 0) > 3.0 * (d.sd_s or 0)]
    assert len(inside) >= 50
    # A turn that noise cuts in two beside a hole is still told with too small an error: 4 of 110 moments.
    assert len(confident) <= 0.05 * len(inside), confident


def fresh_seed() -> int:
    """A seed that no threshold was ever chosen on: of the commit, where CI gives it; printed, to fly it again."""
    return int(os.environ.get("TRACKGRADE_FRESH_SEED", "20260503"))


def test_fresh_flights_of_every_suite() -> None:
    """A few of each suite from the commit's own seed: no right entry called wrong, no lap where there is none."""
    seed = fresh_seed()
    print(f"fresh flights: python -m tests.simulated --flights 8 --seed {seed}")
    found = run(list(SUITES), 8, seed, os.cpu_count() or 2)
    assert [(o.suite, o.seed, o.crash) for o in found if o.crash] == []
    n, wrong, unclear, accused = entry_counts([o for o in found if o.suite != OTHERS])
    assert (accused, wrong <= max(0.02 * n, 1), unclear <= 0.08 * n) == (0, True, True), (seed, n, wrong, unclear)
    # Of 588 fresh decoys and circles 5 showed a lap: more than one of 16 is hardly chance. Of all flights 19 in 20 have
    # every lap.
    assert sum(o.laps_found > 0 for o in found if SUITES[o.suite].decoy) <= 1, seed
    assert share_right(found) >= 0.95, seed


def test_fading_turns_and_sparse_racetracks(outcomes: Outcomes) -> None:
    nearer = [d for o in outcomes["fading"] for d in o.differences if d.kind == NEARER and d.error_s is not None]
    assert float(np.mean([abs(d.error_s or 0.0) <= 2.0 for d in nearer])) >= 0.95
    assert float(np.mean([abs(d.error_s or 0.0) <= 2.0 * (d.sd_s or 0.0) for d in nearer])) >= 0.94
    every = [d for found in outcomes.values() for o in found for d in o.differences]
    faded = [d for o in outcomes["fading"] if o.what == "fading" for d in o.differences if d.kind == NEARER]
    assert float(np.mean([abs(d.error_s or 0.0) <= 2.0 for d in faded])) >= 0.93  # 0.95 over many more flights
    second, laps = (sum(d.kind == kind for d in every) for kind in (SECOND, NEARER))
    assert second <= 0.2 * laps
    found, flown = (sum(getattr(o, name) for o in outcomes["racetracks"]) for name in ("laps_matched", "laps_true"))
    assert found >= 0.95 * flown


def test_course_reversals_and_circles(outcomes: Outcomes) -> None:
    assert share_right(outcomes["reversals"]) >= 0.95
    assert [(o.seed, o.what) for o in outcomes["circles"] if o.laps_found] == []


def test_the_kept_table_is_of_these_suites() -> None:
    text = RESULTS.read_text(encoding="utf-8")
    assert f"{sum(s.flights for s in SUITES.values())} flights" in text
    for name in SUITES:
        assert f"| {name}" in text
