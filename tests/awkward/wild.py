"""More shapes of CSV: as trackers of animals, runners, drones, ships, gliders, buses and archives write positions.

Header words and conventions as they are met (common practice, no source); the flight is the invented one.
"""

from __future__ import annotations

import datetime

from tests.awkward.flight import FLIGHT, Row
from tests.awkward.shapes import FT, SHAPES, iso, shape, table

__all__ = ["SHAPES"]

MS = 1852.0 / 3600.0
OPEN = "states no unit, feet or metres"


def stamp(r: Row, form: str, hours: float = 0.0) -> str:
    return (r.time + datetime.timedelta(hours=hours)).strftime(form)


@shape(altitude=False, say=(OPEN,))
def an_animal_with_a_collar() -> str:
    return table(
        "event-id,visible,timestamp,location-long,location-lat,ground-speed,heading,height-above-ellipsoid,"
        "sensor-type,individual-local-identifier",
        lambda r: (
            f"{r.epoch_s:.0f},true,{stamp(r, '%Y-%m-%d %H:%M:%S')}.000,{r.lon},{r.lat},{r.speed_kt * MS:.2f},"
            f'{r.course_deg},{r.alt_ft * FT:.1f},gps,"animal A"'
        ),
    )


@shape(altitude=False, say=(OPEN,))
def an_animal_in_a_study() -> str:
    return table(
        "tracked_at,lat,lon,altitude,animal_id",
        lambda r: f"{stamp(r, '%Y-%m-%dT%H:%M:%S')}+00:00,{r.lat},{r.lon},{r.alt_ft * FT:.1f},A",
    )


@shape(altitude=False)
def a_time_called_ts() -> str:
    return table("id,TS,LON,LAT,SPEED", lambda r: f"7,{r.epoch_s:.0f},{r.lon},{r.lat},{r.speed_kt * 1.852:.1f}")


@shape(altitude=False)
def utc_in_two_short_columns() -> str:
    return table("utc_d,utc_t,lat,lon", lambda r: f"{r.time:%Y-%m-%d},{r.time:%H:%M:%S},{r.lat},{r.lon}")


@shape(altitude=False)
def date_and_time_named_by_letters() -> str:
    return table("DATE;TIME;LATITUDE;LONGITUDE", lambda r: f"{r.time:%Y/%m/%d};{r.time:%H:%M:%S};{r.lat};{r.lon}")


@shape(degrees_within=5e-8, altitude=False)
def letters_behind_the_degrees() -> str:
    return table(
        "INDEX,TAG,DATE,TIME,LATITUDE N/S,LONGITUDE E/W,SPEED",
        lambda r: f"1,T,{r.time:%y%m%d},{r.time:%H%M%S},{r.lat:.7f}N,{abs(r.lon):.7f}W,{r.speed_kt * 1.852:.0f}",
    )


@shape(altitude=False, say=(OPEN,))
def letters_behind_the_degrees_and_padded_with_nought_bytes() -> str:
    return table(
        "INDEX,TAG,DATE,TIME,LATITUDE N/S,LONGITUDE E/W,HEIGHT,SPEED,HEADING,VOX",
        lambda r: (
            f"{int(r.epoch_s) % 1000}\0\0\0,T,{r.time:%y%m%d},{r.time:%H%M%S},{r.lat:.7f}N,{abs(r.lon):.7f}W,"
            f"{r.alt_ft * FT:.0f}\0\0,{r.speed_kt * 1.852:.0f}\0\0,{r.course_deg:.0f}\0\0,\0\0\0\0"
        ),
    )


@shape()
def sides_in_columns_of_their_own() -> str:
    return table(
        "RCR,DATE,TIME,VALID,LATITUDE,N/S,LONGITUDE,E/W,HEIGHT(m),SPEED(km/h)",
        lambda r: (
            f"T,{r.time:%Y/%m/%d},{r.time:%H:%M:%S}.000,SPS,{r.lat},N,{abs(r.lon)},W,{r.alt_ft * FT:.3f} M,"
            f"{r.speed_kt * 1.852:.2f} km/h"
        ),
    )


