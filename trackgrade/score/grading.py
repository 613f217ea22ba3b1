"""A measure against an item: within, brief excursion, outside, or not measurable with the reason.

Over time: a stay outside the band that is over by ``prompt_s`` was promptly corrected. It becomes
*outside* when it lasts longer, or when the band is left for more than ``consistent_share`` of the time, or
on more than ``consistent_laps`` of the laps. The FAA names "consistently exceeding" and "prompt corrective
action" (ACS appendix on unsatisfactory performance) and gives no number for either: all three are choices of
the standard file. A quantity with one value a lap has no excursions: its laps are counted. A whole is never
better than its laps. Each rule is monotone: a wider limit never gives a worse result.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from trackgrade.score.results import Excursion, ItemResult, Measurement, Result
from trackgrade.score.series import Stretch, stays_outside
from trackgrade.score.standard import ITEMS, Item, Standard
from trackgrade.segment.path import Samples
from trackgrade.track.track import Floats

#: A value this many standard errors from its limit cannot be told from it.
STRADDLE_SDS = 2.0
#: Holes of more than this share of a stretch leave what happened in it unknown: a choice.
MOSTLY_RECORDED = 0.5
#: Worst first.
SEVERITY: tuple[Result, ...] = ("outside", "brief excursion", "within", "not measurable")


class Scope(NamedTuple):
    """What an item is graded over, in the words of the results."""

    name: str
    visit: int | None = None
    lap: int | None = None


WHOLE_HOLD = Scope("whole hold")


class Deviation(NamedTuple):
    """How far off a quantity was at every sample (n,), NaN where unknown; ``sd`` one number or (n,).

    ``reference`` is what it is measured from, ``how`` how it was obtained, ``why_missing`` said where there is nothing.
    """

    values: Floats
    sd: float | Floats
    reference: str = ""
    how: str = ""
    why_missing: str = "nothing recorded there"


class Seen(NamedTuple):
    """What a deviation was over one stretch: how much of it was recorded, the stays outside the band, and the farthest
    value with its error and moment (NaN where there is none)."""

    stretch: Stretch
    recorded_s: float
    stays: tuple[Excursion, ...] = ()
    peak: float = math.nan
    peak_sd: float = math.nan
    peak_s: float = math.nan


def not_measurable(item: Item, scope: Scope, why: str, limit: float | None = None) -> ItemResult:
    """An item that the track cannot carry."""
    return _result(item, scope, "not measurable", why=why, limit=item.limit if limit is None else limit)


def _result(item: Item, scope: Scope, result: Result, **measured: Any) -> ItemResult:
    return ItemResult(
        item=item.name,
        title=item.title,
        scope=scope.name,
        visit=scope.visit,
        lap=scope.lap,
        unit=item.unit,
        result=result,
        source=str(item.source),
        choice=item.source.basis != "published",
        **{"value": None, "value_sd": None, "limit": item.limit, **measured},
    )


def grade_value(
    item: Item,
    scope: Scope,
    measured: Measurement,
    *,
    at_epoch_s: float | None = None,
    reference: str = "",
    evidence: str = "",
) -> ItemResult:
    """One number against the item's limit: by size, or (for "not above") by value."""
    if measured.value is None or not math.isfinite(measured.value):
        return not_measurable(item, scope, measured.why or "not measured")
    limit = item.limit if item.limit is not None else math.inf
    size = measured.value if item.counts == "not above" else abs(measured.value)
    sd = measured.sd if measured.sd is not None and math.isfinite(measured.sd) else None
    return _result(
        item,
        scope,
        "within" if size <= limit else "outside",
        value=measured.value,
        value_sd=sd,
        straddles=_straddles(size, limit, sd),
        at_epoch_s=at_epoch_s,
        reference=reference,
        evidence=evidence,
        how=measured.how,
    )


