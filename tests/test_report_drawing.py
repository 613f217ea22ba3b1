"""The drawings as data: what goes where, how few points it takes, and that nothing is lost on the way."""

from __future__ import annotations

import dataclasses
import itertools
import re

import numpy as np
import pytest
from hypothesis import given, strategies as st
from markupsafe import Markup

from tests.report_flights import make_debrief
from trackgrade.drawing.lengths import round_step
from trackgrade.drawing.lines import simplify
from trackgrade.drawing.svg import element, polyline, runs, short, texts
from trackgrade.earth.geodesy import LocalPlane
from trackgrade.hold.guidance import vor_needle
from trackgrade.hold.hold import Guidance
from trackgrade.report import plan_view
from trackgrade.report.flight_data import MOST_SAMPLES, differences, flight_data, thin
from trackgrade.report.numbers import share_words
from trackgrade.report.plan import plan_of
from trackgrade.report.strips import strips
from trackgrade.report.timeline import AXIS_WIDTH, TimeAxis, lay_out
from trackgrade.score.needles import own_and_other

unit = st.floats(-1.0, 1.0)


# -- strokes ------------------------------------------------------------


@given(st.lists(st.tuples(unit, unit), min_size=2, max_size=60), st.floats(0.01, 0.3))
def test_a_simplified_line_stays_within_its_tolerance(points: list[tuple[float, float]], tolerance: float) -> None:
    x, y = np.array(points).T
    kept = simplify(x, y, tolerance)
    assert kept[0] == 0
    assert kept[-1] == len(x) - 1
    for first, last in itertools.pairwise(kept):
        start, chord = complex(x[first], y[first]), complex(x[last] - x[first], y[last] - y[first])
        for k in range(first, last + 1):
            p = complex(x[k], y[k]) - start
            share = 0.0 if abs(chord) ** 2 == 0 else min(1.0, max(0.0, (p * chord.conjugate()).real / abs(chord) ** 2))
            assert abs(p - share * chord) <= tolerance + 1e-9


def test_a_straight_line_takes_two_points_and_a_long_one_no_recursion() -> None:
    x = np.arange(5000.0)
    assert simplify(x, 2.0 * x, 1e-6).tolist() == [0, 4999]
    assert simplify(x, 2.0 * x, 1e-6, 128).tolist() == [*range(0, 5000, 128), 4999]
    assert len(simplify(x, x % 2.0, 0.1)) == 5000


def test_how_a_processor_rounds_does_not_choose_the_points_of_an_arc() -> None:
    angle = np.linspace(0.0, np.pi, 181)
    rng = np.random.default_rng(7)
    kept = {
        tuple(
            simplify(*(np.array([np.cos(angle), np.sin(angle)]) * (1.0 + 2e-16 * rng.integers(-2, 3, (2, 181)))), 1e-3)
        )
        for _ in range(50)
    }
    assert len(kept) == 1


def test_a_leg_flown_out_and_back_keeps_its_far_end() -> None:
    out = np.linspace(0.0, 10.0, 50)
    x = np.concatenate((out, out[-2::-1] + 0.01))
    assert simplify(x, np.zeros(len(x)), 0.1).tolist() == [0, 49, 98]


def test_a_hole_lifts_the_pen() -> None:
    x = np.array([0.0, 10.0, np.nan, 30.0, 40.0])
    assert polyline(x, x) == "M0 0l10 10M30 30l10 10"
    assert polyline(np.full(3, np.nan), np.zeros(3)) == ""
    assert runs(np.array([True, True, False, True])) == [(0, 2), (3, 4)]


@pytest.mark.parametrize(
    ("value", "places", "text"), [(1.50, 2, "1.5"), (-0.001, 2, "0"), (100.0, 1, "100"), (-12.25, 1, "-12.2")]
)
def test_short_numbers(value: float, places: int, text: str) -> None:
    assert short(value, places) == text


def test_whole_numbers_small_and_large() -> None:
    numbers = [0, -1, 999, -999, 1000, -1000, 12_345_678, -(2**40)]
    assert texts(np.array(numbers)) == [str(number) for number in numbers]
    assert texts(np.empty(0, dtype=int)) == []


def test_attributes_and_children_are_escaped() -> None:
    drawn = element("text", '<b>"', aria_label='a"<', class_="x")
    assert drawn == Markup('<text aria-label="a&#34;&lt;" class="x">&lt;b&gt;&#34;</text>')


