"""What the page's script reads: the shown part of the flight as short texts of whole-number steps.

Every channel is rounded to a step finer than what is shown of it and written as differences, a hole as nothing
between two commas: an hour at one sample a second is about 150 kB.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from trackgrade.drawing.svg import texts
from trackgrade.drawing.view import View
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.guidance import flag_is_to
from trackgrade.report.timeline import AXIS_WIDTH, Timeline
from trackgrade.score.debrief import Debrief
from trackgrade.score.needles import Shown
from trackgrade.track.track import Floats, Rows

#: Most samples shipped: an hour and a half at one a second; longer stretches are thinned evenly.
MOST_SAMPLES = 5400
#: No two samples closer than this [s].
LEAST_SPACING_S = 0.9
TIME_STEP_S = 0.1


def flight_data(
    debrief: Debrief, timeline: Timeline, views: tuple[View, View], needles: Sequence[Shown]
) -> dict[str, Any]:
    """A mapping fit for JSON; times are seconds after ``t0`` (epoch seconds)."""
    samples = debrief.samples
    chosen = thin(samples.epoch_s, timeline)
    t0 = float(np.floor(samples.epoch_s[chosen[0]])) if len(chosen) else 0.0
    steps: dict[str, tuple[Floats, float]] = {
        "t": (samples.epoch_s - t0, TIME_STEP_S),
        "east": (samples.east_nm, 0.001),
        "north": (samples.north_nm, 0.001),
        "cross": (debrief.hold.side * samples.cross_nm, 0.001),
        "along": (samples.along_nm, 0.005),
        "alt": (samples.alt_ft, 1.0),
        "gs": (samples.groundspeed_kt, 0.5),
        "track": (samples.ground_track_true_deg, 1.0),
        "heading": (samples.heading_true_deg, 1.0),
        "bank": (samples.bank_deg, 0.5),
        "rate": (samples.heading_rate_deg_s, 0.1),
        "ias": (samples.ias_kt, 0.5),
    }
    channels = {name: {"step": step, "d": differences(values[chosen], step)} for name, (values, step) in steps.items()}
    along, cross = samples.along_nm[chosen], samples.cross_nm[chosen]
    for shown in needles:
        kind, to = shown.needle.kind, along < 0.0
        if kind == "vor":
            to = flag_is_to(debrief.hold, *HoldFrame(debrief.hold).to_geographic(along, cross))
        right = np.clip(shown.right[chosen], -1.2, 1.2)
        channels[f"needle_{kind}"] = {"step": 0.01, "d": differences(right, 0.01)}
        channels[f"to_{kind}"] = {"step": 1.0, "d": differences(to.astype(np.float64), 1.0)}
    return {
        "t0": t0,
        "channels": channels,
        "gaps": [int(k) for k in np.flatnonzero(_gap_before(debrief, chosen))],
        "width": AXIS_WIDTH,
        "pieces": [[round(v, 1) for v in (a - t0, b - t0, x0, x1)] for a, b, x0, x1 in timeline.axis.pieces],
        "stretches": [
            {
                "key": each.key,
                "label": each.label,
                "from": round(each.start_epoch_s - t0, 1),
                "to": round(each.end_epoch_s - t0, 1),
            }
            for each in timeline.stretches
        ],
        "phases": [[round(each.start_epoch_s - t0, 1), each.words] for each in timeline.phases],
        "views": {
            view.name: [round(v, 4) for v in (view.turn_deg, view.px_per_nm, view.x0, view.y0)] for view in views
        },
        "needles": [each.needle.kind for each in needles],
        "variation": debrief.hold.variation_deg,
    }


def thin(epoch_s: Floats, timeline: Timeline) -> Rows:
    """Indices of the samples to ship: inside the shown spans, no closer than needed."""
    shown = np.flatnonzero(timeline.axis.covers(epoch_s)) if len(epoch_s) else np.arange(0)
    if len(shown) == 0:
        return shown
    seconds = sum(end - start for start, end in timeline.axis.spans)
    spacing = max(LEAST_SPACING_S, seconds / MOST_SAMPLES)
    # The first sample of each cell of time: even over the flight, and the same for the same flight.
    cell = np.floor((epoch_s[shown] - epoch_s[shown[0]]) / spacing + 1e-6)
    if (
        len(shown) <= MOST_SAMPLES
        and np.median(np.diff(epoch_s[shown]) if len(shown) > 1 else [1.0]) >= LEAST_SPACING_S
    ):
        return shown
    return shown[np.concatenate(([True], np.diff(cell) > 0))]


def _gap_before(debrief: Debrief, chosen: Rows) -> Floats:
    """Mask over the chosen samples: a hole in the record lies before this one."""
    holes = np.concatenate(([0], np.cumsum(debrief.samples.gap_before)))
    count = holes[chosen + 1] if len(chosen) else np.zeros(0)
    return np.concatenate(([False], np.diff(count) > 0)) if len(chosen) else count


def differences(values: Floats, step: float) -> str:
    """Values (n,) in whole steps: the first as it is, then what is added each time; nothing where unknown.

    After a hole the difference is from the last known value.
    """
    known = np.isfinite(values)
    whole = np.rint(np.where(known, values, 0.0) / step).astype(np.int64)
    steps = iter(texts(np.diff(whole[known], prepend=0)))
    if known.all():
        return ",".join(steps)
    return ",".join([next(steps) if here else "" for here in known.tolist()])
