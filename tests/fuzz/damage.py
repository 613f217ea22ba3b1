"""Damage done to good bytes: to any file, to settings that stay TOML, to packed files; numbers at the edges."""

from __future__ import annotations

import gzip
import math
import random
import re

TOKENS = [
    *(b"nan", b"inf", b"-inf", b"1e308", b"-1e308", b"1e-320", b"0", b"-0", b"", b" ", b"91", b"-181", b"999999999"),
    *(b"0001-01-01T00:00:00Z", b"9999-12-31T23:59:59Z", b"1969-12-31T23:59:59Z", b"2026-02-30T25:61:61Z", b"24:00:00"),
    *(b"+99:99", b"Z", b"-00:00", b"T", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b"\xf0\x9f\x9b\xa9", b"\xe2\x88\x92"),
    *(b"<", b">", b"&", b"&amp;", b"&x;", b"<!DOCTYPE gpx>", b"<![CDATA[", b"]]>", b"<!--", b"-->", b"<?x", b"/>"),
    *(b' xmlns="', b" xmlns:a='b'", b"<trkpt", b"</trkpt>", b"<trkseg>", b"</trk>", b"<extensions>", b"<speed>"),
    *(b",", b";", b"\t", b"|", b'"', b'""', b"'", b"\r", b"\n", b"\r\n", b"#", b"lat", b"lon", b"time_utc", b"alt_ft"),
    *(b"N 44\xc2\xb012.345'", b"4412.345", b"FL045", b"1,234.5", b"1.234,5", b"12 kt", b"4000 ft", b"ft", b"deg true"),
    *(b"=", b"==", b"[", b"]", b"[[", b"]]", b"{", b"}", b"true", b"false", b"[fix]", b"[leg]", b"column", b"unit"),
    *(
        b"lat = ",
        b"turns = 'left'",
        b"inbound_course_deg = 0.0",
        b"minutes = -1",
        b"\x1b[31m",
        b"../../x",
        b"\xe2\x80\xae",
    ),
    b"9" * 400,
    b"9" * 5_000,
    b"[" * 2_000,
    b"a" * 3_000,
]
NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")

#: ``key = value`` anywhere in a TOML text, and values of every type to put in its place.
SETTING = re.compile(r"""([A-Za-z_]\w*)(\s*=\s*)("[^"\n]*"|'[^'\n]*'|[^,\n}\]"']+)""")
VALUES = [
    *(
        "nan",
        "inf",
        "-inf",
        "1e308",
        "-1e308",
        "1e-320",
        "0",
        "-0.0",
        "-1",
        "1",
        "2",
        "59.99",
        "90.0001",
        "180",
        "-181",
    ),
    *(
        "360",
        "360.0001",
        "0.0001",
        "1000000",
        "9" * 400,
        "0x7f",
        "true",
        "false",
        '""',
        '" "',
        '"a"',
        "'lat'",
        '"true"',
    ),
    *(
        '"north"',
        '"left"',
        '"ddmm"',
        '"elapsed_s"',
        '"kt"',
        '"within"',
        '"' + "a" * 3_000 + '"',
        '"<u>&amp;\\"\'{{ 1 }}"',
    ),
    *('"\\u001b[31m\\u202e"', '"\\u0000"', "2026-05-03T15:20:00Z", "0001-01-01T00:00:00Z", "9999-12-31T23:59:59-14:00"),
    *("2026-05-03", "15:20:00", "[]", "{}", "[[]]", "[ 1, 2 ]", "{ lat = 1 }", "{ lat = 1, lon = 2, radial_deg = 3 }"),
    *("[ { up_to_ft = 1, kias = 2 }, { kias = 0 } ]", '[ "a", 1, {} ]', '{ column = 1, unit = "m" }', "{ column = 0 }"),
]


def mutated(dice: random.Random, seeds: tuple[bytes, ...]) -> bytes:
    """One seed with a few things done to it."""
    data = bytearray(dice.choice(seeds))
    for _ in range(dice.choice((1, 1, 1, 2, 3, 5, 12))):
        if len(data) > 200_000:
            break
        at = dice.randrange(len(data) + 1)
        to = min(len(data), at + dice.choice((1, 1, 2, 5, 20, 200)))
        match dice.randrange(13):
            case 0 if data:
                data[at % len(data)] ^= 1 << dice.randrange(8)
            case 1:
                data[at:to] = b""
            case 2:
                data[at:at] = dice.choice(TOKENS)
            case 3:
                data[at:to] = dice.choice(TOKENS)
            case 4:
                data[at:at] = data[at:to] * dice.choice((1, 2, 50))
            case 5:
                data = data[:at]
            case 6:
                other = dice.choice(seeds)
                data[at:] = other[dice.randrange(len(other) + 1) :]
            case 7:
                lines = bytes(data).split(b"\n")
                dice.shuffle(lines)
                data = bytearray(b"\n".join(lines))
            case 8:
                lines = bytes(data).split(b"\n")
                del lines[dice.randrange(len(lines)) : dice.randrange(len(lines)) + 1]
                data = bytearray(b"\n".join(lines))
            case 9:
                numbers = list(NUMBER.finditer(data))
                if numbers:
                    found = dice.choice(numbers)
                    data[found.start() : found.end()] = dice.choice(TOKENS)
            case 10:
                numbers = list(NUMBER.finditer(data))
                if numbers:
                    found = dice.choice(numbers)
                    value = float(found[0]) if len(found[0]) < 300 else 0.0
                    new = dice.choice((-value, value * 10, value + dice.gauss(0, 1), value * 1e6, round(value), 1 / 3))
                    data[found.start() : found.end()] = repr(new).encode()
            case 11:
                data = bytearray(bytes(data).replace(dice.choice((b",", b"\n", b'"', b".", b":")), dice.choice(TOKENS)))
            case _:
                data[at:at] = dice.randbytes(dice.choice((1, 4, 30)))
    return bytes(data)