@shape()
def a_comma_too_many_at_the_end_of_each_row() -> str:
    return table("time_utc,lat,lon,alt_ft", lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},")


@shape()
def a_comma_too_many_and_a_header_with_a_blank_one() -> str:
    return table("Index,UTC time,Lat,Lon,Alt (ft),", lambda r: f"1,{iso(r)},{r.lat},{r.lon},{r.alt_ft},")


@shape(altitude=False)
def both_in_one_cell() -> str:
    return table("time_utc,Position", lambda r: f'{iso(r)},"{r.lat},{r.lon}"')


@shape()
def both_in_one_cell_with_brackets_and_letters() -> str:
    return table("UTC,Callsign,Location,Altitude ft", lambda r: f'{iso(r)},A1,"({r.lat}, {r.lon})",{r.alt_ft}')


@shape(altitude=False)
def both_in_one_cell_with_a_blank() -> str:
    return table("Time (UTC);Coordinates", lambda r: f"{iso(r)};{r.lat} {r.lon}")


@shape(altitude=False)
def a_point_as_text_longitude_first() -> str:
    return table("timestamp,geometry", lambda r: f"{iso(r)},POINT ({r.lon} {r.lat})")


@shape(altitude=False)
def the_zone_before_the_parts_of_a_second() -> str:
    return table("time,latitude,longitude", lambda r: f"{iso(r)}.000,{r.lat},{r.lon}")


@shape(units={"alt_ft": "m"})
def german() -> str:
    return table(
        "Datum;Uhrzeit (UTC);Breite;Länge;Höhe [m];Geschwindigkeit [km/h];Kurs",
        lambda r: (
            (
                f"{r.time:%d.%m.%Y};{r.time:%H:%M:%S};{r.lat};{r.lon};{r.alt_ft * FT:.2f};{r.speed_kt * 1.852:.1f};"
                f"{r.course_deg}"
            )
            .replace(".", ",")
            .replace(f"{r.time:%d,%m,%Y}", f"{r.time:%d.%m.%Y}")
        ),
    )


@shape(units={"alt_ft": "m"}, encoding="cp1252", say=("Windows-1252",))
def german_of_an_old_machine() -> str:
    return table(
        "Zeitstempel;Breitengrad;Längengrad;Höhe (m)",
        lambda r: f"{stamp(r, '%d.%m.%Y %H:%M:%S')};{r.lat};{r.lon};{r.alt_ft * FT:.2f}",
    )


@shape(units={"alt_ft": "m"})
def german_without_umlauts() -> str:
    return table(
        "Zeit,Laenge,Breite,Hoehe_m",
        lambda r: f"{stamp(r, '%Y-%m-%d %H:%M:%S')},{r.lon},{r.lat},{r.alt_ft * FT:.2f}",
    )


@shape(units={"alt_ft": "m"})
def french() -> str:
    return table(
        "Date,Heure (UTC),Latitude,Longitude,Altitude (mètres),Vitesse (km/h)",
        lambda r: f"{r.time:%Y-%m-%d},{r.time:%H:%M:%S},{r.lat},{r.lon},{r.alt_ft * FT:.2f},{r.speed_kt * 1.852:.1f}",
    )


@shape(units={"alt_ft": "m"})
def spanish() -> str:
    return table(
        "fecha;hora;latitud;longitud;altitud (m);velocidad (m/s);rumbo",
        lambda r: (
            f"{r.time:%Y-%m-%d};{r.time:%H:%M:%S};{r.lat};{r.lon};{r.alt_ft * FT:.2f};{r.speed_kt * MS:.2f};"
            f"{r.course_deg}"
        ),
    )


