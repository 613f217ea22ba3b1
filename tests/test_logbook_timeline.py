"""Shares, breaks, and items over time: against published values, an independent library, and by hand."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest
from hypothesis import given, strategies as st
from scipy import stats

from tests.logbook_flights import made_debrief
from tests.logbook_rows import hold, item_row, timed_laps
from trackgrade.logbook.digest import digest
from trackgrade.logbook.history import ItemRow, ItemTotal, PilotHistory, PilotTotal, Session
from trackgrade.logbook.shares import design_effect, share, wilson
from trackgrade.logbook.timeline import DAY_S, Convergence, long_breaks, timeline


def session(errors: tuple[float | None, ...] = (), items: tuple[ItemRow, ...] = (), **changed: object) -> Session:
    return Session((hold(lap_rows=timed_laps(*errors), items=items, **changed),))


# --- share -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("passed", "of", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_interval_of_a_share_as_published(passed: int, of: int, low: float, high: float) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, Table I, method 3; printed values from memory."""
    assert wilson(passed / of, of) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@given(st.integers(1, 200), st.data())
def test_interval_of_a_share_is_that_of_scipy(n: int, data: st.DataObject) -> None:
    k = data.draw(st.integers(0, n))
    expected = stats.binomtest(k, n).proportion_ci(0.95, method="wilson")
    assert wilson(k / n, n) == (pytest.approx(expected.low, abs=1e-6), pytest.approx(expected.high, abs=1e-6))


@given(st.lists(st.tuples(st.integers(1, 8), st.floats(0, 1)), min_size=1, max_size=12))
def test_a_share_lies_in_its_interval_and_likeness_only_widens_it(drawn: list[tuple[int, float]]) -> None:
    counts = [(n, round(n * p)) for n, p in drawn]
    result = share(counts)
    n, k = sum(n for n, _ in counts), sum(k for _, k in counts)
    assert result.low is not None
    assert result.high is not None
    assert 0.0 <= result.low <= k / n + 1e-12
    assert k / n - 1e-12 <= result.high <= 1.0
    low, high = wilson(k / n, n)
    assert result.low <= low + 1e-12
    assert result.high >= high - 1e-12


def test_laps_that_are_alike_within_a_session_count_for_fewer() -> None:
    """Ten sessions of four laps, all alike in each: forty laps are worth ten."""
    alike = [(4, 4), (4, 0)] * 5
    assert design_effect(alike) == pytest.approx(4.0)
    mixed = [(4, 2)] * 10
    assert design_effect(mixed) == 1.0


def test_the_interval_covers_the_truth_where_sessions_differ() -> None:
    """400 invented pilots of ten sessions, four laps each, whose day counts: coverage near 95 %, naive far below."""
    chance = np.random.default_rng(5)
    covered = naive = 0
    for _ in range(400):
        days = np.clip(chance.normal(0.6, 0.3, 10), 0.02, 0.98)
        counts = [(4, int(k)) for k in chance.binomial(4, days)]
        truth = 0.588  # mean of the clipped normal, by integration below
        result = share(counts)
        assert result.low is not None
        assert result.high is not None
        covered += result.low <= truth <= result.high
        low, high = wilson(sum(k for _, k in counts) / 40, 40)
        naive += low <= truth <= high
    grid = np.linspace(-3, 4, 200_001)
    density = stats.norm.pdf(grid, 0.6, 0.3)
    assert float(np.sum(np.clip(grid, 0.02, 0.98) * density) / np.sum(density)) == pytest.approx(0.588, abs=0.01)
    assert covered / 400 >= 0.90
    assert naive < covered


def test_nothing_judged_is_no_share() -> None:
    assert share([]).value is None
    assert share([(0, 0)]).low is None


# --- median and convergence ------------------------------------------------------------------------------------


@pytest.mark.parametrize("lap", [1, 3, None])
def test_where_a_flight_converged_is_what_its_debrief_says(lap: int | None) -> None:
    assert digest(made_debrief(inbound_s=(61.0, 75.0, 60.0)) | {"converged_lap": lap}).laps_to_converge == lap


def converged(*laps: tuple[int | None, int]) -> Convergence:
    """Of holds: the lap from which on all were in the band (None: not reached), and the laps flown."""
    flown = tuple(hold(laps_to_converge=lap, laps=of, timed_laps=of) for lap, of in laps)
    return timeline(history(session(), flown=flown)).convergence


def test_a_hold_left_before_it_came_right_says_only_that_it_took_longer() -> None:
    """Kaplan and Meier by hand: at risk 6, 5, 3, 1; still going 5/6, 5/6 x 3/5 = 1/2."""
    result = converged((1, 4), (2, 4), (2, 3), (None, 2), (None, 3), (4, 4))
    assert (result.holds, result.reached, result.median, result.longest) == (6, 4, 2, 4)


