"""Items counted at every sample: altitude, airspeed, the needle inbound, the heading outbound."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from trackgrade.earth.angles import turn_from_to
from trackgrade.score.debrief import ItemResult, LapMeasures
from trackgrade.score.grading import WHOLE_HOLD, Scope, grade_over_time, not_measurable
from trackgrade.score.measured import Measured
from trackgrade.score.measures import no_airspeed
from trackgrade.score.needles import deflection, own_needle
from trackgrade.score.series import Stretch
from trackgrade.score.standard import Item
from trackgrade.score.wind_work import outbound_leg
from trackgrade.track.track import Floats

#: An estimated airspeed less sure than this is not graded [kt]: a choice. It does not move with the limit graded.
AIRSPEED_SD_MAX_KT = 4.0
#: Likewise a heading [deg].
HEADING_SD_MAX_DEG = 5.0


def lap_scope(lap: LapMeasures) -> Scope:
    """The scope of one lap."""
    return Scope(lap.scope, lap.visit, lap.number)


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
            results.append(not_measurable(item, lap_scope(lap), why_no_stretch))
            continue
        stretches.append(stretch)
        results.append(
            grade_over_time(
                item,
                lap_scope(lap),
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


def nothing_known(item: Item, measured: Measured, why: str, limit: float | None = None) -> list[ItemResult]:
    scopes = [lap_scope(lap) for lap in measured.laps]
    return [not_measurable(item, scope, why, limit) for scope in ([*scopes, WHOLE_HOLD] if scopes else [])]


def _whole_lap(number_of: dict[tuple[int, int], int]) -> Callable[[LapMeasures], Stretch]:
    return lambda lap: Stretch(lap.start_epoch_s, lap.end_epoch_s, number_of[lap.visit, lap.number])


def _numbering(measured: Measured) -> dict[tuple[int, int], int]:
    """A number for each lap of all visits, so that laps of two visits are not taken for one."""
    return {(lap.visit, lap.number): index for index, lap in enumerate(measured.laps)}


def altitude(item: Item, measured: Measured) -> list[ItemResult]:
    """Altitude less the assigned one, over each lap."""
    if measured.altitude.value is None:
        return nothing_known(item, measured, measured.altitude.note)
    return _each_lap_and_whole(
        item,
        measured,
        measured.series.alt_ft - measured.altitude.value,
        measured.series.alt_sd_ft,
        _whole_lap(_numbering(measured)),
        reference=measured.altitude.note,
        how="logged altitude, running median over 5 s; it may be a GPS height and not the altimeter's",
        why_missing="the track carries no altitude in a known unit here",
    )


def airspeed(item: Item, measured: Measured) -> list[ItemResult]:
    """Indicated airspeed less the holding speed, over each lap."""
    why = airspeed_unknown(measured)
    if why is not None:
        return nothing_known(item, measured, why)
    assert measured.airspeed.value is not None
    return _each_lap_and_whole(
        item,
        measured,
        measured.series.ias_kt - measured.airspeed.value,
        measured.series.airspeed_sd_kt,
        _whole_lap(_numbering(measured)),
        reference=measured.airspeed.note,
        how=airspeed_how(measured),
        why_missing="no airspeed known here",
    )


def airspeed_unknown(measured: Measured) -> str | None:
    sd = measured.series.airspeed_sd_kt
    if not math.isfinite(sd):
        return no_airspeed(measured.samples)
    if sd > AIRSPEED_SD_MAX_KT:
        return f"the estimated airspeed is only known to ±{2.0 * sd:.0f} kt"
    return None if measured.airspeed.value is not None else measured.airspeed.note


def airspeed_how(measured: Measured) -> str:
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
        return nothing_known(item, measured, "heading is not known: neither logged nor, without the wind, estimated")
    if sd > HEADING_SD_MAX_DEG:
        return nothing_known(item, measured, f"the estimated heading is only known to ±{2.0 * sd:.0f} deg")
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
