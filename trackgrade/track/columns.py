"""The vocabulary of column headers, as data: words, units with their factors, and which words mean which quantity.

A header is read strictly: every word in it must be known for the quantity it is taken for. "Selected
altitude" or "GPS accuracy" therefore means nothing here, and is listed as not read.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from trackgrade.earth.units import KT_PER_M_S, METRES_PER_FT
from trackgrade.track.languages import ENGLISH, OTHER_LANGUAGES
from trackgrade.track.track import CHANNELS, AltitudeDatum

Kind = Literal[
    "position", "length", "speed", "direction", "angle", "temperature", "climb", "time", "day", "clock", "text"
]


@dataclass(frozen=True)
class Unit:
    """Value in the project's unit = value × ``factor`` + ``offset``. ``name`` is what a columns map says."""

    name: str
    factor: float = 1.0
    offset: float = 0.0
    words: tuple[str, ...] = ()


_ANGLES = (
    Unit("deg", words=("deg", "degs", "degree", "degrees")),
    Unit("rad", 57.29577951308232, words=("rad", "rads", "radian", "radians")),
)
#: Units a quantity of each kind may be given in; the first is the project's own (deg, ft, kt, °C).
#: Only of "climb" is the factor to feet a second.
UNITS: dict[Kind, tuple[Unit, ...]] = {
    "position": (
        Unit("deg", words=("deg", "degs", "degree", "degrees", "dd")),
        Unit("ddmm", words=("ddmm", "dddmm", "dm", "nmea")),  # degrees and minutes run together: 4412.345
        Unit("dms", words=("dms",)),  # degrees, minutes (and seconds) as text
        Unit("rad", 57.29577951308232, words=("rad", "rads", "radian", "radians")),
        Unit("e7", 1e-7, words=("e7",)),
        Unit("e6", 1e-6, words=("e6",)),
        Unit("semicircles", 180.0 / 2**31, words=("semicircle", "semicircles")),  # half a turn in 31 bits
    ),
    "length": (
        Unit("ft", words=("ft", "feet", "foot")),
        Unit(
            "m",
            1.0 / METRES_PER_FT,
            words=("m", "meter", "meters", "metre", "metres", "metros", "metri", "mtr", "mtrs"),
        ),
        Unit("fl", 100.0, words=("fl", "hft")),
        Unit("km", 1000.0 / METRES_PER_FT, words=("km", "kilometers", "kilometres")),
    ),
    "speed": (
        Unit("kt", words=("kt", "kts", "kn", "knot", "knots")),
        Unit("m/s", KT_PER_M_S, words=("mps",)),
        Unit("km/h", KT_PER_M_S / 3.6, words=("kmh", "kph", "kmph")),
        Unit("mph", 1609.344 / 1852.0, words=("mph",)),
        Unit("ft/s", METRES_PER_FT * KT_PER_M_S, words=("fps",)),
    ),
    "direction": _ANGLES,
    "angle": _ANGLES,
    "climb": (
        Unit("ft/min", 1.0 / 60.0, words=("fpm",)),
        Unit("m/s", 1.0 / METRES_PER_FT, words=("mps",)),
        Unit("ft/s", words=("fps",)),
    ),
    "temperature": (
        Unit("C", words=("c", "celsius", "degc", "centigrade")),
        Unit("F", 5.0 / 9.0, -160.0 / 9.0, words=("f", "fahrenheit", "degf")),
        Unit("K", 1.0, -273.15, words=("k", "kelvin")),
    ),
    "time": (
        Unit("iso", words=("iso",)),  # year first, or month by name
        Unit("dmy", words=("dmy",)),
        Unit("mdy", words=("mdy",)),
        Unit("hms", words=("hms",)),  # time of day alone: 15:20:00 or 152000
        Unit("epoch_s", words=("s", "sec", "secs", "second", "seconds")),
        Unit("epoch_ms", words=("ms", "msec", "millis", "milliseconds")),
        Unit("epoch_us", words=("us", "usec", "microseconds")),
        Unit("epoch_ns", words=("ns", "nanoseconds")),
        Unit("elapsed_s"),  # since start_utc of the columns map
        Unit("elapsed_ms"),
        Unit("excel_days"),  # days since 30 December 1899, as spreadsheets count
    ),
    "day": (Unit("iso", words=("iso",)), Unit("dmy", words=("dmy",)), Unit("mdy", words=("mdy",))),
    "clock": (Unit("hms", words=("hms",)),),
    "text": (Unit("text", words=("text",)),),
}