@shape(units={"alt_ft": "m"})
def italian() -> str:
    return table(
        "Data,Ora UTC,Latitudine,Longitudine,Quota (m),Velocità",
        lambda r: f"{r.time:%Y-%m-%d},{r.time:%H:%M:%S},{r.lat},{r.lon},{r.alt_ft * FT:.2f},{r.speed_kt * 1.852:.1f}",
    )


@shape(units={"alt_ft": "m"})
def polish() -> str:
    return table(
        "Czas;Szerokość;Długość;Wysokość (m);Prędkość",
        lambda r: f"{stamp(r, '%Y-%m-%d %H:%M:%S')};{r.lat};{r.lon};{r.alt_ft * FT:.2f};{r.speed_kt * 1.852:.1f}",
    )


@shape(altitude=False)
def russian() -> str:
    return table("Дата,Время,Широта,Долгота", lambda r: f"{r.time:%d.%m.%Y},{r.time:%H:%M:%S},{r.lat},{r.lon}")


@shape(altitude=False, say=(OPEN,))
def dutch() -> str:
    return table(
        "Datum,Tijd,Breedtegraad,Lengtegraad,Hoogte",
        lambda r: f"{r.time:%d-%m-%Y},{r.time:%H:%M:%S},{r.lat},{r.lon},{r.alt_ft * FT:.1f}",
    )


@shape(altitude=False, columns_map='time_utc = "dmy"\n')
def a_ship_day_first_with_a_mark_before_the_header() -> str:
    return table(
        "# Timestamp,Type of mobile,MMSI,Latitude,Longitude,Navigational status,ROT,SOG,COG,Heading",
        lambda r: (
            f"{stamp(r, '%d/%m/%Y %H:%M:%S')},Class A,1,{r.lat},{r.lon},Under way,0,{r.speed_kt},{r.course_deg},511"
        ),
    )


@shape(altitude=False)
def a_ship_of_an_archive() -> str:
    return table(
        "MMSI,BaseDateTime,LAT,LON,SOG,COG,Heading,VesselName",
        lambda r: f"1,{stamp(r, '%Y-%m-%dT%H:%M:%S')},{r.lat},{r.lon},{r.speed_kt},{r.course_deg},511,A",
    )


@shape(altitude=False)
def a_bus_in_unix_milliseconds() -> str:
    return table("bus_line,gps_time_ms,lon_wgs84,lat_wgs84", lambda r: f"9,{r.epoch_s * 1000:.0f},{r.lon},{r.lat}")


@shape(altitude=False)
def a_taxi() -> str:
    return table("taxi_id,date_time,longitude,latitude", lambda r: f"1,{stamp(r, '%Y-%m-%d %H:%M:%S')},{r.lon},{r.lat}")


@shape(altitude=False, say=(OPEN,))
def a_runner() -> str:
    return table(
        "point_id,recorded_at,position_lat,position_long,altitude,heart_rate,cadence,distance",
        lambda r: f"1,{iso(r)},{r.lat},{r.lon},{r.alt_ft * FT:.1f},140,80,1000",
    )


@shape(units={"alt_ft": "m"})
def a_runner_converted_from_gpx() -> str:
    return table("time,lat,lon,ele", lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft * FT:.2f}")


@shape(units={"alt_ft": "ft"})
def a_drone() -> str:
    return table(
        "time(millisecond),datetime(utc),latitude,longitude,height_above_takeoff(feet),altitude_above_seaLevel(feet),"
        "speed(mph),compass_heading(degrees)",
        lambda r: (
            f"{(int(r.epoch_s) % 90) * 1000},{stamp(r, '%Y-%m-%d %H:%M:%S')},{r.lat},{r.lon},120,{r.alt_ft},"
            f"{r.speed_kt * 1.852 / 1.609344:.2f},212"
        ),
    )


