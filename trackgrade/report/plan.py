"""A hold seen from above, whoever draws it: its lines and events, and where numbers, words and arrows may stand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from trackgrade.drawing.furniture import LETTERS_PX, LINE_PX, scale_bar
from trackgrade.drawing.labels import Box, Placer, Point, around, text_width
from trackgrade.drawing.lines import joined
from trackgrade.drawing.sketch import Line
from trackgrade.drawing.view import View, fit
from trackgrade.earth.angles import turn_from_to
from trackgrade.hold.courses import course_name, heading_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.guidance import station_of
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.score.series import inside
from trackgrade.segment.flown import Lap, Moment
from trackgrade.track.track import Floats

#: How far before the fix course and corridor are drawn [NM]: out of any frame.
COURSE_NM = 40.0
#: Beyond this distance from the fix a flight that never held is not drawn [NM].
FAR_NM = 12.0
#: The way to the hold may come from anywhere: of an entry with a leg of its own, the frame shows what follows [s].
ARRIVAL_S = 45.0
#: The air about what is flown [px], and the room for a scale bar.
MARGIN, BAR_PX = 52.0, 110.0
#: Shape, and the words of the key, in order of a lap.
EVENT_SIGNS: tuple[tuple[str, str], ...] = (
    ("fix", "over the fix"),
    ("level", "wings level outbound"),
    ("abeam", "abeam the fix"),
    ("turn", "turn inbound begins"),
    ("inbound", "inbound time starts"),
)


class Event(NamedTuple):
    """One moment of a lap to be marked: ``shape`` names the sign, ``words`` what it is."""

    stretch: str
    shape: str
    words: str
    epoch_s: float
    sd_s: float
    east_nm: float
    north_nm: float


class Plan(NamedTuple):
    """Everything on the plan view. ``flown`` is by the key of its stretch; ``corridor`` is an outline.

    ``elsewhere`` is all that the time axis shows, whether part of a hold or not. ``solved`` is None where no lap was
    solved; ``length_nm`` and ``width_nm`` are about the size of the pattern.
    """

    debrief: Debrief
    timeline: Timeline
    flown: dict[str, Line]
    elsewhere: tuple[Line, ...]
    course: Line
    corridor: Line
    solved: Line | None
    events: tuple[Event, ...]
    length_nm: float
    width_nm: float

    def view(self, name: str, turn_deg: float, size: tuple[float, float]) -> View:
        """The laps, the entry from the fix on and the solved lap in a frame of this size [px]."""
        return fit(name, turn_deg, *_outline(self), size, (MARGIN, MARGIN, MARGIN, MARGIN))


class Places(NamedTuple):
    """Where things stand in one view [px]: centres, but of the bar its left end.

    ``tags`` are by the stretch whose number they are, missing where it has no place. ``words`` are (text, centre).
    ``wind`` is the arrow, None where no wind is known; ``free`` is what room is left.
    """

    north: Point
    wind: Point | None
    bar: Point
    tags: dict[str, Point]
    words: tuple[tuple[str, Point], ...]
    wind_words: tuple[str, Point]
    free: Placer


def plan_of(debrief: Debrief, timeline: Timeline) -> Plan:
    """The plan of a debrief. A flight with no position near the fix still gets the hold and its corridor."""
    frame, solved = HoldFrame(debrief.hold), debrief.solved
    along = np.linspace(-COURSE_NM, 0.0, round(COURSE_NM) + 1)
    low, high = corridor_edges(debrief, frame, along)
    return Plan(
        debrief=debrief,
        timeline=timeline,
        flown={each.key: flown_between(debrief, each.start_epoch_s, each.end_epoch_s) for each in timeline.stretches},
        elsewhere=tuple(flown_between(debrief, *span) for span in timeline.axis.spans),
        course=frame.east_north(along[[0, -1]], np.zeros(2)),
        corridor=frame.east_north(np.concatenate((along, along[::-1])), np.concatenate((low, high[::-1]))),
        solved=None if solved is None else frame.east_north(solved.path_along_nm, solved.path_cross_nm),
        events=_events(debrief, timeline),
        length_nm=2.0 if solved is None else max(1.2, -float(np.min(solved.path_along_nm))),
        width_nm=1.2 if solved is None else max(0.6, float(np.max(solved.path_cross_nm))),
    )


def _outline(plan: Plan) -> Line:
    """Points that the frame has to hold."""
    samples, stretches = plan.debrief.samples, plan.timeline.stretches
    held = np.zeros(len(samples), dtype=bool)
    for stretch in stretches:
        start = stretch.start_epoch_s
        if stretch.kind == "entry":
            start = max(start, stretch.end_epoch_s - 1.0 if _is_instant(plan.debrief, stretch) else start + ARRIVAL_S)
        held |= (samples.epoch_s >= start) & (samples.epoch_s <= stretch.end_epoch_s)
    if not stretches:
        near = np.hypot(samples.east_nm, samples.north_nm) <= FAR_NM
        held = near if near.any() else np.isfinite(samples.east_nm)
    held &= np.isfinite(samples.east_nm) & np.isfinite(samples.north_nm)
    hold = HoldFrame(plan.debrief.hold).east_north(np.array([0.0, 0.6, -2.0]), np.array([0.0, 1.0, -0.3]))
    lines = [(samples.east_nm[held], samples.north_nm[held]), hold]
    if plan.solved is not None:
        lines.append((plan.solved[0][::5], plan.solved[1][::5]))
    east, north = zip(*lines)
    return np.concatenate(east), np.concatenate(north)


def _is_instant(debrief: Debrief, stretch: Stretch) -> bool:
    """A direct entry ends where it starts: at the first passage of the fix."""
    entry = next(visit.entry.flown for visit in debrief.visits if visit.number == stretch.visit)
    return entry.start is None or entry.end is None or entry.end.epoch_s - entry.start.epoch_s < 2.0


def flown_between(debrief: Debrief, start_s: float, end_s: float) -> Line:
    """What was flown between two times, the ends interpolated."""
    samples = debrief.samples
    epoch, own = samples.epoch_s, inside(samples, start_s, end_s)
    first, last = own.start, own.stop - 1
    if last < first:
        return np.empty(0), np.empty(0)
    east, north = samples.east_nm[own], samples.north_nm[own]
    holes = np.flatnonzero(samples.gap_before[first + 1 : last + 1]) + 1
    ends = np.interp([start_s, end_s], epoch, samples.east_nm), np.interp([start_s, end_s], epoch, samples.north_nm)
    east, north = np.insert(east, holes, np.nan), np.insert(north, holes, np.nan)
    if not samples.gap_before[first]:
        east, north = np.append(ends[0][0], east), np.append(ends[1][0], north)
    if last + 1 >= len(epoch) or not samples.gap_before[last + 1]:
        east, north = np.append(east, ends[0][1]), np.append(north, ends[1][1])
    return east, north


def corridor_edges(debrief: Debrief, frame: HoldFrame, along_nm: Floats) -> tuple[Floats, Floats]:
    """The lower and the upper cross distance (n,) [NM] of the corridor at distances along the course (n,) [NM]."""
    hold, share = debrief.hold, debrief.standard.needle_share
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


def _events(debrief: Debrief, timeline: Timeline) -> tuple[Event, ...]:
    samples = debrief.samples
    told = [
        (stretch.key, shape, words, moment.epoch_s, moment.sd_s)
        for stretch in timeline.stretches
        if stretch.lap is not None
        for shape, words, moment in _events_of(stretch.lap)
        if moment is not None
    ]
    if not told:
        return ()
    times = np.array([epoch_s for *_, epoch_s, _ in told])
    east, north = (np.interp(times, samples.epoch_s, axis).tolist() for axis in (samples.east_nm, samples.north_nm))
    return tuple(Event(*each, *at) for each, *at in zip(told, east, north))


def _events_of(lap: Lap) -> tuple[tuple[str, str, Moment | None], ...]:
    """(shape, words, moment) of each event, in order of flying; None where the track does not carry it."""
    by = {"course": "inbound: crossed", "rollout": "inbound: rolled out", None: "inbound"}
    other = lap.inbound_start_other
    return (
        ("fix", "over the fix", lap.start),
        ("level", "wings level", lap.outbound_turn_end),
        ("abeam", "abeam", lap.abeam),
        ("turn", "turn inbound", lap.outbound_end),
        ("inbound", by[lap.inbound_start_by], lap.inbound_start),
        ("inbound", f"or {by[other.by]}" if other else "", other.moment if other else None),
        ("fix", "over the fix", lap.end),
    )


# -- places ----------------------------------------------------------------------------------------------------------


def arrange(plan: Plan, view: View, tag_room: float = 1.0) -> Places:
    """A place in a view for everything that is no line: arrows and scale in corners, numbers on their laps, words.

    Clear of the laps flown, the lap that works, the course and the fix, and of each other; numbers by ``tag_room``
    times their size.
    """
    width, height = view.size
    free = Placer(Box(3.0, 3.0, width - 3.0, height - 3.0), LETTERS_PX / 2)
    free.keep_off(Box.about(*view.place(0.0, 0.0), 26.0, 26.0))
    solved = [] if plan.solved is None else [plan.solved]
    free.keep_off_line(*view.places(*joined([plan.course, *plan.flown.values(), *solved])))
    x, y = _corner(view, free, 54.0, 60.0, (-1, -1))
    north = (x, y + 4.0)
    wind = plan.debrief.wind
    arrow = 0.0 if wind is None else 48.0
    across = text_width(wind_words(plan.debrief), LETTERS_PX) + arrow + 6.0
    x, y = _corner(view, free, across, 44.0, (1, -1))
    _, bar_px = scale_bar(view.px_per_nm, BAR_PX)
    bar_x, bar_y = _corner(view, free, bar_px + 12.0, 22.0, (-1, 1))
    return Places(
        north=north,
        wind=None if wind is None else (x + (across - arrow) / 2.0, y),
        wind_words=(wind_words(plan.debrief), (x - arrow / 2.0, y)),
        bar=(bar_x - bar_px / 2.0, bar_y + 5.0),
        tags=dict(_tags(plan, view, free, tag_room)),
        words=tuple(_words_on_the_hold(plan, view, free)),
        free=free,
    )


def _corner(view: View, free: Placer, width: float, height: float, first: tuple[int, int]) -> Point:
    """Centre of a box of this size in a corner of the frame, ``first`` (-1 or 1: left or right, up or down) if free."""
    corners = dict.fromkeys((first, (-1, -1), (1, -1), (1, 1), (-1, 1)))
    middle_x, middle_y = view.size[0] / 2.0, view.size[1] / 2.0
    return free.put(
        [
            (middle_x + x * (middle_x - 6.0 - width / 2.0), middle_y + y * (middle_y - 6.0 - height / 2.0))
            for x, y in corners
        ],
        width,
        height,
    )


def tag_width(tag: str) -> float:
    """How wide the number of a lap is with the box about it [px]."""
    return 10.0 + 6.8 * len(tag)


def _tags(plan: Plan, view: View, free: Placer, room: float) -> Iterator[tuple[str, Point]]:
    numbered = [each for each in plan.timeline.stretches if each.kind != "entry"]
    if not numbered:
        return
    samples = plan.debrief.samples
    start, end = np.moveaxis(np.array([_tag_spans(each) for each in numbered]), -1, 0)[..., None]
    # From the middle outwards.
    shares = 0.5 + np.array([0.0, 0.09, -0.09, 0.18, -0.18, 0.27, -0.27, 0.36, -0.36])
    times = (start + shares * (end - start)).reshape(len(numbered), -1)
    east, north = (np.interp(times, samples.epoch_s, axis) for axis in (samples.east_nm, samples.north_nm))
    widths = np.array([tag_width(each.tag) * room for each in numbered])
    places = free.put_on_lines(np.stack(view.places(east, north), axis=-1), widths, 18.0 * room)
    yield from ((stretch.key, place) for stretch, place in zip(numbered, places) if place is not None)


def _tag_spans(stretch: Stretch) -> tuple[tuple[float, float], tuple[float, float]]:
    """When a lap is where its number may stand (start, end) [s since 1970]: outbound, else in the turn inbound."""
    lap, since, until, turn = stretch.lap, stretch.start_epoch_s, stretch.end_epoch_s, (np.nan, np.nan)
    if lap is not None:
        until = lap.outbound_end.epoch_s if lap.outbound_end else until
        starts = (lap.start, lap.outbound_turn_end, lap.abeam)
        since = max(each.epoch_s for each in starts if each is not None and each.epoch_s <= until)
        if lap.outbound_end is not None and lap.inbound_start is not None:
            turn = lap.outbound_end.epoch_s, lap.inbound_start.epoch_s
    return (since, until), turn


def _words_on_the_hold(plan: Plan, view: View, free: Placer) -> Iterator[tuple[str, Point]]:
    """The inbound course beside its line, and the holding side inside the pattern."""
    hold = plan.debrief.hold
    course = f"inbound {course_name(hold.course_to_set_deg)}° mag"
    x, y = view.places(*HoldFrame(hold).east_north(np.array((0.0, -1.0)), np.zeros(2)))
    off_side = (-hold.side * (y[0] - y[1]), -hold.side * (x[1] - x[0]))
    on_line = _inside(plan, view, (0.75, 0.6, 0.9, 0.45, 1.1, 1.3, 1.6, 0.3), (0.0,))
    gaps, sides = (8.0, 24.0, 40.0, 60.0, 100.0), (0, 180)
    beside = around(on_line, np.full(on_line.shape, off_side), text_width(course, LETTERS_PX), LINE_PX, gaps, sides)
    # Near its line anywhere along it, before further off.
    beside = beside.reshape(len(on_line), len(gaps), -1, 2).swapaxes(0, 1).reshape(-1, 2)
    within = _inside(plan, view, (0.3, 0.45, 0.15, 0.6, 0.75), (0.5, 0.35, 0.65, 1.6))
    for text, places in ((course, beside), ("holding side", within)):
        yield text, free.put(places, text_width(text, LETTERS_PX), LINE_PX)


def _inside(plan: Plan, view: View, along: Sequence[float], off: Sequence[float]) -> Floats:
    """Places in a view (n, 2) [px] at shares of the pattern's length, and at each at shares of its width."""
    along_nm, cross_nm = np.meshgrid(-plan.length_nm * np.array(along), plan.width_nm * np.array(off), indexing="ij")
    east, north = HoldFrame(plan.debrief.hold).east_north(along_nm.ravel(), cross_nm.ravel())
    return np.stack(view.places(east, north), axis=-1)


def wind_words(debrief: Debrief) -> str:
    wind = debrief.wind
    if wind is None:
        return "wind not measurable"
    return f"wind {heading_name(wind.from_true_deg - debrief.hold.variation_deg)}° mag, {wind.speed_kt:.0f} kt"
