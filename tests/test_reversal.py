"""A hold flown once in place of a procedure turn: its entry, course, altitude and speed are graded; it has no laps."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.simulated.compare import as_track
from tests.simulated.test_physics import hold
from trackgrade.analysis import analyse
from trackgrade.commands import main
from trackgrade.score.standards import load_standard
from trackgrade.simulator import fly
from trackgrade.simulator.scenarios import CLEAN

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize("entry", ["teardrop", "parallel"])
def test_a_course_reversal_is_graded_without_laps(entry: str) -> None:
    flight = fly(hold(), replace(CLEAN, laps=0, reversal=True, entry=entry), 5)
    debrief = analyse(as_track(flight), flight.hold, load_standard())
    (visit,) = debrief.visits
    assert visit.laps == ()
    assert visit.entry.flown.kind == entry
    assert debrief.verdict.startswith(f"A course reversal by a {entry} entry")
    graded = {item.item: item.result for item in debrief.items}
    assert {"entry", "altitude", "airspeed", "course"} <= set(graded)
    assert set(graded.values()) <= {"within", "not measurable"}
    truth = flight.truth.visits[0].entry
    assert visit.flown.reversal is not None
    assert visit.flown.reversal.end is not None
    assert abs(visit.flown.reversal.end.epoch_s - truth.end) < 0.5


def test_the_commands_fly_and_grade_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    hold_file = str(ROOT / "sample_tracks" / "tarne.toml")
    simulate = ["simulate", hold_file, "--laps", "0", "--entry", "teardrop", "--out", "t.gpx"]
    for command in (simulate, ["grade", "t.gpx", hold_file, "--json", "t.json"]):
        with pytest.raises(SystemExit) as ended:
            main(command)
        assert ended.value.code == 0
    debrief = json.loads(Path("t.json").read_text(encoding="utf-8"))
    assert debrief["laps"] == []
    assert debrief["entry"]["flown"] == "teardrop"


def test_a_direct_entry_reverses_nothing() -> None:
    with pytest.raises(ValueError, match="a direct entry is a lap"):
        fly(hold(), replace(CLEAN, laps=0, reversal=True, entry="direct"), 5)
