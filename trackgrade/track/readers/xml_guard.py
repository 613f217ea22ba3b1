"""Looks an XML text over before a parser that builds a tree gets to see it.

One pass of expat, which builds nothing: refuses document type definitions (the door of entity bombs and of
external entities), absurd nesting and too many points, and finds where a damaged file stops making sense.
"""

from __future__ import annotations

import codecs
import re
from collections import Counter
from dataclasses import dataclass, field
from xml.parsers import expat

from trackgrade.errors import TrackFileError
from trackgrade.track.readers.possible import MOST_POINTS

_DEEPEST = 40  # GPX itself needs 5; extensions a few more
_MOST_NAMESPACES = 100
_MOST_ELEMENTS = 2_000_000  # ten for each of the most points: more would not fit in 1 GB as a tree
# Bytes that gpxpy's objects take, measured with its 1.6: a point, any other element, an ``extensions``, each of its
# children (copied into a document of its own). With 200 MB for all else the most stays inside 1 GB.
_POINT_BYTES, _ELEMENT_BYTES, _EXTENSIONS_BYTES, _EXTENSION_BYTES = 1000, 400, 450, 350
_MOST_TREE_BYTES = 850_000_000
_MOST_OTHER_POINTS = 10_000  # waypoints, or points of a route
_POINTS = {"trkpt": "track points", "rtept": "route points", "wpt": "waypoints"}

_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),  # before UTF-16: it begins with the same two bytes
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_DECLARATION = re.compile(r"^\s*<\?xml\b[^>]{0,200}?\?>")
_ENCODING = re.compile(rb"^\s*<\?xml\b[^>]{0,200}?\bencoding\s*=\s*[\"']([A-Za-z0-9._-]{1,40})[\"']")
_NAMESPACE_LIKE = re.compile(r"(\s)xmlns(?!(?::[\w.-]+)?\s*=\s*[\"'][^\"'<]*[\"'])")
_NAMESPACE = re.compile(r"\sxmlns(?::[\w.-]+)?\s*=\s*[\"']([^\"'<]*)[\"']")
# An ampersand that starts no reference known without a document type definition.
_LONE_AMPERSAND = re.compile(r"&(?!(?:amp|lt|gt|quot|apos|#[0-9]{1,7}|#x[0-9A-Fa-f]{1,6});)")
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")


@dataclass
class Survey:
    """What one pass found: a text safe to parse, and what is in it.

    ``counts``: elements by name, without prefix. ``in_point``: names standing directly in a track point.
    ``extensions``: elements standing directly in any ``extensions``.
    ``cut_at_line``: where a damaged text was cut, or None.
    """

    text: str
    root: str = ""
    version: str = ""
    counts: Counter[str] = field(default_factory=Counter)
    in_point: Counter[str] = field(default_factory=Counter)
    extensions: int = 0
    notes: list[str] = field(default_factory=list)
    cut_at_line: int | None = None


def decoded(data: bytes) -> tuple[str, tuple[str, ...]]:
    """Text of XML bytes by byte-order mark, declaration or UTF-8, without its declaration; and notes."""
    notes: tuple[str, ...] = ()
    encoding = next((name for bom, name in _BOMS if data.startswith(bom)), "")
    if not encoding and data[:4] in (b"<\x00?\x00", b"<\x00g\x00"):
        encoding = "utf-16-le"
    if not encoding and data[:4] in (b"\x00<\x00?", b"\x00<\x00g"):
        encoding = "utf-16-be"
    if not encoding and (declared := _ENCODING.match(data[:400])):
        encoding = declared[1].decode("ascii")
    try:
        text = data.decode(encoding or "utf-8")
    except (UnicodeDecodeError, LookupError):
        text = data.decode("utf-8", "replace")
        notes = ("some bytes are not text in the file's encoding and were replaced",)
    return _DECLARATION.sub("", text.lstrip("\ufeff")), notes


