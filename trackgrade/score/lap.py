"""The graded lap: what was flown, every number of it, its items, its needles, and what it asked of the next.

Sign conventions: headings and drift angles are right positive; ``cross`` is positive on the holding side.
Times are seconds since 1970 UTC (``*_epoch_s``) or durations (``*_s``). ``*_sd`` is one standard error.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from trackgrade.hold.planning import SolvedLap
from trackgrade.motion.samples import Wind
from trackgrade.score.results import ItemResult, Measurement, WithItems
from trackgrade.segment.flown import Lap

Reference = Literal["abeam", "abeam_by_bearing", "abeam_or_heading", "wings_level", "mark"]
Judged = Literal[
    "right", "not needed", "none", "too small", "too large", "wrong way", "no lap", "last lap", "not measurable"
]
AskedBy = Literal["card", "equal seconds"]


@dataclass(frozen=True, eq=False)
class TurnMeasures:
    """One turn of a lap: its steady rate [deg/s], bank [deg], what was due, and how even it was.

    ``due_rate_deg_s`` and ``due_bank_deg`` are the standard's for the airspeed; ``rate_spread_deg_s`` is the scatter
    (standard deviation) of the rate over the middle of the turn; ``altitude_lost_ft`` from its start to the lowest.
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


@dataclass(frozen=True, eq=False)
class LapMeasures:
    """Every number of one completed lap. Distances [NM], speeds [kt], times [s], altitudes [ft].

    outbound_s : from where the standard starts the time (``outbound_start_by`` names it) to the turn back
    inbound_s : from inbound start to the fix (``inbound_other_s`` by the other fair reading of the start, None where
        there is one only); ``target_inbound_s`` what it must last (None for a leg in NM)
    outbound_end_nm : along-course distance of the turn back from the fix; ``target_nm`` for a leg in NM
    inbound_nm : along-course distance of inbound start from the fix
    max_cross_track_nm : largest distance from the course between inbound start and the fix (unsigned)
    rollout_cross_nm : signed distance from the course when the wings were level inbound; + holding side
        (inside),
        - beyond the course (outside)
    non_holding_side_nm : largest distance beyond the course on the non-holding side anywhere in the lap (>=
        0)
    fix_to_turn_s : from fix passage to the start of the turn
    settled_epoch_s : from when its place in the hold is the lap's own; before, a direct entry still turns
    """

    settled_epoch_s: float
    lap_s: Measurement
    outbound_s: Measurement
    outbound_start_by: Reference | None
    outbound_start_epoch_s: float | None
    inbound_s: Measurement
    inbound_other_s: Measurement | None
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

    @property
    def turns(self) -> tuple[tuple[str, TurnMeasures], ...]:
        """The turns seen, each after the words for it."""
        both = (("at the fix", self.fix_turn), ("inbound", self.inbound_turn))
        return tuple((words, turn) for words, turn in both if turn is not None)


@dataclass(frozen=True, eq=False)
class OutboundTimes:
    """Outbound time of one lap from each place a watch may be started [s]; `of` gives the one by its name."""

    abeam_s: Measurement
    abeam_by_bearing_s: Measurement
    abeam_or_heading_s: Measurement
    wings_level_s: Measurement
    mark_s: Measurement

    def of(self, reference: Reference) -> Measurement:
        measured: Measurement = getattr(self, f"{reference}_s")
        return measured


@dataclass(frozen=True, eq=False)
class Correction:
    """What one lap's inbound time asked of the next outbound, and what was flown.

    ``error_s`` inbound minus target; ``asked_s`` is the next outbound time it asked for: the card's, in that lap's wind
    (``asked_by``), or that of equal seconds where the pilot changed the time alone, or no lap could be solved; None
    where no lap meets the leg. ``asked_*_s`` beside it say what each rule came to. ``change_s`` what was changed;
    ``judged`` against ``asked_s`` with the standard's ``correction_tolerance_s``.
    """

    outbound_s: float | None
    inbound_s: float | None
    target_s: float | None
    error_s: float | None = None
    asked_s: float | None = None
    asked_by: AskedBy = "card"
    asked_equal_seconds_s: float | None = None
    asked_ratio_s: float | None = None
    asked_solved_s: float | None = None
    flown_next_s: float | None = None
    change_s: float | None = None
    judged: Judged = "not measurable"


@dataclass(frozen=True, eq=False)
class NeedleReading:
    """One inbound leg as one needle showed it. Deflections are shares of full scale (1.0 = full), unsigned.

    ``label`` for people ("GPS 1.0 NM", "VOR at the fix, 10°"). ``own`` marks the hold's own guidance. ``side`` is where
    the aircraft was from the course at the largest deflection. ``from_epoch_s`` to ``to_epoch_s`` is what was read: the
    needle is left alone over the station, where it swings whatever is flown.
    """

    kind: Literal["gps", "vor"]
    label: str
    full_scale: float
    unit: str
    own: bool
    largest: float | None = None
    largest_sd: float | None = None
    side: Literal["left", "right"] | None = None
    largest_epoch_s: float | None = None
    typical: float | None = None
    share_within_three_quarters: float | None = None
    share_within_half: float | None = None
    from_epoch_s: float | None = None
    to_epoch_s: float | None = None
    why: str = ""


