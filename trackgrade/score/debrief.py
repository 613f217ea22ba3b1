"""The debrief: what everything after the analysis reads (terminal, report, JSON, CSV, logbook)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trackgrade.hold.hold import Hold
from trackgrade.motion.samples import Samples, Turn, Wind
from trackgrade.segment.flown import Flown
from trackgrade.track.track import CleanTrack

Result = Literal["within", "brief excursion", "outside", "not measurable"]


@dataclass(frozen=True)
class ItemResult:
    """One item of the standard against what was flown.

    ``scope`` is "lap 1", "entry", "whole hold", ...; ``lap`` its number, or None. ``value`` is None when not
    measurable and ``why`` says why. ``straddles``: the value lies within its own error of the limit.
    ``choice``: the limit is this project's or the user's, not a published one.
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


@dataclass(frozen=True)
class Finding:
    """A named mistake (or a specific praise), with evidence and one line of advice.

    ``weight`` ranks: the largest first. ``lap`` is None when it concerns the whole hold.
    """

    name: str
    title: str
    lap: int | None
    at_epoch_s: float | None
    evidence: str
    advice: str
    weight: float = 0.0
    praise: bool = False


@dataclass(frozen=True, eq=False)
class Debrief:
    """Everything known about one flight at one hold, judged against one standard."""

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
