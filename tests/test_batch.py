"""Many flights: order, names, a worker that dies, what is skipped, and a real cluster with the same bytes."""

from __future__ import annotations

import errno
import gc
import hashlib
import json
import os
import pickle
import signal
import socket
import subprocess
import sys
import time
import weakref
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

import trackgrade
from tests import batch_workers, plain_flight
from trackgrade.batch import alone, pool
from trackgrade.batch.done import DoneBefore
from trackgrade.batch.grading import plan_batch, run
from trackgrade.batch.inputs import find_holds, find_tracks
from trackgrade.batch.outputs import debriefs_at, laps_at
from trackgrade.batch.work import Flight, Graded, Outcome, Settings, plan_flights
from trackgrade.errors import OutputError, UsageError
from trackgrade.exports.plain import compact
from trackgrade.files import whole_file
from trackgrade.hold.holdfile import read_hold_file
from trackgrade.score.standards import load_standard


@pytest.fixture(scope="session")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six tracks in two folders: four flights that hold, one that does not, one that is no track; and the hold."""
    folder = tmp_path_factory.mktemp("archive")
    (folder / "spring").mkdir()
    for number in range(4):
        rows = plain_flight.rows(before_s=60, laps=2, after_s=60, seed=number)
        place = folder / "spring" if number % 2 else folder
        (place / f"flight {number}.gpx").write_text(plain_flight.gpx(rows), encoding="utf-8")
    straight = plain_flight.rows(before_s=120, laps=0, after_s=120)
    (folder / "straight.gpx").write_text(plain_flight.gpx(straight), encoding="utf-8")
    (folder / "broken.gpx").write_text("<gpx><trk>", encoding="utf-8")
    (folder / "plain.toml").write_text(plain_flight.HOLD_TOML, encoding="utf-8")
    (folder / ".hidden.gpx").write_text("not looked at", encoding="utf-8")
    (folder / "notes.md").write_text("not a track", encoding="utf-8")
    return folder


@pytest.fixture
def settings(archive: Path) -> Settings:
    hold = ("plain", read_hold_file(archive / "plain.toml"))
    return Settings(holds=(hold,), standard=load_standard(), version=trackgrade.__version__, report=False)


def flights_named(*names: str) -> list[Flight]:
    return [Flight(name, name) for name in names]


class TestInputs:
    def test_a_folder_gives_its_tracks_sorted_and_nothing_hidden(self, archive: Path) -> None:
        names = [path.relative_to(archive).as_posix() for path in find_tracks([str(archive)])]
        assert names == sorted(names)
        assert names == [
            "broken.gpx", "flight 0.gpx", "flight 2.gpx", "spring/flight 1.gpx", "spring/flight 3.gpx", "straight.gpx",
        ]  # fmt: skip

    def test_a_pattern_is_expanded_where_the_shell_did_not(self, archive: Path) -> None:
        found = find_tracks([str(archive / "**" / "flight*.gpx")])
        assert [path.name for path in found] == ["flight 0.gpx", "flight 2.gpx", "flight 1.gpx", "flight 3.gpx"]
        assert find_tracks([str(archive / "spring" / "**")]) == find_tracks([str(archive / "spring" / "*")])

    def test_a_file_named_twice_is_done_once(self, archive: Path) -> None:
        one = archive / "flight 0.gpx"
        assert find_tracks([str(one), str(archive / "spring" / ".." / "flight 0.gpx")]) == [one]

    def test_a_name_with_brackets_is_a_name_first(self, tmp_path: Path) -> None:
        odd = tmp_path / "flight [1].gpx"
        odd.touch()
        assert find_tracks([str(odd)]) == [odd]

    @pytest.mark.parametrize(
        ("argument", "said"),
        [("none.gpx", "no such file"), ("*.gpx", "no file matches"), ("*/" * 2_000 + "a", "shorten it")],
    )
    def test_nothing_there_is_said(self, tmp_path: Path, argument: str, said: str) -> None:
        with pytest.raises(UsageError, match=said):
            find_tracks([str(tmp_path / argument)])

    def test_a_folder_that_may_not_be_looked_into_is_said_and_passed_over(
        self, archive: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        scandir = os.scandir

        def refuse(path: str) -> object:  # as the system does for anybody but the superuser
            if Path(path).name == "spring":
                raise PermissionError(errno.EACCES, "Permission denied", path)
            return scandir(path)

        monkeypatch.setattr(os, "scandir", refuse)
        flights, settings = plan_batch([str(archive)], [str(archive / "plain.toml")])
        assert [Path(flight.path).name for flight in flights] == [
            "broken.gpx", "flight 0.gpx", "flight 2.gpx", "straight.gpx",
        ]  # fmt: skip
        assert settings.left_out == (
            f"{archive / 'spring'}: no permission to look into this folder; it was passed over",
        )

    def test_an_empty_folder_is_said(self, tmp_path: Path) -> None:
        with pytest.raises(UsageError, match="no track"):
            find_tracks([str(tmp_path)])
        with pytest.raises(UsageError, match="no hold file"):
            find_holds([str(tmp_path)])


class TestNames:
    def test_names_are_unique_safe_and_the_same_every_time(self) -> None:
        paths = [Path(name) for name in ("a/x.gpx", "b/X.csv", "a/con.gpx", "a/what?:*.gpx", "a/y.gpx.gz", "a/x.csv")]
        flights = plan_flights(paths)
        names = [flight.report_name for flight in flights]
        assert names == [flight.report_name for flight in plan_flights(paths)]
        assert len({name.lower() for name in names}) == len(names)  # Windows and macOS do not tell case apart
        assert names[0] == "a-x"
        assert names[4] == "y"
        assert "con" not in names
        assert not set("".join(names)) & set('<>:"/\\|?*')


class TestPool:
    def test_outcomes_come_in_the_order_given(self, settings: Settings) -> None:
        flights = flights_named("slow a", *(f"b{number}" for number in range(20)), "slow c", "d")
        done = list(pool.run(flights, settings, 2, lambda: None, batch_workers.echo))
        assert [outcome.path for outcome in done] == [flight.path for flight in flights]
        workers = {outcome.error for outcome in done}
        assert len(workers) == 2
        assert str(os.getpid()) not in workers

    def test_progress_counts_every_flight_once(self, settings: Settings) -> None:
        counted = []
        flights = flights_named(*"abcdefgh")
        list(pool.run(flights, settings, 2, lambda: counted.append(1), batch_workers.killed_by_bad))
        assert len(counted) == len(flights)

    def test_a_flight_that_kills_its_worker_stops_no_other(self, settings: Settings) -> None:
        flights = flights_named("a", "b", "bad", "c", "d", "also bad", *"efghijklmnop")
        done = list(pool.run(flights, settings, 2, lambda: None, batch_workers.killed_by_bad))
        assert [outcome.path for outcome in done] == [flight.path for flight in flights]
        assert [outcome.path for outcome in done if "worker died" in outcome.error] == ["bad", "also bad"]
        assert sum(outcome.error == "done" for outcome in done) == len(flights) - 2

    def test_a_worker_uses_one_thread(self, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
        done = list(pool.run(flights_named("a", "b"), settings, 2, lambda: None, batch_workers.threads))
        assert {outcome.error for outcome in done} == {"1"}

    def test_stopping_early_ends_the_workers(self, settings: Settings) -> None:
        outcomes = pool.run(flights_named(*["slow"] * 40), settings, 2, lambda: None, batch_workers.echo)
        worker = int(next(outcomes).error)
        started = time.perf_counter()
        outcomes.close()
        assert time.perf_counter() - started < 3.0  # the 39 left would take 6 s
        with pytest.raises(ProcessLookupError):
            os.kill(worker, 0)


def test_what_a_flight_left_in_memory_is_gone_before_the_next(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command looks for garbage rarely: alone in its process a batch grew by 0.36 MB a flight."""
    left: list[weakref.ref[batch_workers.Loop]] = []
    before = gc.get_threshold()
    gc.set_threshold(200_000)
    try:
        monkeypatch.setattr(alone.run, "__defaults__", (batch_workers.loops(left),))
        for _, outcome in run(flights_named("a", "b", "c"), settings):
            assert outcome.error == "done"
            assert all(each() is None for each in left[:-1])
    finally:
        gc.set_threshold(*before)
    assert len(left) == 3


