"""Mistakes of timing: outbound times that nothing asked for, not corrected, corrected the wrong way, a wandering
watch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from trackgrade.score.debrief import Flight
from trackgrade.score.lap import Correction, GradedLap, Sighting
from trackgrade.score.sentences import amount
from trackgrade.score.series import span_sd_s
from trackgrade.score.timing import card_outbound_s

#: A change of the outbound time counts from here [s]: a choice, above what a hand and an eye scatter.
CHANGED_FROM_S = 3.0
#: A change the wrong way of less than this is as good as none [s]: a choice.
HARDLY_S = 5.0
#: A change of less than this share of what was asked leaves the time as good as uncorrected: a choice.
UNDER_SHARE = 0.5
#: An inbound time that misses by this many bands asks for a correction that nobody can overlook: a choice.
FAR_OFF_BANDS = 1.5
#: Watch marks this far apart, by every reference, are two places [s]: a choice, above what a hand scatters.
APART_S = 4.0
#: Share of the timing band from which an inbound time asks for something, beside clearer cases: a choice.
HALF_BAND = 0.5


def _corrected(flight: Flight) -> Iterator[tuple[GradedLap, Correction, GradedLap]]:
    """Each lap, what it asked of the next outbound leg, and the lap that flew it; none where no lap meets the leg."""
    for visit in flight.visits:
        for lap, following in pairwise(visit.laps):
            if lap.correction is not None and lap.leg_can_be_met and following.leg_can_be_met:
                yield lap, lap.correction, following


def time_not_corrected(flight: Flight) -> Iterator[Sighting]:
    """An inbound time out of the band, and the next outbound time left as it was, or changed by less than half."""
    for lap, row, _ in _corrected(flight):
        if row.error_s is None or row.change_s is None or row.outbound_s is None or row.asked_s is None:
            continue
        if (row.asked_s - row.outbound_s) * row.error_s > 0.0:
            continue  # a longer time is asked after a leg too long: the heading is at fault, and no watch shows it
        half = UNDER_SHARE * abs(row.asked_s - row.outbound_s)
        hardly = row.judged == "too small" and abs(row.change_s) < half
        hardly = hardly or (row.judged == "wrong way" and abs(row.change_s) < HARDLY_S)
        if row.judged == "none" or hardly:
            left = f"{row.outbound_s:.0f} s outbound then {_changed(row.change_s)} where {_asks(row)}"
            yield _correction(flight, lap, f"inbound {_off(row.error_s)}, and {left}")


def _changed(change_s: float) -> str:
    """ "kept" or "made 4 s longer"."""
    if abs(change_s) < 0.5:
        return "kept"
    return f"made {abs(change_s):.0f} s {'longer' if change_s > 0.0 else 'shorter'}"


def _asks(row: Correction) -> str:
    who = "the lap that works in this wind has" if row.asked_by == "card" else "equal seconds asks for"
    return f"{who} {row.asked_s:.0f} s"


def _overcorrects(flight: Flight, before: GradedLap | None) -> bool:
    """Whether a lap's outbound time answers a clear inbound error of the lap before, the right way and by too much."""
    row = before.correction if before is not None else None
    return (
        row is not None
        and row.judged == "too large"
        and abs(row.error_s or 0.0) > FAR_OFF_BANDS * flight.standard.asking_band_s
    )


def time_overcorrected(flight: Flight) -> Iterator[Sighting]:
    """The outbound time changed by more than was asked, and the next inbound time off the other way."""
    for lap, row, following in _corrected(flight):
        after = following.inbound_error_s
        if row.error_s is None or row.change_s is None or after is None or not _overcorrects(flight, lap):
            continue
        if after * row.error_s > 0.0 or following.out("inbound_time") is None:
            continue
        changed = f"outbound then {_changed(row.change_s)} where {_asks(row)}, and inbound {_off(after)}"
        yield _correction(flight, lap, f"inbound {_off(row.error_s)}, {changed}")


def time_corrected_wrong_way(flight: Flight) -> Iterator[Sighting]:
    """The next outbound time changed away from what the inbound time asked for; at least once clearly needed."""
    wrong = [
        (lap, row)
        for lap, row, following in _corrected(flight)
        if row.error_s is not None
        and row.asked_s is not None
        and row.outbound_s is not None
        and abs(row.error_s) > HALF_BAND * flight.standard.asking_band_s
        and _least_change_s(lap, following) * row.error_s > 0.0
        and _least_change_s(lap, following) * (row.asked_s - row.outbound_s) < 0.0
    ]
    if not any(row.judged == "wrong way" for _, row in wrong):
        return
    for lap, row in wrong:
        changed = f"outbound then {_changed(row.change_s or 0.0)}"
        yield _correction(flight, lap, f"inbound {_off(row.error_s or 0.0)}, and {changed}")


def _least_change_s(lap: GradedLap, following: GradedLap) -> float:
    """Change of the outbound time by the reference that changed least [s]; 0 when they differ in sign, or little
    changed.

    Where the watch was started is not known for sure: only a change that every starting point shows is held against
    the pilot.
    """
    here, after = lap.outbound_times, following.outbound_times
    pairs = [(here.abeam_s, after.abeam_s), (here.wings_level_s, after.wings_level_s)]
    changes = [two.value - one.value for one, two in pairs if one.value is not None and two.value is not None]
    least = min(changes, key=abs, default=0.0)
    same_sign = all(change * least > 0.0 for change in changes)
    return least if same_sign and abs(least) >= CHANGED_FROM_S else 0.0


