"""Flights in the other formats, damaged as each can be: encodings of XML, archives, recorders' and receivers' lines."""

from __future__ import annotations

import encodings.aliases
import io
import math
import random
import zipfile
from datetime import timedelta
from functools import cache

from tests import plain_flight
from tests.awkward.flight import Row
from tests.awkward.flight_recorder import igc_text
from tests.awkward.kml import kml, track_text
from tests.awkward.receiver import nmea_text
from tests.fuzz.damage import TOKENS, mutated

BOMS = (
    b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff", b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff", b"\x2b\x2f\x76\x38", b"\xff",
)  # fmt: skip
#: Encodings of real text, EBCDIC and shifting ones too.
STORED = (
    "utf-8", "utf-8", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-le", "utf-32-be", "utf-7", "latin-1",
    "cp1252", "koi8-r", "cp437", "cp037", "cp500", "shift_jis", "euc_jp", "gb18030", "big5", "iso2022_jp", "hz",
)  # fmt: skip
#: What a declaration may say: every name that Python knows an encoding or a codec by, and some that nobody does.
DECLARED = (
    *sorted({*encodings.aliases.aliases, *encodings.aliases.aliases.values()}),
    "punycode", "idna", "rot13", "hex", "base64", "zlib", "bz2", "uu", "quopri", "unicode_escape", "utf-7", "undefined",
    "raw_unicode_escape", "utf_8_sig", "mbcs", "oem", "EBCDIC-CP-US", "ISO-10646-UCS-4", "UCS-2", "x-user-defined",
    "", " ", "none", "../../x", "utf 8", "utf-8 ", "UTF8", "Utf-16", "a" * 40, "a" * 400, "é", "\x1b[31m", "__init__",
)  # fmt: skip


@cache
def one_lap() -> tuple[Row, ...]:
    """A lap of the plain hold with its way in and out, with speed and course as a receiver tells them."""
    rows = plain_flight.rows(before_s=90, laps=1, after_s=40, interval_s=2.0)
    made = []
    for (time, lat, lon, alt_ft), (_, next_lat, next_lon, _) in zip(rows, [*rows[1:], rows[-1]]):
        east = (next_lon - lon) * math.cos(math.radians(lat))
        course = math.degrees(math.atan2(east, next_lat - lat)) % 360.0
        made.append(Row(time, time.timestamp(), lat, lon, alt_ft, plain_flight.SPEED_KT, course))
    return tuple(made)


@cache
def xml_texts() -> tuple[str, ...]:
    """The lap as GPX and KML, without a declaration."""
    rows = list(one_lap())
    gpx = plain_flight.gpx([(r.time, r.lat, r.lon, r.alt_ft) for r in rows])
    return tuple(text.split("?>", 1)[1].lstrip() for text in (gpx, kml(track_text(rows, together=True))))


def xml(dice: random.Random) -> bytes:
    """A flight whose declaration, byte-order mark and bytes agree, or not."""
    text = dice.choice(xml_texts()).replace("plain flight", dice.choice(("plain flight", "Flügé – полёт", "飛行 𝛑")))
    stored = dice.choice(STORED)
    said = dice.choice((stored, stored, dice.choice(DECLARED)))
    quote = dice.choice('""\'')
    head = dice.choice(
        (f"<?xml version='1.0' encoding={quote}{said}{quote}?>", f"<?xml encoding={quote}{said}{quote}?>", "")
    )
    if dice.random() < 0.1:
        head = head.replace(">", " standalone='yes'>").replace("1.0", dice.choice(("1.1", "9", "")))
    data = (dice.choice(("", "", "\n", " ")) + head + text).encode(
        stored, dice.choice(("replace", "xmlcharrefreplace"))
    )
    if dice.random() < 0.25:
        data = dice.choice(BOMS) + data
    return mutated(dice, (data,)) if dice.random() < 0.15 else data


