"""Round lengths: the steps of an axis, the length of a scale bar. One, two or five times a power of ten."""

from __future__ import annotations

import math


def round_step(span: float, most: int) -> float:
    """The smallest round step that cuts ``span`` into at most ``most`` parts; 1 for a span that is none."""
    if not span > 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(span / most))
    return next(power * k for k in (1.0, 2.0, 5.0, 10.0, 20.0) if span / (power * k) <= most)


def round_length(room: float) -> float:
    """The largest round length that is no longer than ``room``: what a scale bar shows; 1 for a room that is none."""
    if not room > 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(room) + 1e-9)
    return max(power * k for k in (0.5, 1.0, 2.0, 5.0) if power * k <= room * (1 + 1e-9))


def round_ticks(low: float, high: float, most: int = 5) -> tuple[float, ...]:
    """The multiples of a round step from ``low`` to ``high``."""
    step = round_step(high - low, most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return tuple(step * k for k in range(first, last + 1))
