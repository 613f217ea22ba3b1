"""Altitude, airspeed, needle, turn rate and distance from the course against time, with their tolerance bands.

A strip is two drawings side by side: the scale with its words, at the size of the page's text, and the plot, which
stretches to any width because its lines keep their thickness (``vector-effect``). Zooming to one lap is then
nothing but another ``viewBox``, and a narrow screen needs no second drawing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
from markupsafe import Markup

from trackgrade.drawing.lengths import round_step, round_ticks
from trackgrade.drawing.svg import element, short, simplified_polylines
from trackgrade.hold.frame import HoldFrame
from trackgrade.report.numbers import MINUS, clock, figure, share_words
from trackgrade.report.plan import corridor_edges
from trackgrade.report.timeline import AXIS_WIDTH, Stretch, TimeAxis, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.score.levels import held_spans
from trackgrade.score.measures import NO_ALTITUDE
from trackgrade.score.needles import Shown
from trackgrade.score.series import inside
from trackgrade.track.track import Floats

#: Inner height of every plot, in units of the drawing; y grows down.
TALL = 1000.0
#: Height on the page [px].
HEIGHT_PX = 104
#: Lines are simplified to this many units: a third of a pixel on a wide screen.
TOLERANCE = 3.0
#: Most words on the time axis, and on a scale.
MOST_TICKS, MOST_SCALE_TICKS = 7, 5
#: The corridor along one inbound leg is drawn through so many points: the edges of a VOR's close in on the station.
CORRIDOR_POINTS = 40
#: Lap numbers are this far apart, as a share of the axis: 20 px of 600.
HEADS_APART = 1.0 / 30.0

#: Start and end [s since 1970].
Span = tuple[float, float]


class Line(NamedTuple):
    """One quantity over the samples (n,). ``style`` is a CSS class: "first" is the one the band is about."""

    words: str
    values: Floats
    style: str = "first"


class Band(NamedTuple):
    """A tolerance over a span of time: the times (n,) [s since 1970] and its two edges (n,)."""

    epoch_s: Floats
    low: Floats
    high: Floats


class Scale(NamedTuple):
    """What a strip is high: from ``low`` to ``high``, with (value, words) of its ticks."""

    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]

    @staticmethod
    def over(values: Floats, bands: Sequence[Band], least: float) -> Scale:
        """Shows the values, a stray outlier aside, and the whole of each band with air about it."""
        edges = [float(edge) for band in bands for edge in (band.low.min(), band.high.max())]
        if len(values):
            edges += np.percentile(values, [0.2, 99.8]).tolist()
        if not edges:
            return Scale.between(0.0, least)
        middle, span = (min(edges) + max(edges)) / 2, max(max(edges) - min(edges), least)
        return Scale.between(middle - 0.58 * span, middle + 0.58 * span)

    @staticmethod
    def between(low: float, high: float) -> Scale:
        """With ticks at round steps."""
        whole = round_step(high - low, MOST_SCALE_TICKS) >= 1
        ticks = round_ticks(low, high, MOST_SCALE_TICKS)
        return Scale(low, high, tuple((v, figure(v) if whole else f"{v + 0.0:.6g}".replace("-", MINUS)) for v in ticks))

    def y(self, value: Floats | float) -> Floats:
        """Heights in a plot of `TALL`, y down."""
        return (self.high - np.asarray(value, dtype=np.float64)) / (self.high - self.low) * TALL

    def drawn(self, height_px: int) -> Markup:
        """The words beside a plot of this height."""
        words = []
        for value, text in self.ticks:
            y = float(self.y(value)) / TALL * height_px
            words.append(element("text", text, x=48, y=min(max(y + 4.0, 10.0), height_px - 2.0), text_anchor="end"))
        return element("svg", *words, width=52, height=height_px, class_="scale", aria_hidden="true")


class Strip(NamedTuple):
    """One strip as data. ``outside`` are (start, end) times in which an item counts the value as outside.

    ``why`` is set, and there are no lines, where the track does not carry the quantity.
    """

    key: str
    title: str
    unit: str
    scale: Scale
    lines: tuple[Line, ...] = ()
    bands: tuple[Band, ...] = ()
    outside: tuple[Span, ...] = ()
    band_words: str = ""
    why: str = ""


NO_SCALE = Scale(0.0, 1.0, ())


def strips(debrief: Debrief, timeline: Timeline, needles: Sequence[Shown]) -> tuple[Strip, ...]:
    """The four strips of the page, in the order an instrument scan names them."""
    return (
        altitude(debrief, timeline),
        airspeed(debrief, timeline),
        _needle(debrief, timeline, needles),
        _turn_rate(debrief, timeline),
    )


# -- the quantities ------------------------------------------------------------------------------------------------


def _outside(debrief: Debrief, item: str) -> tuple[Span, ...]:
    """The times in which an item counts a lap's value as outside."""
    results = (lap.item(item) for lap in debrief.laps)
    excursions = (each for result in results if result is not None for each in result.excursions)
    return tuple(sorted({(each.start_epoch_s, each.start_epoch_s + each.seconds) for each in excursions}))


