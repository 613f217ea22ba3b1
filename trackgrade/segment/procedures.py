"""Which entry procedure was flown: direct, teardrop and parallel compared as explanations of one path.

Each is a turn at the fix, a leg outbound, a turn back (AIM 5-3-8; ICAO Doc 8168). What tells them apart is how far, and
which way, the heading had turned when the leg was flown, which way it turned back, how long the leg lasted, and where
the turn back ended. A pilot who turned the wrong way flies the same with another sign. The likelihood of each, times
how often pilots fly it on such an arrival, gives its probability; a leg nobody can tell from another's leaves two.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.hold.sectors import PARALLEL_DEG, TEARDROP_ANGLE_DEG, TEARDROP_DEG, EntryChoice
from trackgrade.motion.motion import GRID_STEP_S
from trackgrade.segment.events import turn_radius_nm
from trackgrade.segment.path import FlightPath
from trackgrade.track.ranks import median
from trackgrade.track.runs import runs
from trackgrade.track.track import Floats

KINDS: tuple[EntryChoice, ...] = ("direct", "teardrop", "parallel")

#: A leg is flown where the heading changes by less than this over so many seconds about a moment [deg, s]: a third of
#: standard rate, more than a pilot wanders.
STEADY_DEG, STEADY_OVER_S = 14.0, 12
#: It lasts this long at least [s] (a shorter stretch is a pause in a turn), and leads outbound within this [deg].
LEAST_LEG_S, OUTBOUND_WITHIN_DEG = 8.0, 80.0
#: How closely pilots fly the heading of a procedure, and one in how many flies any other outbound [deg].
HEADING_SD_DEG, ANY_HEADING_SHARE, ANY_HEADING_SD_DEG = 5.0, 0.01, 25.0
#: How closely the first outbound leg follows those of the same pilot's laps, or what the turn back needs [deg].
OWN_LAPS_SD_DEG, ROOM_SD_DEG = 8.0, 10.0
#: How direct entries choose their heading: like the laps, or by triple, half of it and no drift correction where there
#: are none; or so as to make room for the turn back. The others: with the drift taken out, or not.
LIKE_LAPS_SHARE, ROOM_SHARE, BY_RULE_SHARE, OTHERS_BY_RULE_SHARE = 0.6, 0.3, 0.2, 0.45
DRIFT_RULES, OTHER_DRIFT_RULES = (0.0, 1.5, 3.0), (0.0, 1.0)
#: Within a cut this large of the inbound course the turn back is over [deg]; no aircraft turns tighter than this [NM].
CUT_DEG, LEAST_RADIUS_NM = 45.0, 0.1
#: Teardrop and parallel legs are timed: a minute (AIM 5-3-8), or the leg's time, within this factor (one standard
#: deviation).
MINUTE_S, TIMED_FACTOR = 60.0, 1.6
#: A direct entry's leg lasts anything up to this many legs; flown from across it may have none, this often.
DIRECT_LEGS, NO_DIRECT_LEG_SHARE, NO_OTHER_LEG_SHARE = 2.5, 0.2, 0.01
#: Where the turn back ends, off the course toward the holding side: mean and standard deviation [turn radii]. Direct
#: and teardrop are meant to end on the course, a parallel on the holding side; one turned back the wrong way comes out
#: as far on the other side, and others anywhere.
ENDS_ON_COURSE, ENDS_HOLDING_SIDE, ENDS_BEYOND, ENDS_ANYWHERE = (0.0, 1.2), (1.5, 1.2), (-1.0, 1.5), (0.0, 3.0)
#: One in how many pilots flies another entry than his arrival asks for, and one in how many turns the wrong way.
OTHER_ENTRY_SHARE, WRONG_WAY_SHARE = 0.04, 0.01
#: How well a pilot knows his heading against the sector's boundary [deg].
SECTOR_SD_DEG = 4.0
#: A turn of this much, to either side, may go the longer way [deg].
EITHER_WAY_FROM_DEG = 150.0
#: What no procedure explains is still possible: one in so many.
UNEXPLAINED = 1e-6


class Leg(NamedTuple):
    """A steady stretch outbound: its times [s since 1970], and its heading counted on from the arrival [deg]."""

    start_s: float
    end_s: float
    heading_deg: float


class Reading(NamedTuple):
    """One way to read the path as an entry; ``log_likelihood`` without how common it is, ``log_weight`` with it."""

    kind: EntryChoice
    wrong_way: bool
    leg: Leg | None
    log_likelihood: float
    log_weight: float


class _Procedure(NamedTuple):
    """What a procedure asks for: heading of its leg (counted on from the arrival), whole circles at its end (times 360
    degrees, to the inbound course), and where its turn back ends (mean and standard deviation [radii])."""

    kind: EntryChoice
    wrong_way: bool
    heading_deg: float
    circles: int
    ends_radii: tuple[float, float]


class Flown(NamedTuple):
    """The path from the arrival on, reduced to what tells the procedures apart.

    ``came_deg``: arrival heading against the inbound course; ``crab_deg``: that which holds the course;
    ``own_laps_deg``: heading of the outbound legs of this pilot's laps; ``circles``: of the heading at the end;
    ``ends_radii``: off the course there; ``leg_s``: how long a leg of this hold lasts; ``room_deg``: for each leg the
    heading that makes room for the turn back.
    """

    came_deg: float
    crab_deg: float
    own_laps_deg: float | None
    legs: tuple[Leg, ...]
    circles: int
    ends_radii: float
    leg_s: float
    room_deg: tuple[float, ...]


def read_entry(
    path: FlightPath, start_s: float, end_s: float, came_deg: float, own_laps_deg: float | None, leg_s: float
) -> list[Reading]:
    """Every reading of the path from the fix to the passage that ends the entry, likeliest first."""
    seen = _look(path, start_s, end_s, came_deg, own_laps_deg, leg_s)
    readings = [_best(procedure, seen) for procedure in _procedures(came_deg)]
    return sorted(readings, key=lambda reading: -reading.log_weight)


def probabilities(readings: Iterable[Reading]) -> tuple[dict[EntryChoice, float], dict[EntryChoice, float]]:
    """How probable each kind is, given that one was flown, likeliest first; and each of them turned the wrong way."""
    weight, wrong_way = dict.fromkeys(KINDS, 0.0), dict.fromkeys(KINDS, 0.0)
    readings = list(readings)
    top = max(reading.log_weight for reading in readings)
    for reading in readings:
        weight[reading.kind] += math.exp(reading.log_weight - top)
        wrong_way[reading.kind] += math.exp(reading.log_weight - top) * reading.wrong_way
    total = sum(weight.values())
    return (
        {kind: weight[kind] / total for kind in sorted(KINDS, key=lambda kind: -weight[kind])},
        {kind: wrong_way[kind] / total for kind in KINDS},
    )


def _look(
    path: FlightPath, start_s: float, end_s: float, came_deg: float, own_laps_deg: float | None, leg_s: float
) -> Flown:
    k0, k1 = path.index(start_s), path.index(end_s)
    here = slice(k0, k1 + 1)
    heading = _heading_from(path, here, came_deg)
    legs = outbound_legs(path, start_s, end_s, came_deg)
    circles = round(float(heading[-1]) / 360.0)
    # Where the turn back came within a cut of the inbound course for good.
    away = np.flatnonzero(np.abs(heading - 360.0 * circles) > CUT_DEG)
    back = min(int(away[-1]) + 1, len(heading) - 1) if len(away) else 0
    radius_nm = max(turn_radius_nm(path), LEAST_RADIUS_NM)
    crab_deg = _crab_deg(path, here)
    room = tuple(_room_heading_deg(path, leg, radius_nm, crab_deg) for leg in legs)
    ends = float(path.cross_nm[k0 + back]) / radius_nm
    return Flown(came_deg, crab_deg, own_laps_deg, legs, circles, ends, leg_s, room)


def _heading_from(path: FlightPath, here: slice, came_deg: float) -> Floats:
    """Headings counted on from that of the arrival, which lies within half a circle of the inbound course [deg]."""
    heading = path.heading_deg[here]
    return np.asarray(heading - 360.0 * round((heading[0] - came_deg) / 360.0))


def outbound_legs(path: FlightPath, start_s: float, end_s: float, came_deg: float) -> tuple[Leg, ...]:
    """Every steady stretch outbound between two times."""
    k0, k1 = path.index(start_s), path.index(end_s)
    heading = _heading_from(path, slice(k0, k1 + 1), came_deg)
    half = STEADY_OVER_S // 2
    padded = np.concatenate([np.full(half, heading[0]), heading, np.full(half, heading[-1])])
    steady = np.abs(padded[2 * half :] - padded[: -2 * half]) < STEADY_DEG
    outbound = np.abs(wrap180(heading - 180.0)) < OUTBOUND_WITHIN_DEG
    return tuple(
        Leg(
            float(path.epoch_s[k0 + first]),
            float(path.epoch_s[k0 + after - 1]),
            median(heading[first:after]),
        )
        for first, after in runs(steady & outbound)
        if (after - first) * GRID_STEP_S >= LEAST_LEG_S
    )


def _crab_deg(path: FlightPath, here: slice) -> float:
    """Heading that holds the inbound course, off it [deg]: against the wind as it was over the entry."""
    over_ground = path.groundspeed_kt[here] * np.sin(np.radians(path.track_deg[here]))
    through_air = path.airspeed_kt[here] * np.sin(np.radians(path.heading_deg[here]))
    drift = float(np.mean(over_ground - through_air)) / max(median(path.airspeed_kt[here]), 1.0)
    return -math.degrees(math.asin(min(max(drift, -0.9), 0.9)))


def _room_heading_deg(path: FlightPath, leg: Leg, radius_nm: float, crab_deg: float) -> float:
    """Heading of a leg that leads, from where it began and in its time, to where a turn back ends on the course."""
    k0 = path.index(leg.start_s)
    air_nm_s = float(path.airspeed_kt[k0]) / 3600.0
    seconds = max(leg.end_s - leg.start_s, LEAST_LEG_S)
    drift_nm = -math.sin(math.radians(crab_deg)) * (air_nm_s * seconds + math.pi * radius_nm)
    outward = (2.0 * radius_nm - float(path.cross_nm[k0]) - drift_nm) / (air_nm_s * seconds)
    return 180.0 - math.degrees(math.asin(min(max(outward, -0.7), 0.7)))


def _procedures(came_deg: float) -> Iterator[_Procedure]:
    """Every procedure from an arrival heading, flown right and with a turn the wrong way."""
    yield _Procedure("direct", False, 180.0, 1, ENDS_ON_COURSE)
    yield _Procedure("direct", True, -180.0, 0, ENDS_ANYWHERE)
    teardrop = ("teardrop", 180.0 - TEARDROP_ANGLE_DEG, 1, ENDS_ON_COURSE, ENDS_ANYWHERE)
    for kind, meant_deg, back, right, wrong in (teardrop, ("parallel", 180.0, 0, ENDS_HOLDING_SIDE, ENDS_BEYOND)):
        out_deg = float(wrap180(meant_deg - came_deg))
        ways = [out_deg]
        if abs(out_deg) > EITHER_WAY_FROM_DEG:
            ways.append(out_deg - math.copysign(360.0, out_deg))
        for way in ways:
            heading = came_deg + way
            around = round((heading - meant_deg) / 360.0)
            yield _Procedure(kind, False, heading, around + back, right)  # type: ignore[arg-type]
            yield _Procedure(kind, True, heading, around + 1 - back, wrong)  # type: ignore[arg-type]


def _best(procedure: _Procedure, seen: Flown) -> Reading:
    """The likeliest way to read the path as this procedure."""
    given = _log_normal(seen.ends_radii, *procedure.ends_radii)
    if seen.circles != procedure.circles:
        given += math.log(UNEXPLAINED)
    no_leg = NO_DIRECT_LEG_SHARE if procedure.kind == "direct" else NO_OTHER_LEG_SHARE
    # Without a leg only the turns tell; its density is that of any leg.
    best, chosen = math.log(no_leg) + math.log(1.0 / (360.0 * DIRECT_LEGS * seen.leg_s)), None
    for leg, room_deg in zip(seen.legs, seen.room_deg):
        fits = _log_heading(procedure, seen, leg, room_deg) + _log_lasts(procedure, seen, leg)
        if fits > best:
            best, chosen = fits, leg
    common = math.log(share_of(procedure.kind, seen.came_deg))
    common += math.log(WRONG_WAY_SHARE if procedure.wrong_way else 1.0 - WRONG_WAY_SHARE)
    return Reading(procedure.kind, procedure.wrong_way, chosen, given + best, given + best + common)


def _log_heading(procedure: _Procedure, seen: Flown, leg: Leg, room_deg: float) -> float:
    """Log density of the leg's heading [1/deg]."""
    turned = procedure.heading_deg
    parts = [(ANY_HEADING_SHARE, turned, ANY_HEADING_SD_DEG)]
    if procedure.kind == "direct":
        round_deg = turned - 180.0
        if seen.own_laps_deg is not None:
            parts.append((LIKE_LAPS_SHARE, round_deg + seen.own_laps_deg, OWN_LAPS_SD_DEG))
        else:
            parts += [(BY_RULE_SHARE, turned - times * seen.crab_deg, OWN_LAPS_SD_DEG) for times in DRIFT_RULES]
        parts.append((ROOM_SHARE, round_deg + room_deg, ROOM_SD_DEG))
    else:
        parts += [(OTHERS_BY_RULE_SHARE, turned - times * seen.crab_deg, HEADING_SD_DEG) for times in OTHER_DRIFT_RULES]
    total = sum(share for share, _, _ in parts)
    each = [math.log(share / total) + _log_normal(leg.heading_deg, mean, sd) for share, mean, sd in parts]
    return float(np.logaddexp.reduce(each))


