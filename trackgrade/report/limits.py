"""What the pictures measure against: the course as it was set, and the limits drawn as bands and corridor."""

from __future__ import annotations

from trackgrade.hold.courses import course_name
from trackgrade.hold.hold import Hold
from trackgrade.score.debrief import Debrief

#: Share of full scale that the corridor shows where the standard grades no course (FAA-S-ACS-8C: three quarters).
THREE_QUARTERS = 0.75


def limit_of(debrief: Debrief, item: str) -> float | None:
    """The standard's limit for an item; None where it is not graded."""
    found = debrief.standard.item(item)
    return found.limit if found else None


def corridor_share(debrief: Debrief) -> float:
    """Half width of the corridor as a share of full scale."""
    return limit_of(debrief, "course") or THREE_QUARTERS


def share_words(share: float) -> str:
    """ "three quarters of full scale", "half of full scale", "0.6 of full scale"."""
    return {0.75: "three quarters", 0.5: "half"}.get(share, f"{share:g}") + " of full scale"


def magnetic_course(hold: Hold) -> str:
    """The inbound course as the pilot set it ("143"): in the station's north for a VOR, else magnetic at the fix."""
    if hold.guidance.course_to_set_deg is not None:
        return course_name(hold.guidance.course_to_set_deg)
    return course_name((hold.inbound_course_true_deg - hold.variation_deg) % 360.0)
