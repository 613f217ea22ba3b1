"""Hostile files through the real commands: exit 2 or 3, one plain line, nothing half written, nothing runs."""

from __future__ import annotations

import gzip
import os
import re
import signal
import subprocess
import sys
import time
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tests import plain_flight
from tests.awkward.flight import gpx_text, own_csv
from trackgrade.batch.inputs import find_tracks
from trackgrade.commands import main

HEAD = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
BROKEN = {
    "empty.gpx": b"",
    "laughs.gpx": b'<!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]>' + gpx_text().encode()[39:],
    "external.gpx": b'<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]><gpx><trk><name>&x;</name></trk></gpx>',
    "nested.gpx": (HEAD + "<a>" * 5_000).encode(),
    "routes only.gpx": (HEAD + '<rte><rtept lat="1" lon="1"/></rte></gpx>').encode(),
    "no time.gpx": re.sub(r"<time>.*?</time>", "", gpx_text()).encode(),
    "no points.gpx": (HEAD + "<trk><trkseg/></trk></gpx>").encode(),
    "bomb.gpx": gzip.compress(b"\x00" * 120_000_000, compresslevel=1),
    "not numbers.csv": own_csv().replace("44.", "inf").replace("43.", "nan").encode(),
    "year one.csv": own_csv().replace("2026", "0001").encode(),
    "words.csv": b"hello, world\n",
    "binary.gpx": bytes(range(256)) * 50,
    "walk.csv": b"time_utc,lat,lon\n"
    + b"".join(b"2026-05-03T15:%02d:%02dZ,%d,%d\n" % (i // 60, i % 60, i * 7 % 80, i * 13 % 170) for i in range(600)),
    "\x1b]0;owned\x07\x1b[31mred\u202e.gpx": b"nothing",
    "<img src=x onerror=alert(1)>.gpx": b"nothing",
}


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def assert_refused(result: Result) -> None:
    assert result.exit_code in (2, 3), (result.exit_code, result.output, result.exception)
    assert "Traceback" not in result.output
    lines = [line for line in result.stderr.splitlines() if line.startswith("trackgrade: ")]
    assert len(lines) == 1
    assert "fault in trackgrade" not in result.stderr
    assert all(c.isprintable() or c == "\n" for c in result.output)
    assert "root:" not in result.output


@pytest.mark.parametrize("name", BROKEN)
@pytest.mark.parametrize("command", ["grade", "find", "columns"])
def test_a_broken_file_is_refused_by_every_command(tmp_path: Path, hold_file: Path, command: str, name: str) -> None:
    track, out = tmp_path / name, tmp_path / "out"
    track.write_bytes(BROKEN[name])
    out.mkdir()
    more = {
        "grade": ["--hold", hold_file, "--out", out, "--json", out / "d.json", "--csv", out / "laps.csv"],
        "find": ["--write", out],
        "columns": ["--write", out / "map.toml"],
    }[command]
    result = run(command, track, *more)
    if command == "columns" and result.exit_code == 0:  # it shows a table that cannot be read as a flight, too
        assert "Not readable as it is" in result.output or "would be read" in result.output
        assert all(c.isprintable() or c == "\n" for c in result.output)
        return
    assert_refused(result)
    left = [p.name for p in out.iterdir()]
    assert not [n for n in left if n.endswith(".part")]
    assert not [n for n in left if n.endswith((".html", ".toml"))]


@pytest.mark.parametrize(
    "text",
    [
        "name = ",
        "a = " + "[" * 20_000,
        "inbound_course_deg = " + "9" * 5_000,
        "name = 'a'\ninbound_course_deg = nan\n",
        plain_flight.HOLD_TOML.replace("44.0", "91.0"),
        plain_flight.HOLD_TOML.replace("44.0", "inf"),
        plain_flight.HOLD_TOML.replace("minutes = 1.0", "minutes = -1.0"),
        plain_flight.HOLD_TOML + "\n[__proto__]\nx = 1\n",
        "\x00" * 100,
    ],
    ids=["cut", "nested", "digits", "nan", "lat", "inf", "leg", "unknown", "nul"],
)
@pytest.mark.parametrize("what", ["hold", "standard", "columns"])
def test_a_broken_settings_file_is_refused(
    tmp_path: Path, flight_folder: Path, hold_file: Path, what: str, text: str
) -> None:
    wrong, out = tmp_path / "wrong.toml", tmp_path / "out"
    wrong.write_text(text)
    hold = wrong if what == "hold" else hold_file
    more = [] if what == "hold" else [f"--{what}", wrong]
    assert_refused(run("grade", flight_folder / "plain.csv", "--hold", hold, *more, "--out", out))
    assert not out.exists() or not list(out.iterdir())


NAMES = [
    "<script>alert(1)</script>",
    "\x1b]0;owned\x07\x1b[2J\x1b[31mred\x1b[0m",
    "../../../tmp/owned",
    "{{ 7 * 7 }}{% raw %}",
    '" onload="alert(1)',
    "javascript:alert(1)//",
    "\u202egpj.exe",
]


class Tags(HTMLParser):
    """What a browser would do with a page: scripts with their text, handlers, addresses."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.handlers: list[str] = []
        self.addresses: list[str] = []
        self.in_script = False
        self.scripts = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.in_script = tag == "script"
        self.handlers += [name for name, _ in attrs if name.startswith("on")]
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "xlink:href", "action")]

    def handle_data(self, data: str) -> None:
        if self.in_script:
            self.scripts += data

    def handle_endtag(self, tag: str) -> None:
        self.in_script = False


def test_hostile_names_run_nowhere(tmp_path: Path) -> None:
    rows = plain_flight.rows(laps=2)
    text = plain_flight.gpx(rows)
    from xml.sax.saxutils import escape

    marks = "".join(
        f'<wpt lat="44" lon="-93"><time>{rows[200 + 40 * i][0]:%Y-%m-%dT%H:%M:%SZ}</time>'
        f"<name>{escape(''.join(c for c in name if c >= ' '))}</name></wpt>"
        for i, name in enumerate(NAMES)
    )
    text = text.replace("<trk>", f"{marks}<trk>", 1)
    for i, name in enumerate(NAMES):
        folder = tmp_path / str(i)
        folder.mkdir()
        hold = folder / "hold.toml"
        import json

        hold.write_text(plain_flight.HOLD_TOML.replace('"Plain practice hold"', json.dumps(name)))
        track = folder / (name.replace("/", "_").replace("\x00", "") + ".gpx")
        track.write_text(text)
        out = folder / "out"
        result = run("grade", track, "--hold", hold, "--out", out, "--json", out / "d.json")
        if result.exit_code == 2:  # a hold name that is refused for what it is
            assert_refused(result)
            continue
        assert result.exit_code == 0, result.output
        assert all(c.isprintable() or c == "\n" for c in result.output)
        pages = list(folder.rglob("*.html"))
        assert pages
        assert all(page.parent == out for page in pages)
        assert all(ord(c) >= 32 for page in pages for c in page.name)
        tags = Tags()
        tags.feed(pages[0].read_text(encoding="utf-8"))
        assert not tags.handlers
        assert "alert" not in tags.scripts
        assert not [a for a in tags.addresses if not a.startswith(("#", "data:"))]
        assert "\x1b" not in pages[0].read_text(encoding="utf-8")


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
def test_ctrl_c_while_grading_ends_in_one_line_and_leaves_nothing_half_written(
    tmp_path: Path, flight: Path, hold_file: Path
) -> None:
    out = tmp_path / "out"
    command = [sys.executable, "-m", "trackgrade", "grade", *[str(flight)], "--hold", str(hold_file), "--out", str(out)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        time.sleep(1.5)
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=60)
    assert process.returncode in (0, 130)  # 0 where the machine was faster than the finger
    assert "Traceback" not in errors
    if process.returncode:
        assert errors.strip().splitlines()[-1].startswith("trackgrade: interrupted")
    assert not out.exists() or not list(out.glob(".*"))


@pytest.mark.skipif(os.name == "nt" or not Path("/proc").is_dir(), reason="looks processes up in /proc")
def test_a_waiting_worker_ends_when_its_parent_is_killed() -> None:
    code = (
        "import os, time, types; from trackgrade.batch.pool import _pool\n"
        "if __name__ == '__main__':\n"
        "    pool, _ = _pool(1, types.SimpleNamespace(report=False))\n"
        "    print(pool.submit(os.getpid).result(), flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        worker = Path("/proc", process.stdout.readline().strip())
        assert worker.is_dir()
        process.kill()
    until = time.monotonic() + 10
    while worker.is_dir() and time.monotonic() < until:
        time.sleep(0.05)
    assert not worker.is_dir()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_a_full_disk_is_told_in_one_line(tmp_path: Path, flight: Path, hold_file: Path) -> None:
    result = run("grade", flight, "--hold", hold_file, "--out", tmp_path / "out", "--json", "/dev/full")
    assert result.exit_code == 2
    assert "the disk is full" in result.stderr
    assert "Traceback" not in result.output


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_a_terminal_that_takes_no_more_is_told_in_one_line() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "trackgrade", "standards"],
            stdout=full, stderr=subprocess.PIPE, text=True, timeout=60, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "No space left" in done.stderr


FULL = pytest.param("2>/dev/full", marks=pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full"))


@pytest.mark.parametrize("closed", ["<&-", ">&-", "<&- >&- 2>&-", FULL])
def test_streams_closed_by_who_started_it_change_no_status(tmp_path: Path, closed: str) -> None:
    def status(arguments: str) -> int:
        line = f"{sys.executable} -m trackgrade {arguments} {closed}"
        return subprocess.run(["sh", "-c", line], cwd=tmp_path, timeout=60, check=False, capture_output=True).returncode

    assert status("standards") == 0
    assert status("find nothing.gpx") == 2


def test_what_the_system_refuses_is_no_fault_of_ours(tmp_path: Path, flight: Path) -> None:
    """A folder that is gone under one's feet: an error without the name of a file."""
    line = f"mkdir gone && cd gone && rmdir ../gone && {sys.executable} -m trackgrade grade {flight}"
    done = subprocess.run(["sh", "-c", line], cwd=tmp_path, timeout=60, check=False, capture_output=True, text=True)
    assert done.returncode == 2
    assert re.fullmatch(r"trackgrade: the system refused: .* check the folder you are in.*\n", done.stderr)


def test_a_name_that_no_logbook_takes_is_refused_before_anything_is_graded(
    tmp_path: Path, flight: Path, hold_file: Path
) -> None:
    for more in (
        ["--pilot", "a\x1b[31mb"],
        ["--pilot", ""],
        ["--pilot", "pilot A", "--note", "a\u202eb"],
        ["--note", "a\x1b[31mb"],
        ["--note", "a\udcffb"],  # a byte that is no UTF-8, as a shell hands it on
        ["--instructor", "a\u202eb"],
        ["--json", ""],
    ):
        result = run("grade", flight, "--hold", hold_file, "--out", tmp_path / "out", *more)
        assert result.exit_code == 2
        assert len(result.stderr.splitlines()) == 1
        assert "\x1b" not in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("command", [["progress"], ["logbook", "delete", "--yes"], ["logbook", "export", "x.jsonl"]])
def test_a_pilot_whose_name_is_no_text_is_refused(
    tmp_path: Path, flight: Path, hold_file: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    logbook = ["--logbook", tmp_path / "l.sqlite"]
    assert run("grade", flight, "--hold", hold_file, "--no-html", "--pilot", "A", *logbook).exit_code == 0
    result = run(*command, "--pilot", "a\udcff", *logbook)
    assert result.exit_code == 2
    assert "no text" in result.stderr or "no pilot" in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_what_never_ends_is_refused_beside_others(
    tmp_path: Path, flight_folder: Path, hold_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A device that gives bytes for ever, as a track and as a columns map; a pipe that nobody writes to."""
    os.mkfifo(tmp_path / "pipe")
    flight = flight_folder / "plain.csv"
    done = ["--hold", hold_file, "--out", tmp_path / "out", "--jobs", "1"]
    monkeypatch.setattr("trackgrade.track.readers.MOST_BYTES", 1_000_000)
    for endless in ("/dev/zero", tmp_path / "pipe"):
        result = run("grade", flight, endless, *done)
        assert result.exit_code == 2
        assert f"{Path(endless).name} " in result.stderr
        assert (tmp_path / "out" / "index.html").exists()
    assert_refused(run("grade", flight, *done, "--columns", "/dev/zero"))


@pytest.mark.parametrize("name", ["/dev/zero", "deep.jsonl"])
def test_an_import_of_what_is_no_export_is_refused(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "deep.jsonl").write_text("[" * 200_000)
    monkeypatch.setattr("trackgrade.commands.logbook.LONGEST_LINE", 1_000_000)
    assert_refused(run("logbook", "import", tmp_path / name, "--logbook", tmp_path / "l.sqlite"))


def test_a_folder_that_goes_away_while_it_is_looked_through_hides_no_other(
    tmp_path: Path, flight: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for folder in ("a", "gone", ".hidden", "z"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "x.gpx").write_bytes(flight.read_bytes())
    (tmp_path / "z" / "loop").symlink_to(tmp_path)
    scandir = os.scandir

    def without_one(path: str) -> object:
        if "gone" in path:
            raise FileNotFoundError(path)
        return scandir(path)

    (tmp_path / "a" / "round").symlink_to(tmp_path)
    both = [tmp_path / "a" / "x.gpx", tmp_path / "z" / "x.gpx"]
    assert find_tracks([f"{tmp_path}/[az]/**/x**.gpx"]) == find_tracks([f"{tmp_path}/?/*.gpx"]) == both
    monkeypatch.setattr(os, "scandir", without_one)
    assert find_tracks([str(tmp_path)]) == both


def test_a_place_that_cannot_be_written_is_told_in_one_line(tmp_path: Path, flight: Path, hold_file: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    for option in (["--out", tmp_path / "file"], ["--json", tmp_path / "file" / "x"], ["--csv", tmp_path]):
        result = run(
            "grade", flight, "--hold", hold_file, *(["--out", tmp_path / "o"] if "--out" not in option else []), *option
        )
        assert result.exit_code == 2
        assert "Traceback" not in result.output
        assert "fault in trackgrade" not in result.stderr
    assert (tmp_path / "file").read_text() == "in the way"


def test_what_was_assumed_in_reading_is_said_on_the_terminal(
    tmp_path: Path, flight_folder: Path, hold_file: Path
) -> None:
    """An altitude without a unit, a cut file: said where the pilot looks, not only in the report."""
    unsaid = tmp_path / "unsaid.csv"
    unsaid.write_text((flight_folder / "plain.csv").read_text().replace("alt_ft", "Altitude"))
    cut = tmp_path / "cut.gpx"
    cut.write_text(plain_flight.gpx(plain_flight.rows(laps=2))[:-2_000])
    wanted = {unsaid: 'altitude "Altitude" states no unit', cut: "the file is damaged or cut short"}
    out = ["--out", tmp_path / "out"]
    for path, said in wanted.items():
        for result in (run("grade", path, "--hold", hold_file, *out), run("find", path)):
            assert result.exit_code == 0, result.output
            assert f"  note: {said}" in result.stderr
            assert said not in result.stdout
    several = run("grade", *wanted, flight_folder / "plain.csv", "--hold", hold_file, *out)
    assert "In reading 2 of them something was assumed" in several.stderr


def test_no_result_replaces_a_file_that_is_read(tmp_path: Path, flight_folder: Path, hold_file: Path) -> None:
    """--json flight.gpx once cost the pilot the track."""
    track, hold, standard = tmp_path / "flight.csv", tmp_path / "hold.toml", tmp_path / "own.toml"
    track.write_bytes((flight_folder / "plain.csv").read_bytes())
    hold.write_bytes(hold_file.read_bytes())
    standard.write_text(run("standards", "training", "--as-file").stdout)
    (tmp_path / "link.json").symlink_to(track)
    before = {path: path.read_bytes() for path in (track, hold, standard)}
    graded = ["grade", track, "--hold", hold, "--standard", standard, "--no-html"]
    for arguments in (
        [*graded, "--json", track],
        [*graded, "--json", tmp_path / "link.json"],
        [*graded, "--csv", track.parent / ".." / tmp_path.name / track.name],
        [*graded, "--json", hold],
        [*graded, "--csv", standard],
        [*graded, "--json", tmp_path / "same", "--csv", tmp_path / "same"],
        ["brief", hold, "--tas", "100", "--html", hold],
        ["simulate", hold, "--format", "gpx", "--out", hold],
    ):
        result = run(*arguments)
        assert result.exit_code == 2, arguments
        assert "by the same command" in result.stderr
    assert {path: path.read_bytes() for path in before} == before
    assert not (tmp_path / "same").exists()


def test_simulate_does_not_take_the_name_of_a_flown_track(
    tmp_path: Path, hold_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    flown = tmp_path / hold_file.with_suffix(".gpx").name
    flown.write_text("flown")
    result = run("simulate", hold_file, "--laps", "1")
    assert result.exit_code == 2
    assert "exists and was not simulated" in result.stderr
    assert flown.read_text() == "flown"
    flown.unlink()
    for _ in range(2):  # its own it writes anew
        assert run("simulate", hold_file, "--laps", "1").exit_code == 0
