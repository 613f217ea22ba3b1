"""A text table of any make: the project's own columns are read at once, any other is worked out."""

from __future__ import annotations

import os

from trackgrade.track.readers import own_csv
from trackgrade.track.track import Track


def sniff(head: bytes) -> bool:
    """Whether it may be a table: anything may, so this reader is asked last."""
    return bool(head)


def read(
    data: bytes,
    source: str,
    columns: str | os.PathLike[str] | bytes | None = None,
    sha256: str = "",
    notes: tuple[str, ...] = (),
) -> Track:
    """A `Track` of the bytes; raises what `csv_table.read` raises."""
    if columns is None and (track := own_csv.read(data, source, sha256, notes)) is not None:
        return track
    from trackgrade.track.readers import csv_table  # pandas is loaded only for a table of another make

    return csv_table.read(data, source, columns, sha256, notes)
