"""One flight flown, measured and compared with its truth: every difference as plain data.

Fairness. Laps are matched in order of time by overlap. A moment that the analysis leaves out is counted missing, not as
an error of zero. Moments inside a hole of the record have no fair error; they are counted apart, and only asked not to
be confidently wrong. A lap one of whose passages of the fix lies in a hole of more than a minute is hidden: nobody can
count it, and what is found there is not counted either; so with an entry that is mostly in a hole.
Where the definitions leave two fair readings (rolling out tangentially on the course; arriving across it; a turn
resumed after a pause) the error is the distance from the span of both.
"""

from __future__ import annotations

import os
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from tests.simulated.suites import SUITES, flight_of
from trackgrade.simulator.flight import SimulatedFlight
from trackgrade.simulator.kinematics import STEP_S, wind_components_kt
from trackgrade.simulator.truth import TrueLap, TrueVisit
from trackgrade.track.track import Mark, Track

if TYPE_CHECKING:
    from trackgrade.segment.measured import Measured

#: Kinds of moment: those found where a line is crossed, and those where a turn begins or ends.
LINES = ("fix", "abeam", "course")
TURNS = ("fix turn starts", "fix turn ends", "outbound ends", "inbound turn ends")
MOMENTS = (*LINES, *TURNS, "inbound starts")
#: The inbound start by the nearer of its readings, and a second reading told.
NEARER, SECOND = "readings of the inbound start: the nearer", "readings of the inbound start: a second"
#: A hole longer than this hides a passage [s]; a hole over this share of an entry hides the entry.
HIDING_S, HIDING_SHARE = 60.0, 0.35
#: A level is held badly further than this beyond the band for so long [ft, s].
BADLY_FT, BADLY_S = 20.0, 15.0
#: A level graded against is the true one within this [ft].
MISSED_FT = 250.0
#: Moments this close to a hole of the record are inside it, for what interpolation can know: seconds, and rows.
HOLE_EDGE_S, HOLE_EDGE_ROWS, ADAPTIVE_EDGE_S = 2.0, 1.5, 5.0


@dataclass(frozen=True)
class Difference:
    """``error_s`` measured minus true (None: left out); ``sd_s`` as stated; ``in_hole``: not to be held against it."""

    kind: str
    lap: int
    error_s: float | None
    sd_s: float | None = None
    in_hole: bool = False


@dataclass(frozen=True)
class Levels:
    """Altitude over a flight with changes of level: were the levels in force those told; laps truly within the band and
    called out of it; was a level held badly for a while, and was it called so."""

    right: bool
    laps_within: int
    laps_accused: int
    flown_badly: bool
    found: bool
    named: bool


@dataclass
class Outcome:
    """What came of one flight."""

    suite: str
    seed: int
    what: str
    laps_true: int = 0
    laps_hidden: int = 0
    laps_found: int = 0
    laps_matched: int = 0
    visits_right: bool = True
    differences: list[Difference] = field(default_factory=list)
    entries: list[tuple[str, str, tuple[str, ...], tuple[str, ...]]] = field(default_factory=list)
    wind_error_kt: float | None = None
    wind_within: bool | None = None
    tas_error_kt: float | None = None
    tas_within: bool | None = None
    wind_true_kt: float = 0.0
    pattern: str = ""
    named: bool | None = None
    levels: Levels | None = None
    crash: str = ""
    seconds: float = 0.0

    @property
    def laps_right(self) -> bool:
        return self.laps_found == self.laps_true == self.laps_matched and self.visits_right and not self.crash


def as_track(flight: SimulatedFlight, *, through_a_file: bool = False) -> Track:
    """The recording as the analysis gets it: in memory, or written and read again."""
    if through_a_file:
        from trackgrade.simulator.writers import csv_text, gpx_text
        from trackgrade.track.readers import read_track

        ending, text = ("csv", csv_text(flight)) if flight.seed % 20 else ("gpx", gpx_text(flight))
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"flight.{ending}"
            path.write_text(text, encoding="utf-8")
            return read_track(path)
    r = flight.recording
    marks = tuple(Mark(t, label) for t, label in r.marks)
    return Track(
        f"{flight.scenario.name} {flight.seed}", r.epoch_s, r.lat_deg, r.lon_deg, r.alt_ft, dict(r.channels), marks
    )


