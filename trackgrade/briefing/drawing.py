"""The hold drawn to scale, north up, as SVG: solved lap, lap by rule, sectors, entry, wind. Colours are the page's."""

from __future__ import annotations

import math

import numpy as np
from markupsafe import Markup

from trackgrade.briefing import words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.leaving import clock
from trackgrade.drawing.labels import Point, around
from trackgrade.drawing.sketch import Sketch, size_of
from trackgrade.drawing.svg import element
from trackgrade.drawing.view import fit
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.sectors import SECTORS
from trackgrade.track.track import Floats

#: The frame [px at full width]; its foot belongs to north, wind and scale.
WIDTH, HEIGHT = 520.0, 440.0
MARGINS = (40.0, 36.0, 40.0, 66.0)
FOOT = 54.0

#: Sectors by where the aircraft comes from: bearings from the inbound course, toward the holding side positive.
#: An arrival heading that has the outbound course d to its right comes from d to the left of the inbound course.
COMES_FROM_DEG = {kind: (-high, -low) for kind, (low, high) in SECTORS.items()}


def draw(brief: Brief) -> Markup:
    """The drawing as one ``<svg>`` element; its colours are CSS classes of the page."""
    pen = _Pen(brief)
    pen.holding_side()
    pen.sectors()
    pen.course()
    pen.rule_lap()
    pen.solved_lap()
    pen.entries()
    pen.fix_and_station()
    pen.sector_names()
    wind = brief.conditions.wind_from_true_deg, brief.conditions.wind_kt
    pen.corners(HEIGHT - 24.0, wind if wind[1] >= 0.5 else None)
    return pen.drawn(f"{brief.hold.name}, to scale, true north up")


