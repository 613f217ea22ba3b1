"""The debrief as one self-contained HTML page.

`render` is the whole edge: a debrief in, text out, no file and no clock. The page carries its style, its script and
its data; a content policy in its head lets nothing else run or load, so a name from a file stays a name.
"""

from __future__ import annotations

import dataclasses

from trackgrade.drawing import frame
from trackgrade.report.context import NOTHING_ADDED, page_of
from trackgrade.report.front import Sheet
from trackgrade.score.debrief import Debrief


def render(debrief: Debrief, sheet: Sheet = NOTHING_ADDED) -> str:
    """One HTML document. The same debrief, and ``sheet`` of the instructor, gives the same text."""
    page = page_of(debrief, sheet)
    context = {field.name: getattr(page, field.name) for field in dataclasses.fields(page)}
    return frame.render("report", "page.html", context, styles=("page.css",), script="page.js")
