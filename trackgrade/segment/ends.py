"""Which end of a racetrack is the fix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.segment.flown import Lap, Visit
from trackgrade.segment.path import FlightPath
from trackgrade.segment.placing import REACTION_S, Placed
from trackgrade.track.ranks import median
from trackgrade.track.track import Floats

#: A pilot cleared to hold flies to the fix first, and leaves over it more often than not (logarithms of odds).
FIRST, LAST = 2.5, 1.2
#: To pass a point is to come this near: so far, or this share of the width of the pattern [NM]; a record that begins or
#: ends this soon before tells nothing [s].
NEAR_NM, NEAR_SHARE, BEGINS_S = 0.2, 0.35, 30.0
#: Scatters below these tell nothing more: when turns begin [s], where [NM], courses [deg], heading on a leg [deg].
BEGUN_FLOOR_S, ACROSS_FLOOR_NM, COURSE_FLOOR_DEG, STEADY_FLOOR_DEG = 1.0, 0.02, 1.0, 0.7
#: The roll out of a turn and into the next are left out of a leg [s].
LEG_ENDS_S = 3.0
#: What an inbound leg lasts where it is timed [s], and how far off still counts as timed.
STANDARD_LEGS_S, TIMED_FLOOR_S = (60.0, 90.0), 4.0
#: A leg was flown to a distance where that is so many times steadier than the inbound time; what a pilot begins a turn
#: by is good to so long, however steady [s]. Charts have whole miles, else half ones; this near it is a whole one [NM].
STEADIER, STEADY_S, NEAR_WHOLE_NM = 2.0, 1.0, 0.3
#: Odds of twenty to one, and as much again for what the signs have in common: then the end is called sure.
SURE = 3.5


@dataclass(frozen=True, eq=False)
class Reading:
    """One reading of a stay: a hold as placed, the path in its frame, and the laps the grader finds there."""

    placed: Placed
    path: FlightPath
    visits: tuple[Visit, ...]
    laps: tuple[Lap, ...]
    began_epoch_s: float
    like_a_hold: bool

    @property
    def span_s(self) -> tuple[float, float]:
        """From the first passage of the fix to the last [s of flight]."""
        entry = self.visits[0].entry
        start = (entry.start or self.laps[0].start).epoch_s
        last = self.laps[-1].end or self.laps[-1].start
        return start - self.began_epoch_s, last.epoch_s - self.began_epoch_s

    @property
    def inbound_s(self) -> float:
        """How long its inbound legs last, typically [s]."""
        seconds = self._inbound_s(self.laps)
        return median(seconds) if seconds else self.placed.leg_s

    @staticmethod
    def _inbound_s(laps: Sequence[Lap]) -> list[float]:
        return [lap.end.epoch_s - lap.inbound_start.epoch_s for lap in laps if lap.end and lap.inbound_start]

    @property
    def outbound_s(self) -> float:
        """How long its outbound legs last, from wings level [s]."""
        seconds = [
            lap.outbound_end.epoch_s - lap.outbound_turn_end.epoch_s
            for lap in self.laps
            if lap.outbound_end and lap.outbound_turn_end
        ]
        return median(seconds) if seconds else float("nan")

    @property
    def leg_nm(self) -> float | None:
        """How far from the fix its outbound legs end, where that is clearly steadier than the inbound times [NM]."""
        laps = [lap for lap in self.laps if lap.end and lap.inbound_start and lap.outbound_end]
        if len(laps) < 2:
            return None
        turned = np.array([lap.outbound_end.epoch_s for lap in laps if lap.outbound_end]) - REACTION_S
        places = (self.path.along_nm, self.path.cross_nm)
        away_nm = np.hypot(*(np.interp(turned, self.path.epoch_s, each) for each in places))
        off_s = float(np.std(away_nm, ddof=1) / median(self.path.groundspeed_kt)) * 3600.0
        if STEADIER * max(off_s, STEADY_S) > np.std(self._inbound_s(laps), ddof=1):
            return None
        typical_nm = median(away_nm)
        whole = abs(typical_nm - round(typical_nm)) < NEAR_WHOLE_NM
        return float(round(typical_nm)) if whole else round(2.0 * typical_nm) / 2.0

    @property
    def begun_sd_s(self) -> float:
        """Scatter along the course of where the turns at this end begin, in seconds of flight; NaN with one or none."""
        return self._scatter(self._along) / median(self.path.groundspeed_kt) * 3600.0

    @property
    def across_sd_nm(self) -> float:
        """The same across the course [NM]."""
        return self._scatter(np.array([self._along[1], -self._along[0]]))

    @property
    def _along(self) -> Floats:
        angle = np.radians(self.placed.course_deg)
        return np.array([np.sin(angle), np.cos(angle)])

    def _scatter(self, direction: Floats) -> float:
        later = self.placed.turn_starts_nm[1:] @ direction  # an arrival from across may begin the first anywhere near
        return float(np.std(later, ddof=1)) if len(later) > 1 else float("nan")

    @property
    def unsteadiness_deg(self) -> tuple[float, float]:
        """How much the heading is changed on the inbound legs and on the outbound legs, typically [deg]: one is
        tracked, the other flown on a heading. NaN without legs."""
        inbound: list[float] = []
        outbound: list[float] = []
        for lap in self.laps:
            for leg, start, end in (
                (inbound, lap.inbound_turn_end, lap.end),
                (outbound, lap.outbound_turn_end, lap.outbound_end),
            ):
                if start is not None and end is not None and end.epoch_s - start.epoch_s > 2 * LEG_ENDS_S + 10.0:
                    part = slice(self.path.index(start.epoch_s + LEG_ENDS_S), self.path.index(end.epoch_s - LEG_ENDS_S))
                    leg.append(float(np.std(self.path.heading_deg[part])))
        return (
            median(inbound) if inbound else float("nan"),
            median(outbound) if outbound else float("nan"),
        )

    @property
    def rank(self) -> tuple[float, ...]:
        """Most laps, then most turns begun at one place, then the sharpest point."""
        scatter = self.placed.scatter_nm
        return (
            len(self.laps),
            self.like_a_hold,
            len(self.placed.turn_starts_s),
            -(scatter if np.isfinite(scatter) else 0.3),
        )

    def overlaps(self, other: Reading) -> bool:
        (a, b), (c, d) = self.span_s, other.span_s
        return a < d and c < b

    def is_other_end_of(self, other: Reading) -> bool:
        opposite = abs(float(wrap180(self.placed.course_deg - other.placed.course_deg))) > 120.0
        return opposite and self.placed.turns == other.placed.turns


def surely_first(one: Reading, two: Reading) -> tuple[Reading, Reading, bool]:
    """The likelier of the two ends, the other, and whether it is surely the first."""
    favour = sum(evidence(one, two).values())
    if favour < 0.0:
        one, two = two, one
    return one, two, abs(favour) > SURE


def evidence(one: Reading, two: Reading) -> dict[str, float]:
    """How much each sign speaks for the first end, as logarithms of odds; negative for the second."""
    first, last = _first_and_last(one, two)
    legs = one.unsteadiness_deg
    return {
        "reached first": FIRST * first,
        "left last": LAST * last,
        "turns begun": _ratio(two.begun_sd_s, one.begun_sd_s, BEGUN_FLOOR_S, 1.0, 1.5),
        "point": _ratio(two.across_sd_nm, one.across_sd_nm, ACROSS_FLOOR_NM, 0.8, 1.2),
        "course": _ratio(two.placed.course_scatter_deg, one.placed.course_scatter_deg, COURSE_FLOOR_DEG, 0.8, 0.8),
        "corrected": _ratio(legs[0], legs[1], STEADY_FLOOR_DEG, 1.0, 1.2),
        "timed": _ratio(_off_standard_s(one.outbound_s), _off_standard_s(one.inbound_s), TIMED_FLOOR_S, 0.7, 0.7),
    }


def _ratio(larger: float, smaller: float, floor: float, weight: float, most: float) -> float:
    """Odds that go with a power of the ratio of two scatters, to a limit; nothing where one is unknown."""
    if not np.isfinite(larger) or not np.isfinite(smaller):
        return 0.0
    return float(np.clip(weight * np.log((larger + floor) / (smaller + floor)), -most, most))


def _off_standard_s(seconds: float) -> float:
    return min(abs(seconds - standard) for standard in STANDARD_LEGS_S)


def _first_and_last(one: Reading, two: Reading) -> tuple[float, float]:
    """+1 where the first end was reached before the other, -1 where after it, 0 where the record does not tell; and the
    same for which was left last."""
    lap_s = median([lap.end.epoch_s - lap.start.epoch_s for lap in one.laps if lap.end])
    aside = [one.path.value(one.path.cross_nm, lap.abeam.epoch_s) for lap in one.laps if lap.abeam]
    near = max(NEAR_NM, NEAR_SHARE * abs(median(aside))) if aside else NEAR_NM
    since = min(one.span_s[0], two.span_s[0]) + one.began_epoch_s - lap_s
    until = max(one.span_s[1], two.span_s[1]) + one.began_epoch_s + lap_s
    times = []
    for each in (one, two):  # each on its own stretch of the flight
        epoch_s = each.path.epoch_s
        inside = (epoch_s > since) & (epoch_s < until)
        there = epoch_s[inside & (np.hypot(each.path.along_nm, each.path.cross_nm) < near)]
        if not len(there):
            return 0.0, 0.0
        times.append((float(there[0]), float(there[-1])))
    begins, ends = max(each.path.epoch_s[0] for each in (one, two)), min(each.path.epoch_s[-1] for each in (one, two))
    first = 0.0 if min(times[0][0], times[1][0]) - begins < BEGINS_S else np.sign(times[1][0] - times[0][0])
    last = 0.0 if ends - max(times[0][1], times[1][1]) < BEGINS_S else np.sign(times[0][1] - times[1][1])
    return float(first), float(last)