@dataclass(frozen=True, eq=False)
class Quantity:
    """Something a column may hold: the name in a columns map, how it is shown, and its kind."""

    name: str
    title: str
    kind: Kind


QUANTITIES = {
    q.name: q
    for q in (
        Quantity("time_utc", "time", "time"),
        Quantity("date", "date", "day"),
        Quantity("time_of_day", "time of day", "clock"),
        Quantity("half_day", "AM or PM", "text"),
        Quantity("utc_offset", "offset of local time from UTC", "text"),
        Quantity("lat", "latitude", "position"),
        Quantity("lon", "longitude", "position"),
        Quantity("lat_side", "north or south", "text"),
        Quantity("lon_side", "east or west", "text"),
        Quantity("alt_ft", "altitude", "length"),
        Quantity("heading_true_deg", "true heading", "direction"),
        Quantity("heading_mag_deg", "magnetic heading", "direction"),
        Quantity("ias_kt", "indicated airspeed", "speed"),
        Quantity("tas_kt", "true airspeed", "speed"),
        Quantity("groundspeed_kt", "ground speed", "speed"),
        Quantity("track_true_deg", "ground track", "direction"),
        Quantity("bank_deg", "bank", "angle"),
        Quantity("oat_c", "outside air temperature", "temperature"),
        Quantity("vertical_speed", "vertical speed", "climb"),  # read only to settle the unit of an altitude
        Quantity("mark", "mark", "text"),
    )
}

#: The project's own CSV, by these exact names: taken before anything else.
OWN_COLUMNS = ("time_utc", "lat", "lon", "alt_ft", *CHANNELS, "mark")

#: Every spelling of a word, and the plain words that the rules below are written in.
SPELLINGS: dict[str, str] = {
    word: plain for spelled in (OTHER_LANGUAGES, ENGLISH) for plain, words in spelled.items() for word in words.split()
}

#: Words that say where a value comes from and change nothing.
NOISE = frozenset(
    [
        *("gps", "aircraft", "plane", "own", "ownship", "position", "pos", "current", "wgs", "ac", "nav", "stamp"),
        *("location", "loc", "geo", "decimal", "coordinate", "coord", "point", "value", "raw", "sensor", "device"),
        *("receiver", "geographische", "geogr", "geograficzna"),
    ]
)
#: Words that stand before or behind "time" and change nothing: that it is when the row was taken down.
_TAKEN = (
    *("at", "tracked", "recorded", "record", "created", "logged", "logging", "log", "since", "fix", "event"),
    *("sample", "sampled", "observation", "obs", "measurement", "measured", "base", "row", "entry", "captured"),
    *("update", "updated", "acquisition", "study"),
    *("yyyy", "yy", "mm", "mmm", "dd", "hh", "ss", "sss"),  # pictures of its form: (yyyy-mm-dd)
)


@dataclass(frozen=True, eq=False)
class Rule:
    """A header means ``quantity`` when it has all of ``needs`` and otherwise only of ``may``, units and noise.

    ``rank``: of several columns for one quantity the lowest is taken. ``assumed``: the unit taken, with a
    warning, where neither header nor units row states one; "" where the unit must be found or stated.
    ``datum``: what an altitude is measured from.
    ``doubt``: what the header leaves open: "reference" (true or magnetic), "speed" (over the ground or through
    the air). Open questions are settled by the positions or the column is not used.
    """

    quantity: str
    needs: tuple[str, ...]
    may: tuple[str, ...] = ()
    rank: int = 0
    assumed: str = ""
    doubt: str = ""
    note: str = ""
    datum: AltitudeDatum = "altimeter"