def survey(text: str, source: str) -> Survey:
    """Look the text over; cut a damaged one after its last whole point.

    Raises
    ------
    TrackFileError
        A document type definition, nesting too deep, too many points, or no element at all.
    """
    found = _pass(text, source)
    if found.cut_at_line is not None:
        mended = _LONE_AMPERSAND.sub("&amp;", _NOT_XML.sub("", text))
        if mended != text:
            again = _pass(mended, source)
            if again.counts["trkpt"] > found.counts["trkpt"] or again.cut_at_line is None:
                found = again
                found.notes.append("characters that XML forbids were mended")
    if found.cut_at_line is not None and found.root:
        found.notes.append(
            f"the file is damaged or cut short at line {found.cut_at_line}: "
            f"{found.counts['trkpt']} points before it were read"
        )
    size = _ELEMENT_BYTES * sum(found.counts.values()) + (_POINT_BYTES - _ELEMENT_BYTES) * found.counts["trkpt"]
    size += _EXTENSIONS_BYTES * found.counts["extensions"] + _EXTENSION_BYTES * found.extensions
    if size > _MOST_TREE_BYTES:
        raise TrackFileError(
            f"{source} has {found.counts['trkpt']:,} track points with extensions: too much to hold in memory, "
            "and not read. Cut it to the flight, or export it without extensions"
        )
    if len(set(_NAMESPACE.findall(found.text))) > _MOST_NAMESPACES:
        raise TrackFileError(f"{source} declares over {_MOST_NAMESPACES} XML namespaces: this is no flight log")
    # gpxpy looks for declarations by pattern and takes far too long on one without an equals sign.
    found.text = _NAMESPACE_LIKE.sub(r"\1 ", found.text)
    return found


def _pass(text: str, source: str) -> Survey:
    found = Survey(text)
    data = text.encode("utf-8", "replace")
    parser = expat.ParserCreate("utf-8")
    open_elements: list[str] = []
    last_whole = 0  # byte offset just after the last whole point
    open_then: list[str] = []
    whole_points = 0
    elements = 0

    def start(name: str, attributes: dict[str, str]) -> None:
        local = name.rpartition(":")[2]
        if not open_elements:
            found.root, found.version = name, attributes.get("version", "")
        else:
            parent = open_elements[-1].rpartition(":")[2]
            if parent == "trkpt":
                found.in_point[local] += 1
            elif parent == "extensions":
                found.extensions += 1
        open_elements.append(name)
        found.counts[local] += 1
        if len(open_elements) > _DEEPEST:
            raise TrackFileError(
                f"{source} line {parser.CurrentLineNumber}: elements nested over {_DEEPEST} deep. "
                "This is no flight log; export the track again"
            )
        nonlocal elements
        elements += 1
        limit = MOST_POINTS if local == "trkpt" else _MOST_OTHER_POINTS
        if (local in _POINTS and found.counts[local] > limit) or elements > _MOST_ELEMENTS:
            what = f"{limit:,} {_POINTS[local]}" if local in _POINTS else f"{_MOST_ELEMENTS:,} XML elements"
            raise TrackFileError(
                f"{source} has over {what} and is not read. Cut it to the flight, or keep fewer points a second"
            )

    def end(name: str) -> None:
        nonlocal last_whole, open_then, whole_points
        open_elements.pop()
        local = name.rpartition(":")[2]
        whole_points += local == "trkpt"
        if local in _POINTS:
            last_whole = parser.CurrentByteIndex
            open_then = open_elements.copy()

    def refuse_dtd(*_: object) -> None:
        raise TrackFileError(
            f"{source} line {parser.CurrentLineNumber}: it defines its own XML entities (DOCTYPE), which no "
            "flight log needs and which can harm. Remove that line, or export the track again"
        )

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.StartDoctypeDeclHandler = refuse_dtd
    parser.EntityDeclHandler = refuse_dtd
    parser.ExternalEntityRefHandler = None
    try:
        parser.Parse(data, True)
    except expat.ExpatError as problem:
        found.cut_at_line = problem.lineno
        found.counts["trkpt"] = whole_points
        if last_whole:
            # The offset is where the end tag (or the self-closed tag) begins.
            after = data.index(b">", last_whole) + 1
            closing = "".join(f"</{name}>" for name in reversed(open_then))
            found.text = data[:after].decode("utf-8", "replace") + closing
        else:
            found.text = ""
    return found
