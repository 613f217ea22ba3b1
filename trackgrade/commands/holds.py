"""``trackgrade holds``: the hold set, hold files by name in a folder: add, list, show, remove, or write a new one."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackgrade.commands import console
from trackgrade.errors import HoldFileError, NoHoldFlown, UsageError
from trackgrade.hold.courses import course_name, heading_name

if TYPE_CHECKING:
    from trackgrade.hold.plan import HoldPlan

_where = click.option("--holds", "given", metavar="DIR", help="Another hold set than your own.")
_name = click.option("--name", metavar="NAME", help="Its name in the set; default: that of the file.")
_replace = click.option("--replace", is_flag=True, help="Write over the one of that name.")


@click.group("holds", epilog=console.CAUTION)
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
    console.left_out_of_set(wrong)
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
    from trackgrade.files import LARGEST_TOML_BYTES, read_bytes
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
        plan = _found(track, number, folder, other_end=other_end, name=name or Path(track).stem)
        console.say(f"Added: {holdset.add(plan, folder, name or Path(track).stem, replace=replace)}")
        console.say("What was flown, not what was cleared: put in fix, course, leg and guidance of the chart.")
        return
    for each in files:
        plan = read_hold_file(each)
        text = read_bytes(each, LARGEST_TOML_BYTES, HoldFileError).data.decode("utf-8-sig")
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
    from trackgrade.hold.holdfile import write_hold_file
    from trackgrade.page import hold_form

    folder = holdset.folder_of(given, new=True)
    today = dt.datetime.now(dt.UTC).date()
    # A hold that is right in every field, so that what is wrong with it is the answer given last.
    form = hold_form.EMPTY | {"name": name or "new", "inbound_course_deg": "360", "fix.lat": "0", "fix.lon": "0"}
    for field, question in _QUESTIONS.items():
        while field != "name" or name is None:
            answer = click.prompt(question, default="", show_default=False, err=True).strip()
            answered = form | _answered(field, answer)
            problem = hold_form.check(answered, today).problem if answered["name"] else "a hold needs a name"
            if not problem:
                form = answered
                break
            console.note(f"  {problem}")
    plan = hold_form.check(form, today).plan
    assert plan is not None, "every answer was checked"
    console.say()
    console.say(write_hold_file(plan))
    console.say(f"Added: {holdset.add(plan, folder, name, replace=replace)}")


_QUESTIONS = {
    "name": "Name of the hold",
    "inbound_course_deg": "Inbound course, flown to the fix (143, or 143T for true)",
    "turns": "Turns, right or left [right]",
    "fix.lat": "Latitude of the fix (44.0123, or 44 00.74 N)",
    "fix.lon": "Longitude of the fix (-93.5, or 093 30.0 W)",
    "leg": "Leg (1, 1.5, or 4 nm; empty: by altitude)",
    "altitude_ft": "Altitude in ft (may be empty)",
}


def _answered(field: str, answer: str) -> dict[str, str]:
    """What an answer puts into the form of a hold."""
    lower = answer.lower()
    if field == "inbound_course_deg":
        return {field: answer.rstrip("TtMm°"), "north": "true" if lower.endswith("t") else "magnetic"}
    if field == "turns":
        return {field: {"": "right", "r": "right", "l": "left"}.get(lower, lower)}
    if field == "leg":
        unit = next((each for each in ("nmi", "nm", "min") if lower.endswith(each)), "")
        way = "nm" if unit.startswith("nm") else "minutes" if answer else "altitude"
        return {"leg_way": way, f"leg.{way}": lower.removesuffix(unit).strip() or answer}
    return {field: answer}


def _leg(plan: HoldPlan) -> str:
    return plan.leg.words if plan.leg else "leg by altitude"


def _found(track: str, number: int, folder: Path, *, other_end: bool, name: str) -> HoldPlan:
    from trackgrade.choosing import holds_in
    from trackgrade.commands.find import NOTHING
    from trackgrade.hold.holdset import read_set
    from trackgrade.track.readers import read_track

    path = Path(track)
    if not path.is_file():
        raise UsageError(f"{track}: this is no file; give one track")
    plans, wrong = read_set(folder)
    console.left_out_of_set(wrong)
    proposals = holds_in(read_track(path), plans)
    if not proposals:
        raise NoHoldFlown(f"{path.name}: {NOTHING}")
    if number > len(proposals):
        raise UsageError(f"--number {number}: {len(proposals)} found in {path.name} (see: trackgrade find)")
    found = proposals[number - 1]
    if found.name:
        raise UsageError(f"{path.name} was flown at {found.name}, which is in the set already; --number takes another")
    if other_end:
        if found.other_end is None:
            raise UsageError(
                f"--other-end: which end is the fix is told by the track {path.name}; edit the file instead"
            )
        found = found.other_end
    return found.plan(name)
