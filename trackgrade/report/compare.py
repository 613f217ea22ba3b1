"""Laps over each other: of one flight, or of several at one hold. From above, and in time since the fix.

Every lap is drawn once; which of them are seen is the choice of the reader's boxes, by style alone, without a script.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from markupsafe import Markup

from trackgrade.drawing import frame, palette
from trackgrade.drawing.sketch import Line, Sketch
from trackgrade.drawing.svg import element, short, simplified_polylines
from trackgrade.drawing.view import fit
from trackgrade.hold.courses import course_name
from trackgrade.report import strips
from trackgrade.report.plan import Plan, plan_of, wind_words
from trackgrade.report.strips import TALL, Scale
from trackgrade.report.summary import ShortLap, short_laps
from trackgrade.report.timeline import AXIS_WIDTH, lay_out
from trackgrade.score.debrief import Debrief
from trackgrade.score.series import inside
from trackgrade.track.track import Floats

#: Laps that can be chosen from, and the rules by which a box that is ticked shows its line.
MOST_CHOSEN = 24
RULES = "\n".join(f".against:has(.pick.k{k}:checked) .over.k{k} {{ display: inline; }}" for k in range(MOST_CHOSEN))
#: Frame of the picture from above, and its margins; height of a strip [px].
SIZE, MARGINS, STRIP_PX = (400.0, 500.0), (34.0, 30.0, 34.0, 70.0), 120
#: Most words along the time axis, and no lap is shown for longer against time [s].
MOST_TICKS, LONGEST_S = 8, 1200.0
#: What is drawn against time: quantity, heading, least height of the strip.
QUANTITIES = (("alt", "Altitude, ft", 200.0), ("ias", "Airspeed, KIAS", 30.0), ("cross", "Off the course, NM", 0.6))


class LapLine(NamedTuple):
    """One lap as drawn: its line, and each quantity (m,) against the time since the fix (m,) [s]."""

    short: ShortLap
    line: Line
    since_s: Floats
    values: dict[str, Floats]


class FlightLaps(NamedTuple):
    """The laps of one flight at a hold, with what they lie over: small enough to come back from a worker.

    ``hold`` names the hold so that only flights at the same one are laid over each other. ``solved`` is the lap that
    works in that flight's wind, ``corridor`` an outline.
    """

    flight: str
    hold: tuple[str, float, float, float, str]
    course: str
    wind: str
    verdict: str
    cautions: tuple[str, ...]
    laps: tuple[LapLine, ...]
    solved: Line | None
    corridor: Line
    course_line: Line


class Choice(NamedTuple):
    """One box to tick: its lap, the lap in words, how its line looks, whether it is ticked at first."""

    lap: LapLine
    name: str
    style: str
    ticked: bool


class Comparison(NamedTuple):
    """Boxes, the picture from above, the strips (title, scale, plot); ``left_out``: laps too many to choose from."""

    choices: tuple[Choice, ...]
    left_out: int
    plan: Markup
    strips: tuple[tuple[str, Markup, Markup], ...]
    times: Markup


def flight_laps(debrief: Debrief, plan: Plan | None = None) -> FlightLaps:
    """What a comparison needs of one debrief."""
    plan = plan or plan_of(debrief, lay_out(debrief))
    samples, hold = debrief.samples, debrief.hold
    values = {"alt": samples.alt_ft, "ias": samples.ias_kt, "cross": samples.cross_nm}
    lifted = {key: np.where(samples.gap_before, np.nan, value) for key, value in values.items()}
    laps = []
    for each in short_laps(plan.timeline):
        start = each.stretch.start_epoch_s
        own = inside(samples, start, min(each.stretch.end_epoch_s, start + LONGEST_S))
        kept = {key: value[own] for key, value in lifted.items()}
        laps.append(LapLine(each, plan.flown[each.stretch.key], samples.epoch_s[own] - start, kept))
    place = round(hold.fix_lat_deg, 4), round(hold.fix_lon_deg, 4)
    return FlightLaps(
        flight=debrief.track.track.source,
        hold=(hold.name, *place, hold.inbound_course_true_deg, hold.turns),
        course=f"inbound {course_name(hold.course_to_set_deg)}° mag, {hold.turns} turns",
        wind=wind_words(debrief),
        verdict=debrief.verdict,
        cautions=debrief.cautions,
        laps=tuple(laps),
        solved=plan.solved,
        corridor=plan.corridor,
        course_line=plan.course,
    )


def compare(flights: Sequence[FlightLaps]) -> Comparison | None:
    """The laps of one flight, or of several at one hold, over each other; None for fewer than two laps.

    At first the first and the last lap of a flight are shown; of several flights the last of each. Of one flight
    colour and dash tell the lap, as everywhere; of several the colour tells the flight and the dash the lap.
    """
    named = len(flights) > 1
    each = max(1, MOST_CHOSEN // len(flights))
    choices: list[Choice] = []
    for n, flight in enumerate(flights[:MOST_CHOSEN]):
        for m, lap in enumerate(flight.laps[-each:]):
            colour, dash = (n, m) if named else (m, m)
            look = f"c{colour % len(palette.LAPS)} d{dash % len(palette.DASHES)}"
            name = f"{flight.flight}, lap {lap.short.stretch.tag}" if named else f"lap {lap.short.stretch.tag}"
            choices.append(Choice(lap, name, look, ticked=lap is flight.laps[-1] or (not named and m == 0)))
    if len(choices) < 2:
        return None
    laps = [choice.lap for choice in choices]
    looks = [f"flown over k{number} {choice.style}" for number, choice in enumerate(choices)]
    return Comparison(
        choices=tuple(choices),
        left_out=sum(len(flight.laps) for flight in flights) - len(laps),
        plan=_plan(flights, laps, looks),
        strips=tuple((title, *_strip(laps, looks, key, least)) for key, title, least in QUANTITIES),
        times=_times(laps),
    )


def render(flights: Sequence[FlightLaps]) -> str:
    """One HTML document that lays chosen laps of several flights at one hold over each other."""
    context = {"comparison": compare(flights), "flights": tuple(flights), "cautions": flights[0].cautions}
    return frame.render("report", "compare.html", context, styles=("page.css",), rules=RULES)


def _plan(flights: Sequence[FlightLaps], laps: Sequence[LapLine], looks: Sequence[str]) -> Markup:
    """From above, the inbound course up the page: the first flight's hold, corridor and lap that works."""
    under = flights[0]
    lines = [lap.line for lap in laps] + ([under.solved] if under.solved is not None else [])
    east, north = (np.concatenate([*each, [0.0]]) for each in zip(*lines))
    known = np.isfinite(east) & np.isfinite(north)
    view = fit("compare", -under.hold[3], east[known], north[known], SIZE, MARGINS)

    sketch = Sketch(view)
    sketch.line(under.corridor, "corridor")
    if under.solved is not None:
        sketch.line(under.solved, "solved")
    sketch.line(under.course_line, "course")
    for lap, look in zip(laps, looks):
        sketch.line(lap.line, look)
    sketch.fix(view.place(0.0, 0.0))
    sketch.corners(SIZE[1] - 34.0)
    return sketch.drawn(f"The laps chosen, from above, {under.course}")


