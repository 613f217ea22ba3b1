"""Nothing cut, nothing over another: every scroller and every pair of words, ten flights, four widths, and on paper."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from tests.browser.conftest import Opened
from tests.ten_flights import FLIGHTS, debrief_of
from trackgrade.report.compare import flight_laps
from trackgrade.report.compare import render as render_comparison
from trackgrade.report.page import render

pytestmark = pytest.mark.browser
Open = Callable[..., Opened]

#: Width and height of four screens: phone, tablet upright, small laptop, desk.
SCREENS = {"phone": (390, 844), "upright": (768, 1024), "laptop": (1024, 768), "desk": (1440, 900)}
#: Printable width of A4 at the page's margins, in CSS pixels (96 to the inch).
PAPER_PX = int((210 - 20) / 25.4 * 96)

MEASURE = """({ paper, phone }) => {
  const out = [];
  const name = e => `${e.id || e.getAttribute('class') || e.tagName}: ${(e.textContent || '').trim().slice(0, 40)}`;
  const shown = e => {
    const b = e.getBoundingClientRect();
    const unseen = getComputedStyle(e).visibility === 'hidden' || e.closest('.unseen, [popover], .skip');
    return b.width > 0.5 && b.height > 0.5 && !unseen;
  };
  const wide = document.documentElement.clientWidth, whole = document.documentElement.scrollWidth;
  if (whole > wide + 1) out.push(`the page is wider than its window: ${whole}`);
  // Scrollers: only a phone may have one, and only of a table that says so and can be reached by the keyboard.
  for (const e of document.querySelectorAll('body *')) {
    if (!shown(e) || e.closest('svg')) continue;
    const style = getComputedStyle(e);
    const cuts = e.scrollWidth > e.clientWidth + 2 && e.clientWidth && style.overflowX !== 'visible';
    const told = phone && e.matches('.scroll[tabindex="0"][role="region"][aria-label]');
    if (cuts && style.display !== 'inline' && !told) out.push(`cut: ${name(e)} ${e.scrollWidth} of ${e.clientWidth}`);
    if (paper && e.getBoundingClientRect().right > wide + 1.5) out.push(`beyond the paper: ${name(e)}`);
  }
  const over = (a, b, by) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > by
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > by;
  // Words of each drawing against each other and against its frame.
  for (const drawing of document.querySelectorAll('svg')) {
    if (!shown(drawing) || drawing.parentElement.closest('svg')) continue;
    const frame = drawing.getBoundingClientRect(), open = getComputedStyle(drawing).overflow === 'visible';
    const words = [...drawing.querySelectorAll('text')].filter(shown).map(e => {
      const b = e.getBoundingClientRect(), air = 0.22 * b.height;  // letters: a line's box is taller by that
      return { words: e.textContent, left: b.left, right: b.right, top: b.top + air, bottom: b.bottom - air };
    });
    words.forEach((a, k) => {
      const out_of = a.left < frame.left - 1.5 || a.right > frame.right + 1.5
        || a.top < frame.top - 1.5 || a.bottom > frame.bottom + 1.5;
      if (out_of && !open) out.push(`out of its drawing: ${a.words}`);
      for (const b of words.slice(k + 1)) if (over(a, b, 1)) out.push(`${a.words} over ${b.words}`);
    });
  }
  // Blocks of words against each other: none over one that does not hold it.
  const blocks = [...document.querySelectorAll('p, li, td, th, dt, dd, h1, h2, h3, figcaption, button, legend')]
    .filter(e => shown(e) && e.textContent.trim() && getComputedStyle(e).display !== 'inline')
    .filter(e => !e.closest('svg, .desk, .methods') && getComputedStyle(e).position !== 'sticky')
    .map(e => ({ e, box: e.getBoundingClientRect() })).sort((a, b) => a.box.top - b.box.top);
  blocks.forEach((a, k) => {
    for (let j = k + 1; j < blocks.length && blocks[j].box.top < a.box.bottom - 3; j += 1) {
      const b = blocks[j];
      const inside = a.e.contains(b.e) || b.e.contains(a.e);
      const scrolled = a.e.closest('.scroll') !== b.e.closest('.scroll') && phone;
      if (!inside && !scrolled && over(a.box, b.box, 3)) out.push(`${name(a.e)} OVER ${name(b.e)}`);
    }
  });
  return [...new Set(out)];
}"""


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


@pytest.mark.parametrize("name", list(FLIGHTS))
def test_the_first_screen_holds_what_matters(open_page: Open, pages: dict[str, Path], name: str) -> None:
    """Verdict, picture, laps in short, points and card above the fold, at three sizes of screen."""
    if name == "hostile names":
        pytest.skip("a name of two hundred letters takes the screen that it takes")
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
