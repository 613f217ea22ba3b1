"""What a pilot has practised, what not, and the exercise to fly next. Pure.

One new thing at a time: a pilot whose laps are mostly outside keeps the conditions and works on the weakest
item; one whose laps hold gets the first due condition of `_ORDER`. The limits and the order are our own choice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from trackgrade.logbook.history import EntryFlown, HoldFlown
from trackgrade.logbook.trends import EntryLine, ItemProgress, Share

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


def practised(flown: Sequence[HoldFlown], entries: Sequence[EntryFlown]) -> tuple[Practised, ...]:
    """Every condition with when it was last met. ``flown`` and ``entries`` oldest first."""
    order: dict[str, int] = {}
    for hold in flown:
        order.setdefault(hold.flight_hash, len(order))
    total = len(order)
    lines = []
    for key, group, title, holds in _CONDITIONS:
        met = sorted({order[hold.flight_hash] for hold in flown if holds(hold)})
        lines.append(Practised(key, group, title, len(met), total - 1 - met[-1] if met else None))
    times = {hold.started_epoch_s: order[hold.flight_hash] for hold in flown}
    for turns in ("right", "left"):
        for kind in ("direct", "teardrop", "parallel"):
            met = sorted(
                {
                    times[each.started_epoch_s]
                    for each in entries
                    if each.turns == turns and each.flown == kind and each.started_epoch_s in times
                }
            )
            lines.append(
                Practised(
                    f"entry {kind} {turns}",
                    "Entry",
                    f"{kind}, {turns} turns",
                    len(met),
                    total - 1 - met[-1] if met else None,
                )
            )
    return tuple(lines)


def next_exercise(
    lines: Sequence[Practised],
    latest: HoldFlown,
    recent: Share,
    items: Sequence[ItemProgress],
    entries: Sequence[EntryLine],
    findings: Sequence[tuple[str, str, int]],
) -> Exercise:
    """The exercise that follows from what was practised and how it went.

    ``recent``: share of laps within the standard over the last sessions; ``latest``: the last hold flown.
    """
    weakest = weakest_item(items)
    ready = recent.value is not None and recent.value >= READY_SHARE
    due = {line.key: line for line in lines if line.due}
    new = next((due[key] for key in _ORDER if key in due), None) if ready else None
    turns, entry = latest.turns, "direct"
    wind, guidance, leg = _wind_words(latest), _guidance_words(latest), _leg_words(latest)
    why: list[str] = []

    if new is not None:
        title = f"Add one thing: {_said(new)}"
        ago = "not flown yet" if new.sessions_ago is None else f"last flown {new.sessions_ago} sessions ago"
        why.append(f"{_capital(_said(new))}: {ago}.")
        why.append(f"{_percent(recent)} of the recent laps were within the standard: there is room for it.")
        turns = new.key.split()[-1] if new.group in ("Side", "Entry") else turns
        entry = new.key.split()[1] if new.group == "Entry" else entry
        wind = _new_wind(new.key) or wind
        guidance = new.title if new.group == "Guidance" else guidance
        leg = new.title if new.group == "Leg" else leg
    elif ready:
        title = "Keep it: fly a hold you did not choose"
        why.append("Every condition was practised lately, and the laps hold.")
    else:
        title = f"Keep the conditions, work on: {weakest.title.lower()}" if weakest else "Fly the same hold once more"
        if recent.value is not None:
            why.append(f"{_percent(recent)} of the recent laps were within the standard: nothing new yet.")
    if new is None or new.group == "Side":
        entry = _weakest_entry(entries, turns) or entry
    if weakest is not None and weakest.recent.value is not None:
        why.append(
            f"Weakest item: {weakest.title.lower()}, {_percent(weakest.recent)} of"
            f" {weakest.recent.judged} recent measurements within."
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
        watch=tuple(f"{title}: {advice}" if advice else title for title, advice, _ in findings[:2]),
    )


def weakest_item(items: Sequence[ItemProgress]) -> ItemProgress | None:
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


def _percent(share: Share) -> str:
    assert share.value is not None
    return f"{100 * share.value:.0f} %"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