@shape(units={"alt_ft": "m"})
def a_skydiver() -> str:
    return table(
        "time,lat,lon,hMSL,velN,velE,velD,hAcc,vAcc,sAcc,numSV",
        lambda r: f"{iso(r)[:-1]}.00Z,{r.lat},{r.lon},{r.alt_ft * FT:.3f},1,2,3,1,1,1,9",
    ).replace("numSV\n", "numSV\n,(deg),(deg),(m),(m/s),(m/s),(m/s),(m),(m),(m/s),\n", 1)


@shape(altitude=False, say=(OPEN,))
def an_aircraft_of_an_archive() -> str:
    return table(
        "time,icao24,lat,lon,velocity,heading,vertrate,callsign,onground,baroaltitude,geoaltitude,lastposupdate",
        lambda r: (
            f"{r.epoch_s:.0f},abc123,{r.lat},{r.lon},{r.speed_kt * MS:.3f},{r.course_deg},0.0,A1,False,"
            f"{r.alt_ft * FT:.2f},{r.alt_ft * FT + 40:.2f},{r.epoch_s:.1f}"
        ),
    )


@shape(altitude=False, say=(OPEN,))
def an_aircraft_with_its_place_in_one_cell() -> str:
    return table(
        "Timestamp,UTC,Callsign,Position,Altitude,Speed,Direction",
        lambda r: f'{r.epoch_s:.0f},{iso(r)},A1,"{r.lat},{r.lon}",{r.alt_ft:.0f},{r.speed_kt:.0f},{r.course_deg:.0f}',
    )


@shape(altitude=False, say=(OPEN,))
def a_glider_computer() -> str:
    return table(
        "date,time,lat,lng,gps_altitude,pressure_altitude,vario,wind",
        lambda r: (
            f"{r.time:%Y-%m-%d},{r.time:%H:%M:%S},{r.lat},{r.lon},{r.alt_ft * FT:.0f},{r.alt_ft * FT - 40:.0f},0.0,"
            "28018KT"
        ),
    )


@shape(units={"alt_ft": "ft"})
def a_simulator() -> str:
    return table(
        "Zulu Time,PLANE LATITUDE (degrees),PLANE LONGITUDE (degrees),INDICATED ALTITUDE (feet),GROUND SPEED (knots)",
        lambda r: f"{iso(r)},{r.lat},{r.lon},{r.alt_ft},{r.speed_kt}",
    )


@shape(units={"alt_ft": "m"})
def a_phone() -> str:
    return table(
        "loggingTime(txt),locationTimestamp_since1970(s),locationLatitude(WGS84),locationLongitude(WGS84),"
        "locationAltitude(m),locationSpeed(m/s),locationCourse(°)",
        lambda r: (
            f"{stamp(r, '%Y-%m-%d %H:%M:%S')}.000 +0000,{r.epoch_s:.3f},{r.lat},{r.lon},{r.alt_ft * FT:.2f},"
            f"{r.speed_kt * MS:.2f},{r.course_deg}"
        ),
    )


@shape(units={"alt_ft": "m"})
def a_logger_of_a_phone() -> str:
    return table(
        "time,lat,lon,elevation(m),accuracy,bearing,speed,satellites,provider,hdop",
        lambda r: (
            f"{iso(r)[:-1]}.000Z,{r.lat},{r.lon},{r.alt_ft * FT:.2f},4.0,{r.course_deg},{r.speed_kt * MS:.2f},9,gps,1.0"
        ),
    )


@shape(altitude=False)
def a_biologist_s_archive() -> str:
    return table("eventDate,decimalLatitude,decimalLongitude", lambda r: f"{iso(r)},{r.lat},{r.lon}")


@shape(altitude=False, say=("taken for time",))
def a_time_under_a_header_of_its_own() -> str:
    return table("No,Zeitmarke_X,lat,lon", lambda r: f"1,{iso(r)},{r.lat},{r.lon}")


@shape(altitude=False)
def quoted_everything_with_a_row_number() -> str:
    return table(
        '"","date","lon","lat","id"',
        lambda r: f'"1","{stamp(r, "%Y-%m-%d %H:%M:%S")}","{r.lon}","{r.lat}","A"',
    )


