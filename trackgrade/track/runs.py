"""Stretches over which something holds: one way to find them for holes, turns, made rows and drawn lines."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import numpy.typing as npt


def runs(mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Half-open index ranges over which a mask (n,) holds."""
    if not len(mask):
        return []
    edges = [0, *(np.flatnonzero(mask[1:] != mask[:-1]) + 1).tolist(), len(mask)]
    return list(pairwise(edges))[0 if mask[0] else 1 :: 2]
