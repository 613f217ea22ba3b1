"""The hold drawn to scale, north up, as SVG: solved lap, lap by rule, sectors, entry, wind. Colours are the page's."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape

import numpy as np

from trackgrade.briefing import words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.leaving import clock
from trackgrade.hold.courses import course_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.lapshape import Floats
from trackgrade.hold.sectors import PARALLEL_DEG, TEARDROP_DEG, EntryChoice

WIDTH, HEIGHT = 720.0, 560.0
MARGIN = 46.0

#: Sectors by where the aircraft comes from: bearings from the inbound course, toward the holding side negative.
#: An arrival heading that has the outbound course d to its right comes from d to the left of the inbound course.
SECTORS: tuple[tuple[EntryChoice, float, float], ...] = (
    ("teardrop", -TEARDROP_DEG, 0.0),
    ("parallel", 0.0, PARALLEL_DEG),
    ("direct", PARALLEL_DEG, 360.0 - TEARDROP_DEG),
)


class Canvas:
    """SVG elements over a plane in NM, east and north of the fix."""

    def __init__(self, east_nm: Floats, north_nm: Floats) -> None:
        spans = (np.ptp(east_nm), np.ptp(north_nm))
        self.scale = float(min((WIDTH - 2 * MARGIN) / max(spans[0], 0.1), (HEIGHT - 2 * MARGIN) / max(spans[1], 0.1)))
        self.centre = (
            float(east_nm.min() + east_nm.max()) / 2.0,
            float(north_nm.min() + north_nm.max()) / 2.0,
        )
        self.parts: list[str] = []

    def xy(self, east_nm: float, north_nm: float) -> tuple[float, float]:
        return (
            WIDTH / 2.0 + (east_nm - self.centre[0]) * self.scale,
            HEIGHT / 2.0 - (north_nm - self.centre[1]) * self.scale,
        )

    def line(self, points: Iterable[tuple[float, float]], kind: str) -> None:
        """A line through points of the page."""
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self.parts.append(f'<polyline class="{kind}" points="{path}"/>')

    def arrow(self, start: tuple[float, float], end: tuple[float, float], kind: str, size: float = 11.0) -> None:
        """A line of the page with a head at its end."""
        self.line((start, end), kind)
        self.head(end, math.atan2(end[1] - start[1], end[0] - start[0]), f"{kind}-head", size)

    def head(self, tip: tuple[float, float], angle: float, kind: str, size: float = 11.0) -> None:
        points = [tip] + [
            (tip[0] - size * math.cos(angle + turn), tip[1] - size * math.sin(angle + turn)) for turn in (0.38, -0.38)
        ]
        self.parts.append(f'<polygon class="{kind}" points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in points)}"/>')

    def dot(self, place: tuple[float, float], radius: float, kind: str) -> None:
        self.parts.append(f'<circle class="{kind}" cx="{place[0]:.1f}" cy="{place[1]:.1f}" r="{radius:g}"/>')

    def text(self, place: tuple[float, float], text: str, kind: str, anchor: str = "middle") -> None:
        x = min(max(place[0], 8.0), WIDTH - 8.0)
        y = min(max(place[1], 16.0), HEIGHT - 8.0)
        self.parts.append(
            f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" '
            f'dominant-baseline="middle">{escape(text)}</text>'
        )


def draw(brief: Brief) -> str:
    """The drawing as one ``<svg>`` element; its colours are CSS classes of the page."""
    frame = HoldFrame(brief.hold)
    lap = brief.solved
    reach_nm = _reach(brief)
    along = np.concatenate([lap.path_along_nm, [-reach_nm * 0.9, reach_nm * 0.55, 0.0, 0.0, 0.0]])
    cross = np.concatenate([lap.path_cross_nm, [0.0, 0.0, -reach_nm * 0.5, reach_nm * 0.5, 0.0]])
    for rule in brief.rule_laps[:1]:
        along, cross = np.concatenate([along, rule.path_along_nm]), np.concatenate([cross, rule.path_cross_nm])
    canvas = Canvas(*frame.east_north(along, cross))
    pen = _Pen(canvas, frame, brief, reach_nm)
    pen.holding_side()
    pen.sectors()
    pen.course()
    pen.rule_lap()
    pen.solved_lap()
    pen.entries()
    pen.fix_and_station()
    pen.compass()
    title = f"{brief.hold.name}, to scale, true north up"
    return (
        f'<svg viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="{escape(title, {chr(34): "&quot;"})}">'
        + "".join(canvas.parts)
        + "</svg>"
    )


def _reach(brief: Brief) -> float:
    """How far around the fix is drawn [NM]."""
    lap = brief.solved
    if len(lap.path_s) == 0:
        return max(3.0, 4.0 * lap.turn_radius_nm)
    return float(np.hypot(lap.path_along_nm, lap.path_cross_nm).max())


class _Pen:
    """Draws each thing once; all places are along and cross [NM] of the hold."""

    def __init__(self, canvas: Canvas, frame: HoldFrame, brief: Brief, reach_nm: float) -> None:
        self.canvas, self.frame, self.brief, self.reach_nm = canvas, frame, brief, reach_nm

    def at(self, along_nm: float, cross_nm: float) -> tuple[float, float]:
        east, north = self.frame.east_north(along_nm, cross_nm)
        return self.canvas.xy(float(east), float(north))

    def around(self, bearing_deg: float, distance_nm: float) -> tuple[float, float]:
        """A place by its bearing from the inbound course, toward the holding side positive."""
        bearing = math.radians(bearing_deg)
        return self.at(distance_nm * math.cos(bearing), distance_nm * math.sin(bearing))

    def points(self, along_nm: Floats, cross_nm: Floats) -> list[tuple[float, float]]:
        return [self.at(float(a), float(c)) for a, c in zip(along_nm, cross_nm)]

    def beside(self, place: tuple[float, float], along: float, cross: float, pixels: float) -> tuple[float, float]:
        """``pixels`` from a place of the page, in a direction of the hold."""
        origin, toward = self.at(0.0, 0.0), self.at(along, cross)
        length = math.hypot(toward[0] - origin[0], toward[1] - origin[1]) or 1.0
        return (
            place[0] + pixels * (toward[0] - origin[0]) / length,
            place[1] + pixels * (toward[1] - origin[1]) / length,
        )

    def holding_side(self) -> None:
        far = 40.0 * self.reach_nm
        corners = [self.at(-far, 0.0), self.at(far, 0.0), self.at(far, far), self.at(-far, far)]
        self.canvas.parts.append(f'<polygon class="side" points="{" ".join(f"{x:.0f},{y:.0f}" for x, y in corners)}"/>')

    def sectors(self) -> None:
        radius = 0.42 * self.reach_nm
        expected = {told.kind for told in self.brief.entries}
        for kind, first, last in SECTORS:
            bearings = np.linspace(first, last, 40)
            arc = [self.around(float(b), radius) for b in bearings]
            style = "sector chosen" if kind in expected else "sector"
            points = " ".join(f"{x:.1f},{y:.1f}" for x, y in [self.at(0.0, 0.0), *arc])
            self.canvas.parts.append(f'<polygon class="{style}" points="{points}"/>')
            # The direct sector's name goes clear of the course line, to the side away from the lap.
            middle = (first + last) / 2.0 if kind != "direct" else 150.0 - 360.0
            self.canvas.text(self.around(middle, 0.72 * radius), kind, "sector-name")

    def course(self) -> None:
        start, fix = self.at(-0.98 * self.reach_nm, 0.0), self.at(0.0, 0.0)
        self.canvas.line((start, self.at(0.5 * self.reach_nm, 0.0)), "course-beyond")
        self.canvas.arrow(start, fix, "course", 14.0)
        name = course_name(self.brief.inbound_shown_deg)
        place = self.beside(self.at(-0.62 * self.reach_nm, 0.0), 0.0, -1.0, 22.0)
        self.canvas.text(place, f"{name} in", "big")
        lap = self.brief.solved
        if not math.isnan(lap.lap_s):
            heading = words.heading(self.brief, lap.inbound_heading_true_deg)
            under = (place[0], place[1] + 20.0)
            self.canvas.text(under, f"heading {heading}, {clock(lap.inbound_s)}", "small")

    def rule_lap(self) -> None:
        for rule in self.brief.rule_laps[:1]:
            self.canvas.line(self.points(rule.path_along_nm, rule.path_cross_nm), "rule")
            self.canvas.dot(self.at(float(rule.path_along_nm[-1]), float(rule.path_cross_nm[-1])), 3.0, "rule-dot")

    def solved_lap(self) -> None:
        lap = self.brief.solved
        if math.isnan(lap.lap_s):
            return
        self.canvas.line(self.points(lap.path_along_nm, lap.path_cross_nm), "lap")
        for moment_s in (0.5 * lap.wings_level_s, 0.5 * (lap.outbound_end_s + lap.rollout_s)):
            self._head_at(moment_s)
        places = {
            name: (
                float(np.interp(moment_s, lap.path_s, lap.path_along_nm)),
                float(np.interp(moment_s, lap.path_s, lap.path_cross_nm)),
            )
            for name, moment_s in (
                ("abeam: start the watch", lap.abeam_s),
                ("turn back", lap.outbound_end_s),
                ("roll out", lap.rollout_s),
            )
        }
        for name, (along, cross) in places.items():
            self.canvas.dot(self.at(along, cross), 4.5, "moment")
            # Labels stand off the lap, away from its middle.
            outward = (0.0, 1.0) if name != "roll out" else (-0.9, -0.6)
            place = self.beside(self.at(along, cross), *outward, 20.0 if name != "turn back" else 24.0)
            anchor = self._anchor(self.at(along, cross), place)
            self.canvas.text(place, name, "small", anchor)
        middle = 0.5 * (max(lap.abeam_s, lap.wings_level_s) + lap.outbound_end_s)
        along = float(np.interp(middle, lap.path_s, lap.path_along_nm))
        cross = float(np.interp(middle, lap.path_s, lap.path_cross_nm))
        inside = self.beside(self.at(along, cross), 0.0, -1.0, 40.0)
        self.canvas.text(inside, f"{words.heading(self.brief, lap.outbound_heading_true_deg)} out", "big")
        self.canvas.text((inside[0], inside[1] + 20.0), f"{clock(lap.outbound_s)} from abeam", "small")

    @staticmethod
    def _anchor(place: tuple[float, float], label: tuple[float, float]) -> str:
        off = label[0] - place[0]
        return "start" if off > 6.0 else "end" if off < -6.0 else "middle"

    def _head_at(self, moment_s: float) -> None:
        lap = self.brief.solved
        ends = [
            self.at(
                float(np.interp(t, lap.path_s, lap.path_along_nm)),
                float(np.interp(t, lap.path_s, lap.path_cross_nm)),
            )
            for t in (moment_s - 0.5, moment_s + 0.5)
        ]
        angle = math.atan2(ends[1][1] - ends[0][1], ends[1][0] - ends[0][0])
        self.canvas.head(ends[1], angle, "lap-head", 13.0)

    def entries(self) -> None:
        heading = self.brief.conditions.arrival_heading_true_deg
        if heading is None:
            return
        hold = self.brief.hold
        came_from = hold.side * (heading + 180.0 - hold.inbound_course_true_deg)
        start, end = self.around(came_from, 0.62 * self.reach_nm), self.around(came_from, 0.06 * self.reach_nm)
        self.canvas.arrow(start, end, "arrival", 14.0)
        self.canvas.text(
            self.around(came_from, 0.68 * self.reach_nm), words.heading(self.brief, heading), "arrival-name"
        )
        for told in self.brief.entries:
            if told.kind == "direct":
                continue
            bearing = hold.side * (told.heading_true_deg - hold.inbound_course_true_deg)
            length_nm = min((told.outbound_s or 60.0) * self.brief.conditions.tas_kt / 3600.0, 0.9 * self.reach_nm)
            # The parallel leg is drawn beside the course, where it is flown, not on it.
            if told.kind == "parallel":
                off = -0.04 * self.reach_nm
                self.canvas.arrow(self.at(0.0, off), self.at(-length_nm, off), "entry")
            else:
                self.canvas.arrow(self.at(0.0, 0.0), self.around(bearing, length_nm), "entry")

    def fix_and_station(self) -> None:
        fix = self.at(0.0, 0.0)
        guidance = self.brief.hold.guidance
        if guidance.station_place == "at":
            corners = [
                (fix[0] + 12.0 * math.cos(math.radians(a)), fix[1] + 12.0 * math.sin(math.radians(a)))
                for a in range(0, 360, 60)
            ]
            self.canvas.parts.append(
                f'<polygon class="station" points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in corners)}"/>'
            )
        elif guidance.station_place is not None:
            ahead = 1.0 if guidance.station_place == "beyond" else -1.0
            place = self.at(ahead * (0.5 if ahead > 0 else 0.98) * self.reach_nm, 0.0)
            away = f"VOR {guidance.station_distance_nm or 0.0:.1f} NM {'ahead' if ahead > 0 else 'behind'}"
            self.canvas.text(self.beside(place, 0.3 * ahead, -1.0, 16.0), away, "small")
        self.canvas.dot(fix, 5.5, "fix")

    def compass(self) -> None:
        """North, wind and scale, along the foot of the drawing."""
        foot = HEIGHT - 26.0
        self.canvas.arrow((28.0, foot + 14.0), (28.0, foot - 18.0), "north", 10.0)
        self.canvas.text((28.0, foot - 30.0), "N", "small")
        conditions = self.brief.conditions
        if conditions.wind_kt >= 0.5:
            toward = math.radians(conditions.wind_from_true_deg + 180.0)
            east, north = math.sin(toward), -math.cos(toward)
            middle = (78.0, foot - 2.0)
            self.canvas.arrow(
                (middle[0] - 20.0 * east, middle[1] - 20.0 * north),
                (middle[0] + 20.0 * east, middle[1] + 20.0 * north),
                "wind",
                12.0,
            )
            self.canvas.text((106.0, foot), f"{conditions.wind_kt:.0f} kt", "small", "start")
        length_nm = _round_length(0.18 * WIDTH / self.canvas.scale)
        right = WIDTH - 24.0
        left = right - length_nm * self.canvas.scale
        self.canvas.line(((left, foot - 5.0), (left, foot), (right, foot), (right, foot - 5.0)), "scale")
        self.canvas.text(((left + right) / 2.0, foot - 12.0), f"{length_nm:g} NM", "small")


def _round_length(about_nm: float) -> float:
    lengths: Sequence[float] = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
    return min(lengths, key=lambda nm: abs(math.log(nm / max(about_nm, 1e-6))))
