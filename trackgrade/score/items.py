"""Which measure goes to which item: one function an item, each giving a result a lap and one for the whole
hold."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from trackgrade.earth.angles import turn_from_to
from trackgrade.score.debrief import ItemResult, LapMeasures, Measurement, TurnMeasures
from trackgrade.score.grading import (
    STRADDLE_SDS,
    WHOLE_HOLD,
    Scope,
    grade_laps_together,
    grade_over_time,
    grade_value,
    not_measurable,
)
from trackgrade.score.measured import Measured
from trackgrade.score.measures import no_airspeed
from trackgrade.score.needles import deflection, own_needle
from trackgrade.score.series import Stretch
from trackgrade.score.standard import Item
from trackgrade.score.wind_work import outbound_leg
from trackgrade.track.track import Floats

#: An estimated airspeed less sure than this is not graded [kt]: a choice. It does not move with the limit
#: graded.
AIRSPEED_SD_MAX_KT = 4.0
#: Likewise a heading [deg].
HEADING_SD_MAX_DEG = 5.0

#: A direct entry from this far off the inbound course comes across it [deg]: a choice.
ACROSS_COURSE_DEG = 20.0

Grader = Callable[[Item, Measured], list[ItemResult]]


def grade_items(measured: Measured) -> tuple[ItemResult, ...]:
    """Every item of the standard: arrival and entry of each visit, every lap, then the whole hold."""
    results: list[ItemResult] = []
    for item in measured.standard.items:
        results += GRADERS[item.name](item, measured)
    order = (
        [scope.name for scope in _arrival_scopes(measured)] + [lap.scope for lap in measured.laps] + [WHOLE_HOLD.name]
    )
    return tuple(sorted(results, key=lambda result: order.index(result.scope)))


def _lap_scope(lap: LapMeasures) -> Scope:
    return Scope(lap.scope, lap.visit, lap.number)


def _arrival_scopes(measured: Measured) -> list[Scope]:
    """ "arrival" and "entry" of each visit, named by the visit from the second on."""
    scopes = []
    for visit in measured.flown.visits:
        prefix = "" if visit.number == measured.flown.visits[0].number else f"visit {visit.number} "
        scopes += [Scope(f"{prefix}arrival", visit.number), Scope(f"{prefix}entry", visit.number)]
    return scopes


def _scope_of(measured: Measured, visit: int, kind: str) -> Scope:
    return next(s for s in _arrival_scopes(measured) if s.visit == visit and s.name.endswith(kind))


def _each_lap_and_whole(
    item: Item,
    measured: Measured,
    deviation: Floats,
    deviation_sd: float | Floats,
    stretch_of: Callable[[LapMeasures], Stretch | None],
    *,
    reference: str,
    how: str,
    why_missing: str,
    why_no_stretch: str = "",
) -> list[ItemResult]:
    results, stretches = [], []
    for lap in measured.laps:
        stretch = stretch_of(lap)
        if stretch is None:
            results.append(not_measurable(item, _lap_scope(lap), why_no_stretch))
            continue
        stretches.append(stretch)
        results.append(
            grade_over_time(
                item,
                _lap_scope(lap),
                measured.samples,
                deviation,
                deviation_sd,
                [stretch],
                measured.standard,
                reference=reference,
                how=how,
                why_missing=why_missing,
            )
        )
    if not measured.laps:
        return results
    if stretches:
        whole = grade_over_time(
            item,
            WHOLE_HOLD,
            measured.samples,
            deviation,
            deviation_sd,
            stretches,
            measured.standard,
            reference=reference,
            how=how,
            why_missing=why_missing,
        )
    else:
        whole = not_measurable(item, WHOLE_HOLD, why_no_stretch)
    return [*results, whole]


def _nothing_known(item: Item, measured: Measured, why: str, limit: float | None = None) -> list[ItemResult]:
    scopes = [_lap_scope(lap) for lap in measured.laps]
    return [not_measurable(item, scope, why, limit) for scope in ([*scopes, WHOLE_HOLD] if scopes else [])]


def _whole_lap(number_of: dict[tuple[int, int], int]) -> Callable[[LapMeasures], Stretch]:
    return lambda lap: Stretch(lap.start_epoch_s, lap.end_epoch_s, number_of[lap.visit, lap.number])


def _numbering(measured: Measured) -> dict[tuple[int, int], int]:
    """A number for each lap of all visits, so that laps of two visits are not taken for one."""
    return {(lap.visit, lap.number): index for index, lap in enumerate(measured.laps)}


def altitude(item: Item, measured: Measured) -> list[ItemResult]:
    """Altitude less the assigned one, over each lap."""
    if measured.altitude.value is None:
        return _nothing_known(item, measured, measured.altitude.note)
    return _each_lap_and_whole(
        item,
        measured,
        measured.series.alt_ft - measured.altitude.value,
        measured.series.alt_sd_ft,
        _whole_lap(_numbering(measured)),
        reference=measured.altitude.note,
        how="logged altitude, running median over 5 s; it may be a GPS height and not the altimeter's",
        why_missing="the track carries no altitude here",
    )


def airspeed(item: Item, measured: Measured) -> list[ItemResult]:
    """Indicated airspeed less the holding speed, over each lap."""
    why = _airspeed_unknown(measured)
    if why is not None:
        return _nothing_known(item, measured, why)
    assert measured.airspeed.value is not None
    return _each_lap_and_whole(
        item,
        measured,
        measured.series.ias_kt - measured.airspeed.value,
        measured.series.airspeed_sd_kt,
        _whole_lap(_numbering(measured)),
        reference=measured.airspeed.note,
        how=_airspeed_how(measured),
        why_missing="no airspeed known here",
    )


def _airspeed_unknown(measured: Measured) -> str | None:
    sd = measured.series.airspeed_sd_kt
    if not math.isfinite(sd):
        return no_airspeed(measured.samples)
    if sd > AIRSPEED_SD_MAX_KT:
        return f"the estimated airspeed is only known to ±{2.0 * sd:.0f} kt"
    return None if measured.airspeed.value is not None else measured.airspeed.note


def _airspeed_how(measured: Measured) -> str:
    if measured.samples.airspeed_source == "logged":
        return "logged airspeed, running median over 5 s"
    return "estimated: ground velocity less wind, turned into calibrated airspeed by the standard atmosphere"


def course(item: Item, measured: Measured) -> list[ItemResult]:
    """Deflection of the hold's own needle inbound [share of full scale], right of course positive."""
    needle = own_needle(measured.hold)
    n = len(measured.samples)
    shown, shown_sd = np.full(n, math.nan), np.full(n, math.nan)
    numbers = _numbering(measured)
    stretches: dict[tuple[int, int], Stretch] = {}
    why = ""
    for lap in measured.laps:
        seen = deflection(needle, measured.lap(lap), measured.samples)
        if isinstance(seen, str):
            why = seen
            continue
        shown[seen.index] = seen.share * measured.hold.side
        shown_sd[seen.index] = seen.share_sd
        times = measured.samples.epoch_s[seen.index]
        key = (lap.visit, lap.number)
        stretches[key] = Stretch(float(times[0]), float(times[-1]), numbers[key])
    return _each_lap_and_whole(
        item,
        measured,
        shown,
        shown_sd,
        lambda lap: stretches.get((lap.visit, lap.number)),
        reference=needle.label,
        how="needle from the position; right of course positive",
        why_missing="no positions on the inbound leg",
        why_no_stretch=why,
    )