_ELLIPSOID = "above the ellipsoid, not the sea"
_PRESSURE = "pressure altitude, 1013.25 hPa"
_OFFSET_UNITS = ("h", "hr", "hrs", "hour", "hours", "min", "mins", "minutes", "s", "sec", "seconds")  # told by size

# Of several altitudes the one nearest to what the pilot reads off the altimeter comes first (common practice, no
# source: a hold is flown by the altimeter): indicated, above mean sea level, unspecified, GPS, pressure, ellipsoid.
RULES = (
    Rule("time_utc", ("time", "utc"), ("date",), 0),
    Rule("time_utc", ("epoch",), ("time", "utc", "date"), 0),
    Rule("time_utc", ("date", "time"), ("local", *_TAKEN), 1),
    Rule("time_utc", ("utc",), ("date",), 1),
    Rule("time_utc", ("time",), ("local", "of", "day", *_TAKEN), 2),
    Rule("time_utc", ("at",), ("utc", *_TAKEN), 3),
    Rule("time_utc", ("utc", "t"), (), 3),
    Rule("date", ("date",), ("local", "utc", *_TAKEN), 0),
    Rule("date", ("utc", "d"), (), 1),
    Rule("half_day", ("am", "pm"), ("time", "local", "utc"), 0),
    Rule("utc_offset", ("utc", "offset"), ("time", *_OFFSET_UNITS), 0),
    Rule("utc_offset", ("time", "zone"), ("offset", *_OFFSET_UNITS), 1),
    Rule("utc_offset", ("time", "offset"), ("zone", *_OFFSET_UNITS), 1),
    Rule("utc_offset", ("zone",), ("offset", "utc", *_OFFSET_UNITS), 2),
    Rule("lat", ("lat",), ("n", "s")),  # "Lon (W)": written positive to the west
    Rule("lon", ("lon",), ("e", "w")),
    Rule("lat_side", ("lat", "side")),
    Rule("lat_side", ("lat", "hemisphere")),
    Rule("lat_side", ("lat", "dir")),
    Rule("lat_side", ("lat", "ns")),
    Rule("lat_side", ("ns",), ("indicator", "hemisphere")),
    Rule("lat_side", ("n", "s"), ("indicator", "hemisphere", "lat")),
    Rule("lon_side", ("lon", "side")),
    Rule("lon_side", ("lon", "hemisphere")),
    Rule("lon_side", ("lon", "dir")),
    Rule("lon_side", ("lon", "ew")),
    Rule("lon_side", ("ew",), ("indicator", "hemisphere")),
    Rule("lon_side", ("e", "w"), ("indicator", "hemisphere", "lon")),
    Rule("alt_ft", ("alt", "indicated"), ("msl",), 0),
    Rule("alt_ft", ("alt", "baro"), ("indicated", "msl", "corrected"), 0),
    Rule("alt_ft", ("alt", "b"), (), 0),  # how engine monitors shorten "barometric"
    Rule("alt_ft", ("alt", "qnh"), (), 0),
    Rule("alt_ft", ("alt", "msl"), ("true", "above"), 1),
    Rule("alt_ft", ("alt", "amsl"), (), 1),
    Rule("alt_ft", ("h", "msl"), (), 1),
    Rule("alt_ft", ("alt", "sea", "level"), ("above", "mean"), 1),
    Rule("alt_ft", ("alt",), ("true",), 2),
    Rule("alt_ft", ("ele",), ("msl",), 2, "m"),  # the word of GPX, which gives metres
    Rule("alt_ft", ("gps", "alt"), ("msl",), 3),
    Rule("alt_ft", ("alt", "wgs"), ("gps", "ellipsoid", "above"), 5, note=_ELLIPSOID, datum="ellipsoid"),
    Rule("alt_ft", ("alt", "ellipsoid"), ("gps", "above"), 5, note=_ELLIPSOID, datum="ellipsoid"),
    Rule("alt_ft", ("alt", "pressure"), ("std", "standard"), 4, note=_PRESSURE, datum="pressure"),
    Rule("alt_ft", ("flight", "level"), (), 4, "fl", note=_PRESSURE, datum="pressure"),
    Rule("alt_ft", ("fl",), (), 4, "fl", note=_PRESSURE, datum="pressure"),
    Rule("vertical_speed", ("vertical", "speed"), ("baro", "indicated")),
    Rule("vertical_speed", ("vertical", "rate"), ("baro",)),
    Rule("vertical_speed", ("v", "speed")),
    Rule("vertical_speed", ("climb",), ("rate", "speed", "of"), 1),
    Rule("heading_true_deg", ("heading", "true"), (), 0, "deg"),
    Rule("heading_mag_deg", ("heading", "magnetic"), ("compass",), 0, "deg"),
    Rule("heading_mag_deg", ("heading", "compass"), ("magnetic",), 1, "deg"),
    Rule("heading_mag_deg", ("heading",), (), 2, "deg", doubt="reference"),
    Rule("ias_kt", ("air", "speed", "indicated"), (), 0, "kt"),
    Rule("ias_kt", ("air", "speed", "calibrated"), (), 1, "kt", note="calibrated airspeed, taken as indicated"),
    Rule("tas_kt", ("air", "speed", "true"), (), 0, "kt"),
    Rule("groundspeed_kt", ("ground", "speed"), ("over",), 0, "positions"),
    Rule("groundspeed_kt", ("gps", "speed"), (), 1, "positions"),
    Rule("groundspeed_kt", ("speed",), (), 2, "positions", doubt="speed"),
    Rule("track_true_deg", ("track", "true"), ("ground", "course", "angle", "made", "good"), 0, "deg"),
    Rule("track_true_deg", ("course", "true"), ("ground", "over"), 0, "deg"),
    Rule("track_true_deg", ("track",), ("ground", "angle", "made", "good"), 1, "deg", doubt="reference"),
    Rule("track_true_deg", ("course",), ("ground", "over"), 2, "deg", doubt="reference"),
    Rule("bank_deg", ("bank",), ("angle",), 0, "deg"),
    Rule("oat_c", ("outside", "temp"), ("air",), 0, "C"),
    Rule("mark", ("mark",), ("pilot", "event"), 0),
)