def _correction(flight: Flight, lap: GradedLap, evidence: str) -> Sighting:
    """What was not done about a lap's inbound time is seen on the next lap."""
    size = abs(lap.inbound_error_s or 0.0) / flight.standard.asking_band_s
    return Sighting(lap.visit, lap.number + 1, lap.end_epoch_s, size, evidence)


def _off(error_s: float) -> str:
    return f"{abs(error_s):.0f} s too {'long' if error_s > 0.0 else 'short'}"


def outbound_too_short(flight: Flight) -> Iterator[Sighting]:
    """An outbound time shorter than anything before it asked for, and an inbound leg too short by it."""
    yield from _unasked(flight, -1)


def outbound_too_long(flight: Flight) -> Iterator[Sighting]:
    """An outbound time longer than anything before it asked for, and an inbound leg too long by it."""
    yield from _unasked(flight, 1)


def _unasked(flight: Flight, sign: int) -> Iterator[Sighting]:
    tolerance = flight.standard.choices.correction_tolerance_s
    for visit in flight.visits:
        for before, lap in zip((None, *visit.laps), visit.laps):
            flown, error = lap.outbound_s, lap.inbound_error_s
            if flown is None or error is None or error * sign <= 0.0 or not lap.leg_can_be_met:
                continue
            if _overcorrects(flight, before):
                continue  # that has a name of its own
            low, high = asked_range(before, lap)
            excess = flown - high if sign > 0 else low - flown
            clearly = excess > 1.5 * tolerance and error * sign > HALF_BAND * flight.standard.asking_band_s
            if excess <= tolerance or not (clearly or lap.out("inbound_time")):
                continue
            yield lap.sighting(
                lap.measures.outbound_start_epoch_s or lap.start_epoch_s,
                excess / tolerance,
                f"{flown:.0f} s outbound where nothing asked for {'more' if sign > 0 else 'less'} than "
                f"{high if sign > 0 else low:.0f} s; inbound then {_off(error)}",
            )


def asked_range(before: GradedLap | None, lap: GradedLap) -> tuple[float, float]:
    """The outbound times that there was a reason for [s], lowest and highest.

    On the first lap the leg's own time (AIM 5-3-8) or the solved one; then also what any rule made of the lap
    before, and the time of a lap before whose inbound leg came out right.
    """
    target = lap.target_inbound_s or 60.0
    asked = [] if before is not None else [target]
    if lap.solved is not None and lap.solved.feasible:
        asked.append(card_outbound_s(lap.solved, lap.measures.outbound_start_by))
    row = before.correction if before is not None else None
    if row is not None:
        asked += [each for each in (row.asked_equal_seconds_s, row.asked_ratio_s) if each is not None]
        if row.judged == "not needed" and row.outbound_s is not None:
            asked.append(row.outbound_s)
    return min(asked, default=target), max(asked, default=target)


def turned_back_early(flight: Flight) -> Iterator[Sighting]:
    """Turned back before the outbound time had begun, where this wind leaves an outbound time to fly."""
    for lap in flight.laps:
        began, back = lap.flown.abeam, lap.flown.outbound_end
        if began is None or back is None or not lap.leg_can_be_met:
            continue
        early_s = began.epoch_s - back.epoch_s
        if early_s > 2.0 * span_sd_s(began, back):
            evidence = f"turned back {early_s:.0f} s before abeam"
            if lap.inbound_error_s is not None:
                evidence += f"; inbound then {_off(lap.inbound_error_s)}"
            size = 1.0 + early_s / flight.standard.asking_band_s
            yield lap.sighting(back.epoch_s, size, evidence)


def inbound_times_off(flight: Flight) -> Iterator[Sighting]:
    """Inbound times out of the band on most laps, whatever was done about it; the first lap alone is no mistake."""
    whole = flight.whole("inbound_time")
    if whole is None or whole.result != "outside" or len(flight.laps) < 2:
        return
    shown = ", ".join("-" if lap.inbound_s is None else f"{lap.inbound_s:.0f}" for lap in flight.laps)
    for lap, _, value, limit in flight.out_of("inbound_time"):
        if lap is not flight.laps[0]:
            asked = f"the inbound times were {shown} s where {lap.target_inbound_s or 0.0:.0f} s is asked for"
            yield lap.sighting(lap.end_epoch_s, abs(value) / limit, f"inbound {_off(value)}; {asked}")


def late_at_fix(flight: Flight) -> Iterator[Sighting]:
    """The turn at the fix begun late."""
    for lap, _, value, limit in flight.out_of("fix_recognition"):
        yield lap.sighting(lap.start_epoch_s, value / limit, f"the turn began {value:.0f} s after the fix")


def arrival_time_missed(flight: Flight) -> Iterator[Sighting]:
    """The assigned time over the fix missed."""
    for visit in flight.visits:
        result = visit.entry.out("arrival_time")
        if result is not None and result.value is not None:
            evidence = f"over the fix {amount(abs(result.value), 's')} {'late' if result.value > 0.0 else 'early'}"
            yield Sighting(visit.number, None, result.at_epoch_s, abs(result.value) / (result.limit or 10.0), evidence)


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
