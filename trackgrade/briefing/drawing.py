"""The hold drawn to scale, north up, as SVG: solved lap, lap by rule, sectors, entry, wind. Colours are the page's."""

from __future__ import annotations

import math
from xml.sax.saxutils import quoteattr

import numpy as np

from trackgrade.briefing import words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.canvas import HEIGHT, WIDTH, Canvas, Label, Point
from trackgrade.briefing.leaving import clock
from trackgrade.hold.courses import course_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.lapshape import Floats
from trackgrade.hold.sectors import PARALLEL_DEG, TEARDROP_DEG, EntryChoice

#: Sectors by where the aircraft comes from: bearings from the inbound course, toward the holding side positive.
#: An arrival heading that has the outbound course d to its right comes from d to the left of the inbound course.
SECTORS: tuple[tuple[EntryChoice, float, float], ...] = (
    ("teardrop", -TEARDROP_DEG, 0.0),
    ("parallel", 0.0, PARALLEL_DEG),
    ("direct", PARALLEL_DEG, 360.0 - TEARDROP_DEG),
)


def draw(brief: Brief) -> str:
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
    pen.canvas.place_labels()
    pen.foot()
    title = quoteattr(f"{brief.hold.name}, to scale, true north up")
    body = "".join(pen.canvas.parts)
    return f'<svg viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label={title}>{body}</svg>'


