"""One flight at one hold as it was flown: track, motion, wind, turns, visits; nothing judged yet."""

from __future__ import annotations

from dataclasses import dataclass

from trackgrade.hold.hold import Hold
from trackgrade.motion.samples import Turn, Wind
from trackgrade.segment.flown import Flown
from trackgrade.segment.path import Samples
from trackgrade.track.track import CleanTrack


@dataclass(frozen=True, eq=False)
class Measured:
    """What the analysis hands to the judgement. Where ``wind`` is None, ``wind_note`` says why it cannot be told."""

    clean: CleanTrack
    hold: Hold
    samples: Samples
    wind: Wind | None
    wind_note: str
    turns: tuple[Turn, ...]
    flown: Flown
