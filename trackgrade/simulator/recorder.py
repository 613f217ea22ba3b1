"""The recorder: what a logger would have kept of the flight, with what logs get wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pyproj import Geod
from scipy.signal import lfilter

from trackgrade.hold.hold import Hold
from trackgrade.simulator.atmosphere import cas_kt
from trackgrade.simulator.kinematics import Floats, Motion
from trackgrade.simulator.scenario import Scenario, Sensor

_WGS84 = Geod(ellps="WGS84")
NM = 1852.0


@dataclass(frozen=True, eq=False)
class Recording:
    """Rows as they stand in the log, in its order. ``channels`` by the project's column names; NaN where blank.

    ``faults`` counts what was done to the rows, for the truth file.
    """

    epoch_s: Floats
    lat_deg: Floats
    lon_deg: Floats
    alt_ft: Floats
    channels: Mapping[str, Floats]
    marks: tuple[tuple[float, str], ...]
    faults: Mapping[str, int]
    holes: tuple[tuple[float, float], ...]  # dropouts and invented stretches [s since 1970]


def to_geographic(hold: Hold, east_nm: Floats, north_nm: Floats) -> tuple[Floats, Floats]:
    """Latitude and longitude at this geodesic distance and azimuth from the fix (WGS 84)."""
    n = len(east_nm)
    azimuth = np.degrees(np.arctan2(east_nm, north_nm))
    distance = np.hypot(east_nm, north_nm) * NM
    lon, lat, _ = _WGS84.fwd(np.full(n, hold.fix_lon_deg), np.full(n, hold.fix_lat_deg), azimuth, distance)
    return np.asarray(lat), (np.asarray(lon) + 180.0) % 360.0 - 180.0


def convergence_deg(hold: Hold, lat_deg: Floats, lon_deg: Floats) -> Floats:
    """Angle of local true north against the plane's north: difference in longitude times sine of latitude."""
    east = (lon_deg - hold.fix_lon_deg + 180.0) % 360.0 - 180.0
    middle = 0.5 * (lat_deg + hold.fix_lat_deg)
    return np.asarray(east * np.sin(np.radians(middle)))


def sample_times(sensor: Sensor, motion: Motion, rng: np.random.Generator) -> Floats:
    """Times of the rows [s of flight]."""
    end = float(motion.t_s[-1])
    if not sensor.adaptive:
        return np.arange(0.2, end, sensor.interval_s)
    times, t = [], 0.2
    rates = np.abs(np.degrees(motion.rate_rad_s))
    while t < end:
        times.append(t)
        turning = rates[min(len(rates) - 1, round(t / 0.05))] > 0.8
        t += float(rng.uniform(1.0, 2.5)) if turning else float(rng.uniform(4.0, sensor.adaptive_max_s))
        # A logger that thins straight legs keeps the point where the turn begins, a little late.
        if not turning:
            i, j = round(times[-1] / 0.05), min(len(rates) - 1, round(t / 0.05))
            begun = np.nonzero(rates[i:j] > 0.8)[0]
            if len(begun):
                t = (i + int(begun[0])) * 0.05 + float(rng.uniform(0.3, 2.0))
    return np.array(times)


def _holes(sensor: Sensor, end: float, rng: np.random.Generator) -> list[tuple[float, float, bool]]:
    """(start, end, invented) of stretches without true rows, apart from each other."""
    holes: list[tuple[float, float, bool]] = []
    for invented, count in ((False, sensor.dropouts), (True, sensor.invented)):
        for _ in range(count):
            length = float(rng.uniform(30.0, 150.0)) if invented else float(rng.uniform(5.0, sensor.hole_max_s))
            start = float(rng.uniform(20.0, max(21.0, end - length - 20.0)))
            if all(start > b + 20.0 or start + length < a - 20.0 for a, b, _ in holes):
                holes.append((start, start + length, invented))
    return sorted(holes)


def record(
    hold: Hold, scenario: Scenario, motion: Motion, marks: tuple[tuple[float, str], ...], rng: np.random.Generator
) -> Recording:
    """Log the motion through the scenario's sensor."""
    sensor, t0 = scenario.sensor, scenario.start_epoch_s
    t = sample_times(sensor, motion, rng)
    n = len(t)
    stamp = t.copy()
    when = t.copy()
    if sensor.whole_second:
        when = t + rng.uniform(-0.4, 0.4, n) * (sensor.interval_s >= 1.0)
        stamp = np.round(when)
    if sensor.jitter_s:
        when = when + np.clip(rng.normal(0.0, sensor.jitter_s, n), -3 * sensor.jitter_s, 3 * sensor.jitter_s)
    when = np.clip(when, motion.t_s[0], motion.t_s[-1])
    east = np.interp(when, motion.t_s, motion.east_nm)
    north = np.interp(when, motion.t_s, motion.north_nm)
    east = east + (rng.normal(0.0, sensor.noise_m, n) + _drift(sensor, t, rng)) / NM
    north = north + (rng.normal(0.0, sensor.noise_m, n) + _drift(sensor, t, rng)) / NM
    alt = np.interp(when, motion.t_s, motion.alt_ft) + rng.normal(0.0, max(1e-9, sensor.altitude_noise_ft), n)
    if sensor.altitude_step_ft:
        alt = np.round(alt / sensor.altitude_step_ft) * sensor.altitude_step_ft
    faults: Counter[str] = Counter()
    keep = np.ones(n, dtype=bool)
    holes = _holes(sensor, float(t[-1]), rng)
    for a, b, invented in holes:
        inside = np.nonzero((t > a) & (t < b))[0]
        if not len(inside):
            continue
        if invented:
            i, j = inside[0] - 1, min(n - 1, inside[-1] + 1)
            share = (stamp[inside] - stamp[i]) / (stamp[j] - stamp[i])
            for each in (east, north, alt):
                each[inside] = each[i] + share * (each[j] - each[i])
            faults["invented rows"] += len(inside)
        else:
            keep[inside] = False
            faults["rows lost"] += len(inside)
    if sensor.stale:
        for i in np.nonzero(rng.random(n) < sensor.stale)[0]:
            if i:
                east[i], north[i] = east[i - 1], north[i - 1]
                faults["stale rows"] += 1
    for _ in range(sensor.spikes):
        i = int(rng.integers(1, n - 1))
        size, way = float(rng.uniform(0.5, sensor.spike_max_km)) * 1000.0 / NM, float(rng.uniform(0, 2 * np.pi))
        east[i] += size * np.sin(way)
        north[i] += size * np.cos(way)
        faults["spikes"] += 1
    for _ in range(sensor.altitude_outliers):
        alt[int(rng.integers(0, n))] = float(rng.choice([-1000.0, 0.0, 41000.0, 45000.0]))
        faults["altitude outliers"] += 1
    lat, lon = to_geographic(hold, east, north)
    if sensor.decimals is not None:
        lat, lon = np.round(lat, sensor.decimals), np.round(lon, sensor.decimals)
    channels = _channels(hold, scenario, motion, t, lat, lon, rng)
    order = _order(sensor, np.nonzero(keep)[0], rng, faults)
    marks_epoch = tuple((t0 + when_s, label) for when_s, label in marks)
    return Recording(
        (t0 + stamp)[order],
        lat[order],
        lon[order],
        alt[order],
        {name: values[order] for name, values in channels.items()},
        marks_epoch,
        faults,
        tuple((t0 + a, t0 + b) for a, b, _ in holes),
    )


