"""The sample flights are what their script makes, and what their README says."""

from __future__ import annotations

import importlib.util
import json
import re
from pathlib import Path
from types import ModuleType

import pytest

FOLDER = Path(__file__).parents[2] / "sample_tracks"


def build_script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("sample_build", FOLDER / "build.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def numbers(path: Path) -> list[float]:
    """Every number of the file, times as their digits: equal files but for the last digit of a rounding."""
    return [float(n) for n in re.findall(r"\d+\.\d+", path.read_text(encoding="utf-8"))]


def test_the_sample_flights_are_what_the_script_makes(tmp_path: Path) -> None:
    made = build_script().build(tmp_path)
    assert len(made) >= 6
    for path in made:
        for new in (path, path.with_suffix(".truth.json")):
            kept = FOLDER / new.name
            assert numbers(new) == pytest.approx(numbers(kept), abs=0.011), f"stale {kept.name}: run build.py"
            assert kept.stat().st_size < 400_000


def test_readme_lists_every_sample() -> None:
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    tracks = {p.name for p in FOLDER.iterdir() if p.suffix in (".gpx", ".csv")}
    assert tracks == {name for name in re.findall(r"`([\w.-]+)`", text) if name.endswith((".gpx", ".csv"))}
    for name in tracks:
        truth = json.loads((FOLDER / name).with_suffix(".truth.json").read_text(encoding="utf-8"))
        assert truth["schema"] == "trackgrade.truth/1"
