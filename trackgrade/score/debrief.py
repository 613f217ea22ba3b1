"""The nouns of judgement: a flight in numbers, and the debrief that terminal, report, JSON, CSV and logbook read."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from trackgrade.caution import CAUTIONS
from trackgrade.hold.hold import Hold
from trackgrade.hold.planning import SolvedLap
from trackgrade.motion.samples import Turn, Wind
from trackgrade.score.lap import GradedLap, Reference
from trackgrade.score.levels import Level
from trackgrade.score.needles import Shown
from trackgrade.score.results import ItemResult, Measurement, WithItems
from trackgrade.score.series import Series
from trackgrade.score.standard import Standard
from trackgrade.segment.flown import Entry, Flown, Lap, Visit
from trackgrade.segment.path import Samples
from trackgrade.track.track import CleanTrack


@dataclass(frozen=True, eq=False)
class Consequence:
    """What a mistake led to: its name and title, what it is about, its worst case, its laps, and when it first was."""

    name: str
    title: str
    about: str
    danger: bool
    evidence: str
    laps: tuple[int, ...]
    at_epoch_s: float | None


@dataclass(frozen=True, eq=False)
class Finding:
    """A named mistake (or a specific praise), with evidence and one line of advice.

    ``weight`` ranks: the largest first; what endangers (``danger``) before all else. ``about`` is what it concerns
    ("time", "drift", "altitude", ...). ``lap`` is None when it concerns the whole hold. ``laps`` lists every lap it was
    seen in (``lap`` is the first); ``at_epoch_s`` is its worst moment, ``first_epoch_s`` the first. ``led_to`` are its
    consequences, ``consequences`` their titles: named here, and not as findings of their own. What led to a danger is
    one.
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
    about: str = ""
    danger: bool = False
    first_epoch_s: float | None = None
    led_to: tuple[Consequence, ...] = ()


@dataclass(frozen=True, eq=False)
class EntryMeasures:
    """How one visit was entered, in numbers; what was flown and expected is the `Entry`'s.

    ``suits``: the entry flown is among the expected ones. ``sector_miss_deg``: how far the arrival heading
    lay outside the sector of the entry flown (0 inside). ``offset_deg``: angle of the entry's outbound
    track from the outbound course, positive into the holding side. ``speed_ready_s``: seconds before the
    fix at which the airspeed had come down to holding speed for good (None: not before the fix; see ``why``).
    ``arrival_miss_s``: passage minus assigned time, late positive, for the passage nearest to it. ``end_cross_nm``: how
    far off the fix the passage that ended the entry was (+ holding side): how well the course was intercepted.
    """

    suits: bool | None
    flown_well: bool | None
    sector_miss_deg: float | None
    fix_to_turn_s: Measurement
    outbound_s: Measurement
    offset_deg: Measurement
    max_offset_nm: Measurement
    non_holding_side_nm: Measurement
    arrival_ias_kt: Measurement
    speed_ready_s: Measurement
    arrival_miss_s: Measurement
    end_cross_nm: Measurement


@dataclass(frozen=True, eq=False)
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


@dataclass(frozen=True, eq=False)
class WatchAnalysis:
    """Where the watch was started. ``likely`` is None where the laps cannot tell; ``sentence`` says it in words.

    ``inbound_scatter_s`` is the scatter of the inbound times, ``inbound_scatter_from_watch_s`` the part of
    it that the outbound scatter made (outbound seconds turned into inbound seconds by the ground speeds).
    """

    references: tuple[ReferenceScatter, ...]
    likely: Reference | None
    probability: float | None
    inbound_scatter_s: float | None
    inbound_scatter_from_watch_s: float | None
    sentence: str


@dataclass(frozen=True, eq=False)
class NextLap:
    """What to fly next in the wind of the last lap. Headings true and magnetic [deg]; ``outbound_s`` is timed from
    ``timed_from``; heading and time belong together, with turns at ``turn_rate_deg_s`` (``bank_deg``).

    ``outbound_nm``: distance from the fix at which to turn back, for a leg in NM; None for a timed leg.
    ``equal_seconds_s`` is what the equal-seconds rule asks on the same heading, where the wind is not known; else None.
    ``feasible`` False: no such lap exists (``why``), and the numbers are the best that can be done.
    """

    outbound_heading_true_deg: float | None = None
    outbound_heading_mag_deg: float | None = None
    outbound_correction_deg: float | None = None
    outbound_s: float | None = None
    outbound_nm: float | None = None
    timed_from: str = "abeam"
    inbound_heading_true_deg: float | None = None
    inbound_heading_mag_deg: float | None = None
    expected_inbound_s: float | None = None
    equal_seconds_s: float | None = None
    feasible: bool = False
    why: str = ""
    turn_rate_deg_s: float | None = None
    bank_deg: float | None = None
    sentence: str = ""


