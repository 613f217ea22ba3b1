"""Rows of a logbook made by hand: what a test does not say is a right-hand hold of three laps, flown by GPS."""

from __future__ import annotations

from trackgrade.logbook.history import HoldFlown, ItemRow, LapRow


def hold(**changed: object) -> HoldFlown:
    """One recording."""
    values: dict[str, object] = {
        "content_hash": "c",
        "flight_hash": "f",
        "hold_hash": "h",
        "standard": "s",
        "standard_title": "s",
        "track_source": "f.gpx",
        "started_epoch_s": 0.0,
        "ended_epoch_s": 1500.0,
        "hold_name": "h",
        "inbound_course_true_deg": 143.0,
        "turns": "right",
        "leg_minutes": 1.0,
        "leg_nm": None,
        "guidance": "gps",
        "full_scale": 1.0,
        "flag": "TO",
        "altitude_ft": 4000.0,
        "wind_from_true_deg": 240.0,
        "wind_kt": 10.0,
        "wind_head_kt": 9.0,
        "wind_cross_kt": 4.0,
        "true_airspeed_kt": 100.0,
        "laps": 3,
        "incomplete_laps": 0,
        "laps_judged": 3,
        "laps_within": 2,
        "timed_laps": 3,
        "inbound_tolerance_s": 10.0,
        "inbound_error_median_s": 1.0,
        "inbound_error_sd_s": 2.0,
        "laps_to_converge": 2,
        "verdict": "",
        "recording_id": 1,
    }
    return HoldFlown(**(values | changed))  # type: ignore[arg-type]


def item_row(item: str, lap: int, value: float, result: str, limit: float, value_sd: float = 0.0) -> ItemRow:
    """One item of one lap."""
    return ItemRow(item, item, f"lap {lap}", 1, lap, value, value_sd, "", limit, result)


def timed_laps(*errors_s: float | None) -> tuple[LapRow, ...]:
    """Laps with these errors of the inbound time."""
    return tuple(LapRow(1, n, None, None, None, error, None, 1, 0) for n, error in enumerate(errors_s, 1))
