"""Every error a user can meet, whose fault it is, and the exit status it ends with.

::

    TrackgradeError
    ├── UsageError         2   the command was asked for something impossible
    ├── InputError         2   a file is wrong
    │   ├── TrackFileError       a track (GPX, CSV, ...)
    │   ├── HoldFileError        a hold file
    │   ├── StandardFileError    a standard
    │   ├── ColumnsFileError     a columns map
    │   └── LogbookError         a logbook
    ├── OutputError        2   a result could not be written (disk full, folder read-only)
    └── NoHoldFlown        3   everything was read; nothing at that fix is a hold

A message is one line: what is wrong, where (file, line, key or point), what to do.
Anything else that escapes is a bug of ours and is never caught quietly.
"""

from __future__ import annotations


class TrackgradeError(Exception):
    """Root of the tree; ``exit_status`` is what the command ends with."""

    exit_status = 2


class UsageError(TrackgradeError):
    """The caller asked for something that cannot be done."""


class InputError(TrackgradeError):
    """A file from outside is wrong."""


class TrackFileError(InputError):
    """A track file cannot be read, or what it holds is no flight."""


class HoldFileError(InputError):
    """A hold file has an unknown key, an impossible value, or a contradiction."""


class StandardFileError(InputError):
    """A standard file has an unknown key or an impossible value."""


class ColumnsFileError(InputError):
    """A columns map names a column or unit that is not there."""


class LogbookError(InputError):
    """A logbook cannot be opened, or is of a newer version."""


class OutputError(TrackgradeError):
    """A result could not be written; what stood there before is whole."""


class NoHoldFlown(TrackgradeError):
    """The track was read, and nothing in it is a hold at that fix."""

    exit_status = 3


def within(what: str, value: float, low: float, high: float) -> float:
    """A value that lies in its range. Raises UsageError, which names ``what`` it is."""
    if not low <= value <= high:
        given = value if isinstance(value, int) else f"{value:g}"  # an int may be too large for a float
        raise UsageError(f"{what} must be from {low:g} to {high:g}, not {given}")
    return value
