"""Items counted at every sample: altitude, airspeed, the needle inbound, the heading outbound."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trackgrade.earth.angles import turn_from_to
from trackgrade.score.debrief import Flight
from trackgrade.score.grading import WHOLE_HOLD, Deviation, Scope, Seen, grade_over_time, look, not_measurable
from trackgrade.score.lap import GradedLap
from trackgrade.score.levels import held_spans, level_at
from trackgrade.score.measures import no_airspeed
from trackgrade.score.needles import deflected, inbound_leg, own_and_other
from trackgrade.score.results import ItemResult
from trackgrade.score.series import Stretch, inside
from trackgrade.score.standard import Item
from trackgrade.score.wind_work import NO_HEADING, NO_OUTBOUND_LEG, outbound_leg
from trackgrade.track.ranks import median

#: An estimated airspeed less sure than this is not graded [kt]: a choice. It does not move with the limit graded.
AIRSPEED_SD_MAX_KT = 4.0


def lap_scope(lap: GradedLap) -> Scope:
    """The scope of one lap."""
    return Scope(lap.scope, lap.visit, lap.number)


def _each_lap_and_whole(
    item: Item, flight: Flight, off: Deviation, spans: Sequence[Sequence[tuple[float, float]]], why_no_span: str = ""
) -> list[ItemResult]:
    """A result for each lap over its spans of time [s since 1970] (it may have none), and one over all of them.

    Without laps the spans are those of the course reversals, and the one over all of them is all there is.
    """

    laps = flight.laps

    def graded(scope: Scope, seen: list[Seen]) -> ItemResult:
        if not seen:
            return not_measurable(item, scope, why_no_span)
        return _on_laps(laps, grade_over_time(item, scope, off, seen, flight.standard))

    # Numbered over all visits, so that laps of two visits are not taken for one.
    stretches = [Stretch(*span, lap=number) for number, own in enumerate(spans) for span in own]
    seen = look(item, flight.samples, off, stretches)
    results = [
        graded(lap_scope(lap), [each for each in seen if each.stretch.lap == number]) for number, lap in enumerate(laps)
    ]
    return [*results, graded(WHOLE_HOLD, seen)] if spans else []


def _on_laps(laps: Sequence[GradedLap], result: ItemResult) -> ItemResult:
    """The excursions of a result by their laps (a course reversal is none), and the lap of the farthest."""
    if not result.excursions:
        return result
    if not laps:
        return replace(result, excursions=tuple(replace(stay, lap=None) for stay in result.excursions))
    where = [laps[stay.lap or 0] for stay in result.excursions]
    farthest = max(zip(result.excursions, where, strict=True), key=lambda each: abs(each[0].peak))[1]
    stays = tuple(replace(stay, lap=lap.number) for stay, lap in zip(result.excursions, where, strict=True))
    return replace(result, excursions=stays, worst_scope=farthest.scope)


def nothing_known(item: Item, flight: Flight, why: str) -> list[ItemResult]:
    scopes = [lap_scope(lap) for lap in flight.laps]
    return [not_measurable(item, scope, why) for scope in ([*scopes, WHOLE_HOLD] if flight.flown.rounds else [])]


def _whole_laps(flight: Flight) -> list[list[tuple[float, float]]]:
    return [[(each.start.epoch_s, each.end.epoch_s)] for each in flight.flown.rounds if each.end is not None]


def altitude(item: Item, flight: Flight) -> list[ItemResult]:
    """Altitude less the level in force, over each lap but for changes of level."""
    if flight.altitude.value is None:
        return nothing_known(item, flight, flight.altitude.note)
    off = Deviation(
        flight.series.alt_ft - level_at(flight.levels, flight.samples.epoch_s),
        flight.series.alt_sd_ft,
        reference=flight.altitude.note,
        how="logged altitude, running median over 5 s; it may be a GPS height and not the altimeter's",
        why_missing="the track carries no altitude in a known unit here",
    )
    held = [[span[1:] for own in lap for span in held_spans(flight.levels, *own)] for lap in _whole_laps(flight)]
    return _each_lap_and_whole(item, flight, off, held, "on the way from one level to another")


def airspeed(item: Item, flight: Flight) -> list[ItemResult]:
    """Indicated airspeed less the holding speed, over each lap."""
    why = airspeed_unknown(flight)
    if why is not None:
        return nothing_known(item, flight, why)
    assert flight.airspeed.value is not None
    off = Deviation(
        flight.series.ias_kt - flight.airspeed.value,
        flight.series.airspeed_sd_kt,
        reference=flight.airspeed.note,
        how=airspeed_how(flight),
        why_missing="no airspeed known here",
    )
    return _each_lap_and_whole(item, flight, off, _whole_laps(flight))


def airspeed_unknown(flight: Flight) -> str | None:
    sd = flight.series.airspeed_sd_kt
    if not math.isfinite(sd):
        return no_airspeed(flight.samples)
    if sd > AIRSPEED_SD_MAX_KT:
        return f"the estimated airspeed is only known to ±{2.0 * sd:.0f} kt"
    return None if flight.airspeed.value is not None else flight.airspeed.note


def airspeed_how(flight: Flight) -> str:
    if flight.samples.airspeed_source == "logged":
        return "logged airspeed, running median over 5 s"
    return "estimated: ground velocity less wind, turned into calibrated airspeed by the standard atmosphere"


def course(item: Item, flight: Flight) -> list[ItemResult]:
    """Deflection of the hold's own needle inbound [share of full scale], right of course positive."""
    own, _ = own_and_other(flight.needles)
    read = np.zeros(len(flight.samples), dtype=bool)
    spans: list[list[tuple[float, float]]] = []
    why = ""
    for each in flight.flown.rounds:
        index = deflected(own, inbound_leg(own, each, flight.samples))
        if isinstance(index, str):
            why = index
            spans.append([])
            continue
        read[index] = True
        first, last = flight.samples.epoch_s[index[[0, -1]]]
        spans.append([(float(first), float(last))])
    off = Deviation(
        np.where(read, own.right, math.nan),
        np.where(read, own.share_sd, math.nan),
        reference=own.needle.label,
        how="needle from the position; right of course positive",
        why_missing="no positions on the inbound leg",
    )
    return _each_lap_and_whole(item, flight, off, spans, why)