def _strip(laps: Sequence[LapLine], looks: Sequence[str], key: str, least: float) -> tuple[Markup, Markup]:
    """The scale of a quantity, and the laps' lines of it against the time since the fix."""
    known = np.concatenate([lap.values[key][np.isfinite(lap.values[key])] for lap in laps])
    if len(known) == 0:
        return Markup(""), Markup("")
    scale, longest = Scale.over(known, (), least), _longest(laps)
    lines = [
        element("path", d=f"M0 {short(float(scale.y(value)))}H{short(AXIS_WIDTH)}", class_="grid")
        for value, _ in scale.ticks
    ]
    flown = [(lap.since_s / longest * AXIS_WIDTH, scale.y(lap.values[key])) for lap in laps]
    for d, look in zip(simplified_polylines(flown, strips.TOLERANCE), looks):
        if d:
            lines.append(element("path", d=d, class_=look))
    return scale.drawn(STRIP_PX), element(
        "svg", element("svg", *lines, viewBox=f"0 0 {short(AXIS_WIDTH)} {short(TALL)}", preserveAspectRatio="none",
                       width="100%", height="100%"),
        width="100%", height=STRIP_PX, class_="plot", role="img", aria_label="The laps chosen, against time",
    )  # fmt: skip


def _longest(laps: Sequence[LapLine]) -> float:
    return max(float(lap.since_s[-1]) if len(lap.since_s) else 0.0 for lap in laps) or 1.0


def _times(laps: Sequence[LapLine]) -> Markup:
    """Minutes since the fix, under the strips."""
    longest = _longest(laps)
    step = next(s for s in (15, 30, 60, 120, 300, 600) if longest / s <= MOST_TICKS)
    words = [
        element("text", f"{at // 60}:{at % 60:02d}", x=f"{short(100.0 * at / longest, 2)}%", y=14, text_anchor="middle")
        for at in range(step, int(0.97 * longest), step)
    ]
    return element("svg", *words, width="100%", height=18, class_="time-words", aria_hidden="true")
