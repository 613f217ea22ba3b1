"""The holds found in a track as one small page: the whole flight, each proposal over it, and each from near by."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

from trackgrade.caution import CAUTION
from trackgrade.drawing import frame
from trackgrade.drawing.from_above import Line, Shown, draw
from trackgrade.hold.courses import heading_name
from trackgrade.segment.proposal import HoldProposal
from trackgrade.track.cleaning import clean
from trackgrade.track.track import Track

#: Frames [px]: of the whole flight, and of one hold.
WHOLE, NEAR = (900.0, 560.0), (430.0, 380.0)


def render(track: Track, proposals: Sequence[HoldProposal]) -> str:
    """The page as one HTML document."""
    line = Line.of(clean(track).track)
    shown = [_shown(number, found) for number, found in enumerate(proposals, start=1)]
    holds = [
        {
            "name": f"Hold {number}",
            "picture": draw(line, own, NEAR, around_nm=0.0),
            "facts": _facts(found),
            "other": None if found.other_end is None else _facts(found.other_end),
        }
        for number, (found, own) in enumerate(zip(proposals, shown), start=1)
    ]
    context = {
        "source": track.source,
        "count": f"{len(proposals)} hold{'s' if len(proposals) > 1 else ''} found",
        "whole": draw(line, [each for own in shown for each in own], WHOLE, around_nm=math.inf),
        "holds": holds,
        "caution": CAUTION,
    }
    return frame.render("report", "found.html", context)


def _shown(number: int, found: HoldProposal) -> list[Shown]:
    """A hold as it is drawn, and beside it the reading with the fix at the other end."""
    flown = found.start_epoch_s, found.end_epoch_s
    shown = [Shown(found.hold, flown, f"hold {number}")]
    return shown if found.other_end is None else [*shown, Shown(found.other_end.hold, flown, f"or {number}")]


def _facts(found: HoldProposal) -> list[tuple[str, str]]:
    hold, plan = found.hold, found.plan()
    magnetic, true = heading_name(plan.inbound_course_deg), heading_name(hold.inbound_course_true_deg)
    moments = (found.start_epoch_s, found.end_epoch_s)
    times = [dt.datetime.fromtimestamp(each, dt.UTC).strftime("%H:%M:%S") for each in moments]
    facts = [
        ("fix", f"{hold.fix_lat_deg:.4f} {hold.fix_lon_deg:.4f}"),
        ("inbound course", f"{magnetic}° magnetic, {true}° true"),
        ("turns", hold.turns),
        ("leg", hold.leg.words),
        ("laps", str(found.laps)),
        ("flown (UTC)", f"{times[0]} to {times[1]}"),
    ]
    return facts if hold.altitude_ft is None else [*facts, ("altitude", f"{hold.altitude_ft:,.0f} ft")]
