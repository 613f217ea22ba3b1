"""Mistakes of timing: outbound times that nothing asked for, not corrected, corrected the wrong way, a wandering
watch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trackgrade.score.debrief import Correction, LapMeasures
from trackgrade.score.mistakes.sighting import Seen, Sighting
from trackgrade.score.sentences import amount
from trackgrade.score.series import span_sd_s

#: A change of the outbound time counts from here [s]: a choice, above what a hand and an eye scatter.
CHANGED_FROM_S = 3.0
#: A change the wrong way of less than this is as good as none [s]: a choice.
HARDLY_S = 5.0
#: A change of less than this share of what was asked leaves the time as good as uncorrected: a choice.
UNDER_SHARE = 0.5
#: An inbound time that misses by this many bands asks for a correction that nobody can overlook: a choice.
FAR_OFF_BANDS = 1.5
#: Share of the timing band from which an inbound time asks for something, beside clearer cases: a choice.
HALF_BAND = 0.5


def time_not_corrected(seen: Seen) -> Iterator[Sighting]:
    """An inbound time out of the band, and the next outbound time left as it was, or changed by less than half."""
    for row in seen.measured.corrections:
        asked = row.asked_equal_seconds_s
        if row.error_s is None or row.change_s is None or row.outbound_s is None or asked is None:
            continue
        half = UNDER_SHARE * abs(asked - row.outbound_s)
        hardly = row.judged == "too small" and abs(row.change_s) < half
        hardly = hardly or (row.judged == "wrong way" and abs(row.change_s) < HARDLY_S)
        if row.judged == "none" or hardly:
            wanted = f"where equal seconds asks for {asked - row.outbound_s:+.0f} s"
            left = f"outbound then changed by {row.change_s:+.0f} s {wanted}"
            yield _correction(seen, row, f"inbound {_off(row.error_s)}, and {left}")


def _overcorrects(seen: Seen, lap: LapMeasures) -> bool:
    """Whether a lap's outbound time answers a clear inbound error, the right way and by too much."""
    band = seen.measured.standard.timing_band_s or 10.0
    row = next((r for r in seen.measured.corrections if (r.visit, r.lap) == (lap.visit, lap.number - 1)), None)
    return row is not None and row.judged == "too large" and abs(row.error_s or 0.0) > FAR_OFF_BANDS * band


def time_overcorrected(seen: Seen) -> Iterator[Sighting]:
    """The outbound time changed by more than was asked, and the next inbound time off the other way."""
    rows = {(row.visit, row.lap): row for row in seen.measured.corrections}
    for row in seen.measured.corrections:
        after = rows.get((row.visit, row.lap + 1))
        if row.error_s is None or row.change_s is None or after is None:
            continue
        lap = next(each for each in seen.measured.laps if (each.visit, each.number) == (row.visit, row.lap + 1))
        if not _overcorrects(seen, lap):
            continue
        if after.error_s is None or after.error_s * row.error_s > 0.0 or seen.out("inbound_time", lap) is None:
            continue
        changed = f"outbound changed by {row.change_s:+.0f} s, and inbound then {_off(after.error_s)}"
        yield _correction(seen, row, f"inbound {_off(row.error_s)}, {changed}")


def time_corrected_wrong_way(seen: Seen) -> Iterator[Sighting]:
    """The next outbound time changed away from what the inbound time asked for; at least once clearly needed."""
    band = seen.measured.standard.timing_band_s or 10.0
    wrong = [
        row
        for row in seen.measured.corrections
        if row.error_s is not None
        and abs(row.error_s) > HALF_BAND * band
        and _least_change_s(seen, row) * row.error_s > 0.0
    ]
    if not any(row.judged == "wrong way" for row in wrong):
        return
    for row in wrong:
        way = "longer" if (row.change_s or 0.0) > 0.0 else "shorter"
        changed = f"outbound then made {abs(row.change_s or 0.0):.0f} s {way}"
        yield _correction(seen, row, f"inbound {_off(row.error_s or 0.0)}, and {changed}")


def _least_change_s(seen: Seen, row: Correction) -> float:
    """Change of the outbound time by the reference that changed least [s]; 0 when they differ in sign, or little
    changed.

    Where the watch was started is not known for sure: only a change that every starting point shows is held against
    the pilot.
    """
    watch = seen.measured.watch
    times = {(each.visit, each.number): each for each in watch.times} if watch is not None else {}
    here, after = times.get((row.visit, row.lap)), times.get((row.visit, row.lap + 1))
    if here is None or after is None:
        return row.change_s or 0.0
    pairs = [(here.abeam_s, after.abeam_s), (here.wings_level_s, after.wings_level_s)]
    changes = [two.value - one.value for one, two in pairs if one.value is not None and two.value is not None]
    least = min(changes, key=abs, default=0.0)
    same_sign = all(change * least > 0.0 for change in changes)
    return least if same_sign and abs(least) >= CHANGED_FROM_S else 0.0


def _correction(seen: Seen, row: Correction, evidence: str) -> Sighting:
    band = seen.measured.standard.timing_band_s or 10.0
    lap = next(each for each in seen.measured.laps if (each.visit, each.number) == (row.visit, row.lap))
    return Sighting(row.visit, row.lap + 1, lap.end_epoch_s, abs(row.error_s or 0.0) / band, evidence)


def _off(error_s: float) -> str:
    return f"{abs(error_s):.0f} s too {'long' if error_s > 0.0 else 'short'}"


