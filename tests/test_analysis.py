"""The whole measurement on logs as they come: coarse, fast, stamped in whole seconds, cut short, without altitude."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from tests.arithmetic_flight import HOLD, START_S, Flight, fly, keep, laps, record, straight, turn
from trackgrade.analysis import Measured, measure
from trackgrade.errors import TrackFileError
from trackgrade.segment.finding import find_holds
from trackgrade.segment.flown import Lap, Moment
from trackgrade.track.track import Track

FIX_S = 120.0
#: By arithmetic: turns of 64 s (4 s to roll at each end), legs of 60 s.
LAP_S = 248.0
EVENTS = ("start", "outbound_turn_start", "outbound_turn_end", "abeam", "outbound_end", "inbound_start", "end")
TRUE_S = np.array([0.0, 1.0, 63.0, 64.0, 125.0, 187.0, 248.0])
#: The bounds of the 1 Hz figures: 0.4 s for lines crossed, 1.5 s for turns.
WITHIN_S = np.array([0.4, 1.5, 1.5, 0.4, 1.5, 1.5, 0.4])


@cache
def flight(laps_flown: int = 3) -> Flight:
    return fly([straight(FIX_S), *laps(laps_flown), straight(60.0)], fix_at_s=FIX_S)


def errors(measured: Measured, first_lap: int = 0) -> np.ndarray:
    """Events (laps, events) against arithmetic [s]."""
    return np.array(
        [
            [_since_fix(lap, name) for name in EVENTS] - TRUE_S - (k + first_lap) * LAP_S
            for k, lap in enumerate(measured.flown.laps)
        ]
    )


def _since_fix(lap: Lap, name: str) -> float:
    moment: Moment | None = getattr(lap, name)
    assert moment is not None, name
    return moment.epoch_s - START_S - FIX_S


def assert_measured(track: Track, laps_flown: int = 3, first_lap: int = 0, slack: float = 1.0) -> Measured:
    measured = measure(track, HOLD)
    assert len(measured.flown.laps) == laps_flown
    assert np.all(np.abs(errors(measured, first_lap)) < WITHIN_S * slack), errors(measured, first_lap).round(2)
    return measured


@pytest.mark.parametrize("interval_s", [0.1, 0.2, 1.0, 2.0])
@pytest.mark.parametrize(("noise_m", "decimals"), [(0.0, None), (0.0, 5), (2.0, 7), (2.0, 5)])
def test_fine_and_coarse_positions_at_any_rate(interval_s: float, noise_m: float, decimals: int | None) -> None:
    """Five decimals move a position by up to 0.7 m, and at 5 Hz many rows stand still."""
    measured = assert_measured(record(flight(), interval_s=interval_s, noise_m=noise_m, decimals=decimals))
    assert measured.clean.interval_s == pytest.approx(interval_s)
    # At 10 Hz rows can be the same as the one before to the last of five digits, by chance.
    most = 0.01 * measured.clean.points_read if interval_s == 0.1 else 0
    assert sum(each.count for each in measured.clean.rejections) <= most
    assert measured.wind is not None
    assert measured.wind.speed_kt < 2.0
    assert measured.wind.true_airspeed_kt == pytest.approx(100.0, abs=1.0)


def test_five_seconds_between_positions() -> None:
    assert_measured(record(flight(), interval_s=5.0, noise_m=2.0), slack=2.5)


@pytest.mark.parametrize("hertz", [2, 5])
@pytest.mark.parametrize("decimals", [7, 5])
def test_whole_second_stamps_on_many_points_a_second(hertz: int, decimals: int) -> None:
    track = record(flight(), interval_s=1.0 / hertz, noise_m=1.0, decimals=decimals)
    measured = assert_measured(replace(track, epoch_s=np.floor(track.epoch_s + 1e-6), channels={}))
    assert any("spread evenly" in note for note in measured.clean.notes)


@pytest.mark.parametrize("into_s", [20.0, 60.0, 100.0, 150.0, 215.0])
def test_a_record_that_begins_inside_the_hold(into_s: float) -> None:
    """In the turn at the fix, outbound, in the turn back, inbound: the lap it begins in is none, the others are."""
    track = record(flight(3), noise_m=2.0)
    measured = assert_measured(keep(track, track.epoch_s >= START_S + FIX_S + into_s), laps_flown=2, first_lap=1)
    (visit,) = measured.flown.visits
    if into_s < 200.0:  # no entry can be told where its first passage is not in the record
        assert visit.entry.kind == "unclear"
        assert visit.entry.remarks == ("the record begins in the hold",)
    else:  # straight in, for all the record shows
        assert visit.entry.kind == "direct"


def test_one_lap_alone() -> None:
    measured = assert_measured(record(flight(1), noise_m=2.0), laps_flown=1)
    assert measured.flown.visits[0].entry.kind == "direct"


def test_a_log_without_altitude_is_measured_all_the_same() -> None:
    track = record(flight(), noise_m=2.0)
    with_altitude = assert_measured(track)
    blank = assert_measured(replace(track, alt_ft=np.full(len(track), np.nan), channels={}))
    np.testing.assert_allclose(errors(blank), errors(with_altitude), atol=1e-9)
    assert np.all(np.isnan(blank.samples.alt_ft))
    assert np.all(np.isnan(blank.samples.ias_kt))
    np.testing.assert_allclose(np.median(blank.samples.tas_kt), 100.0, atol=1.0)


def test_blank_altitudes_are_filled_over_seconds_but_not_over_a_hole() -> None:
    track = record(flight(), noise_m=1.0)
    alt = 4000.0 + np.arange(len(track))
    alt[100], alt[300:360] = np.nan, np.nan
    samples = measure(replace(track, alt_ft=alt, channels={}), HOLD).samples
    assert samples.alt_ft[100] == pytest.approx(4100.0)
    assert np.all(np.isnan(samples.alt_ft[320:340]))


@pytest.mark.parametrize("n", [4, 5, 8, 12, 30, 31])
def test_a_few_points_are_no_hold_and_no_trouble(n: int) -> None:
    measured = measure(keep(record(flight()), np.arange(n)), HOLD)
    assert measured.flown.visits == ()
    assert len(measured.flown.seen_instead) == 1
    assert measured.wind is None
    assert measured.wind_note != ""
    assert len(measured.samples) == n


@pytest.mark.parametrize("n", [0, 1, 3])
def test_fewer_than_four_points_are_refused(n: int) -> None:
    with pytest.raises(TrackFileError, match="at least 4 are needed"):
        measure(keep(record(flight()), np.arange(n)), HOLD)


@pytest.mark.parametrize("interval_s", [0.1, 0.2, 1.0, 5.0])
@pytest.mark.parametrize("points", [4, 5, 8, 11])
def test_a_few_seconds_of_flight_are_no_hold(interval_s: float, points: int) -> None:
    """Less than two samples of the even grid, or fewer points than a trajectory needs once they are thinned."""
    few = keep(record(flight(), interval_s=interval_s), np.arange(points))
    assert measure(few, HOLD).flown.visits == ()
    assert find_holds(few) == []


def test_an_aircraft_that_stands_is_no_hold() -> None:
    t = START_S + np.arange(600.0)
    there = np.full(600, 44.0), np.full(600, -93.0)
    measured = measure(Track("parked.csv", t, *there, np.full(600, 900.0)), HOLD)
    assert measured.flown.visits == ()
    assert measured.wind is None


def test_a_hole_over_a_roll_out_leaves_it_wide_and_the_rest_as_it_is() -> None:
    """40 s are missing about the roll-out of the second lap: no confident guess inside, nothing lost outside."""
    track = record(flight(), noise_m=2.0)
    since = track.epoch_s - START_S - FIX_S - LAP_S
    measured = measure(keep(track, (since < 170.0) | (since > 210.0)), HOLD)
    assert len(measured.flown.laps) == 3
    assert len(measured.clean.gaps) == 1
    off = errors(measured)
    assert np.all(np.abs(off[[0, 2]]) < WITHIN_S)
    inside = measured.flown.laps[1].inbound_start
    assert inside is not None
    assert inside.sd_s > 4.0
    assert abs(off[1, 5]) < 2 * inside.sd_s
    assert np.all(np.abs(off[1, [0, 1, 2, 3, 4, 6]]) < WITHIN_S[[0, 1, 2, 3, 4, 6]])


def test_transit_hold_and_transit_again() -> None:
    """Passing the fix on the way, an orbit, then the hold: only its laps are laps."""
    pieces = [straight(FIX_S), *laps(2), straight(200.0), turn(360.0), straight(100.0), turn(-180.0), straight(600.0)]
    measured = measure(record(fly(pieces, fix_at_s=FIX_S), noise_m=2.0), HOLD)
    assert len(measured.flown.laps) == 2
    assert np.all(np.abs(errors(measured)) < WITHIN_S)