def with_other_settings(dice: random.Random, text: str) -> str:
    """A TOML text that stays TOML, mostly: values of other types and sizes, keys renamed, moved, doubled, gone."""
    for _ in range(dice.choice((1, 1, 1, 2, 4))):
        found = list(SETTING.finditer(text))
        if not found:
            break
        one, other = dice.choice(found), dice.choice(found)
        match dice.randrange(14):
            case 0:
                text = text[: one.start(3)] + dice.choice(VALUES) + text[one.end(3) :]
            case 1 | 2 | 3 | 4 | 5 | 6 | 7 | 8:  # near what it was: still of use, more often than not
                numbers = [m for m in found if NUMBER.fullmatch(m[3].strip().encode()) and len(m[3]) < 300]
                if numbers:
                    one = dice.choice(numbers)
                    value = float(one[3])
                    near = (value * dice.uniform(0.5, 2), value + dice.gauss(0, 3), -value, round(value), 10 * value)
                    text = text[: one.start(3)] + f"{dice.choice(near):.6g}" + text[one.end(3) :]
            case 9:
                text = text[: one.start(3)] + other[3] + text[one.end(3) :]
            case 10:
                text = text[: one.start(1)] + other[1] + text[one.end(1) :]
            case 11:
                lines = text.split("\n")
                line = lines.pop(dice.randrange(len(lines)))
                lines.insert(dice.randrange(len(lines) + 1), line)
                text = "\n".join(lines)
            case 12:
                lines = text.split("\n")
                del lines[dice.randrange(len(lines))]
                text = "\n".join(lines)
            case _:
                text = text[: one.end(3)] + f"\n{other[0]}\n" + text[one.end(3) :]
    return text


def packed(dice: random.Random, data: bytes) -> bytes:
    """Gzip of the data: whole, in members, cut short, with a wrong byte, with something behind it, or twice."""
    whole = gzip.compress(data, mtime=0)
    at = dice.randrange(len(whole))
    match dice.randrange(6):
        case 0:
            half = len(data) // 2
            return gzip.compress(data[:half], mtime=0) + gzip.compress(data[half:], mtime=0)
        case 1:
            return whole[:at]
        case 2:
            return whole[:at] + bytes([whole[at] ^ 1 << dice.randrange(8)]) + whole[at + 1 :]
        case 3:
            return whole + dice.randbytes(20)
        case 4:
            return gzip.compress(whole, mtime=0)
        case _:
            return whole


#: The edges of floating point, as TOML and Python write them: subnormal, smallest normal, just not 0 or 1, overflowing.
EDGES = (
    5e-324, 2.2250738585072014e-308, 1e-300, 1e-16, 1e-07, 0.0, -0.0, 1.0, math.nextafter(1.0, 2.0), 1e16, 2.0**63,
    1e300, 1.7976931348623157e308, math.inf, math.nan,
)  # fmt: skip
#: Where ranges of this trade end.
BOUNDS = (0.01, 0.1, 1.0, 10.0, 30.0, 60.0, 90.0, 100.0, 180.0, 300.0, 360.0, 600.0, 850.0, 1100.0, 60_000.0)


def near(dice: random.Random, value: float) -> float:
    """A number at an edge: of the floats, of a range, of the value itself; just beside it, or with its sign turned."""
    edge = dice.choice((dice.choice(EDGES), dice.choice(BOUNDS), value))
    match dice.randrange(5):
        case 0:
            edge = math.nextafter(edge, math.inf)
        case 1:
            edge = math.nextafter(edge, -math.inf)
        case 2:
            edge = edge * (1.0 + dice.choice((-1, 1)) * 10.0 ** -dice.randrange(3, 16))
        case _:
            pass
    return -edge if dice.random() < 0.15 else edge


def with_numbers_at_edges(dice: random.Random, text: str) -> str:
    """A TOML text with one to three of its numbers at an edge, at times an integer that no float holds."""
    for _ in range(dice.choice((1, 1, 1, 1, 2, 3))):
        numbers = [m for m in SETTING.finditer(text) if NUMBER.fullmatch(m[3].strip().encode()) and len(m[3]) < 300]
        if numbers:
            one = dice.choice(numbers)
            new = str(10**400) if dice.random() < 0.02 else repr(near(dice, float(one[3])))
            text = text[: one.start(3)] + new + text[one.end(3) :]
    return text
