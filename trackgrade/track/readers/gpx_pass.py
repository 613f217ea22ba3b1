"""What is taken from a GPX file as its elements pass by: numbers in arrays, marks, and what could not be read."""

from __future__ import annotations

import re
from array import array
from collections import Counter
from typing import Any

import numpy as np

from trackgrade.track.readers.iso_times import IsoTimes
from trackgrade.track.readers.xml_guard import Handler
from trackgrade.track.track import Bools, Floats

_DECIMAL_COMMA = re.compile(r"\s*[+-]?[0-9]{1,6},[0-9]+\s*")
_MOST_WAYPOINTS = 10_000
_LONGEST_LABEL = 640
#: Elements of GPX that matter here: where a part begins, and what of a point is read as text.
_PLACES = ("trk", "trkseg", "trkpt", "rtept", "wpt")
_OF_TRACK_POINT = frozenset(["ele", "time", "speed", "course", "extensions"])
_OF_WAYPOINT = frozenset(["time", "name", "cmt", "desc"])
#: A track point as most files write it, and a stretch of them: taken at once, a sixth of the work of its elements.
_POINT = (
    r'<trkpt lat="([-+.\d]++)" lon="([-+.\d]++)">\s*+'
    r"(?:<ele>([-+.\d]*+)</ele>\s*+)?+(?:<time>([-+.:\w]*+)</time>\s*+)?+</trkpt>"
)
_PLAIN_POINT = re.compile(_POINT, re.ASCII)
# Not possessive as a whole: up to Python 3.11.4 such a group keeps half of a point that a chunk cuts (gh-106052).
_PLAIN_POINTS = re.compile(rf"((?:{_POINT.replace('([', '(?:[')}\s*+)+)".encode())
#: Words of extension elements that are read.
_EXTENSION_WORDS = ("speed", "course")
EXTENSION = "extensions/"


class Values:
    """A value that only some points have."""

    def __init__(self) -> None:
        self.rows = array("q")
        self._values = array("d")

    def add(self, row: int, value: float) -> None:
        self.rows.append(row)
        self._values.append(value)

    def dense(self, count: int) -> Floats:
        """For all points (count,), NaN where there is none."""
        dense = np.full(count, np.nan)
        dense[np.array(self.rows, dtype=np.int64)] = np.array(self._values)
        return dense


