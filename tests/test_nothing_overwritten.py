"""No result over a file that is read, and no two results under one name: whatever is asked for, nothing is lost."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from trackgrade.commands import main


@pytest.fixture
def folder(tmp_path: Path, flight: Path, hold_file: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copy(flight, tmp_path / "a.gpx")
    shutil.copy(hold_file, tmp_path / "h.toml")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TRACKGRADE_LOGBOOK", str(tmp_path / "own.sqlite"))
    return tmp_path


def run(line: str) -> Result:
    return CliRunner().invoke(main, line.split())


def content(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.parametrize(
    "line",
    [
        "grade a.gpx --hold h.toml --pilot A --csv own.sqlite",
        "grade a.gpx --hold h.toml --pilot A --csv own.sqlite-wal",
        "grade a.gpx --hold h.toml --pilot A --logbook l.sqlite --csv l.sqlite",
        "grade a.gpx --hold h.toml --pilot A --logbook sub/../l.sqlite --json ./l.sqlite",
        "grade a.gpx --hold h.toml --pilot A --logbook l.sqlite --csv link.sqlite",
        "grade a.gpx --hold h.toml --json h.toml",
        "grade a.gpx --hold h.toml --csv a.gpx",
        "grade a.gpx --hold h.toml --json one --csv ./one",
        "grade a.gpx --hold h.toml --json One --csv oNE",
        "grade a.gpx --hold h.toml --json caf\u00e9 --csv cafe\u0301",
        "grade a.gpx --hold h.toml --json hard.json",
        "grade a.gpx a2.gpx --hold h.toml --out . --csv index.html",
        "grade a.gpx a2.gpx --hold h.toml --out . --csv resume.sqlite",
        "brief h.toml --tas 100 --html h.toml",
        "simulate h.toml --out h.csv --format csv --seed 1",
        "grade a.gpx --hold h.toml --no-html --gpx a.gpx",
        "grade a.gpx --hold h.toml --no-html --kml one --geojson one",
        "grade a.gpx --hold set --csv set/s.toml",
        "grade a.gpx --hold s --holds set --json set/s.toml",
        "grade a.gpx --holds set --no-html --csv set/s.toml",
        "grade a.gpx --no-html --holds set --write-hold a.gpx",
        "grade a.gpx a2.gpx --hold h.toml --out . --compare --csv comparison.html",
        "progress --logbook l.sqlite --no-html --json l.sqlite",
        "progress --logbook l.sqlite --out . --json progress-class.html",
        "progress --logbook l.sqlite --out . --each --json progress-a.html",
        "progress --logbook l.sqlite --out . --pilot A --json ./progress-a.html",
        "progress --logbook progress-class.html --out .",
        "progress --logbook progress-a.html --out . --pilot A",
        "find a.gpx --html a.gpx",
        "find a.gpx --json one --html ./one",
        "holds add h.toml set/h.toml --replace --holds other",
        "columns a.gpx --write h.toml",
        "columns a.csv --write gone/../a.csv",
        "find a.gpx --holds set --json set/s.toml",
        "grade a.gpx --holds set --no-html --csv set/wrong.toml",
        "grade a.gpx --hold h.toml --json - --csv -",
    ],
)
def test_a_result_over_an_input_or_another_result_is_refused_before_anything_is_written(
    folder: Path, line: str
) -> None:
    for name in ("sub", "set", "other"):
        (folder / name).mkdir()
    shutil.copy("a.gpx", "a2.gpx")
    Path("a.csv").write_text("time_utc,lat,lon\n2026-05-03T15:00:00Z,44,-93\n", encoding="utf-8")
    for name in ("s", "h"):
        shutil.copy("h.toml", f"set/{name}.toml")
    if "wrong" in line:
        Path("set/wrong.toml").write_text("left out of the set, and somebody's own all the same", encoding="utf-8")
    (folder / "hard.json").hardlink_to("a.gpx")
    if "l.sqlite" in line:
        assert run("grade a.gpx --hold h.toml --no-html --pilot A --logbook l.sqlite").exit_code == 0
        (folder / "link.sqlite").symlink_to("l.sqlite")
    elif "--logbook" in line:
        place = line.split("--logbook ")[1].split()[0]
        assert run(f"grade a.gpx --hold h.toml --no-html --pilot A --logbook {place}").exit_code == 0
    if "simulate" in line:
        (folder / "h.csv").symlink_to("h.toml")
    before = {path: content(path) for path in folder.rglob("*") if path.is_file()}
    done = run(line)
    assert done.exit_code == 2
    assert any(words in done.stderr for words in ("give another name", "add it alone"))
    assert {path: content(path) for path in folder.rglob("*") if path.is_file()} == before


def test_names_that_meet_get_a_number(folder: Path) -> None:
    """Flight a at hold b-c and flight a-b at hold c would both be a-b-c; a track called index meets the index."""
    for name in ("a-b.gpx", "index.gpx"):
        shutil.copy("a.gpx", name)
    for name in ("b-c.toml", "c.toml"):
        shutil.copy("h.toml", name)
    done = run("grade a.gpx a-b.gpx index.gpx --hold b-c.toml --hold c.toml --out out --json each --jobs 1")
    assert done.exit_code == 0, done.output
    names = {path.name for path in (folder / "out").glob("*.html")}
    assert names == {
        "a-b-c.html", "a-c.html", "a-b-b-c.html", "a-b-c-2.html", "index-b-c.html", "index-c.html", "index.html",
    }  # fmt: skip
    index = (folder / "out" / "index.html").read_text(encoding="utf-8")
    assert all(f'href="{name}"' in index for name in names - {"index.html"})


def test_a_track_called_index_keeps_its_report_beside_the_index(folder: Path) -> None:
    shutil.copy("a.gpx", "index.gpx")
    assert run("grade a.gpx index.gpx --hold h.toml --out out --jobs 1").exit_code == 0
    assert {path.name for path in (folder / "out").glob("*.html")} == {"a.html", "index-2.html", "index.html"}


def test_a_track_whose_name_a_report_would_take_is_spared(folder: Path) -> None:
    """The content of a file decides what it is: a GPX may be called t.html."""
    shutil.move("a.gpx", "t.html")
    before = content(folder / "t.html")
    assert run("grade t.html --hold h.toml --out .").exit_code == 0
    assert content(folder / "t.html") == before
    assert (folder / "t-2.html").is_file()


def test_a_result_asked_for_by_name_keeps_it_before_a_report(folder: Path) -> None:
    assert run("grade a.gpx --hold h.toml --out . --json a.html").exit_code == 0
    assert (folder / "a.html").read_text(encoding="utf-8").startswith("{")
    assert (folder / "a-2.html").is_file()


def test_pages_of_laps_over_each_other_and_reports_take_no_name_twice(folder: Path) -> None:
    """Flight comparison at hold 2 would be comparison-2, as the second page of laps over each other."""
    shutil.copy("a.gpx", "comparison.gpx")
    text = (folder / "h.toml").read_text(encoding="utf-8")
    (folder / "2.toml").write_text(text.replace("_deg = 143.0", "_deg = 144.0"), encoding="utf-8")
    line = "grade comparison.gpx a.gpx --hold h.toml --hold 2.toml --out out --compare --jobs 1"
    assert run(line).exit_code == 0
    names = {path.name for path in (folder / "out").glob("*.html")}
    assert names >= {"comparison-2.html", "comparison-3.html"}
    assert len(names) == 4 + 2 + 1, sorted(names)
