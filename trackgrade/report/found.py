"""The holds found in a track as one small page: the whole flight, each proposal over it, and each from near by."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from markupsafe import Markup

from trackgrade.caution import CAUTION
from trackgrade.drawing import frame, furniture
from trackgrade.drawing.labels import Box, Placer, around, text_width
from trackgrade.drawing.racetrack import racetrack
from trackgrade.drawing.svg import element, simplified_polyline
from trackgrade.drawing.view import PER_NM, View, fit
from trackgrade.earth.geodesy import LocalPlane
from trackgrade.hold.courses import heading_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Leg
from trackgrade.segment.proposal import HoldProposal
from trackgrade.track.cleaning import clean
from trackgrade.track.track import Floats, Track

#: Frames [px]: of the whole flight, and of one hold; margins; the foot is for north and scale.
WHOLE, NEAR = (900.0, 560.0), (430.0, 380.0)
MARGINS = (30.0, 30.0, 30.0, 60.0)
#: Flight around a hold that its own picture shows [s]; a hole in the record lifts the pen [s].
AROUND_S, HOLE_S = 150.0, 20.0
#: Lines are drawn to this [thousandths of a NM, px]; the course is drawn beyond the fix by this [NM].
TOLERANCE, STEP_PX, BEYOND_NM = 8.0, 5.0, 1.0


class _Flight:
    """Cleaned positions (n,) [NM] in a plane about the middle of the flight, NaN across holes; times [s since 1970]."""

    def __init__(self, track: Track) -> None:
        points = clean(track).track
        middle = len(points) // 2
        self.plane = LocalPlane(float(points.lat_deg[middle]), float(points.lon_deg[middle]))
        east, north = self.plane.to_plane(points.lat_deg, points.lon_deg)
        holes = np.flatnonzero(np.diff(points.epoch_s) > HOLE_S) + 1
        self.epoch_s = np.insert(points.epoch_s, holes, points.epoch_s[holes])
        self.east, self.north = np.insert(east, holes, np.nan), np.insert(north, holes, np.nan)

    def during(self, start: float, end: float) -> tuple[Floats, Floats]:
        inside = (self.epoch_s >= start) & (self.epoch_s <= end)
        return self.east[inside], self.north[inside]


def render(track: Track, proposals: Sequence[HoldProposal]) -> str:
    """The page as one HTML document."""
    flight = _Flight(track)
    holds = [
        {
            "name": f"Hold {number}",
            "picture": _near(flight, found, number),
            "facts": _facts(found),
            "other": None if found.other_end is None else _facts(found.other_end),
        }
        for number, found in enumerate(proposals, start=1)
    ]
    context = {
        "source": track.source,
        "count": f"{len(proposals)} hold{'s' if len(proposals) > 1 else ''} found",
        "whole": _whole(flight, proposals),
        "holds": holds,
        "caution": CAUTION,
    }
    return frame.render("report", "found.html", context)


def _whole(flight: _Flight, proposals: Sequence[HoldProposal]) -> Markup:
    known = np.isfinite(flight.east)
    view = fit("whole", 0.0, flight.east[known], flight.north[known], WHOLE, MARGINS)
    return _picture(flight, view, WHOLE, (-np.inf, np.inf), list(enumerate(proposals, start=1)))


def _near(flight: _Flight, found: HoldProposal, number: int) -> Markup:
    inside = flight.during(found.start_epoch_s, found.end_epoch_s)
    known = np.isfinite(inside[0])
    view = fit("near", 0.0, inside[0][known], inside[1][known], NEAR, MARGINS)
    span = found.start_epoch_s - AROUND_S, found.end_epoch_s + AROUND_S
    return _picture(flight, view, NEAR, span, [(number, found)])


def _picture(
    flight: _Flight,
    view: View,
    size: tuple[float, float],
    span: tuple[float, float],
    shown: Sequence[tuple[int, HoldProposal]],
) -> Markup:
    """The flight of a span of time, the laps of the holds shown, and each hold as it is proposed."""
    lines, marks = [_line(flight.during(*span), "elsewhere")], []
    placer = Placer(Box(4.0, 4.0, size[0] - 4.0, size[1] - 44.0), step=STEP_PX)
    placer.keep_off_line(*view.places(*flight.during(*span)))
    wanted = []
    for number, found in shown:
        lines.insert(0, _line(_places(flight, found, *_racetrack(flight, found)), "solved"))
        lines.append(_line(flight.during(found.start_epoch_s, found.end_epoch_s), "flown"))
        for each, words in ((found, f"hold {number}"), (found.other_end, f"or {number}")):
            if each is None:
                continue
            leg = float(np.min(_racetrack(flight, each)[0]))
            lines.append(_line(_places(flight, each, np.array([leg, BEYOND_NM]), np.zeros(2)), "course"))
            east, north = _places(flight, each, np.zeros(1), np.zeros(1))
            x, y = view.place(float(east[0]), float(north[0]))
            marks.append(element("g", furniture.fix_mark(), transform=f"translate({x:.1f} {y:.1f})"))
            wanted.append((x, y, words))
    for x, y, words in wanted:
        width = text_width(words, furniture.LETTERS_PX)
        spots = list(around((x, y), (1.0, -1.0), width, furniture.LINE_PX, (14.0, 26.0, 44.0)))
        centre = placer.put(spots, width, furniture.LINE_PX)
        marks.append(element("text", words, x=centre[0], y=centre[1] + 4.0, text_anchor="middle", class_="words"))
    bar, _ = furniture.scale_bar(view.px_per_nm, size[0] / 4.0)
    foot = (
        element("g", furniture.north_arrow(), transform=f"translate({size[0] - 24.0:.0f} {size[1] - 18.0:.0f})"),
        element("g", bar, transform=f"translate(16 {size[1] - 14.0:.0f})"),
    )
    return element(
        "svg",
        element("g", *lines, transform=view.transform),
        *marks,
        element("g", *foot, class_="furniture"),
        class_="plan",
        viewBox=f"0 0 {size[0]:g} {size[1]:g}",
        role="img",
        aria_label="the flight from above, true north up, with the holds found",
    )


def _line(places: tuple[Floats, Floats], kind: str) -> Markup:
    path = simplified_polyline(places[0] * PER_NM, -places[1] * PER_NM, TOLERANCE)
    return element("path", d=path, class_=kind)


def _places(flight: _Flight, found: HoldProposal, along: Floats, cross: Floats) -> tuple[Floats, Floats]:
    """Places of a hold's own frame [NM] in the plane of the flight."""
    return flight.plane.to_plane(*HoldFrame(found.hold).to_geographic(along, cross))


