"""Named flights: a clean one, and one for each mistake worth naming, flown alone in an otherwise clean flight.

``named(name)`` gives a `Scenario`; ``MISTAKES`` lists the single mistakes with what is flown and what it shows up as.
Everything else in such a flight stays well inside the tolerances of an instrument practical test: within a tenth
of a mile of the course, 50 ft, 5 kt, 5 degrees of heading, and a few seconds of the inbound time once the first lap
has been learned from.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from trackgrade.simulator.scenario import Air, Aircraft, Mistakes, Pilot, Scenario, Sensor

#: Steady air, a steady hand, a good recorder. The wind is across a southwesterly course, enough to need a correction.
CLEAN_PILOT = Pilot(
    wind_error_kt=0.3,
    reaction_s=1.0,
    heading_sd_deg=0.6,
    bank_sd_deg=0.3,
    tas_sd_kt=0.8,
    altitude_sd_ft=10.0,
    learning=0.25,
)
CLEAN_AIR = Air(wind_from_true_deg=215.0, wind_kt=12.0, change_kt=0.3, gust_kt=0.3)
CLEAN_AIRCRAFT = Aircraft()
CLEAN_SENSOR = Sensor(noise_m=1.0, drift_m=1.0)
CLEAN = Scenario(name="clean", laps=4, air=CLEAN_AIR, aircraft=CLEAN_AIRCRAFT, pilot=CLEAN_PILOT, sensor=CLEAN_SENSOR)


@dataclass(frozen=True, eq=False)
class NamedFlight:
    """A scenario, and ``what`` is flown in it."""

    what: str
    scenario: Scenario


def _one(what: str, mistakes: Mistakes = CLEAN.mistakes, **changes: Any) -> NamedFlight:
    """A flight like `CLEAN` but for these mistakes, and these fields of the scenario."""
    return NamedFlight(what, replace(CLEAN, mistakes=mistakes, **changes))


_LATE_LEARNER = replace(CLEAN_PILOT, learning=0.0)
_FAST = Aircraft(tas_kt=190.0, altitude_ft=4000.0)

#: Flown alone in an otherwise clean flight, by name.
MISTAKES: dict[str, NamedFlight] = {
    "reciprocal course": _one(
        "the whole hold on the reciprocal of the inbound course", Mistakes(reciprocal_course=True)
    ),
    "wrong side": _one("all turns to the other hand", Mistakes(wrong_side=True)),
    "wrong entry parallel": _one(
        "a parallel entry, arriving well inside the direct sector", entry="parallel", arrival_offset_deg=-30.0
    ),
    "wrong entry direct": _one(
        "a direct entry, arriving well inside the parallel sector", entry="direct", arrival_offset_deg=-105.0
    ),
    "wrong entry teardrop": _one(
        "a teardrop entry, arriving well inside the parallel sector", entry="teardrop", arrival_offset_deg=-140.0
    ),
    "entry turned the wrong way": _one(
        "a parallel entry turned back away from the holding side", Mistakes(entry_wrong_way=True), entry="parallel"
    ),
    "no drift correction": _one(
        "the outbound heading is the reciprocal of the course, in a crosswind",
        Mistakes(no_drift_correction=True),
        pilot=_LATE_LEARNER,
    ),
    "reversed drift correction": _one(
        "outbound the nose is turned downwind", Mistakes(reversed_drift_correction=True), pilot=_LATE_LEARNER
    ),
    "half a drift correction": _one(
        "outbound half of the correction that works is laid off", Mistakes(drift_share=0.5), pilot=_LATE_LEARNER
    ),
    "outbound time not corrected": _one(
        "inbound legs too long, outbound time never changed",
        Mistakes(outbound_not_corrected=True, outbound_factor=1.5),
        pilot=_LATE_LEARNER,
    ),
    "outbound time corrected the wrong way": _one(
        "each outbound time is changed away from what the last leg asked for",
        Mistakes(outbound_corrected_wrong_way=True, outbound_factor=1.15),
    ),
    "watch started here and there": _one(
        "abeam on even laps, wings level on odd ones; marked each time",
        Mistakes(watch_alternates=True),
        pilot=replace(CLEAN_PILOT, marks=True),
    ),
    "watch started at random": _one(
        "the watch started anywhere within 40 s, by a pilot who corrects; marked each time",
        Mistakes(watch_random_s=40.0),
        pilot=replace(CLEAN_PILOT, marks=True, learning=0.7),
    ),
    "outbound too short": _one("half the outbound time, on lap 2", Mistakes(outbound_factor=0.5, on_laps=(2,))),
    "outbound too long": _one("1.6 times the outbound time, on lap 2", Mistakes(outbound_factor=1.6, on_laps=(2,))),
    "turns too shallow": _one("turns at 0.6 of standard rate", Mistakes(turn_rate_factor=0.6)),
    "turns too steep": _one("turns at 1.5 times standard rate", Mistakes(turn_rate_factor=1.5)),
    "turn rate uneven": _one("the bank swings by 8 degrees either way", Mistakes(bank_swing_deg=8.0)),
    "course overshot": _one(
        "rolls out 0.3 NM through the course, on lap 2", Mistakes(aim_beyond_nm=-0.3, on_laps=(2,))
    ),
    "course undershot": _one(
        "rolls out 0.4 NM short of the course, on lap 2", Mistakes(aim_beyond_nm=0.4, on_laps=(2,))
    ),
    "course not captured": _one(
        "parallels the course 0.9 NM off up to abeam the fix, on lap 2",
        Mistakes(no_intercept=True, aim_beyond_nm=0.9, on_laps=(2,)),
    ),
    "off course inbound": _one("tracks 0.9 NM off the course, on lap 3", Mistakes(off_course_nm=0.9, on_laps=(3,))),
    "weaves inbound": _one("S-turns across the course", Mistakes(weave_nm=0.1)),
    "late at the fix": _one("the turn at the fix is begun 12 s late", Mistakes(late_at_fix_s=12.0)),
    "altitude lost in turns": _one("sinks 180 ft in each turn", Mistakes(altitude_lost_in_turns_ft=180.0)),
    "altitude off": _one("holds 160 ft high", Mistakes(altitude_offset_ft=160.0)),
    "level missed": _one(
        "levels off 250 ft below the level assigned for lap 3", Mistakes(level_missed_ft=-250.0), levels=((3, -1000.0),)
    ),
    "holding speed limit": _one("210 KIAS where 200 is the limit", Mistakes(speed_excess_kt=35.0), aircraft=_FAST),
    "not slowed before the fix": _one("arrives 30 kt fast, slows after the fix", Mistakes(arrival_excess_kt=30.0)),
    "airspeed wanders": _one(
        "the airspeed wanders by 7 kt (one standard deviation)", Mistakes(speed_swing_kt=7.0), pilot=_LATE_LEARNER
    ),
    "non-holding side": _one(
        "the outbound leg runs back through the inbound course, on lap 2",
        Mistakes(outbound_toward_course_deg=55.0, on_laps=(2,)),
    ),
    "fix missed": _one("passes 1.5 NM from the fix on every lap", Mistakes(miss_fix_nm=1.5)),
    "orbit inserted": _one("a full circle on the outbound leg of lap 2", Mistakes(orbit_on_lap=2)),
    "lap cut short": _one("leaves the hold before the fix on lap 3", Mistakes(cut_short_on_lap=3)),
}

#: Flights that are good, or bad in the usual mixed way, by name.
OTHERS: dict[str, NamedFlight] = {
    "clean": _one("nothing wrong"),
    "windy": _one(
        "a clean hold in a strong wind",
        air=Air(wind_from_true_deg=215.0, wind_kt=32.0, change_kt=2.0, gust_kt=2.0),
        pilot=Pilot(wind_error_kt=5.0, drift_rule="triple"),
    ),
    "stack": _one(
        "down 1000 ft on every other lap, the levels held well",
        laps=6,
        levels=((2, -1000.0), (4, -1000.0), (6, -1000.0)),
    ),
    "missed approach": _one(
        "climbs 2000 ft to the hold's level on entry and first lap",
        aircraft=replace(CLEAN_AIRCRAFT, altitude_ft=2000.0, climb_ft_min=600.0, climb_ft=2000.0),
    ),
    "sloppy": _one(
        "a hold flown loosely all through",
        air=Air(wind_from_true_deg=175.0, wind_kt=18.0, change_kt=1.5, gust_kt=1.0),
        pilot=Pilot(
            wind_error_kt=8.0,
            reaction_s=3.0,
            heading_sd_deg=3.0,
            heading_bias_deg=2.0,
            bank_sd_deg=2.0,
            rate_bias=0.9,
            tas_sd_kt=4.0,
            altitude_sd_ft=55.0,
            intercept_deg=30.0,
            settle_s=25.0,
            scan_s=4.0,
            finesse=0.2,
            learning=0.4,
            watch="wings level",
            widen=0.3,
            soft_rollout=True,
            leaves="away",
        ),
    ),
}
FLIGHTS = OTHERS | MISTAKES


def names() -> tuple[str, ...]:
    return tuple(FLIGHTS)


def named(name: str) -> Scenario:
    """The scenario of this name. Raises KeyError for a name that `names` does not give."""
    return replace(FLIGHTS[name].scenario, name=name)
