"""Readers: one file a format, each answers "is it mine?" by content and reads it to a `Track`; one table of them.

A new format is a module here with ``sniff(head)`` and ``read(data, source)``, and its line in `READERS`:
reading, the column sheet and the search of a folder all ask that table.
"""

from __future__ import annotations

import os
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, NamedTuple

from trackgrade.errors import TrackFileError
from trackgrade.files import MIB, FileBytes, plain_text, read_bytes

if TYPE_CHECKING:  # arrays are loaded when a file is read, not to search a folder
    from trackgrade.track.track import Track

#: What a track can be read from.
TrackSource = str | os.PathLike[str] | bytes | BinaryIO

#: Content of one file at most, unpacked. Only a reader that keeps nothing of the text can take so much within 1 GB.
MOST_BYTES = 256 * MIB
_USUAL_MOST_BYTES = 96 * MIB
_HEAD = 8192


class Reader(NamedTuple):
    """One format: what people call it, its module here (loaded when asked), the endings a folder is searched for.

    ``most_bytes``: of content, so that reading it stays within 1 GB. ``by_columns``: its columns may need to be named
    by a columns map, which ``read`` then takes as ``columns``.
    """

    name: str
    module: str
    endings: tuple[str, ...]
    most_bytes: int = _USUAL_MOST_BYTES
    by_columns: bool = False

    def sniff(self, head: bytes) -> bool:
        """Whether the first bytes of a file are of this format."""
        return bool(self._loaded().sniff(head))

    def read(self, content: FileBytes, source: str, columns: str | os.PathLike[str] | bytes | None = None) -> Track:
        """The track in a file's content. Raises TrackFileError and, by columns, ColumnsFileError."""
        if len(content.data) > self.most_bytes:
            raise TrackFileError(
                f"{source} is {self.name} of over {self.most_bytes // MIB} MiB and is not read. "
                "Cut it to the flight, or keep fewer points a second"
            )
        more = {"columns": columns} if self.by_columns else {}
        track: Track = self._loaded().read(content.data, source, **more)
        return replace(track, sha256=content.sha256, notes=(*content.notes, *track.notes))

    def _loaded(self) -> Any:
        return import_module(f"{__name__}.{self.module}")


#: Every format, in the order they are asked; a text table is what is left.
READERS = (
    Reader("a GPX file", "gpx", (".gpx",), MOST_BYTES),
    Reader("a KML or KMZ file", "kml", (".kml", ".kmz"), MOST_BYTES),
    Reader("an IGC file", "igc", (".igc",)),
    Reader("an NMEA log", "nmea", (".nmea", ".nma")),
    Reader("a text table (CSV)", "any_table", (".csv", ".tsv", ".txt"), by_columns=True),
)

#: What is looked for in a folder, each also with .gz. A file given by name may have any ending: its content decides.
TRACK_ENDINGS = tuple(ending for reader in READERS for ending in reader.endings)


def read_track(
    track: TrackSource, columns: str | os.PathLike[str] | bytes | None = None, *, name: str | None = None
) -> Track:
    """Read a track of any known format; the content decides which, not the ending. Gzip is unpacked.

    Parameters
    ----------
    track
        A path, the bytes of a file, or a file opened for reading bytes.
    columns
        A columns map (TOML; a path, or its bytes) for a table whose headers do not say enough; see
        `trackgrade.track.columns_map`.
    name
        What to call it in messages and in the debrief; by itself the name of the file.

    Raises TrackFileError: the file cannot be read, is of no known format, or holds no flight (one line says why);
    ColumnsFileError: the columns map cannot be read, or names a column or unit that is not there.
    """
    content, source = track_bytes(track, name)
    return reader_of(content).read(content, source, columns)


def track_bytes(track: TrackSource, name: str | None = None) -> tuple[FileBytes, str]:
    """The content of a track file, and what to call it. Raises TrackFileError: not readable, too large, empty."""
    if name is None:
        given = track if isinstance(track, str | os.PathLike) else getattr(track, "name", None)
        name = Path(given).name if isinstance(given, str | os.PathLike) else ""
    source = plain_text(name, 120) or "track"
    content = read_bytes(track, MOST_BYTES, TrackFileError, name=source)
    if not content.data.strip(b"\x00 \t\r\n\xef\xbb\xbf\xff\xfe"):
        raise TrackFileError(f"{source} is empty. Copy or export it again")
    return content, source


def reader_of(content: FileBytes) -> Reader:
    """The first reader of the table that knows the content as its own."""
    head = content.data[:_HEAD]
    return next(reader for reader in READERS if reader.sniff(head))