def one(suite: str, seed: int) -> Outcome:
    """Fly, measure, compare."""
    from trackgrade.analysis import measure
    from trackgrade.errors import TrackgradeError

    flight = flight_of(suite, seed)
    outcome = Outcome(suite, seed, flight.scenario.name)
    track = as_track(flight, through_a_file=seed % 10 == 0)
    began = time.perf_counter()
    try:
        measured = measure(track, flight.hold)
    except TrackgradeError as error:
        outcome.crash = f"refused: {error}"
        outcome.laps_true = 0 if SUITES[suite].decoy else len(flight.truth.laps)
        return outcome
    except Exception as error:  # a crash is a result of the validation, told in the table
        if os.environ.get("TRACKGRADE_RAISE"):
            raise
        outcome.crash = f"{type(error).__name__}: {error}"
        outcome.laps_true = len(flight.truth.laps)
        return outcome
    outcome.seconds = time.perf_counter() - began
    _compare(outcome, flight, measured)
    if suite == "levels":
        outcome.levels = _levels(flight, measured)
    return outcome


def _levels(flight: SimulatedFlight, measured: Measured) -> Levels:
    """Against the noise-free altitude, from when each level was reached to when it was left."""
    from trackgrade.score.judging import judge
    from trackgrade.score.standards import load_standard

    debrief = judge(measured, load_standard())
    limit = debrief.standard.limit("altitude") or 100.0
    t = flight.motion.t_s + flight.scenario.start_epoch_s
    until = [*(each.left for each in flight.truth.levels[1:]), np.inf]
    off, badly, accused, within, found, asked = np.full(len(t), np.nan), False, 0, 0, False, []
    # Where no one tells of another level, nobody knows how far from it one was held.
    true = flight.truth.levels
    for level, left in zip(true[: 1 if flight.scenario.name == "altitude off" else None], until):
        held = (t >= level.reached) & (t < left)
        off[held] = np.abs(flight.motion.alt_ft[held] - level.altitude_ft)
    for lap in debrief.laps:
        during = (t >= lap.start_epoch_s) & (t <= lap.end_epoch_s)
        asked += [each.altitude_ft for each in true if lap.start_epoch_s < each.reached < lap.end_epoch_s]
        known = off[during & np.isfinite(off)]
        item = lap.item("altitude")
        out = item is not None and item.result in ("outside", "brief excursion") and not item.straddles
        badly = badly or float(np.sum(known > limit + BADLY_FT)) * STEP_S > BADLY_S
        good = len(known) > 0 and float(known.max()) <= limit
        within += good
        accused += out and good
        found = found or (item is not None and item.result == "outside")
    right = all(any(abs(ft - each.altitude_ft) < MISSED_FT for each in debrief.levels) for ft in asked)
    named = any(each.name == "altitude_not_held" for each in debrief.findings)
    return Levels(right, within, accused, badly, found, named)


def _compare(outcome: Outcome, flight: SimulatedFlight, measured: object) -> None:
    flown, wind = measured.flown, measured.wind  # type: ignore[attr-defined]
    visits = flight.truth.visits
    outcome.pattern = visits[0].pattern if visits else ""
    found = [(v, lap) for v in flown.visits for lap in v.laps]
    outcome.laps_found = len(found)
    if outcome.pattern == "reciprocal":
        # Not laps of this hold; to be named.
        outcome.named = bool(flown.reversed_laps) or any(v.entry.reversed_pattern for v in flown.visits)
        outcome.laps_found = outcome.laps_true = outcome.laps_matched = 0
        return
    if outcome.pattern == "wrong side":
        outcome.named = bool(flown.visits) and all(v.wrong_side for v in flown.visits)
    sensor = flight.scenario.sensor
    edge = ADAPTIVE_EDGE_S if sensor.adaptive else max(HOLE_EDGE_S, HOLE_EDGE_ROWS * sensor.interval_s)
    holes = tuple((a - edge, b + edge) for a, b in flight.recording.holes)
    hiding = [(a, b) for a, b in holes if b - a - 2 * edge > HIDING_S]
    every = [(v, lap) for v in visits for lap in v.laps]
    hidden = [lap for _, lap in every if any(a <= t <= b for a, b in hiding for t in (lap.start, lap.end or 0.0))]
    true = [(v, lap) for v, lap in every if lap not in hidden]
    pairs = _matched([lap for _, lap in true], [lap for _, lap in found])
    used = {j for _, j in pairs}
    dark = [(h.start, h.end or h.start) for h in hidden]
    dark += [(v.entry.arrival, _entry_end(v)) for v in visits if _entry_hidden(v, holes)]
    seen = [j for j, (_, lap) in enumerate(found) if j in used or not any(_meets(lap, *span) for span in dark)]
    outcome.laps_true, outcome.laps_found, outcome.laps_matched = len(true), len(seen), len(pairs)
    outcome.laps_hidden = len(hidden)
    outcome.visits_right = bool(hidden) or len(flown.visits) == len(visits)
    for i, j in pairs:
        outcome.differences += _lap_differences(true[i][1], found[j][1], holes)
    for visit in visits:
        near = [v for v in flown.visits if v.laps and _overlap(v.laps[0].start.epoch_s, v.laps[-1].end.epoch_s, visit)]
        if near and not _entry_hidden(visit, holes):
            entry = near[0].entry
            outcome.entries.append((visit.entry.flown, entry.kind, visit.entry.expected, entry.expected))
            if visit.entry.turned_wrong_way:
                outcome.named = entry.turned_wrong_way
    if outcome.suite in ("bad", "other entries") and outcome.named is None and outcome.entries:
        flown_kind, kind, right, told = outcome.entries[0]
        if flown_kind not in right and kind != "unclear":
            outcome.named = kind == flown_kind and kind not in told
    if visits:
        _wind(outcome, visits, wind)


