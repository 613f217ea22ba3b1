"""The keys of the debrief file (schema "trackgrade.debrief/1"), as dataclasses that `plain` writes.

Keys are never renamed or dropped under one schema number; more may be added. ``debrief.schema.json`` beside this
file is made from these by `trackgrade.exports.schema`. Times are ISO 8601 UTC with milliseconds, directions 0 to 360,
null is not measurable. Rows are written at once and never compared: neither frozen nor with an equality, their
classes are made in a third of the time (10 ms of every start).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any, Generic, Literal, TypeVar

from trackgrade import __version__
from trackgrade.caution import CAUTIONS
from trackgrade.exports.plain import spread
from trackgrade.hold.hold import Guidance, TurnSide
from trackgrade.hold.planning import SolvedLap
from trackgrade.motion.samples import Source, Wind
from trackgrade.score.debrief import EntryMeasures, Finding, NextLap, WatchAnalysis
from trackgrade.score.lap import (
    Correction,
    LapMeasures,
    NeedleContrast,
    NeedleReading,
    OutboundTimes,
    Reference,
    SecondNeedle,
    WindWork,
)
from trackgrade.score.levels import LevelBy
from trackgrade.score.results import ItemResult
from trackgrade.score.standard import Standard
from trackgrade.segment.flown import Entry, EntryKind, InboundStartBy, Lap, Moment
from trackgrade.track.track import Provenance, Rejection


@dataclass(eq=False, repr=False)
class Program:
    """What wrote the file."""

    name: Literal["trackgrade"] = "trackgrade"
    version: str = __version__


@dataclass(eq=False, repr=False)
class GapRow:
    """A hole in the record."""

    start_epoch_s: float
    seconds: float


@dataclass(eq=False, repr=False)
class MarkRow:
    """A moment that the log marks."""

    at_epoch_s: float
    label: str


@dataclass(eq=False, repr=False)
class TrackRow:
    """The record, and what became of it: points read, rejected, used."""

    source: str
    sha256: str
    points: int
    rejected_points: int
    points_used: int
    interval_s: float
    started_epoch_s: float | None
    ended_epoch_s: float | None
    gaps: tuple[GapRow, ...]
    rejections: tuple[Rejection, ...]
    columns: tuple[Provenance, ...]
    marks: tuple[MarkRow, ...]
    notes: tuple[str, ...]


@dataclass(eq=False, repr=False)
class LegMinutes:
    """A leg that lasts."""

    minutes: float


@dataclass(eq=False, repr=False)
class LegNm:
    """A leg of a length."""

    nm: float


@dataclass(eq=False, repr=False)
class HoldRow:
    """The hold as graded; ``from`` says who named it."""

    name: str
    from_: Literal["file", "set", "found"]
    fix_lat: float
    fix_lon: float
    inbound_course_true_deg: float
    variation_deg: float
    variation_source: str
    turns: TurnSide
    leg: LegMinutes | LegNm
    guidance: Guidance
    altitude_ft: float | None
    airspeed_kias: float | None
    arrive_epoch_s: float | None
    notes: tuple[str, ...]


@dataclass(eq=False, repr=False)
class StandardRow:
    """The standard that judged, without its items: each result carries its own limit and source."""

    standard: Standard = field(
        metadata=spread("outbound_starts_source", "turns", "speed_limits", "speed_limits_source", "items", "path")
    )
    timing_note: str = ""


@dataclass(eq=False, repr=False)
class WindRow:
    """The wind over the whole stay."""

    wind: Wind = field(metadata=spread("true_airspeed_kt", "true_airspeed_sd_kt"))


@dataclass(eq=False, repr=False)
class EntryMeasuresRow:
    """Every number of an entry."""

    visit: int
    kind: EntryKind
    expected: tuple[EntryKind, ...]
    margin_deg: float | None
    measures: EntryMeasures = field(metadata=spread())
    sentence: str = ""


@dataclass(eq=False, repr=False)
class EntryRow:
    """How the hold was entered on one visit."""

    visit: int
    arrival: Moment | None
    flown: EntryKind
    entry: Entry = field(metadata=spread("kind", "start"))
    measures: EntryMeasuresRow


@dataclass(eq=False, repr=False)
class NoEntry:
    """No hold was flown."""

    arrival_epoch_s: float | None = None
    arrival_heading_true_deg: float | None = None
    expected: tuple[EntryKind, ...] = ()
    flown: Literal["none"] = "none"


@dataclass(eq=False, repr=False)
class VisitRow:
    """One stay in the hold: its laps by number."""

    number: int
    entry: EntryRow
    laps: tuple[int, ...]
    incomplete_laps: tuple[int, ...]
    wrong_side: bool
    converged_lap: int | None


@dataclass(eq=False, repr=False)
class LapWind:
    """The wind of one lap."""

    wind_from_true_deg: float | None = None
    wind_kt: float | None = None
    wind_from_sd_deg: float | None = None
    wind_sd_kt: float | None = None


@dataclass(eq=False, repr=False)
class OtherStart:
    """Another fair reading of the inbound start, and the inbound time from there."""

    epoch_s: float
    by: InboundStartBy
    inbound_s: float | None


@dataclass(eq=False, repr=False)
class LapMeasuresRow:
    """Every number of a lap."""

    visit: int
    number: int
    scope: str
    start_epoch_s: float
    end_epoch_s: float
    measures: LapMeasures = field(metadata=spread())


@dataclass(eq=False, repr=False)
class LapEvents:
    """What was flown of a lap, completed or not: each moment with its standard error."""

    visit: int
    lap: Lap = field(metadata=spread("inbound_start_other", "why_incomplete", "wind"))
    wind: LapWind = field(metadata=spread())
    inbound_start_other: OtherStart | None


@dataclass(eq=False, repr=False)
class IncompleteLapRow:
    """A lap not brought back to the fix: listed, not graded."""

    events: LapEvents = field(metadata=spread())
    why_incomplete: str = ""


@dataclass(eq=False, repr=False, kw_only=True)
class LapRow:
    """A completed lap. ``path_nm``: its path as [along, cross] in the hold's frame, in few points.

    ``items`` are put in when all are written.
    """

    events: LapEvents = field(metadata=spread())
    wind_changed: bool
    second_needle: SecondNeedle | None
    outbound_s: float | None
    outbound_sd_s: float | None
    outbound_why: str | None
    outbound_start_by: Reference | None
    outbound_start_epoch_s: float | None
    inbound_s: float | None
    inbound_sd_s: float | None
    target_inbound_s: float | None
    max_cross_track_nm: float | None
    items: tuple[ItemResult, ...] = ()
    seen: tuple[str, ...]
    measures: LapMeasuresRow
    path_nm: tuple[tuple[float, ...], ...]


Of = TypeVar("Of")


@dataclass(eq=False, repr=False)
class OfLap(Generic[Of]):
    """What was told of one lap."""

    visit: int
    lap: int
    told: Of = field(metadata=spread())


@dataclass(eq=False, repr=False)
class TimesRow:
    """The outbound time of a lap from each place a watch may be started."""

    visit: int
    number: int
    times: OutboundTimes = field(metadata=spread())


@dataclass(eq=False, repr=False)
class WatchRow:
    """Where the watch was started."""

    times: tuple[TimesRow, ...]
    watch: WatchAnalysis = field(metadata=spread())


@dataclass(eq=False, repr=False)
class SolvedLapRow:
    """The lap that works in the wind measured."""

    lap: SolvedLap = field(metadata=spread("path_s", "path_along_nm", "path_cross_nm"))
    note: str = ""
    path_nm: tuple[tuple[float, ...], ...] = ()


@dataclass(eq=False, repr=False)
class References:
    """What altitude and airspeed are measured from, and where heading, airspeed and bank come from."""

    altitude_ft: float | None = None
    altitude_note: str = ""
    airspeed_kias: float | None = None
    airspeed_note: str = ""
    heading_source: Source = "none"
    airspeed_source: Source = "none"
    bank_source: Source = "none"


@dataclass(eq=False, repr=False)
class LevelRow:
    """A level that altitude was graded against from ``from`` to the next one's ``left``; null: from the beginning."""

    altitude_ft: float
    left_epoch_s: float | None
    from_epoch_s: float | None
    by: LevelBy


