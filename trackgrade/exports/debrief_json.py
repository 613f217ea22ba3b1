"""The debrief as JSON, schema "trackgrade.debrief/1": the stable form for scripts, logbooks and other programs.

What each key holds is in `debrief_file`. The same debrief gives the same bytes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from trackgrade.drawing.lines import thinned
from trackgrade.exports import debrief_file as rows
from trackgrade.exports.plain import plain, readable
from trackgrade.hold.hold import Hold
from trackgrade.score.debrief import Debrief, GradedEntry
from trackgrade.score.lap import GradedLap
from trackgrade.score.series import inside
from trackgrade.score.standard import Standard
from trackgrade.segment.flown import Lap
from trackgrade.segment.path import Samples
from trackgrade.track.track import CleanTrack, Floats

#: Paths are for small drawings: this far off is less than a stroke of theirs [NM].
PATH_NM = 0.01

Path = tuple[tuple[float, ...], ...]


def debrief_to_dict(debrief: Debrief) -> dict[str, Any]:
    """The debrief as plain dicts, lists, strings, numbers and None, ready for `json.dumps`."""
    entries = tuple(_entry(visit.entry) for visit in debrief.visits)
    laps, wind, samples = debrief.laps, debrief.wind, debrief.samples
    paths = _paths([_flown(lap, samples) for lap in laps])
    file = rows.DebriefFile(
        track=_track(debrief.track),
        hold=_hold(debrief.hold),
        standard=_standard(debrief.standard),
        wind=rows.WindRow(wind) if wind else None,
        wind_note=debrief.wind_note,
        true_airspeed_kt=wind.true_airspeed_kt if wind else None,
        true_airspeed_sd_kt=wind.true_airspeed_sd_kt if wind else None,
        entry=entries[0] if entries else rows.NoEntry(),
        entries=entries,
        visits=tuple(
            rows.VisitRow(
                visit.number,
                entry,
                tuple(lap.number for lap in visit.laps),
                tuple(lap.number for lap in visit.incomplete_laps),
                visit.flown.wrong_side,
                visit.converged_lap,
            )
            for visit, entry in zip(debrief.visits, entries, strict=True)
        ),
        laps=tuple(_lap(lap, path) for lap, path in zip(laps, paths)),
        incomplete_laps=tuple(
            rows.IncompleteLapRow(
                _events(visit.number, lap), lap.why_incomplete or "the lap was not brought back to the fix"
            )
            for visit in debrief.visits
            for lap in visit.incomplete_laps
        ),
        items=debrief.items,
        findings=debrief.findings,
        work_on=tuple(finding.name for finding in debrief.work_on),
        verdict=debrief.verdict,
        watch=_watch(debrief),
        corrections=tuple(
            rows.OfLap(lap.visit, lap.number, lap.correction) for lap in laps if lap.correction is not None
        ),
        converged_lap=debrief.converged_lap,
        needles=tuple(rows.OfLap(lap.visit, lap.number, each) for lap in laps for each in lap.needles),
        needle_contrasts=tuple(
            rows.OfLap(lap.visit, lap.number, lap.contrast) for lap in laps if lap.contrast is not None
        ),
        wind_work=tuple(rows.OfLap(lap.visit, lap.number, lap.wind_work) for lap in laps),
        solved_lap=_solved(debrief),
        next_lap=debrief.next_lap,
        references=rows.References(
            debrief.altitude.value,
            debrief.altitude.note,
            debrief.airspeed.value,
            debrief.airspeed.note,
            samples.heading_source,
            samples.airspeed_source,
            samples.bank_source,
        ),
        levels=tuple(
            rows.LevelRow(each.altitude_ft, _finite(each.left_epoch_s), _finite(each.from_epoch_s), each.by)
            for each in debrief.levels
        ),
        seen_instead=debrief.flown.seen_instead,
        reversed_laps=tuple(rows.Span(start, end) for start, end in debrief.flown.reversed_laps),
        notes=debrief.notes,
        cautions=debrief.cautions,
    )
    written: dict[str, Any] = plain(file)
    made = dict(zip(map(id, debrief.items), written["items"], strict=True))
    for lap, row in zip(laps, written["laps"], strict=True):  # once for the lap and for the list of all
        row["items"] = [made[id(item)] for item in lap.items]
    return written


def nothing_found(clean: CleanTrack, standard: Standard, seen: str) -> dict[str, Any]:
    """What is said of a flight for which no hold was named, and in which none was found: every key, and no hold."""
    file = rows.DebriefFile(
        track=_track(clean),
        standard=_standard(standard),
        wind_note="no hold, no wind over it",
        verdict="No hold was flown.",
        seen_instead=(seen,),
    )
    return plain(file)  # type: ignore[no-any-return]


def to_text(debrief: Debrief) -> str:
    """The debrief as JSON text, a line a key or a member of its list, ending in a newline."""
    return readable(debrief_to_dict(debrief))


def _finite(epoch_s: float) -> float | None:
    return epoch_s if math.isfinite(epoch_s) else None


def _track(clean: CleanTrack) -> rows.TrackRow:
    track = clean.track
    return rows.TrackRow(
        source=track.source,
        sha256=track.sha256,
        points=clean.points_read,
        rejected_points=sum(rejection.count for rejection in clean.rejections),
        points_used=len(track),
        interval_s=clean.interval_s,
        started_epoch_s=float(track.epoch_s[0]) if len(track) else None,
        ended_epoch_s=float(track.epoch_s[-1]) if len(track) else None,
        gaps=tuple(rows.GapRow(gap.start_epoch_s, gap.seconds) for gap in clean.gaps),
        rejections=clean.rejections,
        columns=track.provenance,
        marks=tuple(rows.MarkRow(mark.epoch_s, mark.label) for mark in track.marks),
        notes=(*track.notes, *clean.notes),
    )


def _hold(hold: Hold) -> rows.HoldRow:
    leg = rows.LegMinutes(hold.leg.minutes) if hold.leg.minutes is not None else rows.LegNm(hold.leg.nm or 0.0)
    return rows.HoldRow(
        name=hold.name,
        from_=hold.origin,
        fix_lat=hold.fix_lat_deg,
        fix_lon=hold.fix_lon_deg,
        inbound_course_true_deg=hold.inbound_course_true_deg,
        variation_deg=hold.variation_deg,
        variation_source=hold.variation_source,
        turns=hold.turns,
        leg=leg,
        guidance=hold.guidance,
        altitude_ft=hold.altitude_ft,
        airspeed_kias=hold.airspeed_kias,
        arrive_epoch_s=hold.arrive_epoch_s,
        notes=hold.notes,
    )


def _standard(standard: Standard) -> rows.StandardRow:
    return rows.StandardRow(standard, standard.timing_note)


def _watch(debrief: Debrief) -> rows.WatchRow | None:
    if debrief.watch is None:
        return None
    times = tuple(rows.TimesRow(lap.visit, lap.number, lap.outbound_times) for lap in debrief.laps)
    return rows.WatchRow(times, debrief.watch)


def _entry(graded: GradedEntry) -> rows.EntryRow:
    entry = graded.flown
    measures = rows.EntryMeasuresRow(
        graded.visit, entry.kind, entry.expected, entry.margin_deg, graded.measures, graded.sentence
    )
    return rows.EntryRow(graded.visit, entry.start, entry.kind, entry, measures)


def _events(visit: int, lap: Lap) -> rows.LapEvents:
    wind = lap.wind
    blown = rows.LapWind(wind.from_true_deg, wind.speed_kt, wind.from_sd_deg, wind.speed_sd_kt) if wind else None
    other, fix = lap.inbound_start_other, lap.end
    second = None
    if other is not None:
        inbound_s = None if fix is None else fix.epoch_s - other.moment.epoch_s
        second = rows.OtherStart(other.moment.epoch_s, other.by, inbound_s)
    return rows.LapEvents(visit, lap, blown or rows.LapWind(), second)


def _lap(lap: GradedLap, path_nm: Path) -> rows.LapRow:
    measures = lap.measures
    return rows.LapRow(
        events=_events(lap.visit, lap.flown),
        wind_changed=lap.wind_changed,
        second_needle=lap.second_needle,
        outbound_s=lap.outbound_s,
        outbound_sd_s=measures.outbound_s.sd,
        outbound_why=measures.outbound_s.why or None,
        outbound_start_by=measures.outbound_start_by,
        outbound_start_epoch_s=measures.outbound_start_epoch_s,
        inbound_s=lap.inbound_s,
        inbound_sd_s=measures.inbound_s.sd,
        target_inbound_s=lap.target_inbound_s,
        max_cross_track_nm=lap.max_cross_track_nm,
        seen=tuple(sorted(lap.seen)),
        measures=rows.LapMeasuresRow(lap.visit, lap.number, lap.scope, lap.start_epoch_s, lap.end_epoch_s, measures),
        path_nm=path_nm,
    )


def _solved(debrief: Debrief) -> rows.SolvedLapRow | None:
    solved = debrief.solved
    if solved is None:
        return None
    (path,) = _paths([(np.asarray(solved.path_along_nm), np.asarray(solved.path_cross_nm))])
    return rows.SolvedLapRow(solved, debrief.solved_note, path)


def _flown(lap: GradedLap, samples: Samples) -> tuple[Floats, Floats]:
    own = inside(samples, lap.start_epoch_s, lap.end_epoch_s)
    return samples.along_nm[own], samples.cross_nm[own]


def _paths(lines: Sequence[tuple[Floats, Floats]]) -> list[Path]:
    """Each path (n,) in as few points as keep within `PATH_NM` of it."""
    known = [np.isfinite(along) & np.isfinite(cross) for along, cross in lines]
    finite = [(along[here], cross[here]) for (along, cross), here in zip(lines, known)]
    return [
        tuple((round(along, 3), round(cross, 3)) for along, cross in zip(x.tolist(), y.tolist()))
        for x, y in thinned(finite, PATH_NM)
    ]
