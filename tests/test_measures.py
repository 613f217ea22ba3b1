"""Measures, items, entry and wind work on flights whose every number is arithmetic."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests import arithmetic_hold as arithmetic
from trackgrade.earth.turning import bank_for_rate_deg, rate_for_bank_deg_s
from trackgrade.hold.hold import Leg
from trackgrade.hold.sectors import sector_miss_deg
from trackgrade.motion.samples import Turn, Wind
from trackgrade.score.debrief import Debrief, ItemResult
from trackgrade.score.items import GRADERS
from trackgrade.score.judging import judge
from trackgrade.score.measures import due_rates_deg_s
from trackgrade.score.standard import ITEMS
from trackgrade.score.standards import load_standard
from trackgrade.segment.flown import Entry, InboundStart, Moment
from trackgrade.segment.measured import Measured

STANDARD = load_standard()


def _judged(flight: Measured, standard: str = "") -> Debrief:
    return judge(flight, load_standard(standard) if standard else STANDARD)


def _item(debrief: Debrief, name: str, scope: str = "lap 1") -> ItemResult:
    (found,) = (each for each in debrief.items if each.item == name and each.scope == scope)
    return found


def test_every_item_has_a_grader() -> None:
    assert set(GRADERS) == set(ITEMS)


def test_a_flawless_lap_measures_as_drawn() -> None:
    lap = _judged(arithmetic.fly()).laps[0].measures
    assert lap.outbound_s.value == pytest.approx(60.0)
    assert lap.inbound_s.value == pytest.approx(60.0)
    assert lap.inbound_nm.value == pytest.approx(arithmetic.TAS_KT / 60.0)
    assert lap.outbound_end_nm.value == pytest.approx(arithmetic.TAS_KT / 60.0)
    assert lap.max_cross_track_nm.value == pytest.approx(0.0, abs=1e-9)
    assert lap.rollout_cross_nm.value == pytest.approx(0.0, abs=1e-9)
    assert lap.non_holding_side_nm.value == pytest.approx(0.0, abs=1e-9)
    assert lap.fix_to_turn_s.value == pytest.approx(0.0)
    assert lap.fix_turn is not None
    assert lap.fix_turn.rate_deg_s.value == pytest.approx(3.0)
    assert lap.fix_turn.due_rate_deg_s == pytest.approx(3.0)
    assert lap.fix_turn.due_bank_deg == pytest.approx(15.4, abs=0.05)


@pytest.mark.parametrize(
    ("tas_kt", "bank_deg", "rate_deg_s", "printed_to", "source"),
    [
        (120.0, 30.0, 5.25, 0.005, "FAA-H-8083-25, figure on rate of turn: 120 kt, 30 deg"),
        (240.0, 30.0, 2.63, 0.006, "the same figure: 240 kt, 30 deg, about 2.63"),
        (100.0, 45.0, 10.9, 0.05, "Aviation Formulary: 100 kt, 45 deg, 10.9 deg/s (secondary)"),
        (100.0, 15.4, 3.0, 0.01, "Aviation Formulary: standard rate at 100 kt needs 15.4 deg (secondary)"),
        (120.0, 18.24, 3.0, 0.01, "rate one at 120 kt needs 18.24 deg (secondary)"),
    ],
)
def test_rate_and_bank(tas_kt: float, bank_deg: float, rate_deg_s: float, printed_to: float, source: str) -> None:
    assert rate_for_bank_deg_s(tas_kt, bank_deg) == pytest.approx(rate_deg_s, abs=printed_to), source
    assert bank_for_rate_deg(tas_kt, rate_for_bank_deg_s(tas_kt, bank_deg)) == pytest.approx(bank_deg)


@pytest.mark.parametrize(
    ("tas_kt", "low", "high"),
    [
        (100.0, 3.0, 3.0),
        # 25 deg gives 3 deg/s at 170 kt (arithmetic; a page that says 180 is wrong), 30 deg at 210 kt.
        (170.0, 2.99, 3.0),
        (200.0, 2.54, 3.0),
        (240.0, 2.12, 2.62),
    ],
)
def test_turns_are_due_at_the_least_bank(tas_kt: float, low: float, high: float) -> None:
    """AIM 5-3-8: 3 deg/s, or 30 deg of bank, or 25 deg with a flight director, whichever needs the least bank."""
    assert due_rates_deg_s(STANDARD.turns, tas_kt) == pytest.approx((low, high), abs=0.01)


def test_altitude_without_an_assignment_is_measured_from_the_start_of_the_first_lap_and_says_so() -> None:
    hold = replace(arithmetic.HOLD, altitude_ft=None)
    plan = arithmetic.Plan(altitude_ft=lambda t: np.where(t < 400.0, 3950.0, 4080.0))
    debrief = _judged(arithmetic.fly(plan, hold))
    assert debrief.altitude.value == 3950.0
    assert "as none is assigned" in debrief.altitude.note
    assert _item(debrief, "altitude", "lap 2").value == pytest.approx(130.0)
    assert _item(debrief, "altitude", "lap 2").result == "outside"


def test_airspeed_without_a_plan_is_measured_from_the_first_lap() -> None:
    hold = replace(arithmetic.HOLD, airspeed_kias=None)
    plan = arithmetic.Plan(ias_kt=lambda t: np.where(t < 240.0, 95.0, 99.0))
    debrief = _judged(arithmetic.fly(plan, hold))
    assert debrief.airspeed.value == 95.0
    assert _item(debrief, "airspeed", "lap 2").value == pytest.approx(4.0)


def test_an_estimated_airspeed_carries_its_error_and_a_poor_one_is_not_graded() -> None:
    plan = arithmetic.Plan(ias_kt=lambda t: np.full_like(t, 103.0), airspeed_source="estimated")
    good = Wind(0.0, 0.0, 100.0, 10.0, 0.8, 0.6, ((0.6, 0.0), (0.0, 0.6)))
    item = _item(_judged(arithmetic.fly(plan, wind=good)), "airspeed")
    assert item.value == pytest.approx(9.0)
    assert item.value_sd == pytest.approx(math.hypot(0.8, 0.6, 0.5))
    assert item.straddles
    poor = replace(good, speed_sd_kt=6.0)
    item = _item(_judged(arithmetic.fly(plan, wind=poor)), "airspeed")
    assert item.result == "not measurable"
    assert "only known to" in item.why
    none = _judged(arithmetic.fly(plan, wind=None))
    assert _item(none, "airspeed").result == "not measurable"
    assert "wind could not be estimated" in _item(none, "airspeed").why
    assert _item(none, "holding_speed").result == "not measurable"


def test_what_the_track_does_not_carry_is_never_passed_by_silence() -> None:
    plan = arithmetic.Plan(altitude_ft=lambda t: np.full_like(t, math.nan), ias_kt=lambda t: np.full_like(t, math.nan))
    flight = arithmetic.fly(plan, wind=None)
    samples = replace(
        flight.samples,
        airspeed_source="none",
        heading_source="none",
        heading_true_deg=np.full(len(flight.samples), math.nan),
    )
    debrief = _judged(replace(flight, samples=samples))
    for name in ("altitude", "airspeed", "outbound_heading", "holding_speed"):
        for scope in ("lap 1", "whole hold"):
            item = _item(debrief, name, scope)
            assert item.result == "not measurable"
            assert item.why
            assert item.value is None


def test_each_lap_and_the_whole_hold_has_every_item() -> None:
    debrief = _judged(arithmetic.fly())
    per_lap = [item.item for item in debrief.laps[0].items]
    assert per_lap == [item.item for item in debrief.laps[2].items]
    assert per_lap == [item.item for item in debrief.whole_items]
    assert {"altitude", "airspeed", "course", "inbound_time", "turn_rate", "non_holding_side"} <= set(per_lap)
    entry = debrief.visits[0].entry.items
    assert [(item.scope, item.item) for item in entry] == [("arrival", "arrival_speed"), ("entry", "entry")]


def test_a_leg_in_miles_is_graded_by_distance_and_not_by_the_watch() -> None:
    """AIM 5-3-8, legs by distance: the outbound leg ends at the distance, or RNAV makes the inbound leg that long."""
    hold = replace(arithmetic.HOLD, leg=Leg(nm=2.0))
    debrief = _judged(arithmetic.fly(arithmetic.Plan(straights_s=(72.0, 60.0)), hold))
    assert _item(debrief, "leg_length").value == pytest.approx(0.0, abs=1e-9)
    assert _item(debrief, "leg_length", "lap 2").value == pytest.approx(100.0 / 60.0 - 2.0)
    assert not [item for item in debrief.items if item.item == "inbound_time"]
    assert [lap.correction for lap in debrief.laps] == [None] * len(debrief.laps)
    assert debrief.next_lap is not None
    # In still air the turn back begins 2 NM out and a turn diameter abeam the course.
    assert debrief.next_lap.outbound_nm == pytest.approx(math.hypot(2.0, 2.0 * arithmetic.RADIUS_NM), abs=0.02)


@pytest.mark.parametrize(
    ("late_s", "result"), [(0.0, "within"), (9.0, "within"), (-14.0, "outside"), (14.0, "outside")]
)
def test_the_assigned_time_is_graded_in_seconds(late_s: float, result: str) -> None:
    hold = replace(arithmetic.HOLD, arrive_epoch_s=arithmetic.START_S - late_s)
    item = _item(_judged(arithmetic.fly(hold=hold)), "arrival_time", "arrival")
    assert item.value == pytest.approx(late_s)
    assert item.result == result
    assert item.choice


def test_an_assigned_time_to_leave_counts_at_the_passage_nearest_to_it() -> None:
    hold = replace(arithmetic.HOLD, arrive_epoch_s=arithmetic.START_S + 480.0 - 4.0)
    assert _item(_judged(arithmetic.fly(hold=hold)), "arrival_time", "arrival").value == pytest.approx(4.0)


@pytest.mark.parametrize("turns", ["right", "left"])
@pytest.mark.parametrize(
    ("entry", "angle_deg", "miss_deg"),
    [
        # Angle from arrival heading to outbound course, positive into the hold's turns: AIM 5-3-8, ICAO Doc 8168.
        ("teardrop", 35.0, 0.0),
        ("teardrop", 80.0, 10.0),
        ("teardrop", -12.0, 12.0),
        ("parallel", -55.0, 0.0),
        ("parallel", 20.0, 20.0),
        ("parallel", -150.0, 40.0),
        ("direct", 120.0, 0.0),
        ("direct", -140.0, 0.0),
        ("direct", 40.0, 30.0),
        ("direct", -90.0, 20.0),
    ],
)
def test_how_far_a_heading_lies_outside_a_sector(turns: str, entry: str, angle_deg: float, miss_deg: float) -> None:
    hold = replace(arithmetic.HOLD, turns=turns)  # type: ignore[arg-type]
    heading = hold.inbound_course_true_deg + 180.0 - hold.side * angle_deg
    found = sector_miss_deg(entry, hold.inbound_course_true_deg, hold.side, heading)  # type: ignore[arg-type]
    assert found == pytest.approx(miss_deg, abs=1e-9)


def _entered(kind: str, expected: tuple[str, ...], heading: float, **more: object) -> Debrief:
    flight = arithmetic.fly()
    (visit,) = flight.flown.visits
    start = Moment(arithmetic.START_S, 0.1)
    entry = Entry(kind, expected, start, start, heading, 30.0, turn_start=start, **more)  # type: ignore[arg-type]
    return _judged(replace(flight, flown=replace(flight.flown, visits=(replace(visit, entry=entry),))))


def test_another_entry_flown_well_is_a_note_and_flown_badly_is_outside() -> None:
    """AIM 5-3-8: the entries are recommended. A parallel entry 40 degrees outside its sector, from the direct one."""
    heading = arithmetic.HOLD.inbound_course_true_deg + 180.0 + 150.0
    well = _entered("parallel", ("direct",), heading, non_holding_side_nm=0.5)
    item = _item(well, "entry", "entry")
    assert (item.result, item.value) == ("within", pytest.approx(40.0))
    assert "a note" in item.why
    assert [f.name for f in well.findings if not f.praise] == ["wrong_entry"]
    assert "note" in well.visits[0].entry.sentence
    badly = _entered("parallel", ("direct",), heading, non_holding_side_nm=3.0)
    assert _item(badly, "entry", "entry").result == "outside"


def test_the_entry_of_the_sector_is_within_and_far_from_a_boundary_does_not_straddle() -> None:
    item = _item(_judged(arithmetic.fly()), "entry", "entry")
    assert (item.result, item.value, item.straddles) == ("within", 0.0, False)


def test_an_entry_not_seen_is_not_measurable() -> None:
    item = _item(_entered("none", (), 40.0), "entry", "entry")
    assert item.result == "not measurable"


def test_wind_work_reads_headings_against_courses() -> None:
    """Crab 6 degrees right inbound and 18 left outbound: triple drift (AIM 5-3-8), as a multiple 3."""
    flight = arithmetic.fly()
    heading = flight.samples.heading_true_deg
    track = flight.samples.ground_track_true_deg
    off = np.mod(track - arithmetic.HOLD.inbound_course_true_deg + 180.0, 360.0) - 180.0
    crabbed = np.mod(
        np.where(np.abs(off) < 1.0, track + 6.0, np.where(np.abs(off) > 179.0, track - 18.0, heading)), 360.0
    )
    debrief = _judged(replace(flight, samples=replace(flight.samples, heading_true_deg=crabbed)))
    work = debrief.laps[1].wind_work
    assert work.inbound_correction_deg.value == pytest.approx(6.0)
    assert work.outbound_correction_deg.value == pytest.approx(-18.0, abs=0.2)
    assert work.multiple == pytest.approx(3.0, abs=0.05)
    assert work.triple_correction_deg == pytest.approx(-18.0)
    assert "3.0 times the drift" in work.sentence


def test_a_turn_is_measured_by_its_own_rate_and_evenness() -> None:
    flight = arithmetic.fly()
    rate = flight.samples.heading_rate_deg_s * 0.6
    turns = tuple(replace(turn, rate_deg_s=1.8) for turn in flight.turns)
    debrief = _judged(replace(flight, samples=replace(flight.samples, heading_rate_deg_s=rate), turns=turns))
    item = _item(debrief, "turn_rate")
    assert item.value == pytest.approx(-1.2)
    assert item.result == "outside"
    turn = debrief.laps[0].measures.fix_turn
    assert turn is not None
    assert turn.rate_spread_deg_s.value == pytest.approx(0.0)


def test_no_turn_found_is_not_measurable() -> None:
    flight = arithmetic.fly()
    nowhere: tuple[Turn, ...] = ()
    item = _item(_judged(replace(flight, turns=nowhere)), "turn_rate")
    assert (item.result, item.why) == ("not measurable", "the track does not show the turns")


@pytest.mark.parametrize("standard", ["easa_instrument_aeroplane", "transport_canada_instrument", "training"])
def test_every_standard_grades_the_same_flight(standard: str) -> None:
    debrief = _judged(arithmetic.fly(), standard)
    assert {item.result for item in debrief.items} == {"within"}
    assert debrief.standard.name == standard


@pytest.mark.parametrize(("apart_s", "result"), [(6.0, "within"), (30.0, "not measurable")])
def test_two_readings_are_graded_only_where_both_say_the_same(apart_s: float, result: str) -> None:
    flight = arithmetic.fly(arithmetic.Plan())
    visit = flight.flown.visits[0]
    first = visit.laps[0]
    assert first.inbound_start is not None
    other = InboundStart(Moment(first.inbound_start.epoch_s + apart_s, 0.5), "rollout")
    laps_flown = (replace(first, inbound_start_other=other), *visit.laps[1:])
    flown_so = replace(flight.flown, visits=(replace(visit, laps=laps_flown),))
    standard = load_standard().with_timing_band(10.0)
    debrief = judge(replace(flight, flown=flown_so), standard)
    item = debrief.laps[0].item("inbound_time")
    assert item is not None
    assert item.result == result
    assert ("both are fair readings" in item.why) is (result == "not measurable")