def _shown(values: Floats, debrief: Debrief, stretches: Sequence[Stretch]) -> Floats:
    """Finite values inside the stretches (or all without any)."""
    samples = debrief.samples
    mask = np.full(len(samples), not stretches)
    for each in stretches:
        mask[inside(samples, each.start_epoch_s, each.end_epoch_s)] = True
    chosen: Floats = values[mask & np.isfinite(values)]
    return chosen


def _lap_spans(timeline: Timeline) -> list[Span]:
    """The laps, completed or not; all that is shown without any."""
    laps = [(each.start_epoch_s, each.end_epoch_s) for each in timeline.stretches if each.lap is not None]
    return laps or list(timeline.axis.spans)


def _inbound_spans(timeline: Timeline) -> list[Span]:
    laps = (each.lap for each in timeline.laps)
    return [
        (lap.inbound_start.epoch_s, lap.end.epoch_s)
        for lap in laps
        if lap is not None and lap.inbound_start is not None and lap.end is not None
    ]


def _about(reference: float, limit: float, spans: Iterable[Span]) -> tuple[Band, ...]:
    """A band of this half width about a reference."""
    return tuple(Band(np.array(span), np.full(2, reference - limit), np.full(2, reference + limit)) for span in spans)


def _reference_words(note: str, reference: float, unit: str) -> str:
    """What a band is measured from: the analysis' own words, or the number."""
    return note or f"{figure(reference)} {unit}"


def altitude(debrief: Debrief, timeline: Timeline) -> Strip:
    values = debrief.samples.alt_ft
    shown = _shown(values, debrief, timeline.stretches)
    if len(shown) == 0:
        return Strip("altitude", "Altitude", "ft", NO_SCALE, why=f"not measurable: {NO_ALTITUDE}")
    reference = debrief.altitude.value
    if reference is None:
        reference = debrief.hold.altitude_ft
    limit = debrief.standard.limit("altitude")
    bands: tuple[Band, ...] = ()
    words = ""
    if reference is not None and limit is not None:
        laps = _lap_spans(timeline)
        held = [each for span in laps for each in held_spans(debrief.levels, *span)]
        bands = tuple(
            band for level, start, end in held for band in _about(level.altitude_ft, limit, [(start, end)])
        ) or _about(reference, limit, laps)
        words = f"band: ± {limit:g} ft about {_reference_words(debrief.altitude.note, reference, 'ft')}"
    return Strip(
        "altitude", "Altitude", "ft", Scale.over(shown, bands, 200.0), (Line("altitude", values),), bands,
        _outside(debrief, "altitude"), words,
    )  # fmt: skip


def airspeed(debrief: Debrief, timeline: Timeline) -> Strip:
    samples = debrief.samples
    source = {"logged": "logged", "estimated": "estimated", "none": ""}[samples.airspeed_source]
    lines = []
    if len(_shown(samples.ias_kt, debrief, timeline.stretches)):
        lines.append(Line(f"indicated airspeed, {source}", samples.ias_kt))
    elif len(_shown(samples.tas_kt, debrief, timeline.stretches)):
        lines.append(Line(f"true airspeed, {source}", samples.tas_kt))
    ground = Line("ground speed", samples.groundspeed_kt, "second")
    bands: tuple[Band, ...] = ()
    words, why = "", ""
    limit = debrief.standard.limit("airspeed")
    reference = debrief.airspeed.value
    if lines and "indicated" in lines[0].words and limit is not None and reference is not None:
        bands = _about(reference, limit, _lap_spans(timeline))
        words = f"band: ± {limit:g} kt about {_reference_words(debrief.airspeed.note, reference, 'KIAS')}"
    if not lines:
        why = "airspeed not measurable: " + (debrief.wind_note or "none in the track, and no wind from the turns")
    drawn = (*lines, ground)
    shown = np.concatenate([_shown(line.values, debrief, timeline.stretches) for line in drawn])
    return Strip(
        "airspeed", "Airspeed", "kt", Scale.over(shown, bands, 40.0), drawn, bands, _outside(debrief, "airspeed"),
        words, why,
    )  # fmt: skip


