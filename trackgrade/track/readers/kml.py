"""KML 2.2 and 2.3 (OGC 07-147r2, 12-007r2) and KMZ: tracks with times, or placemarks that each have one.

``Track`` (``gx:Track`` in 2.2): as many ``when`` as ``coord``, in order. Coordinates are longitude, latitude and
metres: heights above the sea where ``altitudeMode`` is ``absolute``, and taken for that where there is no mode.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib

import numpy as np

from trackgrade.earth.units import METRES_PER_FT
from trackgrade.errors import TrackFileError
from trackgrade.files import MIB, plain_text
from trackgrade.track.readers.kml_pass import KmlPass
from trackgrade.track.readers.parts import joined
from trackgrade.track.readers.possible import make_track, moment_and_place
from trackgrade.track.readers.xml_guard import read_xml
from trackgrade.track.track import Provenance, Track

_KML_LIKE = re.compile(rb"<(?:!DOCTYPE\s+|[\w.-]+:)?kml\b")
_ZIP_MAGIC = b"PK\x03\x04"
_ZIP_ENTRY = b"PK\x01\x02"
_MOST_ZIP_ENTRIES = 10_000
#: How archives of maps are packed. What Python makes of 900 bytes of bzip2 or LZMA in one piece has no bound.
_PACKED_BY = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_MOST_PACKED_BYTES, _MOST_UNPACKED_BYTES = 128 * MIB, 256 * MIB
#: What zipfile raises for a damaged archive, one with a password, and a way of packing it does not know.
_NOT_UNPACKED = (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, RuntimeError)
_UNPACK = "Unpack it, and give the track"
#: A line without times of so many times the points of the timed places is the track, and they are events along it. One
#: that a logger draws through its timed places has as many.
_TRACK_LINE = 2
_REMEDY = "Export the track that was flown with its times: as GPX, CSV, or a KML track"


def sniff(head: bytes) -> bool:
    """Whether the first bytes of a file look like KML, or like the archive that a KMZ is."""
    text = head.replace(b"\x00", b"").lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return head.startswith(_ZIP_MAGIC) or (text.startswith(b"<") and _KML_LIKE.search(text) is not None)


def read(data: bytes, source: str) -> Track:
    """A `Track` of the bytes of a KML or KMZ file.

    Raises TrackFileError: not KML, hostile XML or archive, nothing in it has times, or no usable point.
    """
    told: list[str] = []
    if data.startswith(_ZIP_MAGIC):
        data, name = _unzipped(data, source)
        told.append(f"{plain_text(name, 60)} unpacked from the archive")
    seen = read_xml(data, source, KmlPass)
    told += seen.notes
    seen.close()
    if seen.root.rpartition(":")[2] != "kml":
        shown = plain_text(seen.root, 40)
        begins = f"begins with <{shown}>" if shown else f"is not readable XML (line {seen.cut_at_line or 1})"
        raise TrackFileError(f"{source} is no KML: it {begins}. {_REMEDY}")
    recorded = seen.tracks if seen.tracks.count else seen.placemarks
    epoch_s, lon_deg, lat_deg, alt_m = recorded.arrays()
    if not np.isfinite(epoch_s).any():
        raise TrackFileError(_untimed(seen, source))
    if recorded is seen.placemarks and seen.longest_line > _TRACK_LINE * recorded.count:
        raise TrackFileError(
            f"{source} is a map: a line of {seen.longest_line} or more points has no times, only {recorded.count} "
            f"places have. Grade the recording that it was made from. {_REMEDY}"
        )
    told += recorded.times.notes("KML")
    where = "Track/when and coord" if recorded is seen.tracks else "Placemark/TimeStamp and Point"
    provenance = moment_and_place(where, where)
    if np.isfinite(alt_m).any():
        provenance.append(Provenance("altitude", where, "m", "KML gives metres above the sea; made feet (× 1/0.3048)"))
    if "" in recorded.not_absolute:
        told.append("what its heights are measured from is not said (no altitudeMode): taken as above the sea")
    if other_modes := recorded.not_absolute - {""}:
        modes = ", ".join(sorted(plain_text(mode, 30) for mode in other_modes))
        told.append(
            f"altitudes not used, as altitudeMode is {modes}: only absolute ones are above the sea. "
            "If these are, write so into the file"
        )
    if recorded.uneven:
        told.append(f"{recorded.uneven} times or positions of tracks without their counterpart were left out")
    if seen.lines:
        told.append(f"{seen.lines} lines without times were left out")
    order = joined(recorded.parts, epoch_s, told)
    marks = zip(seen.placemarks.arrays()[0], seen.labels) if recorded is seen.tracks else ()
    return make_track(
        source,
        epoch_s[order],
        lat_deg[order],
        lon_deg[order],
        alt_m[order] / METRES_PER_FT,
        marks=marks,
        provenance=provenance,
        notes=told,
    )


def _untimed(seen: KmlPass, source: str) -> str:
    if seen.cut_at_line is not None:
        line = seen.cut_at_line
        return f"{source} line {line}: the file is damaged or cut short before its first timed point. {_REMEDY}"
    if seen.tracks.count:
        return f"{source}: its tracks have {seen.tracks.count} positions but no time that can be read. {_REMEDY}"
    if seen.lines:
        what = "a line" if seen.lines == 1 else f"{seen.lines} lines"
        return f"{source} holds {what} without times (LineString), so nothing can be timed. {_REMEDY}"
    if seen.places:
        return f"{source} holds {seen.places} places without times, no track. {_REMEDY}"
    return f"{source} is KML but holds no track. {_REMEDY}"


def _unzipped(data: bytes, source: str) -> tuple[bytes, str]:
    """The first .kml of a KMZ and its name; nothing else of the archive is unpacked."""
    if len(data) > _MOST_PACKED_BYTES:
        raise TrackFileError(f"{source} is an archive of over {_MOST_PACKED_BYTES // MIB} MiB. {_UNPACK}")
    if data.count(_ZIP_ENTRY) > _MOST_ZIP_ENTRIES:
        raise TrackFileError(f"{source} is an archive of over {_MOST_ZIP_ENTRIES:,} files. {_UNPACK}")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = [name for name in archive.namelist() if name.lower().endswith(".kml")]
            if not names:
                raise TrackFileError(f"{source} is an archive without a .kml file. {_UNPACK}")
            if archive.getinfo(names[0]).compress_type not in _PACKED_BY:
                raise TrackFileError(f"{source} is an archive packed in a rare way. {_UNPACK}")
            with archive.open(names[0]) as file:
                content = file.read(_MOST_UNPACKED_BYTES + 1)
    except _NOT_UNPACKED as problem:
        reason = plain_text(str(problem), 80)
        raise TrackFileError(f"{source} is an archive that cannot be unpacked ({reason}). Copy it again") from None
    if len(content) > _MOST_UNPACKED_BYTES:
        raise TrackFileError(f"{source} unpacks to more than {_MOST_UNPACKED_BYTES // MIB} MiB and is not read")
    return content, names[0]
