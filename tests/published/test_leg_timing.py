"""Rules for the outbound leg against the examples their documents print."""

from __future__ import annotations

import pytest

from trackgrade.hold.rules import next_outbound_equal_seconds_s, triple_drift_wca_deg
from trackgrade.score.timing import next_outbound_ratio_s


@pytest.mark.parametrize(
    ("outbound_s", "inbound_s", "next_s", "source"),
    [
        (60.0, 90.0, 30.0, "CNATRA P-801, summary: 90 s inbound, next outbound 30 s shorter"),
        (60.0, 50.0, 70.0, "CNATRA P-871, figures 4-16 and 4-17: 50 s inbound, next outbound 70 s"),
        (60.0, 105.0, 15.0, "beginner's guide to holding, training page: inbound 1:45, outbound 0:15"),
        (60.0, 60.0, 60.0, "arithmetic"),
    ],
)
def test_equal_seconds(outbound_s: float, inbound_s: float, next_s: float, source: str) -> None:
    assert next_outbound_equal_seconds_s(outbound_s, inbound_s, 60.0) == pytest.approx(next_s), source


def test_equal_seconds_never_asks_for_less_than_nothing() -> None:
    assert next_outbound_equal_seconds_s(60.0, 150.0, 60.0) == 0.0


def test_ratio_is_equal_seconds_in_still_air_and_scales_by_ground_speed() -> None:
    """Arithmetic: 10 s too long at 80 kt inbound is 222 m, flown in 6.67 s at 120 kt outbound."""
    assert next_outbound_ratio_s(60.0, 70.0, 60.0, 100.0, 100.0) == pytest.approx(50.0)
    assert next_outbound_ratio_s(60.0, 70.0, 60.0, 80.0, 120.0) == pytest.approx(60.0 - 10.0 * 80.0 / 120.0)


@pytest.mark.parametrize(
    ("inbound_deg", "outbound_deg", "source"),
    [
        (-8.0, 24.0, "AIM 5-3-8: 8 degrees left inbound, 24 degrees right outbound (transcription)"),
        (10.0, -30.0, "two training pages: 10 degrees inbound, 30 outbound"),
        (5.0, -15.0, "CNATRA P-871, figure 4-16: crab 5, outbound 15 the other way"),
    ],
)
def test_triple_drift(inbound_deg: float, outbound_deg: float, source: str) -> None:
    assert triple_drift_wca_deg(inbound_deg) == pytest.approx(outbound_deg), source
