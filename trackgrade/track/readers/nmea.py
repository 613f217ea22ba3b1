"""Logs of NMEA 0183 sentences, as receivers speak them: RMC and GGA of any talker, ZDA for the date, HDT and VHW.

A position is taken from the kind of sentence that gives most of them; the other gives altitude, or speed and track, for
the same moment. What a logger writes before or behind a sentence is passed over.
"""

from __future__ import annotations

import datetime
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import reduce
from operator import xor

import numpy as np

from trackgrade.earth.units import METRES_PER_FT
from trackgrade.errors import TrackFileError
from trackgrade.track.readers.days import calendar_day, date_in_name, midnight_s
from trackgrade.track.readers.possible import make_track, moment_and_place
from trackgrade.track.track import Floats, Provenance, Track

_SENTENCE = re.compile(rb"\$([A-Z]{2})(RMC|GGA|ZDA|HDT|VHW)(,[^$*\r\n!]*)(?:\*([0-9A-Fa-f]{2}))?")
_SNIFF = re.compile(rb"\$[A-Z]{2}(?:RMC|GGA|ZDA|HDT|VHW|GLL|GSA|GSV|VTG|GNS|TXT),")
_CLOCK = re.compile(rb"([0-9]{2})([0-9]{2})([0-9]{2}(?:\.[0-9]{1,9})?)")
_ANGLE = re.compile(rb"([0-9]{1,3})([0-9]{2}(?:\.[0-9]{0,12})?)")
_NUMBER = re.compile(rb"[+-]?[0-9]{1,9}(?:\.[0-9]{0,12})?")
_DAY_S = 86_400.0
#: The fixes of one kind of sentence: seconds since midnight of the log's first day, latitude, longitude [deg], then of
#: RMC the ground speed [kt] and track [deg], of GGA the altitude [m].
_Fixes = list[tuple[float, ...]]


@dataclass(eq=False)
class _Log:
    """What the sentences hold. Headings are kept by the moment of the fix before them."""

    rmc: _Fixes = field(default_factory=list)
    gga: _Fixes = field(default_factory=list)
    unsure: _Fixes = field(default_factory=list)
    headings: dict[str, dict[float, float]] = field(default_factory=dict)
    first_day: datetime.date | None = None
    today_s: float = 0.0
    latest_s: float = np.nan
    damaged: int = 0
    without_fix: int = 0
    sentences: Counter[str] = field(default_factory=Counter)


def sniff(head: bytes) -> bool:
    """Whether the first bytes of a file hold a sentence of a receiver."""
    return _SNIFF.search(head) is not None


def read(data: bytes, source: str) -> Track:
    """A `Track` of the bytes of a log of sentences.

    Raises TrackFileError: no positions, no date, or fewer than two usable points.
    """
    log = _read(data.replace(b"\x00", b""))
    told: list[str] = []
    if log.damaged:
        told.append(f"sentences whose checksum is wrong were left out: {log.damaged}")
    if not log.rmc and not log.gga and log.unsure:
        log.rmc = log.unsure
        told.append("no sentence vouches for its position (all are marked V): they were used as they are")
    elif log.without_fix:
        told.append(f"sentences without a fix were left out: {log.without_fix}")
    if not log.rmc and not log.gga:
        raise TrackFileError(f"{source} is an NMEA log without a position: {_why_none(log)}")
    first_day = log.first_day or date_in_name(source, told)
    if first_day is None:
        raise TrackFileError(
            f"{source} is an NMEA log without a date: GGA sentences give the time of day only. Log RMC sentences "
            "too, or write the date (day, month, year) into a line before them, such as $GPZDA,,03,05,2026"
        )
    by_gga = len(log.gga) > len(log.rmc)
    fixes, kind = (log.gga, "GGA") if by_gga else (log.rmc, "RMC")
    time_s, lat_deg, lon_deg = np.array([fix[:3] for fix in fixes]).T
    provenance = moment_and_place(kind if log.sentences["RMC"] else f"{kind}, ZDA", kind, "degrees and minutes")
    alt_ft = _at(time_s, log.gga, 3) / METRES_PER_FT
    if np.isfinite(alt_ft).any():
        provenance.append(Provenance("altitude", "GGA", "m", "above mean sea level, by satellites; made feet"))
    channels = {
        "groundspeed_kt": _at(time_s, log.rmc, 3),
        "track_true_deg": _at(time_s, log.rmc, 4),
    }
    for name, values in log.headings.items():
        channels[name] = np.array([values.get(moment, np.nan) for moment in time_s])
    channels = {name: values for name, values in channels.items() if np.isfinite(values).any()}
    said = {"groundspeed_kt": ("RMC", "kt"), "track_true_deg": ("RMC", "deg true")}
    provenance += [Provenance(name, *said.get(name, ("HDT, VHW", "deg"))) for name in channels]
    return make_track(
        source,
        time_s + midnight_s(first_day),
        lat_deg,
        lon_deg,
        alt_ft,
        channels=channels,
        provenance=provenance,
        notes=told,
    )


