"""Leg times: from each place a watch may be started, where it was started, and what each lap asked of the next.

Corrections, all for the next outbound time [s]:

* the card: the outbound time of the solved lap in that lap's wind, on the card's own heading
* equal seconds (common practice), on the heading of before: outbound + (target - inbound); 90 s inbound after 60 s
  outbound asks for 30 s
* the same by the ground speeds: the inbound error in distance is flown off at the outbound ground speed
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trackgrade.hold.hold import Hold
from trackgrade.hold.planning import SolvedLap
from trackgrade.hold.rules import next_outbound_equal_seconds_s
from trackgrade.score.debrief import ReferenceScatter, WatchAnalysis
from trackgrade.score.lap import AskedBy, Correction, GradedLap, Judged, LapMeasures, OutboundTimes, Reference
from trackgrade.score.results import Measurement
from trackgrade.score.series import span_sd_s
from trackgrade.score.standard import OutboundStart, Standard
from trackgrade.segment.flown import Lap, Moment
from trackgrade.track.track import Mark

#: The references in words, for people.
REFERENCE_TITLES: dict[Reference, str] = {
    "abeam": "abeam the fix",
    "abeam_by_bearing": "abeam by the bearing to the fix",
    "abeam_or_heading": "the later of abeam and the outbound heading",
    "wings_level": "wings level outbound",
    "mark": "the mark in the log",
}
#: Scatter that a careful pilot's own reaction leaves in a timed leg [s]; common practice, no source.
HUMAN_SCATTER_S = 1.5
#: A reference is named only when it is this probable among those offered: a choice.
NAMED_FROM = 0.70
#: A change of outbound time smaller than this is no correction [s]: a choice, about a watch read by eye.
NO_CHANGE_S = 3.0


def next_outbound_ratio_s(
    outbound_s: float, inbound_s: float, target_s: float, inbound_gs_kt: float, outbound_gs_kt: float
) -> float:
    """Outbound time that flies off the inbound error in distance: scaled by the ground speeds (arithmetic)."""
    return max(0.0, outbound_s + (target_s - inbound_s) * inbound_gs_kt / outbound_gs_kt)


def outbound_start(lap: Lap, setting: OutboundStart) -> tuple[Moment | None, Reference | None]:
    """When the outbound time starts by a standard's setting, and which reference that was.

    "abeam" is over or abeam the fix, whichever is later (AIM 5-3-8; ICAO Doc 8168): the fix has been passed before any
    abeam, so it is the abeam crossing; wings level where abeam cannot be told. "abeam_or_heading" is the later of abeam
    and reaching the outbound heading (Transport Canada). "wings_level" is common practice.
    """
    abeam, level = lap.abeam, lap.outbound_turn_end
    if setting == "wings_level":
        return (level, "wings_level") if level else (abeam, "abeam" if abeam else None)
    if setting == "abeam_or_heading" and abeam and level:
        later = abeam if abeam.epoch_s >= level.epoch_s else level
        return later, "abeam_or_heading"
    if abeam:
        return abeam, "abeam"
    return (level, "wings_level") if level else (None, None)


def between(first: Moment | None, last: Moment | None, what_first: str, what_last: str) -> Measurement:
    """Seconds between two moments, or why not."""
    missing = [what for moment, what in ((first, what_first), (last, what_last)) if moment is None]
    if first is None or last is None:
        return Measurement(None, None, "s", why=f"the track does not show {' or '.join(missing)}")
    return Measurement(
        last.epoch_s - first.epoch_s, span_sd_s(first, last), "s", how=f"from {what_first} to {what_last}"
    )


def outbound_time(first: Moment | None, last: Moment | None, what_first: str) -> Measurement:
    """Seconds of an outbound leg; none, with the reason, where the aircraft was turned back before the time began."""
    measured = between(first, last, what_first, "the turn back")
    if measured.value is None or measured.value >= 0.0:
        return measured
    return Measurement(None, None, "s", why=f"turned back {-measured.value:.0f} s before {what_first}")


def outbound_times(lap: Lap, marks: Sequence[Mark]) -> OutboundTimes:
    """Outbound time of one lap from every reference."""
    end = lap.outbound_end
    both, _ = outbound_start(lap, "abeam_or_heading")
    return OutboundTimes(
        abeam_s=outbound_time(lap.abeam, end, "abeam the fix"),
        abeam_by_bearing_s=outbound_time(lap.abeam_by_bearing, end, "abeam by bearing"),
        abeam_or_heading_s=outbound_time(both, end, "the later of abeam and wings level"),
        wings_level_s=outbound_time(lap.outbound_turn_end, end, "wings level outbound"),
        mark_s=outbound_time(watch_mark(lap, marks), end, "a mark"),
    )


def watch_mark(lap: Lap, marks: Sequence[Mark]) -> Moment | None:
    """The mark that may be the start of the outbound watch: between the fix and the turn back, nearest to abeam."""
    if lap.outbound_end is None:
        return None
    near = lap.abeam or lap.outbound_turn_end or lap.start
    outbound = [mark for mark in marks if lap.start.epoch_s + 5.0 <= mark.epoch_s < lap.outbound_end.epoch_s - 1.0]
    if not outbound:
        return None
    best = min(outbound, key=lambda mark: (abs(mark.epoch_s - near.epoch_s), mark.epoch_s))
    return Moment(best.epoch_s, 0.5)


def watch_analysis(laps: Sequence[GradedLap], hold: Hold) -> WatchAnalysis | None:
    """Where the watch was started, judged by which reference leaves the outbound times best explained.

    A pilot changes the outbound time on purpose. For each reference the times are therefore compared with
    three plans: the same time on every lap, the full equal-seconds correction, and half of it; what the
    best plan leaves is unexplained scatter. With Gaussian errors the probability of a reference goes as
    unexplained^-(n-1), n laps. None when no lap was completed.
    """
    if not laps:
        return None
    inbound = [lap.inbound_s for lap in laps]
    known = [value for value in inbound if value is not None]
    inbound_scatter = float(np.std(known, ddof=1)) if len(known) > 1 else None
    target = hold.leg.seconds
    if target is None:
        return WatchAnalysis(
            (), None, None, inbound_scatter, None, "The leg is a distance, so the watch decides nothing."
        )
    references: tuple[Reference, ...] = ("abeam", "abeam_by_bearing", "wings_level", "mark")
    found: list[tuple[Reference, list[float], float, float]] = []
    for reference in references:
        times = [lap.outbound_times.of(reference) for lap in laps]
        if any(each.value is None for each in times):
            continue
        values = [float(each.value or 0.0) for each in times]
        error = math.sqrt(float(np.mean([(each.sd or 0.0) ** 2 for each in times])) + HUMAN_SCATTER_S**2)
        unexplained = plan_residual_s(values, inbound, [lap.visit for lap in laps], target)
        found.append((reference, values, unexplained, math.hypot(unexplained, error)))
    count = len(laps)
    weights = [(each[3]) ** -(count - 1) for each in found]
    total = sum(weights)
    scatters = tuple(
        ReferenceScatter(
            reference=reference,
            title=REFERENCE_TITLES[reference],
            laps=count,
            mean_s=float(np.mean(values)),
            scatter_s=float(np.std(values, ddof=1)) if count > 1 else 0.0,
            unexplained_s=unexplained,
            probability=weight / total,
        )
        for (reference, values, unexplained, _), weight in zip(found, weights, strict=True)
    )
    likely, probability = _likely(scatters) if count >= 3 and len(scatters) > 1 else (None, None)
    from_watch = _inbound_scatter_from_watch(laps, scatters, likely)
    return WatchAnalysis(
        scatters,
        likely,
        probability,
        inbound_scatter,
        from_watch,
        _watch_sentence(scatters, likely, probability, count, from_watch),
    )


def plan_residual_s(
    outbound: Sequence[float], inbound: Sequence[float | None], visits: Sequence[int], target: float
) -> float:
    """Scatter of outbound times left by the best of three plans (same time, full and half equal seconds) [s]."""
    if len(outbound) < 2:
        return 0.0
    left = [float(np.std(outbound, ddof=1))]
    for share in (0.5, 1.0):
        steps = [
            outbound[k] - outbound[k - 1] - share * (target - error)
            for k in range(1, len(outbound))
            if visits[k] == visits[k - 1] and (error := inbound[k - 1]) is not None
        ]
        if steps:  # a step carries the scatter of two laps
            left.append(float(np.sqrt(np.mean(np.square(steps)) / 2.0)))
    return min(left)


def _inbound_scatter_from_watch(
    laps: Sequence[GradedLap], scatters: Sequence[ReferenceScatter], likely: Reference | None
) -> float | None:
    """Seconds of inbound scatter that the unexplained outbound scatter made (by the ground speeds)."""
    chosen = next((each for each in scatters if each.reference == (likely or "abeam")), None)
    speeds = [(lap.measures.groundspeed_outbound_kt.value, lap.measures.groundspeed_inbound_kt.value) for lap in laps]
    ratios = [outbound / inbound for outbound, inbound in speeds if outbound and inbound]
    if chosen is None or chosen.laps < 2 or not ratios:
        return None
    return chosen.unexplained_s * float(np.mean(ratios))


def _likely(scatters: Sequence[ReferenceScatter]) -> tuple[Reference | None, float]:
    """The place that explains the times, and how probable it is.

    Abeam by the line and by the bearing are one place told in two ways: their probabilities count together.
    """
    places: dict[str, list[ReferenceScatter]] = {}
    for each in scatters:
        places.setdefault("abeam" if each.reference == "abeam_by_bearing" else each.reference, []).append(each)
    best = max(places.values(), key=lambda place: sum(each.probability for each in place))
    probability = sum(each.probability for each in best)
    name = max(best, key=lambda each: each.probability).reference
    return (name if probability >= NAMED_FROM else None), probability


def _watch_sentence(
    scatters: Sequence[ReferenceScatter],
    likely: Reference | None,
    probability: float | None,
    count: int,
    from_watch_s: float | None,
) -> str:
    if count < 3:
        return "Fewer than three laps: where the watch was started cannot be told."
    if not scatters:
        return "The track does not show where the outbound legs began."
    if likely is None:
        return "The outbound times fit more than one starting point: where the watch was started cannot be told."
    best = next(each for each in scatters if each.reference == likely)
    share = f"{100 * (probability or 0.0):.0f} %"
    text = f"The watch was probably started {best.title} ({share})"
    if likely == "mark":
        text = f"The outbound times fit the marks in the log best ({share})"
    if from_watch_s is None or best.unexplained_s < HUMAN_SCATTER_S:
        return f"{text}: counted from there they are as steady as a hand and an eye make them."
    return (
        f"{text}: counted from there the outbound times still differ by about {best.unexplained_s:.0f} s for no reason "
        f"that the laps show, and the inbound times by about {from_watch_s:.0f} s with them."
    )


def card_outbound_s(solved: SolvedLap, start_by: Reference | None) -> float:
    """The outbound time of a solved lap, counted from where this standard starts it [s]."""
    if start_by == "wings_level":
        return solved.outbound_from_level_s
    if start_by == "abeam_or_heading":
        return min(solved.outbound_s, solved.outbound_from_level_s)
    return solved.outbound_s


def correction(
    lap: LapMeasures, following: LapMeasures | None, card: SolvedLap | None, heading_kept: bool, standard: Standard
) -> Correction | None:
    """What one lap asked of the next outbound time, and what was flown; None for a leg in NM.

    An inbound time inside the band asks for nothing, nor does one that no lap can meet in this wind, nor one after an
    outbound time that was as asked. Otherwise the lap
    asks for what the card after it does; with ``heading_kept``, the time alone was changed, and equal seconds (or the
    same scaled by the ground speeds) is as right, for that is what it is for.
    """
    if lap.target_nm is not None:
        return None
    outbound, inbound, target = lap.outbound_s.value, lap.inbound_s.value, lap.target_inbound_s
    flown_next = following.outbound_s.value if following else None
    if outbound is None or inbound is None or target is None:
        return Correction(outbound, inbound, target, flown_next_s=flown_next)
    equal = next_outbound_equal_seconds_s(outbound, inbound, target)
    gs_in, gs_out = lap.groundspeed_inbound_kt.value, lap.groundspeed_outbound_kt.value
    ratio = next_outbound_ratio_s(outbound, inbound, target, gs_in, gs_out) if gs_in and gs_out else None
    solved_s = card_outbound_s(card, lap.outbound_start_by) if card is not None and card.feasible else None
    by: AskedBy = "equal seconds" if solved_s is None else "card"
    asked = equal if solved_s is None else solved_s
    error_sd = math.hypot(lap.inbound_s.sd or 0.0, lap.outbound_s.sd or 0.0)
    tolerance = standard.choices.correction_tolerance_s + error_sd
    if following is None:
        judged: Judged = "last lap"
    elif flown_next is None:
        judged = "not measurable"
    elif card is not None and not card.feasible:
        judged = "no lap"
    elif lap.inbound_other_s is not None and _asks(lap.inbound_other_s.value, target, standard) != _asks(
        inbound, target, standard
    ):
        judged = "not measurable"  # one fair reading of the inbound start asks for another correction than the other
    elif abs(inbound - target) <= standard.asking_band_s:
        judged = "not needed"
    else:
        judged = _judge_change(outbound, flown_next, asked, tolerance)
        alone = equal if ratio is None else min(max(flown_next, min(equal, ratio)), max(equal, ratio))
        if by == "card" and _MILDEST.index(judged) > 1 and heading_kept and abs(outbound - alone) > tolerance:
            in_time = _judge_change(outbound, flown_next, alone, tolerance)
            if _MILDEST.index(in_time) < _MILDEST.index(judged):
                judged, asked, by = in_time, equal, "equal seconds"
    return Correction(
        outbound_s=outbound,
        inbound_s=inbound,
        target_s=target,
        error_s=inbound - target,
        asked_s=None if judged == "no lap" else asked,
        asked_by=by,
        asked_equal_seconds_s=equal,
        asked_ratio_s=ratio,
        asked_solved_s=solved_s,
        flown_next_s=flown_next,
        change_s=None if flown_next is None else flown_next - outbound,
        judged=judged,
    )


#: What is said of a change, from praise to blame.
_MILDEST: tuple[Judged, ...] = ("right", "not needed", "too small", "too large", "none", "wrong way")


def _asks(inbound_s: float | None, target_s: float, standard: Standard) -> int:
    """Which way an inbound time asks the next outbound time to change: -1 shorter, 1 longer, 0 not at all."""
    error_s = 0.0 if inbound_s is None else inbound_s - target_s
    return 0 if abs(error_s) <= standard.asking_band_s else int(math.copysign(1, -error_s))


def _judge_change(outbound: float, flown_next: float, asked: float, tolerance: float) -> Judged:
    change = flown_next - outbound
    if abs(flown_next - asked) <= tolerance:
        # The time was as asked before, and still is: something else made the inbound leg what it was.
        return "not needed" if abs(outbound - asked) <= tolerance else "right"
    if abs(change) < NO_CHANGE_S:
        return "none"
    if change * (asked - outbound) < 0.0:
        return "wrong way"
    return "too small" if abs(change) < abs(asked - outbound) else "too large"


def converged_lap(laps: Sequence[GradedLap], band_s: float | None) -> int | None:
    """Number of the first lap of a visit from which every inbound time stayed in the band; None: never."""
    number = None
    for lap in laps:
        error = lap.inbound_error_s
        if band_s is None or error is None or abs(error) > band_s:
            number = None
        elif number is None:
            number = lap.number
    return number
