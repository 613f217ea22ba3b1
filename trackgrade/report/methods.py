"""How each kind of number was obtained, in the words of the trade, for the foot of the page."""

from __future__ import annotations

from dataclasses import dataclass

from trackgrade.score.debrief import Debrief


@dataclass(frozen=True)
class Method:
    """One kind of number and how it was obtained."""

    name: str
    words: str


#: What does not depend on the flight.
METHODS = (
    Method(
        "Over the fix",
        "the track passes the line through the fix at right angles to the inbound course, inbound.",
    ),
    Method(
        "Abeam",
        "the same line is passed outbound, on the holding side.",
    ),
    Method(
        "Start and end of a turn",
        "the rate of turn of the heading rises above, or falls below, a quarter of standard rate (0.75°/s), or a "
        "quarter of the turn's own rate where that is less.",
    ),
    Method(
        "Inbound starts",
        "at the earlier of crossing the inbound course in the turn and rolling out. A roll-out along the course is "
        "no crossing: the aircraft must go beyond it by more than the positions can be trusted.",
    ),
    Method(
        "Moments between samples",
        "are interpolated on the smoothed track; each carries its standard error. A time is the difference of two.",
    ),
    Method(
        "Wind and airspeed",
        "at one airspeed the ground velocity runs on a circle about the wind. The circle is fitted to the turns; "
        "its fit gives the errors. Too little of the circle flown: not measurable.",
    ),
    Method(
        "The lap that works",
        "for the wind and airspeed measured there is one outbound heading and one outbound time that roll out on "
        "the course with the inbound time asked for. It is the broad pale line in the plan view.",
    ),
    Method(
        "Needles",
        "distance from the course over full scale (GPS), or angle at the station over full scale (VOR). The needle "
        "points to the course.",
    ),
    Method("±", "is one standard error. A value within two of its limit is said to straddle it."),
)


def methods(debrief: Debrief) -> tuple[Method, ...]:
    """`METHODS`, and what prompt and consistent mean in the standard used."""
    chosen = debrief.standard.choices
    choices = f" ({chosen.prompt_s:g} s; {chosen.consistent_share:.0%} of the time)"
    brief = Method(
        "Within, brief excursion, outside",
        "brief: outside the limit and promptly back. What counts as prompt or consistent is a choice of this "
        f"program{choices}, since no published standard gives it in numbers.",
    )
    return (*METHODS, brief)
