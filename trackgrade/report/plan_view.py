"""The hold seen from above: what was flown, what would have worked, the corridor, and every event in its place.

Two views of one drawing: the hold frame (inbound course up the page) and north up. All that differs between them
is a transform, kept on each element as ``data-hold`` and ``data-north``; the page starts in the hold frame
and needs no script for it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from trackgrade.drawing.labels import Box, Placer
from trackgrade.drawing.svg import element, short, simplified_polyline
from trackgrade.drawing.view import PER_NM, View, fit
from trackgrade.earth.angles import turn_from_to
from trackgrade.hold.courses import heading_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.guidance import station_of
from trackgrade.report.limits import corridor_share
from trackgrade.report.plan_marks import (
    HEIGHT,
    WIDTH,
    Event,
    both,
    corners,
    find_events,
    fix_mark,
    line_style,
    placer,
    sign,
    signs,
    tags,
    words_on_the_hold,
)
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.track.track import Floats

#: Lines are simplified to this, in thousandths of a NM: 4 m.
TOLERANCE = 2.0
#: Beyond this distance from the fix a flight that never held is not drawn [NM].
FAR_NM = 12.0
#: How far before the fix the course is drawn [NM], and the air about what is flown [px].
COURSE_NM, MARGIN = 8.0, 52.0
#: The first picture is shown small on a phone, its numbers twice as large: they need that room.
FRONT_TAG_ROOM = 2.0
#: Size of a small plate [px].
PLATE_WIDTH, PLATE_HEIGHT = 180.0, 230.0


@dataclass(frozen=True)
class PlanView:
    """The drawings of a flight from above, each made of the same shapes, and the sentence for those who see none.

    ``shapes`` holds every line once, unseen; all others refer to it: ``front`` is the first picture, ``svg`` the one
    with the cursor, ``plates`` a small one for each lap.
    """

    shapes: Markup
    front: Markup
    svg: Markup
    views: tuple[View, View]
    plates: tuple[tuple[Stretch, Markup], ...]
    alternative: str


def draw(debrief: Debrief, timeline: Timeline) -> PlanView:
    """The plan view of a debrief. A flight with no position near the fix still gets the hold and its corridor."""
    frame = HoldFrame(debrief.hold)
    views = _views(debrief, timeline, frame)
    events = find_events(debrief, timeline)
    shapes = _shapes(debrief, timeline, frame)
    alternative = _alternative(debrief, timeline)
    plates = tuple((stretch, _plate(debrief, stretch, events, views[0])) for stretch in timeline.laps)
    return PlanView(
        shapes=element("svg", element("defs", *shapes), class_="unseen", width=1, height=1, aria_hidden="true"),
        front=_picture("front-plan", debrief, timeline, frame, views[:1], events, alternative),
        svg=_picture("plan", debrief, timeline, frame, views, events, alternative),
        views=views,
        plates=plates,
        alternative=alternative,
    )


def _picture(
    key: str, debrief: Debrief, timeline: Timeline, frame: HoldFrame, views: tuple[View, ...],
    events: tuple[Event, ...], alternative: str,
) -> Markup:  # fmt: skip
    """One drawing of everything; the one of two views can be turned, and has the cursor's aircraft and event labels."""
    first = len(views) == 1
    free = {view.name: _room(debrief, timeline, frame, view) for view in views}
    furniture = corners(debrief, views, free)
    drawn_tags = list(tags(debrief, timeline, views, free, FRONT_TAG_ROOM if first else 1.0))
    words = words_on_the_hold(debrief, frame, views, free)
    return element(
        "svg",
        element("title", "Plan view of the hold", id=f"{key}-title"),
        element("desc", alternative, id=f"{key}-desc"),
        element("g", *_world(debrief, timeline), class_="world", **both(views, lambda view: view.transform)),
        fix_mark(views),
        element("g", *drawn_tags, class_="tags"),
        element("g", *signs(events, views, free, 0 if first else len(timeline.laps)), class_="signs"),
        words,
        furniture,
        "" if first else element("g", id="plan-aircraft", class_="aircraft", visibility="hidden"),
        id=key,
        class_="plan",
        viewBox=f"0 0 {short(WIDTH)} {short(HEIGHT)}",
        role="img",
        aria_labelledby=f"{key}-title {key}-desc",
        data_view="hold",
    )


def _views(debrief: Debrief, timeline: Timeline, frame: HoldFrame) -> tuple[View, View]:
    east, north = outline(debrief, timeline, frame)
    size, margins = (WIDTH, HEIGHT), (MARGIN, MARGIN, MARGIN, MARGIN)
    turn = -debrief.hold.inbound_course_true_deg
    return fit("hold", turn, east, north, size, margins), fit("north", 0.0, east, north, size, margins)


