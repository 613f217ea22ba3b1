"""Where the inbound time starts: the course crossed in the turn back, or rolled out; and the other fair reading.

Where a turn stops at once the moment is one. Where it fades into a slow capture of the course one watch is started at
the end of the turn proper and another where the turning ends; where an aircraft rolls out along the course, one is
started by the needle and another by the wings. Then both are told.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from trackgrade.motion.motion import GRID_STEP_S
from trackgrade.motion.samples import Turn
from trackgrade.segment.events import POSITION_FLOOR_NM, crossing_moment, first_crossing
from trackgrade.segment.flown import InboundStart, Moment
from trackgrade.segment.path import FlightPath
from trackgrade.track.ranks import median
from trackgrade.track.runs import runs

#: Beyond the course by more than this many standard errors of the position counts as crossed.
TRUSTED_SD = 2.0
#: A roll-out with a larger error than this may have come before the crossing [s].
OPEN_ROLLOUT_S = 3.0
#: Rolled out along the course, it is met within this if at all; carried through it, the furthest comes within that [s].
DRIFTS_ON_S, CARRIED_ON_S = 15.0, 10.0
#: Crossing and roll-out further apart than this are a near tie [s]; readings closer than that are one for a watch [s].
NEAR_TIE_S, TIE_S = 1.0, 2.0
#: The turn rate is looked at over twice so many seconds: a hand on the bank shows, noise does not.
RATE_HALF_S = 2
RATE_STEPS = round(RATE_HALF_S / GRID_STEP_S)
#: The turn proper is over where its rate falls below this share of its own, its roll-out where this share of what it
#: loses is left; all turning is over below so many degrees a second, for longer than a pause in a turn lasts [s].
PROPER_SHARE, OVER_SHARE, STILL_TURNING_DEG_S, PAUSE_S = 0.5, 0.25, 0.3, 3.0
#: A roll-out is over so soon after the turn proper, and has turned no more than this since [s, deg]: what lasts and
#: turns longer is a fade. More than the other is no end of a turn but most of it.
ROLL_OUT_S, ROLL_OUT_DEG, MOST_FADE_DEG = 9.0, 8.0, 60.0
#: Standard error of the end of a turn that fades, as a share of how long it fades.
FADE_SD_SHARE = 0.2
#: A fade goes on this long at most [s].
LONGEST_FADE_S = 90.0


class InboundReadings(NamedTuple):
    """The start of the inbound time, its other reading (or None), the crossing of the course in the turn back, and
    whether crossing the course and rolling out on it could not be told apart within the error of the positions."""

    start: InboundStart
    other: InboundStart | None
    crossed: Moment | None
    near_tie: bool


def read_inbound_start(
    path: FlightPath, turned_back_s: float, back: Turn, rollout: Moment, end_s: float
) -> InboundReadings:
    """Both readings of a lap's inbound start: ``back`` the turn back, ``rollout`` its end, ``end_s`` the fix."""
    fade = fading(path, back, end_s)
    others = []
    if fade is not None:
        # The end of it that the usual roll-out is nearer to, and the other one; each is as sure as the fade is short.
        near, far = sorted(fade, key=lambda each: abs(each - rollout.epoch_s))
        rollout = Moment(near, max(rollout.sd_s, FADE_SD_SHARE * (fade[1] - fade[0])))
        others = [_read(path, turned_back_s, Moment(far, rollout.sd_s), end_s).start]
    first = _read(path, turned_back_s, rollout, end_s)
    others += [] if first.other is None else [first.other]
    moment = first.start.moment
    apart = [each for each in others if abs(each.moment.epoch_s - moment.epoch_s) > TIE_S]
    other = max(apart, key=lambda each: abs(each.moment.epoch_s - moment.epoch_s), default=None)
    return first._replace(other=other)