def archive(dice: random.Random) -> bytes:
    """A KMZ: several members under odd names, packed in any way, then wrong in its directory, sizes, sums or length."""
    inside = kml(track_text(list(one_lap()), together=True)).encode()
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as file:
        for name in dice.sample(
            ("doc.kml", "a.KML", "../../b.kml", "/c.kml", "x/", "\x1b[31m.kml", "é.kml", "note.txt"), 3
        ):
            way = dice.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA))
            content = dice.choice((*[inside] * 6, b"", b"<kml/>", packed.getvalue(), bytes(100_000)))
            info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            info.compress_type = way
            info.extra = dice.choice(
                (b"", b"", b"", b"", b"", b"", b"\x01\x00\x10\x00" + b"\xff" * 16, b"\x01\x00", dice.randbytes(12))
            )
            file.writestr(info, content)
        file.comment = dice.choice((b"", b"PK\x05\x06", b"x" * 60_000))
    data = bytearray(packed.getvalue())
    if dice.random() < 0.5:
        return bytes(data)
    for _ in range(dice.choice((1, 2, 4))):
        marks = [at for mark in (b"PK\x01\x02", b"PK\x03\x04", b"PK\x05\x06") if (at := data.rfind(mark)) >= 0]
        at = min(len(data) - 1, dice.choice((*marks, len(data) - 30)) + dice.randrange(46))
        match dice.randrange(5):
            case 0 | 1:
                data[at] = dice.randrange(256)
            case 2:
                data[at : at + 4] = dice.choice((b"\xff\xff\xff\xff", b"\x00\x00\x00\x00", b"\xff\xff\xff\x7f"))
            case 3:
                data = data[: dice.randrange(4, len(data) + 1)]
            case _:
                data[4:4] = dice.randbytes(dice.choice((1, 4, 300)))
    return bytes(data)


def recorder(dice: random.Random) -> bytes:
    """Lines of a flight recorder or a receiver: wrong letters and sums, another day, rows twice, late or missing."""
    moved = timedelta(hours=dice.choice((0, 0, 0, 8.9, -15.1, 24 * 60)))  # past midnight within the flight, too
    rows = [Row(r.time + moved, r.epoch_s + moved.total_seconds(), *list(vars(r).values())[2:]) for r in one_lap()]
    if dice.random() < 0.5:
        height = dice.choice((1219.0, 0.0, -50.0, 99999.0, None))
        text = igc_text(rows, pressure_m=height, gnss_m=dice.choice((1250.0, height)), decimals=dice.choice((3, 3, 5)))
    else:
        text = nmea_text(rows, dice.choice(("GP", "GN", "GL")), dice.choice(("", "", "15:20:00 ", "$", "\\s:x*00\\")))
    lines = text.split("\r\n")
    for _ in range(dice.choice((0, 1, 1, 2, 4))):
        at, to = sorted(dice.randrange(len(lines)) for _ in range(2))
        match dice.randrange(9):
            case 0:
                letters = list(lines[at] or " ")
                letters[dice.randrange(len(letters))] = chr(dice.choice((0, 32, 45, 48, 57, 65, 90, 233, 8206)))
                lines[at] = "".join(letters)
            case 1:
                lines[at:to] = [
                    line.replace(*dice.choice((("A", "V"), ("N", "S"), ("W", "E"), (".", ","), ("0", ""))))
                    for line in lines[at:to]
                ]
            case 2:
                lines[at:at] = lines[at:to]
            case 3:
                lines[at:to] = reversed(lines[at:to])
            case 4:
                del lines[at : min(to, at + 20)]
            case 5:
                lines[at] = lines[at][: dice.randrange(len(lines[at]) + 1)]
            case 6:
                lines.insert(at, dice.choice(TOKENS).decode("latin-1"))
            case 7:
                lines[:12] = dice.sample(lines[:12], min(12, len(lines)))
            case _:
                lines[at] = lines[at] + lines[to]
    data = dice.choice(("\r\n", "\r\n", "\n", "\r")).join(lines).encode("utf-8")
    return mutated(dice, (data,)) if dice.random() < 0.2 else data