def outbound_too_short(seen: Seen) -> Iterator[Sighting]:
    """An outbound time shorter than anything before it asked for, and an inbound leg too short by it."""
    yield from _unasked(seen, -1)


def outbound_too_long(seen: Seen) -> Iterator[Sighting]:
    """An outbound time longer than anything before it asked for, and an inbound leg too long by it."""
    yield from _unasked(seen, 1)


def _unasked(seen: Seen, sign: int) -> Iterator[Sighting]:
    tolerance = seen.measured.standard.choices.correction_tolerance_s
    band = seen.measured.standard.timing_band_s or 10.0
    for index, lap in enumerate(seen.measured.laps):
        flown, inbound, target = lap.outbound_s.value, lap.inbound_s.value, lap.target_inbound_s
        result = seen.out("inbound_time", lap)
        if flown is None or inbound is None or target is None:
            continue
        low, high = asked_range(seen, seen.measured.laps[:index], lap)
        excess = flown - high if sign > 0 else low - flown
        if _overcorrects(seen, lap):
            continue  # that has a name of its own
        error = (inbound - target) * sign
        if excess <= tolerance or (result is None and not (excess > 1.5 * tolerance and error > HALF_BAND * band)):
            continue
        if error <= 0.0:
            continue
        bound = high if sign > 0 else low
        yield Sighting(
            lap.visit,
            lap.number,
            lap.outbound_start_epoch_s,
            excess / tolerance,
            f"{flown:.0f} s outbound where nothing asked for {'more' if sign > 0 else 'less'} than {bound:.0f} s; "
            f"inbound then {_off(inbound - target)}",
        )


def asked_range(seen: Seen, before: Sequence[LapMeasures], lap: LapMeasures) -> tuple[float, float]:
    """The outbound times that there was a reason for [s], lowest and highest.

    On the first lap the leg's own time (AIM 5-3-8) or the solved one; then also what any rule made of the lap
    before, and the time of a lap before whose inbound leg came out right.
    """
    target = lap.target_inbound_s or 60.0
    asked = [target]
    solved = seen.measured.solved
    if solved is not None and solved.feasible:
        asked.append(solved.outbound_s)
    earlier = [each for each in before if each.visit == lap.visit]
    if earlier:
        asked.remove(target)
        row = next((r for r in seen.measured.corrections if (r.visit, r.lap) == (lap.visit, earlier[-1].number)), None)
        if row is not None:
            asked += [each for each in (row.asked_equal_seconds_s, row.asked_ratio_s) if each is not None]
            if row.judged == "not needed" and row.outbound_s is not None:
                asked.append(row.outbound_s)
    return min(asked, default=target), max(asked, default=target)


def turned_back_early(seen: Seen) -> Iterator[Sighting]:
    """Turned back before the outbound time had begun, where this wind leaves an outbound time to fly."""
    if seen.measured.solved is not None and not seen.measured.solved.feasible:
        return
    for lap in seen.measured.laps:
        began, back = seen.measured.lap(lap).abeam, seen.measured.lap(lap).outbound_end
        if began is None or back is None:
            continue
        early_s = began.epoch_s - back.epoch_s
        if early_s > 2.0 * span_sd_s(began, back):
            evidence = f"turned back {early_s:.0f} s before abeam"
            if lap.inbound_s.value is not None and lap.target_inbound_s is not None:
                evidence += f"; inbound then {_off(lap.inbound_s.value - lap.target_inbound_s)}"
            size = 1.0 + early_s / (seen.measured.standard.timing_band_s or 10.0)
            yield Sighting(lap.visit, lap.number, back.epoch_s, size, evidence)


def inbound_times_off(seen: Seen) -> Iterator[Sighting]:
    """Inbound times out of the band on most laps, whatever was done about it; the first lap alone is no mistake."""
    whole = seen.item("inbound_time", "whole hold")
    if whole is None or whole.result != "outside" or len(seen.measured.laps) < 2:
        return
    flown = [lap.inbound_s.value for lap in seen.measured.laps]
    shown = ", ".join("-" if value is None else f"{value:.0f}" for value in flown)
    for lap in seen.measured.laps[1:]:
        result = seen.out("inbound_time", lap)
        if result is None or result.value is None or result.limit is None:
            continue
        target = lap.target_inbound_s or 0.0
        yield Sighting(
            lap.visit,
            lap.number,
            lap.end_epoch_s,
            abs(result.value) / result.limit,
            f"inbound {_off(result.value)}; the inbound times were {shown} s where {target:.0f} s is asked for",
        )


def late_at_fix(seen: Seen) -> Iterator[Sighting]:
    """The turn at the fix begun late."""
    for lap in seen.measured.laps:
        result = seen.out("fix_recognition", lap)
        if result is not None and result.value is not None and result.limit is not None:
            yield Sighting(
                lap.visit,
                lap.number,
                lap.start_epoch_s,
                result.value / result.limit,
                f"the turn began {result.value:.0f} s after the fix",
            )


def arrival_time_missed(seen: Seen) -> Iterator[Sighting]:
    """The assigned time over the fix missed."""
    for result in seen.items:
        if (
            result.item == "arrival_time"
            and result.result == "outside"
            and result.value is not None
            and not result.straddles
        ):
            late = "late" if result.value > 0.0 else "early"
            yield Sighting(
                result.visit,
                None,
                result.at_epoch_s,
                abs(result.value) / (result.limit or 10.0),
                f"over the fix {amount(abs(result.value), 's')} {late}",
            )
