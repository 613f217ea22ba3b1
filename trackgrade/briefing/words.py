"""Every sentence of a brief, for the screen and the page alike. Plain text; numbers as a pilot writes them."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from trackgrade.briefing.brief import SLOW_WITHIN_MIN, Brief, EntryBrief
from trackgrade.briefing.leaving import LeavingPlan, clock
from trackgrade.earth.angles import wrap360
from trackgrade.hold.courses import course_name, heading_name, variation_name
from trackgrade.hold.guidance import flag_words
from trackgrade.hold.planning import SHORT_OF_COURSE_NM, SolvedLap
from trackgrade.hold.rules import RuleLap, worth_outbound_s
from trackgrade.score.sentences import count_of, degrees_words, side_words

#: How a note of the hold begins that is a warning.
WARNING = "Warning: "

#: Rolled out no further short of the course than this is rolled out on it: a tenth of a mile is a needle's width or so.
ON_COURSE_NM = 0.1

#: What bounds a lap that is made to fit an assigned time.
LEAVING_BOUNDS = (
    "Shortest lap: 30 s inbound; longest: 10 s more outbound than normal (the timing error that ICAO Doc 8168 Vol II "
    "sizes a hold for). Longer ones need the controller's consent"
)

LAP_NAMES = ("first lap", "second lap", "third lap")


def pattern(brief: Brief) -> str:
    """ "Right turns, 1 min inbound, 4,000 ft"."""
    hold = brief.hold
    parts = [f"{hold.turns} turns", f"{hold.leg.words} inbound"]
    if hold.altitude_ft is not None:
        parts.append(f"{hold.altitude_ft:,.0f} ft")
    return ", ".join(parts)


def courses(brief: Brief) -> str:
    """ "Inbound 143, outbound 323 magnetic (variation 2.5° E)"."""
    variation = variation_name(brief.hold.variation_deg)
    return f"Inbound {inbound(brief)}, outbound {outbound(brief)} {brief.north_word} (variation {variation})"


def inbound(brief: Brief) -> str:
    return course_name(brief.inbound_shown_deg)


def outbound(brief: Brief) -> str:
    return course_name(brief.inbound_shown_deg + 180.0)


def variation(brief: Brief) -> str:
    return f"variation {variation_name(brief.hold.variation_deg)}, {brief.hold.variation_source}"


def heading(brief: Brief, true_deg: float) -> str:
    """A heading in the pilot's north, to the degree; a dash where there is none."""
    return "-" if math.isnan(true_deg) else heading_name(brief.shown(true_deg))


def course_to_set(brief: Brief) -> str:
    """What to set, when, and the flag."""
    guidance = brief.hold.guidance
    told = flag_words(guidance)
    if not told:
        course = course_name(guidance.course_to_set_deg or brief.inbound_shown_deg)
        north = " magnetic" if brief.north_is_true else ""
        told = (f"Set {course}{north} to the fix before you reach it, and leave it set",)
    scale = f"{guidance.full_scale_nm:g} NM" if guidance.kind == "gps" else f"{guidance.full_scale_deg:g}°"
    return f"{'. '.join(told)}. Needle: full scale {scale}"


def air(brief: Brief) -> str:
    """Airspeed and wind: "104 kt true (98 KIAS), wind 280/18: 13 kt headwind and 12 kt from the right inbound"."""
    conditions = brief.conditions
    speed = f"{conditions.tas_kt:.0f} kt true"
    if brief.ias_kt is not None:
        speed += f" ({brief.ias_kt:.0f} KIAS)"
    if conditions.wind_kt < 0.5:
        return f"{speed}, no wind"
    wind = f"wind {heading_name(conditions.wind_from_true_deg)}/{conditions.wind_kt:.0f} true"
    along, across = brief.headwind_kt, brief.crosswind_kt
    parts = []
    if abs(along) >= 0.5:
        parts.append(f"{abs(along):.0f} kt {'headwind' if along > 0 else 'tailwind'}")
    if abs(across) >= 0.5:
        parts.append(f"{abs(across):.0f} kt from the {'right' if across > 0 else 'left'}")
    return f"{speed}, {wind}: inbound {' and '.join(parts)}"


