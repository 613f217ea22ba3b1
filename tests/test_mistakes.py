"""Mistakes are named from flights that have exactly one, causes before consequences, never without evidence."""

from __future__ import annotations

from dataclasses import replace
from typing import get_args

import numpy as np
import pytest

from tests import arithmetic_hold as arithmetic, confusion
from trackgrade.hold.hold import Leg
from trackgrade.score.debrief import Debrief, Finding
from trackgrade.score.judging import judge
from trackgrade.score.mistakes.table import BY_NAME, MISTAKES
from trackgrade.score.mistakes.wind import swings_through
from trackgrade.score.standard import About, Standard
from trackgrade.score.standards import load_standard
from trackgrade.segment.flown import Lap, Moment

STANDARD = load_standard()


def _judged(plan: arithmetic.Plan, hold: arithmetic.Hold = arithmetic.HOLD, standard: Standard = STANDARD) -> Debrief:
    flight = arithmetic.fly(plan, hold)
    return judge(flight, standard)


def _mistakes(debrief: Debrief) -> dict[str, Finding]:
    return {finding.name: finding for finding in debrief.findings if not finding.praise}


def test_a_flawless_hold_gets_specific_praise_and_nothing_else() -> None:
    debrief = _judged(arithmetic.Plan())
    assert not _mistakes(debrief)
    assert debrief.praise
    assert all(any(character.isdigit() for character in each.evidence) for each in debrief.praise[:2])
    assert "within in all" in debrief.verdict


def test_every_mistake_has_words_and_leads_only_to_known_ones() -> None:
    assert len(BY_NAME) == len(MISTAKES) >= 20
    for mistake in MISTAKES:
        assert all((mistake.title, mistake.advice, mistake.because))
        assert mistake.leads_to <= set(BY_NAME) | set(get_args(About))


def test_outbound_time_left_alone_is_named_with_its_numbers() -> None:
    found = _mistakes(_judged(arithmetic.Plan(straights_s=(90.0, 90.0, 90.0, 90.0))))
    assert list(found) == ["time_not_corrected"]
    finding = found["time_not_corrected"]
    assert "30 s too long" in finding.evidence
    assert finding.laps == (2, 3, 4)


def test_outbound_time_changed_the_wrong_way_is_named() -> None:
    found = _mistakes(_judged(arithmetic.Plan(straights_s=(80.0, 95.0, 120.0, 150.0))))
    assert list(found) == ["time_corrected_wrong_way"]


def test_outbound_time_changed_by_too_much_is_named_when_the_next_leg_is_off_the_other_way() -> None:
    found = _mistakes(_judged(arithmetic.Plan(straights_s=(68.0, 40.0, 61.0)), standard=STANDARD.with_timing_band(5.0)))
    assert list(found) == ["time_overcorrected"]
    assert "20 s too short" in found["time_overcorrected"].evidence


def test_outbound_time_changed_by_too_little_counts_as_not_corrected() -> None:
    found = _mistakes(_judged(arithmetic.Plan(straights_s=(100.0, 93.0, 85.0, 80.0))))
    assert list(found) == ["time_not_corrected"]
    assert "made 7 s shorter where the lap that works in this wind has 59 s" in found["time_not_corrected"].evidence


def test_equal_seconds_flown_is_no_mistake() -> None:
    debrief = _judged(arithmetic.Plan(straights_s=(75.0, 60.0, 60.0)))
    assert not {"time_not_corrected", "time_corrected_wrong_way"} & set(_mistakes(debrief))
    assert [lap.correction.judged for lap in debrief.laps if lap.correction] == ["right", "not needed", "last lap"]


def test_altitude_lost_in_the_turns_is_not_also_named_as_altitude() -> None:
    def sinking(t: np.ndarray) -> np.ndarray:
        within = np.mod(t, 240.0)
        return 4000.0 - 180.0 * np.where((t >= 0.0) & (within < 60.0), np.sin(np.pi * within / 60.0), 0.0)

    found = _mistakes(_judged(arithmetic.Plan(altitude_ft=sinking)))
    assert list(found) == ["altitude_lost_in_turns"]
    # The same fact in other words: no finding of its own, and no consequence.
    assert found["altitude_lost_in_turns"].consequences == ()


def test_holding_speed_one_knot_above_the_limit_is_named_only_beyond_its_error() -> None:
    """AIM 5-3-8: 200 KIAS to 6,000 ft. Two knots are within two standard errors of a logged airspeed; six are not."""
    hold = replace(arithmetic.HOLD, airspeed_kias=None, altitude_ft=6000.0)
    for kias, named in ((200.0, False), (202.0, False), (206.0, True)):
        plan = arithmetic.Plan(
            ias_kt=lambda t, kias=kias: np.full_like(t, kias), altitude_ft=lambda t: np.full_like(t, 6000.0)
        )
        assert ("speed_above_limit" in _mistakes(_judged(plan, hold))) is named, kias
    higher = replace(hold, altitude_ft=6001.0 + 10.0)
    plan = arithmetic.Plan(ias_kt=lambda t: np.full_like(t, 206.0), altitude_ft=lambda t: np.full_like(t, 6011.0))
    assert "speed_above_limit" not in _mistakes(_judged(plan, higher))