def _racetrack(flight: _Flight, found: HoldProposal) -> tuple[Floats, Floats]:
    """Along and cross [NM] of the hold's racetrack, as fast and as long as its laps were flown."""
    east, north = flight.during(found.start_epoch_s, found.end_epoch_s)
    flown_nm = float(np.nansum(np.hypot(np.diff(east), np.diff(north))))
    speed_kt = max(flown_nm / max(found.end_epoch_s - found.start_epoch_s, 1.0) * 3600.0, 40.0)
    along, _ = HoldFrame(found.hold).from_geographic(*flight.plane.to_geographic(east, north))
    turned = racetrack(replace(found.hold, leg=Leg(nm=0.0)), speed_kt)[0]
    leg_nm = max(float(np.nanmin(turned)) - float(np.nanmin(along)), 0.1)
    return racetrack(replace(found.hold, leg=Leg(nm=leg_nm)), speed_kt)


def _facts(found: HoldProposal) -> list[tuple[str, str]]:
    hold, plan = found.hold, found.plan()
    magnetic, true = heading_name(plan.inbound_course_deg), heading_name(hold.inbound_course_true_deg)
    moments = (found.start_epoch_s, found.end_epoch_s)
    times = [dt.datetime.fromtimestamp(each, dt.UTC).strftime("%H:%M:%S") for each in moments]
    facts = [
        ("fix", f"{hold.fix_lat_deg:.4f} {hold.fix_lon_deg:.4f}"),
        ("inbound course", f"{magnetic}° magnetic, {true}° true"),
        ("turns", hold.turns),
        ("leg", f"{hold.leg.minutes:g} min"),
        ("laps", str(found.laps)),
        ("flown (UTC)", f"{times[0]} to {times[1]}"),
    ]
    return facts if hold.altitude_ft is None else [*facts, ("altitude", f"{hold.altitude_ft:,.0f} ft")]
