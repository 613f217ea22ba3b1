"""Every sentence of the progress pages and their terminal summaries. Pure."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence

from trackgrade.caution import CAUTION as CAUTION
from trackgrade.earth.units import decimals
from trackgrade.hold.courses import heading_name as heading_name
from trackgrade.logbook.claims import Change, Verdict
from trackgrade.logbook.history import HoldFlown, Session
from trackgrade.logbook.levels import FEWEST_SESSIONS
from trackgrade.logbook.shares import Share
from trackgrade.logbook.standing import Standing
from trackgrade.logbook.timeline import Convergence, InboundLine, ItemLine

#: A sign beside the words, so that no meaning rests on colour.
CLAIM_SIGNS = {"better": "▲", "worse": "▼"}

UNTESTED = {
    "a ceiling": "a ceiling, not an error",
    "as another item": "goes with another item",
    "nothing to tell": "hardly ever an error",
}

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


def brief(value: float, unit: str) -> str:
    """A value for a narrow cell: a unit of several words stays with the column's head."""
    return number(value, "" if " " in unit else unit, places=decimals(unit, mean=True))


def percent(value: float | None) -> str:
    return "–" if value is None else f"{100 * value:.0f} %"


def interval(share: Share | Standing) -> str:
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


def change_words(change: Change) -> str:
    """ "−52 % (−67 to −30)", with its 95 % interval: of the errors at the start, from the first to the last session."""
    low, high = (_signed(each) for each in change.interval)
    return f"{_signed(change.change)} % ({low} to {high})"


def _signed(per_cent: float) -> str:
    # Beyond twentyfold a per cent has no meaning that anyone could use.
    if per_cent > 1900:
        return "over +1900"
    return number(per_cent, "", signed=True, places=0)


def primary(verdict: Verdict, tested: Sequence[Session], drawn: int) -> str:
    """What the page may say of change, in one or two sentences."""
    since = " since a long break, after which the errors were larger" if len(tested) < drawn else ""
    if verdict.composite is None:
        return f"{count(len(tested), 'session')}{since}: no change is claimed below {FEWEST_SESSIONS}."
    span = f"{date(tested[0].started_epoch_s)} to {date(tested[-1].started_epoch_s)}, {len(tested)} sessions{since}"
    if verdict.moved:
        what, does = " and ".join(verdict.moved), "these do" if len(verdict.moved) > 1 else "that does"
        return (
            f"No change is claimed, {span}: {what} moved along with time, and what {does} cannot be told apart from a"
            " change of the pilot."
        )
    change = verdict.composite
    low, high = sorted(abs(each) for each in change.interval)
    if change.claimed:
        way = "smaller" if change.claimed == "better" else "larger"
        return (
            f"Got {change.claimed}: all errors together {abs(change.change):.0f} % {way}"
            f" (95 % interval {low:.0f} to {high:.0f} %), {span}."
        )
    return f"No change can be told apart from chance: all errors together {change_words(change)}, {span}."


def claim(line: ItemLine) -> str:
    """What is claimed of one item, with a sign beside the words."""
    if line.change is None:
        return UNTESTED.get(line.untested, "–")
    return f"{CLAIM_SIGNS[line.change.claimed]} got {line.change.claimed}" if line.change.claimed else "not claimed"


def level(line: ItemLine, value: float | None) -> str:
    """An item's size of error, or a dash: a ceiling's value is a speed and no error."""
    return "–" if value is None or line.untested == "a ceiling" else number(value, line.unit)


def level_sentence(line: ItemLine) -> str:
    """Where one item stands, and what its line may be called."""
    text = share_words(line.recent, "measurements")
    if line.lately is not None:
        text += f"; last five sessions {level(line, line.lately)}"
        text += f", five before {level(line, line.before)}" if line.before is not None else ""
    if line.change is not None:
        text += f". Change {change_words(line.change)}: {claim(line)}"
    elif line.untested:
        text += f". Not tested: {UNTESTED[line.untested]}"
    if len(line.limits) > 1:
        text += f". The limit was not always the same: {', '.join(number(each, line.unit) for each in line.limits)}"
    return text + "."


#: What the class's table means by its two columns.
EQUAL_TERMS = (
    "On equal terms: the share within at the class's usual hold and wind, by a model of pilot, session, hold and wind"
    " that draws pilots with few laps toward the class. Lowest third: how likely it is that the pilot belongs to it."
)


def standing(of: Standing | None) -> tuple[str, str]:
    """ "62 % (48–76 %)" on equal terms, and "35 %" likely in the lowest third."""
    if of is None:
        return "–", "–"
    return f"{percent(of.value)} ({interval(of)})", percent(of.lowest_third)


def bias_sentence(inbound: InboundLine) -> str:
    """Long or short on the inbound leg, over the last sessions."""
    if inbound.bias is None or inbound.bias_low is None or inbound.bias_high is None:
        return "No inbound leg was timed."
    way = "long" if inbound.bias > 0 else "short"
    size = number(abs(inbound.bias), "s")
    span = f"{number(inbound.bias_low, 's', signed=True)} to {number(inbound.bias_high, 's', signed=True)}"
    text = f"Typically {size} {way} in the last sessions (session by session {span})."
    if inbound.scatter_s is not None:
        text += f" Scatter from lap to lap {number(inbound.scatter_s, 's')} (standard deviation)."
    return text


def convergence_sentence(result: Convergence) -> str:
    """How many laps it takes until the inbound time stays in the band."""
    if not result.holds:
        return "No hold with two timed laps yet."
    reached = f"Reached in {result.reached} of {count(result.holds, 'hold')}"
    if result.median is None:
        return f"{reached}; in half of them it takes more laps than were flown ({result.longest} at most)."
    return f"{reached}; in half of them by lap {result.median}, holds left sooner counted as not yet."


def wind_words(hold: HoldFlown) -> str:
    """ "14 kt from 240° true"."""
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
