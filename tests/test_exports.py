"""The debrief as JSON and the laps as CSV: contract keys, schema, times, determinism, hostile names, no hold."""

from __future__ import annotations

import copy
import csv
import io
import json
import math
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any

import jsonschema
import numpy as np
import pytest

from tests import arithmetic_hold as arithmetic
from trackgrade.exports import debrief_json, laps_csv
from trackgrade.exports.plain import degrees, number, utc
from trackgrade.exports.schema import debrief_schema
from trackgrade.score.debrief import Debrief
from trackgrade.score.judging import judge
from trackgrade.score.standards import load_standard
from trackgrade.segment.flown import Flown
from trackgrade.segment.measured import Measured
from trackgrade.track.track import Gap, Rejection

UTC = re.compile(r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{3}Z$")


def _judged(flight: Measured, flown: Flown | None = None) -> Debrief:
    return judge(replace(flight, flown=flown or flight.flown), load_standard())


@pytest.fixture(scope="module")
def debrief() -> Debrief:
    flight = arithmetic.fly(
        arithmetic.Plan(
            straights_s=(85.0, 60.0, 58.0), altitude_ft=lambda t: 4000.0 + 120.0 * np.sin(t / 40.0), marks=(61.0, 400.0)
        )
    )
    clean = replace(
        flight.clean,
        gaps=(Gap(arithmetic.START_S - 90.0, arithmetic.START_S - 60.0),),
        rejections=(Rejection("spike", 3, arithmetic.START_S),),
    )
    return _judged(replace(flight, clean=clean))


@pytest.fixture(scope="module")
def as_dict(debrief: Debrief) -> dict[str, Any]:
    return debrief_json.debrief_to_dict(debrief)


@cache
def _validator() -> jsonschema.Draft202012Validator:
    schema = debrief_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def test_a_debrief_fulfils_the_schema_that_is_shipped(as_dict: dict[str, Any]) -> None:
    assert list(_validator().iter_errors(as_dict)) == []


def test_the_contract_keys_are_all_there(as_dict: dict[str, Any]) -> None:
    """Keys and shapes that others build on; never renamed or dropped under one schema number."""
    contract: dict[str, Any] = {
        "schema": "trackgrade.debrief/1",
        "track": ["source", "points", "rejected_points", "interval_s", "started_utc", "ended_utc", "gaps"],
        "hold": ["name", "fix_lat", "fix_lon", "inbound_course_true_deg", "variation_deg", "turns", "leg"],
        "wind": ["from_true_deg", "speed_kt", "speed_sd_kt", "source"],
        "entry": ["arrival_utc", "arrival_heading_true_deg", "expected", "flown"],
    }
    assert as_dict["schema"] == contract.pop("schema")
    for key, keys in contract.items():
        assert set(keys) <= set(as_dict[key]), key
    assert {"true_airspeed_kt", "laps", "incomplete_laps", "items", "findings", "verdict"} <= set(as_dict)
    lap_keys = [
        "number", "start_utc", "outbound_turn_end_utc", "abeam_utc", "outbound_end_utc", "inbound_start_utc",
        "inbound_start_by", "end_utc", "outbound_s", "inbound_s", "max_cross_track_nm", "items",
    ]  # fmt: skip
    for lap in as_dict["laps"]:
        assert set(lap_keys) <= set(lap)
        for event in ("start", "outbound_turn_end", "abeam", "outbound_end", "inbound_start", "end"):
            assert lap[f"{event}_sd_s"] == pytest.approx(arithmetic.SD_S)
    assert {"item", "scope", "value", "unit", "limit", "result"} <= set(as_dict["items"][0])
    assert {"name", "lap", "at_utc", "evidence", "advice"} <= set(as_dict["findings"][0])
    assert set(as_dict["track"]["gaps"][0]) == {"start_utc", "seconds"}
    assert as_dict["hold"]["leg"] == {"minutes": 1.0}


def test_the_numbers_are_those_of_the_flight(as_dict: dict[str, Any]) -> None:
    first = as_dict["laps"][0]
    assert first["start_utc"] == "2026-05-03T15:00:00.000Z"
    assert first["abeam_utc"] == "2026-05-03T15:01:00.000Z"
    assert first["end_utc"] == "2026-05-03T15:04:50.000Z"
    assert first["outbound_s"] == pytest.approx(85.0)
    assert first["inbound_s"] == pytest.approx(85.0)
    assert as_dict["track"]["rejected_points"] == 3
    assert as_dict["track"]["gaps"] == [{"start_utc": "2026-05-03T14:58:30.000Z", "seconds": 30.0}]
    assert [lap["visit"] for lap in as_dict["laps"]] == [1, 1, 1]
    assert as_dict["visits"][0]["laps"] == [1, 2, 3]


def _leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, content in value.items():
            yield from _leaves(content, f"{path}/{key}")
    elif isinstance(value, list):
        for index, content in enumerate(value):
            yield from _leaves(content, f"{path}/{index}")
    else:
        yield path, value


def test_times_directions_and_numbers_keep_their_form(as_dict: dict[str, Any]) -> None:
    for path, value in _leaves(as_dict):
        key = path.rsplit("/", 1)[-1]
        if key.endswith("_utc") and value is not None:
            assert UTC.match(value), path
        if key.endswith("true_deg") and isinstance(value, float):
            assert 0.0 <= value < 360.0, path
        if isinstance(value, float):
            assert math.isfinite(value), path
        assert not isinstance(value, np.generic), path


@pytest.mark.parametrize(
    "path",
    ["schema", "track", "track/points", "hold/leg", "entry", "laps", "laps/0/abeam_utc", "laps/0/abeam_sd_s",
     "laps/0/items", "laps/0/measures/inbound_s/how", "items/0/result", "items/0/source", "findings/0/evidence",
     "verdict", "visits/0/entry", "entries/0/flown", "cautions", "next_lap/outbound_s", "needles/0/largest",
     "corrections/0/judged", "watch/sentence", "wind", "seen_instead", "references/altitude_note"],
)  # fmt: skip
def test_a_missing_key_fails_the_schema(as_dict: dict[str, Any], path: str) -> None:
    broken = copy.deepcopy(as_dict)
    at: Any = broken
    *parents, last = path.split("/")
    for part in parents:
        at = at[int(part)] if isinstance(at, list) else at[part]
    del at[last]
    assert not _validator().is_valid(broken), path


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("laps/0/start_utc", "2026-05-03 15:00"),
        ("entry/flown", "sideways"),
        ("items/0/result", "fine"),
        ("items/0/value", "12"),
        ("hold/turns", "up"),
        ("hold/leg", {"minutes": 1.0, "nm": 4.0}),
        ("wind/from_true_deg", 360.0),
        ("schema", "trackgrade.debrief/2"),
        ("cautions", []),
    ],
)
def test_a_wrong_value_fails_the_schema(as_dict: dict[str, Any], path: str, value: Any) -> None:
    broken = copy.deepcopy(as_dict)
    at: Any = broken
    *parents, last = path.split("/")
    for part in parents:
        at = at[int(part)] if isinstance(at, list) else at[part]
    at[last] = value
    assert not _validator().is_valid(broken), path


