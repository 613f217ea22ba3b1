"""A number with its error, and a number against its limit: what measures and items come to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Result = Literal["within", "brief excursion", "outside", "not measurable"]


@dataclass(frozen=True, eq=False)
class Measurement:
    """A number with its standard error, or None and why it cannot be had. ``how`` says how it was obtained."""

    value: float | None
    sd: float | None = None
    unit: str = ""
    why: str = ""
    how: str = ""


@dataclass(frozen=True)
class Excursion:
    """One stay outside a band: when, how long, how far (``peak`` signed, in the item's unit) and back or not."""

    start_epoch_s: float
    seconds: float
    peak: float
    peak_epoch_s: float
    lap: int | None = None


@dataclass(frozen=True)
class ItemResult:
    """One item of the standard against what was flown.

    ``scope`` is "lap 1", "entry", "arrival", "whole hold" (of the second visit: "visit 2 lap 1"); ``lap`` its number,
    or None. ``value`` is signed where a side or direction matters, its size is what counts against ``limit``; None when
    not measurable, and ``why`` says why. ``straddles``: the value lies within two standard errors of the limit.
    ``choice``: the limit is this program's or the user's, not a published one. ``reference`` is what the value was
    measured from ("4000 ft assigned"); ``how`` how it was obtained. Over the whole hold, of a quantity with one value a
    lap: ``laps_out`` of ``laps_known`` laps are out, and the value is that of ``worst_scope``.
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
    laps_out: int | None = None
    laps_known: int | None = None
    worst_scope: str = ""

    @property
    def measured(self) -> Measurement:
        """Its value by itself."""
        return Measurement(self.value, self.value_sd, self.unit, self.why, self.how)

    @property
    def clearly_out(self) -> bool:
        """Not within, and beyond the limit by more than the value's error."""
        return self.value is not None and self.result != "within" and not self.straddles


class WithItems:
    """What a standard's items are put on: a lap, or an entry with its arrival."""

    items: tuple[ItemResult, ...]

    def item(self, name: str) -> ItemResult | None:
        """The result of an item, or None where there is none."""
        return next((each for each in self.items if each.item == name), None)

    def out(self, name: str) -> ItemResult | None:
        """The result of an item that is clearly not within: beyond the limit by more than its error."""
        result = self.item(name)
        return result if result is not None and result.clearly_out else None
