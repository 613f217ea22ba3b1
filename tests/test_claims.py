"""Claims of progress on invented pilots whose change is known: how often a page claims what is not so, and misses what
is.

The quick form runs by default on pilots enough to see a broken test; the large form (``-m sweep``) prints the table
that `tests/CLAIMS.md` keeps. The limits are the project's: any claim of a pilot who did not change on at most one page
in twenty, with a condition changed for good on one in ten; 70 % improvement found in four of five, 50 % in one of two;
a wrong sign in one of a hundred; intervals that hold the truth in 94 to 97 of 100.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pytest
from scipy import stats

from tests import invented_pilots as invented
from trackgrade.logbook import claims, levels
from trackgrade.logbook.claims import COMPOSITE, Verdict, verdict
from trackgrade.logbook.conditions import conditions
from trackgrade.logbook.history import Session

#: Sessions of the pilots who did not change: from as few as can be tested to a long season.
FEW_AND_MANY = (3, 4, 5, 6, 7, 8, 10, 12, 16, 24)
ENOUGH = (8, 10, 12)


def page(own: Sequence[Session], *others: Sequence[Session]) -> Verdict:
    """What a pilot's page claims, with what the other pilots of the logbook tell of conditions."""
    every = [*own, *(session for other in others for session in other)]
    ends = np.cumsum([len(own), *map(len, others)])
    rows = np.split(np.arange(len(every)), ends[:-1])
    kept = levels.without_repeats(levels.measures(every, invented.TITLES), rows[0])
    return verdict(kept, conditions(every), rows[0], rows[1:])


@dataclass
class Row:
    """One line of the table: of so many pages, how many made a claim, the wrong one, and how often intervals held."""

    what: str
    pages: int = 0
    any_claim: int = 0
    wrong: int = 0
    named: int = 0
    tested: int = 0
    held: int = 0

    def add(self, result: Verdict, improved: float) -> None:
        self.pages += 1
        made = result.claims
        self.any_claim += bool(made)
        self.named += bool(result.moved)
        self.wrong += improved > 0 and any(each.claimed == "worse" for each in made)
        if result.composite is not None:
            self.tested += 1
            low, high = result.composite.interval
            self.held += low <= -100 * improved <= high

    @property
    def cells(self) -> tuple[str, ...]:
        of_pages = [f"{100 * count / self.pages:.1f} %" for count in (self.any_claim, self.wrong, self.named)]
        return self.what, str(self.pages), *of_pages, f"{100 * self.held / max(self.tested, 1):.1f} %"


def measure(
    what: str,
    pages: int,
    days: invented.Changing,
    improved: float = 0.0,
    counts: Sequence[int] = FEW_AND_MANY,
    others: int = 0,
) -> Row:
    row = Row(what)
    around = [invented.sessions(("around", n), 10, invented.two_holds) for n in range(others)]
    for n in range(pages):
        own = invented.sessions((what, n), counts[n % len(counts)], days, improved)
        row.add(page(own, *around), improved)
    return row


# --- the quick form ----------------------------------------------------------------------------------------------


def test_a_pilot_who_did_not_change_is_rarely_told_of_a_change() -> None:
    """Of 60 pages, 4 % of claims leave over 8 to chance in 1 of 1000 (binomial)."""
    row = measure("unchanged", 60, invented.ordinary)
    assert stats.binom.sf(8, 60, 0.04) < 0.001
    assert row.any_claim <= 8
    assert row.held / row.tested > 0.85


@pytest.mark.parametrize("what", invented.CONDITIONS)
def test_a_condition_that_changed_for_good_is_no_claim(what: str) -> None:
    row = measure(what, 10, invented.CONDITIONS[what], counts=(8, 12))
    assert row.any_claim <= 3


def test_a_large_improvement_is_found() -> None:
    row = measure("70 %", 24, invented.ordinary, 0.7, ENOUGH)
    assert row.any_claim >= 16
    assert row.wrong == 0


