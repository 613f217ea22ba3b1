"""The conductor: a track and a hold in, a debrief out. The order of calls, and no arithmetic."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from trackgrade.errors import TrackFileError
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Hold
from trackgrade.motion.airmass import near_the_fix, over_the_stays, wind_over
from trackgrade.motion.motion import through_air, trace
from trackgrade.motion.sampling import sample
from trackgrade.motion.turns import find_turns, in_epoch_time
from trackgrade.segment.lap_wind import with_wind
from trackgrade.segment.measured import Measured
from trackgrade.segment.path import flight_path, seen_from_hold
from trackgrade.segment.stays import stays
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

    # The wind first, from the hold alone where the ground track shows one: headings, turns and laps are read in it.
    over_ground = through_air(motion, motion.grid_s, None)
    spans = stays(flight_path(motion, over_ground, None, (), frame), leg_s)
    wind, why_not = wind_over(motion, over_the_stays(motion, spans) if spans else near_the_fix(motion, leg_s))
    air = through_air(motion, motion.grid_s, wind)
    turns = in_epoch_time(find_turns(motion, air, wind), motion.start_epoch_s)
    flown = with_wind(find_visits(flight_path(motion, air, wind, turns, frame), hold), wind, motion.start_epoch_s)
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