# Units written with a stroke or an exponent, made one word before a header is taken apart.
_COMPOUND_UNITS = (
    (re.compile(r"(?i)\b(?:km|kilomet(?:er|re)s?)\s*(?:/|per)\s*h(?:r|our)?\b"), " kmh "),
    (re.compile(r"(?i)\bmet(?:er|re)s?\s*(?:/|per)\s*s(?:ec(?:ond)?)?\b"), " mps "),
    (re.compile(r"(?i)\bmiles?\s*(?:/|per)\s*h(?:r|our)?\b"), " mph "),
    (re.compile(r"(?i)\b(?:ft|feet)\s*per\s*s(?:ec(?:ond)?)?\b"), " fps "),
    (re.compile(r"(?i)(?<![a-z])km\s*(?:[/_]\s*h(?:r|our)?|\s?h-1|\.h-1)(?![a-z])"), " kmh "),
    (re.compile(r"(?i)(?<=_)m_s(?![a-z])"), " mps "),
    (re.compile(r"(?i)\bm\s*(?:/\s*s(?:ec)?|\s?s-1|\.s-1|·s⁻¹)(?![a-z])"), " mps "),
    (re.compile(r"(?i)\bmi\s*/\s*h(?:r|our)?\b"), " mph "),
    (re.compile(r"(?i)\b(?:ft|feet)\s*(?:/|per)\s*m(?:in(?:ute)?)?\b"), " fpm "),
    (re.compile(r"(?i)\bm\s*/\s*m(?:in)?\b"), " perminute "),
    (re.compile(r"(?i)\b(?:ft|feet)\s*/\s*s(?:ec)?\b"), " fps "),
    (re.compile(r"(?i)(?:\bdeg|°)\s*/\s*s(?:ec)?\b"), " persecond "),
    (re.compile(r"(?i)\bx?\s?(?:10\^-|1e-|e-)7\b"), " e7 "),
    (re.compile(r"(?i)\biso\s?-?8601\b"), " iso "),
    (re.compile(r"(?i)\b100\s?(?:ft|feet)\b"), " hft "),
    (re.compile(r"°\s?[Cc]\b"), " degc "),
    (re.compile(r"°\s?[Ff]\b"), " degf "),
    (re.compile(r"[°º˚]"), " deg "),
)
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")
_WORD = re.compile(r"e7|e6|[a-zа-я]+|[0-9]+")
_BARE_LETTERS = str.maketrans({"ø": "o", "ł": "l", "ß": "ss", "æ": "ae"})
_LONGEST_HEADER = 80
_DAY_FIRST = frozenset(word for words in OTHER_LANGUAGES.values() for word in words.split())


