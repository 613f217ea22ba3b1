"""What each needle showed at every sample: the hold's own guidance first, then the other kind beside it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from trackgrade.earth.geodesy import azimuth_distance
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.guidance import flag_is_to, gps_needle, station_of, vor_needle
from trackgrade.hold.hold import Hold
from trackgrade.motion.samples import Samples
from trackgrade.score.debrief import Debrief
from trackgrade.track.track import Floats

#: Full scale of the needle that the hold does not use, for reading the same legs both ways: the terminal scale of
#: a GPS (AIM 1-1-17) and ten degrees of a VOR (common; sources give 10 to 12).
OTHER_GPS_NM = 1.0
OTHER_VOR_DEG = 10.0


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


def needle_lines(debrief: Debrief) -> tuple[NeedleLine, ...]:
    """Both needles, the hold's own first."""
    hold = debrief.hold
    lines = (_gps(hold, debrief.samples), _vor(hold, debrief.samples))
    return lines if lines[0].own else lines[::-1]


def _gps(hold: Hold, samples: Samples) -> NeedleLine:
    own = hold.guidance.kind == "gps"
    full_nm = hold.guidance.full_scale_nm if own else OTHER_GPS_NM
    share = hold.side * gps_needle(samples.cross_nm, full_nm)
    return NeedleLine("gps", f"GPS needle, full scale {full_nm:g} NM", share, samples.along_nm < 0.0, own)


def _vor(hold: Hold, samples: Samples) -> NeedleLine:
    own = hold.guidance.kind == "vor"
    if not own:
        hold = replace(hold, guidance=replace(hold.guidance, full_scale_deg=OTHER_VOR_DEG))
    lat, lon = HoldFrame(hold).to_geographic(samples.along_nm, samples.cross_nm)
    station_lat, station_lon, _ = station_of(hold)
    _, away = azimuth_distance(hold.fix_lat_deg, hold.fix_lon_deg, station_lat, station_lon)
    where = "at the fix" if float(away) < 0.1 else f"{float(away):.1f} NM from the fix"
    label = f"VOR needle, station {where}, full scale {hold.guidance.full_scale_deg:g}°"
    return NeedleLine("vor", label, hold.side * vor_needle(hold, lat, lon), flag_is_to(hold, lat, lon), own)
