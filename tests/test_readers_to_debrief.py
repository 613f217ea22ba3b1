"""The shape of the file does not change the grade: one flight in five shapes gives the same laps."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import pytest

from tests import plain_flight
from trackgrade.analysis import analyse
from trackgrade.exports.debrief_json import debrief_to_dict
from trackgrade.hold.holdfile import parse_hold
from trackgrade.hold.setup import resolve
from trackgrade.score.standards import load_standard
from trackgrade.track.readers import read_track

ROWS = plain_flight.rows(laps=2)
#: Positions in the shapes are written to 1e-6 deg, 0.1 m: at 100 kt that is 2 ms.
TENTH_OF_A_SECOND = 0.1
FIVE_HOURS = datetime.timedelta(hours=5)


def minutes(value: float, sides: str) -> str:
    size = abs(value)
    return f"{sides[int(value < 0)]} {int(size)}°{(size - int(size)) * 60:.5f}'"


def comma(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


SHAPES = {
    "own": ("time_utc,lat,lon,alt_ft", lambda t, a, o, z: f"{t:%Y-%m-%dT%H:%M:%SZ},{a:.6f},{o:.6f},{z:.1f}"),
    "metres and decimal commas": (
        "Time (UTC);Latitude;Longitude;Altitude (m)",
        lambda t, a, o, z: f"{t:%Y-%m-%d %H:%M:%S};{comma(a, 6)};{comma(o, 6)};{comma(z * 0.3048, 2)}",
    ),
    "local time and minutes": (
        "Lcl Date\tLcl Time\tUTCOfst\tLat\tLon\tAltInd (ft)",
        lambda t, a, o, z: (
            f"{t - FIVE_HOURS:%Y-%m-%d}\t{t - FIVE_HOURS:%H:%M:%S}\t-05:00\t"
            f"{minutes(a, 'NS')}\t{minutes(o, 'EW')}\t{z:.1f}"
        ),
    ),
    "epoch milliseconds": (
        "timestamp,lat,lng,alt_ft",
        lambda t, a, o, z: f"{t.timestamp() * 1000:.0f},{a:.6f},{o:.6f},{z:.1f}",
    ),
}


def laps_of(path: Path) -> list[dict[str, Any]]:
    hold = resolve(parse_hold(plain_flight.HOLD_TOML), datetime.date(2026, 5, 3))
    debrief = debrief_to_dict(analyse(read_track(path), hold, load_standard()))
    return debrief["laps"]  # type: ignore[no-any-return]


@pytest.mark.parametrize("name", SHAPES)
def test_every_shape_gives_the_laps_of_the_gpx(tmp_path: Path, name: str) -> None:
    (tmp_path / "flight.gpx").write_text(plain_flight.gpx(ROWS))
    header, line = SHAPES[name]
    (tmp_path / "flight.csv").write_text(header + "\n" + "\n".join(line(*row) for row in ROWS) + "\n")
    expected, got = laps_of(tmp_path / "flight.gpx"), laps_of(tmp_path / "flight.csv")
    assert len(expected) == 2
    assert len(got) == len(expected)
    for one, other in zip(got, expected):
        for key in ("outbound_s", "inbound_s"):
            assert one[key] == pytest.approx(other[key], abs=TENTH_OF_A_SECOND)
        starts = [datetime.datetime.fromisoformat(lap["start_utc"]) for lap in (one, other)]
        assert abs((starts[0] - starts[1]).total_seconds()) <= TENTH_OF_A_SECOND
