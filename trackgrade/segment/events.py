"""Which crossing of what is a fix passage, abeam, wings level, a turn back, the inbound course."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.earth.units import METRES_PER_NM
from trackgrade.motion.samples import Turn
from trackgrade.motion.turns import STANDARD_RATE_DEG_S
from trackgrade.segment.crossings import local_minima, zero_crossings
from trackgrade.segment.flown import Moment
from trackgrade.segment.path import FlightPath
from trackgrade.track.ranks import median
from trackgrade.track.track import Floats

#: A passage this far off the fix still is one: holds are flown that badly, and other holds are further away [NM].
#: Fast aircraft in wide turns miss by more: there it is this many turn radii.
NEAR_FIX_NM, NEAR_FIX_RADII = 2.2, 1.1
#: An arrival that misses the fix by more than this is a flight elsewhere [NM].
ARRIVAL_NM = 1.3
#: Beyond this angle to the course the along crossing is ill defined; the nearest point to the fix serves [deg].
CROSSWISE_DEG = 60.0
#: Positions are trusted no better than this across the track [NM]: slow GPS error no smoothing can remove.
POSITION_FLOOR_NM = 3.0 / METRES_PER_NM
#: Time stamps are trusted no better than this [s].
TIME_FLOOR_S = 0.03
#: A change of direction over a hole this large leaves the moment inside it unknown [deg].
HOLE_TURN_DEG = 25.0


class Passage(NamedTuple):
    """The aircraft passes the fix: when, how far to the holding side [NM], heading and track to the course [deg]."""

    moment: Moment
    cross_nm: float
    heading_deg: float
    track_deg: float


class Passages(NamedTuple):
    """Every time a flight passes the fix, in order: inbound, and (to begin an entry) from any direction."""

    inbound: tuple[Passage, ...]
    arrivals: tuple[Passage, ...]

    def mirrored(self) -> Passages:
        """The same against the other holding side."""
        return Passages(tuple(map(mirror, self.inbound)), tuple(map(mirror, self.arrivals)))


def mirror(passage: Passage) -> Passage:
    return Passage(passage.moment, -passage.cross_nm, -passage.heading_deg, -passage.track_deg)


def passages_of(path: FlightPath) -> Passages:
    return Passages(tuple(inbound_passages(path)), tuple(arrivals(path)))


def crossing_moment(path: FlightPath, epoch_s: float, angle_deg: float = 0.0) -> Moment:
    """A line crossed: the position's error over the closing speed is the time's.

    ``angle_deg`` is between the ground track and the line's normal: 0 meets the line head on. In a hole of the
    record over which the direction changes the error is a quarter of the hole.
    """
    k = path.index(epoch_s)
    closing = abs(math.cos(math.radians(angle_deg)))
    across = math.sqrt(1.0 - closing**2)
    position_sd = math.hypot(path.lengthwise_sd_nm[k] * closing, path.across_sd_nm[k] * across, POSITION_FLOOR_NM)
    speed_kt = max(path.value(path.groundspeed_kt, epoch_s) * closing, 10.0)
    sd = math.hypot(position_sd / speed_kt * 3600.0, TIME_FLOOR_S)
    if path.in_hole[k]:
        first, last = k, k
        while first > 0 and path.in_hole[first]:
            first -= 1
        while last < len(path.in_hole) - 1 and path.in_hole[last]:
            last += 1
        if abs(path.track_deg[last] - path.track_deg[first]) > HOLE_TURN_DEG:
            sd = max(sd, float(path.epoch_s[last] - path.epoch_s[first]) / 4.0)
    return Moment(epoch_s, sd)


def passage_at(path: FlightPath, epoch_s: float) -> Passage:
    """The passage at a moment already found."""
    track = path.value(path.track_deg, epoch_s)
    return Passage(
        crossing_moment(path, epoch_s, track),
        path.value(path.cross_nm, epoch_s),
        path.value(path.heading_deg, epoch_s),
        track,
    )


def inbound_passages(path: FlightPath) -> list[Passage]:
    """Where along goes from - to + near the fix: what the flag's flip or the sequencing of the waypoint shows."""
    times = zero_crossings(path.epoch_s, path.along_nm, rising=True)
    found = [passage_at(path, float(time)) for time in times]
    near = max(NEAR_FIX_NM, NEAR_FIX_RADII * turn_radius_nm(path))
    return [each for each in found if abs(each.cross_nm) < near]


def turn_radius_nm(path: FlightPath) -> float:
    """Typical radius of this flight's large turns in still air [NM]; 0 where it has none."""
    rate = _usual_rate_deg_s(path)
    return 0.0 if rate is None else median(path.airspeed_kt) / 3600.0 / math.radians(rate)


