"""The wind of each lap: the fit over the stay lets the wind drift evenly, and a lap has it as it was at its middle."""

from __future__ import annotations

from dataclasses import replace

from trackgrade.motion.wind import WindFit
from trackgrade.segment.flown import Flown, Lap


def with_wind(flown: Flown, wind: WindFit | None, start_epoch_s: float) -> Flown:
    """The same laps, each with the wind at its middle; unchanged where no wind could be told."""
    if wind is None:
        return flown

    def blown(lap: Lap) -> Lap:
        end = lap.end or lap.start
        middle = (lap.start.epoch_s + end.epoch_s) / 2.0 - start_epoch_s
        return replace(lap, wind=wind.as_wind(middle))

    return replace(
        flown, visits=tuple(replace(visit, laps=tuple(blown(lap) for lap in visit.laps)) for visit in flown.visits)
    )
