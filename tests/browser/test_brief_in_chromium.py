"""The brief's page in a real browser: on a desk, on a phone, on paper."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from tests.browser.measuring import MEASURE, PAPER_PX, SCREENS
from trackgrade.briefing import page
from trackgrade.briefing.brief import Conditions, prepare
from trackgrade.hold.holdfile import parse_hold
from trackgrade.hold.setup import resolve
from trackgrade.score.standards import load_standard

pytestmark = pytest.mark.browser

TIMED = """
name = "Tarne practice hold"
inbound_course_deg = 143.0
altitude_ft = 4000
arrive_utc = 2026-05-03T15:20:00Z
[fix]
lat = 44.0
lon = -93.0
"""
FAR = """
name = "Ostrel crossing"
inbound_course_deg = 323
turns = "left"
altitude_ft = 9000
[fix]
from = { lat = 44, lon = -93, radial_deg = 143, dme_nm = 12, variation_deg = 1 }
[leg]
nm = 4
[guidance]
kind = "vor"
"""
CASES = {
    "teardrop": (TIMED, Conditions(104.0, 280.0, 18.0, arrival_heading_true_deg=355.0, passage_epoch_s=1777820800.0)),
    "parallel": (FAR, Conditions(137.0, 340.0, 30.0, arrival_heading_true_deg=163.0)),
    "calm": (TIMED, Conditions(90.0)),
    "no lap": (TIMED, Conditions(106.0, 220.0, 60.0, arrival_heading_true_deg=90.0)),
}


@pytest.fixture(params=CASES)
def brief_page(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    text, conditions = CASES[request.param]
    hold = resolve(parse_hold(text, "hold.toml"), dt.date(2026, 5, 3))
    path = tmp_path / "brief.html"
    path.write_text(page.render(prepare(hold, conditions, load_standard())), encoding="utf-8")
    return path


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (768, "dark"), (390, "light")])
def test_it_fits_and_asks_for_nothing(brief_page: Path, open_page: Callable[..., Any], width: int, scheme: str) -> None:
    opened = open_page(brief_page, width=width, scheme=scheme)
    assert opened.said == []
    assert opened.asked == [brief_page.as_uri()]
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= width


def test_nothing_is_cut_and_nothing_hides_another(brief_page: Path, open_page: Callable[..., Any]) -> None:
    found = {}
    for screen, (width, _) in SCREENS.items():
        page = open_page(brief_page, width=width).page
        assert page.locator("svg.plan text").count() >= 8
        found[screen] = page.evaluate(MEASURE, {"paper": False, "phone": screen == "phone"})
    page = open_page(brief_page, width=PAPER_PX).page
    page.emulate_media(media="print")
    found["paper"] = page.evaluate(MEASURE, {"paper": True, "phone": False})
    assert {where: what for where, what in found.items() if what} == {}


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_is_one_sheet_of_paper(brief_page: Path, open_page: Callable[..., Any], tmp_path: Path, paper: str) -> None:
    target = tmp_path / "brief.pdf"
    open_page(brief_page).page.pdf(path=str(target), format=paper)
    assert len(PdfReader(target).pages) == 1


def test_every_reader_can_use_it(brief_page: Path, open_page: Callable[..., Any], axe_source: str) -> None:
    opened = open_page(brief_page, width=1280)
    opened.page.evaluate(axe_source)
    found = opened.page.evaluate("axe.run()")["violations"]
    assert [(each["id"], [node["html"][:120] for node in each["nodes"]]) for each in found] == []
