"""A track from above with the holds proposed for it: which line is the course, which end is the fix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from trackgrade.drawing import furniture
from trackgrade.drawing.labels import Box, Placer, around, text_width
from trackgrade.drawing.lines import simplify
from trackgrade.drawing.palette import lap_class
from trackgrade.drawing.racetrack import racetrack
from trackgrade.drawing.svg import element, moved, short, simplified_polylines
from trackgrade.drawing.view import View, fit
from trackgrade.earth.geodesy import LocalPlane
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Hold
from trackgrade.track.track import Floats, Track

#: The usual frame [px at full width]; its foot belongs to north and scale.
SIZE = (460.0, 340.0)
MARGINS, FOOT = (24.0, 24.0, 24.0, 58.0), 46.0
#: Around the fixes so much is drawn [NM]; without a hold the whole flight is.
AROUND_NM = 5.0
#: The course is drawn over so much before the fix [NM].
COURSE_NM = 2.5
#: What is kept of a track to draw it again [NM]: 7 m.
KEPT_NM = 0.004
#: Lines are simplified to this [px], and parted where the log has a hole of more than this [s].
TOLERANCE_PX, HOLE_S = 0.6, 120.0
#: Of a straight a point is kept in each minute, so that it is no hole.
KEPT_S = 60.0
LETTERS_PX = 13.0


@dataclass(frozen=True, eq=False)
class Shown:
    """A hold on the drawing, and from when to when it was flown [s since 1970 UTC], where that is known.

    ``words`` stand at its fix; by themselves its number from 1, or "fix" where it is alone.
    """

    hold: Hold
    flown_epoch_s: tuple[float, float] | None = None
    words: str = ""


@dataclass(frozen=True, eq=False)
class Line:
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

    def during(self, start: float, end: float) -> Line:
        """The part from one moment to another."""
        inside = (self.epoch_s >= start) & (self.epoch_s <= end)
        return Line(self.epoch_s[inside], self.lat_deg[inside], self.lon_deg[inside])


NOTHING = Line(np.empty(0), np.empty(0), np.empty(0))


def draw(
    line: Line | None, holds: Sequence[Shown], size: tuple[float, float] = SIZE, around_nm: float = AROUND_NM
) -> Markup:
    """One ``<svg>`` element of a track, of holds, or of both, with ``around_nm`` of the flight about each fix."""
    line, (width, height) = line or NOTHING, size
    if holds:
        plane = LocalPlane(holds[0].hold.fix_lat_deg, holds[0].hold.fix_lon_deg)
    else:
        plane = LocalPlane(float(np.median(line.lat_deg)), float(np.median(line.lon_deg)))
    flown = plane.to_plane(line.lat_deg, line.lon_deg)
    tracks = [_racetrack(each.hold, plane, _speed_kt(each, line, flown)) for each in holds]
    fixes = [tuple(float(v) for v in plane.to_plane(each.hold.fix_lat_deg, each.hold.fix_lon_deg)) for each in holds]
    near = [np.hypot(flown[0] - east, flown[1] - north) < around_nm for east, north in fixes]
    spans = [each.flown_epoch_s for each in holds if each.flown_epoch_s is not None]
    near += [(line.epoch_s >= start) & (line.epoch_s <= end) for start, end in spans]
    shown = np.any(near, axis=0) if near else np.ones(len(flown[0]), dtype=bool)
    east = np.concatenate([flown[0][shown], *(each[0] for each in tracks)])
    north = np.concatenate([flown[1][shown], *(each[1] for each in tracks)])
    view = fit("track", 0.0, east, north, size, MARGINS)
    free = Placer(Box(4.0, 4.0, width - 4.0, height - FOOT), step=4.0)
    parts = [element("path", d=_path(view, *each), class_="solved") for each in tracks]
    told = bool(spans)  # else the whole flight may have been the hold
    parts.append(element("path", d=_path(view, *flown, line.epoch_s), class_="elsewhere" if told else "flown c0"))
    free.keep_off_line(*view.places(*flown))
    for number, span in enumerate(dict.fromkeys(spans)):  # once, where two readings are of the same laps
        part = line.during(*span)
        d = _path(view, *plane.to_plane(part.lat_deg, part.lon_deg), part.epoch_s)
        parts.append(element("path", d=d, class_=f"flown {lap_class(number)}"))
    for each, (fix_east, fix_north) in zip(holds, fixes):
        parts += _course(each.hold, view, fix_east, fix_north, free)
    for number, (fix_east, fix_north) in enumerate(fixes, 1):
        words = holds[number - 1].words or (f"hold {number}" if len(fixes) > 1 else "fix")
        long = text_width(words, LETTERS_PX)
        place = view.place(fix_east, fix_north)
        spots = around(place, (1.0, -1.0), long, 18.0, (12.0, 26.0, 44.0))
        spot = free.put(spots, long, 18.0)
        parts.append(element("text", words, x=spot[0], y=spot[1] + 4.5, text_anchor="middle", class_="label"))
    what = " with ".join(
        [*["the track"] * bool(len(line.epoch_s)), *[f"{len(holds)} hold{'s' if len(holds) > 1 else ''}"] * bool(holds)]
    )
    return element(
        "svg",
        *parts,
        _foot(view, width, height),
        class_="plan",
        viewBox=f"0 0 {width:g} {height:g}",
        role="img",
        aria_label=f"{what}, from above, true north up",
    )


def _racetrack(hold: Hold, plane: LocalPlane, speed_kt: float | None) -> tuple[Floats, Floats]:
    """The hold in still air, closed, in a plane [NM]."""
    along, cross = racetrack(hold, speed_kt)
    east, north = plane.to_plane(*HoldFrame(hold).to_geographic(along, cross))
    return np.append(east, east[0]), np.append(north, north[0])


def _speed_kt(shown: Shown, line: Line, flown: tuple[Floats, Floats]) -> float | None:
    """How fast it was flown over the ground, on average; None, for the hold's own airspeed, where that is not known."""
    start, end = shown.flown_epoch_s or (-np.inf, np.inf)
    inside = (line.epoch_s >= start) & (line.epoch_s <= end)
    if shown.hold.airspeed_kias is not None or np.count_nonzero(inside) < 2:
        return None
    step_s = np.diff(line.epoch_s[inside])
    step_nm = np.hypot(np.diff(flown[0][inside]), np.diff(flown[1][inside]))
    whole = step_s <= HOLE_S
    return float(np.sum(step_nm[whole]) / max(float(np.sum(step_s[whole])), 1.0) * 3600.0) or None


