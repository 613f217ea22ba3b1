"""Only the part of a flight near the fix is looked at, and what is left out changes nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests import plain_flight
from trackgrade.analysis import measure
from trackgrade.hold.holdfile import read_hold_file
from trackgrade.hold.setup import resolve
from trackgrade.track.cleaning import clean
from trackgrade.track.readers import read_track
from trackgrade.track.track import Gap, Track
from trackgrade.track.vicinity import AROUND_S, near_fix

FIX = (44.0, -93.0)


@pytest.fixture
def long_flight(tmp_path: Path) -> Track:
    """Half an hour to the hold, two laps, half an hour away from it."""
    path = tmp_path / "long.gpx"
    path.write_text(plain_flight.gpx(plain_flight.rows(before_s=1800, laps=2, after_s=1800)), encoding="utf-8")
    return read_track(path)


def straight(lon_deg: float, *, hours: float = 1.0) -> Track:
    """North along a meridian at about 100 kt, through the latitude of the fix half-way."""
    epoch_s = 1.7e9 + np.arange(0.0, hours * 3600.0, 1.0)
    lat_deg = FIX[0] + (epoch_s - np.mean(epoch_s)) * 100.0 / 3600.0 / 60.0
    return Track("straight", epoch_s, lat_deg, np.full(len(epoch_s), lon_deg), np.full(len(epoch_s), 4000.0))


def test_the_part_near_the_fix_is_kept_and_a_while_about_it() -> None:
    whole = clean(straight(FIX[1]))
    part = near_fix(whole, *FIX, 60.0).track
    nearest = 1.7e9 + 1800.0
    # 5 NM aside, and 240 s of flight at 100 kt: 11.7 NM or 7 minutes; and 5 minutes more.
    expected_s = (5.0 + 240.0 * 100.0 / 3600.0) / 100.0 * 3600.0 + AROUND_S
    assert part.epoch_s[0] == pytest.approx(nearest - expected_s, abs=10.0)
    assert part.epoch_s[-1] == pytest.approx(nearest + expected_s, abs=10.0)
    assert near_fix(whole, *FIX, 240.0).track.epoch_s[0] < part.epoch_s[0] - 300.0, "longer legs reach further"


def test_a_flight_that_never_comes_near_stays_whole() -> None:
    far = clean(straight(FIX[1] + 2.0))
    assert near_fix(far, *FIX, 60.0) is far


def test_across_the_180_degree_meridian() -> None:
    track = straight(179.99)
    assert len(near_fix(clean(track), FIX[0], -179.99, 60.0).track) < len(track)


def test_holes_outside_are_forgotten_and_holes_inside_kept() -> None:
    track = straight(FIX[1])
    whole = clean(track)
    at = float(track.epoch_s[1800])
    inside = Gap(at, at + 20.0)
    gaps = (Gap(at - 1700.0, at - 1650.0), inside, Gap(at + 1650.0, at + 1700.0))
    assert near_fix(replace(whole, gaps=gaps), *FIX, 60.0).gaps == (inside,)


def test_the_laps_are_those_of_the_whole_flight(
    long_flight: Track, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "hold.toml").write_text(plain_flight.HOLD_TOML, encoding="utf-8")
    plan = read_hold_file(tmp_path / "hold.toml")
    hold = resolve(plan, plain_flight.START.date())
    part = measure(long_flight, hold)
    monkeypatch.setattr("trackgrade.analysis.near_fix", lambda track, *_: track)
    whole = measure(long_flight, hold)
    assert len(part.samples) < 0.8 * len(whole.samples)
    assert len(part.clean.track) == len(whole.clean.track), "the debrief tells of the whole record"
    (one,), (other,) = part.flown.visits, whole.flown.visits
    assert one.entry.kind == other.entry.kind
    assert len(one.laps) == len(other.laps) > 0
    for cut, uncut in zip(one.laps, other.laps):
        # The noise of the positions is told from what is kept: it moves an edge of a turn by a tenth of its own error.
        for name in ("start", "abeam", "outbound_end", "inbound_start", "end"):
            assert getattr(cut, name).epoch_s == pytest.approx(getattr(uncut, name).epoch_s, abs=0.05)