class TestOutputs:
    def test_one_debrief_is_written_as_it_is(self, tmp_path: Path) -> None:
        with debriefs_at(tmp_path / "a.json", single=True) as add:
            add("a", Graded("plain", True, ({"laps": []}, "")))
        assert json.loads((tmp_path / "a.json").read_text()) == {"laps": []}

    def test_many_are_an_array_or_lines_or_a_folder(self, tmp_path: Path) -> None:
        folder = tmp_path / "each"
        folder.mkdir()
        for target in (tmp_path / "a.json", tmp_path / "a.jsonl", folder):
            with debriefs_at(target, single=False) as add:
                add("one.json", Graded("plain", True, ({"n": 1}, "")))
                add("two.json", Graded("plain", True, ({"n": 2}, "")))
        assert json.loads((tmp_path / "a.json").read_text()) == [{"n": 1}, {"n": 2}]
        assert [json.loads(line) for line in (tmp_path / "a.jsonl").read_text().splitlines()] == [{"n": 1}, {"n": 2}]
        assert json.loads((folder / "two.json").read_text()) == {"n": 2}

    def test_none_at_all_is_still_json(self, tmp_path: Path) -> None:
        with debriefs_at(tmp_path / "a.json", single=False):
            pass
        assert json.loads((tmp_path / "a.json").read_text()) == []

    def test_laps_stand_under_one_header(self, tmp_path: Path) -> None:
        with laps_at(tmp_path / "laps.csv") as add:
            add("track,lap\na,1\na,2\n")
            add("track,lap\nb,1\n")
        assert (tmp_path / "laps.csv").read_text() == "track,lap\na,1\na,2\nb,1\n"

    def test_an_interrupt_leaves_the_old_file_whole_and_no_other(self, tmp_path: Path) -> None:
        target = tmp_path / "all.json"
        target.write_text("old")

        def interrupted() -> None:
            with whole_file(target, text=True) as file:
                print("new, half", file=file, flush=True)
                signal.raise_signal(signal.SIGINT)

        with pytest.raises(KeyboardInterrupt):
            interrupted()
        assert target.read_text() == "old"
        assert [path.name for path in tmp_path.iterdir()] == ["all.json"]

    def test_a_place_that_cannot_be_written_is_named(self, tmp_path: Path) -> None:
        (tmp_path / "file").touch()
        with pytest.raises(OutputError, match=r"all\.json"), whole_file(tmp_path / "file" / "all.json"):
            pass

    def test_results_of_many_flights_are_written_through_a_link_and_keep_its_permissions(self, tmp_path: Path) -> None:
        kept = tmp_path / "kept.csv"
        kept.write_text("old")
        kept.chmod(0o600)
        (tmp_path / "laps.csv").symlink_to(kept)
        with laps_at(tmp_path / "laps.csv") as add:
            add("track,lap\na,1\n")
        assert (tmp_path / "laps.csv").is_symlink()
        assert kept.read_text() == "track,lap\na,1\n"
        assert kept.stat().st_mode & 0o777 == 0o600


