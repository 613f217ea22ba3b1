"""``trackgrade progress``: a pilot's trends, or a class side by side, from the logbook."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trackgrade.commands import console
from trackgrade.errors import UsageError

if TYPE_CHECKING:
    from trackgrade.logbook.class_view import ClassView
    from trackgrade.logbook.pages import PilotPage
    from trackgrade.logbook.store import Logbook


@click.command("progress", epilog=console.CAUTION)
@click.option("--pilot", metavar="NAME", help="One pilot's page; without it, all pilots side by side.")
@click.option("--logbook", metavar="PATH|URL", help="Another logbook than the one in your data folder.")
@click.option("--out", default="reports", metavar="DIR", show_default=True, help="Folder for the pages.")
@click.option("--standard", metavar="NAME", help="Sessions graded to this standard; default: the one used most.")
@click.option(
    "--sort", type=click.Choice(["work", "name", "laps"]), help="Order of the class; default: who needs work."
)
@click.option("--hold", metavar="NAME", help="The hold on which the class is compared; default: the one most flew.")
@click.option("--each", is_flag=True, help="With the class, write every pilot's page too.")
@click.option("--hide-names", is_flag=True, help="Number the pilots, and leave instructors and notes out.")
@click.option(
    "--json", "json_path", metavar="FILE", help='Write what is claimed, and what is not, as JSON ("-": here).'
)
@click.option("--no-html", is_flag=True, help="Write no page, only the summary below.")
def command(
    pilot: str | None,
    logbook: str | None,
    out: str,
    standard: str | None,
    sort: str | None,
    hold: str | None,
    each: bool,
    hide_names: bool,
    json_path: str | None,
    no_html: bool,
) -> None:
    """Show what got better over the recorded sessions, what did not, and what to fly next.

    Record sessions with: trackgrade grade TRACK --hold HOLD.toml --pilot NAME
    """
    if pilot is not None and (sort or hold or each):
        raise UsageError("--sort, --hold and --each are for the class: leave --pilot out.")
    if each and (hide_names or no_html):
        raise UsageError("--each writes pages by name: leave --hide-names and --no-html out.")
    from trackgrade.files import spare_inputs, write_whole
    from trackgrade.logbook.store import Logbook

    with Logbook(logbook, create=False) as opened:
        folder = Path(out)
        if pilot is not None:
            told = _one_pilot(opened, pilot, standard, None if no_html else folder, hide_names)
        else:
            told = _whole_class(opened, standard, sort or "work", hold, each, hide_names)
        pages = {} if no_html else {folder / name: render for name, render in told.pages.items()}
        spare_inputs([*pages, None if json_path == "-" else json_path], opened.files)
        say = console.note if json_path == "-" else console.say
        if json_path is not None:
            text = json.dumps(told.content(), indent=1, ensure_ascii=False) + "\n"
            click.echo(text, nl=False) if json_path == "-" else write_whole(json_path, text)
        if json_path != "-":
            say(told.text)
        with console.progress(len(pages), "pages") as advance:
            for path, render in pages.items():
                write_whole(path, render())
                advance()
        if pages:
            say(f"Page: {list(pages)[-1]}")
        if len(pages) > 1:
            say(f"Pages of the pilots: {len(pages) - 1}, linked from it.")
    say(console.CAUTION)


@dataclass(frozen=True, eq=False)
class _Told:
    """The summary, the JSON, and pages by file name, the one to open last; each is made only where it is wanted."""

    text: str
    content: Callable[[], dict[str, Any]]
    pages: dict[str, Callable[[], str]]


def _one_pilot(logbook: Logbook, pilot: str, standard: str | None, folder: Path | None, hide_names: bool) -> _Told:
    from trackgrade.logbook.pages import file_name, page_json, pilot_page, render_pilot
    from trackgrade.logbook.queries import pilot_history

    called = "A pilot" if hide_names else None
    page = pilot_page(pilot_history(logbook, pilot, standard), called=called, folder=folder)
    return _Told(_pilot_text(page), lambda: page_json(page), {file_name(page.name): lambda: render_pilot(page)})


def _whole_class(
    logbook: Logbook, standard: str | None, sorting: str, hold: str | None, each: bool, hide_names: bool
) -> _Told:
    from trackgrade.logbook.class_view import class_view
    from trackgrade.logbook.pages import class_pages
    from trackgrade.logbook.queries import class_history

    history = class_history(logbook, standard, hold)
    view = class_view(history, sorting=sorting, hide_names=hide_names)
    names = [each.pilot for each in history.pilots]
    return _Told(_class_text(view), lambda: _class_json(logbook, view, names), class_pages(logbook, view, each=each))


def _pilot_text(page: PilotPage) -> str:
    from trackgrade.logbook import wording

    total, shown = page.history.total, page.shown
    lines = [
        console.emphasise(
            f"{page.name}: {wording.count(total.sessions, 'session')}, {wording.count(total.laps, 'lap')}"
        )
        + f", {wording.date(total.first_epoch_s)} to {wording.date(total.last_epoch_s)}. {total.title}.",
        f"  {page.primary}",
        f"  Laps within the standard: {wording.share_words(total.recent)}, last {total.recent.sessions} sessions.",
        f"  Inbound time: {wording.bias_sentence(shown.inbound)}",
        f"  Laps to converge: {wording.convergence_sentence(shown.convergence)}",
        "",
    ]
    rows = [
        (
            line.title,
            "–" if line.limit is None else wording.number(line.limit, line.unit),
            wording.percent(line.recent.value),
            wording.level(line, line.before),
            wording.level(line, line.lately),
            wording.change_words(line.change) if line.change else "–",
            wording.claim(line),
        )
        for line in shown.items
        if line.measured
    ]
    header = ("item", "limit", "within", "5 before", "last 5", "change, 95 % interval", "claimed")
    lines += [console.table(header, rows), ""]
    never = [each.condition for each in page.practised if each.sessions_ago is None]
    if never:
        lines.append(f"  Not practised yet: {'; '.join(f'{each.title} ({each.group.lower()})' for each in never)}.")
    lines += ["", console.emphasise(f"  Fly next. {page.exercise.title}")]
    lines += [f"    {line}" for line in (*page.exercise.hold, *page.exercise.why)]
    return "\n".join(lines)


def _class_json(logbook: Logbook, view: ClassView, names: Sequence[str]) -> dict[str, Any]:
    """The class for scripts: where each pilot stands, and what may be claimed of each."""
    from trackgrade.logbook.class_view import aliases
    from trackgrade.logbook.pages import SCHEMA, page_json, pilot_page
    from trackgrade.logbook.queries import pilot_history

    real = (
        {alias: name for name, alias in aliases(names).items()} if view.names_hidden else {each: each for each in names}
    )
    pilots, claims = [], []
    with console.progress(len(view.rows), "pilots") as advance:
        for row in view.rows:
            history = pilot_history(logbook, real[row.pilot], view.standard)
            own = page_json(pilot_page(history, called=row.pilot))
            claims += [{"pilot": row.pilot} | claim for claim in own["claims"]]
            pilots.append(own | {"standing": None if row.standing is None else row.standing.__dict__})
            advance()
    return {"schema": SCHEMA, "standard": view.standard, "claims": claims, "pilots": pilots}


def _class_text(view: ClassView) -> str:
    from trackgrade.logbook import wording

    rows = [
        (
            row.pilot,
            (row.weakest or "–"),
            wording.percent(row.total.recent.value),
            str(row.total.recent.judged),
            *wording.standing(row.standing),
            str(row.total.sessions),
            wording.date(row.total.last_epoch_s),
        )
        for row in view.rows
    ]
    header = ("pilot", "weakest item", "within", "n", "on equal terms", "lowest third", "sessions", "last flown")
    lines = [
        console.emphasise(f"{wording.count(len(view.rows), 'pilot')}. {view.title}.")
        + " Within: laps of each one's last five sessions.",
        console.table(header, rows, left=2),
        f"  {wording.EQUAL_TERMS}",
        f"  The class: {wording.share_words(view.laps)}.",
    ]
    if view.hardest:
        words = wording.share_words(view.hardest.recent, "measurements")
        lines.append(f"  Hardest item: {view.hardest.title.lower()}, {words}.")
    return "\n".join(lines)
