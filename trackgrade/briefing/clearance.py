"""The clearance to write down and read back, and what to fill in on the way: further clearance, fuel, time to leave."""

from __future__ import annotations

import math

from trackgrade.briefing import words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.leaving import clock
from trackgrade.earth.angles import wrap360

#: AIM 5-3-8: the direction of holding is told by the eight points of the compass.
POINTS = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")

#: A value to be written in by hand.
TO_FILL = ""


def direction(brief: Brief) -> str:
    """Where from the fix the hold lies: the point of the compass nearest to the way back along the inbound course."""
    return POINTS[round(float(wrap360(brief.inbound_shown_deg + 180.0)) / 45.0) % 8]


def read_back(brief: Brief) -> tuple[tuple[str, str], ...]:
    """The clearance item by item, in the order of AIM 5-3-8 (from memory); what the brief cannot know is to fill in."""
    hold = brief.hold
    inbound = words.inbound(brief)
    on = f"inbound course {inbound}"
    if hold.guidance.station_place in ("at", "beyond"):
        on = f"{words.outbound(brief)} radial, inbound {inbound}"
    elif hold.guidance.station_place == "behind":
        on = f"{inbound} radial, inbound away from the station"
    altitude = f"{hold.altitude_ft:,.0f} ft" if hold.altitude_ft is not None else TO_FILL
    return (
        ("Hold", f"{direction(brief)} of the fix"),
        ("On", on),
        ("Legs", hold.leg.words),
        ("Turns", hold.turns),
        ("Maintain", altitude),
        ("Expect further clearance", TO_FILL),
        ("Time now", TO_FILL),
    )


def in_one_line(brief: Brief) -> str:
    """The same for a terminal, a rule where something is to be written."""
    return "; ".join(f"{name.lower()} {value or '____'}" for name, value in read_back(brief))


def to_fill_in(brief: Brief) -> tuple[tuple[str, str], ...]:
    """Lines for the way: each a name and what is known of it already."""
    leave = words.at(brief.leaving.at_epoch_s) if brief.leaving is not None else TO_FILL
    lap = TO_FILL if math.isnan(brief.solved.lap_s) else clock(brief.solved.lap_s)
    return (
        ("Over the fix, UTC", TO_FILL),
        ("Fuel over the fix", TO_FILL),
        ("Fuel to leave with", TO_FILL),
        ("Fuel for one lap" + (f" of {lap}" if lap else ""), TO_FILL),
        ("Leave at the latest, UTC", leave),
    )