class GpxPass(Handler):
    """One pass over a GPX file.

    ``lat, lon, epoch, ele``: of every whole point, NaN where there is none [deg, deg, s since 1970, m].
    ``parts``: for each segment with points the number of its track and its first row. ``values``:
    speed and course as GPX 1.0 has them, and in extensions (`EXTENSION`). ``timed``: time and label of waypoints.
    ``bad``: what could not be read or was mended, by name.
    """

    plain = _PLAIN_POINTS

    def __init__(self, parser: Any, source: str) -> None:
        super().__init__(parser, source)
        self.version = ""
        self.points = self.route_points = self.waypoints = self.with_time = 0
        self.lat, self.lon, self.epoch, self.ele = array("d"), array("d"), array("d"), array("d")
        self.times = IsoTimes()
        self.parts: list[tuple[int, int]] = []
        self.values = {where + word: Values() for where in ("", EXTENSION) for word in _EXTENSION_WORDS}
        self.extended = False
        self.unread: Counter[str] = Counter()
        self.timed: list[tuple[str, str]] = []
        self.bad: Counter[str] = Counter()
        self._unplaced: list[int] = []
        self._local: dict[str, str] = {}  # of elements of GPX, by their name in this file
        self._words: dict[str, str] = {}  # of elements of extensions
        self._track, self._part_begins = 0, True
        # Of the point at hand: its depth (0: none), whether a waypoint, and what is known of it.
        self._depth = 0
        self._wanted = _OF_TRACK_POINT
        self._in_extensions = self._is_leaf = False
        self._lat = self._lon = ""
        # Of whole points, not yet numbers.
        self._lats: list[str] = []
        self._lons: list[str] = []
        self._times: list[str] = []
        self._eles: list[str] = []

    def count(self) -> int:
        return self.points

    def unplaced(self) -> Bools:
        """Which points (points,) have no position that is a number."""
        rows = np.zeros(self.points, dtype=bool)
        rows[self._unplaced] = True
        return rows

    def start(self, name: str, attributes: dict[str, str]) -> None:
        open_elements = self.open_elements
        open_elements.append(name)
        if self._field:  # an element inside a text
            return
        if not self._depth:
            self._outside(name, attributes)
        elif self._in_extensions:
            self._is_leaf = True
            if self._word(name) in _EXTENSION_WORDS:
                self.want(EXTENSION + self._words[name])
        elif len(open_elements) == self._depth + 1 and (local := self._local.get(name)) in self._wanted:
            if local == "extensions":
                self.extended = self._in_extensions = True
            elif local is not None and local not in self._cells:
                self.want(local)

    def end(self, name: str) -> None:
        open_elements = self.open_elements
        depth = len(open_elements)
        open_elements.pop()
        if self._field:
            if depth == self._field_depth:
                text = self.text
                self._cells[self._field] = text[0] if len(text) == 1 else "".join(text)
                text.clear()
                self._field = ""
                self._parser.CharacterDataHandler = None
                self._is_leaf = False
        elif self._in_extensions:
            if depth == self._depth + 1:
                self._in_extensions = False
            elif self._is_leaf:
                self.unread[self._words[name]] += 1
            self._is_leaf = False
        elif depth == self._depth:
            self._depth = 0
            if self._wanted is _OF_TRACK_POINT:
                self._whole_point()
            else:
                self._whole_waypoint()

    def take(self, stretch: bytes) -> bool:
        around = self.open_elements[-1] if self.open_elements else ""
        if self._depth or self._local.get(around) != "trkseg":
            return False
        self._begin_part()
        cells = _PLAIN_POINT.split(stretch.decode())  # of each point what stands before it, and its four
        self._lats += cells[1::5]
        self._lons += cells[2::5]
        self._eles += [ele or "nan" for ele in cells[3::5]]
        self._times += [time or "" for time in cells[4::5]]
        self.points += len(cells) // 5
        return True

    def between(self) -> None:
        super().between()
        if not self._lats:
            return
        first = len(self.lat)
        for texts, numbers in ((self._lats, self.lat), (self._lons, self.lon), (self._eles, self.ele)):
            try:
                numbers.extend(map(float, texts))
            except ValueError:  # what was read before the bad one is read again
                del numbers[first:]
                name = "ele" if numbers is self.ele else ""
                numbers.extend(self._number(text, name, first + i) for i, text in enumerate(texts))
        self.epoch.frombytes(self.times.epochs_s(self._times).tobytes())
        for texts in (self._lats, self._lons, self._eles, self._times):
            texts.clear()
        if self._unplaced:
            self._unplaced = sorted(set(self._unplaced))
            self.bad["point without a position"] = len(self._unplaced)

    def _outside(self, name: str, attributes: dict[str, str]) -> None:
        """An element that stands in no point."""
        if not self.root:
            self.root, self.version = name, attributes.get("version", "")
            prefix = name.rpartition(":")[0]
            known = (*_PLACES, *_OF_TRACK_POINT, *_OF_WAYPOINT)
            self._local = {local: local for local in known}
            if prefix:
                self._local |= {f"{prefix}:{local}": local for local in known}
        local = self._local.get(name)
        if local == "trkpt":
            self._begin_part()
            self._depth, self._wanted = len(self.open_elements), _OF_TRACK_POINT
            self._lat, self._lon = attributes.get("lat", ""), attributes.get("lon", "")
            self._cells = {}
        elif local == "wpt":
            self._depth, self._wanted = len(self.open_elements), _OF_WAYPOINT
            self._cells = {}
        elif local == "rtept":
            self.route_points += 1
        elif local == "trkseg":
            self._part_begins = True
        elif local == "trk":
            self._track += 1
            self._part_begins = True

    def _begin_part(self) -> None:
        if self._part_begins:
            self._part_begins = False
            self.parts.append((self._track, self.points))

    def _word(self, name: str) -> str:
        word = self._words.get(name)
        if word is None:
            word = self._words[name] = name.rpartition(":")[2]
        return word

    def _whole_point(self) -> None:
        cells = self._cells
        self._lats.append(self._lat)
        self._lons.append(self._lon)
        self._times.append(cells.pop("time", ""))
        self._eles.append(cells.pop("ele", "nan") or "nan")
        for field, text in cells.items():
            # An extension that is there but no number still says that the file has it.
            known = _as_number(text) if field.startswith(EXTENSION) else self._number(text or "nan", field, self.points)
            self.values[field].add(self.points, np.nan if known is None else known)
        self.points += 1

    def _whole_waypoint(self) -> None:
        self.waypoints += 1
        cells = self._cells
        if cells.get("time", "").strip():
            self.with_time += 1
            if len(self.timed) < _MOST_WAYPOINTS:
                label = cells.get("name") or cells.get("cmt") or cells.get("desc") or ""
                self.timed.append((cells["time"], label[:_LONGEST_LABEL]))

    def _number(self, text: str, name: str, row: int) -> float:
        """The number in a text; where it is mended, or none, that is counted (a position by its ``row``)."""
        value = _as_number(text)
        if value is None and _DECIMAL_COMMA.fullmatch(text):
            self.bad["decimal comma, read as a point"] += 1
            value = float(text.replace(",", "."))
        if value is not None:
            return value
        if not name:
            self._unplaced.append(row)
        elif text.strip():
            self.bad[name] += 1
        return float("nan")


def _as_number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