def test_convergence_is_not_flattered_by_holds_left_early() -> None:
    """Three of four holds were left after two laps: the one that came right on the first does not make the median."""
    result = converged((1, 4), (None, 2), (None, 2), (None, 2))
    assert result.median is None
    assert converged((None, 4), (None, 6)).median is None
    assert converged((1, 1)).holds == 0, "one timed lap cannot show convergence"


# --- breaks, items, inbound time, entries, wind ---------------------------------------------------------------

TOTAL = ItemTotal("altitude", "Altitude", "ft", 100.0, share([(3, 2)] * 5), 40.0)
SPEED = ItemTotal("holding_speed", "Speed", "kt", 200.0, share([(1, 1)] * 5), 130.0)


def history(*sessions: Session, totals: tuple[ItemTotal, ...] = (TOTAL,), flown: object = ()) -> PilotHistory:
    total = PilotTotal("a", "s", "s", len(sessions), 3, 0.0, 1.0, share([]), totals)
    return PilotHistory(total, sessions, 1, flown, (), ())  # type: ignore[arg-type]


def altitudes(day: float, *sizes: float) -> Session:
    rows = tuple(item_row("altitude", n, each, "within", 100.0, 2.0) for n, each in enumerate(sizes, 1))
    return session(items=rows, flight_hash=f"{day}", started_epoch_s=day * DAY_S)


@pytest.mark.parametrize(
    ("days", "breaks"),
    [
        ([0, 7, 14, 21], ()),
        ([0, 7, 14, 100, 107], (3,)),
        ([0, 40, 80, 120], ()),
        ([0, 60, 120, 180], ()),
        ([0, 1, 2, 47, 48], ()),
        ([0, 1, 2, 48, 49, 50, 120], (3, 6)),
        ([0], ()),
    ],
)
def test_a_break_is_long_by_itself_and_for_this_pilot(days: list[float], breaks: tuple[int, ...]) -> None:
    assert long_breaks([day * DAY_S for day in days]) == breaks


def test_a_break_that_cost_something_starts_anew_and_one_that_did_not_goes_on() -> None:
    better = [altitudes(7 * n, *(90.0 * 0.8**n * k for k in (1.0, 1.1, 0.9, 1.05))) for n in range(8)]
    back = [altitudes(200 + 7 * n, 95.0, 105.0, 100.0) for n in range(2)]
    on = [altitudes(200 + 7 * n, 14.0, 13.0, 15.0) for n in range(2)]
    fell, went_on = timeline(history(*better, *back)), timeline(history(*better, *on))
    assert fell.breaks == went_on.breaks == (8,)
    assert fell.verdict.tested == (8, 9)
    assert fell.verdict.claims == (), "who was polished, paused, and fell back did not get better"
    assert went_on.verdict.tested == tuple(range(10))
    assert {claim.claimed for claim in went_on.verdict.claims} == {"better"}


def test_an_item_is_followed_by_the_mean_of_each_session() -> None:
    flown = [altitudes(7 * n, 120.0 - 10 * n, 80.0 - 10 * n) for n in range(6)]
    line = timeline(history(*flown)).items[0]
    assert line.sizes[0] is not None
    assert line.sizes[1] is not None
    assert line.sizes[0] / line.sizes[1] == pytest.approx(100.0 / 90.0, rel=1e-3)
    assert line.lap_sizes[0] == ((120.0, False), (80.0, False))
    assert line.before == line.sizes[0], "five lately, and what there is of the five before"


def test_a_ceiling_is_no_error() -> None:
    rows = [(item_row("holding_speed", 1, 150.0 - 5 * n, "within", 200.0),) for n in range(8)]
    flown = [session(items=each, started_epoch_s=7.0 * n * DAY_S) for n, each in enumerate(rows)]
    line = timeline(history(*flown, totals=(SPEED,))).items[0]
    assert (line.change, line.sizes[0]) == (None, None)


def test_inbound_time_has_a_bias_and_a_scatter_that_few_laps_do_not_shrink() -> None:
    flown = [session((20.0 - 2 * n, 14.0 - 2 * n, 8.0 - 2 * n)) for n in range(8)]
    result = timeline(history(*flown)).inbound
    assert result.bias == statistics.median([14.0 - 2 * n for n in range(3, 8)])
    assert (result.bias_low, result.bias_high) == (0.0, 8.0)
    assert result.scatter_s == pytest.approx(6.0)
    pairs = timeline(history(*[session((5.0, 5.0 + 6.0 * math.sqrt(2.0))) for _ in range(8)])).inbound
    assert pairs.scatter_s == pytest.approx(6.0)
    assert timeline(history(session((None,)))).inbound.bias is None
