"""What a logbook holds, as the pages read it: nouns, no database and no arithmetic.

A session is one flight. A flight with two holds is one session with two recordings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class ItemValue:
    """One measured or not measurable item; ``size`` is its error without sign, in the item's unit."""

    item: str
    lap: int | None
    value: float | None
    size: float | None
    result: str
    limit: float | None = None
    value_sd: float | None = None


@dataclass(frozen=True)
class LapTime:
    """One completed lap of a session, counted through all its holds."""

    inbound_error_s: float | None
    judged: int
    outside: int


@dataclass(frozen=True)
class HoldFlown:
    """One recording, in the numbers that pages use, as in `rows.Digest`. ``entry``: what its first visit asked for."""

    recording_id: int
    flight_hash: str
    hold_hash: str
    standard: str
    started_epoch_s: float
    hold_name: str
    turns: str
    leg_minutes: float | None
    leg_nm: float | None
    guidance: str | None
    full_scale: float | None
    flag: str | None
    true_airspeed_kt: float | None
    wind_from_true_deg: float | None
    wind_kt: float | None
    wind_head_kt: float | None
    wind_cross_kt: float | None
    laps: int
    incomplete_laps: int
    laps_judged: int
    laps_within: int
    timed_laps: int
    inbound_tolerance_s: float
    inbound_error_median_s: float | None
    inbound_error_sd_s: float | None
    laps_to_converge: int | None
    instructor: str | None
    note: str | None
    verdict: str
    report: str | None = None
    entry: str | None = None


@dataclass(frozen=True)
class EntryFlown:
    """One entry; ``right`` None when the flown one was unclear. ``wrong_way``: turned to the wrong side."""

    started_epoch_s: float
    turns: str
    expected: str | None
    flown: str | None
    right: bool | None
    wrong_way: bool = False


@dataclass(frozen=True)
class Session:
    """One flight with everything its charts need."""

    flight_hash: str
    started_epoch_s: float
    holds: tuple[HoldFlown, ...]
    laps: tuple[LapTime, ...]
    items: tuple[ItemValue, ...]


@dataclass(frozen=True)
class Tally:
    """``passed`` (within, or brief) of ``judged``, over ``sessions``, with the sums a share's interval needs.

    ``sum_nn``, ``sum_nk``, ``sum_kk``: sums over sessions of judged², judged·passed and passed².
    """

    judged: int
    passed: int
    sessions: int
    sum_nn: float
    sum_nk: float
    sum_kk: float


@dataclass(frozen=True)
class ItemTotal:
    """One item of one pilot: over all sessions, and ``recent`` over the last few."""

    item: str
    title: str
    unit: str
    limit: float | None
    sessions: int
    measured: int
    within: int
    brief: int
    outside: int
    not_measurable: int
    recent: Tally
    recent_median_size: float | None


@dataclass(frozen=True)
class PilotTotal:
    """One pilot against one standard: over all sessions, and ``recent`` (laps) over the last few."""

    pilot: str
    standard: str
    title: str
    sessions: int
    recordings: int
    laps: int
    incomplete_laps: int
    first_epoch_s: float
    last_epoch_s: float
    recent_laps: int
    recent: Tally
    recent_inbound_error_s: float | None
    recent_wind_kt: float | None
    items: tuple[ItemTotal, ...]


@dataclass(frozen=True)
class PilotHistory:
    """Everything a pilot's page reads.

    ``sessions``: the latest ones to this standard, oldest first; ``first_session`` numbers the first of them.
    ``flown`` and ``entries``: all holds ever recorded, whatever the standard, each once, oldest first.
    ``other_standards``: name and recordings of those this page is not about. ``findings``: title, advice
    and in how many recent recordings each mistake was found, most often first. ``others``: sessions of each other
    pilot. ``seen``: the debriefs of the last few recordings, by recording.
    """

    total: PilotTotal
    sessions: tuple[Session, ...]
    first_session: int
    flown: tuple[HoldFlown, ...]
    entries: tuple[EntryFlown, ...]
    other_standards: tuple[tuple[str, int], ...]
    findings: tuple[tuple[str, str, int], ...]
    others: tuple[tuple[Session, ...], ...] = ()
    seen: Mapping[int, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def latest(self) -> Mapping[str, Any]:
        """The debrief of the last recording."""
        return self.seen.get(self.sessions[-1].holds[-1].recording_id, {})


@dataclass(frozen=True)
class SameHold:
    """A hold that several pilots flew, and each one's latest flight there."""

    hold_hash: str
    name: str
    turns: str
    inbound_course_true_deg: float
    pilots: tuple[tuple[str, HoldFlown, EntryFlown | None, int], ...]


@dataclass(frozen=True)
class ClassHistory:
    """What the instructor's page reads. ``flown``: each pilot's latest recordings; ``other_holds``: also shared."""

    standard: str
    title: str
    pilots: tuple[PilotTotal, ...]
    flown: tuple[tuple[str, HoldFlown], ...]
    same_hold: SameHold | None
    other_holds: tuple[tuple[str, int], ...]
    other_standards: tuple[tuple[str, int], ...]
