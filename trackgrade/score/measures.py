"""Every number a standard may ask for, of one lap or one entry, with its error and how it was obtained.

Nothing here knows a limit. What the track cannot carry is a `Measurement` without a value and with the reason.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trackgrade.earth.turning import bank_for_rate_deg, rate_for_bank_deg_s
from trackgrade.hold.hold import Hold
from trackgrade.motion.samples import Turn, Wind, turns_in
from trackgrade.score.lap import LapMeasures, TurnMeasures
from trackgrade.score.levels import Level, changing
from trackgrade.score.results import Measurement
from trackgrade.score.series import Series, inside, median_over, steadied, value_at, white_noise
from trackgrade.score.standard import Standard, Turns
from trackgrade.score.timing import REFERENCE_TITLES, between, outbound_start, outbound_time
from trackgrade.segment.flown import Flown, InboundStartBy, Lap, Moment, Visit
from trackgrade.segment.path import Samples
from trackgrade.track.ranks import median
from trackgrade.track.track import Floats

#: Error of a logged indicated airspeed [kt]: instrument and lag; common practice, no source.
LOGGED_AIRSPEED_SD_KT = 1.0
#: Why there is no altitude: not logged, or in a unit that nothing settles.
NO_ALTITUDE = "the track carries no altitude in a known unit"
#: A level flown through on reaching it is altitude not held, and none lost in a turn begun so soon after [s]: a choice.
SETTLES_S = 30.0
#: Error of an altitude that the log's own noise does not show [ft]: a choice (GPS height drifts slowly).
ALTITUDE_SD_FT = 10.0
#: Part of a turn left out at each end, where the aircraft rolls [share of the turn's time].
ROLL_SHARE = 0.2

INBOUND_START_WORDS: dict[InboundStartBy, str] = {
    "course": "the course crossed inbound",
    "rollout": "the roll-out inbound",
}


def steady_series(samples: Samples, wind: Wind | None) -> Series:
    """Altitude and airspeed as graded: running medians over 5 s, with their standard errors.

    An estimated airspeed is ground velocity minus wind: its error is that of the wind and the airspeed
    fitted, and what scatters from sample to sample.
    """
    alt_ft = steadied(samples.epoch_s, samples.alt_ft)
    ias_kt = steadied(samples.epoch_s, samples.ias_kt)
    if samples.airspeed_source == "logged":
        airspeed_sd = LOGGED_AIRSPEED_SD_KT
    elif samples.airspeed_source == "estimated" and wind is not None:
        airspeed_sd = math.hypot(wind.speed_sd_kt, wind.true_airspeed_sd_kt, white_noise(samples.ias_kt), 0.5)
    else:
        airspeed_sd = math.nan
    return Series(alt_ft, math.hypot(ALTITUDE_SD_FT, white_noise(samples.alt_ft)), ias_kt, airspeed_sd)


def due_rates_deg_s(turns: Turns, tas_kt: float) -> tuple[float, float]:
    """Lowest and highest rate of turn that the standard's turns allow at an airspeed [deg/s].

    The least bank of the standard rate, the bank limit, and (with a flight director) the lower bank limit;
    which of the two bank limits was flown a track does not tell, so both are right (AIM 5-3-8).
    """
    with_director = min(turns.rate_deg_s, rate_for_bank_deg_s(tas_kt, turns.flight_director_bank_deg))
    without = min(turns.rate_deg_s, rate_for_bank_deg_s(tas_kt, turns.bank_deg))
    return min(with_director, without), max(with_director, without)


def turn_between(turns: Sequence[Turn], start: Moment | None, end: Moment | None) -> Turn | None:
    """The turn, of those in order of time, that covers most of the time between two moments, or None."""
    if start is None or end is None:
        return None
    best, most = None, 0.0
    for turn in turns_in(turns, start.epoch_s, end.epoch_s):
        shared = min(turn.end_epoch_s, end.epoch_s) - max(turn.start_epoch_s, start.epoch_s)
        if shared > most:
            best, most = turn, shared
    return best


def turn_measures(
    turn: Turn | None, samples: Samples, series: Series, levels: Sequence[Level], due: Turns
) -> TurnMeasures | None:
    """Rate, bank, evenness and altitude lost of one turn."""
    if turn is None:
        return None
    start, end = turn.start_epoch_s, turn.end_epoch_s
    trim = ROLL_SHARE * (end - start)
    middle = inside(samples, start + trim, end - trim)
    finite = np.isfinite(samples.heading_rate_deg_s[middle])
    rates = np.abs(samples.heading_rate_deg_s[middle][finite])
    spread = Measurement(None, None, "deg/s", why="too few samples in the turn")
    rate_sd = 0.3
    if len(rates) >= 6:
        noise = median(samples.heading_rate_sd_deg_s[middle][finite])
        off = rates - rates.mean()
        raw = math.sqrt(off @ off / (len(off) - 1))
        spread = Measurement(
            math.sqrt(max(raw**2 - noise**2, 0.0)),
            max(noise, 0.05),
            "deg/s",
            how="standard deviation of the rate over the middle of the turn, less that of its error",
        )
        rate_sd = max(noise, raw) / math.sqrt(max(1.0, (end - start - 2 * trim) / 5.0))
    tas = median_over(samples, samples.tas_kt, start, end)
    low = high = due_bank = None
    if math.isfinite(tas) and tas > 20.0:
        low, high = due_rates_deg_s(due, tas)
        due_bank = float(bank_for_rate_deg(tas, high))
    bank = Measurement(None, None, "deg", why="no airspeed to turn the rate into bank")
    if math.isfinite(turn.bank_deg):
        bank_sd = (
            1.0
            if samples.bank_source == "logged"
            else max(0.5, abs(turn.bank_deg) * rate_sd / max(turn.rate_deg_s, 0.5))
        )
        how = "logged" if samples.bank_source == "logged" else "from rate of turn and true airspeed, as coordinated"
        bank = Measurement(abs(turn.bank_deg), bank_sd, "deg", how=how)
    due_rate = None if low is None or high is None else min(max(turn.rate_deg_s, low), high)
    return TurnMeasures(
        rate_deg_s=Measurement(
            turn.rate_deg_s, rate_sd, "deg/s", how="median rate of the heading over the middle of the turn"
        ),
        bank_deg=bank,
        due_rate_deg_s=due_rate,
        due_bank_deg=due_bank,
        rate_spread_deg_s=spread,
        change_deg=turn.change_deg,
        altitude_lost_ft=altitude_lost(samples, series, levels, start, end),
        start_epoch_s=start,
        end_epoch_s=end,
    )


def altitude_lost(
    samples: Samples, series: Series, levels: Sequence[Level], start_s: float, end_s: float
) -> Measurement:
    """Altitude at the start of a turn less the lowest in it [ft]; positive is lost."""
    if levels and changing(levels, start_s - SETTLES_S, end_s):
        return Measurement(None, None, "ft", why="the level was changed in the turn or just before")
    known = _finite(series.alt_ft[inside(samples, start_s, end_s)])
    at_start = value_at(samples, series.alt_ft, start_s)
    if not known.size or not math.isfinite(at_start):
        return Measurement(None, None, "ft", why="no altitude in the turn")
    return Measurement(
        at_start - float(known.min()), series.alt_sd_ft, "ft", how="altitude at its start less the lowest"
    )


def settled_from_s(visit: Visit, lap: Lap) -> float:
    """From when a lap's place in the hold is its own [s since 1970].

    The first lap of a direct entry begins over the fix on whatever heading it came: its turn belongs to the entry,
    and may go wide on the non-holding side. Every other lap is its own from the fix.
    """
    if visit.entry.kind == "direct" and visit.laps and lap.number == visit.laps[0].number:
        settled = [moment.epoch_s for moment in (lap.outbound_turn_end, lap.abeam) if moment is not None]
        return max(settled, default=lap.start.epoch_s)
    return lap.start.epoch_s


def lap_scope(flown: Flown, visit: Visit, number: int) -> str:
    """The name of a lap's scope: "lap 1"; with the visit where another visit has a lap of that number."""
    same = sum(1 for each in flown.visits for lap in each.laps if lap.number == number)
    return f"lap {number}" if same < 2 else f"visit {visit.number} lap {number}"