def _log_lasts(procedure: _Procedure, seen: Flown, leg: Leg) -> float:
    """Log density of how long the leg lasts [1/s]."""
    seconds = leg.end_s - leg.start_s + GRID_STEP_S
    if procedure.kind == "direct":
        longest = DIRECT_LEGS * seen.leg_s
        return -math.log(longest) - max(seconds / longest - 1.0, 0.0) * 3.0
    # A minute, or the leg's length: that is its time at a slow speed, so anything in between.
    medians_s = (MINUTE_S, math.sqrt(MINUTE_S * seen.leg_s), seen.leg_s)
    spread = math.log(TIMED_FACTOR)
    each = [_log_normal(math.log(seconds), math.log(median_s), spread) for median_s in medians_s]
    return float(np.logaddexp.reduce(each)) - math.log(len(each)) - math.log(seconds)


def share_of(kind: EntryChoice, came_deg: float) -> float:
    """How often pilots fly an entry on an arrival heading: mostly what the sector asks for, as they read it."""
    off = float(wrap180(180.0 - came_deg))  # the outbound course, from the nose

    def beyond(line_deg: float) -> float:
        return 0.5 * (1.0 + math.erf(float(wrap180(off - line_deg)) / (SECTOR_SD_DEG * math.sqrt(2.0))))

    tear = beyond(0.0) * (1.0 - beyond(TEARDROP_DEG)) if -90.0 < off < 160.0 else 0.0
    para = (1.0 - beyond(0.0)) * beyond(-PARALLEL_DEG) if -160.0 < off < 90.0 else 0.0
    right = {"teardrop": tear, "parallel": para, "direct": max(1.0 - tear - para, 0.0)}[kind]
    return OTHER_ENTRY_SHARE / 2.0 + (1.0 - 1.5 * OTHER_ENTRY_SHARE) * right


def _log_normal(value: float, mean: float, sd: float) -> float:
    return -0.5 * ((value - mean) / sd) ** 2 - math.log(sd * math.sqrt(2.0 * math.pi))
