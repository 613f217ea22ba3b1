"""The real commands: file names of any bytes, arguments of any kind, results and inputs whose names meet."""

from __future__ import annotations

import contextlib
import json
import os
import random
import sqlite3
import tempfile
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from click.testing import CliRunner, Result

from tests import plain_flight
from tests.fuzz.damage import near
from tests.fuzz.graded import GRADED

#: How a command may end: done, wrong usage or unreadable input, no hold flown.
ENDS = (0, 2, 3)
#: And one that asks, where nobody answers any more.
INTERRUPTED = 130


@cache
def flight_csv(seed: int = 1) -> bytes:
    return plain_flight.csv(plain_flight.rows(before_s=90, laps=1, after_s=40, interval_s=2.0, seed=seed)).encode()


@cache
def logbook_bytes() -> bytes:
    """A logbook with one session of pilot A."""
    with a_folder() as here:
        (here / "a.csv").write_bytes(flight_csv())
        (here / "h.toml").write_text(plain_flight.HOLD_TOML)
        assert ran(["grade", "a.csv", "--hold", "h.toml", "--no-html", "--pilot", "A"]).exit_code == 0
        with contextlib.closing(sqlite3.connect("own.sqlite")) as logbook:
            logbook.execute("pragma wal_checkpoint(truncate)")
        return (here / "own.sqlite").read_bytes()


@contextlib.contextmanager
def a_folder() -> Iterator[Path]:
    """A fresh folder to work in, some folders deep, with a hold set and a logbook of its own."""
    before, kept = Path.cwd(), {name: os.environ.get(name) for name in ("TRACKGRADE_HOLDS", "TRACKGRADE_LOGBOOK")}
    with tempfile.TemporaryDirectory(prefix="fuzz-") as outermost:  # ../.. is still ours to look into and write to
        name = f"{outermost}/a/b/c"
        Path(name).mkdir(parents=True)
        os.chdir(name)
        os.environ |= {"TRACKGRADE_HOLDS": f"{name}/own set", "TRACKGRADE_LOGBOOK": f"{name}/own.sqlite"}
        try:
            yield Path(name)
        finally:
            os.chdir(before)
            for key, value in kept.items():
                os.environ.pop(key, None)
                if value is not None:
                    os.environ[key] = value


def ran(arguments: list[str], typed: str = "") -> Result:
    """One command in this process; it ends as the contract says, in words fit for a terminal."""
    from trackgrade.commands import main

    done = CliRunner(catch_exceptions=False).invoke(main, arguments, input=typed)
    said = f"{arguments}: {done.exit_code} {done.stderr[-600:]}"
    if done.exit_code not in ENDS and not (done.exit_code == INTERRUPTED and arguments[:2] == ["holds", "new"]):
        os.environ["TRACKGRADE_TRACEBACK"] = "1"
        try:
            CliRunner(catch_exceptions=False).invoke(main, arguments, input=typed)
        finally:
            del os.environ["TRACKGRADE_TRACEBACK"]
        raise AssertionError(said)
    assert "Traceback" not in done.output, said
    assert "fault in trackgrade" not in done.stderr, said
    assert all(c.isprintable() or c in "\n\ufffd" or "\udc80" <= c <= "\udcff" for c in done.output), said
    if done.exit_code:
        assert any(line.startswith("trackgrade: ") for line in done.stderr.splitlines()), said
    return done


def whole(path: Path) -> None:
    """A result that stands is whole: no half page, no half text."""
    data = path.read_bytes()
    if data.startswith(b"<!DOCTYPE"):
        assert data.rstrip().endswith(b"</html>"), path
    elif path.suffix == ".jsonl":
        for line in data.splitlines():
            json.loads(line)
    elif data[:1] in (b"{", b"["):
        json.loads(data)


# ---------------------------------------------------------------- names as bytes