@dataclass(frozen=True, eq=False)
class SecondNeedle:
    """The needle set to the radial that crosses the course at the fix, at the passage that began a lap.

    ``turn_after_s``: from when it centred to the start of the turn at the fix; negative where the turn came before.
    """

    centred_epoch_s: float | None
    turn_after_s: Measurement


@dataclass(frozen=True, eq=False)
class NeedleContrast:
    """The same inbound leg passes on some needles and fails on others, at ``limit_share`` of full scale."""

    limit_share: float
    passes: tuple[str, ...]
    fails: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class WindWork:
    """Drift and its correction on one lap [deg], right positive.

    inbound_correction_deg : heading minus track inbound (the crab that held the course)
    outbound_correction_deg : heading minus outbound course, what the pilot laid off
    multiple : outbound over inbound correction, positive when laid off into the wind; None when the drift
        is small
    triple_correction_deg, solved_correction_deg : what triple drift and the solved lap ask outbound
    """

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

    @property
    def needed_and_flown_deg(self) -> tuple[float, float] | None:
        """The outbound correction that works in the wind and the one laid off; None where either is not known."""
        needed, flown = self.solved_correction_deg, self.outbound_correction_deg.value
        return None if needed is None or flown is None else (needed, flown)


@dataclass(frozen=True)
class Sighting:
    """A mistake seen on one lap (``lap`` None: on the entry, the arrival or the hold as a whole).

    ``at_epoch_s`` is its worst moment, ``since_epoch_s`` when it began (None: at that moment).
    ``size`` 1 is just worth naming; it ranks sightings of one mistake and adds to the finding's weight.
    ``evidence`` is a clause with numbers; the lap is added by the finding.
    """

    visit: int | None
    lap: int | None
    at_epoch_s: float | None
    size: float
    evidence: str
    since_epoch_s: float | None = None

    @property
    def began_epoch_s(self) -> float | None:
        return self.at_epoch_s if self.since_epoch_s is None else self.since_epoch_s


@dataclass(frozen=True, eq=False)
class GradedLap(WithItems):
    """One completed lap, judged. At its face plain numbers, None where not measurable; under it how they came about.

    Attributes
    ----------
    visit, number, scope : which lap; ``scope`` is its name among the items ("lap 1", "visit 2 lap 1")
    flown : its events
    measures : every number of it, each with its error and how it was obtained
    outbound_times : its outbound time from each place a watch may be started
    needles, own_needle, other_needle : its inbound leg on each needle, on the hold's own, and on one of the other kind
    contrast : where one needle passes and another fails
    second_needle : when the crossing radial came in, and the turn after it; None where the fix is not of two radials
    wind_changed : its wind is another than that of the whole stay, by more than its error
    solved : the lap that works in its wind; None where no lap could be solved
    wind_work : drift and its correction; ``correction`` what its inbound time asked of the next outbound leg (None for
        a leg in NM)
    items : the standard's items of this lap, in the standard's order
    seen : what the findings saw in it, by the name of the mistake; no consequence of another is among them
    """

    visit: int
    number: int
    scope: str
    flown: Lap
    measures: LapMeasures
    outbound_times: OutboundTimes
    needles: tuple[NeedleReading, ...]
    own_needle: NeedleReading
    other_needle: NeedleReading
    contrast: NeedleContrast | None
    second_needle: SecondNeedle | None
    wind_changed: bool
    solved: SolvedLap | None
    wind_work: WindWork
    correction: Correction | None
    items: tuple[ItemResult, ...] = ()
    seen: Mapping[str, Sighting] = field(default_factory=dict)

    @property
    def start_epoch_s(self) -> float:
        return self.flown.start.epoch_s

    @property
    def end_epoch_s(self) -> float:
        assert self.flown.end is not None, "a completed lap"
        return self.flown.end.epoch_s

    @property
    def lap_s(self) -> float | None:
        return self.measures.lap_s.value

    @property
    def outbound_s(self) -> float | None:
        return self.measures.outbound_s.value

    @property
    def inbound_s(self) -> float | None:
        return self.measures.inbound_s.value

    @property
    def target_inbound_s(self) -> float | None:
        return self.measures.target_inbound_s

    @property
    def inbound_error_s(self) -> float | None:
        """Inbound time less what it must last [s]; long is positive."""
        if self.inbound_s is None or self.target_inbound_s is None:
            return None
        return self.inbound_s - self.target_inbound_s

    @property
    def max_cross_track_nm(self) -> float | None:
        return self.measures.max_cross_track_nm.value

    @property
    def wind(self) -> Wind | None:
        """The wind at the middle of the lap, with its errors; None where no wind could be told."""
        return self.flown.wind

    @property
    def leg_can_be_met(self) -> bool:
        """Whether a lap with the leg asked for exists in this lap's wind; yes where the wind is not known."""
        return self.solved is None or self.solved.feasible

    def sighting(
        self, at_epoch_s: float | None, size: float, evidence: str, *, since_epoch_s: float | None = None
    ) -> Sighting:
        """A mistake seen on this lap."""
        return Sighting(self.visit, self.number, at_epoch_s, size, evidence, since_epoch_s=since_epoch_s)
