"""A logged heading or airspeed is used where it fits the positions, and left out, with a word, where it does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.arithmetic_flight import HOLD, fly, laps, record, straight
from trackgrade.analysis import measure
from trackgrade.motion.channels import Logged, trusted_channels
from trackgrade.track.cleaning import clean
from trackgrade.track.track import CleanTrack

FLIGHT = fly([straight(120.0), *laps(3), straight(60.0)])
CLEAN = clean(record(FLIGHT))
T = CLEAN.track.epoch_s - CLEAN.track.epoch_s[0]
HEADING = np.mod(FLIGHT.at("heading_deg", T), 360.0)
TAS, IAS = np.full(len(T), 100.0), np.full(len(T), 94.0)
VARIATION_DEG = -7.0


def logged(*, wind_known: bool = True, **channels: np.ndarray) -> Logged:
    with_them: CleanTrack = replace(CLEAN, track=replace(CLEAN.track, channels=channels))
    return trusted_channels(with_them, HEADING, TAS, IAS, VARIATION_DEG, wind_known=wind_known)


def noisy(values: np.ndarray, sd: float) -> np.ndarray:
    return values + np.random.default_rng(1).normal(0, sd, len(values))


def lagging(seconds: float) -> np.ndarray:
    return np.mod(FLIGHT.at("heading_deg", np.maximum(T - seconds, 0.0)), 360.0)


def test_without_channels_nothing_is_said() -> None:
    found = logged()
    assert [found.heading_true_deg, found.tas_kt, found.ias_kt, found.bank_deg] == [None] * 4
    assert found.notes == ()


# --- Heading --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("off_deg", [0.0, 3.0, -5.0])
def test_a_heading_that_fits_is_used(off_deg: float) -> None:
    found = logged(heading_true_deg=np.mod(noisy(HEADING, 1.0) + off_deg, 360.0))
    assert found.heading_true_deg is not None
    assert found.notes == ("The log's own heading was used.",)


def test_a_magnetic_heading_is_made_true_by_the_variation() -> None:
    """True = magnetic + variation, east positive; through north."""
    found = logged(heading_mag_deg=np.mod(HEADING - VARIATION_DEG, 360.0))
    assert found.heading_true_deg is not None
    off = (found.heading_true_deg - HEADING + 180.0) % 360.0 - 180.0
    np.testing.assert_allclose(off, 0.0, atol=1e-9)
    assert np.all((found.heading_true_deg >= 0.0) & (found.heading_true_deg < 360.0))


def test_of_two_headings_the_true_one_counts() -> None:
    found = logged(heading_true_deg=HEADING, heading_mag_deg=np.zeros(len(T)))
    assert found.heading_true_deg is not None
    np.testing.assert_array_equal(found.heading_true_deg, HEADING)


def test_a_heading_that_wraps_at_180_is_a_heading() -> None:
    found = logged(heading_true_deg=(HEADING + 180.0) % 360.0 - 180.0)
    assert found.heading_true_deg is not None
    np.testing.assert_allclose(found.heading_true_deg, HEADING, atol=1e-9)


BAD_HEADINGS = {
    "lags by 12 s": lagging(12.0),
    "stuck": np.full(len(T), 220.0),
    "off by 30": np.mod(HEADING + 30.0, 360.0),
    "wrapped at 128": np.where(HEADING > 180.0, HEADING - 360.0, HEADING) % 256.0 - 128.0,
    "reversed": np.mod(HEADING + 180.0, 360.0),
    "in radians": np.radians(HEADING),
    "noise": np.random.default_rng(3).uniform(0, 360, len(T)),
}


@pytest.mark.parametrize("name", BAD_HEADINGS)
def test_a_heading_that_does_not_fit_is_left_out_and_named(name: str) -> None:
    found = logged(heading_true_deg=BAD_HEADINGS[name])
    assert found.heading_true_deg is None
    (note,) = found.notes
    assert note.startswith("The log's heading does not fit the positions")
    assert note.endswith("was not used.")


def test_without_a_wind_a_heading_may_differ_by_a_drift_but_not_by_more() -> None:
    """The ground track is all there is to compare with; 20 degrees of drift are a third of the airspeed."""
    assert logged(wind_known=False, heading_true_deg=np.mod(HEADING + 20.0, 360.0)).heading_true_deg is not None
    for name in ("stuck", "reversed", "noise"):
        assert logged(wind_known=False, heading_true_deg=BAD_HEADINGS[name]).heading_true_deg is None


def test_a_blank_heading_is_told_with_its_share() -> None:
    half = np.where(T[-1] / 2 > T, HEADING, np.nan)
    found = logged(heading_true_deg=half)
    assert found.heading_true_deg is None
    assert found.notes == ("The log's heading is blank in 50 % of the rows and was not used.",)
    assert logged(heading_true_deg=np.full(len(T), np.nan)).notes == (
        "The log's heading is blank in 100 % of the rows and was not used.",
    )


def test_a_few_blanks_do_no_harm() -> None:
    found = logged(heading_true_deg=np.where(np.arange(len(T)) % 10 == 0, np.nan, HEADING))
    assert found.heading_true_deg is not None
    assert np.count_nonzero(np.isnan(found.heading_true_deg)) == len(range(0, len(T), 10))


# --- Airspeed -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["ias_kt", "tas_kt"])
def test_an_airspeed_that_fits_is_used(name: str) -> None:
    right = IAS if name == "ias_kt" else TAS
    found = logged(**{name: noisy(right, 3.0) + 5.0})
    assert getattr(found, name) is not None
    (note,) = found.notes
    assert note == f"The log's own {'indicated' if name == 'ias_kt' else 'true'} airspeed was used."


BAD_AIRSPEEDS = {
    "in km/h": IAS * 1.852,
    "in m/s": IAS * 1852 / 3600,
    "stuck at zero": np.zeros(len(T)),
    "stuck at a cruise": np.full(len(T), 140.0),
    "ends in rubbish": np.where(0.8 * T[-1] < T, 300.0, IAS),
}


@pytest.mark.parametrize("name", BAD_AIRSPEEDS)
def test_an_airspeed_that_does_not_fit_is_left_out_and_named(name: str) -> None:
    found = logged(ias_kt=BAD_AIRSPEEDS[name])
    assert found.ias_kt is None
    (note,) = found.notes
    assert note.startswith("The log's indicated airspeed does not fit the positions")


def test_a_blank_airspeed_is_left_out() -> None:
    assert logged(tas_kt=np.full(len(T), np.nan)).tas_kt is None


# --- Through the analysis -------------------------------------------------------------------------------------------


def test_the_samples_carry_the_log_where_it_is_trusted_and_the_estimate_where_not() -> None:
    track = record(FLIGHT, noise_m=1.0)
    good = measure(replace(track, channels={"heading_true_deg": np.mod(HEADING + 2.0, 360.0)}), HOLD)
    assert good.samples.heading_source == "logged"
    np.testing.assert_allclose(good.samples.heading_true_deg, np.mod(HEADING + 2.0, 360.0))

    bad = measure(replace(track, channels={"heading_true_deg": BAD_HEADINGS["stuck"], "ias_kt": IAS * 0.0}), HOLD)
    assert bad.samples.heading_source == "estimated"
    assert bad.samples.airspeed_source == "estimated"
    off = (bad.samples.heading_true_deg - HEADING + 180.0) % 360.0 - 180.0
    assert np.median(np.abs(off)) < 1.0
    assert sum("was not used" in note for note in bad.clean.notes) == 2
    # What the log says of the air moves no lap.
    assert [lap.end for lap in bad.flown.laps] == [lap.end for lap in good.flown.laps]
