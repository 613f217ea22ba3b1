"""Every inbound leg as each needle would have shown it: linear (GPS) and angular (VOR)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Literal, NamedTuple

import numpy as np

from trackgrade.earth.angles import wrap180
from trackgrade.earth.geodesy import azimuth_distance
from trackgrade.hold.courses import course_name
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.guidance import gps_needle, vor_needle_in_frame
from trackgrade.hold.hold import Hold
from trackgrade.score.lap import NeedleContrast, NeedleReading, SecondNeedle
from trackgrade.score.results import Measurement
from trackgrade.score.series import inside, span_sd_s
from trackgrade.score.standard import THREE_QUARTERS
from trackgrade.segment.flown import Lap
from trackgrade.segment.path import Samples
from trackgrade.track.ranks import median
from trackgrade.track.track import Bools, Floats, Rows

#: Full scale of the linear needle by phase [NM]: en route, terminal, approach (AIM 1-1-17 for the last two;
#: 2 NM en route with an augmented receiver, secondary source).
TERMINAL_NM = 1.0
GPS_FULL_SCALES_NM = {"en route": 2.0, "terminal": TERMINAL_NM, "approach": 0.3}
#: Closer to a VOR than this the needle swings whatever is flown and is left alone [NM]: common practice, no source.
STATION_PASSAGE_NM = 0.5
#: The course counts as met once the hold's own needle is within this share of full scale: a choice. It does not
#: move with the limit graded, so that a wider limit can never make a result worse.
CAPTURED_SHARE = 0.5
#: A course not captured by this share of the inbound leg is read from there on: a choice.
LATEST_CAPTURE_SHARE = 0.5
HALF = 0.5
#: The crossing radial is looked for so long before and after the fix passage [s]: a choice.
SECOND_WITHIN_S = 60.0


class Needle(NamedTuple):
    """One needle to read: kind, full scale each side, whether it is the hold's own guidance."""

    kind: Literal["gps", "vor"]
    label: str
    full_scale: float
    unit: str
    own: bool
    hold: Hold


@dataclass(frozen=True, eq=False)
class Shown:
    """What a needle showed at every sample of a flight, arrays (n,): share of full scale, holding side positive; its
    error; whether it can be read there."""

    needle: Needle
    share: Floats
    share_sd: Floats
    readable: Bools

    @property
    def right(self) -> Floats:
        """Share of full scale (n,), the aircraft right of the course positive (the needle then points left)."""
        return self.needle.hold.side * self.share


def needles_of(hold: Hold) -> tuple[Needle, ...]:
    """The needles each inbound leg is read by: the three linear scales, the hold's own, and a VOR.

    The VOR is the hold's own, or a practice station that a GPS hold's file names; without one it stands at the fix.
    """
    guidance = hold.guidance
    needles = [
        Needle(
            "gps",
            f"GPS {scale:g} NM ({phase})",
            scale,
            "NM",
            guidance.kind == "gps" and guidance.full_scale_nm == scale,
            hold,
        )
        for phase, scale in GPS_FULL_SCALES_NM.items()
    ]
    if guidance.kind == "gps" and not any(needle.own for needle in needles):
        needles.append(Needle("gps", f"GPS {guidance.full_scale_nm:g} NM", guidance.full_scale_nm, "NM", True, hold))
    where = "VOR" if guidance.kind == "vor" else "practice VOR"
    if guidance.station_lat_deg is None:
        where += " at the fix"
    label = f"{where}, {guidance.full_scale_deg:g}° full scale"
    needles.append(Needle("vor", label, guidance.full_scale_deg, "deg", guidance.kind == "vor", hold))
    return tuple(needles)


def own_and_other(shown: Sequence[Shown]) -> tuple[Shown, Shown]:
    """The needle that the hold is flown by, and one of the other kind: the VOR, or the GPS in the terminal area."""
    own = next(each for each in shown if each.needle.own)
    others = (each for each in shown if each.needle.kind != own.needle.kind)
    return own, next(each for each in others if each.needle.kind == "vor" or each.needle.full_scale == TERMINAL_NM)


def show(needle: Needle, samples: Samples) -> Shown:
    """The needle over a whole flight. A VOR's is left alone within half a mile of the station."""
    if needle.kind == "gps":
        share = gps_needle(samples.cross_nm, needle.full_scale)
        return Shown(needle, share, samples.position_sd_nm / needle.full_scale, np.ones(len(samples), dtype=bool))
    share, distance_nm = vor_needle_in_frame(needle.hold, samples.along_nm, samples.cross_nm)
    share_sd = np.degrees(samples.position_sd_nm / np.maximum(distance_nm, 1e-3)) / needle.full_scale
    return Shown(needle, share, share_sd, distance_nm >= STATION_PASSAGE_NM)


