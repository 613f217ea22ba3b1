"""Found holds as JSON, schema "trackgrade.holds/1"."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from trackgrade.exports.plain import number, readable, utc
from trackgrade.segment.proposal import HoldProposal

SCHEMA = "trackgrade.holds/1"


def to_text(proposals: Sequence[HoldProposal]) -> str:
    """The proposals as one JSON object, best first; an empty list where no hold was found."""
    return readable({"schema": SCHEMA, "holds": [_one(each) for each in proposals]})


def _one(found: HoldProposal) -> dict[str, Any]:
    hold = found.hold
    return {
        "fix_lat": number(hold.fix_lat_deg, 5),
        "fix_lon": number(hold.fix_lon_deg, 5),
        "inbound_course_true_deg": number(hold.inbound_course_true_deg),
        "turns": hold.turns,
        "leg_minutes": number(found.leg_minutes),
        "leg_nm": number(hold.leg.nm),
        "laps": found.laps,
        "start_utc": utc(found.start_epoch_s),
        "end_utc": utc(found.end_epoch_s),
        "altitude_ft": number(hold.altitude_ft),
        "name": found.name or None,
        "which_end": found.which_end,
        "other_end": None if found.other_end is None else _one(found.other_end),
        "variation_deg": number(hold.variation_deg),
        "fix_sd_nm": number(found.fix_sd_nm),
        "course_sd_deg": number(found.course_sd_deg),
    }
