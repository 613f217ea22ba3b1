"""One point with a wrong date must not cost the flight, nor days of work; two flights are told apart."""

from __future__ import annotations

import time

import numpy as np
import pytest

from tests import plain_flight
from trackgrade.errors import TrackFileError
from trackgrade.track.cleaning import clean, largest_flight
from trackgrade.track.track import Track

ROWS = plain_flight.rows(laps=1)
EPOCH_S = np.array([row[0].timestamp() for row in ROWS])


def track_with(epoch_s: np.ndarray) -> Track:
    lat, lon = np.array([row[1] for row in ROWS]), np.array([row[2] for row in ROWS])
    return Track("made.csv", epoch_s, lat, lon, np.full(len(ROWS), 4000.0))


@pytest.mark.parametrize("days_off", [-16_000, -365, 1, 61, 20_000])
def test_a_point_with_a_wrong_date_is_dropped_and_told(days_off: int) -> None:
    # Found by tests.fuzz: 61 days were worked through second by second.
    epoch_s = EPOCH_S.copy()
    epoch_s[100] += days_off * 86_400.0
    started = time.process_time()
    cleaned = clean(track_with(epoch_s))
    assert time.process_time() - started < 2.0
    assert len(cleaned.track) == len(ROWS) - 1
    assert [(r.reason, r.count) for r in cleaned.rejections] == [
        ("over 6 hours from the rest: a wrong date, or another flight", 1)
    ]


def test_of_two_flights_the_longer_stays() -> None:
    epoch_s = np.concatenate([np.arange(100.0), 30_000.0 + np.arange(300.0)])
    assert largest_flight(epoch_s, "a").sum() == 300
    stop = np.concatenate([np.arange(100.0), 12_000.0 + np.arange(300.0)])
    assert largest_flight(stop, "a").all()


def test_points_strewn_over_weeks_are_refused() -> None:
    with pytest.raises(TrackFileError, match="span 8 days"):
        largest_flight(np.arange(50) * 5 * 3600.0 * 0.8, "a")
