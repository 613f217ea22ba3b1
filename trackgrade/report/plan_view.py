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

from trackgrade.hold.frame import HoldFrame
from trackgrade.report.drawing import element, pleasant_step, short, simplified_polyline
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.segment.flown import Lap, Moment
from trackgrade.track.track import Floats

#: The drawing is in thousandths of a NM (1.85 m), finer than any track; lines are simplified to 4 m.
PER_NM = 1000.0
TOLERANCE = 2.0
#: Of the frame on the page, in its own units (px at full width).
WIDTH, HEIGHT = 480.0, 640.0
MARGIN = 52.0
#: Beyond this distance from the fix a flight that never held is not drawn [NM].
FAR_NM = 12.0
COLOURS, DASHES = 4, 3


@dataclass(frozen=True)
class View:
    """How east and north [NM] become a place in the frame: turn by ``turn_deg``, scale, shift.

    ``turn_deg`` is clockwise on the page: minus the inbound course in the hold frame, 0 north up.
    """

    name: str
    turn_deg: float
    px_per_nm: float
    x0: float
    y0: float

    def place(self, east_nm: float, north_nm: float) -> tuple[float, float]:
        """Place in the frame [px] of one point."""
        a = np.radians(self.turn_deg)
        right, down = east_nm, -north_nm
        x = right * np.cos(a) - down * np.sin(a)
        y = right * np.sin(a) + down * np.cos(a)
        return float(self.x0 + x * self.px_per_nm), float(self.y0 + y * self.px_per_nm)

    @property
    def transform(self) -> str:
        return (
            f"translate({short(self.x0, 2)} {short(self.y0, 2)}) rotate({short(self.turn_deg, 2)}) "
            f"scale({short(self.px_per_nm / PER_NM, 5)})"
        )


@dataclass(frozen=True)
class Event:
    """One moment of a lap to be marked: ``shape`` names the sign, ``words`` what it is."""

    stretch: str
    shape: str
    words: str
    epoch_s: float
    sd_s: float
    east_nm: float
    north_nm: float


@dataclass(frozen=True)
class PlanView:
    """The drawing, the two views of it, the small plates, and the sentence that stands for it where it is not seen."""

    svg: Markup
    views: tuple[View, View]
    plates: tuple[tuple[Stretch, Markup], ...]
    alternative: str


#: Shape, and the words the key and the labels use, in order of a lap.
EVENT_SIGNS: tuple[tuple[str, str], ...] = (
    ("fix", "over the fix"),
    ("level", "wings level outbound"),
    ("abeam", "abeam the fix"),
    ("turn", "turn inbound begins"),
    ("inbound", "inbound time starts"),
)


def events_of(lap: Lap) -> tuple[tuple[str, str, Moment], ...]:
    """(shape, words, moment) of each event that the track carries, in order of flying."""
    by = {"course": " (course crossed)", "rollout": " (rolled out)", None: ""}[lap.inbound_start_by]
    rows = (
        ("fix", "over the fix", lap.start),
        ("level", "wings level outbound", lap.outbound_turn_end),
        ("abeam", "abeam the fix", lap.abeam),
        ("turn", "turn inbound begins", lap.outbound_end),
        ("inbound", "inbound time starts" + by, lap.inbound_start),
        ("fix", "over the fix", lap.end),
    )
    return tuple((shape, words, moment) for shape, words, moment in rows if moment is not None)


def sign(shape: str, size: float = 5.0) -> Markup:
    """The mark of one kind of event about the origin; shapes differ, not only their fill."""
    s = size
    outlines = {
        "fix": ("circle", {"r": s * 0.85, "class_": "sign full"}),
        "level": ("circle", {"r": s * 0.85, "class_": "sign"}),
        "abeam": ("path", {"d": f"M0 {-s * 1.2}L{s * 1.2} 0 0 {s * 1.2} {-s * 1.2} 0Z", "class_": "sign"}),
        "turn": ("path", {"d": f"M0 {-s * 1.15}L{s * 1.1} {s * 0.85} {-s * 1.1} {s * 0.85}Z", "class_": "sign full"}),
        "inbound": (
            "path",
            {"d": f"M{-s} {-s}H{s}V{s}H{-s}Z", "class_": "sign"},
        ),
    }
    name, attributes = outlines[shape]
    return element(name, **attributes)