def outbound_heading(item: Item, measured: Measured) -> list[ItemResult]:
    """Heading less the leg's own typical heading, over each outbound leg."""
    sd = _heading_sd(measured)
    if sd is None:
        return _nothing_known(item, measured, "heading is not known: neither logged nor, without the wind, estimated")
    if sd > HEADING_SD_MAX_DEG:
        return _nothing_known(item, measured, f"the estimated heading is only known to ±{2.0 * sd:.0f} deg")
    heading = measured.samples.heading_true_deg
    off = np.full(len(heading), math.nan)
    numbers = _numbering(measured)
    stretches: dict[tuple[int, int], Stretch] = {}
    for lap, work in zip(measured.laps, measured.wind_work, strict=True):
        leg = outbound_leg(measured.lap(lap))
        if leg is None or work.outbound_heading_true_deg.value is None:
            continue
        held = measured.samples.epoch_s
        index = np.flatnonzero((held >= leg[0]) & (held <= leg[1]))
        typical = work.outbound_heading_true_deg.value
        values = turn_from_to(typical, heading[index])
        off[index] = turn_from_to(np.nanmedian(values) if values.size else 0.0, values)
        stretches[lap.visit, lap.number] = Stretch(leg[0], leg[1], numbers[lap.visit, lap.number])
    return _each_lap_and_whole(
        item,
        measured,
        off,
        sd,
        lambda lap: stretches.get((lap.visit, lap.number)),
        reference="the leg's own typical heading (the heading selected is not in a track)",
        how=f"{measured.samples.heading_source} heading, wings level outbound to the turn back",
        why_missing="heading not known here",
        why_no_stretch="the track does not show a straight outbound leg",
    )


