"""Grading: what the results mean, and what can never happen to them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import Phase, given, settings, strategies as st

from tests import arithmetic_hold as arithmetic
from trackgrade.score.debrief import ItemResult, Measurement
from trackgrade.score.grading import Deviation, Scope, grade_laps_together, grade_over_time, grade_value, look
from trackgrade.score.judging import judge
from trackgrade.score.series import MERGE_S, Stretch, stays_outside, steadied
from trackgrade.score.standard import Item, Standard
from trackgrade.score.standards import load_standard
from trackgrade.score.verdict import item_evidence
from trackgrade.segment.measured import Measured
from trackgrade.segment.path import Samples

STANDARD = load_standard()
#: Shrinking a failing flight takes minutes and tells little.
NO_SHRINK = (Phase.explicit, Phase.reuse, Phase.generate)
LAP = Scope("lap 1", 1, 1)
RANK = {"within": 0, "brief excursion": 1, "outside": 2}


def _item(name: str, limit: float | None = None) -> Item:
    item = STANDARD.item(name)
    assert item is not None
    return item if limit is None else replace(item, limit=limit)


def _with_limit(name: str, limit: float) -> Standard:
    return replace(
        STANDARD, items=tuple(replace(item, limit=limit) if item.name == name else item for item in STANDARD.items)
    )


def _altitude(values: list[float], limit: float = 100.0) -> ItemResult:
    """Altitude deviations at 1 Hz over one stretch, graded."""
    flight = arithmetic.fly()
    deviation = np.zeros(len(flight.samples))
    deviation[: len(values)] = values
    start = float(flight.samples.epoch_s[0])
    stretch = Stretch(start, start + len(values) - 1.0, 1)
    return _over_time(_item("altitude", limit), flight.samples, Deviation(deviation, 5.0), stretch)


def _over_time(item: Item, samples: Samples, off: Deviation, stretch: Stretch) -> ItemResult:
    return grade_over_time(item, LAP, off, look(item, samples, off, [stretch]), STANDARD)


def _ramp(peak: float, outside_s: int, total_s: int = 300) -> list[float]:
    values = [0.0] * total_s
    values[100 : 100 + outside_s] = [peak] * outside_s
    return values


def test_inside_the_band_is_within() -> None:
    result = _altitude(_ramp(90.0, 30))
    assert (result.result, result.excursions, result.value) == ("within", (), 90.0)


def test_out_and_promptly_back_is_a_brief_excursion_with_evidence() -> None:
    result = _altitude(_ramp(-140.0, 10))
    assert result.result == "brief excursion"
    (stay,) = result.excursions
    assert stay.peak == -140.0
    assert stay.seconds == pytest.approx(9.0 + 2 * 40.0 / 140.0)  # both ends interpolated to the limit
    assert result.value == -140.0
    assert result.at_epoch_s == stay.peak_epoch_s


def test_out_for_longer_than_prompt_is_outside() -> None:
    assert STANDARD.choices.prompt_s == 15.0
    assert _altitude(_ramp(140.0, 14)).result == "brief excursion"
    assert _altitude(_ramp(140.0, 20)).result == "outside"


def test_out_again_and_again_is_outside() -> None:
    values = [0.0] * 300
    for start in range(10, 290, 40):
        values[start : start + 8] = [120.0] * 8
    result = _altitude(values)
    assert max(stay.seconds for stay in result.excursions) < STANDARD.choices.prompt_s
    assert (result.outside_share or 0.0) > STANDARD.choices.consistent_share
    assert result.result == "outside"


def test_a_limit_within_two_standard_errors_is_said_to_straddle() -> None:
    assert _altitude(_ramp(92.0, 5)).straddles
    assert _altitude(_ramp(108.0, 5)).straddles
    assert not _altitude(_ramp(85.0, 5)).straddles


def test_nothing_recorded_is_not_measurable_with_the_reason() -> None:
    flight = arithmetic.fly()
    nothing = np.full(len(flight.samples), math.nan)
    stretch = Stretch(arithmetic.START_S, arithmetic.START_S + 100.0, 1)
    off = Deviation(nothing, 5.0, why_missing="no altitude here")
    result = _over_time(_item("altitude"), flight.samples, off, stretch)
    assert (result.result, result.value, result.why) == ("not measurable", None, "no altitude here")


def test_a_stretch_mostly_in_a_hole_is_not_measurable() -> None:
    flight = arithmetic.fly()
    sparse = np.zeros(len(flight.samples))
    sparse[50:290] = math.nan
    start = float(flight.samples.epoch_s[0])
    stretch = Stretch(start, start + 300.0, 1)
    result = _over_time(_item("altitude"), flight.samples, Deviation(sparse, 5.0), stretch)
    assert result.result == "not measurable"
    assert "recorded" in result.why


def test_a_hole_ends_a_stay_outside() -> None:
    gap = np.zeros(20, dtype=bool)
    gap[10] = True
    stays = stays_outside(np.arange(20.0) * 3.0, np.full(20, 9.0), 5.0, gap)
    assert len(stays) == 2


def test_stays_closer_than_two_seconds_are_one() -> None:
    values = np.array([0.0, 9.0, 9.0, 4.0, 9.0, 9.0, 0.0, 0.0, 0.0, 0.0, 9.0, 0.0])
    stays = stays_outside(np.arange(12.0), values, 5.0, np.zeros(12, dtype=bool))
    assert MERGE_S == 2.0
    assert len(stays) == 2


def test_a_ceiling_counts_the_value_and_a_band_its_size() -> None:
    assert grade_value(_item("fix_recognition"), LAP, Measurement(-9.0, 0.1, "s")).result == "within"
    assert grade_value(_item("inbound_time"), LAP, Measurement(-11.0, 0.1, "s")).result == "outside"


def test_an_unmeasured_value_keeps_its_reason() -> None:
    result = grade_value(_item("inbound_time"), LAP, Measurement(None, None, "s", why="a hole in the record"))
    assert (result.result, result.why) == ("not measurable", "a hole in the record")


def _lap_values(values: list[float | None], limit: float = 10.0) -> ItemResult:
    item = _item("inbound_time", limit)
    results = [
        grade_value(item, Scope(f"lap {n}", 1, n), Measurement(value, 0.1, "s", why="" if value is not None else "gap"))
        for n, value in enumerate(values, start=1)
    ]
    return grade_laps_together(results)


def test_values_of_laps_are_counted_and_one_lap_out_is_out() -> None:
    one = _lap_values([30.0, 4.0, 3.0])
    assert (one.result, one.laps_out, one.laps_known, one.value, one.worst_scope) == ("outside", 1, 3, 30.0, "lap 1")
    assert item_evidence(one) == "1 of 3 graded laps out, worst +30 s on lap 1"
    assert item_evidence(_lap_values([3.0, -4.0])) == "all 2 graded laps within, furthest lap 2"
    assert _lap_values([30.0, 14.0, 3.0]).result == "outside"
    assert _lap_values([30.0]).result == "outside"
    assert _lap_values([3.0, 4.0]).result == "within"
    assert _lap_values([None, 4.0]).result == "within"
    assert _lap_values([None, None]).result == "not measurable"


@settings(max_examples=150, deadline=None)
@given(
    values=st.lists(st.floats(-300, 300), min_size=40, max_size=120),
    limit=st.floats(5, 200),
    wider=st.floats(1.0, 3.0),
)
def test_widening_a_band_never_makes_a_result_over_time_worse(values: list[float], limit: float, wider: float) -> None:
    narrow, wide = _altitude(values, limit), _altitude(values, limit * wider)
    assert RANK[wide.result] <= RANK[narrow.result]


@given(
    values=st.lists(st.one_of(st.none(), st.floats(-60, 60)), min_size=1, max_size=8),
    limit=st.floats(1, 40),
    wider=st.floats(1.0, 3.0),
)
def test_widening_a_band_never_makes_the_whole_hold_worse(
    values: list[float | None], limit: float, wider: float
) -> None:
    narrow, wide = _lap_values(values, limit), _lap_values(values, limit * wider)
    if narrow.result != "not measurable":
        assert RANK[wide.result] <= RANK[narrow.result]


@settings(max_examples=25, deadline=None, phases=NO_SHRINK)
@given(
    name=st.sampled_from(["altitude", "airspeed", "course", "inbound_time", "turn_rate", "non_holding_side"]),
    limit=st.floats(0.05, 100.0),
    wider=st.floats(1.0, 4.0),
    seed=st.integers(0, 5),
)
def test_widening_a_limit_never_makes_a_debrief_worse(name: str, limit: float, wider: float, seed: int) -> None:
    flight = _rough_flight(seed)
    narrow = {(i.item, i.scope): i for i in _judged(flight, _with_limit(name, limit)).items}
    wide = {(i.item, i.scope): i for i in _judged(flight, _with_limit(name, limit * wider)).items}
    assert narrow.keys() == wide.keys()
    for key, before in narrow.items():
        after = wide[key]
        assert (before.result == "not measurable") == (after.result == "not measurable"), key
        if before.result != "not measurable":
            assert RANK[after.result] <= RANK[before.result], key


@settings(max_examples=15, deadline=None, phases=NO_SHRINK)
@given(seed=st.integers(0, 1000), laps=st.integers(1, 4), extra=st.floats(20.0, 100.0))
def test_adding_a_lap_does_not_change_earlier_laps(seed: int, laps: int, extra: float) -> None:
    dice = np.random.default_rng(seed)
    straights = [float(s) for s in dice.uniform(30.0, 90.0, laps)]
    hold = replace(arithmetic.HOLD, altitude_ft=None, airspeed_kias=None)
    fewer = _judged(_rough_flight(seed, straights, hold))
    more = _judged(_rough_flight(seed, [*straights, extra], hold))
    for lap in range(1, laps + 1):
        for one, two in zip(fewer.laps[lap - 1].items, more.laps[lap - 1].items, strict=True):
            # The error of an altitude is told from the noise of the whole record, and that has grown.
            assert replace(one, value_sd=None) == replace(two, value_sd=None)
            assert one.value_sd == pytest.approx(two.value_sd, rel=1e-3)


def _rough_flight(seed: int, straights: list[float] | None = None, hold: arithmetic.Hold = arithmetic.HOLD) -> Measured:
    """A hold flown unsteadily: slow swings of altitude, airspeed and cross-track."""
    a, b, c = np.random.default_rng(seed).uniform(0.2, 1.6, 3)
    return arithmetic.fly(
        arithmetic.Plan(
            straights_s=straights or [60.0, 75.0, 50.0],
            altitude_ft=lambda t: 4000.0 + 90.0 * a * np.sin(t / 37.0),
            ias_kt=lambda t: 94.0 + 9.0 * b * np.sin(t / 23.0),
            inbound_cross_nm=lambda t: 0.6 * c * np.sin(t / 11.0),
        ),
        hold,
    )


def _judged(flight: Measured, standard: Standard = STANDARD):  # type: ignore[no-untyped-def]
    return judge(flight, standard)


def test_steadied_drops_one_odd_sample_and_keeps_a_step() -> None:
    t = np.arange(20.0)
    odd = np.where(t == 7.0, 500.0, 0.0)
    assert steadied(t, odd).max() == 0.0
    step = np.where(t < 10.0, 0.0, 100.0)
    np.testing.assert_array_equal(steadied(t, step), step)
    sparse = steadied(t * 15.0, odd)  # 15 s apart: a sample stands for itself
    assert sparse.max() == 500.0
