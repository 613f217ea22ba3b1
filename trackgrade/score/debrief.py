"""The debrief: what everything after the analysis reads (terminal, report, JSON, CSV, logbook).

Sign conventions: headings and drift angles are right positive; ``cross`` is positive on the holding side.
Times are seconds since 1970 UTC (``*_epoch_s``) or durations (``*_s``). ``*_sd`` is one standard error.
``visit`` and
``lap`` are the numbers of `Visit` and `Lap`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from trackgrade.hold.hold import Hold
from trackgrade.motion.samples import Samples, Turn, Wind
from trackgrade.score.standard import Standard
from trackgrade.segment.flown import EntryKind, Flown
from trackgrade.track.track import CleanTrack

if TYPE_CHECKING:
    from trackgrade.hold.planning import SolvedLap

Result = Literal["within", "brief excursion", "outside", "not measurable"]
Reference = Literal["abeam", "abeam_by_bearing", "abeam_or_heading", "wings_level", "mark"]
Judged = Literal["right", "not needed", "none", "too small", "too large", "wrong way", "last lap", "not measurable"]


@dataclass(frozen=True)
class Measurement:
    """A number with its standard error, or None and why it cannot be had. ``how`` says how it was
    obtained."""

    value: float | None
    sd: float | None = None
    unit: str = ""
    why: str = ""
    how: str = ""


@dataclass(frozen=True)
class Excursion:
    """One stay outside a band: when, how long, how far (``peak`` signed, in the item's unit) and back or
    not."""

    start_epoch_s: float
    seconds: float
    peak: float
    peak_epoch_s: float
    lap: int | None = None


@dataclass(frozen=True)
class ItemResult:
    """One item of the standard against what was flown.

    ``scope`` is "lap 1", "entry", "arrival", "whole hold" (of the second visit: "visit 2 lap 1"); ``lap`` its
    number, or None. ``value`` is signed where a side or direction matters, its size is what counts against
    ``limit``; None when not measurable, and ``why`` says why. ``straddles``: the value lies within two
    standard errors of the limit. ``choice``: the limit is this program's or the user's, not a published
    one. ``reference`` is what the value was measured from ("4000 ft assigned"); ``how`` how it was obtained.
    """

    item: str
    title: str
    scope: str
    lap: int | None
    value: float | None
    value_sd: float | None
    unit: str
    limit: float | None
    result: Result
    source: str
    choice: bool = False
    straddles: bool = False
    why: str = ""
    evidence: str = ""
    at_epoch_s: float | None = None
    visit: int | None = None
    excursions: tuple[Excursion, ...] = ()
    outside_s: float | None = None
    outside_share: float | None = None
    reference: str = ""
    how: str = ""


@dataclass(frozen=True)
class Finding:
    """A named mistake (or a specific praise), with evidence and one line of advice.

    ``weight`` ranks: the largest first. ``lap`` is None when it concerns the whole hold. ``laps`` lists
    every lap it was seen in (``lap`` is the first). ``consequences`` are what it led to: named here, and not
    as findings of their own.
    """

    name: str
    title: str
    lap: int | None
    at_epoch_s: float | None
    evidence: str
    advice: str
    weight: float = 0.0
    praise: bool = False
    visit: int | None = None
    laps: tuple[int, ...] = ()
    consequences: tuple[str, ...] = ()


@dataclass(frozen=True)
class TurnMeasures:
    """One turn of a lap: its steady rate [deg/s], bank [deg], what was due, and how even it was.

    ``due_rate_deg_s`` and ``due_bank_deg`` are the standard's for the airspeed; ``rate_spread_deg_s`` is
    the scatter (standard deviation) of the rate over the middle of the turn; ``altitude_change_ft`` from
    start to end.
    """

    rate_deg_s: Measurement
    bank_deg: Measurement
    due_rate_deg_s: float | None
    due_bank_deg: float | None
    rate_spread_deg_s: Measurement
    change_deg: float | None
    altitude_lost_ft: Measurement
    start_epoch_s: float
    end_epoch_s: float


@dataclass(frozen=True)
class LapMeasures:
    """Every number of one completed lap. Distances [NM], speeds [kt], times [s], altitudes [ft].

    outbound_s : from where the standard starts the time (``outbound_start_by`` names it) to the turn back
    inbound_s : from inbound start to the fix; ``target_inbound_s`` what it must last (None for a leg in NM)
    outbound_end_nm : along-course distance of the turn back from the fix; ``target_nm`` for a leg in NM
    inbound_nm : along-course distance of inbound start from the fix
    max_cross_track_nm : largest distance from the course between inbound start and the fix (unsigned)
    rollout_cross_nm : signed distance from the course when the wings were level inbound; + holding side
        (inside),
        - beyond the course (outside)
    non_holding_side_nm : largest distance beyond the course on the non-holding side anywhere in the lap (>=
        0)
    fix_to_turn_s : from fix passage to the start of the turn
    """

    visit: int
    number: int
    scope: str
    start_epoch_s: float
    end_epoch_s: float
    lap_s: Measurement
    outbound_s: Measurement
    outbound_start_by: Reference | None
    outbound_start_epoch_s: float | None
    inbound_s: Measurement
    target_inbound_s: float | None
    inbound_nm: Measurement
    outbound_end_nm: Measurement
    target_nm: float | None
    max_cross_track_nm: Measurement
    typical_cross_track_nm: Measurement
    rollout_cross_nm: Measurement
    non_holding_side_nm: Measurement
    fix_to_turn_s: Measurement
    altitude_ft: Measurement
    altitude_low_ft: float | None
    altitude_high_ft: float | None
    ias_kt: Measurement
    ias_low_kt: float | None
    ias_high_kt: float | None
    groundspeed_inbound_kt: Measurement
    groundspeed_outbound_kt: Measurement
    fix_turn: TurnMeasures | None
    inbound_turn: TurnMeasures | None


@dataclass(frozen=True)
class EntryMeasures:
    """How one visit was entered, in numbers.

    ``suits``: the entry flown is among the expected ones. ``sector_miss_deg``: how far the arrival heading
    lay outside the sector of the entry flown (0 inside). ``offset_deg``: angle of the entry's outbound
    track from the outbound course, positive into the holding side. ``speed_ready_s``: seconds before the
    fix at which the airspeed had come down to holding speed for good (None: not before the fix; see ``why``).
    ``arrival_miss_s``: passage minus assigned time, late positive, for the passage nearest to it. ``end_cross_nm``: how
    far off the fix the passage that ended the entry was (+ holding side): how well the course was intercepted.
    """

    visit: int
    kind: EntryKind
    expected: tuple[EntryKind, ...]
    suits: bool | None
    flown_well: bool | None
    margin_deg: float | None
    sector_miss_deg: float | None
    fix_to_turn_s: Measurement
    outbound_s: Measurement
    offset_deg: Measurement
    max_offset_nm: Measurement
    non_holding_side_nm: Measurement
    arrival_ias_kt: Measurement
    speed_ready_s: Measurement
    arrival_miss_s: Measurement
    end_cross_nm: Measurement = Measurement(None, unit="NM")
    sentence: str = ""


@dataclass(frozen=True)
class OutboundTimes:
    """Outbound time of one lap from each place a watch may be started [s]."""

    visit: int
    number: int
    abeam_s: Measurement
    abeam_by_bearing_s: Measurement
    abeam_or_heading_s: Measurement
    wings_level_s: Measurement
    mark_s: Measurement


@dataclass(frozen=True)
class ReferenceScatter:
    """How well one reference explains the outbound times.

    ``scatter_s`` is the scatter of the times over the laps; ``unexplained_s`` what is left of it after the
    time changes that the flown inbound legs asked for. ``probability`` (0 to 1) that the watch was started
    there, among the references offered.
    """

    reference: Reference
    title: str
    laps: int
    mean_s: float
    scatter_s: float
    unexplained_s: float
    probability: float


@dataclass(frozen=True)
class WatchAnalysis:
    """Where the watch was started. ``likely`` is None where the laps cannot tell; ``sentence`` says it in
    words.

    ``inbound_scatter_s`` is the scatter of the inbound times, ``inbound_scatter_from_watch_s`` the part of
    it that the outbound scatter made (outbound seconds turned into inbound seconds by the ground speeds).
    """

    times: tuple[OutboundTimes, ...]
    references: tuple[ReferenceScatter, ...]
    likely: Reference | None
    probability: float | None
    inbound_scatter_s: float | None
    inbound_scatter_from_watch_s: float | None
    sentence: str


@dataclass(frozen=True)
class Correction:
    """What one lap's inbound time asked of the next outbound, by each rule, and what was flown.

    ``error_s`` inbound minus target; ``asked_*_s`` next outbound time; ``change_s`` what was changed.
    ``judged`` against equal seconds with the standard's ``correction_tolerance_s``.
    """

    visit: int
    lap: int
    outbound_s: float | None
    inbound_s: float | None
    target_s: float | None
    error_s: float | None
    asked_equal_seconds_s: float | None
    asked_ratio_s: float | None
    asked_solved_s: float | None
    flown_next_s: float | None
    change_s: float | None
    judged: Judged


@dataclass(frozen=True)
class NeedleReading:
    """One inbound leg as one needle showed it. Deflections are shares of full scale (1.0 = full), unsigned.

    ``label`` for people ("GPS 1.0 NM", "VOR at the fix, 10°"). ``own`` marks the hold's own guidance.
    ``side`` is where the aircraft was from the course at the largest deflection. ``from_epoch_s`` to
    ``to_epoch_s`` is what was read: the needle is left alone over the station, where it swings whatever is
    flown.
    """

    visit: int
    lap: int
    kind: Literal["gps", "vor"]
    label: str
    full_scale: float
    unit: str
    own: bool
    largest: float | None
    largest_sd: float | None
    side: Literal["left", "right"] | None
    largest_epoch_s: float | None
    typical: float | None
    share_within_three_quarters: float | None
    share_within_half: float | None
    from_epoch_s: float | None
    to_epoch_s: float | None
    why: str = ""


@dataclass(frozen=True)
class NeedleContrast:
    """The same inbound leg passes on some needles and fails on others, at ``limit_share`` of full scale."""

    visit: int
    lap: int
    limit_share: float
    passes: tuple[str, ...]
    fails: tuple[str, ...]


@dataclass(frozen=True)
class WindWork:
    """Drift and its correction on one lap [deg], right positive.

    inbound_correction_deg : heading minus track inbound (the crab that held the course)
    outbound_correction_deg : heading minus outbound course, what the pilot laid off
    multiple : outbound over inbound correction, positive when laid off into the wind; None when the drift
        is small
    triple_correction_deg, solved_correction_deg : what triple drift and the solved lap ask outbound
    """

    visit: int
    lap: int
    inbound_heading_true_deg: Measurement
    inbound_correction_deg: Measurement
    outbound_heading_true_deg: Measurement
    outbound_correction_deg: Measurement
    multiple: float | None
    triple_correction_deg: float | None
    solved_correction_deg: float | None
    solved_heading_true_deg: float | None
    rollout_cross_nm: Measurement
    sentence: str = ""


@dataclass(frozen=True)
class NextLap:
    """What to fly next in this wind. Headings true and magnetic [deg]; ``outbound_s`` is timed from ``timed_from``.

    ``outbound_nm``: distance from the fix at which to turn back, for a leg in NM; None for a timed leg.
    ``equal_seconds_s`` is what the equal-seconds rule asks after the last lap, beside the solved lap.
    ``feasible`` False: no such lap exists (``why``), and the numbers are the best that can be done.
    """

    outbound_heading_true_deg: float | None
    outbound_heading_mag_deg: float | None
    outbound_correction_deg: float | None
    outbound_s: float | None
    outbound_nm: float | None
    timed_from: str
    inbound_heading_true_deg: float | None
    inbound_heading_mag_deg: float | None
    expected_inbound_s: float | None
    equal_seconds_s: float | None
    feasible: bool
    why: str = ""
    sentence: str = ""


@dataclass(frozen=True, eq=False)
class Debrief:
    """Everything known about one flight at one hold, judged against one standard.

    ``findings`` are ranked, mistakes first, praise last. ``solved`` is the lap that works in the wind
    measured.
    ``altitude_reference_ft`` and ``airspeed_reference_kias`` are what those items were measured from, with a
    ``*_reference_note`` saying where they come from. ``converged_lap``: the first lap from which
    every inbound time of its visit stayed in the band.
    """

    track: CleanTrack
    hold: Hold
    wind: Wind | None
    wind_note: str
    samples: Samples
    turns: tuple[Turn, ...]
    flown: Flown
    items: tuple[ItemResult, ...]
    findings: tuple[Finding, ...]
    verdict: str
    standard_name: str
    standard_title: str
    standard: Standard | None = None
    laps: tuple[LapMeasures, ...] = ()
    entries: tuple[EntryMeasures, ...] = ()
    watch: WatchAnalysis | None = None
    corrections: tuple[Correction, ...] = ()
    converged_lap: int | None = None
    needles: tuple[NeedleReading, ...] = ()
    needle_contrasts: tuple[NeedleContrast, ...] = ()
    wind_work: tuple[WindWork, ...] = ()
    solved: SolvedLap | None = None
    solved_note: str = ""
    next_lap: NextLap | None = None
    altitude_reference_ft: float | None = None
    altitude_reference_note: str = ""
    airspeed_reference_kias: float | None = None
    airspeed_reference_note: str = ""
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def work_on(self) -> tuple[Finding, ...]:
        """The three mistakes that matter most, the first first."""
        return tuple(each for each in self.findings if not each.praise)[:3]

    @property
    def praise(self) -> tuple[Finding, ...]:
        """What was flown well, each with its numbers."""
        return tuple(each for each in self.findings if each.praise)

    def items_of(self, scope: str) -> tuple[ItemResult, ...]:
        """The items of one scope, in the standard's order."""
        return tuple(each for each in self.items if each.scope == scope)
