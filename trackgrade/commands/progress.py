"""``trackgrade progress``: a pilot's trends, or a class side by side, from the logbook."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trackgrade.commands import console
from trackgrade.errors import UsageError

if TYPE_CHECKING:
    from trackgrade.logbook.class_view import ClassView
    from trackgrade.logbook.pages import PilotPage
    from trackgrade.logbook.store import Logbook

CLASS_PAGE = "progress-class.html"


@click.command(
    "progress",
    short_help="Trends over the sessions of a pilot, or of a class.",
    epilog=console.CAUTION,
)
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
    from trackgrade.logbook.store import Logbook

    with Logbook(logbook, create=False) as opened:
        folder = None if no_html else Path(out)
        if pilot is not None:
            _one_pilot(opened, pilot, standard, folder, hide_names, json_path)
        else:
            _whole_class(opened, standard, sort or "work", hold, folder, each, hide_names, json_path)
    (console.note if json_path == "-" else console.say)(console.CAUTION)


def _one_pilot(
    logbook: Logbook, pilot: str, standard: str | None, folder: Path | None, hide_names: bool, json_path: str | None
) -> None:
    from trackgrade.files import spare_inputs, write_whole
    from trackgrade.logbook.pages import file_name, page_json, pilot_page, render_pilot
    from trackgrade.logbook.queries import pilot_history

    called = "A pilot" if hide_names else None
    page = pilot_page(pilot_history(logbook, pilot, standard), called=called, folder=folder)
    path = None if folder is None else folder / file_name(page.name)
    spare_inputs([path, json_path], logbook.files)
    if json_path is not None:
        _write_json(json_path, page_json(page))
    say = console.note if json_path == "-" else console.say
    if json_path != "-":
        say(_pilot_text(page))
    if path is not None:
        write_whole(path, render_pilot(page))
        say(f"Page: {path}")


def _write_json(path: str, content: dict[str, Any]) -> None:
    import json

    from trackgrade.files import write_whole

    text = json.dumps(content, indent=1, ensure_ascii=False) + "\n"
    if path == "-":
        click.echo(text, nl=False)
    else:
        write_whole(path, text)


def _whole_class(
    logbook: Logbook,
    standard: str | None,
    sorting: str,
    hold: str | None,
    folder: Path | None,
    each: bool,
    hide_names: bool,
    json_path: str | None,
) -> None:
    from trackgrade.files import spare_inputs, write_whole
    from trackgrade.logbook.class_view import SORTINGS, class_view
    from trackgrade.logbook.pages import file_name, render_class
    from trackgrade.logbook.queries import class_history

    order = next(each for each in SORTINGS if each == sorting)
    history = class_history(logbook, standard, hold)
    view = class_view(history, sorting=order, hide_names=hide_names)
    links: dict[str, str] = {}
    for row in view.rows if each else ():
        links[row.pilot] = file_name(row.pilot, [*links.values(), CLASS_PAGE])
    pages = [] if folder is None else [folder / name for name in (CLASS_PAGE, *links.values())]
    spare_inputs([*pages, json_path], logbook.files)
    if json_path is not None:
        _write_json(json_path, _class_json(logbook, view, [each.pilot for each in history.pilots]))
    say = console.note if json_path == "-" else console.say
    if json_path != "-":
        say(_class_text(view))
    if folder is None:
        return
    _write_pages_of_pilots(logbook, view, folder, links)
    write_whole(pages[0], render_class(view, links))
    say(f"Page: {pages[0]}")
    if links:
        say(f"Pages of the pilots: {len(links)}, linked from it.")


def _write_pages_of_pilots(logbook: Logbook, view: ClassView, folder: Path, names: Mapping[str, str]) -> None:
    from trackgrade.files import write_whole
    from trackgrade.logbook.pages import pilot_page, render_pilot
    from trackgrade.logbook.queries import pilot_history

    with console.progress(len(names), "pages") as advance:
        for pilot, name in names.items():
            write_whole(folder / name, render_pilot(pilot_page(pilot_history(logbook, pilot, view.standard))))
            advance()


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
    never = [f"{line.title} ({line.group.lower()})" for line in page.practised if line.sessions_ago is None]
    if never:
        lines.append(f"  Not practised yet: {'; '.join(never)}.")
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
            wording.percent(row.laps.value),
            str(row.laps.judged),
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
        words = wording.share_words(view.hardest.share, "measurements")
        lines.append(f"  Hardest item: {view.hardest.title.lower()}, {words}.")
    return "\n".join(lines)