class _Pen(Sketch):
    """Draws each thing once; places are along and cross [NM] of the hold, which a lap has in arrays (n,)."""

    def __init__(self, brief: Brief) -> None:
        self.brief, self.frame, lap = brief, HoldFrame(brief.hold), brief.solved
        #: How far around the fix things are drawn.
        self.reach_nm = reach = max(3.0, 4.0 * lap.turn_radius_nm)
        if len(lap.path_s):
            self.reach_nm = reach = float(np.hypot(lap.path_along_nm, lap.path_cross_nm).max())
        heading = brief.conditions.arrival_heading_true_deg
        #: Where the aircraft comes from, from the inbound course, toward the holding side positive.
        self.came_from_deg = (
            None if heading is None else brief.hold.side * (heading + 180.0 - brief.hold.inbound_course_true_deg)
        )
        along = [lap.path_along_nm, np.array([-0.9 * reach, 0.55 * reach, 0.0, 0.0, 0.0])]
        cross = [lap.path_cross_nm, np.array([0.0, 0.0, -0.5 * reach, 0.5 * reach, 0.0])]
        for rule in brief.rule_laps[:1]:
            along.append(rule.path_along_nm)
            cross.append(rule.path_cross_nm)
        if self.came_from_deg is not None:
            a, c = _around(self.came_from_deg, 0.68 * reach)
            along.append(np.array([a]))
            cross.append(np.array([c]))
        places = self.frame.east_north(np.concatenate(along), np.concatenate(cross))
        super().__init__(fit("brief", 0.0, *places, (WIDTH, HEIGHT), MARGINS), FOOT)

    # -- places --

    def at(self, along_nm: float, cross_nm: float) -> Point:
        east, north = self.frame.east_north(along_nm, cross_nm)
        return self.view.place(float(east), float(north))

    def toward(self, along: float, cross: float) -> Point:
        """A direction of the hold as a direction of the page."""
        origin, end = self.at(0.0, 0.0), self.at(along, cross)
        return end[0] - origin[0], end[1] - origin[1]

    def on_lap(self, moment_s: float) -> Point:
        """The place on the page at a moment of the solved lap."""
        lap = self.brief.solved
        return self.at(
            float(np.interp(moment_s, lap.path_s, lap.path_along_nm)),
            float(np.interp(moment_s, lap.path_s, lap.path_cross_nm)),
        )

    def stroke(self, *points: Point, style: str, arrow: bool = False) -> None:
        """A line through places of the hold, to a head at its end where it is an ``arrow``."""
        (self.arrow if arrow else self.line)(self.frame.east_north(*np.array(points).T), style)

    def path(self, along_nm: Floats, cross_nm: Floats, style: str) -> None:
        self.line(self.frame.east_north(along_nm, cross_nm), style)

    def dot(self, place: Point, radius: float, style: str) -> None:
        self.mark(element("circle", class_=style, r=radius), place, room_px=2.0 * radius + 2.0)

    # -- what is drawn --

    def holding_side(self) -> None:
        far = 40.0 * self.reach_nm
        corners = np.array([(-far, 0.0), (far, 0.0), (far, far), (-far, far)])
        self.line(self.frame.east_north(*corners.T), "holding-side", apart=False)

    def sectors(self) -> None:
        expected = {told.kind for told in self.brief.entries}
        for kind, (first, last) in COMES_FROM_DEG.items():
            arc = [_around(float(b), 0.42 * self.reach_nm) for b in np.linspace(first, last, 40)]
            style = "sector chosen" if kind in expected else "sector"
            self.stroke((0.0, 0.0), *arc, (0.0, 0.0), style=style)

    def sector_names(self) -> None:
        """Each outside its arc, as near its middle as there is room."""
        for kind, (first, last) in COMES_FROM_DEG.items():
            name = ((kind, "sector-name"),)
            places: list[Floats] = []
            for share in (0.5, 0.35, 0.65, 0.2, 0.8):
                on_arc = _around(first + share * (last - first), 0.42 * self.reach_nm)
                gaps = (3.0, 14.0, 30.0, 52.0, 80.0)
                places += [*around(self.at(*on_arc), self.toward(*on_arc), *size_of(name), gaps, (0, 25, -25, 60, -60))]
            self.words(np.array(places), name)

    def course(self) -> None:
        start = (-0.98 * self.reach_nm, 0.0)
        self.stroke(start, (0.5 * self.reach_nm, 0.0), style="course-beyond")
        self.stroke(start, (0.0, 0.0), style="course", arrow=True)
        lines = [(f"{words.inbound(self.brief)} in", "big")]
        lap = self.brief.solved
        if not math.isnan(lap.lap_s):
            heading = words.heading(self.brief, lap.inbound_heading_true_deg)
            lines.append((f"heading {heading}, {clock(lap.inbound_s)}", "label"))
        self.words_beside(self.at(-0.52 * self.reach_nm, 0.0), self.toward(0.0, -1.0), *lines)

    def rule_lap(self) -> None:
        for rule in self.brief.rule_laps[:1]:
            self.path(rule.path_along_nm, rule.path_cross_nm, "rule-lap")
            self.dot(self.at(float(rule.path_along_nm[-1]), float(rule.path_cross_nm[-1])), 3.0, "rule-dot")

    def solved_lap(self) -> None:
        lap = self.brief.solved
        if math.isnan(lap.lap_s):
            return
        self.path(lap.path_along_nm, lap.path_cross_nm, "solved")
        self.path(lap.path_along_nm, lap.path_cross_nm, "lap")
        for moment_s in (0.5 * lap.wings_level_s, 0.5 * (lap.outbound_end_s + lap.rollout_s)):
            before, after = self.on_lap(moment_s - 0.5), self.on_lap(moment_s + 0.5)
            self.head(after, math.atan2(after[1] - before[1], after[0] - before[0]), "lap-head")
        out = f"{words.heading(self.brief, lap.outbound_heading_true_deg)} out"
        middle_s = 0.5 * (max(lap.abeam_s, lap.wings_level_s) + lap.outbound_end_s)
        timed = (f"{clock(lap.outbound_s)} from abeam", "label")
        self.words_beside(self.on_lap(middle_s), self.toward(0.0, 1.0), (out, "big"), timed)
        for name, moment_s, direction in (
            ("abeam: start the watch", lap.abeam_s, self.toward(0.4, 1.0)),
            ("turn back", lap.outbound_end_s, self.toward(-0.4, 1.0)),
            ("roll out", lap.rollout_s, self.toward(-1.0, -1.0)),
        ):
            self.dot(self.on_lap(moment_s), 4.0, "moment")
            self.words_beside(self.on_lap(moment_s), direction, (name, "label"))

    def entries(self) -> None:
        hold, heading = self.brief.hold, self.brief.conditions.arrival_heading_true_deg
        if heading is None or self.came_from_deg is None:
            return
        start = _around(self.came_from_deg, 0.62 * self.reach_nm)
        self.stroke(start, _around(self.came_from_deg, 0.06 * self.reach_nm), style="way arrival", arrow=True)
        named = (words.heading(self.brief, heading), "way-name")
        self.words_beside(self.at(*start), self.toward(*start), named, gap=4.0)
        for told in self.brief.entries:
            if told.kind == "direct":
                continue
            length_nm = min((told.outbound_s or 60.0) * self.brief.conditions.tas_kt / 3600.0, 0.9 * self.reach_nm)
            if told.kind == "parallel":  # beside the course, where it is flown
                off = -0.04 * self.reach_nm
                self.stroke((0.0, off), (-length_nm, off), style="way", arrow=True)
            else:
                bearing = hold.side * (told.first_heading_true_deg - hold.inbound_course_true_deg)
                self.stroke((0.0, 0.0), _around(bearing, length_nm), style="way", arrow=True)

    def fix_and_station(self) -> None:
        fix, guidance = self.at(0.0, 0.0), self.brief.hold.guidance
        if guidance.station_place == "at":
            corners = [math.radians(a) for a in range(0, 360, 60)]
            outline = "L".join(f"{13.0 * math.cos(a):.1f} {13.0 * math.sin(a):.1f}" for a in corners)
            self.mark(element("path", d=f"M{outline}Z", class_="station"), fix)
        elif guidance.station_place is not None:
            beyond = guidance.station_place == "beyond"
            place = self.at(0.5 * self.reach_nm if beyond else -0.98 * self.reach_nm, 0.0)
            text = f"VOR {guidance.station_distance_nm or 0.0:.1f} NM {'ahead' if beyond else 'behind'}"
            self.words_beside(place, self.toward(1.0 if beyond else -1.0, 0.0), (text, "label"), gap=6.0)
        self.fix(fix)


def _around(bearing_deg: float, distance_nm: float) -> Point:
    """Along and cross [NM] of a place by its bearing from the inbound course, toward the holding side positive."""
    bearing = math.radians(bearing_deg)
    return distance_nm * math.cos(bearing), distance_nm * math.sin(bearing)