def fading(path: FlightPath, back: Turn, end_s: float) -> tuple[float, float] | None:
    """Where a turn proper ends and where its turning ends [s since 1970], if it fades in between; else None."""
    k0 = path.index(back.start_epoch_s)
    k1 = path.index(min(back.end_epoch_s + LONGEST_FADE_S, end_s))
    # Over both sides of a moment; at the ends of the record over what there is.
    k = np.arange(k0, k1 + 1)
    after, before = np.minimum(k + RATE_HALF_S, len(path.epoch_s) - 1), np.maximum(k - RATE_HALF_S, 0)
    rate = (path.heading_deg[after] - path.heading_deg[before]) / ((after - before) * GRID_STEP_S)
    rate = rate * np.sign(back.change_deg)
    core = int(np.argmax(rate[: path.index(back.end_epoch_s) - k0 + 1]))
    over = core
    for first, beyond in runs(rate > STILL_TURNING_DEG_S):
        if first - over > PAUSE_S / GRID_STEP_S:
            break
        over = max(over, beyond)
    over = min(over, len(rate) - 1)
    left_deg = np.abs(path.heading_deg[k0 + over] - path.heading_deg[k])
    slow = np.flatnonzero((rate < PROPER_SHARE * back.rate_deg_s) & (left_deg < MOST_FADE_DEG) & (k - k0 > core))
    if not len(slow) or slow[0] >= over:
        return None
    proper = int(slow[0])
    if (over - proper) * GRID_STEP_S < ROLL_OUT_S or left_deg[proper] < ROLL_OUT_DEG:
        return None
    # Half rate is the middle of its roll-out: that is over when a quarter of what it loses is left.
    fade_deg_s = median(rate[proper + RATE_STEPS : over])
    left = rate[proper:over] - fade_deg_s > OVER_SHARE * (back.rate_deg_s - fade_deg_s)
    proper += int(np.argmin(left))
    return float(path.epoch_s[k0 + proper]), float(path.epoch_s[k0 + over])


def _read(path: FlightPath, turned_back_s: float, rollout: Moment, end_s: float) -> InboundReadings:
    """Course crossed in the turn back, or rolled out: whichever is earlier; the other where position cannot tell.

    Rolling out tangentially on the course is no crossing: it counts only beyond what the position can be trusted.
    """
    rolled_out = InboundStart(rollout, "rollout")
    at = first_crossing(path, path.cross_nm, turned_back_s, min(rollout.epoch_s, end_s))
    k_roll = path.index(rollout.epoch_s)
    trust = TRUSTED_SD * float(np.hypot(path.across_sd_nm[k_roll], POSITION_FLOOR_NM))
    if at is None:
        # Rolled out short of the course, by less than can be told from rolling out on it?
        later = first_crossing(path, path.cross_nm, rollout.epoch_s - 0.5, min(rollout.epoch_s + DRIFTS_ON_S, end_s))
        close = abs(path.value(path.cross_nm, rollout.epoch_s)) < trust and later is not None
        return InboundReadings(rolled_out, None, None, bool(close))
    inside = slice(path.index(at), path.index(min(end_s, rollout.epoch_s + CARRIED_ON_S)) + 1)
    beyond = -float(np.min(path.cross_nm[inside]))
    crossed = crossing_moment(path, at, path.value(path.track_deg, at) - 90.0)
    on_course = InboundStart(crossed, "course")
    half_s = (rollout.epoch_s - at) / 2.0
    if beyond <= trust:
        return InboundReadings(_widened(rolled_out, half_s), on_course, None, half_s > NEAR_TIE_S / 2.0)
    if beyond <= 2.0 * trust and half_s > NEAR_TIE_S / 2.0:
        return InboundReadings(_widened(on_course, half_s), rolled_out, crossed, True)
    if rollout.sd_s > OPEN_ROLLOUT_S:
        # Where a hole leaves the roll-out open, it may as well have come first.
        return InboundReadings(_widened(on_course, rollout.sd_s / 2.0), None, crossed, False)
    return InboundReadings(on_course, None, crossed, False)


def _widened(reading: InboundStart, sd_s: float) -> InboundStart:
    """A reading whose error spans the other one as well."""
    return replace(reading, moment=Moment(reading.moment.epoch_s, max(reading.moment.sd_s, sd_s)))
