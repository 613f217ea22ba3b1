"""The shape of a text table: its encoding, delimiter, decimal mark, header line and units row."""

from __future__ import annotations

import codecs
import csv
import io
import itertools
import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field

import pandas as pd

from trackgrade.errors import ColumnsFileError, TrackFileError
from trackgrade.files import marked_encoding, plain_text
from trackgrade.track.columns import QUANTITIES, header_words, is_unit_word, matching_rule
from trackgrade.track.columns_map import ColumnsMap
from trackgrade.track.readers.made_columns import Made, bare_places, made_of, places

_HEAD_LINES = 100  # a preamble longer than this needs header_line in a columns map
_SAMPLE_LINES = 60
_LONGEST_LINE = 50_000
_MOST_COLUMNS = 2_000
_DELIMITERS = (",", ";", "\t", "|", " ")
_COMMENT = re.compile(r"^\s*(?:#|%|//|')\s*")
_NUMBER = re.compile(r"[+\-−]?\d[\d.,]*(?:[eE][+-]?\d+)?")
_DECIMAL_COMMA = re.compile(r"[+\-−]?\d{1,3},\d+")
#: A cell in quotes that goes on in the next line; the line's end is the mark.
_OVER_LINES = re.compile(r'(?:^|(?<=[,;\t|]))\s*"(?:[^"]|"")*\n(?:[^"]|"")*"\s*(?=[,;\t|]|$)')
_MOST_LINES_OF_A_CELL = 20
_LONGEST_RECORD = 20_000
_LARGEST_JOINED_BYTES = 16 * 1024 * 1024
_GRID = re.compile(r"(?i)\b(?:easting|northing|utm_?[xyen])\b")
_TIMES = frozenset(["time_utc", "time_of_day"])
_TIME_PICTURE = re.compile(r"[ymdhsfz:/.\- ]+", re.IGNORECASE)  # "yyyy-mm-dd", "hh:mm:ss"
#: Words of a units row beside the units themselves; of instruments whose columns are never read too.
_UNIT_ROW_WORDS = frozenset(
    [
        *("true", "magnetic", "utc", "msl", "agl", "hms", "local", "text", "enum", "bool", "none", "min", "g"),
        *("perminute", "persecond", "rpm", "gph", "lph", "gal", "gals", "psi", "bar", "inch", "inhg", "hg", "nm"),
        *("hpa", "mbar", "volts", "volt", "amps", "amp", "percent", "mv", "mhz", "khz", "hz", "kg", "lb", "lbs"),
    ]
)
_FOREIGN = (  # how other formats begin: a better answer than "no header"
    (b"PK\x03\x04", "a zip archive or a spreadsheet. Unpack it, or save the sheet as CSV"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet. Save the sheet as CSV"),
    (b"%PDF", "a PDF document. Export the track as GPX or CSV"),
    (b"SQLite format", "a database. Export the track as GPX or CSV"),
    (b"{", "JSON. Export the track as GPX or CSV"),
    (b"[", "JSON. Export the track as GPX or CSV"),
    (b"<", "XML or HTML, but neither GPX nor KML. Export the track as GPX or CSV"),
)


@dataclass(frozen=True, eq=False)
class TableShape:
    """How to read the table. Lines count from 1; ``header_line`` 0 means that there is none.

    ``unit_cells``: one text for each header, empty where there is no units row. ``sample``: the first rows of data.
    ``made``: columns that are made of others, by index; their headers and samples stand behind the table's own.
    """

    encoding: str
    delimiter: str
    decimal: str
    header_line: int
    first_data_line: int
    headers: tuple[str, ...]
    unit_cells: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]
    made: Mapping[int, Made] = field(default_factory=dict)

    def cells(self, index: int) -> list[str]:
        """What is in a column of the sample, without blanks."""
        return [row[index] for row in self.sample if index < len(row) and row[index]]


class NoHeaderError(TrackFileError):
    """The text may be a table, but no line of it names the columns that a flight needs."""


def text_lines(data: bytes, encoding: str) -> io.TextIOWrapper:
    """The bytes as text with plain line ends, decoded on the way."""
    return io.TextIOWrapper(io.BytesIO(data), encoding=encoding, errors="replace", newline=None)


