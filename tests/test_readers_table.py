"""The table of readers: what reading, the column sheet and a folder search all ask; what a track may come from."""

from __future__ import annotations

import gzip
import io
import subprocess
import sys
import types
from pathlib import Path

import numpy as np
import pytest

from tests.awkward.flight import ALT_FT, EPOCH_S, LAT_DEG, LON_DEG, gpx_text, own_csv
from tests.awkward.flight_recorder import igc_text
from tests.awkward.kml import kml, track_text
from tests.awkward.receiver import nmea_text
from trackgrade.batch.inputs import find_tracks
from trackgrade.errors import TrackFileError
from trackgrade.track import readers
from trackgrade.track.readers import MOST_BYTES, READERS, Reader, read_track
from trackgrade.track.readers.column_sheet import column_sheet

FILES = {
    "gpx": gpx_text().encode(),
    "kml": kml(track_text()).encode(),
    "igc": igc_text(decimals=7).encode(),
    "nmea": nmea_text().encode(),
    "any_table": own_csv().encode(),
}


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.module)
def test_each_reader_knows_its_own_files_and_leaves_others(reader: Reader) -> None:
    assert reader.name.startswith(("a ", "an "))
    for name, data in FILES.items():
        first = next(r for r in READERS if r.sniff(data[:8192]))
        assert (first is reader) == (name == reader.module)


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("packed", [False, True], ids=["plain", "gzip"])
def test_a_path_bytes_and_an_open_file_are_one_track(tmp_path: Path, name: str, packed: bool) -> None:
    data = gzip.compress(FILES[name], mtime=0) if packed else FILES[name]
    path = tmp_path / "a flight"
    path.write_bytes(data)
    with path.open("rb") as file:
        tracks = [read_track(path), read_track(str(path)), read_track(file), read_track(data, name="a flight")]
    tracks.append(read_track(io.BytesIO(data), name="a flight"))
    for track in tracks:
        np.testing.assert_array_equal(track.epoch_s, EPOCH_S)
        for field in ("source", "sha256", "notes", "provenance"):
            assert getattr(track, field) == getattr(tracks[0], field)
    assert read_track(data).source == "track"


def test_what_is_no_track_is_refused_under_the_name_given() -> None:
    with pytest.raises(TrackFileError, match=r"^my flight is empty"):
        read_track(b" \n", name="my flight")
    with pytest.raises(TrackFileError, match=r"^my flight holds more than"):
        read_track(b"x" * (MOST_BYTES + 1), name="my flight")
    with pytest.raises(TrackFileError, match=r"^track is opened as text"):
        read_track(io.StringIO(own_csv()))  # type: ignore[arg-type]


def test_a_columns_map_may_be_bytes() -> None:
    table = own_csv().replace("time_utc", "moment").encode()
    columns = b'time_utc = { column = "moment", unit = "iso" }\ngroundspeed_kt = false\n'
    assert not {"groundspeed_kt"} & set(read_track(table, columns).channels)
    assert column_sheet(table, columns, name="a.csv").source == "a.csv"


def test_the_sheet_says_what_kind_of_file_it_is() -> None:
    assert column_sheet(FILES["gpx"]).format == "a GPX file"
    assert column_sheet(FILES["any_table"]).format == "a text table (CSV)"


def test_a_folder_is_searched_for_the_endings_of_all_readers(tmp_path: Path) -> None:
    for reader in READERS:
        for ending in reader.endings:
            (tmp_path / f"a{ending.upper()}").touch()
            (tmp_path / f"b{ending}.gz").touch()
    (tmp_path / "c.json").touch()
    assert len(find_tracks([str(tmp_path)])) == 2 * sum(len(reader.endings) for reader in READERS)


def test_searching_a_folder_loads_no_arrays() -> None:
    code = "import sys; import trackgrade.batch.inputs; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_a_new_format_is_one_file_and_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The reader printed in docs/formats.md, as it stands there: reading, the sheet and a folder search know it."""
    page = (Path(__file__).parents[1] / "docs" / "formats.md").read_text(encoding="utf-8")
    module, line = (page.split(f"```{kind}\n")[1].split("```")[0] for kind in ("python", "text"))
    code = types.ModuleType("trackgrade.track.readers.my_log")
    exec(compile(module, "my_log.py", "exec"), code.__dict__)
    monkeypatch.setitem(sys.modules, code.__name__, code)
    mine = eval(line.strip().rstrip(","), {"Reader": Reader})
    monkeypatch.setattr(readers, "READERS", (mine, *READERS))
    rows = zip(EPOCH_S, LAT_DEG, LON_DEG, ALT_FT * 0.3048)
    data = b"%LOG\n" + "\n".join(" ".join(map(repr, map(float, row))) for row in rows).encode()
    track = read_track(data, name="a.log")
    np.testing.assert_array_equal(track.epoch_s, EPOCH_S)
    np.testing.assert_allclose(track.alt_ft, ALT_FT, atol=1e-9)
    assert column_sheet(data, name="a.log").format == "a log of my own"
    with pytest.raises(TrackFileError, match="not four numbers"):
        read_track(b"%LOG\n1 2 3\n", name="a.log")


def test_the_page_of_formats_names_every_reader_and_its_endings() -> None:
    page = (Path(__file__).parents[1] / "docs" / "formats.md").read_text(encoding="utf-8")
    table = [row for row in page.splitlines() if row.startswith("| ")]
    for reader in READERS:
        assert any(all(f"`{ending}`" in row for ending in reader.endings) for row in table), reader.name
