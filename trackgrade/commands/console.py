"""What the terminal shows: plain text, aligned tables, a progress bar; colour only where it can be seen."""

from __future__ import annotations

import contextlib
import os
import sys
import time
import unicodedata
from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager

import click

from trackgrade.caution import CAUTION as CAUTION

#: Colours of the four results of an item; words carry the meaning, colour only helps.
RESULT_COLOURS = {"within": "green", "brief excursion": "yellow", "outside": "red", "not measurable": None}

#: Items that rate and time left are told by: enough to be steady, few enough to follow a machine that gets busy.
_LATELY = 50


def plain(text: str) -> str:
    """The text without control, direction or line-break characters: a name cannot drive the terminal."""
    if str(text).isprintable():
        return str(text)
    return "".join(
        character if unicodedata.category(character) not in {"Cc", "Cf", "Cs", "Zl", "Zp"} else " "
        for character in str(text)
    )


def say(text: str = "") -> None:
    """A line of result on standard output; lines are the caller's, control characters are not shown."""
    try:
        click.echo("\n".join(_keep_styles(line) for line in text.split("\n")))
    except BrokenPipeError:
        nobody_reads()


def nobody_reads() -> None:
    """The reader of standard output went away (as ``| head`` does): the work goes on, its words go nowhere."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    with contextlib.suppress(OSError, ValueError):
        os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)


def note(text: str) -> None:
    """A line beside the result (progress, where files went), on standard error; where nobody can read it, unsaid."""
    with contextlib.suppress(OSError):
        click.echo(plain(text), err=True)


def left_out_of_set(wrong: Iterable[str]) -> None:
    """A line on each file of the hold set that is no hold, or folder passed over; the others serve all the same."""
    for line in wrong:
        note(line)


def complain(text: str) -> None:
    """One line on standard error: what is wrong, where, what to do."""
    note(f"trackgrade: {' '.join(plain(text).split())}")


def emphasise(text: str) -> str:
    return click.style(plain(text), bold=True)


def result_word(result: str) -> str:
    """A result in its colour."""
    return click.style(plain(result), fg=RESULT_COLOURS.get(result))


def table(
    header: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    left: int = 1,
    indent: int = 2,
    words: Collection[int] = (),
) -> str:
    """Columns aligned by what is seen: the first ``left`` ones and those of ``words`` to the left, numbers right."""
    lines = [list(header), *[list(row) for row in rows]]
    widths = [max(_shown_width(line[column]) for line in lines) for column in range(len(header))]
    return "\n".join(
        (
            " " * indent
            + "  ".join(
                _pad(cell, width, to_left=column < left or column in words)
                for column, (cell, width) in enumerate(zip(line, widths))
            )
        ).rstrip()
        for line in lines
    )


@contextmanager
def progress(total: int, unit: str) -> Iterator[Callable[[], None]]:
    """A bar on standard error: how many are done, how fast, and the time left; silent when piped or for one item.

    Yields a function to call once for each item done. Rate and time left are those of the last items: what an earlier
    run did and is skipped in no time tells nothing of the rest.
    """
    if total < 2 or not sys.stderr.isatty():
        yield lambda: None
        return
    done = 0
    lately = deque([time.monotonic()], maxlen=_LATELY + 1)

    def beside(_: object) -> str:
        spent = lately[-1] - lately[0]
        if not done or spent <= 0.0:
            return ""
        rate = (len(lately) - 1) / spent
        return f"{done}/{total}, {rate:.1f} {unit}/s, {_span((total - done) / rate)} left"

    with click.progressbar(
        length=total, label=f"{unit}", item_show_func=beside, show_eta=False, show_percent=False, file=sys.stderr
    ) as bar:

        def advance() -> None:
            nonlocal done
            done += 1
            lately.append(time.monotonic())
            bar.update(1, object())

        yield advance


def _span(seconds: float) -> str:
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    hours, minutes = divmod(round(seconds / 60.0), 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"


def _keep_styles(line: str) -> str:
    """Remove every control character but the colour codes that `click.style` wrote."""
    pieces = line.split("\x1b[")
    shown = [plain(pieces[0])]
    for piece in pieces[1:]:
        code, mark, rest = piece.partition("m")
        styled = bool(mark) and all(part.isdigit() for part in code.split(";"))
        shown.append(f"\x1b[{code}m{plain(rest)}" if styled else plain(piece))
    return "".join(shown)


def _shown_width(cell: str) -> int:
    shown = click.unstyle(cell)
    if shown.isascii():
        return len(shown)
    return sum(
        2 if unicodedata.east_asian_width(character) in "WF" else 1
        for character in shown
        if not unicodedata.combining(character)
    )


def _pad(cell: str, width: int, *, to_left: bool) -> str:
    blank = " " * (width - _shown_width(cell))
    return cell + blank if to_left else blank + cell