def whole_records(data: bytes) -> bytes:
    """The table with every record on one line: cells in quotes may go on in the next one (RFC 4180, section 2.6).

    Blank lines take the place of those that were joined, so that line numbers stay. A quote that is never closed
    joins nothing. Bytes of nought that pad cells to a width are taken out.
    """
    encoding, _ = _encoding(data)
    if b"\x00" in data and not encoding.startswith(("utf-16", "utf-32")):
        data = data.replace(b"\x00", b"")  # padding of fixed widths
    if b'"' not in data or len(data) > _LARGEST_JOINED_BYTES:
        return data
    lines = text_lines(data, encoding).read().split("\n")
    joined = False
    for first, line in enumerate(lines):
        if line.count('"') % 2 == 0 or len(line) > _LONGEST_RECORD:
            continue
        record = line
        for last in range(first + 1, min(first + _MOST_LINES_OF_A_CELL, len(lines))):
            record = f"{record}\n{lines[last]}"
            if lines[last].count('"') % 2 == 0 and len(record) <= _LONGEST_RECORD:
                continue
            if len(record) <= _LONGEST_RECORD and "\n" not in _OVER_LINES.sub("", record):
                joined = True
                lines[first : last + 1] = [record.replace("\n", " "), *[""] * (last - first)]
            break
    return "\n".join(lines).encode(encoding, "replace") if joined else data


def find_shape(data: bytes, source: str, columns: ColumnsMap) -> TableShape:
    """Find how the table is laid out.

    Raises TrackFileError: not text, or no line names latitude, longitude and time; ColumnsFileError: the columns map
    names a header line or a column that is not there.
    """
    encoding, notes = _encoding(data)
    _refuse_binary(data, encoding, source)
    head = _head(data, encoding, source, max(_HEAD_LINES, (columns.header_line or 0)) + _SAMPLE_LINES)
    delimiter, header_at = _header(head, source, columns)
    headers = _header_cells(head[header_at], delimiter) if header_at is not None else ()
    if len(headers) > _MOST_COLUMNS:
        raise TrackFileError(f"{source} has over {_MOST_COLUMNS} columns: this is no flight log")
    first = 0 if header_at is None else header_at + 1
    unit_cells: tuple[str, ...] = ("",) * len(headers)
    if header_at is not None:
        below = next((i for i in range(first, min(first + 3, len(head))) if head[i].strip()), None)
        if below is not None and _is_units_row(cells := _header_cells(head[below], delimiter), headers):
            unit_cells, first = _fit(cells, len(headers)), below + 1
        elif header_at and _is_units_row(cells := _header_cells(head[header_at - 1], delimiter), headers):
            unit_cells = _fit(cells, len(headers))
    sample = tuple(tuple(c.strip() for c in split(line, delimiter)) for line in head[first:] if line.strip())
    sample = sample[:_SAMPLE_LINES]
    if header_at is None:
        sample = tuple(_plain_rows(head, delimiter)) or sample
        headers = tuple(f"column {i + 1}" for i in range(max((len(row) for row in sample), default=0)))
        unit_cells = ("",) * len(headers)
    else:
        if _numbered(sample, len(headers)):
            headers, unit_cells = ("", *headers), ("", *unit_cells)
            notes.append("the rows begin with their number, which has no header")
        _refuse_misaligned(sample, headers, source, header_at + 1)
    made = made_of(headers, sample, _quantities(headers, {}, {})) if header_at is not None else ()
    if made:
        of = dict.fromkeys(f'"{plain_text(headers[i], 40)}"' for each in made for i in each.of)
        notes.append(f"{', '.join(each.header for each in made)} from {', '.join(of)}")
        width = len(headers)
        headers, unit_cells = (*headers, *(m.header for m in made)), (*unit_cells, *("",) * len(made))
        rows = [_fit(row, width) for row in sample]
        parts = {i: pd.Series([row[i] for row in rows], dtype=str) for each in made for i in each.of}
        sample = tuple((*row, *own) for row, *own in zip(rows, *(each.cells(parts) for each in made)))
    if any(unit_cells):
        notes.append("a row of units was read")
    return TableShape(
        encoding,
        delimiter,
        columns.decimal or _decimal(sample, headers),
        0 if header_at is None else header_at + 1,
        first + 1,
        headers,
        unit_cells,
        sample,
        tuple(notes),
        dict(enumerate(made, start=len(headers) - len(made))),
    )


def _numbered(sample: tuple[tuple[str, ...], ...], columns: int) -> bool:
    """Whether the rows have one cell more than there are headers, in front, that counts them."""
    first = [row[0] for row in sample]
    if not first or any(len(row) != columns + 1 or not row[-1] for row in sample):
        return False
    return all(cell.isdecimal() for cell in first) and all(
        int(after) == int(before) + 1 for before, after in itertools.pairwise(first)
    )


def first_rows(data: bytes, count: int) -> list[list[str]]:
    """The first rows of a text that may be a table, split where it gives most columns; for people to look at."""
    encoding, _ = _encoding(data)
    lines = [line[:_LONGEST_LINE] for line in itertools.islice(text_lines(data, encoding), _HEAD_LINES)]
    lines = [line for line in lines if line.strip()]
    delimiter = max(_DELIMITERS, key=lambda d: max((len(split(line, d)) for line in lines), default=0))
    wide = [row for row in (split(line, delimiter) for line in lines) if len(row) > 1]
    return wide[:count]


