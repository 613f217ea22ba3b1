"""The contract of the command line: exit status, one line for every error, whole files, the same bytes."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result

import trackgrade
from tests import plain_flight
from trackgrade.commands import COMMANDS, console, main

ROOT = Path(trackgrade.__file__).parents[1]
SCHEMA = json.loads((ROOT / "trackgrade" / "exports" / "debrief.schema.json").read_text(encoding="utf-8"))

Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run the program in this process, in an empty folder, with its logbook there."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TRACKGRADE_LOGBOOK", str(tmp_path / "logbook.sqlite"))

    def run(*arguments: object) -> Result:
        return CliRunner().invoke(main, [str(each) for each in arguments])

    return run


def one_error(result: Result, status: int = 2) -> str:
    """The one line on standard error of a run that ended with the status."""
    assert result.exit_code == status, result.output
    assert "Traceback" not in result.output
    lines = result.stderr.splitlines()
    assert len(lines) == 1, result.stderr
    assert lines[0].startswith("trackgrade: ")
    return lines[0]


class TestGraded:
    def test_a_flight_ends_with_0_and_a_verdict_of_at_most_25_lines(
        self, run: Run, flight: Path, hold_file: Path, tmp_path: Path
    ) -> None:
        result = run("grade", flight, "--hold", hold_file)
        assert result.exit_code == 0, result.stderr
        assert len(result.stdout.splitlines()) <= 25
        assert console.CAUTION in result.stdout
        assert "\x1b" not in result.stdout  # not a terminal: no colours
        for number in "123":
            assert f"\n  {number}  " in result.stdout
        report = tmp_path / "reports" / "plain.html"
        assert str(report.relative_to(tmp_path)) in result.stdout
        assert "<html" in report.read_text(encoding="utf-8")

    def test_the_debrief_follows_the_schema_shipped(
        self, run: Run, flight: Path, hold_file: Path, tmp_path: Path
    ) -> None:
        assert run("grade", flight, "--hold", hold_file, "--json", "a.json", "--no-html").exit_code == 0
        debrief = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
        jsonschema.validate(debrief, SCHEMA)
        assert debrief["schema"] == "trackgrade.debrief/1"
        assert [lap["number"] for lap in debrief["laps"]] == [1, 2, 3]
        for lap in debrief["laps"]:
            # A racetrack of one-minute legs by arithmetic, with 2 m of noise: what must come out is known.
            assert lap["outbound_s"] == pytest.approx(60.0, abs=2.5)
            assert lap["inbound_s"] == pytest.approx(60.0, abs=2.5)
        assert not (tmp_path / "reports").exists()

    def test_the_laps_as_csv(self, run: Run, flight: Path, hold_file: Path, tmp_path: Path) -> None:
        assert run("grade", flight, "--hold", hold_file, "--csv", "laps.csv", "--no-html").exit_code == 0
        header, *rows = (tmp_path / "laps.csv").read_text(encoding="utf-8").splitlines()
        assert "lap" in header
        assert len(rows) == 3

    def test_gpx_and_csv_of_one_flight_agree(self, run: Run, flight: Path, hold_file: Path, tmp_path: Path) -> None:
        for each in (flight, flight.with_suffix(".csv")):
            done = run("grade", each, "--hold", hold_file, "--json", f"{each.suffix[1:]}.json", "--no-html")
            assert done.exit_code == 0, done.stderr
        gpx, csv = (json.loads((tmp_path / f"{name}.json").read_text()) for name in ("gpx", "csv"))
        for one, other in zip(gpx["laps"], csv["laps"]):
            assert one["inbound_s"] == pytest.approx(other["inbound_s"], abs=0.2)

    def test_the_same_input_gives_the_same_bytes(self, run: Run, flight: Path, hold_file: Path, tmp_path: Path) -> None:
        for name in ("one", "two"):
            done = run("grade", flight, "--hold", hold_file, "--json", f"{name}.json", "--out", name)
            assert done.exit_code == 0
        assert (tmp_path / "one.json").read_bytes() == (tmp_path / "two.json").read_bytes()
        assert (tmp_path / "one" / "plain.html").read_bytes() == (tmp_path / "two" / "plain.html").read_bytes()

    def test_a_hold_file_among_the_tracks_is_a_hold(self, run: Run, flight: Path, hold_file: Path) -> None:
        assert run("grade", flight, hold_file, "--no-html").exit_code == 0

    def test_another_timing_band_is_labelled_as_the_users(self, run: Run, flight: Path, hold_file: Path) -> None:
        assert run("grade", flight, "--hold", hold_file, "--timing-band", "5", "--json", "a.json").exit_code == 0
        items = json.loads(Path("a.json").read_text())["laps"][0]["items"]
        (timing,) = [item for item in items if item["item"] == "inbound_time"]
        assert timing["limit"] == 5.0

    def test_a_session_is_recorded_for_a_pilot(self, run: Run, flight: Path, hold_file: Path, tmp_path: Path) -> None:
        result = run("grade", flight, "--hold", hold_file, "--no-html", "--pilot", "Pilot A", "--note", "calm")
        assert result.exit_code == 0, result.stderr
        assert "Pilot A" in result.stdout
        assert (tmp_path / "logbook.sqlite").exists()


class TestNoHold:
    def test_status_3_one_line_and_the_debrief_is_still_written(
        self, run: Run, straight_flight: Path, hold_file: Path, tmp_path: Path
    ) -> None:
        result = run("grade", straight_flight, "--hold", hold_file, "--json", "a.json")
        line = one_error(result, 3)
        assert "straight.gpx" in line
        assert "no hold flown" in line
        debrief = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
        jsonschema.validate(debrief, SCHEMA)
        assert debrief["laps"] == []


WRONG_HOLD = plain_flight.HOLD_TOML.replace("143.0", "361.0")
UNKNOWN_KEY = 'colour = "red"\n' + plain_flight.HOLD_TOML


class TestWrong:
    @pytest.mark.parametrize(
        ("arguments", "said"),
        [
            ("grade", "TRACK"),
            ("grade {hold}", "which flight"),
            ("grade none.gpx --hold {hold}", "none.gpx"),
            ("grade {flight} --hold none.toml", "none.toml"),
            ("grade {flight} --hold wrong.toml", "inbound_course_deg"),
            ("grade {flight} --hold unknown.toml", "colour"),
            ("grade {flight} --hold {flight}", "plain.gpx"),
            ("grade empty.gpx --hold {hold}", "empty.gpx"),
            ("grade torn.gpx --hold {hold}", "torn.gpx"),
            ("grade notes.gpx --hold {hold}", "notes.gpx"),
            ("grade {flight} --hold {hold} --standard none", "none"),
            ("grade {flight} --hold {hold} --standard none.toml", "none.toml"),
            ("grade {flight} --hold {hold} --timing-band -3", "--timing-band"),
            ("grade {flight} --hold {hold} --timing-band soon", "--timing-band"),
            ("grade {flight} --hold {hold} --columns none.toml", "none.toml"),
            ("grade {flight} --hold {hold} --jobs 0", "--jobs"),
            ("grade {flight} --hold {hold} --logbook l.sqlite", "--pilot"),
            ("grade {flight} --hold {hold} --colour", "--colour"),
            ("grade {flight} --hold {hold} --out empty.gpx", "empty.gpx"),
            ("grade {flight} --hold {hold} --no-html --json empty.gpx/a.json", "empty.gpx"),
            ("grade . --hold {hold} --out empty.gpx", "empty.gpx"),
            ("find none.gpx", "none.gpx"),
            ("find empty.gpx", "empty.gpx"),
            ("brief none.toml --tas 100", "none.toml"),
            ("brief {hold} --tas -5", "true airspeed"),
            ("columns none.csv", "none.csv"),
            ("standards none", "none"),
            ("simulate none.toml", "none.toml"),
            ("glide {flight}", "no command 'glide'"),
        ],
    )
    def test_one_line_says_what_and_nothing_is_written(
        self, run: Run, flight: Path, hold_file: Path, tmp_path: Path, arguments: str, said: str
    ) -> None:
        for name, content in (
            ("empty.gpx", ""),
            ("torn.gpx", "<gpx><trk><trkseg>"),
            ("notes.gpx", "no track at all"),
            ("wrong.toml", WRONG_HOLD),
            ("unknown.toml", UNKNOWN_KEY),
        ):
            (tmp_path / name).write_text(content, encoding="utf-8")
        before = {path.name for path in tmp_path.iterdir()}
        words = [word.format(flight=flight, hold=hold_file) for word in arguments.split()]
        assert said in one_error(run(*words))
        assert {path.name for path in tmp_path.iterdir()} == before

    def test_a_full_disk(self, run: Run, flight: Path, hold_file: Path) -> None:
        line = one_error(run("grade", flight, "--hold", hold_file, "--no-html", "--csv", "/dev/full"))
        assert "/dev/full" in line

    def test_a_hostile_name_cannot_drive_the_terminal(self, run: Run, tmp_path: Path) -> None:
        hostile = tmp_path / "a\x1b]0;owned\x07\x1b[31m\nb.gpx"
        hostile.write_text("no track", encoding="utf-8")
        (tmp_path / "hold.toml").write_text(plain_flight.HOLD_TOML, encoding="utf-8")
        line = one_error(run("grade", hostile, "--hold", tmp_path / "hold.toml"))
        assert not set(line) & set("\x1b\x07")

    def test_a_fault_of_ours_is_one_line_and_another_status(self, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
        from trackgrade.commands import standards

        def broken(*_: object, **__: object) -> None:
            raise ZeroDivisionError("float division by zero")

        monkeypatch.setattr(standards.command, "callback", broken)
        line = one_error(run("standards"), 1)
        assert "please report it" in line
        assert "ZeroDivisionError" in line

    def test_no_command_shows_the_commands(self, run: Run) -> None:
        result = run()
        assert result.exit_code == 2
        assert all(name in result.stderr for name in COMMANDS)


class TestMany:
    @pytest.fixture
    def flights(self, tmp_path: Path) -> Path:
        folder = tmp_path / "flights"
        folder.mkdir()
        for number in range(3):
            rows = plain_flight.rows(before_s=60, laps=2, after_s=60, seed=number)
            (folder / f"flight {number}.gpx").write_text(plain_flight.gpx(rows), encoding="utf-8")
        return folder

    def test_a_table_an_array_and_a_report_each(self, run: Run, flights: Path, hold_file: Path, tmp_path: Path) -> None:
        result = run("grade", flights, "--hold", hold_file, "--json", "all.json", "--csv", "all.csv", "--jobs", "2")
        assert result.exit_code == 0, result.stderr
        assert "3 flights: 3 graded" in result.stdout
        assert result.stderr == ""  # no progress bar where nobody looks
        debriefs = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))
        assert [debrief["track"]["source"] for debrief in debriefs] == [f"flight {n}.gpx" for n in range(3)]
        assert len((tmp_path / "all.csv").read_text().splitlines()) == 1 + 6
        reports = {f"flight {n}.html" for n in range(3)}
        assert reports <= {path.name for path in (tmp_path / "reports").iterdir()}
        index = (tmp_path / "reports" / "index.html").read_text(encoding="utf-8")
        assert all(f'href="{name.replace(" ", "%20")}"' in index for name in reports)

    def test_a_bad_file_is_named_the_rest_is_graded_and_the_status_says_so(
        self, run: Run, flights: Path, hold_file: Path, tmp_path: Path
    ) -> None:
        (flights / "bad.gpx").write_text("nothing", encoding="utf-8")
        result = run("grade", flights, "--hold", hold_file, "--json", "all.jsonl", "--no-html", "--jobs", "1")
        assert result.exit_code == 2
        assert "3 graded" in result.stdout
        assert "bad.gpx" in result.stderr
        assert "1 of 4 flights could not be graded" in result.stderr
        assert len((tmp_path / "all.jsonl").read_text().splitlines()) == 3

    def test_resume_does_only_what_changed_and_gives_the_same_result(
        self, run: Run, flights: Path, hold_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        from trackgrade.batch import alone

        done: list[str] = []
        grade = alone.grade

        def counted(flight: object, settings: object) -> object:
            done.append(Path(flight.path).name)  # type: ignore[attr-defined]
            return grade(flight, settings)  # type: ignore[arg-type]

        monkeypatch.setattr(alone.run, "__defaults__", (counted,))
        command = ("grade", flights, "--hold", hold_file, "--jobs", "1", "--json")
        first = run(*command, "one.json")
        assert done == ["flight 0.gpx", "flight 1.gpx", "flight 2.gpx"]
        done.clear()
        again = run(*command, "two.json", "--resume")
        assert done == []
        assert again.stdout == first.stdout
        assert (tmp_path / "one.json").read_bytes() == (tmp_path / "two.json").read_bytes()
        rows = plain_flight.rows(before_s=60, laps=3, after_s=60, seed=9)
        (flights / "flight 1.gpx").write_text(plain_flight.gpx(rows), encoding="utf-8")
        (tmp_path / "reports" / "flight 2.html").unlink()
        assert run(*command, "three.json", "--resume").exit_code == 0
        assert done == ["flight 1.gpx", "flight 2.gpx"]
        laps = [len(debrief["laps"]) for debrief in json.loads((tmp_path / "three.json").read_text())]
        assert laps == [2, 3, 2]

    def test_sessions_of_many_flights_are_recorded_and_counted(self, run: Run, flights: Path, hold_file: Path) -> None:
        result = run("grade", flights, "--hold", hold_file, "--no-html", "--jobs", "1", "--pilot", "Pilot A")
        assert result.exit_code == 0, result.stderr
        assert "Recorded in the logbook: 3 sessions." in result.stdout

    def test_several_holds_each_flight_is_graded_where_it_held(
        self, run: Run, flight: Path, hold_file: Path, tmp_path: Path
    ) -> None:
        elsewhere = tmp_path / "elsewhere.toml"
        elsewhere.write_text(plain_flight.HOLD_TOML.replace("lat = 44.0", "lat = 45.0"), encoding="utf-8")
        result = run("grade", flight, "--hold", hold_file, "--hold", elsewhere, "--json", "all.json")
        assert result.exit_code == 0, result.stderr
        debriefs = json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))
        assert [len(debrief["laps"]) for debrief in debriefs] == [3, 0]
        assert sorted(path.name for path in (tmp_path / "reports").iterdir()) == ["index.html", "plain-plain.html"]


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=["Ctrl-C", "told to end"])
def test_an_interrupt_leaves_whole_files_and_resume_goes_on(tmp_path: Path, number: signal.Signals) -> None:
    """In the middle of a batch of two workers; Ctrl-C as a person presses it, to the whole group of processes."""
    folder = tmp_path / "flights"
    folder.mkdir()
    for flight in range(30):
        rows = plain_flight.rows(before_s=60, laps=2, after_s=60, seed=flight)
        (folder / f"{flight:02d}.gpx").write_text(plain_flight.gpx(rows), encoding="utf-8")
    (tmp_path / "hold.toml").write_text(plain_flight.HOLD_TOML, encoding="utf-8")
    (tmp_path / "all.json").write_text("old", encoding="utf-8")
    command = [sys.executable, "-m", "trackgrade", "grade", "flights", "--hold", "hold.toml", "--jobs", "2"]
    command += ["--json", "all.json"]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    running = subprocess.Popen(
        command, cwd=tmp_path, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        start_new_session=True,
    )  # fmt: skip
    reports = tmp_path / "reports"
    waited_until = time.monotonic() + 60.0
    while len(list(reports.glob("*.html"))) < 4 and running.poll() is None and time.monotonic() < waited_until:
        time.sleep(0.02)
    (os.killpg if number == signal.SIGINT else os.kill)(running.pid, number)
    _, stderr = running.communicate(timeout=30)
    assert running.returncode == 130, stderr
    assert len(stderr.splitlines()) == 1
    assert "--resume" in stderr
    assert (tmp_path / "all.json").read_text(encoding="utf-8") == "old"
    whole = sorted(reports.glob("*.html"))
    assert 4 <= len(whole) < 30
    assert all(path.read_text(encoding="utf-8").rstrip().endswith("</html>") for path in whole)
    assert not list(tmp_path.rglob("*.part"))
    again = subprocess.run(
        [*command, "--resume"], cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=120, check=False
    )
    assert again.returncode == 0, again.stderr
    assert len(json.loads((tmp_path / "all.json").read_text(encoding="utf-8"))) == 30


@pytest.mark.skipif(os.name == "nt", reason="pipes of POSIX")
def test_a_reader_that_went_away_is_no_error() -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with os.fdopen(writing, "wb") as pipe:
        done = subprocess.run(
            [sys.executable, "-m", "trackgrade", "--help"], stdout=pipe, stderr=subprocess.PIPE, timeout=60, check=False
        )
    assert done.stderr == b""


class TestDemo:
    def test_the_whole_job_without_input(self, run: Run, tmp_path: Path) -> None:
        result = run("demo")
        assert result.exit_code == 0, result.stderr
        assert "reports/demo.html" in result.stdout.replace(os.sep, "/")
        assert (tmp_path / "reports" / "demo.html").stat().st_size > 10_000
        debrief = json.loads((tmp_path / "reports" / "demo.json").read_text(encoding="utf-8"))
        assert len(debrief["laps"]) == 4
        assert "inbound, true" in result.stdout

    def test_it_replaces_what_it_left_and_nothing_else(self, run: Run, tmp_path: Path) -> None:
        there = tmp_path / "there"
        for _ in range(2):
            assert run("demo", "--out", "there").exit_code == 0
        for name in ("demo.toml", "demo.gpx"):
            before = (there / name).read_text(encoding="utf-8")
            (there / name).write_text(before + "\n", encoding="utf-8")
            refused = run("demo", "--out", "there")
            assert refused.exit_code == 2
            assert f"{name} is there, and not as this command writes it" in refused.stderr
            assert (there / name).read_text(encoding="utf-8") == before + "\n"
            (there / name).write_text(before, encoding="utf-8")
        (tmp_path / "mine").mkdir()
        (tmp_path / "mine" / "demo.json").write_text("mine", encoding="utf-8")
        assert "no demo beside it" in run("demo", "--out", "mine").stderr
        assert [each.name for each in (tmp_path / "mine").iterdir()] == ["demo.json"]

    def test_its_files_can_be_graded_by_hand(self, run: Run) -> None:
        assert run("demo", "--out", "there").exit_code == 0
        assert run("grade", "there/demo.gpx", "--hold", "there/demo.toml", "--no-html").exit_code == 0


class TestFind:
    def test_a_hold_is_proposed_and_can_be_graded_against(self, run: Run, flight: Path, tmp_path: Path) -> None:
        result = run("find", flight, "--write", "holds")
        assert result.exit_code == 0, result.stderr
        (written,) = (tmp_path / "holds").glob("*.toml")
        assert run("grade", flight, "--hold", written, "--json", "a.json", "--no-html").exit_code == 0
        debrief = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
        assert len(debrief["laps"]) == 3
        assert debrief["hold"]["inbound_course_true_deg"] == pytest.approx(plain_flight.COURSE_TRUE_DEG, abs=3.0)

    def test_a_straight_flight_has_none(self, run: Run, straight_flight: Path) -> None:
        assert "no hold" in one_error(run("find", straight_flight), 3)


@pytest.mark.skipif(os.name == "nt", reason="devices of POSIX")
def test_the_debrief_can_go_down_a_pipe(flight: Path, hold_file: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "trackgrade", "grade", str(flight), "--hold", str(hold_file), "--no-html"]
    done = subprocess.run(
        [*command, "--json", "/dev/stdout"], capture_output=True, text=True, timeout=60, cwd=ROOT, check=True
    )
    whole, _ = json.JSONDecoder().raw_decode(done.stdout)
    assert len(whole["laps"]) == 3


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_tells_what_is_left_by_the_last_items_and_not_by_what_was_skipped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    terminal, clock = Terminal(), [100.0]
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(console.time, "monotonic", lambda: clock[0])
    with console.progress(10_000, "flights") as advance:
        for number in range(1_000):
            clock[0] += 0.001 if number < 900 else 0.5  # the first were done by an earlier run
            advance()
    assert "1000/10000, 2.0 flights/s, 1 h 15 min left" in terminal.getvalue()


def test_progress_is_quiet_where_nobody_sees_it(capsys: pytest.CaptureFixture[str]) -> None:
    with console.progress(100, "flights") as advance:
        advance()
    assert capsys.readouterr() == ("", "")
