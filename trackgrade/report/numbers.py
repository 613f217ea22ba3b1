"""Numbers as people read them, and the story each carries: its error, how it was measured, its limit."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from typing import NamedTuple

from markupsafe import Markup

from trackgrade.drawing.svg import element
from trackgrade.score.results import ItemResult, Measurement
from trackgrade.score.sentences import sentence_of
from trackgrade.segment.flown import Moment

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
NARROW_SPACE = "\u202f"
MINUS = "\u2212"
DASH = "\u2013"

#: Each result has a sign of its own, so that nothing rests on colour: the fuller, the further from the band.
RESULT_SIGNS = {"within": "○", "brief excursion": "◐", "outside": "●", "not measurable": DASH}
RESULT_CLASSES = {"within": "within", "brief excursion": "brief", "outside": "outside", "not measurable": "unknown"}


def figure(value: float, places: int = 0, signed: bool = False) -> str:
    """A number with thin spaces between thousands and a true minus sign; never "-0"."""
    text = f"{value:+,.{places}f}" if signed else f"{value:,.{places}f}"
    if not text.strip("+-0.,"):
        text = text.lstrip("+-")
    return text.replace(",", NARROW_SPACE).replace("-", MINUS)


def clock(epoch_s: float) -> str:
    """Time of day UTC to the second, rounded."""
    second = math.floor(epoch_s + 0.5) % 86400
    return f"{second // 3600:02d}:{second % 3600 // 60:02d}:{second % 60:02d}"


def moment_words(moment: Moment | None) -> str:
    """ "15:23:41.2 UTC ± 0.3 s", or that the track does not show it."""
    if moment is None:
        return "not seen in the track"
    tenth = int(moment.epoch_s * 10.0 + 0.5) % 10
    whole = (int(moment.epoch_s * 10.0 + 0.5)) // 10
    return f"{clock(float(whole))}.{tenth} UTC ± {max(moment.sd_s, 0.05):.1f} s"


def day(epoch_s: float) -> str:
    """ "3 May 2026" (UTC)."""
    date = dt.datetime(1970, 1, 1) + dt.timedelta(seconds=epoch_s)
    return f"{date.day} {MONTHS[date.month - 1]} {date.year}"


def lasted(seconds: float) -> str:
    """ "12 s", "1 min 34 s"."""
    whole = round(seconds)
    return f"{whole} s" if whole < 60 else f"{whole // 60} min {whole % 60} s"


def share_words(share: float) -> str:
    """ "three quarters of full scale", "half of full scale", "0.6 of full scale"."""
    return {0.75: "three quarters", 0.5: "half"}.get(share, f"{share:g}") + " of full scale"


NOTHING = Markup("")


class Number(NamedTuple):
    """One number of the page, with everything a click on it shows.

    Attributes
    ----------
    text : as shown, or a dash
    title : what it is, of which lap ("Inbound time, lap 2")
    story : sentences: error, how, from when to when, limit, source
    under : a word or two shown below it ("rolled out")
    result, result_class, sign : the item's result in words, as a CSS class, and as a sign; empty where not graded
    gauge : the value against its limit, drawn small; empty where not graded
    at_s : a moment to show in the pictures [s since 1970], or None
    stretch : key of the lap it belongs to, or ""
    key : name of its note in the page
    """

    text: str
    title: str
    story: tuple[str, ...]
    under: str = ""
    result: str = ""
    result_class: str = ""
    sign: str = ""
    gauge: Markup = NOTHING
    at_s: float | None = None
    stretch: str = ""
    key: str = ""


def traced(
    title: str,
    measured: Measurement,
    item: ItemResult | None = None,
    *,
    places: int = 0,
    signed: bool = False,
    under: str = "",
    story: Sequence[str] = (),
    stretch: str = "",
    at_s: float | None = None,
    key: str = "",
) -> Number:
    """A measurement as a `Number`; one that cannot be had is a dash with the reason.

    With the item that grades it: sign (with a "?" where its error leaves it in doubt), word, gauge, limit, source.
    """
    if measured.value is None:
        text, under, at_s = DASH, "", None
        lines = [f"Not measurable: {measured.why or 'the track does not carry it'}."]
    else:
        text = figure(measured.value, places, signed)
        how = [sentence_of(measured.how)] if measured.how else []
        lines = [f"{text} {measured.unit}{error_words(measured)}", *how, *story]
    if item is None:
        return Number(text, title, tuple(lines), under, at_s=at_s, stretch=stretch, key=key)
    return Number(
        text,
        title,
        (*lines, *item_story(item)),
        under,
        result=item.result,
        result_class=RESULT_CLASSES[item.result],
        sign=RESULT_SIGNS[item.result] + ("?" if item.straddles else ""),
        gauge=gauge(item),
        at_s=at_s if item.at_epoch_s is None else item.at_epoch_s,
        stretch=stretch,
        key=key,
    )


def error_words(measured: Measurement) -> str:
    """The standard error in words; its absence too."""
    if measured.sd is None:
        return ", no error known."
    return f" ± {small(measured.sd)} {measured.unit} (one standard error)."


def small(value: float) -> str:
    """An error as far as it means something: 0.04, 0.61, 2.4, 12."""
    if value >= 10.0:
        return figure(value, 0)
    return f"{value:.1f}" if value >= 0.95 else f"{value:.2f}" if value >= 0.005 else "0.00"


def item_story(item: ItemResult) -> tuple[str, ...]:
    """Limit, result, excursions and source of an item, as sentences."""
    lines = []
    if item.limit is not None:
        against = f", measured from {item.reference.rstrip('.')}" if item.reference else ""
        lines.append(f"{item.title}: limit {figure(item.limit, places_of(item.limit))} {item.unit}{against}.")
    result = sentence_of(item.result)
    if item.result == "not measurable" and item.why:
        result = f"Not measurable: {item.why}."
    if item.straddles:
        result += " The value lies within two standard errors of its limit: it could be either side."
    lines.append(result)
    if item.evidence:
        lines.append(sentence_of(item.evidence))
    for each in item.excursions[:4]:
        peak = f"{figure(each.peak, places_of(each.peak), signed=True)} {item.unit}"
        lines.append(f"Outside from {clock(each.start_epoch_s)} UTC for {lasted(each.seconds)}, up to {peak}.")
    if len(item.excursions) > 4:
        lines.append(f"And {len(item.excursions) - 4} more.")
    lines.append(f"Limit: {'a choice of this program, not published' if item.choice else item.source}.")
    return tuple(lines)


def places_of(value: float) -> int:
    return 0 if abs(value) >= 9.5 or value == int(value) else 2 if abs(value) < 1.0 else 1


#: The gauge: the band is its middle half, so the ends are twice the limit.
GAUGE_WIDTH, GAUGE_HEIGHT = 46.0, 9.0
_RULE = element("path", d=f"M0 4.5H{GAUGE_WIDTH:g}", class_="rule") + element(
    "rect", x=GAUGE_WIDTH / 4, y=0.5, width=GAUGE_WIDTH / 2, height=8.0, class_="box"
)


_BEFORE_MARK, _AFTER_MARK = element(
    "svg",
    _RULE,
    element("path", d="M@ 0V9", class_="mark"),
    viewBox=f"0 0 {GAUGE_WIDTH:g} {GAUGE_HEIGHT:g}",
    width=GAUGE_WIDTH,
    height=GAUGE_HEIGHT,
    class_="gauge",
    aria_hidden="true",
).split("@")


def gauge(item: ItemResult) -> Markup:
    """The value as a mark on a rule whose middle box is the band. Empty without value or limit."""
    if item.value is None or not item.limit:
        return NOTHING
    share = max(-1.96, min(1.96, item.value / item.limit))
    if item.result == "within":
        share = max(-1.0, min(1.0, share))
    x = GAUGE_WIDTH * (0.5 + share / 4.0)
    return Markup(f"{_BEFORE_MARK}{x:.1f}{_AFTER_MARK}")