class TestDoneBefore:
    DEBRIEF = {  # noqa: RUF012
        "track": {"sha256": hashlib.sha256(b"content").hexdigest()}, "hold": None, "entry": None, "laps": [],
        "items": [], "findings": [], "verdict": "é", "seen_instead": [],
    }  # fmt: skip
    GRADED = Outcome("a.gpx", (Graded("plain", True, (DEBRIEF, "lap\n1\n")),))

    def test_what_was_kept_is_found_and_nothing_else(self, tmp_path: Path, settings: Settings) -> None:
        path = tmp_path / "a.gpx"
        path.write_text("content")
        flight = Flight(str(path), "a")
        with DoneBefore(tmp_path / "out") as done:
            assert done.find(flight, settings) is None
            done.keep(flight, settings, self.GRADED, [""])
        with DoneBefore(tmp_path / "out") as done:
            found = done.find(flight, settings)
            assert found is not None
            assert done.has(flight, settings)
            assert found.earlier
            assert texts([found]) == texts([self.GRADED])
            assert found.graded[0].debrief == self.DEBRIEF
            other = Settings(settings.holds, settings.standard.with_timing_band(5.0), settings.version, settings.report)
            assert done.find(flight, other) is None
            newer = Settings(settings.holds, settings.standard, "9.9", settings.report)
            assert done.find(flight, newer) is None
            path.write_text("edited")
            assert done.find(flight, settings) is None

    def test_a_report_that_is_gone_or_edited_is_made_again(self, tmp_path: Path, settings: Settings) -> None:
        path = tmp_path / "a.gpx"
        path.write_text("content")
        flight = Flight(str(path), "a")
        with DoneBefore(tmp_path) as done:
            (tmp_path / "a.html").write_text("<html>")
            done.keep(flight, settings, Outcome("a.gpx", (replace(self.GRADED.graded[0], html="<html>"),)), ["a.html"])
            assert done.find(flight, settings) is not None
            (tmp_path / "a.html").write_text("<html")
            assert done.find(flight, settings) is None

    def test_a_refused_flight_is_tried_again(self, tmp_path: Path, settings: Settings) -> None:
        path = tmp_path / "a.gpx"
        path.write_text("content")
        with DoneBefore(tmp_path) as done:
            done.keep(Flight(str(path), "a"), settings, Outcome(str(path), error="no times"), [])
            assert done.find(Flight(str(path), "a"), settings) is None


