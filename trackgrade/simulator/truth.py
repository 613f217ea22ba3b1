"""What was really flown: events found on the noise-free motion, by their definitions.

Written from the definitions, not from the analysis: the two share nothing, so that one can be measured with the other.

Definitions (along grows with the inbound course, cross toward the holding side):
  fix passage           along from - to +, inbound
  abeam                 along from + to -, outbound
  turn                  |heading rate| above 0.75 deg/s, or a quarter of the turn's own steady rate if that is less
  outbound ends         the turn back starts
  inbound starts        the earlier of: course crossed in the turn back; wings level out of it
Where two readings of a definition are both fair, `ambiguous` names the event, and windows tell how far they differ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trackgrade.simulator.flown_log import LapLog, VisitLog
from trackgrade.simulator.kinematics import STEP_S, Floats, Frame, Motion
from trackgrade.simulator.scenario import Entry, Mistakes, Scenario

TURN_RATE_RAD_S = np.radians(0.75)
#: A dip of the rate below the threshold shorter than this does not end a turn.
DIP_S = 1.5
#: Readings of a turn's bounds that differ by more than this are called ambiguous.
AMBIGUOUS_S = 1.0
#: Rolling out this close to the course is neither clearly through it nor clearly short of it.
TIE_NM = 0.02
#: A time of the truth [s since 1970].
Moment = float


@dataclass(frozen=True)
class TrueLap:
    """Times are seconds since 1970; None did not happen. ``max_cross_track_nm`` is over the inbound leg, unsigned."""

    number: int
    start: Moment
    outbound_turn_start: Moment | None
    outbound_turn_end: Moment | None
    abeam: Moment | None
    abeam_by_bearing: Moment | None
    outbound_end: Moment | None
    course_crossed: Moment | None
    inbound_turn_end: Moment | None
    inbound_start: Moment | None
    inbound_start_by: str | None
    inbound_start_window: tuple[float, float] | None
    near_tie: bool
    end: Moment | None
    outbound_s: float | None
    inbound_s: float | None
    max_cross_track_nm: float | None
    fix_missed_nm: float | None
    wind_from_true_deg: float
    wind_kt: float
    tas_kt: float
    watch_started: Moment | None
    start_window: tuple[float, float] | None = None
    ambiguous: tuple[str, ...] = ()
    why_incomplete: str | None = None


@dataclass(frozen=True)
class TrueEntry:
    """``arrival_window`` spans closest approach and along 0; they differ when arriving across the course."""

    flown: str
    expected: tuple[str, ...]
    arrival: Moment
    arrival_window: tuple[float, float]
    arrival_heading_true_deg: float
    end: Moment
    turned_wrong_way: bool


@dataclass(frozen=True)
class TrueVisit:
    pattern: str
    entry: TrueEntry
    laps: tuple[TrueLap, ...]
    incomplete_laps: tuple[TrueLap, ...]
    wind_from_true_deg: float
    wind_kt: float
    tas_kt: float


@dataclass(frozen=True)
class TrueLevel:
    """A level to be held [ft]: the one before was left at ``left``, this one reached at ``reached`` [s since 1970].

    Both are the start of the flight for the level it began at.
    """

    altitude_ft: float
    left: Moment
    reached: Moment


@dataclass(frozen=True)
class Truth:
    """``mistakes`` names the fields of the scenario's mistakes that are not at their default."""

    visits: tuple[TrueVisit, ...]
    mistakes: tuple[str, ...]
    levels: tuple[TrueLevel, ...] = ()

    @property
    def laps(self) -> tuple[TrueLap, ...]:
        return tuple(lap for visit in self.visits for lap in visit.laps)


def tell(scenario: Scenario, motion: Motion, visits: list[VisitLog], levels: tuple[TrueLevel, ...]) -> Truth:
    """The truth of a flight from its motion and the pilot's own log of what was begun when."""
    names = [f for f in Mistakes.__dataclass_fields__ if f != "on_laps"]
    flown_wrong = tuple(n for n in names if getattr(scenario.mistakes, n) != getattr(Mistakes(), n))
    flown = tuple(_Teller(scenario, motion, v).visit() for v in visits if v.entry_end_n >= 0)
    return Truth(flown, flown_wrong, levels)


