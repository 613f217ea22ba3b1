"""The hold as a pilot is given it: magnetic courses, radials, stations; nothing resolved yet."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Literal

from trackgrade.hold.hold import Leg, TurnSide

North = Literal["magnetic", "true"]


@dataclass(frozen=True)
class Position:
    """A place on the WGS 84 ellipsoid."""

    lat_deg: float
    lon_deg: float


@dataclass(frozen=True)
class Radial:
    """A radial of a station: a direction *from* it, in the station's own north.

    ``variation_deg`` is the variation the station is aligned to (east positive), often an old one;
    None leaves it to the magnetic model at the station. With ``north = "true"`` radials stay magnetic:
    a station's radial always is.
    """

    station: Position
    radial_deg: float
    variation_deg: float | None = None


@dataclass(frozen=True)
class RadialDistance:
    """A fix on a radial, at a DME distance from the same station."""

    radial: Radial
    dme_nm: float


@dataclass(frozen=True)
class Crossing:
    """A fix where two radials of two stations cross."""

    first: Radial
    second: Radial


Fix = Position | RadialDistance | Crossing


@dataclass(frozen=True)
class GuidancePlan:
    """What the pilot follows inbound.

    ``station`` of a VOR is None when the fix is on a radial and DME of the same station. With GPS it is
    optional: the inbound legs can then be read as that VOR's needle too.
    ``course_set_deg`` and ``flag`` are what the pilot means to set and expects to see; they are optional, and
    checked against the hold when given.
    """

    kind: Literal["gps", "vor"] = "gps"
    full_scale_nm: float = 1.0
    full_scale_deg: float = 10.0
    station: Position | None = None
    station_variation_deg: float | None = None
    course_set_deg: float | None = None
    flag: Literal["TO", "FROM"] | None = None


@dataclass(frozen=True)
class ClearedLevel:
    """Another altitude assigned in the hold [ft], and from when (UTC)."""

    altitude_ft: float
    from_utc: dt.datetime


@dataclass(frozen=True)
class HoldPlan:
    """A hold file, read and checked key by key. ``source`` is the file's name, for messages only."""

    name: str
    inbound_course_deg: float
    fix: Fix
    north: North = "magnetic"
    variation_deg: float | None = None
    turns: TurnSide = "right"
    leg: Leg | None = None
    guidance: GuidancePlan = GuidancePlan()
    altitude_ft: float | None = None
    airspeed_kias: float | None = None
    arrive_utc: dt.datetime | None = None
    qnh_hpa: float | None = None
    levels: tuple[ClearedLevel, ...] = ()
    source: str = field(default="", compare=False)
