"""What is written on the plan view: events of each lap, lap numbers, the fix, arrows, scale, sides."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from trackgrade.drawing import furniture, palette
from trackgrade.drawing.furniture import LETTERS_PX, LINE_PX
from trackgrade.drawing.labels import Box, Placer, around, text_width
from trackgrade.drawing.svg import element, short
from trackgrade.drawing.view import View
from trackgrade.hold.courses import heading_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.report.limits import magnetic_course
from trackgrade.report.numbers import clock
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.segment.flown import Lap, Moment
from trackgrade.track.track import Floats

#: The frame on the page [px at full width].
WIDTH, HEIGHT = 480.0, 640.0
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
    """CSS classes of the line of a stretch."""
    if stretch.kind == "entry":
        return "entry"
    return palette.lap_class(stretch.style) + (" part" if stretch.kind == "incomplete" else "")


def events_of(lap: Lap) -> tuple[tuple[str, str, Moment], ...]:
    """(shape, words, moment) of each event that the track carries, in order of flying."""
    by = {"course": "inbound: crossed", "rollout": "inbound: rolled out", None: "inbound"}
    other = lap.inbound_start_other
    rows = (
        ("fix", "over the fix", lap.start),
        ("level", "wings level", lap.outbound_turn_end),
        ("abeam", "abeam", lap.abeam),
        ("turn", "turn inbound", lap.outbound_end),
        ("inbound", by[lap.inbound_start_by], lap.inbound_start),
        ("inbound", f"or {by[other.by]}" if other else "", other.moment if other else None),
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


def both(views: tuple[View, ...], of: Callable[[View], str]) -> dict[str, str]:
    """``transform`` for the first view, and where there are two both as data for the switch."""
    first, *others = (of(view) for view in views)
    return {"transform": first} | ({"data_hold": first, "data_north": others[0]} if others else {})


def at(views: tuple[View, ...], east_nm: float, north_nm: float) -> dict[str, str]:
    def of(view: View) -> str:
        x, y = view.place(east_nm, north_nm)
        return f"translate({short(x)} {short(y)})"

    return both(views, of)


def placer() -> Placer:
    """The frame, nothing drawn in it yet."""
    return Placer(Box(3.0, 3.0, WIDTH - 3.0, HEIGHT - 3.0), LETTERS_PX / 2)


def signs(events: tuple[Event, ...], views: tuple[View, ...], free: dict[str, Placer], laps: int) -> Iterable[Markup]:
    """Per stretch a group of signs, with labels that only the choice of one lap shows (or a flight of one lap; none
    for no ``laps``).

    ``free`` is by the view's name; labels of one lap do not see those of another.
    """
    labelled = views if laps else ()
    for key in dict.fromkeys(event.stretch for event in events):
        mine = [event for event in events if event.stretch == key]
        labels: list[Markup] = []
        for view in labelled:
            room = free[view.name].copy()
            spots = [view.place(event.east_nm, event.north_nm) for event in mine]
            middle = np.mean(spots, axis=0)
            for spot in spots:
                room.keep_off(Box.about(*spot, 13.0, 13.0))
            for event, words in _label_words(mine):
                spot = view.place(event.east_nm, event.north_nm)
                width = text_width(words, LETTERS_PX)
                outward = (1.0 if spot[0] >= middle[0] else -1.0, 0.35 * np.sign(spot[1] - middle[1]))
                place = room.put(list(around(spot, outward, width, LINE_PX, (9.0, 20.0, 38.0, 64.0))), width, LINE_PX)
                assert place is not None, "it must"
                labels.append(words_at(words, place, f"label only-{view.name}"))
        yield element(
            "g",
            *(element("g", sign(e.shape), **at(views, e.east_nm, e.north_nm)) for e in mine),
            element("g", *labels, class_="labels" + (" always" if laps == 1 else "")),
            data_stretch=key,
        )


def words_at(words: str, centre: tuple[float, float], style: str) -> Markup:
    return element("text", words, x=centre[0], y=centre[1] + 4.0, text_anchor="middle", class_=style)


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


def tag_places(debrief: Debrief, stretch: Stretch) -> tuple[Floats, Floats]:
    """East and north (n,) [NM] where the number of a lap may stand: outbound, else in the turn inbound."""
    samples, lap = debrief.samples, stretch.lap
    since, until = stretch.start_epoch_s, stretch.end_epoch_s
    spans = [(since, until)]
    if lap is not None:
        until = lap.outbound_end.epoch_s if lap.outbound_end else until
        starts = (lap.start, lap.outbound_turn_end, lap.abeam)
        spans = [(max(each.epoch_s for each in starts if each is not None and each.epoch_s <= until), until)]
        if lap.outbound_end is not None and lap.inbound_start is not None:
            spans.append((lap.outbound_end.epoch_s, lap.inbound_start.epoch_s))
    # From the middle outwards.
    shares = 0.5 + np.array([0.0, 0.09, -0.09, 0.18, -0.18, 0.27, -0.27, 0.36, -0.36])
    times = np.concatenate([start + shares * (end - start) for start, end in spans])
    return (
        np.interp(times, samples.epoch_s, samples.east_nm),
        np.interp(times, samples.epoch_s, samples.north_nm),
    )


def tags(
    debrief: Debrief, timeline: Timeline, views: tuple[View, ...], free: dict[str, Placer], room: float
) -> Iterable[Markup]:
    """The number of each lap on its line, clear of the others by ``room`` times its size; the key names it anyway."""
    for stretch in timeline.stretches:
        if stretch.kind == "entry":
            continue
        half = 5.0 + 3.4 * len(stretch.tag)
        east, north = tag_places(debrief, stretch)
        group: list[Markup] = []
        for view in views:
            x, y = view.places(east, north)
            known = np.isfinite(x) & np.isfinite(y)
            places = list(zip(x[known].tolist(), y[known].tolist()))
            place = (
                free[view.name].put(places, 2 * half * room, 18.0 * room, must=False, lines=False) if places else None
            )
            if place is not None:
                group.append(
                    element(
                        "g",
                        element("rect", x=-half, y=-8.5, width=2 * half, height=17.0, rx=3),
                        element("text", stretch.tag, y=4.4),
                        transform=f"translate({short(place[0])} {short(place[1])})",
                        class_=f"only-{view.name}",
                    )
                )
        yield element("g", *group, class_=f"tag {palette.lap_class(stretch.style)}", data_stretch=stretch.key)


def fix_mark(views: tuple[View, ...]) -> Markup:
    return element("g", furniture.fix_mark(), class_="fix", **at(views, 0.0, 0.0))


def words_on_the_hold(debrief: Debrief, frame: HoldFrame, views: tuple[View, ...], free: dict[str, Placer]) -> Markup:
    """The inbound course beside its line, and the holding side inside the pattern; clear of what is drawn."""
    hold = debrief.hold
    course = f"inbound {magnetic_course(hold)}° mag"
    length_nm, width_nm = 2.0, 1.2
    if debrief.solved is not None:
        length_nm = max(1.2, -float(np.min(debrief.solved.path_along_nm)))
        width_nm = max(0.6, float(np.max(debrief.solved.path_cross_nm)))
    inside = [
        (-share * length_nm, off * width_nm) for share in (0.3, 0.45, 0.15, 0.6, 0.75) for off in (0.5, 0.35, 0.65, 1.6)
    ]
    words = []
    for view in views:
        width = text_width(course, LETTERS_PX)
        fix, back = view.place(0.0, 0.0), view.place(*(float(v) for v in frame.east_north(-1.0, 0.0)))
        across = (fix[1] - back[1], back[0] - fix[0])
        beside = [
            spot
            for along in (0.75, 0.6, 0.9, 0.45, 1.1, 1.3, 1.6, 0.3)
            for spot in around(
                view.place(*(float(v) for v in frame.east_north(-along * length_nm, 0.0))),
                (across[0] * -hold.side, across[1] * -hold.side), width, LINE_PX, (8.0, 24.0, 60.0, 100.0), (0, 180),
            )
        ]  # fmt: skip
        spots = [view.place(*(float(v) for v in frame.east_north(*each))) for each in inside]
        for text, places in ((course, beside), ("holding side", spots)):
            place = free[view.name].put(places, text_width(text, LETTERS_PX), LINE_PX)
            assert place is not None, "it must"
            words.append(words_at(text, place, f"words only-{view.name}"))
    return element("g", *words)


def corners(debrief: Debrief, views: tuple[View, ...], free: dict[str, Placer]) -> Markup:
    """North arrow, wind arrow with its words, and scale bar: in the corners that lines leave free."""
    wind, words, parts = debrief.wind, wind_words(debrief), []
    for view in views:
        room = free[view.name]
        bar, bar_width = furniture.scale_bar(view.px_per_nm, 110.0)
        x, y = _corner(room, 54.0, 60.0, (-1, -1))
        group = [element("g", furniture.north_arrow(), transform=_turned(x, y + 4.0, view.turn_deg))]
        arrow = 0.0 if wind is None else 48.0
        width = text_width(words, LETTERS_PX) + arrow + 6.0
        x, y = _corner(room, width, 44.0, (1, -1))
        group.append(element("text", words, x=x - arrow / 2.0, y=y + 4.0, text_anchor="middle", class_="small"))
        if wind is not None:
            turned = _turned(x + (width - arrow) / 2.0, y, view.turn_deg + wind.from_true_deg)
            group.append(element("g", furniture.wind_arrow(), transform=turned))
        x, y = _corner(room, bar_width + 12.0, 22.0, (-1, 1))
        group.append(element("g", bar, transform=f"translate({short(x - bar_width / 2.0)} {short(y + 5.0)})"))
        parts.append(element("g", *group, class_=f"only-{view.name}"))
    return element("g", *parts, class_="furniture")


def _corner(room: Placer, width: float, height: float, first: tuple[int, int]) -> tuple[float, float]:
    """Centre of a box of this size in a corner of the frame, ``first`` (-1 or 1: left or right, up or down) if free."""
    corners = dict.fromkeys((first, (-1, -1), (1, -1), (1, 1), (-1, 1)))
    middle_x, middle_y = WIDTH / 2.0, HEIGHT / 2.0
    places = [
        (middle_x + x * (middle_x - 6.0 - width / 2.0), middle_y + y * (middle_y - 6.0 - height / 2.0))
        for x, y in corners
    ]
    place = room.put(places, width, height)
    assert place is not None, "it must"
    return place


def _turned(x: float, y: float, degrees: float) -> str:
    return f"translate({short(x)} {short(y)}) rotate({short(degrees, 2)})"


def wind_words(debrief: Debrief) -> str:
    wind = debrief.wind
    if wind is None:
        return "wind not measurable"
    return f"wind {heading_name(wind.from_true_deg - debrief.hold.variation_deg)}° mag, {wind.speed_kt:.0f} kt"
