"""Everything measured on one flight, before any judgement: what items and mistakes read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from trackgrade.hold.hold import Hold
from trackgrade.hold.planning import turn_radius_nm
from trackgrade.motion.samples import Samples, Turn, Wind
from trackgrade.score.debrief import (
    Correction,
    EntryMeasures,
    LapMeasures,
    NeedleReading,
    WatchAnalysis,
    WindWork,
)
from trackgrade.score.entry_measures import entry_measures
from trackgrade.score.measures import NO_ALTITUDE, Series, lap_measures, lap_scope, steady_series
from trackgrade.score.needles import read_needles
from trackgrade.score.series import median_over
from trackgrade.score.standard import Standard
from trackgrade.score.timing import corrections, watch_analysis
from trackgrade.score.wind_work import wind_work
from trackgrade.segment.flown import Flown, Lap, Visit
from trackgrade.track.track import AltitudeDatum, CleanTrack

if TYPE_CHECKING:
    from trackgrade.hold.planning import SolvedLap

#: Where no altitude is assigned, it is the one held in the first seconds of the first lap [s]: a choice.
REFERENCE_WINDOW_S = 20.0


@dataclass(frozen=True)
class Reference:
    """What a band is measured from, and in words where it comes from. ``value`` is None when there is
    nothing."""

    value: float | None
    note: str


@dataclass(frozen=True, eq=False)
class Measured:
    """One flight in numbers. ``laps`` are the completed laps of all visits in order."""

    hold: Hold
    samples: Samples
    series: Series
    wind: Wind | None
    turns: tuple[Turn, ...]
    flown: Flown
    standard: Standard
    altitude: Reference
    airspeed: Reference
    laps: tuple[LapMeasures, ...]
    entries: tuple[EntryMeasures, ...]
    needles: tuple[NeedleReading, ...]
    wind_work: tuple[WindWork, ...]
    corrections: tuple[Correction, ...]
    watch: WatchAnalysis | None
    solved: SolvedLap | None
    turn_radius_nm: float | None

    def visit(self, number: int) -> Visit:
        """The visit of that number."""
        return next(visit for visit in self.flown.visits if visit.number == number)

    def lap(self, measures: LapMeasures) -> Lap:
        """The lap that was measured."""
        return next(lap for lap in self.visit(measures.visit).laps if lap.number == measures.number)


#: Altitudes that are not what the altimeter showed: the assigned one cannot be compared with them.
_ANOTHER_DATUM = {
    "pressure": "the log has pressure altitude (1013.25 hPa), and no qnh_hpa in the hold file says how it was read",
    "ellipsoid": "the log has height above the ellipsoid, which no altimeter shows",
}


def altitude_reference(hold: Hold, flown: Flown, samples: Samples, series: Series, datum: AltitudeDatum) -> Reference:
    """The altitude assigned; else, or where the log has another datum, the one held when the first lap began."""
    if hold.altitude_ft is not None and datum == "altimeter":
        return Reference(hold.altitude_ft, f"{hold.altitude_ft:.0f} ft assigned in the hold file")
    if not flown.laps:
        return Reference(None, "no altitude assigned and no completed lap")
    start_s = flown.laps[0].start.epoch_s
    held = median_over(samples, series.alt_ft, start_s, start_s + REFERENCE_WINDOW_S)
    if not math.isfinite(held):
        return Reference(None, NO_ALTITUDE)
    why = _ANOTHER_DATUM.get(datum, "none is assigned")
    return Reference(held, f"{held:.0f} ft, held when the first lap began as {why}")


def airspeed_reference(hold: Hold, flown: Flown, samples: Samples, series: Series) -> Reference:
    """The holding speed planned; else the typical one of the first lap."""
    if hold.airspeed_kias is not None:
        return Reference(hold.airspeed_kias, f"{hold.airspeed_kias:.0f} KIAS planned in the hold file")
    if not flown.laps or flown.laps[0].end is None or not math.isfinite(series.airspeed_sd_kt):
        return Reference(None, "no airspeed planned, and none known on a completed lap")
    first = flown.laps[0]
    typical = median_over(samples, series.ias_kt, first.start.epoch_s, flown.laps[0].end.epoch_s)
    if not math.isfinite(typical):
        return Reference(None, "no airspeed known on the first lap")
    return Reference(typical, f"{typical:.0f} KIAS, typical of the first lap as none is planned")


def typical_turn_radius_nm(samples: Samples, flown: Flown, turns: tuple[Turn, ...]) -> float | None:
    """Radius of a turn flown at the due rate and the first lap's true airspeed [NM]; None when that is not
    known.

    Speed over angular rate; V / (60 pi) NM at 3 degrees a second (arithmetic).
    """
    if not flown.laps or flown.laps[0].end is None:
        return None
    first = flown.laps[0]
    tas = median_over(samples, samples.tas_kt, first.start.epoch_s, flown.laps[0].end.epoch_s)
    if not math.isfinite(tas):
        tas = median_over(samples, samples.groundspeed_kt, first.start.epoch_s, flown.laps[0].end.epoch_s)
    rates = sorted(turn.rate_deg_s for turn in turns if abs(turn.change_deg) > 90.0)
    rate = rates[len(rates) // 2] if rates else 3.0
    return turn_radius_nm(tas, max(rate, 0.5)) if math.isfinite(tas) else None


def measure_all(
    clean: CleanTrack,
    hold: Hold,
    samples: Samples,
    wind: Wind | None,
    turns: tuple[Turn, ...],
    flown: Flown,
    standard: Standard,
    solved: SolvedLap | None,
) -> Measured:
    """Measure every lap and entry of a flight."""
    series = steady_series(samples, wind)
    airspeed = airspeed_reference(hold, flown, samples, series)
    laps = tuple(
        lap_measures(visit, lap, lap_scope(flown, visit, lap.number), hold, samples, series, turns, standard)
        for visit in flown.visits
        for lap in visit.laps
    )
    radius = typical_turn_radius_nm(samples, flown, turns)
    airspeed_item = standard.item("airspeed")
    band = airspeed_item.limit if airspeed_item is not None and airspeed_item.limit is not None else 10.0
    entries = tuple(
        entry_measures(visit, flown, hold, samples, series, airspeed.value, band, radius) for visit in flown.visits
    )
    works = tuple(
        wind_work(visit.number, lap, measures, hold, samples, wind, solved)
        for measures, (visit, lap) in zip(
            laps, ((visit, lap) for visit in flown.visits for lap in visit.laps), strict=True
        )
    )
    return Measured(
        hold=hold,
        samples=samples,
        series=series,
        wind=wind,
        turns=turns,
        flown=flown,
        standard=standard,
        altitude=altitude_reference(hold, flown, samples, series, clean.track.alt_datum),
        airspeed=airspeed,
        laps=laps,
        entries=entries,
        needles=read_needles(flown, hold, samples),
        wind_work=works,
        corrections=corrections(
            laps,
            solved.outbound_s if solved is not None and solved.feasible else None,
            standard.timing_band_s or 10.0,
            standard.choices.correction_tolerance_s,
        ),
        watch=watch_analysis(flown, laps, clean.track.marks, hold),
        solved=solved,
        turn_radius_nm=radius,
    )