def lap_measures(
    visit: Visit,
    lap: Lap,
    hold: Hold,
    samples: Samples,
    series: Series,
    levels: Sequence[Level],
    turns: Sequence[Turn],
    standard: Standard,
) -> LapMeasures:
    """Every number of one completed lap (its ``end`` is set)."""
    if lap.end is None:
        raise ValueError(f"lap {lap.number} has no end; only completed laps are measured")
    started, started_by = outbound_start(lap, standard.outbound_starts)
    start_s, end_s = lap.start.epoch_s, lap.end.epoch_s
    inbound_s = between(lap.inbound_start, lap.end, INBOUND_START_WORDS[lap.inbound_start_by or "rollout"], "the fix")
    other = lap.inbound_start_other
    inbound_other_s = between(other.moment, lap.end, INBOUND_START_WORDS[other.by], "the fix") if other else None
    outbound_from_words = REFERENCE_TITLES[started_by] if started_by else "the start of the outbound leg"
    whole = inside(samples, start_s, end_s)
    settled_s = settled_from_s(visit, lap)
    own = inside(samples, settled_s, end_s)
    beyond = -samples.cross_nm[own]
    position_sd = median(samples.position_sd_nm[whole])
    altitudes = _finite(series.alt_ft[whole])
    speeds = _finite(series.ias_kt[whole])
    known_speed = speeds.size > 0 and math.isfinite(series.airspeed_sd_kt)
    inbound_from = lap.inbound_start.epoch_s if lap.inbound_start else None
    largest_cross, typical_cross = _cross_track(samples, inbound_from, end_s)
    outbound_from = lap.outbound_turn_end or lap.abeam
    return LapMeasures(
        settled_epoch_s=settled_s,
        lap_s=between(lap.start, lap.end, "the fix", "the fix"),
        outbound_s=outbound_time(started, lap.outbound_end, outbound_from_words),
        outbound_start_by=started_by,
        outbound_start_epoch_s=started.epoch_s if started else None,
        inbound_s=inbound_s,
        inbound_other_s=inbound_other_s,
        target_inbound_s=hold.leg.seconds,
        inbound_nm=_distance_from_fix(samples, lap.inbound_start, "the inbound start"),
        outbound_end_nm=_distance_from_fix(samples, lap.outbound_end, "the turn back"),
        target_nm=hold.leg.nm,
        max_cross_track_nm=largest_cross,
        typical_cross_track_nm=typical_cross,
        rollout_cross_nm=_cross_at(samples, lap.inbound_turn_end),
        non_holding_side_nm=Measurement(
            max(0.0, float(np.max(beyond))), position_sd, "NM", how="largest distance beyond the course in the lap"
        )
        if beyond.size
        else Measurement(None, None, "NM", why="no positions in the lap"),
        fix_to_turn_s=between(lap.start, lap.outbound_turn_start, "the fix", "the start of the turn"),
        altitude_ft=_typical(altitudes, series.alt_sd_ft, "ft", NO_ALTITUDE),
        altitude_low_ft=float(altitudes.min()) if altitudes.size else None,
        altitude_high_ft=float(altitudes.max()) if altitudes.size else None,
        ias_kt=_typical(speeds if known_speed else speeds[:0], series.airspeed_sd_kt, "kt", no_airspeed(samples)),
        ias_low_kt=float(speeds.min()) if known_speed else None,
        ias_high_kt=float(speeds.max()) if known_speed else None,
        groundspeed_inbound_kt=_ground_speed(samples, inbound_from, end_s, "inbound"),
        groundspeed_outbound_kt=_ground_speed(
            samples,
            outbound_from.epoch_s if outbound_from else None,
            lap.outbound_end.epoch_s if lap.outbound_end else None,
            "outbound",
        ),
        fix_turn=turn_measures(
            turn_between(turns, lap.outbound_turn_start, lap.outbound_turn_end), samples, series, levels, standard.turns
        ),
        inbound_turn=turn_measures(
            turn_between(turns, lap.outbound_end, lap.inbound_turn_end), samples, series, levels, standard.turns
        ),
    )