def _heading_sd(measured: Measured) -> float | None:
    if measured.samples.heading_source == "logged":
        return 1.0
    if measured.samples.heading_source == "none" or measured.wind is None:
        return None
    # A steady wind error moves the whole leg and drops out against the leg's own heading: what is left is
    # velocity noise.
    return 1.5


def inbound_time(item: Item, measured: Measured) -> list[ItemResult]:
    """Inbound time less what it must last [s]; long is positive."""
    if measured.hold.leg.minutes is None:
        return []
    note = f"{60.0 * measured.hold.leg.minutes:.0f} s; {measured.standard.timing_note}"

    def miss(lap: LapMeasures) -> Measurement:
        inbound, target = lap.inbound_s, lap.target_inbound_s
        if inbound.value is None or target is None:
            return inbound
        return replace(inbound, value=inbound.value - target)

    return _values(item, measured, miss, note, lambda lap: lap.end_epoch_s)


def leg_length(item: Item, measured: Measured) -> list[ItemResult]:
    """Where the turn back began, less the leg asked for [NM]; long is positive (AIM 5-3-8, legs by
    distance)."""
    nm = measured.hold.leg.nm
    if nm is None:
        return []

    def miss(lap: LapMeasures) -> Measurement:
        end = lap.outbound_end_nm
        return end if end.value is None else replace(end, value=end.value - nm)

    return _values(item, measured, miss, f"{nm:g} NM from the fix at the turn back", lambda lap: None)


def _values(
    item: Item,
    measured: Measured,
    of: Callable[[LapMeasures], Measurement],
    reference: str,
    at: Callable[[LapMeasures], float | None],
) -> list[ItemResult]:
    results = [
        grade_value(item, _lap_scope(lap), of(lap), at_epoch_s=at(lap), reference=reference) for lap in measured.laps
    ]
    return [*results, grade_laps_together(item, results, measured.standard)] if results else []


def turn_rate(item: Item, measured: Measured) -> list[ItemResult]:
    """Rate of each turn less what is due [deg/s]; the worse of a lap's two turns. Steep is positive."""
    return _turn_item(item, measured, _rate_off)


def turn_bank(item: Item, measured: Measured) -> list[ItemResult]:
    """Bank of each turn less what is due [deg]; the worse of a lap's two turns. Steep is positive."""
    return _turn_item(item, measured, _bank_off)


def _rate_off(turn: TurnMeasures) -> Measurement:
    if turn.due_rate_deg_s is None or turn.rate_deg_s.value is None:
        return Measurement(None, None, "deg/s", why="no airspeed to tell the rate that is due")
    return replace(turn.rate_deg_s, value=turn.rate_deg_s.value - turn.due_rate_deg_s)


