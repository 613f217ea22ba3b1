"""One flight at one hold in numbers: what its bands are measured from, and every lap and entry measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from trackgrade.earth.turning import turn_radius_nm
from trackgrade.hold.hold import Hold
from trackgrade.hold.planning import SolvedLap
from trackgrade.motion.samples import Turn, Wind
from trackgrade.score.debrief import Flight, GradedEntry, GradedVisit, MeasuredFrom
from trackgrade.score.entry_measures import entry_measures
from trackgrade.score.lap import GradedLap
from trackgrade.score.levels import Level, altitude_note, held_from, levels_in_force
from trackgrade.score.measures import NO_ALTITUDE, lap_measures, lap_scope, steady_series
from trackgrade.score.needles import (
    Shown,
    inbound_leg,
    needle_contrast,
    needles_of,
    own_and_other,
    read_needle,
    read_second_needle,
    show,
)
from trackgrade.score.series import Series, median_over
from trackgrade.score.standard import Standard
from trackgrade.score.timing import converged_lap, correction, outbound_times, watch_analysis
from trackgrade.score.wind_work import heading_kept, wind_work
from trackgrade.segment.flown import Flown, Visit
from trackgrade.segment.measured import Measured
from trackgrade.segment.path import Samples
from trackgrade.track.ranks import median
from trackgrade.track.track import AltitudeDatum

#: Where no altitude is assigned, it is the one held from so long before the first lap to its end, else to so long after
#: its beginning, if nothing in it was further apart than that; in a climb or descent the first one held after
#: [s, s, ft]: choices.
REFERENCE_BEFORE_S, REFERENCE_WINDOW_S, REFERENCE_WITHIN_FT = 60.0, 20.0, 200.0
#: Climbing or descending through more than this in the first seconds of the first lap, it is on its way [ft].
ON_ITS_WAY_FT = 120.0


#: From a wind to the lap that works in it; None where there is none.
Solver = Callable[[Wind | None], SolvedLap | None]


#: Altitudes that are not what the altimeter showed: the assigned one cannot be compared with them.
_ANOTHER_DATUM = {
    "pressure": "the log has pressure altitude (1013.25 hPa), and no qnh_hpa in the hold file says how it was read",
    "ellipsoid": "the log has height above the ellipsoid, which no altimeter shows",
}


def altitude_from(hold: Hold, flown: Flown, samples: Samples, series: Series, datum: AltitudeDatum) -> MeasuredFrom:
    """The altitude assigned; else, or where the log has another datum, the one held when the first lap began."""
    if hold.altitude_ft is not None and datum == "altimeter":
        return MeasuredFrom(hold.altitude_ft, f"{hold.altitude_ft:.0f} ft assigned in the hold file")
    if not flown.rounds:
        return MeasuredFrom(None, "no altitude assigned and no completed lap")
    start_s = flown.rounds[0].start.epoch_s
    why = _ANOTHER_DATUM.get(datum, "none is assigned")
    known = np.isfinite(series.alt_ft)
    t, alt = samples.epoch_s[known], series.alt_ft[known]
    end_s = flown.rounds[0].end.epoch_s if flown.rounds[0].end else start_s
    early, first, after, last = np.searchsorted(
        t, [start_s - REFERENCE_BEFORE_S, start_s, start_s + REFERENCE_WINDOW_S, end_s]
    )
    if first == after:
        return MeasuredFrom(None, NO_ALTITUDE)
    if abs(alt[after - 1] - alt[first]) > ON_ITS_WAY_FT and (found := held_from(t, alt, int(first))) is not None:
        return MeasuredFrom(found[1], f"{found[1]:.0f} ft, held first in the hold as {why}")
    stretches = [each for each in (alt[early:last], alt[early:after]) if np.ptp(each) <= REFERENCE_WITHIN_FT]
    held = median([*stretches, alt[first:after]][0])
    return MeasuredFrom(held, f"{held:.0f} ft, held when the first lap began as {why}")


def airspeed_from(hold: Hold, flown: Flown, samples: Samples, series: Series) -> MeasuredFrom:
    """The holding speed planned; else the typical one of the first lap."""
    if hold.airspeed_kias is not None:
        return MeasuredFrom(hold.airspeed_kias, f"{hold.airspeed_kias:.0f} KIAS planned in the hold file")
    if not flown.rounds or flown.rounds[0].end is None or not math.isfinite(series.airspeed_sd_kt):
        return MeasuredFrom(None, "no airspeed planned, and none known on a completed lap")
    typical = median_over(samples, series.ias_kt, flown.rounds[0].start.epoch_s, flown.rounds[0].end.epoch_s)
    if not math.isfinite(typical):
        return MeasuredFrom(None, "no airspeed known on the first lap")
    return MeasuredFrom(typical, f"{typical:.0f} KIAS, typical of the first lap as none is planned")


def typical_turn_radius_nm(samples: Samples, flown: Flown, turns: tuple[Turn, ...]) -> float | None:
    """Radius of a turn flown at the due rate and the first lap's true airspeed [NM]; None when that is not known.

    Speed over angular rate; V / (60 pi) NM at 3 degrees a second (arithmetic).
    """
    if not flown.rounds or flown.rounds[0].end is None:
        return None
    first = flown.rounds[0].start.epoch_s, flown.rounds[0].end.epoch_s
    tas = median_over(samples, samples.tas_kt, *first)
    if not math.isfinite(tas):
        tas = median_over(samples, samples.groundspeed_kt, *first)
    rates = sorted(turn.rate_deg_s for turn in turns if abs(turn.change_deg) > 90.0)
    rate = rates[len(rates) // 2] if rates else 3.0
    return turn_radius_nm(tas, max(rate, 0.5)) if math.isfinite(tas) else None


def in_numbers(measured: Measured, standard: Standard, solver: Solver) -> Flight:
    """Measure every lap and entry of a flight; ``solver`` gives the lap that works in a wind, or None."""
    hold, samples, flown = measured.hold, measured.samples, measured.flown
    series = steady_series(samples, measured.wind)
    airspeed = airspeed_from(hold, flown, samples, series)
    altitude = altitude_from(hold, flown, samples, series, measured.clean.track.alt_datum)
    levels = (
        levels_in_force(hold, altitude.value, _stays(flown), samples.epoch_s, series.alt_ft)
        if altitude.value is not None
        else ()
    )
    radius = typical_turn_radius_nm(samples, flown, measured.turns)
    needles = tuple(show(needle, samples) for needle in needles_of(hold))
    band = standard.limit("airspeed") or 10.0
    visits = tuple(
        GradedVisit(
            visit.number,
            visit,
            GradedEntry(
                visit.number,
                visit.entry,
                entry_measures(visit, flown, hold, samples, series, airspeed.value, band, radius),
            ),
            laps := _laps(visit, measured, series, levels, needles, standard, solver),
            converged_lap=converged_lap(laps, standard.timing_band_s),
        )
        for visit in flown.visits
    )
    every = [lap for visit in visits for lap in visit.laps]
    return Flight(
        hold=hold,
        samples=samples,
        wind=measured.wind,
        standard=standard,
        series=series,
        altitude=replace(altitude, note=altitude_note(altitude.note, levels)),
        levels=levels,
        airspeed=airspeed,
        solved=every[-1].solved if every else solver(measured.wind),
        turn_radius_nm=radius,
        visits=visits,
        flown=flown,
        needles=needles,
        watch=watch_analysis(every, hold),
    )


def _stays(flown: Flown) -> list[tuple[float, float]]:
    """From when to when the rounds of each visit lasted [s since 1970]."""
    rounds = [visit.rounds for visit in flown.visits]
    return [(own[0].start.epoch_s, own[-1].end.epoch_s) for own in rounds if own and own[-1].end is not None]


def _laps(
    visit: Visit,
    measured: Measured,
    series: Series,
    levels: Sequence[Level],
    needles: Sequence[Shown],
    standard: Standard,
    solver: Solver,
) -> tuple[GradedLap, ...]:
    """The completed laps of a visit, not graded yet."""
    hold, samples = measured.hold, measured.samples
    own, other = map(needles.index, own_and_other(needles))
    winds = [own_wind(lap.wind, measured.wind) for lap in visit.laps]
    solved = [solver(wind) for wind in winds]
    measures = [lap_measures(visit, lap, hold, samples, series, levels, measured.turns, standard) for lap in visit.laps]
    works = [
        wind_work(lap, numbers, hold, samples, wind, card)
        for lap, numbers, wind, card in zip(visit.laps, measures, winds, solved, strict=True)
    ]
    laps = []
    for index, (lap, numbers, work, card) in enumerate(zip(visit.laps, measures, works, solved, strict=True)):
        leg = inbound_leg(needles[own], lap, samples)
        readings = tuple(read_needle(each, leg, samples) for each in needles)
        following = measures[index + 1] if index + 1 < len(measures) else None
        kept = following is None or heading_kept(work, works[index + 1])
        laps.append(
            GradedLap(
                visit=visit.number,
                number=lap.number,
                scope=lap_scope(measured.flown, visit, lap.number),
                flown=lap,
                measures=numbers,
                outbound_times=outbound_times(lap, measured.clean.track.marks),
                needles=readings,
                own_needle=readings[own],
                other_needle=readings[other],
                contrast=needle_contrast(readings, standard.needle_share),
                second_needle=read_second_needle(hold, lap, samples),
                wind_changed=winds[index] is not measured.wind,
                solved=card,
                wind_work=work,
                correction=correction(numbers, following, card, kept, standard),
            )
        )
    return tuple(laps)


def own_wind(of_lap: Wind | None, of_stay: Wind | None) -> Wind | None:
    """The wind of a lap where it differs from that of the stay by more than its error; else that of the stay."""
    if of_lap is None or of_stay is None:
        return of_stay
    return of_lap if of_lap.differs_from(of_stay) else of_stay
