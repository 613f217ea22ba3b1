"""The class on equal terms: equal pilots on unequal holds look equal, and those who differ are told apart."""

from __future__ import annotations

import random
import statistics
from dataclasses import replace

import pytest

from tests.logbook_rows import hold
from trackgrade.logbook.history import HoldFlown
from trackgrade.logbook.standing import standings


def flown(chance: random.Random, where: str, share: float, wind_kt: float = 10.0, laps: int = 4) -> HoldFlown:
    """A session with a luck of its own at a hold where ``share`` of the laps are within."""
    own = min(max(share + chance.gauss(0, 0.12), 0.02), 0.98)
    within = sum(chance.random() < own for _ in range(laps))
    wind = {"wind_head_kt": wind_kt, "wind_cross_kt": 0.0}
    return replace(hold(), hold_hash=where, laps=laps, laps_judged=laps, laps_within=within, **wind)  # type: ignore[arg-type]


def worst(rows: list[tuple[str, HoldFlown]]) -> tuple[str, float]:
    result = standings(rows)
    name = max(result, key=lambda each: result[each].lowest_third or 0.0)
    return name, result[name].lowest_third or 0.0


def test_equal_pilots_on_unequal_holds_look_equal() -> None:
    """Nine alike, three of them always at a hard hold: the first of the list is one of these one time in three."""
    hard, certain = 0, []
    for seed in range(40):
        chance = random.Random(seed)
        rows = []
        for n in range(9):
            for session in range(6):
                at_hard = n < 3 or session % 3 == 0  # the others meet it too, now and then
                rows.append((f"pilot {n}", flown(chance, "hard" if at_hard else "easy", 0.35 if at_hard else 0.75)))
        name, probability = worst(rows)
        hard += name in ("pilot 0", "pilot 1", "pilot 2")
        certain.append(probability)
    assert hard <= 22, "by share alone it is one of the three in nearly every class"
    assert statistics.median(certain) < 0.75, "nobody is called one of the lowest with confidence"


def test_a_pilot_alone_on_a_hold_is_not_told_from_it() -> None:
    chance = random.Random(4)
    rows = [(f"pilot {n}", flown(chance, "easy", 0.8)) for n in range(7) for _ in range(6)]
    rows += [("alone", flown(chance, "nobody else's", 0.4)) for _ in range(6)]
    result = standings(rows)
    assert (result["alone"].lowest_third or 0.0) < 0.9
    assert result["alone"].high - result["alone"].low > 1.1 * (result["pilot 0"].high - result["pilot 0"].low)


def test_a_pilot_who_is_worse_everywhere_is_found() -> None:
    found = 0
    for seed in range(20):
        chance = random.Random(seed)
        rows = [
            (f"pilot {n}", flown(chance, where, 0.25 if n == 5 else 0.75))
            for n in range(9)
            for where in ("a", "b", "a", "b", "a", "b")
        ]
        name, probability = worst(rows)
        found += name == "pilot 5" and probability > 0.8
    assert found >= 17


def test_the_interval_holds_the_truth_and_few_laps_widen_it() -> None:
    held, widths = 0, []
    for seed in range(60):
        chance = random.Random(seed)
        truths = [0.45 + 0.05 * n for n in range(8)]
        rows = [
            (f"{n}", flown(chance, "a", truth)) for n, truth in enumerate(truths) for _ in range(1 if n == 3 else 8)
        ]
        result = standings(rows)
        held += sum(result[f"{n}"].low <= truth <= result[f"{n}"].high for n, truth in enumerate(truths))
        widths.append((result["3"].high - result["3"].low) / (result["4"].high - result["4"].low))
    assert held / 480 >= 0.9
    assert statistics.median(widths) > 1.3


def test_wind_is_taken_off() -> None:
    """One pilot always met 25 kt, in which all fly worse: told apart far less than the plain share would."""
    chance = random.Random(8)
    rows = []
    for n in range(8):
        for session in range(8):
            windy = n == 0 or session % 3 == 0
            rows.append((f"pilot {n}", flown(chance, "a", 0.45 if windy else 0.8, 25.0 if windy else 5.0)))
    result = standings(rows)
    assert result["pilot 0"].value > 0.5


def test_two_pilots_have_no_thirds_and_nobody_no_standing() -> None:
    chance = random.Random(1)
    two = standings([("a", flown(chance, "x", 0.5)), ("b", flown(chance, "x", 0.5))])
    assert [each.lowest_third for each in two.values()] == [None, None]
    assert standings([("a", replace(hold(), laps_judged=0))]) == {}


@pytest.mark.parametrize("count", [3, 4, 9])
def test_the_probabilities_of_a_class_add_up_to_its_third(count: int) -> None:
    chance = random.Random(count)
    rows = [(f"{n}", flown(chance, "x", 0.6)) for n in range(count) for _ in range(4)]
    total = sum(each.lowest_third or 0.0 for each in standings(rows).values())
    assert total == pytest.approx(round(count / 3))
