"""What an altitude says once the hold is known: a unit that the file left open, a pressure altitude set to QNH."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from trackgrade.earth.atmosphere import altitude_at_pressure_ft
from trackgrade.earth.geodesy import near_east_north_m
from trackgrade.earth.units import METRES_PER_FT, METRES_PER_NM
from trackgrade.track.track import AltitudeDatum, Floats, Track

#: Units that an altitude without one can be in [ft in one of it].
OPEN_UNITS: Mapping[str, float] = {"ft": 1.0, "m": 1.0 / METRES_PER_FT}
UNKNOWN_UNIT = "unknown"
#: What is told of an altitude that is not what the altimeter showed.
DATUM_NOTES: Mapping[AltitudeDatum, str] = {
    "pressure": "altitude is above 1013.25 hPa (pressure altitude), not what the altimeter showed: graded from the "
    "level held, unless qnh_hpa in the hold file says what was set",
    "ellipsoid": "altitude is above the ellipsoid, not the sea: graded from the level held",
}
#: A unit fits where the aircraft, this near the fix [NM], held the assigned altitude within this share of it, and at
#: least within this [ft]: far less than the factor of 3.28 between the units, far more than a hold is flown off by.
NEAR_NM, HELD_SHARE, HELD_FT = 25.0, 0.1, 300.0
#: ... for at least this share of the points near the fix, and this many times as long as in the other unit.
LEAST_SHARE, TIMES_THE_OTHER = 0.1, 4.0
#: From here on flight levels are flown in every country: no transition altitude is higher (FAA AIM 7-2-3, the 18,000 ft
#: of the United States and Canada being the highest; that no other is: common practice, no source).
LEVELS_FROM_FT = 18_000.0


def for_hold(
    track: Track, fix_lat_deg: float, fix_lon_deg: float, assigned_ft: float | None, qnh_hpa: float | None
) -> Track:
    """The track with its altitude as the hold lets it be known; unchanged where the hold settles nothing.

    ``assigned_ft``: the altitude assigned [ft]. ``qnh_hpa``: what the altimeter was set to [hPa].
    """
    if track.alt_open is not None and assigned_ft is not None:
        track = _unit_by_hold(track, fix_lat_deg, fix_lon_deg, assigned_ft)
    if track.alt_datum != "pressure":
        return track
    if qnh_hpa is not None:
        # An altimeter shows the standard height of the pressure outside less that of its setting (ICAO Doc 7488).
        alt_ft = track.alt_ft - altitude_at_pressure_ft(qnh_hpa)
        return _told(track, alt_ft, f"pressure altitude made altitude on QNH {qnh_hpa:g} hPa, as the hold file says")
    if assigned_ft is not None and assigned_ft >= LEVELS_FROM_FT:
        return _told(track, track.alt_ft, "pressure altitude, as flown at flight levels")
    return track


def _unit_by_hold(track: Track, fix_lat_deg: float, fix_lon_deg: float, assigned_ft: float) -> Track:
    assert track.alt_open is not None
    values, column = track.alt_open.values, track.alt_open.column
    away_m = np.hypot(*near_east_north_m(fix_lat_deg, fix_lon_deg, track.lat_deg, track.lon_deg))
    near = (away_m < NEAR_NM * METRES_PER_NM) & np.isfinite(values)
    within_ft = max(HELD_FT, HELD_SHARE * abs(assigned_ft))
    held = {
        unit: int(np.count_nonzero(np.abs(values[near] * ft - assigned_ft) <= within_ft))
        for unit, ft in OPEN_UNITS.items()
    }
    unit, other = sorted(held, key=lambda each: -held[each])
    if held[unit] < max(1.0, LEAST_SHARE * np.count_nonzero(near)) or held[unit] < TIMES_THE_OTHER * held[other]:
        return track
    name = {"ft": "feet", "m": "metres"}
    told = (
        f'altitude "{column}" states no unit: read as {name[unit]}, in which the {assigned_ft:,.0f} ft assigned were '
        f"flown, and not in {name[other]}"
    )
    notes = tuple(told if note == track.alt_open.note else note for note in track.notes)
    return replace(
        _told(track, values * OPEN_UNITS[unit], "unit by the altitude assigned in the hold file", unit),
        notes=notes,
        alt_open=None,
        alt_datum=track.alt_datum,
    )


def _told(track: Track, alt_ft: Floats, note: str, unit: str = "") -> Track:
    """The track with this altitude, as an altimeter's, and the note in its provenance."""
    notes = tuple(each for each in track.notes if each != DATUM_NOTES.get(track.alt_datum))
    provenance = tuple(
        replace(p, unit=unit or p.unit, note="; ".join(filter(None, (p.note, note))))
        if p.quantity in ("alt_ft", "altitude")
        else p
        for p in track.provenance
    )
    return replace(track, alt_ft=alt_ft, alt_datum="altimeter", provenance=provenance, notes=notes)
