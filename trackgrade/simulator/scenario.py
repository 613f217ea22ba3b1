"""What to fly: the air, the aircraft, the pilot, the mistakes, the recorder. Plain data, no behaviour.

Every field has a default that gives a clean flight: a careful pilot, 100 kt, ten knots of wind, a 1 Hz recorder.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Entry = Literal["direct", "teardrop", "parallel"]
#: What the recorder can log beside the position, by the project's column names.
CHANNELS = (
    "heading_true_deg", "heading_mag_deg", "ias_kt", "tas_kt", "groundspeed_kt", "track_true_deg", "bank_deg", "oat_c",
)  # fmt: skip
WatchReference = Literal["abeam", "wings level", "later of both"]


@dataclass(frozen=True)
class Air:
    """The moving air mass.

    The mean wind is at the hold's altitude; ``change_kt`` is the standard deviation of each component's slow
    change in time (``change_s`` its memory); ``shear_kt_per_1000_ft`` grows the wind with height,
    ``veer_deg_per_1000_ft`` turns it; gusts are short (``gust_s``).
    """

    wind_from_true_deg: float = 300.0
    wind_kt: float = 10.0
    change_kt: float = 0.5
    change_s: float = 900.0
    shear_kt_per_1000_ft: float = 0.0
    veer_deg_per_1000_ft: float = 0.0
    gust_kt: float = 0.5
    gust_s: float = 4.0


@dataclass(frozen=True)
class Aircraft:
    """How it flies. Turns are at ``turn_rate_deg_s`` or ``bank_limit_deg``, whichever needs less bank.

    ``roll_s`` is the time to roll from level into the bank of the turn. ``climb_ft_min`` runs through the hold
    (negative descends), until ``climb_ft`` have been gained or lost.
    """

    tas_kt: float = 100.0
    altitude_ft: float = 4000.0
    turn_rate_deg_s: float = 3.0
    bank_limit_deg: float = 30.0
    roll_s: float = 4.0
    climb_ft_min: float = 0.0
    climb_ft: float = 0.0


@dataclass(frozen=True)
class Pilot:
    """How steadily and by what habits the hold is flown.

    wind_error_kt : error (one standard deviation, each component) of the wind the pilot believes at the start
    reaction_s : time from seeing the fix or the watch to moving the controls
    heading_sd_deg, heading_bias_deg : wander and steady error of a held heading
    bank_sd_deg, rate_bias : wander of the bank in turns; turn rate flown over turn rate meant
    tas_sd_kt, altitude_sd_ft : wander about the speed and altitude meant
    intercept_deg : angle of a cut to the inbound course
    settle_s : how fast a needle deflection is flown out (time constant)
    scan_s : seconds between looks at the needle
    finesse : 0 rolls out where it comes; 1 trims the bank over the last part of the turn to roll out on the course
    learning : share of an observed error that is taken out on the next lap
    watch : where the outbound time is started
    drift_rule : how the outbound heading is chosen: by the solved lap, by three times the inbound drift, or none
    widen : share of the ideal wait before the turn of a direct entry that comes from the non-holding side
    soft_rollout : eases out of turns over about the last 15 degrees instead of rolling out at once
    fades_deg_s, fades_from_deg : rate of the last part of the turn back, from so many degrees short of the course on:
        a slow capture (0: at the rate of the rest)
    parallel_return : how the parallel entry comes back: intercepts the course, or flies to the fix
    level_rate_ft_min : how fast a change of level is flown
    leaves : after the last lap goes straight on, turns away from the holding side, or starts one more lap and leaves it
    marks : presses a mark button when the watch is started
    """

    wind_error_kt: float = 1.0
    reaction_s: float = 1.0
    heading_sd_deg: float = 0.8
    heading_bias_deg: float = 0.0
    bank_sd_deg: float = 0.5
    rate_bias: float = 1.0
    tas_sd_kt: float = 1.0
    altitude_sd_ft: float = 12.0
    intercept_deg: float = 35.0
    settle_s: float = 14.0
    scan_s: float = 1.5
    finesse: float = 1.0
    learning: float = 0.7
    watch: WatchReference = "later of both"
    drift_rule: Literal["solved", "triple", "none"] = "solved"
    widen: float = 1.0
    soft_rollout: bool = False
    fades_deg_s: float = 0.0
    fades_from_deg: float = 35.0
    parallel_return: Literal["intercept", "fix"] = "intercept"
    level_rate_ft_min: float = 500.0
    leaves: Literal["straight", "away", "one more"] = "straight"
    marks: bool = False


@dataclass(frozen=True)
class Mistakes:
    """What is flown wrong; by default nothing. ``on_laps`` limits lap mistakes to these numbers (empty: all)."""

    on_laps: tuple[int, ...] = ()
    reciprocal_course: bool = False
    wrong_side: bool = False
    entry_wrong_way: bool = False
    no_drift_correction: bool = False
    reversed_drift_correction: bool = False
    drift_share: float = 1.0  # of the outbound correction that works, so much is laid off
    outbound_factor: float = 1.0  # the time or length of the outbound leg, times this
    outbound_not_corrected: bool = False
    outbound_corrected_wrong_way: bool = False
    watch_alternates: bool = False  # abeam on one lap, wings level or late on the next
    watch_random_s: float = 0.0  # the watch is started anywhere within so many seconds
    turn_rate_factor: float = 1.0
    bank_swing_deg: float = 0.0  # the bank swings by this much to and fro within a turn
    aim_beyond_nm: float = 0.0  # rolls out this far from the course: + short of it, - through it
    no_intercept: bool = False  # parallels the course where it rolled out, up to abeam the fix
    late_at_fix_s: float = 0.0
    miss_fix_nm: float = 0.0  # passes the fix this far to the side, tracking parallel to the course
    off_course_nm: float = 0.0  # tracks the inbound leg this far off, + toward the holding side
    weave_nm: float = 0.0  # S-turns down the inbound leg with this half width
    altitude_lost_in_turns_ft: float = 0.0
    altitude_offset_ft: float = 0.0
    level_missed_ft: float = 0.0  # levels off this far above each level changed to, and stays there
    level_not_flown: bool = False  # stays where it is when another level is assigned
    speed_excess_kt: float = 0.0  # TAS above what was meant, all through
    arrival_excess_kt: float = 0.0  # comes to the fix this much fast and slows down only after it
    speed_swing_kt: float = 0.0
    outbound_toward_course_deg: float = 0.0  # outbound heading turned toward, and through, the inbound course
    orbit_on_lap: int = 0  # 0: none
    cut_short_on_lap: int = 0  # leaves before the fix on this lap


@dataclass(frozen=True)
class Manoeuvre:
    """Something flown before, after, or instead of the hold.

    kind, and what ``size`` means:
      pass            straight over the fix, then on; size [NM] flown beyond
      orbits          full circles at the place; size = how many
      s-turns         across the track; size = how many half circles
      steep turns     360 one way and 360 the other at 45 degrees of bank; size = pairs
      procedure turn  out from the fix, 45/180, back in; size [NM] outbound
      dme arc         around the place; size [NM] radius, 90 degrees of it
      hold            another hold at the place; size = laps; course and side below
      survey          parallel lines; size = how many
      approach        inbound over the fix, descends on course 5 NM, goes around, climbs back to the fix; size unused
      straight        ahead; size [NM]
      turn            from wherever it is; size [deg]
    ``away_nm``/``bearing_true_deg`` place it from the fix (0: at the fix). ``turn``: +1 right, -1 left.
    """

    kind: Literal[
        "pass", "orbits", "s-turns", "steep turns", "procedure turn", "dme arc", "hold", "survey", "approach",
        "straight", "turn",
    ]  # fmt: skip
    size: float = 1.0
    away_nm: float = 0.0
    bearing_true_deg: float = 0.0
    course_true_deg: float = 0.0
    turn: int = 1


@dataclass(frozen=True)
class Sensor:
    """The recorder and what goes wrong with it. ``noise_m`` is white, one axis; ``drift_m`` wanders with ``drift_s``.

    ``adaptive``: a point each second in turns, up to ``adaptive_max_s`` apart on straight legs.
    ``jitter_s``: positions belong to a time this far (standard deviation) from their stamp.
    ``stale``, ``duplicates``, ``disorder``: share of rows that repeat the last position, come twice, are out of order.
    ``dropouts``, ``invented``: how many holes, of random length up to ``hole_max_s`` (invented: 30 to 150 s); in
    invented ones rows lie on a straight line of equal steps, so that the stamps show no gap.
    ``channels``: logged besides positions; ``channel_lag_s`` late; ``channel_fault`` "none", "offset" or "stuck".
    """

    interval_s: float = 1.0
    adaptive: bool = False
    adaptive_max_s: float = 15.0
    whole_second: bool = False
    jitter_s: float = 0.0
    decimals: int | None = 7
    noise_m: float = 1.5
    drift_m: float = 1.5
    drift_s: float = 180.0
    altitude_noise_ft: float = 5.0
    altitude_step_ft: float = 1.0
    altitude_outliers: int = 0
    stale: float = 0.0
    duplicates: float = 0.0
    disorder: float = 0.0
    spikes: int = 0
    spike_max_km: float = 5.0
    dropouts: int = 0
    invented: int = 0
    hole_max_s: float = 60.0
    channels: tuple[str, ...] = ()
    channel_lag_s: float = 0.0
    channel_fault: Literal["none", "offset", "stuck"] = "none"


@dataclass(frozen=True)
class Scenario:
    """One flight. ``entry`` None flies the entry of the sector; no arrival heading draws one that fits the entry.

    ``reversal`` with ``laps`` 0 flies the entry in place of a procedure turn, and goes on inbound over the fix.
    ``levels`` are changes of level that nobody announces to the debrief: with which lap each begins, and by how many
    feet. Those of the hold itself are flown too, each some seconds after its time. ``visits`` 2 leaves the hold for an
    approach, goes around and comes back to hold again. ``laps`` 0 with ``before`` set flies only that (decoys).
    """

    name: str = "clean"
    entry: Entry | None = None
    arrival_heading_true_deg: float | None = None
    arrival_offset_deg: float | None = None  # the same against the inbound course, toward the holding side
    arrive_from_nm: float | None = None
    laps: int = 3
    visits: int = 1
    reversal: bool = False
    levels: tuple[tuple[int, float], ...] = ()
    air: Air = Air()
    aircraft: Aircraft = Aircraft()
    pilot: Pilot = Pilot()
    mistakes: Mistakes = Mistakes()
    sensor: Sensor = Sensor()
    before: tuple[Manoeuvre, ...] = ()
    after: tuple[Manoeuvre, ...] = ()
    start_epoch_s: float = 1777820400.0  # 2026-05-03T15:00:00Z
