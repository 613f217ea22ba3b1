"""The inbound course that explains best what was flown: inbound legs, outbound legs, the first leg after the fix.

An inbound leg lies on the course, unless it is an intercept still. An outbound leg is flown on the reciprocal with a
correction for the wind. The leg after the first passage is a teardrop's, a parallel entry's or a lap's, as the sector
says for the arrival. Each gives a likelihood to every course; what a pilot does on one leg, he does on the others.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.hold.sectors import TEARDROP_ANGLE_DEG, EntryChoice
from trackgrade.segment.flown import Entry, Lap
from trackgrade.segment.path import FlightPath
from trackgrade.segment.procedures import share_of
from trackgrade.track.ranks import median
from trackgrade.track.track import Floats

#: Courses are asked one degree apart, so far to either side of the best inbound leg; the answer is the mean of those
#: within so much of the likeliest [deg].
FURTHEST_DEG, AROUND_DEG = 75, 5
#: An inbound leg that has led straight to the fix for so long is on the course, a shorter one may be an intercept; one
#: in how many may be however long [s]; so far off the course intercepts lie [deg].
ESTABLISHED_S, ALWAYS_SHARE, INTERCEPT_SD_DEG = 45.0, 0.03, 20.0
#: Outbound a pilot lays off the correction of the course so many times, one as likely as another (common practice, no
#: source), and a heading is chosen and held this well [deg]; it is no further than this off the reciprocal [deg]. One
#: pilot in how many flies another heading, as far off as an intercept.
CORRECTIONS, OUTBOUND_SD_DEG, MOST_CORRECTED_DEG, OTHER_HEADING_SHARE = (1.0, 2.0, 3.0), 6.0, 60.0, 0.3
#: The legs of entries, from the inbound course toward the holding side, and how closely their track is flown [deg].
ENTRY_LEGS_DEG: dict[EntryChoice, float] = {"teardrop": 180.0 - TEARDROP_ANGLE_DEG, "parallel": 180.0}
ENTRY_LEG_SD_DEG = 6.0
#: A direct entry from across the course makes its own room for the turn back: how far its leg is from a lap's [deg].
DIRECT_SD_DEG = 15.0
#: A leg shorter than this has no heading of its own; the roll out of a turn and into the next are left out [s].
OUTBOUND_LEAST_S, ROLLING_S = 10.0, 2.0

_OFF_DEG = np.arange(-FURTHEST_DEG, FURTHEST_DEG + 1.0)


@dataclass(frozen=True, eq=False)
class InboundLeg:
    """A straight leg to the fix: times [s], direction in the plane and its error [deg]."""

    start_s: float
    end_s: float
    direction_deg: float
    sd_deg: float


@dataclass(frozen=True, eq=False)
class OutboundLeg:
    """What was flown on a leg, typically: directions in the plane [deg]."""

    heading_deg: float
    track_deg: float
    airspeed_kt: float
    groundspeed_kt: float


@dataclass(frozen=True, eq=False)
class Outbound:
    """The outbound legs of laps, and the leg after the first passage with the heading of the arrival [deg]."""

    legs: tuple[OutboundLeg, ...] = ()
    first: OutboundLeg | None = None
    came_deg: float = 0.0


def outbound_of(path: FlightPath, entry: Entry, laps: Sequence[Lap], course_deg: float, side: int) -> Outbound:
    """What was flown outbound, in the plane of ``course_deg``, the course of the path. ``side``: +1 turned right."""

    def leg(start_s: float, end_s: float) -> OutboundLeg:
        inside = slice(path.index(start_s + ROLLING_S), path.index(end_s - ROLLING_S) + 1)
        return OutboundLeg(
            course_deg + side * median(path.heading_deg[inside]),
            course_deg + side * median(path.track_deg[inside]),
            median(path.airspeed_kt[inside]),
            median(path.groundspeed_kt[inside]),
        )

    spans = [
        (lap.outbound_turn_end.epoch_s, lap.outbound_end.epoch_s)
        for lap in laps
        if lap.outbound_turn_end is not None and lap.outbound_end is not None
    ]
    first, began_s = None, -np.inf
    if entry.outbound_start and entry.outbound_end and entry.arrival_heading_true_deg is not None:
        began_s, ended_s = entry.outbound_start.epoch_s, entry.outbound_end.epoch_s
        first = leg(began_s, ended_s) if ended_s - began_s > OUTBOUND_LEAST_S else None
    if first is not None:  # read as a lap's it may be an entry's all the same
        spans = [(start, end) for start, end in spans if start > ended_s or end < began_s]
    legs = tuple(leg(start, end) for start, end in spans if end - start > OUTBOUND_LEAST_S)
    return Outbound(legs, first, entry.arrival_heading_true_deg or 0.0)


def likeliest_course(inbound: Sequence[InboundLeg], outbound: Outbound, side: int) -> float:
    """The inbound course [deg of the plane] that explains these legs best."""
    courses = min(inbound, key=lambda leg: leg.sd_deg).direction_deg + _OFF_DEG
    likelihood = _inbound(courses, inbound) * _outbound(courses, outbound, side)
    k = int(np.argmax(likelihood))
    near = slice(max(k - AROUND_DEG, 0), k + AROUND_DEG + 1)
    return float(np.average(courses[near], weights=likelihood[near]) % 360.0)


def _inbound(courses: Floats, legs: Sequence[InboundLeg]) -> Floats:
    intercepts = [
        ALWAYS_SHARE + (1.0 - ALWAYS_SHARE) * float(np.exp(-(((leg.end_s - leg.start_s) / ESTABLISHED_S) ** 2)))
        for leg in legs
    ]
    likelihoods = []
    for leg, share in zip(legs, intercepts, strict=True):
        off = np.asarray(wrap180(courses - leg.direction_deg))
        likelihoods.append((1.0 - share) * _student(off, leg.sd_deg) + share * _normal(off, INTERCEPT_SD_DEG))
    return _or_all_off(_together(likelihoods), min(intercepts))


def _outbound(courses: Floats, outbound: Outbound, side: int) -> Floats:
    as_laps = _as_laps(courses, outbound.legs, OUTBOUND_SD_DEG)
    if outbound.first is None:
        return as_laps
    came = side * (outbound.came_deg - courses)
    likelihood = _shares("direct", came) * _as_laps(courses, [outbound.first], DIRECT_SD_DEG)
    for kind, off_deg in ENTRY_LEGS_DEG.items():
        off = np.asarray(wrap180(courses + side * off_deg - outbound.first.track_deg))
        likelihood = likelihood + _shares(kind, came) * _student(off, ENTRY_LEG_SD_DEG)
    return likelihood * as_laps


def _shares(kind: EntryChoice, came_deg: Floats) -> Floats:
    """How often this entry is flown on arrivals from these headings, to the degree."""
    return np.asarray(_share_of_each_degree(kind)[np.rint(came_deg).astype(int) % 360])


@cache
def _share_of_each_degree(kind: EntryChoice) -> Floats:
    return np.array([share_of(kind, float(came)) for came in range(360)])


def _as_laps(courses: Floats, legs: Sequence[OutboundLeg], sd_deg: float) -> Floats:
    if not legs:
        return np.ones(len(courses))
    off = np.asarray(wrap180(courses - np.array([_corrected_for(leg) for leg in legs])[:, :, None] + 180.0))
    return _or_all_off(np.mean(_together(_student(off, sd_deg)), axis=0), OTHER_HEADING_SHARE)


def _corrected_for(leg: OutboundLeg) -> Floats:
    """The outbound tracks for which a pilot would fly this heading, by each number of corrections (3,) [deg]."""
    heading, airspeed_kt = np.radians(leg.heading_deg), max(leg.airspeed_kt, 1.0)
    wind = leg.groundspeed_kt * np.exp(1j * np.radians(leg.track_deg)) - airspeed_kt * np.exp(1j * heading)
    tracks = heading + np.radians(np.arange(-MOST_CORRECTED_DEG, MOST_CORRECTED_DEG + 1.0))
    correction = -np.arcsin(np.clip((wind * np.exp(-1j * tracks)).imag / airspeed_kt, -1.0, 1.0))
    off = tracks + np.outer(CORRECTIONS, correction) - heading
    return np.asarray(np.degrees(tracks[np.argmin(np.abs(off), axis=1)]))


def _together(likelihoods: Iterable[Floats]) -> Floats:
    """The product of likelihoods, of several up to a power of two: as it is, that of some hundred would be nought."""
    product, *others = likelihoods
    for each in others:
        product = np.ldexp(product, -int(np.frexp(product.max())[1])) * each
    return product


def _or_all_off(likelihood: Floats, share: float) -> Floats:
    """With this share of pilots who are off by as much on every leg, as by an intercept."""
    return (1.0 - share) * likelihood + share * np.convolve(likelihood, _normal(_OFF_DEG, INTERCEPT_SD_DEG), "same")


def _normal(off: Floats, sd: float) -> Floats:
    return np.asarray(np.exp(-0.5 * (off / sd) ** 2) / (sd * np.sqrt(2.0 * np.pi)))


def _student(off: Floats, sd: float) -> Floats:
    """Student's density of three degrees of freedom: some legs are off by far more."""
    return np.asarray((1.0 + (off / sd) ** 2 / 3.0) ** -2 * 2.0 / (np.sqrt(3.0) * np.pi * sd))
