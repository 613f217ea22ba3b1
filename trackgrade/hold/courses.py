"""Courses and variations as they are spoken and printed."""

from __future__ import annotations


def course_name(course_deg: float) -> str:
    """Three figures, north as 360; a tenth is kept: "143", "007.5"."""
    tenths = round(course_deg * 10.0) % 3600
    whole, tenth = divmod(tenths or 3600, 10)
    return f"{whole or 360:03d}" + (f".{tenth}" if tenth else "")


def heading_name(heading_deg: float) -> str:
    """Three figures to the whole degree, north as 360: "323"."""
    return f"{round(heading_deg) % 360 or 360:03d}"


def variation_name(variation_deg: float) -> str:
    """As it is printed on a chart: "2.5° E"."""
    return f"{abs(variation_deg):.1f}° {'E' if variation_deg >= 0 else 'W'}"
