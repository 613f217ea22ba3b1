"""A hold that was found in a track: the noun, and the hold file that it proposes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

from trackgrade.earth.angles import wrap360
from trackgrade.hold.hold import Hold
from trackgrade.hold.plan import HoldPlan, Position
from trackgrade.hold.setup import resolve

#: A name that says where the hold comes from, until somebody gives it one.
FOUND = "found hold"


@dataclass(frozen=True)
class HoldProposal:
    """A hold that was flown. Times in s since 1970 (UTC).

    ``which_end``: "sure", or "either" where the track does not tell which end of the racetrack is the fix; the reading
    at the other end is then ``other_end``. ``fix_sd_nm`` and ``course_sd_deg``: scatter of its passages and inbound
    legs, NaN with one. ``leg_minutes``: what its inbound legs lasted, also where it was flown to a distance. ``name``:
    by which the hold set has it; "" where it has none. ``stays_epoch_s``: (start, end) of each stay; one, where none.
    """

    hold: Hold
    laps: int
    start_epoch_s: float
    end_epoch_s: float
    which_end: Literal["sure", "either"] = "sure"
    other_end: HoldProposal | None = None
    fix_sd_nm: float = float("nan")
    course_sd_deg: float = float("nan")
    leg_minutes: float | None = None
    name: str = ""
    stays_epoch_s: tuple[tuple[float, float], ...] = ()

    @property
    def stays(self) -> tuple[tuple[float, float], ...]:
        return self.stays_epoch_s or ((self.start_epoch_s, self.end_epoch_s),)

    def shares_time(self, other: HoldProposal) -> bool:
        """Whether a stay of each is one and the same, read twice: they share more than half of the longer."""
        return any(
            2.0 * (min(end, other_end) - max(start, other_start)) > max(end - start, other_end - other_start)
            for start, end in self.stays
            for other_start, other_end in other.stays
        )

    def plan(self, name: str = FOUND) -> HoldPlan:
        """The proposal as a hold file writes it, its course magnetic as charts give it, by the model."""
        hold = self.hold
        magnetic = round(float(wrap360(hold.inbound_course_true_deg - hold.variation_deg)), 1)
        return HoldPlan(
            name=name,
            inbound_course_deg=magnetic or 360.0,
            fix=Position(hold.fix_lat_deg, hold.fix_lon_deg),
            turns=hold.turns,
            leg=hold.leg,
            altitude_ft=hold.altitude_ft,
        )


def resolved(plan: HoldPlan, epoch_s: float) -> Hold:
    """A found hold in numbers: the plan (true course) with the variation of its place and day."""
    return resolve(plan, dt.datetime.fromtimestamp(epoch_s, dt.UTC).date())