def texts(outcomes: list[Outcome]) -> list[tuple[object, ...]]:
    """Everything that may be written of flights, whether it came from another process or not."""
    return [
        (
            outcome.error,
            [(each.hold, each.flown, each.debrief_json, each.laps_csv, each.html) for each in outcome.graded],
        )
        for outcome in outcomes
    ]


def graded_archive(archive: Path, settings: Settings, **how: object) -> list[Outcome]:
    flights = plan_flights(find_tracks([str(archive)]))
    return [outcome for _, outcome in run(flights, settings, **how)]  # type: ignore[arg-type]


@pytest.fixture(scope="session")
def one_worker(archive: Path) -> list[Outcome]:
    hold = ("plain", read_hold_file(archive / "plain.toml"))
    settings = Settings(holds=(hold,), standard=load_standard(), version=trackgrade.__version__, report=False)
    return graded_archive(archive, settings, jobs=1)


def test_an_archive_is_graded_and_a_bad_file_stops_nothing(one_worker: list[Outcome]) -> None:
    assert [bool(outcome.error) for outcome in one_worker] == [True, False, False, False, False, False]
    assert [outcome.flown for outcome in one_worker] == [False, True, True, True, True, False]
    assert "broken.gpx" in one_worker[0].error
    assert not one_worker[0].fault
    for outcome in one_worker[1:5]:
        assert len(outcome.graded[0].debrief["laps"]) == 2


def test_two_workers_give_the_same_bytes(archive: Path, settings: Settings, one_worker: list[Outcome]) -> None:
    two_workers = graded_archive(archive, settings, jobs=2)
    assert texts(two_workers) == texts(one_worker)
    for here, there in zip(one_worker, two_workers):
        assert [each.debrief for each in here.graded] == [each.debrief for each in there.graded]


def test_rows_are_made_of_the_headline_as_of_the_whole_debrief(one_worker: list[Outcome]) -> None:
    from trackgrade.commands import summary
    from trackgrade.report import index

    for outcome in one_worker:
        for graded in pickle.loads(pickle.dumps(outcome)).graded:  # as from a worker
            assert index.row(graded.headline) == index.row(graded.debrief)
            assert summary.not_flown(graded.headline) == summary.not_flown(graded.debrief)
            if graded.flown:
                assert summary.row(graded.headline) == summary.row(graded.debrief)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[str]:
    """A scheduler and two worker processes on loopback, as an operator would start them."""
    address = f"tcp://127.0.0.1:{free_port()}"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE, "cwd": tmp_path}
    environment = os.environ | {"PYTHONPATH": str(Path(trackgrade.__file__).parents[1]), "OMP_NUM_THREADS": "1"}
    scheduler = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", address, "--no-dashboard"]
    worker = [sys.executable, "-m", "distributed.cli.dask_worker", address, "--nthreads", "1", "--no-dashboard"]
    worker += ["--no-nanny", "--local-directory", str(tmp_path)]
    processes = [subprocess.Popen(command, env=environment, **quiet) for command in (scheduler, worker, worker)]  # type: ignore[call-overload]
    try:
        yield address
    finally:
        for process in reversed(processes):
            process.kill()  # they hold nothing worth a goodbye, which takes them many seconds
            process.wait()
            assert process.stderr is not None
            process.stderr.close()


