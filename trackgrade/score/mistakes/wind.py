"""Mistakes of wind work and tracking: the outbound correction, the roll-out on the course, the course held to the
fix."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from trackgrade.earth.angles import turn_from_to
from trackgrade.score.debrief import Flight
from trackgrade.score.lap import GradedLap, Sighting
from trackgrade.score.sentences import amount, degrees_words, side_words
from trackgrade.score.series import inside
from trackgrade.track.track import Floats

#: An outbound correction smaller than this is not missed by anyone [deg]: a choice.
CORRECTION_WORTH_DEG = 8.0
#: Less than this share of the correction that works is none at all: a choice.
NONE_SHARE = 0.4
#: Less than this share of it, and of three times the drift as the rule has it, is too little: choices. And what must be
#: missing of it to be worth a word [deg].
HALF_SHARE, HALF_OF_TRIPLE = 0.65, 0.75
MISSING_WORTH_DEG = 6.0
#: A correction the other way counts from here [deg]: a choice, about how well a heading is held.
REVERSED_FROM_DEG = 4.0
#: Corrections further apart than this are told beside a roll-out off the course [deg]: a choice.
CORRECTIONS_DIFFER_DEG = 5.0
#: This far beyond the course in or after the turn back, or short of it when rolled out, is worth naming [turn
#: radii]: a choice.
OVERSHOT_RADII = 0.32
UNDERSHOT_RADII = 0.55
#: This many times the limit beyond the course is far on the non-holding side, wherever in the lap: a choice.
FAR_LIMITS = 2.0
#: A ground track this far from the course, to one side and then the other, is a swing [deg]: a choice.
SWING_DEG = 8.0
#: So many changes of side on one inbound leg are chasing the needle: a choice.
SWINGS = 2


def no_drift_correction(flight: Flight) -> Iterator[Sighting]:
    """The outbound leg flown on the reciprocal heading, or near it, in a wind that asks for more."""
    for lap, needed, flown in _corrections(flight):
        if abs(flown) <= NONE_SHARE * abs(needed) and not _reversed(lap, needed, flown):
            yield _correction_sighting(lap, needed, flown)


def half_drift_correction(flight: Flight) -> Iterator[Sighting]:
    """The outbound leg flown with some of the correction that the wind asks for, and too little of it by any rule."""
    for lap, needed, flown in _corrections(flight):
        triple = abs(lap.wind_work.triple_correction_deg or needed)
        enough = min(HALF_SHARE * abs(needed), HALF_OF_TRIPLE * triple)
        some = NONE_SHARE * abs(needed) < abs(flown) < enough and flown * needed > 0.0
        if some and abs(needed) - abs(flown) >= MISSING_WORTH_DEG:
            yield _correction_sighting(lap, needed, flown)


def reversed_drift_correction(flight: Flight) -> Iterator[Sighting]:
    """The outbound nose turned downwind."""
    for lap, needed, flown in _corrections(flight):
        if _reversed(lap, needed, flown):
            yield _correction_sighting(lap, needed, flown)


def _corrections(flight: Flight) -> Iterator[tuple[GradedLap, float, float]]:
    """Each lap with the correction needed and the one flown, where the wind asks for one."""
    for lap in flight.laps:
        both = lap.wind_work.needed_and_flown_deg
        if both is not None and abs(both[0]) >= CORRECTION_WORTH_DEG:
            yield lap, *both


def _reversed(lap: GradedLap, needed: float, flown: float) -> bool:
    sd = lap.wind_work.outbound_correction_deg.sd or 0.0
    return needed * flown < 0.0 and abs(flown) > max(REVERSED_FROM_DEG, 2.0 * sd)


def _correction_sighting(lap: GradedLap, needed: float, flown: float) -> Sighting:
    when = lap.flown.outbound_turn_end or lap.flown.start
    evidence = f"{degrees_words(flown)} laid off outbound where the wind asks for {degrees_words(needed)}"
    return lap.sighting(when.epoch_s, abs(needed - flown) / CORRECTION_WORTH_DEG, evidence)


def course_overshot(flight: Flight) -> Iterator[Sighting]:
    """Well beyond the course in or after the turn back."""
    radius = flight.turn_radius_nm
    for lap in flight.laps:
        turn_back = lap.flown.outbound_end
        if turn_back is None or radius is None:
            continue
        own = inside(flight.samples, turn_back.epoch_s, lap.end_epoch_s)
        beyond = -flight.samples.cross_nm[own]
        if not beyond.size or beyond.max() < OVERSHOT_RADII * radius:
            continue
        at = int(np.argmax(beyond))
        yield lap.sighting(
            float(flight.samples.epoch_s[own][at]),
            float(beyond[at]) / (OVERSHOT_RADII * radius),
            f"{amount(float(beyond[at]), 'NM')} through the course in the turn back{_laid_off(lap)}",
        )


def course_undershot(flight: Flight) -> Iterator[Sighting]:
    """Rolled out well short of the course."""
    radius = flight.turn_radius_nm
    for lap in flight.laps:
        cross, end = lap.measures.rollout_cross_nm.value, lap.flown.inbound_turn_end
        if cross is None or radius is None or end is None or cross < UNDERSHOT_RADII * radius:
            continue
        yield lap.sighting(
            end.epoch_s,
            cross / (UNDERSHOT_RADII * radius),
            f"wings level {amount(cross, 'NM')} short of the course{_laid_off(lap)}",
        )


def _laid_off(lap: GradedLap) -> str:
    """The outbound correction flown beside the one that works, where they differ; else nothing."""
    both = lap.wind_work.needed_and_flown_deg
    if both is None or abs(both[0] - both[1]) < CORRECTIONS_DIFFER_DEG:
        return ""
    return f", with {degrees_words(both[1])} laid off outbound where the wind asks for {degrees_words(both[0])}"


def needle_chased(flight: Flight) -> Iterator[Sighting]:
    """S-turns down the inbound leg: the ground track swung through the course again and again."""
    course = flight.hold.inbound_course_true_deg
    for lap in flight.laps:
        level = lap.flown.inbound_turn_end or lap.flown.inbound_start
        if level is None:
            continue
        own = inside(flight.samples, level.epoch_s, lap.end_epoch_s)
        off = turn_from_to(course, flight.samples.ground_track_true_deg[own])
        swings, widest = swings_through(off, SWING_DEG)
        if swings >= SWINGS:
            yield lap.sighting(
                level.epoch_s,
                swings / SWINGS,
                f"the track swung through the course {swings} times inbound, up to {amount(widest, 'deg')} off it",
            )


def swings_through(off: Floats, least: float) -> tuple[int, float]:
    """How often a value goes from beyond ``least`` on one side to beyond it on the other, and its widest size."""
    sides = np.sign(off[np.abs(off) >= least])
    return int(np.count_nonzero(sides[1:] != sides[:-1])), float(np.nanmax(np.abs(off))) if off.size else math.nan


def non_holding_side(flight: Flight) -> Iterator[Sighting]:
    """The outbound leg on the non-holding side of the course, or far over it on the way to the turn back."""
    radius = flight.turn_radius_nm
    limit = flight.standard.limit("non_holding_side") or 0.5
    for lap in flight.laps:
        turn_back = lap.flown.outbound_end
        if turn_back is None or radius is None:
            continue
        start_s = lap.measures.settled_epoch_s
        outbound = -flight.samples.cross_nm[inside(flight.samples, start_s, turn_back.epoch_s)]
        own = inside(flight.samples, start_s, lap.end_epoch_s)
        beyond = -flight.samples.cross_nm[own]
        if not outbound.size:
            continue
        if outbound.max() < limit * radius and beyond.max() < FAR_LIMITS * limit * radius:
            continue
        at = int(np.argmax(beyond))
        yield lap.sighting(
            float(flight.samples.epoch_s[own][at]),
            float(beyond[at]) / (limit * radius),
            f"{amount(float(beyond[at]), 'NM')} beyond the course{_laid_off(lap)}",
        )


def course_left(flight: Flight) -> Iterator[Sighting]:
    """The needle beyond the limit inbound for longer than is prompt, though the course was met."""
    for lap, result, value, limit in flight.out_of("course"):
        if result.result != "outside":
            continue
        longest = max((stay.seconds for stay in result.excursions), default=0.0)
        yield lap.sighting(
            result.at_epoch_s,
            abs(value) / limit,
            f"{abs(value):.2f} of full scale {side_words(value)} of the course, outside for {longest:.0f} s at a time "
            f"({result.reference})",
        )
