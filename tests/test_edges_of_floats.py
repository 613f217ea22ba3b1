"""Settings at the edges of floating point: refused where they enter, or graded, shown and briefed as any others."""

from __future__ import annotations

import copy
import datetime as dt
import json
import math
import time
import tomllib
import warnings
from collections.abc import Iterator
from typing import Any

import pytest

from tests import plain_flight
from tests.fuzz.graded import plain_hold, plain_track, shown_whole
from trackgrade import verbs
from trackgrade.analysis import analyse
from trackgrade.briefing import screen
from trackgrade.errors import TrackgradeError
from trackgrade.exports.debrief_json import debrief_to_dict
from trackgrade.hold.hold import Hold
from trackgrade.hold.holdfile import read_hold
from trackgrade.hold.setup import resolve
from trackgrade.score.standard import Standard
from trackgrade.score.standards import load_standard, text_of

EDGES = (5e-324, 2.3e-308, 1e-9, 1e-3, 1e300, 1.7e308, -5e-324, math.inf, math.nan, 10**400)
DAY = dt.date(2026, 5, 3)
LONGEST_S = 2.0


def used(hold: Hold, standard: Standard) -> None:
    """Graded, exported and shown, with every warning of numpy a failure."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        debrief = analyse(plain_track(), hold, standard)
        json.dumps(debrief_to_dict(debrief), allow_nan=False)
        shown_whole(debrief)


def numbers_of(table: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Where numbers stand in a settings file."""
    if isinstance(table, dict | list):
        for key, value in table.items() if isinstance(table, dict) else enumerate(table):
            yield from numbers_of(value, (*path, key))
    elif isinstance(table, int | float) and not isinstance(table, bool):
        yield path


def with_number(table: dict[str, Any], path: tuple[Any, ...], value: float) -> dict[str, Any]:
    changed = copy.deepcopy(table)
    inner: Any = changed
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    return changed


STANDARD = tomllib.loads(text_of("training"))


@pytest.mark.parametrize("path", list(numbers_of(STANDARD)), ids=lambda path: ".".join(map(str, path)))
def test_every_number_of_a_standard_is_bounded(path: tuple[Any, ...]) -> None:
    from trackgrade.score.standards import _standard

    used_ones = 0
    for value in EDGES:
        try:
            standard = _standard(with_number(STANDARD, path, value), "own.toml", "own", "own.toml")
        except TrackgradeError:
            continue
        used_ones += 1
        used(plain_hold(), standard)
    assert used_ones <= 1, "only a thousandth may pass"


HOLD = tomllib.loads(plain_flight.HOLD_TOML) | {
    "variation_deg": 0.0,
    "qnh_hpa": 1013.0,
    "guidance": {
        "kind": "gps",
        "full_scale_nm": 1.0,
        "full_scale_deg": 10.0,
        "station_lat": 44.0,
        "station_lon": -93.0,
    },
}
OTHERS = {
    "leg.nm": HOLD | {"leg": {"nm": 4.0}},
    "fix.from": HOLD | {"fix": {"from": {"lat": 44.1, "lon": -93.1, "radial_deg": 150.0, "dme_nm": 6.0}}},
    "vor": HOLD | {"guidance": {"kind": "vor", "full_scale_deg": 10.0, "station_lat": 44.0, "station_lon": -93.0}},
}


@pytest.mark.parametrize("kind", ["plain", *OTHERS])
def test_every_number_of_a_hold_is_bounded(kind: str) -> None:
    written = OTHERS.get(kind, HOLD)
    standard = load_standard("training")
    places = [path for path in numbers_of(written) if kind == "plain" or path not in set(numbers_of(HOLD))]
    refused = 0
    for path in places or [("guidance", "full_scale_deg")]:
        for value in EDGES:
            try:
                hold = resolve(read_hold(with_number(written, path, value)), DAY)
            except TrackgradeError:
                refused += 1
                continue
            used(hold, standard)
    assert refused >= 5 * max(len(places), 1)


@pytest.mark.parametrize(
    "share", [0.79, 0.8, math.nextafter(0.8, 1), 103.99999 / 104, 1.0, math.nextafter(1.0, 2), 1.2]
)
@pytest.mark.parametrize("leg", [{"minutes": 10.0}, {"nm": 0.1}], ids=str)
def test_a_brief_in_any_wind_and_leg_ends_soon(share: float, leg: dict[str, float]) -> None:
    hold = HOLD | {"leg": leg, "arrive_utc": dt.datetime(2026, 5, 3, 15, 20, tzinfo=dt.UTC)}
    for off in (1e-9, 90.0):
        began = time.process_time()
        brief = verbs.brief(
            hold, tas_kt=104.0, wind_from_true_deg=143.0 + off, wind_kt=104.0 * share, arriving_deg=30.0, date=DAY
        )
        assert list(screen.lines(brief))
        assert time.process_time() - began < LONGEST_S
        assert len(brief.solved.path_s) <= 3_700, "no more than a point a second of an hour"


@pytest.mark.parametrize(
    "what",
    ["tas_kt", "wind_from_true_deg", "wind_kt", "arriving_deg", "turn_rate_deg_s", "bank_limit_deg", "isa_deviation_c",
     "passage_epoch_s"],
)  # fmt: skip
def test_conditions_at_the_edges_are_refused_or_briefed(what: str) -> None:
    hold = HOLD | {"arrive_utc": dt.datetime(2026, 5, 3, 15, 20, tzinfo=dt.UTC)}
    for value in EDGES[:-1]:
        given: dict[str, Any] = {"tas_kt": 104.0, "wind_kt": 20.0, what: value}
        try:
            brief = verbs.brief(hold, date=DAY, **given)
        except TrackgradeError:
            continue
        assert list(screen.lines(brief))
