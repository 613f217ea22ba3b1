"""A watch started at another place from lap to lap: told by the marks in the log, or inferred from the outbound
times."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trackgrade.score.debrief import OutboundTimes
from trackgrade.score.mistakes.sighting import Seen, Sighting

#: Marks this far apart, by every reference, are two places [s]: a choice, above what a hand scatters.
APART_S = 4.0


def watch_inconsistent(seen: Seen) -> Iterator[Sighting]:
    """The outbound time started at another place from lap to lap."""
    watch = seen.measured.watch
    if watch is None or seen.measured.hold.leg.minutes is None:
        return
    for visit in seen.measured.flown.visits:
        times = [each for each in watch.times if each.visit == visit.number]
        yield from _by_marks(seen, times)


def _by_marks(seen: Seen, times: Sequence[OutboundTimes]) -> Iterator[Sighting]:
    """The marks lie apart from abeam, and apart from wings level, by more than a hand's scatter."""
    rows = [
        (each.number, each.abeam_s.value - each.mark_s.value, each.wings_level_s.value - each.mark_s.value)
        for each in times
        if each.abeam_s.value is not None and each.wings_level_s.value is not None and each.mark_s.value is not None
    ]
    if len(rows) < 2:
        return
    spans = [max(row[k] for row in rows) - min(row[k] for row in rows) for k in (1, 2)]
    if min(spans) < APART_S:
        return
    after_abeam = ", ".join(f"{row[1]:+.0f}" for row in rows)
    after_level = ", ".join(f"{row[2]:+.0f}" for row in rows)
    evidence = f"the watch marks came {after_abeam} s after abeam, and {after_level} s after wings level"
    yield _sighting(seen, times[0].visit, rows[-1][0], min(spans) / APART_S, evidence)


def _sighting(seen: Seen, visit: int, lap: int, size: float, evidence: str) -> Sighting:
    measures = next(each for each in seen.measured.laps if (each.visit, each.number) == (visit, lap))
    return Sighting(visit, None, measures.outbound_start_epoch_s or measures.start_epoch_s, size, evidence)
