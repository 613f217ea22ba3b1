"""Altitude, airspeed, needle and turn rate against time, with their tolerance bands.

A strip is two drawings side by side: the scale with its words, at the size of the page's text, and the plot, which
stretches to any width because its lines keep their thickness (``vector-effect``). Zooming to one lap is then
nothing but another ``viewBox``, and a narrow screen needs no second drawing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from markupsafe import Markup

from trackgrade.drawing.lengths import round_step, round_ticks
from trackgrade.drawing.svg import element, short, simplified_polyline
from trackgrade.report.limits import corridor_share, limit_of, share_words
from trackgrade.report.needles import NeedleLine
from trackgrade.report.numbers import clock
from trackgrade.report.timeline import AXIS_WIDTH, TimeAxis, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.score.levels import held_spans
from trackgrade.score.measures import NO_ALTITUDE
from trackgrade.track.track import Floats

#: Inner height of every plot, in units of the drawing; y grows down.
TALL = 1000.0
#: Height on the page [px].
HEIGHT_PX = 104
#: Lines are simplified to this many units: a third of a pixel on a wide screen.
TOLERANCE = 3.0
#: Most words on the time axis.
MOST_TICKS = 7


@dataclass(frozen=True, eq=False)
class Line:
    """One quantity over the samples (n,). ``style`` is a CSS class: "first" is the one the band is about."""

    words: str
    values: Floats
    style: str = "first"


@dataclass(frozen=True)
class Band:
    """A tolerance: inside from ``low`` to ``high``. ``only_inbound`` draws it over the inbound legs alone,
    ``spans`` over these (start, end) times [s since 1970]."""

    low: float
    high: float
    only_inbound: bool = False
    spans: tuple[tuple[float, float], ...] | None = None


@dataclass(frozen=True, eq=False)
class Strip:
    """One strip as data. ``outside`` are (start, end) times in which an item counts the value as outside.

    ``why`` is set, and there are no lines, where the track does not carry the quantity.
    """

    key: str
    title: str
    unit: str
    lines: tuple[Line, ...]
    bands: tuple[Band, ...]
    outside: tuple[tuple[float, float], ...]
    low: float
    high: float
    ticks: tuple[tuple[float, str], ...]
    band_words: str = ""
    why: str = ""


@dataclass(frozen=True)
class DrawnStrip:
    """What the template places: words around, scale and plot."""

    key: str
    title: str
    unit: str
    legend: tuple[tuple[str, str], ...]
    band_words: str
    why: str
    counted_outside: bool
    scale: Markup
    plot: Markup


def strips(debrief: Debrief, timeline: Timeline, needles: tuple[NeedleLine, ...]) -> tuple[Strip, ...]:
    """The four strips, in the order an instrument scan names them."""
    return (
        _altitude(debrief, timeline),
        _airspeed(debrief, timeline),
        _needle(debrief, needles),
        _turn_rate(debrief, timeline),
    )


def draw(strip: Strip, debrief: Debrief, timeline: Timeline) -> DrawnStrip:
    """One strip drawn."""
    return DrawnStrip(
        key=strip.key,
        title=strip.title,
        unit=strip.unit,
        legend=tuple((line.style, line.words) for line in strip.lines),
        band_words=strip.band_words,
        why=strip.why,
        counted_outside=bool(strip.outside),
        scale=_scale(strip),
        plot=_plot(strip, debrief, timeline),
    )


# -- the quantities ------------------------------------------------------------------------------------------------


def outside_spans(debrief: Debrief, *items: str) -> tuple[tuple[float, float], ...]:
    """(start, end) of the times [s since 1970] in which an item counts a lap's value as outside."""
    spans = {
        (each.start_epoch_s, each.start_epoch_s + each.seconds)
        for lap in debrief.laps
        for item in items
        if (result := lap.item(item)) is not None
        for each in result.excursions
    }
    return tuple(sorted(spans))


