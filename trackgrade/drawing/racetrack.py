"""The racetrack of a hold in still air, as a line; and the same in characters, north up, for a terminal."""

from __future__ import annotations

import numpy as np

from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Hold
from trackgrade.track.track import Floats

#: Flown where the hold names no airspeed [kt]; turns at standard rate [deg/s]; points on each of its four parts.
USUAL_KT, RATE_DEG_S, POINTS = 100.0, 3.0, 200
#: A character is about twice as high as it is wide.
WIDE, HIGH, ASPECT = 60, 20, 2.0
FIX, PATH = "X", "·"
_ARROWS = "^/>\\v/<\\"


def racetrack(hold: Hold, speed_kt: float | None = None) -> tuple[Floats, Floats]:
    """Along and cross [NM] of four times `POINTS`: inbound leg, turn at the fix, outbound leg, turn back."""
    speed_nm_s = (speed_kt or hold.airspeed_kias or USUAL_KT) / 3600.0
    radius = speed_nm_s / np.radians(RATE_DEG_S)
    leg = hold.leg.nm if hold.leg.nm is not None else 60.0 * (hold.leg.minutes or 1.0) * speed_nm_s
    half, straight = np.linspace(0.0, np.pi, POINTS), np.linspace(0.0, 1.0, POINTS)
    bend, none = radius * np.sin(half), np.zeros(POINTS)
    along = np.concatenate([-leg * (1.0 - straight), bend, -leg * straight, -leg - bend])
    aside = radius * (1.0 - np.cos(half))
    return along, np.concatenate([none, aside, none + 2.0 * radius, 2.0 * radius - aside])


def in_characters(hold: Hold) -> list[str]:
    """The drawing, line by line, no line ending in blanks."""
    east, north = HoldFrame(hold).east_north(*racetrack(hold))
    scale = min((WIDE - 1) / max(np.ptp(east), 1e-6), (HIGH - 1) * ASPECT / max(np.ptp(north), 1e-6))
    column = np.rint((east - east.min()) * scale).astype(int)
    row = np.rint((north.max() - north) * scale / ASPECT).astype(int)
    grid = [[" "] * (int(column.max()) + 1) for _ in range(int(row.max()) + 1)]
    for r, c in zip(row, column):
        grid[r][c] = PATH
    course = hold.inbound_course_true_deg
    for k, heading in ((POINTS // 2, course), (5 * POINTS // 2, course + 180.0)):
        grid[row[k]][column[k]] = _ARROWS[round(heading / 45.0) % 8]
    grid[row[POINTS - 1]][column[POINTS - 1]] = FIX
    return ["".join(each).rstrip() for each in grid]
