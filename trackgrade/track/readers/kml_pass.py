"""What is taken from a KML file as its elements pass by: the points of its tracks, and of placemarks with a time."""

from __future__ import annotations

import itertools
from array import array
from collections.abc import Sequence
from typing import Any

import numpy as np

from trackgrade.track.readers.iso_times import IsoTimes
from trackgrade.track.readers.xml_guard import Handler
from trackgrade.track.track import Floats

#: No altitudeMode. KML then draws on the ground; the number that a recorder wrote is metres above the sea all the same.
_UNSAID = ""
_MOST_LABELS = 10_000
_LONGEST_LABEL = 640
_NO_PLACE = (float("nan"), float("nan"), float("nan"))


class Points:
    """Times and places in the order of the file.

    ``parts``: for each track with points the number of its placemark and its first row. ``not_absolute``: modes of
    altitudes that are not said to be above the sea. ``uneven``: times or places without their counterpart.
    """

    def __init__(self) -> None:
        self.times = IsoTimes()
        self.parts: list[tuple[int, int]] = []
        self.not_absolute: set[str] = set()
        self.uneven = 0
        self._epoch_s = array("d")
        self._places = array("d")  # longitude, latitude, altitude of each point

    @property
    def count(self) -> int:
        """Pairs of a time and a place."""
        return min(len(self._epoch_s), len(self._places) // 3)

    def begin(self, track: int) -> None:
        """A track begins; what has no counterpart before it goes, so that its times meet its own places."""
        self.parts.append((track, self.count))

    def add(self, times: Sequence[str], places: Sequence[str]) -> None:
        if times:
            self._epoch_s.frombytes(self.times.epochs_s(times).tobytes())
        for text in places:
            self._places.extend(_place(text))

    def add_one_by_one(self, placed: Sequence[tuple[str, str, str]]) -> None:
        """Points of one recording, each with a time, a place and the mode of its altitude."""
        if placed and not self.parts:
            self.begin(0)
        for mode, alike in itertools.groupby(placed, key=lambda each: each[2]):
            first = self.count
            times, places, _ = zip(*alike)
            self.add(times, places)
            self._judge(first, mode)

    def end(self, mode: str) -> None:
        """The track ended whose altitudes are of this mode."""
        whole, first = self.count, self.parts[-1][1]
        self.uneven += max(len(self._epoch_s), len(self._places) // 3) - whole
        del self._epoch_s[whole:], self._places[3 * whole :]
        if first == whole:
            self.parts.pop()
        else:
            self._judge(first, mode)

    def _judge(self, first: int, mode: str) -> None:
        """Altitudes from this row on are of this mode: those not above the sea go, and noughts that say nothing."""
        if mode == "absolute":
            return
        altitudes = np.array(self._places[3 * first + 2 :: 3])
        if np.any(np.nan_to_num(altitudes) != 0.0):
            self.not_absolute.add(mode)
            if mode == _UNSAID:
                return
        self._places[3 * first + 2 :: 3] = array("d", [np.nan]) * len(altitudes)

    def arrays(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Time [s since 1970 UTC], longitude, latitude [deg], height above the sea [m]; each (count,), NaN: none."""
        places = np.array(self._places).reshape(-1, 3)
        return np.array(self._epoch_s), places[:, 0], places[:, 1], places[:, 2]


class KmlPass(Handler):
    """One pass over a KML file.

    ``tracks``: the points of every ``Track``. ``placemarks``: of placemarks that have a place and a time, their names
    in ``labels``. ``places``, ``lines``: placemarks without a time; ``longest_line``: points of one, as far as counted.
    """

    def __init__(self, parser: Any, source: str) -> None:
        super().__init__(parser, source)
        self.tracks, self.placemarks = Points(), Points()
        self.labels: list[str] = []
        self.places = self.lines = self.longest_line = 0
        self._local: dict[str, str] = {}
        self._placemark = 0
        self._in_track = False
        self._mode, self._many_mode = _UNSAID, _UNSAID  # of the track at hand, and of a MultiTrack
        self._whens: list[str] = []  # of the track at hand, not yet numbers
        self._coords: list[str] = []
        self._placed: list[tuple[str, str, str]] = []  # of placemarks

    def count(self) -> int:
        return self.tracks.count or self.placemarks.count

    def kept(self) -> int:
        return max(self.tracks.count, self.placemarks.count)

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.open_elements.append(name)
        if self._field:
            return
        local = self._local.get(name)
        if local is None:
            local = self._local[name] = name.rpartition(":")[2]
        self.root = self.root or name
        if self._in_track:
            if local in ("when", "coord", "altitudeMode"):
                self.want(local)
        elif local in ("when", "coordinates", "altitudeMode"):
            parent = self._local.get(self.open_elements[-2], "") if len(self.open_elements) > 1 else ""
            if parent in ("TimeStamp", "Point"):
                self.want(local)
            elif parent in ("MultiTrack", "LineString"):
                self.want(parent)
        elif local == "name" and len(self.open_elements) > 1 and self._local[self.open_elements[-2]] == "Placemark":
            self.want(local)
        elif local == "Placemark":
            self._placemark += 1
            self._cells = {}
        elif local == "MultiTrack":
            self._many_mode = _UNSAID
        elif local == "Track":
            self._in_track, self._mode = True, self._many_mode
            self.tracks.begin(self._placemark)
        elif local == "LineString":
            self.lines += 1

    def end(self, name: str) -> None:
        depth = len(self.open_elements)
        self.open_elements.pop()
        if self._field:
            if depth == self._field_depth:
                self._parser.CharacterDataHandler = None
                self._whole_text(self._field, "".join(self.text))
                self.text.clear()
                self._field = ""
            return
        local = self._local[name]
        if local == "Track":
            self.close()
        elif local == "MultiTrack":
            self._many_mode = _UNSAID
        elif local == "Placemark":
            self._whole_placemark()

    def between(self) -> None:
        self.tracks.add(self._whens, self._coords)
        self._whens.clear()
        self._coords.clear()
        self.placemarks.add_one_by_one(self._placed)
        self._placed.clear()
        super().between()

    def close(self) -> None:
        """The track at hand ends: by its end tag, or where the file does."""
        if self._in_track:
            if self._whens or self._coords:
                self.between()
            self.tracks.end(self._mode)
            self._in_track = False

    def _whole_text(self, field: str, text: str) -> None:
        if field == "when" and self._in_track:
            self._whens.append(text)
        elif field == "coord":
            self._coords.append(text)
        elif field == "altitudeMode" and self._in_track:
            self._mode = text.strip()
        elif field == "MultiTrack":
            self._many_mode = text.strip()
        elif field == "LineString":
            self.longest_line = max(self.longest_line, len(text.split()))
        else:
            self._cells.setdefault(field, text)

    def _whole_placemark(self) -> None:
        cells, self._cells = self._cells, {}
        if "coordinates" not in cells:
            return
        if not cells.get("when", "").strip():
            self.places += 1
            return
        self._placed.append((cells["when"], cells["coordinates"], cells.get("altitudeMode", _UNSAID).strip()))
        if len(self.labels) < _MOST_LABELS:
            self.labels.append(cells.get("name", "")[:_LONGEST_LABEL])


def _place(text: str) -> tuple[float, float, float]:
    """Longitude, latitude, altitude of "lon lat alt" or "lon,lat[,alt]"; NaN where there is none."""
    cells = text.replace(",", " ").split()
    try:
        lon, lat, *rest = (float(cell) for cell in cells[:3])
    except ValueError:
        return _NO_PLACE
    return lon, lat, rest[0] if rest else float("nan")