def inbound_leg(own: Shown, lap: Lap, samples: Samples) -> slice | str:
    """The samples of a lap's inbound leg at which needles are read, or why they cannot be. ``own``: the hold's needle.

    One stretch for every needle and scale: from the inbound start where the course was crossed; after a roll-out on an
    intercept from where the course was met (the hold's own needle inside half scale), at the latest from half the leg.
    Read to the fix.
    """
    if lap.inbound_start is None or lap.end is None:
        return "the track does not show an inbound leg"
    start, end = lap.inbound_start.epoch_s, lap.end.epoch_s
    leg = inside(samples, start, end)
    if leg.stop - leg.start < 2:
        return "fewer than two positions on the inbound leg"
    if lap.inbound_start_by == "rollout":
        captured = leg.start + np.flatnonzero(np.abs(own.share[leg]) <= CAPTURED_SHARE)
        latest = int(samples.epoch_s.searchsorted(start + LATEST_CAPTURE_SHARE * (end - start)))
        leg = slice(int(min([*captured[:1], latest])), leg.stop)
    return leg


def deflected(shown: Shown, leg: slice | str) -> Rows | str:
    """The samples of a leg at which a needle can be read, or why it cannot."""
    if isinstance(leg, str):
        return leg
    index = leg.start + np.flatnonzero(shown.readable[leg])
    return index if index.size >= 2 else "the whole inbound leg is too close to the station to be read"


def read_needle(shown: Shown, leg: slice | str, samples: Samples) -> NeedleReading:
    """Largest and typical deflection of one inbound leg, and the share of time within three quarters and half scale."""
    needle = shown.needle
    reading = partial(NeedleReading, needle.kind, needle.label, needle.full_scale, needle.unit, needle.own)
    index = deflected(shown, leg)
    if isinstance(index, str):
        return reading(why=index)
    share = shown.share[index]
    size = np.abs(share)
    at = int(np.argmax(size))
    times = samples.epoch_s[index]
    # Each sample stands for half the steps to its neighbours.
    weight = np.zeros(len(times))
    weight[:-1] = times[1:] - times[:-1]
    weight[1:] += times[1:] - times[:-1]
    total = 2.0 * float(times[-1] - times[0])
    return reading(
        largest=float(size[at]),
        largest_sd=float(shown.share_sd[index[at]]),
        side="right" if share[at] * needle.hold.side > 0.0 else "left",
        largest_epoch_s=float(times[at]),
        typical=median(size),
        share_within_three_quarters=float(weight[size <= THREE_QUARTERS].sum()) / total,
        share_within_half=float(weight[size <= HALF].sum()) / total,
        from_epoch_s=float(times[0]),
        to_epoch_s=float(times[-1]),
    )


def read_second_needle(hold: Hold, lap: Lap, samples: Samples) -> SecondNeedle | None:
    """When the needle of the crossing radial centred about the passage that began a lap; None where there is none.

    Read as the bearing from its station, within `SECOND_WITHIN_S` of the passage; the crossing nearest to it counts.
    """
    station = hold.cross_station
    if station is None:
        return None
    passed = lap.start.epoch_s
    near = inside(samples, passed - SECOND_WITHIN_S, passed + SECOND_WITHIN_S)
    times = samples.epoch_s[near]
    why = "the crossing radial was not crossed about this passage"
    not_crossed = SecondNeedle(None, Measurement(None, None, "s", why=why))
    if times.size < 2:
        return not_crossed
    places = HoldFrame(hold).to_geographic(samples.along_nm[near], samples.cross_nm[near])
    bearing, _ = azimuth_distance(station.lat_deg, station.lon_deg, *places)
    off = wrap180(bearing - station.radial_deg - station.variation_deg)
    crossed = np.flatnonzero((off[:-1] * off[1:] <= 0.0) & (np.abs(off[:-1] - off[1:]) < 90.0))
    if not crossed.size:
        return not_crossed
    shares = off[crossed] / (off[crossed] - off[crossed + 1] + 1e-300)
    moments = times[crossed] + shares * (times[crossed + 1] - times[crossed])
    centred = float(moments[np.argmin(np.abs(moments - passed))])
    turn = lap.outbound_turn_start
    if turn is None:
        return SecondNeedle(centred, Measurement(None, None, "s", why="the track does not show the turn at the fix"))
    how = f"from the {course_name(station.radial_deg)} radial crossed to the start of the turn"
    return SecondNeedle(centred, Measurement(float(turn.epoch_s) - centred, span_sd_s(lap.start, turn), "s", how=how))


def needle_contrast(readings: Sequence[NeedleReading], limit_share: float) -> NeedleContrast | None:
    """The needles that one inbound leg passes and fails at a limit [share of full scale]; None where all agree."""
    passes = tuple(each.label for each in readings if each.largest is not None and each.largest <= limit_share)
    fails = tuple(each.label for each in readings if each.largest is not None and each.largest > limit_share)
    return NeedleContrast(limit_share, passes, fails) if passes and fails else None
