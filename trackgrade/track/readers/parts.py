"""Parts of one recording (segments, tracks) joined in order of time; of several at the same time the longest stays."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from trackgrade.track.ranks import quantile
from trackgrade.track.track import Floats


def joined(parts: Sequence[tuple[int, int]], epoch_s: Floats, told: list[str]) -> npt.NDArray[np.int64]:
    """Rows of all points (n,) in the order in which they belong together.

    ``parts``: for each part the number of its track and its first row, in order of rows. What is left out goes
    to ``told``.
    """
    if len(parts) == 1:
        return np.arange(len(epoch_s))
    spans, timed = [], np.isfinite(epoch_s)
    ends = [first for _, first in parts[1:]] + [len(epoch_s)]
    for (track, first), end in zip(parts, ends):
        times = epoch_s[first:end][timed[first:end]]
        if len(times):
            # The middle 96 %: one point with a wild date must not stretch the part over the others.
            spans.append((quantile(times, 0.02), quantile(times, 0.98), range(first, end), track))
    if untimed := len(epoch_s) - sum(len(span[2]) for span in spans):
        told.append(f"{untimed} points stand in segments without any time and were left out")
    kept: list[tuple[float, float, range, int]] = []  # in order of time, none within another
    for span in sorted(spans, key=lambda s: (-len(s[2]), s[0])):
        at = bisect(kept, span[:2], key=lambda s: s[:2])
        if all(span[1] <= other[0] or span[0] >= other[1] for other in kept[max(at - 1, 0) : at + 1]):
            kept.insert(at, span)
    tracks = len({span[3] for span in kept})
    if len(kept) > 1:
        told.append(f"{len(kept)} segments{f' of {tracks} tracks' if tracks > 1 else ''} were joined in order of time")
    if len(kept) < len(spans):
        left_out = sum(len(s[2]) for s in spans) - sum(len(s[2]) for s in kept)
        which = "one segment" if len(spans) - len(kept) == 1 else f"{len(spans) - len(kept)} segments"
        told.append(
            f"{which} ({left_out} points) at the same time as a longer one left out: "
            "for another recorder or aircraft, split the file"
        )
    return np.concatenate([np.arange(span[2].start, span[2].stop) for span in kept])
