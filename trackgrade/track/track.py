"""The flight as recorded: read-only arrays, marks, and which column served as what."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Rows = npt.NDArray[np.intp]

_SPEED_KT, _DIRECTION_DEG = (0.0, 1_500.0), (0.0, 360.0)
#: Optional channels a log may carry, by the project's own column names: what each can be, outside is no value.
CHANNELS: Mapping[str, tuple[float, float]] = {
    "heading_true_deg": _DIRECTION_DEG,
    "heading_mag_deg": _DIRECTION_DEG,
    "ias_kt": _SPEED_KT,
    "tas_kt": _SPEED_KT,
    "groundspeed_kt": _SPEED_KT,
    "track_true_deg": _DIRECTION_DEG,
    "bank_deg": (-180.0, 180.0),
    "oat_c": (-100.0, 70.0),
}
#: Those that are directions on the compass.
DIRECTIONS = frozenset(name for name, values in CHANNELS.items() if values == _DIRECTION_DEG)

#: What an altitude is measured from. "altimeter": as an altimeter set to QNH shows it, or taken as such; "pressure":
#: above 1013.25 hPa; "ellipsoid": above WGS 84.
AltitudeDatum = Literal["altimeter", "pressure", "ellipsoid"]


def read_only(values: npt.ArrayLike) -> Floats:
    """A float64 copy that refuses assignment."""
    array = np.array(values, dtype=np.float64)
    array.setflags(write=False)
    return array


@dataclass(frozen=True)
class Mark:
    """A moment the pilot or the log marked: a timed waypoint, or a row with a mark."""

    epoch_s: float
    label: str


@dataclass(frozen=True)
class Provenance:
    """Which column of the file served as which quantity, in which unit, and what was done to it."""

    quantity: str
    column: str
    unit: str
    note: str = ""


@dataclass(frozen=True, eq=False)
class Rejection:
    """Points dropped for one reason: how many, and the time of the first [s since 1970, UTC]."""

    reason: str
    count: int
    first_epoch_s: float


@dataclass(frozen=True, eq=False)
class Gap:
    """A hole in the record, between the last point before it and the first after it."""

    start_epoch_s: float
    end_epoch_s: float

    @property
    def seconds(self) -> float:
        return self.end_epoch_s - self.start_epoch_s


@dataclass(frozen=True, eq=False)
class OpenAltitude:
    """A column of altitudes that nothing in the file gives a unit: feet or metres, as far as anyone can tell.

    ``values`` (n,) are as written, NaN where blank; ``note`` is the one of the track's notes that says so.
    """

    column: str
    values: Floats
    note: str

    def take(self, rows: Rows | Bools | slice) -> OpenAltitude:
        return replace(self, values=self.values[rows])


@dataclass(frozen=True, eq=False)
class Track:
    """Positions in time, as read (any order, anything wrong with them) or as cleaned.

    Parameters
    ----------
    source : str
        File name without folders, for people.
    epoch_s : array (n,)            [s since 1970-01-01 UTC]
    lat_deg, lon_deg : array (n,)   [deg, WGS 84]
    alt_ft : array (n,)             [ft], NaN where the log has none, or none in a known unit
    alt_datum :                     what ``alt_ft`` is measured from
    alt_open :                      the altitude that has no unit, where there is one; `trackgrade.track.altitude`
    channels : mapping of name in `CHANNELS` to array (n,), NaN where blank
    """

    source: str
    epoch_s: Floats
    lat_deg: Floats
    lon_deg: Floats
    alt_ft: Floats
    channels: Mapping[str, Floats] = field(default_factory=dict)
    marks: tuple[Mark, ...] = ()
    provenance: tuple[Provenance, ...] = ()
    notes: tuple[str, ...] = ()
    sha256: str = ""
    alt_datum: AltitudeDatum = "altimeter"
    alt_open: OpenAltitude | None = None

    def __post_init__(self) -> None:
        n = len(self.epoch_s)
        for name in ("epoch_s", "lat_deg", "lon_deg", "alt_ft"):
            array = read_only(getattr(self, name))
            if array.shape != (n,):
                raise ValueError(f"{name} has shape {array.shape}, expected ({n},)")
            object.__setattr__(self, name, array)
        channels = {name: read_only(values) for name, values in self.channels.items()}
        unknown = set(channels) - set(CHANNELS)
        if unknown:
            raise ValueError(f"unknown channels {sorted(unknown)}")
        if any(values.shape != (n,) for values in channels.values()):
            raise ValueError("a channel has another length than the positions")
        object.__setattr__(self, "channels", MappingProxyType(channels))

    def __len__(self) -> int:
        return len(self.epoch_s)

    def take(self, rows: Rows | Bools | slice) -> Track:
        """These rows only, in this order, channels and all."""
        return replace(
            self,
            epoch_s=self.epoch_s[rows],
            lat_deg=self.lat_deg[rows],
            lon_deg=self.lon_deg[rows],
            alt_ft=self.alt_ft[rows],
            channels={name: values[rows] for name, values in self.channels.items()},
            alt_open=None if self.alt_open is None else self.alt_open.take(rows),
        )

    def __reduce__(self) -> tuple[object, tuple[object, ...]]:  # a mapping proxy does not pickle
        return Track, tuple(
            dict(self.channels) if each.name == "channels" else getattr(self, each.name) for each in fields(self)
        )


@dataclass(frozen=True, eq=False)
class CleanTrack:
    """Strictly increasing in time, finite positions; what was dropped is told.

    ``interval_s`` is the median spacing; ``gaps`` are holes in which nothing is known,
    including rows found to be invented by a resampler.
    """

    track: Track
    points_read: int
    rejections: tuple[Rejection, ...]
    gaps: tuple[Gap, ...]
    interval_s: float
    notes: tuple[str, ...] = ()