def _room(debrief: Debrief, timeline: Timeline, frame: HoldFrame, view: View) -> Placer:
    """Where words may stand in a view: off the laps flown, the lap that works, the course and the fix."""
    free = placer()
    free.keep_off(Box.about(*view.place(0.0, 0.0), 26.0, 26.0))
    free.keep_off_line(*view.places(*frame.east_north(np.array([-COURSE_NM, 0.0]), np.zeros(2))))
    for stretch in timeline.stretches:
        free.keep_off_line(*view.places(*flown_between(debrief, stretch.start_epoch_s, stretch.end_epoch_s)))
    if debrief.solved is not None:
        along, cross = np.asarray(debrief.solved.path_along_nm), np.asarray(debrief.solved.path_cross_nm)
        free.keep_off_line(*view.places(*frame.east_north(along, cross)))
    return free


def outline(debrief: Debrief, timeline: Timeline, frame: HoldFrame) -> tuple[Floats, Floats]:
    """Points (n,) east and north [NM] that the frame has to hold: laps, entry from the fix on, solved lap."""
    samples = debrief.samples
    inside = np.zeros(len(samples), dtype=bool)
    for stretch in timeline.stretches:
        start = stretch.start_epoch_s
        if stretch.kind == "entry":
            start = max(start, stretch.end_epoch_s - 1.0 if _is_instant(debrief, stretch) else start + 45.0)
        inside |= (samples.epoch_s >= start) & (samples.epoch_s <= stretch.end_epoch_s)
    if not timeline.stretches:
        near = np.hypot(samples.east_nm, samples.north_nm) <= FAR_NM
        inside = near if near.any() else np.isfinite(samples.east_nm)
    inside &= np.isfinite(samples.east_nm) & np.isfinite(samples.north_nm)
    along, cross = [0.0, 0.6, -2.0], [0.0, 1.0, -0.3]
    if debrief.solved is not None:
        along += np.asarray(debrief.solved.path_along_nm)[::5].tolist()
        cross += np.asarray(debrief.solved.path_cross_nm)[::5].tolist()
    ideal_east, ideal_north = frame.east_north(np.array(along), np.array(cross))
    return np.concatenate((samples.east_nm[inside], ideal_east)), np.concatenate(
        (samples.north_nm[inside], ideal_north)
    )


def _is_instant(debrief: Debrief, stretch: Stretch) -> bool:
    """A direct entry ends where it starts: at the first passage of the fix."""
    entry = next(visit.entry.flown for visit in debrief.visits if visit.number == stretch.visit)
    return entry.start is None or entry.end is None or entry.end.epoch_s - entry.start.epoch_s < 2.0


def _line(east: Floats, north: Floats, tolerance: float = TOLERANCE) -> str:
    return simplified_polyline(east * PER_NM, -north * PER_NM, tolerance)


def _stretch_line(debrief: Debrief, start_s: float, end_s: float) -> str:
    return _line(*flown_between(debrief, start_s, end_s))


def flown_between(debrief: Debrief, start_s: float, end_s: float) -> tuple[Floats, Floats]:
    """East and north (n,) [NM] flown between two times, the ends interpolated; NaN at a hole in the record."""
    samples = debrief.samples
    epoch = samples.epoch_s
    inside = np.flatnonzero((epoch >= start_s) & (epoch <= end_s))
    if len(inside) == 0:
        return np.empty(0), np.empty(0)
    first, last = int(inside[0]), int(inside[-1])
    east, north = samples.east_nm[first : last + 1].copy(), samples.north_nm[first : last + 1].copy()
    holes = np.flatnonzero(samples.gap_before[first + 1 : last + 1]) + 1
    ends = np.interp([start_s, end_s], epoch, samples.east_nm), np.interp([start_s, end_s], epoch, samples.north_nm)
    east, north = np.insert(east, holes, np.nan), np.insert(north, holes, np.nan)
    if not samples.gap_before[first]:
        east, north = np.append(ends[0][0], east), np.append(ends[1][0], north)
    if last + 1 >= len(epoch) or not samples.gap_before[last + 1]:
        east, north = np.append(east, ends[0][1]), np.append(north, ends[1][1])
    return east, north


def _shapes(debrief: Debrief, timeline: Timeline, frame: HoldFrame) -> Iterable[Markup]:
    """Every line once, in `PER_NM` of a NM north up, with no look of its own."""

    def shape(key: str, d: str) -> Markup:
        return element("path", d=d, id=f"path-{key}", class_="shape")

    yield shape("corridor", _corridor(debrief, frame))
    if debrief.solved is not None:
        solved = debrief.solved
        east, north = frame.east_north(np.asarray(solved.path_along_nm), np.asarray(solved.path_cross_nm))
        yield shape("solved", _line(east, north))
    if len(debrief.samples):
        yield shape("elsewhere", "".join(_stretch_line(debrief, start, end) for start, end in timeline.axis.spans))
    yield shape("course", _course(frame))
    for each in timeline.stretches:
        yield shape(each.key, _stretch_line(debrief, each.start_epoch_s, each.end_epoch_s))


