"""Settings: hold files, standards and what a brief is asked, of any kind and at the edges of floating point."""

from __future__ import annotations

import math
import random
from pathlib import Path
from typing import Any

from tests.fuzz.damage import near
from tests.fuzz.graded import DAY, graded, plain_hold, plain_standard, plain_track
from trackgrade.errors import InputError, TrackgradeError


def read_a_hold(path: Path, folder: Path, dice: random.Random) -> str:
    """A hold that is read must be of use: briefed in any air, flown at, shown."""
    from trackgrade.hold.holdfile import read_hold_file
    from trackgrade.hold.setup import resolve

    plan = read_hold_file(path)
    hold = resolve(plan, DAY)
    numbers = (hold.fix_lat_deg, hold.fix_lon_deg, hold.inbound_course_true_deg, hold.variation_deg)
    assert all(math.isfinite(n) for n in numbers)
    assert abs(hold.fix_lat_deg) <= 90
    assert 0 <= hold.inbound_course_true_deg <= 360
    assert (hold.leg.minutes is None) != (hold.leg.nm is None)
    briefed = brief_it(plan, dice)
    return f"{briefed}, {graded(plain_track(), hold, plain_standard())[0]}"


def brief_it(plan: Any, dice: random.Random) -> str:
    """A brief of it in air and with numbers of any size: said on the screen and as a page, or refused."""
    from trackgrade.briefing import page, screen
    from trackgrade.verbs import brief

    asked = {
        "tas_kt": 110.0, "wind_from_true_deg": dice.uniform(0, 360), "wind_kt": dice.choice((0.0, 15.0, 60.0, 150.0)),
        "arriving_deg": dice.uniform(0, 360), "turn_rate_deg_s": 3.0, "bank_limit_deg": 30.0, "isa_deviation_c": 0.0,
    }  # fmt: skip
    if dice.random() < 0.3:
        for name in dice.sample(sorted(asked), dice.choice((1, 1, 2))):
            asked[name] = near(dice, asked[name])
    try:
        prepared = brief(plan, date=DAY, **asked)
    except TrackgradeError:
        return "not briefed"
    assert list(screen.lines(prepared))
    assert page.render(prepared).rstrip().endswith("</html>")
    return "briefed"


def read_a_standard(path: Path, folder: Path, dice: random.Random) -> str:
    """A standard that is read must be of use: graded against, with a band of one's own too."""
    from trackgrade.score.standards import load_standard

    standard = load_standard(str(path))
    assert standard.items
    if dice.random() < 0.2:
        band_s = near(dice, 10.0)
        try:
            standard = standard.with_timing_band(band_s)
        except ValueError as refused:
            raise InputError(str(refused)) from refused
    return graded(plain_track(), plain_hold(), standard)[0]
