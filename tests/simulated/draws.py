"""What is drawn for each suite: holds, air, aircraft, pilots, mistakes, recorders and decoys, over wide ranges.

The ranges are those of real logs and real pilots, wider than any one would meet, so that the analysis cannot be fitted
to them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from trackgrade.hold.hold import Hold, Leg
from trackgrade.simulator.scenario import Air, Aircraft, Manoeuvre, Mistakes, Pilot, Scenario, Sensor
from trackgrade.simulator.truth import expected_entries

Rng = np.random.Generator
Draw = Callable[[Rng, int], tuple[Hold, Scenario]]


# ---------------------------------------------------------------------------------------------- the parts


def hold_at(rng: Rng, leg: Leg, lat: float | None = None, lon: float | None = None) -> Hold:
    """A hold at an invented place, any course and side."""
    return Hold(
        name="drawn",
        fix_lat_deg=float(rng.uniform(-60, 68)) if lat is None else lat,
        fix_lon_deg=float(rng.uniform(-180, 180)) if lon is None else lon,
        inbound_course_true_deg=float(rng.uniform(0.0, 360.0)),
        variation_deg=float(rng.uniform(-15, 15)),
        variation_source="given",
        turns="right" if rng.random() < 0.6 else "left",
        leg=leg,
    )


def style(rng: Rng, rough: float = 1.0) -> Pilot:
    """A pilot's habits; ``rough`` scales the unsteadiness (1: fair students, 2: poor ones)."""

    def up_to(most: float, least: float = 0.0) -> float:
        return float(rng.uniform(least, most)) * rough

    return Pilot(
        wind_error_kt=up_to(6.0),
        reaction_s=up_to(2.5, 0.5),
        heading_sd_deg=up_to(2.5, 0.3),
        heading_bias_deg=float(rng.normal(0, 1.0)) * rough,
        bank_sd_deg=up_to(1.6, 0.2),
        rate_bias=float(rng.uniform(0.9, 1.1)),
        tas_sd_kt=up_to(2.5, 0.3),
        altitude_sd_ft=up_to(30.0, 5.0),
        intercept_deg=float(rng.uniform(25, 45)),
        settle_s=float(rng.uniform(10, 25)),
        scan_s=float(rng.uniform(1, 4)),
        finesse=float(rng.uniform(0, 1)),
        learning=float(rng.uniform(0.2, 0.9)),
        watch=str(rng.choice(["abeam", "wings level", "later of both"])),  # type: ignore[arg-type]
        drift_rule=str(rng.choice(["solved", "triple", "none"], p=[0.5, 0.4, 0.1])),  # type: ignore[arg-type]
        widen=float(rng.uniform(0, 1)),
        soft_rollout=bool(rng.random() < 0.3),
        parallel_return="fix" if rng.random() < 0.3 else "intercept",
        leaves=str(rng.choice(["straight", "away", "one more"], p=[0.5, 0.3, 0.2])),  # type: ignore[arg-type]
    )


def air(rng: Rng, wind_kt: float, change: float = 1.0) -> Air:
    return Air(
        wind_from_true_deg=float(rng.uniform(0, 360)),
        wind_kt=wind_kt,
        change_kt=float(rng.uniform(0, 1.5)) * change,
        change_s=float(rng.uniform(300, 1500)),
        gust_kt=float(rng.uniform(0, 1.5)),
        gust_s=float(rng.uniform(2, 8)),
    )


def one_hertz(rng: Rng) -> Sensor:
    return Sensor(
        interval_s=1.0,
        whole_second=bool(rng.random() < 0.2),
        decimals=int(rng.choice([5, 6, 7])),
        noise_m=float(rng.uniform(0, 3)),
        drift_m=float(rng.uniform(0, 4)),
    )


def light_aircraft(rng: Rng) -> Aircraft:
    return Aircraft(
        tas_kt=float(rng.uniform(70, 150)),
        altitude_ft=float(rng.uniform(2000, 9000)),
        turn_rate_deg_s=3.0,
        roll_s=float(rng.uniform(3, 6)),
    )


