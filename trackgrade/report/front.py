"""The first screen, and the first sheet of paper: the laps in short, and what a sheet for the student carries."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trackgrade.report.numbers import DASH, RESULT_CLASSES, RESULT_SIGNS, figure
from trackgrade.report.timeline import Stretch, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.score.lap import GradedLap
from trackgrade.score.results import Measurement

#: Results of a lap's items from the worst on: the lap is marked by the worst of them.
WORST_FIRST = ("outside", "brief excursion", "within")
#: So many items are named behind a mark; the lap table has the others.
MOST_NAMED = 2


@dataclass(frozen=True)
class ShortLap:
    """One lap in a line: outbound, inbound, and the mark with the items that gave it ("altitude, course")."""

    stretch: Stretch
    outbound: str
    inbound: str
    sign: str
    result: str
    result_class: str
    because: str


@dataclass(frozen=True)
class Sheet:
    """What the instructor adds to the first sheet; all may be empty and written in by hand."""

    pilot: str = ""
    instructor: str = ""
    note: str = ""


NOTHING_ADDED = Sheet()


def short_laps(timeline: Timeline) -> Iterator[ShortLap]:
    """The completed laps in the order flown."""
    for stretch, lap in timeline.graded:
        outbound, inbound = _lengths(lap)
        result = next((each for each in WORST_FIRST if any(item.result == each for item in lap.items)), "")
        named = [item.title.lower() for item in lap.items if item.result == result and result != "within"]
        more = len(named) - MOST_NAMED
        yield ShortLap(
            stretch=stretch,
            outbound=outbound,
            inbound=inbound,
            sign=RESULT_SIGNS.get(result, DASH),
            result=result or "not measurable",
            result_class=RESULT_CLASSES.get(result, "unknown"),
            because=", ".join(named[:MOST_NAMED]) + (f" and {more} more" if more > 0 else ""),
        )


def short_units(debrief: Debrief) -> tuple[str, str, str]:
    """What the two figures of a lap in short are, and their unit."""
    return ("turned at", "inbound", "NM") if debrief.hold.leg.minutes is None else ("out", "in", "s")


def _lengths(lap: GradedLap) -> tuple[str, str]:
    """Where the outbound leg ended and how long the inbound one was, for a leg in NM; else the two times."""
    if lap.measures.target_nm is not None:
        return _short(lap.measures.outbound_end_nm, 1), _short(lap.measures.inbound_nm, 1)
    return _short(lap.measures.outbound_s, 0), _short(lap.measures.inbound_s, 0)


def _short(measured: Measurement, places: int) -> str:
    return DASH if measured.value is None else figure(measured.value, places)
