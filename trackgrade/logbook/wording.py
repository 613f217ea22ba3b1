"""Every sentence of the progress pages and their terminal summaries. Pure."""

from __future__ import annotations

import datetime
import math

from trackgrade.caution import CAUTION as CAUTION
from trackgrade.earth.units import decimals
from trackgrade.hold.courses import heading_name
from trackgrade.logbook.history import HoldFlown
from trackgrade.logbook.trends import FEWEST_SESSIONS, Convergence, InboundProgress, ItemProgress, Share, Trend

#: A sign beside the words, so that no meaning rests on colour.
CLAIM_SIGNS = {"better": "▲", "worse": "▼", "no clear trend": "=", "too few sessions": "…"}

_SIGNS = {"deg": "°", "deg/s": "°/s"}


def number(value: float, unit: str, *, signed: bool = False, places: int | None = None) -> str:
    """A value in its unit, with as many places as the unit deserves: "12 ft", "+3.4 s", "0.25 of full scale"."""
    places = decimals(unit, mean=True) if places is None else places
    text = f"{value:+.{places}f}" if signed else f"{value:.{places}f}"
    if float(text) == 0:
        text = f"{0:.{places}f}"
    text = text.replace("-", "−")
    if unit in _SIGNS:
        return text + _SIGNS[unit]
    return f"{text} {unit}".rstrip()


def _places_that_show(unit: str, *values: float) -> int:
    """Places at which no value other than zero reads as zero, four at most."""
    places = decimals(unit, mean=True)
    while places < 4 and any(value and not round(value, places) for value in values):
        places += 1
    return places


def brief(value: float, unit: str) -> str:
    """A value for a narrow cell: a unit of several words stays with the column's head."""
    return number(value, "" if " " in unit else unit, places=decimals(unit, mean=True))


def percent(value: float | None) -> str:
    return "–" if value is None else f"{100 * value:.0f} %"


def interval(share: Share) -> str:
    """ "48–76 %", or nothing when nothing was judged."""
    if share.low is None or share.high is None:
        return ""
    return f"{100 * share.low:.0f}–{100 * share.high:.0f} %"


def share_words(share: Share, what: str = "laps") -> str:
    """ "62 % (48–76 %), 21 of 34 laps"."""
    if share.value is None:
        return f"no {what} measured"
    noun = what[:-1] if share.judged == 1 and what.endswith("s") else what
    return f"{percent(share.value)} ({interval(share)}), {share.passed} of {share.judged} {noun}"


def date(epoch_s: float) -> str:
    return datetime.datetime.fromtimestamp(epoch_s, datetime.UTC).strftime("%Y-%m-%d")


def count(n: int, noun: str) -> str:
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def claim(trend: Trend) -> str:
    return f"{CLAIM_SIGNS[trend.claim]} {trend.claim}"


def trend_sentence(trend: Trend, unit: str, what: str = "error") -> str:
    """The slope in words, always with its interval; below five sessions that no trend can be told."""
    if trend.slope is None:
        return trend_words(trend, unit)
    lead = {"better": "Getting better", "worse": "Getting worse"}.get(trend.claim, "No clear trend")
    return f"{lead}: {what} {trend_words(trend, unit)}"


def trend_words(trend: Trend, unit: str) -> str:
    """ "−6 ft a session (95 % interval −10 to −4), over 14 sessions."; what is missing where there is no slope."""
    if trend.slope is None or trend.low is None or trend.high is None:
        if not trend.sessions:
            return "Not measured in these sessions."
        return f"{count(trend.sessions, 'session')} measured: no trend is claimed below {FEWEST_SESSIONS}."
    if trend.slope == trend.low == trend.high == 0.0:
        return f"the same in nearly all of {trend.sessions} sessions."
    places = _places_that_show(unit, trend.low, trend.high)
    low, high = (number(each, "", signed=True, places=places) for each in (trend.low, trend.high))
    slope = number(trend.slope, unit, signed=True, places=places)
    return f"{slope} a session (95 % interval {low} to {high}), over {trend.sessions} sessions."


def item_sentence(item: ItemProgress) -> str:
    """What one item did over the sessions."""
    if item.trend_of == "size":
        return trend_sentence(item.trend, item.unit)
    return trend_sentence(in_points(item.trend), "points", "share within")


def item_words(item: ItemProgress) -> str:
    """The same without the claim, for a list under it."""
    return trend_words(item.trend, item.unit) if item.trend_of == "size" else share_trend_words(item.trend)


def share_trend_words(trend: Trend) -> str:
    return trend_words(in_points(trend), "points")


def in_points(trend: Trend) -> Trend:
    """A trend of shares (0 to 1) in percentage points."""
    slopes = (None if each is None else 100 * each for each in (trend.slope, trend.low, trend.high))
    return Trend(trend.claim, trend.sessions, *slopes)


def level_sentence(item: ItemProgress) -> str:
    """Where one item stands now."""
    words = share_words(item.recent, "measurements")
    if item.recent_median_size is not None and item.trend_of == "size":
        words += f"; typical error {number(item.recent_median_size, item.unit)}"
    if len(item.limits) > 1:
        words += f". The limit was not always the same: {', '.join(number(each, item.unit) for each in item.limits)}"
    return words + "."


def bias_sentence(inbound: InboundProgress) -> str:
    """Long or short on the inbound leg, over the last sessions."""
    if inbound.bias is None or inbound.bias_low is None or inbound.bias_high is None:
        return "No inbound leg was timed."
    way = "long" if inbound.bias > 0 else "short"
    size = number(abs(inbound.bias), "s")
    span = f"{number(inbound.bias_low, 's', signed=True)} to {number(inbound.bias_high, 's', signed=True)}"
    scatter = (
        f" Scatter from lap to lap {number(inbound.recent_scatter_s, 's')} (standard deviation)."
        if inbound.recent_scatter_s is not None
        else ""
    )
    return f"Typically {size} {way} in the last sessions (session by session {span}).{scatter}"


def convergence_sentence(result: Convergence) -> str:
    """How many laps it takes until the inbound time stays in the band."""
    holds = len(result.laps)
    if not holds:
        return "No hold with two timed laps yet."
    reached = f"Reached in {result.reached} of {count(holds, 'hold')}"
    if result.median is None:
        return f"{reached}: in half of them or more it was not reached."
    if result.low is None:
        return f"{reached}; median lap {result.median:g} (too few holds for an interval)."
    high = "not reached" if result.high is None else f"lap {result.high:g}"
    return f"{reached}; median lap {result.median:g} (95 % interval lap {result.low:g} to {high})."


def wind_words(hold: HoldFlown) -> str:
    """ "14 kt from 240° true: 12 ahead, 7 from the holding side (inbound)"."""
    if hold.wind_kt is None or hold.wind_from_true_deg is None:
        return "not known"
    return f"{hold.wind_kt:.0f} kt from {heading_name(hold.wind_from_true_deg)}° true"


def components(head_kt: float | None, cross_kt: float | None) -> str:
    """Wind along and across the inbound course, in words."""
    if head_kt is None or cross_kt is None or not math.isfinite(head_kt + cross_kt):
        return "–"
    ahead = f"{abs(head_kt):.0f} kt {'head' if head_kt >= 0 else 'tail'}"
    side = "holding side" if cross_kt >= 0 else "non-holding side"
    return f"{ahead}, {abs(cross_kt):.0f} kt from the {side}"
