"""The progress pages in a real Chromium: wide and narrow, light and dark, on paper, and to a screen reader's rules."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.browser.conftest import Opened
from tests.logbook_flights import made_debrief
from trackgrade.logbook.class_view import class_view
from trackgrade.logbook.pages import pilot_page, render_class, render_pilot
from trackgrade.logbook.queries import class_history, pilot_history
from trackgrade.logbook.store import Logbook

pytestmark = pytest.mark.browser
Open = Callable[..., Opened]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pages of a pilot who learns, of one with two sessions and a very long name, and of their class."""
    folder = tmp_path_factory.mktemp("progress")
    with Logbook(folder / "logbook.sqlite") as logbook:
        for day in range(9):
            error = 40.0 * 0.8**day
            debrief = made_debrief(day, inbound_s=(60 + error, 60 + error / 2), altitude_ft=(60 + error, 2 * error))
            logbook.record(debrief, pilot="pilot A", instructor="instructor Q", note="a note of several words " * 6)
        for day in range(2):
            logbook.record(made_debrief(30 + day, hold_name="W" * 120), pilot="W" * 150)
        for name, pilot in (("learner", "pilot A"), ("long", "W" * 150)):
            html = render_pilot(pilot_page(pilot_history(logbook, pilot)))
            (folder / f"{name}.html").write_text(html, encoding="utf-8")
        (folder / "class.html").write_text(render_class(class_view(class_history(logbook))), encoding="utf-8")
    return folder


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("name", ["learner", "long", "class"])
def test_nothing_sticks_out_and_nothing_is_asked_for(
    open_page: Open, folder: Path, name: str, width: int, scheme: str
) -> None:
    opened = open_page(folder / f"{name}.html", width=width, scheme=scheme)
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= width
    assert opened.said == []
    assert opened.asked == [(folder / f"{name}.html").as_uri()]
    small = opened.page.evaluate(
        """() => [...document.querySelectorAll('svg.chart text, svg.spread text')]
            .map(each => each.getBoundingClientRect().height).filter(height => height > 0 && height < 9)"""
    )
    assert small == [], "words in pictures that are too small to read"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["learner", "class"])
def test_the_rules_of_accessibility(open_page: Open, folder: Path, axe_source: str, name: str, scheme: str) -> None:
    """axe-core, every rule it has: WCAG, contrast, landmarks, order of headings."""
    opened = open_page(folder / f"{name}.html", width=1280, scheme=scheme)
    opened.page.evaluate(axe_source)
    found: Any = opened.page.evaluate("axe.run(document)")
    problems = [(each["id"], [node["target"] for node in each["nodes"]][:3]) for each in found["violations"]]
    assert problems == []
    assert found["passes"], "nothing was looked at"


def test_on_paper_no_table_is_cut_off(open_page: Open, folder: Path) -> None:
    opened = open_page(folder / "class.html", width=720)  # A4 less its margins
    opened.page.emulate_media(media="print")
    right = opened.page.evaluate(
        "[...document.querySelectorAll('table')].map(each => each.getBoundingClientRect().right)"
    )
    assert right
    assert max(right) <= 720 + 1
