"""The hold from above in characters, north up, for a terminal: the racetrack in still air, the fix, the way round."""

from __future__ import annotations

import numpy as np

from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Hold

#: A character is about twice as high as it is wide.
WIDE, HIGH, ASPECT = 60, 20, 2.0
#: Flown where the hold file names no airspeed [kt]; turns at standard rate [deg/s].
USUAL_KT, RATE_DEG_S = 100.0, 3.0
FIX, PATH = "X", "·"
_ARROWS = "^/>\\v/<\\"


def lines(hold: Hold) -> list[str]:
    """The drawing, line by line, no line ending in blanks."""
    speed_nm_s = (hold.airspeed_kias or USUAL_KT) / 3600.0
    radius = speed_nm_s / np.radians(RATE_DEG_S)
    leg = hold.leg.nm if hold.leg.nm is not None else 60.0 * (hold.leg.minutes or 1.0) * speed_nm_s
    half = np.linspace(0.0, np.pi, 200)
    straight = np.linspace(0.0, 1.0, 200)
    along = np.concatenate(
        [-leg * (1.0 - straight), radius * np.sin(half), -leg * straight, -leg - radius * np.sin(half)]
    )
    cross = np.concatenate(
        [0.0 * straight, radius * (1.0 - np.cos(half)), 2.0 * radius + 0.0 * straight, radius * (1.0 + np.cos(half))]
    )
    frame = HoldFrame(hold)
    east, north = frame.east_north(along, cross)
    scale = min((WIDE - 1) / max(np.ptp(east), 1e-6), (HIGH - 1) * ASPECT / max(np.ptp(north), 1e-6))
    column = np.rint((east - east.min()) * scale).astype(int)
    row = np.rint((north.max() - north) * scale / ASPECT).astype(int)
    grid = [[" "] * (int(column.max()) + 1) for _ in range(int(row.max()) + 1)]
    for r, c in zip(row, column):
        grid[r][c] = PATH
    course = hold.inbound_course_true_deg
    for k, heading in ((100, course), (500, course + 180.0)):
        grid[row[k]][column[k]] = _ARROWS[round(heading / 45.0) % 8]
    grid[row[199]][column[199]] = FIX
    return ["".join(each).rstrip() for each in grid]
