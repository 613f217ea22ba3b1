"""The motion at each clean sample: what events, measures and pictures read."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np

from trackgrade.track.track import Bools, Floats

#: A smaller change of the wind moves no heading by much more than a degree [kt]: a choice.
WORTH_KT = 2.0

Source = Literal["logged", "estimated", "none"]


@dataclass(frozen=True)
class Wind:
    """Wind and true airspeed from the circle that ground velocities lie on.

    ``from_true_deg`` 0-360, ``speed_kt``; ``*_sd`` are standard errors. ``covariance_kt2`` is of the
    (east, north) components the wind blows *towards*. ``source`` is "turns" (estimated) or "logged".
    """

    from_true_deg: float
    speed_kt: float
    true_airspeed_kt: float
    from_sd_deg: float
    speed_sd_kt: float
    true_airspeed_sd_kt: float
    covariance_kt2: tuple[tuple[float, float], tuple[float, float]]
    source: str = "turns"

    @property
    def towards_kt(self) -> Floats:
        """East and north components it blows towards (2,)."""
        toward = np.radians(self.from_true_deg + 180.0)
        return self.speed_kt * np.array([np.sin(toward), np.cos(toward)])

    def differs_from(self, other: Wind) -> bool:
        """Whether it is another wind by more than twice the standard error along the difference, and worth a number."""
        apart = self.towards_kt - other.towards_kt
        size = float(np.hypot(*apart))
        return size >= WORTH_KT and size > 2.0 * float(np.sqrt(apart @ np.array(self.covariance_kt2) @ apart)) / max(
            size, 1e-9
        )


@dataclass(frozen=True, eq=False)
class MotionSamples:
    """Arrays (n,) on the clean sample times; angles true, right-hand positive; NaN where unknown.

    ``east_nm`` and ``north_nm`` are positions about the fix.
    ``position_sd_nm`` is the standard error of a smoothed position, one axis.
    ``heading_rate_deg_s`` is signed: right positive, whatever the hold.
    ``gap_before`` marks samples that follow a hole in the record.
    """

    epoch_s: Floats
    east_nm: Floats
    north_nm: Floats
    position_sd_nm: Floats
    alt_ft: Floats
    groundspeed_kt: Floats
    ground_track_true_deg: Floats
    ground_track_rate_deg_s: Floats
    heading_true_deg: Floats
    heading_rate_deg_s: Floats
    heading_rate_sd_deg_s: Floats
    bank_deg: Floats
    tas_kt: Floats
    ias_kt: Floats
    gap_before: Bools
    heading_source: Source = "estimated"
    airspeed_source: Source = "estimated"
    bank_source: Source = "estimated"

    def __post_init__(self) -> None:
        for each in fields(self):
            value = getattr(self, each.name)
            if isinstance(value, np.ndarray):
                frozen = value.copy()
                frozen.setflags(write=False)
                object.__setattr__(self, each.name, frozen)

    def __len__(self) -> int:
        return len(self.epoch_s)


@dataclass(frozen=True, eq=False)
class Turn:
    """One turn: from the heading rate rising above the threshold to its falling below.

    Times with their standard errors [s]; ``change_deg`` signed (right positive), ``rate_deg_s`` its
    steady rate (unsigned median over the middle), ``threshold_deg_s`` the rate that bounded it.
    """

    start_epoch_s: float
    end_epoch_s: float
    start_sd_s: float
    end_sd_s: float
    change_deg: float
    rate_deg_s: float
    bank_deg: float
    threshold_deg_s: float


def turns_in(turns: Sequence[Turn], start_epoch_s: float, end_epoch_s: float) -> Sequence[Turn]:
    """Those of turns in order of time that end after one moment and begin before another."""
    first = bisect_right(turns, start_epoch_s, key=lambda turn: turn.end_epoch_s)
    return turns[first : bisect_left(turns, end_epoch_s, key=lambda turn: turn.start_epoch_s)]
