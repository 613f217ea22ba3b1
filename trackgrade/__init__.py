"""trackgrade: an objective debrief of the holding patterns in a GPS track.

A training aid: not for navigation, not an official evaluation. The verbs of the commands, for scripts and notebooks::

    import trackgrade as tg
    debrief = tg.grade("flight.gpx", "tarne.toml")

Nothing heavy is loaded before a name is used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from trackgrade.briefing.brief import Brief as Brief
    from trackgrade.errors import (
        HoldFileError as HoldFileError,
        InputError as InputError,
        NoHoldFlown as NoHoldFlown,
        OutputError as OutputError,
        StandardFileError as StandardFileError,
        TrackFileError as TrackFileError,
        TrackgradeError as TrackgradeError,
        UsageError as UsageError,
    )
    from trackgrade.hold.hold import Hold as Hold
    from trackgrade.hold.holdfile import read_hold as read_hold
    from trackgrade.hold.plan import HoldPlan as HoldPlan
    from trackgrade.score.standard import Standard as Standard
    from trackgrade.score.standards import list_standards as list_standards, load_standard as load_standard
    from trackgrade.track.readers import read_track as read_track
    from trackgrade.track.track import Track as Track
    from trackgrade.verbs import Debrief as Debrief, brief as brief, find_holds as find_holds, grade as grade

__version__ = "0.1.0"

#: Where each name of the front door lives.
_HOME = {
    "Brief": "briefing.brief",
    "Debrief": "verbs",
    "Hold": "hold.hold",
    "HoldFileError": "errors",
    "HoldPlan": "hold.plan",
    "InputError": "errors",
    "NoHoldFlown": "errors",
    "OutputError": "errors",
    "Standard": "score.standard",
    "StandardFileError": "errors",
    "Track": "track.track",
    "TrackFileError": "errors",
    "TrackgradeError": "errors",
    "UsageError": "errors",
    "brief": "verbs",
    "find_holds": "verbs",
    "grade": "verbs",
    "list_standards": "score.standards",
    "load_standard": "score.standards",
    "read_hold": "hold.holdfile",
    "read_track": "track.readers",
}
__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"trackgrade has no name {name!r}; it has {', '.join(__all__)}")
    value = getattr(import_module(f"trackgrade.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
