"""Debriefs of an analytic hold, for the tests of the report alone.

No part of cleaning, motion or segmentation runs here: an aircraft of constant airspeed turns at a constant rate in
a constant wind, and its laps and moments are written down from the same arithmetic. Only the judgement is the real
one. Every odd case that the page has to survive (no lap, twelve laps, two visits, no airspeed, no altitude, holes)
is one keyword.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from trackgrade.hold.hold import Guidance, Hold, Leg
from trackgrade.motion.samples import Turn, Wind
from trackgrade.score.debrief import Debrief, Finding
from trackgrade.score.judging import judge
from trackgrade.score.needles import show
from trackgrade.score.results import ItemResult
from trackgrade.score.standards import load_standard
from trackgrade.segment.flown import Entry, Flown, Lap, Moment, Visit
from trackgrade.segment.measured import Measured
from trackgrade.segment.path import Samples
from trackgrade.track.track import CleanTrack, Gap, Mark, Provenance, Rejection, Track

START_EPOCH_S = 1_777_820_400.0  # 2026-05-03 15:00:00 UTC
RATE_DEG_S = 3.0
TAS_KT = 104.0


@dataclass
class _Pilot:
    """Flies headings at one airspeed; x east, y north in NM, heading in degrees true."""

    side: int
    course_deg: float
    wind_east_kt: float
    wind_north_kt: float
    t: float = 0.0
    east: float = 0.0
    north: float = 0.0
    heading: float = 0.0
    rows: list[tuple[float, float, float, float, float, bool]] = field(default_factory=list)
    gap_next: bool = False

    def _step(self, rate: float) -> None:
        v_east = TAS_KT * np.sin(np.radians(self.heading)) + self.wind_east_kt
        v_north = TAS_KT * np.cos(np.radians(self.heading)) + self.wind_north_kt
        self.rows.append((self.t, self.east, self.north, self.heading, rate, self.gap_next))
        self.gap_next = False
        self.east += v_east / 3600.0
        self.north += v_north / 3600.0
        self.heading += rate
        self.t += 1.0

    def straight(self, seconds: float) -> None:
        for _ in range(round(seconds)):
            self._step(0.0)

    @property
    def along(self) -> float:
        radians = np.radians(self.course_deg)
        return float(self.east * np.sin(radians) + self.north * np.cos(radians))

    def to_fix(self, correction_deg: float) -> None:
        """Steer for the course until the fix is passed."""
        radians = np.radians(self.course_deg)
        for _ in range(600):
            right = float(self.east * np.cos(radians) - self.north * np.sin(radians))
            wanted = self.course_deg + correction_deg - float(np.clip(60.0 * right, -25.0, 25.0))
            off = (wanted - self.heading + 180.0) % 360.0 - 180.0
            self._step(float(np.clip(off, -1.5, 1.5)))
            if self.along >= 0.0:
                return

    def passed(self, since: float, sign: int) -> float:
        """Time at which along last changed to ``sign`` after ``since``, interpolated between the rows."""
        rows = [(row[0], *row[1:3]) for row in self.rows if row[0] >= since] + [(self.t, self.east, self.north)]
        radians = np.radians(self.course_deg)
        t, along = (
            np.array([row[0] for row in rows]),
            np.array([row[1] * np.sin(radians) + row[2] * np.cos(radians) for row in rows]),
        )
        at = int(np.flatnonzero((sign * along[:-1] < 0) & (sign * along[1:] >= 0))[-1])
        return float(t[at] + (t[at + 1] - t[at]) * along[at] / (along[at] - along[at + 1]))

    def turn(self, degrees: float) -> tuple[float, float]:
        start = self.t
        steps = max(1, round(abs(degrees) / RATE_DEG_S))
        for _ in range(steps):
            self._step(degrees / steps)
        return start, self.t


def _moment(t: float, sd: float = 0.2) -> Moment:
    return Moment(START_EPOCH_S + t, sd)


def make_debrief(
    *,
    laps: int = 3,
    visits: int = 1,
    turns: str = "right",
    course_deg: float = 220.5,
    wind: tuple[float, float] | None = (300.0, 14.0),
    altitude: bool = True,
    gap: bool = False,
    name: str = "Tarne practice hold",
    source: str = "flight.gpx",
    guidance: Guidance | None = None,
    hostile: str = "",
    leg: Leg | None = None,
    standard: str = "faa_instrument_airplane",
) -> Debrief:
    """A debrief of an analytic flight; ``laps=0`` flies straight past the fix, ``wind=None`` knows no air data."""
    side = 1 if turns == "right" else -1
    blown_from, blown_kt = wind if wind else (0.0, 0.0)
    pilot = _Pilot(
        side,
        course_deg,
        -blown_kt * float(np.sin(np.radians(blown_from))),
        -blown_kt * float(np.cos(np.radians(blown_from))),
    )
    crosswind = blown_kt * float(np.sin(np.radians(blown_from - course_deg)))
    wca = float(np.degrees(np.arcsin(crosswind / TAS_KT)))
    found: list[Visit] = []
    turn_list: list[Turn] = []
    for visit in range(visits):
        pilot.heading = course_deg + wca
        along = 4.0
        pilot.east = -along * float(np.sin(np.radians(course_deg)))
        pilot.north = -along * float(np.cos(np.radians(course_deg)))
        if visit:
            pilot.t += 1500.0
            pilot.gap_next = True
        arriving = pilot.t
        pilot.to_fix(wca)
        entry_start = pilot.passed(arriving, 1)
        flown_laps: list[Lap] = []
        if laps == 0:
            pilot.straight(240)
            continue
        for k in range(laps):
            start = pilot.passed(arriving, 1)
            out_from, out_to = pilot.turn(side * 180.0 - 4.0 * wca)
            pilot.straight(58 + 4 * (k % 6))
            abeam = pilot.passed(out_from + 20.0, -1)
            if gap and k == 1:
                pilot.straight(12)
                pilot.t += 90.0
                pilot.gap_next = True
            in_from = pilot.t
            left = (course_deg + wca - pilot.heading) * side % 360.0
            in_from, in_to = pilot.turn(side * left)
            pilot.to_fix(wca)
            end = pilot.passed(in_to, 1)
            flown_laps.append(
                Lap(
                    number=k + 1,
                    start=_moment(start),
                    outbound_turn_start=_moment(out_from, 0.6),
                    outbound_turn_end=_moment(out_to, 0.6),
                    abeam=_moment(abeam),
                    abeam_by_bearing=_moment(abeam + 4.0, 0.4),
                    outbound_end=_moment(in_from, 0.6),
                    course_crossed=_moment(in_to - 2.0, 0.3) if k % 2 else None,
                    inbound_turn_end=_moment(in_to, 0.6),
                    inbound_start=_moment(in_to - (2.0 if k % 2 else 0.0), 0.5),
                    inbound_start_by="course" if k % 2 else "rollout",
                    end=_moment(end),
                    near_tie=k == 1,
                )
            )
            for a, b in ((out_from, out_to), (in_from, in_to)):
                turn_list.append(Turn(START_EPOCH_S + a, START_EPOCH_S + b, 0.6, 0.6, side * 180.0, 3.0, 15.9, 0.75))
        incomplete = Lap(
            number=laps + 1,
            start=_moment(end),
            outbound_turn_start=_moment(pilot.t),
            outbound_turn_end=None,
            abeam=None,
            abeam_by_bearing=None,
            outbound_end=None,
            course_crossed=None,
            inbound_turn_end=None,
            inbound_start=None,
            inbound_start_by=None,
            end=None,
            why_incomplete="left the hold before the turn inbound" + hostile,
        )
        found.append(
            Visit(
                visit + 1,
                Entry(
                    kind="direct",
                    expected=("direct",),
                    start=_moment(entry_start),
                    end=_moment(entry_start),
                    arrival_heading_true_deg=course_deg % 360.0,
                    margin_deg=70.0,
                    remarks=(hostile,) if hostile else (),
                ),
                tuple(flown_laps),
                (incomplete,),
            )
        )
        pilot.straight(90)

    rows = np.array([row[:5] for row in pilot.rows], dtype=float)
    gap_before = np.array([row[5] for row in pilot.rows], dtype=bool)
    t, east, north, heading, rate = rows.T
    radians = np.radians(course_deg)
    along = east * np.sin(radians) + north * np.cos(radians)
    cross = side * (east * np.cos(radians) - north * np.sin(radians))
    v_east = TAS_KT * np.sin(np.radians(heading)) + pilot.wind_east_kt
    v_north = TAS_KT * np.cos(np.radians(heading)) + pilot.wind_north_kt
    unknown = np.full(len(t), np.nan)
    alt = 4000.0 + 45.0 * np.sin(t / 37.0) - 80.0 * (np.abs(rate) > 0) * np.sin(t / 90.0) ** 2
    air = wind is not None
    samples = Samples(
        epoch_s=START_EPOCH_S + t,
        along_nm=along,
        cross_nm=cross,
        east_nm=east,
        north_nm=north,
        position_sd_nm=np.full(len(t), 0.002),
        alt_ft=alt if altitude else unknown,
        groundspeed_kt=np.hypot(v_east, v_north),
        ground_track_true_deg=np.degrees(np.arctan2(v_east, v_north)) % 360.0,
        ground_track_rate_deg_s=rate,
        heading_true_deg=heading % 360.0 if air else unknown,
        heading_rate_deg_s=rate,
        heading_rate_sd_deg_s=np.full(len(t), 0.1),
        bank_deg=np.degrees(np.arctan(TAS_KT / 1.94384 * np.radians(rate) / 9.80665)) if air else unknown,
        tas_kt=np.full(len(t), TAS_KT) + 3 * np.sin(t / 50.0) if air else unknown,
        ias_kt=np.full(len(t), 98.0) + 4 * np.sin(t / 50.0) if air else unknown,
        gap_before=gap_before,
        heading_source="estimated" if air else "none",
        airspeed_source="estimated" if air else "none",
        bank_source="estimated" if air else "none",
    )
    gaps = tuple(Gap(float(samples.epoch_s[i - 1]), float(samples.epoch_s[i])) for i in np.flatnonzero(gap_before) if i)
    track = Track(
        source=source,
        epoch_s=samples.epoch_s,
        lat_deg=44.0 + north / 60.0,
        lon_deg=-93.0 + east / 43.2,
        alt_ft=samples.alt_ft,
        marks=(Mark(float(samples.epoch_s[len(t) // 2]), "start of time" + hostile),),
        provenance=(
            Provenance("time", "time", "ISO 8601"),
            Provenance("altitude", "ele" + hostile, "m", "times 3.2808"),
        ),
        notes=("the file has no airspeed",),
        sha256="0123456789abcdef" * 4,
    )
    clean = CleanTrack(
        track,
        points_read=len(t) + 3,
        rejections=(Rejection("a repeated time stamp", 3, float(samples.epoch_s[5])),),
        gaps=gaps,
        interval_s=1.0,
    )
    hold = Hold(
        name=name,
        fix_lat_deg=44.0,
        fix_lon_deg=-93.0,
        inbound_course_true_deg=course_deg,
        variation_deg=2.5,
        variation_source="given in the hold file",
        turns="right" if side > 0 else "left",
        leg=leg or Leg(minutes=1.0),
        guidance=guidance or Guidance(kind="gps", full_scale_nm=1.0, course_to_set_deg=143.0),
        altitude_ft=4000.0,
        airspeed_kias=100.0,
        notes=("variation checked" + hostile,),
    )
    known = Wind(blown_from, blown_kt, TAS_KT, 4.0, 0.8, 0.6, ((0.5, 0.0), (0.0, 0.5))) if wind is not None else None
    flown = Flown(tuple(found), () if found else ("passed over the fix at 15:02:20 and flew on" + hostile,))
    why = "" if known else "the directions flown cover 40° of 360°"
    debrief = judge(Measured(clean, hold, samples, known, why, tuple(turn_list), flown), load_standard(standard))
    return _spoken_by(debrief, hostile) if hostile else debrief


def _spoken_by(debrief: Debrief, hostile: str) -> Debrief:
    """The debrief with the same text in every place where a file, or a later version, may put words."""

    def spoken(items: Sequence[ItemResult]) -> tuple[ItemResult, ...]:
        words = {"evidence": hostile, "source": hostile, "reference": hostile, "how": hostile}
        return tuple(dataclasses.replace(each, title=each.title + hostile, **words) for each in items)  # type: ignore[arg-type]

    finding = Finding("x", "title" + hostile, 1, None, "evidence" + hostile, "advice" + hostile, 99.0)
    return dataclasses.replace(
        debrief,
        verdict=debrief.verdict + hostile,
        standard=dataclasses.replace(debrief.standard, title=debrief.standard.title + hostile),
        findings=(finding, *debrief.findings, dataclasses.replace(finding, praise=True)),
        visits=tuple(
            dataclasses.replace(
                visit,
                entry=dataclasses.replace(visit.entry, items=spoken(visit.entry.items)),
                laps=tuple(dataclasses.replace(lap, items=spoken(lap.items)) for lap in visit.laps),
            )
            for visit in debrief.visits
        ),
        whole_items=spoken(debrief.whole_items),
        notes=(hostile,),
        cautions=(*debrief.cautions, hostile),
        wind_note=hostile,
    )


def without(debrief: Debrief, **changes: object) -> Debrief:
    """The same debrief with some fields replaced."""
    return dataclasses.replace(debrief, **changes)  # type: ignore[arg-type]


def without_samples(debrief: Debrief) -> Debrief:
    """The same debrief of a record that holds nothing."""
    none = {
        each.name: getattr(debrief.samples, each.name)[:0]
        for each in dataclasses.fields(debrief.samples)
        if isinstance(getattr(debrief.samples, each.name), np.ndarray)
    }
    return with_samples(debrief, dataclasses.replace(debrief.samples, **none))


def with_samples(debrief: Debrief, samples: Samples) -> Debrief:
    """The same debrief of another record, with the needles as they show there."""
    needles = tuple(show(each.needle, samples) for each in debrief.needles)
    return dataclasses.replace(debrief, samples=samples, needles=needles)