def test_one_item_that_improved_is_named_and_the_others_are_not() -> None:
    named = []
    for n in range(12):
        result = page(invented.sessions(("only", n), 12, invented.steady, 0.95, only=("altitude", "airspeed")))
        named += [each.measure for each in result.claims if each.measure != COMPOSITE]
    assert set(named) <= {"altitude", "airspeed"}


def test_below_five_sessions_nothing_is_tested_however_clear() -> None:
    for count in (1, 2, 3, 4):
        assert page(invented.sessions("few", count, invented.steady, 0.99)).composite is None
    found = [page(invented.sessions(("five", n), 5, invented.steady, 0.99)).claims for n in range(5)]
    assert sum(map(bool, found)) >= 3


def test_the_probability_is_exact_by_counting_all_orders() -> None:
    """Five alike sessions: p is the share of the 120 orders that are as far or farther."""
    own = invented.sessions("exact", 5, invented.steady)
    result = page(own)
    assert result.composite is not None
    kept = levels.without_repeats(levels.measures(own, invented.TITLES), np.arange(5))
    level = claims.session_levels(kept, np.arange(5))[0]
    sizes = [abs(np.corrcoef(np.arange(5), level[list(order)])[0, 1]) for order in itertools.permutations(range(5))]
    assert result.composite.p == pytest.approx(sum(size >= sizes[0] - 1e-9 for size in sizes) / 120)


def test_the_line_is_that_of_ordinary_least_squares_where_sessions_are_alike() -> None:
    own = invented.sessions("line", 9, invented.steady, 0.5)
    result = page(own)
    kept = levels.without_repeats(levels.measures(own, invented.TITLES), np.arange(9))
    level = claims.session_levels(kept, np.arange(9))[0]
    line = stats.linregress(np.arange(9), level)
    far = stats.t.ppf(0.975, 7) * line.stderr
    assert result.composite is not None
    assert result.composite.change == pytest.approx(100 * math.expm1(8 * line.slope), abs=0.5)
    ends = [100 * math.expm1(8 * (line.slope + sign * far)) for sign in (-1, 1)]
    assert result.composite.interval == pytest.approx(ends, abs=1.5)


def test_single_items_step_down_as_published() -> None:
    """Westfall and Young's algorithm 2.8 written out plainly, over all orders of six sessions."""
    own = invented.sessions("step", 6, invented.steady, 0.6)
    result = page(own)
    kept = levels.without_repeats(levels.measures(own, invented.TITLES), np.arange(6))
    orders = list(itertools.permutations(range(6)))
    table = np.array([[abs(np.corrcoef(np.arange(6), each.log[list(o)])[0, 1]) for o in orders] for each in kept])
    ranked = sorted(range(len(kept)), key=lambda n: -table[n, 0])
    expected, largest = {}, 0.0
    for step, n in enumerate(ranked):
        most = table[ranked[step:]].max(axis=0)
        largest = max(largest, float((most >= table[n, 0] - 1e-9).mean()))
        expected[kept[n].item] = largest
    assert {each.measure: each.p for each in result.items} == pytest.approx(expected, abs=0.003)


def test_what_repeats_another_and_what_is_constant_is_not_tested() -> None:
    result = page(invented.sessions("repeats", 12, invented.steady, 0.7))
    tested = {each.measure for each in result.items}
    assert "turn_rate" in tested
    assert "turn_bank" not in tested, "it is the rate of turn, told twice"
    assert "holding_speed" not in tested, "a ceiling"


def test_first_laps_are_compared_with_first_laps() -> None:
    """Two laps against six of a pilot whose first laps are worse by a known factor: the same level, by construction."""
    factors = (2.0, 1.5, 1.2, 1.0, 1.0, 1.0)
    sizes = [10.0 * np.array(factors[:laps]) for laps in (2, 6) * 6]
    numbers = [np.arange(len(own)) for own in sizes]
    level, _ = levels._levels(sizes, numbers)
    assert level[0] / level[1] == pytest.approx(1.0, abs=0.1)
    assert np.mean(sizes[0]) / np.mean(sizes[1]) > 1.3, "the plain means differ"


