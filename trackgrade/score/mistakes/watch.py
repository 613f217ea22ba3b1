"""A watch started at another place from lap to lap: told by the marks in the log, or inferred from the outbound
times."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import product

import numpy as np

from trackgrade.score.debrief import OutboundTimes
from trackgrade.score.mistakes.sighting import Seen, Sighting
from trackgrade.score.timing import plan_residual_s

#: Starting points this far apart in time are two places [s]: a choice, above what a hand scatters.
APART_S = 4.0
#: Without marks: the scatter that one starting point leaves, and that two of them may leave [s], and by how
#: much two must explain it better: choices. Few laps can be explained by chance, so the bar is high.
ONE_PLACE_LEAVES_S = 2.5
TWO_PLACES_LEAVE_S = 1.5
BETTER_BY = 2.5
LAPS_NEEDED = 4
#: More laps than this are not tried in every combination.
MOST_LAPS = 10


def watch_inconsistent(seen: Seen) -> Iterator[Sighting]:
    """The outbound time started at another place from lap to lap."""
    watch = seen.measured.watch
    if watch is None or seen.measured.hold.leg.minutes is None:
        return
    for visit in seen.measured.flown.visits:
        times = [each for each in watch.times if each.visit == visit.number]
        yield from _by_marks(seen, times)
        if not any(each.mark_s.value is not None for each in times):
            yield from _by_times(seen, times)


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


def _by_times(seen: Seen, times: Sequence[OutboundTimes]) -> Iterator[Sighting]:
    """Two starting points, chosen lap by lap, explain the times far better than any one does."""
    known = [
        (each.number, each.abeam_s.value, each.wings_level_s.value)
        for each in times
        if each.abeam_s.value is not None and each.wings_level_s.value is not None
    ][:MOST_LAPS]
    if len(known) < LAPS_NEEDED or len(known) < min(len(times), MOST_LAPS):
        return
    apart = float(np.mean([abs(abeam - level) for _, abeam, level in known]))
    if apart < APART_S:
        return
    target = 60.0 * (seen.measured.hold.leg.minutes or 1.0)
    inbound = {(lap.visit, lap.number): lap.inbound_s.value for lap in seen.measured.laps}
    legs = [inbound.get((times[0].visit, number)) for number, _, _ in known]

    def left(chosen: Sequence[float]) -> float:
        return plan_residual_s(chosen, legs, [1] * len(chosen), target)

    one = min(left([row[1] for row in known]), left([row[2] for row in known]))
    two, which = math.inf, tuple[int, ...]()
    for choice in product((1, 2), repeat=len(known)):
        at_abeam = sum(pick == 1 for pick in choice)
        if not 1 < at_abeam < len(known) - 1:  # one odd lap is scatter, not two places
            continue
        rest = left([row[pick] for row, pick in zip(known, choice, strict=True)])
        if rest < two:
            two, which = rest, choice
    if one < ONE_PLACE_LEAVES_S or two > TWO_PLACES_LEAVE_S or one < BETTER_BY * two:
        return
    words = ", ".join("abeam" if pick == 1 else "wings level" for pick in which)
    evidence = (
        f"the outbound times scatter by {one:.1f} s from any one starting point, and by {two:.1f} s if the watch was "
        f"started {words}, in the order of the laps (inferred: the log has no marks)"
    )
    yield _sighting(seen, times[0].visit, known[-1][0], one / ONE_PLACE_LEAVES_S, evidence)


def _sighting(seen: Seen, visit: int, lap: int, size: float, evidence: str) -> Sighting:
    measures = next(each for each in seen.measured.laps if (each.visit, each.number) == (visit, lap))
    return Sighting(visit, None, measures.outbound_start_epoch_s or measures.start_epoch_s, size, evidence)