def expected_entries(rel_deg: float) -> tuple[Entry, ...]:
    """Right entries for a heading against the inbound course [deg, toward the holding side], its own sector's first.

    Within 5 degrees of a line both are right. AIM 5-3-8: 70 degrees to the teardrop side, 110 to the parallel side.
    """
    d = (180.0 - rel_deg + 180.0) % 360.0 - 180.0
    found: list[Entry] = ["teardrop" if 0 < d <= 70 else ("parallel" if -110 <= d < 0 else "direct")]
    lines: tuple[tuple[float, tuple[Entry, Entry]], ...] = (
        (0.0, ("teardrop", "parallel")),
        (70.0, ("teardrop", "direct")),
        (-110.0, ("parallel", "direct")),
    )
    for line, pair in lines:
        if abs(d - line) <= 5.0:
            found += [p for p in pair if p not in found]
    return tuple(found)


class _Teller:
    def __init__(self, scenario: Scenario, motion: Motion, log: VisitLog) -> None:
        self.m, self.log, self.t0 = motion, log, scenario.start_epoch_s
        f: Frame = log.frame
        self.along, self.cross = f.along_cross(motion.east_nm, motion.north_nm)
        self.rate = f.side * motion.rate_rad_s  # + turns the hold's way
        self.rel = f.side * (motion.heading_rad - f.course_rad)

    # ---------------------------------------------------------------- finding

    def _root(self, y: Floats, i: int) -> float:
        """Time of the zero between samples i and i + 1 [s of flight]."""
        return float(self.m.t_s[i] + STEP_S * y[i] / (y[i] - y[i + 1]))

    def _crossing(self, y: Floats, a: int, b: int, sign: int) -> float | None:
        """First change of y through 0 in the direction of ``sign`` between steps a and b."""
        a, b = max(a, 0), min(b, len(y) - 1)
        z = sign * y[a : b + 1]
        hits = np.nonzero((z[:-1] < 0.0) & (z[1:] >= 0.0))[0]
        return None if not len(hits) else self._root(y, a + int(hits[0]))

    def _turn(self, a: int, b: int, dip_s: float) -> tuple[float, float] | None:
        """Start and end of the turn the hold's way whose strongest part lies between steps a and b."""
        r = self.rate
        if b - a < 5:
            return None
        core = a + int(np.argmax(r[a:b]))
        if r[core] <= TURN_RATE_RAD_S / 4:
            return None
        threshold = TURN_RATE_RAD_S
        for _ in range(3):
            lo, hi = _run(r > threshold, core, round(dip_s / STEP_S))
            third = (hi - lo) // 4
            steady = float(np.median(r[lo + third : hi - third + 1]))
            new = min(TURN_RATE_RAD_S, steady / 4)
            if new == threshold:
                break
            threshold = new
        y = r - threshold
        start = self._root(y, lo - 1) if lo > 0 else float(self.m.t_s[0])
        end = self._root(y, hi) if hi + 1 < len(y) else float(self.m.t_s[-1])
        return start, end

    def _fair_turn(self, a: int, b: int, start: str, end: str) -> tuple[tuple[float, float] | None, list[str]]:
        """The turn, and those of its ends, by the names given, that can be read in two ways."""
        usual, strict, loose = (self._turn(a, b, dip_s) for dip_s in (DIP_S, 0.2, 6.0))
        if usual is None or strict is None or loose is None:
            return None, []
        apart = {start: strict[0] - loose[0], end: loose[1] - strict[1]}
        return usual, [name for name, seconds in apart.items() if seconds > AMBIGUOUS_S]

    # ---------------------------------------------------------------- telling

    def visit(self) -> TrueVisit:
        log, m = self.log, self.m
        entry, first_start = self._entry()
        laps = [self._lap(each, first_start) for each in log.laps]
        ends = [lap.end for lap in laps if lap.end is not None]
        last = max([*ends, entry.end]) - self.t0
        inside = (m.t_s >= entry.arrival - self.t0) & (m.t_s <= last + (60.0 if not ends else 0.0))
        wind_from, wind = self._wind(inside)
        return TrueVisit(
            log.pattern,
            entry,
            tuple(lap for lap in laps if lap.why_incomplete is None),
            tuple(lap for lap in laps if lap.why_incomplete is not None),
            wind_from,
            wind,
            float(np.mean(m.tas_kt[inside])),
        )

    def _wind(self, inside: npt.NDArray[np.bool_]) -> tuple[float, float]:
        east, north = float(np.mean(self.m.wind_east_kt[inside])), float(np.mean(self.m.wind_north_kt[inside]))
        return float(np.degrees(np.arctan2(-east, -north)) % 360.0), float(np.hypot(east, north))

    def _entry(self) -> tuple[TrueEntry, tuple[float, tuple[float, float]]]:
        log, m = self.log, self.m
        n = log.arrival_n - 1
        a, b = max(0, n - round(20 / STEP_S)), min(len(m.t_s) - 1, n + round(20 / STEP_S))
        distance = np.hypot(self.along, self.cross)[a : b + 1]
        nearest = float(m.t_s[a + int(np.argmin(distance))])
        track = np.arctan2(self.cross[n] - self.cross[n - 20], self.along[n] - self.along[n - 20])
        across = abs(track) >= np.radians(60)
        # Arriving across the course, along may come through 0 once more in the turn that follows: fair as well.
        b = b if not across else min(len(m.t_s) - 1, b + round(10 / STEP_S))
        zeros = [
            t for t in (self._crossing(self.along, a, b, 1), self._crossing(self.along, a, b, -1)) if t is not None
        ]
        by_along = min(zeros, key=lambda t: abs(t - nearest)) if zeros else nearest
        arrival = nearest if across else by_along
        readings = [nearest, *zeros] if across else [nearest, by_along]
        window = (self.t0 + min(readings), self.t0 + max(readings))
        # The heading held on the way to the fix, not that of the last correction.
        before = slice(max(0, n - round(10 / STEP_S)), n)
        rel = float(np.degrees(np.mean(self.rel[before])))
        heading = float(np.degrees(np.mean(m.heading_rad[before])) % 360.0)
        end = arrival
        if log.entry != "direct":
            found = self._crossing(self.along, log.entry_end_n - 3, log.entry_end_n + 3, 1)
            assert found is not None, "an entry ends where along goes from - to +"
            end = found
        entry = TrueEntry(
            log.entry, expected_entries(rel), self.t0 + arrival, window, heading, self.t0 + end, log.wrong_way
        )
        return entry, (self.t0 + arrival, window)

    def _lap(self, log: LapLog, first: tuple[float, tuple[float, float]]) -> TrueLap:
        m, t0 = self.m, self.t0
        direct_first = log.number == 1 and self.log.entry == "direct"
        start_window: tuple[float, float] | None = None
        if direct_first:
            start, start_window = first[0] - t0, first[1]
        else:
            found = self._crossing(self.along, log.start_n - 3, log.start_n + 3, 1)
            assert found is not None, "a lap begins where along goes from - to +"
            start = found

        def at(t: float | None) -> float | None:
            return None if t is None else t0 + t

        ambiguous: list[str] = []
        out_turn = back = None
        if log.level_n > 0:
            out_turn, ambiguous = self._fair_turn(
                log.fix_turn_n, log.level_n, "outbound_turn_start", "outbound_turn_end"
            )
        a = round(start / STEP_S)
        back_from = log.inbound_turn_n if log.inbound_turn_n > 0 else len(m.t_s) - 1
        abeam = self._crossing(self.along, a + 20, back_from, -1)
        if abeam is not None and direct_first and abeam - start < 3.0:
            abeam = self._crossing(self.along, a + 100, back_from, -1)
        if log.inbound_turn_n > 0 and log.inbound_level_n > 0:
            back, also = self._fair_turn(log.inbound_turn_n, log.inbound_level_n, "outbound_end", "inbound_turn_end")
            ambiguous += also
        end = None
        if log.end_n > 0:
            end = self._crossing(self.along, log.end_n - 3, log.end_n + 3, 1)
        crossed, inbound, by, window, tie = self._inbound(back, end)
        if "inbound_turn_end" in ambiguous and by == "rollout":
            ambiguous.append("inbound_start")
        until = end if end is not None else float(m.t_s[min(len(m.t_s) - 1, max(back_from, log.inbound_level_n))])
        wind_from, wind = self._wind((m.t_s >= start) & (m.t_s <= until))
        most = missed = None
        if inbound is not None and end is not None:
            leg = (m.t_s >= inbound) & (m.t_s <= end)
            most = float(np.max(np.abs(self.cross[leg]))) if leg.any() else None
            missed = float(abs(np.interp(end, m.t_s, self.cross)))
        return TrueLap(
            number=log.number,
            start=t0 + start,
            outbound_turn_start=at(out_turn[0] if out_turn else None),
            outbound_turn_end=at(out_turn[1] if out_turn else None),
            abeam=at(abeam),
            abeam_by_bearing=at(self._wing_tip(abeam)),
            outbound_end=at(back[0] if back else None),
            course_crossed=at(crossed),
            inbound_turn_end=at(back[1] if back else None),
            inbound_start=at(inbound),
            inbound_start_by=by,
            inbound_start_window=None if window is None else (t0 + window[0], t0 + window[1]),
            near_tie=tie,
            end=at(end),
            outbound_s=None if back is None or abeam is None else back[0] - abeam,
            inbound_s=None if inbound is None or end is None else end - inbound,
            max_cross_track_nm=most,
            fix_missed_nm=missed,
            wind_from_true_deg=wind_from,
            wind_kt=wind,
            tas_kt=float(np.mean(m.tas_kt[(m.t_s >= start) & (m.t_s <= until)])),
            watch_started=at(log.watch_t),
            start_window=start_window,
            ambiguous=tuple(ambiguous),
            why_incomplete=log.why_incomplete,
        )

    def _inbound(
        self, back: tuple[float, float] | None, end: float | None
    ) -> tuple[float | None, float | None, str | None, tuple[float, float] | None, bool]:
        """(course crossed, inbound start, by which, window of both readings, near tie)"""
        if back is None:
            return None, None, None, None, False
        a, b = round(back[0] / STEP_S), round(back[1] / STEP_S)
        stop = len(self.cross) - 1 if end is None else round(end / STEP_S)
        crossed = self._crossing(self.cross, a, b, -1)
        level = back[1]
        if crossed is not None:
            i = round(crossed / STEP_S)
            returned = self._crossing(self.cross, i + 2, stop, 1)
            j = stop if returned is None else round(returned / STEP_S)
            beyond = float(-np.min(self.cross[i : j + 1])) if j > i else 0.0
            if beyond >= TIE_NM:
                return crossed, crossed, "course", (crossed, crossed), False
            near = self._crossing(self.cross - TIE_NM / 4, a, b, -1)
            return crossed, crossed, "course", (min(crossed, near or crossed), level), level - crossed > 0.5
        tie = abs(float(np.interp(level, self.m.t_s, self.cross))) < TIE_NM
        early = self._crossing(self.cross - TIE_NM, a, b, -1) if tie else None
        return None, level, "rollout", (level if early is None else min(early, level), level), tie

    def _wing_tip(self, abeam: float | None) -> float | None:
        """When the bearing to the fix is 90 degrees off the heading, near abeam."""
        if abeam is None:
            return None
        ahead = -(self.along * np.cos(self.rel) + self.cross * np.sin(self.rel))  # + : the fix is ahead of the wings
        i = round(abeam / STEP_S)
        reach = round(60 / STEP_S)
        a, b = max(0, i - reach), min(len(ahead) - 1, i + reach)
        z = ahead[a : b + 1]
        hits = np.nonzero((z[:-1] > 0.0) & (z[1:] <= 0.0))[0]
        if not len(hits):
            return None
        return self._root(ahead, a + int(hits[np.argmin(np.abs(hits + a - i))]))


def _run(above: npt.NDArray[np.bool_], core: int, dip: int) -> tuple[int, int]:
    """First and last index of the run of True around ``core``, bridging gaps of up to ``dip`` samples."""
    where = np.nonzero(above)[0]
    k = int(np.searchsorted(where, core))
    breaks = np.nonzero(np.diff(where) > dip + 1)[0]
    before = breaks[breaks < k]
    after = breaks[breaks >= k]
    lo = where[before[-1] + 1] if len(before) else where[0]
    hi = where[after[0]] if len(after) else where[-1]
    return int(lo), int(hi)