def test_a_cluster_of_two_workers_gives_the_same_bytes(
    archive: Path, cluster: str, settings: Settings, one_worker: list[Outcome], tmp_path: Path
) -> None:
    """The command itself, against a real scheduler; in its own process, where the library may warn as it likes."""
    wait_for_workers(cluster, 2)
    arguments = ["grade", str(archive), "--hold", str(archive / "plain.toml"), "--scheduler", cluster, "--no-html"]
    arguments += ["--json", str(tmp_path / "all.jsonl"), "--out", str(tmp_path / "out")]
    done = subprocess.run(
        [sys.executable, "-m", "trackgrade", *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=Path(trackgrade.__file__).parents[1],
        check=False,
    )
    assert done.returncode == 2, done.stderr  # the broken file
    assert "1 of 6 flights could not be graded" in done.stderr
    lines = (tmp_path / "all.jsonl").read_text(encoding="utf-8").splitlines()
    assert lines == [compact(graded.debrief) for outcome in one_worker for graded in outcome.graded]


@pytest.mark.sweep
def test_sixty_flights_give_the_same_files_alone_by_two_workers_and_by_a_cluster(cluster: str, tmp_path: Path) -> None:
    """Reports, debriefs and laps, byte for byte, whoever does the work; docs/archive.md has the large run."""
    (tmp_path / "flights").mkdir()
    for number in range(60):
        rows = plain_flight.rows(before_s=60, laps=2, after_s=60, seed=number)
        (tmp_path / "flights" / f"{number:02d}.gpx").write_text(plain_flight.gpx(rows), encoding="utf-8")
    (tmp_path / "plain.toml").write_text(plain_flight.HOLD_TOML, encoding="utf-8")
    wait_for_workers(cluster, 2)
    written = {}
    for way in (["--jobs", "1"], ["--jobs", "2"], ["--scheduler", cluster]):
        out = tmp_path / way[0].strip("-") / way[1][:1]
        arguments = ["grade", "flights", "--hold", "plain.toml", *way, "--out", str(out)]
        arguments += ["--json", str(out / "all.jsonl"), "--csv", str(out / "laps.csv")]
        done = subprocess.run(
            [sys.executable, "-m", "trackgrade", *arguments],
            capture_output=True, text=True, timeout=300, cwd=tmp_path, check=False,
            env=os.environ | {"PYTHONPATH": str(Path(trackgrade.__file__).parents[1])},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        written[way[0] + way[1][:1]] = {
            path.name: path.read_bytes() for path in out.iterdir() if path.name not in DoneBefore.FILES
        }
    alone, two, spread = written.values()
    assert len(alone) == 60 + 1 + 2  # reports, their index, debriefs and laps
    assert two == alone
    assert spread == alone


def wait_for_workers(address: str, count: int) -> None:
    """Until the scheduler knows its workers; asked in a process of its own, as in the test."""
    code = (
        "import sys; from distributed import Client; client = Client(sys.argv[1], timeout=60);"
        " client.wait_for_workers(int(sys.argv[2]), timeout=60); client.close()"
    )
    subprocess.run([sys.executable, "-c", code, address, str(count)], check=True, capture_output=True, timeout=120)


def test_a_scheduler_that_does_not_answer_is_said(archive: Path, tmp_path: Path) -> None:
    patient = (
        "from trackgrade.batch import cluster; cluster.CONNECT_S = 1.0; from trackgrade.commands import main; main()"
    )
    hold, nobody = str(archive / "plain.toml"), f"tcp://127.0.0.1:{free_port()}"
    arguments = ["grade", str(archive), "--hold", hold, "--no-html", "--scheduler", nobody, "--out", str(tmp_path)]
    done = subprocess.run(
        [sys.executable, "-c", patient, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=Path(trackgrade.__file__).parents[1],
        check=False,
    )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "no scheduler answers" in done.stderr
