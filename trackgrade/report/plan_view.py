"""The hold seen from above as SVG: what was flown, what would have worked, the corridor, and every event in its place.

Two views of one drawing: the hold frame (inbound course up the page) and north up. All that differs between them
is a transform, kept on each element as ``data-hold`` and ``data-north``; the page starts in the hold frame
and needs no script for it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
from markupsafe import Markup

from trackgrade.drawing import furniture, palette
from trackgrade.drawing.furniture import LETTERS_PX, LINE_PX
from trackgrade.drawing.labels import Point, around, text_width
from trackgrade.drawing.sketch import paths
from trackgrade.drawing.svg import element, moved, short
from trackgrade.drawing.view import View
from trackgrade.hold.courses import heading_name
from trackgrade.report.numbers import clock
from trackgrade.report.plan import BAR_PX, Event, Places, Plan, arrange, tag_width
from trackgrade.report.timeline import Stretch
from trackgrade.score.debrief import Debrief
from trackgrade.track.track import Floats

#: The frame on the page [px at full width], and that of a small plate.
SIZE, PLATE = (480.0, 640.0), (180.0, 230.0)
#: Lines are simplified to this, in thousandths of a NM: 4 m.
TOLERANCE = 2.0
#: The first picture is shown small on a phone, its numbers twice as large: they need that room.
FRONT_TAG_ROOM = 2.0
#: Two passages of the fix closer than this share a label [NM].
SAME_PLACE_NM = 0.15
#: How far from the sign of an event its words may stand [px].
LABEL_GAPS_PX = (9.0, 14.0, 20.0, 28.0, 38.0, 50.0, 64.0)

#: A view, and where things stand in it.
_Arranged = tuple[View, Places]


class PlanView(NamedTuple):
    """The drawings of a flight from above, each made of the same shapes.

    ``shapes`` holds every line once, unseen; all others refer to it: ``front`` is the first picture, ``svg`` the one
    with the cursor, ``plates`` a small one for each lap.
    """

    shapes: Markup
    front: Markup
    svg: Markup
    views: tuple[View, View]
    plates: tuple[tuple[Stretch, Markup], ...]


def draw(plan: Plan) -> PlanView:
    """The plan view of a debrief."""
    hold = plan.view("hold", -plan.debrief.hold.inbound_course_true_deg, SIZE)
    north = plan.view("north", 0.0, SIZE)
    shapes = element("defs", *(element("path", d=d, id=f"path-{key}", class_="shape") for key, d in _shapes(plan)))
    return PlanView(
        shapes=element("svg", shapes, class_="unseen", width=1, height=1, aria_hidden="true"),
        front=_picture("front-plan", plan, [(hold, arrange(plan, hold, FRONT_TAG_ROOM))]),
        svg=_picture("plan", plan, [(view, arrange(plan, view)) for view in (hold, north)]),
        views=(hold, north),
        plates=tuple((stretch, _plate(plan, stretch, hold.within(PLATE))) for stretch in plan.timeline.laps),
    )


def line_style(stretch: Stretch) -> str:
    """CSS classes of the line of a stretch."""
    if stretch.kind == "entry":
        return "entry"
    return palette.lap_class(stretch.style) + (" part" if stretch.kind == "incomplete" else "")


@cache
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


def _picture(key: str, plan: Plan, arranged: Sequence[_Arranged]) -> Markup:
    """One drawing of everything; the one of two views can be turned, and has the cursor's aircraft and event labels."""
    first = len(arranged) == 1
    return element(
        "svg",
        element("title", "Plan view of the hold", id=f"{key}-title"),
        element("desc", _alternative(plan), id=f"{key}-desc"),
        element("g", *_world(plan), class_="world", **_both(arranged, lambda view: view.transform)),
        element("g", furniture.fix_mark(), class_="fix", **_at(arranged, 0.0, 0.0)),
        element("g", *_tags(plan, arranged), class_="tags"),
        element("g", *_signs(plan, arranged), class_="signs"),
        element("g", *(_words(*each, f"words only-{view.name}") for view, places in arranged for each in places.words)),
        element("g", *(_corners(plan.debrief, *each) for each in arranged), class_="furniture"),
        "" if first else element("g", id="plan-aircraft", class_="aircraft", visibility="hidden"),
        id=key,
        class_="plan",
        viewBox=f"0 0 {short(SIZE[0])} {short(SIZE[1])}",
        role="img",
        aria_labelledby=f"{key}-title {key}-desc",
        data_view="hold",
    )


