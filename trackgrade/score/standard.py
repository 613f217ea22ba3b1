"""A standard as data: items with limits, and for each number who published it or that it is a choice."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

OutboundStart = Literal["abeam", "abeam_or_heading", "wings_level"]
Basis = Literal["published", "common practice", "choice"]
Counting = Literal["over time", "one value", "not above"]

#: What a mistake, a praise or an item is about. Two that are about one thing are one fact in two words.
About = Literal[
    "time",
    "altitude",
    "airspeed",
    "turns",
    "drift",
    "across",
    "tracking",
    "heading",
    "entry",
    "pattern",
    "fix",
    "arrival",
]


class Kind(NamedTuple):
    """What can be graded: its unit, how it counts, what it is measured over, and what it is about."""

    unit: str
    counts: Counting
    scope: str
    about: About


#: Every item that can be graded.
ITEMS: dict[str, Kind] = {
    "altitude": Kind("ft", "over time", "each lap and the whole hold", "altitude"),
    "airspeed": Kind("kt", "over time", "each lap and the whole hold", "airspeed"),
    "course": Kind("of full scale", "over time", "inbound leg", "tracking"),
    "outbound_heading": Kind("deg", "over time", "outbound leg", "heading"),
    "inbound_time": Kind("s", "one value", "inbound leg", "time"),
    "leg_length": Kind("NM", "one value", "outbound leg", "time"),
    "turn_rate": Kind("deg/s", "one value", "turns", "turns"),
    "turn_bank": Kind("deg", "one value", "turns", "turns"),
    "holding_speed": Kind("kt", "not above", "each lap and the whole hold", "airspeed"),
    "non_holding_side": Kind("turn radii", "not above", "each lap and the whole hold", "across"),
    "fix_recognition": Kind("s", "not above", "each fix passage", "fix"),
    "entry": Kind("deg", "one value", "entry", "entry"),
    "arrival_speed": Kind("kt", "not above", "arrival", "airspeed"),
    "arrival_time": Kind("s", "one value", "arrival", "arrival"),
}

#: Items whose limit is a number of seconds for a leg. No civil test standard publishes one.
TIMING_ITEMS = ("inbound_time",)
#: An inbound time off by more asks for a correction where the standard grades no leg time [s]: a choice.
ASKS_FROM_S = 10.0
#: Share of full scale within which the needle is kept inbound (FAA-S-ACS-8C).
THREE_QUARTERS = 0.75


@dataclass(frozen=True)
class Source:
    """Where a number comes from.

    ``basis`` "published" needs ``cite`` (document, edition, paragraph). "common practice" is what instructors teach
    with no document behind it. "choice" is this file's own number: never presented as published. ``read`` tells how the
    cited text was known when the file was written: "document", "transcription" (a page that carries its text),
    "secondary" (a page that reports it) or "memory".
    """

    basis: Basis
    cite: str = ""
    read: str = ""
    note: str = ""

    def __str__(self) -> str:
        if self.basis == "published":
            return f"{self.cite} (from memory)" if self.read == "memory" else self.cite
        return f"{self.basis}, not published"


@dataclass(frozen=True)
class Item:
    """One thing graded.

    ``name`` is a key of `ITEMS`. ``limit`` is in ``unit`` (None: from the speed table); ``scope`` says over what.
    ``counts``: "over time" (every sample, with excursions), "one value" (the size of one number a lap), "not above" (a
    ceiling). ``prompt_s`` replaces the standard's own for this item.
    """

    name: str
    title: str
    limit: float | None
    unit: str
    scope: str
    counts: Counting
    source: Source
    prompt_s: float | None = None


@dataclass(frozen=True)
class SpeedStep:
    """Holding speed limit [KIAS] at and below ``up_to_ft`` (infinite on the last step)."""

    up_to_ft: float
    kias: float


@dataclass(frozen=True)
class Choices:
    """Numbers that no authority publishes; they are set in the file and labelled as choices.

    prompt_s : [s] an excursion over by then was promptly corrected
    consistent_share : share of the time outside a band that counts as consistently exceeding it
    consistent_laps : share of the laps with an excursion that counts as consistently exceeding the limit
    correction_tolerance_s : [s] a change of outbound time this close to what was asked is right
    """

    prompt_s: float
    consistent_share: float
    consistent_laps: float
    correction_tolerance_s: float


@dataclass(frozen=True)
class Turns:
    """How the hold's turns are to be flown: the least bank of these [deg/s, deg, deg]."""

    rate_deg_s: float
    bank_deg: float
    flight_director_bank_deg: float
    source: Source


@dataclass(frozen=True)
class Standard:
    """A named set of items. ``timing_note`` goes wherever the timing band is shown."""

    name: str
    title: str
    authority: str
    document: str
    edition: str
    section: str
    read: str
    outbound_starts: OutboundStart
    outbound_starts_source: Source
    choices: Choices
    turns: Turns
    speed_limits: tuple[SpeedStep, ...]
    speed_limits_source: Source
    items: tuple[Item, ...]
    notes: tuple[str, ...] = ()
    path: str = ""
    adjusted: tuple[str, ...] = ()

    def item(self, name: str) -> Item | None:
        """The item of that name, or None where this standard does not ask for it."""
        return next((item for item in self.items if item.name == name), None)

    def limit(self, name: str) -> float | None:
        """The limit of an item; None where this standard does not grade it."""
        item = self.item(name)
        return None if item is None else item.limit

    @property
    def needle_share(self) -> float:
        """Share of full scale that the needle may show inbound; `THREE_QUARTERS` where no course is graded."""
        return self.limit("course") or THREE_QUARTERS

    @property
    def timing_band_s(self) -> float | None:
        """Half width of the band on the inbound leg [s]; a choice, whatever the standard."""
        return self.limit("inbound_time")

    @property
    def asking_band_s(self) -> float:
        """An inbound time off by more than this asks for a correction [s]: the timing band, else `ASKS_FROM_S`."""
        return self.timing_band_s or ASKS_FROM_S

    @property
    def timing_note(self) -> str:
        """The label that goes with the timing band wherever it is shown."""
        band = self.timing_band_s
        if band is None:
            return "This standard file grades no leg time."
        whose = "set by the user" if "timing band" in self.adjusted else "a choice of this program"
        return f"The ±{band:g} s band on the leg is {whose}: no civil test standard publishes seconds."

    def with_timing_band(self, seconds: float) -> Standard:
        """The same standard with another band on the inbound leg [s]; labelled as the user's choice.

        Raises ValueError unless ``seconds`` is finite and above 0. A standard without the item stays as it
        is.
        """
        if not (math.isfinite(seconds) and seconds > 0.0):
            raise ValueError(f"the timing band must be above 0 s, not {seconds:g}")
        if self.item("inbound_time") is None:
            return self
        own = Source("choice", note="set by the user")
        items = tuple(
            replace(item, limit=seconds, source=own) if item.name in TIMING_ITEMS else item for item in self.items
        )
        return replace(self, items=items, adjusted=(*self.adjusted, "timing band"))

    def speed_limit_kias(self, altitude_ft: float) -> float | None:
        """Holding speed limit [KIAS] at an altitude [ft]; a step holds up to and including its altitude.

        None above the last step (a limit that is a Mach number cannot be put in knots).
        """
        return next((step.kias for step in self.speed_limits if altitude_ft <= step.up_to_ft), None)