def _path(view: View, east: Floats, north: Floats, epoch_s: Floats | None = None) -> str:
    x, y = view.places(east, north)
    if epoch_s is not None:
        x, y = _parted(epoch_s, x), _parted(epoch_s, y)
    return simplified_polylines([(x, y)], TOLERANCE_PX)[0]


def _course(hold: Hold, view: View, fix_east: float, fix_north: float, free: Placer) -> list[Markup]:
    """The inbound course with its head at the fix, and the fix."""
    east, north = HoldFrame(hold).east_north(np.array([-COURSE_NM, 0.0]), np.zeros(2))
    x, y = view.places(east + fix_east, north + fix_north)
    free.keep_off_line(x, y)
    angle = float(np.arctan2(y[1] - y[0], x[1] - x[0]))
    head = [
        (float(x[1] - 11.0 * np.cos(angle + side)), float(y[1] - 11.0 * np.sin(angle + side))) for side in (0.4, -0.4)
    ]
    tip = f"{short(float(x[1]))} {short(float(y[1]))}"
    return [
        element("path", d=f"M{short(float(x[0]))} {short(float(y[0]))}L{tip}", class_="course"),
        element("path", d=f"M{tip}{''.join(f'L{short(a)} {short(b)}' for a, b in head)}Z", class_="north-arrow"),
        element("g", furniture.fix_mark(), transform=moved((float(x[1]), float(y[1])))),
    ]


def _foot(view: View, width: float, height: float) -> Markup:
    base = height - 18.0
    bar, long = furniture.scale_bar(view.px_per_nm, 0.25 * width)
    return element(
        "g",
        element("g", furniture.north_arrow(), transform=moved((22.0, base))),
        element("g", bar, transform=moved((width - 14.0 - long, base + 4.0)), class_="scale"),
        class_="furniture",
    )


def _parted(epoch_s: Floats, values: Floats) -> Floats:
    """Values along the track (n,), with NaN in each hole of the log, so that no line is drawn across it."""
    holes = np.flatnonzero(np.diff(epoch_s) > HOLE_S) + 1
    return np.insert(np.asarray(values, dtype=float), holes, np.nan)
