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


@shape(units={"time": "since 1970", "alt_ft": "unknown"}, say=("states no unit, feet or metres",), altitude=False)
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


@shape(units={"alt_ft": "ft"}, say=("columns not read: GPS Alt (ft)",))
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


@shape()
def thousands_parted_by_points() -> str:
    def row(r: Row) -> str:
        return ";".join([iso(r), *(f"{v:.7f}".replace(".", ",") for v in (r.lat, r.lon)), f"{r.alt_ft / 1000:.3f}"])

    return table("time_utc;Lat;Lon;Altitude (ft)", row)


@shape(units={"alt_ft": "ft"})
def thousands_parted_by_blanks() -> str:
    return table(
        "time_utc;Lat;Lon;Altitude (ft)",
        lambda r: f"{iso(r)};{r.lat};{r.lon};{r.alt_ft:,.0f}".replace(",", "\u202f"),
    )


@shape(units={"alt_ft": "m", "groundspeed_kt": "kt"})
def decimal_commas_in_some_columns() -> str:
    return table(
        "time_utc;Lat;Lon;Altitude (m);Ground Speed (kt)",
        lambda r: f"{iso(r)};{r.lat};{r.lon};" + f"{r.alt_ft * FT:.2f};{r.speed_kt:.1f}".replace(".", ","),
    )


@shape(say=("the offset that the header",))
def an_offset_in_the_header() -> str:
    return table(
        "Time (UTC-05:00),Lat,Lon,alt_ft",
        lambda r: f"{r.time.replace(hour=r.time.hour - 5):%Y-%m-%d %H:%M:%S},{r.lat},{r.lon},{r.alt_ft}",
    )


@shape(say=("the offset that the header",))
def a_clock_without_its_leading_zero() -> str:
    return table(
        "Date,Time (UTC-6),Lat,Lon,alt_ft",
        lambda r: f"{r.time:%Y%m%d},{int(f'{r.time.hour - 6}{r.time:%M%S}')},{r.lat},{r.lon},{r.alt_ft}",
    )


@shape(units={"utc_offset": "h:min"})
def offsets_in_minutes() -> str:
    return table(
        "Local Time,UTC Offset (min),Lat,Lon,alt_ft",
        lambda r: f"{r.time.replace(hour=r.time.hour - 5):%Y-%m-%d %H:%M:%S},-300,{r.lat},{r.lon},{r.alt_ft}",
    )


@shape(say=('"Ref 1" holds only N and S', '"Ref 2" holds only E and W'))
def sides_under_other_headers() -> str:
    return table(
        "time_utc,Latitude,Ref 1,Longitude,Ref 2,alt_ft",
        lambda r: f"{iso(r)},{abs(r.lat)},N,{abs(r.lon)},W,{r.alt_ft}",
    )


@shape(say=('"Longitude (W)" was read as positive to the west',))
def positive_to_the_west() -> str:
    return table("time_utc,Latitude (N),Longitude (W),alt_ft", lambda r: f"{iso(r)},{r.lat},{abs(r.lon)},{r.alt_ft}")


@shape(units={"half_day": "text"}, say=("month first",))
def half_days_in_a_column_of_their_own() -> str:
    return table(
        "Date (UTC),Time (UTC),AM/PM,Lat,Lon,Alt (ft)",
        lambda r: f"5/3/26,{r.time:%I:%M:%S},{r.time:%p},{r.lat},{r.lon},{r.alt_ft}",
    )


@shape(altitude_within_ft=50.0, units={"alt_ft": "ft"})
def feet_below_and_levels_above() -> str:
    return table(
        "time_utc,lat,lon,Altitude",
        lambda r: f"{iso(r)},{r.lat},{r.lon},{'FL040' if int(r.epoch_s) % 2 else r.alt_ft}",
    )


@shape()
def remarks_over_two_lines() -> str:
    def row(r: Row) -> str:
        remark = '"turned, ""late""\nand wide"' if int(r.epoch_s) % 30 == 7 else ""
        return f"{iso(r)},{remark},{r.lat},{r.lon},{r.alt_ft}"

    return table("time_utc,remark,lat,lon,alt_ft", row)


@shape(units={"alt_ft": "m"})
def headers_over_two_lines() -> str:
    return table(
        '"Time\n(UTC)","Latitude\n(deg)","Longitude\n(deg)","Altitude\n(m)"',
        lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft * FT:.2f}",
    )


@shape(say=("columns not read: lat",))
def a_blank_column_of_the_same_name() -> str:
    return table("time_utc,lat,lon,alt_ft,lat,lon", lambda r: f"{iso(r)},,,{r.alt_ft},{r.lat},{r.lon}")


@shape(encoding="utf-16")
def month_first_by_name_with_semicolons() -> str:
    return table(
        "Timestamp (UTC);Lat;Lon;Alt (ft)",
        lambda r: f"May {r.time.day}, {r.time:%Y %I:%M:%S %p};{r.lat};{r.lon};{r.alt_ft}",
    )


@shape()
def weekdays() -> str:
    return table(
        "Timestamp;Lat;Lon;Alt (ft)", lambda r: f"{r.time:%a, %d %b %Y %H:%M:%S} GMT;{r.lat};{r.lon};{r.alt_ft}"
    )


@shape()
def fourteen_digits() -> str:
    return table("Time UTC,Lat,Lon,Alt (ft)", lambda r: f"{r.time:%Y%m%d%H%M%S},{r.lat},{r.lon},{r.alt_ft}")


@shape(columns_map='date = { column = "Date", unit = "dmy" }\n')
def six_digit_dates_with_a_map() -> str:
    return table(
        "Date,Time UTC,Lat,Lon,Alt (ft)",
        lambda r: f"{r.time:%d%m%y},{r.time:%H%M%S},{r.lat},{r.lon},{r.alt_ft}",
    )


@shape(units={"groundspeed_kt": "m/s"})
def units_in_whole_words() -> str:
    return table(
        "Time stamp (UTC),Lat.,Long.,Alt. (feet),Ground Speed (meters/second)",
        lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},{r.speed_kt / 3.6 * 1.852:.2f}",
    )


@shape(units={"latitude": "degrees and minutes"}, degrees_within=2e-6)
def degrees_minutes_and_seconds_with_decimal_commas() -> str:
    def dms(value: float, sides: str) -> str:
        whole, rest = divmod(abs(value) * 3600, 3600)
        return f"{whole:.0f}°{rest // 60:02.0f}'{rest % 60:06.3f}\"{sides[int(value < 0)]}".replace(".", ",")

    return table("UTC;Lat;Lon;Alt (ft)", lambda r: f"{iso(r)};{dms(r.lat, 'NS')};{dms(r.lon, 'EW')};{r.alt_ft}")