def shown_values(values: Floats, debrief: Debrief, timeline: Timeline) -> Floats:
    """Finite values inside the stretches (or the whole axis without any)."""
    epoch = debrief.samples.epoch_s
    mask = np.zeros(len(epoch), dtype=bool)
    for each in timeline.stretches:
        mask |= (epoch >= each.start_epoch_s) & (epoch <= each.end_epoch_s)
    if not timeline.stretches:
        mask[:] = True
    chosen: Floats = values[mask & np.isfinite(values)]
    return chosen


def _range(values: Floats, bands: tuple[Band, ...], least: float) -> tuple[float, float]:
    """A range that shows the values, a stray outlier aside, and the whole of each band with air about it."""
    edges = [edge for band in bands for edge in (band.low, band.high)]
    if len(values):
        low, high = np.percentile(values, [0.2, 99.8])
        edges += [float(low), float(high)]
    if not edges:
        return 0.0, least
    low, high = min(edges), max(edges)
    middle, span = (low + high) / 2, max(high - low, least)
    return middle - 0.58 * span, middle + 0.58 * span


def even_ticks(low: float, high: float, most: int = 5) -> tuple[tuple[float, str], ...]:
    """(value, words) of round steps through a range."""
    whole = round_step(high - low, most) >= 1
    return tuple(
        (v, f"{v + 0.0:,.0f}".replace(",", "\u202f") if whole else f"{v + 0.0:.6g}")
        for v in round_ticks(low, high, most)
    )


def _altitude(debrief: Debrief, timeline: Timeline) -> Strip:
    values = debrief.samples.alt_ft
    shown = shown_values(values, debrief, timeline)
    if len(shown) == 0:
        return _empty("altitude", "Altitude", "ft", f"not measurable: {NO_ALTITUDE}")
    reference = debrief.altitude_reference_ft
    if reference is None:
        reference = debrief.hold.altitude_ft
    limit = limit_of(debrief, "altitude")
    bands: tuple[Band, ...] = ()
    words = ""
    if reference is not None and limit is not None:
        bands = _level_bands(debrief, timeline, limit) or (Band(reference - limit, reference + limit),)
        words = f"band: ± {limit:g} ft about {_about(debrief.altitude_reference_note, reference, 'ft')}"
    low, high = _range(shown, bands, 200.0)
    return Strip(
        "altitude", "Altitude", "ft", (Line("altitude", values),), bands, outside_spans(debrief, "altitude"), low, high,
        even_ticks(low, high), words,
    )  # fmt: skip


def _level_bands(debrief: Debrief, timeline: Timeline, limit: float) -> tuple[Band, ...]:
    """A band for each level that was in force on the laps, over the time it was."""
    spans = band_spans(Band(0.0, 0.0), timeline)
    held = [each for span in spans for each in held_spans(debrief.levels, *span)]
    return tuple(
        Band(
            level.altitude_ft - limit,
            level.altitude_ft + limit,
            spans=tuple((start, end) for each, start, end in held if each is level),
        )
        for level in debrief.levels
        if any(each is level for each, _, _ in held)
    )


def _about(note: str, reference: float, unit: str) -> str:
    """What a band is measured from: the analysis' own words, or the number."""
    return note or f"{reference:,.0f} {unit}".replace(",", "\u202f")


def _airspeed(debrief: Debrief, timeline: Timeline) -> Strip:
    samples = debrief.samples
    source = {"logged": "logged", "estimated": "estimated", "none": ""}[samples.airspeed_source]
    lines = []
    if len(shown_values(samples.ias_kt, debrief, timeline)):
        lines.append(Line(f"indicated airspeed, {source}", samples.ias_kt))
    elif len(shown_values(samples.tas_kt, debrief, timeline)):
        lines.append(Line(f"true airspeed, {source}", samples.tas_kt))
    ground = Line("ground speed", samples.groundspeed_kt, "second")
    bands: tuple[Band, ...] = ()
    words, why = "", ""
    limit = limit_of(debrief, "airspeed")
    reference = debrief.airspeed_reference_kias
    if lines and "indicated" in lines[0].words and limit is not None and reference is not None:
        bands = (Band(reference - limit, reference + limit),)
        words = f"band: ± {limit:g} kt about {_about(debrief.airspeed_reference_note, reference, 'KIAS')}"
    if not lines:
        why = "airspeed not measurable: " + (debrief.wind_note or "none in the track, and no wind from the turns")
    drawn = (*lines, ground)
    shown = np.concatenate([shown_values(line.values, debrief, timeline) for line in drawn])
    low, high = _range(shown, bands, 40.0)
    return Strip(
        "airspeed", "Airspeed", "kt", drawn, bands, outside_spans(debrief, "airspeed"), low, high,
        even_ticks(low, high), words, why,
    )  # fmt: skip


