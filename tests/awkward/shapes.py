"""Shapes of CSV: each a function from the flight to the bytes of a file, and what the reader must say of it.

The shapes are those that recorders, phones, simulators and spreadsheets write (common practice, no source);
names of products and their column orders are not used.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.awkward.flight import FLIGHT, Row, own_csv

FT = 0.3048


@dataclass(frozen=True)
class Shape:
    """``say``: fragments that must stand in the notes; ``units``: quantity to the unit found."""

    make: Callable[[], str | bytes]
    say: tuple[str, ...] = ()
    units: dict[str, str] = field(default_factory=dict)
    columns_map: str = ""
    encoding: str = "utf-8"
    altitude_within_ft: float = 0.1
    degrees_within: float = 2e-7
    altitude: bool = True

    def data(self) -> bytes:
        made = self.make()
        return made if isinstance(made, bytes) else made.encode(self.encoding)


SHAPES: dict[str, Shape] = {}


def shape(**expected: object) -> Callable[[Callable[[], str | bytes]], Callable[[], str | bytes]]:
    def keep(make: Callable[[], str | bytes]) -> Callable[[], str | bytes]:
        SHAPES[make.__name__] = Shape(make, **expected)  # type: ignore[arg-type]
        return make

    return keep


def table(header: str, row: Callable[[Row], str], before: str = "", after: str = "") -> str:
    return before + header + "\n" + "\n".join(row(r) for r in FLIGHT) + "\n" + after


def iso(r: Row) -> str:
    return r.time.strftime("%Y-%m-%dT%H:%M:%SZ")


def clock(r: Row) -> str:
    return r.time.strftime("%H:%M:%S")


def minutes(value: float, sides: str, text: str = "{side} {deg}°{min:.5f}'") -> str:
    size = abs(value)
    return text.format(side=sides[int(value < 0)], deg=int(size), min=(size - int(size)) * 60)


def run_together(value: float, width: int) -> str:
    size = abs(value)
    return f"{int(size):0{width}d}{(size - int(size)) * 60:08.5f}"


@shape(units={"alt_ft": "ft", "groundspeed_kt": "kt", "track_true_deg": "deg"})
def own_columns() -> str:
    return own_csv()


@shape()
def byte_order_mark() -> bytes:
    return b"\xef\xbb\xbf" + own_csv().encode()


@shape(encoding="utf-16")
def utf_16_with_mark() -> str:
    return own_csv()


@shape(encoding="utf-16-le", say=("UTF-16",))
def utf_16_without_mark() -> str:
    return own_csv()


@shape()
def windows_line_ends() -> bytes:
    return own_csv().replace("\n", "\r\n").encode()


@shape()
def old_line_ends() -> bytes:
    return own_csv().replace("\n", "\r").encode()


@shape(say=("unpacked from gzip",))
def gzipped() -> bytes:
    return gzip.compress(own_csv().encode(), mtime=0)


@shape(units={"alt_ft": "m"}, say=("day first", "UTC"))
def semicolons_and_decimal_commas() -> str:
    def row(r: Row) -> str:
        cells = (r.time.strftime("%d/%m/%Y %H:%M:%S"), f"{r.lat:.7f}", f"{r.lon:.7f}", f"{r.alt_ft * FT:.2f}")
        return ";".join(c.replace(".", ",") for c in cells)

    return table("Time;Latitude;Longitude;Altitude (m)", row)


@shape(units={"alt_ft": "m", "groundspeed_kt": "km/h"})
def tabs() -> str:
    return table(
        "utc_time\tlatitude\tlongitude\taltitude_m\tGround Speed [km/h]",
        lambda r: f"{iso(r)}\t{r.lat}\t{r.lon}\t{r.alt_ft * FT:.2f}\t{r.speed_kt * 1.852:.2f}",
    )


@shape(units={"alt_ft": "m"})
def pipes() -> str:
    return table("time_utc|lat|lon|Elevation (m)", lambda r: f"{iso(r)}|{r.lat}|{r.lon}|{r.alt_ft * FT:.2f}")


@shape(units={"alt_ft": "ft", "ias_kt": "kt"}, say=("a row of units was read",))
def units_row_below_the_header() -> str:
    return table(
        "Date,Time UTC,Latitude,Longitude,Altitude,IAS,Heading",
        lambda r: f"{r.time:%Y-%m-%d},{clock(r)},{r.lat},{r.lon},{r.alt_ft},104,212",
        after="",
    ).replace("IAS,Heading\n", "IAS,Heading\nyyyy-mm-dd,hh:mm:ss,deg,deg,ft,kt,deg true\n", 1)


@shape(units={"alt_ft": "ft", "utc_offset": "h:min"}, say=("units",))
def units_row_above_a_padded_header_with_local_time() -> str:
    def row(r: Row) -> str:
        local = r.time.replace(hour=r.time.hour - 5)
        return f"{local:%Y-%m-%d}, {local:%H:%M:%S},  -05:00, {r.lat:+.7f}, {r.lon:+.7f}, {r.alt_ft:7.1f}"

    return table(
        "  Lcl Date, Lcl Time, UTCOfst,    Latitude,    Longitude,  AltInd",
        row,
        before="#made_here, version=2\n#yyyy-mm-dd, hh:mm:ss, hh:mm, degrees, degrees, ft\n",
    )


@shape(say=("comment lines skipped: 1",))
def comment_preamble() -> str:
    text = table("time_utc,lat,lon,alt_ft", lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft}")
    lines = text.splitlines()
    lines.insert(40, "# a remark half way")
    return "# recorder: none\n# pilot: A, with a comma\n\n" + "\n".join(lines) + "\n"


@shape()
def preamble_of_settings() -> str:
    return table(
        "Time (UTC),Lat (deg),Lon (deg),Alt (ft MSL)",
        lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft}",
        before="Recorder,made here\nInterval,1 s\nDatum,WGS 84\n\n",
    )


@shape(units={"time": "since 1970"})
def epoch_seconds() -> str:
    return table("epoch,lat,lon,alt_ft", lambda r: f"{r.epoch_s:.0f},{r.lat},{r.lon},{r.alt_ft}")


@shape(units={"time": "since 1970"}, say=("states no unit: read as ft",))
def epoch_milliseconds() -> str:
    return table("timestamp,lat,lng,alt", lambda r: f"{r.epoch_s * 1000:.0f},{r.lat},{r.lon},{r.alt_ft}")


@shape(say=("since 1970, by its size",))
def epoch_milliseconds_under_a_wrong_unit() -> str:
    return table("time (s),lat,lon,alt_ft", lambda r: f"{r.epoch_s * 1000:.0f},{r.lat},{r.lon},{r.alt_ft}")


@shape(units={"latitude": "degrees and minutes", "longitude": "degrees and minutes"})
def degrees_and_minutes() -> str:
    return table(
        "UTC,Latitude,Longitude,Altitude ft",
        lambda r: f"{iso(r)},{minutes(r.lat, 'NS')},{minutes(r.lon, 'EW')},{r.alt_ft}",
    )


@shape(units={"latitude": "degrees and minutes"}, degrees_within=2e-6)
def degrees_minutes_and_seconds_behind() -> str:
    def dms(value: float, sides: str) -> str:
        size = abs(value) * 3600
        whole, rest = divmod(size, 3600)
        return f"{whole:.0f}°{rest // 60:02.0f}'{rest % 60:06.3f}\"{sides[int(value < 0)]}"

    return table(
        "time_utc;Lat;Lon;Altitude (ft)",
        lambda r: f"{iso(r)};{dms(r.lat, 'NS')};{dms(r.lon, 'EW')};{r.alt_ft}",
    )


@shape(units={"latitude": "ddmm", "longitude": "ddmm"}, say=("degrees and minutes run together",))
def run_together_with_sides() -> str:
    return table(
        "Date,Time UTC,Lat,N/S,Lon,E/W,Altitude (m)",
        lambda r: (
            f"{r.time:%Y-%m-%d},{r.time:%H%M%S}.00,{run_together(r.lat, 2)},N,"
            f"{run_together(r.lon, 3)},W,{r.alt_ft * FT:.2f}"
        ),
    )


@shape(units={"latitude": "ddmm"}, columns_map='lat = "ddmm"\nlon = "ddmm"\n')
def run_together_with_a_map() -> str:
    return table(
        "time_utc,lat,lon,alt_ft",
        lambda r: f"{iso(r)},{run_together(r.lat, 2)},-{run_together(r.lon, 3)},{r.alt_ft}",
    )


@shape(units={"alt_ft": "fl"}, altitude_within_ft=50.0)
def flight_levels() -> str:
    return table("time_utc,lat,lon,Flight Level", lambda r: f"{iso(r)},{r.lat},{r.lon},FL{r.alt_ft / 100:03.0f}")


@shape(units={"groundspeed_kt": "m/s"}, say=("no altitude",), altitude=False)
def metres_a_second_without_saying_so() -> str:
    return table("time_utc,lat,lon,speed", lambda r: f"{iso(r)},{r.lat},{r.lon},{r.speed_kt / 3.6 * 1.852:.2f}")


@shape(units={"groundspeed_kt": "mph", "track_true_deg": "deg"})
def miles_an_hour_and_unsaid_course() -> str:
    return table(
        "time_utc,lat,lon,alt_ft,GndSpd (mph),Course",
        lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},{r.speed_kt * 1.852 / 1.609344:.2f},{r.course_deg}",
    )


@shape(units={"alt_ft": "ft", "groundspeed_kt": "kt"})
def units_in_the_cells() -> str:
    return table(
        "time_utc,lat,lon,Altitude,Ground Speed",
        lambda r: f'{iso(r)},{r.lat}°,{r.lon}°,"{r.alt_ft:,.1f} ft",{r.speed_kt} kts',
    )


@shape(say=("heading_true_deg",))
def blank_cells_and_short_rows() -> str:
    def row(r: Row) -> str:
        i = int(r.epoch_s) % 5
        return f"{iso(r)},{r.lat},{r.lon},{r.alt_ft}" + ("" if i == 0 else "," if i == 1 else ",n/a,")

    return table("time_utc,lat,lon,alt_ft,heading_true_deg", row)


@shape(say=("repeat the headers",))
def headers_again_after_a_restart() -> str:
    lines = own_csv().splitlines()
    return "\n".join([*lines[:40], "", lines[0], *lines[40:]]) + "\n"


@shape(say=("lat: cells that cannot be read as degrees: 1",))
def trailing_garbage() -> bytes:
    return own_csv().encode() + b"\x00\x00\x00\x00\x00\nEnd of log, thank you for flying\n"


@shape(say=("stray quotation marks",))
def a_quote_never_closed() -> str:
    lines = own_csv().splitlines()
    lines[30] += ',"turned here'
    return "\n".join(lines) + "\n"


@shape(units={"heading_mag_deg": "deg", "heading_true_deg": "deg"})
def magnetic_and_true_headings() -> str:
    return table(
        "time_utc,lat,lon,alt_ft,HDG (°M),True Heading",
        lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},{(r.course_deg - 2.5) % 360:.1f},{r.course_deg}",
    )


@shape(say=('"Heading" does not say whether true or magnetic: not used',))
def a_heading_of_no_north() -> str:
    return table("time_utc,lat,lon,alt_ft,Heading", lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},212")


@shape(units={"alt_ft": "ft"}, say=('"AltInd (ft)" was taken; "GPS Alt (ft)"',))
def two_altitudes() -> str:
    return table(
        "time_utc,lat,lon,GPS Alt (ft),AltInd (ft)",
        lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft + 137},{r.alt_ft}",
    )


@shape(say=("taken as UTC", "month first"))
def half_day_clock() -> str:
    return table(
        "Date,Time,Lat,Lon,Alt (ft)",
        lambda r: f"{r.time.month}/{r.time.day}/{r.time.year},{r.time:%I:%M:%S %p},{r.lat},{r.lon},{r.alt_ft}",
    )


@shape()
def month_by_name() -> str:
    return table(
        "Date (UTC),Time (UTC),Lat,Lon,Alt (ft)",
        lambda r: f"{r.time.day:02d}-May-2026,{clock(r)},{r.lat},{r.lon},{r.alt_ft}",
    )


@shape(columns_map='date = "2026-05-03"\nutc_offset = "+02:00"\n', say=("offset of +2 h",))
def clock_alone_with_a_map() -> str:
    return table(
        "Local time,Lat,Lon,Alt (ft)",
        lambda r: f"{r.time.replace(hour=r.time.hour + 2):%H:%M:%S},{r.lat},{r.lon},{r.alt_ft}",
    )


@shape(
    columns_map='time_utc = { column = "t", unit = "elapsed_s" }\nstart_utc = "2026-05-03T15:20:00Z"\n'
    'lat = { column = 2, unit = "deg" }\nlon = { column = "x", unit = "deg" }\nalt_ft = { column = "z", unit = "m" }\n',
)
def headers_that_say_nothing_with_a_map() -> str:
    first = FLIGHT[0].epoch_s
    return table("t,y,x,z", lambda r: f"{r.epoch_s - first:.1f},{r.lat},{r.lon},{r.alt_ft * FT:.3f}")


@shape(
    columns_map="time_utc = { column = 1 }\nlat = { column = 2 }\nlon = { column = 3 }\n"
    'alt_ft = { column = 4, unit = "ft" }\n',
)
def no_header_with_a_map() -> str:
    return "\n".join(f"{iso(r)},{r.lat},{r.lon},{r.alt_ft}" for r in FLIGHT) + "\n"


@shape(columns_map='time_utc = { column = "Zeit", unit = "excel_days" }\nutc_offset = "Z"\n')
def days_of_a_spreadsheet() -> str:
    return table(
        "Zeit,Lat,Lon,Alt (ft)",
        lambda r: f"{r.epoch_s / 86400 + 25569:.9f},{r.lat},{r.lon},{r.alt_ft}",
    )


@shape()
def scaled_integers() -> str:
    return table("time_utc,lat_e7,lon_e7,alt_ft", lambda r: f"{iso(r)},{r.lat * 1e7:.0f},{r.lon * 1e7:.0f},{r.alt_ft}")


@shape(say=("from 180° to 360°",))
def longitudes_to_360() -> str:
    return table("time_utc,lat,lon,alt_ft", lambda r: f"{iso(r)},{r.lat},{r.lon + 360:.7f},{r.alt_ft}")


@shape(say=("Windows-1252",), encoding="cp1252")
def western_encoding() -> str:
    return table("time_utc,Lat (°),Lon (°),alt_ft", lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft}")


@shape()
def offsets_in_the_times() -> str:
    return table(
        "Timestamp,Lat,Lon,alt_ft",
        lambda r: f"{r.time.replace(hour=r.time.hour - 5):%Y-%m-%d %H:%M:%S}-05:00,{r.lat},{r.lon},{r.alt_ft}",
    )