@shape(altitude=False)
def a_row_number_without_a_header() -> str:
    rows = [f"{i},{iso(r)},{r.lat},{r.lon}" for i, r in enumerate(FLIGHT)]
    return "time,lat,lon\n" + "\n".join(rows) + "\n"


@shape(altitude=False)
def local_time_with_a_zone_behind() -> str:
    return table("time,lat,lon", lambda r: f"{stamp(r, '%Y-%m-%d %H:%M:%S', 2)}+02,{r.lat},{r.lon}")


@shape(altitude=False)
def twelve_hours_and_a_zone() -> str:
    return table("Date/Time,Lat,Lng", lambda r: f"{stamp(r, '%m/%d/%Y %I:%M:%S %p')} UTC,{r.lat},{r.lon}")


@shape(altitude=False)
def seconds_with_many_decimals() -> str:
    return table("unix_timestamp,latitude,longitude", lambda r: f"{r.epoch_s:.6f},{r.lat},{r.lon}")


@shape(altitude=False)
def seconds_in_scientific_notation() -> str:
    return table("Unixtime [s],Latitude [°],Longitude [°]", lambda r: f"{r.epoch_s:.12e},{r.lat:.9e},{r.lon:.9e}")


@shape(altitude=False)
def blanks_as_delimiters_and_a_mark_before_the_header() -> str:
    return table("% date time lat lon", lambda r: f"{r.time:%Y-%m-%d} {r.time:%H:%M:%S} {r.lat} {r.lon}")


@shape(altitude=False)
def year_month_day_in_columns() -> str:
    return table(
        "year,month,day,hour,minute,second,lat,lon",
        lambda r: (
            f"{r.time.year},{r.time.month},{r.time.day},{r.time.hour},{r.time.minute},{r.time.second},{r.lat},{r.lon}"
        ),
    )


@shape(altitude=False)
def semicircles_said_so() -> str:
    return table(
        "timestamp,position_lat (semicircles),position_long (semicircles)",
        lambda r: f"{iso(r)},{r.lat * 2**31 / 180:.0f},{r.lon * 2**31 / 180:.0f}",
    )


@shape(altitude=False)
def headers_with_pictures_of_their_form() -> str:
    return table(
        "Date (YYYY-MM-DD),Time (HH:MM:SS),Lat,Lon", lambda r: f"{r.time:%Y-%m-%d},{r.time:%H:%M:%S},{r.lat},{r.lon}"
    )


@shape(altitude=False, say=("taken for latitude", "taken for time"))
def headers_with_the_name_of_their_part() -> str:
    return table(
        "CUSTOM.updateStamp,OSD.latitude,OSD.longitude,OSD.flyTime",
        lambda r: f"{stamp(r, '%Y/%m/%d %H:%M:%S')}.000,{r.lat},{r.lon},{int(r.epoch_s) % 1000}",
    )


@shape(altitude=False, say=("taken for date", "taken for time of day"))
def a_day_and_a_clock_under_headers_of_their_own() -> str:
    return table("A,B,lat,lon", lambda r: f"{r.time:%Y-%m-%d},{r.time:%H:%M:%S},{r.lat},{r.lon}")


@shape(units={"alt_ft": "m", "groundspeed_kt": "km/h"})
def a_bird() -> str:
    return table(
        "device_id,UTC_datetime,UTC_date,UTC_time,satcount,Latitude,Longitude,Altitude_m,speed_km_h,direction_deg",
        lambda r: (
            f"1,{stamp(r, '%Y-%m-%d %H:%M:%S')},{r.time:%Y-%m-%d},{r.time:%H:%M:%S},9,{r.lat},{r.lon},"
            f"{r.alt_ft * FT:.2f},{r.speed_kt * 1.852:.2f},{r.course_deg}"
        ),
    )