def _wind(outcome: Outcome, visits: tuple[TrueVisit, ...], wind: object) -> None:
    """Against the mean wind over the visits, weighted by their length."""
    weights = [max(1.0, (v.laps[-1].end or 0) - v.entry.arrival) if v.laps else 1.0 for v in visits]
    vectors = np.array([wind_components_kt(v.wind_from_true_deg, v.wind_kt) for v in visits])
    true = np.average(vectors, axis=0, weights=weights)
    tas = float(np.average([v.tas_kt for v in visits], weights=weights))
    outcome.wind_true_kt = float(np.hypot(*true))
    if wind is None:
        return
    told = np.array(wind_components_kt(wind.from_true_deg, wind.speed_kt))  # type: ignore[attr-defined]
    error = told - true
    outcome.wind_error_kt = float(np.hypot(*error))
    covariance = np.array(wind.covariance_kt2)  # type: ignore[attr-defined]
    # Two standard errors in a plane: the ellipse that holds 95.4 % (chi square 6.18, two degrees of freedom).
    outcome.wind_within = bool(error @ np.linalg.solve(covariance, error) <= 6.18)
    outcome.tas_error_kt = float(wind.true_airspeed_kt - tas)  # type: ignore[attr-defined]
    outcome.tas_within = abs(outcome.tas_error_kt) <= 2.0 * wind.true_airspeed_sd_kt  # type: ignore[attr-defined]


def _entry_end(visit: TrueVisit) -> float:
    """A direct entry shows itself within a minute of the fix."""
    return visit.entry.end if visit.entry.flown != "direct" else visit.entry.arrival + 60.0


def _entry_hidden(visit: TrueVisit, holes: tuple[tuple[float, float], ...]) -> bool:
    start, end = visit.entry.arrival - 10.0, _entry_end(visit)
    unseen = sum(max(0.0, min(b, end) - max(a, start)) for a, b in holes)
    return unseen > HIDING_SHARE * (end - start)


def _meets(found: object, start: float, end: float) -> bool:
    """Whether a lap that was found shares half a minute with this span."""
    shared = min(found.end.epoch_s, end) - max(found.start.epoch_s, start)  # type: ignore[attr-defined]
    return bool(shared > 30.0)


def _overlap(a: float, b: float, visit: TrueVisit) -> bool:
    end = visit.laps[-1].end if visit.laps else None
    return end is not None and min(b, end) - max(a, visit.entry.arrival) > 30.0


def _matched(true: list[TrueLap], found: list[object]) -> list[tuple[int, int]]:
    """Pairs (true, found) that share more than half of the longer one; each used once, in order of time."""
    pairs = []
    j0 = 0
    for i, lap in enumerate(true):
        for j in range(j0, len(found)):
            other = found[j]
            start, end = other.start.epoch_s, other.end.epoch_s  # type: ignore[attr-defined]
            assert lap.end is not None
            shared = min(lap.end, end) - max(lap.start, start)
            if shared > 0.5 * max(lap.end - lap.start, end - start):
                pairs.append((i, j))
                j0 = j + 1
                break
    return pairs


