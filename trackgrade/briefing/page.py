"""A brief as one page to print: every sentence worded here, the drawing inside."""

from __future__ import annotations

from markupsafe import Markup

from trackgrade import __version__
from trackgrade.briefing import clearance, words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.drawing import draw
from trackgrade.briefing.receivers import dme_reading, receivers
from trackgrade.caution import CAUTION
from trackgrade.drawing import frame
from trackgrade.hold.courses import course_name, variation_name


def render(brief: Brief, ribbon: Markup = frame.NO_RIBBON) -> str:
    """The whole page as HTML; ``ribbon`` as in `frame.render`."""
    return frame.render("briefing", "brief.html", context(brief), styles=("brief.css",), ribbon=ribbon)


def context(brief: Brief) -> dict[str, object]:
    """Everything the template may use, already worded."""
    hold, plan = brief.hold, brief.leaving
    return {
        "brief": brief,
        "pattern": words.pattern(brief),
        "inbound": course_name(brief.inbound_shown_deg),
        "outbound": course_name(brief.inbound_shown_deg + 180.0),
        "variation": f"variation {variation_name(hold.variation_deg)}, {hold.variation_source}",
        "fix": _position(hold.fix_lat_deg, hold.fix_lon_deg),
        "course_to_set": words.course_to_set(brief),
        "air": words.air(brief),
        "slow_down": words.slow_down(brief),
        "warnings": words.warnings(brief),
        "notes": words.notes(brief),
        "entry_headline": words.entry_headline(brief) if brief.entries else "",
        "entries": [words.entry(brief, told) for told in brief.entries],
        "laps": words.lap_rows(brief),
        "by_rule": words.by_rule(brief),
        "drift": words.drift(brief),
        "dme": dme_reading(brief),
        "turns": words.turns(brief),
        "by_distance": words.by_distance(brief),
        "receivers": receivers(brief),
        "read_back": clearance.read_back(brief),
        "fill_in": clearance.to_fill_in(brief),
        "correction": words.correction(brief),
        "leaving": plan
        and {
            "headline": words.leaving_headline(plan),
            "why": plan.why,
            "laps": words.planned_laps(brief, plan),
            "limits": words.leaving_limits(plan),
            "last_laps": words.last_lap_rows(brief, plan),
            "bounds": words.leaving_bounds(),
        },
        "drawing": draw(brief),
        "caution": CAUTION,
        "version": __version__,
    }


def _position(lat_deg: float, lon_deg: float) -> str:
    """Degrees and minutes to a hundredth: "44° 00.00' N, 093° 00.00' W"."""

    def side(value: float, letters: str, width: int) -> str:
        hundredths = round(abs(value) * 6000.0)
        degrees, rest = divmod(hundredths, 6000)
        return f"{degrees:0{width}d}° {rest / 100:05.2f}' {letters[0] if value >= 0 else letters[1]}"

    return f"{side(lat_deg, 'NS', 2)}, {side(lon_deg, 'EW', 3)}"
