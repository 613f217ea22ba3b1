"""Mistakes of wind work and tracking: the outbound correction, the roll-out on the course, the course held to the
fix."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np

from trackgrade.score.mistakes.sighting import Seen, Sighting
from trackgrade.score.sentences import amount, degrees_words
from trackgrade.score.series import inside
from trackgrade.track.track import Floats

#: An outbound correction smaller than this is not missed by anyone [deg]: a choice.
CORRECTION_WORTH_DEG = 8.0
#: Less than this share of the correction that works is none at all: a choice.
NONE_SHARE = 0.4
#: A correction the other way counts from here [deg]: a choice, about how well a heading is held.
REVERSED_FROM_DEG = 4.0
#: Rolled out this far beyond the course, or short of it, is worth naming [turn radii]: a choice.
OVERSHOT_RADII = 0.3
UNDERSHOT_RADII = 0.45
#: A swing through the course counts from this far on either side [turn radii]: a choice.
SWING_RADII = 0.07
#: So many swings in one inbound leg are chasing the needle: a choice.
SWINGS = 3


def no_drift_correction(seen: Seen) -> Iterator[Sighting]:
    """The outbound leg flown on the reciprocal heading, or near it, in a wind that asks for more."""
    for work, needed, flown in _corrections(seen):
        if abs(flown) <= NONE_SHARE * abs(needed) and not _reversed(needed, flown, work.outbound_correction_deg.sd):
            yield _correction_sighting(seen, work.visit, work.lap, needed, flown)


def reversed_drift_correction(seen: Seen) -> Iterator[Sighting]:
    """The outbound nose turned downwind."""
    for work, needed, flown in _corrections(seen):
        if _reversed(needed, flown, work.outbound_correction_deg.sd):
            yield _correction_sighting(seen, work.visit, work.lap, needed, flown)


def _corrections(seen: Seen):  # type: ignore[no-untyped-def]
    """Each lap's wind work with the correction needed and the one flown, where the wind asks for one."""
    for work in seen.measured.wind_work:
        needed, flown = work.solved_correction_deg, work.outbound_correction_deg.value
        if needed is not None and flown is not None and abs(needed) >= CORRECTION_WORTH_DEG:
            yield work, needed, flown


def _reversed(needed: float, flown: float, sd: float | None) -> bool:
    return needed * flown < 0.0 and abs(flown) > max(REVERSED_FROM_DEG, 2.0 * (sd or 0.0))


def _correction_sighting(seen: Seen, visit: int, lap: int, needed: float, flown: float) -> Sighting:
    at = seen.measured.lap(next(each for each in seen.measured.laps if (each.visit, each.number) == (visit, lap)))
    when = at.outbound_turn_end.epoch_s if at.outbound_turn_end else at.start.epoch_s
    evidence = f"{degrees_words(flown)} laid off outbound where the wind asks for {degrees_words(needed)}"
    return Sighting(visit, lap, when, abs(needed - flown) / CORRECTION_WORTH_DEG, evidence)


def course_overshot(seen: Seen) -> Iterator[Sighting]:
    """Rolled out well beyond the course."""
    yield from _rolled_out(seen, lambda cross, radius: -cross >= OVERSHOT_RADII * radius, OVERSHOT_RADII, "beyond")


def course_undershot(seen: Seen) -> Iterator[Sighting]:
    """Rolled out well short of the course."""
    yield from _rolled_out(seen, lambda cross, radius: cross >= UNDERSHOT_RADII * radius, UNDERSHOT_RADII, "short of")


def _rolled_out(seen: Seen, far, threshold: float, word: str) -> Iterator[Sighting]:  # type: ignore[no-untyped-def]
    radius = seen.measured.turn_radius_nm
    for lap in seen.measured.laps:
        cross, end = lap.rollout_cross_nm.value, seen.measured.lap(lap).inbound_turn_end
        if cross is None or radius is None or end is None or not far(cross, radius):
            continue
        yield Sighting(
            lap.visit,
            lap.number,
            end.epoch_s,
            abs(cross) / (threshold * radius),
            f"wings level {amount(abs(cross), 'NM')} {word} the course",
        )


def needle_chased(seen: Seen) -> Iterator[Sighting]:
    """S-turns down the inbound leg: the course swung through again and again."""
    measured = seen.measured
    radius = measured.turn_radius_nm
    for lap in measured.laps:
        inbound = measured.lap(lap).inbound_turn_end or measured.lap(lap).inbound_start
        if inbound is None or radius is None:
            continue
        index = inside(measured.samples, inbound.epoch_s, lap.end_epoch_s)
        swings, widest = swings_through(measured.samples.cross_nm[index], SWING_RADII * radius)
        if swings >= SWINGS:
            yield Sighting(
                lap.visit,
                lap.number,
                inbound.epoch_s,
                swings / SWINGS,
                f"the course swung through {swings} times inbound, up to {amount(widest, 'NM')} off",
            )


def swings_through(cross_nm: Floats, least_nm: float) -> tuple[int, float]:
    """How often a path goes from beyond ``least_nm`` on one side to beyond it on the other, and its widest [NM]."""
    sides = [1 if cross > 0.0 else -1 for cross in cross_nm if abs(cross) >= least_nm]
    swings = sum(1 for one, two in itertools.pairwise(sides) if one != two)
    widest = float(np.max(np.abs(cross_nm))) if cross_nm.size else math.nan
    return swings, widest


def non_holding_side(seen: Seen) -> Iterator[Sighting]:
    """Far on the non-holding side of the course."""
    for lap in seen.measured.laps:
        result = seen.out("non_holding_side", lap)
        if result is None or result.value is None or result.limit is None:
            continue
        beyond = lap.non_holding_side_nm.value or 0.0
        yield Sighting(
            lap.visit,
            lap.number,
            result.at_epoch_s or lap.start_epoch_s,
            result.value / result.limit,
            f"{amount(beyond, 'NM')} beyond the course on the non-holding side",
        )


def course_left(seen: Seen) -> Iterator[Sighting]:
    """The needle beyond the limit inbound for longer than is prompt, though the course was met."""
    for lap in seen.measured.laps:
        result = seen.item("course", lap.scope)
        if result is None or result.value is None or result.limit is None or result.result != "outside":
            continue
        if result.straddles:
            continue
        side = "right" if result.value > 0.0 else "left"
        longest = max((stay.seconds for stay in result.excursions), default=0.0)
        yield Sighting(
            lap.visit,
            lap.number,
            result.at_epoch_s,
            abs(result.value) / result.limit,
            f"{abs(result.value):.2f} of full scale {side} of the course, longest {longest:.0f} s ({result.reference})",
        )