# -- lines -----------------------------------------------------------------------------------------------------------


def _shapes(plan: Plan) -> Iterator[tuple[str, str]]:
    """Every line once, with its key and no look of its own."""
    corridor, course = paths([plan.corridor, plan.course], 0.0)
    yield "corridor", corridor + "Z"
    if plan.solved is not None:
        yield "solved", paths([plan.solved], TOLERANCE)[0]
    if plan.elsewhere:
        yield "elsewhere", "".join(paths(plan.elsewhere, TOLERANCE))
    yield "course", course
    yield from zip(plan.flown, paths([*plan.flown.values()], TOLERANCE))


def _use(key: str, style: str, **attributes: object) -> Markup:
    return element("use", href=f"#path-{key}", class_=style, **attributes)


def _world(plan: Plan) -> Iterator[Markup]:
    yield _use("corridor", "corridor")
    if plan.solved is not None:
        yield _use("solved", "solved")
    if plan.elsewhere:
        yield _use("elsewhere", "elsewhere" if plan.flown else "elsewhere alone")
    yield _use("course", "course")
    for each in plan.timeline.stretches:
        yield _use(each.key, f"flown {line_style(each)}", data_stretch=each.key)


def _plate(plan: Plan, stretch: Stretch, view: View) -> Markup:
    """One lap alone against the solved lap, in the hold frame: the same scale on every plate of a page."""
    x, y = view.place(0.0, 0.0)
    return element(
        "svg",
        element(
            "g",
            _use("solved", "solved") if plan.solved is not None else "",
            _use("course", "course"),
            _use(stretch.key, f"flown {line_style(stretch)}"),
            transform=view.transform,
        ),
        element("circle", cx=x, cy=y, r=4.5, class_="fix-ring"),
        *(
            element("g", sign(each.shape, 3.4), transform=moved(view.place(each.east_nm, each.north_nm)))
            for each in plan.events
            if each.stretch == stretch.key
        ),
        class_="plate-drawing",
        viewBox=f"0 0 {short(PLATE[0])} {short(PLATE[1])}",
        role="img",
        aria_label=f"{stretch.label} from above"
        + (", over the lap that works in this wind" if plan.solved is not None else ""),
    )


# -- marks and words -------------------------------------------------------------------------------------------------


def _both(arranged: Sequence[_Arranged], of: Callable[[View], str]) -> dict[str, str]:
    """``transform`` for the first view, and where there are two both as data for the switch."""
    first, *others = (of(view) for view, _ in arranged)
    return {"transform": first} | ({"data_hold": first, "data_north": others[0]} if others else {})


def _at(arranged: Sequence[_Arranged], east_nm: float, north_nm: float) -> dict[str, str]:
    return _both(arranged, lambda view: moved(view.place(east_nm, north_nm)))


def _words(words: str, centre: Point, style: str) -> Markup:
    return element("text", words, x=centre[0], y=centre[1] + 4.0, text_anchor="middle", class_=style)


def _tags(plan: Plan, arranged: Sequence[_Arranged]) -> Iterator[Markup]:
    """The number of each lap on its line; the key names it anyway."""
    for stretch in plan.timeline.stretches:
        if stretch.kind == "entry":
            continue
        width = tag_width(stretch.tag)
        drawn = [
            element(
                "g",
                element("rect", x=-width / 2, y=-8.5, width=width, height=17.0, rx=3),
                element("text", stretch.tag, y=4.4),
                transform=moved(places.tags[stretch.key]),
                class_=f"only-{view.name}",
            )
            for view, places in arranged
            if stretch.key in places.tags
        ]
        yield element("g", *drawn, class_=f"tag {palette.lap_class(stretch.style)}", data_stretch=stretch.key)


