"""Words of column headers for the plain words that the rules are written in: English ones, and other languages.

German, French, Spanish, Italian, Portuguese, Dutch, Polish, Swedish, Danish and Norwegian, Russian; without accents.
Their speakers write the day before the month.
"""

from __future__ import annotations

#: Plain words to their other spellings, abbreviations and words run together, parted by blanks.
ENGLISH: dict[str, str] = {
    "lat": "latitude",
    "lon": "longitude long lng",
    "alt": "altitude height hgt elevation elev",
    "speed": "spd velocity vel",
    "ground speed": "groundspeed gndspd grndspd gspd gspeed gs sog",
    "ground": "gnd grnd",
    "air speed": "airspeed",
    "indicated air speed": "ias",
    "indicated air speed kt": "kias",
    "true air speed": "tas",
    "true air speed kt": "ktas",
    "calibrated air speed": "cas",
    "calibrated air speed kt": "kcas",
    "indicated": "ind",
    "heading": "hdg hding",
    "track": "trk",
    "ground track": "cog tmg",
    "course": "crs",
    "magnetic": "mag magn",
    "deg magnetic": "degm",
    "deg true": "degt",
    "bank": "roll",
    "outside air temp": "oat",
    "temp": "temperature",
    "utc": "gmt zulu",
    "date time": "datetime dt",
    "time": "timestamp ts",
    "fix time": "fixtime",
    "gps time": "gpstime",
    "time utc": "timeutc utctime",
    "epoch time": "unixtime epochtime",
    "epoch": "unix posix",
    "local": "lcl",
    "offset": "ofst",
    "zone": "timezone tz",
    "baro": "barometric",
    "pressure": "press",
    "gps": "gnss",
    "mark": "marker",
    "vertical speed": "vspd vspeed vertspeed verticalspeed vvi vsi vario",
    "vertical rate": "vertrate verticalrate",
    "vertical": "vert",
    "climb rate": "roc climbrate",
    "gps alt": "gpsalt",
    "alt msl": "altmsl",
    "baro alt": "baroalt",
    "pressure alt": "baroaltitude",
    "gps alt ellipsoid": "geoaltitude",
    "alt fl": "flightlevel",
    "dmy": "ddmmyy ddmmyyyy",
    "mdy": "mmddyy mmddyyyy",
    "iso": "yymmdd yyyymmdd",
    "hms": "hhmmss",
}

#: Plain word to its translations, parted by blanks.
OTHER_LANGUAGES: dict[str, str] = {
    "lat": "breite breitengrad geobreite latitud latitudine breedtegraad szerokosc breddegrad breddgrad широта",
    "lon": "laenge lange langengrad laengengrad geolaenge longitud longitudine lengtegraad dlugosc lengdegrad "
    "laengdegrad langdgrad долгота",
    "alt": "hoehe hohe altitud altitudine altura quota hoogte wysokosc hojd hojde hoyde высота",
    "time": "zeit uhrzeit zeitpunkt heure hora ora orario tijd tijdstip czas tid tidspunkt время",
    "date time": "zeitstempel datumzeit horodatage fechahora dataora datahora",
    "date": "datum fecha data дата",
    "speed": "geschwindigkeit vitesse velocidad velocita velocidade snelheid predkosc hastighet hastighed скорость",
    "course": "kurs rumbo rotta koers rumo курс",
    "heading": "steuerkurs cap prua",
}
