"""A large random run over everything that reads a file: ``python -m tests.fuzz --inputs 100000``.

The contract: any bytes become what they should be, or raise the one documented error, within 5 seconds. No
traceback, no hang, no lap graded on a track that is nonsense. Each input follows from its number and the seed
alone, so ``--first N --inputs 1`` repeats it; ``--keep DIR`` keeps what failed.
"""

from __future__ import annotations

import argparse
import faulthandler
import gzip
import math
import multiprocessing
import os
import random
import re
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cache
from pathlib import Path
from types import FrameType

from tests import plain_flight
from tests.awkward.flight import FLIGHT, gpx_text, own_csv
from tests.awkward.kml import kml, kmz, placemarks, track_text
from tests.awkward.wild import SHAPES

LONGEST_S = 5.0
HARD_STOP_S = 60.0  # a hang inside C code, where no signal is heard: the process ends with its stack
CHUNK = 250

TOKENS = [
    *(b"nan", b"inf", b"-inf", b"1e308", b"-1e308", b"1e-320", b"0", b"-0", b"", b" ", b"91", b"-181", b"999999999"),
    *(b"0001-01-01T00:00:00Z", b"9999-12-31T23:59:59Z", b"1969-12-31T23:59:59Z", b"2026-02-30T25:61:61Z", b"24:00:00"),
    *(b"+99:99", b"Z", b"-00:00", b"T", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\xf0\x9f\x9b\xa9", b"\xe2\x88\x92"),
    *(b"<", b">", b"&", b"&amp;", b"&x;", b"<!DOCTYPE gpx>", b"<![CDATA[", b"]]>", b"<!--", b"-->", b"<?x", b"/>"),
    *(b' xmlns="', b" xmlns:a='b'", b"<trkpt", b"</trkpt>", b"<trkseg>", b"</trk>", b"<extensions>", b"<speed>"),
    *(b",", b";", b"\t", b"|", b'"', b'""', b"'", b"\r", b"\n", b"\r\n", b"#", b"lat", b"lon", b"time_utc", b"alt_ft"),
    *(b"N 44\xc2\xb012.345'", b"4412.345", b"FL045", b"1,234.5", b"1.234,5", b"12 kt", b"4000 ft", b"ft", b"deg true"),
    *(b"=", b"==", b"[", b"]", b"[[", b"]]", b"{", b"}", b"true", b"false", b"[fix]", b"[leg]", b"column", b"unit"),
    *(
        b"lat = ",
        b"turns = 'left'",
        b"inbound_course_deg = 0.0",
        b"minutes = -1",
        b"\x1b[31m",
        b"../../x",
        b"\xe2\x80\xae",
    ),
    b"9" * 400,
    b"9" * 5_000,
    b"[" * 2_000,
    b"a" * 3_000,
]
NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")

#: ``key = value`` anywhere in a TOML text, and values of every type to put in its place.
SETTING = re.compile(r"""([A-Za-z_]\w*)(\s*=\s*)("[^"\n]*"|'[^'\n]*'|[^,\n}\]"']+)""")
VALUES = [
    *(
        "nan",
        "inf",
        "-inf",
        "1e308",
        "-1e308",
        "1e-320",
        "0",
        "-0.0",
        "-1",
        "1",
        "2",
        "59.99",
        "90.0001",
        "180",
        "-181",
    ),
    *(
        "360",
        "360.0001",
        "0.0001",
        "1000000",
        "9" * 400,
        "0x7f",
        "true",
        "false",
        '""',
        '" "',
        '"a"',
        "'lat'",
        '"true"',
    ),
    *(
        '"north"',
        '"left"',
        '"ddmm"',
        '"elapsed_s"',
        '"kt"',
        '"within"',
        '"' + "a" * 3_000 + '"',
        '"<u>&amp;\\"\'{{ 1 }}"',
    ),
    *('"\\u001b[31m\\u202e"', '"\\u0000"', "2026-05-03T15:20:00Z", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59-14:00"),
    *("2026-05-03", "15:20:00", "[]", "{}", "[[]]", "[ 1, 2 ]", "{ lat = 1 }", "{ lat = 1, lon = 2, radial_deg = 3 }"),
    *("[ { up_to_ft = 1, kias = 2 }, { kias = 0 } ]", '[ "a", 1, {} ]', '{ column = 1, unit = "m" }', "{ column = 0 }"),
]


@dataclass
class Tally:
    """What came of the inputs; ``failures`` are (number, target, reason)."""

    outcomes: Counter[str] = field(default_factory=Counter)
    failures: list[tuple[int, str, str]] = field(default_factory=list)
    slowest_s: float = 0.0
    slowest: int = -1


class Hang(BaseException):
    """Raised by the alarm; not an Exception, so that no reader can swallow it."""


# ---------------------------------------------------------------- what is mutated


@cache
def corpus(target: str) -> tuple[bytes, ...]:
    """Good files of each kind, small."""
    if target == "track":
        extra = '<wpt lat="44" lon="-93"><time>2026-05-03T15:20:30Z</time><name>mark</name></wpt>'
        point = "<extensions><x:speed>{ms}</x:speed><x:course>{r.course_deg}</x:course></extensions>"
        some = [s.data() for s in SHAPES.values() if not s.columns_map]
        return (
            gpx_text(FLIGHT[:40], extra=extra).encode(),
            gpx_text(FLIGHT[:40], point=point).replace("<gpx ", '<gpx xmlns:x="urn:x" ').encode(),
            gpx_text(FLIGHT[:30], version="1.0", point="<speed>{ms}</speed>").encode(),
            gpx_text(FLIGHT[:30]).encode("utf-16"),
            gzip.compress(gpx_text(FLIGHT[:30]).encode(), mtime=0),
            kml(track_text(FLIGHT[:30])).encode(),
            kml(extra=placemarks(FLIGHT[:20])).encode(),
            kmz({"a.kml": kml(track_text(FLIGHT[:30])).encode()}),
            *some,
        )
    if target in ("flight", "proposals"):
        rows = plain_flight.rows(before_s=90, laps=1, after_s=40, interval_s=2.0)
        return (plain_flight.gpx(rows).encode(), plain_flight.csv(rows).encode())
    if target == "columns":
        maps = [s.columns_map.encode() for s in SHAPES.values() if s.columns_map]
        whole = b'delimiter = ","\ndecimal = "."\nheader_line = 1\nmark = false\nias_kt = "kt"\n'
        return (*maps, whole)
    if target == "hold":
        return (plain_flight.HOLD_TOML.encode(), *(HOLDS[name].encode() for name in sorted(HOLDS)))
    from importlib import resources

    folder = resources.files("trackgrade.score.standards")
    return tuple(sorted(f.read_bytes() for f in folder.iterdir() if f.name.endswith(".toml")))


HOLDS = {
    "radial": """\
name = "A"
inbound_course_deg = 323.0
north = "magnetic"
turns = "left"
arrive_utc = 2026-05-03T15:20:00Z
[fix]
from = { lat = 44.0, lon = -93.0, radial_deg = 143.0, dme_nm = 12.0, variation_deg = 2.0 }
[leg]
nm = 4.0
[guidance]
kind = "vor"
station_lat = 44.0
station_lon = -93.0
""",
    "crossing": """\
name = "B"
inbound_course_deg = 90
north = "true"
variation_deg = 1
turns = "right"
[fix]
radials = [ { lat = 44.0, lon = -93.0, radial_deg = 90.0 }, { lat = 44.5, lon = -92.5, radial_deg = 180.0 } ]
""",
}


def mutated(dice: random.Random, seeds: tuple[bytes, ...]) -> bytes:
    """One seed with a few things done to it."""
    data = bytearray(dice.choice(seeds))
    for _ in range(dice.choice((1, 1, 1, 2, 3, 5, 12))):
        if len(data) > 200_000:
            break
        at = dice.randrange(len(data) + 1)
        to = min(len(data), at + dice.choice((1, 1, 2, 5, 20, 200)))
        match dice.randrange(13):
            case 0 if data:
                data[at % len(data)] ^= 1 << dice.randrange(8)
            case 1:
                data[at:to] = b""
            case 2:
                data[at:at] = dice.choice(TOKENS)
            case 3:
                data[at:to] = dice.choice(TOKENS)
            case 4:
                data[at:at] = data[at:to] * dice.choice((1, 2, 50))
            case 5:
                data = data[:at]
            case 6:
                other = dice.choice(seeds)
                data[at:] = other[dice.randrange(len(other) + 1) :]
            case 7:
                lines = bytes(data).split(b"\n")
                dice.shuffle(lines)
                data = bytearray(b"\n".join(lines))
            case 8:
                lines = bytes(data).split(b"\n")
                del lines[dice.randrange(len(lines)) : dice.randrange(len(lines)) + 1]
                data = bytearray(b"\n".join(lines))
            case 9:
                numbers = list(NUMBER.finditer(data))
                if numbers:
                    found = dice.choice(numbers)
                    data[found.start() : found.end()] = dice.choice(TOKENS)
            case 10:
                numbers = list(NUMBER.finditer(data))
                if numbers:
                    found = dice.choice(numbers)
                    value = float(found[0]) if len(found[0]) < 300 else 0.0
                    new = dice.choice((-value, value * 10, value + dice.gauss(0, 1), value * 1e6, round(value), 1 / 3))
                    data[found.start() : found.end()] = repr(new).encode()
            case 11:
                data = bytearray(bytes(data).replace(dice.choice((b",", b"\n", b'"', b".", b":")), dice.choice(TOKENS)))
            case _:
                data[at:at] = dice.randbytes(dice.choice((1, 4, 30)))
    return bytes(data)


def with_other_settings(dice: random.Random, text: str) -> str:
    """A TOML text that stays TOML, mostly: values of other types and sizes, keys renamed, moved, doubled, gone."""
    for _ in range(dice.choice((1, 1, 1, 2, 4))):
        found = list(SETTING.finditer(text))
        if not found:
            break
        one, other = dice.choice(found), dice.choice(found)
        match dice.randrange(14):
            case 0:
                text = text[: one.start(3)] + dice.choice(VALUES) + text[one.end(3) :]
            case 1 | 2 | 3 | 4 | 5 | 6 | 7 | 8:  # near what it was: still of use, more often than not
                numbers = [m for m in found if NUMBER.fullmatch(m[3].strip().encode()) and len(m[3]) < 300]
                if numbers:
                    one = dice.choice(numbers)
                    value = float(one[3])
                    near = (value * dice.uniform(0.5, 2), value + dice.gauss(0, 3), -value, round(value), 10 * value)
                    text = text[: one.start(3)] + f"{dice.choice(near):.6g}" + text[one.end(3) :]
            case 9:
                text = text[: one.start(3)] + other[3] + text[one.end(3) :]
            case 10:
                text = text[: one.start(1)] + other[1] + text[one.end(1) :]
            case 11:
                lines = text.split("\n")
                line = lines.pop(dice.randrange(len(lines)))
                lines.insert(dice.randrange(len(lines) + 1), line)
                text = "\n".join(lines)
            case 12:
                lines = text.split("\n")
                del lines[dice.randrange(len(lines))]
                text = "\n".join(lines)
            case _:
                text = text[: one.end(3)] + f"\n{other[0]}\n" + text[one.end(3) :]
    return text


def packed(dice: random.Random, data: bytes) -> bytes:
    """Gzip of the data: whole, in members, cut short, with a wrong byte, with something behind it, or twice."""
    whole = gzip.compress(data, mtime=0)
    at = dice.randrange(len(whole))
    match dice.randrange(6):
        case 0:
            half = len(data) // 2
            return gzip.compress(data[:half], mtime=0) + gzip.compress(data[half:], mtime=0)
        case 1:
            return whole[:at]
        case 2:
            return whole[:at] + bytes([whole[at] ^ 1 << dice.randrange(8)]) + whole[at + 1 :]
        case 3:
            return whole + dice.randbytes(20)
        case 4:
            return gzip.compress(whole, mtime=0)
        case _:
            return whole


NONSENSE = (
    *("teleport", "shuffled times", "still", "random walk", "constant", "far jumps", "wild altitude walk"),
    *("two places", "too fast", "straight", "few points"),
)


def nonsense(dice: random.Random) -> bytes:
    """A well-formed CSV about the fix of the plain hold in which nobody flew anything."""
    kind = dice.choice(NONSENSE)
    interval_s = dice.choice((1.0, 2.0, 2.0, 5.0, 10.0))
    rows = plain_flight.rows(before_s=120, laps=3, after_s=60, interval_s=interval_s, seed=dice.randrange(1000))
    times = [r[0] for r in rows]
    lats, lons = [r[1] for r in rows], [r[2] for r in rows]
    count = len(rows)
    fix = (plain_flight.FIX_LAT_DEG, plain_flight.FIX_LON_DEG)
    if kind == "teleport":
        lats = [fix[0] + dice.uniform(-0.08, 0.08) for _ in range(count)]
        lons = [fix[1] + dice.uniform(-0.1, 0.1) for _ in range(count)]
    elif kind == "shuffled times":
        dice.shuffle(times)
    elif kind == "still":
        lats = [fix[0] + dice.gauss(0, 3e-5) for _ in range(count)]
        lons = [fix[1] + dice.gauss(0, 3e-5) for _ in range(count)]
    elif kind == "two places":
        away = dice.uniform(0.02, 0.1)
        lats = [fix[0] + away * (i % 2) + dice.gauss(0, 3e-5) for i in range(count)]
        lons = [fix[1] + away * (i % 2) + dice.gauss(0, 3e-5) for i in range(count)]
    elif kind == "too fast":
        times = [times[0] + (t - times[0]) / 30 for t in times]
    elif kind == "straight":
        lats = [fix[0] + 6e-4 * interval_s * (i - count / 2) for i in range(count)]
        lons = [fix[1] + 6e-4 * interval_s * (i - count / 2) for i in range(count)]
    elif kind == "few points":  # on and off the racetrack and the fix, minutes apart
        count = dice.randint(5, 14)
        apart_s = dice.choice((30, 40, 60, 90, 120, 150, 240))
        times = [times[0] + timedelta(seconds=apart_s * i + dice.uniform(-0.1, 0.1) * apart_s) for i in range(count)]
        some = [(0.0, 0.0), *((rows[k][1] - fix[0], rows[k][2] - fix[1]) for k in dice.sample(range(len(rows)), 4))]
        places = [dice.choice(some) for _ in range(count)]
        lats = [fix[0] + north + dice.gauss(0, 5e-4) for north, _ in places]
        lons = [fix[1] + east + dice.gauss(0, 5e-4) for _, east in places]
    elif kind == "constant":
        lats, lons = [fix[0]] * count, [fix[1]] * count
    else:
        step = {"random walk": 2e-3, "far jumps": 2e-1}.get(kind, 6e-4)
        lat, lon = fix
        lats, lons = [], []
        for _ in range(count):
            lat = min(89.0, max(-89.0, lat + dice.gauss(0, step)))
            lon = math.remainder(lon + dice.gauss(0, step), 360.0)
            lats.append(lat)
            lons.append(lon)
    lines = ["time_utc,lat,lon,alt_ft"]
    lines += [f"{t.isoformat()},{a:.7f},{o:.7f},4000" for t, a, o in zip(times, lats, lons)]
    return "\n".join(lines).encode()


# ---------------------------------------------------------------- what is asked of each


def read_a_track(path: Path, folder: Path, dice: random.Random) -> str:
    import numpy as np

    from trackgrade.errors import InputError
    from trackgrade.track.cleaning import clean
    from trackgrade.track.readers import read_track

    track = read_track(path)
    assert len(track) >= 2
    for name in ("epoch_s", "lat_deg", "lon_deg"):
        assert np.isfinite(getattr(track, name)).all(), name
    assert np.abs(track.lat_deg).max() <= 90
    assert np.abs(track.lon_deg).max() <= 180
    assert np.isfinite(track.alt_ft).sum() == np.sum(np.abs(track.alt_ft) <= 100_000)
    texts = [track.source, *track.notes, *(m.label for m in track.marks)]
    texts += [t for p in track.provenance for t in (p.column, p.note)]
    assert all(t.isprintable() for t in texts), [t for t in texts if not t.isprintable()]
    known = {p.quantity for p in track.provenance}
    assert set(track.channels) <= known, set(track.channels) - known
    try:
        cleaned = clean(track).track
    except InputError:
        return "read, not clean"
    assert (np.diff(cleaned.epoch_s) > 0).all()
    return "read"


def grade_a_flight(path: Path, folder: Path, dice: random.Random) -> str:
    import json

    from trackgrade.analysis import analyse
    from trackgrade.exports.debrief_json import debrief_to_dict
    from trackgrade.score.standards import load_standard
    from trackgrade.track.readers import read_track

    track = read_track(path)
    graded = analyse(track, plain_hold(), load_standard("faa_instrument_airplane"))
    debrief = debrief_to_dict(graded)
    text = json.dumps(debrief, allow_nan=False)
    assert "\x1b" not in text
    shown_whole(graded)
    for lap in debrief["laps"]:
        assert track.epoch_s.min() - 1 <= epoch(lap["start_utc"]) < epoch(lap["end_utc"]) <= track.epoch_s.max() + 1
    return f"{min(len(debrief['laps']), 2)} laps"


def shown_whole(debrief: object) -> None:
    """The page of a debrief is made, and nothing of the input became markup or a control character."""
    from trackgrade.report import page

    html = page.render(debrief)
    assert html.rstrip().endswith("</html>")
    assert "<u>" not in html  # an element of VALUES that no template has
    assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u202e]", html)


def find_its_holds(path: Path, folder: Path, dice: random.Random) -> str:
    from trackgrade.hold.holdfile import parse_hold, write_hold_file
    from trackgrade.segment.finding import find_holds
    from trackgrade.track.readers import read_track

    proposals = find_holds(read_track(path))
    for found in proposals:
        assert parse_hold(write_hold_file(found.plan("found"))).name == "found"
    return f"{min(len(proposals), 2)} holds"


@cache
def plain_track() -> object:
    """Two laps of the plain hold."""
    from trackgrade.track.readers import read_track

    with tempfile.TemporaryDirectory(prefix="fuzz-") as name:
        path = Path(name) / "plain.csv"
        path.write_text(plain_flight.csv(plain_flight.rows(before_s=90, laps=2, after_s=40, interval_s=2.0)))
        return read_track(path)


def grade_nonsense(path: Path, folder: Path, dice: random.Random) -> str:
    assert grade_a_flight(path, folder, dice) == "0 laps", "a lap was graded on a track that is nonsense"
    return "no lap"


def epoch(text: str) -> float:
    from datetime import datetime

    return datetime.fromisoformat(text).timestamp()


@cache
def plain_hold() -> object:
    import datetime

    from trackgrade.hold.holdfile import parse_hold
    from trackgrade.hold.setup import resolve

    return resolve(parse_hold(plain_flight.HOLD_TOML), datetime.date(2026, 5, 3))


def read_a_hold(path: Path, folder: Path, dice: random.Random) -> str:
    import datetime

    from trackgrade.hold.holdfile import read_hold_file
    from trackgrade.hold.setup import resolve

    hold = resolve(read_hold_file(path), datetime.date(2026, 5, 3))
    numbers = (hold.fix_lat_deg, hold.fix_lon_deg, hold.inbound_course_true_deg, hold.variation_deg)
    assert all(math.isfinite(n) for n in numbers)
    assert abs(hold.fix_lat_deg) <= 90
    assert 0 <= hold.inbound_course_true_deg <= 360
    assert (hold.leg.minutes is None) != (hold.leg.nm is None)
    if dice.random() < 0.3:  # what was read must be of use: briefed, flown at, shown
        import json

        from trackgrade.analysis import analyse
        from trackgrade.briefing import page, screen
        from trackgrade.briefing.brief import Conditions, prepare
        from trackgrade.exports.debrief_json import debrief_to_dict
        from trackgrade.score.standards import load_standard

        standard = load_standard("training")
        wind_kt = dice.choice((0.0, 15.0, 60.0, 150.0))
        conditions = Conditions(110.0, dice.uniform(0, 360), wind_kt, arrival_heading_true_deg=dice.uniform(0, 360))
        brief = prepare(hold, conditions, standard)
        assert list(screen.lines(brief))
        assert page.render(brief).rstrip().endswith("</html>")
        graded = analyse(plain_track(), hold, standard)
        json.dumps(debrief_to_dict(graded), allow_nan=False)
        shown_whole(graded)
        return "read and used"
    return "read"


def read_a_standard(path: Path, folder: Path, dice: random.Random) -> str:
    from trackgrade.score.standards import load_standard

    standard = load_standard(str(path))
    assert standard.items
    if dice.random() < 0.3:
        import json

        from trackgrade.analysis import analyse
        from trackgrade.exports.debrief_json import debrief_to_dict

        graded = analyse(plain_track(), plain_hold(), standard)
        json.dumps(debrief_to_dict(graded), allow_nan=False)
        shown_whole(graded)
        return "read and used"
    return "read"


def read_through_a_map(path: Path, folder: Path, dice: random.Random) -> str:
    from trackgrade.track.readers import read_track
    from trackgrade.track.readers.column_sheet import column_sheet

    # Mostly the table that the map was written for: others lack the columns it names.
    asked = set(path.read_bytes().decode("utf-8", "replace").split("\n")) - {""}
    its_own = max(SHAPES.values(), key=lambda shape: len(asked & set(shape.columns_map.split("\n"))))
    table = folder / "table.csv"
    kind = dice.random()
    one = its_own if kind < 0.6 else dice.choice(list(SHAPES.values()))
    table.write_bytes(own_csv().encode() if kind > 0.9 else one.data())
    sheet = column_sheet(table, path)
    assert all(t.isprintable() for line in sheet.lines for t in (line.column, line.unit, line.example, line.note))
    return f"{len(read_track(table, path)) > 0 and 'read'}"


Check = Callable[[Path, Path, random.Random], str]
#: Target: how often, the file's ending, what to do with it.
TARGETS: dict[str, tuple[int, str, Check]] = {
    "track": (30, ".dat", read_a_track),
    "columns": (12, ".toml", read_through_a_map),
    "hold": (26, ".toml", read_a_hold),
    "standard": (24, ".toml", read_a_standard),
    "flight": (5, ".dat", grade_a_flight),
    "proposals": (2, ".dat", find_its_holds),
    "nonsense": (3, ".csv", grade_nonsense),
}


# ---------------------------------------------------------------- the run


def made(number: int, seed: int, only: str = "") -> tuple[str, bytes, random.Random]:
    """The target, bytes and dice of an input, from its number and the seed alone."""
    dice = random.Random(f"{seed}:{number}")
    target = only or dice.choices(list(TARGETS), [w for w, _, _ in TARGETS.values()])[0]
    if target == "nonsense":
        return target, nonsense(dice), dice
    if dice.random() < 0.03:
        return target, dice.randbytes(dice.randrange(2_000)), dice
    if target in ("hold", "standard", "columns") and dice.random() < 0.75:
        return target, with_other_settings(dice, dice.choice(corpus(target)).decode()).encode(), dice
    data = mutated(dice, corpus(target))
    if target in ("track", "flight", "proposals") and dice.random() < 0.08:
        data = packed(dice, data)
    return target, data, dice


@contextmanager
def alarm(seconds: float) -> Iterator[None]:
    """Raise `Hang` in the main thread after some seconds; where signals lack, only the clock tells afterwards."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def ring(_number: int, _frame: FrameType | None) -> None:
        raise Hang

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def run_some(first: int, count: int, seed: int, only: str = "", keep: str = "", longest_s: float = LONGEST_S) -> Tally:
    """Inputs ``first`` to ``first + count``, one after the other."""
    from trackgrade.errors import InputError

    tally = Tally()
    if keep:  # only the command's own workers may end hard
        faulthandler.dump_traceback_later(HARD_STOP_S + count, exit=True)
    with tempfile.TemporaryDirectory(prefix="fuzz-") as name, warnings.catch_warnings():
        warnings.simplefilter("error")
        folder = Path(name)
        for number in range(first, first + count):
            target, data, dice = made(number, seed, only)
            _, ending, check = TARGETS[target]
            path = folder / f"input{ending}"
            path.write_bytes(data)
            started = time.process_time()
            reason = ""
            try:
                with alarm(longest_s * 4):  # the wall clock of a busy machine; process time is what is judged
                    outcome = check(path, folder, dice)
            except InputError as refused:
                outcome = "refused"
                message = str(refused)
                if "\n" in message or not message.isprintable() or len(message) > 1_000:
                    reason = f"a message of several lines or with control characters: {message!r:.300}"
            except Hang:
                outcome, reason = "hang", f"over {longest_s} s"
            except Exception:
                outcome, reason = "traceback", traceback.format_exc(limit=-6)
            spent = time.process_time() - started
            if spent > longest_s and not reason:
                outcome, reason = "hang", f"{spent:.1f} s"
            if spent > tally.slowest_s:
                tally.slowest_s, tally.slowest = spent, number
            tally.outcomes[f"{target}: {outcome}"] += 1
            if reason:
                tally.failures.append((number, target, reason))
                if keep:
                    Path(keep).mkdir(parents=True, exist_ok=True)
                    (Path(keep) / f"{seed}-{number}-{target}{ending}").write_bytes(data)
    faulthandler.cancel_dump_traceback_later()
    return tally


def run(inputs: int, seed: int, jobs: int, first: int, only: str, keep: str) -> Tally:
    """All inputs over some processes, with progress on standard error."""
    total = Tally()
    starts = range(first, first + inputs, CHUNK)
    began = time.monotonic()
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, mp_context=context) as pool:
        work = [pool.submit(run_some, s, min(CHUNK, first + inputs - s), seed, only, keep) for s in starts]
        for done, future in enumerate(work, start=1):
            part = future.result()
            total.outcomes += part.outcomes
            total.failures += part.failures
            if part.slowest_s > total.slowest_s:
                total.slowest_s, total.slowest = part.slowest_s, part.slowest
            rate = done * CHUNK / (time.monotonic() - began)
            if sys.stderr.isatty() or done % 8 == 0 or done == len(work):
                print(
                    f"{min(done * CHUNK, inputs)} inputs, {rate:.0f} a second, {len(total.failures)} failures",
                    file=sys.stderr,
                    flush=True,
                )
    return total


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__.split("\n")[0])
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first input")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", choices=TARGETS, default="", help="one target")
    parser.add_argument("--keep", default="fuzz_found", metavar="DIR", help="where inputs that fail are kept")
    asked = parser.parse_args()
    tally = run(asked.inputs, asked.seed, asked.jobs, asked.first, asked.only, asked.keep)
    for outcome, count in sorted(tally.outcomes.items()):
        print(f"{count:8d}  {outcome}")
    print(f"slowest: input {tally.slowest}, {tally.slowest_s:.2f} s")
    for number, target, reason in tally.failures[:20]:
        print(f"\ninput {number} ({target}): {reason}")
    print(f"\n{sum(tally.outcomes.values())} inputs, {len(tally.failures)} failures")
    return 1 if tally.failures else 0


if __name__ == "__main__":
    sys.exit(main())