class _Pen:
    """Draws each thing once; all places are along and cross [NM] of the hold."""

    def __init__(self, brief: Brief) -> None:
        self.brief, self.frame, lap = brief, HoldFrame(brief.hold), brief.solved
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
        self.canvas = Canvas(*self.frame.east_north(np.concatenate(along), np.concatenate(cross)))

    def at(self, along_nm: float, cross_nm: float) -> Point:
        east, north = self.frame.east_north(along_nm, cross_nm)
        return self.canvas.xy(float(east), float(north))

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

    def label(self, place: Point, direction: Point, *lines: tuple[str, str], away: float = 14.0) -> None:
        self.canvas.labels.append(Label(place, lines, direction, away))

    def path(self, along_nm: Floats, cross_nm: Floats, kind: str) -> None:
        self.canvas.line([self.at(float(a), float(c)) for a, c in zip(along_nm, cross_nm)], kind)

    def holding_side(self) -> None:
        far = 40.0 * self.reach_nm
        self.canvas.shape([self.at(-far, 0.0), self.at(far, 0.0), self.at(far, far), self.at(-far, far)], "side")

    def sectors(self) -> None:
        expected = {told.kind for told in self.brief.entries}
        for kind, first, last in SECTORS:
            arc = [self.around(float(b), 0.42 * self.reach_nm) for b in np.linspace(first, last, 40)]
            self.canvas.shape([self.at(0.0, 0.0), *arc], "sector chosen" if kind in expected else "sector")

    def sector_names(self) -> None:
        for kind, first, last in SECTORS:
            # The direct sector's name goes clear of the course line, to the side away from the lap.
            bearing = (first + last) / 2.0 if kind != "direct" else 235.0
            direction = self.toward(math.cos(math.radians(bearing)), math.sin(math.radians(bearing)))
            self.label(self.around(bearing, 0.22 * self.reach_nm), direction, (kind, "sector-name"), away=2.0)

    def course(self) -> None:
        self.canvas.line((self.at(-0.98 * self.reach_nm, 0.0), self.at(0.5 * self.reach_nm, 0.0)), "course-beyond")
        self.canvas.arrow(self.at(-0.98 * self.reach_nm, 0.0), self.at(0.0, 0.0), "course", 14.0)
        lines = [(f"{course_name(self.brief.inbound_shown_deg)} in", "big")]
        lap = self.brief.solved
        if not math.isnan(lap.lap_s):
            heading = words.heading(self.brief, lap.inbound_heading_true_deg)
            lines.append((f"heading {heading}, {clock(lap.inbound_s)}", "small"))
        self.label(self.at(-0.52 * self.reach_nm, 0.0), self.toward(0.0, -1.0), *lines)

    def rule_lap(self) -> None:
        for rule in self.brief.rule_laps[:1]:
            self.path(rule.path_along_nm, rule.path_cross_nm, "rule")
            self.canvas.dot(self.at(float(rule.path_along_nm[-1]), float(rule.path_cross_nm[-1])), 3.0, "rule-dot")

    def solved_lap(self) -> None:
        lap = self.brief.solved
        if math.isnan(lap.lap_s):
            return
        self.path(lap.path_along_nm, lap.path_cross_nm, "lap")
        for moment_s in (0.5 * lap.wings_level_s, 0.5 * (lap.outbound_end_s + lap.rollout_s)):
            before, after = self.on_lap(moment_s - 0.5), self.on_lap(moment_s + 0.5)
            self.canvas.head(after, math.atan2(after[1] - before[1], after[0] - before[0]), "lap-head", 13.0)
        out = f"{words.heading(self.brief, lap.outbound_heading_true_deg)} out"
        middle_s = 0.5 * (max(lap.abeam_s, lap.wings_level_s) + lap.outbound_end_s)
        holding = self.toward(0.0, 1.0)
        self.label(self.on_lap(middle_s), holding, (out, "big"), (f"{clock(lap.outbound_s)} from abeam", "small"))
        for name, moment_s, direction in (
            ("abeam: start the watch", lap.abeam_s, self.toward(0.4, 1.0)),
            ("turn back", lap.outbound_end_s, self.toward(-0.4, 1.0)),
            ("roll out", lap.rollout_s, self.toward(-1.0, -1.0)),
        ):
            self.canvas.dot(self.on_lap(moment_s), 5.0, "moment")
            self.label(self.on_lap(moment_s), direction, (name, "small"))

    def entries(self) -> None:
        hold, heading = self.brief.hold, self.brief.conditions.arrival_heading_true_deg
        if heading is None or self.came_from_deg is None:
            return
        start = self.around(self.came_from_deg, 0.62 * self.reach_nm)
        self.canvas.arrow(start, self.around(self.came_from_deg, 0.06 * self.reach_nm), "arrival", 14.0)
        fix = self.at(0.0, 0.0)
        outward = (start[0] - fix[0], start[1] - fix[1])
        self.label(start, outward, (words.heading(self.brief, heading), "arrival-name"), away=4.0)
        for told in self.brief.entries:
            if told.kind == "direct":
                continue
            length_nm = min((told.outbound_s or 60.0) * self.brief.conditions.tas_kt / 3600.0, 0.9 * self.reach_nm)
            if told.kind == "parallel":  # beside the course, where it is flown
                off = -0.04 * self.reach_nm
                self.canvas.arrow(self.at(0.0, off), self.at(-length_nm, off), "entry")
            else:
                bearing = hold.side * (told.heading_true_deg - hold.inbound_course_true_deg)
                self.canvas.arrow(fix, self.around(bearing, length_nm), "entry")

    def fix_and_station(self) -> None:
        fix, guidance = self.at(0.0, 0.0), self.brief.hold.guidance
        if guidance.station_place == "at":
            angles = [math.radians(a) for a in range(0, 360, 60)]
            self.canvas.shape([(fix[0] + 12.0 * math.cos(a), fix[1] + 12.0 * math.sin(a)) for a in angles], "station")
        elif guidance.station_place is not None:
            beyond = guidance.station_place == "beyond"
            place = self.at(0.5 * self.reach_nm if beyond else -0.98 * self.reach_nm, 0.0)
            text = f"VOR {guidance.station_distance_nm or 0.0:.1f} NM {'ahead' if beyond else 'behind'}"
            self.label(place, self.toward(1.0 if beyond else -1.0, 0.0), (text, "small"), away=6.0)
        self.canvas.dot(fix, 5.5, "fix")

    def foot(self) -> None:
        """North, wind and scale, along the foot of the drawing."""
        foot = HEIGHT - 26.0
        self.canvas.arrow((28.0, foot + 14.0), (28.0, foot - 18.0), "north", 10.0)
        self.canvas.text((28.0, foot - 30.0), "N", "small")
        conditions = self.brief.conditions
        if conditions.wind_kt >= 0.5:
            toward = math.radians(conditions.wind_from_true_deg + 180.0)
            east, north = 20.0 * math.sin(toward), 20.0 * math.cos(toward)
            self.canvas.arrow((78.0 - east, foot - 2.0 + north), (78.0 + east, foot - 2.0 - north), "wind", 12.0)
            self.canvas.text((106.0, foot), f"{conditions.wind_kt:.0f} kt", "small", "start")
        length_nm = _round_length(0.18 * WIDTH / self.canvas.scale)
        right = WIDTH - 24.0
        left = right - length_nm * self.canvas.scale
        self.canvas.line(((left, foot - 5.0), (left, foot), (right, foot), (right, foot - 5.0)), "scale")
        self.canvas.text(((left + right) / 2.0, foot - 14.0), f"{length_nm:g} NM", "small")


def _round_length(about_nm: float) -> float:
    """The nearest length that a scale is labelled with."""
    return min((0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0), key=lambda nm: abs(math.log(nm / max(about_nm, 1e-6))))
