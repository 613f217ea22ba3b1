"""What is written on the plan view: events of each lap, lap numbers, the fix, arrows, scale, sides."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from trackgrade.hold.courses import heading_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.report.drawing import element, pleasant_step, short
from trackgrade.report.limits import magnetic_course
from trackgrade.report.numbers import clock
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.report.view import HEIGHT, WIDTH, View, at, both
from trackgrade.score.debrief import Debrief
from trackgrade.segment.flown import Lap, Moment

#: Lap lines: colour and dash both change from lap to lap, and repeat together after twelve.
COLOURS, DASHES = 4, 3
#: Two passages of the fix closer than this share a label [NM].
SAME_PLACE_NM = 0.15
#: Shape, and the words of the key, in order of a lap.
EVENT_SIGNS: tuple[tuple[str, str], ...] = (
    ("fix", "over the fix"),
    ("level", "wings level outbound"),
    ("abeam", "abeam the fix"),
    ("turn", "turn inbound begins"),
    ("inbound", "inbound time starts"),
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


def line_style(stretch: Stretch) -> str:
    """CSS classes of a line: colour and dash both change from lap to lap, and repeat together after twelve."""
    if stretch.kind == "entry":
        return "entry"
    return f"c{stretch.style % COLOURS} d{stretch.style % DASHES}" + (" part" if stretch.kind == "incomplete" else "")


def events_of(lap: Lap) -> tuple[tuple[str, str, Moment], ...]:
    """(shape, words, moment) of each event that the track carries, in order of flying."""
    by = {"course": "inbound: crossed", "rollout": "inbound: rolled out", None: "inbound"}[lap.inbound_start_by]
    rows = (
        ("fix", "over the fix", lap.start),
        ("level", "wings level", lap.outbound_turn_end),
        ("abeam", "abeam", lap.abeam),
        ("turn", "turn inbound", lap.outbound_end),
        ("inbound", by, lap.inbound_start),
        ("fix", "over the fix", lap.end),
    )
    return tuple((shape, words, moment) for shape, words, moment in rows if moment is not None)


def sign(shape: str, size: float = 5.0) -> Markup:
    """The mark of one kind of event about the origin; shapes differ, not only their fill."""
    s = size
    if shape in ("fix", "level"):
        return element("circle", r=s * 0.85, class_="sign full" if shape == "fix" else "sign")
    outline = {
        "abeam": f"M0 {-s * 1.2:.1f}L{s * 1.2:.1f} 0 0 {s * 1.2:.1f} {-s * 1.2:.1f} 0Z",
        "turn": f"M0 {-s * 1.15:.1f}L{s * 1.1:.1f} {s * 0.85:.1f} {-s * 1.1:.1f} {s * 0.85:.1f}Z",
        "inbound": f"M{-s:.1f} {-s:.1f}H{s:.1f}V{s:.1f}H{-s:.1f}Z",
    }
    return element("path", d=outline[shape], class_="sign full" if shape == "turn" else "sign")


def find_events(debrief: Debrief, timeline: Timeline) -> tuple[Event, ...]:
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


def signs(events: tuple[Event, ...], views: tuple[View, View], laps: int) -> Iterable[Markup]:
    """Per stretch a group of signs, with labels that only the choice of one lap shows (or a flight of one lap)."""
    for key in dict.fromkeys(event.stretch for event in events):
        mine = [event for event in events if event.stretch == key]
        labels: list[Markup] = []
        for view in views:
            spots = [view.place(event.east_nm, event.north_nm) for event in mine]
            middle_x = sum(x for x, _ in spots) / len(spots)
            taken = [(x - 6.0, x + 6.0, y - 6.0, y + 6.0) for x, y in spots]
            labels += [_label(view, event, words, middle_x, taken) for event, words in _label_words(mine)]
        yield element(
            "g",
            *(element("g", sign(e.shape), **at(views, e.east_nm, e.north_nm)) for e in mine),
            element("g", *labels, class_="labels" + (" always" if laps == 1 else "")),
            data_stretch=key,
        )


def _label_words(events: list[Event]) -> list[tuple[Event, str]]:
    """What to write beside each event; the two passages of the fix share their words where they share a place."""
    first, last = events[0], events[-1]
    if (
        first.shape == last.shape == "fix"
        and first is not last
        and np.hypot(first.east_nm - last.east_nm, first.north_nm - last.north_nm) < SAME_PLACE_NM
    ):
        both = f"{clock(first.epoch_s)}, {clock(last.epoch_s)} {first.words}"
        return [(first, both), *((each, f"{clock(each.epoch_s)} {each.words}") for each in events[1:-1])]
    return [(each, f"{clock(each.epoch_s)} {each.words}") for each in events]


#: Room for a label: width of a letter and height of a line, sized for the larger letters of a narrow screen [px].
LETTER_PX, LINE_PX = 8.4, 15.5
#: From a sign to its label [px].
LABEL_GAP_PX = 10.0

_Box = tuple[float, float, float, float]  # left, right, top, bottom


def _label(view: View, event: Event, words: str, middle_x: float, taken: list[_Box]) -> Markup:
    """One label beside its sign: outward from the lap where there is room, clear of signs and other labels."""
    x, y = view.place(event.east_nm, event.north_nm)
    width = LETTER_PX * len(words)
    outward_right = x >= middle_x
    places = [
        (right, left, y + down)
        for down in (0.0, LINE_PX, -LINE_PX, 2 * LINE_PX, -2 * LINE_PX, 3 * LINE_PX, 4 * LINE_PX)
        for right in (outward_right, not outward_right)
        if 2.0 <= (left := x + LABEL_GAP_PX if right else x - LABEL_GAP_PX - width) <= WIDTH - width - 2.0
    ] or [(True, max(2.0, WIDTH - width - 2.0), y)]

    def box(left: float, middle: float) -> _Box:
        return left, left + width, middle - LINE_PX / 2, middle + LINE_PX / 2

    free = (place for place in places if not any(_overlap(box(*place[1:]), other) for other in taken))
    right, left, middle = next(free, places[0])
    taken.append(box(left, middle))
    return element(
        "text",
        words,
        x=left if right else left + width,
        y=middle + 4.0,
        text_anchor="start" if right else "end",
        class_=f"label only-{view.name}",
    )


def _overlap(one: _Box, other: _Box) -> bool:
    return one[0] < other[1] and other[0] < one[1] and one[2] < other[3] and other[2] < one[3]


def tags(debrief: Debrief, timeline: Timeline, views: tuple[View, View]) -> Iterable[Markup]:
    """The number of each lap on its outbound leg, where it lies furthest from the numbers already there."""
    samples = debrief.samples
    taken: list[tuple[float, float]] = [(0.0, 0.0)]
    for stretch in timeline.stretches:
        lap = stretch.lap
        if lap is not None:
            until = lap.outbound_end.epoch_s if lap.outbound_end else stretch.end_epoch_s
            starts = (lap.start, lap.outbound_turn_end, lap.abeam)
            since = max(each.epoch_s for each in starts if each is not None and each.epoch_s <= until)
        elif stretch.kind == "reversed":
            since, until = stretch.start_epoch_s, stretch.end_epoch_s
        else:
            continue
        times = since + np.linspace(0.08, 0.92, 13) * (until - since)
        east = np.interp(times, samples.epoch_s, samples.east_nm)
        north = np.interp(times, samples.epoch_s, samples.north_nm)
        free = np.min([np.hypot(east - e, north - n) for e, n in taken], axis=0)
        best = int(np.argmax(np.nan_to_num(free)))
        taken.append((float(east[best]), float(north[best])))
        half = 5.0 + 3.4 * len(stretch.tag)
        yield element(
            "g",
            element("rect", x=-half, y=-8.5, width=2 * half, height=17.0, rx=3),
            element("text", stretch.tag, y=4.4),
            class_=f"tag c{stretch.style % COLOURS}",
            data_stretch=stretch.key,
            **at(views, *taken[-1]),
        )


def fix_mark(views: tuple[View, View]) -> Markup:
    return element(
        "g",
        element("path", d="M-11 0H11M0-11V11", class_="fix-cross"),
        element("circle", r=7.0, class_="fix-ring"),
        class_="fix",
        **at(views, 0.0, 0.0),
    )


def words_on_the_hold(debrief: Debrief, frame: HoldFrame, views: tuple[View, View]) -> Markup:
    """The inbound course where its line comes into the frame, and the holding side inside the pattern."""
    hold = debrief.hold
    course = f"inbound {magnetic_course(hold)}° mag"
    length_nm, width_nm = 2.0, 1.2
    if debrief.solved is not None:
        length_nm = max(1.2, -float(np.min(debrief.solved.path_along_nm)))
        width_nm = max(0.6, float(np.max(debrief.solved.path_cross_nm)))
    words = []
    for view in views:
        x, y, anchor = _beside_the_line(view, frame, LETTER_PX * len(course))
        words.append(_words_at(course, x, y, anchor, view))
        middle = view.place(*(float(v) for v in frame.east_north(-0.25 * length_nm, 0.5 * width_nm)))
        words.append(_words_at("holding side", *middle, "middle", view))
    return element("g", *words)


def _words_at(words: str, x: float, y: float, anchor: str, view: View) -> Markup:
    return element("text", words, x=x, y=y + 4.0, text_anchor=anchor, class_=f"course-words only-{view.name}")


def _beside_the_line(view: View, frame: HoldFrame, width: float) -> tuple[float, float, str]:
    """Place and anchor for words of a width [px] beside the course line, near where it enters the frame."""
    fix = np.array(view.place(0.0, 0.0))
    back = np.array(view.place(*(float(v) for v in frame.east_north(-1.0, 0.0)))) - fix
    back /= max(float(np.hypot(*back)), 1e-9)
    room = [
        ((high if step > 0 else low) - start) / step
        for start, step, low, high in ((fix[0], back[0], 40.0, WIDTH - 40.0), (fix[1], back[1], 70.0, HEIGHT - 48.0))
        if abs(step) > 1e-6
    ]
    x, y = fix + back * max(0.0, min(room))
    left = x - 9.0 - width >= 4.0
    return float(x - 9.0 if left else x + 9.0), float(y), "end" if left else "start"


def furniture(debrief: Debrief, views: tuple[View, View]) -> Markup:
    """North arrow, wind arrow and scale bar, in the corners."""
    parts = [
        element(
            "g",
            element("path", d="M0-17L6 9 0 4-6 9Z", class_="north-arrow"),
            element("text", "N", y=-20, class_="middle", text_anchor="middle"),
            **both(views, lambda view: f"translate(30 44) rotate({short(view.turn_deg, 2)})"),
        )
    ]
    wind = debrief.wind
    if wind is not None:
        parts.append(
            element(
                "g",
                element("path", d="M0-20V14M-6 6L0 17 6 6", class_="wind-arrow"),
                **both(
                    views,
                    lambda view: (
                        f"translate({short(WIDTH - 34)} 44) rotate({short(view.turn_deg + wind.from_true_deg, 2)})"
                    ),
                ),
            )
        )
        magnetic = heading_name(wind.from_true_deg - debrief.hold.variation_deg)
        parts.append(
            element(
                "text",
                f"wind {magnetic}° mag, {wind.speed_kt:.0f} kt",
                x=WIDTH - 62.0,
                y=36,
                text_anchor="end",
                class_="small",
            )
        )
    else:
        parts.append(element("text", "wind not measurable", x=WIDTH - 12.0, y=36, text_anchor="end", class_="small"))
    for view in views:
        length = pleasant_step(110.0 / view.px_per_nm, 1) if view.px_per_nm > 0 else 1.0
        length = length if length * view.px_per_nm <= 150.0 else length / 2
        px = length * view.px_per_nm
        y = HEIGHT - 14.0
        parts.append(
            element(
                "g",
                element("path", d=f"M14 {short(y - 5)}V{short(y)}H{short(14 + px)}V{short(y - 5)}", class_="scale-bar"),
                element("text", f"{short(length, 2)} NM", x=20.0 + px, y=y, class_="small"),
                class_=f"only-{view.name}",
            )
        )
    return element("g", *parts, class_="furniture")
