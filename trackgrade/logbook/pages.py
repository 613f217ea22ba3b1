"""The progress pages: what each template reads, as a documented context, and the HTML made of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from trackgrade.drawing import frame
from trackgrade.logbook import drawings, wording
from trackgrade.logbook.class_view import ClassView
from trackgrade.logbook.history import PilotHistory, Session
from trackgrade.logbook.practice import Exercise, Practised, next_exercise, practised
from trackgrade.logbook.trends import (
    Convergence,
    EntryLine,
    InboundProgress,
    ItemProgress,
    Share,
    Trend,
    WindLine,
    convergence,
    entry_record,
    inbound_progress,
    item_progress,
    laps_within,
    share,
    wind_met,
)

#: Sessions listed one by one at the foot of a pilot's page.
SESSIONS_LISTED = 20


@dataclass(frozen=True)
class PilotPage:
    """Context of ``pilot.html``; the terminal summary reads the same.

    ``name`` is how the pilot is called on the page (hidden on demand). ``changed``: titles by claim, with
    the sentence. ``sessions`` are those drawn, oldest first, the first of them number ``first_session``.
    """

    name: str
    history: PilotHistory
    recent: Share
    lap_shares: tuple[float | None, ...]
    laps_trend: Trend
    items: tuple[ItemProgress, ...]
    inbound: InboundProgress
    convergence: Convergence
    entries: tuple[EntryLine, ...]
    wind: tuple[WindLine, ...]
    practised: tuple[Practised, ...]
    exercise: Exercise
    names_hidden: bool

    @property
    def sessions(self) -> tuple[Session, ...]:
        return self.history.sessions

    @property
    def first_session(self) -> int:
        return self.history.first_session

    @property
    def listed(self) -> list[tuple[int, Session]]:
        """The latest sessions with their numbers, latest first."""
        numbered = list(enumerate(self.sessions, start=self.first_session))
        return numbered[::-1][:SESSIONS_LISTED]

    def claimed(self, *claims: str) -> list[tuple[str, str]]:
        """Title and sentence of everything whose trend has one of these claims."""
        lines = [
            ("Laps within the standard", self.laps_trend, wording.share_trend_words(self.laps_trend)),
            ("Inbound time, error", self.inbound.size_trend, wording.trend_words(self.inbound.size_trend, "s")),
            ("Inbound time, scatter", self.inbound.scatter_trend, wording.trend_words(self.inbound.scatter_trend, "s")),
            ("Laps to converge", self.convergence.trend, wording.trend_words(self.convergence.trend, "laps")),
        ]
        # The item "inbound time" is the second line of these once more.
        lines += [
            (item.title, item.trend, wording.item_words(item)) for item in self.items if item.item != "inbound_time"
        ]
        return [(title, sentence) for title, trend, sentence in lines if trend.claim in claims and trend.sessions]

    @property
    def laps_sentence(self) -> str:
        return wording.trend_sentence(wording.in_points(self.laps_trend), "points", "share within")

    @property
    def trends_looked_at(self) -> int:
        return len(self.claimed("better", "worse", "no clear trend"))


@dataclass(frozen=True)
class ClassPage:
    """Context of ``class.html``. ``links``: file of a pilot's own page by name, where it was written."""

    view: ClassView
    links: Mapping[str, str]


def pilot_page(history: PilotHistory, *, called: str | None = None) -> PilotPage:
    """Everything about one pilot; ``called`` replaces the name, and leaves instructors and notes out."""
    sessions, first = history.sessions, history.first_session
    items = tuple(item_progress(sessions, first, total) for total in history.total.items)
    lap_shares, laps_trend = laps_within(sessions, first)
    entries = entry_record(history.entries)
    lines = practised(history.flown, history.entries)
    recent = share(history.total.recent)
    return PilotPage(
        name=called or history.total.pilot,
        history=history,
        recent=recent,
        lap_shares=lap_shares,
        laps_trend=laps_trend,
        items=items,
        inbound=inbound_progress(sessions, first),
        convergence=convergence(sessions, first),
        entries=entries,
        wind=wind_met(history.flown),
        practised=lines,
        exercise=next_exercise(lines, sessions[-1].holds[-1], recent, items, entries, history.findings),
        names_hidden=called is not None,
    )


def render_pilot(page: PilotPage) -> str:
    """The pilot's page as one HTML file that needs nothing else."""
    return _render("pilot.html", page)


def render_class(view: ClassView, links: Mapping[str, str] | None = None) -> str:
    """The instructor's page as one HTML file that needs nothing else."""
    return _render("class.html", ClassPage(view, links or {}))


def file_name(pilot: str, taken: Sequence[str] = ()) -> str:
    """A safe and free file name for a pilot's page: letters and digits of any script, the rest as hyphens."""
    safe = "".join(letter if letter.isalnum() else "-" for letter in pilot.casefold())
    stem = "-".join(part for part in safe.split("-") if part)[:60] or "pilot"
    name, n = f"progress-{stem}.html", 2
    while name in taken:
        name, n = f"progress-{stem}-{n}.html", n + 1
    return name


def _render(template: str, page: PilotPage | ClassPage) -> str:
    context = {"page": page, "words": wording, "draw": drawings}
    return frame.render("logbook", template, context, styles=("style.css",))
