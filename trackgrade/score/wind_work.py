"""Drift on both legs, the outbound correction against triple drift and the solved lap, and the card for the next lap.

Angles are right positive. A correction is heading minus course: the crab into the wind.
"""

from __future__ import annotations

import math

import numpy as np

from trackgrade.earth.angles import turn_from_to, wrap360
from trackgrade.hold.hold import Hold
from trackgrade.hold.planning import SolvedLap
from trackgrade.hold.rules import triple_drift_wca_deg
from trackgrade.motion.samples import Wind
from trackgrade.score.debrief import NextLap
from trackgrade.score.lap import GradedLap, LapMeasures, WindWork
from trackgrade.score.results import Measurement
from trackgrade.score.series import inside, mean_angle_over
from trackgrade.segment.flown import Lap
from trackgrade.segment.path import Samples
from trackgrade.track.ranks import median

#: Below this inbound correction a multiple of it says nothing [deg]: a choice, about a heading's own wander.
SMALL_DRIFT_DEG = 2.0
#: Outbound headings this close are one heading, held as a hand holds it [deg]: a choice.
SAME_HEADING_DEG = 5.0
#: Part of a leg left out at each end, where the aircraft still rolls [s].
TRIM_S = 3.0
#: Why a heading is not known.
NO_HEADING = "heading is not known: neither logged nor, without the wind, estimated"
NO_OUTBOUND_LEG = "the track does not show a straight outbound leg"


def wind_work(
    lap: Lap,
    measures: LapMeasures,
    hold: Hold,
    samples: Samples,
    wind: Wind | None,
    solved: SolvedLap | None,
) -> WindWork:
    """Headings and corrections of one lap's two legs."""
    heading_sd = _heading_sd_deg(samples, wind)
    inbound_heading, inbound = _inbound(lap, samples, heading_sd)
    outbound_heading, outbound = _outbound(lap, hold, samples, heading_sd)
    multiple = None
    if inbound.value is not None and outbound.value is not None and abs(inbound.value) >= SMALL_DRIFT_DEG:
        multiple = -outbound.value / inbound.value
    return WindWork(
        inbound_heading_true_deg=inbound_heading,
        inbound_correction_deg=inbound,
        outbound_heading_true_deg=outbound_heading,
        outbound_correction_deg=outbound,
        multiple=multiple,
        triple_correction_deg=None if inbound.value is None else triple_drift_wca_deg(inbound.value),
        solved_correction_deg=solved.outbound_wca_deg if solved is not None else None,
        solved_heading_true_deg=solved.outbound_heading_true_deg if solved is not None else None,
        rollout_cross_nm=measures.rollout_cross_nm,
    )


def _heading_sd_deg(samples: Samples, wind: Wind | None) -> float:
    """Error of a heading averaged over a leg [deg]."""
    if samples.heading_source == "logged":
        return 1.0
    if wind is None:
        return math.nan
    return math.degrees(max(wind.speed_sd_kt, 0.3) / max(wind.true_airspeed_kt, 30.0)) + 0.5


def _neither(why: str) -> tuple[Measurement, Measurement]:
    """No heading and no correction of a leg."""
    nothing = Measurement(None, None, "deg", why=why)
    return nothing, nothing


def _inbound(lap: Lap, samples: Samples, heading_sd: float) -> tuple[Measurement, Measurement]:
    """Mean heading inbound, and heading minus ground track there: the crab, even while still intercepting."""
    if lap.inbound_start is None or lap.end is None:
        return _neither("the track does not show an inbound leg")
    start = max(lap.inbound_start.epoch_s, lap.inbound_turn_end.epoch_s if lap.inbound_turn_end else 0.0)
    end = lap.end.epoch_s
    if end - start > 3.0 * TRIM_S:
        start, end = start + TRIM_S, end - TRIM_S
    heading, _, count = mean_angle_over(samples, samples.heading_true_deg, start, end)
    if not count or not math.isfinite(heading_sd):
        return _neither(NO_HEADING)
    chosen = inside(samples, start, end)
    crab = turn_from_to(samples.ground_track_true_deg[chosen], samples.heading_true_deg[chosen])
    crab = crab[np.isfinite(crab)]
    how = f"{samples.heading_source} heading, wings level inbound to the fix"
    return (
        Measurement(heading, heading_sd, "deg", how=how),
        Measurement(median(crab), heading_sd, "deg", how=f"{how}, less ground track"),
    )


def _outbound(lap: Lap, hold: Hold, samples: Samples, heading_sd: float) -> tuple[Measurement, Measurement]:
    """Mean heading outbound, and heading minus the outbound course: what was laid off."""
    leg = outbound_leg(lap)
    if leg is None:
        return _neither(NO_OUTBOUND_LEG)
    heading, scatter, count = mean_angle_over(samples, samples.heading_true_deg, *leg)
    if not count or not math.isfinite(heading_sd):
        return _neither(NO_HEADING)
    sd = math.hypot(heading_sd, scatter / math.sqrt(max(1.0, (leg[1] - leg[0]) / 10.0)))
    laid_off = float(turn_from_to(hold.inbound_course_true_deg + 180.0, heading))
    how = f"mean {samples.heading_source} heading of the outbound leg"
    return (
        Measurement(heading, sd, "deg", how=how),
        Measurement(laid_off, sd, "deg", how=f"{how}, less the outbound course"),
    )


def outbound_leg(lap: Lap) -> tuple[float, float] | None:
    """The straight part of the outbound leg [s since 1970], trimmed at both ends; None when there is none."""
    if lap.outbound_turn_end is None or lap.outbound_end is None:
        return None
    start, end = lap.outbound_turn_end.epoch_s, lap.outbound_end.epoch_s
    if end - start < 5.0:
        return None
    trim = min(TRIM_S, (end - start) / 5.0)
    return start + trim, end - trim


def heading_kept(lap: WindWork, following: WindWork) -> bool:
    """Whether two laps were flown on one outbound heading, so that the time alone was changed; yes where not known."""
    one, other = lap.outbound_heading_true_deg.value, following.outbound_heading_true_deg.value
    return one is None or other is None or abs(float(turn_from_to(one, other))) <= SAME_HEADING_DEG


def next_lap(hold: Hold, solved: SolvedLap | None, solved_note: str, last: GradedLap | None) -> NextLap | None:
    """The card for the next lap: one heading and one time that belong together; None when no lap was completed.

    Without a wind there is no heading: then equal seconds, on the same heading, is all that can be said.
    """
    if last is None:
        return None
    if solved is None:
        equal = None if last.correction is None else last.correction.asked_equal_seconds_s
        return NextLap(outbound_nm=hold.leg.nm, equal_seconds_s=equal, why=solved_note)
    outbound, inbound = solved.outbound_heading_true_deg, solved.inbound_heading_true_deg
    return NextLap(
        outbound_heading_true_deg=float(wrap360(outbound)),
        outbound_heading_mag_deg=float(wrap360(outbound - hold.variation_deg)),
        outbound_correction_deg=solved.outbound_wca_deg,
        outbound_s=solved.outbound_s,
        outbound_nm=None if hold.leg.nm is None else solved.outbound_end_from_fix_nm,
        inbound_heading_true_deg=float(wrap360(inbound)),
        inbound_heading_mag_deg=float(wrap360(inbound - hold.variation_deg)),
        expected_inbound_s=solved.inbound_s,
        feasible=solved.feasible,
        why=solved.why,
        turn_rate_deg_s=solved.turn_rate_deg_s,
        bank_deg=solved.bank_deg,
    )
