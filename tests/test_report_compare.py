"""Laps over each other: what can be chosen, what is drawn against the time since the fix, and the command's page."""

from __future__ import annotations

import re
from pathlib import Path

import lxml.html
import numpy as np
import pytest
from click.testing import CliRunner

from tests.report_flights import make_debrief
from trackgrade.commands import main
from trackgrade.report.compare import MOST_CHOSEN, FlightLaps, compare, flight_laps, render
from trackgrade.report.page import render as render_report
from trackgrade.report.summary import Sheet

ROOT = Path(__file__).parent.parent


def flights(*laps: int) -> list[FlightLaps]:
    return [flight_laps(make_debrief(laps=n, source=f"{k}.gpx")) for k, n in enumerate(laps)]


def test_each_lap_of_a_flight_can_be_chosen_and_first_and_last_are() -> None:
    comparison = compare(flights(4))
    assert comparison is not None
    assert [each.name for each in comparison.choices] == ["lap 1", "lap 2", "lap 3", "lap 4"]
    assert [each.ticked for each in comparison.choices] == [True, False, False, True]
    for drawn in (comparison.plan, *(plot for _, _, plot in comparison.strips)):
        assert re.findall(r"over k(\d+)", drawn) == ["0", "1", "2", "3"], "each lap once in every picture"


def test_of_several_flights_colour_tells_the_flight_and_dash_the_lap() -> None:
    comparison = compare(flights(3, 2))
    assert comparison is not None
    looks = [each.style.split() for each in comparison.choices]
    assert [colour for colour, _ in looks] == ["c0"] * 3 + ["c1"] * 2
    assert [dash for _, dash in looks] == ["d0", "d1", "d2", "d0", "d1"]
    assert [each.ticked for each in comparison.choices] == [False, False, True, False, True]
    assert comparison.choices[3].name == "1.gpx, lap 1"


def test_time_runs_from_the_passage_of_the_fix() -> None:
    debrief = make_debrief()
    for lap, graded in zip(flight_laps(debrief).laps, debrief.laps):
        assert 0.0 <= lap.since_s[0] <= 1.0
        assert lap.since_s[-1] == pytest.approx(graded.lap_s, abs=1.01)
        assert np.abs(lap.values["cross"][-1]) < 0.1, "back over the fix"


def test_one_lap_is_nothing_to_compare_and_too_many_are_counted() -> None:
    assert compare(flights(1)) is None
    assert "there is nothing to lay over each other" in render(flights(1))
    many = compare(flights(12, 12, 12))
    assert many is not None
    assert len(many.choices) == MOST_CHOSEN
    assert many.left_out == 36 - MOST_CHOSEN
    assert f"{many.left_out} more laps are not among them" in render(flights(12, 12, 12))


def test_the_style_has_a_rule_for_every_lap_that_can_be_chosen() -> None:
    style = render(flights(1, 2))
    rules = re.findall(r"\.pick\.k(\d+):checked\) \.over\.k(\d+)", style)
    assert [(int(a), int(b)) for a, b in rules] == [(k, k) for k in range(MOST_CHOSEN)]


def test_the_page_needs_no_script_and_escapes_names() -> None:
    hostile = "<script>alert(1)</script>"
    page = render([each._replace(flight=hostile) for each in flights(2, 2)])
    root = lxml.html.fromstring(page)
    assert root.xpath("//script") == []
    assert hostile not in page
    assert "not for navigation" in page


def test_the_command_lays_flights_over_each_other_and_puts_the_note_on_the_sheet(tmp_path: Path) -> None:
    tracks = [str(ROOT / "sample_tracks" / f"tarne-{name}.gpx") for name in ("good", "windy")]
    hold = str(ROOT / "sample_tracks" / "tarne.toml")
    said = "Start the watch abeam, every lap."
    arguments = ["grade", *tracks, "--hold", hold, "--compare", "--jobs", "1", "--out", str(tmp_path), "--note", said]
    result = CliRunner().invoke(main, arguments)
    assert result.exit_code == 0, result.output
    assert "comparison.html" in result.output
    page = (tmp_path / "comparison.html").read_text(encoding="utf-8")
    assert page.count('class="pick k') == 8
    assert "tarne-good.gpx, lap 4" in page
    assert said in (tmp_path / "tarne-good.html").read_text(encoding="utf-8")


def test_the_sheet_says_who_and_leaves_lines_for_the_rest() -> None:
    page = render_report(make_debrief(), Sheet("pilot A", "instructor Q", "well flown <b>"))
    assert "pilot A" in page
    assert "well flown &lt;b&gt;" in page
    assert render_report(make_debrief()).count('class="line"') >= 2
