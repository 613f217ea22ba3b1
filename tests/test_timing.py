"""Leg times by their definitions: where the time starts, where the watch was started, what was corrected."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests import arithmetic_hold as arithmetic
from trackgrade.score.debrief import Debrief
from trackgrade.score.judging import judge
from trackgrade.score.standards import load_standard
from trackgrade.score.timing import outbound_start, watch_mark
from trackgrade.segment.flown import Lap, Moment
from trackgrade.track.track import Mark

STANDARD = load_standard()


def _lap(abeam_s: float | None, level_s: float | None) -> Lap:
    def at(when: float | None) -> Moment | None:
        return None if when is None else Moment(when, 0.1)

    fix = Moment(0.0, 0.1)
    return Lap(
        1, fix, fix, at(level_s), at(abeam_s), None, Moment(120.0, 0.2), None, None, None, None, Moment(240.0, 0.1)
    )


@pytest.mark.parametrize(
    ("setting", "abeam_s", "level_s", "starts_s", "by"),
    [
        # AIM 5-3-8 and ICAO Doc 8168: over or abeam the fix, whichever is later; wings level where abeam cannot be
        # told.
        ("abeam", 55.0, 62.0, 55.0, "abeam"),
        ("abeam", 70.0, 62.0, 70.0, "abeam"),
        ("abeam", None, 62.0, 62.0, "wings_level"),
        # Transport Canada: the later of abeam and attaining the outbound heading.
        ("abeam_or_heading", 55.0, 62.0, 62.0, "abeam_or_heading"),
        ("abeam_or_heading", 70.0, 62.0, 70.0, "abeam_or_heading"),
        ("abeam_or_heading", 70.0, None, 70.0, "abeam"),
        # Common practice without a bearing to the fix.
        ("wings_level", 55.0, 62.0, 62.0, "wings_level"),
        ("wings_level", 55.0, None, 55.0, "abeam"),
        ("abeam", None, None, None, None),
    ],
)
def test_where_the_outbound_time_starts(
    setting: str, abeam_s: float | None, level_s: float | None, starts_s: float | None, by: str | None
) -> None:
    moment, reference = outbound_start(_lap(abeam_s, level_s), setting)  # type: ignore[arg-type]
    assert (moment.epoch_s if moment else None, reference) == (starts_s, by)


def test_the_setting_of_the_standard_decides_the_outbound_time() -> None:
    flight = arithmetic.fly()
    (visit,) = flight.flown.visits
    laps = tuple(
        replace(lap, abeam=Moment(lap.abeam.epoch_s - 7.0, 0.1)) for lap in visit.laps if lap.abeam is not None
    )
    flown = replace(flight.flown, visits=(replace(visit, laps=laps),))
    for setting, seconds in (("abeam", 67.0), ("abeam_or_heading", 60.0), ("wings_level", 60.0)):
        standard = replace(STANDARD, outbound_starts=setting)  # type: ignore[arg-type]
        debrief = judge(replace(flight, flown=flown), standard)
        assert debrief.laps[0].outbound_s == pytest.approx(seconds)


def _judged(*straights_s: float, marks: tuple[float, ...] = ()) -> Debrief:
    flight = arithmetic.fly(arithmetic.Plan(straights_s=straights_s, marks=marks))
    return judge(flight, STANDARD)


def test_the_parts_of_a_lap_add_up() -> None:
    for lap in _judged(60.0, 82.0, 45.0).laps:
        turns = sum(turn.end_epoch_s - turn.start_epoch_s for _, turn in lap.measures.turns)
        assert (lap.outbound_s or 0.0) + (lap.inbound_s or 0.0) + turns == pytest.approx(lap.lap_s)
        assert lap.measures.outbound_s.sd == pytest.approx(arithmetic.SD_S * 2**0.5)


def test_a_no_wind_lap_with_minute_legs_takes_four_minutes() -> None:
    """Arithmetic: two legs of 1 min and two half turns at 3 degrees a second."""
    assert _judged(60.0).laps[0].lap_s == pytest.approx(240.0)


@pytest.mark.parametrize(
    ("straights", "judged"),
    [
        ((90.0, 60.0), "right"),
        ((90.0, 68.0), "right"),
        ((90.0, 78.0), "too small"),
        ((90.0, 40.0), "too large"),
        ((90.0, 91.0), "none"),
        ((90.0, 110.0), "wrong way"),
        ((45.0, 60.0), "right"),
        ((45.0, 30.0), "wrong way"),
        ((66.0, 66.0), "not needed"),
    ],
)
def test_corrections_are_judged_by_sign_and_size(straights: tuple[float, float], judged: str) -> None:
    """Still air: inbound takes what outbound took, so every rule asks for 60 s, and 10 s off it is still right."""
    flight = arithmetic.fly(arithmetic.Plan(straights_s=straights))
    debrief = judge(replace(flight, wind=None, wind_note="no wind"), STANDARD)
    row = debrief.laps[0].correction
    assert row is not None
    assert row.judged == judged
    assert row.asked_equal_seconds_s == pytest.approx(60.0)
    assert row.asked_ratio_s == pytest.approx(60.0)
    assert row.error_s == pytest.approx(straights[0] - 60.0)
    assert debrief.laps[1].correction is not None
    assert debrief.laps[1].correction.judged == "last lap"


def test_the_solved_lap_asks_for_a_minute_in_still_air() -> None:
    debrief = _judged(75.0, 60.0)
    # The turn back is counted from a quarter of its rate on, a moment after it is begun.
    assert debrief.laps[0].correction is not None
    assert debrief.laps[0].correction.asked_solved_s == pytest.approx(59.0, abs=0.7)
    card = debrief.next_lap
    assert card is not None
    assert card.outbound_s == pytest.approx(59.0, abs=0.7)
    # It aims 0.05 NM short of the course, at the end of some 1.7 NM: a degree and a half to the holding side.
    assert card.outbound_heading_true_deg == pytest.approx(40.0 - 1.7, abs=0.5)
    assert card.outbound_heading_mag_deg == pytest.approx(38.0 - 1.7, abs=0.5)
    assert "036 magnetic" in card.sentence


@pytest.mark.parametrize(
    ("straights", "lap"), [((80.0, 62.0, 58.0), 2), ((61.0, 60.0), 1), ((60.0, 80.0), None), ((80.0, 81.0, 60.0), 3)]
)
def test_converged_from_the_first_lap_that_stays_in_the_band(straights: tuple[float, ...], lap: int | None) -> None:
    assert _judged(*straights).converged_lap == lap


def test_a_mark_between_the_fix_and_the_turn_back_is_the_watch() -> None:
    lap = _lap(60.0, 62.0)
    assert watch_mark(lap, [Mark(2.0, "over the fix"), Mark(64.0, "time"), Mark(130.0, "later")]) == Moment(64.0, 0.5)
    assert watch_mark(lap, [Mark(2.0, "over the fix"), Mark(130.0, "later")]) is None


def test_times_from_the_mark_tell_where_the_watch_was_started() -> None:
    """Marks 9 s after abeam on every lap, each leg then flown for 60 s by the watch: only the mark explains the
    times."""
    straights = (69.0, 64.0, 75.0, 66.0)
    starts, at = [], 0.0
    for straight in straights:
        starts.append(at + 60.0 + straight - 60.0)
        at += 120.0 + 2.0 * straight
    watch = _judged(*straights, marks=tuple(starts)).watch
    assert watch is not None
    assert watch.likely == "mark"
    by_reference = {each.reference: each for each in watch.references}
    assert by_reference["mark"].scatter_s == pytest.approx(0.0, abs=1e-6)
    assert by_reference["abeam"].scatter_s > 3.0
    assert sum(each.probability for each in watch.references) == pytest.approx(1.0)


def test_fewer_than_three_laps_cannot_tell_the_watch() -> None:
    watch = _judged(60.0, 62.0).watch
    assert watch is not None
    assert watch.likely is None
    assert "cannot be told" in watch.sentence
