"""trackgrade: an objective debrief of the holding patterns in a GPS track.

A training aid: not for navigation, not an official evaluation.
"""

__version__ = "0.1.0"