def _signs(plan: Plan, arranged: Sequence[_Arranged]) -> Iterator[Markup]:
    """Per stretch a group of signs; in the drawing of two views with labels, which the choice of one lap shows, or a
    flight of one lap."""
    always = " always" if len(arranged) > 1 and len(plan.timeline.laps) == 1 else ""
    labelled = arranged if len(arranged) > 1 and plan.timeline.laps else ()
    events = [[*mine] for _, mine in itertools.groupby(plan.events, lambda event: event.stretch)]
    labels = [_labels(events, *each) for each in labelled]
    for number, mine in enumerate(events):
        yield element(
            "g",
            *(element("g", sign(e.shape), **_at(arranged, e.east_nm, e.north_nm)) for e in mine),
            element("g", *(label for each in labels for label in each[number]), class_=f"labels{always}"),
            data_stretch=mine[0].stretch,
        )


def _labels(laps: Sequence[Sequence[Event]], view: View, places: Places) -> list[list[Markup]]:
    """What each event of each lap is, beside its sign. Labels of one lap do not see those of another."""
    free, signs = places.free.apart(len(laps)), _spots(laps, view)
    for spots in signs:
        free.keep_off_each(spots, 13.0, 13.0)
    middle = (signs.min(axis=0) + signs.max(axis=0)) / 2.0
    told = [_label_words(mine) for mine in laps]
    labels: list[list[Markup]] = [[] for _ in laps]
    for k, spots in enumerate(_spots([[event for event, _ in each] for each in told], view)):
        words = [each[k][1] if k < len(each) else "" for each in told]
        widths = np.array([text_width(each, LETTERS_PX) for each in words])
        outward = np.where(spots >= middle, 1.0, -1.0) * (1.0, 0.35)
        best = free.put_each(around(spots, outward, widths, LINE_PX, LABEL_GAPS_PX), widths, LINE_PX)
        for mine, text, (x, y) in zip(labels, words, best.tolist()):
            if text:
                mine.append(_words(text, (x, y), f"label only-{view.name}"))
    return labels


def _spots(laps: Sequence[Sequence[Event]], view: View) -> Floats:
    """Where the events of laps stand in a view (most of a lap, laps, 2) [px]; the last again where there are fewer."""
    last = max(map(len, laps)) - 1
    at = [[mine[min(k, len(mine) - 1)] for mine in laps] for k in range(last + 1)]
    east, north = (np.array([[getattr(e, axis) for e in row] for row in at]) for axis in ("east_nm", "north_nm"))
    return np.stack(view.places(east, north), axis=-1)


def _label_words(events: Sequence[Event]) -> list[tuple[Event, str]]:
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


def _corners(debrief: Debrief, view: View, places: Places) -> Markup:
    """North arrow, wind arrow with its words, and scale bar."""
    parts = [
        element("g", furniture.north_arrow(), transform=moved(places.north, view.turn_deg)),
        _words(*places.wind_words, "small"),
    ]
    if places.wind is not None and debrief.wind is not None:
        turn = view.turn_deg + debrief.wind.from_true_deg
        parts.append(element("g", furniture.wind_arrow(), transform=moved(places.wind, turn)))
    bar, _ = furniture.scale_bar(view.px_per_nm, BAR_PX)
    return element("g", *parts, element("g", bar, transform=moved(places.bar)), class_=f"only-{view.name}")


def _alternative(plan: Plan) -> str:
    """The drawing in words, for those who see none."""
    hold, wind, laps = plan.debrief.hold, plan.debrief.wind, len(plan.timeline.laps)
    words = [
        f"{hold.turns.capitalize()} turns, inbound course {heading_name(hold.inbound_course_true_deg)}° true.",
        f"{laps} completed {'lap' if laps == 1 else 'laps'} drawn." if laps else "No completed lap.",
    ]
    if wind is not None:
        words.append(f"Wind from {heading_name(wind.from_true_deg)}° true at {wind.speed_kt:.0f} knots.")
    words.append("The laps are told in numbers in the lap table.")
    return " ".join(words)
