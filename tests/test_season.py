"""The season of invented pilots: simulated, graded, recorded, drawn."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.logbook_flights import made_debrief
from trackgrade.batch import season
from trackgrade.batch.season import LEARNERS, Learner
from trackgrade.errors import UsageError
from trackgrade.logbook.class_view import class_view
from trackgrade.logbook.pages import pilot_page
from trackgrade.logbook.queries import class_history, pilot_history
from trackgrade.logbook.store import Logbook


def test_the_season_is_the_same_each_time_and_in_order() -> None:
    first, second = list(season.flights()), list(season.flights())
    assert first == second
    assert len(first) == season.FLIGHTS == sum(learner.sessions for learner in LEARNERS)
    for learner in LEARNERS:
        starts = [flight.scenario.start_epoch_s for flight in first if flight.pilot == learner.name]
        assert starts == sorted(set(starts))
    assert len({flight.seed for flight in first}) == len(first)
    assert all(re.fullmatch(r"pilot [A-Z]", learner.name) for learner in LEARNERS), "invented pilots, no names"


def test_pilots_learn_at_different_rates_and_a_break_costs() -> None:
    errors = {learner.name: [learner.error(n) for n in range(learner.sessions)] for learner in LEARNERS}
    for learner in LEARNERS:
        own = errors[learner.name]
        assert all(0.0 <= error <= 1.0 for error in own)
        if not learner.gap_after:
            assert own == sorted(own, reverse=True)
    rusty = next(learner for learner in LEARNERS if learner.gap_after)
    assert rusty.error(rusty.gap_after) > rusty.error(rusty.gap_after - 1) + 0.2
    assert len({round(own[-1], 2) for own in errors.values()}) > 4


def test_all_fly_the_same_hold_in_nearly_the_same_wind_at_the_end() -> None:
    last = {flight.pilot: flight for flight in season.flights()}
    assert len(last) == len(LEARNERS)
    for flight in last.values():
        assert flight.hold == "class"
        assert abs(flight.scenario.air.wind_kt - 12.0) <= 1.0
        assert abs(flight.scenario.air.wind_from_true_deg - 200.0) <= 6.0


def test_a_short_season_becomes_a_logbook_and_pages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    few = (
        Learner("pilot A", 2, 0.5, 0.05, 2.0, ("left",)),
        Learner("pilot B", 1, 0.3, 0.1, 2.0, ("vor",)),
    )
    monkeypatch.setattr(season, "LEARNERS", few)
    done: list[None] = []
    paths = season.build(tmp_path, jobs=2, progress=lambda: done.append(None))
    assert len(done) == 3
    assert [path.name for path in paths] == [
        "progress-class.html",
        "progress-pilot-a.html",
        "progress-pilot-b.html",
        "season.sqlite",
    ]
    assert all(path.exists() for path in paths)
    with Logbook(tmp_path / "season.sqlite", create=False) as logbook:
        assert [(name, count) for name, count, _ in logbook.pilots()] == [("pilot A", 2), ("pilot B", 1)]
        history = pilot_history(logbook, "pilot A")
        assert [each.turns for each in history.flown] == ["left", "right"]
        first = list(logbook.export_lines())
    season.build(tmp_path, jobs=1)
    with Logbook(tmp_path / "season.sqlite", create=False) as logbook:
        assert list(logbook.export_lines()) == first, "built again: the same, and not twice"
    assert not (tmp_path / "season-building.sqlite").exists()


def test_a_season_is_not_written_over_a_logbook_or_a_hold_of_ones_own(tmp_path: Path) -> None:
    own = tmp_path / "season.sqlite"
    with Logbook(own) as logbook:
        logbook.record(made_debrief(), pilot="Pilot of this school")
    before = own.read_bytes()
    with pytest.raises(UsageError, match="pilots of your own"):
        season.build(tmp_path)
    assert own.read_bytes() == before
    assert list(tmp_path.iterdir()) == [own]
    hold = tmp_path / "b" / "season-holds" / "vor.toml"
    hold.parent.mkdir(parents=True)
    hold.write_text("mine", encoding="utf-8")
    with pytest.raises(UsageError, match=r"vor\.toml is there"):
        season.build(tmp_path / "b")
    assert list(hold.parent.iterdir()) == [hold]


@pytest.mark.sweep
def test_the_whole_season_shows_who_learnt(tmp_path: Path) -> None:
    """The pages find what was put in: who improved, who did not, who has flown too little to tell."""
    season.build(tmp_path)
    with Logbook(tmp_path / "season.sqlite", create=False) as logbook:
        view = class_view(class_history(logbook))
        pages = {row.pilot: pilot_page(pilot_history(logbook, row.pilot)) for row in view.rows}
    assert len(pages) == len(LEARNERS)
    assert sum(len(page.history.flown) for page in pages.values()) >= 0.95 * season.FLIGHTS
    claims = {name: [each.claimed for each in page.shown.verdict.claims] for name, page in pages.items()}
    assert len(claims["pilot A"]) >= 4, "learns fast, from poor to polished"
    assert claims["pilot F"] == [], "three sessions: nothing is claimed"
    assert "worse" not in claims["pilot A"]
    order = [row.pilot for row in view.rows]
    assert order.index("pilot B") < order.index("pilot A"), "who stayed poor needs work before who learnt"
    assert order.index("pilot B") < order.index("pilot C")
    assert view.comparison is not None
    assert len(view.comparison.rows) == len(LEARNERS)
    assert not any(row.other_wind for row in view.comparison.rows)
