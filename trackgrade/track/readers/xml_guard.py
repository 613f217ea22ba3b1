"""One guarded pass over the bytes of an XML file: a reader sees each element once, and nothing is kept.

Expat builds no tree. Document type definitions (the door of entity bombs and of external entities), absurd nesting,
endless tags and ever new names are refused on the way, so memory is bounded whatever the file holds.
"""

from __future__ import annotations

import codecs
import contextlib
import itertools
import re
from collections.abc import Callable, Iterator
from typing import Any, TypeVar
from xml.parsers import expat

from trackgrade.errors import TrackFileError
from trackgrade.files import marked_encoding
from trackgrade.track.readers.possible import MOST_POINTS

_CHUNK = 128 * 1024
_DEEPEST = 40  # GPX itself needs 5; extensions a few more
_LONGEST_TAG_BYTES = 512 * 1024  # a tag's attributes (and a comment) are in memory all at once
_MOST_NAMES = 5_000  # of elements and attributes, each kept once
_MOST_TAGS = 16_000_000  # eight elements, each with two tags, for each of the most points: bounds the time
_CUT = "Cut it to the flight, or keep fewer points a second"
_LONGEST_TEXT_PARTS = 8  # of at most 8 KiB: no value, and no name that is shown, is longer

_DECLARATION = re.compile(rb"^\s*<\?xml\b[^>]{0,200}?\?>")
_ENCODING = re.compile(rb"^\s*<\?xml\b[^>]{0,200}?\bencoding\s*=\s*[\"']([A-Za-z0-9._-]{1,40})[\"']")
#: Not how text is stored, though Python has them among its encodings; some take minutes over a megabyte.
_NO_ENCODINGS = frozenset(["punycode", "idna", "unicode_escape", "raw_unicode_escape", "undefined", "utf_7"])
# An ampersand that starts no reference known without a document type definition.
_LONE_AMPERSAND = r"&(?!(?:amp|lt|gt|quot|apos|#[0-9]{1,7}|#x[0-9A-Fa-f]{1,6});)"
_LONGEST_REFERENCE = len("&#x10FFFF;")
_NOT_XML = "[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]"
#: What is told of a text that was mended.
_OTHER_BYTES = "some bytes are not text in the file's encoding and were replaced"
_FORBIDDEN = "characters that XML forbids were mended"


class Handler:
    """What a format makes of the elements as they pass by; made anew for each pass.

    ``cut_at_line``: where a damaged text stopped making sense, or None; ``notes``: what is told of the text.
    ``open_elements``: names from the root to the element at hand, kept by ``start`` and ``end``, and "" in a section of
    plain characters (CDATA). ``text``: parts of the text being read: of the element that ``want`` was called in, at
    ``_field_depth``, kept as ``_field``. ``plain``: what a format can take at once, whole elements only (one group).
    """

    plain: re.Pattern[bytes] | None = None

    def __init__(self, parser: Any, source: str) -> None:
        self.open_elements: list[str] = []
        self.text: list[str] = []
        self.root = ""
        self.cut_at_line: int | None = None
        self.notes: list[str] = []
        self._parser, self._source = parser, source
        self._take_text = self.text.append
        self._field, self._field_depth = "", 0
        self._cells: dict[str, str] = {}  # of the point or placemark at hand

    def want(self, field: str) -> None:
        """Read the text of the element at hand."""
        self._field, self._field_depth = field, len(self.open_elements)
        self._parser.CharacterDataHandler = self._take_text

    def count(self) -> int:
        """Whole points so far."""
        raise NotImplementedError

    def kept(self) -> int:
        """Points that take memory so far, whole ones and others."""
        return self.count()

    def start(self, name: str, attributes: dict[str, str]) -> None:
        raise NotImplementedError

    def end(self, name: str) -> None:
        raise NotImplementedError

    def take(self, stretch: bytes) -> bool:
        """Take what ``plain`` matched, as if its elements had passed by; False where they stand as something else."""
        raise NotImplementedError

    def between(self) -> None:
        """Called now and then, outside of any element's handling, to turn what has been read into numbers.

        Raises TrackFileError: there are too many points.
        """
        if self.kept() > MOST_POINTS:
            raise TrackFileError(f"{self._source} has over {MOST_POINTS:,} track points and is not read. {_CUT}")


H = TypeVar("H", bound=Handler)


def read_xml(data: bytes, source: str, make: Callable[[Any, str], H]) -> H:
    """Pass over the bytes; of a damaged file as far as it goes.

    ``make`` gets expat's parser, whose ``CharacterDataHandler`` it sets while it wants text, and returns the handler.
    Raises TrackFileError: more tags, names or depth than a flight log has, or a document type definition.
    """
    if data.count(b"<") > _MOST_TAGS:
        raise TrackFileError(f"{source} has over {_MOST_TAGS:,} XML tags and is not read. {_CUT}")
    encoding, seen = _encoding(data), None
    with contextlib.suppress(UnicodeError):
        seen = _pass(_chunks(data, encoding), source, make)
    if seen is None or seen.cut_at_line is not None:  # damaged: perhaps by no more than a lone ampersand, or a bad byte
        told: set[str] = set()
        again = _pass(_mended(data, encoding, told), source, make)
        if seen is None or again.cut_at_line is None or again.count() > seen.count():
            seen = again
            seen.notes += [what for what in (_OTHER_BYTES, _FORBIDDEN) if what in told]
    if seen.cut_at_line is not None and seen.count():
        line, count = seen.cut_at_line, seen.count()
        seen.notes.append(f"the file is damaged or cut short at line {line}: {count} points before it were read")
    return seen


