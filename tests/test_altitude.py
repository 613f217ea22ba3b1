"""The unit and the datum of an altitude: settled by evidence, or not graded; never guessed."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from ambiance import Atmosphere

from tests import plain_flight
from tests.awkward.flight import FLIGHT
from tests.awkward.shapes import FT, iso
from trackgrade.analysis import analyse
from trackgrade.earth.atmosphere import altitude_at_pressure_ft
from trackgrade.hold.hold import Hold
from trackgrade.hold.holdfile import parse_hold
from trackgrade.hold.setup import resolve
from trackgrade.score.debrief import Debrief
from trackgrade.score.standards import load_standard
from trackgrade.track.altitude import for_hold
from trackgrade.track.readers import read_track
from trackgrade.track.readers.column_sheet import column_sheet
from trackgrade.track.track import Track

LEVEL_FT = 4000.0
CLIMB_FT_S = 500.0 / 60.0
ROWS = plain_flight.rows(laps=2)


def hold(extra: str = "", altitude: str = "altitude_ft = 4000") -> Hold:
    text = plain_flight.HOLD_TOML.replace("altitude_ft = 4000", altitude)
    return resolve(parse_hold(text.replace("[fix]", extra + "\n[fix]", 1)), datetime.date(2026, 5, 3))


def climbing(headers: str, cells: Callable[[float, float], str]) -> bytes:
    """Level, then climbing at 500 ft/min, then level; ``cells`` makes them from height [ft] and climb [ft/s]."""
    lines = [f"time_utc,lat,lon,{headers}"]
    height = 3000.0
    for i, r in enumerate(FLIGHT):
        climb = CLIMB_FT_S if 20 <= i < 70 else 0.0
        lines.append(f"{iso(r)},{r.lat},{r.lon},{cells(height, climb)}")
        height += climb
    return ("\n".join(lines) + "\n").encode()


SETTLED = {
    "a second altitude in metres": ("Altitude,GPS altitude (m)", lambda h, c: f"{h},{(h + 130) * FT:.1f}", 3000.0),
    "a second altitude in feet": ("Altitude,pressure altitude (ft)", lambda h, c: f"{h * FT:.1f},{h - 300}", 3000.0),
    "the same height twice": ("altitude,gps_alt", lambda h, c: f"{h * FT:.1f},{h + 40:.0f}", 3000.0),
    "the same height twice, feet first": ("altitude,gps_alt", lambda h, c: f"{h},{(h + 40) * FT:.1f}", 3000.0),
    "ft/min beside feet": ("Altitude,VSpd (fpm)", lambda h, c: f"{h:.0f},{c * 60:.0f}", 3000.0),
    "ft/min beside metres": ("Altitude,Vertical speed (ft/min)", lambda h, c: f"{h * FT:.1f},{c * 60:.0f}", 3000.0),
    "m/s beside metres": ("alt,climb rate [m/s]", lambda h, c: f"{h * FT:.1f},{c * FT:.2f}", 3000.0),
    "m/s beside feet": ("alt,climb m/s", lambda h, c: f"{h:.0f},{c * FT:.2f}", 3000.0),
    "a vertical speed of no unit, ft/min by its size": ("alt,vertical speed", lambda h, c: f"{h},{c * 60}", 3000.0),
    "metres, and a ground speed in m/s": (
        "alt,vertical_rate,ground_speed",
        lambda h, c: f"{h * FT:.1f},{c * FT:.2f},{110 * 1852 / 3600:.2f}",
        3000.0,
    ),
    "a header that states it": ("Altitude (m)", lambda h, c: f"{h * FT:.1f}", 3000.0),
    "cells that state it": ("Altitude", lambda h, c: f"{h * FT:.1f} m", 3000.0),
}
OPEN = {
    "alone": ("Altitude", lambda h, c: f"{h}"),
    "elevation": ("elevation", lambda h, c: f"{h * FT:.1f}"),
    "two of no unit that agree": ("alt,gps_alt", lambda h, c: f"{h},{h + 40}"),
    "a vertical speed of one unit a second": ("alt,vertical speed", lambda h, c: f"{h},{c}"),
    "a vertical speed of something else": ("alt,vertical speed (fpm)", lambda h, c: f"{h},{37.0 * (h % 7)}"),
    "a metric column is a hint": ("alt,ground_speed_kmh", lambda h, c: f"{h},{110 * 1.852}"),
}


@pytest.mark.parametrize("name", SETTLED)
def test_what_stands_beside_an_altitude_settles_its_unit(name: str) -> None:
    headers, cells, first_ft = SETTLED[name]
    track = read_track(climbing(headers, cells), name="flight.csv")
    assert track.alt_ft[0] == pytest.approx(first_ft, abs=1.0)
    assert np.ptp(track.alt_ft) == pytest.approx(50 * CLIMB_FT_S, abs=1.0)
    assert track.alt_open is None


@pytest.mark.parametrize("name", OPEN)
def test_an_altitude_that_nothing_settles_is_none(name: str) -> None:
    headers, cells = OPEN[name]
    data = climbing(headers, cells)
    track = read_track(data, name="flight.csv")
    assert np.isnan(track.alt_ft).all()
    assert track.alt_open is not None
    assert len(track.alt_open.values) == len(track)
    assert track.alt_open.note in track.notes
    assert 'alt_ft = "ft" or "m"' in track.alt_open.note
    assert ("metres are likely" in track.alt_open.note) == ("hint" in name)
    sheet = column_sheet(data, name="flight.csv")
    assert any(line.quantity == "alt_ft" and line.unit == "unknown" for line in sheet.lines)
    column = headers.split(",")[0]
    for unit, first_ft in (("ft", 3000.0), ("m", 3000.0 / FT)):
        line = f'alt_ft = {{ column = "{column}", unit = "{unit}" }}'
        assert f"# {line}" in sheet.map_text
        written = read_track(data, line.encode(), name="flight.csv")  # the remedy works
        factor = FT if name == "elevation" else 1.0
        assert written.alt_ft[0] == pytest.approx(first_ft * factor, abs=1.0)


def flown(unit_ft: float, header: str = "Altitude", rows: list[plain_flight.Row] = ROWS) -> bytes:
    lines = [f"time_utc,lat,lon,{header}"]
    lines += [f"{t:%Y-%m-%dT%H:%M:%SZ},{a:.7f},{o:.7f},{z / unit_ft:.1f}" for t, a, o, z in rows]
    return ("\n".join(lines) + "\n").encode()


def graded(data: bytes, at: Hold) -> Debrief:
    return analyse(read_track(data, name="flight.csv"), at, load_standard())


def altitude_results(debrief: Debrief) -> set[str]:
    return {item.result for item in debrief.items if item.item == "altitude"}


@pytest.mark.parametrize(("unit_ft", "word"), [(1.0, "feet"), (1 / FT, "metres")])
def test_the_altitude_assigned_settles_the_unit(unit_ft: float, word: str) -> None:
    debrief = graded(flown(unit_ft), hold())
    track = debrief.track.track
    assert any(f"read as {word}, in which the 4,000 ft assigned were flown" in note for note in track.notes)
    assert not any("not graded" in note for note in track.notes)
    assert np.nanmedian(track.alt_ft) == pytest.approx(LEVEL_FT, abs=2.0)
    assert debrief.altitude.value == LEVEL_FT
    assert altitude_results(debrief) == {"within"}
    assert {p.unit for p in track.provenance if p.quantity == "alt_ft"} == {{"feet": "ft", "metres": "m"}[word]}


@pytest.mark.parametrize("altitude", ["", "altitude_ft = 6500"])
def test_where_the_hold_settles_nothing_no_altitude_is_graded(altitude: str) -> None:
    debrief = graded(flown(1.0), hold(altitude=altitude))
    assert debrief.laps
    assert altitude_results(debrief) == {"not measurable"}
    assert any("states no unit, feet or metres: not graded" in note for note in debrief.track.track.notes)
    assert all("altitude" not in finding.name for finding in debrief.findings)


@pytest.mark.parametrize(
    ("header", "datum"), [("Pressure Altitude (ft)", "pressure"), ("height above ellipsoid (ft)", "ellipsoid")]
)
def test_an_altitude_of_another_datum_is_graded_from_the_level_held(header: str, datum: str) -> None:
    """4,000 ft on the altimeter, 270 ft less in the log: steady flight is within, whatever the offset."""
    away = [(t, a, o, z - 270.0) for t, a, o, z in ROWS]
    debrief = graded(flown(1.0, header, away), hold())
    assert debrief.track.track.alt_datum == datum
    assert any("graded from the level held" in note for note in debrief.track.track.notes)
    assert debrief.altitude.value == pytest.approx(LEVEL_FT - 270.0, abs=5.0)
    assert "held when the first lap began" in debrief.altitude.note
    assert altitude_results(debrief) == {"within"}
    assert altitude_results(graded(flown(1.0, "Altitude (ft)", away), hold())) == {"outside"}


def test_the_altimeter_setting_makes_pressure_altitude_what_was_read() -> None:
    shown = float(altitude_at_pressure_ft(1023.0))
    debrief = graded(
        flown(1.0, "Pressure Altitude (ft)", [(t, a, o, z + shown) for t, a, o, z in ROWS]), hold("qnh_hpa = 1023")
    )
    assert debrief.altitude.value == LEVEL_FT
    assert np.nanmedian(debrief.track.track.alt_ft) == pytest.approx(LEVEL_FT, abs=2.0)
    assert altitude_results(debrief) == {"within"}
    assert any("QNH 1023 hPa" in p.note for p in debrief.track.track.provenance)
    assert not any("graded from the level held" in note for note in debrief.track.track.notes)


def test_at_flight_levels_pressure_altitude_is_what_was_read() -> None:
    level = Track("a", *(np.zeros(3),) * 3, np.full(3, 24_000.0), alt_datum="pressure")
    assert for_hold(level, 0.0, 0.0, 24_000.0, None).alt_datum == "altimeter"
    assert for_hold(level, 0.0, 0.0, 17_000.0, None).alt_datum == "pressure"


def test_pressure_to_altitude_against_an_independent_library() -> None:
    """ambiance: the ICAO standard atmosphere of 1993 by other authors; up to the tropopause, within a foot."""
    theirs = Atmosphere(np.linspace(-500.0, 10_900.0, 50))
    np.testing.assert_allclose(altitude_at_pressure_ft(theirs.pressure / 100.0), theirs.H / 0.3048, atol=1.0)


def test_the_altimeter_setting_is_kept_in_the_hold_file(tmp_path: Path) -> None:
    from trackgrade.hold.holdfile import write_hold_file

    plan = parse_hold(plain_flight.HOLD_TOML.replace("[fix]", "qnh_hpa = 998.5\n[fix]", 1))
    assert plan.qnh_hpa == 998.5
    assert parse_hold(write_hold_file(plan)).qnh_hpa == 998.5
