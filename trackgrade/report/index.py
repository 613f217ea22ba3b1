"""The page that leads to the reports of several flights.

It is made from the debriefs as JSON holds them, so flights graded in other processes, or yesterday, can stand on it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple
from urllib.parse import quote

from trackgrade import __version__
from trackgrade.caution import CAUTION
from trackgrade.drawing import frame
from trackgrade.report.numbers import RESULT_CLASSES, RESULT_SIGNS


class FlightRow(NamedTuple):
    """One flight at one hold.

    ``href`` is the report's name beside the index, as an address, or "" without a report. ``started`` is "2026-05-03
    15:00" (UTC) or "". ``results`` are (CSS class, sign, how many items of the whole hold). ``first_point`` is what to
    work on first. ``error`` is set, and the rest is empty, where the file could not be graded.
    """

    flight: str
    hold: str = ""
    href: str = ""
    started: str = ""
    laps: int = 0
    entry: str = ""
    verdict: str = ""
    results: tuple[tuple[str, str, str, int], ...] = ()
    first_point: str = ""
    error: str = ""


def row(debrief: Mapping[str, Any], report: str = "") -> FlightRow:
    """The row of a debrief (schema "trackgrade.debrief/1") whose report has the file name ``report``."""
    track, hold = debrief["track"], debrief["hold"]
    whole = [item["result"] for item in debrief["items"] if item.get("lap") is None]
    findings = [each for each in debrief["findings"] if not each.get("praise")]
    return FlightRow(
        flight=track["source"],
        hold=hold["name"] if hold else "",
        href=quote(report),
        started=(track["started_utc"] or "")[:16].replace("T", " "),
        laps=len(debrief["laps"]),
        entry=debrief["entry"]["flown"] or "",
        verdict=debrief["verdict"],
        results=tuple(
            (RESULT_CLASSES[word], sign, word, whole.count(word))
            for word, sign in RESULT_SIGNS.items()
            if whole.count(word)
        ),
        first_point=findings[0]["title"] if findings else "",
    )


def not_graded(flight: str, why: str) -> FlightRow:
    """The row of a file that could not be graded, with the line that says why."""
    return FlightRow(flight=flight, error=why)


def render(rows: Sequence[FlightRow], standards: Sequence[str] = ()) -> str:
    """One HTML document; rows in the order given. ``standards``: titles of what the flights were judged by."""
    context = {
        "rows": rows,
        "graded": sum(bool(each.results) for each in rows),
        "not_flown": sum(not each.error and not each.results for each in rows),
        "not_read": sum(bool(each.error) for each in rows),
        "standards": list(dict.fromkeys(standards)),
        "version": __version__,
        "caution": CAUTION,
        "result_signs": RESULT_SIGNS,
    }
    return frame.render("report", "index.html", context, styles=("page.css",))