def no_airspeed(samples: Samples) -> str:
    """Why no airspeed can be graded."""
    if samples.airspeed_source == "estimated":
        return "the wind could not be estimated, so ground speed cannot be turned into airspeed"
    return "the track carries no airspeed, and none could be estimated"


def _finite(values: Floats) -> Floats:
    return values[np.isfinite(values)]


def _typical(values: Floats, sd: float, unit: str, why: str) -> Measurement:
    if not values.size:
        return Measurement(None, None, unit, why=why)
    return Measurement(median(values), sd, unit, how="median over the lap")


def _distance_from_fix(samples: Samples, moment: Moment | None, what: str) -> Measurement:
    """How far before the fix, along the course, a moment lies [NM]."""
    if moment is None:
        return Measurement(None, None, "NM", why=f"the track does not show {what}")
    along = value_at(samples, samples.along_nm, moment.epoch_s)
    if not math.isfinite(along):
        return Measurement(None, None, "NM", why=f"{what} falls in a hole of the record")
    speed = value_at(samples, samples.groundspeed_kt, moment.epoch_s)
    sd = moment.sd_s * (speed if math.isfinite(speed) else 100.0) / 3600.0
    return Measurement(-along, sd, "NM", how=f"along the course at {what}")


def _cross_track(samples: Samples, start_s: float | None, end_s: float) -> tuple[Measurement, Measurement]:
    """The largest and the typical distance from the course on an inbound leg."""
    if start_s is None:
        nothing = Measurement(None, None, "NM", why="the track does not show where the inbound leg began")
        return nothing, nothing
    leg = inside(samples, start_s, end_s)
    size = np.abs(samples.cross_nm[leg])
    if not size.size:
        nothing = Measurement(None, None, "NM", why="no positions on the inbound leg")
        return nothing, nothing
    at = int(np.argmax(size))
    sd, how = float(samples.position_sd_nm[leg][at]), "distance from the course, inbound start to fix"
    return (
        Measurement(float(size[at]), sd, "NM", how=f"largest {how}"),
        Measurement(median(size), sd, "NM", how=f"median {how}"),
    )


def _cross_at(samples: Samples, moment: Moment | None) -> Measurement:
    if moment is None:
        return Measurement(None, None, "NM", why="the track does not show a roll-out inbound")
    cross = value_at(samples, samples.cross_nm, moment.epoch_s)
    if not math.isfinite(cross):
        return Measurement(None, None, "NM", why="the roll-out falls in a hole of the record")
    rate = abs(value_at(samples, samples.cross_nm, moment.epoch_s + 1.0) - cross)
    sd = math.hypot(
        value_at(samples, samples.position_sd_nm, moment.epoch_s), moment.sd_s * rate if math.isfinite(rate) else 0.0
    )
    return Measurement(cross, sd, "NM", how="distance from the course when the wings were level")


def _ground_speed(samples: Samples, start_s: float | None, end_s: float | None, leg: str) -> Measurement:
    if start_s is not None and end_s is not None and end_s > start_s:
        value = median_over(samples, samples.groundspeed_kt, start_s, end_s)
        if math.isfinite(value):
            return Measurement(value, 1.0, "kt", how=f"median over the {leg} leg")
    return Measurement(None, None, "kt", why=f"the track does not show an {leg} leg")
