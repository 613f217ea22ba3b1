"""``trackgrade simulate``: a track and its truth, whole or not at all; what cannot be flown is told in a line."""

from __future__ import annotations

import json
from pathlib import Path

import gpxpy
import pytest
from click.testing import CliRunner, Result

from trackgrade.commands import main
from trackgrade.simulator.scenarios import names


def simulate(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["simulate", *arguments])


@pytest.fixture
def hold(hold_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.chdir(tmp_path)
    return str(hold_file)


def test_a_track_and_its_truth_are_written(hold: str, tmp_path: Path) -> None:
    result = simulate(hold, "--out", "a.gpx", "--entry", "teardrop", "--laps", "2", "--wind", "280/18", "--tas", "110")
    assert result.exit_code == 0, result.output
    points = gpxpy.parse((tmp_path / "a.gpx").read_text()).tracks[0].segments[0].points
    assert f"{len(points)} points" in result.stdout
    truth = json.loads((tmp_path / "a.truth.json").read_text())
    (visit,) = truth["visits"]
    assert visit["entry"]["flown"] == "teardrop"
    assert len(visit["laps"]) == 2
    assert visit["wind_kt"] == pytest.approx(18.0, abs=2.0)
    assert visit["tas_kt"] == pytest.approx(110.0, abs=2.0)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.gpx", "a.truth.json"]


def test_the_name_of_the_hold_file_is_the_default(hold: str, tmp_path: Path) -> None:
    assert simulate(hold, "--laps", "1", "--format", "csv", "--channels", "ias_kt, heading_true_deg").exit_code == 0
    header = (tmp_path / f"{Path(hold).stem}.csv").read_text().splitlines()[0]
    assert {"ias_kt", "heading_true_deg"} <= set(header.split(","))


def test_same_seed_same_bytes_another_seed_others(hold: str, tmp_path: Path) -> None:
    for name, seed in (("a", "1"), ("b", "1"), ("c", "2")):
        assert simulate(hold, "--out", f"{name}.gpx", "--laps", "1", "--seed", seed).exit_code == 0
    a, b, c = ((tmp_path / f"{name}.gpx").read_bytes() for name in "abc")
    assert a == b != c


def test_sampling_and_noise(hold: str, tmp_path: Path) -> None:
    assert simulate(hold, "--out", "a.gpx", "--laps", "1", "--sampling", "5s", "--noise", "0").exit_code == 0
    points = gpxpy.parse((tmp_path / "a.gpx").read_text()).tracks[0].segments[0].points
    assert (points[1].time - points[0].time).total_seconds() == 5.0


def test_an_arrival_heading_brings_its_entry(hold: str, tmp_path: Path) -> None:
    # Inbound 143 true, right turns. AIM 5-3-8: arriving on 323 plus 30 degrees to the parallel side.
    assert simulate(hold, "--out", "a.gpx", "--laps", "1", "--arriving", "068").exit_code == 0
    (visit,) = json.loads((tmp_path / "a.truth.json").read_text())["visits"]
    assert visit["entry"]["flown"] == "parallel"
    assert visit["entry"]["arrival_heading_true_deg"] == pytest.approx(68.0, abs=6.0)


def test_every_named_flight_is_listed() -> None:
    result = simulate("--list")
    assert result.exit_code == 0
    for name in names():
        assert name in result.stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "which hold?"),
        (["HOLD", "--wind", "calm"], "--wind must be FROM/KT"),
        (["HOLD", "--wind", "128/120"], "less --wind"),
        (["HOLD", "--laps", "31"], "--laps must be from 0 to 30"),
        (["HOLD", "--laps", "9" * 400], "--laps must be from 0 to 30"),
        (["HOLD", "--tas", "4"], "--tas must be from 40"),
        (["HOLD", "--arriving", "400"], "--arriving must be"),
        (["HOLD", "--noise", "-1"], "--noise must be"),
        (["HOLD", "--mistake", "gremlins"], "--list"),
        (["HOLD", "--out", "a.kml"], ".gpx or .csv"),
        (["HOLD", "--channels", "ias_kt"], "--format csv"),
        (["HOLD", "--format", "csv", "--channels", "colour"], "no 'colour'"),
        (["missing.toml"], "missing.toml"),
    ],
)
def test_what_cannot_be_flown_is_told_in_a_line(arguments: list[str], says: str, hold: str, tmp_path: Path) -> None:
    result = simulate(*[hold if each == "HOLD" else each for each in arguments])
    assert result.exit_code == 2
    assert says in result.stderr
    assert result.stderr.count("\n") == 1
    assert "Traceback" not in result.stderr
    assert list(tmp_path.iterdir()) == []