def _needle(debrief: Debrief, timeline: Timeline, needles: Sequence[Shown]) -> Strip:
    """Deflection as the pilot saw it, pegged at full scale."""
    share = debrief.standard.needle_share
    lines = tuple(
        Line(each.needle.label, np.clip(each.right, -1.04, 1.04), "first" if each.needle.own else "second")
        for each in needles
    )
    scale = Scale(-1.2, 1.2, ((1.0, "full R"), (0.5, "½"), (0.0, "0"), (-0.5, "½"), (-1.0, "full L")))
    return Strip(
        "needle", "Needle: aircraft left or right of the course", "of full scale", scale, lines,
        _about(0.0, share, _inbound_spans(timeline)), _outside(debrief, "course"), _inbound_words(share),
    )  # fmt: skip


def _inbound_words(share: float) -> str:
    return f"band: {share_words(share)}, inbound legs"


def _turn_rate(debrief: Debrief, timeline: Timeline) -> Strip:
    samples = debrief.samples
    side = debrief.hold.side
    rate = (
        samples.heading_rate_deg_s if np.isfinite(samples.heading_rate_deg_s).any() else samples.ground_track_rate_deg_s
    )
    values = rate * side
    limit = debrief.standard.limit("turn_rate")
    due = [
        turn.due_rate_deg_s for lap in debrief.laps for _, turn in lap.measures.turns if turn.due_rate_deg_s is not None
    ]
    rate_due = float(np.median(due)) if due else 3.0
    bands = _about(rate_due, limit, _lap_spans(timeline)) if limit is not None else ()
    words = f"band: {rate_due:.1f} ± {limit:g}°/s" if limit is not None else f"standard rate is {3.0:g}°/s"
    shown = np.append(_shown(values, debrief, timeline.stretches), [0.0, 3.0])
    return Strip(
        "rate", f"Turn rate, {'right' if side > 0 else 'left'} turn up", "°/s", Scale.over(shown, bands, 4.0),
        (Line("turn rate of the heading", values),), bands, _outside(debrief, "turn_rate"), words,
    )  # fmt: skip


def off_course(debrief: Debrief, timeline: Timeline) -> Strip:
    """Distance from the course line, the holding side up, over the corridor of each inbound leg."""
    title, values = "Distance from the course, holding side up", debrief.samples.cross_nm
    # The way to the hold may come from anywhere.
    stretches = [each for each in timeline.stretches if each.kind != "entry"] or timeline.stretches
    shown = _shown(values, debrief, stretches)
    if len(shown) == 0:
        return Strip("cross", title, "NM", NO_SCALE, why="no position in the track")
    bands = []
    for start, end in _inbound_spans(timeline):
        times = np.linspace(start, end, CORRIDOR_POINTS)
        along = np.interp(times, debrief.samples.epoch_s, debrief.samples.along_nm)
        bands.append(Band(times, *corridor_edges(debrief, HoldFrame(debrief.hold), along)))
    return Strip(
        "cross", title, "NM", Scale.over(np.append(shown, 0.0), bands, 0.5),
        (Line("distance from the course", values),), tuple(bands), _outside(debrief, "course"),
        _inbound_words(debrief.standard.needle_share) if bands else "",
    )  # fmt: skip


# -- drawing ---------------------------------------------------------------------------------------------------------


def draw(strip: Strip, debrief: Debrief, timeline: Timeline) -> Markup:
    """The plot of one strip; its scale is drawn by `Scale.drawn`."""
    axis, scale, stretches = timeline.axis, strip.scale, timeline.stretches
    # Level bands alone: the page shows the corridor from above.
    bands = [(band.epoch_s[0], band.epoch_s[-1]) for band in strip.bands]
    levels = [scale.y(np.array((band.high[0], band.low[0]))).tolist() for band in strip.bands]
    shaded = [
        (each.start_epoch_s, each.end_epoch_s) for each in stretches if each.lap is not None and not each.style % 2
    ]
    ticks = "".join(f"M0 {short(float(scale.y(value)))}H{short(AXIS_WIDTH)}" for value, _ in scale.ticks)
    edges = [*(each.start_epoch_s for each in stretches), *(each.end_epoch_s for each in stretches[-1:])]
    shapes = [
        _blocks(axis, shaded, [(0.0, TALL)] * len(shaded), "lap-shade"),
        _blocks(axis, bands, levels, "band"),
        element("path", d=ticks, class_="grid"),
        _uprights(axis, edges, "lap-edge"),
        _uprights(axis, [mark.epoch_s for mark in debrief.track.track.marks], "mark-edge"),
    ]
    epoch = debrief.samples.epoch_s
    holes = np.flatnonzero(debrief.samples.gap_before)
    x = np.insert(axis.x(epoch), holes, np.nan)
    drawn = [
        (x, np.insert(np.clip(scale.y(line.values), -50.0, TALL + 50.0), holes, np.nan)) for line in strip.lines[::-1]
    ]
    for d, line in zip(simplified_polylines(drawn, TOLERANCE), strip.lines[::-1]):
        shapes.append(element("path", d=d, class_=f"line {line.style}"))
    outside = [(start, max(end, start + 1.0)) for start, end in strip.outside]
    shapes.append(_blocks(axis, outside, [(TALL - 62.0, TALL)] * len(outside), "outside"))
    for (_, _, _, x0), (_, _, x1, _) in zip(axis.pieces[:-1], axis.pieces[1:]):
        shapes.append(element("rect", x=x0, y=0, width=x1 - x0, height=TALL, class_="break"))
    return element(
        "svg",
        element("svg", *shapes, viewBox=f"0 0 {short(AXIS_WIDTH)} {short(TALL)}", preserveAspectRatio="none",
                width="100%", height="100%", class_="zoom"),
        element("line", x1="0", x2="0", y1="0", y2="100%", class_="cursor", visibility="hidden"),
        width="100%",
        height=HEIGHT_PX,
        class_="plot",
        role="img",
        aria_label=_words(strip, debrief, timeline),
    )  # fmt: skip