def _needle(debrief: Debrief, needles: tuple[NeedleLine, ...]) -> Strip:
    """Deflection as the pilot saw it, pegged at full scale."""
    share = corridor_share(debrief)
    lines = tuple(
        Line(needle.label, np.clip(needle.share, -1.04, 1.04), "first" if needle.own else "second")
        for needle in needles
    )
    return Strip(
        "needle", "Needle: aircraft left or right of the course", "of full scale", lines,
        (Band(-share, share, only_inbound=True),), outside_spans(debrief, "course"), -1.2, 1.2,
        ((1.0, "full R"), (0.5, "½"), (0.0, "0"), (-0.5, "½"), (-1.0, "full L")),
        f"band: {share_words(share)}, inbound legs",
    )  # fmt: skip


def _turn_rate(debrief: Debrief, timeline: Timeline) -> Strip:
    samples = debrief.samples
    side = debrief.hold.side
    rate = (
        samples.heading_rate_deg_s if np.isfinite(samples.heading_rate_deg_s).any() else samples.ground_track_rate_deg_s
    )
    values = rate * side
    limit = limit_of(debrief, "turn_rate")
    due = [
        turn.due_rate_deg_s for lap in debrief.laps for _, turn in lap.measures.turns if turn.due_rate_deg_s is not None
    ]
    rate_due = float(np.median(due)) if due else 3.0
    bands = (Band(rate_due - limit, rate_due + limit),) if limit is not None else ()
    words = f"band: {rate_due:.1f} ± {limit:g}°/s" if limit is not None else f"standard rate is {3.0:g}°/s"
    low, high = _range(np.append(shown_values(values, debrief, timeline), [0.0, 3.0]), bands, 4.0)
    return Strip(
        "rate", f"Turn rate, {'right' if side > 0 else 'left'} turn up", "°/s",
        (Line("turn rate of the heading", values),), bands, outside_spans(debrief, "turn_rate"),
        low, high, even_ticks(low, high), words,
    )  # fmt: skip


def _empty(key: str, title: str, unit: str, why: str) -> Strip:
    return Strip(key, title, unit, (), (), (), 0.0, 1.0, (), "", why)


# -- drawing ---------------------------------------------------------------------------------------------------------


def _y(strip: Strip, value: Floats | float) -> Floats:
    return (strip.high - np.asarray(value, dtype=np.float64)) / (strip.high - strip.low) * TALL


def _scale(strip: Strip) -> Markup:
    words = []
    for value, text in strip.ticks:
        y = float(_y(strip, value)) / TALL * HEIGHT_PX
        words.append(element("text", text, x=48, y=min(max(y + 4.0, 10.0), HEIGHT_PX - 2.0), text_anchor="end"))
    return element("svg", *words, width=52, height=HEIGHT_PX, class_="scale", aria_hidden="true")


