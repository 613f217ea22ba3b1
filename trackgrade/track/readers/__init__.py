"""Readers: one file a format, each answers "is it mine?" by content and reads it to a `Track`."""

from __future__ import annotations

import os
from pathlib import Path

from trackgrade.errors import TrackFileError
from trackgrade.files import plain_text, read_bytes
from trackgrade.track.readers import own_csv
from trackgrade.track.readers.possible import MOST_BYTES
from trackgrade.track.track import Track

_HEAD = 8192


def read_track(path: str | os.PathLike[str], columns: str | os.PathLike[str] | None = None) -> Track:
    """Read a track file of any known format; the content decides which, not the extension. Gzip is unpacked.

    Parameters
    ----------
    path
        GPX or CSV, gzip or not.
    columns
        A columns map (TOML) for a CSV whose headers do not say enough; see `trackgrade.track.columns_map`.

    Raises
    ------
    TrackFileError
        The file cannot be read, is of no known format, or holds no flight; one line says why.
    ColumnsFileError
        The columns map cannot be read, or names a column or unit that is not there.
    """
    source = plain_text(Path(path).name, 120) or "track"
    content = read_bytes(path, MOST_BYTES, TrackFileError)
    head = content.data[:_HEAD]
    if not content.data.strip(b"\x00 \t\r\n\xef\xbb\xbf\xff\xfe"):
        raise TrackFileError(f"{source} is empty. Copy or export it again")
    if b"<" in head:  # each reader is loaded only where it may be the one
        from trackgrade.track.readers import gpx

        if gpx.sniff(head):
            return gpx.read(content.data, source, content.sha256, content.notes)
    if columns is None and (track := own_csv.read(content.data, source, content.sha256, content.notes)) is not None:
        return track
    from trackgrade.track.readers import csv_table  # pandas is loaded only for a table of another make

    return csv_table.read(content.data, source, columns, content.sha256, content.notes)