@given(st.floats(0.01, 1e6), st.integers(2, 9))
def test_a_round_step_is_one_two_or_five_and_not_too_many(span: float, most: int) -> None:
    step = round_step(span, most)
    assert span / step <= most * (1 + 1e-9)
    assert re.match(r"[125]", f"{step:.0e}")


# -- the data of the script ------------------------------------------------------------


def unpack(text: str, step: float) -> np.ndarray:
    """As the page's script does it."""
    out, total = [], 0
    for each in text.split(","):
        if each == "":
            out.append(np.nan)
        else:
            total += int(each)
            out.append(total * step)
    return np.array(out)


@given(
    st.lists(st.one_of(st.none(), st.floats(-1e5, 1e5)), min_size=2, max_size=50), st.sampled_from([0.001, 0.1, 1.0])
)
def test_packed_channels_come_back_to_half_a_step(values: list[float | None], step: float) -> None:
    array = np.array([np.nan if each is None else each for each in values])
    back = unpack(differences(array, step), step)
    np.testing.assert_array_equal(np.isnan(back), np.isnan(array))
    np.testing.assert_allclose(back, array, rtol=1e-12, atol=step * 0.501)


def test_the_script_gets_the_positions_of_the_samples() -> None:
    debrief = make_debrief(gap=True)
    timeline = lay_out(debrief)
    views = plan_view.draw(plan_of(debrief, timeline)).views
    data = flight_data(debrief, timeline, views, own_and_other(debrief.needles))
    times = unpack(data["channels"]["t"]["d"], 0.1) + data["t0"]
    east = unpack(data["channels"]["east"]["d"], 0.001)
    at = np.searchsorted(debrief.samples.epoch_s, times - 0.05)
    np.testing.assert_allclose(east, debrief.samples.east_nm[at], atol=0.0006)
    holes = np.flatnonzero(debrief.samples.gap_before)
    assert [times[k] for k in data["gaps"]] == pytest.approx(debrief.samples.epoch_s[holes].tolist(), abs=0.1)


def test_a_dense_record_is_thinned_evenly() -> None:
    debrief = make_debrief(laps=3)
    fine = np.arange(debrief.samples.epoch_s[0], debrief.samples.epoch_s[-1], 0.1)
    chosen = thin(fine, lay_out(debrief))
    assert len(chosen) < MOST_SAMPLES
    assert np.diff(fine[chosen]).max() < 1.1


# -- time ------------------------------------------------------------


def test_two_visits_stand_side_by_side_with_a_break() -> None:
    axis = TimeAxis(((0.0, 100.0), (1000.0, 1300.0)))
    (a0, a1, x0, x1), (b0, b1, x2, x3) = axis.pieces
    assert (a0, a1, b0, b1) == (0.0, 100.0, 1000.0, 1300.0)
    assert x0 == 0.0
    assert x3 == pytest.approx(AXIS_WIDTH)
    assert x2 > x1
    assert (x3 - x2) / (x1 - x0) == pytest.approx(3.0), "a second is as wide in each"
    assert np.isnan(axis.x(500.0))
    assert axis.x(50.0) == pytest.approx((x0 + x1) / 2)


def test_laps_of_two_visits_have_names_of_their_own() -> None:
    assert [each.tag for each in lay_out(make_debrief(laps=2, visits=2)).laps] == ["1.1", "1.2", "2.1", "2.2"]
    assert [each.tag for each in lay_out(make_debrief(laps=2)).laps] == ["1", "2"]


def test_phases_name_what_is_flown() -> None:
    debrief = make_debrief(laps=2)
    timeline = lay_out(debrief)
    lap = debrief.laps[1].flown

    def at(epoch_s: float) -> str:
        return [each.words for each in timeline.phases if each.start_epoch_s <= epoch_s][-1]

    assert lap.outbound_end is not None
    assert at(lap.start.epoch_s + 1.0) == "lap 2: turn at the fix"
    assert at(lap.outbound_end.epoch_s - 1.0) == "lap 2: outbound"
    assert at(lap.outbound_end.epoch_s + 1.0) == "lap 2: turn inbound"


# -- plan view ------------------------------------------------------------


