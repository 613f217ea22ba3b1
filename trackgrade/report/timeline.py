"""Which stretch of the flight the pictures show, what each moment of it belongs to, and where it lies on a page.

A flight of an hour with ten minutes of holding is shown as those ten minutes; two visits an hour apart stand side
by side with a break between them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Literal, NamedTuple

import numpy as np

from trackgrade.score.debrief import Debrief, GradedVisit
from trackgrade.score.lap import GradedLap
from trackgrade.segment.flown import Lap, Moment
from trackgrade.track.track import Bools, Floats

#: How much of the way to the hold, and of the way out of it, the strips show [s].
LEAD_IN_S = 90.0
LEAD_OUT_S = 45.0
#: Visits closer than this are shown in one piece [s].
JOIN_S = 240.0
#: Width of the whole time axis and of a break between two pieces of it, in units of the drawing.
AXIS_WIDTH = 10_000.0
BREAK_WIDTH = 180.0


class Stretch(NamedTuple):
    """One piece of flying that can be chosen: an entry, a lap, a lap not completed, a lap on the reciprocal.

    ``style`` numbers the line styles: adjacent laps differ in colour and in dash. ``lap`` has the events of a lap,
    completed or not; ``graded`` is the completed lap.
    """

    key: str
    label: str
    tag: str
    kind: Literal["entry", "lap", "incomplete", "reversed"]
    visit: int
    start_epoch_s: float
    end_epoch_s: float
    style: int
    lap: Lap | None = None
    graded: GradedLap | None = None

    @property
    def name(self) -> str:
        """The label inside a sentence: "lap 2", "visit 1, lap 2"."""
        return self.label[0].lower() + self.label[1:]


class Phase(NamedTuple):
    """From this moment on, until the next phase: what was being flown, in words."""

    start_epoch_s: float
    words: str


class TimeAxis(NamedTuple):
    """Epoch seconds to the unit of the drawing, piece by piece.

    ``spans`` are (start, end) in epoch seconds, in order, not overlapping.
    """

    spans: tuple[tuple[float, float], ...]

    @property
    def pieces(self) -> tuple[tuple[float, float, float, float], ...]:
        """(start, end, x of start, x of end) of each span."""
        seconds = sum(end - start for start, end in self.spans)
        room = AXIS_WIDTH - BREAK_WIDTH * (len(self.spans) - 1)
        per_second = room / seconds if seconds > 0 else 0.0
        out, x = [], 0.0
        for start, end in self.spans:
            width = (end - start) * per_second
            out.append((start, end, x, x + width))
            x += width + BREAK_WIDTH
        return tuple(out)

    def x(self, epoch_s: Floats | float) -> Floats:
        """Position (n,) of times (n,); NaN outside the spans."""
        t = np.asarray(epoch_s, dtype=np.float64)
        x = np.full(t.shape, np.nan)
        for start, end, x0, x1 in self.pieces:
            inside = (t >= start) & (t <= end)
            scale = (x1 - x0) / (end - start) if end > start else 0.0
            x = np.where(inside, x0 + (t - start) * scale, x)
        return x

    def covers(self, epoch_s: Floats | float) -> Bools:
        """Mask (n,) of the times that the axis shows."""
        return np.asarray(np.isfinite(self.x(epoch_s)))


class Timeline(NamedTuple):
    """The axis, the stretches in order of flying, and the phases in order of time."""

    axis: TimeAxis
    stretches: tuple[Stretch, ...]
    phases: tuple[Phase, ...]

    def heads(
        self, width: Callable[[str], float], apart: float = 0.0, since: float = 0.0
    ) -> Iterator[tuple[Stretch, float, bool]]:
        """What has a number over the pictures in time, the middle of it, and whether it has room beside the one before.

        All are shares of the axis: the ``width`` of a number, how far ``apart`` they stand, and since where there is
        room.
        """
        for each in self.stretches:
            x = self.axis.x(np.array([each.start_epoch_s, each.end_epoch_s]))
            if each.kind == "incomplete" or not np.isfinite(x).all():
                continue
            middle, half = float(x.mean()) / AXIS_WIDTH, width(each.tag) / 2.0
            room = middle - half >= since
            if room:
                since = middle + half + apart
            yield each, middle, room

    @property
    def graded(self) -> tuple[tuple[Stretch, GradedLap], ...]:
        """The completed laps, each with its stretch."""
        return tuple((each, each.graded) for each in self.stretches if each.graded is not None)

    @property
    def laps(self) -> tuple[Stretch, ...]:
        return tuple(stretch for stretch, _ in self.graded)


def lay_out(debrief: Debrief) -> Timeline:
    """The timeline of a debrief; of the whole record where no hold was flown."""
    epoch = debrief.samples.epoch_s
    if len(epoch) == 0:
        return Timeline(TimeAxis(()), (), ())
    first, last = float(epoch[0]), float(epoch[-1])
    stretches: list[Stretch] = []
    phases: list[Phase] = [Phase(first, "away from the hold")]
    spans: list[list[float]] = []
    several = len(debrief.visits) > 1
    for visit in debrief.visits:
        pieces = _stretches(visit, several, first, last, len([s for s in stretches if s.kind == "lap"]))
        if not pieces:
            continue
        stretches += pieces
        phases += _phases(visit, pieces, several)
        _show(spans, max(first, pieces[0].start_epoch_s), min(last, pieces[-1].end_epoch_s + LEAD_OUT_S))
    for number, (start, end) in enumerate(debrief.flown.reversed_laps, 1):
        label = f"Lap {number} on the reciprocal"
        stretches.append(Stretch(f"reversed-{number}", label, f"R{number}", "reversed", 0, start, end, number - 1))
        phases += [Phase(start, stretches[-1].name), Phase(end, "away from the hold")]
        _show(spans, max(first, start - LEAD_IN_S), min(last, end + LEAD_OUT_S))
    if not spans:
        spans = [[first, last]]
    stretches.sort(key=lambda each: each.start_epoch_s)
    phases.sort(key=lambda phase: phase.start_epoch_s)
    return Timeline(TimeAxis(tuple((a, b) for a, b in spans)), tuple(stretches), tuple(phases))


def _show(spans: list[list[float]], start: float, end: float) -> None:
    """Add a span to those shown, joined to one that it touches or nearly touches."""
    spans.append([start, end])
    spans.sort()
    joined: list[list[float]] = []
    for each in spans:
        if joined and each[0] - joined[-1][1] < JOIN_S:
            joined[-1][1] = max(joined[-1][1], each[1])
        else:
            joined.append(each)
    spans[:] = joined


def _stretches(visit: GradedVisit, several: bool, first: float, last: float, laps_before: int) -> list[Stretch]:
    where = f"Visit {visit.number}, " if several else ""
    out: list[Stretch] = []
    entry = visit.entry.flown
    start = entry.start or (visit.laps[0].flown.start if visit.laps else None)
    end = entry.end or (visit.laps[0].flown.start if visit.laps else start)
    if start is not None and end is not None:
        out.append(
            Stretch(
                key=f"entry-{visit.number}",
                label=f"{where}entry" if several else "Entry",
                tag="E",
                kind="entry",
                visit=visit.number,
                start_epoch_s=max(first, start.epoch_s - LEAD_IN_S),
                end_epoch_s=end.epoch_s,
                style=0,
            )
        )
    laps: list[tuple[Lap, GradedLap | None]] = [(each.flown, each) for each in visit.laps]
    laps += [(each, None) for each in visit.incomplete_laps]
    style = laps_before
    before = f"{visit.number}." if several else ""
    for lap, graded in sorted(laps, key=lambda each: each[0].start.epoch_s):
        complete = graded is not None
        out.append(
            Stretch(
                key=f"{'lap' if complete else 'part'}-{visit.number}-{lap.number}",
                label=f"{where}{'lap' if several else 'Lap'} {lap.number}" + ("" if complete else ", not completed"),
                tag=f"{before}{lap.number}" if complete else f"{before}({lap.number})",
                kind="lap" if complete else "incomplete",
                visit=visit.number,
                start_epoch_s=lap.start.epoch_s,
                end_epoch_s=min(last, _end_of(lap)),
                style=style,
                lap=lap,
                graded=graded,
            )
        )
        style += 1
    return out


def _end_of(lap: Lap) -> float:
    if lap.end is not None:
        return lap.end.epoch_s
    known = [
        moment.epoch_s
        for moment in (lap.start, lap.outbound_turn_end, lap.abeam, lap.outbound_end, lap.inbound_turn_end)
        if moment is not None
    ]
    return max(known) + LEAD_OUT_S


def _phases(visit: GradedVisit, pieces: list[Stretch], several: bool) -> list[Phase]:
    out = []
    for piece in pieces:
        if piece.lap is None:
            out.append(Phase(piece.start_epoch_s, "arriving" if not several else f"visit {visit.number}, arriving"))
            entry = visit.entry.flown
            if entry.start is not None and entry.start.epoch_s < piece.end_epoch_s:
                out.append(Phase(entry.start.epoch_s, f"{entry.kind} entry" if entry.kind != "none" else "entry"))
            continue
        lap = piece.lap
        steps: tuple[tuple[Moment | None, str], ...] = (
            (lap.start, "turn at the fix"),
            (lap.outbound_turn_end, "outbound"),
            (lap.outbound_end, "turn inbound"),
            (lap.inbound_start, "inbound"),
        )
        out += [Phase(moment.epoch_s, f"{piece.name}: {words}") for moment, words in steps if moment is not None]
    if pieces:
        out.append(Phase(pieces[-1].end_epoch_s, "leaving the hold"))
    return out