def draw(debrief: Debrief, timeline: Timeline) -> PlanView:
    """The plan view of a debrief. A flight with no position near the fix still gets the hold and its corridor."""
    frame = HoldFrame(debrief.hold)
    views = _views(debrief, timeline, frame)
    events = _events(debrief, timeline)
    world = _world(debrief, timeline, frame, views[0])
    signs = _signs(events, views, len(timeline.laps))
    alternative = _alternative(debrief, timeline)
    svg = element(
        "svg",
        element("title", "Plan view of the hold", id="plan-title"),
        element("desc", alternative, id="plan-desc"),
        element("g", *world, class_="world", **_both(views, View.transform.fget)),  # type: ignore[attr-defined]
        _fix(views),
        element("g", *_tags(debrief, timeline, views), class_="tags"),
        element("g", *signs, class_="signs"),
        _course_label(debrief, frame, views),
        _furniture(debrief, views),
        element("g", id="plan-aircraft", class_="aircraft", visibility="hidden"),
        id="plan",
        class_="plan",
        viewBox=f"0 0 {short(WIDTH)} {short(HEIGHT)}",
        role="img",
        aria_labelledby="plan-title plan-desc",
        data_view="hold",
    )
    plates = tuple((stretch, _plate(debrief, stretch, events, frame, views[0])) for stretch in timeline.stretches)
    return PlanView(svg, views, plates, alternative)


def _both(views: tuple[View, View], of: object) -> dict[str, str]:
    """``transform`` for the first view, and both as data for the switch."""
    hold, north = (of(view) for view in views)  # type: ignore[operator]
    return {"transform": hold, "data_hold": hold, "data_north": north}


def _at(views: tuple[View, View], east_nm: float, north_nm: float) -> dict[str, str]:
    def of(view: View) -> str:
        x, y = view.place(east_nm, north_nm)
        return f"translate({short(x)} {short(y)})"

    return _both(views, of)


# -- what is shown, and how large ------------------------------------------------------------------------------


def _views(debrief: Debrief, timeline: Timeline, frame: HoldFrame) -> tuple[View, View]:
    east, north = _outline(debrief, timeline, frame)
    return tuple(  # type: ignore[return-value]
        _fit(name, turn, east, north)
        for name, turn in (("hold", -debrief.hold.inbound_course_true_deg), ("north", 0.0))
    )


def _outline(debrief: Debrief, timeline: Timeline, frame: HoldFrame) -> tuple[Floats, Floats]:
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
    entry = next(visit.entry for visit in debrief.flown.visits if visit.number == stretch.visit)
    return entry.start is None or entry.end is None or entry.end.epoch_s - entry.start.epoch_s < 2.0


def _fit(name: str, turn_deg: float, east: Floats, north: Floats) -> View:
    a = np.radians(turn_deg)
    x = east * np.cos(a) + north * np.sin(a)
    y = east * np.sin(a) - north * np.cos(a)
    width, height = max(float(np.ptp(x)), 0.5), max(float(np.ptp(y)), 0.5)
    scale = min((WIDTH - 2 * MARGIN) / width, (HEIGHT - 2 * MARGIN) / height)
    middle_x, middle_y = float(x.min() + x.max()) / 2, float(y.min() + y.max()) / 2
    return View(name, turn_deg, scale, WIDTH / 2 - middle_x * scale, HEIGHT / 2 - middle_y * scale)


# -- lines ------------------------------------------------------------------------------------------------------


def _line(east: Floats, north: Floats, tolerance: float = TOLERANCE) -> str:
    return simplified_polyline(east * PER_NM, -north * PER_NM, tolerance)


