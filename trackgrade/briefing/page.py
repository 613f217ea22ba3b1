"""A brief as one page to print: the sentences of `words`, the drawing inside."""

from __future__ import annotations

from markupsafe import Markup

from trackgrade import __version__
from trackgrade.briefing import words
from trackgrade.briefing.brief import Brief
from trackgrade.briefing.drawing import draw
from trackgrade.briefing.receivers import dme_reading, receivers
from trackgrade.caution import CAUTION
from trackgrade.drawing import frame


def render(brief: Brief, ribbon: Markup = frame.NO_RIBBON) -> str:
    """The whole page as HTML; ``ribbon`` as in `frame.render`."""
    context = {
        "brief": brief,
        "words": words,
        "fix": _position(brief.hold.fix_lat_deg, brief.hold.fix_lon_deg),
        "dme": dme_reading(brief),
        "receivers": receivers(brief),
        "drawing": draw(brief),
        "caution": CAUTION,
        "version": __version__,
    }
    return frame.render("briefing", "brief.html", context, styles=("brief.css",), ribbon=ribbon)


def _position(lat_deg: float, lon_deg: float) -> str:
    """Degrees and minutes to a hundredth: "44° 00.00' N, 093° 00.00' W"."""

    def side(value: float, letters: str, width: int) -> str:
        hundredths = round(abs(value) * 6000.0)
        degrees, rest = divmod(hundredths, 6000)
        return f"{degrees:0{width}d}° {rest / 100:05.2f}' {letters[0] if value >= 0 else letters[1]}"

    return f"{side(lat_deg, 'NS', 2)}, {side(lon_deg, 'EW', 3)}"
