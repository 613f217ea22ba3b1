"""What of a debrief a map shows: the flight, its laps, the lap that works, every event in its place, fix and course."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from trackgrade.earth.units import METRES_PER_FT
from trackgrade.exports.plain import utc
from trackgrade.files import plain_text
from trackgrade.hold.frame import HoldFrame
from trackgrade.score.debrief import Debrief, GradedVisit
from trackgrade.segment.flown import Lap
from trackgrade.track.track import Floats, Track

Kind = Literal["fix", "course", "flight", "lap", "incomplete lap", "lap that works", "event"]
#: The events of a lap, in their order; the passage that ends it is the next one's start.
EVENTS = {
    "start": "fix passage",
    "outbound_turn_end": "wings level outbound",
    "abeam": "abeam the fix",
    "outbound_end": "turn back",
    "inbound_start": "inbound time starts",
}
#: The inbound course is drawn this long at least [NM]: a choice, so that it can be seen behind short legs.
COURSE_NM = 4.0
_COURSE_STEPS = 9  # points of it: straight on a map of any projection


@dataclass(frozen=True, eq=False)
class Feature:
    """A point or a line: arrays (n,); ``alt_m`` and ``epoch_s`` are NaN where there are none."""

    kind: Kind
    name: str
    text: str
    lat_deg: Floats
    lon_deg: Floats
    alt_m: Floats
    epoch_s: Floats

    @property
    def is_point(self) -> bool:
        return len(self.lat_deg) == 1

    def within_180(self) -> list[Feature]:
        """The feature in parts, none of which crosses the 180° meridian: a map would draw it around the globe."""
        rows, east = np.arange(len(self.lon_deg)), np.unwrap(self.lon_deg, period=360.0)
        turn = np.floor((east + 180.0) / 360.0)  # how many times round the globe
        cuts = np.flatnonzero(np.diff(turn))
        if not len(cuts):
            return [self]
        meridian = 180.0 + 360.0 * np.minimum(turn[cuts], turn[cuts + 1])
        at = cuts + (meridian - east[cuts]) / (east[cuts + 1] - east[cuts])
        parts = []
        for first, last, here in zip([0.0, *at], [*at, rows[-1]], turn[[*cuts, -1]]):
            place = np.array([first, *rows[(rows > first) & (rows < last)], last])
            lat, lon, alt, epoch = (
                np.interp(place, rows, values) for values in (self.lat_deg, east, self.alt_m, self.epoch_s)
            )
            lon = np.clip(lon - 360.0 * here, -180.0, 180.0)
            parts.append(replace(self, lat_deg=lat, lon_deg=lon, alt_m=alt, epoch_s=epoch))
        return parts


def map_features(debrief: Debrief) -> list[Feature]:
    """All of it, in the order in which it is to be drawn."""
    return [
        *_hold(debrief),
        *_flight(debrief),
        *_works(debrief),
        *(lap for visit in debrief.visits for lap in _laps(debrief, visit)),
        *(event for visit in debrief.visits for event in _events(debrief, visit)),
    ]


def _hold(debrief: Debrief) -> Iterator[Feature]:
    hold, frame = debrief.hold, HoldFrame(debrief.hold)
    lat, lon = np.array([hold.fix_lat_deg]), np.array([hold.fix_lon_deg])
    name = plain_text(hold.name, 80) or "hold"
    text = f"inbound course {hold.inbound_course_true_deg:.0f}° true, {hold.turns} turns"
    yield _untimed("fix", f"Fix of {name}", text, lat, lon)
    ends = [lap.measures.outbound_end_nm.value for lap in debrief.laps]
    far = max([COURSE_NM, *(end for end in ends if end is not None)])
    along = np.linspace(-far, 0.0, _COURSE_STEPS)
    yield _untimed("course", f"Inbound course of {name}", text, *frame.to_geographic(along, np.zeros_like(along)))


def _flight(debrief: Debrief) -> Iterator[Feature]:
    track = debrief.track.track
    starts = [int(np.searchsorted(track.epoch_s, gap.end_epoch_s)) for gap in debrief.track.gaps]
    for first, last in pairwise([0, *starts, len(track)]):
        if last - first > 1:
            yield _timed("flight", "Flight", plain_text(track.source, 80), track, track.epoch_s[first:last])


def _works(debrief: Debrief) -> Iterator[Feature]:
    solved = debrief.solved
    if solved is None or not solved.feasible or not len(solved.path_s):
        return
    text = (
        f"outbound heading {solved.outbound_heading_true_deg:.0f}° true, {solved.outbound_s:.0f} s from abeam, in wind "
        f"{solved.wind_from_true_deg:.0f}°/{solved.wind_kt:.0f} kt"
    )
    place = HoldFrame(debrief.hold).to_geographic(solved.path_along_nm, solved.path_cross_nm)
    yield _untimed("lap that works", "The lap that works in this wind", text, *place)


def _laps(debrief: Debrief, stay: GradedVisit) -> Iterator[Feature]:
    for graded in stay.laps:
        times = _between(debrief.track.track, graded.start_epoch_s, graded.end_epoch_s)
        text = _seconds("outbound", graded.outbound_s) + ", " + _seconds("inbound", graded.inbound_s)
        yield _timed("lap", _named(debrief, stay, graded.flown), text, debrief.track.track, times)
    for lap in stay.incomplete_laps:
        end = max(m.epoch_s for m in (lap.start, lap.end, lap.inbound_start, lap.outbound_end, lap.abeam) if m)
        times = _between(debrief.track.track, lap.start.epoch_s, end)
        if len(times) > 1:
            name = f"{_named(debrief, stay, lap)}, not completed"
            yield _timed("incomplete lap", name, lap.why_incomplete or "", debrief.track.track, times)


def _events(debrief: Debrief, stay: GradedVisit) -> Iterator[Feature]:
    moments = []
    entry = stay.entry.flown
    if entry.start is not None and entry.kind not in ("direct", "none"):
        moments.append((entry.start.epoch_s, f"{entry.kind} entry: fix passage"))
    laps = [graded.flown for graded in stay.laps]
    for lap in laps:
        for field, title in EVENTS.items():
            if (moment := getattr(lap, field)) is not None:
                moments.append((moment.epoch_s, f"{_named(debrief, stay, lap)}: {title}"))
    if laps and laps[-1].end is not None:
        moments.append((laps[-1].end.epoch_s, f"{_named(debrief, stay, laps[-1])}: fix passage, its end"))
    for epoch_s, name in moments:
        yield _timed("event", name, utc(epoch_s) or "", debrief.track.track, np.array([epoch_s]))


def _named(debrief: Debrief, stay: GradedVisit, lap: Lap) -> str:
    return f"Visit {stay.number} lap {lap.number}" if len(debrief.visits) > 1 else f"Lap {lap.number}"


def _seconds(leg: str, value: float | None) -> str:
    return f"{leg} not measurable" if value is None else f"{leg} {value:.0f} s"


def _between(track: Track, start_s: float, end_s: float) -> Floats:
    """The recorded times of a stretch, and its two ends."""
    inside = track.epoch_s[(track.epoch_s > start_s) & (track.epoch_s < end_s)]
    return np.concatenate([[start_s], inside, [end_s]]) if end_s > start_s else np.array([start_s])


def _timed(kind: Kind, name: str, text: str, track: Track, epoch_s: Floats) -> Feature:
    """Where the aircraft was at these times. Heights not above the sea are left out: a map takes all for such."""
    lat = np.interp(epoch_s, track.epoch_s, track.lat_deg)
    lon = np.interp(epoch_s, track.epoch_s, np.unwrap(track.lon_deg, period=360.0))
    alt_ft = track.alt_ft if track.alt_datum == "altimeter" else np.full(len(track), np.nan)
    alt_m = np.interp(epoch_s, track.epoch_s, alt_ft * METRES_PER_FT)
    return Feature(kind, name, text, lat, np.mod(lon + 180.0, 360.0) - 180.0, alt_m, epoch_s)


def _untimed(kind: Kind, name: str, text: str, lat_deg: Floats, lon_deg: Floats) -> Feature:
    nothing = np.full(len(lat_deg), np.nan)
    return Feature(kind, name, text, lat_deg, lon_deg, nothing, nothing)