def _read(data: bytes) -> _Log:
    found = [match.groups() for match in _SENTENCE.finditer(data)]
    # Several receivers may speak in turn: the one heard most is believed, for each kind of sentence.
    talkers = Counter((kind, talker) for talker, kind, _, _ in found)
    heard = {kind: max((n, talker) for (k, talker), n in talkers.items() if k == kind)[1] for kind, _ in talkers}
    log = _Log()
    for talker, kind, body, checksum in found:
        if talker != heard[kind]:
            continue
        if checksum is not None and reduce(xor, talker + kind + body) != int(checksum, 16):
            log.damaged += 1
            continue
        name = kind.decode()
        log.sentences[name] += 1
        _KINDS[name](log, [cell.strip() for cell in body[1:].split(b",")] + [b""] * 12)
    return log


def _rmc(log: _Log, cells: list[bytes]) -> None:
    date = cells[8]
    if dated := len(date) == 6 and date.isdigit():
        _set_day(log, int(date[4:]), int(date[2:4]), int(date[:2]))
    warned = cells[1].upper() == b"V"
    log.without_fix += warned
    values = (_number(cells[6]), _number(cells[7]))
    _keep(log, log.unsure if warned else log.rmc, cells[0], cells[2:6], values, dated)


def _gga(log: _Log, cells: list[bytes]) -> None:
    if cells[5] in (b"", b"0"):
        log.without_fix += 1
        return
    _keep(log, log.gga, cells[0], cells[1:5], (_number(cells[8]),))


def _zda(log: _Log, cells: list[bytes]) -> None:
    if all(cell.isdigit() for cell in cells[1:4]):
        _set_day(log, int(cells[3]), int(cells[2]), int(cells[1]))


def _hdt(log: _Log, cells: list[bytes]) -> None:
    _heading(log, "heading_true_deg", cells[0])


def _vhw(log: _Log, cells: list[bytes]) -> None:
    if "HDT" not in log.sentences:
        _heading(log, "heading_true_deg", cells[0])
    _heading(log, "heading_mag_deg", cells[2])


_KINDS: dict[str, Callable[[_Log, list[bytes]], None]] = {
    "RMC": _rmc,
    "GGA": _gga,
    "ZDA": _zda,
    "HDT": _hdt,
    "VHW": _vhw,
}


def _set_day(log: _Log, year: int, month: int, day: int) -> None:
    """The day that the sentence stands in; the first one of the log is where its times count from."""
    date = calendar_day(year, month, day)
    if date is None:
        return
    if log.first_day is None:
        # Fixes before it were counted from the day they began in: midnights passed since are taken off.
        passed = 0 if np.isnan(log.latest_s) else int(log.latest_s // _DAY_S)
        log.first_day = date - datetime.timedelta(days=passed)
    log.today_s = (date - log.first_day).days * _DAY_S


def _keep(
    log: _Log, fixes: _Fixes, clock: bytes, place: list[bytes], values: tuple[float, ...], dated: bool = False
) -> None:
    read = _CLOCK.fullmatch(clock)
    lat, lon = _degrees(place[0], place[1], b"NS"), _degrees(place[2], place[3], b"EW")
    if read is None or np.isnan(lat) or np.isnan(lon):
        log.without_fix += 1
        return
    hour, minute, second = (float(part) for part in read.groups())
    time_s = hour * 3600.0 + minute * 60.0 + second
    if dated and log.first_day is not None:
        time_s += log.today_s
    elif np.isfinite(log.latest_s):
        # The day is the one that brings it nearest to the fix before.
        time_s += round((log.latest_s - time_s) / _DAY_S) * _DAY_S
    log.latest_s = time_s
    fixes.append((time_s, lat, lon, *values))


def _degrees(text: bytes, side: bytes, sides: bytes) -> float:
    match = _ANGLE.fullmatch(text)
    if match is None or len(side) != 1 or side.upper() not in sides:
        return np.nan
    minutes = float(match[2])
    value = int(match[1]) + minutes / 60.0
    return np.nan if minutes >= 60.0 else -value if side.upper() == sides[1:] else value


def _number(text: bytes) -> float:
    return float(text) if _NUMBER.fullmatch(text) else np.nan


def _heading(log: _Log, name: str, cell: bytes) -> None:
    if np.isfinite(log.latest_s):
        log.headings.setdefault(name, {})[log.latest_s] = _number(cell)


def _at(time_s: Floats, fixes: _Fixes, which: int) -> Floats:
    """A value of these fixes at the same moments (n,); NaN where they have none."""
    known = {fix[0]: fix[which] for fix in fixes}
    return np.array([known.get(moment, np.nan) for moment in time_s])


def _why_none(log: _Log) -> str:
    if log.without_fix:
        return "its receiver had no fix. Choose a log of the flight itself"
    if log.damaged:
        return "the checksum of every sentence is wrong. Copy it again, or export the track as GPX or CSV"
    return "it has neither RMC nor GGA sentences. Set the logger to write RMC and GGA"