def _pass(chunks: Iterator[bytes], source: str, make: Callable[[Any, str], H]) -> H:
    parser = expat.ParserCreate("utf-8")
    parser.buffer_text = True
    seen = make(parser, source)

    def no_flight_log(what: str) -> TrackFileError:
        line = parser.CurrentLineNumber
        return TrackFileError(f"{source} line {line}: {what}. This is no flight log; export the track again")

    def refuse_dtd(*_: object) -> None:
        raise TrackFileError(
            f"{source} line {parser.CurrentLineNumber}: it defines its own XML entities (DOCTYPE), which no "
            "flight log needs and which can harm. Remove that line, or export the track again"
        )

    parser.StartElementHandler = seen.start
    parser.EndElementHandler = seen.end
    parser.StartCdataSectionHandler = lambda: seen.open_elements.append("")
    parser.EndCdataSectionHandler = seen.open_elements.pop
    parser.StartDoctypeDeclHandler = refuse_dtd
    parser.EntityDeclHandler = refuse_dtd
    fed = 0
    try:
        for chunk in chunks:
            pieces = seen.plain.split(chunk) if seen.plain else [chunk]  # every second one is plain
            for number, piece in enumerate(pieces):
                # Where expat holds nothing back (the start of a comment), what looks like elements is elements.
                if number % 2 and parser.CurrentByteIndex == fed and seen.take(piece):
                    piece = b"\n" * piece.count(b"\n")  # its lines still count
                elif number % 2:
                    piece = b"".join(pieces[number:])
                    pieces.clear()
                parser.Parse(piece, False)
                fed += len(piece)
            if len(seen.open_elements) > _DEEPEST:
                raise no_flight_log(f"elements nested over {_DEEPEST} deep")
            if fed - parser.CurrentByteIndex > _LONGEST_TAG_BYTES + _CHUNK:
                raise no_flight_log(f"a tag or comment of over {_LONGEST_TAG_BYTES // 1024} KiB")
            if len(parser.intern) > _MOST_NAMES:
                raise no_flight_log(f"over {_MOST_NAMES:,} names of elements and attributes")
            del seen.text[_LONGEST_TEXT_PARTS:]
            seen.between()
        parser.Parse(b"", True)
    except expat.ExpatError as problem:
        seen.cut_at_line = problem.lineno
    seen.between()
    return seen


def _encoding(data: bytes) -> str:
    """By byte-order mark, the first letters, the declaration; UTF-8 otherwise, and where the name is no encoding."""
    encoding = marked_encoding(data)
    if not encoding and data[:2] == b"<\x00":
        encoding = "utf-16-le"
    if not encoding and data[:2] == b"\x00<":
        encoding = "utf-16-be"
    if not encoding and (declared := _ENCODING.match(data[:400])):
        encoding = declared[1].decode("ascii")
        try:
            # A text whose declaration stands in single bytes is in no encoding that does not agree; LookupError also
            # for what is a codec of Python's but no encoding of text.
            plain = b"<".decode(encoding) == "<"
            encoding = codecs.lookup(encoding).name if plain else ""
        except (LookupError, ValueError):
            encoding = ""
    return "utf-8" if not encoding or encoding.replace("-", "_") in _NO_ENCODINGS else encoding


def _chunks(data: bytes, encoding: str, errors: str = "strict") -> Iterator[bytes]:
    """The file in UTF-8, piece by piece, from its root on (the declaration no longer holds)."""
    if encoding in ("utf-8", "utf-8-sig") and errors == "strict":
        start = len(codecs.BOM_UTF8) if data.startswith(codecs.BOM_UTF8) else 0
        declaration = _DECLARATION.match(data[start : start + _CHUNK])
        start += declaration.end() if declaration else 0
        for at in range(start, len(data), _CHUNK):
            yield data[at : at + _CHUNK]
        return
    decoder = codecs.getincrementaldecoder(encoding)(errors)
    for at in range(0, len(data), _CHUNK):
        text = decoder.decode(data[at : at + _CHUNK], at + _CHUNK >= len(data))
        piece = text.encode("utf-8", "replace")
        yield _DECLARATION.sub(b"", piece, count=1) if at == 0 else piece


def _mended(data: bytes, encoding: str, told: set[str]) -> Iterator[bytes]:
    """The text with what XML forbids taken out: bytes of another encoding, lone ampersands, control characters."""
    held = ""
    for piece in itertools.chain(_chunks(data, encoding, "replace"), [b""]):
        text = held + piece.decode("utf-8")
        # A reference may go on in the next piece.
        cut = text.find("&", max(0, len(text) - _LONGEST_REFERENCE)) if piece else -1
        text, held = (text, "") if cut < 0 else (text[:cut], text[cut:])
        mended = re.sub(_LONE_AMPERSAND, "&amp;", re.sub(_NOT_XML, "", text))
        if "\ufffd" in text:
            told.add(_OTHER_BYTES)
        if mended != text:
            told.add(_FORBIDDEN)
        yield mended.encode("utf-8", "replace")