def slow_down(brief: Brief) -> str:
    """The speed limit and when to slow."""
    away_nm = brief.conditions.tas_kt / 60.0 * SLOW_WITHIN_MIN
    when = f"slow down within {SLOW_WITHIN_MIN:.0f} min of it, {away_nm:.0f} NM"
    if brief.speed_limit_kias is None:
        return f"Holding speed before the fix: {when}"
    return f"At or below {brief.speed_limit_kias:.0f} KIAS crossing the fix, or as charted; {when}"


def entry(brief: Brief, told: EntryBrief) -> str:
    """One entry in a sentence."""
    calm, windy = heading(brief, told.first_heading_true_deg), heading(brief, told.heading_in_wind_true_deg)
    fly = calm if calm == windy else f"{calm} ({windy} in this wind)"
    off_deg = told.first_turn_deg
    first = f"straight on {fly}" if abs(off_deg) < 0.5 else f"{side_words(off_deg)} {abs(off_deg):.0f}° to {fly}"
    back, lasting = side_words(told.second_turn_deg), clock(told.outbound_s or 0.0)
    if told.kind == "direct":
        return f"Direct: {first}. That is lap 1."
    if told.kind == "teardrop":
        return f"Teardrop: {first}, {lasting}, then {back} to {inbound(brief)}."
    return (
        f"Parallel: {first}, {lasting} on the non-holding side, then {back} past {inbound(brief)} "
        "to meet it from the holding side."
    )


def notes(brief: Brief) -> tuple[str, ...]:
    """What was said when the hold was resolved, less the warnings and what the brief says anyway."""
    told = flag_words(brief.hold.guidance)
    elsewhere = ["Variation ", "Leg by altitude", WARNING]
    return tuple(note for note in brief.hold.notes if note not in told and not note.startswith(tuple(elsewhere)))


def warnings(brief: Brief) -> tuple[str, ...]:
    """Everything to look out for: of the hold file, then of these conditions."""
    of_file = (note.removeprefix(WARNING) for note in brief.hold.notes if note.startswith(WARNING))
    return (*of_file, *brief.warnings)


def entry_headline(brief: Brief) -> str:
    """ "Arriving on heading 250: direct, 32° from the nearest boundary"."""
    arrival = brief.conditions.arrival_heading_true_deg
    assert arrival is not None
    kinds = " or ".join(told.kind for told in brief.entries)
    text = f"Arriving on heading {heading(brief, arrival)}: {kinds}"
    margin = brief.sector_margin_deg or 0.0
    if len(brief.entries) > 1:
        return f"{text}; {margin:.0f}° from the boundary, so either is right"
    return f"{text}, {margin:.0f}° from the nearest boundary"


def drift(brief: Brief) -> str:
    """Drift corrections and ground speeds of the solved lap."""
    lap = brief.solved
    if math.isnan(lap.lap_s):
        return lap.why
    return (
        f"Correct {degrees_words(lap.inbound_wca_deg)} inbound, {degrees_words(lap.outbound_wca_deg)} outbound. "
        f"Ground speed {lap.inbound_gs_kt:.0f} kt inbound, {lap.outbound_gs_kt:.0f} outbound. "
        f"One lap {clock(lap.lap_s)}"
    )


def turns(brief: Brief) -> str:
    """The turn that every number here assumes, and where the solved lap is aimed."""
    lap = brief.solved
    aim_deg = SHORT_OF_COURSE_NM * _degrees_a_mile(lap)
    worth = f" ({aim_deg:.0f}° of its outbound heading)" if aim_deg >= 0.5 else ""
    return (
        f"Turns at {lap.turn_rate_deg_s:.1f}°/s, {lap.bank_deg:.0f}° of bank, rolled into in {lap.roll_s:g} s, "
        f"radius {lap.turn_radius_nm:.1f} NM; the solved lap rolls out {SHORT_OF_COURSE_NM:g} NM short of the course"
        f"{worth}, so that a small error does not carry it through"
    )


