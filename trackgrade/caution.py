"""What is said wherever a verdict or a plan is shown."""

from __future__ import annotations

CAUTION = (
    "A training aid: not for navigation, not an official evaluation. Your instructor or examiner, your clearance and"
    " the rules where you fly decide."
)
#: With a graded flight.
CAUTIONS = (
    CAUTION,
    "Nothing here says that the flight stayed inside protected airspace: its size is not on a chart.",
)
