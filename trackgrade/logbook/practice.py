"""What a pilot has practised, what not, and the exercise to fly next. Pure.

One thing at a time. What the latest report puts first comes first, unless the page claims that an item got worse; a
pilot whose laps hold, and whose report found nothing that was found before, gets the first due condition of `_ORDER`.
The limits and the order are our own choice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from trackgrade.files import plain_text
from trackgrade.logbook.claims import COMPOSITE
from trackgrade.logbook.history import PilotHistory
from trackgrade.logbook.rows import HoldFlown
from trackgrade.logbook.timeline import EntryLine, ItemLine, Timeline
from trackgrade.logbook.wording import percent

#: At and above this a wind counts as strong, and this much across the inbound course as a crosswind [kt].
STRONG_WIND_KT = 15.0
CROSSWIND_KT = 8.0

#: A condition not met in this many sessions is due again.
STALE_SESSIONS = 8

#: Share of laps within the standard at which something new is added rather than the old repeated.
READY_SHARE = 0.6

#: The middle of each entry's sector, by entry and side of the turns. Sectors of the 70 degree line of AIM 5-3-8:
#: with right turns teardrop reaches 70 degrees to the left of the outbound course, parallel 110 to its right.
_ARRIVALS = {
    ("teardrop", "right"): "on a heading 35° left of the outbound course",
    ("teardrop", "left"): "on a heading 35° right of the outbound course",
    ("parallel", "right"): "on a heading 55° right of the outbound course",
    ("parallel", "left"): "on a heading 55° left of the outbound course",
    ("direct", "right"): "on about the inbound course",
    ("direct", "left"): "on about the inbound course",
}


@dataclass(frozen=True)
class Practised:
    """One condition: in how many sessions it was met, and how many sessions ago last (0: the latest; None: never)."""

    key: str
    group: str
    title: str
    sessions: int
    sessions_ago: int | None

    @property
    def due(self) -> bool:
        return self.sessions_ago is None or self.sessions_ago >= STALE_SESSIONS


@dataclass(frozen=True)
class Exercise:
    """What to fly next: the hold in words, what is new or repeated in it, why, and what to watch."""

    title: str
    hold: tuple[str, ...]
    why: tuple[str, ...]
    watch: tuple[str, ...]


def _light(wind_kt: float | None) -> bool:
    return wind_kt is not None and wind_kt < CROSSWIND_KT


_CONDITIONS: tuple[tuple[str, str, str, Callable[[HoldFlown], bool]], ...] = (
    ("turns right", "Side", "right turns", lambda hold: hold.turns == "right"),
    ("turns left", "Side", "left turns", lambda hold: hold.turns == "left"),
    ("wind light", "Wind", f"under {CROSSWIND_KT:.0f} kt", lambda hold: _light(hold.wind_kt)),
    ("wind strong", "Wind", f"{STRONG_WIND_KT:.0f} kt or more", lambda hold: (hold.wind_kt or 0.0) >= STRONG_WIND_KT),
    (
        "wind from holding side",
        "Wind",
        f"{CROSSWIND_KT:.0f} kt or more across, from the holding side",
        lambda hold: (hold.wind_cross_kt or 0.0) >= CROSSWIND_KT,
    ),
    (
        "wind from other side",
        "Wind",
        f"{CROSSWIND_KT:.0f} kt or more across, from the non-holding side",
        lambda hold: (hold.wind_cross_kt or 0.0) <= -CROSSWIND_KT,
    ),
    ("gps", "Guidance", "GPS", lambda hold: hold.guidance == "gps"),
    ("vor TO", "Guidance", "VOR, inbound TO", lambda hold: hold.guidance == "vor" and hold.flag == "TO"),
    ("vor FROM", "Guidance", "VOR, inbound FROM", lambda hold: hold.guidance == "vor" and hold.flag == "FROM"),
    ("leg 1", "Leg", "1 minute", lambda hold: hold.leg_nm is None and (hold.leg_minutes or 1.0) <= 1.0),
    ("leg 1.5", "Leg", "1½ minutes", lambda hold: hold.leg_nm is None and (hold.leg_minutes or 1.0) > 1.0),
    ("leg NM", "Leg", "by distance", lambda hold: hold.leg_nm is not None),
)  # fmt: skip

#: What to add first when several conditions are due.
_ORDER = (
    "turns left",
    "turns right",
    "entry parallel right",
    "entry teardrop right",
    "entry parallel left",
    "entry teardrop left",
    "entry direct right",
    "entry direct left",
    "wind from holding side",
    "wind from other side",
    "wind strong",
    "vor TO",
    "vor FROM",
    "leg NM",
    "gps",
    "leg 1",
    "leg 1.5",
    "wind light",
)


def practised(flown: Sequence[HoldFlown]) -> tuple[Practised, ...]:
    """Every condition with when it was last met. ``flown`` oldest first."""
    order: dict[str, int] = {}
    for hold in flown:
        order.setdefault(hold.flight_hash, len(order))

    def line(key: str, group: str, title: str, met: Callable[[HoldFlown], bool]) -> Practised:
        when = {order[hold.flight_hash] for hold in flown if met(hold)}
        return Practised(key, group, title, len(when), len(order) - 1 - max(when) if when else None)

    lines = [line(*each) for each in _CONDITIONS]
    for turns in ("right", "left"):
        for kind in ("direct", "teardrop", "parallel"):
            entered = partial(_entered, turns, kind)
            lines.append(line(f"entry {kind} {turns}", "Entry", f"{kind}, {turns} turns", entered))
    return tuple(lines)


def _entered(turns: str, kind: str, hold: HoldFlown) -> bool:
    return hold.turns == turns and any(each.flown == kind for each in hold.entries)


def next_exercise(
    lines: Sequence[Practised], shown: Timeline, entries: Sequence[EntryLine], history: PilotHistory
) -> Exercise:
    """What to fly next: the first finding of the latest report, unless what the page claims or shows says why not."""
    latest, recent = history.sessions[-1].holds[-1], history.total.recent
    worse = next((each for each in shown.verdict.claims if each.claimed == "worse" and each.measure != COMPOSITE), None)
    finding, advice = first_finding(history.latest)
    again = next((count for title, _, count in history.findings if title == finding), 0)
    weakest = weakest_item(shown.items)
    ready = recent.value is not None and recent.value >= READY_SHARE
    due = {line.key: line for line in lines if line.due}
    new = None
    if ready and worse is None and not shown.verdict.moved and (not finding or again < 2):
        new = next((due[key] for key in _ORDER if key in due), None)
    turns, entry = latest.turns, "direct"
    wind, guidance, leg = _wind_words(latest), _guidance_words(latest), _leg_words(latest)
    why: list[str] = []
    if new is not None:
        title = f"Add one thing: {_said(new)}"
        ago = "not flown yet" if new.sessions_ago is None else f"last flown {new.sessions_ago} sessions ago"
        why.append(f"{_capital(_said(new))}: {ago}.")
        why.append(f"{percent(recent.value)} of the recent laps were within the standard: there is room for it.")
        turns = new.key.split()[-1] if new.group in ("Side", "Entry") else turns
        entry = new.key.split()[1] if new.group == "Entry" else entry
        wind = _new_wind(new.key) or wind
        guidance = new.title if new.group == "Guidance" else guidance
        leg = new.title if new.group == "Leg" else leg
    elif worse is not None:
        title = f"Keep the conditions, work on: {worse.title.lower()}"
        why.append(f"{worse.title} got worse: this page claims it over {len(shown.verdict.tested)} sessions.")
    elif finding:
        title = f"Keep the conditions, work on: {finding[:1].lower()}{finding[1:]}"
        why.append("It is the first finding of the latest report.")
        why += [advice] if advice else []
    elif ready:
        title = "Keep it: fly a hold you did not choose"
        why.append("The latest report found nothing to work on, and the laps hold.")
    else:
        title = f"Keep the conditions, work on: {weakest.title.lower()}" if weakest else "Fly the same hold once more"
    if finding and (new is not None or worse is not None):
        said = (
            "it was seen in one flight only, so it is watched and not drilled" if new is not None else "it comes second"
        )
        why.append(f"The latest report puts first: {finding}. Here {said}.")
    if shown.verdict.moved:
        why.append(
            f"So that a change of yours can be told from another {shown.verdict.moved[0]}, fly the earlier conditions"
            " once more too."
        )
    if new is None or new.group == "Side":
        entry = _weakest_entry(entries, turns) or entry
    if weakest is not None and weakest.recent.value is not None:
        why.append(
            f"Least often within: {weakest.title.lower()}, {percent(weakest.recent.value)} of"
            f" {weakest.recent.judged} recent measurements."
        )
    return Exercise(
        title=title,
        hold=(
            f"{turns} turns, {leg} inbound",
            f"{entry} entry: arrive {_ARRIVALS[entry, turns]}",
            f"wind: {wind}",
            f"guidance: {guidance}",
            "five laps, so that the last three show what the first two taught",
        ),
        why=tuple(why),
        watch=tuple(f"{title}: {advice}" if advice else title for title, advice, _ in history.findings[:2]),
    )


def first_finding(debrief: Mapping[str, Any]) -> tuple[str, str]:
    """Title and advice of what a report puts first; two empty texts where it found nothing."""
    wrong = [each for each in debrief.get("findings") or () if not each.get("praise")]
    named = {str(each.get("name")): each for each in reversed(wrong)}
    work_on = debrief.get("work_on")
    order = [*(work_on if isinstance(work_on, list) else ()), *(str(each.get("name")) for each in wrong)]
    first = next((named[name] for name in order if isinstance(name, str) and name in named), None)
    if first is None:
        return "", ""
    title = first.get("title") or str(first.get("name") or "").replace("_", " ")
    return plain_text(str(title), 200), plain_text(str(first.get("advice") or ""), 1000)


def weakest_item(items: Sequence[ItemLine]) -> ItemLine | None:
    """The item with the lowest recent share; of equals the one resting on more. None when all are perfect."""
    known = [each for each in items if each.recent.value is not None and each.recent.value < 1.0]
    return min(known, key=lambda each: (each.recent.value, -each.recent.judged), default=None)


def _weakest_entry(entries: Sequence[EntryLine], turns: str) -> str | None:
    """The entry with the lowest share on this side, if any was wrong."""
    known = [(line.share.value, line.kind) for line in entries if line.turns == turns and line.share.value is not None]
    worst = min(known, default=None)
    return worst[1] if worst is not None and worst[0] < 1.0 else None


def _said(line: Practised) -> str:
    match line.group:
        case "Entry":
            return f"{line.title.split(',')[0]} entry with {line.title.split(', ')[1]}"
        case "Wind":
            return f"wind {line.title}"
        case "Leg":
            return f"legs {line.title}" if line.key == "leg NM" else f"legs of {line.title}"
        case "Guidance":
            return f"guidance by {line.title}"
        case _:
            return line.title


def _new_wind(key: str) -> str | None:
    return {
        "wind light": "light, so that nothing hides the basic times",
        "wind strong": "20 kt, more along the inbound course than across it",
        "wind from holding side": "12 kt across the inbound course, from the holding side",
        "wind from other side": "12 kt across the inbound course, from the non-holding side",
    }.get(key)


def _wind_words(latest: HoldFlown) -> str:
    return "as it is" if latest.wind_kt is None else f"as last time, about {latest.wind_kt:.0f} kt"


def _guidance_words(latest: HoldFlown) -> str:
    if latest.guidance is None:
        return "as last time"
    if latest.guidance == "vor":
        return f"VOR, inbound {latest.flag}" if latest.flag else "VOR"
    return latest.guidance.upper()


def _leg_words(latest: HoldFlown) -> str:
    if latest.leg_nm is not None:
        return f"{latest.leg_nm:g} NM"
    return "1½ minutes" if (latest.leg_minutes or 1.0) > 1.0 else "1 minute"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
