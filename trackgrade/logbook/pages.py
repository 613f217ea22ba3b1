"""The progress pages: what each template reads, as a documented context, and the HTML and JSON made of it."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from markupsafe import Markup

from trackgrade.drawing import frame
from trackgrade.logbook import drawings, wording
from trackgrade.logbook.claims import Change
from trackgrade.logbook.class_view import ClassView
from trackgrade.logbook.history import PilotHistory, Session
from trackgrade.logbook.practice import Exercise, Practised, next_exercise, practised
from trackgrade.logbook.queries import pilot_history
from trackgrade.logbook.store import Logbook
from trackgrade.logbook.timeline import Timeline, timeline

#: Sessions listed one by one at the foot of a pilot's page.
SESSIONS_LISTED = 20

#: What ``progress --json`` writes; the keys of a claim are told in docs/logbook.md.
SCHEMA = "trackgrade.progress/1"

CLASS_PAGE = "progress-class.html"


@dataclass(frozen=True, eq=False)
class PilotPage:
    """Context of ``pilot.html``; the terminal summary and the JSON read the same.

    ``name`` is how the pilot is called on the page (hidden on demand). ``reports``: where the report of a recording
    is, as the page links it.
    """

    name: str
    history: PilotHistory
    shown: Timeline
    practised: tuple[Practised, ...]
    exercise: Exercise
    names_hidden: bool
    reports: Mapping[int, str]

    @property
    def sessions(self) -> tuple[Session, ...]:
        return self.history.sessions

    @property
    def listed(self) -> list[tuple[int, Session]]:
        """The latest sessions with their numbers, latest first."""
        numbered = list(enumerate(self.sessions, start=self.history.first_session))
        return numbered[::-1][:SESSIONS_LISTED]

    @property
    def tested(self) -> tuple[Session, ...]:
        """The sessions that claims are about: all, or since a long break that cost something."""
        return tuple(self.sessions[n] for n in self.shown.verdict.tested)

    @property
    def primary(self) -> str:
        """What may be said of change, in a sentence."""
        return wording.primary(self.shown.verdict, self.tested, len(self.sessions))

    @property
    def pictures(self) -> list[tuple[Session, Markup, str]]:
        """The latest sessions as small drawings from above, with the link to the report."""
        return [
            (
                session,
                picture,
                next((self.reports[h.recording_id] for h in session.holds if h.recording_id in self.reports), ""),
            )
            for session, picture in drawings.sights(self.sessions, self.history.seen)
        ]


def pilot_page(
    history: PilotHistory,
    *,
    called: str | None = None,
    folder: Path | None = None,
    reports: Mapping[int, str] | None = None,
) -> PilotPage:
    """Everything about one pilot; ``called`` replaces the name, and leaves instructors, notes and reports out.

    ``folder``: where the page will be; reports that are still where they were written are linked from it.
    ``reports``: the address of a recording's report, where it is known otherwise.
    """
    shown = timeline(history)
    lines = practised(history.flown)
    return PilotPage(
        name=called or history.total.pilot,
        history=history,
        shown=shown,
        practised=lines,
        exercise=next_exercise(lines, shown, history),
        names_hidden=called is not None,
        reports={} if called is not None else reports or (_reports(history.flown, folder) if folder else {}),
    )


def _reports(flown: Sequence[Any], folder: Path) -> dict[int, str]:
    there = [(hold.recording_id, Path(hold.report)) for hold in flown if hold.report]
    return {
        key: Path(os.path.relpath(path, folder.resolve())).as_posix()
        for key, path in there
        if path.is_absolute() and path.is_file()
    }


def page_json(page: PilotPage) -> dict[str, Any]:
    """The page for scripts: what is claimed, and what was tested and is not."""
    verdict = page.shown.verdict
    tested = [each.started_epoch_s for each in page.tested]
    return {
        "schema": SCHEMA,
        "pilot": page.name,
        "standard": page.history.total.standard,
        "sessions": page.history.total.sessions,
        "tested_sessions": len(tested),
        "tested_from": wording.date(tested[0]) if tested else None,
        "tested_to": wording.date(tested[-1]) if tested else None,
        "claims": [change_json(each) for each in verdict.claims],
        "tested": [change_json(each) for each in ((verdict.composite,) if verdict.composite else ()) + verdict.items],
        "not_told_from_time": list(verdict.moved),
        "says": page.primary,
        "fly_next": {"title": page.exercise.title, "hold": page.exercise.hold, "why": page.exercise.why},
    }


def change_json(change: Change) -> dict[str, Any]:
    """One change, in per cent of the errors at the start; ``direction`` null: not claimed."""
    return {
        "measure": change.measure,
        "title": change.title,
        "direction": change.claimed,
        "change": round(change.change, 2),
        "interval": [round(each, 2) for each in change.interval],
        "change_unit": "%",
        "p": round(change.p, 5),
        "first": None if change.first is None else round(change.first, 4),
        "last": None if change.last is None else round(change.last, 4),
        "unit": change.unit,
    }


def render_pilot(page: PilotPage, ribbon: Markup = frame.NO_RIBBON) -> str:
    """The pilot's page as one HTML file that needs nothing else; ``ribbon`` as in `frame.render`."""
    return _render("pilot.html", {"page": page}, ribbon)


def render_class(view: ClassView, links: Mapping[str, str] | None = None, ribbon: Markup = frame.NO_RIBBON) -> str:
    """The instructor's page as one HTML file that needs nothing else; ``links``: a pilot's own page, by name."""
    return _render("class.html", {"view": view, "links": links or {}}, ribbon)


def class_pages(logbook: Logbook, view: ClassView, *, each: bool) -> dict[str, Callable[[], str]]:
    """The page of the class, last, and where ``each`` is wanted before it every pilot's: by file name, made when
    called."""
    links: dict[str, str] = {}
    for row in view.rows if each else ():
        links[row.pilot] = file_name(row.pilot, [*links.values(), CLASS_PAGE])

    def own(pilot: str) -> str:
        return render_pilot(pilot_page(pilot_history(logbook, pilot, view.standard)))

    pages: dict[str, Callable[[], str]] = {name: partial(own, pilot) for pilot, name in links.items()}
    return pages | {CLASS_PAGE: lambda: render_class(view, links)}


def file_name(pilot: str, taken: Sequence[str] = ()) -> str:
    """A safe and free file name for a pilot's page: letters and digits of any script, the rest as hyphens."""
    safe = "".join(letter if letter.isalnum() else "-" for letter in pilot.casefold())
    stem = "-".join(part for part in safe.split("-") if part)[:60] or "pilot"
    name, n = f"progress-{stem}.html", 2
    while name in taken:
        name, n = f"progress-{stem}-{n}.html", n + 1
    return name


def _render(template: str, context: dict[str, Any], ribbon: Markup) -> str:
    helpers = {"words": wording, "draw": drawings}
    return frame.render("logbook", template, context | helpers, styles=("style.css",), ribbon=ribbon)