def _bank_off(turn: TurnMeasures) -> Measurement:
    if turn.due_bank_deg is None or turn.bank_deg.value is None:
        return Measurement(None, None, "deg", why="no airspeed to turn the rate into bank")
    return replace(turn.bank_deg, value=turn.bank_deg.value - turn.due_bank_deg)


def _turn_item(item: Item, measured: Measured, off: Callable[[TurnMeasures], Measurement]) -> list[ItemResult]:
    turns_due = measured.standard.turns
    least = f"{turns_due.rate_deg_s:g} deg/s, or {turns_due.bank_deg:g} deg of bank, whichever needs less"
    reference = f"{least} ({turns_due.source})"
    results = []
    for lap in measured.laps:
        turns = [(name, turn) for name, turn in (("at the fix", lap.fix_turn), ("inbound", lap.inbound_turn)) if turn]
        measures = [(name, turn, off(turn)) for name, turn in turns]
        known = [each for each in measures if each[2].value is not None]
        if not known:
            why = measures[0][2].why if measures else "the track does not show the turns"
            results.append(not_measurable(item, _lap_scope(lap), why))
            continue
        name, turn, worst = max(known, key=lambda each: abs(each[2].value or 0.0))
        results.append(
            grade_value(
                item,
                _lap_scope(lap),
                worst,
                at_epoch_s=turn.start_epoch_s,
                reference=reference,
                evidence=f"the turn {name}",
            )
        )
    return [*results, grade_laps_together(item, results, measured.standard)] if results else []


def holding_speed(item: Item, measured: Measured) -> list[ItemResult]:
    """Highest airspeed of each lap against the holding speed limit at the altitude [KIAS]."""
    if measured.altitude.value is None:
        return _nothing_known(item, measured, measured.altitude.note)
    # The limit goes by the altitude assigned, not by a momentary one: 20 ft above 6,000 is not another band.
    limit = measured.standard.speed_limit_kias(round(measured.altitude.value, -1))
    if limit is None:
        return _nothing_known(item, measured, "the limit at this altitude is a Mach number")
    why = _airspeed_unknown(measured) if measured.airspeed.value is not None else None
    if why is not None or not math.isfinite(measured.series.airspeed_sd_kt):
        return _nothing_known(item, measured, why or no_airspeed(measured.samples), limit)
    limited = replace(item, limit=limit)
    results = []
    for lap in measured.laps:
        fastest = Measurement(
            lap.ias_high_kt, measured.series.airspeed_sd_kt, "kt", "no airspeed known here", _airspeed_how(measured)
        )
        reference = f"at {measured.altitude.value:.0f} ft"
        results.append(grade_value(limited, _lap_scope(lap), fastest, reference=reference))
    return [*results, grade_laps_together(limited, results, measured.standard)] if results else []


def non_holding_side(item: Item, measured: Measured) -> list[ItemResult]:
    """Largest distance beyond the course on the non-holding side [turn radii]."""
    radius = measured.turn_radius_nm
    if radius is None:
        return _nothing_known(item, measured, "the turn radius is not known")

    def beyond(lap: LapMeasures) -> Measurement:
        far = lap.non_holding_side_nm
        if far.value is None:
            return far
        return Measurement(far.value / radius, (far.sd or 0.0) / radius, "turn radii", how=far.how)

    return _values(item, measured, beyond, f"one turn radius is {radius:.2f} NM", lambda lap: None)


def fix_recognition(item: Item, measured: Measured) -> list[ItemResult]:
    """Seconds from each fix passage to the start of the turn.

    A direct entry that comes across the course may fly on before its turn, to have room: that passage is not graded.
    """
    results = []
    for lap in measured.laps:
        visit = measured.visit(lap.visit)
        arrival = visit.entry.arrival_heading_true_deg
        course = measured.hold.inbound_course_true_deg
        across = arrival is not None and abs(float(turn_from_to(course, arrival))) > ACROSS_COURSE_DEG
        if visit.entry.kind == "direct" and lap.number == visit.laps[0].number and across:
            why = "a direct entry from across the course may fly on before its turn"
            results.append(not_measurable(item, _lap_scope(lap), why))
            continue
        results.append(grade_value(item, _lap_scope(lap), lap.fix_to_turn_s, at_epoch_s=lap.start_epoch_s))
    return [*results, grade_laps_together(item, results, measured.standard)] if results else []


