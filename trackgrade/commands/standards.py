"""``trackgrade standards``: the standards shipped, or one in full with sources, limits and choices."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import click

from trackgrade.commands import console

if TYPE_CHECKING:
    from trackgrade.score.standard import Source, Standard

READ_WORDS = {
    "document": "read in the document",
    "transcription": "read in a transcription",
    "secondary": "as reported by a secondary page",
    "memory": "from memory: check before relying on it",
}


@click.command("standards", epilog=console.CAUTION)
@click.argument("standard", required=False, metavar="[NAME|FILE]")
@click.option("--timing-band", type=float, metavar="S", help="Show it with your own band on the leg time.")
@click.option("--as-file", is_flag=True, help="Print the file itself, to edit into a standard of your own.")
def command(standard: str | None, timing_band: float | None, as_file: bool) -> None:
    """List the standards shipped, or show one in full: limits, sources, choices.

    A file of your own works by its path. No civil test standard publishes seconds for the leg: the timing band is
    a choice in every one of them, and --timing-band sets your own.
    """
    from trackgrade.errors import UsageError
    from trackgrade.score.standards import DEFAULT, list_standards, load_standard, text_of

    if standard is None and as_file:
        raise UsageError("--as-file needs a standard: trackgrade standards NAME --as-file")
    if standard is None:
        rows = []
        for name in list_standards():
            loaded = load_standard(name)
            rows.append((name, loaded.title, loaded.edition))
        console.say(console.table(("name", "title", "edition"), rows, left=3, indent=0))
        console.say(f"The default is {DEFAULT}. One in full: trackgrade standards NAME")
        return
    shown = load_standard(standard)
    if as_file:
        console.say(text_of(standard).rstrip("\n"))
        return
    if timing_band is not None:
        try:
            shown = shown.with_timing_band(timing_band)
        except ValueError as error:
            raise UsageError(f"--timing-band: {error}") from error
    for line in lines(shown):
        console.say(line)


def lines(standard: Standard) -> Iterator[str]:
    """One standard in full, line by line."""
    yield console.emphasise(console.plain(standard.title))
    yield f"  {console.plain(standard.authority)}: {console.plain(standard.document)}"
    yield f"  {console.plain(standard.edition)}, {console.plain(standard.section)} ({READ_WORDS[standard.read]})"
    yield ""
    rows = []
    for item in standard.items:
        limit = "by altitude, below" if item.limit is None else _limit(item.limit, item.unit, item.counts)
        rows.append((console.plain(item.title), limit, item.scope, console.plain(source_words(item.source))))
    yield console.table(("item", "limit", "over", "where the limit comes from"), rows, left=4, indent=2)
    for item in standard.items:
        if item.source.note:
            yield f"  {console.plain(item.title)}: {console.plain(item.source.note)}"
    yield ""
    yield f"  {standard.timing_note}"
    starts = standard.outbound_starts_source
    where = standard.outbound_starts.replace("_", " ")
    yield f"  Outbound time starts: {where} ({console.plain(source_words(starts))})"
    if starts.note:
        yield f"    {console.plain(starts.note)}"
    turns = standard.turns
    yield (
        f"  Turns: {turns.rate_deg_s:g} deg/s, {turns.bank_deg:g} deg of bank, or"
        f" {turns.flight_director_bank_deg:g} deg with a flight director, whichever needs least"
        f" ({console.plain(source_words(turns.source))})"
    )
    steps = ", ".join(
        f"{step.kias:g} KIAS above" if math.isinf(step.up_to_ft) else f"{step.kias:g} KIAS to {step.up_to_ft:,.0f} ft"
        for step in standard.speed_limits
    )
    yield f"  Holding speed limits: {steps} ({console.plain(source_words(standard.speed_limits_source))})"
    choices = standard.choices
    yield "  Choices of this file, published nowhere:"
    yield f"    prompt: an excursion that is over within {choices.prompt_s:g} s"
    yield (
        f"    consistently: outside for more than {100 * choices.consistent_share:g} % of the time, or on more than"
        f" {100 * choices.consistent_laps:g} % of the laps"
    )
    yield f"    a time correction is right within {choices.correction_tolerance_s:g} s of what was asked"
    for note in standard.notes:
        yield f"  Note: {console.plain(note)}"


def source_words(source: Source) -> str:
    """Where a number comes from, and how well that is known."""
    if source.basis == "published":
        return f"{source.cite} ({READ_WORDS[source.read]})"
    return "common practice, no source" if source.basis == "common practice" else "a choice, not published"


def _limit(limit: float, unit: str, counts: str) -> str:
    sign = "at most " if counts == "not above" else "±"
    return f"{sign}{limit:g} {unit}"