def _drift(sensor: Sensor, t: Floats, rng: np.random.Generator) -> Floats:
    """Slow error [m]: Gauss-Markov, one axis."""
    n = len(t)
    if not sensor.drift_m:
        return np.zeros(n)
    grid = np.arange(0.0, t[-1] + 2.0, 1.0)
    a = np.exp(-1.0 / sensor.drift_s)
    noise = rng.standard_normal(len(grid)) * sensor.drift_m * np.sqrt(1 - a * a)
    start = float(rng.normal(0.0, sensor.drift_m))
    wander, _ = lfilter([1.0], [1.0, -a], noise, zi=np.array([a * start]))
    return np.asarray(np.interp(t, grid, wander))


def _order(
    sensor: Sensor, rows: npt.NDArray[np.intp], rng: np.random.Generator, faults: Counter[str]
) -> npt.NDArray[np.intp]:
    """Which rows in which order: duplicates and disorder."""
    order = list(rows)
    if sensor.duplicates:
        twice = rng.random(len(order)) < sensor.duplicates
        faults["duplicates"] = int(np.sum(twice))
        order = [i for i, again in zip(order, twice) for _ in range(2 if again else 1)]
    if sensor.disorder:
        for k in np.nonzero(rng.random(len(order) - 1) < sensor.disorder)[0]:
            order[k], order[k + 1] = order[k + 1], order[k]
            faults["out of order"] += 1
    return np.array(order, dtype=np.intp)


def _channels(
    hold: Hold, scenario: Scenario, motion: Motion, t: Floats, lat: Floats, lon: Floats, rng: np.random.Generator
) -> dict[str, Floats]:
    """Logged quantities besides the position, late and faulty as asked."""
    sensor = scenario.sensor
    n = len(t)
    when = np.clip(t - sensor.channel_lag_s, motion.t_s[0], motion.t_s[-1])

    def at(values: Floats) -> Floats:
        return np.asarray(np.interp(when, motion.t_s, values))

    local = convergence_deg(hold, lat, lon)
    v_e = motion.tas_kt * np.sin(motion.heading_rad) + motion.wind_east_kt
    v_n = motion.tas_kt * np.cos(motion.heading_rad) + motion.wind_north_kt
    tas, alt = at(motion.tas_kt), at(motion.alt_ft)
    heading = np.degrees(at(motion.heading_rad)) + local
    #: Each quantity as it was, and the noise of its instrument (one standard deviation).
    quantities: dict[str, tuple[Callable[[], Floats], float]] = {
        "heading_true_deg": (lambda: heading, 0.3),
        "heading_mag_deg": (lambda: heading - hold.variation_deg, 0.3),
        "track_true_deg": (lambda: at(np.degrees(np.unwrap(np.arctan2(v_e, v_n)))) + local, 0.3),
        "groundspeed_kt": (lambda: at(np.hypot(v_e, v_n)), 0.3),
        "tas_kt": (lambda: tas, 0.5),
        "ias_kt": (lambda: np.array([cas_kt(float(v), float(h)) for v, h in zip(tas, alt)]), 0.5),
        "bank_deg": (lambda: np.degrees(at(motion.bank_rad)), 0.3),
        "oat_c": (lambda: 15.0 - 1.98 * alt / 1000.0, 0.0),
    }
    made: dict[str, Floats] = {}
    for name in sensor.channels:
        if name not in quantities:
            raise ValueError(f"no such channel to log: {name}")
        quantity, noise = quantities[name]
        values = quantity() + (rng.normal(0, noise, n) if noise else 0.0)
        if sensor.channel_fault == "offset":
            values = values + (25.0 if name.endswith("_deg") else 15.0)
        elif sensor.channel_fault == "stuck":
            values = np.where(np.arange(n) > n // 3, values[n // 3], values)
        if name.endswith("_deg") and name != "bank_deg":
            values = np.round(values, 1) % 360.0
        made[name] = np.round(values, 1)
    return made
