"""The samples that measures and pictures read: motion at each cleaned position."""

from __future__ import annotations

import numpy as np

from trackgrade.earth.angles import wrap360
from trackgrade.earth.atmosphere import cas_from_tas_kt
from trackgrade.earth.turning import bank_for_rate_deg
from trackgrade.earth.units import KT_PER_M_S, METRES_PER_NM
from trackgrade.motion.channels import trusted_channels
from trackgrade.motion.motion import Motion, through_air
from trackgrade.motion.samples import MotionSamples
from trackgrade.motion.wind import WindFit
from trackgrade.track.track import CleanTrack, Floats


def sample(
    clean: CleanTrack, motion: Motion, wind: WindFit | None, variation_deg: float
) -> tuple[MotionSamples, tuple[str, ...]]:
    """Samples on the cleaned times, with notes on which logged channels were used or not."""
    track = clean.track
    time_s = track.epoch_s - motion.start_epoch_s
    air = through_air(motion, time_s, wind)
    east_nm, north_nm = (air.position_m / METRES_PER_NM).T
    altitude = _filled(track.epoch_s, track.alt_ft)
    heading = wrap360(air.heading_deg)
    tas = air.airspeed_m_s * KT_PER_M_S
    unknown = np.full(len(track), np.nan)
    estimated_tas = tas if wind is not None else unknown
    estimated_ias = cas_from_tas_kt(estimated_tas, altitude) if np.any(np.isfinite(altitude)) else unknown
    logged = trusted_channels(
        clean,
        heading,
        tas,
        estimated_ias if wind is not None else cas_from_tas_kt(tas, np.nan_to_num(altitude)),
        variation_deg,
        wind_known=wind is not None,
    )
    ias = logged.ias_kt
    if ias is None and logged.tas_kt is not None and np.any(np.isfinite(altitude)):
        ias = cas_from_tas_kt(logged.tas_kt, altitude)
    bank = bank_for_rate_deg(tas, air.heading_rate_deg_s)
    gap_before = np.zeros(len(track), dtype=bool)
    for gap in clean.gaps:
        gap_before[int(np.searchsorted(track.epoch_s, gap.end_epoch_s))] = True
    airspeed_known = logged.ias_kt is not None or logged.tas_kt is not None
    return (
        MotionSamples(
            epoch_s=track.epoch_s,
            east_nm=east_nm,
            north_nm=north_nm,
            position_sd_nm=motion.trajectory.position_sd_m(time_s)[0] / METRES_PER_NM,
            alt_ft=altitude,
            groundspeed_kt=air.groundspeed_m_s * KT_PER_M_S,
            ground_track_true_deg=wrap360(air.track_deg),
            ground_track_rate_deg_s=air.track_rate_deg_s,
            heading_true_deg=(
                logged.heading_true_deg
                if logged.heading_true_deg is not None
                else (heading if wind is not None else unknown)
            ),
            heading_rate_deg_s=air.heading_rate_deg_s,
            heading_rate_sd_deg_s=np.full(len(track), motion.rate_sd_deg_s),
            bank_deg=bank if logged.bank_deg is None else logged.bank_deg,
            tas_kt=estimated_tas if logged.tas_kt is None else logged.tas_kt,
            ias_kt=estimated_ias if ias is None else ias,
            gap_before=gap_before,
            heading_source="logged"
            if logged.heading_true_deg is not None
            else ("estimated" if wind is not None else "none"),
            airspeed_source="logged" if airspeed_known else ("estimated" if wind is not None else "none"),
            bank_source="logged" if logged.bank_deg is not None else "estimated",
        ),
        logged.notes,
    )


def _filled(epoch_s: Floats, values: Floats) -> Floats:
    """Single missing values filled from their neighbours; long holes and empty channels stay NaN."""
    known = np.isfinite(values)
    if np.all(known) or not np.any(known):
        return values
    filled = np.interp(epoch_s, epoch_s[known], values[known])
    position = np.searchsorted(epoch_s[known], epoch_s)
    before = epoch_s[known][np.maximum(position - 1, 0)]
    after = epoch_s[known][np.minimum(position, np.count_nonzero(known) - 1)]
    near = (np.abs(epoch_s - before) < 15.0) & (np.abs(after - epoch_s) < 15.0)
    return np.where(known | near, filled, np.nan)
