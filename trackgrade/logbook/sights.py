"""The laps of the latest sessions from above, small, course up, over the lap that works in that day's wind."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from markupsafe import Markup

from trackgrade.drawing.furniture import scale_bar
from trackgrade.drawing.svg import element, moved, short
from trackgrade.drawing.view import fit
from trackgrade.logbook.history import Session
from trackgrade.track.track import Floats

WIDTH, HEIGHT = 150.0, 200.0
MARGINS = (10.0, 10.0, 10.0, 22.0)


def sights(sessions: Sequence[Session], debriefs: Mapping[int, Mapping[str, Any]]) -> Iterator[tuple[Session, Markup]]:
    """A drawing of each session whose debrief has its laps' paths, latest first, all of them to one scale."""
    drawn = []
    for session in reversed(sessions):
        hold = next((each for each in session.holds if each.recording_id in debriefs), None)
        if hold is None:
            continue
        debrief = debriefs[hold.recording_id]
        side = 1.0 if hold.turns == "right" else -1.0
        laps = [path for lap in debrief.get("laps") or () if len(path := _path(lap, side)) > 1]
        if laps:
            drawn.append((session, hold.hold_name, laps, _path(debrief.get("solved_lap") or {}, side)))
    if not drawn:
        return
    # A lap flown far away is cut off by its frame rather than making all others small.
    reach = np.array([np.ptp(np.vstack(laps), axis=0) for _, _, laps, _ in drawn])
    wide, high = np.quantile(reach, 0.8, axis=0)
    for session, name, laps, solved in drawn:
        yield session, _drawing(name, laps, solved, float(wide), float(high))


def _path(of: Mapping[str, Any], side: float) -> Floats:
    """Points (n, 2): to the right of the inbound course, and along it [NM]; none where the debrief has no path."""
    try:
        points = np.array(of.get("path_nm") or [], dtype=float).reshape(-1, 2)
    except (TypeError, ValueError, AttributeError):  # a debrief that others wrote
        points = np.zeros((0, 2))
    seen: Floats = np.column_stack([side * points[:, 1], points[:, 0]])[np.isfinite(points).all(axis=1)]
    return seen


def _drawing(name: str, laps: Sequence[Floats], solved: Floats, wide: float, high: float) -> Markup:
    middle = np.median(np.vstack([path.min(axis=0) + path.max(axis=0) for path in laps]), axis=0) / 2
    corners = middle + np.array([[-wide, -high], [wide, high]]) / 2
    view = fit(name, 0.0, corners[:, 0], corners[:, 1], (WIDTH, HEIGHT), MARGINS)
    parts = []
    if len(solved) > 1:
        parts.append(element("path", class_="solved", d=_line(view.places(solved[:, 0], solved[:, 1]))))
    parts += [element("path", class_="flown-lap", d=_line(view.places(path[:, 0], path[:, 1]))) for path in laps]
    x, y = view.place(0.0, 0.0)
    parts.append(element("path", class_="fix-cross", d=f"M{short(x - 5)} {short(y)}h10M{short(x)} {short(y - 5)}v10"))
    bar, _ = scale_bar(view.px_per_nm, 50.0)
    parts.append(element("g", bar, transform=moved((8.0, HEIGHT - 8))))
    return element(
        "svg",
        element("title", f"{name}: {len(laps)} laps from above, the inbound course up"),
        *parts,
        class_="sight",
        viewBox=f"0 0 {WIDTH:.0f} {HEIGHT:.0f}",
        role="img",
    )


def _line(places: tuple[Floats, Floats]) -> str:
    return "M" + "L".join(f"{short(x)} {short(y)}" for x, y in zip(*(each.tolist() for each in places)))
