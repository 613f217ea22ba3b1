"""The statistics of the progress pages against published values, an independent library, and exact enumeration."""

from __future__ import annotations

import itertools
import math
import random
import statistics

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from trackgrade.logbook.history import EntryFlown, HoldFlown, ItemTotal, ItemValue, LapTime, Session, Tally
from trackgrade.logbook.rows import laps_to_converge
from trackgrade.logbook.trends import (
    FEWEST_SESSIONS,
    Trend,
    convergence,
    design_effect,
    entry_record,
    inbound_progress,
    item_progress,
    median_interval,
    share,
    tally,
    theil_sen,
    wilson,
    wind_met,
)

NUMBERS = st.floats(-1000, 1000, allow_nan=False).map(lambda value: round(value, 3))


def hold(**changed: object) -> HoldFlown:
    """One recording of a right-hand hold with three laps."""
    values: dict[str, object] = {
        "recording_id": 1,
        "flight_hash": "f",
        "standard": "s",
        "started_epoch_s": 0.0,
        "hold_name": "h",
        "turns": "right",
        "leg_minutes": 1.0,
        "leg_nm": None,
        "guidance": "gps",
        "flag": "TO",
        "wind_from_true_deg": 240.0,
        "wind_kt": 10.0,
        "wind_head_kt": 9.0,
        "wind_cross_kt": 4.0,
        "laps": 3,
        "incomplete_laps": 0,
        "laps_judged": 3,
        "laps_within": 2,
        "timed_laps": 3,
        "inbound_tolerance_s": 10.0,
        "inbound_error_median_s": 1.0,
        "inbound_error_sd_s": 2.0,
        "laps_to_converge": 2,
        "instructor": None,
        "note": None,
        "verdict": "",
    }
    return HoldFlown(**(values | changed))  # type: ignore[arg-type]


def session(errors: tuple[float | None, ...] = (), items: tuple[ItemValue, ...] = (), **changed: object) -> Session:
    laps = tuple(LapTime(error, 1, 0) for error in errors)
    return Session("f", 0.0, (hold(**changed),), laps, items)


# --- slope -----------------------------------------------------------------------------------------------------


@given(st.lists(st.tuples(st.booleans(), NUMBERS), min_size=FEWEST_SESSIONS, max_size=30))
@settings(max_examples=150, deadline=None)
def test_slope_and_interval_are_those_of_scipy(drawn: list[tuple[bool, float]]) -> None:
    """scipy.stats.theilslopes, with sessions left out and with ties."""
    values = [value if kept else None for kept, value in drawn]
    x = [n for n, value in enumerate(values) if value is not None]
    y = [value for value in values if value is not None]
    trend = theil_sen(range(len(values)), values)
    if len(y) < FEWEST_SESSIONS:
        assert trend == Trend("too few sessions", len(y))
        return
    slope, intercept, low, high = stats.theilslopes(y, x, alpha=0.95)
    assert trend.slope == pytest.approx(slope, abs=1e-9)
    assert (trend.low, trend.high) == (pytest.approx(low, abs=1e-9), pytest.approx(high, abs=1e-9))
    assert trend.first == pytest.approx(intercept + slope * x[0], abs=1e-6)
    assert trend.last == pytest.approx(intercept + slope * x[-1], abs=1e-6)


def test_slope_of_a_published_example() -> None:
    """Cloud seeding over five years: M. Hollander and D. Wolfe, Nonparametric Statistical Methods, ch. 9; data and
    estimate (-0.056) from memory, the ten slopes by arithmetic."""
    trend = theil_sen([1, 2, 3, 4, 5], [1.26, 1.27, 1.12, 1.16, 1.03])
    assert trend.slope == pytest.approx(-0.05625, abs=1e-12)


@pytest.mark.parametrize("n", [5, 6, 7])
def test_chance_alone_makes_a_trend_in_no_more_than_one_order_of_twenty(n: int) -> None:
    """Every order of n different values, counted: the exact rate of false claims."""
    claims = [theil_sen(range(n), order).claim for order in itertools.permutations(range(n))]
    assert claims.count("better") == claims.count("worse") > 0
    assert 2 * claims.count("better") / len(claims) <= 0.05


def test_below_five_sessions_nothing_is_claimed_however_clear() -> None:
    assert theil_sen(range(4), [100.0, 50.0, 10.0, 1.0]) == Trend("too few sessions", 4)
    assert theil_sen(range(9), [9.0, None, 7.0, None, 5.0, None, 3.0, None, None]).claim == "too few sessions"
    # Why five: with four sessions even perfect order has probability 2/4! = 8 % by chance; with five 2/5! = 1.7 %.
    assert 2 / math.factorial(FEWEST_SESSIONS - 1) > 0.05 > 2 / math.factorial(FEWEST_SESSIONS)


