"""The one flight as a receiver speaks it: NMEA 0183 sentences, made here."""

from __future__ import annotations

from functools import reduce

from tests.awkward.flight import FLIGHT, Row

FT = 0.3048


def sentence(body: str) -> str:
    """A sentence with its checksum: the exclusive or of all between $ and *."""
    return f"${body}*{reduce(lambda a, b: a ^ b, body.encode()):02X}"


def angle(value: float, width: int, sides: str) -> str:
    size = abs(value)
    return f"{int(size):0{width}d}{(size - int(size)) * 60:09.6f},{sides[int(value < 0)]}"


def rmc(r: Row, talker: str = "GP", status: str = "A") -> str:
    place = f"{angle(r.lat, 2, 'NS')},{angle(r.lon, 3, 'EW')}"
    return sentence(
        f"{talker}RMC,{r.time:%H%M%S}.00,{status},{place},{r.speed_kt:.1f},{r.course_deg:.1f},{r.time:%d%m%y},2.5,E,A"
    )


def gga(r: Row, talker: str = "GP", quality: int = 1) -> str:
    place = f"{angle(r.lat, 2, 'NS')},{angle(r.lon, 3, 'EW')}"
    return sentence(f"{talker}GGA,{r.time:%H%M%S}.00,{place},{quality},08,1.0,{r.alt_ft * FT:.3f},M,-31.0,M,,")


def nmea_text(rows: list[Row] = FLIGHT, talker: str = "GP", before: str = "", end: str = "\r\n") -> str:
    """What a receiver says once a second; ``before`` is a logger's own beginning of each line."""
    lines = []
    for r in rows:
        lines += [gga(r, talker), sentence(f"{talker}GSA,A,3,01,02,03,,,,,,,,,,1.8,1.0,1.5"), rmc(r, talker)]
    return end.join(before + line for line in lines) + end