def _stretch_line(debrief: Debrief, start_s: float, end_s: float) -> str:
    """The flown line between two times, its ends interpolated, holes left open."""
    samples = debrief.samples
    epoch = samples.epoch_s
    inside = np.flatnonzero((epoch >= start_s) & (epoch <= end_s))
    if len(inside) == 0:
        return ""
    first, last = int(inside[0]), int(inside[-1])
    east, north = samples.east_nm[first : last + 1].copy(), samples.north_nm[first : last + 1].copy()
    holes = np.flatnonzero(samples.gap_before[first + 1 : last + 1]) + 1
    ends = np.interp([start_s, end_s], epoch, samples.east_nm), np.interp([start_s, end_s], epoch, samples.north_nm)
    east, north = np.insert(east, holes, np.nan), np.insert(north, holes, np.nan)
    if not samples.gap_before[first]:
        east, north = np.append(ends[0][0], east), np.append(ends[1][0], north)
    if last + 1 >= len(epoch) or not samples.gap_before[last + 1]:
        east, north = np.append(east, ends[0][1]), np.append(north, ends[1][1])
    return _line(east, north)


def _world(debrief: Debrief, timeline: Timeline, frame: HoldFrame, view: View) -> Iterable[Markup]:
    yield element("path", d=_corridor(debrief, frame), class_="corridor")
    if debrief.solved is not None:
        solved = debrief.solved
        east, north = frame.east_north(np.asarray(solved.path_along_nm), np.asarray(solved.path_cross_nm))
        yield element("path", d=_line(east, north), class_="solved", id="path-solved")
    samples = debrief.samples
    if len(samples):
        for start, end in timeline.axis.spans:
            yield element("path", d=_stretch_line(debrief, start, end), class_="elsewhere")
    along = np.array([-6.0, 0.0])
    east, north = frame.east_north(along, np.zeros(2))
    yield element("path", d=_line(east, north, 0.0), class_="course")
    for stretch in timeline.stretches:
        yield element(
            "path",
            d=_stretch_line(debrief, stretch.start_epoch_s, stretch.end_epoch_s),
            id=f"path-{stretch.key}",
            class_=f"flown {line_style(stretch)}",
            data_stretch=stretch.key,
        )


def line_style(stretch: Stretch) -> str:
    """CSS classes of a line: colour and dash both change from lap to lap, and repeat together after twelve."""
    if stretch.kind == "entry":
        return "entry"
    return f"c{stretch.style % COLOURS} d{stretch.style % DASHES}" + (" part" if stretch.kind == "incomplete" else "")


def _corridor(debrief: Debrief, frame: HoldFrame) -> str:
    """Three quarters of full scale either side of the course, 8 NM before the fix to the fix."""
    guidance = debrief.hold.guidance
    along = np.linspace(-8.0, 0.0, 9)
    if guidance.kind == "gps":
        half = np.full(len(along), 0.75 * guidance.full_scale_nm)
        axis = np.zeros(len(along))
    else:
        station_along, station_cross = 0.0, 0.0
        if guidance.station_lat_deg is not None and guidance.station_lon_deg is not None:
            a, c = frame.from_geographic(
                np.array([guidance.station_lat_deg]), np.array([guidance.station_lon_deg])
            )
            station_along, station_cross = float(a[0]), float(c[0])
        half = np.abs(along - station_along) * np.tan(np.radians(0.75 * guidance.full_scale_deg))
        axis = np.full(len(along), station_cross) if abs(station_cross) < 0.3 else np.zeros(len(along))
    edge_along = np.concatenate((along, along[::-1]))
    edge_cross = np.concatenate((axis + half, (axis - half)[::-1]))
    east, north = frame.east_north(edge_along, edge_cross)
    return _line(east, north, 0.0) + "Z"


# -- marks ------------------------------------------------------------------------------------------------------


def _events(debrief: Debrief, timeline: Timeline) -> tuple[Event, ...]:
    samples = debrief.samples
    out = []
    for stretch in timeline.stretches:
        if stretch.lap is None:
            continue
        for shape, words, moment in events_of(stretch.lap):
            east = float(np.interp(moment.epoch_s, samples.epoch_s, samples.east_nm))
            north = float(np.interp(moment.epoch_s, samples.epoch_s, samples.north_nm))
            out.append(Event(stretch.key, shape, words, moment.epoch_s, moment.sd_s, east, north))
    return tuple(out)


def clock(epoch_s: float) -> str:
    """Time of day UTC to the second, rounded."""
    second = int(np.floor(epoch_s + 0.5)) % 86400
    return f"{second // 3600:02d}:{second % 3600 // 60:02d}:{second % 60:02d}"