def split(line: str, delimiter: str) -> list[str]:
    """Cells of one line; a stray quote does no harm."""
    try:
        return next(csv.reader([line.rstrip("\n")], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return line.rstrip("\n").split(delimiter)


def _encoding(data: bytes) -> tuple[str, list[str]]:
    if marked := marked_encoding(data):
        return marked, []
    head = data[:2000]
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if odd > len(head) // 4 and even < odd // 8:
        return "utf-16-le", ["UTF-16 without a byte-order mark"]
    if even > len(head) // 4 and odd < even // 8:
        return "utf-16-be", ["UTF-16 without a byte-order mark"]
    try:
        codecs.decode(data, "utf-8")
    except UnicodeDecodeError:
        return "cp1252", ["the text is not UTF-8: read as Western European (Windows-1252)"]
    return "utf-8", []


def _refuse_binary(data: bytes, encoding: str, source: str) -> None:
    stripped = data.lstrip(b"\xef\xbb\xbf \t\r\n")
    for start, what in _FOREIGN:
        if stripped.startswith(start):
            raise TrackFileError(f"{source} is {what}")
    text = data[:4096].decode(encoding, "replace")
    control = sum(1 for c in text if c < " " and c not in "\t\r\n") + text.count("\ufffd")
    if control > len(text) // 20 + 2:
        raise TrackFileError(f"{source} is neither GPX nor a text table. Export the track as GPX or CSV")


def _head(data: bytes, encoding: str, source: str, count: int) -> list[str]:
    lines = []
    for number, line in enumerate(itertools.islice(text_lines(data, encoding), count), start=1):
        if len(line) > _LONGEST_LINE:
            raise TrackFileError(f"{source} line {number} is over {_LONGEST_LINE:,} characters: this is no table")
        lines.append(line)
    return lines


def _header(head: list[str], source: str, columns: ColumnsMap) -> tuple[str, int | None]:
    """The delimiter and the index of the header line (None: the map counts columns and there is no header)."""
    delimiters = (columns.delimiter,) if columns.delimiter else _DELIMITERS
    if columns.header_line is not None:
        if columns.header_line > len(head):
            raise ColumnsFileError(
                f"{columns.name}: header_line {columns.header_line} is beyond the {len(head)} lines of {source}"
            )
        lines: Iterator[int] = iter([columns.header_line - 1])
    else:
        lines = iter(range(min(len(head), _HEAD_LINES)))
    named = {e.column.strip(): q for q, e in columns.entries.items() if isinstance(e.column, str)}
    numbered = {e.column - 1: q for q, e in columns.entries.items() if isinstance(e.column, int)}
    best: tuple[bool, int] = (False, 0)
    where: tuple[str, int | None] = (delimiters[0], None)
    nearest: set[str] = set()
    for index in lines:
        for delimiter in delimiters:
            if delimiter == " " and not columns.delimiter and any(d in head[index] for d in _DELIMITERS[:-1]):
                continue  # blanks stand inside the headers
            found = _quantities(_header_cells(head[index], delimiter), named, numbered)
            complete = {"lat", "lon"} <= found and bool(found & _TIMES)
            if (complete, len(found)) > best:
                best, where, nearest = (complete, len(found)), (delimiter, index), found
    if best[0] or (columns.header_line is not None and where[1] is not None):
        return where
    # What the headers leave out may be found in the cells, or be missing: that is told where the columns are chosen.
    if (
        where[1] is not None
        and not numbered
        and ((len(nearest) >= 2 and nearest & {"lat", "lon"}) or _has_place(head, where))
    ):
        return where
    if {"lat", "lon"} <= set(numbered.values()):
        widths = {d: sorted(len(split(line, d)) for line in head if line.strip()) for d in delimiters}
        return max(delimiters, key=lambda d: widths[d][len(widths[d]) // 2] if widths[d] else 0), None
    if not nearest & {"lat", "lon", *_TIMES} and not columns.entries:
        for delimiter in delimiters:
            if bare_places(_plain_rows(head, delimiter)) is not None:
                return delimiter, None
    raise NoHeaderError(_no_header(head, source, nearest, where))


def _plain_rows(head: list[str], delimiter: str) -> list[tuple[str, ...]]:
    """The rows of a text without headers: those of the usual width, past the first lines of another one."""
    rows = [tuple(cell.strip() for cell in split(line, delimiter)) for line in head if line.strip()]
    widths = sorted(len(row) for row in rows)
    usual = widths[len(widths) // 2] if widths else 0
    return [row for row in rows if len(row) == usual and usual > 2][:_SAMPLE_LINES]


def _quantities(cells: tuple[str, ...], named: dict[str, str], numbered: dict[int, str]) -> set[str]:
    """What the cells of a line would name if it were the header line; nothing where they are data."""
    if len(cells) < 2 or len(cells) > _MOST_COLUMNS:
        return set()
    if any(i < len(cells) and _NUMBER.fullmatch(cells[i]) for i in numbered):
        return set()
    found = {q for i, q in numbered.items() if i < len(cells)}
    for cell in cells:
        if cell in named:
            found.add(named[cell])
        elif cell and not _NUMBER.fullmatch(cell):
            rule = matching_rule(cell)
            if rule is None:  # OSD.latitude: enough to know the line by
                found.update({"lat", "lon"} & set(header_words(cell)))
                continue
            found.add(rule.quantity)
            if rule.quantity.endswith("_side"):  # "LATITUDE N/S" may head the letter, or degrees with the letter behind
                found.update({"lat", "lon"} & set(header_words(cell)))
    return found


def _has_place(head: list[str], where: tuple[str, int | None]) -> bool:
    """Whether latitude and longitude stand in one cell of the rows below."""
    delimiter, at = where
    assert at is not None
    sample = [[cell.strip() for cell in split(line, delimiter)] for line in head[at + 1 : at + 1 + _SAMPLE_LINES]]
    return bool(places(_header_cells(head[at], delimiter), sample))


def _no_header(head: list[str], source: str, nearest: set[str], where: tuple[str, int | None]) -> str:
    if len(nearest) >= 2 and where[1] is not None:
        return missing_columns(source, where[1] + 1, nearest)
    if any(_GRID.search(line) for line in head[:_HEAD_LINES]):
        return (
            f"{source} gives places on a grid (easting, northing), which are not read. Export it with latitude and "
            "longitude in degrees"
        )
    first = next((plain_text(line, 60) for line in head if line.strip()), "")
    return (
        f"{source} is of no format that is read, and no line of it names latitude, longitude and time columns "
        f'(it begins "{first}"). {name_them(source)}'
    )


def missing_columns(source: str, line: int, there: Collection[str]) -> str:
    """What to say where a line has no column for all that a flight needs, but only for the quantities ``there``."""
    wanted = {"time_utc": _TIMES, "lat": {"lat"}, "lon": {"lon"}}
    titles = [QUANTITIES[quantity].title for quantity, any_of in wanted.items() if not any_of & set(there)]
    return f"{source} line {line}: no column for {', '.join(titles)} among its headers. {name_them(source)}"


def name_them(source: str) -> str:
    """The remedy for headers that say too little."""
    return f'Name the columns in a columns file: "trackgrade columns {source} --write map.toml" makes one to edit'


def _header_cells(line: str, delimiter: str) -> tuple[str, ...]:
    cells = [c.strip() for c in split(_COMMENT.sub("", line), delimiter)]
    return tuple(cells)


def _is_units_row(cells: tuple[str, ...], headers: tuple[str, ...]) -> bool:
    pairs = [(h, c) for h, c in zip(headers, cells) if c and matching_rule(h)]
    if len(pairs) < 2 or any(_NUMBER.fullmatch(c) for c in cells):
        return False
    alike = sum(1 for header, cell in pairs if _is_unit_cell(cell) and cell != header)
    return alike * 2 > len(pairs)


def _is_unit_cell(cell: str) -> bool:
    words = header_words(cell)
    if words and all(is_unit_word(w) or w in _UNIT_ROW_WORDS for w in words):
        return True
    return len(cell) > 1 and _TIME_PICTURE.fullmatch(cell) is not None


def _fit(cells: tuple[str, ...], count: int) -> tuple[str, ...]:
    return (*cells[:count], *("",) * (count - len(cells)))


def _refuse_misaligned(sample: tuple[tuple[str, ...], ...], headers: tuple[str, ...], source: str, line: int) -> None:
    """Rows with more filled cells than headers: every value would be read from its neighbour's column."""
    longer = [row for row in sample if any(row[len(headers) :])]
    if sample and len(longer) * 2 > len(sample):
        raise TrackFileError(
            f"{source} line {line}: {len(headers)} headers, but the rows below have {len(longer[0])} cells. "
            "Mend the header line, or write numbers with a decimal point"
        )


def _decimal(sample: tuple[tuple[str, ...], ...], headers: tuple[str, ...]) -> str:
    where = [i for i, h in enumerate(headers) if (rule := matching_rule(h)) and rule.quantity in ("lat", "lon")]
    where = where or list(range(len(headers)))
    cells = [row[i] for row in sample for i in where if i < len(row) and row[i]]
    commas = sum(1 for c in cells if _DECIMAL_COMMA.fullmatch(c))
    return "," if commas * 2 > len(cells) else "."