def a_name(dice: random.Random) -> bytes:
    """A file name that a system takes: no UTF-8, control characters, very long, dashes in front, any ending."""
    parts = (
        b"flight", b"-", b"--hold", b"\xff\xfe", b"\xe9", b"\x1b[31m", b"\x07", b"\n", b"\r", b"\t", b" ", b".", b"..",
        b"*", b"[a]", b"?", b"~", b"$HOME", b"%s", b"{0}", b"<u>", b"&amp;", b'"', b"'", b"\\", b"#", b"con",
        b"\xe2\x80\xae", b"\xed\xa0\x80", "é".encode(), b"e\xcc\x81", "飛行".encode(), "\u2028".encode(), b"index",
        b"a" * 200, b":", b"|", b"2026-05-03",
    )  # fmt: skip
    name = b"".join(dice.choice(parts) for _ in range(dice.choice((1, 1, 2, 3, 6))))
    name += dice.choice((b"", b".csv", b".gpx", b".GPX", b".csv.gz", b".html", b".json", b".sqlite", b".", b".igc"))
    name = name[-250:]
    return b"flight" if name in (b".", b"..") or name.lower().endswith(b".toml") else name


def a_file_of_any_name(path: Path, folder: Path, dice: random.Random) -> str:
    """A good flight under this name is graded, found, looked at; nothing is written outside or over it."""
    name = path.read_bytes()
    with a_folder() as here:
        track, hold = os.fsdecode(name), dice.choice(("h.toml", os.fsdecode(name) + ".toml"))
        if len(os.fsencode(hold)) > 255:
            hold = "h.toml"
        Path(os.fsdecode(name)).write_bytes(flight_csv())
        Path(hold).write_text(plain_flight.HOLD_TOML)
        first = track if not track.startswith("-") else f"./{track}"
        at = hold if not hold.startswith("-") else f"./{hold}"
        match dice.randrange(6):
            case 0 | 1 | 2:
                done = ran(
                    ["grade", first, "--hold", at, "--out", "out", "--json", "d.json", "--csv", "l.csv", "--pilot", "A"]
                )
                assert done.exit_code == 0, (name, done.stderr)
                (page,) = (here / "out").glob("*.html")
                assert page.name.isprintable()
                told = GRADED
            case 3:
                done = ran(["grade", ".", "--hold", at, "--out", "out", "--jobs", "1"])  # found only by some endings
                told = GRADED if done.exit_code == 0 else "not looked for"
            case 4:
                done = ran([dice.choice(("find", "columns")), first, "--write", dice.choice(("w", "w.toml"))])
                told = "looked at"
            case _:
                done = ran(["holds", "add", at])
                told = "added" if done.exit_code == 0 else "refused"
        assert Path(track).read_bytes() == flight_csv()
        assert Path(hold).read_text() == plain_flight.HOLD_TOML
        for each in here.rglob("*"):
            assert not each.name.endswith(".part")
            if each.is_file() and each.name not in (track, hold):
                whole(each)
    return told


# ---------------------------------------------------------------- arguments

ODD = (
    "nan", "inf", "-inf", "1e308", "-0.0", "5e-324", "1e400", "0", "-1", "", " ", "9" * 30, "٣", "1_000", "0x10",
    "12,5", "²", "a\x1b[31m", "--help", "None", "a\nb", "é" * 300, "\udcff", "../..", "/dev/full", ".", "-", "*", "[",
    "~", "\u202e",
)  # fmt: skip
#: Options with what is usual for each; a number is at times put near an edge.
OPTIONS: dict[str, dict[str, str]] = {
    "brief": {
        "--tas": "104", "--ias": "95", "--wind": "280/18", "--arriving": "250", "--arriving-from": "NE", "--isa": "10",
        "--turn-rate": "3", "--bank-limit": "25", "--oat": "5", "--over-fix": "15:10:00", "--date": "2026-05-03",
        "--standard": "training", "--html": "b.html", "--holds": "set",
    },
    "grade": {
        "--out": "out", "--json": "d.json", "--csv": "l.csv", "--gpx": "m.gpx", "--kml": "m.kml", "--geojson": "m.gj",
        "--standard": "training", "--timing-band": "10", "--pilot": "A", "--instructor": "B", "--note": "well",
        "--jobs": "1", "--logbook": "l.sqlite", "--holds": "set", "--columns": "map.toml", "--write-hold": "found.toml",
    },
    "find": {"--json": "f.json", "--html": "f.html", "--write": "found", "--columns": "map.toml"},
    "columns": {"--columns": "map.toml", "--write": "new.toml"},
    "standards": {"--timing-band": "10"},
    "progress": {"--pilot": "A", "--logbook": "l.sqlite", "--out": "p", "--json": "p.json", "--standard": "training"},
    "simulate": {
        "--out": "s.csv", "--tas": "100", "--wind": "280/18", "--noise": "3", "--arriving": "250", "--laps": "1",
        "--channels": "heading_true_deg", "--seed": "1", "--entry": "direct", "--sampling": "1hz", "--mistake": "clean",
    },
    "holds": {"--holds": "set", "--name": "n", "--html": "h.html", "--number": "1"},
    "logbook": {"--pilot": "A", "--logbook": "l.sqlite"},
}  # fmt: skip
#: How often: what costs most, least often.
WEIGHTS = {
    "brief": 8, "grade": 8, "find": 3, "columns": 3, "standards": 2, "progress": 2, "simulate": 1, "holds": 4,
    "logbook": 3,
}  # fmt: skip
#: What each is asked for without its options.
ASKED = {
    "brief": "h.toml", "grade": "t.csv", "find": "t.csv", "columns": "t.csv", "standards": "training",
    "simulate": "h.toml",
}  # fmt: skip


