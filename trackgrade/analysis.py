"""The conductor: a track and a hold in, a debrief out. The order of calls, and no arithmetic."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from trackgrade.errors import TrackFileError
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Hold
from trackgrade.motion.airmass import near_the_fix, over_the_visits, wind_over
from trackgrade.motion.motion import Motion, through_air, trace
from trackgrade.motion.samples import Turn
from trackgrade.motion.sampling import sample
from trackgrade.motion.turns import find_turns, in_epoch_time
from trackgrade.motion.wind import WindFit
from trackgrade.segment.flown import Flown
from trackgrade.segment.lap_wind import with_wind
from trackgrade.segment.measured import Measured
from trackgrade.segment.path import flight_path, seen_from_hold
from trackgrade.segment.visits import expected_leg_s, find_visits
from trackgrade.track.altitude import for_hold
from trackgrade.track.cleaning import clean as clean_track
from trackgrade.track.thinning import thin
from trackgrade.track.track import Track
from trackgrade.track.vicinity import near_fix

if TYPE_CHECKING:
    from trackgrade.score.debrief import Debrief
    from trackgrade.score.standard import Standard


def measure(track: Track, hold: Hold) -> Measured:
    """Clean the track, find motion and wind, turns, visits and laps.

    Raises
    ------
    TrackFileError
        Too few usable points.
    """
    track = for_hold(track, hold.fix_lat_deg, hold.fix_lon_deg, hold.altitude_ft, hold.qnh_hpa)
    recorded = clean_track(track)
    leg_s = expected_leg_s(hold)
    clean = near_fix(thin(recorded), hold.fix_lat_deg, hold.fix_lon_deg, leg_s)
    frame = HoldFrame(hold)
    motion = trace(clean, frame.plane)

    # First pass: the wind from all that was flown near the fix. Second: from the hold alone, once it is known.
    wind, why_not = wind_over(motion, near_the_fix(motion, leg_s))
    _, flown = _find(motion, wind, hold, frame, refine=False)
    if flown.visits or flown.reversed_laps:
        wind, why_not = wind_over(motion, over_the_visits(motion, _spans(flown)))
    turns, flown = _find(motion, wind, hold, frame, refine=True)

    flown = with_wind(flown, wind, motion.start_epoch_s)
    samples, channel_notes = sample(clean, motion, wind, hold.variation_deg)
    recorded = replace(recorded, notes=clean.notes + channel_notes)
    return Measured(
        recorded, hold, seen_from_hold(samples, frame), wind.as_wind() if wind else None, why_not, turns, flown
    )


def flight_date(track: Track) -> dt.date:
    """The day most of the track was recorded on (UTC): what the magnetic model needs.

    Raises TrackFileError when there is no usable time in it.
    """
    stamps = track.epoch_s[np.isfinite(track.epoch_s)]
    if stamps.size == 0:
        raise TrackFileError(f"{track.source}: no point has a time; export the track with its time stamps")
    return (dt.datetime(1970, 1, 1) + dt.timedelta(seconds=float(np.median(stamps)))).date()


def analyse(track: Track, hold: Hold, standard: Standard) -> Debrief:
    """Measure a flight at a hold and judge it against a standard.

    Where no hold was flown the debrief has no visits, and says what was seen instead.
    """
    from trackgrade.score.judging import judge

    return judge(measure(track, hold), standard)


def _find(
    motion: Motion, wind: WindFit | None, hold: Hold, frame: HoldFrame, *, refine: bool
) -> tuple[tuple[Turn, ...], Flown]:
    """Turns and laps in this wind; ``refine``: turn edges fitted to the positions, not from the smoothed rate."""
    air = through_air(motion, motion.grid_s, wind)
    turns = find_turns(motion, air, wind, refine=refine)
    flown = find_visits(flight_path(motion, air, wind, turns, frame), hold)
    return in_epoch_time(turns, motion.start_epoch_s), flown


def _spans(flown: Flown) -> list[tuple[float, float]]:
    """First and last moment of each stay [s since 1970]."""
    spans = list(flown.reversed_laps)
    for visit in flown.visits:
        start, end = visit.entry.start or visit.rounds[0].start, visit.rounds[-1].end
        if end is not None:
            spans.append((start.epoch_s, end.epoch_s))
    return spans
