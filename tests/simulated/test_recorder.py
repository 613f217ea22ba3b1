"""What the recorder does wrong is what was asked for; files say what was recorded."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import datetime
from functools import cache

import gpxpy
import numpy as np
import pytest

from tests.simulated.test_physics import hold
from trackgrade.simulator import Pilot, Scenario, Sensor, fly
from trackgrade.simulator.flight import SimulatedFlight
from trackgrade.simulator.recorder import Recording
from trackgrade.simulator.writers import csv_text, gpx_text, truth_text

QUIET = Sensor(noise_m=0.0, drift_m=0.0, altitude_noise_ft=0.0, decimals=None)


@cache
def recorded(sensor: Sensor, seed: int = 2, pilot: Pilot | None = None) -> SimulatedFlight:
    return fly(hold(), Scenario(laps=2, entry="direct", sensor=sensor, pilot=pilot or Pilot()), seed)


def off_course_m(r: Recording, clean: Recording) -> np.ndarray:
    """Distance of each row from the clean row of the same stamp [m]."""
    at = np.searchsorted(clean.epoch_s, r.epoch_s - 1e-6)
    north = (r.lat_deg - clean.lat_deg[at]) * 111_200.0
    east = (r.lon_deg - clean.lon_deg[at]) * 111_320.0 * np.cos(np.radians(44.0))
    return np.asarray(np.hypot(east, north))


def test_noise_is_as_large_as_asked_for() -> None:
    clean = recorded(QUIET).recording
    noisy = recorded(replace(QUIET, noise_m=3.0)).recording
    off = off_course_m(noisy, clean)
    assert np.sqrt(np.mean(off**2) / 2) == pytest.approx(3.0, rel=0.06)


def test_drift_is_slow_and_as_large_as_asked_for() -> None:
    clean = recorded(QUIET).recording
    offs = [off_course_m(recorded(replace(QUIET, drift_m=5.0), seed).recording, recorded(QUIET, seed).recording)
            for seed in range(2, 7)]  # fmt: skip
    assert np.sqrt(np.mean(np.concatenate(offs) ** 2) / 2) == pytest.approx(5.0, rel=0.4)
    assert all(np.max(np.abs(np.diff(off))) < 3.0 for off in offs)
    assert len(clean.epoch_s) == len(offs[0])


@pytest.mark.parametrize("interval", [0.2, 1.0, 2.0, 5.0, 10.0])
def test_intervals(interval: float) -> None:
    steps = np.diff(recorded(replace(QUIET, interval_s=interval)).recording.epoch_s)
    assert np.allclose(steps, interval, atol=1e-6)


def test_an_adaptive_recorder_is_dense_in_turns_and_sparse_on_legs() -> None:
    flight = recorded(replace(QUIET, adaptive=True))
    steps = np.diff(flight.recording.epoch_s)
    middle = flight.recording.epoch_s[:-1] + steps / 2 - flight.scenario.start_epoch_s
    rate = np.abs(np.degrees(np.interp(middle, flight.motion.t_s, flight.motion.rate_rad_s)))
    assert np.median(steps[rate > 2.0]) < 2.6
    assert np.median(steps[rate < 0.3]) > 3.5
    assert np.max(steps) <= 15.0 + 0.05  # the limit, and a step of the motion


def test_whole_seconds_are_whole_and_unbiased() -> None:
    r = recorded(replace(QUIET, whole_second=True)).recording
    assert np.all(r.epoch_s == np.round(r.epoch_s))


def test_holes_lose_rows_or_invent_them_on_a_straight_line() -> None:
    lost = recorded(replace(QUIET, dropouts=2))
    assert np.max(np.diff(lost.recording.epoch_s)) > 5.0
    assert lost.recording.faults["rows lost"] > 4
    invented = recorded(replace(QUIET, invented=1))
    r = invented.recording
    assert np.allclose(np.diff(r.epoch_s), 1.0, atol=1e-6)  # the stamps show nothing
    ((a, b),) = r.holes
    inside = (r.epoch_s > a + 1.0) & (r.epoch_s < b - 1.0)
    assert np.max(np.abs(np.diff(r.lat_deg[inside], 2))) < 1e-8
    assert np.max(np.abs(np.diff(r.lat_deg, 2))) > 1e-6


def test_spikes_stale_rows_duplicates_disorder_and_altitude_outliers() -> None:
    clean = recorded(QUIET).recording
    spiky = recorded(replace(QUIET, spikes=2)).recording
    off = off_course_m(spiky, clean)
    assert np.sum(off > 450.0) == spiky.faults["spikes"] == 2
    assert np.max(off) < 5100.0
    stale = recorded(replace(QUIET, stale=0.05)).recording
    repeats = (np.diff(stale.lat_deg) == 0.0) & (np.diff(stale.lon_deg) == 0.0)
    assert np.sum(repeats) == stale.faults["stale rows"] > 10
    twice = recorded(replace(QUIET, duplicates=0.05)).recording
    assert np.sum(np.diff(twice.epoch_s) == 0.0) == twice.faults["duplicates"] > 10
    mixed = recorded(replace(QUIET, disorder=0.05)).recording
    assert np.any(np.diff(mixed.epoch_s) < 0.0)
    high = recorded(replace(QUIET, altitude_outliers=3)).recording
    assert np.max(high.alt_ft) > 30_000.0 or np.min(high.alt_ft) < 100.0


def test_channels_say_what_was_flown_late_or_wrong_as_asked() -> None:
    names = ("heading_true_deg", "tas_kt", "groundspeed_kt", "track_true_deg", "bank_deg", "ias_kt")
    flight = recorded(replace(QUIET, channels=names))
    r, m = flight.recording, flight.motion
    t = r.epoch_s - flight.scenario.start_epoch_s
    heading = np.degrees(np.interp(t, m.t_s, m.heading_rad))
    off = (r.channels["heading_true_deg"] - heading + 180.0) % 360.0 - 180.0
    assert np.max(np.abs(off)) < 2.0
    assert np.max(np.abs(r.channels["tas_kt"] - np.interp(t, m.t_s, m.tas_kt))) < 3.0
    # Ground speed logged against ground speed from the positions themselves.
    east = np.diff(r.lon_deg) * 111_320.0 * 1.0014 * np.cos(np.radians(44.0))
    north = np.diff(r.lat_deg) * 111_117.0
    derived = np.hypot(east, north) / np.diff(r.epoch_s) * 3600.0 / 1852.0
    assert np.median(np.abs(derived - r.channels["groundspeed_kt"][1:])) < 0.6
    late = recorded(replace(QUIET, channels=names, channel_lag_s=2.0)).recording
    turning = np.abs(np.gradient(np.unwrap(np.radians(r.channels["heading_true_deg"])))) > np.radians(2.5)
    lag = (r.channels["heading_true_deg"] - late.channels["heading_true_deg"] + 180.0) % 360.0 - 180.0
    assert np.median(np.abs(lag[turning])) == pytest.approx(6.0, abs=1.0)  # two seconds at three degrees a second
    wrong = recorded(replace(QUIET, channels=names, channel_fault="offset")).recording
    assert np.median(wrong.channels["tas_kt"] - r.channels["tas_kt"]) == pytest.approx(15.0, abs=1.0)


def test_gpx_says_what_was_recorded() -> None:
    flight = recorded(Sensor(), pilot=Pilot(marks=True))
    gpx = gpxpy.parse(gpx_text(flight))
    points = gpx.tracks[0].segments[0].points
    r = flight.recording
    assert gpx.version == "1.1"
    assert len(points) == len(r.epoch_s)
    assert [p.latitude for p in points] == pytest.approx(r.lat_deg.tolist(), abs=1e-7)
    assert [p.longitude for p in points] == pytest.approx(r.lon_deg.tolist(), abs=1e-7)
    assert [p.elevation / 0.3048 for p in points] == pytest.approx(r.alt_ft.tolist(), abs=0.2)
    assert [p.time.timestamp() for p in points] == pytest.approx(r.epoch_s.tolist(), abs=0.001)
    started = [lap.watch_started for lap in flight.truth.laps]
    assert [w.time.timestamp() for w in gpx.waypoints] == pytest.approx(started, abs=0.001)


def test_csv_and_truth_say_what_was_recorded_and_flown() -> None:
    flight = recorded(replace(Sensor(), channels=("ias_kt",)))
    rows = list(csv.DictReader(io.StringIO(csv_text(flight))))
    assert list(rows[0]) == ["time_utc", "lat", "lon", "alt_ft", "ias_kt"]
    assert [float(row["lat"]) for row in rows] == pytest.approx(flight.recording.lat_deg.tolist(), abs=1e-7)
    truth = json.loads(truth_text(flight))
    (visit,) = truth["visits"]
    lap, true = visit["laps"][0], flight.truth.laps[0]
    assert datetime.fromisoformat(lap["end_utc"]).timestamp() == pytest.approx(true.end, abs=0.001)
    assert lap["inbound_s"] == pytest.approx(true.inbound_s, abs=0.001)
    assert visit["entry"]["flown"] == "direct"
