"""Two smaller tables behind the lap table: where the watch was started, and each inbound leg on each needle."""

from __future__ import annotations

from dataclasses import dataclass

from trackgrade.report.numbers import DASH, figure
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief, Measurement, NeedleReading, OutboundTimes, Reference


@dataclass(frozen=True)
class SideTable:
    """``heads`` over the columns, ``rows`` of (row head, cells); ``note`` says what the numbers are."""

    title: str
    note: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


def side_tables(debrief: Debrief, timeline: Timeline) -> tuple[SideTable, ...]:
    """The tables that this flight has something for."""
    return tuple(each for each in (_watch(debrief, timeline), _needles(debrief, timeline)) if each is not None)


def _short(stretch: Stretch) -> str:
    return stretch.label[0].upper() + stretch.label[1:]


def _watch(debrief: Debrief, timeline: Timeline) -> SideTable | None:
    watch = debrief.watch
    if watch is None or not watch.references:
        return None
    references = watch.references
    rows = []
    for stretch in timeline.laps:
        times = next((each for each in watch.times if _is(each.visit, each.number, stretch)), None)
        seconds = [None if times is None else _from(times, each.reference).value for each in references]
        rows.append((_short(stretch), tuple(DASH if value is None else figure(value, 1) for value in seconds)))
    rows += [
        ("Scatter", tuple(figure(each.scatter_s, 1) for each in references)),
        ("Unexplained", tuple(figure(each.unexplained_s, 1) for each in references)),
        ("Share", tuple(f"{each.probability:.0%}" for each in references)),
    ]
    return SideTable(
        title="Outbound time from each place a watch may be started",
        note="Seconds. Scatter is the standard deviation over the laps; unexplained is what is left of it after the "
        "changes that the inbound times asked for. The share says how likely the watch was started there, of these.",
        heads=tuple(each.title[0].upper() + each.title[1:] for each in references),
        rows=tuple(rows),
    )


def _from(times: OutboundTimes, reference: Reference) -> Measurement:
    return {
        "abeam": times.abeam_s,
        "abeam_by_bearing": times.abeam_by_bearing_s,
        "abeam_or_heading": times.abeam_or_heading_s,
        "wings_level": times.wings_level_s,
        "mark": times.mark_s,
    }[reference]


def _is(visit: int, number: int, stretch: Stretch) -> bool:
    return stretch.lap is not None and (visit, number) == (stretch.visit, stretch.lap.number)


def _needles(debrief: Debrief, timeline: Timeline) -> SideTable | None:
    labels = dict.fromkeys(each.label for each in debrief.needles)
    if len(labels) < 2:
        return None
    own = {each.label for each in debrief.needles if each.own}
    rows = []
    for stretch in timeline.laps:
        mine = {each.label: each for each in debrief.needles if _is(each.visit, each.lap, stretch)}
        rows.append((_short(stretch), tuple(_largest(mine.get(label)) for label in labels)))
    return SideTable(
        title="Each inbound leg on each needle",
        note="Largest deflection as a share of full scale, left (L) or right (R) of the course; 1 and more is pegged. "
        "Read from the capture of the course to the fix, or to half a mile from a VOR.",
        heads=tuple(label[0].upper() + label[1:] + (" (this hold)" if label in own else "") for label in labels),
        rows=tuple(rows),
    )


def _largest(reading: NeedleReading | None) -> str:
    if reading is None or reading.largest is None:
        return DASH
    return f"{figure(reading.largest, 2)} {(reading.side or '')[:1].upper()}".rstrip()
