"""The hold set, and grading where no hold was named: at a hold of the set, at the one found, or nowhere."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

import trackgrade as tg
from tests import plain_flight
from trackgrade.commands import main
from trackgrade.errors import HoldFileError, UsageError
from trackgrade.exports.schema import debrief_schema
from trackgrade.hold import holdset
from trackgrade.hold.hold import Leg
from trackgrade.hold.holdfile import parse_hold, read_hold_file

Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run the program in this process, in an empty folder, with a hold set of its own there."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "set").mkdir()
    monkeypatch.setenv(holdset.VARIABLE, str(tmp_path / "set"))

    def run(*arguments: object, answers: str = "") -> Result:
        return CliRunner().invoke(main, [str(each) for each in arguments], input=answers)

    return run


class TestSet:
    def test_a_hold_is_added_listed_shown_and_removed(self, run: Run, hold_file: Path, tmp_path: Path) -> None:
        assert run("holds", "add", hold_file).exit_code == 0
        kept = tmp_path / "set" / "plain.toml"
        assert kept.read_text(encoding="utf-8") == hold_file.read_text(encoding="utf-8")  # comments and all
        assert "plain" in run("holds", "list").stdout
        shown = run("holds", "show", "PLAIN", "--html", "page.html")
        assert shown.exit_code == 0, shown.stderr
        assert f"{plain_flight.COURSE_TRUE_DEG:03.0f}° true" in shown.stdout
        assert "X" in shown.stdout
        assert "<svg" in (tmp_path / "page.html").read_text(encoding="utf-8")
        assert run("holds", "remove", "plain").exit_code == 0
        assert not kept.exists()

    def test_nothing_is_written_over_but_by_replace(self, run: Run, hold_file: Path) -> None:
        run("holds", "add", hold_file)
        refused = run("holds", "add", hold_file)
        assert refused.exit_code == 2
        assert "--replace" in refused.stderr
        assert run("holds", "add", hold_file, "--replace").exit_code == 0
        assert run("holds", "add", hold_file, "--name", "other").exit_code == 0

    def test_a_name_that_comes_near_is_told(self, run: Run, hold_file: Path) -> None:
        run("holds", "add", hold_file)
        wrong = run("brief", "--hold", "plian", "--tas", "100")
        assert wrong.exit_code == 2
        assert "did you mean plain?" in wrong.stderr

    def test_a_name_stands_for_its_file_in_every_command(self, run: Run, hold_file: Path, flight: Path) -> None:
        run("holds", "add", hold_file)
        assert run("brief", "--hold", "plain", "--tas", "100").exit_code == 0
        assert run("grade", flight, "--hold", "plain", "--no-html").exit_code == 0
        assert run("simulate", "--hold", "plain", "--laps", "1").exit_code == 0

    def test_a_wrong_file_in_the_set_harms_no_other(self, run: Run, hold_file: Path, tmp_path: Path) -> None:
        run("holds", "add", hold_file)
        (tmp_path / "set" / "broken.toml").write_text("turns = 3", encoding="utf-8")
        listed = run("holds", "list")
        assert "plain" in listed.stdout
        assert "broken.toml" in listed.stderr

    def test_grade_and_find_tell_a_wrong_file_and_go_on(
        self, run: Run, hold_file: Path, tmp_path: Path, flight: Path
    ) -> None:
        run("holds", "add", hold_file)
        (tmp_path / "set" / "broken.toml").write_text("turns = 3", encoding="utf-8")
        for command in (("grade", flight, "--no-html"), ("find", flight)):
            result = run(*command)
            assert result.exit_code == 0, result.stderr
            assert "plain" in result.stdout
            (line,) = [line for line in result.stderr.splitlines() if "broken.toml" in line]
            assert "left out of the hold set" in line
        told = tg.grade(flight, holds=tmp_path / "set").cautions
        assert sum(each in line for each in told) == 1, "one sentence, everywhere"
        with pytest.warns(UserWarning, match="broken.toml") as warned:
            (found,) = tg.find_holds(flight, holds=tmp_path / "set")
        assert (found.name, [str(each.message) in line for each in warned]) == ("plain", [True])
        other = run("holds", "add", "--from-find", flight)
        assert line in other.stderr

    def test_find_names_the_hold_of_the_set_that_was_flown(self, run: Run, hold_file: Path, flight: Path) -> None:
        run("holds", "add", hold_file)
        result = run("find", flight, "--json", "found.json", "--write", "files")
        assert result.exit_code == 0, result.stderr
        (found,) = json.loads(Path("found.json").read_text(encoding="utf-8"))["holds"]
        assert (found["name"], found["which_end"], found["other_end"]) == ("plain", "sure", None)
        assert found["fix_lat"] == pytest.approx(read_hold_file(hold_file).fix.lat_deg)  # type: ignore[union-attr]
        assert "plain" in result.stdout
        assert "in the hold set already" in result.stderr
        refused = run("holds", "add", "--from-find", flight, "--name", "again")
        assert refused.exit_code == 2
        assert "plain" in refused.stderr

    def test_a_folder_that_is_not_there_is_told(self, run: Run) -> None:
        result = run("holds", "list", "--holds", "nowhere")
        assert result.exit_code == 2
        assert "no such folder" in result.stderr

    def test_the_first_hold_makes_the_folder(self, run: Run, hold_file: Path, tmp_path: Path) -> None:
        assert run("holds", "add", hold_file, "--holds", "school").exit_code == 0
        assert (tmp_path / "school" / "plain.toml").is_file()
        (tmp_path / "file").touch()
        assert run("holds", "add", hold_file, "--holds", "file").exit_code == 2

    @pytest.mark.parametrize("name", ["../../up", ".hidden", "con", "a/b", "\x1b[31mred", ""])
    def test_no_name_leaves_the_folder(self, tmp_path: Path, name: str) -> None:
        plan = parse_hold(plain_flight.HOLD_TOML)
        path = holdset.add(plan, tmp_path, name)
        assert path.parent == tmp_path
        assert not path.name.startswith(".")
        assert read_hold_file(path).inbound_course_deg == plan.inbound_course_deg

    def test_what_cannot_be_read_is_not_added(self, tmp_path: Path) -> None:
        with pytest.raises(HoldFileError):
            holdset.add(parse_hold(plain_flight.HOLD_TOML), tmp_path, "a", text="turns = 3")
        assert list(tmp_path.iterdir()) == []


class TestNew:
    def test_every_answer_is_checked_and_none_is_lost(self, run: Run, tmp_path: Path) -> None:
        answers = "\n".join(
            [
                "",
                "Mill",
                "400",
                "143T",
                "up",
                "l",
                "91",
                "",
                "44 06.0 N",
                "east",
                "093 30 W",
                "0",
                "4 nm",
                "low",
                "3000",
            ]
        )
        result = run("holds", "new", answers=answers + "\n")
        assert result.exit_code == 0, result.stderr
        assert "Latitude of the fix: nothing is no such place; write it as 44.25 or 44 15.0 N" in result.stderr
        plan = read_hold_file(tmp_path / "set" / "Mill.toml")
        assert (plan.name, plan.inbound_course_deg, plan.north, plan.turns) == ("Mill", 143.0, "true", "left")
        assert plan.fix == parse_hold(plain_flight.HOLD_TOML).fix.__class__(44.1, -93.5)
        assert plan.leg is not None
        assert plan.leg.nm == 4.0
        assert plan.altitude_ft == 3000.0

    @pytest.mark.parametrize(
        ("typed", "leg"), [("4NM", Leg(nm=4.0)), ("4 nmi", Leg(nm=4.0)), ("1.5 min", Leg(minutes=1.5)), ("", None)]
    )
    def test_a_leg_is_typed_with_its_unit(self, run: Run, tmp_path: Path, typed: str, leg: Leg | None) -> None:
        result = run("holds", "new", "--name", "Mill", answers=f"143\n\n44\n-93\nnm\n4 n\n{typed}\n\n")
        assert result.exit_code == 0, result.stderr
        assert "nm is no number" in result.stderr
        assert "4 n is no number" in result.stderr
        assert read_hold_file(tmp_path / "set" / "Mill.toml").leg == leg

    def test_answers_that_end_leave_no_file(self, run: Run, tmp_path: Path) -> None:
        assert run("holds", "new", answers="Mill\n143\n").exit_code != 0
        assert list((tmp_path / "set").iterdir()) == []


class TestNoHoldNamed:
    def test_the_set_comes_first(self, run: Run, hold_file: Path, flight: Path, tmp_path: Path) -> None:
        run("holds", "add", hold_file)
        result = run("grade", flight, "--json", "a.json", "--write-hold", "kept.toml")
        assert result.exit_code == 0, result.stderr
        debrief = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
        jsonschema.validate(debrief, debrief_schema())
        assert debrief["hold"]["from"] == "set"
        assert debrief["hold"]["name"] == "Plain practice hold"
        assert len(debrief["laps"]) == 3
        report = (tmp_path / "reports" / "plain.html").read_text(encoding="utf-8")
        for told in (result.stdout, report, " ".join(debrief["cautions"])):
            assert "of the hold set" in told
            assert "may have been another" in told

    def test_else_the_hold_that_is_found(self, run: Run, flight: Path, tmp_path: Path) -> None:
        result = run("grade", flight, "--json", "a.json", "--write-hold", "kept.toml")
        assert result.exit_code == 0, result.stderr
        debrief = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
        jsonschema.validate(debrief, debrief_schema())
        assert debrief["hold"]["from"] == "found"
        assert debrief["hold"]["fix_lat"] == pytest.approx(plain_flight.FIX_LAT_DEG, abs=0.003)
        assert len(debrief["laps"]) == 3
        report = (tmp_path / "reports" / "plain.html").read_text(encoding="utf-8")
        for told in (result.stdout, report):
            assert "found in the track" in told
            assert "may have been another" in told
        again = run("grade", flight, "--hold", "kept.toml", "--json", "b.json", "--no-html")
        assert again.exit_code == 0
        by_file = json.loads((tmp_path / "b.json").read_text(encoding="utf-8"))
        assert by_file["hold"]["from"] == "file"
        assert len(by_file["laps"]) == 3

    def test_no_hold_ends_with_3_and_says_what_was_seen(self, run: Run, straight_flight: Path, tmp_path: Path) -> None:
        result = run("grade", straight_flight, "--json", "a.json", "--csv", "a.csv")
        assert result.exit_code == 3
        assert "no hold" in result.stderr
        debrief = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
        jsonschema.validate(debrief, debrief_schema())
        assert debrief["laps"] == []
        assert debrief["hold"] is None
        assert debrief["seen_instead"]
        assert not (tmp_path / "reports" / "straight.html").exists()

    def test_of_many_flights_each_is_graded_where_it_held(
        self, run: Run, hold_file: Path, flight_folder: Path, tmp_path: Path
    ) -> None:
        run("holds", "add", hold_file)
        tracks = [flight_folder / name for name in ("plain.gpx", "plain.csv", "straight.gpx")]
        result = run("grade", *tracks, "--json", "all.json", "--jobs", "2")
        assert result.exit_code == 0, result.stderr
        debriefs = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))
        assert [(each["hold"] or {}).get("from") for each in debriefs] == ["set", "set", None]
        again = run("grade", *tracks, "--json", "again.json", "--resume")
        assert again.exit_code == 0
        assert (tmp_path / "again.json").read_bytes() == (tmp_path / "all.json").read_bytes()

    def test_a_hold_nearby_that_was_not_flown_is_not_taken(self, run: Run, flight: Path, tmp_path: Path) -> None:
        elsewhere = plain_flight.HOLD_TOML.replace("lat = 44.0\n", "lat = 44.03\n")
        assert elsewhere != plain_flight.HOLD_TOML
        (tmp_path / "set" / "near.toml").write_text(elsewhere, encoding="utf-8")
        assert run("grade", flight, "--json", "a.json", "--no-html").exit_code == 0
        assert json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["hold"]["from"] == "found"

    def test_write_hold_is_for_what_was_found(self, run: Run, flight: Path, hold_file: Path) -> None:
        assert run("grade", flight, "--hold", hold_file, "--write-hold", "kept.toml").exit_code == 2

    def test_the_front_door_does_the_same(self, run: Run, flight: Path, hold_file: Path, straight_flight: Path) -> None:
        assert tg.grade(flight).hold.origin == "found"
        run("holds", "add", hold_file)
        assert tg.grade(flight).hold.origin == "set"
        assert "of the hold set" in tg.grade(flight).cautions[-1]
        with pytest.raises(tg.NoHoldFlown):
            tg.grade(straight_flight)


class TestFromFind:
    def test_the_hold_found_is_kept_in_the_set(self, run: Run, flight: Path, tmp_path: Path) -> None:
        assert run("holds", "add", "--from-find", flight, "--name", "mill").exit_code == 0
        assert run("grade", flight, "--hold", "mill", "--no-html").exit_code == 0

    def test_where_none_is_found_nothing_is_added(self, run: Run, straight_flight: Path, tmp_path: Path) -> None:
        assert run("holds", "add", "--from-find", straight_flight).exit_code == 3
        assert list((tmp_path / "set").iterdir()) == []

    def test_files_and_a_track_are_not_both_taken(self, run: Run, flight: Path, hold_file: Path) -> None:
        assert run("holds", "add", hold_file, "--from-find", flight).exit_code == 2
        assert run("holds", "add").exit_code == 2


def test_a_name_with_a_path_is_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(holdset.VARIABLE, str(tmp_path))
    assert holdset.file_or_name("holds/mill.toml") == "holds/mill.toml"
    with pytest.raises(UsageError):
        holdset.file_or_name("mill")