def outbound_heading(item: Item, flight: Flight) -> list[ItemResult]:
    """Heading less the leg's own typical heading, over each outbound leg."""
    sd = _heading_sd(flight)
    if sd is None:
        return nothing_known(item, flight, NO_HEADING)
    heading = flight.samples.heading_true_deg
    wandered = np.full(len(heading), math.nan)
    spans: list[list[tuple[float, float]]] = []
    for lap in flight.laps:
        leg, typical = outbound_leg(lap.flown), lap.wind_work.outbound_heading_true_deg.value
        if leg is None or typical is None:
            spans.append([])
            continue
        own = inside(flight.samples, *leg)
        values = turn_from_to(typical, heading[own])
        wandered[own] = turn_from_to(median(values[np.isfinite(values)]), values)
        spans.append([leg])
    off = Deviation(
        wandered,
        sd,
        reference="the leg's own typical heading (the heading selected is not in a track)",
        how=f"{flight.samples.heading_source} heading, wings level outbound to the turn back",
        why_missing="heading not known here",
    )
    return _each_lap_and_whole(item, flight, off, spans, NO_OUTBOUND_LEG)


def _heading_sd(flight: Flight) -> float | None:
    if flight.samples.heading_source == "logged":
        return 1.0
    if flight.samples.heading_source == "none" or flight.wind is None:
        return None
    # A steady wind error moves the whole leg and drops out against the leg's own heading: what is left is
    # velocity noise.
    return 1.5