def _blocks(axis: TimeAxis, spans: Sequence[Span], heights: Sequence[Span], style: str) -> Markup:
    """Boxes over spans of time, each from one height to another, as one shape; none where the axis does not go."""
    x = axis.x(np.array(spans).reshape(-1, 2))
    parts = [
        f"M{short(x0)} {short(top)}H{short(x1)}V{short(bottom)}H{short(x0)}Z"
        for (x0, x1), (top, bottom) in zip(x.tolist(), heights)
        if np.isfinite(x0 + x1)
    ]
    return element("path", d="".join(parts), class_=style) if parts else Markup("")


def _uprights(axis: TimeAxis, at: Sequence[float], style: str) -> Markup:
    """Lines up the strip at moments that the axis shows, as one shape."""
    x = axis.x(np.array(at, dtype=float))
    d = "".join(f"M{short(each)} 0V{short(TALL)}" for each in x[np.isfinite(x)].tolist())
    return element("path", d=d, class_=style) if d else Markup("")


def _words(strip: Strip, debrief: Debrief, timeline: Timeline) -> str:
    """The strip in one sentence, for those who do not see it."""
    if not strip.lines:
        return f"{strip.title}: {strip.why}"
    values = _shown(strip.lines[0].values, debrief, timeline.stretches)
    if len(values) == 0:
        return f"{strip.title} against time: {strip.why or 'no values'}."
    text = f"{strip.title} against time: {values.min():.3g} to {values.max():.3g} {strip.unit}"
    if strip.unit == "ft":
        text = f"{strip.title} against time: {values.min():.0f} to {values.max():.0f} ft"
    times = len(strip.outside)
    outside = f"; outside its band {times} {'time' if times == 1 else 'times'}" if times else ""
    return f"{text}; {strip.band_words}{outside}." if strip.band_words else f"{text}{outside}."


def time_ticks(axis: TimeAxis) -> tuple[tuple[float, str, bool], ...]:
    """(percent of the width, words, also on a narrow screen) of the time axis, whole minutes or parts of them."""
    pieces = axis.pieces
    if not pieces:
        return ()
    seconds = sum(end - start for start, end, _, _ in pieces)
    step = next((s for s in (15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200) if seconds / s <= MOST_TICKS), 14400)
    ticks = []
    for start, end, _, _ in pieces:
        at = np.ceil(start / step) * step
        while at <= end:
            percent = float(axis.x(np.array([at]))[0]) / AXIS_WIDTH * 100.0
            if 3.0 < percent < 97.0:
                ticks.append((percent, clock(at)[:5] if step >= 60 else clock(at)))
            at += step
    return tuple((percent, words, k % 2 == 0) for k, (percent, words) in enumerate(ticks))


def time_axis(timeline: Timeline) -> Markup:
    """The words under (and lap numbers over) the strips; the page's script redraws it on zoom."""
    words = [
        element("text", text, x=f"{short(percent, 2)}%", y=14, text_anchor="middle", class_=None if narrow else "wide")
        for percent, text, narrow in time_ticks(timeline.axis)
    ]
    return element("svg", *words, width="100%", height=18, class_="time-words", aria_hidden="true")


def lap_heads(timeline: Timeline) -> Markup:
    """Lap numbers above the strips, each over the middle of its lap; one too near the last shown waits for a zoom."""
    words = []
    for each, share, room in timeline.heads(lambda _: HEADS_APART, since=-1.0):
        x, hidden = f"{short(share * 100.0, 2)}%", None if room else "hidden"
        words.append(
            element("text", each.tag, x=x, y=13, text_anchor="middle", visibility=hidden, data_stretch=each.key)
        )
    return element("svg", *words, width="100%", height=17, class_="lap-heads", aria_hidden="true")