@pytest.mark.parametrize("turns", ["right", "left"])
@pytest.mark.parametrize("course_deg", [5.0, 140.0, 220.5, 359.0])
def test_hold_frame_puts_the_inbound_course_up_and_the_holding_side_where_it_is(turns: str, course_deg: float) -> None:
    debrief = make_debrief(turns=turns, course_deg=course_deg)
    hold_view, north_view = plan_view.draw(plan_of(debrief, lay_out(debrief))).views
    course = np.radians(course_deg)
    ahead = float(np.sin(course)), float(np.cos(course))
    side = debrief.hold.side
    holding = side * ahead[1], -side * ahead[0]
    fix, up, beside = (hold_view.place(*each) for each in ((0.0, 0.0), ahead, holding))
    assert up[0] == pytest.approx(fix[0])
    assert up[1] < fix[1]
    assert (beside[0] - fix[0]) * side > 0
    north, east = north_view.place(0.0, 1.0), north_view.place(1.0, 0.0)
    origin = north_view.place(0.0, 0.0)
    assert north[0] == pytest.approx(origin[0])
    assert north[1] < origin[1]
    assert east[0] > origin[0]


@pytest.mark.parametrize("kwargs", [{}, {"laps": 12}, {"turns": "left"}, {"visits": 2}, {"laps": 0}])
def test_laps_and_fix_lie_inside_the_frame_in_both_views(kwargs: dict[str, object]) -> None:
    debrief = make_debrief(**kwargs)  # type: ignore[arg-type]
    timeline = lay_out(debrief)
    samples = debrief.samples
    for view in plan_view.draw(plan_of(debrief, timeline)).views:
        for stretch in timeline.laps:
            inside = (samples.epoch_s >= stretch.start_epoch_s) & (samples.epoch_s <= stretch.end_epoch_s)
            for east, north in zip(samples.east_nm[inside][::7], samples.north_nm[inside][::7]):
                x, y = view.place(float(east), float(north))
                assert 0 <= x <= plan_view.SIZE[0]
                assert 0 <= y <= plan_view.SIZE[1]
        x, y = view.place(0.0, 0.0)
        assert 0 <= x <= plan_view.SIZE[0]
        assert 0 <= y <= plan_view.SIZE[1]


def test_one_scale_in_both_directions_and_a_true_scale_bar() -> None:
    debrief = make_debrief()
    drawn = plan_view.draw(plan_of(debrief, lay_out(debrief)))
    pattern = r'<path d="M0-5V0H([\d.]+)V-5" class="scale-bar"/><text[^>]*>([\d.]+) NM'
    bars = re.findall(pattern, str(drawn.svg))
    assert len(bars) == 2
    for view, (end, length) in zip(drawn.views, bars):
        assert float(end) / view.px_per_nm == pytest.approx(float(length), abs=0.01)


# -- needles and strips ------------------------------------------------------------


@pytest.mark.parametrize("turns", ["right", "left"])
def test_needles_are_right_positive_whatever_the_holding_side(turns: str) -> None:
    debrief = make_debrief(turns=turns)
    gps, vor = own_and_other(debrief.needles)
    right_nm = debrief.hold.side * debrief.samples.cross_nm
    far = np.abs(right_nm) > 0.05
    assert (np.sign(gps.right[far]) == np.sign(right_nm[far])).all()
    assert (np.sign(vor.right[far]) == np.sign(right_nm[far])).all()
    np.testing.assert_allclose(gps.right, right_nm / 1.0, atol=1e-9)
    # One mile abeam a station 5 NM away is 11.3 degrees: more than full scale of 10.
    at = int(np.argmin(np.hypot(debrief.samples.along_nm + 1.5, debrief.samples.cross_nm - 1.2)))
    along, cross = debrief.samples.along_nm[at], right_nm[at]
    assert vor.right[at] == pytest.approx(np.degrees(np.arctan2(cross, abs(along))) / 10.0, abs=0.01)


def test_the_hold_s_own_needle_comes_first() -> None:
    vor = Guidance(kind="vor", full_scale_deg=12.0)
    for debrief, kinds in ((make_debrief(guidance=vor), ["vor", "gps"]), (make_debrief(), ["gps", "vor"])):
        own, other = own_and_other(debrief.needles)
        assert [own.needle.kind, other.needle.kind] == kinds
        assert own.needle.own
        assert not other.needle.own


