"""The solved lap: analytic cases, invariances, and closure by integrating the equations of motion step by step."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, example, given, settings, strategies as st
from scipy.integrate import solve_ivp

from trackgrade.earth.angles import turn_from_to, wrap180, wrap360
from trackgrade.hold.hold import Hold, Leg
from trackgrade.hold.planning import (
    LARGEST_OUTBOUND_WCA_DEG,
    LEGS_TIMES,
    LONGEST_LAP_S,
    NEAREST_ACROSS_NM,
    SHORT_OF_COURSE_NM,
    SolvedLap,
    solve_lap,
)
from trackgrade.hold.rules import by_rules, triple_drift_wca_deg

#: What the closure has to reach: the hold is flown to a tenth of a needle's width, and a watch shows whole seconds.
CLOSES_WITHIN_NM = 0.05
CLOSES_WITHIN_S = 1.0
#: Turns that begin and end at once, aimed at the course itself: for what is arithmetic.
EXACT = {"roll_s": 0.0, "short_of_course_nm": 0.0}


def hold(course: float = 143.0, turns: str = "right", leg: Leg | None = None) -> Hold:
    return Hold("test", 44.0, -93.0, course, 0.0, "given", turns, leg or Leg(minutes=1.0))  # type: ignore[arg-type]


def flown(the_hold: Hold, lap: SolvedLap, roll_s: float = 0.0) -> tuple[float, float, float, float]:
    """Fly the numbers of a lap, as a pilot would from a card, by integrating position and heading.

    From the fix on the inbound heading: turn the hold's way to the outbound heading, start the watch abeam,
    turn back when it reads ``outbound_s``, roll out on the inbound heading and stay on it. Nothing else of the
    lap is used, and nothing of its geometry. Returns along and cross [NM] after ``lap_s``, cross at the roll-out,
    and seconds from there to abeam the fix; the turn counts as over at a quarter of its rate, or at 0.75 deg/s.
    """
    side = the_hold.side
    rate = lap.turn_rate_deg_s
    v = lap.tas_kt / 3600.0
    toward = math.radians(lap.wind_from_true_deg + 180.0)
    wind = lap.wind_kt / 3600.0 * np.array([math.sin(toward), math.cos(toward)])
    course = math.radians(the_hold.inbound_course_true_deg)
    axis = np.array([math.sin(course), math.cos(course)])
    holding = side * np.array([math.cos(course), -math.sin(course)])

    def motion(_: float, state: np.ndarray, rate_of: object) -> np.ndarray:
        heading = math.radians(state[2])
        return np.array([v * math.sin(heading) + wind[0], v * math.cos(heading) + wind[1], rate_of(_)])  # type: ignore[operator]

    def fly(state: np.ndarray, start: float, seconds: float, rate_of: object) -> tuple[np.ndarray, object]:
        out = solve_ivp(
            motion, (start, start + seconds), state, args=(rate_of,), rtol=1e-10, atol=1e-12, max_step=1.0,
            dense_output=True,
        )  # fmt: skip
        return out.y[:, -1], out.sol

    def turn(state: np.ndarray, start: float, to_deg: float) -> tuple[np.ndarray, float, object]:
        change = float(wrap360(side * (to_deg - state[2])))
        seconds = change / rate + roll_s

        def rate_of(t: float) -> float:
            since, left = t - start, start + seconds - t
            return side * rate * min(1.0, since / roll_s, left / roll_s) if roll_s else side * rate

        end, sol = fly(state, start, seconds, rate_of)
        return end, start + seconds, sol

    state, now, sol1 = turn(np.array([0.0, 0.0, lap.inbound_heading_true_deg]), 0.0, lap.outbound_heading_true_deg)

    def along_of(state: np.ndarray) -> float:
        return float(state[:2] @ axis)

    # Abeam: along from + to -, in the turn or on the leg after it.
    if along_of(state) <= 0.0:
        times = np.linspace(0.0, now, 4000)
        along = axis @ sol1(times)[:2]  # type: ignore[operator]
        after = int(np.flatnonzero((along[:-1] > 0.0) & (along[1:] <= 0.0))[-1])
        share = along[after] / (along[after] - along[after + 1])
        abeam = times[after] + share * (times[after + 1] - times[after])
    else:
        speed = v * math.cos(math.radians(state[2]) - course) + float(wind @ axis)
        abeam = now - along_of(state) / speed
    state, _ = fly(state, now, abeam + lap.outbound_s - now, lambda t: 0.0)
    now = abeam + lap.outbound_s
    state, now, _ = turn(state, now, lap.inbound_heading_true_deg)
    rollout_cross = float(state[:2] @ holding)
    inbound_s = -along_of(state) / (v * math.cos(math.radians(state[2]) - course) + float(wind @ axis))
    inbound_s += roll_s * min(0.25, 0.75 / rate)
    state, _ = fly(state, now, lap.lap_s - now, lambda t: 0.0)
    return along_of(state), float(state[:2] @ holding), rollout_cross, inbound_s


@st.composite
def cases(draw: st.DrawFn, most_wind: float = 0.4) -> tuple[Hold, float, float, float, dict[str, float]]:
    tas = draw(st.floats(70.0, 280.0))
    wind = tas * draw(st.floats(0.0, most_wind))
    leg = draw(
        st.one_of(
            st.sampled_from([Leg(minutes=1.0), Leg(minutes=1.5)]), st.floats(2.0, 10.0).map(lambda nm: Leg(nm=nm))
        )
    )
    the_hold = hold(draw(st.floats(0.0, 360.0)), draw(st.sampled_from(["right", "left"])), leg)
    settings_of_turn: dict[str, float] = {"roll_s": draw(st.sampled_from([0.0, 3.0, 6.0]))}
    if draw(st.booleans()):
        settings_of_turn["bank_limit_deg"] = 25.0
    return the_hold, tas, draw(st.floats(0.0, 360.0)), wind, settings_of_turn


@pytest.mark.parametrize("turns", ["right", "left"])
def test_in_still_air_it_is_the_reciprocal_and_the_same_time_out_and_in_but_for_the_aim_and_the_rolls(
    turns: str,
) -> None:
    """The lap of the handbooks: what it differs by is the aim short of the course, and that the inbound time counts
    from a quarter of the rate, a quarter of the roll before it is out."""
    aimed_at_it = solve_lap(hold(turns=turns), 100.0, 0.0, 0.0, roll_s=3.5, short_of_course_nm=0.0)
    assert abs(wrap180(aimed_at_it.outbound_heading_true_deg - 323.0)) < 1e-6
    assert aimed_at_it.outbound_s == pytest.approx(60.0 - 3.5 / 4.0, abs=1e-6)
    lap = solve_lap(hold(turns=turns), 100.0, 0.0, 0.0, roll_s=3.5)
    off_deg = math.degrees(SHORT_OF_COURSE_NM / (100.0 / 60.0))
    assert abs(lap.outbound_wca_deg) == pytest.approx(off_deg, rel=0.05)
    assert lap.outbound_s == pytest.approx(aimed_at_it.outbound_s, abs=off_deg / 3.0)  # its first turn is shorter


@given(cases())
@settings(max_examples=70, deadline=None)
def test_flown_as_planned_it_closes(case: tuple[Hold, float, float, float, dict[str, float]]) -> None:
    the_hold, tas, wind_from, wind, turning = case
    lap = solve_lap(the_hold, tas, wind_from, wind, **turning)
    assume(lap.feasible)
    along, cross, rollout_cross, inbound_s = flown(the_hold, lap, turning["roll_s"])
    # The watch is read where abeam is found, by straight lines over 15 ms here: that is what the 1e-4 are.
    assert math.hypot(along, cross - SHORT_OF_COURSE_NM) < 1e-4 < CLOSES_WITHIN_NM
    assert abs(rollout_cross - SHORT_OF_COURSE_NM) < 1e-4
    assert abs(inbound_s - lap.target_inbound_s) < 0.05 < CLOSES_WITHIN_S
    assert lap.outbound_s >= 0.0
    assert abs(lap.outbound_wca_deg) <= LARGEST_OUTBOUND_WCA_DEG


@given(cases(most_wind=1.2))
@example((hold(360.0), 100.0, 360.0, 40.0, {"roll_s": 0.0}))
@example((hold(360.0), 100.0, 90.0, 100.0, {"roll_s": 0.0}))
@example((hold(360.0), 100.0, 180.0, 110.0, {"roll_s": 0.0}))
@settings(max_examples=40, deadline=None)
def test_no_lap_is_said_and_the_best_still_rolls_out_on_the_course(
    case: tuple[Hold, float, float, float, dict[str, float]],
) -> None:
    the_hold, tas, wind_from, wind, turning = case
    lap = solve_lap(the_hold, tas, wind_from, wind, **turning)
    if lap.feasible:
        assert lap.why == ""
        return
    assert lap.why
    if math.isnan(lap.lap_s):
        assert len(lap.path_s) == 0
        return
    assert lap.lap_s <= LONGEST_LAP_S
    assert lap.outbound_s <= LEGS_TIMES * max(lap.inbound_s, 60.0)
    assert abs(lap.path_cross_nm[-1] - SHORT_OF_COURSE_NM) < NEAREST_ACROSS_NM + 1e-6
    # The last turn to the inbound heading, less what of it no longer counts as one.
    assert abs(lap.path_along_nm[-1]) < 1e-3


def test_why_in_words() -> None:
    north = hold(360.0)
    for wind_from in (0.0, 90.0, 135.0, 180.0):
        for wind_kt in (85.0, 99.99999, 100.0, 110.0):
            lap = solve_lap(north, 100.0, wind_from, wind_kt)
            assert "of the airspeed: no hold can be flown in this wind" in lap.why
            assert math.isnan(lap.outbound_s)
    blown_back = solve_lap(north, 100.0, 360.0, 40.0)
    assert "120 s of the two turns the wind alone carries the aircraft 1.3 NM, back along" in blown_back.why
    assert blown_back.inbound_s > 60.0
    # Too large a turn for the leg: at 15 degrees of bank the same wind that 3 deg/s copes with is too much.
    windy = {"wind_from_true_deg": 360.0, "wind_kt": 40.0}
    assert solve_lap(north, 200.0, **windy).feasible
    slow_turn = solve_lap(north, 200.0, **windy, bank_limit_deg=12.0)
    assert not slow_turn.feasible
    assert "two turns" in slow_turn.why


@given(st.floats(60.0, 300.0), st.floats(0.5, 3.0), st.floats(20.0, 200.0), st.sampled_from(["right", "left"]))
@settings(max_examples=60, deadline=None)
def test_no_wind_is_arithmetic(tas: float, rate: float, leg_s: float, turns: str) -> None:
    """Two half circles and two legs: the outbound time from abeam is the inbound time, the headings are reciprocal."""
    lap = solve_lap(hold(30.0, turns), tas, 123.0, 0.0, turn_rate_deg_s=rate, target_inbound_s=leg_s, **EXACT)
    assert lap.feasible
    assert lap.outbound_s == pytest.approx(leg_s, abs=1e-6)
    assert lap.lap_s == pytest.approx(2.0 * (leg_s + 180.0 / rate), abs=1e-6)
    assert wrap180(lap.outbound_heading_true_deg - 210.0) == pytest.approx(0.0, abs=1e-6)
    assert (lap.inbound_gs_kt, lap.outbound_gs_kt) == pytest.approx((tas, tas))
    assert max(lap.path_cross_nm) == pytest.approx(2.0 * lap.turn_radius_nm, rel=1e-3)


@given(cases(), st.floats(-360.0, 360.0))
@settings(max_examples=40, deadline=None)
def test_turning_the_world_changes_nothing(
    case: tuple[Hold, float, float, float, dict[str, float]], angle: float
) -> None:
    the_hold, tas, wind_from, wind, turning = case
    turned = replace(the_hold, inbound_course_true_deg=float(wrap360(the_hold.inbound_course_true_deg + angle)))
    first = solve_lap(the_hold, tas, wind_from, wind, **turning)
    second = solve_lap(turned, tas, wind_from + angle, wind, **turning)
    assume(first.feasible)
    assert second.feasible
    assert (second.outbound_s, second.lap_s) == pytest.approx((first.outbound_s, first.lap_s), abs=1e-6)
    assert (
        turn_from_to(first.outbound_heading_true_deg, second.outbound_heading_true_deg)
        == pytest.approx(wrap180(angle), abs=1e-6)
        or abs(wrap180(angle)) > 179.999
    )


@given(cases())
@settings(max_examples=40, deadline=None)
def test_mirrored_it_is_the_same_lap(case: tuple[Hold, float, float, float, dict[str, float]]) -> None:
    """Left for right, east for west: the same times, the corrections the other way."""
    the_hold, tas, wind_from, wind, turning = case
    mirrored = hold(
        -the_hold.inbound_course_true_deg % 360.0, {"right": "left", "left": "right"}[the_hold.turns], the_hold.leg
    )
    first = solve_lap(the_hold, tas, wind_from, wind, **turning)
    second = solve_lap(mirrored, tas, -wind_from, wind, **turning)
    assume(first.feasible)
    assert second.feasible
    assert (second.outbound_s, second.lap_s) == pytest.approx((first.outbound_s, first.lap_s), abs=1e-6)
    assert second.outbound_wca_deg == pytest.approx(-first.outbound_wca_deg, abs=1e-6)
    assert second.inbound_wca_deg == pytest.approx(-first.inbound_wca_deg, abs=1e-9)


def test_a_leg_in_miles_is_the_inbound_leg() -> None:
    lap = solve_lap(hold(360.0, leg=Leg(nm=4.0)), 120.0, 330.0, 25.0)
    assert lap.feasible
    assert lap.rollout_along_nm == pytest.approx(-4.0)
    assert lap.inbound_s == pytest.approx(4.0 / lap.inbound_gs_kt * 3600.0)


def test_moments_are_on_the_path() -> None:
    lap = solve_lap(hold(), 120.0, 300.0, 25.0, roll_s=4.0)
    assert 0.0 < lap.wings_level_s < lap.outbound_end_s < lap.rollout_s < lap.lap_s
    assert lap.lap_s == lap.path_s[-1]
    assert np.interp(lap.abeam_s, lap.path_s, lap.path_along_nm) == pytest.approx(0.0, abs=1e-3)
    assert lap.outbound_s == pytest.approx(lap.outbound_end_s - lap.abeam_s)
    assert lap.outbound_from_level_s == pytest.approx(lap.outbound_end_s - lap.wings_level_s)
    assert np.interp(lap.outbound_end_s, lap.path_s, lap.path_cross_nm) == pytest.approx(lap.outbound_end_cross_nm)
    assert lap.path_s.flags.writeable is False


@pytest.mark.parametrize("wind_from", [0.0, 45.0, 90.0, 135.0, 180.0, 270.0])
def test_rules_flown_with_the_solved_numbers_leave_nothing(wind_from: float) -> None:
    lap = solve_lap(hold(360.0), 100.0, wind_from, 20.0)
    by = by_rules(hold(360.0), lap, lap.outbound_wca_deg, lap.outbound_s)
    assert by.rollout_cross_nm == pytest.approx(SHORT_OF_COURSE_NM, abs=1e-9)
    assert not by.crossed
    assert by.inbound_error_s == pytest.approx(0.0, abs=0.5)  # what joining the course from there costs
    assert by.lap_s == pytest.approx(lap.lap_s, abs=0.5)


def test_triple_drift_overdoes_a_short_leg_and_its_error_has_a_side() -> None:
    """By integration, not by the planner: three times the drift on a one-minute leg in a 20 kt crosswind."""
    north = hold(360.0)
    lap = solve_lap(north, 100.0, 90.0, 20.0)
    wca = triple_drift_wca_deg(lap.inbound_wca_deg)
    by = by_rules(north, replace(lap, roll_s=0.0), wca, 60.0)
    as_lap = replace(
        lap,
        outbound_heading_true_deg=by.outbound_heading_true_deg,
        outbound_s=60.0,
        lap_s=by.lap_s,
    )
    _, _, rollout_cross, inbound_s = flown(north, as_lap)
    assert by.rollout_cross_nm == pytest.approx(rollout_cross, abs=1e-5)
    assert by.crossed == (rollout_cross < 0.0)
    assert not by.crossed
    joining_s = by.inbound_s - inbound_s  # at a cut of 25 degrees, against parallel to the course
    assert joining_s == pytest.approx(
        rollout_cross * math.tan(math.radians(12.5)) / lap.inbound_gs_kt * 3600.0, abs=0.05
    )
    assert by.outbound_wca_deg == pytest.approx(-3.0 * lap.inbound_wca_deg)


@pytest.mark.parametrize(
    ("tas", "wind", "rate"),
    [(0.0, 0.0, 3.0), (-5.0, 0.0, 3.0), (100.0, 0.0, 5e-324), (math.nan, 0.0, 3.0), (100.0, math.inf, 3.0)],
)
def test_nonsense_is_refused(tas: float, wind: float, rate: float) -> None:
    with pytest.raises(ValueError, match="must be from"):
        solve_lap(hold(), tas, 0.0, wind, turn_rate_deg_s=rate)


def test_a_lap_longer_than_an_hour_is_none() -> None:
    long_leg = solve_lap(hold(leg=Leg(nm=50.0)), 60.0, 0.0, 0.0)
    assert "would take too long: no hold can be flown in this wind" in long_leg.why
    assert math.isnan(long_leg.lap_s)


def test_nearest_is_the_nearest() -> None:
    """40 kt on the nose: two turns of 127 s carry the lap back 1.41 NM, 79 s at 64 kt; no heading does much better."""
    lap = solve_lap(hold(360.0), 104.0, 0.0, 40.0)
    assert not lap.feasible
    assert lap.outbound_heading_true_deg == pytest.approx(180.0, abs=1.0)
    assert lap.inbound_s == pytest.approx(79.4 + 0.9, abs=1.0)
