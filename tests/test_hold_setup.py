"""From the hold as written to the hold as resolved: fix, true course, station, flag, leg, and what is said about it."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings, strategies as st

from tests.hold_strategies import plans
from trackgrade.earth.angles import wrap180
from trackgrade.earth.variation import magnetic_variation
from trackgrade.errors import HoldFileError
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.guidance import (
    flag_is_to,
    gps_needle,
    vor_needle,
    vor_needle_in_frame,
)
from trackgrade.hold.hold import Hold, Leg
from trackgrade.hold.holdfile import parse_hold
from trackgrade.hold.plan import HoldPlan
from trackgrade.hold.setup import resolve

DAY = dt.date(2026, 5, 3)
WGS84 = Geodesic.WGS84


def resolved(
    course: float, fix: str = "lat = 44\nlon = -93", guidance: str = "", top: str = "", day: dt.date = DAY
) -> Hold:
    text = f"inbound_course_deg = {course}\n{top}\n[fix]\n{fix}\n[guidance]\n{guidance}\n"
    return resolve(parse_hold(text, "x.toml"), day)


def said(hold: Hold, words: str) -> bool:
    return any(words in note for note in hold.notes)


def test_magnetic_is_true_less_variation() -> None:
    hold = resolved(143, top="variation_deg = 2.5\naltitude_ft = 4000")
    assert hold.inbound_course_true_deg == 145.5
    assert (hold.variation_deg, hold.variation_source) == (2.5, "given in the hold file")
    assert hold.guidance.course_to_set_deg == 143.0
    assert hold.leg == Leg(minutes=1.0)
    assert resolved(358, top="variation_deg = 4").inbound_course_true_deg == 2.0
    assert resolved(2, top="variation_deg = -4").inbound_course_true_deg == 358.0
    assert resolved(360, top='north = "true"').inbound_course_true_deg == 0.0


def test_true_courses_stay_and_are_set_as_magnetic() -> None:
    hold = resolved(145.5, top='north = "true"\nvariation_deg = 2.5')
    assert hold.inbound_course_true_deg == 145.5
    assert hold.guidance.course_to_set_deg == 143.0


def test_without_a_variation_the_model_of_fix_altitude_and_date() -> None:
    hold = resolved(143, top="altitude_ft = 9000")
    model = magnetic_variation(44.0, -93.0, 9000.0, DAY)
    assert hold.variation_deg == model.variation_deg
    assert hold.variation_source == "WMM-2025 at the fix on 2026-05-03"
    assert hold.inbound_course_true_deg == pytest.approx(143 + model.variation_deg)


def test_a_doubtful_variation_is_said() -> None:
    model = magnetic_variation(44.0, -93.0, 0.0, DAY).variation_deg
    near, far = (resolved(143, top=f"variation_deg = {model + off}") for off in (1.9, -2.1))
    assert not said(near, "Warning")
    assert said(far, "Warning: variation_deg 2.4° W is 2.1° from WMM-2025")
    assert far.inbound_course_true_deg == pytest.approx(143 + model - 2.1)  # the given one is used


def test_a_date_outside_the_model_is_said() -> None:
    assert said(resolved(143, day=dt.date(2034, 1, 1)), "outside the years")


@pytest.mark.parametrize(
    ("altitude", "minutes", "words"),
    [("", 1.0, "no altitude given"), ("altitude_ft = 14000", 1.0, "14,000"), ("altitude_ft = 14001", 1.5, "14,001")],
)
def test_leg_by_altitude(altitude: str, minutes: float, words: str) -> None:
    hold = resolved(143, top=altitude)
    assert hold.leg == Leg(minutes=minutes)
    assert said(hold, words)


def test_an_assigned_time_is_carried() -> None:
    assert resolved(143, top="arrive_utc = 2026-05-03T15:20:00Z").arrive_epoch_s == 1777821600.0


# --- Fixes by radial -------------------------------------------------------------------------------------------------

ON_RADIAL = "from = { lat = 44, lon = -93, radial_deg = 143, dme_nm = 12, variation_deg = 1 }"


def test_fix_on_a_radial() -> None:
    hold = resolved(143, ON_RADIAL, 'kind = "vor"', "altitude_ft = 16000")
    expected = WGS84.Direct(44.0, -93.0, 144.0, 12 * 1852.0)
    assert WGS84.Inverse(hold.fix_lat_deg, hold.fix_lon_deg, expected["lat2"], expected["lon2"])["s12"] < 0.001
    # Outbound along the radial: the inbound course is the geodesic's own direction where it reaches the fix.
    assert hold.inbound_course_true_deg == pytest.approx(expected["azi2"] % 360, abs=1e-9)
    # DME 12 at 16,000 ft: sqrt(12^2 + 2.633^2) = 12.286 NM of slant range.
    assert said(hold, "slant range of DME is ignored (at 16,000 ft DME reads up to 0.29 NM more")
    assert said(hold, "inbound leads away from it, on its 143 radial: the flag reads FROM")


@pytest.mark.parametrize(
    ("course", "top", "words"),
    [
        (143, "", "The 143 radial and the inbound course 143 are the same number: inbound is away from the station"),
        (323, "", "The inbound course 323 is the reciprocal of the 143 radial: inbound is toward the station"),
        (144, 'north = "true"', "The 143 radial and the inbound course 143 are the same number"),
        (128, "", "The inbound course 128 does not lie along the 143 radial that the fix is on"),
    ],
)
def test_radial_and_course_in_plain_words(course: float, top: str, words: str) -> None:
    assert said(resolved(course, ON_RADIAL, top=top), words)


def test_two_radials_with_their_own_variations() -> None:
    fix = WGS84.Direct(44.0, -93.0, 200.0, 30 * 1852.0)
    stations = [(44.3, -93.4, 3.0), (43.4, -92.6, -2.0)]
    items = ", ".join(
        f"{{ lat = {lat}, lon = {lon}, variation_deg = {variation}, radial_deg = "
        f"{(WGS84.Inverse(lat, lon, fix['lat2'], fix['lon2'])['azi1'] - variation) % 360} }}"
        for lat, lon, variation in stations
    )
    hold = resolved(90, f"radials = [ {items} ]")
    assert WGS84.Inverse(hold.fix_lat_deg, hold.fix_lon_deg, fix["lat2"], fix["lon2"])["s12"] < 0.01
    assert said(hold, "cross at")
    assert said(hold, "1° of error moves it")


def test_radials_that_make_no_fix_are_refused_by_key() -> None:
    with pytest.raises(HoldFileError, match=r"x\.toml: fix\.radials: the 143 and 144 radials make no fix: .*parallel"):
        resolved(
            90,
            "radials = [ { lat = 44, lon = -93, radial_deg = 143 }, { lat = 43.9, lon = -93.0, radial_deg = 144 } ]",
        )


def test_a_shallow_crossing_is_said() -> None:
    hold = resolved(
        90, "radials = [ { lat = 44, lon = -93, radial_deg = 180 }, { lat = 43.9, lon = -93.1, radial_deg = 160 } ]"
    )
    assert said(hold, "Warning: the radials cross at only")


# --- VOR: station at, beyond, behind ----------------------------------------------------------------------------------


def vor(lat: float, lon: float, more: str = "station_variation_deg = 0") -> str:
    return f'kind = "vor"\nstation_lat = {lat}\nstation_lon = {lon}\n{more}'


def test_station_at_the_fix() -> None:
    hold = resolved(143, guidance=vor(44, -93, "station_variation_deg = 5"), top="variation_deg = 1")
    guidance = hold.guidance
    assert (guidance.station_place, guidance.flag, guidance.course_to_set_deg) == ("at", "TO", 143.0)
    assert hold.inbound_course_true_deg == 148.0  # a radial is aligned to its own station's variation
    assert said(hold, "so its north is the station's: variation 5.0° E")
    assert said(hold, "inbound is on its 323 radial")
    assert said(hold, "Set 143 when the flag flips over the fix")
    assert said(hold, "flips to FROM at the fix, and back to TO abeam it")


def test_station_beyond_the_fix() -> None:
    hold = resolved(360, guidance=vor(44.3, -93), top="variation_deg = 0")
    assert (hold.guidance.station_place, hold.guidance.flag) == ("beyond", "TO")
    assert hold.guidance.station_distance_nm == pytest.approx(18.0, abs=0.01)
    assert said(hold, "Set 360")
    assert said(hold, "TO inbound and outbound; no flip at the fix")


def test_station_behind_the_fix() -> None:
    hold = resolved(180, guidance=vor(44.3, -93), top="variation_deg = 0")
    assert (hold.guidance.station_place, hold.guidance.flag) == ("behind", "FROM")
    assert said(hold, "leads away from it, on its 180 radial")
    assert said(hold, "FROM inbound and outbound")


@pytest.mark.parametrize(
    ("course", "lat", "words"),
    [
        (180, 44.1, "FROM inbound and outbound, but TO where the lap goes over 6.0 NM back"),
        (360, 44.03, "past the fix"),
    ],
)
def test_a_near_station_flips_the_flag_elsewhere(course: float, lat: float, words: str) -> None:
    assert said(resolved(course, guidance=vor(lat, -93), top="variation_deg = 0"), words)


def test_the_station_of_a_crossing_radial_keeps_its_variation() -> None:
    radials = (
        "{ lat = 44, lon = -93, radial_deg = 180, variation_deg = 4 }, { lat = 43.7, lon = -93.4, radial_deg = 90 }"
    )
    hold = resolved(180, f"radials = [ {radials} ]", 'kind = "vor"\nstation_lat = 44\nstation_lon = -93')
    assert hold.guidance.station_variation_deg == 4.0
    assert hold.guidance.course_to_set_deg == 180.0
    assert hold.guidance.flag == "FROM"


@pytest.mark.parametrize("off", [-1.95, 1.95])
def test_two_degrees_are_let_pass(off: float) -> None:
    assert resolved(180 + off, guidance=vor(44.3, -93), top="variation_deg = 0").guidance.flag == "FROM"


@pytest.mark.parametrize("off", [-2.05, 2.05])
def test_more_is_refused_with_by_how_much(off: float) -> None:
    with pytest.raises(
        HoldFileError, match=r"inbound_course_deg: .* misses its station by 2\.[01]°.*360 TO or 180 FROM"
    ):
        resolved(180 + off, guidance=vor(44.3, -93), top="variation_deg = 0")


def test_the_wrong_course_is_told_what_the_reciprocal_would_do() -> None:
    with pytest.raises(HoldFileError, match=r"143 misses its station by 37\.0°.*reciprocal 323 does not fit either"):
        resolved(143, guidance=vor(44.3, -93), top="variation_deg = 0")


def test_a_true_course_written_as_magnetic_is_guessed() -> None:
    with pytest.raises(HoldFileError, match='perhaps north = "true" was meant'):
        resolved(360, guidance=vor(44.3, -93, "station_variation_deg = 12"))


def test_the_reciprocal_is_set() -> None:
    """The classic: the station is the fix, so any course fits its line; what the pilot means to set does not."""
    with pytest.raises(HoldFileError, match=r"guidance\.course_set_deg: 323 is the reciprocal.*so set 143"):
        resolved(143, guidance=vor(44, -93, "course_set_deg = 323"))
    with pytest.raises(HoldFileError, match=r"120 is 23\.0° off.*reciprocal 300 does not fit either.*set 143"):
        resolved(143, guidance=vor(44, -93, "course_set_deg = 120"))
    assert resolved(143, guidance=vor(44, -93, "course_set_deg = 144")).guidance.course_to_set_deg == 143.0


def test_the_flag_expected_is_checked() -> None:
    with pytest.raises(
        HoldFileError, match=r"guidance\.flag: .*behind you.*reads FROM, not TO; the reciprocal 360 would"
    ):
        resolved(180, guidance=vor(44.3, -93, 'station_variation_deg = 0\nflag = "TO"'))
    assert resolved(180, guidance=vor(44.3, -93, 'station_variation_deg = 0\nflag = "FROM"')).guidance.flag == "FROM"


def test_a_gps_hold_may_carry_a_station() -> None:
    text = "station_lat = 44.3\nstation_lon = -93\n"
    assert resolved(180, guidance=text, top="variation_deg = 0").guidance.station_place == "behind"
    missed = resolved(143, guidance=text, top="variation_deg = 0")
    assert missed.guidance.station_lat_deg is None
    assert said(missed, "misses the station, so no VOR needle")


@given(plans(), st.dates(dt.date(1971, 1, 1), dt.date(2100, 1, 1)))
@settings(max_examples=150, deadline=None)
def test_any_plan_resolves_or_is_refused_in_one_line(plan: HoldPlan, date: dt.date) -> None:
    hold, message = None, ""
    try:
        hold = resolve(plan, date)
    except HoldFileError as refusal:
        message = str(refusal)
    assert "\n" not in message
    if hold is not None:
        assert 0.0 <= hold.inbound_course_true_deg < 360.0
        assert 0.0 < (hold.guidance.course_to_set_deg or 0.0) <= 360.0
        assert np.isfinite([hold.fix_lat_deg, hold.fix_lon_deg, hold.variation_deg]).all()


# --- What the needles showed ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("turns", ["right", "left"])
@pytest.mark.parametrize("course", [360, 90, 143])
@pytest.mark.parametrize("away_nm", [-15.0, 0.0, 11.0])
def test_vor_needle_is_the_angle_at_the_station(turns: str, course: float, away_nm: float) -> None:
    """Against GeographicLib: put the aircraft on a known radial, some degrees off the course line."""
    station = WGS84.Direct(44.0, -93.0, course, away_nm * 1852.0)
    hold = resolved(
        course,
        guidance=vor(station["lat2"], station["lon2"], "station_variation_deg = 0\nfull_scale_deg = 10"),
        top=f'north = "true"\nturns = "{turns}"\nvariation_deg = 0',
    )
    side = hold.side
    course_at_station = station["azi2"]
    assert wrap180(hold.guidance.course_to_set_deg - course_at_station) == pytest.approx(0, abs=1e-6)
    for off_deg in (-9.0, -2.5, 0.0, 4.0):
        for radial, flag in ((course_at_station + off_deg, "FROM"), (course_at_station + 180.0 - off_deg, "TO")):
            place = WGS84.Direct(station["lat2"], station["lon2"], radial, 5 * 1852.0)
            lat, lon = np.array([place["lat2"]]), np.array([place["lon2"]])
            # To the right of the course both before and behind the station; the holding side is positive.
            assert vor_needle(hold, lat, lon)[0] == pytest.approx(side * off_deg / 10.0, abs=1e-6)
            assert flag_is_to(hold, lat, lon)[0] == (flag == "TO")


def test_needles_in_the_frame() -> None:
    hold = resolved(143, guidance=vor(44, -93), top='turns = "left"')
    along, cross = np.array([-5.0, -5.0, 3.0, np.nan]), np.array([0.5, -0.5, 0.25, 0.0])
    expected = np.degrees(np.arctan2(cross, np.abs(along))) / 10.0
    assert np.allclose(vor_needle_in_frame(hold, along, cross)[0], expected, atol=1e-9, equal_nan=True)
    gps = resolved(143, guidance="full_scale_nm = 2.0")
    assert np.allclose(gps_needle(cross, gps.guidance.full_scale_nm), cross / 2.0)
    # A hold without a station reads as a VOR at the fix would.
    assert np.allclose(vor_needle_in_frame(gps, along, cross)[0], expected, atol=1e-9, equal_nan=True)
    assert list(flag_is_to(gps, *HoldFrame(gps).to_geographic(along[:3], cross[:3]))) == [True, True, False]


@pytest.mark.parametrize("values", [np.zeros(0), np.array([0.3]), np.array([0.3, np.nan, -0.6])])
def test_needle_shapes(values: np.ndarray) -> None:
    hold = resolved(143, guidance=vor(44, -93))
    for needle in (gps_needle(values, 0.3), vor_needle_in_frame(hold, values - 4.0, values)[0]):
        assert needle.shape == values.shape
        assert np.array_equal(np.isnan(needle), np.isnan(values))


def test_seven_and_a_half_degrees_at_ten_miles() -> None:
    """Arithmetic: three quarters of a 10 degree scale is 1.32 NM off at 10 NM, 0.13 NM at 1 NM."""
    hold = resolved(143, guidance=vor(44, -93))
    for along, cross in ((-10.0, 1.3165), (-1.0, 0.13165)):
        assert vor_needle_in_frame(hold, np.array([along]), np.array([cross]))[0][0] == pytest.approx(0.75, abs=1e-4)


def test_over_the_station_itself() -> None:
    hold = resolved(143, guidance=vor(44, -93))
    assert vor_needle(hold, np.array([44.0]), np.array([-93.0]))[0] == 0.0
