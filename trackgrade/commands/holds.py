"""``trackgrade holds``: the hold set, hold files by name in a folder: add, list, show, remove, or write a new one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from trackgrade.commands import console
from trackgrade.errors import HoldFileError, NoHoldFlown, UsageError
from trackgrade.hold.courses import course_name, heading_name

if TYPE_CHECKING:
    from trackgrade.hold.plan import HoldPlan

Value = TypeVar("Value")
_where = click.option("--holds", "given", metavar="DIR", help="Another hold set than your own.")
_name = click.option("--name", metavar="NAME", help="Its name in the set; default: that of the file.")
_replace = click.option("--replace", is_flag=True, help="Write over the one of that name.")


@click.group("holds", short_help="Your hold set: hold files by name, to share as a folder.", epilog=console.CAUTION)
def command() -> None:
    """Look after the hold set: hold files by name, in a folder that can be copied and shared.

    It is in your data folder; --holds DIR or $TRACKGRADE_HOLDS names another, a school's say. A name of the set can
    be given wherever a hold file is asked for: trackgrade brief --hold NAME --tas 100.
    """


@command.command("list", short_help="List the holds of the set.")
@_where
def list_(given: str | None) -> None:
    """List the holds of the set, and say where it is."""
    from trackgrade.hold.holdset import folder_of, read_set

    folder = folder_of(given)
    plans, wrong = read_set(folder)
    if plans:
        rows = [(name, f"{course_name(plan.inbound_course_deg)} {plan.north}", plan.turns, _leg(plan), plan.name)
                for name, plan in plans]  # fmt: skip
        console.say(console.table(("name", "inbound course", "turns", "leg", "hold"), rows, words=(1, 4)))
    else:
        console.say("No hold is in this set: trackgrade holds add HOLD.toml, or trackgrade holds new.")
    for line in wrong:
        console.note(f"left out: {line}")
    console.say(f"Hold set: {console.plain(str(folder))}")


@command.command("show", short_help="Show one hold, with its drawing.")
@click.argument("name")
@click.option("--html", metavar="FILE", help="Write its page, as brief does in still air.")
@_where
def show(name: str, html: str | None, given: str | None) -> None:
    """Show the hold NAME: fix, course, turns and leg, the drawing north up, and what the file leaves to be checked."""
    from trackgrade.files import spare_inputs, write_whole
    from trackgrade.hold.holdfile import read_hold_file
    from trackgrade.hold.holdset import file_or_name

    path = file_or_name(name, given)
    spare_inputs([html], [path])
    plan = read_hold_file(path)
    from trackgrade.drawing import racetrack
    from trackgrade.hold.setup import resolve

    hold = resolve(plan, dt.datetime.now(dt.UTC).date())
    console.say(console.emphasise(console.plain(hold.name)))
    console.say(f"  fix {hold.fix_lat_deg:.5f} {hold.fix_lon_deg:.5f}")
    magnetic, true = (heading_name(hold.inbound_course_true_deg - off) for off in (hold.variation_deg, 0.0))
    console.say(f"  inbound course {magnetic}° magnetic, {true}° true")
    console.say(f"  {hold.turns} turns, {_leg(plan)}" + (f", {plan.altitude_ft:,.0f} ft" if plan.altitude_ft else ""))
    console.say()
    for line in racetrack.in_characters(hold):
        console.say(f"  {line}")
    console.say(f"\n  north up, still air; {racetrack.FIX} the fix")
    for note in hold.notes:
        console.note(f"  {note}")
    if html is not None:
        from trackgrade.briefing import page
        from trackgrade.verbs import brief

        in_still_air = brief(plan, tas_kt=None if plan.airspeed_kias else racetrack.USUAL_KT)
        console.note(f"page: {write_whole(Path(html), page.render(in_still_air))}")
    console.say(console.CAUTION)


@command.command("add", short_help="Add hold files, or the hold found in a track.")
@click.argument("files", nargs=-1, metavar="[HOLD.toml...]")
@click.option("--from-find", "track", metavar="TRACK", help="Instead: the hold that is found in this track.")
@click.option("--number", type=click.IntRange(1), default=1, metavar="N", help="Of several found, this one.")
@click.option("--other-end", is_flag=True, help="Of a hold found, the reading with the fix at the other end.")
@_name
@_replace
@_where
def add(
    files: tuple[str, ...],
    track: str | None,
    number: int,
    other_end: bool,
    name: str | None,
    replace: bool,
    given: str | None,
) -> None:
    """Copy hold files into the set, each checked first; or keep the hold that was found in a track."""
    from trackgrade.files import read_bytes
    from trackgrade.hold import holdset
    from trackgrade.hold.holdfile import read_hold_file

    if bool(files) == (track is not None):
        raise UsageError("what is to be added? Give hold files, or --from-find TRACK")
    if name is not None and len(files) > 1:
        raise UsageError(f"--name is for one hold, and {len(files)} files are given")
    names = [holdset.name_of(Path(each).stem).lower() for each in files]
    for each, taken in zip(files, names):
        if names.count(taken) > 1:
            raise UsageError(f"{console.plain(each)}: another file given has that name too; add it alone, with --name")
    folder = holdset.folder_of(given, new=True)
    if track is not None:
        plan = _found(track, number, other_end=other_end, name=name or Path(track).stem)
        console.say(f"Added: {holdset.add(plan, folder, name or Path(track).stem, replace=replace)}")
        console.say("What was flown, not what was cleared: put in fix, course, leg and guidance of the chart.")
        return
    for each in files:
        plan = read_hold_file(each)
        text = read_bytes(each, 256 * 1024, HoldFileError).data.decode("utf-8-sig")
        console.say(f"Added: {holdset.add(plan, folder, name or Path(each).stem, text=text, replace=replace)}")


@command.command("remove", short_help="Take a hold out of the set.")
@click.argument("name")
@_where
def remove(name: str, given: str | None) -> None:
    """Delete the file of the hold NAME from the set."""
    from trackgrade.hold import holdset

    console.say(f"Removed: {holdset.remove(name, holdset.folder_of(given))}")


@command.command("new", short_help="Write a hold file by answering questions.")
@_name
@_replace
@_where
def new(name: str | None, replace: bool, given: str | None) -> None:
    """Ask for course, turns, fix and leg, check every answer, and put the hold into the set."""
    from trackgrade.hold import holdset
    from trackgrade.hold.hold import Leg
    from trackgrade.hold.holdfile import write_hold_file
    from trackgrade.hold.plan import HoldPlan, Position

    folder = holdset.folder_of(given, new=True)
    title = name or _ask("Name of the hold", _a_name)
    course, north = _ask("Inbound course, flown to the fix (143, or 143T for true)", _a_course)
    turns = _ask("Turns, right or left [right]", _a_side)
    lat = _ask("Latitude of the fix (44.0123, or 44 00.74 N)", lambda text: _an_angle(text, 90.0, "NS"))
    lon = _ask("Longitude of the fix (-93.5, or 093 30.0 W)", lambda text: _an_angle(text, 180.0, "EW"))
    minutes, nm = _ask("Leg (1, 1.5, or 4 nm; empty: by altitude)", _a_leg)
    altitude = _ask("Altitude in ft (may be empty)", lambda text: _a_number(text, 0.0, 60000.0) if text else None)
    plan = HoldPlan(
        name=title,
        inbound_course_deg=course,
        north="true" if north else "magnetic",
        fix=Position(lat, lon),
        turns="left" if turns == "left" else "right",
        leg=None if minutes is None and nm is None else Leg(minutes=minutes, nm=nm),
        altitude_ft=altitude,
    )
    console.say()
    console.say(write_hold_file(plan))
    taken = holdset.add(plan, folder, name, replace=replace)
    console.say(f"Added: {taken}")


def _ask(question: str, check: Callable[[str], Value]) -> Value:
    """The answer, once it can be used; a mistake is told, and asked again: the answers before it stay."""
    while True:
        answer = click.prompt(question, default="", show_default=False, err=True).strip()
        try:
            return check(answer)
        except ValueError as error:
            console.note(f"  {error}")


def _a_name(text: str) -> str:
    if not text:
        raise ValueError("a hold needs a name: the fix, say")
    return text


def _a_number(text: str, low: float, high: float) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        raise ValueError(f"'{console.plain(text)}' is no number") from None
    if not low <= value <= high:
        raise ValueError(f"from {low:g} to {high:g}, not {value:g}")
    return value


def _a_course(text: str) -> tuple[float, bool]:
    """Degrees, and whether they are true."""
    true = text[-1:].upper() == "T"
    return _a_number(text.rstrip("TtMm°"), 0.0, 360.0) or 360.0, true


def _a_side(text: str) -> str:
    side = {"": "right", "r": "right", "l": "left"}.get(text.lower(), text.lower())
    if side not in ("right", "left"):
        raise ValueError("right or left")
    return side


def _an_angle(text: str, most: float, signs: str) -> float:
    """Degrees, or degrees and minutes (and seconds), with a sign or a letter."""
    letter = text[-1:].upper()
    parts = text.rstrip(signs + signs.lower() + " ").replace("°", " ").replace("'", " ").replace('"', " ").split()
    if not 1 <= len(parts) <= 3:
        raise ValueError(f"degrees, as 12.345 or 12 20.7 {signs[0]}")
    degrees = _a_number(parts[0], -most, most)
    sign = -1.0 if letter == signs[1] or parts[0].startswith("-") else 1.0
    rest = sum(_a_number(each, 0.0, 59.99999) / 60.0**k for k, each in enumerate(parts[1:], start=1))
    value = sign * (abs(degrees) + rest)
    if abs(value) > most:
        raise ValueError(f"no more than {most:g} degrees")
    return value


def _a_leg(text: str) -> tuple[float | None, float | None]:
    """Minutes, or miles; neither: by altitude."""
    if not text:
        return None, None
    number = text.lower().rstrip("nmi ")
    if text.lower().rstrip().endswith("nm"):
        return None, _a_number(number, 0.5, 30.0)
    return _a_number(number, 0.25, 10.0), None


def _leg(plan: HoldPlan) -> str:
    if plan.leg is None:
        return "leg by altitude"
    return f"{plan.leg.minutes:g} min" if plan.leg.minutes is not None else f"{plan.leg.nm:g} NM"


def _found(track: str, number: int, *, other_end: bool, name: str) -> HoldPlan:
    from trackgrade.commands.find import NOTHING
    from trackgrade.segment.finding import find_holds
    from trackgrade.track.readers import read_track

    path = Path(track)
    if not path.is_file():
        raise UsageError(f"{track}: this is no file; give one track")
    proposals = find_holds(read_track(path))
    if not proposals:
        raise NoHoldFlown(f"{path.name}: {NOTHING}")
    if number > len(proposals):
        raise UsageError(f"--number {number}: {len(proposals)} found in {path.name} (see: trackgrade find)")
    found = proposals[number - 1]
    if other_end:
        if found.other_end is None:
            raise UsageError(
                f"--other-end: which end is the fix is told by the track {path.name}; edit the file instead"
            )
        found = found.other_end
    return found.plan(name)