def _degrees_a_mile(lap: SolvedLap) -> float:
    """Degrees of outbound heading that move the roll-out a mile across the course; NaN where next to none is flown."""
    flown_nm = lap.tas_kt / 3600.0 * lap.outbound_from_level_s
    return math.degrees(1.0 / flown_nm) if lap.outbound_from_level_s > 10.0 else math.nan


def by_distance(brief: Brief) -> str:
    """Where the turn back begins, for a pilot who reads the distance to the fix."""
    lap = brief.solved
    return f"By distance: turn back at {lap.outbound_end_from_fix_nm:.1f} NM from the fix"


def by_rule(brief: Brief) -> str:
    """What the laps by rule are."""
    if brief.hold.leg.nm is not None:
        return (
            "By rule: three times the inbound drift outbound (AIM 5-3-8), turned back when the distance along the "
            f"course is {brief.hold.leg.nm:g} NM; what that would come to in this wind. A length that a controller "
            "gives ends the outbound leg (AIM 5-3-8); the solved lap makes the inbound leg that long."
        )
    return (
        "By rule: three times the inbound drift outbound (AIM 5-3-8), each outbound time corrected by equal seconds; "
        "what each would come to in this wind, the inbound time counted from the course where a lap slides through it, "
        "else from the roll-out."
    )


def correction(brief: Brief) -> tuple[str, ...]:
    """The rule for the next outbound time, and for the next outbound heading, with their size in this wind."""
    lap = brief.solved
    if math.isnan(lap.lap_s):
        return ()
    told = []
    if brief.hold.leg.nm is not None:
        told.append("Turn back at the same distance each lap")
    elif not lap.feasible:
        told.append(f"No outbound time makes {clock(brief.target_s)} inbound in this wind: do not chase it")
    else:
        text = f"Next outbound = last outbound + {clock(brief.target_s)} - the inbound you timed"
        worth_s = worth_outbound_s(lap, brief.hold)
        if abs(worth_s - 1.0) >= 0.05:
            text += f"; in this wind each second inbound is worth {worth_s:.1f} s outbound on the same heading"
        told.append(text)
    per_nm_deg = _degrees_a_mile(lap)
    if math.isfinite(per_nm_deg):
        step_nm = next((nm for nm in (0.1, 0.2, 0.5) if nm * per_nm_deg >= 2.0), 1.0)
        away, toward = ("left", "right") if brief.hold.side > 0 else ("right", "left")
        told.append(
            f"Rolled out through the course: next outbound heading further {away}; short of it: further {toward}. "
            f"{step_nm:g} NM is {step_nm * per_nm_deg:.0f}°"
        )
    return tuple(told)


def rollout(rule: RuleLap) -> str:
    """Where a lap by rule rolls out."""
    off = rule.rollout_cross_nm
    if rule.crossed:
        return f"{max(abs(off), 0.05):.{1 if off < -0.095 else 2}f} NM through"
    return "on course" if off < ON_COURSE_NM else f"{off:.1f} NM short"


@dataclass(frozen=True, eq=False)
class LapRow:
    """A lap of the table; ``note`` says where it rolls out."""

    name: str
    heading: str
    outbound: str
    inbound: str
    lap: str
    note: str
    best: bool = False


def lap_rows(brief: Brief) -> list[LapRow]:
    """The solved lap and the laps by rule; none where no lap can be flown."""
    if math.isnan(brief.solved.lap_s):
        return []
    note = "on course" if brief.solved.feasible else "best there is"
    rows = [_solved_row(brief, brief.solved, "solved", note, best=True)]
    for name, rule in zip(LAP_NAMES, brief.rule_laps):
        meets = rule.inbound_s > 0.5
        rows.append(
            LapRow(
                name="by rule" if brief.hold.leg.nm is not None else f"by rule, {name}",
                heading=heading(brief, rule.outbound_heading_true_deg),
                outbound=clock(rule.outbound_s),
                inbound=clock(rule.inbound_s) if meets else "none",
                lap=clock(rule.lap_s) if meets else "",
                note=rollout(rule),
            )
        )
    return rows


