"""Wind and airspeed from ground velocities: exact on an exact circle, honest on a wandering one, refused where open."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from tests.arithmetic_flight import HOLD, fly, laps, record, straight, turn
from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.earth.geodesy import LocalPlane
from trackgrade.motion.airmass import wind_over
from trackgrade.motion.motion import through_air, trace
from trackgrade.motion.wind import FLOOR_SD_M_S, LEAST_COVER_DEG, correlated, directions_covered_deg, fit_wind
from trackgrade.track.cleaning import clean

KT = 1852.0 / 3600.0
EXACT = 1e-6


def towards(from_deg: float, speed_kt: float) -> np.ndarray:
    """A wind FROM a direction blows the other way: east and north [m/s]."""
    blowing = np.radians(from_deg + 180.0)
    return speed_kt * KT * np.array([np.sin(blowing), np.cos(blowing)])


def velocities(heading_deg: np.ndarray, tas_kt: float | np.ndarray, wind_m_s: np.ndarray) -> np.ndarray:
    radians = np.radians(heading_deg)
    return (tas_kt * KT * np.stack([np.sin(radians), np.cos(radians)])).T + wind_m_s


def racetrack_headings(t: np.ndarray, course_deg: float = 220.0) -> np.ndarray:
    """A minute straight, a minute turning at 3 deg/s, from the outset."""
    into = np.mod(t, 120.0)
    return course_deg + 180.0 * np.floor(t / 120.0) + 3.0 * np.clip(into - 60.0, 0.0, 60.0)


# --- Exact cases ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("from_deg", [0.0, 47.0, 90.0, 180.0, 270.0, 359.0])
@pytest.mark.parametrize(("speed_kt", "tas_kt"), [(5.0, 60.0), (20.0, 100.0), (60.0, 120.0), (60.0, 280.0)])
@pytest.mark.parametrize("flown", ["evenly", "racetrack"])
def test_an_exact_circle_gives_wind_and_airspeed_back(
    from_deg: float, speed_kt: float, tas_kt: float, flown: str
) -> None:
    t = np.arange(0.0, 720.0)
    heading = 0.5 * t if flown == "evenly" else racetrack_headings(t)
    fit, why = fit_wind(t, velocities(heading, tas_kt, towards(from_deg, speed_kt)))
    assert fit is not None, why
    wind = fit.as_wind()
    assert wind.speed_kt == pytest.approx(speed_kt, abs=EXACT)
    assert wind.true_airspeed_kt == pytest.approx(tas_kt, abs=EXACT)
    assert wrap180(wind.from_true_deg - from_deg) == pytest.approx(0.0, abs=1e-4)
    np.testing.assert_allclose(fit.drift_m_s2, 0.0, atol=1e-8)


def test_still_air_has_no_direction_and_says_so() -> None:
    t = np.arange(0.0, 720.0)
    fit, _ = fit_wind(t, velocities(racetrack_headings(t), 100.0, np.zeros(2)))
    assert fit is not None
    wind = fit.as_wind()
    assert wind.speed_kt == pytest.approx(0.0, abs=EXACT)
    assert wind.from_sd_deg > 80.0
    assert 0.0 <= wind.from_true_deg < 360.0


def test_an_even_drift_is_followed() -> None:
    """From 20 kt to 24 kt over half an hour: the wind at both ends, not only in the middle."""
    t = np.arange(0.0, 1800.0, 2.0)
    share = (t / t[-1])[:, None]
    wind = towards(300.0, 20.0) * (1 - share) + towards(320.0, 24.0) * share
    fit, _ = fit_wind(t, velocities(racetrack_headings(t), 100.0, np.zeros(2)) + wind)
    assert fit is not None
    # The prior on drift holds it back a little: a tenth of the change at either end.
    change = np.hypot(*(wind[-1] - wind[0]))
    np.testing.assert_allclose(fit.at(t[[0, 450, -1]]), wind[[0, 450, -1]], atol=0.1 * change)
    # Held at its end values outside the time it was fitted on.
    np.testing.assert_allclose(fit.at(np.array([-5000.0])), fit.at(t[:1]))
    np.testing.assert_allclose(fit.at(np.array([9000.0])), fit.at(t[-1:]))


def test_one_bad_stretch_does_not_bend_it() -> None:
    t = np.arange(0.0, 960.0)
    v = velocities(racetrack_headings(t), 100.0, towards(240.0, 15.0))
    v[300:320] *= 1.4
    fit, _ = fit_wind(t, v)
    assert fit is not None
    assert fit.as_wind().speed_kt == pytest.approx(15.0, abs=1.0)
    assert fit.as_wind().true_airspeed_kt == pytest.approx(100.0, abs=1.0)


# --- Refusals -------------------------------------------------------------------------------------------------------


def test_too_little_of_the_circle_is_refused_with_the_cover() -> None:
    t = np.arange(0.0, 300.0)
    fit, why = fit_wind(t, velocities(120.0 * t / 300.0, 100.0, towards(0.0, 10.0)))
    assert fit is None
    assert "of 360°" in why
    assert "too little" in why


def test_straight_flight_is_refused() -> None:
    t = np.arange(0.0, 300.0)
    fit, why = fit_wind(t, velocities(np.full(300, 33.0), 100.0, np.zeros(2)))
    assert fit is None
    assert "cover only 0° of 360°" in why


def test_a_handful_of_points_is_refused() -> None:
    fit, why = fit_wind(np.arange(11.0), velocities(np.arange(11) * 33.0, 100.0, np.zeros(2)))
    assert fit is None
    assert "too few" in why


def test_speeds_without_rhyme_are_refused() -> None:
    dice = np.random.default_rng(2)
    t = np.arange(0.0, 400.0)
    fit, why = fit_wind(t, velocities(0.95 * t, np.repeat(dice.uniform(20, 180, 8), 50), np.zeros(2)))
    assert fit is None
    assert "scatter too much" in why or "fit no steady wind" in why


@pytest.mark.parametrize("arc_deg", [0.0, 90.0, 200.0, 350.0])
def test_cover_is_the_arc_flown(arc_deg: float) -> None:
    heading = np.linspace(17.0, 17.0 + arc_deg, 200)
    assert directions_covered_deg(velocities(heading, 100.0, np.zeros(2))) == pytest.approx(
        arc_deg if arc_deg < 345.0 else 360.0, abs=1e-6
    )


def test_two_legs_alone_cover_nothing_whatever_their_number() -> None:
    heading = np.tile([40.0, 220.0], 200)
    assert directions_covered_deg(velocities(heading, 100.0, np.zeros(2))) < LEAST_COVER_DEG


# --- Honest errors --------------------------------------------------------------------------------------------------


def wander(dice: np.random.Generator, n: int, step_s: float, lasting_s: float, sd: float) -> np.ndarray:
    """First-order autoregressive noise that lasts about ``lasting_s``."""
    keep = np.exp(-step_s / lasting_s)
    push = dice.normal(0, sd * np.sqrt(1 - keep**2), n)
    push[0] = dice.normal(0, sd)
    return np.asarray(lfilter([1.0], [1.0, -keep], push))


@pytest.mark.parametrize(("laps_flown", "lasting_s", "sd_kt"), [(1, 20.0, 1.5), (3, 20.0, 1.5), (2, 15.0, 3.0)])
def test_truth_lies_within_two_standard_errors_as_often_as_stated(
    laps_flown: int, lasting_s: float, sd_kt: float
) -> None:
    """Airspeed that wanders for some twenty seconds, and a gusty wind: in at least 90 % of 100 flights each.

    Not in all 300 readings: errors that always cover are too wide to be of use.
    """
    step_s, n_flights = 4.0, 100
    t = np.arange(0.0, 240.0 * laps_flown, step_s)
    within = {"speed": 0, "direction": 0, "airspeed": 0}
    for seed in range(n_flights):
        dice = np.random.default_rng(seed)
        from_deg, speed_kt, course = dice.uniform(0, 360), dice.uniform(8, 30), dice.uniform(0, 360)
        v = velocities(
            racetrack_headings(t, course),
            100.0 + wander(dice, len(t), step_s, lasting_s, sd_kt),
            towards(from_deg, speed_kt),
        )
        v += np.stack([wander(dice, len(t), step_s, 15.0, 0.3) for _ in range(2)], axis=1)
        fit, why = fit_wind(t, v)
        assert fit is not None, why
        wind = fit.as_wind()
        within["speed"] += abs(wind.speed_kt - speed_kt) < 2 * wind.speed_sd_kt
        within["direction"] += abs(wrap180(wind.from_true_deg - from_deg)) < 2 * wind.from_sd_deg
        within["airspeed"] += abs(wind.true_airspeed_kt - 100.0) < 2 * wind.true_airspeed_sd_kt
    assert min(within.values()) >= 0.90 * n_flights, within
    assert sum(within.values()) < 3 * n_flights, within


def test_stated_errors_are_of_use_and_never_nothing() -> None:
    """Not honest by being endless: three laps with a wander of 1.5 kt tell the wind to better than 2 kt."""
    dice = np.random.default_rng(0)
    t = np.arange(0.0, 720.0, 2.0)
    v = velocities(racetrack_headings(t), 100.0 + wander(dice, len(t), 2.0, 20.0, 1.5), towards(250.0, 18.0))
    fit, _ = fit_wind(t, v)
    assert fit is not None
    assert FLOOR_SD_M_S / KT <= fit.as_wind().speed_sd_kt < 2.0


@pytest.mark.parametrize("seed", range(20))
def test_correlated_noise_is_what_the_whole_matrix_of_correlations_makes_of_it(seed: int) -> None:
    dice = np.random.default_rng(seed)
    t = np.cumsum(dice.choice([0.1, 0.5, 1.0, 5.0, 40.0, 900.0], 400))
    rows, lasting_s = dice.normal(size=(5, 400)), float(dice.uniform(20.0, 400.0))
    whole = rows @ np.exp(-np.abs(t[:, None] - t[None, :]) / lasting_s)
    np.testing.assert_allclose(correlated(rows, t, lasting_s), whole, rtol=1e-9, atol=1e-9 * np.abs(whole).max())


# --- Published wind triangles ---------------------------------------------------------------------------------------

# Heading, TAS, wind from and speed, then course and ground speed as printed, half of the last printed digit.
# FAA-H-8083-25 (PHAK), navigation chapter: course 090, TAS 120, wind 045/40: 14 left, heading 076, 88 kt (numbers from
# memory). Smithsonian NASM XXXX.0136 computer manual, example 16: course 094, TAS 165, GS 146, crab 10 right, wind
# 154/34 (read off a dial). Mathematics for Air Crew Trainees: heading 315, 150, wind 045/30: 304 and 153.
# RA-Aus navigation tutorial 4.4: heading 045, TAS 75, wind 135/20: drift about 15 left.
PUBLISHED = [
    (76, 120, 45, 40, 90, 88, 0.5, 0.6),
    (104, 165, 154, 34, 94, 146, 0.6, 1.0),
    (315, 150, 45, 30, 304, 153, 0.5, 0.5),
    (45, 75, 135, 20, 30, None, 0.5, 0.5),
]


@pytest.mark.parametrize(("heading", "tas", "wind_from", "wind_kt", "course", "speed", "deg", "kt"), PUBLISHED)
def test_published_wind_triangles(
    heading: float,
    tas: float,
    wind_from: float,
    wind_kt: float,
    course: float,
    speed: float | None,
    deg: float,
    kt: float,
) -> None:
    """Fly a hold in the published wind; where its ground track is the published course, read heading and speeds."""
    flight = fly([straight(60.0), *laps(2)], heading_deg=heading, tas_kt=tas, wind_from_deg=wind_from, wind_kt=wind_kt)
    motion = trace(clean(record(flight)), LocalPlane(HOLD.fix_lat_deg, HOLD.fix_lon_deg))
    fit, why = wind_over(motion, np.ones(len(motion.grid_s), dtype=bool))
    assert fit is not None, why
    wind = fit.as_wind()
    assert wind.speed_kt == pytest.approx(wind_kt, abs=0.3)
    assert wrap180(wind.from_true_deg - wind_from) == pytest.approx(0.0, abs=1.0)
    assert wind.true_airspeed_kt == pytest.approx(tas, abs=0.3)
    air = through_air(motion, np.array([30.0]), fit)
    assert abs(wrap180(wrap360(air.heading_deg[0]) - heading)) <= 0.3
    assert abs(wrap180(air.track_deg[0] - course)) <= deg + 0.1
    if speed is not None:
        assert abs(air.groundspeed_m_s[0] / KT - speed) <= kt + 0.1


def test_heading_is_where_the_nose_points_and_bank_does_not_care_for_wind() -> None:
    """In a steady turn in 30 kt of wind the heading rate is the turn's own; the ground track's is not."""
    flight = fly([straight(30.0), turn(720.0), straight(30.0)], heading_deg=10.0, wind_from_deg=280.0, wind_kt=30.0)
    motion = trace(clean(record(flight)), LocalPlane(HOLD.fix_lat_deg, HOLD.fix_lon_deg))
    fit, _ = wind_over(motion, np.ones(len(motion.grid_s), dtype=bool))
    at = np.arange(60.0, 240.0)
    air = through_air(motion, at, fit)
    np.testing.assert_allclose(air.heading_rate_deg_s, 3.0, atol=0.02)
    np.testing.assert_allclose(wrap180(air.heading_deg - flight.at("heading_deg", at)), 0.0, atol=0.3)
    np.testing.assert_allclose(air.airspeed_m_s / KT, 100.0, atol=0.3)
    assert np.ptp(air.track_rate_deg_s) > 1.0
