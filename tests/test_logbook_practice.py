"""What was practised, the next exercise, and the class side by side."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from pathlib import Path

import pytest

from tests.logbook_flights import made_debrief
from tests.logbook_rows import hold
from trackgrade.errors import UsageError
from trackgrade.hold.sectors import expected_entries
from trackgrade.logbook.class_view import class_view
from trackgrade.logbook.digest import digest
from trackgrade.logbook.history import ClassHistory, EntryRow, HoldFlown, PilotHistory
from trackgrade.logbook.pages import pilot_page
from trackgrade.logbook.practice import _ARRIVALS, STALE_SESSIONS, first_finding, practised
from trackgrade.logbook.queries import class_history, pilot_history
from trackgrade.logbook.store import Logbook


def flights(*many: HoldFlown) -> list[HoldFlown]:
    return [replace(each, flight_hash=str(n), started_epoch_s=1000.0 * n) for n, each in enumerate(many)]


def one(kind: str) -> tuple[EntryRow, ...]:
    return (EntryRow(1, kind, kind, True, False),)


def test_conditions_are_met_or_not_and_how_long_ago() -> None:
    flown = flights(
        hold(turns="left", guidance="vor", flag="FROM", wind_kt=20.0, wind_cross_kt=-12.0, entries=one("parallel")),
        hold(leg_minutes=None, leg_nm=4.0, wind_kt=None, wind_cross_kt=None),
        hold(leg_minutes=1.5, wind_kt=3.0, wind_cross_kt=1.0, entries=one("direct")),
    )
    lines = {line.condition.said: (line.sessions, line.sessions_ago) for line in practised(flown)}
    assert lines == {
        "right turns": (2, 0),
        "left turns": (1, 2),
        "wind under 8 kt": (1, 0),
        "wind 8 to 15 kt": (0, None),
        "wind 15 kt or more": (1, 2),
        "wind 8 kt or more across, from the holding side": (0, None),
        "wind 8 kt or more across, from the non-holding side": (1, 2),
        "guidance by GPS": (2, 0),
        "guidance by VOR, inbound TO": (0, None),
        "guidance by VOR, inbound FROM": (1, 2),
        "legs of 1 minute": (1, 2),
        "legs of 1½ minutes": (1, 0),
        "legs by distance": (1, 1),
        "direct entry with right turns": (1, 0),
        "teardrop entry with right turns": (0, None),
        "parallel entry with right turns": (0, None),
        "direct entry with left turns": (0, None),
        "teardrop entry with left turns": (0, None),
        "parallel entry with left turns": (1, 2),
    }


def test_entries_are_counted_by_sector_and_side() -> None:
    flown = [
        hold(turns="right", entries=(EntryRow(1, "parallel", "parallel", True, False),)),
        hold(turns="right", entries=(EntryRow(1, "parallel", "direct", False, False),)),
        hold(turns="left", entries=(EntryRow(1, "parallel", "unclear", None, False),)),
        hold(
            turns="left",
            entries=(EntryRow(1, "direct", "direct", True, False), EntryRow(2, "direct", "direct", False, True)),
        ),
    ]
    lines = {line.condition.title: line for line in practised(flown)}
    parallel = lines["parallel, right turns"]
    assert (parallel.share.passed, parallel.share.judged, parallel.instead) == (1, 2, (("direct", 1),))
    assert lines["parallel, left turns"].instead == (("unclear", 1),)
    assert lines["parallel, left turns"].share.value is None
    assert lines["teardrop, right turns"].share.judged == 0
    assert lines["direct, left turns"].instead == (("direct the wrong way", 1),)


def test_winds_take_every_hold_once_and_tell_the_laps_within() -> None:
    speeds = [None, 0.0, 3.0, 7.9, 8.0, 14.9, 15.0, 40.0]
    lines = {line.condition.title: line for line in practised(flights(*(hold(wind_kt=speed) for speed in speeds)))}
    told = [lines[title] for title in ("under 8 kt", "8 to 15 kt", "15 kt or more")]
    assert [line.sessions for line in told] == [3, 2, 2]
    assert [(line.share.passed, line.share.judged) for line in told] == [(6, 9), (4, 6), (4, 6)]


def test_two_holds_of_one_flight_are_one_session_ago() -> None:
    flown = [replace(each, flight_hash="same") for each in flights(hold(turns="left"), hold())]
    lines = {line.condition.said: line.sessions_ago for line in practised(flown)}
    assert (lines["left turns"], lines["right turns"]) == (0, 0)


@pytest.mark.parametrize("wind_from_deg", [0.0, 90.0, 143.0, 260.0, 233.0, 351.5])
@pytest.mark.parametrize("turns", ["right", "left"])
def test_wind_components_are_head_and_from_the_holding_side(wind_from_deg: float, turns: str) -> None:
    """Against vectors drawn from the compass: the unit vectors of the inbound course and of the holding side."""
    rows = digest(made_debrief(wind=(wind_from_deg, 20.0), turns=turns, course_true_deg=143.0))
    towards = (-math.sin(math.radians(wind_from_deg)) * 20, -math.cos(math.radians(wind_from_deg)) * 20)  # east, north
    course = (math.sin(math.radians(143.0)), math.cos(math.radians(143.0)))
    right = (math.sin(math.radians(233.0)), math.cos(math.radians(233.0)))
    holding = right if turns == "right" else (-right[0], -right[1])
    assert rows.wind_head_kt == pytest.approx(-(towards[0] * course[0] + towards[1] * course[1]))
    assert rows.wind_cross_kt == pytest.approx(-(towards[0] * holding[0] + towards[1] * holding[1]))


@pytest.mark.parametrize("turns", ["right", "left"])
@pytest.mark.parametrize(("kind", "away"), [("teardrop", 35.0), ("parallel", 55.0)])
def test_the_arrival_proposed_leads_to_the_entry_proposed(turns: str, kind: str, away: float) -> None:
    """By the sectors of AIM 5-3-8 as the hold room has them."""
    words = _ARRIVALS[kind, turns]
    assert f"{away:.0f}°" in words
    outbound = 323.0
    heading = outbound + (away if "right of" in words else -away)
    assert expected_entries(143.0, 1 if turns == "right" else -1, heading % 360.0) == (kind,)
    assert expected_entries(143.0, 1 if turns == "right" else -1, 143.0) == ("direct",)


@pytest.fixture
def logbook(tmp_path: Path):  # type: ignore[no-untyped-def]
    with Logbook(tmp_path / "logbook.sqlite") as opened:
        yield opened


def history_of(logbook: Logbook, sessions: int, **changed: object) -> PilotHistory:
    for day in range(sessions):
        logbook.record(made_debrief(day, **changed), pilot="pilot A")  # type: ignore[arg-type]
    return pilot_history(logbook, "pilot A")


GOOD = {"inbound_s": (61.0, 60.0, 59.0), "altitude_ft": (10.0, 20.0, 10.0)}
CLEAN = {**GOOD, "findings": False}
POOR = {"inbound_s": (90.0, 85.0, 80.0), "altitude_ft": (10.0, 20.0, 10.0)}


def test_a_pilot_whose_laps_are_outside_keeps_the_conditions(logbook: Logbook) -> None:
    exercise = pilot_page(history_of(logbook, 4, **POOR)).exercise
    assert exercise.title == "Keep the conditions, work on: altitude lost in the turns"
    assert "right turns, 1 minute inbound" in exercise.hold
    assert "It is the first finding of the latest report." in exercise.why
    assert "Least often within: inbound leg time, 0 % of 12 recent measurements." in exercise.why


def test_a_pilot_whose_laps_hold_gets_one_new_thing(logbook: Logbook) -> None:
    exercise = pilot_page(history_of(logbook, 4, **CLEAN)).exercise
    assert exercise.title == "Add one thing: left turns"
    assert "left turns, 1 minute inbound" in exercise.hold
    assert "Left turns: not flown yet." in exercise.why
    assert "guidance: GPS" in exercise.hold, "one thing, and no other"


def test_a_finding_seen_once_is_watched_and_one_seen_again_is_worked_on(logbook: Logbook) -> None:
    history_of(logbook, 4, **CLEAN)
    logbook.record(made_debrief(9, **GOOD), pilot="pilot A")  # type: ignore[arg-type]
    exercise = pilot_page(pilot_history(logbook, "pilot A")).exercise
    assert exercise.title.startswith("Add one thing")
    assert any("The latest report puts first: Altitude lost in the turns. Here" in line for line in exercise.why)
    logbook.record(made_debrief(10, **GOOD), pilot="pilot A")  # type: ignore[arg-type]
    exercise = pilot_page(pilot_history(logbook, "pilot A")).exercise
    assert exercise.title == "Keep the conditions, work on: altitude lost in the turns"


def test_what_got_worse_comes_before_what_one_report_found(logbook: Logbook) -> None:
    for day in range(8):
        more = 1.6**day
        laps = (60 + more, 60 - 1.2 * more, 60 + 0.9 * more)
        logbook.record(made_debrief(7 * day, inbound_s=laps, altitude_ft=(30.0, 28.0, 33.0)), pilot="pilot A")
    page = pilot_page(pilot_history(logbook, "pilot A"))
    assert [(claim.measure, claim.claimed) for claim in page.shown.verdict.claims[1:]] == [("inbound_time", "worse")]
    assert page.exercise.title == "Keep the conditions, work on: inbound leg time"
    assert any("puts first: Altitude lost in the turns. Here it comes second." in line for line in page.exercise.why)


@pytest.mark.parametrize(
    ("debrief", "first"),
    [
        ({}, ("", "")),
        ({"findings": [{"name": "course", "praise": True}]}, ("", "")),
        ({"findings": [{"name": "late_at_fix"}]}, ("late at fix", "")),
        (
            {"findings": [{"name": "a"}, {"name": "b", "title": "B", "advice": "do"}], "work_on": ["b", "a"]},
            ("B", "do"),
        ),
        ({"findings": [{"name": "a", "title": "A"}], "work_on": ["gone"]}, ("A", "")),
    ],
)
def test_the_first_finding_of_a_report(debrief: dict[str, object], first: tuple[str, str]) -> None:
    assert first_finding(debrief) == first


def test_what_was_practised_is_not_proposed_again_until_it_is_long_ago(logbook: Logbook) -> None:
    logbook.record(made_debrief(0, turns="left", **CLEAN), pilot="pilot A")  # type: ignore[arg-type]
    for day in range(1, STALE_SESSIONS):
        logbook.record(made_debrief(day, **CLEAN), pilot="pilot A")  # type: ignore[arg-type]
    page = pilot_page(pilot_history(logbook, "pilot A"))
    assert page.exercise.title == "Add one thing: parallel entry with right turns"
    assert "parallel entry: arrive on a heading 55° right of the outbound course" in page.exercise.hold
    logbook.record(made_debrief(STALE_SESSIONS, **CLEAN), pilot="pilot A")  # type: ignore[arg-type]
    page = pilot_page(pilot_history(logbook, "pilot A"))
    assert page.exercise.title == "Add one thing: left turns"
    assert f"Left turns: last flown {STALE_SESSIONS} sessions ago." in page.exercise.why


def test_the_standard_is_the_one_most_used_and_others_are_named(logbook: Logbook) -> None:
    for day in range(3):
        logbook.record(made_debrief(day), pilot="pilot A")
    logbook.record(made_debrief(9, standard="training", turns="left"), pilot="pilot A")
    history = pilot_history(logbook, "pilot A")
    assert history.total.standard == "faa_instrument_airplane"
    assert history.other_standards == (("training", 1),)
    assert [line.sessions for line in practised(history.flown) if line.condition.said == "left turns"] == [1]
    assert pilot_history(logbook, "pilot A", "training").total.sessions == 1
    with pytest.raises(UsageError, match="nothing is recorded to the standard 'easa'; there is: faa_instrument"):
        pilot_history(logbook, "pilot A", "easa")


def test_the_same_flight_to_two_standards_is_practised_once(logbook: Logbook) -> None:
    logbook.record(made_debrief(0), pilot="pilot A")
    logbook.record(made_debrief(0, standard="training"), pilot="pilot A")
    history = pilot_history(logbook, "pilot A")
    assert len(history.flown) == 1
    assert sum(len(each.entries) for each in history.flown) == 1


def test_the_page_draws_the_last_forty_sessions_with_their_numbers(logbook: Logbook) -> None:
    history = history_of(logbook, 43)
    assert len(history.sessions) == 40
    assert history.first_session == 4
    assert history.sessions[-1].started_epoch_s == history.total.last_epoch_s
    assert pilot_page(history).listed[0][0] == 43


# --- the class -------------------------------------------------------------------------------------------------


def class_of(logbook: Logbook, *pilots: tuple[str, int, dict[str, object]]) -> ClassHistory:
    for n, (name, sessions, changed) in enumerate(pilots):
        for day in range(sessions):
            logbook.record(made_debrief(20 * n + day, **changed), pilot=name)  # type: ignore[arg-type]
    return class_history(logbook)


def test_who_needs_work_comes_first_and_one_lap_does_not_decide(logbook: Logbook) -> None:
    one_bad_lap = {"inbound_s": (90.0,), "altitude_ft": (10.0,)}
    history = class_of(
        logbook, ("steady", 5, GOOD), ("a single lap", 1, one_bad_lap), ("needs work", 5, POOR), ("middling", 5, {})
    )
    worst = {row.pilot: row.total.recent.value for row in class_view(history).rows}
    assert worst["needs work"] == worst["a single lap"] == 0.0
    rows = class_view(history).rows
    assert [row.pilot for row in rows] == ["needs work", "a single lap", "middling", "steady"]
    third = [row.standing.lowest_third for row in rows if row.standing and row.standing.lowest_third is not None]
    assert third == sorted(third, reverse=True)
    assert sum(third) == pytest.approx(1.0), "a third of four is one"
    by_name = [row.pilot for row in class_view(history, sorting="name").rows]
    assert by_name == ["a single lap", "middling", "needs work", "steady"]
    assert [row.pilot for row in class_view(history, sorting="laps").rows][-1] == "a single lap"


def test_items_stand_with_the_laps_they_rest_on_hardest_first(logbook: Logbook) -> None:
    view = class_view(class_of(logbook, ("steady", 2, GOOD), ("needs work", 4, POOR)))
    assert [column.item for column in view.columns] == ["inbound_time", "altitude"]
    assert view.hardest is not None
    assert (view.hardest.recent.passed, view.hardest.recent.judged) == (6, 18)
    poor = next(row for row in view.rows if row.pilot == "needs work")
    cell = poor.cells[0]
    assert cell is not None
    assert (cell.recent.passed, cell.recent.judged, cell.median_size) == (0, 12, 25.0)


def test_a_pooled_share_takes_the_pilots_as_its_units(logbook: Logbook) -> None:
    """Two pilots, one always within and one never: eighteen laps say no more than two pilots."""
    view = class_view(class_of(logbook, ("steady", 3, GOOD), ("needs work", 3, POOR)))
    assert view.laps.value == 0.5
    assert view.laps.low is not None
    assert view.laps.low < 0.1


def test_the_same_hold_is_compared_with_its_wind(logbook: Logbook) -> None:
    history = class_of(
        logbook,
        ("a", 2, {**GOOD, "wind": (143.0, 10.0)}),
        ("b", 1, {**POOR, "wind": (143.0, 12.0)}),
        ("c", 1, {**POOR, "wind": (323.0, 12.0)}),
        ("d", 1, {**POOR, "wind": None}),
        ("e", 1, {**GOOD, "turns": "left"}),
    )
    comparison = class_view(history).comparison
    assert comparison is not None
    assert [(row.pilot, row.flights, row.other_wind) for row in comparison.rows] == [
        ("a", 2, False),
        ("b", 1, False),
        ("c", 1, True),
        ("d", 1, True),
    ]
    assert comparison.wind_head_kt == pytest.approx(10.0)


def test_each_pilot_is_compared_by_the_latest_flight_there(logbook: Logbook) -> None:
    logbook.record(made_debrief(5, **GOOD), pilot="a")  # type: ignore[arg-type]
    logbook.record(made_debrief(1, **POOR), pilot="a")  # type: ignore[arg-type]
    logbook.record(made_debrief(2, **POOR), pilot="b")  # type: ignore[arg-type]
    comparison = class_view(class_history(logbook)).comparison
    assert comparison is not None
    assert {row.pilot: row.share.value for row in comparison.rows} == {"a": 1.0, "b": 0.0}


def test_a_hold_is_chosen_by_name_or_refused(logbook: Logbook) -> None:
    class_of(logbook, ("a", 1, {}), ("b", 1, {}), ("c", 1, {}))
    for n, name in enumerate(["a", "b"]):
        logbook.record(made_debrief(90 + n, hold_name="Osk", turns="left"), pilot=name)
    assert class_history(logbook).other_holds == (("Osk", 2),)
    chosen = class_history(logbook, hold="osk").same_hold
    assert {(flown.hold_name, flown.turns) for _, flown, _ in chosen} == {("Osk", "left")}
    with pytest.raises(UsageError, match="no hold 'Wend' that two pilots flew"):
        class_history(logbook, hold="Wend")


def test_no_hold_in_common_is_no_comparison(logbook: Logbook) -> None:
    assert class_view(class_of(logbook, ("a", 2, {}), ("b", 1, {"turns": "left"}))).comparison is None


def test_hidden_names_are_nowhere_in_the_view(logbook: Logbook) -> None:
    for n, name in enumerate(["Quillfeather", "Zebracrossing", "Umbrellastand"]):
        logbook.record(made_debrief(n), pilot=name, instructor="Teapot", note="Marmalade")
    view = class_view(class_history(logbook), hide_names=True)
    assert {row.pilot for row in view.rows} == {"Pilot 1", "Pilot 2", "Pilot 3"}
    for word in ("Quillfeather", "Zebracrossing", "Umbrellastand", "Teapot", "Marmalade"):
        assert word not in repr(view)
        assert word in repr(class_history(logbook))


def test_an_empty_logbook_says_what_to_do(logbook: Logbook) -> None:
    with pytest.raises(UsageError, match="nothing is recorded in this logbook yet"):
        class_history(logbook)


def test_the_order_of_recording_does_not_matter(tmp_path: Path) -> None:
    views = []
    for seed in (1, 2):
        order = [(day, name) for day in range(6) for name in ("a", "b")]
        random.Random(seed).shuffle(order)
        with Logbook(tmp_path / f"{seed}.sqlite") as opened:
            for day, name in order:
                laps = (60.0 + day, 75.0 - day)
                opened.record(made_debrief(day, inbound_s=laps, sha256=f"{name}{day}" + "0" * 62), pilot=name)
            history = class_history(opened)
        views.append(replace(history, same_hold=(), flown=()))
    assert views[0] == views[1]
