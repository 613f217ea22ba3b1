"""What the simulated pilot did and when, step by step; the truth finds the exact times near these."""

from __future__ import annotations

from dataclasses import dataclass, field

from trackgrade.simulator.kinematics import Frame
from trackgrade.simulator.scenario import Entry


@dataclass(eq=False)
class LapLog:
    """What the pilot did, as step numbers into the motion; the truth finds exact times near them. -1: never."""

    number: int
    start_n: int
    fix_turn_n: int = -1  # the turn at the fix begun
    level_n: int = -1  # and over
    inbound_turn_n: int = -1  # the turn back begun
    inbound_level_n: int = -1  # rolled out, on an intercept or on the course
    end_n: int = -1
    watch_t: float | None = None  # the watch was started
    why_incomplete: str | None = None


@dataclass(eq=False)
class VisitLog:
    frame: Frame
    entry: Entry
    pattern: str  # "as published", "reciprocal", "wrong side"
    arrival_n: int = -1
    entry_end_n: int = -1
    wrong_way: bool = False
    laps: list[LapLog] = field(default_factory=list)
    marks: list[tuple[float, str]] = field(default_factory=list)