def entry(item: Item, measured: Measured) -> list[ItemResult]:
    """How far the arrival heading lay outside the sector of the entry flown [deg].

    Another entry flown well is within, with a note: the entries are recommended (AIM 5-3-8).
    """
    results = []
    for each in measured.entries:
        scope = _scope_of(measured, each.visit, "entry")
        visit = measured.visit(each.visit)
        at = visit.entry.start.epoch_s if visit.entry.start else None
        if each.kind in ("none", "unclear") or each.sector_miss_deg is None:
            results.append(not_measurable(item, scope, f"the entry flown is {each.kind}"))
            continue
        heading_sd = 3.0 if measured.samples.heading_source != "logged" else 1.0
        expected = " or ".join(each.expected)
        graded = grade_value(
            item,
            scope,
            Measurement(
                each.sector_miss_deg, heading_sd, "deg", how="arrival heading against the sector of the entry flown"
            ),
            at_epoch_s=at,
            reference=f"expected {expected}",
            evidence=f"flown {each.kind}, expected {expected}",
        )
        if each.sector_miss_deg == 0.0 and (each.margin_deg or 0.0) + (item.limit or 0.0) > STRADDLE_SDS * heading_sd:
            graded = replace(graded, straddles=False)  # well inside the sector
        if each.suits and graded.result == "outside":  # the neighbouring sector counts too, near the boundary
            graded = replace(graded, result="within")
        if graded.result == "outside" and each.flown_well:
            graded = replace(
                graded, result="within", why="another entry than the sector's, flown well: a note, not a failure"
            )
        elif graded.result == "within" and each.flown_well is False and not each.suits:
            graded = replace(graded, result="outside")
        results.append(graded)
    return results


def arrival_speed(item: Item, measured: Measured) -> list[ItemResult]:
    """Airspeed over the first fix less holding speed [kt]; fast is positive."""
    why = _airspeed_unknown(measured)
    results = []
    for each in measured.entries:
        scope = _scope_of(measured, each.visit, "arrival")
        if why is not None or each.arrival_ias_kt.value is None:
            results.append(not_measurable(item, scope, why or each.arrival_ias_kt.why))
            continue
        assert measured.airspeed.value is not None
        excess = replace(each.arrival_ias_kt, value=each.arrival_ias_kt.value - measured.airspeed.value)
        ready = each.speed_ready_s
        evidence = f"at holding speed {ready.value:.0f} s before the fix" if ready.value is not None else ready.why
        results.append(grade_value(item, scope, excess, reference=measured.airspeed.note, evidence=evidence))
    return results


def arrival_time(item: Item, measured: Measured) -> list[ItemResult]:
    """Fix passage less assigned time [s]; only where a time is assigned."""
    if measured.hold.arrive_epoch_s is None or not measured.entries:
        return []
    scope = _scope_of(measured, measured.entries[0].visit, "arrival")
    miss = measured.entries[0].arrival_miss_s
    at = None if miss.value is None else measured.hold.arrive_epoch_s + miss.value
    return [grade_value(item, scope, miss, at_epoch_s=at, reference="the time assigned in the hold file")]


GRADERS: dict[str, Grader] = {
    "altitude": altitude,
    "airspeed": airspeed,
    "course": course,
    "outbound_heading": outbound_heading,
    "inbound_time": inbound_time,
    "leg_length": leg_length,
    "turn_rate": turn_rate,
    "turn_bank": turn_bank,
    "holding_speed": holding_speed,
    "non_holding_side": non_holding_side,
    "fix_recognition": fix_recognition,
    "entry": entry,
    "arrival_speed": arrival_speed,
    "arrival_time": arrival_time,
}
