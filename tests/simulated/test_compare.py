"""The comparison itself: right is right, wrong is seen, what is left out is no zero."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from tests.simulated.compare import Outcome, _compare, as_track
from tests.simulated.suites import SUITES, flight_of
from tests.simulated.table import errors, markdown, missing, report
from trackgrade.segment.flown import Entry, Flown, Lap, Moment, Visit
from trackgrade.simulator.flight import SimulatedFlight


def perfect(flight: SimulatedFlight, late_s: float = 0.0, sd_s: float = 0.3) -> Flown:
    """What an analysis without error (or late by a constant) would have found."""

    def moment(t: float | None) -> Moment | None:
        return None if t is None else Moment(t + late_s, sd_s)

    visits = []
    for number, visit in enumerate(flight.truth.visits, 1):
        laps = []
        for true in visit.laps:
            start = moment(true.start)
            assert start is not None
            laps.append(
                Lap(
                    number=true.number,
                    start=start,
                    outbound_turn_start=moment(true.outbound_turn_start),
                    outbound_turn_end=moment(true.outbound_turn_end),
                    abeam=moment(true.abeam),
                    abeam_by_bearing=moment(true.abeam_by_bearing),
                    outbound_end=moment(true.outbound_end),
                    course_crossed=moment(true.course_crossed),
                    inbound_turn_end=moment(true.inbound_turn_end),
                    inbound_start=moment(true.inbound_start),
                    inbound_start_by="course" if true.inbound_start_by == "course" else "rollout",
                    end=moment(true.end),
                )
            )
        told = visit.entry
        entry = Entry(
            kind=told.flown,  # type: ignore[arg-type]
            expected=told.expected,  # type: ignore[arg-type]
            start=moment(told.arrival),
            end=moment(told.end),
            arrival_heading_true_deg=told.arrival_heading_true_deg,
            margin_deg=None,
        )
        visits.append(Visit(number, entry, tuple(laps), ()))
    return Flown(tuple(visits))


def outcome_of(flight: SimulatedFlight, flown: Flown, suite: str = "clean") -> Outcome:
    outcome = Outcome(suite, flight.seed, flight.scenario.name)
    _compare(outcome, flight, SimpleNamespace(flown=flown, wind=None))
    return outcome


KINDS = ("fix", "abeam", "course", "fix turn starts", "fix turn ends", "outbound ends", "inbound turn ends")


@pytest.fixture(scope="module")
def flight() -> SimulatedFlight:
    return next(f for f in (flight_of("clean", seed) for seed in range(20)) if len(f.truth.laps) >= 3)


def test_a_perfect_analysis_has_no_error(flight: SimulatedFlight) -> None:
    outcome = outcome_of(flight, perfect(flight))
    assert outcome.laps_right
    assert len(errors([outcome], KINDS)) > 5 * len(flight.truth.laps) - 3
    assert np.max(errors([outcome], (*KINDS, "inbound starts", "inbound time", "outbound time"))) < 1e-6


def test_a_late_analysis_is_late(flight: SimulatedFlight) -> None:
    outcome = outcome_of(flight, perfect(flight, late_s=0.7))
    assert errors([outcome], KINDS) == pytest.approx(0.7, abs=1e-6)


def test_what_is_left_out_is_missing_and_no_zero(flight: SimulatedFlight) -> None:
    flown = perfect(flight)
    (visit,) = flown.visits
    blank = tuple(replace(lap, abeam=None) for lap in visit.laps)
    outcome = outcome_of(flight, Flown((replace(visit, laps=blank),)))
    assert missing([outcome], ("abeam",))[0] == len([lap for lap in flight.truth.laps if lap.abeam is not None])
    assert len(errors([outcome], ("abeam",))) == 0


def test_a_lap_too_few_too_many_or_elsewhere_is_wrong(flight: SimulatedFlight) -> None:
    flown = perfect(flight)
    (visit,) = flown.visits
    assert not outcome_of(flight, Flown(())).laps_right
    assert not outcome_of(flight, Flown((replace(visit, laps=visit.laps[1:]),))).laps_right
    assert not outcome_of(flight, Flown((replace(visit, laps=(*visit.laps, visit.laps[-1])),))).laps_right
    far = perfect(flight, late_s=200.0)
    assert not outcome_of(flight, far).laps_right
    split = (replace(visit, laps=visit.laps[:1]), replace(visit, number=2, laps=visit.laps[1:]))
    assert not outcome_of(flight, Flown(split)).laps_right  # one stay told as two


def test_a_wrong_entry_is_counted(flight: SimulatedFlight) -> None:
    flown = perfect(flight)
    (visit,) = flown.visits
    other = "parallel" if visit.entry.kind != "parallel" else "direct"
    entry = replace(visit.entry, kind=other)  # type: ignore[arg-type]
    outcome = outcome_of(flight, Flown((replace(visit, entry=entry),)))
    assert [(e[0] == e[1]) for e in outcome.entries] == [False]


def test_a_near_tie_is_judged_by_its_window() -> None:
    flight = next(f for f in (flight_of("clean", seed) for seed in range(60)) if any(x.near_tie for x in f.truth.laps))
    true = next(lap for lap in flight.truth.laps if lap.near_tie)
    assert true.inbound_start_window is not None
    low, high = true.inbound_start_window
    flown = perfect(flight)
    (visit,) = flown.visits

    def read(moment_s: float) -> float:
        laps = tuple(
            replace(lap, inbound_start=Moment(moment_s, 1.0)) if lap.number == true.number else lap
            for lap in visit.laps
        )
        outcome = outcome_of(flight, Flown((replace(visit, laps=laps),)))
        (found,) = [d for d in outcome.differences if d.lap == true.number and d.kind.startswith("inbound starts")]
        assert found.error_s is not None
        return found.error_s

    assert read((low + high) / 2) == 0.0
    assert read(high + 2.0) == pytest.approx(2.0, abs=1e-6)
    assert read(low - 3.0) == pytest.approx(-3.0, abs=1e-6)


def test_a_flight_is_of_its_suite_and_seed_alone() -> None:
    one, again, other = flight_of("bad", 4), flight_of("bad", 4), flight_of("bad", 5)
    assert one.truth == again.truth
    assert one.truth != other.truth


@pytest.mark.parametrize("suite", SUITES)
def test_every_suite_flies_and_is_told_in_the_table(suite: str) -> None:
    flight = flight_of(suite, 1)
    assert len(as_track(flight)) > 50
    assert SUITES[suite].decoy == (not flight.truth.visits)
    outcome = outcome_of(flight, perfect(flight), suite)
    assert f"| {suite}" in report([outcome], "a test")


def test_table_columns_line_up() -> None:
    lines = markdown([["a", "bb"], ["cccc", "d"]]).splitlines()
    assert len({len(line) for line in lines}) == 1
