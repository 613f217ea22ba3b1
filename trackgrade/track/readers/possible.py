"""What cannot be is dropped and counted: positions off the globe, times outside the age of GPS, no number.

Order, duplicates, spikes and gaps are not judged here: that is `trackgrade.track.cleaning`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt

from trackgrade.errors import TrackFileError
from trackgrade.files import plain_text
from trackgrade.track.altitude import DATUM_NOTES
from trackgrade.track.track import CHANNELS, DIRECTIONS, AltitudeDatum, Floats, Mark, OpenAltitude, Provenance, Track

#: GPS time begins on 6 January 1980 (IS-GPS-200, 3.3.4): no recorder has an earlier fix.
EARLIEST_EPOCH_S = datetime(1980, 1, 6, tzinfo=UTC).timestamp()
LATEST_EPOCH_S = datetime(2100, 1, 1, tzinfo=UTC).timestamp()

#: Points read from one GPX or KML file at most: a day at 10 Hz is 864,000. Bounds time and memory.
MOST_POINTS = 1_000_000

LOWEST_FT, HIGHEST_FT = -2_000.0, 100_000.0
#: Marks of one flight: more are no marks.
MOST_MARKS = 2_000


def _usable_angle_deg(values: Floats) -> Floats:
    """Directions -180 to 360 folded to 0-360 [deg]; anything else is NaN."""
    with np.errstate(invalid="ignore"):
        folded = np.where((values >= -180.0) & (values < 0.0), values + 360.0, values)
        return np.where((folded >= 0.0) & (folded <= 360.0), np.mod(folded, 360.0), np.nan)


def moment_and_place(time: str, place: str, unit: str = "deg", lon: str = "") -> list[Provenance]:
    """Where times in UTC and positions come from; ``lon``: where longitudes do, if not from ``place`` too."""
    return [
        Provenance("time", time, "UTC"),
        Provenance("latitude", place, unit),
        Provenance("longitude", lon or place, unit),
    ]


def make_track(
    source: str,
    epoch_s: Floats,
    lat_deg: Floats,
    lon_deg: Floats,
    alt_ft: Floats,
    *,
    channels: Mapping[str, Floats] | None = None,
    marks: Iterable[tuple[float, str]] = (),
    provenance: Sequence[Provenance] = (),
    notes: Sequence[str] = (),
    alt_datum: AltitudeDatum = "altimeter",
    alt_open: OpenAltitude | None = None,
) -> Track:
    """A `Track` of the points that can be; all arrays (n,), NaN where blank.

    ``channels``: in the units of their names, directions also from -180. ``marks``: time [s since 1970 UTC] and label.
    Raises TrackFileError: fewer than two points are left.
    """
    told = list(notes)
    if alt_open is None and not np.isfinite(alt_ft).any():
        told.append("no altitude in the file")
    keep = np.ones(len(epoch_s), dtype=bool)

    def drop(bad: npt.NDArray[np.bool_], why: str) -> None:
        count = int(np.count_nonzero(bad & keep))
        if count:
            keep[bad] = False
            told.append(f"{count} {'point' if count == 1 else 'points'} dropped: {why}")

    with np.errstate(invalid="ignore"):
        drop(~np.isfinite(epoch_s), "no readable time")
        drop(~(np.isfinite(lat_deg) & np.isfinite(lon_deg)), "no readable position")
        drop((epoch_s < EARLIEST_EPOCH_S) | (epoch_s >= LATEST_EPOCH_S), "time before 1980 or after 2099")
        drop(np.abs(lat_deg) > 90.0, "latitude beyond 90°")
        drop((lon_deg < -180.0) | (lon_deg > 360.0), "longitude beyond 180°")
        drop((lat_deg == 0.0) & (lon_deg == 0.0), "position 0, 0 (what recorders write before a fix)")
        east = keep & (lon_deg > 180.0)
    if east.any():
        lon_deg = np.where(east, lon_deg - 360.0, lon_deg)
        told.append(f"longitudes from 180° to 360° read as west ({int(east.sum())} points)")
    if np.count_nonzero(keep) < 2:
        why = "; ".join(note for note in told if "dropped" in note) or f"it has {len(epoch_s)}"
        raise TrackFileError(f"{source}: fewer than two usable points ({why}). Choose another file")

    alt_ft = _in_range(alt_ft, keep, (LOWEST_FT, HIGHEST_FT), "altitude", told)
    if alt_datum in DATUM_NOTES and (alt_open is not None or np.isfinite(alt_ft[keep]).any()):
        told.append(DATUM_NOTES[alt_datum])
    kept: dict[str, Floats] = {}
    for name, values in (channels or {}).items():
        values = _usable_angle_deg(values) if name in DIRECTIONS else values
        values = _in_range(values, keep, CHANNELS[name], name, told)
        if np.isfinite(values[keep]).any():
            kept[name] = values[keep]
        else:
            told.append(f"{name}: no value in the whole file")
    used = [p for p in provenance if p.quantity not in CHANNELS or p.quantity in kept]
    return Track(
        source=source,
        epoch_s=epoch_s[keep],
        lat_deg=lat_deg[keep],
        lon_deg=lon_deg[keep],
        alt_ft=alt_ft[keep],
        channels=kept,
        marks=_marks(marks, told),
        provenance=tuple(used),
        notes=tuple(told),
        alt_datum=alt_datum,
        alt_open=None if alt_open is None else alt_open.take(keep),
    )


def _marks(marks: Iterable[tuple[float, str]], told: list[str]) -> tuple[Mark, ...]:
    """Those with a time that can be, in order of time."""
    timed = [(float(time_s), label) for time_s, label in marks if EARLIEST_EPOCH_S <= time_s < LATEST_EPOCH_S]
    if len(timed) > MOST_MARKS:
        told.append(f"only the first {MOST_MARKS} of {len(timed)} marks were taken")
    made = (Mark(time_s, plain_text(label, 80) or "mark") for time_s, label in timed)
    return tuple(sorted(made, key=lambda mark: (mark.epoch_s, mark.label))[:MOST_MARKS])


def _in_range(
    values: Floats,
    keep: npt.NDArray[np.bool_],
    limits: tuple[float, float],
    name: str,
    told: list[str],
) -> Floats:
    with np.errstate(invalid="ignore"):
        bad = ~np.isnan(values) & ~((values >= limits[0]) & (values <= limits[1]))
    count = int(np.count_nonzero(bad & keep))
    if count:
        told.append(
            f"{name}: {count} {'value' if count == 1 else 'values'} left out, "
            f"outside {limits[0]:,.0f} to {limits[1]:,.0f}"
        )
    return np.where(bad, np.nan, values)