def turns_last(path: FlightPath) -> float:
    """How many times as long as at standard rate this flight's large turns last, typically; at least 1."""
    rate = _usual_rate_deg_s(path)
    return 1.0 if rate is None else max(STANDARD_RATE_DEG_S / rate, 1.0)


def _usual_rate_deg_s(path: FlightPath) -> float | None:
    rates = [turn.rate_deg_s for turn in path.turns if abs(turn.change_deg) > 60.0]
    return median(rates) if rates else None


def arrivals(path: FlightPath) -> list[Passage]:
    """Every time the aircraft comes past the fix, from any direction: candidates for the start of an entry.

    Across the course "along changes sign" and "nearest to the fix" part ways; the nearest point is taken there,
    and the error spans both readings.
    """
    distance = np.hypot(path.along_nm, path.cross_nm)
    crossings = np.sort(
        np.concatenate([zero_crossings(path.epoch_s, path.along_nm, rising=rising) for rising in (True, False)])
    )
    found = []
    for k in local_minima(distance, ARRIVAL_NM):
        nearest = _minimum(path.epoch_s, distance, int(k))
        line = float(crossings[np.argmin(np.abs(crossings - nearest))]) if len(crossings) else nearest
        direction = abs(float(wrap180(path.track_deg[k])))
        crosswise = abs(direction - 90.0) < 90.0 - CROSSWISE_DEG
        # Off the fix by a mile at an angle, the line abeam it is passed well before or after.
        when = nearest if crosswise or abs(line - nearest) > 60.0 else line
        passage = passage_at(path, when)
        apart = min(abs(line - nearest), 30.0) if direction > 45.0 and direction < 135.0 else 0.0
        sd = crossing_moment(path, when).sd_s
        found.append(passage._replace(moment=Moment(when, float(np.hypot(sd, apart / 2.0)))))
    return found


def _minimum(time_s: Floats, value: Floats, k: int) -> float:
    """Time of the minimum of a parabola through three samples about ``k``."""
    before, here, after = value[k - 1] ** 2, value[k] ** 2, value[k + 1] ** 2
    bend = before - 2 * here + after
    shift = 0.0 if bend <= 0 else 0.5 * (before - after) / bend
    return float(time_s[k] + np.clip(shift, -1, 1) * (time_s[k + 1] - time_s[k]))


def first_crossing(path: FlightPath, value: Floats, start: float, end: float) -> float | None:
    """When ``value`` (n,) on the path's grid first falls through zero inside an open interval, or None."""
    here = _around(path, start, end)
    return _first_between(zero_crossings(path.epoch_s[here], value[here], rising=False), start, end)


def _around(path: FlightPath, start: float, end: float) -> slice:
    """The grid of an interval and a point beyond each end: that alone is searched, so many laps stay linear."""
    first, last = path.epoch_s.searchsorted((start, end))
    return slice(max(int(first) - 1, 0), int(last) + 1)


def _first_between(times: Floats, start: float, end: float) -> float | None:
    inside = times[(times > start) & (times < end)]
    return float(inside[0]) if len(inside) else None


def wing_tip_abeam(path: FlightPath, start: float, end: float) -> float | None:
    """Where the bearing to the fix is 90 degrees off the heading, on the holding side's own wing, outbound.

    On the outbound leg of a right-hand pattern the fix comes abeam on the right wing; in the mirrored frame that is
    always the same wing. Ahead of it before, behind it after: the forward component of the fix goes from + to -.
    """
    here = _around(path, start, end)
    heading = np.radians(path.heading_deg[here])
    sin, cos = np.sin(heading), np.cos(heading)
    forward = -(path.along_nm[here] * cos + path.cross_nm[here] * sin)
    beside = path.along_nm[here] * sin - path.cross_nm[here] * cos
    # Abeam proper: flying broadly outbound, with the fix on the inner wing.
    usable = (cos < 0.2) & (beside > 0.0)
    times = zero_crossings(path.epoch_s[here], np.where(usable, forward, np.nan), rising=False)
    return _first_between(times, start, end)


def passages_in(passages: Sequence[Passage], start: float, end: float = math.inf) -> Sequence[Passage]:
    """Those of passages in order of time that come after one moment and before another [s since 1970]."""
    first = bisect_right(passages, start, key=lambda passage: passage.moment.epoch_s)
    return passages[first : bisect_left(passages, end, key=lambda passage: passage.moment.epoch_s)]


def overlaps(turn: Turn, start: float, end: float) -> float:
    """Seconds of a turn inside an interval."""
    return max(0.0, min(turn.end_epoch_s, end) - max(turn.start_epoch_s, start))