def _use(key: str, style: str, **attributes: object) -> Markup:
    return element("use", href=f"#path-{key}", class_=style, **attributes)


def _world(debrief: Debrief, timeline: Timeline) -> Iterable[Markup]:
    yield _use("corridor", "corridor")
    if debrief.solved is not None:
        yield _use("solved", "solved")
    if len(debrief.samples):
        yield _use("elsewhere", "elsewhere" if timeline.stretches else "elsewhere alone")
    yield _use("course", "course")
    for each in timeline.stretches:
        yield _use(each.key, f"flown {line_style(each)}", data_stretch=each.key)


def _course(frame: HoldFrame) -> str:
    return _line(*frame.east_north(np.array([-COURSE_NM, 0.0]), np.zeros(2)), 0.0)


def _corridor(debrief: Debrief, frame: HoldFrame) -> str:
    """The standard's share of full scale either side of the course, 8 NM before the fix to the fix."""
    along = np.linspace(-COURSE_NM, 0.0, 9)
    low, high = corridor_edges(debrief, frame, along)
    edges = np.concatenate((along, along[::-1])), np.concatenate((low, high[::-1]))
    return _line(*frame.east_north(*edges), 0.0) + "Z"


def corridor_edges(debrief: Debrief, frame: HoldFrame, along_nm: Floats) -> tuple[Floats, Floats]:
    """The lower and the upper cross distance (n,) [NM] of the corridor at distances along the course (n,) [NM]."""
    hold, share = debrief.hold, corridor_share(debrief)
    if hold.guidance.kind == "gps":
        left = np.full(len(along_nm), -share * hold.guidance.full_scale_nm)
        right = -left
    else:
        # Two rays through the station; the course set may differ from the hold's by what charts round off.
        lat, lon, set_deg = station_of(hold)
        station_along, station_cross = (float(v) for v in frame.from_geographic(lat, lon))
        off_deg = float(turn_from_to(hold.inbound_course_true_deg, set_deg))
        left, right = (
            hold.side * station_cross + (along_nm - station_along) * np.tan(np.radians(off_deg + edge))
            for edge in (-share * hold.guidance.full_scale_deg, share * hold.guidance.full_scale_deg)
        )
    return np.minimum(hold.side * left, hold.side * right), np.maximum(hold.side * left, hold.side * right)


def _plate(debrief: Debrief, stretch: Stretch, events: tuple[Event, ...], view: View) -> Markup:
    """One lap alone against the solved lap, in the hold frame: the same scale on every plate of a page."""
    scale = min(PLATE_WIDTH / WIDTH, PLATE_HEIGHT / HEIGHT)
    small = View(
        "plate",
        view.turn_deg,
        view.px_per_nm * scale,
        view.x0 * scale + (PLATE_WIDTH - WIDTH * scale) / 2,
        view.y0 * scale + (PLATE_HEIGHT - HEIGHT * scale) / 2,
    )
    lines = [_use("course", "course"), _use(stretch.key, f"flown {line_style(stretch)}")]
    if debrief.solved is not None:
        lines.insert(0, _use("solved", "solved"))
    x, y = small.place(0.0, 0.0)
    marks = [
        element(
            "g",
            sign(e.shape, 3.4),
            transform="translate({} {})".format(*map(short, small.place(e.east_nm, e.north_nm))),
        )
        for e in events
        if e.stretch == stretch.key
    ]
    return element(
        "svg",
        element("g", *lines, transform=small.transform),
        element("circle", cx=x, cy=y, r=4.5, class_="fix-ring"),
        *marks,
        class_="plate-drawing",
        viewBox=f"0 0 {short(PLATE_WIDTH)} {short(PLATE_HEIGHT)}",
        role="img",
        aria_label=f"{stretch.label} from above, over the lap that works in this wind"
        if debrief.solved is not None
        else f"{stretch.label} from above",
    )


def _alternative(debrief: Debrief, timeline: Timeline) -> str:
    hold = debrief.hold
    laps = len(timeline.laps)
    words = [
        f"{hold.turns.capitalize()} turns, inbound course {heading_name(hold.inbound_course_true_deg)}° true.",
        f"{laps} completed {'lap' if laps == 1 else 'laps'} drawn." if laps else "No completed lap.",
    ]
    if debrief.wind is not None:
        words.append(
            f"Wind from {heading_name(debrief.wind.from_true_deg)}° true at {debrief.wind.speed_kt:.0f} knots."
        )
    words.append("The laps are told in numbers in the lap table.")
    return " ".join(words)
