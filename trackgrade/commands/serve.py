"""``trackgrade serve``: the whole job in the browser of this machine."""

from __future__ import annotations

import os
from pathlib import Path

import click

from trackgrade.commands import console
from trackgrade.errors import UsageError
from trackgrade.files import data_folder

#: As `trackgrade.logbook.database.ENVIRONMENT` has it, which brings the database with it.
LOGBOOK_VARIABLE = "TRACKGRADE_LOGBOOK"


@click.command(
    "serve", epilog=f"Only this machine can reach the page, and only with the key in the address. {console.CAUTION}"
)
@click.option("--port", type=click.IntRange(0, 65535), default=0, metavar="N", help="Port; default: a free one.")
@click.option("--no-browser", is_flag=True, help="Open no browser, only print the address.")
@click.option("--data", metavar="DIR", help="Folder for tracks, reports and logbook; default: your data folder.")
@click.option("--holds", metavar="DIR", help="Another hold set, such as a school's shared folder.")
@click.option("--logbook", metavar="PATH|URL", help="Another logbook, such as a school's database.")
def command(port: int, no_browser: bool, data: str | None, holds: str | None, logbook: str | None) -> None:
    """Serve the page until Ctrl-C: drop tracks on it, take a hold, grade, read, brief, follow pilots.

    Prints the address, with the key that lets you in. What was graded is still there the next time.
    """
    if data == "":
        raise UsageError("--data: the name is empty; give a folder, or leave the option out")
    try:
        from trackgrade.page.serving import serve
    except ModuleNotFoundError as missing:
        if (missing.name or "").split(".")[0] not in ("flask", "waitress", "werkzeug"):
            raise
        raise UsageError("the page needs two more packages: pip install flask waitress") from None
    from trackgrade.hold import holdset

    # A data folder of one's own has its own logbook; holds are no personal data and are those of the commands.
    folder = Path(data) if data is not None else data_folder() / "page"
    place = logbook or os.environ.get(LOGBOOK_VARIABLE, "").strip()
    if data is not None:
        place = place or str(folder / "logbook.sqlite")

    def ready(address: str) -> None:
        console.say(address)
        console.note("Serving this machine until Ctrl-C. Keep the address to yourself: it has the key in it.")
        if not no_browser:
            _open(address)

    serve(folder.absolute(), holdset.folder_of(holds).absolute(), place and _absolute(place), port, ready)
    console.note("Ended. What was graded is kept.")


def _absolute(place: str) -> str:
    """A path from where the command was given; an address of a database as it is."""
    return place if "://" in place else str(Path(place).absolute())


def _open(address: str) -> None:
    """Open the browser beside the server, and quietly where there is none."""
    import threading
    import webbrowser

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
