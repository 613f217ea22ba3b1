"""Flights with known truth, for practice, demos and tests. Shares no code with the analysis.

``fly(hold, scenario, seed)`` returns a `SimulatedFlight`: the track as a logger would have recorded it, and the
truth of what was flown, taken from the noise-free motion. See ``scenario.py`` for what can be asked for,
``scenarios.py`` for named flights (each with one mistake), ``writers.py`` for files.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trackgrade.simulator.flight import SimulatedFlight, fly
    from trackgrade.simulator.scenario import Air, Aircraft, Mistakes, Pilot, Scenario, Sensor

__all__ = ["Air", "Aircraft", "Mistakes", "Pilot", "Scenario", "Sensor", "SimulatedFlight", "fly"]


def __getattr__(name: str) -> Any:  # numpy is loaded only when a flight is flown
    if name in ("fly", "SimulatedFlight"):
        from trackgrade.simulator import flight

        return getattr(flight, name)
    if name in __all__:
        from trackgrade.simulator import scenario

        return getattr(scenario, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
