"""Debriefs made by hand for the tests of the logbook: the shape of trackgrade.debrief/1, invented numbers."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any

START = datetime.datetime(2026, 3, 1, 15, 0, tzinfo=datetime.UTC)


def utc(moment: datetime.datetime) -> str:
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def made_debrief(
    day: int = 0,
    *,
    inbound_s: Sequence[float | None] = (70.0, 64.0, 61.0),
    altitude_ft: Sequence[float] = (120.0, 60.0, 40.0),
    altitude_limit_ft: float = 100.0,
    turns: str = "right",
    course_true_deg: float = 143.0,
    leg: dict[str, float] | None = None,
    wind: tuple[float, float] | None = (240.0, 15.0),
    expected: Sequence[str] = ("direct",),
    flown: str = "direct",
    guidance: str = "gps",
    flag: str = "TO",
    standard: str = "faa_instrument_airplane",
    sha256: str | None = None,
    hold_name: str = "Tarne practice hold",
    hold_altitude_ft: float | None = 4000.0,
    findings: bool = True,
) -> dict[str, Any]:
    """One flight, ``day`` days after the first, with as many laps as inbound times."""
    begin = START + datetime.timedelta(days=day)
    laps, items = [], []
    for n, (seconds, height) in enumerate(zip(inbound_s, altitude_ft), start=1):
        start = begin + datetime.timedelta(minutes=4 * n)
        laps.append(
            {
                "visit": 1,
                "number": n,
                "start_utc": utc(start),
                "end_utc": utc(start + datetime.timedelta(minutes=4)),
                "outbound_s": 60.0,
                "inbound_s": seconds,
                "max_cross_track_nm": 0.1,
                "items": [],
            }
        )
        scope = f"lap {n}"
        result = "within" if abs(height) <= altitude_limit_ft else "outside"
        items.append(
            {"item": "altitude", "title": "Altitude", "scope": scope, "lap": n, "value": height, "unit": "ft"}
            | {"value_sd": 5.0, "limit": altitude_limit_ft, "result": result}
        )
        if leg is None or "minutes" in leg:
            error = None if seconds is None else seconds - 60.0
            result = "not measurable" if error is None else "within" if abs(error) <= 10 else "outside"
            items.append(
                {
                    "item": "inbound_time",
                    "title": "Inbound leg time",
                    "scope": scope,
                    "lap": n,
                    "value": error,
                }
                | {"value_sd": 1.0, "unit": "s", "limit": 10.0, "result": result}
            )
    in_band = [seconds is not None and abs(seconds - 60.0) <= 10.0 for seconds in inbound_s[: len(laps)]]
    out = max((n for n, within in enumerate(in_band, start=1) if not within), default=0)
    items.append(
        {"item": "altitude", "title": "Altitude", "scope": "whole hold", "lap": None, "unit": "ft"}
        | {"value": max(altitude_ft), "limit": altitude_limit_ft, "result": "brief excursion"}
    )
    return {
        "schema": "trackgrade.debrief/1",
        "track": {
            "source": f"flight-{day}.gpx",
            "points": 1800,
            "rejected_points": 0,
            "interval_s": 1.0,
            "started_utc": utc(begin),
            "ended_utc": utc(begin + datetime.timedelta(minutes=4 * len(laps) + 10)),
            "gaps": [],
        }
        | ({"sha256": sha256} if sha256 else {}),
        "hold": {
            "name": hold_name,
            "fix_lat": 44.0,
            "fix_lon": -93.0,
            "inbound_course_true_deg": course_true_deg,
            "variation_deg": 0.0,
            "turns": turns,
            "leg": {"minutes": 1.0} if leg is None else leg,
            "altitude_ft": hold_altitude_ft,
            "guidance": {"kind": guidance, "flag": flag},
        },
        "standard": {"name": standard, "title": standard.replace("_", " ")},
        "wind": None if wind is None else {"from_true_deg": wind[0], "speed_kt": wind[1], "speed_sd_kt": 0.8},
        "true_airspeed_kt": 104.0,
        "entry": {
            "arrival_utc": utc(begin + datetime.timedelta(minutes=4)),
            "arrival_heading_true_deg": 200.0,
            "expected": list(expected),
            "flown": flown,
        },
        "laps": laps,
        "converged_lap": out + 1 if out < len(laps) and (leg is None or "minutes" in leg) else None,
        "incomplete_laps": [],
        "items": items,
        "findings": [
            {
                "name": "altitude_in_turns",
                "title": "Altitude lost in the turns",
                "lap": 1,
                "at_utc": utc(begin),
            }
            | {"evidence": "120 ft low", "advice": "Raise the nose as the bank comes on.", "praise": False}
        ][: int(findings)],
        "verdict": "Some items outside.",
    }