def test_better_is_smaller_or_larger_as_told() -> None:
    falling = [9.0, 8.0, 6.0, 5.0, 3.0, 2.0]
    assert theil_sen(range(6), falling).claim == "better"
    assert theil_sen(range(6), falling, smaller_is_better=False).claim == "worse"
    assert theil_sen(range(6), falling[::-1]).claim == "worse"
    assert theil_sen(range(6), [5.0] * 6).claim == "no clear trend"


def test_one_strange_session_does_not_make_or_hide_a_trend() -> None:
    steady = [50.0, 47.0, 44.0, 41.0, 38.0, 35.0, 32.0, 29.0]
    spoilt = [*steady[:3], 900.0, *steady[4:]]
    assert theil_sen(range(8), spoilt).claim == "better"
    assert theil_sen(range(8), spoilt).slope == pytest.approx(-3.0, abs=0.5)


@given(st.lists(NUMBERS, min_size=5, max_size=15), NUMBERS, st.integers(1, 50))
@settings(max_examples=60, deadline=None)
def test_a_slope_does_not_depend_on_level_or_on_the_first_number(values: list[float], level: float, first: int) -> None:
    plain = theil_sen(range(len(values)), values)
    moved = theil_sen(range(first, first + len(values)), [value + level for value in values])
    assert moved.slope == pytest.approx(plain.slope, abs=1e-9)
    assert moved.low == pytest.approx(plain.low, abs=1e-9)


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
    result = share(tally(counts))
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
    alike = tally([(4, 4), (4, 0)] * 5)
    assert design_effect(alike) == pytest.approx(4.0)
    mixed = tally([(4, 2)] * 10)
    assert design_effect(mixed) == 1.0


def test_the_interval_covers_the_truth_where_sessions_differ() -> None:
    """400 invented pilots of ten sessions, four laps each, whose day counts: coverage near 95 %, naive far below."""
    chance = np.random.default_rng(5)
    covered = naive = 0
    for _ in range(400):
        days = np.clip(chance.normal(0.6, 0.3, 10), 0.02, 0.98)
        counts = [(4, int(k)) for k in chance.binomial(4, days)]
        truth = 0.588  # mean of the clipped normal, by integration below
        result = share(tally(counts))
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
    assert share(tally([])).value is None
    assert share(Tally(0, 0, 0, 0.0, 0.0, 0.0)).low is None


# --- median and convergence ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("n", "k"), [(6, 1), (8, 1), (9, 2), (12, 3), (15, 4), (20, 6), (25, 8)])
def test_interval_of_a_median_by_the_sign_test(n: int, k: int) -> None:
    """The k-th smallest to the k-th largest: the widely printed table of the sign test, checked by the binomial."""
    assert median_interval([float(value) for value in range(1, n + 1)]) == (float(k), float(n + 1 - k))
    assert 2 * stats.binom.cdf(k - 1, n, 0.5) <= 0.05 < 2 * stats.binom.cdf(k, n, 0.5)


def test_a_median_of_five_has_no_interval() -> None:
    assert median_interval([1.0, 2.0, 3.0, 4.0, 5.0]) == (None, None)


@pytest.mark.parametrize(
    ("errors", "lap"),
    [
        ([30.0, 12.0, 8.0, 3.0], 3),
        ([5.0, 5.0], 1),
        ([5.0, 20.0, 5.0], 3),
        ([5.0, 20.0], None),
        ([], None),
        ([None, None], None),
        ([None, 5.0], 2),
        ([20.0, 5.0, None, 5.0], 2),
        ([-10.0, 10.0], 1),
        ([-10.1, 10.0], 2),
    ],
)
def test_laps_to_converge(errors: list[float | None], lap: int | None) -> None:
    assert laps_to_converge(errors, 10.0) == lap


def test_holds_that_never_converged_are_counted_and_never_flatter() -> None:
    flown = [session(laps_to_converge=each) for each in (2, None, 3, None, 1, 2, 2, None)]
    result = convergence(flown, 1)
    assert result.laps == (2, None, 3, None, 1, 2, 2, None)
    assert result.reached == 5
    assert result.median == 2.5
    assert (result.low, result.high) == (1.0, None), "the largest is one that was not reached"
    mostly_not = convergence([session(laps_to_converge=None)] * 4 + [session(laps_to_converge=1)] * 3, 1)
    assert mostly_not.median is None
    assert convergence([session(timed_laps=1)], 1).laps == (), "one timed lap cannot show convergence"


