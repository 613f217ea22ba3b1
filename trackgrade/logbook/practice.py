"""What a pilot has practised, what not, and the exercise to fly next. Pure.

One thing at a time. What the latest report puts first comes first, unless the page claims that an item got worse; a
pilot whose laps hold, and whose report found nothing that was found before, gets the due condition of the lowest rank.
The limits and the order are our own choice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from trackgrade.files import plain_text
from trackgrade.logbook.claims import COMPOSITE
from trackgrade.logbook.history import EntryRow, HoldFlown, PilotHistory
from trackgrade.logbook.shares import Share, share
from trackgrade.logbook.timeline import ItemLine, Timeline
from trackgrade.logbook.wording import percent

#: At and above this a wind counts as strong, and this much across the inbound course as a crosswind [kt].
STRONG_WIND_KT = 15.0
CROSSWIND_KT = 8.0

#: A condition not met in this many sessions is due again.
STALE_SESSIONS = 8

#: Share of laps within the standard at which something new is added rather than the old repeated.
READY_SHARE = 0.6

#: The middle of each entry's sector, by entry and side of the turns, the one to add first first. Sectors of the 70
#: degree line of AIM 5-3-8: with right turns teardrop reaches 70 degrees to the left of the outbound course, parallel
#: 110 to its right.
_ARRIVALS = {
    ("parallel", "right"): "on a heading 55° right of the outbound course",
    ("teardrop", "right"): "on a heading 35° left of the outbound course",
    ("parallel", "left"): "on a heading 55° left of the outbound course",
    ("teardrop", "left"): "on a heading 35° right of the outbound course",
    ("direct", "right"): "on about the inbound course",
    ("direct", "left"): "on about the inbound course",
}


@dataclass(frozen=True, eq=False)
class Condition:
    """Something that a hold is flown with: as it stands in a list (``title``), and in a sentence (``said``).

    ``rank``: of several due, the lowest is added first. ``met``: whether a hold was flown with it. ``flies``: what an
    exercise that adds it asks for in place of the last hold's; where empty, the title in place of its ``group``.
    """

    group: str
    title: str
    said: str
    rank: int
    met: Callable[[HoldFlown], bool]
    flies: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Practised:
    """In how many sessions a condition was met, how many sessions ago last (0: the latest; None: never), how it went.

    ``share``: of the laps flown with it, those within the standard; of an entry, how often it was flown where the
    sector asked for it, and else ``instead``: what was flown and how often.
    """

    condition: Condition
    sessions: int
    sessions_ago: int | None
    share: Share
    instead: tuple[tuple[str, int], ...]

    @property
    def due(self) -> bool:
        return self.sessions_ago is None or self.sessions_ago >= STALE_SESSIONS


@dataclass(frozen=True, eq=False)
class Exercise:
    """What to fly next: the hold in words, what is new or repeated in it, why, and what to watch."""

    title: str
    hold: tuple[str, ...]
    why: tuple[str, ...]
    watch: tuple[str, ...]


def _vor(flag: str) -> Callable[[HoldFlown], bool]:
    return lambda hold: hold.guidance == "vor" and hold.flag == flag


def _across(side: float) -> Callable[[HoldFlown], bool]:
    return lambda hold: side * (hold.wind_cross_kt or 0.0) >= CROSSWIND_KT


def _entered(kind: str, turns: str) -> Callable[[HoldFlown], bool]:
    return lambda hold: hold.turns == turns and any(each.flown == kind for each in hold.entries)


_CROSSWIND = f"{CROSSWIND_KT:.0f} kt or more across, from the"
_BETWEEN = f"{CROSSWIND_KT:.0f} to {STRONG_WIND_KT:.0f} kt"
_CONDITIONS = (
    Condition("Side", "right turns", "right turns", 1, lambda hold: hold.turns == "right", {"turns": "right"}),
    Condition("Side", "left turns", "left turns", 0, lambda hold: hold.turns == "left", {"turns": "left"}),
    Condition("Wind", f"under {CROSSWIND_KT:.0f} kt", f"wind under {CROSSWIND_KT:.0f} kt", 17,
              lambda hold: hold.wind_kt is not None and hold.wind_kt < CROSSWIND_KT,
              {"wind": "light, so that nothing hides the basic times"}),
    Condition("Wind", _BETWEEN, f"wind {_BETWEEN}", 18,
              lambda hold: hold.wind_kt is not None and CROSSWIND_KT <= hold.wind_kt < STRONG_WIND_KT,
              {"wind": "about 12 kt"}),
    Condition("Wind", f"{STRONG_WIND_KT:.0f} kt or more", f"wind {STRONG_WIND_KT:.0f} kt or more", 10,
              lambda hold: (hold.wind_kt or 0.0) >= STRONG_WIND_KT,
              {"wind": "20 kt, more along the inbound course than across it"}),
    *(Condition("Wind", f"{_CROSSWIND} {which} side", f"wind {_CROSSWIND} {which} side", rank, _across(side),
                {"wind": f"12 kt across the inbound course, from the {which} side"})
      for rank, which, side in ((8, "holding", 1.0), (9, "non-holding", -1.0))),
    Condition("Guidance", "GPS", "guidance by GPS", 14, lambda hold: hold.guidance == "gps"),
    Condition("Guidance", "VOR, inbound TO", "guidance by VOR, inbound TO", 11, _vor("TO")),
    Condition("Guidance", "VOR, inbound FROM", "guidance by VOR, inbound FROM", 12, _vor("FROM")),
    Condition("Leg", "1 minute", "legs of 1 minute", 15,
              lambda hold: hold.leg_nm is None and (hold.leg_minutes or 1.0) <= 1.0),
    Condition("Leg", "1½ minutes", "legs of 1½ minutes", 16,
              lambda hold: hold.leg_nm is None and (hold.leg_minutes or 1.0) > 1.0),
    Condition("Leg", "by distance", "legs by distance", 13, lambda hold: hold.leg_nm is not None),
    *(Condition("Entry", f"{kind}, {turns} turns", f"{kind} entry with {turns} turns",
                2 + list(_ARRIVALS).index((kind, turns)), _entered(kind, turns), {"entry": kind, "turns": turns})
      for turns in ("right", "left") for kind in ("direct", "teardrop", "parallel")),
)  # fmt: skip


def practised(flown: Sequence[HoldFlown]) -> tuple[Practised, ...]:
    """Every condition with when it was last met, and how it went. ``flown`` oldest first."""
    order: dict[str, int] = {}
    for hold in flown:
        order.setdefault(hold.flight_hash, len(order))
    lines = []
    for each in _CONDITIONS:
        met = [hold for hold in flown if each.met(hold)]
        when = {order[hold.flight_hash] for hold in met}
        counts, instead = [(hold.laps_judged, hold.laps_within) for hold in met], Counter[str]()
        if kind := each.flies.get("entry"):
            here = [hold for hold in flown if hold.turns == each.flies["turns"]]
            asked = [entry for hold in here for entry in hold.entries if entry.expected == kind]
            counts = [(1, int(entry.right)) for entry in asked if entry.right is not None]
            instead.update(_flown_words(entry) for entry in asked if not entry.right)
        ago = len(order) - 1 - max(when) if when else None
        lines.append(Practised(each, len(when), ago, share(counts), tuple(sorted(instead.items()))))
    return tuple(lines)


def _flown_words(entry: EntryRow) -> str:
    return f"{entry.flown or 'unclear'}{' the wrong way' if entry.turned_wrong_way else ''}"


def next_exercise(lines: Sequence[Practised], shown: Timeline, history: PilotHistory) -> Exercise:
    """What to fly next: the first finding of the latest report, unless what the page claims or shows says why not."""
    latest, recent = history.sessions[-1].holds[-1], history.total.recent
    worse = next((each for each in shown.verdict.claims if each.claimed == "worse" and each.measure != COMPOSITE), None)
    finding, advice = first_finding(history.latest)
    again = next((count for title, _, count in history.findings if title == finding), 0)
    weakest = weakest_item(shown.items)
    ready = recent.value is not None and recent.value >= READY_SHARE
    new = None
    if ready and worse is None and not shown.verdict.moved and (not finding or again < 2):
        new = min((line for line in lines if line.due), key=lambda line: line.condition.rank, default=None)
    hold = _last_hold(latest)
    why: list[str] = []
    if new is not None:
        adds = new.condition
        title = f"Add one thing: {adds.said}"
        ago = "not flown yet" if new.sessions_ago is None else f"last flown {new.sessions_ago} sessions ago"
        why.append(f"{adds.said[:1].upper()}{adds.said[1:]}: {ago}.")
        why.append(f"{percent(recent.value)} of the recent laps were within the standard: there is room for it.")
        hold |= adds.flies or {adds.group.lower(): adds.title}
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
    if new is None or new.condition.group == "Side":
        hold["entry"] = _weakest_entry(lines, hold["turns"]) or hold["entry"]
    if weakest is not None and weakest.recent.value is not None:
        why.append(
            f"Least often within: {weakest.title.lower()}, {percent(weakest.recent.value)} of"
            f" {weakest.recent.judged} recent measurements."
        )
    return Exercise(
        title=title,
        hold=(
            f"{hold['turns']} turns, {hold['leg']} inbound",
            f"{hold['entry']} entry: arrive {_ARRIVALS[hold['entry'], hold['turns']]}",
            f"wind: {hold['wind']}",
            f"guidance: {hold['guidance']}",
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


def _weakest_entry(lines: Sequence[Practised], turns: str) -> str | None:
    """The entry with the lowest share on this side, if any was wrong."""
    entries = [line for line in lines if "entry" in line.condition.flies and line.condition.flies["turns"] == turns]
    known = [(line.share.value, line.condition.flies["entry"]) for line in entries if line.share.value is not None]
    worst = min(known, default=None)
    return worst[1] if worst is not None and worst[0] < 1.0 else None


def _last_hold(latest: HoldFlown) -> dict[str, str]:
    """The hold flown last, as an exercise asks for it once more, entered the simplest way."""
    guidance = "as last time" if latest.guidance is None else latest.guidance.upper()
    if latest.guidance == "vor" and latest.flag:
        guidance += f", inbound {latest.flag}"
    minutes = "1½ minutes" if (latest.leg_minutes or 1.0) > 1.0 else "1 minute"
    return {
        "turns": latest.turns,
        "entry": "direct",
        "wind": "as it is" if latest.wind_kt is None else f"as last time, about {latest.wind_kt:.0f} kt",
        "guidance": guidance,
        "leg": minutes if latest.leg_nm is None else f"{latest.leg_nm:g} NM",
    }
