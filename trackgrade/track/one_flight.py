"""One flight of a file: points hours away from all others are a wrong date, or another flight."""

from __future__ import annotations

import numpy as np

from trackgrade.errors import TrackFileError
from trackgrade.track.track import Bools, Floats

#: A hole longer than this parts two flights [s]; a stop for fuel and food does not.
PARTS_FLIGHTS_S = 6 * 3600.0
#: No flight lasts longer [s]. Everything between the first and the last point is worked through second by second.
LONGEST_FLIGHT_S = 3 * 86_400.0


def largest_flight(epoch_s: Floats, source: str) -> Bools:
    """Which points (n,) belong to the part with most points; times must not decrease.

    Raises TrackFileError: that part lasts over three days.
    """
    part = np.concatenate([[0], np.cumsum(np.diff(epoch_s) > PARTS_FLIGHTS_S)])
    keep = part == np.argmax(np.bincount(part))
    times = epoch_s[keep]
    if times[-1] - times[0] > LONGEST_FLIGHT_S:
        days = (times[-1] - times[0]) / 86_400.0
        raise TrackFileError(f"{source}: its times span {days:.0f} days. Cut it to one flight, or mend its dates")
    return np.asarray(keep)
