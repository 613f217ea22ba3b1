"""Logged heading and airspeed: preferred to estimates, but only after a look whether they fit the positions.

Real logs carry channels that lag, stick, wrap or are empty. A channel that disagrees with the positions is
left out, and the note says so.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trackgrade.earth.angles import wrap180, wrap360
from trackgrade.track.ranks import median, quantile
from trackgrade.track.track import CleanTrack, Floats

#: A logged heading may differ by this much in the middle and at the 90 % point [deg].
HEADING_MEDIAN_DEG, HEADING_MOST_DEG = 8.0, 25.0
#: A logged airspeed may differ by this much in the middle [kt, and share].
AIRSPEED_MEDIAN_KT, AIRSPEED_SHARE = 12.0, 0.12
#: At least this share of the samples must carry a value.
LEAST_SHARE = 0.8


class Logged(NamedTuple):
    """Channels (n,) that were found to fit the positions; None where absent or not trusted, with why in ``notes``."""

    heading_true_deg: Floats | None
    tas_kt: Floats | None
    ias_kt: Floats | None
    bank_deg: Floats | None
    notes: tuple[str, ...]


def trusted_channels(
    clean: CleanTrack, heading_deg: Floats, tas_kt: Floats, ias_kt: Floats, variation_deg: float, *, wind_known: bool
) -> Logged:
    """Compare the log's channels with the estimates on the same samples (n,)."""
    channels = clean.track.channels
    notes: list[str] = []
    heading = channels.get("heading_true_deg")
    if heading is None and "heading_mag_deg" in channels:
        heading = channels["heading_mag_deg"] + variation_deg
    if heading is not None:
        heading = wrap360(heading)
        off = np.abs(wrap180(heading - heading_deg))
        # Without a known wind the estimate is the ground track, which may differ by a large drift.
        allow = 1.0 if wind_known else 3.0
        heading = _trusted(heading, off, HEADING_MEDIAN_DEG * allow, HEADING_MOST_DEG * allow, "heading", "°", notes)
    tas = _airspeed(channels.get("tas_kt"), tas_kt, "true airspeed", notes, wind_known)
    ias = _airspeed(channels.get("ias_kt"), ias_kt, "indicated airspeed", notes, wind_known)
    return Logged(heading, tas, ias, channels.get("bank_deg"), tuple(notes))


def _airspeed(logged: Floats | None, estimate: Floats, name: str, notes: list[str], wind_known: bool) -> Floats | None:
    if logged is None:
        return None
    if not np.any(np.isfinite(estimate)):
        return logged
    limit = max(AIRSPEED_MEDIAN_KT, AIRSPEED_SHARE * float(np.nanmedian(estimate))) * (1.0 if wind_known else 4.0)
    return _trusted(logged, np.abs(logged - estimate), limit, 3.0 * limit, name, " kt", notes)


def _trusted(
    values: Floats, off: Floats, middle: float, most: float, name: str, unit: str, notes: list[str]
) -> Floats | None:
    known = np.isfinite(off)
    if np.mean(known) < LEAST_SHARE:
        notes.append(f"The log's {name} is blank in {100 * (1 - np.mean(known)):.0f} % of the rows and was not used.")
        return None
    typical, large = median(off[known]), quantile(off[known], 0.9)
    if typical > middle or large > most:
        notes.append(
            f"The log's {name} does not fit the positions (typically {typical:.0f}{unit} off) and was not used."
        )
        return None
    notes.append(f"The log's own {name} was used.")
    return values
