"""The hold drawn to scale, north up, as SVG: solved lap, lap by rule, sectors, entry, wind. Colours are the page's."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from markupsafe import Markup

from trackgrade.briefing import words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.leaving import clock
from trackgrade.drawing import furniture
from trackgrade.drawing.labels import Box, Placer, Point, around, text_width
from trackgrade.drawing.svg import element, moved
from trackgrade.drawing.view import fit
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.sectors import SECTORS
from trackgrade.track.track import Floats

#: The frame [px at full width]; its foot belongs to north, wind and scale.
WIDTH, HEIGHT = 520.0, 440.0
MARGINS = (40.0, 36.0, 40.0, 66.0)
FOOT = 54.0
#: The heads of arrows are so long [px].
HEAD_PX = 10.0
#: Sizes of letters [px], by class: as in ``brief.css``.
SIZES = {"big": 17.0, "label": 12.5, "sector-name": 12.5, "way-name": 14.0}
LINE_HEIGHT = 1.28

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
    pen.place_labels()
    return element(
        "svg",
        *pen.parts,
        pen.foot(),
        class_="plan",
        viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}",
        role="img",
        aria_label=f"{brief.hold.name}, to scale, true north up",
    )


class _Pen:
    """Draws each thing once; places are along and cross [NM] of the hold, or of the page [px], y down."""

    def __init__(self, brief: Brief) -> None:
        self.brief, self.frame, lap = brief, HoldFrame(brief.hold), brief.solved
        self.parts: list[Markup] = []
        #: Words to be placed: where, in which direction by preference, lines with their classes, how far off.
        self.labels: list[tuple[Point, Point, tuple[tuple[str, str], ...], float]] = []
        #: How far around the fix things are drawn.
        self.reach_nm = max(3.0, 4.0 * lap.turn_radius_nm)
        if len(lap.path_s):
            self.reach_nm = float(np.hypot(lap.path_along_nm, lap.path_cross_nm).max())
        heading = brief.conditions.arrival_heading_true_deg
        #: Where the aircraft comes from, from the inbound course, toward the holding side positive.
        self.came_from_deg = (
            None if heading is None else brief.hold.side * (heading + 180.0 - brief.hold.inbound_course_true_deg)
        )
        reach = self.reach_nm
        along = [lap.path_along_nm, np.array([-0.9 * reach, 0.55 * reach, 0.0, 0.0, 0.0])]
        cross = [lap.path_cross_nm, np.array([0.0, 0.0, -0.5 * reach, 0.5 * reach, 0.0])]
        for rule in brief.rule_laps[:1]:
            along.append(rule.path_along_nm)
            cross.append(rule.path_cross_nm)
        if self.came_from_deg is not None:
            bearing = math.radians(self.came_from_deg)
            along.append(np.array([0.68 * reach * math.cos(bearing)]))
            cross.append(np.array([0.68 * reach * math.sin(bearing)]))
        east, north = self.frame.east_north(np.concatenate(along), np.concatenate(cross))
        self.view = fit("brief", 0.0, east, north, (WIDTH, HEIGHT), MARGINS)
        self.free = Placer(Box(4.0, 4.0, WIDTH - 4.0, HEIGHT - FOOT), step=4.0)

    # -- places and strokes --

    def at(self, along_nm: float, cross_nm: float) -> Point:
        east, north = self.frame.east_north(along_nm, cross_nm)
        return self.view.place(float(east), float(north))

    def around(self, bearing_deg: float, distance_nm: float) -> Point:
        """A place by its bearing from the inbound course, toward the holding side positive."""
        bearing = math.radians(bearing_deg)
        return self.at(distance_nm * math.cos(bearing), distance_nm * math.sin(bearing))

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

    def label(self, place: Point, toward: Point, *lines: tuple[str, str], gap: float = 9.0) -> None:
        self.labels.append((place, toward, lines, gap))

    def line(self, points: Iterable[Point], style: str) -> None:
        points = list(points)
        self.parts.append(element("polyline", class_=style, points=_points(points)))
        self.free.keep_off_line(*np.array(points).T)

    def path(self, along_nm: Floats, cross_nm: Floats, style: str) -> None:
        self.line([self.at(float(a), float(c)) for a, c in zip(along_nm, cross_nm)], style)

    def shape(self, points: Iterable[Point], style: str) -> None:
        self.parts.append(element("polygon", class_=style, points=_points(points)))

    def arrow(self, start: Point, end: Point, style: str) -> None:
        """A line with a head at its end."""
        self.line((start, end), style)
        self.head(end, math.atan2(end[1] - start[1], end[0] - start[0]), f"{style.split()[-1]}-head")

    def head(self, tip: Point, angle: float, style: str) -> None:
        sides = (angle + 0.38, angle - 0.38)
        self.shape([tip, *((tip[0] - HEAD_PX * math.cos(a), tip[1] - HEAD_PX * math.sin(a)) for a in sides)], style)

    def dot(self, place: Point, radius: float, style: str) -> None:
        self.parts.append(element("circle", class_=style, cx=place[0], cy=place[1], r=radius))
        self.free.keep_off(Box.about(*place, 2.0 * radius + 2.0, 2.0 * radius + 2.0))

    # -- what is drawn --

    def holding_side(self) -> None:
        far = 40.0 * self.reach_nm
        corners = [self.at(-far, 0.0), self.at(far, 0.0), self.at(far, far), self.at(-far, far)]
        self.shape(corners, "holding-side")

    def sectors(self) -> None:
        expected = {told.kind for told in self.brief.entries}
        for kind, (first, last) in COMES_FROM_DEG.items():
            arc = [self.around(float(b), 0.42 * self.reach_nm) for b in np.linspace(first, last, 40)]
            self.shape([self.at(0.0, 0.0), *arc], "sector chosen" if kind in expected else "sector")
            self.free.keep_off_line(*np.array([self.at(0.0, 0.0), *arc, self.at(0.0, 0.0)]).T)

    def sector_names(self) -> None:
        """Each outside its arc, as near its middle as there is room."""
        for kind, (first, last) in COMES_FROM_DEG.items():
            width, tall = _size(((kind, "sector-name"),))
            places: list[Floats] = []
            for share in (0.5, 0.35, 0.65, 0.2, 0.8):
                bearing = first + share * (last - first)
                on_arc, fix = self.around(bearing, 0.42 * self.reach_nm), self.at(0.0, 0.0)
                outward = (on_arc[0] - fix[0], on_arc[1] - fix[1])
                gaps = (3.0, 14.0, 30.0, 52.0, 80.0)
                places += [*around(on_arc, outward, width, tall, gaps, (0, 25, -25, 60, -60))]
            self.write(np.array(places), ((kind, "sector-name"),))

    def course(self) -> None:
        self.line((self.at(-0.98 * self.reach_nm, 0.0), self.at(0.5 * self.reach_nm, 0.0)), "course-beyond")
        self.arrow(self.at(-0.98 * self.reach_nm, 0.0), self.at(0.0, 0.0), "course")
        lines = [(f"{words.inbound(self.brief)} in", "big")]
        lap = self.brief.solved
        if not math.isnan(lap.lap_s):
            heading = words.heading(self.brief, lap.inbound_heading_true_deg)
            lines.append((f"heading {heading}, {clock(lap.inbound_s)}", "label"))
        self.label(self.at(-0.52 * self.reach_nm, 0.0), self.toward(0.0, -1.0), *lines)

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
        holding = self.toward(0.0, 1.0)
        self.label(self.on_lap(middle_s), holding, (out, "big"), (f"{clock(lap.outbound_s)} from abeam", "label"))
        for name, moment_s, direction in (
            ("abeam: start the watch", lap.abeam_s, self.toward(0.4, 1.0)),
            ("turn back", lap.outbound_end_s, self.toward(-0.4, 1.0)),
            ("roll out", lap.rollout_s, self.toward(-1.0, -1.0)),
        ):
            self.dot(self.on_lap(moment_s), 4.0, "moment")
            self.label(self.on_lap(moment_s), direction, (name, "label"))

    def entries(self) -> None:
        hold, heading = self.brief.hold, self.brief.conditions.arrival_heading_true_deg
        if heading is None or self.came_from_deg is None:
            return
        start = self.around(self.came_from_deg, 0.62 * self.reach_nm)
        self.arrow(start, self.around(self.came_from_deg, 0.06 * self.reach_nm), "way arrival")
        fix = self.at(0.0, 0.0)
        outward = (start[0] - fix[0], start[1] - fix[1])
        self.label(start, outward, (words.heading(self.brief, heading), "way-name"), gap=4.0)
        for told in self.brief.entries:
            if told.kind == "direct":
                continue
            length_nm = min((told.outbound_s or 60.0) * self.brief.conditions.tas_kt / 3600.0, 0.9 * self.reach_nm)
            if told.kind == "parallel":  # beside the course, where it is flown
                off = -0.04 * self.reach_nm
                self.arrow(self.at(0.0, off), self.at(-length_nm, off), "way")
            else:
                bearing = hold.side * (told.first_heading_true_deg - hold.inbound_course_true_deg)
                self.arrow(fix, self.around(bearing, length_nm), "way")

    def fix_and_station(self) -> None:
        fix, guidance = self.at(0.0, 0.0), self.brief.hold.guidance
        if guidance.station_place == "at":
            angles = [math.radians(a) for a in range(0, 360, 60)]
            self.shape([(fix[0] + 13.0 * math.cos(a), fix[1] + 13.0 * math.sin(a)) for a in angles], "station")
        elif guidance.station_place is not None:
            beyond = guidance.station_place == "beyond"
            place = self.at(0.5 * self.reach_nm if beyond else -0.98 * self.reach_nm, 0.0)
            text = f"VOR {guidance.station_distance_nm or 0.0:.1f} NM {'ahead' if beyond else 'behind'}"
            self.label(place, self.toward(1.0 if beyond else -1.0, 0.0), (text, "label"), gap=6.0)
        self.parts.append(element("g", furniture.fix_mark(), transform=moved(fix)))
        self.free.keep_off(Box.about(*fix, 24.0, 24.0))

    def place_labels(self) -> None:
        """The words, each where it hides least: those of the lap first, the sectors' names last."""
        for place, toward, lines, gap in self.labels:
            width, tall = _size(lines)
            gaps = (gap, gap + 12.0, gap + 28.0, gap + 50.0, gap + 80.0, gap + 120.0)
            self.write(around(place, toward, width, tall, gaps), lines)
        self.sector_names()

    def write(self, places: Floats, lines: tuple[tuple[str, str], ...]) -> None:
        """Lines of text, each with its class, about the best of some places."""
        spot = self.free.put(places, *_size(lines))
        base = spot[1] - _size(lines)[1] / 2.0
        for text, style in lines:
            base += LINE_HEIGHT * SIZES[style]
            y = base - 0.3 * SIZES[style]
            self.parts.append(element("text", text, class_=style, x=spot[0], y=y, text_anchor="middle"))

    def foot(self) -> Markup:
        """North, wind and scale, along the foot of the drawing."""
        conditions, base = self.brief.conditions, HEIGHT - 24.0
        parts = [element("g", furniture.north_arrow(), transform=moved((26.0, base)))]
        if conditions.wind_kt >= 0.5:
            turned = moved((72.0, base), conditions.wind_from_true_deg)
            parts.append(element("g", furniture.wind_arrow(), transform=turned))
            parts.append(element("text", f"{conditions.wind_kt:.0f} kt", x=100.0, y=base + 4.0, class_="small"))
        bar, width = furniture.scale_bar(self.view.px_per_nm, 0.2 * WIDTH)
        parts.append(element("g", bar, transform=moved((WIDTH - 16.0 - width, base + 6.0)), class_="scale"))
        return element("g", *parts, class_="furniture")


def _size(lines: tuple[tuple[str, str], ...]) -> Point:
    """Width and height of lines of text [px]."""
    return max(text_width(text, SIZES[style]) for text, style in lines), sum(
        LINE_HEIGHT * SIZES[style] for _, style in lines
    )


def _points(points: Iterable[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