def test_the_logarithm_of_a_mean_of_few_laps_has_no_bias() -> None:
    chance = np.random.default_rng(3)
    for laps in (2, 6):
        means = np.abs(chance.normal(0, 1, (20_000, laps))).mean(axis=1)
        shape = laps / levels.NORMAL_CV2
        corrected = np.log(means) + 1 / (2 * shape) + 1 / (12 * shape**2)
        assert corrected.mean() == pytest.approx(math.log(math.sqrt(2 / math.pi)), abs=0.03)


def test_what_others_flew_tells_what_a_hold_does() -> None:
    """A pilot moves to a harder hold for good. Alone no claim; with ten who flew both in turn, the hold is known and
    taken off: the interval becomes as narrow as of a pilot who stayed, and holds the truth.
    """

    def in_turn(part: float, chance: object) -> invented.Day:
        return invented.Day(hold="hard" if round(part * 11) % 2 else "easy")

    own = invented.sessions("moved", 12, lambda part, _: invented.Day(hold="hard" if part >= 0.5 else "easy"))
    others = [invented.sessions(("turns", n), 12, in_turn) for n in range(10)]
    alone, together = page(own), page(own, *others)
    assert alone.moved == ("hold",)
    assert alone.claims == ()
    assert together.moved == ()
    assert together.composite is not None
    assert alone.composite is not None
    low, high = together.composite.interval
    assert low < 0 < high
    assert high - low < 0.5 * (alone.composite.interval[1] - alone.composite.interval[0])


def test_the_same_logbook_gives_the_same_claims() -> None:
    own = invented.sessions("same", 14, invented.two_holds, 0.6)
    assert page(own) == page(own)


# --- the large form ----------------------------------------------------------------------------------------------


@pytest.mark.sweep
def test_claims_of_many_invented_pilots(capsys: pytest.CaptureFixture[str]) -> None:
    """The table of tests/CLAIMS.md."""
    unchanged = [
        measure("unchanged, conditions come and go", 600, invented.ordinary),
        measure("unchanged, two holds in turn", 400, invented.two_holds),
        measure("unchanged, conditions steady", 400, invented.steady),
        measure("unchanged, five others in the logbook", 150, invented.two_holds, others=5),
    ]
    found = {
        (improved, what): measure(f"{100 * improved:.0f} % better, {what}", 150, days, improved, ENOUGH)
        for improved in (0.7, 0.5)
        for what, days in (
            ("conditions come and go", invented.ordinary),
            ("two holds in turn", invented.two_holds),
            ("conditions steady", invented.steady),
        )
    }
    short = measure("70 % better in 5 to 7 sessions", 150, invented.ordinary, 0.7, (5, 6, 7))
    changed = [measure(f"unchanged, {what}", 150, days) for what, days in invented.CONDITIONS.items()]
    with capsys.disabled():
        print("\n\n| pilots | pages | any claim | wrong sign | condition named | interval holds |")
        print("|---|---|---|---|---|---|")
        for row in (*unchanged, *changed, *found.values(), short):
            print(f"| {' | '.join(row.cells)} |")
    for row in unchanged:
        assert row.any_claim / row.pages <= 0.05, row
        assert 0.93 <= row.held / row.tested <= 0.98, row
    for row in changed:
        assert row.any_claim / row.pages <= 0.10, row
    for (improved, _), row in found.items():
        assert row.any_claim / row.pages >= (0.8 if improved > 0.6 else 0.5), row
        assert row.wrong / row.pages <= 0.01, row
        assert 0.93 <= row.held / row.tested <= 0.98, row
