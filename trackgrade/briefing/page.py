"""A brief as one page to print: every sentence worded here, the drawing inside."""

from __future__ import annotations

import math
from dataclasses import dataclass

from markupsafe import Markup

from trackgrade import __version__
from trackgrade.briefing import clearance, words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.drawing import draw
from trackgrade.briefing.leaving import clock
from trackgrade.briefing.receivers import Receiver, dme_reading, receivers
from trackgrade.caution import CAUTION
from trackgrade.drawing import frame
from trackgrade.hold.courses import course_name, variation_name


@dataclass(frozen=True)
class Row:
    """A lap of the table."""

    name: str
    heading: str
    outbound: str
    inbound: str
    lap: str
    note: str
    best: bool = False


@dataclass(frozen=True)
class Page:
    """Everything the template may use; all text, already worded."""

    name: str
    pattern: str
    inbound: str
    outbound: str
    north: str
    variation: str
    fix: str
    course_to_set: str
    air: str
    slow_down: str
    speed_source: str
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    entry_headline: str
    entries: tuple[str, ...]
    solved: Row | None
    rules: tuple[Row, ...]
    drift: str
    turns: str
    by_distance: str
    dme: str
    receivers: tuple[Receiver, ...]
    read_back: tuple[tuple[str, str], ...]
    fill_in: tuple[tuple[str, str], ...]
    by_rule: str
    correction: tuple[str, ...]
    leaving_headline: str
    leaving_why: str
    leaving_laps: tuple[tuple[str, str], ...]
    leaving_limits: str
    leaving_bounds: str
    last_laps: tuple[Row, ...]
    drawing: Markup
    caution: str
    version: str


def render(brief: Brief, ribbon: Markup = frame.NO_RIBBON) -> str:
    """The whole page as HTML; ``ribbon`` as in `frame.render`."""
    return frame.render("briefing", "brief.html", {"page": contents(brief)}, styles=("brief.css",), ribbon=ribbon)


def contents(brief: Brief) -> Page:
    """What the page says."""
    lap, plan, hold = brief.solved, brief.leaving, brief.hold
    known = not math.isnan(lap.lap_s)
    return Page(
        name=hold.name,
        pattern=words.pattern(brief),
        inbound=course_name(brief.inbound_shown_deg),
        outbound=course_name(brief.inbound_shown_deg + 180.0),
        north=brief.north_word,
        variation=f"variation {variation_name(hold.variation_deg)}, {hold.variation_source}",
        fix=_position(hold.fix_lat_deg, hold.fix_lon_deg),
        course_to_set=words.course_to_set(brief),
        air=words.air(brief),
        slow_down=words.slow_down(brief),
        speed_source=brief.speed_limit_source if brief.speed_limit_kias is not None else "",
        warnings=words.warnings(brief),
        notes=words.notes(brief),
        entry_headline=words.entry_headline(brief) if brief.entries else "",
        entries=tuple(words.entry(brief, told) for told in brief.entries),
        solved=Row(
            "solved",
            words.heading(brief, lap.outbound_heading_true_deg),
            clock(lap.outbound_s),
            clock(lap.inbound_s),
            clock(lap.lap_s),
            words.solved_note(brief),
            best=True,
        )
        if known
        else None,
        rules=tuple(
            Row(
                words.rule_name(brief, number),
                words.heading(brief, rule.outbound_heading_true_deg),
                clock(rule.outbound_s),
                words.inbound_of(rule),
                clock(rule.lap_s) if rule.inbound_s > 0.5 else "",
                words.rollout(rule),
            )
            for number, rule in enumerate(brief.rule_laps, 1)
        ),
        drift=words.drift(brief),
        turns=words.turns(brief) if known else "",
        by_distance=words.by_distance(brief) if known else "",
        dme=dme_reading(brief),
        receivers=receivers(brief),
        read_back=clearance.read_back(brief),
        fill_in=clearance.to_fill_in(brief),
        by_rule=words.by_rule(brief),
        correction=words.correction(brief),
        leaving_headline=words.leaving_headline(plan) if plan else "",
        leaving_why=plan.why if plan else "",
        leaving_laps=tuple(
            (
                f"{words.at(each.start_epoch_s)} to {words.at(each.start_epoch_s + each.lap.lap_s)}",
                "normal lap" if each.normal else words.lap_in_short(brief, each.lap),
            )
            for each in (plan.laps if plan else ())
        ),
        leaving_limits=words.leaving_limits(plan) if plan else "",
        leaving_bounds=words.leaving_bounds() if plan else "",
        last_laps=tuple(
            Row(
                clock(each.lap_s),
                words.heading(brief, each.outbound_heading_true_deg),
                clock(each.outbound_s),
                clock(each.inbound_s),
                "",
                "",
            )
            for each in (plan.last_laps if plan else ())
        ),
        drawing=draw(brief),
        caution=CAUTION,
        version=__version__,
    )


def _position(lat_deg: float, lon_deg: float) -> str:
    """Degrees and minutes to a hundredth: "44° 00.00' N, 093° 00.00' W"."""

    def side(value: float, letters: str, width: int) -> str:
        hundredths = round(abs(value) * 6000.0)
        degrees, rest = divmod(hundredths, 6000)
        return f"{degrees:0{width}d}° {rest / 100:05.2f}' {letters[0] if value >= 0 else letters[1]}"

    return f"{side(lat_deg, 'NS', 2)}, {side(lon_deg, 'EW', 3)}"