def test_a_flight_without_a_hold_still_gives_a_debrief() -> None:
    flight = arithmetic.fly(wind=None)
    nothing = Flown((), ("passed straight over the fix",))
    without = debrief_json.debrief_to_dict(_judged(flight, nothing))
    assert list(_validator().iter_errors(without)) == []
    assert without["laps"] == []
    assert without["seen_instead"] == ["passed straight over the fix"]
    assert without["entry"]["flown"] == "none"
    assert without["wind"] is None
    assert without["wind_note"]
    assert "passed straight over the fix" in without["verdict"]
    assert laps_csv.rows(_judged(flight, nothing)) == []


def test_a_lap_not_brought_back_is_listed_and_not_graded() -> None:
    flight = arithmetic.fly()
    (visit,) = flight.flown.visits
    unfinished = replace(visit.laps[-1], end=None, why_incomplete="the record ends on the inbound leg")
    flown = Flown((replace(visit, laps=visit.laps[:-1], incomplete_laps=(unfinished,)),))
    out = debrief_json.debrief_to_dict(_judged(flight, flown))
    assert list(_validator().iter_errors(out)) == []
    (incomplete,) = out["incomplete_laps"]
    assert incomplete["why_incomplete"] == "the record ends on the inbound leg"
    assert incomplete["end_utc"] is None
    assert not [item for item in out["items"] if item["scope"] == "lap 3"]