def _signs(events: tuple[Event, ...], views: tuple[View, View], laps: int) -> Iterable[Markup]:
    """Per stretch a group of signs, with labels that only the choice of one lap shows (or a flight of one lap)."""
    for key in dict.fromkeys(event.stretch for event in events):
        mine = [event for event in events if event.stretch == key]
        labels: list[Markup] = []
        for view in views:
            taken: list[tuple[float, float, float, float]] = []
            for event in mine:
                if event.shape == "fix" and event is not mine[0] and event.epoch_s > mine[0].epoch_s:
                    words = f"{clock(event.epoch_s)} over the fix again"
                else:
                    words = f"{clock(event.epoch_s)} {event.words}"
                labels.append(_label(view, event, words, taken))
        yield element(
            "g",
            *(element("g", sign(e.shape), **_at(views, e.east_nm, e.north_nm)) for e in mine),
            element("g", *labels, class_="labels" + (" always" if laps == 1 else "")),
            data_stretch=key,
        )


def _label(view: View, event: Event, words: str, taken: list[tuple[float, float, float, float]]) -> Markup:
    """One label beside its sign, on the side with more room, moved down until it covers no other."""
    x, y = view.place(event.east_nm, event.north_nm)
    width, height = 5.6 * len(words) + 8.0, 14.0
    right = x < WIDTH / 2
    x1 = x + 9.0 if right else x - 9.0 - width
    x1 = min(max(x1, 4.0), WIDTH - width - 4.0)
    top = y - height / 2
    while any(x1 < b and a < x1 + width and top < d and c < top + height for a, b, c, d in taken):
        top += height + 1.0
    taken.append((x1, x1 + width, top, top + height))
    return element(
        "g",
        element("rect", x=x1, y=top, width=width, height=height, rx=2),
        element("text", words, x=x1 + 4.0, y=top + 10.6),
        class_=f"label only-{view.name}",
    )


def _tags(debrief: Debrief, timeline: Timeline, views: tuple[View, View]) -> Iterable[Markup]:
    """The number of each lap on its outbound leg, spread along it so that they do not cover each other."""
    samples = debrief.samples
    laps = [each for each in timeline.stretches if each.lap is not None]
    for k, stretch in enumerate(laps):
        lap = stretch.lap
        if lap is None:
            continue
        start = lap.outbound_turn_end or lap.outbound_turn_start or lap.start
        end = lap.outbound_end
        span = (start.epoch_s, end.epoch_s if end and end.epoch_s > start.epoch_s else stretch.end_epoch_s)
        share = 0.5 if len(laps) == 1 else 0.12 + 0.76 * k / (len(laps) - 1)
        at = span[0] + share * (span[1] - span[0])
        east = float(np.interp(at, samples.epoch_s, samples.east_nm))
        north = float(np.interp(at, samples.epoch_s, samples.north_nm))
        half = 5.0 + 3.4 * len(stretch.tag)
        yield element(
            "g",
            element("rect", x=-half, y=-8.5, width=2 * half, height=17.0, rx=3),
            element("text", stretch.tag, y=4.4),
            class_=f"tag c{stretch.style % COLOURS}",
            data_stretch=stretch.key,
            **_at(views, east, north),
        )


def _fix(views: tuple[View, View]) -> Markup:
    return element(
        "g",
        element("path", d="M-11 0H11M0-11V11", class_="fix-cross"),
        element("circle", r=7.0, class_="fix-ring"),
        class_="fix",
        **_at(views, 0.0, 0.0),
    )


def _course_label(debrief: Debrief, frame: HoldFrame, views: tuple[View, View]) -> Markup:
    """The inbound course in words, on the non-holding side of its line."""
    hold = debrief.hold
    magnetic = (hold.inbound_course_true_deg - hold.variation_deg) % 360.0 or 360.0
    east, north = frame.east_north(np.array([-1.1]), np.array([-0.16]))
    words = f"inbound {magnetic:03.0f}° mag"
    anchors = []
    for view in views:
        x, y = view.place(float(east[0]), float(north[0]))
        fix_x, fix_y = view.place(*(float(v) for v in (frame.east_north(-1.1, 0.0))))
        anchors.append((x, y, "end" if x < fix_x else "start"))
    return element(
        "g",
        *(
            element("text", words, x=x, y=y + 4.0, text_anchor=anchor, class_=f"course-words only-{view.name}")
            for view, (x, y, anchor) in zip(views, anchors)
        ),
    )


