"""Named flights: a clean one, and one for each mistake worth naming, flown alone in an otherwise clean flight.

``named(name)`` gives a `Scenario`; ``MISTAKES`` lists the single mistakes with what is flown and what it shows up as.
Everything else in such a flight stays well inside the tolerances of an instrument practical test: within a tenth
of a mile of the course, 50 ft, 5 kt, 5 degrees of heading, and a few seconds of the inbound time once the first lap
has been learned from.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from trackgrade.simulator.scenario import Air, Aircraft, Entry, Mistakes, Pilot, Scenario, Sensor

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


@dataclass(frozen=True)
class SingleMistake:
    """``what`` is flown, on laps ``laps`` (empty: all, or the entry), in a flight otherwise like `CLEAN`."""

    name: str
    what: str
    mistakes: Mistakes
    laps: tuple[int, ...] = ()
    entry: Entry | None = None
    pilot: Pilot = CLEAN_PILOT
    aircraft: Aircraft = CLEAN_AIRCRAFT
    arrival_offset_deg: float | None = None  # arrival heading against the inbound course, toward the holding side
    levels: tuple[tuple[int, float], ...] = ()

    def scenario(self) -> Scenario:
        return replace(
            CLEAN,
            name=self.name,
            entry=self.entry,
            mistakes=replace(self.mistakes, on_laps=self.laps) if self.laps else self.mistakes,
            pilot=self.pilot,
            aircraft=self.aircraft,
            arrival_offset_deg=self.arrival_offset_deg,
            levels=self.levels,
        )


_LATE_LEARNER = replace(CLEAN_PILOT, learning=0.0)
_FAST = Aircraft(tas_kt=190.0, altitude_ft=4000.0)

_ALL = (
    SingleMistake(
        "reciprocal course", "the whole hold on the reciprocal of the inbound course", Mistakes(reciprocal_course=True)
    ),
    SingleMistake("wrong side", "all turns to the other hand", Mistakes(wrong_side=True)),
    SingleMistake(
        "wrong entry parallel",
        "a parallel entry, arriving well inside the direct sector",
        Mistakes(),
        entry="parallel",
        arrival_offset_deg=-30.0,
    ),
    SingleMistake(
        "wrong entry direct",
        "a direct entry, arriving well inside the parallel sector",
        Mistakes(),
        entry="direct",
        arrival_offset_deg=-105.0,
    ),
    SingleMistake(
        "wrong entry teardrop",
        "a teardrop entry, arriving well inside the parallel sector",
        Mistakes(),
        entry="teardrop",
        arrival_offset_deg=-140.0,
    ),
    SingleMistake(
        "entry turned the wrong way",
        "a parallel entry turned back away from the holding side",
        Mistakes(entry_wrong_way=True),
        entry="parallel",
    ),
    SingleMistake(
        "no drift correction",
        "the outbound heading is the reciprocal of the course, in a crosswind",
        Mistakes(no_drift_correction=True),
        pilot=_LATE_LEARNER,
    ),
    SingleMistake(
        "reversed drift correction",
        "outbound the nose is turned downwind",
        Mistakes(reversed_drift_correction=True),
        pilot=_LATE_LEARNER,
    ),
    SingleMistake(
        "half a drift correction",
        "outbound half of the correction that works is laid off",
        Mistakes(drift_share=0.5),
        pilot=_LATE_LEARNER,
    ),
    SingleMistake(
        "outbound time not corrected",
        "inbound legs too long, outbound time never changed",
        Mistakes(outbound_not_corrected=True, outbound_factor=1.5),
        pilot=_LATE_LEARNER,
    ),
    SingleMistake(
        "outbound time corrected the wrong way",
        "each outbound time is changed away from what the last leg asked for",
        Mistakes(outbound_corrected_wrong_way=True, outbound_factor=1.15),
    ),
    SingleMistake(
        "watch started here and there",
        "abeam on even laps, wings level on odd ones; marked each time",
        Mistakes(watch_alternates=True),
        pilot=replace(CLEAN_PILOT, marks=True),
    ),
    SingleMistake(
        "watch started at random",
        "the watch started anywhere within 40 s, by a pilot who corrects; marked each time",
        Mistakes(watch_random_s=40.0),
        pilot=replace(CLEAN_PILOT, marks=True, learning=0.7),
    ),
    SingleMistake("outbound too short", "half the outbound time, on lap 2", Mistakes(outbound_factor=0.5), laps=(2,)),
    SingleMistake(
        "outbound too long", "1.6 times the outbound time, on lap 2", Mistakes(outbound_factor=1.6), laps=(2,)
    ),
    SingleMistake("turns too shallow", "turns at 0.6 of standard rate", Mistakes(turn_rate_factor=0.6)),
    SingleMistake("turns too steep", "turns at 1.5 times standard rate", Mistakes(turn_rate_factor=1.5)),
    SingleMistake("turn rate uneven", "the bank swings by 8 degrees either way", Mistakes(bank_swing_deg=8.0)),
    SingleMistake(
        "course overshot", "rolls out 0.3 NM through the course, on lap 2", Mistakes(aim_beyond_nm=-0.3), laps=(2,)
    ),
    SingleMistake(
        "course undershot", "rolls out 0.4 NM short of the course, on lap 2", Mistakes(aim_beyond_nm=0.4), laps=(2,)
    ),
    SingleMistake(
        "course not captured",
        "parallels the course 0.9 NM off up to abeam the fix, on lap 2",
        Mistakes(no_intercept=True, aim_beyond_nm=0.9),
        laps=(2,),
    ),
    SingleMistake(
        "off course inbound", "tracks 0.9 NM off the course, on lap 3", Mistakes(off_course_nm=0.9), laps=(3,)
    ),
    SingleMistake("weaves inbound", "S-turns across the course", Mistakes(weave_nm=0.1)),
    SingleMistake("late at the fix", "the turn at the fix is begun 12 s late", Mistakes(late_at_fix_s=12.0)),
    SingleMistake("altitude lost in turns", "sinks 180 ft in each turn", Mistakes(altitude_lost_in_turns_ft=180.0)),
    SingleMistake("altitude off", "holds 160 ft high", Mistakes(altitude_offset_ft=160.0)),
    SingleMistake(
        "level missed",
        "levels off 250 ft below the level assigned for lap 3",
        Mistakes(level_missed_ft=-250.0),
        levels=((3, -1000.0),),
    ),
    SingleMistake(
        "holding speed limit", "210 KIAS where 200 is the limit", Mistakes(speed_excess_kt=35.0), aircraft=_FAST
    ),
    SingleMistake(
        "not slowed before the fix", "arrives 30 kt fast, slows after the fix", Mistakes(arrival_excess_kt=30.0)
    ),
    SingleMistake(
        "airspeed wanders",
        "the airspeed wanders by 7 kt (one standard deviation)",
        Mistakes(speed_swing_kt=7.0),
        pilot=_LATE_LEARNER,
    ),
    SingleMistake(
        "non-holding side",
        "the outbound leg runs back through the inbound course, on lap 2",
        Mistakes(outbound_toward_course_deg=55.0),
        laps=(2,),
    ),
    SingleMistake("fix missed", "passes 1.5 NM from the fix on every lap", Mistakes(miss_fix_nm=1.5)),
    SingleMistake("orbit inserted", "a full circle on the outbound leg of lap 2", Mistakes(orbit_on_lap=2)),
    SingleMistake("lap cut short", "leaves the hold before the fix on lap 3", Mistakes(cut_short_on_lap=3)),
)

#: The single mistakes by name.
MISTAKES: dict[str, SingleMistake] = {each.name: each for each in _ALL}

#: Flights that are good, or bad in the usual mixed way; what is flown in each is in `ABOUT`.
OTHERS: dict[str, Scenario] = {
    "clean": CLEAN,
    "windy": replace(
        CLEAN,
        name="windy",
        air=Air(wind_from_true_deg=215.0, wind_kt=32.0, change_kt=2.0, gust_kt=2.0),
        pilot=Pilot(wind_error_kt=5.0, drift_rule="triple"),
    ),
    "stack": replace(CLEAN, name="stack", laps=6, levels=((2, -1000.0), (4, -1000.0), (6, -1000.0))),
    "missed approach": replace(
        CLEAN,
        name="missed approach",
        aircraft=replace(CLEAN_AIRCRAFT, altitude_ft=2000.0, climb_ft_min=600.0, climb_ft=2000.0),
    ),
    "sloppy": replace(
        CLEAN,
        name="sloppy",
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

ABOUT = {
    "clean": "nothing wrong",
    "windy": "a clean hold in a strong wind",
    "stack": "down 1000 ft on every other lap, the levels held well",
    "missed approach": "climbs 2000 ft to the hold's level on entry and first lap",
    "sloppy": "a hold flown loosely all through",
}


def names() -> tuple[str, ...]:
    return (*OTHERS, *MISTAKES)


def named(name: str) -> Scenario:
    """The scenario of this name. Raises KeyError for a name that `names` does not give."""
    return OTHERS[name] if name in OTHERS else MISTAKES[name].scenario()
