"""How the hold was entered, in numbers: the sector, the turn at the fix, the first leg, speed and time at the fix."""

from __future__ import annotations

import math

import numpy as np

from trackgrade.earth.angles import turn_from_to
from trackgrade.hold.hold import Hold
from trackgrade.hold.sectors import sector_miss_deg
from trackgrade.score.debrief import EntryMeasures
from trackgrade.score.measures import no_airspeed
from trackgrade.score.results import Measurement
from trackgrade.score.series import Series, inside, median_over
from trackgrade.score.timing import between
from trackgrade.segment.flown import Entry, Flown, Visit
from trackgrade.segment.path import Samples

#: How far back before the fix the slowing down is looked for [s]: three minutes (AIM 5-3-8; FAA-S-ACS-8C, III.B.S2).
SLOWING_WINDOW_S = 180.0
#: An entry flown from another sector is flown well when it stays this close to the course on the
#: non-holding side [turn radii]: a choice, about what a parallel entry needs.
WELL_FLOWN_RADII = 2.5


def entry_measures(
    visit: Visit,
    flown: Flown,
    hold: Hold,
    samples: Samples,
    series: Series,
    airspeed_reference_kias: float | None,
    airspeed_band_kt: float,
    turn_radius_nm: float | None,
) -> EntryMeasures:
    """Every number of one visit's entry."""
    entry = visit.entry
    suits = miss = well = None
    stray, ended = entry.non_holding_side_nm, visit.laps[0].start_cross_nm if visit.laps else None
    if entry.kind != "none" and entry.kind != "unclear":
        if entry.expected:
            suits = entry.kind in entry.expected
        if (heading := entry.arrival_heading_true_deg) is not None:
            miss = sector_miss_deg(entry.kind, hold.inbound_course_true_deg, hold.side, heading)
        near = stray is None or turn_radius_nm is None or stray <= WELL_FLOWN_RADII * turn_radius_nm
        well = bool(visit.laps) and near and not entry.turned_wrong_way and not entry.reversed_pattern
    return EntryMeasures(
        suits=suits,
        flown_well=well,
        sector_miss_deg=miss,
        fix_to_turn_s=between(entry.start, entry.turn_start, "the first fix passage", "the start of the turn"),
        outbound_s=between(entry.outbound_start, entry.outbound_end, "wings level outbound", "the turn back"),
        offset_deg=_offset(entry, hold),
        max_offset_nm=_known(entry.max_offset_nm, "NM", "the track does not show the entry's outbound leg"),
        non_holding_side_nm=_known(stray, "NM", "the track does not show the entry"),
        arrival_ias_kt=_arrival_speed(entry, samples, series),
        speed_ready_s=_speed_ready(entry, samples, series, airspeed_reference_kias, airspeed_band_kt),
        arrival_miss_s=arrival_miss(flown, hold) if visit is flown.visits[0] else _not_asked(),
        end_cross_nm=_known(ended, "NM", "the track does not show the passage that ended the entry"),
    )


def _known(value: float | None, unit: str, why: str) -> Measurement:
    return Measurement(value, None, unit, why="" if value is not None else why)


def _not_asked() -> Measurement:
    return Measurement(None, None, "s", why="no time over the fix was assigned")


def _offset(entry: Entry, hold: Hold) -> Measurement:
    if entry.outbound_track_true_deg is None:
        return Measurement(None, None, "deg", why="the entry has no outbound leg of its own")
    outbound = hold.inbound_course_true_deg + 180.0
    # Right turns hold on the right of the inbound course, which is left of the outbound course.
    return Measurement(
        -hold.side * float(turn_from_to(outbound, entry.outbound_track_true_deg)),
        None,
        "deg",
        how="ground track of the entry's outbound leg less the outbound course; positive into the holding side",
    )


def _arrival_speed(entry: Entry, samples: Samples, series: Series) -> Measurement:
    if not math.isfinite(series.airspeed_sd_kt):
        return Measurement(None, None, "kt", why=no_airspeed(samples))
    if entry.start is None:
        return Measurement(None, None, "kt", why="the track does not show the first fix passage")
    value = median_over(samples, series.ias_kt, entry.start.epoch_s - 10.0, entry.start.epoch_s)
    if not math.isfinite(value):
        return Measurement(None, None, "kt", why="no airspeed in the ten seconds before the fix")
    return Measurement(
        value, series.airspeed_sd_kt, "kt", how=f"{samples.airspeed_source} airspeed, median of the 10 s before the fix"
    )


def _speed_ready(
    entry: Entry, samples: Samples, series: Series, reference_kias: float | None, band_kt: float
) -> Measurement:
    """Seconds before the fix from which the airspeed stayed within the band of holding speed."""
    if not math.isfinite(series.airspeed_sd_kt):
        return Measurement(None, None, "s", why=no_airspeed(samples))
    if entry.start is None or reference_kias is None:
        return Measurement(None, None, "s", why="the track does not show the first fix passage")
    fix_s = entry.start.epoch_s
    chosen = inside(samples, fix_s - SLOWING_WINDOW_S, fix_s)
    speeds = series.ias_kt[chosen]
    finite = np.isfinite(speeds)
    if not finite.any():
        return Measurement(None, None, "s", why="no airspeed in the three minutes before the fix")
    times = samples.epoch_s[chosen][finite]
    fast = times[speeds[finite] > reference_kias + band_kt]
    if not fast.size:
        before = fix_s - float(times[0])
        return Measurement(before, 2.0, "s", how="at holding speed as far back as three minutes or the record goes")
    if fast[-1] >= times[-1]:
        return Measurement(None, None, "s", why="holding speed was not reached before the fix")
    return Measurement(fix_s - float(fast[-1]), 2.0, "s", how="from the last airspeed above the band to the fix")


def arrival_miss(flown: Flown, hold: Hold) -> Measurement:
    """Fix passage less assigned time [s], late positive, for the passage nearest to that time.

    The assigned time may be one to arrive or one to leave the fix, so every passage counts.
    """
    if hold.arrive_epoch_s is None:
        return _not_asked()
    passages = [visit.entry.start for visit in flown.visits]
    passages += [moment for lap in flown.laps for moment in (lap.start, lap.end)]
    known = [moment for moment in passages if moment is not None]
    if not known:
        return Measurement(None, None, "s", why="the track shows no fix passage")
    assigned = hold.arrive_epoch_s
    nearest = min(known, key=lambda moment: abs(moment.epoch_s - assigned))
    return Measurement(
        nearest.epoch_s - assigned, nearest.sd_s, "s", how="the fix passage nearest to the assigned time"
    )
