"""Ten different flights to look at every page with: simulated, analysed as any other. Nothing here proves accuracy."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache

from tests.simulated.compare import as_track
from trackgrade.analysis import analyse
from trackgrade.hold.holdfile import parse_hold
from trackgrade.hold.setup import resolve
from trackgrade.score.debrief import Debrief
from trackgrade.score.standards import load_standard
from trackgrade.simulator import Air, Mistakes, Pilot, Scenario, fly
from trackgrade.simulator.scenario import Manoeuvre
from trackgrade.simulator.scenarios import named

HOLD = """
name = "{name}"
inbound_course_deg = 143.0
variation_deg = 2.5
turns = "{turns}"
altitude_ft = 4000
airspeed_kias = 95
[fix]
{fix}
[leg]
{leg}
[guidance]
{guidance}
"""
PLAIN = {
    "name": "Tarne practice hold", "turns": "right", "fix": "lat = 44.0\nlon = -93.0", "leg": "minutes = 1.0",
    "guidance": 'kind = "gps"',
}  # fmt: skip
DME = {
    "fix": "from = { lat = 43.8, lon = -93.2, radial_deg = 323.0, dme_nm = 15.0, variation_deg = 2.5 }",
    "leg": "nm = 4.0",
    "guidance": 'kind = "vor"',
}
#: Long, without a place to break, and of markup.
HOSTILE = "Unterwasserschiffahrtsbehoerdenoberinspektorin" * 2 + " </title><script>alert(1)</script> & 'quoted'"

FLIGHTS: dict[str, tuple[dict[str, str], Scenario]] = {
    "one lap": ({}, Scenario(laps=1)),
    "nine laps": ({}, Scenario(laps=9, air=Air(wind_from_true_deg=215.0, wind_kt=18.0), pilot=Pilot(wind_error_kt=6))),
    "left": ({"turns": "left"}, replace(named("windy"), laps=4)),
    "wrong side": ({}, named("wrong side")),
    "reversed": ({}, named("reciprocal course")),
    "course reversal": ({}, Scenario(laps=0, before=(Manoeuvre("procedure turn", 4.0),))),
    "no wind": ({}, Scenario(air=Air(wind_kt=0.0, change_kt=0.0, gust_kt=0.0), mistakes=Mistakes(outbound_factor=1.3))),
    "40 kt": ({}, Scenario(laps=4, air=Air(wind_from_true_deg=60.0, wind_kt=40.0), pilot=Pilot(drift_rule="triple"))),
    "DME leg": (DME, Scenario(laps=3)),
    "hostile names": ({"name": HOSTILE}, named("sloppy")),
}  # fmt: skip


@cache
def debrief_of(name: str) -> Debrief:
    """The debrief of one of the `FLIGHTS`."""
    words, scenario = FLIGHTS[name]
    text = HOLD.format(**(PLAIN | words))
    hold = resolve(parse_hold(text, "hold.toml"), dt.date(2026, 5, 3))
    flight = as_track(fly(hold, scenario, 11))
    track = replace(flight, source=f"{name}.gpx" if name != "hostile names" else f"{HOSTILE}.gpx")
    return analyse(track, hold, load_standard("faa_instrument_airplane"))