def look(item: Item, samples: Samples, off: Deviation, stretches: Sequence[Stretch]) -> list[Seen]:
    """A deviation at every sample of some stretches beside the item's band."""
    limit = item.limit if item.limit is not None else math.inf
    times, gap, known = samples.epoch_s, samples.gap_before, np.isfinite(off.values)
    size = np.where(known, np.abs(off.values), -1.0)
    sd = np.broadcast_to(off.sd, size.shape)
    recorded_s = np.where(known[1:] & known[:-1] & ~gap[1:], np.diff(times), 0.0)
    seen = []
    for stretch in stretches:
        first, after = stretch.of(samples)
        here, recorded = slice(first, after), float(recorded_s[first : max(after - 1, 0)].sum())
        at = first + int(np.argmax(size[here])) if after > first else first
        if after <= first or not known[at]:
            seen.append(Seen(stretch, recorded))
            continue
        stays = stays_outside(times[here], off.values[here], limit, gap[here], stretch.lap) if size[at] > limit else ()
        seen.append(Seen(stretch, recorded, stays, float(off.values[at]), float(sd[at]), float(times[at])))
    return seen


def grade_over_time(item: Item, scope: Scope, off: Deviation, seen: Sequence[Seen], standard: Standard) -> ItemResult:
    """What was seen of a deviation over some stretches against the item's band."""
    limit = item.limit if item.limit is not None else math.inf
    stays = tuple(stay for each in seen for stay in each.stays)
    recorded, total = sum(each.recorded_s for each in seen), sum(each.stretch.seconds for each in seen)
    far = max(seen, key=lambda each: -1.0 if math.isnan(each.peak) else abs(each.peak))
    if math.isnan(far.peak):
        return not_measurable(item, scope, off.why_missing)
    if recorded < MOSTLY_RECORDED * total and not stays:
        return not_measurable(item, scope, f"only {100.0 * recorded / total:.0f} % of it was recorded")
    outside_s = sum(stay.seconds for stay in stays)
    share = min(1.0, outside_s / recorded) if recorded > 0.0 else float(bool(stays))
    laps = len({each.stretch.lap for each in seen if each.stretch.lap is not None})
    return _result(
        item,
        scope,
        _judge_stays(stays, share, laps, item, standard),
        value=far.peak,
        value_sd=far.peak_sd,
        straddles=_straddles(abs(far.peak), limit, far.peak_sd),
        at_epoch_s=far.peak_s,
        reference=off.reference,
        how=off.how,
        excursions=stays,
        outside_s=outside_s,
        outside_share=share,
    )


def _judge_stays(stays: Sequence[Excursion], share: float, laps: int, item: Item, standard: Standard) -> Result:
    if not stays:
        return "within"
    prompt_s = item.prompt_s if item.prompt_s is not None else standard.choices.prompt_s
    if max(stay.seconds for stay in stays) > prompt_s or share > standard.choices.consistent_share:
        return "outside"
    left = len({stay.lap for stay in stays if stay.lap is not None})
    if laps > 1 and left > standard.choices.consistent_laps * laps:
        return "outside"
    return "brief excursion"


def grade_laps_together(results: Sequence[ItemResult]) -> ItemResult:
    """The whole hold of an item that is one value a lap: the worst lap, and how many of them are out."""
    known = [result for result in results if result.value is not None]
    if not known:
        return replace(results[0], scope=WHOLE_HOLD.name, visit=None, lap=None)
    out = [result for result in known if result.result != "within"]
    size = (lambda r: r.value) if ITEMS[results[0].item].counts == "not above" else (lambda r: abs(r.value))
    # A lap that is out for sure speaks for the hold, before one that its error leaves in doubt.
    worst = max([each for each in out if not each.straddles] or out or known, key=size)
    return replace(
        worst,
        scope=WHOLE_HOLD.name,
        visit=None,
        lap=None,
        laps_out=len(out),
        laps_known=len(known),
        worst_scope=worst.scope,
    )


def never_better(whole: ItemResult, laps: Sequence[ItemResult]) -> ItemResult:
    """The result of a whole hold, made no better than that of any of its laps."""
    worst = min((whole, *laps), key=lambda result: SEVERITY.index(result.result))
    return whole if worst.result == "not measurable" else replace(whole, result=worst.result)


def _straddles(size: float, limit: float, sd: float | None) -> bool:
    return sd is not None and math.isfinite(sd) and sd > 0.0 and bool(abs(size - limit) <= STRADDLE_SDS * sd)
