"""The short way for the project's own CSV gives the track of the long way, or leaves the file to it."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from tests import plain_flight
from trackgrade.errors import TrackFileError
from trackgrade.track.readers import any_table, csv_table
from trackgrade.track.track import CHANNELS, Track

WRITTEN = plain_flight.csv(plain_flight.rows(laps=1, before_s=30, after_s=10))


def same(one: Track, other: Track) -> bool:
    arrays = ("epoch_s", "lat_deg", "lon_deg", "alt_ft")
    return (
        all(np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True) for name in arrays)
        and one.channels.keys() == other.channels.keys()
        and all(np.array_equal(one.channels[n], other.channels[n], equal_nan=True) for n in one.channels)
        and (one.provenance, one.notes, one.marks) == (other.provenance, other.notes, other.marks)
    )


def test_a_plain_file_is_read_without_pandas(tmp_path: Path) -> None:
    path = tmp_path / "plain.csv"
    path.write_text(WRITTEN, encoding="utf-8")
    code = (
        "import sys; from trackgrade.track.readers import read_track; track = read_track(sys.argv[1]);"
        " print(len(track), 'pandas' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(len(WRITTEN.splitlines()) - 1), "False"]


def number(low: float, high: float) -> st.SearchStrategy[str]:
    return st.floats(low, high, allow_nan=False).map(lambda value: f"{value:.5f}") | st.just("")


CELLS = {
    "lat": number(-90.2, 90.2),  # now and then beyond what can be
    "lon": number(-180.2, 180.2),
    "alt_ft": number(-3000, 120000),
    **{name: number(-0.5, 360.5) for name in CHANNELS},
}


def outcome(read: Callable[[bytes, str], Track | None], content: bytes) -> Track | str | None:
    """The track, None where it is left to the other way, or the line of the refusal."""
    try:
        return read(content, "a.csv")
    except TrackFileError as error:
        return str(error)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_both_ways_give_the_same_track_or_the_same_refusal(data: st.DataObject) -> None:
    others = data.draw(st.lists(st.sampled_from(["alt_ft", *CHANNELS]), unique=True, max_size=5))
    names = data.draw(st.permutations(["time_utc", "lat", "lon", *others]))
    count = data.draw(st.integers(2, 30))
    digits = data.draw(st.integers(0, 3))
    end = data.draw(st.sampled_from(["\n", "\r\n"]))
    lines = [",".join(names)]
    for row in range(count):
        fraction = f".{(row * 37) % 1000:03d}"[: digits + 1] if digits else ""
        cells = {"time_utc": f"2026-05-03T15:{row // 60:02d}:{row % 60:02d}{fraction}Z"}
        cells |= {name: data.draw(CELLS[name]) for name in names if name != "time_utc"}
        lines.append(",".join(cells[name] for name in names))
    content = (end.join(lines) + end).encode()
    short, long = outcome(any_table.read_own, content), outcome(csv_table.read, content)
    if isinstance(short, Track):
        assert isinstance(long, Track)
        assert same(short, long)
    elif short is not None:
        assert short == long


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("time_utc,lat", "time_utc,latitude"),
        ("time_utc,lat", "time,lat"),
        ("Z,44", ",44"),
        ("2026-05-03T15:00:10", "2026-05-32T15:00:10"),
        ("2026-05-03T15:00:10", "2026-05-03 15:00:10"),
        ("2026-05-03T15:00:10", "# 2026-05-03T15:00:10"),
        (",44.", ',"44.'),
        (",44.", ",N44."),
        (",44.", ",4_4."),
        (",44.", ",nan44."),
        ("\n", "\n\n"),
        (",", ";"),
        (",", ",,"),
    ],
)
def test_anything_else_is_left_to_the_long_way(old: str, new: str) -> None:
    assert old in WRITTEN
    assert any_table.read_own(WRITTEN.encode(), "a.csv") is not None
    assert any_table.read_own(WRITTEN.replace(old, new).encode(), "a.csv") is None


@pytest.mark.parametrize("content", [b"", b"time_utc,lat,lon", b"time_utc,lat,lon\n", b"\xff\xfe\x00\n\x00", b"\n\n\n"])
def test_scraps_are_left_to_the_long_way(content: bytes) -> None:
    assert any_table.read_own(content, "a.csv") is None


@pytest.mark.parametrize("time", ["2026-05-03T15:20:00-05Z", "2026-05-03T15:20-05:00Z", "2026-05-03T15:20:00ZZ"])
def test_a_zone_before_the_z_is_not_the_short_ways_to_read(time: str) -> None:
    # Found by tests.fuzz: numpy took the zone, with a warning.
    content = "time_utc,lat,lon\n" + f"{time},44,-93\n" * 3
    assert any_table.read_own(content.encode(), "a.csv") is None
