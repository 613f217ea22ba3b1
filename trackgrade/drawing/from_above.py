"""A track from above with the holds proposed for it: which line is the course, which end is the fix."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from markupsafe import Markup

from trackgrade.drawing.lines import simplify
from trackgrade.drawing.palette import lap_class
from trackgrade.drawing.racetrack import racetrack
from trackgrade.drawing.sketch import Sketch
from trackgrade.drawing.view import fit
from trackgrade.earth.geodesy import LocalPlane
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Hold
from trackgrade.track.track import Bools, Floats, Track

#: The usual frame [px at full width]; its foot belongs to north and scale.
SIZE = (460.0, 340.0)
MARGINS, FOOT = (24.0, 24.0, 24.0, 58.0), 46.0
#: Around the fixes so much is drawn [NM]; without a hold the whole flight is.
AROUND_NM = 5.0
#: The course is drawn over so much before the fix [NM].
COURSE_NM = 2.5
#: What is kept of a track to draw it again [NM]: 7 m.
KEPT_NM = 0.004
#: Lines are parted where the log has a hole of more than this [s].
HOLE_S = 120.0
#: Of a straight a point is kept in each minute, so that it is no hole.
KEPT_S = 60.0


class Shown(NamedTuple):
    """A hold on the drawing, and from when to when it was flown [s since 1970 UTC], where that is known.

    ``words`` stand at its fix; by themselves its number from 1, or "fix" where it is alone.
    """

    hold: Hold
    flown_epoch_s: tuple[float, float] | None = None
    words: str = ""


class Line(NamedTuple):
    """Where a track went: arrays (n,) of times [s since 1970 UTC] and positions [deg], in order of time."""

    epoch_s: Floats
    lat_deg: Floats
    lon_deg: Floats

    @staticmethod
    def of(track: Track) -> Line:
        """The line of a track, with as few points as keep it within `KEPT_NM` of itself."""
        order = np.argsort(track.epoch_s, kind="stable")
        known = order[np.isfinite(track.lat_deg[order]) & np.isfinite(track.lon_deg[order])]
        epoch_s, lat, lon = track.epoch_s[known], track.lat_deg[known], track.lon_deg[known]
        middle = len(known) // 2
        east, north = LocalPlane(float(lat[middle]), float(lon[middle])).to_plane(lat, lon)
        holes = np.flatnonzero(np.diff(epoch_s) > HOLE_S)
        minutes = np.flatnonzero(np.diff(epoch_s // KEPT_S))
        kept = np.union1d(simplify(east, north, KEPT_NM), np.concatenate([holes, holes + 1, minutes]))
        return Line(epoch_s[kept], lat[kept], lon[kept])

    def during(self, start: float, end: float) -> Bools:
        """Which of its points (n,) lie between two moments."""
        return (self.epoch_s >= start) & (self.epoch_s <= end)

    def parted(self, east_nm: Floats, north_nm: Floats, which: Bools | None = None) -> tuple[Floats, Floats]:
        """Its points in a plane (n,), or ``which`` of them, with NaN in each hole: no line is drawn across it."""
        which = np.ones(len(self.epoch_s), dtype=bool) if which is None else which
        holes = np.flatnonzero(np.diff(self.epoch_s[which]) > HOLE_S) + 1
        return np.insert(east_nm[which], holes, np.nan), np.insert(north_nm[which], holes, np.nan)


NOTHING = Line(np.empty(0), np.empty(0), np.empty(0))


def draw(
    line: Line | None, holds: Sequence[Shown], size: tuple[float, float] = SIZE, around_nm: float = AROUND_NM
) -> Markup:
    """One ``<svg>`` element of a track, of holds, or of both, with ``around_nm`` of the flight about each fix."""
    line = line or NOTHING
    if holds:
        plane = LocalPlane(holds[0].hold.fix_lat_deg, holds[0].hold.fix_lon_deg)
    else:
        plane = LocalPlane(float(np.median(line.lat_deg)), float(np.median(line.lon_deg)))
    flown = plane.to_plane(line.lat_deg, line.lon_deg)
    tracks = [_racetrack(each.hold, plane, _speed_kt(each, line, flown)) for each in holds]
    fixes = [tuple(float(v) for v in plane.to_plane(each.hold.fix_lat_deg, each.hold.fix_lon_deg)) for each in holds]
    spans = {each.flown_epoch_s: line.during(*each.flown_epoch_s) for each in holds if each.flown_epoch_s is not None}
    near = [np.hypot(flown[0] - east, flown[1] - north) < around_nm for east, north in fixes]
    shown = np.any([*near, *spans.values()], axis=0) if near else np.ones(len(flown[0]), dtype=bool)
    east, north = (np.concatenate([axis[shown], *own]) for axis, *own in zip(flown, *tracks))
    sketch = Sketch(fit("track", 0.0, east, north, size, MARGINS), FOOT)
    for each in tracks:
        sketch.line(each, "solved", apart=False)
    told = bool(spans)  # else the whole flight may have been the hold
    sketch.line(line.parted(*flown), "elsewhere" if told else "flown c0")
    for number, during in enumerate(spans.values()):  # once, where two readings are of the same laps
        sketch.line(line.parted(*flown, during), f"flown {lap_class(number)}", apart=False)
    for number, (one, fix) in enumerate(zip(holds, fixes), 1):
        course = HoldFrame(one.hold).east_north(np.array([-COURSE_NM, 0.0]), np.zeros(2))
        sketch.arrow((course[0] + fix[0], course[1] + fix[1]), "course")
        sketch.fix(sketch.view.place(*fix))
        words = one.words or (f"hold {number}" if len(fixes) > 1 else "fix")
        sketch.words_beside(sketch.view.place(*fix), (1.0, -1.0), (words, "label"), gap=12.0)
    sketch.corners(size[1] - 20.0)
    count = f"{len(holds)} hold{'s' if len(holds) > 1 else ''}"
    what = " with ".join([*["the track"] * bool(len(line.epoch_s)), *[count] * bool(holds)])
    return sketch.drawn(f"{what}, from above, true north up")


def _racetrack(hold: Hold, plane: LocalPlane, speed_kt: float | None) -> tuple[Floats, Floats]:
    """The hold in still air, closed, in a plane [NM]."""
    along, cross = racetrack(hold, speed_kt)
    east, north = plane.to_plane(*HoldFrame(hold).to_geographic(along, cross))
    return np.append(east, east[0]), np.append(north, north[0])


def _speed_kt(shown: Shown, line: Line, flown: tuple[Floats, Floats]) -> float | None:
    """How fast it was flown over the ground, on average; None, for the hold's own airspeed, where that is not known."""
    inside = line.during(*(shown.flown_epoch_s or (-np.inf, np.inf)))
    if shown.hold.airspeed_kias is not None or np.count_nonzero(inside) < 2:
        return None
    step_s = np.diff(line.epoch_s[inside])
    step_nm = np.hypot(np.diff(flown[0][inside]), np.diff(flown[1][inside]))
    whole = step_s <= HOLE_S
    return float(np.sum(step_nm[whole]) / max(float(np.sum(step_s[whole])), 1.0) * 3600.0) or None
