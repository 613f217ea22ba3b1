"""Any bytes become what they should be or raise the one documented error: hypothesis here, large runs in tests.fuzz."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings, strategies as st

from tests.awkward.flight import FLIGHT, gpx_text, own_csv
from tests.awkward.kml import kml, track_text
from tests.fuzz import formats, running
from tests.fuzz.corpus import corpus
from tests.fuzz.graded import GRADED
from tests.fuzz.targets import TARGETS, Target
from trackgrade.errors import InputError, StandardFileError
from trackgrade.score.standards import load_standard
from trackgrade.track.readers import gpx, read_track
from trackgrade.track.track import Track

BOUNDED = settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)
CELLS = st.one_of(
    st.sampled_from(
        ["", "44", "-93.5", "91", "nan", "1e308", "2026-05-03T15:20:00Z", "15:20:00", "N 44°12.345'", "FL045"]
    ),
    st.floats().map(repr),
    st.text(max_size=12),
)
HEADERS = st.one_of(
    st.sampled_from(
        ["time_utc", "lat", "lon", "alt_ft", "Time", "Date", "Alt (m)", "UTCOfst", "Speed", "HDG", "N/S", "mark"]
    ),
    st.text(max_size=12),
)


def track_or_refused(folder: Path, data: bytes) -> Track | str:
    """The contract; anything but a sound track or one plain line fails the test."""
    path = folder / "any"
    path.write_bytes(data)
    started = time.process_time()
    try:
        track = read_track(path)
    except InputError as refused:
        line = str(refused)
        assert line.isprintable()
        assert len(line) < 1_000
        assert time.process_time() - started < running.LONGEST_S
        return line
    assert time.process_time() - started < running.LONGEST_S
    assert len(track) >= 2
    for values in (track.epoch_s, track.lat_deg, track.lon_deg):
        assert np.isfinite(values).all()
    assert np.abs(track.lat_deg).max() <= 90
    return track


@BOUNDED
@given(st.binary(max_size=2_000))
@example(b"")
@example(b"<")
@example(b"\x1f\x8b")
@example(b"\xff\xfe")
@example(b"\xff\xfe\x00")
@example(b"<\x00g\x00p\x00x\x00")
@example(b"<gpx>\xed\xa0\x80</gpx>")
def test_any_bytes(tmp_path: Path, data: bytes) -> None:
    track_or_refused(tmp_path, data)


@BOUNDED
@given(st.text(max_size=400), st.sampled_from(["utf-8", "utf-16", "utf-32", "latin-1"]))
def test_any_text(tmp_path: Path, text: str, encoding: str) -> None:
    track_or_refused(tmp_path, text.encode(encoding, "replace"))
    track_or_refused(tmp_path, (own_csv(FLIGHT[:5]) + text).encode(encoding, "replace"))


@BOUNDED
@given(
    st.lists(HEADERS, min_size=1, max_size=9),
    st.lists(st.lists(CELLS, max_size=10), max_size=8),
    st.sampled_from([",", ";", "\t", "|", " "]),
)
def test_any_table(tmp_path: Path, headers: list[str], rows: list[list[str]], delimiter: str) -> None:
    lines = [delimiter.join(headers), *(delimiter.join(row) for row in rows)]
    track_or_refused(tmp_path, "\n".join(lines).encode("utf-8", "replace"))


@BOUNDED
@given(st.dictionaries(st.integers(0, 400), st.binary(max_size=6), max_size=6), st.integers(0, 3_000))
def test_any_damage_to_gpx(tmp_path: Path, damage: dict[int, bytes], cut: int) -> None:
    data = bytearray(gpx_text(FLIGHT[:6]).encode())
    for at, new in damage.items():
        data[at * 2 : at * 2 + 1] = new
    track_or_refused(tmp_path, bytes(data))
    track_or_refused(tmp_path, bytes(data[:cut]))


@BOUNDED
@given(st.text(max_size=200))
def test_any_text_where_gpx_has_a_name(tmp_path: Path, text: str) -> None:
    track_or_refused(tmp_path, gpx_text(FLIGHT[:4]).replace("practice", text).encode("utf-8", "replace"))


READERS = {"gpx": gpx_text().encode(), "csv": own_csv().encode(), "kml": kml(track_text(together=True)).encode()}


@pytest.mark.parametrize("name", READERS)
def test_every_reader_is_given_nothing_half_a_file_and_anothers_file(tmp_path: Path, name: str) -> None:
    from trackgrade.track.readers import csv_table, kml as kml_reader

    read = {"gpx": gpx.read, "csv": csv_table.read, "kml": kml_reader.read}[name]
    own = READERS[name]
    assert len(read(own, "own")) == len(FLIGHT)
    for other in (b"", b"\n", *(data for key, data in READERS.items() if key != name)):
        with pytest.raises(InputError):
            read(other, "other")
    half = read(own[: len(own) // 2], "half")
    assert 30 < len(half) < len(FLIGHT)
    for count in range(0, len(own), 397):
        assert isinstance(track_or_refused(tmp_path, own[:count]), Track | str)


def test_sniffing_tells_the_formats_apart() -> None:
    assert gpx.sniff(READERS["gpx"])
    assert not gpx.sniff(READERS["csv"])
    assert not gpx.sniff(b"<html></html>")


# ---------------------------------------------------------------- the large run itself


def test_an_input_follows_from_its_number_alone() -> None:
    for number in range(20):
        assert running.made(number, 5)[:2] == running.made(number, 5)[:2]
    assert running.made(1, 5)[1] != running.made(2, 5)[1] != running.made(1, 6)[1]


def test_the_run_sees_a_traceback_a_hang_a_bad_message_and_a_graded_nonsense(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(path: Path, folder: Path, dice: object) -> str:
        raise IndexError("a fault of ours")

    def slow(path: Path, folder: Path, dice: object) -> str:
        while True:
            pass

    def lines(path: Path, folder: Path, dice: object) -> str:
        raise InputError("two\nlines")

    for check, said in ((broken, "IndexError"), (slow, "over 0.02 s"), (lines, "several lines")):
        monkeypatch.setitem(TARGETS, "hold", Target(1, ".toml", lambda dice: b"", check))
        tally = running.run_some(0, 1, 1, "hold", longest_s=0.02)
        assert len(tally.failures) == 1
        assert said in tally.failures[0][2]


def test_the_run_counts_what_got_as_far_as_a_graded_lap(monkeypatch: pytest.MonkeyPatch) -> None:
    tally = running.run_some(0, 12, 1, "recorder")
    assert not tally.failures
    assert tally.graded("recorder") == tally.graded() > running.LEAST_GRADED
    told = iter(["read", f"briefed, {GRADED}", "no lap", GRADED])
    monkeypatch.setitem(TARGETS, "hold", Target(1, ".toml", lambda dice: b"", lambda *_: next(told)))
    assert running.run_some(0, 4, 1, "hold").graded() == 0.5


def test_a_small_run_of_every_target_is_clean() -> None:
    total = 0
    dear = {"track": 15, "columns": 15, "together": 1, "page": 2, "proposals": 2}
    for target in TARGETS:
        tally = running.run_some(1_000_000, dear.get(target, 5), 1, target)
        assert not tally.failures, tally.failures[0]
        total += tally.inputs
    assert total == sum(dear.get(target, 5) for target in TARGETS)


@pytest.mark.parametrize("stored", formats.STORED)
@pytest.mark.parametrize("which", [0, 1], ids=["gpx", "kml"])
def test_a_flight_in_any_encoding_that_says_itself_is_read(stored: str, which: int) -> None:
    """Declared and true: by letters that need no table, by a byte-order mark, or as UTF-8."""
    text = formats.xml_texts()[which].replace("plain flight", "Fl\u00fcg").replace("flight", "fl\u00fcg")
    data = f'<?xml version="1.0" encoding="{stored}"?>{text}'.encode(stored, "xmlcharrefreplace")
    marked = stored in ("utf-16", "utf-32") or b"<?xml" in data or data.replace(b"\x00", b"").startswith(b"<?xml")
    if not marked:  # EBCDIC: its declaration is in itself
        with pytest.raises(InputError):
            read_track(data, name="x")
        return
    assert len(read_track(data, name="x")) == len(formats.one_lap())


@pytest.mark.fuzz
def test_the_short_form_of_the_large_run(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tests.fuzz", "--inputs", "5000", "--seed", "7", "--keep", str(tmp_path / "found")]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env={**os.environ})
    print(done.stdout)
    assert done.returncode == 0, done.stdout[-4_000:]
    assert "5000 inputs, 0 failures" in done.stdout
    assert "as far as a graded lap" in done.stdout  # and by the exit status: more than the floor


def test_a_limit_larger_than_any_float_is_refused(tmp_path: Path) -> None:
    # Found by tests.fuzz: an integer of TOML may have 400 digits, and no float holds it.
    text = corpus("standard")[0].decode()
    path = tmp_path / "own.toml"
    path.write_text(re.sub(r"(?m)^limit = .*$", "limit = " + "9" * 400, text, count=1))
    with pytest.raises(StandardFileError, match="must be a number") as refused:
        load_standard(str(path))
    assert len(str(refused.value)) < 500