# --- items, inbound time, entries, wind -----------------------------------------------------------------------


def items(*rows: tuple[float | None, str]) -> tuple[ItemValue, ...]:
    return tuple(ItemValue("altitude", n, value, value, result) for n, (value, result) in enumerate(rows, start=1))


TOTAL = ItemTotal("altitude", "Altitude", "ft", 100.0, 6, 18, 10, 2, 6, 0, tally([(3, 2)] * 5), 40.0)


def test_an_item_is_followed_by_the_median_of_each_session() -> None:
    flown = [
        session(items=items((200.0 - 20 * n, "outside"), (100.0 - 10 * n, "within"), (50.0, "brief excursion")))
        for n in range(5)
    ]
    flown.insert(2, session(items=items((None, "not measurable"))))
    result = item_progress(flown, 1, TOTAL)
    assert result.sizes == (100.0, 90.0, None, 80.0, 70.0, 60.0)
    assert result.shares == (2 / 3, 2 / 3, None, 2 / 3, 2 / 3, 2 / 3)
    assert result.lap_sizes[2] == ()
    assert result.lap_sizes[0] == ((200.0, True), (100.0, False), (50.0, False)), "a brief excursion is not outside"
    assert result.trend.sessions == 5
    assert result.trend.claim == "better"
    assert result.trend_of == "size"


def test_an_item_without_values_is_followed_by_its_share() -> None:
    flown = [session(items=items(*[(None, "within")] * n, *[(None, "outside")] * (8 - n))) for n in range(8)]
    result = item_progress(flown, 1, TOTAL)
    assert result.trend_of == "share"
    assert result.trend.claim == "better"


def test_a_ceiling_is_followed_by_its_share_not_by_how_much_of_it_was_used() -> None:
    speeds = [session(items=(ItemValue("holding_speed", 1, 150.0 - 5 * n, 150.0 - 5 * n, "within"),)) for n in range(8)]
    total = ItemTotal("holding_speed", "Speed", "kt", 200.0, 8, 8, 8, 0, 0, 0, tally([(1, 1)] * 5), 130.0)
    result = item_progress(speeds, 1, total)
    assert result.trend_of == "share"
    assert result.trend.claim == "no clear trend"


def test_inbound_time_has_a_bias_and_a_scatter() -> None:
    flown = [session((20.0 - 2 * n, 14.0 - 2 * n, 8.0 - 2 * n)) for n in range(8)]
    result = inbound_progress(flown, 1)
    assert result.sizes[:2] == (14.0, 12.0)
    assert result.size_trend.claim == "better"
    assert result.scatters == (6.0,) * 8
    assert result.bias == statistics.median([14.0 - 2 * n for n in range(3, 8)])
    assert (result.bias_low, result.bias_high) == (0.0, 8.0)
    assert inbound_progress([session((5.0, 7.0))], 1).scatters == (None,), "two laps have no scatter to speak of"
    assert inbound_progress([session((None,))], 1).bias is None


def test_entries_are_counted_by_sector_and_side() -> None:
    flown = [
        EntryFlown(0.0, "right", "parallel", "parallel", True),
        EntryFlown(1.0, "right", "parallel", "direct", False),
        EntryFlown(2.0, "left", "parallel", "unclear", None),
        EntryFlown(3.0, "left", "direct", "direct", True),
        EntryFlown(4.0, "left", "direct", "direct", False, wrong_way=True),
    ]
    lines = {(line.kind, line.turns): line for line in entry_record(flown)}
    assert len(lines) == 6
    parallel = lines["parallel", "right"]
    assert (parallel.share.passed, parallel.share.judged, parallel.flown_instead) == (1, 2, (("direct", 1),))
    assert lines["parallel", "left"].unclear == 1
    assert lines["parallel", "left"].share.value is None
    assert lines["teardrop", "right"].share.judged == 0
    assert lines["direct", "left"].flown_instead == (("direct the wrong way", 1),)


def test_wind_bands_take_every_hold_once() -> None:
    speeds = [None, 0.0, 3.0, 8.0, 8.1, 15.0, 15.1, 40.0]
    lines = wind_met([hold(wind_kt=speed) for speed in speeds])
    assert [(line.title, line.holds) for line in lines] == [
        ("up to 8 kt", 3),
        ("8 to 15 kt", 2),
        ("over 15 kt", 2),
        ("not known", 1),
    ]


def test_same_input_same_result() -> None:
    chance = random.Random(3)
    values = [chance.gauss(0, 1) for _ in range(40)]
    assert theil_sen(range(40), values) == theil_sen(range(40), list(values))
