"""Magnetic variation by the World Magnetic Model: the only file that imports a magnetic model."""

from __future__ import annotations

import datetime as dt
import importlib
from calendar import isleap
from functools import cache
from typing import Any, NamedTuple

from trackgrade.earth.units import METRES_PER_FT

# The editions that pygeomag carries, each with the five years it is published for.
# WMM2015v2 replaced WMM2015 in September 2018 and is the better field for all of its years.
_EDITIONS: tuple[tuple[float, float, str], ...] = (
    (2010.0, 2015.0, "2010"),
    (2015.0, 2020.0, "2015v2"),
    (2020.0, 2025.0, "2020"),
    (2025.0, 2030.0, "2025"),
)


class Variation(NamedTuple):
    """Variation at one place and day.

    ``variation_deg`` east positive; ``sd_deg`` the model's own stated error, None before 2015.
    ``model`` as its publisher names it.
    ``warnings`` are sentences for people; empty when all is well.
    """

    variation_deg: float
    sd_deg: float | None
    model: str
    warnings: tuple[str, ...] = ()


@cache
def _model(edition: str) -> Any:
    """The model with its coefficients loaded: about 30 ms the first time, nothing after."""
    from pygeomag import GeoMag

    module = importlib.import_module(f"pygeomag.wmm.wmm_{edition}")
    return GeoMag(coefficients_data=getattr(module, f"WMM_{edition}"))


def _decimal_year(date: dt.date) -> float:
    days = 365 + isleap(date.year)  # not by the next New Year, which the year 9999 does not have
    return date.year + (date.timetuple().tm_yday - 1) / days


def magnetic_variation(lat_deg: float, lon_deg: float, altitude_ft: float, date: dt.date | float) -> Variation:
    """Variation (declination) by the World Magnetic Model of the date's five years.

    Parameters
    ----------
    lat_deg, lon_deg : float   [deg, WGS 84]
    altitude_ft : float        [ft]; above sea level or the ellipsoid, which the model cannot tell apart
    date : a date, or a decimal year

    Outside the years of all editions the nearest one is used and ``warnings`` says so.
    Source: NOAA NCEI and BGS, The US/UK World Magnetic Model; coefficients as carried by pygeomag.
    """
    year = float(date) if isinstance(date, int | float) else _decimal_year(date)
    start, end, edition = next((each for each in reversed(_EDITIONS) if each[0] <= year), _EDITIONS[0])
    model = _model(edition)
    warnings = []
    if not start <= year <= end:
        warnings.append(
            f"The date ({year:.1f}) is outside the years of the nearest magnetic model, {model.model} "
            f"({start:.0f} to {end:.0f}): take the variation from a chart of that date"
        )
    result = model.calculate(
        glat=lat_deg,
        glon=lon_deg,
        alt=altitude_ft * METRES_PER_FT / 1000.0,
        time=year,
        allow_date_outside_lifespan=True,
    )
    # The model's zones of weak horizontal field, WMM2025 technical report: below 2000 nT no compass can be
    # trusted, below 6000 nT with caution.
    if result.in_blackout_zone:
        warnings.append("So near the magnetic pole no compass or variation can be trusted: use true north")
    elif result.in_caution_zone:
        warnings.append("Near the magnetic pole the variation is uncertain: compare it with the chart")
    sd_deg = float(result.calculate_uncertainty().d) if 2015.0 <= year <= 2030.0 else None
    return Variation(float(result.d), sd_deg, str(model.model), tuple(warnings))