def minutes(rng: Rng) -> Leg:
    return Leg(minutes=float(rng.choice([1.0, 1.0, 1.0, 1.5])))


# ---------------------------------------------------------------------------------------------- the suites


def draw_clean(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    craft = light_aircraft(rng)
    return hold_at(rng, minutes(rng)), Scenario(
        name="clean",
        laps=int(rng.integers(1, 7)),
        air=air(rng, float(rng.uniform(0, min(30, 0.35 * craft.tas_kt)))),
        aircraft=craft,
        pilot=style(rng),
        sensor=one_hertz(rng),
    )


def draw_wind(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    craft = replace(light_aircraft(rng), tas_kt=float(rng.uniform(80, 180)))
    wind = float(rng.uniform(25, min(60, 0.5 * craft.tas_kt)))
    climb = float(rng.choice([0.0, 0.0, 500.0, -500.0]))
    return hold_at(rng, minutes(rng)), Scenario(
        name="wind",
        laps=int(rng.integers(1, 7)),
        air=replace(
            air(rng, wind, change=2.0),
            shear_kt_per_1000_ft=float(rng.uniform(0, 3)),
            veer_deg_per_1000_ft=float(rng.uniform(-4, 6)),
        ),
        aircraft=replace(craft, climb_ft_min=climb, climb_ft=float(np.sign(climb)) * float(rng.uniform(500, 1500))),
        pilot=style(rng),
        sensor=one_hertz(rng),
    )


def draw_jets(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    tas = float(rng.uniform(160, 280))
    leg = Leg(nm=float(rng.uniform(4, 20))) if rng.random() < 0.4 else Leg(minutes=float(rng.choice([1.0, 1.5])))
    return hold_at(rng, leg), Scenario(
        name="jets",
        laps=int(rng.integers(1, 5)),
        air=air(rng, float(rng.uniform(0, 60)), change=1.5),
        aircraft=Aircraft(
            tas_kt=tas,
            altitude_ft=float(rng.uniform(5000, 24000)),
            bank_limit_deg=float(rng.choice([25.0, 30.0])),
            roll_s=float(rng.uniform(3.5, 6)),
        ),
        pilot=style(rng, rough=0.6),
        sensor=one_hertz(rng),
    )


def draw_turns(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """Odd turns, climbs and descents, distance legs, slow and fast."""
    craft = Aircraft(
        tas_kt=float(rng.uniform(60, 200)),
        altitude_ft=float(rng.uniform(1500, 12000)),
        turn_rate_deg_s=float(rng.choice([1.5, 2.0, 3.0, 3.5])),
        bank_limit_deg=float(rng.choice([20.0, 25.0, 30.0])),
        roll_s=float(rng.uniform(3, 6)),
        climb_ft_min=float(rng.choice([-700.0, 0.0, 500.0])),
        climb_ft=float(rng.uniform(500, 3000)),
    )
    craft = replace(craft, climb_ft=craft.climb_ft * float(np.sign(craft.climb_ft_min)))
    leg = Leg(nm=float(rng.uniform(2, 6))) if rng.random() < 0.4 else minutes(rng)
    return hold_at(rng, leg), Scenario(
        name="turns",
        laps=int(rng.integers(1, 13)),
        air=air(rng, float(rng.uniform(0, min(40, 0.4 * craft.tas_kt)))),
        aircraft=craft,
        pilot=replace(style(rng), bank_sd_deg=float(rng.uniform(0.5, 3.0)), rate_bias=float(rng.uniform(0.75, 1.2))),
        mistakes=Mistakes(bank_swing_deg=float(rng.choice([0.0, 0.0, 5.0]))),
        sensor=one_hertz(rng),
    )


SAMPLINGS = ("5 Hz", "2 s", "5 s", "10 s", "adaptive", "1 s")


def messy_sensor(rng: Rng, kind: str | None = None) -> Sensor:
    kind = kind or str(rng.choice(SAMPLINGS, p=[0.15, 0.15, 0.3, 0.0, 0.3, 0.1]))
    interval = {"5 Hz": 0.2, "1 s": 1.0, "2 s": 2.0, "5 s": 5.0, "10 s": 10.0, "adaptive": 1.0}[kind]
    jitter = 0.0 if interval < 1.0 else float(rng.uniform(0.0, 0.5))
    return Sensor(
        interval_s=interval,
        adaptive=kind == "adaptive",
        whole_second=bool(rng.random() < 0.4 and interval >= 1.0),
        jitter_s=jitter if rng.random() < 0.5 else 0.0,
        decimals=int(rng.choice([5, 6, 7])),
        noise_m=float(rng.uniform(0, 5)),
        drift_m=float(rng.uniform(0, 8)),
        altitude_outliers=int(rng.integers(0, 4)),
        stale=float(rng.choice([0.0, 0.02, 0.05])),
        duplicates=float(rng.choice([0.0, 0.02])),
        disorder=float(rng.choice([0.0, 0.01])),
        spikes=int(rng.integers(0, 4)),
        dropouts=int(rng.integers(0, 3)),
        invented=int(rng.integers(0, 2)),
        hole_max_s=60.0,
    )


def draw_messy(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    craft = light_aircraft(rng)
    if rng.random() < 0.4:
        craft = replace(craft, tas_kt=float(rng.uniform(150, 250)), bank_limit_deg=25.0, altitude_ft=9000.0)
    return hold_at(rng, minutes(rng)), Scenario(
        name="messy",
        laps=int(rng.integers(2, 6)),
        air=air(rng, float(rng.uniform(0, min(40, 0.35 * craft.tas_kt)))),
        aircraft=craft,
        pilot=style(rng),
        sensor=messy_sensor(rng),
    )


def draw_sparse(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """A point every 10 s: beyond what is asked for, to see how it ends."""
    hold, scenario = draw_messy(rng, seed)
    return hold, replace(scenario, name="sparse", sensor=messy_sensor(rng, "10 s"))


def _bad_mistakes(rng: Rng, seed: int) -> tuple[str, Mistakes, int]:
    """(what, mistakes, laps) of one badly flown hold."""
    laps = int(rng.integers(2, 5))
    one = (int(rng.integers(1, laps + 1)),)
    side = float(rng.choice([-1, 1]))
    choices: list[tuple[str, Mistakes]] = [
        ("fix missed", Mistakes(miss_fix_nm=side * float(rng.uniform(1, 2)))),
        ("fix missed", Mistakes(off_course_nm=side * float(rng.uniform(1, 1.7)), on_laps=one)),
        ("reciprocal", Mistakes(reciprocal_course=True)),
        ("reciprocal", Mistakes(reciprocal_course=True)),
        ("wrong side", Mistakes(wrong_side=True)),
        ("wrong side", Mistakes(wrong_side=True)),
        ("entry wrong way", Mistakes(entry_wrong_way=True)),
        ("entry wrong way", Mistakes(entry_wrong_way=True)),
        ("orbit inserted", Mistakes(orbit_on_lap=one[0])),
        ("cut short", Mistakes(cut_short_on_lap=laps)),
        ("no intercept", Mistakes(no_intercept=True, aim_beyond_nm=side * float(rng.uniform(0.2, 0.9)), on_laps=one)),
        ("weaves", Mistakes(weave_nm=float(rng.uniform(0.08, 0.25)))),
        ("overshot", Mistakes(aim_beyond_nm=-float(rng.uniform(0.2, 0.6)))),
        ("undershot", Mistakes(aim_beyond_nm=float(rng.uniform(0.3, 0.9)))),
        ("through the course", Mistakes(outbound_toward_course_deg=float(rng.uniform(20, 55)), on_laps=one)),
        ("late at fix", Mistakes(late_at_fix_s=float(rng.uniform(8, 25)))),
        ("wrong entry", Mistakes()),
        ("wrong entry", Mistakes()),
        ("timing", Mistakes(outbound_factor=float(rng.choice([0.4, 0.6, 1.6, 2.2])))),
    ]
    what, mistakes = choices[seed % len(choices)]  # each in its turn
    return what, mistakes, laps


def draw_bad(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    craft = light_aircraft(rng)
    what, mistakes, laps = _bad_mistakes(rng, seed)
    pilot = style(rng, rough=1.5)
    scenario = Scenario(
        name=what,
        laps=laps,
        air=air(rng, float(rng.uniform(0, min(30, 0.3 * craft.tas_kt)))),
        aircraft=craft,
        pilot=pilot,
        mistakes=mistakes,
        sensor=one_hertz(rng),
    )
    if what == "entry wrong way":
        scenario = replace(scenario, entry=str(rng.choice(["teardrop", "parallel"])))  # type: ignore[arg-type]
    if what == "wrong entry":
        # (entry flown, arrival against the course): the next sector's, well inside the own. A direct entry in the
        # teardrop sector is left out: its path is a teardrop's, and no track tells what the pilot called it.
        entry, offset = [
            ("parallel", -35.0), ("teardrop", 75.0), ("parallel", 145.0),
            ("teardrop", -150.0), ("direct", -95.0),
        ][seed % 5]  # fmt: skip
        scenario = replace(scenario, entry=entry, arrival_offset_deg=offset)  # type: ignore[arg-type]
    return hold_at(rng, minutes(rng)), scenario


def draw_decoys(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """Flights that are no hold at this fix."""
    craft = light_aircraft(rng)
    hold = hold_at(rng, minutes(rng))
    turn = int(rng.choice([-1, 1]))
    near, far = 0.0, float(rng.uniform(5, 12))
    bearing = float(rng.uniform(0, 360))
    course = hold.inbound_course_true_deg
    other = (course + float(rng.choice([-1, 1])) * float(rng.uniform(60, 150))) % 360.0
    m = Manoeuvre
    choices = [
        ("pass", (m("pass", 6.0), m("pass", 6.0))),
        ("pass", (m("pass", 3.0),)),
        ("orbits at fix", (m("orbits", float(rng.integers(1, 5)), turn=turn),)),
        ("orbits elsewhere", (m("pass", 2.0), m("orbits", 3.0, far, bearing, turn=turn))),
        ("s-turns", (m("pass", 1.0), m("s-turns", 5.0, turn=turn))),
        ("s-turns at fix", (m("s-turns", float(rng.integers(4, 8)), turn=turn),)),
        ("steep turns", (m("pass", 0.3), m("steep turns", 2.0, turn=turn))),
        ("procedure turn", (m("procedure turn", float(rng.uniform(2, 6)), course_true_deg=course, turn=turn),)),
        ("procedure turn", (m("procedure turn", 4.0, course_true_deg=other, turn=turn),)),
        ("dme arc", (m("dme arc", float(rng.uniform(5, 12)), course_true_deg=bearing, turn=turn), m("pass", 3.0))),
        ("hold elsewhere", (m("pass", 2.0), m("hold", 3.0, far, bearing, float(rng.uniform(0, 360)), turn))),
        ("hold elsewhere", (m("hold", 2.0, far, bearing, course, hold.side), m("pass", 3.0))),
        ("hold at fix, other course", (m("hold", 3.0, near, 0.0, other, hold.side),)),
        ("hold at fix, other course", (m("hold", 2.0, near, 0.0, other, -hold.side),)),
        ("survey", (m("survey", float(rng.integers(4, 9)), course_true_deg=course, turn=turn),)),
        ("survey", (m("survey", 6.0, 1.0, bearing, float(rng.uniform(0, 360)), turn),)),
        ("approach", (m("approach"), m("pass", 3.0))),
    ]
    what, before = choices[seed % len(choices)]  # each in its turn
    return hold, Scenario(
        name=what,
        laps=0,
        air=air(rng, float(rng.uniform(0, min(30, 0.3 * craft.tas_kt)))),
        aircraft=craft,
        pilot=style(rng),
        sensor=one_hertz(rng),
        before=before,
    )


def draw_mixed(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """A hold in a flight full of other things; some with two visits."""
    hold, decoys = draw_decoys(rng, seed)
    # What ends at the fix on the hold's own course would be part of the hold.
    before = decoys.before if decoys.name not in ("hold at fix, other course",) else ()
    before = tuple(replace(m, size=9.0) if m.kind == "pass" else m for m in before)
    _, clean = draw_clean(rng, seed)
    _, after = draw_decoys(rng, seed + 5)
    return hold, replace(
        clean,
        name="mixed",
        laps=int(rng.integers(1, 4)),
        visits=2 if rng.random() < 0.4 else 1,
        before=before,
        after=after.before if rng.random() < 0.5 and after.name in ("steep turns", "dme arc", "survey") else (),
    )


def draw_geography(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    _, scenario = draw_clean(rng, seed)
    kind = int(rng.integers(4))
    lat = float(rng.choice([-1, 1])) * float(rng.uniform(70, 85)) if kind == 0 else None
    lon = float(rng.choice([-1, 1])) * (180.0 - float(rng.uniform(0, 0.03))) if kind in (0, 1) else None
    if kind == 2:
        lat = float(rng.uniform(-0.03, 0.03))
    if kind == 3:
        lat, lon = float(rng.uniform(-55, -20)), float(rng.uniform(-0.03, 0.03))
    sensor = replace(scenario.sensor, interval_s=float(rng.choice([0.2, 1.0])), whole_second=False)
    return hold_at(rng, minutes(rng), lat, lon), replace(scenario, name="geography", sensor=sensor)


def draw_channels(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """Logged heading, airspeed, track: right, late, or wrong."""
    _, scenario = draw_clean(rng, seed)
    names = ["heading_true_deg", "heading_mag_deg", "ias_kt", "tas_kt", "groundspeed_kt", "track_true_deg"]
    chosen = tuple(n for n in names if rng.random() < 0.6)
    fault = str(rng.choice(["none", "none", "none", "offset", "stuck"]))
    sensor = replace(
        scenario.sensor,
        channels=chosen,
        channel_lag_s=float(rng.choice([0.0, 0.0, 1.0, 2.0])),
        channel_fault=fault,  # type: ignore[arg-type]
    )
    return hold_at(rng, minutes(rng)), replace(scenario, name=f"channels {fault}", sensor=sensor)


def draw_fading(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """Turns back that fade into a slow capture of the course: on every other flight."""
    hold, scenario = draw_clean(rng, seed)
    fades, from_deg = float(rng.uniform(0.4, 1.6)), float(rng.uniform(15, 50))
    pilot = replace(scenario.pilot, fades_deg_s=fades if seed % 2 else 0.0, fades_from_deg=from_deg)
    return hold, replace(scenario, name="fading" if seed % 2 else "clean", pilot=pilot)


def draw_entries(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """The right entry from any heading, half near a sector's boundary; direct ones with short legs among them; winds to
    40 kt, a point in 1 to 10 s."""
    hold, scenario = draw_clean(rng, seed)
    wind = float(rng.uniform(0, min(40, 0.4 * scenario.aircraft.tas_kt)))
    interval_s = float(rng.choice([1.0, 1.0, 2.0, 5.0, 10.0]))
    scenario = replace(
        scenario,
        air=replace(scenario.air, wind_kt=wind),
        sensor=replace(scenario.sensor, interval_s=interval_s),
    )
    near = (rng.uniform(68, 112), rng.uniform(-78, -55), rng.uniform(102, 118), rng.uniform(168, 192))
    offset = float(rng.uniform(-180, 180)) if seed % 2 else float(near[seed // 2 % len(near)])
    entry = str(rng.choice(expected_entries(offset)))
    mistakes = Mistakes()
    if entry == "direct" and rng.random() < 0.5:
        mistakes = Mistakes(outbound_factor=float(rng.uniform(0.1, 0.7)), on_laps=(1,))
    return hold, replace(
        scenario,
        name=entry,
        entry=entry,  # type: ignore[arg-type]
        arrival_offset_deg=offset,
        laps=int(rng.integers(1, 4)),
        mistakes=mistakes,
    )


def draw_other_entries(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """Entries that the arrival does not ask for, and a turn back the wrong way; winds to 40 kt, a point in 1 to 10 s.

    Left out is what is another entry in all but name: direct ones out of a turn of next to nothing or next to a circle,
    or into the teardrop's leg; and, by `suites`, a teardrop whose leg lies along those of the same pilot's laps.
    """
    hold, scenario = draw_clean(rng, seed)
    wrong_way = seed % 4 == 3
    turned_wrong = (("teardrop", 112.0, 178.0), ("parallel", 182.0, 288.0))
    others = (
        ("teardrop", -100.0, 100.0),
        ("parallel", -65.0, 175.0),
        ("direct", -118.0, -77.0),
        ("teardrop", -170.0, -80.0),
    )
    what, low, high = turned_wrong[seed // 4 % 2] if wrong_way else others[seed // 4 % 4]
    wind = float(rng.uniform(0, min(40, 0.4 * scenario.aircraft.tas_kt)))
    return hold, replace(
        scenario,
        name=f"{what}, turned the wrong way" if wrong_way else what,
        entry=what,  # type: ignore[arg-type]
        arrival_offset_deg=float(rng.uniform(low, high)),
        laps=int(rng.integers(1, 5)),
        mistakes=Mistakes(entry_wrong_way=wrong_way),
        air=replace(scenario.air, wind_kt=wind),
        sensor=replace(scenario.sensor, interval_s=float(rng.choice([1.0, 1.0, 2.0, 5.0, 10.0]))),
    )


def draw_reversals(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """The hold flown once in place of a procedure turn."""
    hold, scenario = draw_clean(rng, seed)
    return hold, replace(scenario, name="reversal", laps=0, reversal=True)


def draw_circles(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """Circles and loops about the fix that are no laps: one of 360 degrees, eights, some that wander."""
    hold, scenario = draw_decoys(rng, seed)
    m, side = Manoeuvre, int(rng.choice([-1, 1]))
    course = hold.inbound_course_true_deg

    def turn(degrees: float, way: int = side) -> Manoeuvre:
        return m("turn", degrees, turn=way)

    def leg(shortest_s: float, longest_s: float) -> Manoeuvre:
        return m("straight", scenario.aircraft.tas_kt / 3600.0 * float(rng.uniform(shortest_s, longest_s)))

    def either() -> int:
        return int(rng.choice([-1, 1]))

    about, long, shift = float(rng.uniform(200, 270)), leg(10, 40), float(rng.uniform(15, 70))
    choices: list[tuple[str, list[Manoeuvre]]] = [
        ("one circle", [m("orbits", 1.0, turn=side)]),
        ("figure of eight", [m("orbits", 1.0, turn=way) for way in (side, -side)]),
        ("circles from place to place", [
            m("orbits", 1.0, float(rng.uniform(0.2, 1.5)), float(rng.uniform(0, 360)), turn=side) for _ in range(5)
        ]),
        ("circle and away", [m("pass", 1.0), m("orbits", 1.0, 0.5, course, turn=side), m("pass", 3.0)]),
        ("circles adrift", [m("pass", 0.2), turn(360.0 * float(rng.integers(3, 9)))]),
        ("eights with legs", [m("pass", 0.2), *(
            part for k in range(6) for part in (turn(about, side if k % 2 else -side), long)
        )]),
        ("loops one way", [m("pass", 0.2), *(
            part for _ in range(10) for part in (turn(float(rng.uniform(90, 330))), leg(5, 45))
        )]),
        ("loops either way", [m("pass", 0.2), *(
            part for _ in range(10) for part in (turn(float(rng.uniform(90, 360)), either()), leg(5, 45))
        )]),
        ("racetracks that wander", [m("pass", 0.2), *(
            part for _ in range(5) for part in (turn(180.0), long, turn(180.0 + shift), leg(10, 60))
        )]),
    ]  # fmt: skip
    what, before = choices[seed % len(choices)]  # each in its turn
    return hold, replace(scenario, name=what, before=tuple(before))


def draw_racetracks(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """Racetracks with legs of a few seconds, a position in 10 to 12 s."""
    hold, scenario = draw_clean(rng, seed)
    sensor = replace(scenario.sensor, interval_s=float(rng.choice([10.0, 11.0, 12.0])), whole_second=True)
    pilot = replace(scenario.pilot, drift_rule="solved", leaves="straight")
    return replace(hold, leg=Leg(minutes=1.0 / 3.0)), replace(
        scenario,
        name="racetracks",
        entry="direct",
        arrival_offset_deg=float(rng.uniform(-20, 20)),
        laps=int(rng.integers(4, 14)),
        air=replace(scenario.air, wind_kt=float(rng.uniform(0, 10))),
        pilot=pilot,
        sensor=sensor,
    )


#: Flights whose changes of level the hold file tells, and those that were flown without a word in it.
LEVELS_TOLD, LEVELS_NOT_TOLD = ("levels told", "level missed", "level not flown"), ("levels not told", "altitude off")


def draw_levels(rng: Rng, seed: int) -> tuple[Hold, Scenario]:
    """Changes of level: assigned at a time, unannounced, in steps, on the climb to the hold; held well and badly."""
    hold, scenario = draw_clean(rng, seed)
    what = (*LEVELS_TOLD, *LEVELS_NOT_TOLD, "stack", "missed approach")[seed % 7]  # each in its turn
    first_ft = float(rng.integers(5, 12)) * 1000.0
    n = 1 if what == "level not flown" else int(rng.integers(1, 3))
    steps = [float(rng.choice([-2000.0, -1000.0, -1000.0, 1000.0])) for _ in range(n)]
    altitudes = first_ft + np.cumsum(steps)
    times = scenario.start_epoch_s + np.cumsum([float(rng.uniform(250, 600)) for _ in steps])
    sign, laps = float(rng.choice([-1, 1])), int(rng.integers(4, 7))
    mistakes = {
        "level missed": Mistakes(level_missed_ft=sign * float(rng.uniform(160, 280))),
        "level not flown": Mistakes(level_not_flown=True),
        "altitude off": Mistakes(altitude_offset_ft=sign * float(rng.uniform(150, 220))),
    }
    craft = replace(scenario.aircraft, altitude_ft=first_ft)
    if what == "missed approach":
        climb_ft = float(rng.uniform(800, 3000))
        craft = replace(
            craft, altitude_ft=first_ft - climb_ft, climb_ft=climb_ft, climb_ft_min=float(rng.uniform(500, 900))
        )
    elif what != "stack":
        hold = replace(hold, levels=tuple((float(t), float(ft)) for t, ft in zip(times, altitudes)))
    stack = ((2, -1000.0), (4, -1000.0)) if what == "stack" else ()
    if seed % 3 or what in ("altitude off", "missed approach"):
        hold = replace(hold, altitude_ft=first_ft)
    rate_ft_min, altitude_sd_ft = float(rng.uniform(500, 1000)), float(rng.uniform(5, 30))
    return hold, replace(
        scenario,
        name=what,
        laps=laps,
        levels=stack,
        aircraft=craft,
        pilot=replace(scenario.pilot, level_rate_ft_min=rate_ft_min, altitude_sd_ft=altitude_sd_ft),
        mistakes=mistakes.get(what, Mistakes()),
        sensor=replace(scenario.sensor, altitude_step_ft=float(rng.choice([1.0, 25.0]))),
    )
