"""A hold is the same hold wherever, whichever way and whenever it is flown: same times, same entry, same wind.

These catch most sign mistakes. The flights are simulated; the moves are exact on the plane about the fix.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from trackgrade.analysis import Measured, measure
from trackgrade.earth.geodesy import LocalPlane
from trackgrade.hold.hold import Hold, Leg
from trackgrade.simulator import Air, Aircraft, Scenario, Sensor, fly
from trackgrade.track.track import Track

HOLD = Hold(
    "Tarne", 44.0, -93.0, 143.0, 0.0, "given", "right", Leg(minutes=1.0), altitude_ft=4000.0, airspeed_kias=100.0
)
#: Positions come back from the ellipsoid to well under a millimetre; events may move by rounding only.
SAME_S = 2e-3
FEW = settings(max_examples=4, deadline=None, suppress_health_check=list(HealthCheck))


@cache
def flown() -> tuple[Track, Measured]:
    scenario = Scenario(
        laps=2,
        arrival_offset_deg=40.0,
        air=Air(wind_from_true_deg=300.0, wind_kt=18.0),
        aircraft=Aircraft(tas_kt=105.0),
        sensor=Sensor(noise_m=1.0, decimals=None),
    )
    recording = fly(HOLD, scenario, 11).recording
    track = Track("t", recording.epoch_s, recording.lat_deg, recording.lon_deg, recording.alt_ft)
    return track, measure(track, HOLD)


def moved(
    track: Track, hold: Hold, turn_deg: float, mirror: bool, lat_deg: float, lon_deg: float
) -> tuple[Track, Hold]:
    """The flight and its hold, turned about the fix, mirrored or not, and set down elsewhere."""
    east, north = LocalPlane(hold.fix_lat_deg, hold.fix_lon_deg).to_plane(track.lat_deg, track.lon_deg)
    if mirror:
        east = -east
    angle = np.radians(turn_deg)
    east, north = east * np.cos(angle) + north * np.sin(angle), north * np.cos(angle) - east * np.sin(angle)
    lat, lon = LocalPlane(lat_deg, lon_deg).to_geographic(east, north)
    course = (-hold.inbound_course_true_deg if mirror else hold.inbound_course_true_deg) + turn_deg
    turns = hold.turns if not mirror else ("left" if hold.turns == "right" else "right")
    return (
        replace(track, lat_deg=lat, lon_deg=lon, channels={}),
        replace(hold, fix_lat_deg=lat_deg, fix_lon_deg=lon_deg, inbound_course_true_deg=course % 360.0, turns=turns),
    )


def assert_same(one: Measured, two: Measured, shift_s: float = 0.0) -> None:
    assert len(one.flown.laps) == len(two.flown.laps) == 2
    assert one.flown.visits[0].entry.kind == two.flown.visits[0].entry.kind == "direct"
    for a, b in zip(one.flown.laps, two.flown.laps, strict=True):
        assert a.inbound_start_by == b.inbound_start_by
        for name in ("start", "outbound_turn_end", "abeam", "outbound_end", "inbound_start", "end"):
            first, second = getattr(a, name), getattr(b, name)
            assert second.epoch_s - shift_s == pytest.approx(first.epoch_s, abs=SAME_S), name
            assert second.sd_s == pytest.approx(first.sd_s, abs=SAME_S), name
    assert one.wind is not None
    assert two.wind is not None
    assert two.wind.speed_kt == pytest.approx(one.wind.speed_kt, abs=0.01)
    assert two.wind.true_airspeed_kt == pytest.approx(one.wind.true_airspeed_kt, abs=0.01)


@FEW
@given(st.floats(0.0, 359.9))
def test_turned_about_the_fix_nothing_changes(turn_deg: float) -> None:
    track, measured = flown()
    assert_same(measured, measure(*moved(track, HOLD, turn_deg, False, HOLD.fix_lat_deg, HOLD.fix_lon_deg)))


@FEW
@given(st.floats(0.0, 359.9))
def test_mirrored_with_turns_swapped_nothing_changes(turn_deg: float) -> None:
    track, measured = flown()
    assert_same(measured, measure(*moved(track, HOLD, turn_deg, True, HOLD.fix_lat_deg, HOLD.fix_lon_deg)))


@FEW
@given(st.floats(-84.0, 84.0), st.sampled_from([-180.0, 179.999, -93.0, 0.0, 12.5]))
def test_set_down_elsewhere_nothing_changes(lat_deg: float, lon_deg: float) -> None:
    """Any latitude to 84 degrees, and fixes beside the 180 degree meridian."""
    track, measured = flown()
    assert_same(measured, measure(*moved(track, HOLD, 0.0, False, lat_deg, lon_deg)))


@FEW
@given(st.integers(-900_000_000, 900_000_000))
def test_flown_at_another_time_only_the_times_change(shift_s: int) -> None:
    track, measured = flown()
    later = replace(track, epoch_s=track.epoch_s + shift_s, channels={})
    assert_same(measured, measure(later, HOLD), shift_s)


def test_shuffled_rows_and_repeated_rows_change_nothing() -> None:
    track, measured = flown()
    order = np.random.default_rng(5).permutation(np.r_[np.arange(len(track)), np.arange(0, len(track), 7)])
    mixed = replace(track.take(order), channels={})
    again = measure(mixed, HOLD)
    assert_same(measured, again)
    assert {each.reason for each in again.clean.rejections} == {"the same point twice"}
    assert sum(each.count for each in again.clean.rejections) == len(range(0, len(track), 7))