@dataclass(frozen=True, eq=False)
class GradedEntry(WithItems):
    """How the hold was entered on one visit, judged: ``flown`` is what was found, ``items`` those of arrival and entry.

    ``sentence`` tells it in words: what was asked, what was flown, and how.
    """

    visit: int
    flown: Entry
    measures: EntryMeasures
    items: tuple[ItemResult, ...] = ()
    sentence: str = ""


@dataclass(frozen=True, eq=False)
class GradedVisit:
    """One stay in the hold, judged: its entry and its completed laps in order.

    ``converged_lap`` is the number of the first lap from which every inbound time stayed in the standard's band, None
    where the last did not. ``next_lap`` is the card; the last visit of a flight has it.
    """

    number: int
    flown: Visit
    entry: GradedEntry
    laps: tuple[GradedLap, ...]
    converged_lap: int | None = None
    next_lap: NextLap | None = None

    @property
    def incomplete_laps(self) -> tuple[Lap, ...]:
        """Laps not brought back to the fix: listed, never graded."""
        return self.flown.incomplete_laps


@dataclass(frozen=True, eq=False)
class MeasuredFrom:
    """What a band is measured from, and in words where it comes from. ``value`` is None when there is nothing."""

    value: float | None
    note: str


@dataclass(frozen=True, eq=False)
class Flight:
    """One flight at one hold in numbers: what items and mistakes read, and what their results are put on.

    The items on laps, entries and ``whole_items`` are there once they are graded. ``altitude`` and ``airspeed``: what
    those items are measured from; ``levels``: the altitudes in force; ``solved``: the lap that works in the wind.
    """

    hold: Hold
    samples: Samples
    wind: Wind | None
    standard: Standard
    series: Series
    altitude: MeasuredFrom
    levels: tuple[Level, ...]
    airspeed: MeasuredFrom
    solved: SolvedLap | None
    turn_radius_nm: float | None
    visits: tuple[GradedVisit, ...]
    flown: Flown
    needles: tuple[Shown, ...]
    watch: WatchAnalysis | None
    whole_items: tuple[ItemResult, ...] = ()

    @property
    def laps(self) -> tuple[GradedLap, ...]:
        """The completed laps of all visits, in order."""
        return tuple(lap for visit in self.visits for lap in visit.laps)

    def whole(self, name: str) -> ItemResult | None:
        """The result of an item over the whole hold, or None where the standard does not ask for it."""
        return next((each for each in self.whole_items if each.item == name), None)

    def out_of(self, name: str) -> Iterator[tuple[GradedLap, ItemResult, float, float]]:
        """Each lap on which an item is clearly not within, with its result there, its value and its limit."""
        for lap in self.laps:
            if (result := lap.out(name)) is not None and result.value is not None and result.limit is not None:
                yield lap, result, result.value, result.limit

    def with_items(self, items: Sequence[ItemResult]) -> Flight:
        """The same flight with every item where it belongs: on its lap, its entry, or the hold as a whole."""
        of: dict[tuple[int | None, int | None], list[ItemResult]] = {}
        for item in items:
            of.setdefault((item.visit, item.lap), []).append(item)

        def graded(visit: GradedVisit) -> GradedVisit:
            entry = replace(visit.entry, items=tuple(of.get((visit.number, None), ())))
            laps = tuple(replace(lap, items=tuple(of.get((lap.visit, lap.number), ()))) for lap in visit.laps)
            return replace(visit, entry=entry, laps=laps)

        return replace(
            self, visits=tuple(graded(visit) for visit in self.visits), whole_items=tuple(of.get((None, None), ()))
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class Debrief(Flight):
    """Everything known about one flight at one hold, judged against one standard.

    ``findings`` are ranked, mistakes first, praise last. ``wind_note`` and ``solved_note`` say why there is no wind or
    no solved lap, or what to know of it. ``cautions`` go wherever the debrief is shown.
    """

    track: CleanTrack
    turns: tuple[Turn, ...]
    wind_note: str
    solved_note: str
    findings: tuple[Finding, ...]
    verdict: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def items(self) -> tuple[ItemResult, ...]:
        """Every item: arrival and entry of each visit, every lap, then the whole hold."""
        of_entries = tuple(item for visit in self.visits for item in visit.entry.items)
        return (*of_entries, *(item for lap in self.laps for item in lap.items), *self.whole_items)

    @property
    def next_lap(self) -> NextLap | None:
        """The card of the last visit."""
        return self.visits[-1].next_lap if self.visits else None

    @property
    def converged_lap(self) -> int | None:
        """`GradedVisit.converged_lap` of the last visit that has laps."""
        return next((visit.converged_lap for visit in reversed(self.visits) if visit.laps), None)

    @property
    def work_on(self) -> tuple[Finding, ...]:
        """The three mistakes that matter most, the first first."""
        return tuple(each for each in self.findings if not each.praise)[:3]

    @property
    def praise(self) -> tuple[Finding, ...]:
        """What was flown well, each with its numbers."""
        return tuple(each for each in self.findings if each.praise)
