"""Words of column headers in the larger European languages, for the plain words that the rules are written in.

German, French, Spanish, Italian, Portuguese, Dutch, Polish, Swedish, Danish and Norwegian, Russian; without accents.
Their speakers write the day before the month.
"""

from __future__ import annotations

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
