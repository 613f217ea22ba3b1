"""How each kind of number was obtained, in the words of the trade, for the foot of the page."""

from __future__ import annotations

from trackgrade.score.debrief import Debrief

#: Each kind of number, and how it is obtained in any flight.
METHODS = {
    "Over the fix": "the track passes the line through the fix at right angles to the inbound course, inbound.",
    "Abeam": "the same line is passed outbound, on the holding side.",
    "Start and end of a turn": "the rate of turn of the heading rises above, or falls below, a quarter of standard "
    "rate (0.75°/s), or a quarter of the turn's own rate where that is less.",
    "Inbound starts": "at the earlier of crossing the inbound course in the turn and rolling out. A roll-out along the "
    "course is no crossing: the aircraft must go beyond it by more than the positions can be trusted.",
    "Moments between samples": "are interpolated on the smoothed track; each carries its standard error. A time is the "
    "difference of two.",
    "Wind and airspeed": "at one airspeed the ground velocity runs on a circle about the wind. The circle is fitted to "
    "the turns; its fit gives the errors. Too little of the circle flown: not measurable.",
    "The lap that works": "for the wind and airspeed measured there is one outbound heading and one outbound time that "
    "roll out on the course with the inbound time asked for. It is the broad pale line in the plan view.",
    "Needles": "distance from the course over full scale (GPS), or angle at the station over full scale (VOR). The "
    "needle points to the course.",
    "±": "is one standard error. A value within two of its limit is said to straddle it.",
}


def methods(debrief: Debrief) -> dict[str, str]:
    """`METHODS`, and what prompt and consistent mean in the standard used."""
    chosen = debrief.standard.choices
    choices = f" ({chosen.prompt_s:g} s; {chosen.consistent_share:.0%} of the time)"
    return METHODS | {
        "Within, brief excursion, outside": "brief: outside the limit and promptly back. What counts as prompt or "
        f"consistent is a choice of this program{choices}, since no published standard gives it in numbers."
    }