def arguments_of_any_kind(path: Path, folder: Path, dice: random.Random) -> str:
    """A command with options it has, and values that it may not have expected."""
    command = dice.choices(list(WEIGHTS), list(WEIGHTS.values()))[0]
    line, typed = [command, *([ASKED[command]] if command in ASKED else [])], ""
    if command == "grade" and dice.random() < 0.8:
        line += ["--hold", "h.toml"]
    if command == "holds":
        line.append(dice.choice(("list", "show", "add", "remove", "new")))
        line += [dice.choice(("h", "h.toml", dice.choice(ODD)))] if line[-1] in ("show", "add", "remove") else []
        answers = ("n", "143", "right", "44", "-93 30.0 W", "1", "4 nm", "", *(odd for odd in ODD if odd.isprintable()))
        typed = "\n".join(dice.choice(answers) for _ in range(12))
    if command == "logbook":
        line.append(dice.choice(("pilots", "export", "import", "delete")))
        line += (
            [dice.choice(("x.jsonl", "-", "l.sqlite", dice.choice(ODD)))] if line[-1] in ("export", "import") else []
        )
    options = OPTIONS[command]
    for option in dice.sample(sorted(options), min(len(options), dice.choice((0, 1, 2, 3, 5)))):
        usual = options[option]
        value = usual
        if dice.random() < 0.3:
            value = (
                repr(near(dice, float(usual)))
                if usual.isdigit()
                else usual[: dice.randrange(len(usual))] + dice.choice(ODD)
            )
        elif dice.random() < 0.15:
            value = dice.choice(ODD)
        line += [option, value]
    if dice.random() < 0.1:
        line.insert(dice.randrange(1, len(line) + 1), dice.choice(ODD))
    logbook_bytes()  # made before the folder
    with a_folder():
        Path("h.toml").write_text(plain_flight.HOLD_TOML)
        Path("t.csv").write_bytes(flight_csv())
        if dice.random() < 0.7:
            for name in ("own.sqlite", "l.sqlite"):
                Path(name).write_bytes(logbook_bytes())
            Path("set").mkdir()
            Path("set/h.toml").write_text(plain_flight.HOLD_TOML)
        Path("map.toml").write_text('[columns]\nlat = "lat"\n' if dice.random() < 0.5 else 'delimiter = ","\n')
        done = ran(line, typed)
        assert Path("h.toml").read_text() == plain_flight.HOLD_TOML
        assert Path("t.csv").read_bytes() == flight_csv()
    return GRADED if command == "grade" and done.exit_code == 0 else f"{command} {done.exit_code}"


# ---------------------------------------------------------------- names that meet

TRACKS = (
    "a.gpx", "A.GPX", "a.csv", "a-b.csv", "index.gpx", "comparison.gpx", "a.html", "a.json", "a_.csv", "a .csv",
    "sub/a.gpx", "resume.sqlite", "ré.gpx", "re\u0301.gpx", "progress-a.html", "l.sqlite",
)  # fmt: skip
HOLDS = ("b.toml", "b-c.toml", "c.toml", "B.toml", "sub/b.toml", "index.toml", "own set/b.toml")


