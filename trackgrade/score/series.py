"""Reading the sample arrays over a stretch of time: which samples, what value at a time, stays outside a band."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from trackgrade.earth.angles import mean_direction_deg
from trackgrade.score.results import Excursion
from trackgrade.segment.flown import Moment
from trackgrade.segment.path import Samples
from trackgrade.track.ranks import median, row_medians
from trackgrade.track.track import Bools, Floats

#: Half width of the running median that takes single odd samples out of a slow quantity [s].
STEADY_HALF_WINDOW_S = 2.5
#: Stays outside a band with less than this between them are one stay [s].
MERGE_S = 2.0


class Series(NamedTuple):
    """The slow quantities with odd samples taken out, arrays (n,) on the samples, and their errors.

    ``airspeed_sd_kt`` is NaN when the airspeed is not known at all.
    """

    alt_ft: Floats
    alt_sd_ft: float
    ias_kt: Floats
    airspeed_sd_kt: float


class Stretch(NamedTuple):
    """A stretch of time [s since 1970 UTC], and the lap it belongs to."""

    start_s: float
    end_s: float
    lap: int | None = None

    @property
    def seconds(self) -> float:
        return self.end_s - self.start_s

    def of(self, samples: Samples) -> tuple[int, int]:
        """The first sample with start <= time <= end, and the one after the last."""
        first = samples.epoch_s.searchsorted(self.start_s, side="left")
        return int(first), int(samples.epoch_s.searchsorted(self.end_s, side="right"))


def inside(samples: Samples, start_s: float, end_s: float) -> slice:
    """The samples with start <= time <= end."""
    return slice(*Stretch(start_s, end_s).of(samples))


def in_gap(samples: Samples, when_s: float) -> bool:
    """Whether a time falls in a hole of the record, or outside it."""
    after = int(samples.epoch_s.searchsorted(when_s))
    if after >= len(samples) or (after == 0 and samples.epoch_s[0] > when_s):
        return True
    return bool(samples.epoch_s[after] > when_s and samples.gap_before[after])


def value_at(samples: Samples, values: Floats, when_s: float) -> float:
    """A quantity at a time by linear interpolation; NaN in a hole or outside the record."""
    if in_gap(samples, when_s):
        return math.nan
    return float(np.interp(when_s, samples.epoch_s, values))


def median_over(samples: Samples, values: Floats, start_s: float, end_s: float) -> float:
    """Median of a quantity over a stretch; NaN when no sample there carries it."""
    chosen = values[inside(samples, start_s, end_s)]
    chosen = chosen[np.isfinite(chosen)]
    return median(chosen) if chosen.size else math.nan


def mean_angle_over(samples: Samples, angle_deg: Floats, start_s: float, end_s: float) -> tuple[float, float, int]:
    """Mean direction [deg], scatter about it [deg] and count over a stretch; NaN and 0 when nothing is there."""
    chosen = angle_deg[inside(samples, start_s, end_s)]
    chosen = chosen[np.isfinite(chosen)]
    if not chosen.size:
        return math.nan, math.nan, 0
    mean = mean_direction_deg(chosen)
    scatter = float(np.sqrt(np.mean(((chosen - mean + 180.0) % 360.0 - 180.0) ** 2)))
    return mean, scatter, int(chosen.size)


def steadied(epoch_s: Floats, values: Floats, half_window_s: float = STEADY_HALF_WINDOW_S) -> Floats:
    """Running median over +-``half_window_s``: single odd samples go, steps and slow changes stay.

    Arrays (n,) in, (n,) out. Where samples are further apart than the window the value is its own.
    """
    first = np.searchsorted(epoch_s, epoch_s - half_window_s, side="left")
    last = np.searchsorted(epoch_s, epoch_s + half_window_s, side="right")
    out = values.astype(np.float64).copy()
    counts = last - first
    for count in np.flatnonzero(np.bincount(counts)):
        if count > 1:
            rows = np.flatnonzero(counts == count)
            windows = values[first[rows][:, None] + np.arange(count)[None, :]]
            finite = np.isfinite(windows).all(axis=1)
            out[rows[finite]] = row_medians(windows[finite])
    return out


def white_noise(values: Floats) -> float:
    """Standard deviation of the sample-to-sample noise, from second differences (robust); 0 for fewer than
    5 samples."""
    finite = values[np.isfinite(values)]
    if finite.size < 5:
        return 0.0
    second = finite[2:] - 2.0 * finite[1:-1] + finite[:-2]
    # Second differences of white noise have sqrt(6) times its standard deviation; 1.4826 turns a MAD into one.
    return float(1.4826 * median(np.abs(second - median(second))) / math.sqrt(6.0))


def span_sd_s(first: Moment, last: Moment) -> float:
    """Standard error of the time between two moments [s]."""
    return math.hypot(first.sd_s, last.sd_s)


def stays_outside(
    epoch_s: Floats, deviation: Floats, limit: float, gap_before: Bools, lap: int | None = None
) -> tuple[Excursion, ...]:
    """Every stay of |deviation| above the limit, its ends interpolated between samples.

    Arrays (n,). Samples without a value, and holes in the record, end a stay. Stays with less than `MERGE_S` between
    them are one. A wider limit gives stays inside the former ones: no result can get worse by it.
    """
    size = np.abs(deviation)
    stays: list[Excursion] = []
    n = len(epoch_s)
    index = 0
    while index < n:
        if not size[index] > limit:
            index += 1
            continue
        first = index
        while index + 1 < n and size[index + 1] > limit and not gap_before[index + 1]:
            index += 1
        last = index
        start, end = float(epoch_s[first]), float(epoch_s[last])
        if first > 0 and not gap_before[first] and np.isfinite(size[first - 1]):
            start -= _share(size[first], size[first - 1], limit) * (epoch_s[first] - epoch_s[first - 1])
        if last + 1 < n and not gap_before[last + 1] and np.isfinite(size[last + 1]):
            end += _share(size[last], size[last + 1], limit) * (epoch_s[last + 1] - epoch_s[last])
        peak = first + int(np.argmax(size[first : last + 1]))
        stay = Excursion(float(start), float(end - start), float(deviation[peak]), float(epoch_s[peak]), lap)
        if stays and stay.start_epoch_s - (stays[-1].start_epoch_s + stays[-1].seconds) < MERGE_S:
            stay = _joined(stays.pop(), stay)
        stays.append(stay)
        index += 1
    return tuple(stays)


def _share(outside: float, within: float, limit: float) -> float:
    """How far from the outside sample to the inside one the limit is crossed, 0 to 1."""
    return float((outside - limit) / (outside - within)) if outside > within else 0.0


def _joined(one: Excursion, two: Excursion) -> Excursion:
    larger = one if abs(one.peak) >= abs(two.peak) else two
    end = two.start_epoch_s + two.seconds
    return Excursion(one.start_epoch_s, end - one.start_epoch_s, larger.peak, larger.peak_epoch_s, one.lap)
