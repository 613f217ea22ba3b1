"""The project's own CSV, written cleanly: the columns of README and nothing to settle. Read without pandas.

Loading pandas takes longer than reading and grading such a file. Anything out of the ordinary (another header,
a quote, a comment, a cell that is no plain number) is left to `csv_table`; where both can read, the track is the same.
"""

from __future__ import annotations

import re

import numpy as np

from trackgrade.track.readers.possible import make_track, usable_angle_deg
from trackgrade.track.track import CHANNELS, Floats, Provenance, Track

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
_DIRECTIONS = {name for name in CHANNELS if name.startswith(("heading", "track"))}
#: More rows take too much memory as texts, all at once.
_MOST_ROWS = 100_000

#: Values beyond these are no slip of the log but another unit or form, which `csv_table` tells.
_RANGES = {"lat": (-90.0, 90.0), "lon": (-180.0, 180.0), **dict.fromkeys(_DIRECTIONS, (0.0, 360.0))}

_PLAIN_NUMBER = "0123456789.-"
_PLAIN_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?Z")


def read(data: bytes, source: str, sha256: str = "", notes: tuple[str, ...] = ()) -> Track | None:
    """A `Track` of the bytes, or None where the file is not of this plain kind.

    Raises
    ------
    TrackFileError
        It is, and fewer than two of its points can be.
    """
    header, _, body = data.partition(b"\n")
    names = header.rstrip(b"\r").decode("latin-1").split(",")
    if not _NEEDED <= set(names) <= set(_QUANTITIES) or len(set(names)) != len(names) or body.count(b"\n") > _MOST_ROWS:
        return None
    lines = body.decode("latin-1").replace("\r\n", "\n").removesuffix("\n").split("\n")
    if {line.count(",") for line in lines} != {len(names) - 1}:
        return None
    flat = ",".join(lines).split(",")
    cells = {name: flat[column :: len(names)] for column, name in enumerate(names)}
    epoch_s = _times(cells.pop("time_utc"))
    columns = {name: _numbers(texts) for name, texts in cells.items()}
    if epoch_s is None or any(values is None for values in columns.values()):
        return None
    found = {name: values for name, values in columns.items() if values is not None}
    if not all(_plain(values, *_RANGES[name]) for name, values in found.items() if name in _RANGES):
        return None
    alt_ft = found.pop("alt_ft", np.full(len(lines), np.nan))
    lat_deg, lon_deg = found.pop("lat"), found.pop("lon")
    in_order = ["time_utc", "lat", "lon", "alt_ft", *CHANNELS]
    return make_track(
        source,
        epoch_s,
        lat_deg,
        lon_deg,
        alt_ft,
        channels={
            name: usable_angle_deg(found[name]) if name in _DIRECTIONS else found[name]
            for name in CHANNELS
            if name in found
        },
        provenance=[Provenance(_QUANTITIES[n][0], n, _QUANTITIES[n][1]) for n in in_order if n in names],
        notes=[*notes, *([] if np.isfinite(alt_ft).any() else ["no altitude in the file"])],
        sha256=sha256,
    )


def _plain(values: Floats, low: float, high: float) -> bool:
    """Whether all values that are there lie between the limits."""
    with np.errstate(invalid="ignore"):
        return not np.any((values < low) | (values > high))


def _times(texts: list[str]) -> Floats | None:
    """Seconds since 1970 (n,), or None where a time is not ISO 8601 with seconds and a Z, or not in the calendar."""
    # Strictly: numpy would take a zone, or a second Z, with no more than a warning.
    if not all(map(_PLAIN_TIME.fullmatch, texts)):
        return None
    try:
        moments = np.array([text[:-1] for text in texts], dtype="datetime64[us]")
    except ValueError:
        return None
    return np.asarray(moments.astype(np.int64) / 1e6)


def _numbers(texts: list[str]) -> Floats | None:
    """Values (n,), NaN where blank, or None where a cell is no plain number."""
    if _other_than(_PLAIN_NUMBER, texts):
        return None
    try:
        return np.array([text or "nan" for text in texts], dtype=np.float64)
    except ValueError:
        return None


def _other_than(characters: str, texts: list[str]) -> bool:
    """Whether any other character is in the texts."""
    return bool("".join(texts).strip(characters))