def a_spelling(dice: random.Random, name: str) -> str:
    """The same place said in another way: through a folder, a link, another hard name; or in other letters."""
    match dice.randrange(8):
        case 0:
            return f"./{name}"
        case 1:
            return f"sub/../{name}"
        case 2:
            return str(Path.cwd() / name)
        case 3 | 4 if Path(name).is_file() and not Path("link.json").exists():
            link = Path("link.json")
            if dice.random() < 0.5:
                link.symlink_to(Path(name).absolute())
            else:
                link.hardlink_to(name)
            return str(link)
        case 5:
            return name.swapcase()
        case _:
            return name


def results_that_meet(path: Path, folder: Path, dice: random.Random) -> str:
    """Whatever is asked for, no file that is read is changed, and every result asked for stands."""
    with a_folder() as here:
        for each in ("sub", "own set", "each"):
            (here / each).mkdir()
        tracks, holds = dice.sample(TRACKS, dice.choice((1, 1, 2, 3))), dice.sample(HOLDS, dice.choice((1, 1, 2)))
        for each in tracks:
            Path(each).write_bytes(flight_csv())
        for each in {*holds, "own set/s.toml"}:
            Path(each).write_text(plain_flight.HOLD_TOML)
        names = (
            *tracks,
            *holds,
            "new.json",
            "each",
            "out/a.html",
            "out/index.html",
            "own.sqlite",
            "own.sqlite-wal",
            *TRACKS[:8],
        )

        def place() -> str:
            return a_spelling(dice, dice.choice(names))

        read, out = [*tracks, *holds], dice.choice((".", "out", "sub", "each", "own set"))
        named: list[str] = []
        match dice.randrange(10):
            case 0 | 1 | 2 | 3 | 4 | 5:
                line = [
                    "grade",
                    *tracks,
                    *(each for hold in holds for each in ("--hold", hold)),
                    "--out",
                    out,
                    "--jobs",
                    "1",
                ]
                kinds = ["--json", "--csv"]
                if len(tracks) == len(holds) == 1:
                    kinds += ["--gpx", "--kml", "--geojson"]
                for option in dice.sample(kinds, dice.choice((0, 1, 2))):
                    named.append(place())
                    line += [option, named[-1]]
                line += dice.choice(
                    ([], ["--no-html"], ["--compare"], ["--pilot", "A"], ["--pilot", "A", "--logbook", place()])
                )
            case 6:
                named = [place(), place()]
                line, read = ["find", tracks[0], "--json", named[0], "--html", named[1], "--write", out], tracks[:1]
            case 7:
                named = [place()]
                line, read = ["brief", holds[0], "--tas", "100", "--html", named[0]], holds[:1]
            case 8:
                named = [place()]
                line, read = ["holds", "show", holds[0], "--html", named[0]], holds[:1]
            case _:
                line, read = ["holds", "add", *holds, "--replace", *dice.choice(([], ["--holds", "sub"]))], holds
        before = {each: Path(each).read_bytes() for each in read}
        done = ran(line)
        said = f"{line}: {done.exit_code} {done.stderr[-300:]}"
        for each, content in before.items():
            assert Path(each).read_bytes() == content, f"{each} was changed by {said}"
        for each in here.rglob("*"):
            assert not each.name.endswith(".part"), said
            if each.is_file() and str(each.relative_to(here)) not in (*tracks, *holds):
                whole(each)
        if done.exit_code == 0 and line[0] == "grade":
            assert all(Path(each).exists() for each in named), said
            if "--no-html" not in line and out == "out":
                reports = set((here / "out").glob("*.html"))
                extra = sum((here / "out" / each).exists() for each in ("index.html", "comparison.html"))
                asked = {os.path.realpath(each) for each in named}
                reports = {each for each in reports if os.path.realpath(each) not in asked}
                assert len(reports) >= len(tracks) * len(holds) + extra, said
            return GRADED
        return f"{line[0]} {done.exit_code}"