@lru_cache(maxsize=4096)
def header_words(header: str) -> tuple[str, ...]:
    """The plain words of a header: ``"GndSpd (m/s)"`` gives ``("ground", "speed", "mps")``."""
    text = header.strip()[:_LONGEST_HEADER]
    for pattern, word in _COMPOUND_UNITS:
        text = pattern.sub(word, text)
    words: list[str] = []
    for part in _WORD.findall(_without_accents(_CAMEL.sub(" ", text).lower())):
        words.extend(SPELLINGS.get(part, part).split())
    # "deg m" and "deg t" are degrees magnetic and true.
    for i in range(1, len(words)):
        if words[i - 1] == "deg" and words[i] in ("m", "t"):
            words[i] = "magnetic" if words[i] == "m" else "true"
    return tuple(words)


def _without_accents(text: str) -> str:
    """Letters without their accents: "höhe" gives "hohe", "żółw" "zolw"."""
    if text.isascii():
        return text
    parts = unicodedata.normalize("NFKD", text.translate(_BARE_LETTERS))
    return "".join(c for c in parts if not unicodedata.combining(c))


def day_comes_first(headers: Iterable[str]) -> bool:
    """Whether a header is in a language whose speakers write the day before the month."""
    words = (word for header in headers for word in _WORD.findall(_without_accents(header.lower())))
    return not _DAY_FIRST.isdisjoint(words)


def unit_of(words: tuple[str, ...], kind: Kind) -> Unit | None:
    """The unit of this kind that one of the words names; None where none or two different ones do."""
    named = {unit.name: unit for unit in UNITS[kind] for word in words if word in unit.words}
    return next(iter(named.values())) if len(named) == 1 else None


def unit_named(name: str, kind: Kind) -> Unit | None:
    """The unit a columns map names; its words are accepted too."""
    for unit in UNITS[kind]:
        if name.strip().lower() == unit.name.lower():
            return unit
    return unit_of(header_words(name), kind)


def is_unit_word(word: str) -> bool:
    """Whether a word names a unit of any kind."""
    return any(word in unit.words for units in UNITS.values() for unit in units)


def _known(rule: Rule) -> frozenset[str]:
    """Every word that a header may have under a rule."""
    unit_words = [w for unit in UNITS[QUANTITIES[rule.quantity].kind] for w in unit.words]
    return frozenset([*rule.needs, *rule.may, *NOISE, *unit_words])


_RULES_AND_WORDS = tuple((rule, frozenset(rule.needs), _known(rule)) for rule in RULES)
_ALL_KNOWN = frozenset[str]().union(*(known for _, _, known in _RULES_AND_WORDS))


@lru_cache(maxsize=4096)
def matching_rule(header: str) -> Rule | None:
    """The rule a header satisfies, or None. A rule with more needs wins, then the lower rank."""
    words = {word for word in header_words(header) if not word.isdigit()}
    if not words <= _ALL_KNOWN:
        return None
    fitting = [rule for rule, needs, known in _RULES_AND_WORDS if needs <= words <= known]
    return max(fitting, key=lambda rule: (len(rule.needs), -rule.rank), default=None)