@dataclass(eq=False, repr=False)
class Span:
    """From a time to a time."""

    start_epoch_s: float
    end_epoch_s: float


@dataclass(eq=False, repr=False, kw_only=True)
class DebriefFile:
    """One flight at one hold, measured and judged. ``hold`` is null where none was named and none was found.

    Keys may be added, never renamed or dropped, under one schema number. Null is not measurable.
    """

    schema: Literal["trackgrade.debrief/1"] = "trackgrade.debrief/1"
    program: Program = field(default_factory=Program)
    track: TrackRow
    hold: HoldRow | None = None
    standard: StandardRow
    wind: WindRow | None = None
    wind_note: str = ""
    true_airspeed_kt: float | None = None
    true_airspeed_sd_kt: float | None = None
    entry: EntryRow | NoEntry = field(default_factory=NoEntry)
    entries: tuple[EntryRow, ...] = ()
    visits: tuple[VisitRow, ...] = ()
    laps: tuple[LapRow, ...] = ()
    incomplete_laps: tuple[IncompleteLapRow, ...] = ()
    items: tuple[ItemResult, ...] = ()
    findings: tuple[Finding, ...] = ()
    work_on: tuple[str, ...] = ()
    verdict: str
    watch: WatchRow | None = None
    corrections: tuple[OfLap[Correction], ...] = ()
    converged_lap: int | None = None
    needles: tuple[OfLap[NeedleReading], ...] = ()
    needle_contrasts: tuple[OfLap[NeedleContrast], ...] = ()
    wind_work: tuple[OfLap[WindWork], ...] = ()
    solved_lap: SolvedLapRow | None = None
    next_lap: NextLap | None = None
    references: References = field(default_factory=References)
    levels: tuple[LevelRow, ...] = ()
    seen_instead: tuple[str, ...] = ()
    reversed_laps: tuple[Span, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: Annotated[tuple[str, ...], "never empty"] = CAUTIONS


#: What holds between the keys of an object, beyond the type of each.
BETWEEN: dict[type, dict[str, Any]] = {
    ItemResult: {
        "if": {"properties": {"result": {"const": "not measurable"}}},
        "then": {"properties": {"value": {"type": "null"}, "why": {"minLength": 1}}},
        "else": {"properties": {"value": {"type": "number"}}},
    },
    LegMinutes: {"additionalProperties": False},
    LegNm: {"additionalProperties": False},
}