def test_two_visits_keep_their_laps_apart() -> None:
    flight = arithmetic.fly(arithmetic.Plan(straights_s=(60.0, 60.0, 80.0, 60.0)))
    (visit,) = flight.flown.visits
    later = tuple(replace(lap, number=lap.number - 2) for lap in visit.laps[2:])
    flown = Flown((replace(visit, laps=visit.laps[:2]), replace(visit, number=2, laps=later)))
    debrief = _judged(flight, flown)
    out = debrief_json.debrief_to_dict(debrief)
    assert list(_validator().iter_errors(out)) == []
    assert [(lap["visit"], lap["number"]) for lap in out["laps"]] == [(1, 1), (1, 2), (2, 1), (2, 2)]
    scopes = {item["scope"] for item in out["items"]}
    assert {"visit 1 lap 1", "visit 2 lap 1", "entry", "visit 2 entry", "whole hold"} <= scopes
    by_lap = {
        (lap["visit"], lap["number"]): next(i["value"] for i in lap["items"] if i["item"] == "inbound_time")
        for lap in out["laps"]
    }
    assert by_lap[1, 1] == pytest.approx(0.0)
    assert by_lap[2, 1] == pytest.approx(20.0)


def test_every_item_of_a_lap_is_also_in_the_list_of_all(as_dict: dict[str, Any]) -> None:
    of_laps = [item for lap in as_dict["laps"] for item in lap["items"]]
    assert of_laps == [item for item in as_dict["items"] if item["lap"] is not None]


def test_the_timing_band_is_labelled_a_choice(as_dict: dict[str, Any]) -> None:
    timed = [item for item in as_dict["items"] if item["item"] == "inbound_time"]
    assert timed
    for item in timed:
        assert item["choice"] is True
        assert "not published" in item["source"]
        assert "no civil test standard publishes seconds" in item["reference"]
    assert "choice" in as_dict["standard"]["timing_note"]


def test_the_same_debrief_gives_the_same_bytes(debrief: Debrief) -> None:
    text = debrief_json.to_text(debrief)
    assert text == debrief_json.to_text(debrief)
    assert json.loads(text) == debrief_json.debrief_to_dict(debrief)


def test_csv_has_one_row_a_lap_with_times_and_results(debrief: Debrief) -> None:
    table = list(csv.DictReader(io.StringIO(laps_csv.to_text(debrief))))
    assert [row["lap"] for row in table] == ["1", "2", "3"]
    assert float(table[0]["outbound_s"]) == pytest.approx(85.0)
    assert UTC.match(table[0]["abeam_utc"])
    assert table[0]["inbound_time_result"] == "outside"
    assert table[1]["inbound_time_result"] == "within"
    assert tuple(table[0]) == laps_csv.COLUMNS


def test_csv_columns_do_not_depend_on_the_standard(debrief: Debrief) -> None:
    assert "leg_length_result" in laps_csv.COLUMNS
    assert laps_csv.to_text(debrief).splitlines()[0] == ",".join(laps_csv.COLUMNS)


@pytest.mark.parametrize("name", ["=1+1", "+cmd", "@x", "-2"])
def test_a_hostile_name_is_no_formula_in_a_spreadsheet(debrief: Debrief, name: str) -> None:
    hostile = replace(debrief, hold=replace(debrief.hold, name=name + "\nline"))
    (row, *_) = csv.DictReader(io.StringIO(laps_csv.to_text(hostile)))
    assert row["hold"] == f"'{name} line"


@pytest.mark.parametrize(
    ("epoch_s", "shown"),
    [
        (0.0, "1970-01-01T00:00:00.000Z"),
        (1777820400.0004, "2026-05-03T15:00:00.000Z"),
        (1777820400.9996, "2026-05-03T15:00:01.000Z"),
        (-0.25, "1969-12-31T23:59:59.750Z"),
        (math.nan, None),
        (1e30, None),
        (None, None),
    ],
)
def test_utc(epoch_s: float | None, shown: str | None) -> None:
    assert utc(epoch_s) == shown


def test_numbers_and_directions() -> None:
    assert number(math.inf) is None
    assert str(number(-0.00001)) == "0.0"
    assert degrees(359.99999) == 0.0
    assert degrees(-10.0) == 350.0