def _furniture(debrief: Debrief, views: tuple[View, View]) -> Markup:
    """North arrow, wind arrow and scale bar, in the corners."""
    parts = [
        element(
            "g",
            element("path", d="M0-17L6 9 0 4-6 9Z", class_="north-arrow"),
            element("text", "N", y=-20, class_="middle", text_anchor="middle"),
            **_both(views, lambda view: f"translate(30 44) rotate({short(view.turn_deg, 2)})"),
        )
    ]
    wind = debrief.wind
    if wind is not None:
        parts.append(
            element(
                "g",
                element("path", d="M0-20V14M-6 6L0 17 6 6", class_="wind-arrow"),
                **_both(
                    views,
                    lambda view: f"translate({short(WIDTH - 34)} 44) rotate({short(view.turn_deg + wind.from_true_deg, 2)})",
                ),
            )
        )
        magnetic = (wind.from_true_deg - debrief.hold.variation_deg) % 360.0
        parts.append(
            element(
                "text",
                f"wind {magnetic:03.0f}°/{wind.speed_kt:.0f} kt",
                x=WIDTH - 62.0,
                y=36,
                text_anchor="end",
                class_="small",
            )
        )
    else:
        parts.append(
            element("text", "wind not measurable", x=WIDTH - 12.0, y=36, text_anchor="end", class_="small")
        )
    for view in views:
        length = pleasant_step(110.0 / view.px_per_nm, 1) if view.px_per_nm > 0 else 1.0
        length = length if length * view.px_per_nm <= 150.0 else length / 2
        px = length * view.px_per_nm
        y = HEIGHT - 14.0
        parts.append(
            element(
                "g",
                element("path", d=f"M14 {short(y - 5)}V{short(y)}H{short(14 + px)}V{short(y - 5)}", class_="scale"),
                element("text", f"{short(length, 2)} NM", x=20.0 + px, y=y, class_="small"),
                class_=f"only-{view.name}",
            )
        )
    side = "right" if debrief.hold.side > 0 else "left"
    parts.append(
        element(
            "text",
            f"{side} turns: holding side {side} of the inbound course",
            x=WIDTH - 12.0,
            y=HEIGHT - 14.0,
            text_anchor="end",
            class_="small",
        )
    )
    return element("g", *parts, class_="furniture")


# -- small plates -------------------------------------------------------------------------------------------------

PLATE_WIDTH, PLATE_HEIGHT = 180.0, 230.0


def _plate(debrief: Debrief, stretch: Stretch, events: tuple[Event, ...], frame: HoldFrame, view: View) -> Markup:
    """One lap alone against the solved lap, in the hold frame: the same scale on every plate of a page."""
    scale = min(PLATE_WIDTH / WIDTH, PLATE_HEIGHT / HEIGHT)
    small = View(
        "plate",
        view.turn_deg,
        view.px_per_nm * scale,
        view.x0 * scale + (PLATE_WIDTH - WIDTH * scale) / 2,
        view.y0 * scale + (PLATE_HEIGHT - HEIGHT * scale) / 2,
    )
    lines = [element("path", d=_line(*frame.east_north(np.array([-6.0, 0.0]), np.zeros(2)), 0.0), class_="course")]
    if debrief.solved is not None:
        lines.insert(0, element("use", href="#path-solved"))
    lines.append(element("use", href=f"#path-{stretch.key}"))
    x, y = small.place(0.0, 0.0)
    marks = [
        element("g", sign(e.shape, 3.4), transform="translate({} {})".format(*map(short, small.place(e.east_nm, e.north_nm))))
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
        f"{'Right' if hold.side > 0 else 'Left'} hand pattern, inbound course {hold.inbound_course_true_deg:.0f}° true.",
        f"{laps} completed {'lap' if laps == 1 else 'laps'} drawn." if laps else "No completed lap.",
    ]
    if debrief.wind is not None:
        words.append(f"Wind from {debrief.wind.from_true_deg:.0f}° true at {debrief.wind.speed_kt:.0f} knots.")
    words.append("The laps are told in numbers in the lap table.")
    return " ".join(words)