def test_arriving_fast_is_named_with_when_the_speed_was_reached() -> None:
    def slowing_late(t: np.ndarray) -> np.ndarray:
        return np.where(t < 5.0, 120.0, 94.0)

    found = _mistakes(_judged(arithmetic.Plan(ias_kt=slowing_late)))
    assert list(found) == ["speed_not_reduced"]
    assert "26 kt" in found["speed_not_reduced"].evidence
    assert "not reached before the fix" in found["speed_not_reduced"].evidence


def test_marks_tell_a_watch_started_at_different_places() -> None:
    """Still air, abeam and wings level together at 60 s: a watch started 0, 9, 0 s after is at two places."""
    steady = arithmetic.Plan(marks=(61.0, 301.0, 541.0))
    wandering = arithmetic.Plan(marks=(61.0, 310.0, 541.0))
    assert "watch_inconsistent" not in _mistakes(_judged(steady))
    assert "watch_inconsistent" in _mistakes(_judged(wandering))


def test_swings_are_counted_from_side_to_side() -> None:
    assert swings_through(np.array([0.0, 9.0, 0.0, -9.0, 0.0, 9.0]), 6.0)[0] == 2
    assert swings_through(np.array([30.0, 10.0, 0.0, 3.0, -3.0]), 6.0)[0] == 0
    assert swings_through(np.array([]), 6.0)[0] == 0


def test_an_item_outside_without_a_named_mistake_is_still_something_to_work_on() -> None:
    """Leg by distance, always 0.8 NM too far: no mistake has a name for it, and the standard is not met."""
    hold = replace(arithmetic.HOLD, leg=Leg(nm=2.0))
    debrief = _judged(arithmetic.Plan(straights_s=(100.0, 101.0, 100.0)), hold)
    assert "Leg length: 3 of 3 graded laps out, worst +0.8" in debrief.verdict
    (finding,) = debrief.work_on
    assert finding.name == "leg_length_outside"
    assert "+0.8" in finding.evidence


def test_findings_are_ranked_and_the_first_three_are_to_work_on() -> None:
    plan = arithmetic.Plan(
        straights_s=(90.0, 90.0, 90.0),
        altitude_ft=lambda t: 4000.0 + 260.0 * np.sin(t / 60.0),
        ias_kt=lambda t: 94.0 + 25.0 * np.sin(t / 50.0),
    )
    debrief = _judged(plan)
    weights = [finding.weight for finding in debrief.findings if not finding.praise]
    assert weights == sorted(weights, reverse=True)
    assert debrief.work_on == tuple(f for f in debrief.findings if not f.praise)[:3]


def test_no_finding_without_evidence_time_and_advice() -> None:
    plan = arithmetic.Plan(straights_s=(90.0, 90.0, 90.0), altitude_ft=lambda t: 4000.0 + 260.0 * np.sin(t / 60.0))
    for finding in _judged(plan).findings:
        assert finding.evidence.strip()
        assert finding.advice.strip()
        if not finding.praise:
            assert finding.at_epoch_s is not None
            assert any(character.isdigit() for character in finding.evidence)


@pytest.fixture(scope="module")
def small_study() -> list[confusion.Row]:
    """One flight of each kind, and six clean ones."""
    todo = [
        confusion.Case(kind, confusion.FIRST_SEED, confusion.WINDS[number % 3], confusion.HOLDS[number % 2])
        for number, kind in enumerate([confusion.CLEAN] * 6 + list(confusion.NAMED))
    ]
    return confusion.tally([confusion.name_mistakes(case) for case in todo])


def test_a_single_mistake_is_found_and_alone(small_study: list[confusion.Row]) -> None:
    """One flight of each kind; the shares are the full study's (marker sweep)."""
    rows = [row for row in small_study if row.kind != confusion.CLEAN]
    missed = [row.kind for row in rows if row.found < row.flights]
    others = [(row.kind, row.others) for row in rows if row.alone < row.flights]
    assert len(missed) <= 2, missed
    assert len(others) <= 2, others


def test_clean_flights_get_no_finding(small_study: list[confusion.Row]) -> None:
    (clean,) = (row for row in small_study if row.kind == confusion.CLEAN)
    assert clean.found == clean.flights == 6, clean.others


@pytest.mark.sweep
def test_confusion_study() -> None:
    """The study reaches its figures but for the kinds known to be short, and those get no worse."""
    rows = confusion.tally(confusion.run(confusion.cases(confusion.kinds(), seeds=3, clean_seeds=15), processes=2))
    assert not confusion.unexpected(rows)


def test_turning_back_before_abeam_leaves_no_outbound_time_and_is_named_when_it_recurs() -> None:
    flight = arithmetic.fly(arithmetic.Plan())
    visit = flight.flown.visits[0]

    def late(lap: Lap) -> Lap:
        assert lap.outbound_end is not None
        return replace(lap, abeam=Moment(lap.outbound_end.epoch_s + 21.0, 0.3))

    def debrief(laps: tuple[Lap, ...]) -> Debrief:
        flown = replace(flight.flown, visits=(replace(visit, laps=laps),))
        return judge(replace(flight, flown=flown), STANDARD)

    every = debrief(tuple(late(lap) for lap in visit.laps))
    assert every.laps[0].outbound_s is None
    assert every.laps[0].measures.outbound_s.why == "turned back 21 s before abeam the fix"
    assert "turned back 21 s before abeam" in _mistakes(every)["turned_back_early"].evidence
    once = debrief((late(visit.laps[0]), *visit.laps[1:]))
    assert "turned_back_early" not in _mistakes(once)
