"""What every target comes to: a track graded at a hold, exported and shown whole. And the plain track and hold."""

from __future__ import annotations

import datetime as dt
import json
import re
from functools import cache
from typing import Any

from tests import plain_flight
from trackgrade.hold.hold import Hold
from trackgrade.score.standard import Standard
from trackgrade.track.track import Track

#: What a target tells of an input that got as far as a graded lap: the run counts these.
GRADED = "graded lap"
DAY = dt.date(2026, 5, 3)


def graded(track: Any, hold: Any, standard: Any) -> tuple[str, int]:
    """Whether it got as far as a graded lap, and how many: graded, exported and shown, with every lap in the track."""
    from trackgrade.analysis import analyse
    from trackgrade.exports.debrief_json import debrief_to_dict

    found = analyse(track, hold, standard)
    debrief = debrief_to_dict(found)
    assert "\x1b" not in json.dumps(debrief, allow_nan=False)
    shown_whole(found)
    for lap in debrief["laps"]:
        assert track.epoch_s.min() - 1 <= _epoch(lap["start_utc"]) < _epoch(lap["end_utc"]) <= track.epoch_s.max() + 1
    return (GRADED if debrief["laps"] else "no lap"), len(debrief["laps"])


def shown_whole(debrief: object) -> None:
    """The page of a debrief is made, and nothing of the input became markup or a control character."""
    from trackgrade.report import page

    html = page.render(debrief)
    assert html.rstrip().endswith("</html>")
    assert "<u>" not in html  # an element of VALUES that no template has
    assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u202e]", html)


@cache
def plain_standard() -> Standard:
    from trackgrade.score.standards import load_standard

    return load_standard("training")


@cache
def plain_track() -> Track:
    """Two laps of the plain hold."""
    from trackgrade.track.readers import read_track

    text = plain_flight.csv(plain_flight.rows(before_s=90, laps=2, after_s=40, interval_s=2.0))
    return read_track(text.encode(), name="plain.csv")


@cache
def plain_hold() -> Hold:
    from trackgrade.hold.holdfile import parse_hold
    from trackgrade.hold.setup import resolve

    return resolve(parse_hold(plain_flight.HOLD_TOML), DAY)


def _epoch(text: str) -> float:
    return dt.datetime.fromisoformat(text).timestamp()
