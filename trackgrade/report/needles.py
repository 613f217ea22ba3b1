"""What each needle showed at every sample: the hold's own guidance first, then the other kind beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from trackgrade.earth.geodesy import LocalPlane
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.guidance import flag_is_to, station_of
from trackgrade.score.debrief import Debrief
from trackgrade.score.needles import Needle, other_needle, own_needle, shown_share
from trackgrade.segment.path import Samples
from trackgrade.track.track import Floats


@dataclass(frozen=True, eq=False)
class NeedleLine:
    """One needle over the whole record.

    ``share`` (n,) is signed, 1 = full scale, positive with the aircraft right of the course (the needle then
    points left); beyond 1 it is pegged. ``to`` (n,): the flag reads TO, else FROM.
    """

    kind: Literal["gps", "vor"]
    label: str
    share: Floats
    to: npt.NDArray[np.bool_]
    own: bool


def needle_lines(debrief: Debrief) -> tuple[NeedleLine, NeedleLine]:
    """Both needles, the hold's own first: those that the legs are graded and read by."""
    return _line(own_needle(debrief.hold), debrief.samples), _line(other_needle(debrief.hold), debrief.samples)


def _line(needle: Needle, samples: Samples) -> NeedleLine:
    hold = needle.hold
    share = hold.side * shown_share(needle, samples.along_nm, samples.cross_nm)
    if needle.kind == "gps":
        label = f"GPS needle, full scale {needle.full_scale:g} NM"
        return NeedleLine(needle.kind, label, share, samples.along_nm < 0.0, needle.own)
    lat, lon, _ = station_of(hold)
    away_nm = float(np.hypot(*LocalPlane(hold.fix_lat_deg, hold.fix_lon_deg).to_plane(lat, lon)))
    where = "at the fix" if away_nm < 0.1 else f"{away_nm:.1f} NM from the fix"
    label = f"VOR needle, station {where}, full scale {needle.full_scale:g}°"
    to = flag_is_to(hold, *HoldFrame(hold).to_geographic(samples.along_nm, samples.cross_nm))
    return NeedleLine(needle.kind, label, share, to, needle.own)