def test_bands_are_the_limits_of_the_standard_about_the_reference() -> None:
    debrief = make_debrief()
    timeline = lay_out(debrief)
    by_key = {each.key: each for each in strips(debrief, timeline, own_and_other(debrief.needles))}
    assert list(by_key) == ["altitude", "airspeed", "needle", "rate"]
    assert debrief.altitude.value is not None
    assert debrief.airspeed.value is not None
    altitude, airspeed = by_key["altitude"].bands[0], by_key["airspeed"].bands[0]
    # FAA-S-ACS-8C, Task III.B: 100 ft, 10 kt, three quarters of full scale.
    assert (altitude.low[0], altitude.high[0]) == (
        debrief.altitude.value - 100.0,
        debrief.altitude.value + 100.0,
    )
    assert (airspeed.low[0], airspeed.high[0]) == (
        debrief.airspeed.value - 10.0,
        debrief.airspeed.value + 10.0,
    )
    assert {(each.low[0], each.high[0]) for each in by_key["needle"].bands} == {(-0.75, 0.75)}
    inbound = [(lap.flown.inbound_start, lap.flown.end) for lap in debrief.laps]
    assert [tuple(each.epoch_s) for each in by_key["needle"].bands] == [
        (start.epoch_s, end.epoch_s) for start, end in inbound if start is not None and end is not None
    ]


def test_strips_mark_the_excursions_that_were_graded() -> None:
    debrief = make_debrief()
    graded = {
        (each.start_epoch_s, each.start_epoch_s + each.seconds)
        for item in debrief.items
        if item.item == "altitude" and item.lap is not None
        for each in item.excursions
    }
    assert graded, "the flight was made to leave its altitude band"
    timeline = lay_out(debrief)
    altitude = strips(debrief, timeline, own_and_other(debrief.needles))[0]
    assert set(altitude.outside) == graded


def test_a_strip_without_its_quantity_says_why() -> None:
    debrief = make_debrief(altitude=False, wind=None)
    by_key = {each.key: each for each in strips(debrief, lay_out(debrief), own_and_other(debrief.needles))}
    assert by_key["altitude"].lines == ()
    assert "no altitude" in by_key["altitude"].why
    assert [each.words for each in by_key["airspeed"].lines] == ["ground speed"]
    assert by_key["airspeed"].bands == ()
    assert "not measurable" in by_key["airspeed"].why


def test_an_outlier_does_not_flatten_the_strip() -> None:
    debrief = make_debrief()
    altitude = debrief.samples.alt_ft.copy()
    altitude[400] = 44_000.0
    spoiled = dataclasses.replace(debrief, samples=dataclasses.replace(debrief.samples, alt_ft=altitude))
    strip = strips(spoiled, lay_out(spoiled), own_and_other(spoiled.needles))[0]
    assert strip.scale.high < 5000.0


@pytest.mark.parametrize("turns", ["right", "left"])
@pytest.mark.parametrize("place", ["at", "behind"])
def test_the_corridor_of_a_vor_is_where_its_needle_reads_the_limit(turns: str, place: str) -> None:
    station = {"at": (44.0, -93.0), "behind": (44.0 + 12.0 / 60.0, -93.0)}[place]
    guidance = Guidance(
        kind="vor", full_scale_deg=10.0, station_lat_deg=station[0], station_lon_deg=station[1],
        station_variation_deg=0.0, course_to_set_deg=180.0,
    )  # fmt: skip
    debrief = make_debrief(turns=turns, course_deg=180.0, guidance=guidance)
    drawn = str(plan_view.draw(plan_of(debrief, lay_out(debrief))).shapes)
    path = re.search(r'<path d="M(-?\d+)\s?(-?\d+)l([-\d ]+)Z" id="path-corridor"', drawn)
    assert path is not None
    steps = np.array(re.findall(r"-?\d+", path[3]), dtype=float).reshape(-1, 2)
    points = np.vstack(
        ([[float(path[1]), float(path[2])]], np.array([float(path[1]), float(path[2])]) + steps.cumsum(0))
    )
    east, north = points[:, 0] / 1000.0, -points[:, 1] / 1000.0
    lat, lon = LocalPlane(44.0, -93.0).to_geographic(east, north)
    far = np.hypot(lat - station[0], (lon - station[1]) * 0.72) > 0.02
    reading = np.abs(vor_needle(debrief.hold, lat, lon))
    np.testing.assert_allclose(reading[far], 0.75, atol=0.01)


def test_the_corridor_follows_the_standard() -> None:
    half = make_debrief(standard="easa_instrument_aeroplane")
    three_quarters = make_debrief()
    assert three_quarters.standard.needle_share == 0.75
    assert half.standard.needle_share == half.standard.limit("course") is not None
    assert share_words(0.75) == "three quarters of full scale"
