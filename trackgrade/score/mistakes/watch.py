"""A watch started at another place from lap to lap: told by the marks in the log, or inferred from the outbound
times."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trackgrade.score.flight import Flight
from trackgrade.score.lap import GradedLap, Sighting

#: Marks this far apart, by every reference, are two places [s]: a choice, above what a hand scatters.
APART_S = 4.0


def watch_inconsistent(flight: Flight) -> Iterator[Sighting]:
    """The outbound time started at another place from lap to lap."""
    if flight.hold.leg.minutes is None:
        return
    for visit in flight.visits:
        yield from _by_marks(visit.laps)


def _by_marks(laps: Sequence[GradedLap]) -> Iterator[Sighting]:
    """The marks lie apart from abeam, and apart from wings level, by more than a hand's scatter."""
    marked = [
        (lap, times.abeam_s.value - times.mark_s.value, times.wings_level_s.value - times.mark_s.value)
        for lap in laps
        if (times := lap.outbound_times).abeam_s.value is not None
        and times.wings_level_s.value is not None
        and times.mark_s.value is not None
    ]
    if len(marked) < 2:
        return
    laps, *both = zip(*marked, strict=True)
    apart_s = min(max(times) - min(times) for times in both)
    if apart_s < APART_S:
        return
    after_abeam, after_level = (", ".join(f"{round(seconds) + 0:+d}" for seconds in times) for times in both)
    evidence = f"the watch marks came {after_abeam} s after abeam, and {after_level} s after wings level"
    last = laps[-1]
    at = last.measures.outbound_start_epoch_s or last.start_epoch_s
    yield Sighting(last.visit, None, at, apart_s / APART_S, evidence)
