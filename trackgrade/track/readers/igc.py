"""IGC: the file of gliders' flight recorders, by the FAI Technical Specification for GNSS Flight Recorders, Appendix A.

Read: the date (H DTE), fixes (B) with their extensions (I) and pilot events (E PEV). Comments (L), satellites (F),
tasks (C), extra data (K) and the signature (G) are not: a position does not depend on them. Recorders differ in what
they keep to, so every line stands for itself.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass, field

import numpy as np

from trackgrade.earth.units import KT_PER_M_S, METRES_PER_FT
from trackgrade.errors import TrackFileError
from trackgrade.track.readers.days import calendar_day, date_in_name, midnight_s
from trackgrade.track.readers.possible import make_track, moment_and_place
from trackgrade.track.readers.speed_unit import kt_per_unit
from trackgrade.track.track import AltitudeDatum, Floats, Provenance, Track

_FIX = r"B([0-9]{6})([0-9]{7})([NS])([0-9]{8})([EW])"
_B = re.compile(_FIX + r"(?:([A-Z0-9 ])([-0-9][0-9]{4})?([-0-9][0-9]{4})?)?", re.IGNORECASE)
_DATE = re.compile(r"H[A-Z]?DTE(?:DATE)?[\s:]*([0-9]{2})([0-9]{2})([0-9]{2})(?![0-9])", re.IGNORECASE)
_EVENT = re.compile(r"E([0-9]{6})PEV(.*)")
_EXTENSION = re.compile(r"([0-9]{2})([0-9]{2})([A-Z]{3})")
_SNIFF = re.compile(
    (rf"(?:\A|[\r\n]){_FIX}" + r"|(?:\A|[\r\n])H[FOPS]DTE|\AA[A-Z0-9]{3}[^\r\n,;\t]*[\r\n]+H[FOPS][A-Z]{3}").encode()
)
_DAY_S = 86_400.0
#: A clock that falls from the last to the first quarter of a day has passed midnight; any other fall is a fault of it.
_EVENING_S, _MORNING_S = 0.75 * _DAY_S, 0.25 * _DAY_S
#: Extensions that are read and the channel each serves as; digits beyond three are decimals.
_SPEEDS = {"TAS": "tas_kt", "IAS": "ias_kt", "GSP": "groundspeed_kt"}
_DIRECTIONS = {"HDT": "heading_true_deg", "HDM": "heading_mag_deg", "TRT": "track_true_deg"}
_EXTENSIONS = ("LAD", "LOD", "TDS", *_SPEEDS, *_DIRECTIONS)
#: An airspeed differs from the speed over the ground by the wind, by half of it at most; a ground speed does not.
_AIR_RATIO, _GROUND_RATIO = (0.5, 2.0), (0.9, 1.1)
_FROM_ELLIPSOID = "height by satellites above the ellipsoid, as the file says or leaves open"


@dataclass(eq=False)
class _Rows:
    """What the lines hold.

    ``fixes``: seconds since midnight of ``date``, latitude, longitude [deg], pressure altitude and height by satellites
    [m]. ``digits``: the extensions of each as written. ``events``: seconds and label.
    """

    fixes: list[tuple[float, float, float, float, float]] = field(default_factory=list)
    digits: list[dict[str, str]] = field(default_factory=list)
    events: list[tuple[float, str]] = field(default_factory=list)
    date: datetime.date | None = None
    date_line: int = 0
    above_geoid: bool = False
    unreadable: list[int] = field(default_factory=list)
    not_3d: int = 0


def sniff(head: bytes) -> bool:
    """Whether the first bytes of a file look like IGC."""
    return _SNIFF.search(head.lstrip(b"\xef\xbb\xbf\r\n\t ")) is not None


def read(data: bytes, source: str) -> Track:
    """A `Track` of the bytes of an IGC file.

    Raises TrackFileError: no fixes, no date, or fewer than two usable points.
    """
    rows = _rows(data.decode("latin-1"))
    told: list[str] = []
    if not rows.fixes:
        raise TrackFileError(f"{source} is an IGC file without fixes (B records). Choose the file of a flight")
    date = rows.date or date_in_name(source, told)
    if date is None:
        where = f"is unreadable in line {rows.date_line}" if rows.date_line else "is missing"
        raise TrackFileError(
            f"{source} is an IGC file whose date {where}. Write it as day, month, year, such as HFDTE030526 for "
            "3 May 2026, into a line of its own before the first B record"
        )
    time_s, lat_deg, lon_deg, pressure_m, gnss_m = np.array(rows.fixes).T
    epoch_s = time_s + midnight_s(date)
    if rows.unreadable:
        told.append(f"fixes that cannot be read: {len(rows.unreadable)} (first: line {rows.unreadable[0]})")
    if rows.not_3d:
        told.append(f"{rows.not_3d} fixes are marked as not three-dimensional (V): their positions were used")
    provenance = moment_and_place("H DTE, B", "B", "degrees and minutes")
    alt_m, datum = _altitude(pressure_m, gnss_m, rows.above_geoid, provenance)
    channels = _channels(rows, (epoch_s, lat_deg, lon_deg), provenance, told)
    return make_track(
        source,
        epoch_s,
        lat_deg,
        lon_deg,
        alt_m / METRES_PER_FT,
        channels=channels,
        marks=[(at_s + midnight_s(date), label) for at_s, label in rows.events],
        provenance=provenance,
        notes=told,
        alt_datum=datum,
    )


def _rows(text: str) -> _Rows:
    rows = _Rows()
    fields: list[tuple[str, int, int]] = []
    day_s, before_s = 0.0, 0.0

    def since_midnight(clock: str) -> float:
        """Seconds since midnight of the first day: each midnight passed adds one."""
        nonlocal day_s, before_s
        hour, minute, second = int(clock[:2]), int(clock[2:4]), int(clock[4:])
        if hour > 23 or minute > 59 or second > 60:
            return np.nan
        time_s = hour * 3600.0 + minute * 60.0 + second
        if time_s < _MORNING_S and before_s > _EVENING_S:
            day_s += _DAY_S
        before_s = time_s
        return day_s + time_s

    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        line = line.lstrip("\xef\xbb\xbf\x00 \t")
        first = line[:1]
        if first in "Bb" and line:
            fix = _B.match(line)
            if fix is None:
                if line[1:7].isdecimal():
                    rows.unreadable.append(number)
                continue
            digits = {name: line[start:end].strip() for name, start, end in fields}
            clock, lat, north, lon, east, validity, pressure, gnss = fix.groups()
            decimals = digits.get("TDS", "")
            part_s = float(f"0.{decimals}") if decimals.isdecimal() else 0.0
            flat = validity in ("V", "v")
            rows.not_3d += flat
            rows.fixes.append(
                (
                    since_midnight(clock) + part_s,
                    _degrees(lat, digits.get("LAD", ""), north in "Ss"),
                    _degrees(lon, digits.get("LOD", ""), east in "Ww"),
                    np.nan if pressure is None else float(pressure),
                    np.nan if gnss is None or flat else float(gnss),
                )
            )
            rows.digits.append(digits)
        elif first == "E" and (event := _EVENT.match(line)):
            rows.events.append((since_midnight(event[1]), event[2]))
        elif first == "I":
            spans = _EXTENSION.findall(line[3:])
            fields = [(name, int(a) - 1, int(b)) for a, b, name in spans if name in _EXTENSIONS and int(a) <= int(b)]
        elif first in "Hh" and line:
            rows.above_geoid |= re.match(r"H.ALG.*(?:GEO|MSL)", line, re.IGNORECASE) is not None
            if re.match(r"H.?DTE", line, re.IGNORECASE):
                rows.date_line = rows.date_line or number
                date = _date(line)
                if rows.date is None:
                    rows.date = date
                elif date is not None and date > rows.date:  # the log goes on on another day
                    day_s, before_s = (date - rows.date).days * _DAY_S, 0.0
    return rows


def _date(line: str) -> datetime.date | None:
    match = _DATE.match(line)
    return None if match is None else calendar_day(int(match[3]), int(match[2]), int(match[1]))


def _degrees(digits: str, more: str, negative: bool) -> float:
    """DDMMmmm or DDDMMmmm, with further decimals of the minute."""
    whole, minutes = digits[:-5], f"{digits[-5:-3]}.{digits[-3:]}{more if more.isdecimal() else ''}"
    value = int(whole) + float(minutes) / 60.0
    return np.nan if float(minutes) >= 60.0 else -value if negative else value


def _altitude(
    pressure: Floats, gnss: Floats, above_geoid: bool, provenance: list[Provenance]
) -> tuple[Floats, AltitudeDatum]:
    """Pressure altitude (n,) [m] where a sensor recorded it, else the height by satellites."""
    with np.errstate(invalid="ignore"):
        recorded = np.count_nonzero(np.isfinite(pressure) & (pressure != 0.0))
        by_satellites = np.count_nonzero(np.isfinite(gnss) & (gnss != 0.0))
        copied = np.isfinite(gnss) & (pressure != gnss)
    # Recorders without a sensor write nought, or the height by satellites, into the field.
    if 2 * recorded > len(pressure) and (copied.any() or not by_satellites):
        note = "pressure altitude, 1013.25 hPa; made feet"
        provenance.append(Provenance("altitude", "B, pressure altitude", "m", note))
        return pressure, "pressure"
    if not by_satellites:
        return np.full(len(gnss), np.nan), "altimeter"
    note = "height by satellites above the sea" if above_geoid else _FROM_ELLIPSOID
    provenance.append(Provenance("altitude", "B, GNSS altitude", "m", f"{note}; made feet"))
    return gnss, "altimeter" if above_geoid else "ellipsoid"


def _channels(
    rows: _Rows, positions: tuple[Floats, Floats, Floats], provenance: list[Provenance], told: list[str]
) -> dict[str, Floats]:
    channels: dict[str, Floats] = {}
    for name, channel in {**_SPEEDS, **_DIRECTIONS}.items():
        texts = [digits.get(name, "") for digits in rows.digits]
        values = np.array([float(text) if text.isdecimal() else np.nan for text in texts])
        width = max(len(text) for text in texts)
        if not np.isfinite(values).any() or not np.nanmax(values) > 0.0:
            continue
        decimals = max(0, width - 3)
        if name in _DIRECTIONS:
            channels[channel] = values / 10**decimals
            provenance.append(Provenance(channel, f"B, {name}", "deg"))
            continue
        limits = _GROUND_RATIO if name == "GSP" else _AIR_RATIO
        values_kt = values / 3.6 * KT_PER_M_S
        ratio = 1.0 / kt_per_unit(*positions, values_kt)
        fitting = [d for d in (decimals, 0, 1, 2) if limits[0] <= ratio / 10**d <= limits[1]]
        if not fitting:
            told.append(f"{name} in the fixes is no speed in km/h beside the speed over the ground: not used")
            continue
        channels[channel] = values_kt / 10 ** fitting[0]
        provenance.append(Provenance(channel, f"B, {name}", "km/h", "made knots"))
    return channels