def _solved_row(brief: Brief, lap: SolvedLap, name: str, note: str = "", *, best: bool = False) -> LapRow:
    out = heading(brief, lap.outbound_heading_true_deg)
    return LapRow(name, out, clock(lap.outbound_s), clock(lap.inbound_s), clock(lap.lap_s), note, best)


# --- The time to leave ------------------------------------------------------------------------------------------------


def at(epoch_s: float) -> str:
    """Time of day, UTC: "15:20:00"."""
    return dt.datetime.fromtimestamp(round(epoch_s), dt.UTC).strftime("%H:%M:%S")


def leaving_headline(plan: LeavingPlan) -> str:
    return f"Over the fix at {at(plan.at_epoch_s)} UTC"


def leaving_limits(plan: LeavingPlan) -> str:
    """What one lap can take up, and more."""
    least_s, most_s = plan.shortest.lap_s, plan.longest.lap_s
    spans = [f"{count_of(n, 'lap')} {clock(n * least_s)} to {clock(n * most_s)}" for n in (1, 2, 3)]
    return f"With this much to go at the fix: {', '.join(spans)}. Shorten both legs, not the turns"


def last_lap_rows(brief: Brief, plan: LeavingPlan) -> list[LapRow]:
    """A single last lap, by the time to go."""
    return [_solved_row(brief, lap, clock(lap.lap_s)) for lap in plan.last_laps]


def planned_laps(brief: Brief, plan: LeavingPlan) -> list[tuple[str, str]]:
    """("15:20:00 to 15:24:00", "normal lap" or "heading 052, 0:40 outbound, 0:34 inbound") for each lap to fly."""
    told = []
    for each in plan.laps:
        lap = _solved_row(brief, each.lap, "")
        changed = f"heading {lap.heading}, {lap.outbound} outbound, {lap.inbound} inbound"
        when = f"{at(each.start_epoch_s)} to {at(each.start_epoch_s + each.lap.lap_s)}"
        told.append((when, "normal lap" if each.normal else changed))
    return told


# --- The clearance, and what to fill in on the way --------------------------------------------------------------------

#: AIM 5-3-8: the direction of holding is told by the eight points of the compass.
POINTS = ("north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest")

#: A value to be written in by hand.
TO_FILL = ""


def direction(brief: Brief) -> str:
    """Where from the fix the hold lies: the point of the compass nearest to the way back along the inbound course."""
    return POINTS[round(float(wrap360(brief.inbound_shown_deg + 180.0)) / 45.0) % 8]


def read_back(brief: Brief) -> tuple[tuple[str, str], ...]:
    """The clearance item by item, in the order of AIM 5-3-8 (from memory); what the brief cannot know is to fill in."""
    hold = brief.hold
    course = inbound(brief)
    on = f"inbound course {course}"
    if hold.guidance.station_place in ("at", "beyond"):
        on = f"{outbound(brief)} radial, inbound {course}"
    elif hold.guidance.station_place == "behind":
        on = f"{course} radial, inbound away from the station"
    altitude = f"{hold.altitude_ft:,.0f} ft" if hold.altitude_ft is not None else TO_FILL
    return (
        ("Hold", f"{direction(brief)} of the fix"),
        ("On", on),
        ("Legs", hold.leg.words),
        ("Turns", hold.turns),
        ("Maintain", altitude),
        ("Expect further clearance", TO_FILL),
        ("Time now", TO_FILL),
    )


def in_one_line(brief: Brief) -> str:
    """The same for a terminal, a rule where something is to be written."""
    return "; ".join(f"{name.lower()} {value or '____'}" for name, value in read_back(brief))


def to_fill_in(brief: Brief) -> tuple[tuple[str, str], ...]:
    """Lines for the way: each a name and what is known of it already."""
    leave = at(brief.leaving.at_epoch_s) if brief.leaving is not None else TO_FILL
    lap = TO_FILL if math.isnan(brief.solved.lap_s) else clock(brief.solved.lap_s)
    return (
        ("Over the fix, UTC", TO_FILL),
        ("Fuel over the fix", TO_FILL),
        ("Fuel to leave with", TO_FILL),
        ("Fuel for one lap" + (f" of {lap}" if lap else ""), TO_FILL),
        ("Leave at the latest, UTC", leave),
    )
