"""``trackgrade brief``: a hold file, an airspeed and a wind in; one screen, and a page to print."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackgrade.commands import console
from trackgrade.errors import HoldFileError, UsageError, within

if TYPE_CHECKING:
    from trackgrade.hold.hold import Hold
    from trackgrade.hold.plan import HoldPlan

_WIND = re.compile(r"(\d{1,3}(?:\.\d+)?)([mMtT]?)/(\d{1,3}(?:\.\d+)?)")
_COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


@click.command(
    "brief", epilog=f"Headings are in the north of the hold file: magnetic, unless it says true. {console.CAUTION}"
)
@click.argument("hold", metavar="HOLD.toml", required=False)
@click.option("--hold", "named", metavar="HOLD", help="Instead: a hold file, or a name in the hold set.")
@click.option("--holds", "hold_set", metavar="DIR", help="Another hold set than your own (see: trackgrade holds).")
@click.option("--tas", type=float, metavar="KT", help="True airspeed; or give --ias.")
@click.option("--ias", type=float, metavar="KT", help="Indicated airspeed; default: airspeed_kias of the file.")
@click.option("--wind", metavar="FROM/KT", help="Wind, true as forecast aloft: 280/18. Magnetic: 280M/18.")
@click.option("--arriving", metavar="HDG", help="Heading on which you will reach the fix.")
@click.option("--arriving-from", metavar="WHERE", help="Instead: where you come from, NE or 050.")
@click.option("--html", metavar="FILE", help="Write a page to print, with a drawing to scale.")
@click.option("--turn-rate", type=float, default=3.0, metavar="DEG/S", show_default=True, help="Rate of turn.")
@click.option(
    "--bank-limit", type=float, default=30.0, metavar="DEG", show_default=True, help="No more bank than this."
)
@click.option("--isa", "isa_deviation", type=float, metavar="C", help="Air warmer than standard by this, for --ias.")
@click.option("--oat", type=float, metavar="C", help="Instead: outside air temperature at the altitude.")
@click.option("--over-fix", metavar="HH:MM:SS", help="A passage of the fix, UTC, to plan the time to leave from.")
@click.option("--date", "date_text", metavar="YYYY-MM-DD", help="Day of the flight, for the magnetic model.")
@click.option("--standard", metavar="NAME|FILE", help="Where the speed limit comes from (see: trackgrade standards).")
def command(
    hold: str | None,
    named: str | None,
    hold_set: str | None,
    tas: float | None,
    ias: float | None,
    wind: str | None,
    arriving: str | None,
    arriving_from: str | None,
    html: str | None,
    turn_rate: float,
    bank_limit: float,
    isa_deviation: float | None,
    oat: float | None,
    over_fix: str | None,
    date_text: str | None,
    standard: str | None,
) -> None:
    """Brief the hold of HOLD.toml: what to set, how to enter, what to fly and time in this wind.

    Prints one screen; --html writes the same as a page to print, with a drawing to scale.
    """
    from trackgrade.files import spare_inputs, write_whole
    from trackgrade.hold.holdfile import read_hold_file
    from trackgrade.hold.holdset import file_or_name

    if (hold or named) is None:
        raise UsageError("which hold? Give a hold file, or --hold NAME of the hold set")
    hold = file_or_name(hold or named or "", hold_set)
    spare_inputs([html], [hold, standard])
    plan = read_hold_file(hold)  # a wrong file is told at once, before numpy is loaded
    from trackgrade.briefing import screen
    from trackgrade.hold.setup import resolve
    from trackgrade.verbs import brief as prepare

    date = _date(date_text, plan)
    resolved = resolve(plan, date)
    wind_from, wind_kt = _wind(wind, resolved)
    brief = prepare(
        plan,
        tas_kt=tas,
        ias_kt=ias,
        wind_from_true_deg=wind_from,
        wind_kt=wind_kt,
        arriving_deg=_arrival(arriving, arriving_from, 0.0 if plan.north == "true" else resolved.variation_deg),
        turn_rate_deg_s=turn_rate,
        bank_limit_deg=bank_limit,
        isa_deviation_c=_isa_deviation(isa_deviation, oat, resolved),
        passage_epoch_s=_passage(over_fix, resolved),
        date=date,
        standard=standard,
    )
    for text, heading in screen.lines(brief):
        console.say(console.emphasise(text) if heading else text)
    console.note(console.CAUTION)
    if html is not None:
        from trackgrade.briefing import page

        written = write_whole(Path(html), page.render(brief))
        console.note(f"page: {written}")


def _date(text: str | None, plan: HoldPlan) -> dt.date:
    """The day given, else that of the assigned time, else today."""
    if text is None:
        return plan.arrive_utc.date() if plan.arrive_utc is not None else dt.datetime.now(dt.UTC).date()
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise UsageError(f"--date must be a day as 2026-05-03, not {text}") from None


def _isa_deviation(isa: float | None, oat: float | None, hold: Hold) -> float:
    if isa is not None and oat is not None:
        raise UsageError("give --isa or --oat, not both")
    if isa is not None:
        return within("--isa", isa, -60.0, 60.0)
    if oat is None:
        return 0.0
    if hold.altitude_ft is None:
        raise UsageError("--oat needs altitude_ft in the hold file; or give --isa")
    from trackgrade.earth.atmosphere import isa_deviation_c

    return within("--oat", float(isa_deviation_c(hold.altitude_ft, oat)), -60.0, 60.0)


def _wind(text: str | None, hold: Hold) -> tuple[float, float]:
    """Wind from [deg true] and speed [kt]."""
    if text is None:
        return 0.0, 0.0
    match = _WIND.fullmatch(text.strip())
    if match is None or float(match[1]) > 360.0 or float(match[3]) > 300.0:
        raise UsageError(f"--wind must be FROM/KT, as 280/18 (or 280M/18 magnetic), not {text}")
    magnetic = match[2].upper() == "M"
    return (float(match[1]) + (hold.variation_deg if magnetic else 0.0)) % 360.0, float(match[3])


def _arrival(arriving: str | None, from_where: str | None, to_true: float) -> float | None:
    """The arrival heading in the north of the hold file [deg], or None where nothing is said of it."""
    if arriving is not None and from_where is not None:
        raise UsageError("give --arriving or --arriving-from, not both")
    if arriving is not None:
        return _degrees("--arriving", arriving, "a heading, as 250")
    if from_where is None:
        return None
    if from_where.upper() in _COMPASS:  # points of the compass are true
        return (_COMPASS.index(from_where.upper()) * 22.5 + 180.0 - to_true) % 360.0
    return (_degrees("--arriving-from", from_where, "a direction, as NE or 050") + 180.0) % 360.0


def _degrees(option: str, text: str, what: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0.0 <= value <= 360.0:
        raise UsageError(f"{option} must be {what}, not {text}")
    return value


def _passage(text: str | None, hold: Hold) -> float | None:
    """The passage nearest before the assigned time at that time of day."""
    if text is None:
        return None
    if hold.arrive_epoch_s is None:
        raise HoldFileError("--over-fix plans a time to leave: the hold file has no arrive_utc")
    match = re.fullmatch(r"(\d{1,2}):(\d{2})(?::(\d{2}))?Z?", text.strip())
    if match is None or int(match[1]) > 23 or int(match[2]) > 59 or int(match[3] or 0) > 59:
        raise UsageError(f"--over-fix must be a time of day, UTC, as 15:07:30, not {text}")
    of_day = 3600 * int(match[1]) + 60 * int(match[2]) + int(match[3] or 0)
    # The last such time of day within 12 hours before the assigned time, or after it by less.
    day = 86400.0
    offset = (hold.arrive_epoch_s - of_day) % day
    return hold.arrive_epoch_s - (offset if offset <= day / 2.0 else offset - day)
