"""Nothing cut, nothing over another: every scroller and every pair of words, ten flights, four widths, and on paper."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from tests.browser.conftest import Opened
from tests.browser.measuring import MEASURE, PAPER_PX, SCREENS
from tests.ten_flights import FLIGHTS, debrief_of
from trackgrade.report.compare import flight_laps, render as render_comparison
from trackgrade.report.page import render

pytestmark = pytest.mark.browser
Open = Callable[..., Opened]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("ten")
    out = {}
    for number, name in enumerate(FLIGHTS):
        out[name] = folder / f"{number}.html"
        out[name].write_text(render(debrief_of(name)), encoding="utf-8")
    return out


@pytest.mark.parametrize("name", list(FLIGHTS))
def test_on_four_screens_and_on_paper(open_page: Open, pages: dict[str, Path], name: str) -> None:
    found: dict[str, Any] = {}
    for screen, (width, height) in SCREENS.items():
        opened = open_page(pages[name], width)
        opened.page.set_viewport_size({"width": width, "height": height})
        found[screen] = opened.page.evaluate(MEASURE, {"paper": False, "phone": screen == "phone"})
        assert opened.said == []
    paper = open_page(pages[name], PAPER_PX).page
    paper.emulate_media(media="print")
    found["paper"] = paper.evaluate(MEASURE, {"paper": True, "phone": False})
    assert {where: what for where, what in found.items() if what} == {}


@pytest.mark.parametrize("name", [name for name in FLIGHTS if name != "hostile names"])
def test_the_first_screen_holds_what_matters(open_page: Open, pages: dict[str, Path], name: str) -> None:
    """Verdict, picture, laps in short, points and card above the fold, at three sizes of screen.

    Not of hostile names: one of two hundred letters takes the screen that it takes.
    """
    below = {}
    for screen in ("phone", "laptop", "desk"):
        width, height = SCREENS[screen]
        page = open_page(pages[name], width).page
        page.set_viewport_size({"width": width, "height": height})
        ends = page.eval_on_selector_all(
            ".front-verdict, .front-picture .plan, .front-laps, .front-points, .front-card",
            "all => all.map(e => [e.getAttribute('class'), Math.round(e.getBoundingClientRect().bottom)])",
        )
        assert len(ends) >= 3
        below[screen] = [each for each in ends if each[1] > height]
    assert below == {"phone": [], "laptop": [], "desk": []}


@pytest.mark.parametrize("name", list(FLIGHTS))
def test_the_first_sheet_of_paper_stands_alone(
    open_page: Open, pages: dict[str, Path], tmp_path: Path, name: str
) -> None:
    page = open_page(pages[name], PAPER_PX).page
    page.pdf(path=tmp_path / "all.pdf", format="A4")
    sheets = PdfReader(tmp_path / "all.pdf").pages
    first = " ".join(sheets[0].extract_text().split())
    assert "Date and signature" in first
    assert "comment" in first
    assert len(sheets) <= 4
    page.get_by_text("One sheet for the student").click()
    page.pdf(path=tmp_path / "sheet.pdf", format="A4")
    (only,) = PdfReader(tmp_path / "sheet.pdf").pages
    assert "Date and signature" in " ".join(only.extract_text().split())


@pytest.mark.parametrize("scripts", [True, False])
def test_laps_of_several_flights_are_laid_over_each_other(
    open_page: Open, tmp_path: Path, axe_source: str, scripts: bool
) -> None:
    """A box ticked shows its lap in every picture, with and without scripts; nothing is cut on four screens."""
    file = tmp_path / "comparison.html"
    file.write_text(render_comparison([flight_laps(debrief_of(name)) for name in ("no wind", "40 kt", "nine laps")]))
    for screen, (width, _) in SCREENS.items():
        opened = open_page(file, width, scripts=scripts)
        page = opened.page
        assert opened.said == []
        if scripts:
            assert page.evaluate(MEASURE, {"paper": False, "phone": screen == "phone"}) == []
        assert page.locator(".over.k2").first.is_visible()
        assert not page.locator(".over.k0").first.is_visible()
        page.get_by_label("no wind.gpx, lap 1").check()
        assert all(page.locator(".over.k0").nth(k).is_visible() for k in range(page.locator(".over.k0").count()))
    if scripts:
        page.evaluate(axe_source)
        assert [each["id"] for each in page.evaluate("axe.run()")["violations"]] == []


def test_two_clicks_lead_to_the_sheet_on_paper(open_page: Open, pages: dict[str, Path]) -> None:
    page = open_page(pages["left"]).page
    page.evaluate("window.print = () => { document.title = 'printing'; }")
    page.get_by_text("One sheet for the student").click()
    page.get_by_role("button", name="Print", exact=True).click()
    assert page.title() == "printing"
