"""What was flown, in structure: visits to the hold, each with its entry and laps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trackgrade.motion.samples import Wind

EntryKind = Literal["direct", "teardrop", "parallel", "none", "unclear"]
InboundStartBy = Literal["course", "rollout"]


@dataclass(frozen=True)
class Moment:
    """A time and its standard error, both in seconds (``epoch_s`` since 1970, UTC)."""

    epoch_s: float
    sd_s: float


@dataclass(frozen=True)
class InboundStart:
    """When the inbound time starts, and by what: the course crossed in the turn back, or the roll-out."""

    moment: Moment
    by: InboundStartBy


@dataclass(frozen=True)
class Lap:
    """One lap, fix passage to fix passage. A moment that the track does not carry is None.

    ``inbound_start_other``: the other fair reading of the inbound start, where the turn fades into an intercept or the
    course is met along it; None where there is one only. ``near_tie`` says that crossing the course and rolling out on
    it could not be told apart within the error of the positions. ``why_incomplete`` is None for a completed lap, else
    one sentence; an incomplete lap is not graded and its ``end`` may be None. ``start_cross_nm`` and ``end_cross_nm``:
    how far off the fix the passages were, holding side positive. ``wrong_side``: flown with turns to the non-holding
    side. ``remarks``: an orbit inserted, and the like. ``wind``: that at its middle, where the fit lets it drift; None
    where no wind could be told.
    """

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
    inbound_start_by: InboundStartBy | None
    end: Moment | None
    near_tie: bool = False
    inbound_start_other: InboundStart | None = None
    why_incomplete: str | None = None
    start_cross_nm: float | None = None
    end_cross_nm: float | None = None
    wrong_side: bool = False
    remarks: tuple[str, ...] = ()
    wind: Wind | None = None


@dataclass(frozen=True, eq=False)
class Entry:
    """How the hold was entered.

    ``expected`` lists every entry within 5 degrees (and the heading's own error) of right, the sector's own first;
    ``margin_deg`` is the distance of the arrival heading from the nearest sector boundary.
    ``start`` is the first passage of the fix, ``end`` the passage that ends the entry.
    ``possible``: the kinds it can have been, likeliest first; ``kind`` is "unclear" where more than one remains.
    ``remarks``: turned the wrong way, flown on the reciprocal course, and the like.
    """

    kind: EntryKind
    expected: tuple[EntryKind, ...]
    start: Moment | None
    end: Moment | None
    arrival_heading_true_deg: float | None
    margin_deg: float | None
    turn_start: Moment | None = None
    outbound_start: Moment | None = None
    outbound_end: Moment | None = None
    outbound_track_true_deg: float | None = None
    max_offset_nm: float | None = None
    non_holding_side_nm: float | None = None
    possible: tuple[EntryKind, ...] = ()
    turned_wrong_way: bool = False
    reversed_pattern: bool = False
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Visit:
    """One stay in the hold, from its first fix passage to the last lap flown.

    ``wrong_side``: most of its laps were turned to the non-holding side. ``reversal``: where the hold was flown once in
    place of a procedure turn, and left with the entry, that round: over the fix, outbound, back to the inbound course
    and to the fix; there are no laps then.
    """

    number: int
    entry: Entry
    laps: tuple[Lap, ...]
    incomplete_laps: tuple[Lap, ...]
    wrong_side: bool = False
    reversal: Lap | None = None

    @property
    def rounds(self) -> tuple[Lap, ...]:
        """The laps; where there is none, the course reversal."""
        return self.laps or ((self.reversal,) if self.reversal is not None else ())


@dataclass(frozen=True, eq=False)
class Flown:
    """Everything found at this fix; ``seen_instead`` says what was there when it was no hold.

    ``reversed_laps``: passages of laps flown on the reciprocal course, (start, end) [s since 1970].
    """

    visits: tuple[Visit, ...]
    seen_instead: tuple[str, ...] = ()
    reversed_laps: tuple[tuple[float, float], ...] = ()

    @property
    def laps(self) -> tuple[Lap, ...]:
        return tuple(lap for visit in self.visits for lap in visit.laps)

    @property
    def rounds(self) -> tuple[Lap, ...]:
        """The laps; where there are none, the course reversals: what altitude, speed and course are read over."""
        return self.laps or tuple(own for visit in self.visits for own in visit.rounds)
