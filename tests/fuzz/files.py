"""Files of tracks: any bytes become a sound track, or one plain line; no lap is graded where nobody flew one."""

from __future__ import annotations

import random
from pathlib import Path

from tests.awkward.flight import own_csv
from tests.awkward.wild import SHAPES
from tests.fuzz.graded import GRADED, graded, plain_hold, plain_standard


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
    from trackgrade.track.readers import read_track

    return graded(read_track(path), plain_hold(), plain_standard())[0]


def grade_nonsense(path: Path, folder: Path, dice: random.Random) -> str:
    assert grade_a_flight(path, folder, dice) != GRADED, "a lap was graded on a track that is nonsense"
    return "no lap"


def find_its_holds(path: Path, folder: Path, dice: random.Random) -> str:
    from trackgrade.hold.holdfile import parse_hold, write_hold_file
    from trackgrade.segment.finding import find_holds
    from trackgrade.track.readers import read_track

    proposals = find_holds(read_track(path))
    for found in proposals:
        assert parse_hold(write_hold_file(found.plan("found"))).name == "found"
    return f"{min(len(proposals), 2)} holds"


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
