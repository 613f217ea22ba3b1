"""Stretches over which something holds: one way to find them for holes, turns, made rows and drawn lines."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt


def runs(mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open index ranges over which a mask (n,) holds."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2])]
