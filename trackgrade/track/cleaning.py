"""Order, duplicates, stale repeats, spikes, invented rows, gaps: what was rejected, and why.

Cleaning only drops or marks; it never moves a position. The one exception is stated in a note: several fixes that
share a whole-second stamp are spread evenly over that second.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackgrade.earth.geodesy import azimuth_distance, cartesian_m
from trackgrade.earth.units import METRES_PER_NM
from trackgrade.errors import TrackFileError
from trackgrade.track.flyable import among_dropped, left_by_chance, unflyable
from trackgrade.track.invented import off_chord_deg, rows_invented
from trackgrade.track.track import Bools, CleanTrack, Floats, Gap, Rejection, Track

#: No aircraft that holds is faster over the ground [m/s]: 280 kt indicated high up, with wind behind.
FASTEST_M_S = 350.0
#: Hardest sustained acceleration believed [m/s2]: a 60 degree steep turn is 17.
HARDEST_M_S2 = 18.0
#: A spike must stand out from its neighbours by more than this [m].
LEAST_SPIKE_M = 60.0
#: A stamp may be this late, whole seconds being what many logs have [s]: at 430 kt that is 110 m along the track.
LATE_STAMP_S = 0.5
#: Holes shorter than this are ordinary sampling, however regular the rest [s].
LEAST_GAP_S = 10.0
#: A step longer than a third of a half turn at standard rate may hide one: it is a hole, however regular the rest [s].
LONGEST_STEP_S = 20.0
#: Altitude further than this from the median of its neighbours is an outlier [ft].
ALTITUDE_OUTLIER_FT = 400.0
#: Steps too far for any aircraft, of all steps; a spike makes two, a spoofed stretch two.
MOST_IMPOSSIBLE_STEPS = 1 / 3
LEAST_POINTS = 4
#: A hole longer than this parts two flights [s]; a stop for fuel and food does not.
PARTS_FLIGHTS_S = 6 * 3600.0
#: No flight lasts longer [s]. Everything between the first and the last point is worked through second by second.
LONGEST_FLIGHT_S = 3 * 86_400.0


class _Left:
    """What is left of a track, and what was dropped of it so far, by reason."""

    def __init__(self, track: Track) -> None:
        self.track, self.points_read = track, len(track)
        self._steps: tuple[Track, Floats] | None = None
        self.rejections: dict[str, Rejection] = {}
        self.enough()

    def drop(self, bad: Bools, reason: str) -> None:
        """Leave points (n,) out. Raises TrackFileError where fewer than four are left."""
        dropped = int(np.count_nonzero(bad))
        if not dropped:
            return
        times_s = self.track.epoch_s[bad]
        times_s = times_s[np.isfinite(times_s)]
        first_s = float(times_s.min()) if len(times_s) else np.nan
        before = self.rejections.get(reason, Rejection(reason, 0, first_s))
        self.rejections[reason] = Rejection(reason, before.count + dropped, min(before.first_epoch_s, first_s))
        self.track = self.track.take(~bad)
        self.enough()

    def enough(self) -> None:
        if len(self.track) < LEAST_POINTS:
            raise TrackFileError(
                f"{self.track.source}: only {len(self.track)} of {self.points_read} points have a usable time and "
                f"position; at least {LEAST_POINTS} are needed. Check that the file is a recorded flight with times."
            )

    def steps_m(self) -> Floats:
        """Distance from each point to the next [m]."""
        if self._steps is None or self._steps[0] is not self.track:
            self._steps = self.track, _steps_m(self.track)
        return self._steps[1]

    def drop_spikes(self) -> None:
        for _ in range(8):
            spikes = _spikes(self.track, self.steps_m())
            if not np.any(spikes):
                break
            self.drop(spikes, "single-point spike")


def clean(track: Track) -> CleanTrack:
    """Sort, drop what cannot be, and find the holes.

    Raises TrackFileError: fewer than four usable points are left, or they are too far apart in time to show a turn.
    """
    left = _Left(replace(track, alt_open=None))  # what no hold has settled by now stays unknown
    notes: list[str] = []

    finite = np.isfinite(track.epoch_s) & np.isfinite(track.lat_deg) & np.isfinite(track.lon_deg)
    left.drop(~(finite & (np.abs(track.lat_deg) <= 90.0)), "position or time is not a number")

    backward = np.diff(left.track.epoch_s) < 0
    if np.any(backward):
        notes.append(f"{np.count_nonzero(backward)} points were out of time order; the track was sorted by time.")
        left.track = left.track.take(np.argsort(left.track.epoch_s, kind="stable"))

    apart = "over 6 hours from the rest: a wrong date, or another flight"
    left.drop(~largest_flight(left.track.epoch_s, track.source), apart)

    left.drop(_exact_duplicates(left.track), "the same point twice")
    left.track, spread = _spread_whole_seconds(left.track)
    if spread:
        notes.append(
            f"{spread} points shared a time stamp with others; each group was spread evenly over its interval."
        )
    same_time = np.concatenate([[False], np.diff(left.track.epoch_s) <= 0])
    left.drop(same_time, "a second position at the same time")

    left.drop(_stale_repeats(left.track), "position repeated while the aircraft moved")
    _refuse_jumping_about(left.track, left.steps_m())
    before_s = left.track.epoch_s
    # Spikes first: a lone one may be reached or left at a possible speed and would take its neighbours with it.
    left.drop_spikes()
    off = _off_chain(left.track, left.steps_m())
    if np.any(off):
        left.drop(off, "impossible jump away and back")
        left.drop_spikes()
    among = among_dropped(before_s, left.track.epoch_s)
    left.drop(among, "among so many spikes that nothing there can be trusted")

    wild = unflyable(left.track.epoch_s, left.track.lat_deg, left.track.lon_deg)
    if left_by_chance(before_s, left.track.epoch_s[~wild]):
        raise TrackFileError(
            f"{track.source}: only {np.count_nonzero(~wild)} of its {len(before_s)} positions could have been flown, "
            "one after the other. Check that times and positions stand in the right columns and rows."
        )
    left.drop(wild, "course turns about at random, as no aircraft's does")
    left.drop(rows_invented(left.track), "row made by a resampler across a hole")

    track = left.track
    altitude, outliers = _clean_altitude(track)
    if outliers:
        notes.append(f"{outliers} altitudes stood far from their neighbours and were not used.")
        track = replace(track, alt_ft=altitude, channels=dict(track.channels))

    interval_s = float(np.median(np.diff(track.epoch_s)))
    if interval_s > LONGEST_STEP_S:
        raise TrackFileError(
            f"{track.source}: its positions are {interval_s:.0f} s apart, and a turn shows only in positions at most "
            f"{LONGEST_STEP_S:.0f} s apart. Set the logger to 5 s or less."
        )
    rejections = tuple(left.rejections.values())
    return CleanTrack(track, left.points_read, rejections, _gaps(track.epoch_s), interval_s, tuple(notes))


def _refuse_jumping_about(track: Track, steps_m: Floats) -> None:
    """A file whose positions mostly cannot follow each other is no flight, whatever subset of them could be one."""
    impossible = (steps_m > LEAST_SPIKE_M) & (steps_m > FASTEST_M_S * np.diff(track.epoch_s))
    if np.mean(impossible) > MOST_IMPOSSIBLE_STEPS:
        raise TrackFileError(
            f"{track.source}: {np.mean(impossible):.0%} of its positions are too far from the one before to have been "
            "flown. Check that times and positions stand in the right columns and rows."
        )


def _exact_duplicates(track: Track) -> Bools:
    same = (np.diff(track.epoch_s) == 0) & (np.diff(track.lat_deg) == 0) & (np.diff(track.lon_deg) == 0)
    return np.concatenate([[False], same])


def _spread_whole_seconds(track: Track) -> tuple[Track, int]:
    """Fixes faster than their stamps: spread those that share a stamp up to the next stamp.

    Only where sharing is the rule (half the stamps or more); a lone clash is a duplicate.
    """
    stamps, first, counts = np.unique(track.epoch_s, return_index=True, return_counts=True)
    if len(stamps) < 2 or np.median(counts) < 2:
        return track, 0
    step = np.append(np.diff(stamps), np.median(np.diff(stamps)))
    step = np.minimum(step, np.median(np.diff(stamps)))
    group = np.repeat(np.arange(len(stamps)), counts)
    place = np.arange(len(track)) - first[group]
    spread = track.epoch_s + step[group] * place / counts[group]
    moved = int(np.count_nonzero(spread != track.epoch_s))
    return replace(track, epoch_s=spread, channels=dict(track.channels)), moved


def _steps_m(track: Track, over: int = 1) -> Floats:
    """Distance from each point to the next, or to the one ``over`` points on [m]."""
    place = cartesian_m(track.lat_deg, track.lon_deg)
    return np.asarray(np.linalg.norm(place[over:] - place[:-over], axis=1))


def _stale_repeats(track: Track) -> Bools:
    """Rows that repeat the position before them although the aircraft moves on at over 15 m/s."""
    same = np.concatenate([[False], (np.diff(track.lat_deg) == 0) & (np.diff(track.lon_deg) == 0)])
    if not np.any(same):
        return same
    fresh = np.flatnonzero(~same)
    _, nm = azimuth_distance(
        track.lat_deg[fresh[:-1]], track.lon_deg[fresh[:-1]], track.lat_deg[fresh[1:]], track.lon_deg[fresh[1:]]
    )
    speed = nm * METRES_PER_NM / np.maximum(np.diff(track.epoch_s[fresh]), 1e-3)
    moving = np.concatenate([speed > 15.0, [False]])
    return np.asarray(same & moving[np.cumsum(~same) - 1])


def _fastest_m_s(seconds: Floats, steps_m: Floats) -> float:
    """Beyond this no step is believed: what this aircraft does most of the time bounds it better than any could."""
    usual = float(np.quantile(steps_m / np.maximum(seconds, 0.1), 0.75))
    return min(FASTEST_M_S, 40.0 + 2.0 * usual)


def _off_chain(track: Track, steps_m: Floats) -> Bools:
    """Whole excursions: stretches bounded by impossible speeds, left out where the rest joins up without them."""
    n = len(track)
    seconds = np.diff(track.epoch_s)
    fastest = _fastest_m_s(seconds, steps_m)
    broken = steps_m > fastest * seconds + 500.0
    if not np.any(broken):
        return np.zeros(n, dtype=bool)
    chain = np.concatenate([[0], np.cumsum(broken)])
    count = np.bincount(chain)
    starts = np.concatenate([[0], np.cumsum(count)[:-1]])
    ends = starts + count - 1
    # The best run of mutually reachable chains, by points kept (chains are few: each needs an impossible jump).
    best = count.astype(np.int64).copy()
    previous = np.full(len(count), -1)
    look_back = 40
    for j in range(len(count)):
        i = np.arange(max(0, j - look_back), j)
        if not len(i):
            continue
        _, nm = azimuth_distance(
            track.lat_deg[ends[i]], track.lon_deg[ends[i]], track.lat_deg[starts[j]], track.lon_deg[starts[j]]
        )
        reachable = nm * METRES_PER_NM <= fastest * (track.epoch_s[starts[j]] - track.epoch_s[ends[i]]) + 500.0
        if np.any(reachable):
            candidates = i[reachable]
            k = candidates[np.argmax(best[candidates])]
            if best[k] > 0:
                best[j] += best[k]
                previous[j] = k
    keep = np.zeros(len(count), dtype=bool)
    j = int(np.argmax(best))
    while j >= 0:
        keep[j] = True
        j = int(previous[j])
    return np.asarray(~keep[chain])


def _spikes(track: Track, steps_m: Floats) -> Bools:
    """Points further from the chord of their neighbours than any turn could put them.

    Of neighbours that both stand out, only the one that stands out most goes: a spike pulls its neighbours' chords.
    """
    n = len(track)
    if n < 5:
        return np.zeros(n, dtype=bool)
    excess = np.zeros(n)
    excess[1:-1] = _chord_distance_m(track) - _chord_allowance_m(track.epoch_s, steps_m)
    if not np.any(excess > 0.0):
        return np.zeros(n, dtype=bool)
    # Neighbours that cannot be joined stand on the two sides of a jump: no chord, and no work for this rule, which
    # would eat up the sound points beside it. One of the two steps is impossible, which `_off_chain` sees.
    seconds = np.diff(track.epoch_s)
    fastest = _fastest_m_s(seconds, steps_m)
    joined = _steps_m(track, over=2) <= fastest * (seconds[:-1] + seconds[1:]) + 1000.0
    excess[1:-1][~joined] = 0.0
    before = np.concatenate([[0.0], excess[:-1]])
    after = np.concatenate([excess[1:], [0.0]])
    return np.asarray((excess > 0) & (excess >= before) & (excess > after))


def _chord_distance_m(track: Track) -> Floats:
    """Distance of each inner point from where the straight chord of its neighbours has it at that time [m]."""
    north_deg, east_deg = off_chord_deg(track)
    return np.asarray(np.hypot(north_deg, east_deg * np.cos(np.radians(track.lat_deg[1:-1]))) * METRES_PER_NM * 60.0)


def _chord_allowance_m(epoch_s: Floats, steps_m: Floats) -> Floats:
    """How far a hard turn and a late time stamp can put a point from its neighbours' chord [m].

    The sagitta a*t1*t2/2, never more than a half turn at 2 degrees a second and 150 m/s allows over long steps; and
    what the aircraft usually flies in `LATE_STAMP_S`.
    """
    first, second = np.diff(epoch_s)[:-1], np.diff(epoch_s)[1:]
    late_m = LATE_STAMP_S * float(np.median(steps_m / np.maximum(np.diff(epoch_s), 0.1)))
    sagitta = HARDEST_M_S2 * first * second / 2
    step = np.minimum(first, second)
    # Over longer steps a steep turn does not last: 6 m/s2 is 31 degrees of bank.
    gentler = 6.0 * first * second / 2
    return np.asarray(LEAST_SPIKE_M + late_m + np.where(step <= 2.0, sagitta, gentler))


def _clean_altitude(track: Track) -> tuple[Floats, int]:
    """Altitudes with outliers set to NaN: those far from the running median of seven."""
    altitude = track.alt_ft
    known = np.flatnonzero(np.isfinite(altitude))
    if len(known) < 7:
        return altitude, 0
    values = altitude[known]
    # The median stands at most three points off: without a step of a third of the limit none is so far from it.
    if np.max(np.abs(np.diff(values))) <= ALTITUDE_OUTLIER_FT / 3.0:
        return altitude, 0
    padded = np.pad(values, 3, mode="edge")
    median = np.median(np.lib.stride_tricks.sliding_window_view(padded, 7), axis=1)
    seconds = np.gradient(track.epoch_s[known])
    # 100 ft/s is 6,000 ft/min: more than any hold is climbed or descended at.
    bad = np.abs(values - median) > ALTITUDE_OUTLIER_FT + 100.0 * np.minimum(seconds, 10.0)
    if not np.any(bad):
        return altitude, 0
    cleaned = altitude.copy()
    cleaned[known[bad]] = np.nan
    return cleaned, int(np.count_nonzero(bad))


def _gaps(epoch_s: Floats) -> tuple[Gap, ...]:
    """Holes: steps far over the usual one, or longer than any in which a turn can be seen. Logs that thin out on
    straight legs have long usual steps."""
    step = np.diff(epoch_s)
    usual = max(LEAST_GAP_S, 4.0 * float(np.median(step)), 1.6 * float(np.quantile(step, 0.95)))
    usual = min(usual, LONGEST_STEP_S)
    return tuple(Gap(float(epoch_s[i]), float(epoch_s[i + 1])) for i in np.flatnonzero(step > usual))


def largest_flight(epoch_s: Floats, source: str) -> Bools:
    """Which points (n,) belong to the part with most points; times must not decrease.

    Raises TrackFileError: that part lasts over three days.
    """
    part = np.concatenate([[0], np.cumsum(np.diff(epoch_s) > PARTS_FLIGHTS_S)])
    keep = part == np.argmax(np.bincount(part))
    times = epoch_s[keep]
    if times[-1] - times[0] > LONGEST_FLIGHT_S:
        days = (times[-1] - times[0]) / 86_400.0
        raise TrackFileError(f"{source}: its times span {days:.0f} days. Cut it to one flight, or mend its dates")
    return np.asarray(keep)