def _plot(strip: Strip, debrief: Debrief, timeline: Timeline) -> Markup:
    axis = timeline.axis
    inside: list[Markup] = []
    inside += [
        _block(axis, each.start_epoch_s, each.end_epoch_s, 0.0, TALL, "lap-shade")
        for each in timeline.stretches
        if each.lap is not None and each.style % 2 == 0
    ]
    for band in strip.bands:
        top, bottom = float(_y(strip, band.high)), float(_y(strip, band.low))
        for start, end in band_spans(band, timeline):
            inside.append(_block(axis, start, end, top, bottom - top, "band"))
    for value, _ in strip.ticks:
        at = short(float(_y(strip, value)))
        inside.append(element("path", d=f"M0 {at}H{short(AXIS_WIDTH)}", class_="grid"))
    for stretch in timeline.stretches:
        inside.append(_upright(axis, stretch.start_epoch_s, "lap-edge"))
        if stretch is timeline.stretches[-1]:
            inside.append(_upright(axis, stretch.end_epoch_s, "lap-edge"))
    inside += [_upright(axis, mark.epoch_s, "mark-edge") for mark in debrief.track.track.marks]
    epoch = debrief.samples.epoch_s
    holes = np.flatnonzero(debrief.samples.gap_before)
    x = np.insert(axis.x(epoch), holes, np.nan)
    for line in reversed(strip.lines):
        y = np.insert(np.clip(_y(strip, line.values), -50.0, TALL + 50.0), holes, np.nan)
        inside.append(element("path", d=simplified_polyline(x, y, TOLERANCE), class_=f"line {line.style}"))
    for start, end in strip.outside:
        inside.append(_block(axis, start, max(end, start + 1.0), TALL - 62.0, 62.0, "outside"))
    for (_, _, _, x0), (_, _, x1, _) in zip(axis.pieces[:-1], axis.pieces[1:]):
        inside.append(element("rect", x=x0, y=0, width=x1 - x0, height=TALL, class_="break"))
    return element(
        "svg",
        element("svg", *inside, viewBox=f"0 0 {short(AXIS_WIDTH)} {short(TALL)}", preserveAspectRatio="none",
                width="100%", height="100%", class_="zoom"),
        element("line", x1="0", x2="0", y1="0", y2="100%", class_="cursor", visibility="hidden"),
        width="100%",
        height=HEIGHT_PX,
        class_="plot",
        role="img",
        aria_label=_words(strip, debrief, timeline),
    )  # fmt: skip


def band_spans(band: Band, timeline: Timeline) -> list[tuple[float, float]]:
    """(start, end) of the times [s since 1970] over which a band is drawn."""
    if band.spans is not None:
        return list(band.spans)
    if not band.only_inbound:
        laps = [each for each in timeline.stretches if each.lap is not None]
        return [(each.start_epoch_s, each.end_epoch_s) for each in laps] or list(timeline.axis.spans)
    out = []
    for stretch in timeline.laps:
        lap = stretch.lap
        if lap is not None and lap.inbound_start is not None and lap.end is not None:
            out.append((lap.inbound_start.epoch_s, lap.end.epoch_s))
    return out


def _block(axis: TimeAxis, start: float, end: float, y: float, height: float, style: str) -> Markup:
    x = axis.x(np.array([start, end]))
    if not np.isfinite(x).all():
        return Markup("")
    return element("rect", x=float(x[0]), y=y, width=float(x[1] - x[0]), height=height, class_=style)


def _upright(axis: TimeAxis, at: float, style: str) -> Markup:
    x = float(axis.x(np.array([at]))[0])
    return element("path", d=f"M{short(x)} 0V{short(TALL)}", class_=style) if np.isfinite(x) else Markup("")


def _words(strip: Strip, debrief: Debrief, timeline: Timeline) -> str:
    """The strip in one sentence, for those who do not see it."""
    if not strip.lines:
        return f"{strip.title}: {strip.why}"
    values = shown_values(strip.lines[0].values, debrief, timeline)
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
    """Lap numbers above the strips, each over the middle of its lap."""
    words = []
    for stretch in timeline.stretches:
        middle = timeline.axis.x(np.array([stretch.start_epoch_s, stretch.end_epoch_s]))
        if stretch.kind == "incomplete" or not np.isfinite(middle).all():
            continue
        x = short(float(middle.mean()) / AXIS_WIDTH * 100.0, 2)
        words.append(element("text", stretch.tag, x=f"{x}%", y=13, text_anchor="middle", data_stretch=stretch.key))
    return element("svg", *words, width="100%", height=17, class_="lap-heads", aria_hidden="true")