def _lap_differences(true: TrueLap, found: object, holes: tuple[tuple[float, float], ...]) -> list[Difference]:
    out: list[Difference] = []

    def inside(moment: float) -> bool:
        return any(a <= moment <= b for a, b in holes)

    def add(kind: str, name: str, moment: float | None, window: tuple[float, float] | None = None) -> None:
        if moment is None:
            return
        told = getattr(found, name)
        low, high = window or (moment, moment)
        if told is None:
            out.append(Difference(kind, true.number, None, None, inside(moment)))
            return
        error = told.epoch_s - moment
        if window is not None and low <= told.epoch_s <= high:
            error = 0.0
        elif window is not None:
            error = told.epoch_s - (low if told.epoch_s < low else high)
        out.append(Difference(kind, true.number, error, told.sd_s, inside(moment)))

    fair = set(true.ambiguous)
    if true.start_window is None:
        add("fix", "start", true.start)
    else:
        add("arrival", "start", true.start, true.start_window)
    add("fix", "end", true.end)
    add("abeam", "abeam", true.abeam)
    if true.course_crossed is not None and not true.near_tie:
        add("course", "course_crossed", true.course_crossed)
    for kind, name, truth_name in (
        ("fix turn starts", "outbound_turn_start", "outbound_turn_start"),
        ("fix turn ends", "outbound_turn_end", "outbound_turn_end"),
        ("outbound ends", "outbound_end", "outbound_end"),
        ("inbound turn ends", "inbound_turn_end", "inbound_turn_end"),
    ):
        moment = getattr(true, truth_name)
        add(kind if truth_name not in fair else f"{kind} (two readings)", name, moment)
    tie = true.near_tie
    kind = "inbound starts" if "inbound_start" not in fair else "inbound starts (two readings)"
    add(kind, "inbound_start", true.inbound_start, true.inbound_start_window if tie else None)
    out += _readings(true, found, inside)
    out += _durations(true, found, inside)
    return out


def _readings(true: TrueLap, found: object, inside: object) -> list[Difference]:
    """The inbound start by the nearer of the readings that are told; a second one is counted as a kind of its own."""
    start, other = found.inbound_start, found.inbound_start_other  # type: ignore[attr-defined]
    if true.inbound_start is None or start is None:
        return []
    low, high = true.inbound_start_window if true.near_tie and true.inbound_start_window else (true.inbound_start,) * 2
    told = [start] if other is None else [start, other.moment]
    errors = [(each.epoch_s - min(max(each.epoch_s, low), high), each.sd_s) for each in told]
    error, sd = min(errors, key=lambda each: abs(each[0]))
    hole = inside(true.inbound_start)  # type: ignore[operator]
    out = [Difference(NEARER, true.number, error, sd, hole)]
    return out if other is None else [*out, Difference(SECOND, true.number, None, None, hole)]


def _durations(true: TrueLap, found: object, inside: object) -> list[Difference]:
    """Outbound time from abeam, inbound time; none where an end of it is in a hole or can be read in two ways."""
    out = []
    start, end = found.inbound_start, found.end  # type: ignore[attr-defined]
    clear = true.inbound_start is not None and true.end is not None and "inbound_start" not in true.ambiguous
    if clear and true.inbound_s is not None:
        assert true.inbound_start is not None
        assert true.end is not None
        hole = inside(true.inbound_start) or inside(true.end)  # type: ignore[operator]
        error: float | None = None
        if start is not None and end is not None:
            told = end.epoch_s - start.epoch_s
            error = told - true.inbound_s
            if true.near_tie and true.inbound_start_window is not None:
                low, high = (true.end - t for t in reversed(true.inbound_start_window))
                error = 0.0 if low <= told <= high else (told - low if told < low else told - high)
        out.append(Difference("inbound time", true.number, error, None, hole))
    abeam, leave = found.abeam, found.outbound_end  # type: ignore[attr-defined]
    if true.outbound_s is not None and true.abeam is not None and "outbound_end" not in true.ambiguous:
        assert true.outbound_end is not None
        hole = inside(true.abeam) or inside(true.outbound_end)  # type: ignore[operator]
        error = None if abeam is None or leave is None else leave.epoch_s - abeam.epoch_s - true.outbound_s
        out.append(Difference("outbound time", true.number, error, None, hole))
    return out
