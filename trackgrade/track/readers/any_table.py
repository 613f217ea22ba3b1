"""A text table of any make: the project's own columns, cleanly written, are read at once, any other is worked out.

Loading pandas takes longer than reading and grading a file of the project's own. Anything out of the ordinary (another
header, a quote, a comment, a cell that is no plain number) is left to `csv_table`; where both can read, the track is
the same.
"""

from __future__ import annotations

import io
import os

import numpy as np
import numpy.typing as npt

from trackgrade.track.readers.iso_times import plain_epochs_s
from trackgrade.track.readers.possible import make_track
from trackgrade.track.track import CHANNELS, DIRECTIONS, Floats, Provenance, Track

#: What each own column serves as, and its unit.
_QUANTITIES = {
    "time_utc": ("time", "UTC"),
    "lat": ("latitude", "deg"),
    "lon": ("longitude", "deg"),
    "alt_ft": ("alt_ft", "ft"),
    "oat_c": ("oat_c", "C"),
    **{name: (name, "kt" if name.endswith("_kt") else "deg") for name in CHANNELS if name != "oat_c"},
}
_NEEDED = {"time_utc", "lat", "lon"}
#: More rows take too much memory, all at once.
_MOST_ROWS = 1_000_000

#: Values beyond these are no slip of the log but another unit or form, which `csv_table` tells.
_RANGES = {"lat": (-90.0, 90.0), "lon": (-180.0, 180.0), **dict.fromkeys(DIRECTIONS, (0.0, 360.0))}

#: All that numbers and times are made of. No exponent, no blank, no word: what numpy takes beyond these is not plain.
_PLAIN = b"0123456789.-:TZ,\n"
#: A time, its fraction of a second of up to six digits, its Z.
_LONGEST_TIME = len("0000-00-00T00:00:00.000000Z")


def sniff(head: bytes) -> bool:
    """Whether it may be a table: anything may, so this reader is asked last."""
    return bool(head)


def read(data: bytes, source: str, columns: str | os.PathLike[str] | bytes | None = None) -> Track:
    """A `Track` of the bytes; raises what `csv_table.read` raises."""
    if columns is None and (track := read_own(data, source)) is not None:
        return track
    from trackgrade.track.readers import csv_table  # pandas is loaded only for a table of another make

    return csv_table.read(data, source, columns)


def read_own(data: bytes, source: str) -> Track | None:
    """A `Track` of the columns of README, with nothing to settle; None where the file is not of this plain kind.

    Raises TrackFileError: it is, and fewer than two of its points can be.
    """
    header, _, body = data.partition(b"\n")
    names = header.rstrip(b"\r").decode("latin-1").split(",")
    if not _NEEDED <= set(names) <= set(_QUANTITIES) or len(set(names)) != len(names):
        return None
    table = _table(body.replace(b"\r\n", b"\n") if b"\r" in body else body, names)
    epoch_s = None if table is None else plain_epochs_s(table["time_utc"])
    if table is None or epoch_s is None:
        return None
    found: dict[str, Floats] = {name: np.ascontiguousarray(table[name]) for name in names if name != "time_utc"}
    if not all(_plain(values, *_RANGES[name]) for name, values in found.items() if name in _RANGES):
        return None
    alt_ft = found.pop("alt_ft", np.full(len(table), np.nan))
    lat_deg, lon_deg = found.pop("lat"), found.pop("lon")
    in_order = ["time_utc", "lat", "lon", "alt_ft", *CHANNELS]
    return make_track(
        source,
        epoch_s,
        lat_deg,
        lon_deg,
        alt_ft,
        channels={name: found[name] for name in CHANNELS if name in found},
        provenance=[Provenance(_QUANTITIES[n][0], n, _QUANTITIES[n][1]) for n in in_order if n in names],
    )


def _plain(values: Floats, low: float, high: float) -> bool:
    """Whether all values that are there lie between the limits."""
    with np.errstate(invalid="ignore"):
        return not np.any((values < low) | (values > high))


def _table(body: bytes, names: list[str]) -> npt.NDArray[np.void] | None:
    """The rows (n,) by column, NaN for a blank cell, or None where they are not as many cells each, or not plain."""
    body = body.removesuffix(b"\n")
    rows = body.count(b"\n") + 1
    if rows > _MOST_ROWS or not body.strip(b"\n") or body.translate(None, _PLAIN):
        return None
    # A blank cell stands between two commas, or at an end of its line.
    for blank, filled in ((b",,", b",nan,"), (b",,", b",nan,"), (b",\n", b",nan\n"), (b"\n,", b"\nnan,")):
        if blank in body:
            body = body.replace(blank, filled)
    if body.endswith(b","):
        body += b"nan"
    kinds = [(name, f"S{_LONGEST_TIME}" if name == "time_utc" else "f8") for name in names]
    try:
        table = np.loadtxt(io.BytesIO(body), dtype=kinds, delimiter=",", comments=None, ndmin=1)
    except ValueError:
        return None
    return table if len(table) == rows else None
