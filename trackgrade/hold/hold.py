"""The hold as resolved: a position, a true course, a side. No magnetic north after this."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

TurnSide = Literal["right", "left"]


@dataclass(frozen=True)
class Leg:
    """What the inbound leg must last: minutes, or a length in NM. Exactly one is set."""

    minutes: float | None = None
    nm: float | None = None

    @property
    def seconds(self) -> float | None:
        """What the inbound leg must last [s]; None for a leg in NM."""
        return None if self.minutes is None else 60.0 * self.minutes

    @property
    def words(self) -> str:
        """ "1.5 min", "4 NM"."""
        return f"{self.minutes:g} min" if self.minutes is not None else f"{self.nm:g} NM"


@dataclass(frozen=True)
class Guidance:
    """What the needle showed.

    ``gps``: linear, ``full_scale_nm`` each side. ``vor``: angular about a station, ``full_scale_deg``
    each side.
    ``flag``: what the flag reads inbound ("TO" or "FROM"; a GPS course to the fix reads TO).
    ``course_to_set_deg``: as dialled, in the station's own north for a VOR, else magnetic at the fix.
    ``station_place``: where the VOR stands on the inbound course line; None without one. A GPS hold may carry
    a station too: its needle can then be told beside the GPS needle.
    """

    kind: Literal["gps", "vor"] = "gps"
    full_scale_nm: float = 1.0
    full_scale_deg: float = 10.0
    station_lat_deg: float | None = None
    station_lon_deg: float | None = None
    station_variation_deg: float | None = None
    flag: Literal["TO", "FROM"] = "TO"
    course_to_set_deg: float | None = None
    station_place: Literal["at", "beyond", "behind"] | None = None
    station_distance_nm: float | None = None


@dataclass(frozen=True)
class Station:
    """A station that tells the fix: the one whose distance it is given by, or the one whose radial crosses there.

    ``radial_deg`` is the radial through the fix, in the station's own north; ``variation_deg`` makes it true.
    """

    lat_deg: float
    lon_deg: float
    radial_deg: float
    variation_deg: float


@dataclass(frozen=True)
class Hold:
    """A hold in numbers that need nothing else to be understood.

    ``variation_deg`` is east positive; ``variation_source`` says where it comes from.
    ``levels`` are other altitudes assigned in the hold: from when [s since 1970], and altitude [ft], in order of time.
    ``qnh_hpa`` is what the altimeter was set to: it makes a recorded pressure altitude what the altimeter showed.
    ``notes`` are sentences for people (which model, which warning). ``origin`` says who named it: a hold file, the hold
    set where its laps were flown, or nobody (found in the track).

    ``dme_station`` is the one whose distance the fix is given by, ``cross_station`` the one whose radial crosses the
    course at the fix; None where the fix is not given so.
    """

    name: str
    fix_lat_deg: float
    fix_lon_deg: float
    inbound_course_true_deg: float
    variation_deg: float
    variation_source: str
    turns: TurnSide
    leg: Leg
    guidance: Guidance = Guidance()
    altitude_ft: float | None = None
    airspeed_kias: float | None = None
    arrive_epoch_s: float | None = None
    qnh_hpa: float | None = None
    levels: tuple[tuple[float, float], ...] = ()
    dme_station: Station | None = None
    cross_station: Station | None = None
    notes: tuple[str, ...] = ()
    origin: Literal["file", "set", "found"] = "file"

    @property
    def side(self) -> int:
        """+1 where the holding side is right of the inbound course, -1 where it is left."""
        return 1 if self.turns == "right" else -1

    @property
    def course_to_set_deg(self) -> float:
        """The inbound course as the pilot sets it: in the station's north for a VOR, else magnetic at the fix."""
        told = self.guidance.course_to_set_deg
        return (self.inbound_course_true_deg - self.variation_deg) % 360.0 if told is None else told