@shape(altitude=False)
def coordinates_under_dotted_headers() -> str:
    return table(
        "_id,properties.timestamp,geometry.coordinates.lon,geometry.coordinates.lat",
        lambda r: f"a{r.epoch_s:.0f},{iso(r)},{r.lon},{r.lat}",
    )


@shape(altitude=False)
def a_balloon() -> str:
    return table(
        "sentence_id,time,latitude,longitude,altitude_km,temp",
        lambda r: f"1,{iso(r)},{r.lat},{r.lon},,-40",
    )


@shape(altitude=False)
def a_car() -> str:
    return table(
        "Device Time, Longitude, Latitude,GPS Speed (Meters/second), Bearing, Altitude",
        lambda r: f"{stamp(r, '%d-May-%Y %H:%M:%S')}.000,{r.lon},{r.lat},{r.speed_kt * MS:.3f},{r.course_deg},",
    )


@shape(units={"alt_ft": "ft"})
def an_electronic_flight_bag() -> str:
    return table(
        "Timestamp,Latitude,Longitude,Altitude (ft),Course,Speed,Bank,Pitch,Horizontal Error,Vertical Error,g Load",
        lambda r: f"{r.epoch_s:.3f},{r.lat},{r.lon},{r.alt_ft},{r.course_deg},{r.speed_kt},20,2,3,4,1",
        before="Pilot,Tail Number,Origin,Start Latitude,Start Longitude,Battery State\nA,none,,44.0,-93.0,50\n",
    )


@shape(altitude=False, say=("no line names the columns",))
def no_headers_at_all() -> str:
    return "\n".join(f"1,{stamp(r, '%Y-%m-%d %H:%M:%S')},{r.lon:.7f},{r.lat:.7f}" for r in FLIGHT)


@shape(altitude=False, say=("column 1 was taken for latitude",))
def no_headers_below_a_title() -> str:
    rows = [
        f"{r.lat:.7f},{r.lon:.7f},0,492,{r.epoch_s / 86400 + 25569:.10f},{r.time:%Y-%m-%d},{r.time:%H:%M:%S}"
        for r in FLIGHT
    ]
    return "\n".join(["A track", "WGS 84", "Reserved 3", "0,2,255,My track,0,0,2,8421376", "0", *rows])


@shape(altitude=False)
def a_date_as_a_browser_writes_it() -> str:
    return table("t,lat,lon", lambda r: f"{stamp(r, '%a %b %d %Y %H:%M:%S')} GMT+0000 (UTC),{r.lat},{r.lon}")


@shape(altitude=False, say=("no zone and no offset stated",))
def the_name_of_a_zone() -> str:
    return table("time,lat,lon", lambda r: f"{stamp(r, '%Y-%m-%d %H:%M:%S')} WET,{r.lat},{r.lon}")


@shape(altitude=False)
def a_date_with_colons() -> str:
    return table("DateTime,Lat,Lon", lambda r: f"{stamp(r, '%Y:%m:%d %H:%M:%S')},{r.lat},{r.lon}")


@shape(altitude=False, say=("degrees times ten million", OPEN))
def a_flight_controller() -> str:
    return table(
        "timestamp,time_utc_usec,lat,lon,alt",
        lambda r: (
            f"{(r.epoch_s - FLIGHT[0].epoch_s) * 1e6:.0f},{r.epoch_s * 1e6:.0f},{r.lat * 1e7:.0f},{r.lon * 1e7:.0f},"
            f"{r.alt_ft * 304.8:.0f}"
        ),
    )


@shape(altitude=False, say=("Lat Deg",))
def degrees_and_minutes_in_columns_of_their_own() -> str:
    return table(
        "time_utc,Lat Deg,Lat Min,Lon Deg,Lon Min",
        lambda r: f"{iso(r)},{int(r.lat)},{r.lat % 1 * 60:.6f},-{int(-r.lon)},{-r.lon % 1 * 60:.6f}",
    )
