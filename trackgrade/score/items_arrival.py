"""Items of the arrival: the entry, the speed and the time over the fix."""

from __future__ import annotations

from dataclasses import replace

from trackgrade.score.debrief import ItemResult, Measurement
from trackgrade.score.grading import STRADDLE_SDS, Scope, grade_value, not_measurable
from trackgrade.score.items_over_time import airspeed_unknown
from trackgrade.score.measured import Measured
from trackgrade.score.standard import Item


def arrival_scopes(measured: Measured) -> list[Scope]:
    """ "arrival" and "entry" of each visit, named by the visit from the second on."""
    scopes = []
    for visit in measured.flown.visits:
        prefix = "" if visit.number == measured.flown.visits[0].number else f"visit {visit.number} "
        scopes += [Scope(f"{prefix}arrival", visit.number), Scope(f"{prefix}entry", visit.number)]
    return scopes


def _scope_of(measured: Measured, visit: int, kind: str) -> Scope:
    return next(s for s in arrival_scopes(measured) if s.visit == visit and s.name.endswith(kind))


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
    why = airspeed_unknown(measured)
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
