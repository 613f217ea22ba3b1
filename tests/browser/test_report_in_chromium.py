"""The report as its reader meets it: opened from a file, pointed at, played, printed, and read by axe-core."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page
from pypdf import PdfReader

from tests.browser.conftest import Opened
from tests.report_flights import make_debrief
from trackgrade.exports.debrief_json import debrief_to_dict
from trackgrade.report import index
from trackgrade.report.page import render

pytestmark = pytest.mark.browser

HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(1)>\"'&{{7*7}}"
FLIGHTS: dict[str, dict[str, Any]] = {
    "three": {},
    "twelve": {"laps": 12},
    "visits": {"visits": 2},
    "many": {"laps": 12, "visits": 2, "gap": True},
    "none": {"laps": 0},
    "bare": {"wind": None, "altitude": False},
    "holes": {"gap": True},
    "hostile": {"hostile": HOSTILE, "name": HOSTILE, "source": HOSTILE},
}
Open = Callable[..., Opened]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("reports")
    out = {}
    for name, kwargs in FLIGHTS.items():
        out[name] = folder / f"{name}.html"
        out[name].write_text(render(make_debrief(**kwargs)), encoding="utf-8")
    rows = [index.row(debrief_to_dict(make_debrief(laps=k)), f"{k}.html") for k in (1, 3)]
    out["index"] = folder / "index.html"
    out["index"].write_text(
        index.render([*rows, index.not_graded("broken.gpx", "not a track")], ["a standard"]), encoding="utf-8"
    )
    return out


@pytest.mark.parametrize("name", [*FLIGHTS, "index"])
@pytest.mark.parametrize("width", [390, 768, 1440])
def test_opens_in_silence_asks_for_nothing_and_fits_the_width(
    open_page: Open, pages: dict[str, Path], name: str, width: int
) -> None:
    opened = open_page(pages[name], width)
    opened.page.wait_for_timeout(50)
    assert opened.said == []
    assert opened.asked == [pages[name].as_uri()]
    assert opened.page.evaluate("document.documentElement.scrollWidth") == width


# -- one cursor through everything --------------------------------------------------


def cursors(opened: Opened) -> set[str]:
    found = opened.page.eval_on_selector_all(".plot .cursor", "all => all.map(e => e.getAttribute('x1'))")
    return set(found)


def test_the_slider_moves_plane_cursors_needles_and_readout_together(open_page: Open, pages: dict[str, Path]) -> None:
    opened = open_page(pages["three"])
    page = opened.page
    page.locator('input[name="stretch"]').nth(2).check()
    before = (cursors(opened), page.locator("#plan-aircraft").get_attribute("transform"))
    assert len(before[0]) == 1, "the strips do not share one cursor"
    page.locator("#when").focus()
    for _ in range(30):
        page.keyboard.press("ArrowRight")
    assert len(cursors(opened)) == 1
    assert cursors(opened) != before[0]
    assert page.locator("#plan-aircraft").get_attribute("transform") != before[1]
    assert page.locator("#plan-aircraft").is_visible()
    first_lap = make_debrief().laps[0].flown
    debrief = make_debrief()
    at = int(page.locator("#when").input_value())
    shown = int(page.locator('[data-now="alt"]').inner_text())
    start = debrief.samples.epoch_s[0]
    epoch = start + round(first_lap.start.epoch_s - start) + 30
    k = int(abs(debrief.samples.epoch_s - epoch).argmin())
    assert shown == pytest.approx(debrief.samples.alt_ft[k], abs=12.0)
    assert "lap 1" in page.locator('[data-now="phase"]').inner_text()
    spoken = page.locator("#when").get_attribute("aria-valuetext") or ""
    assert re.match(r"\d\d:\d\d:\d\d, lap 1: .*feet, needle", spoken), spoken
    assert at > 0
    assert opened.said == []


def test_choosing_a_lap_shows_it_alone_and_zooms_the_strips(open_page: Open, pages: dict[str, Path]) -> None:
    opened = open_page(pages["three"])
    page = opened.page
    whole = page.locator(".zoom").first.get_attribute("viewBox")
    assert page.locator("#plan use[href='#path-lap-1-1']").is_visible()
    page.get_by_label("lap 2", exact=True).check()
    assert page.locator("#plan use[href='#path-lap-1-2']").is_visible()
    assert not page.locator("#plan use[href='#path-lap-1-1']").is_visible()
    assert page.locator("#plan .chosen .label:visible").count() >= 4
    zoomed = page.locator(".zoom").first.get_attribute("viewBox")
    assert whole is not None
    assert zoomed is not None
    assert float(zoomed.split()[2]) < 0.5 * float(whole.split()[2])
    assert len({page.locator(".zoom").nth(k).get_attribute("viewBox") for k in range(4)}) == 1
    page.get_by_label("all", exact=True).check()
    assert page.locator("#plan use[href='#path-lap-1-1']").is_visible()
    assert page.locator(".zoom").first.get_attribute("viewBox") == whole


@pytest.mark.parametrize("width", [390, 1440])
def test_no_words_of_a_drawing_are_cut(open_page: Open, pages: dict[str, Path], width: int) -> None:
    page = open_page(pages["three"], width).page
    for choice in ("all", "entry", "lap 1", "lap 3"):
        page.get_by_label(choice, exact=True).check()
        for view in ("north", "inbound course"):
            page.get_by_label(view, exact=True).check()
            assert page.evaluate(CUT_WORDS) == []


def test_the_chooser_works_from_the_keyboard(open_page: Open, pages: dict[str, Path]) -> None:
    page = open_page(pages["three"]).page
    page.get_by_label("all", exact=True).focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    assert page.get_by_label("lap 2", exact=True).is_checked()
    assert not page.locator("#plan use[href='#path-lap-1-1']").is_visible()


def test_pointing_at_strip_and_plan_finds_the_same_moment(open_page: Open, pages: dict[str, Path]) -> None:
    opened = open_page(pages["three"])
    page = opened.page
    page.get_by_label("lap 1", exact=True).check()
    plot = page.locator(".plot").first
    page.evaluate("document.querySelector('.desk').scrollIntoView()")
    box = plot.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + 20)
    half = page.locator("#clock").inner_text()
    share = next(iter(cursors(opened)))
    assert float(share.rstrip("%")) == pytest.approx(50.0, abs=1.0)
    plane = page.locator("#plan-aircraft").bounding_box()
    assert plane is not None
    page.mouse.move(box["x"] + 2, box["y"] + 20)
    assert page.locator("#clock").inner_text() != half
    page.mouse.move(plane["x"] + plane["width"] / 2, plane["y"] + plane["height"] / 2)
    found = float(next(iter(cursors(opened))).rstrip("%"))
    assert found == pytest.approx(50.0, abs=8.0)


def test_a_touch_sets_the_cursor(browser: Any, pages: dict[str, Path]) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(pages["three"].as_uri())
    plot = page.locator(".plot").nth(1)
    plot.scroll_into_view_if_needed()
    before = page.locator("#clock").inner_text()
    box = plot.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * 0.7, box["y"] + box["height"] / 2)
    assert page.locator("#clock").inner_text() != before
    context.close()


def test_play_runs_at_ten_times_and_moves_plane_and_both_needles(open_page: Open, pages: dict[str, Path]) -> None:
    opened = open_page(pages["three"])
    page = opened.page
    page.get_by_label("lap 1", exact=True).check()
    pointers = page.locator(".needle .pointer")
    assert pointers.count() == 2

    def state() -> tuple[float, list[str | None]]:
        return float(page.locator("#when").input_value()), [
            page.locator("#plan-aircraft").get_attribute("transform"),
            *(pointers.nth(k).get_attribute("transform") for k in range(2)),
        ]

    start, still = state()
    page.locator("#play").click()
    assert page.locator("#play").get_attribute("aria-pressed") == "true"
    page.wait_for_timeout(1500)
    page.locator("#play").click()
    stop, moved = state()
    assert page.locator("#play").get_attribute("aria-pressed") == "false"
    assert 9.0 <= stop - start <= 24.0, "about 15 s of flight in 1.5 s"
    assert all(a != b for a, b in zip(still, moved)), (still, moved)
    assert opened.said == []


def shown_seconds(page: Page) -> list[float]:
    """Length of each piece of the flight that the page shows [s]."""
    pieces = page.evaluate("JSON.parse(document.getElementById('flight').textContent).pieces")
    return [piece[1] - piece[0] for piece in pieces]


def set_slider(page: Page, value: float) -> None:
    page.evaluate(
        """value => { const s = document.getElementById('when'); s.value = value;
        s.dispatchEvent(new Event('input')); }""",
        value,
    )


def test_play_crosses_the_break_between_visits_and_stops_at_the_end(open_page: Open, pages: dict[str, Path]) -> None:
    page = open_page(pages["visits"]).page
    first, second = shown_seconds(page)
    set_slider(page, first - 8)
    hour = page.locator("#clock").inner_text()[:5]
    page.locator("#play").click()
    page.wait_for_timeout(1600)
    assert page.locator("#clock").inner_text()[:5] > hour
    assert float(page.locator("#when").input_value()) < first + 30
    set_slider(page, first + second - 10)
    page.wait_for_timeout(2000)
    assert page.locator("#play").get_attribute("aria-pressed") == "false"
    assert page.locator("#when").input_value() == page.locator("#when").get_attribute("max")


def test_the_arrow_keys_go_back_over_the_break(open_page: Open, pages: dict[str, Path]) -> None:
    page = open_page(pages["visits"]).page
    first, _ = shown_seconds(page)
    set_slider(page, first + 2)
    later = page.locator("#clock").inner_text()
    page.locator("#when").focus()
    for _ in range(5):
        page.keyboard.press("ArrowLeft")
    assert page.locator("#clock").inner_text()[:5] < later[:5]


def test_north_up_turns_the_picture_and_back(open_page: Open, pages: dict[str, Path]) -> None:
    page = open_page(pages["three"]).page
    world = page.locator("#plan .world")
    hold = world.get_attribute("transform")
    assert hold is not None
    assert "rotate(-220.5)" in hold
    plane = page.locator("#plan-aircraft").get_attribute("transform")
    page.get_by_label("north", exact=True).check()
    north = world.get_attribute("transform")
    assert north is not None
    assert "rotate(0)" in north
    assert page.locator("#plan-aircraft").get_attribute("transform") != plane
    page.get_by_label("inbound course", exact=True).check()
    assert world.get_attribute("transform") == hold


def test_a_finding_leads_to_its_moment(open_page: Open, pages: dict[str, Path]) -> None:
    page = open_page(pages["three"]).page
    lead = page.locator("ol.points .lead").first
    wanted = page.locator("ol.points .where").first.inner_text()
    lead.click()
    clock = page.locator("#clock").inner_text()
    assert clock in wanted
    assert page.locator("#plan-aircraft").is_visible()


# -- a number tells how it was measured --------------------------------------------------


@pytest.mark.parametrize("scripts", [True, False])
def test_a_click_on_a_number_opens_its_note_with_and_without_scripts(
    open_page: Open, pages: dict[str, Path], scripts: bool
) -> None:
    page = open_page(pages["three"], scripts=scripts).page
    button = page.locator("table.laps button").first
    note = page.locator(f"[id='{button.get_attribute('popovertarget')}']")
    assert not note.is_visible()
    button.click()
    assert note.is_visible()
    assert "one standard error" in note.inner_text()
    page.keyboard.press("Escape")
    assert not note.is_visible()
    button.focus()
    page.keyboard.press("Enter")
    assert note.is_visible()


def test_without_scripts_everything_stands_still_and_whole(open_page: Open, pages: dict[str, Path]) -> None:
    page = open_page(pages["three"], scripts=False).page
    assert page.locator("#plan use[href='#path-lap-1-1']").is_visible()
    assert page.locator(".plot .line").first.is_visible()
    assert page.locator(".time-words text").count() >= 2
    assert not page.locator(".controls").is_visible()
    assert not page.locator(".desk").is_visible()


def test_hostile_names_are_shown_and_run_nothing(open_page: Open, pages: dict[str, Path]) -> None:
    opened = open_page(pages["hostile"])
    dialogs: list[str] = []
    opened.page.on("dialog", lambda dialog: dialogs.append(dialog.message))
    assert opened.page.locator("h1").inner_text() == HOSTILE
    opened.page.get_by_label("lap 1", exact=True).check()
    opened.page.locator("table.laps button").first.click()
    assert dialogs == []
    assert opened.said == []
    assert opened.page.locator("img").count() == 0


# -- paper --------------------------------------------------

#: Printable width of A4 and Letter at the page's own margins, in CSS pixels (96 to the inch).
PAPERS = {"A4": (210 - 20) / 25.4 * 96, "Letter": (215.9 - 20) / 25.4 * 96}

#: Elements that reach beyond the right edge of the page.
TOO_WIDE = """() => {
  const most = document.documentElement.clientWidth + 1, out = [];
  for (const e of document.body.querySelectorAll('*')) {
    if (e.parentElement.closest('svg') || e.closest('.unseen')) continue;
    const box = e.getBoundingClientRect();
    if (box.width && box.right > most) out.push(e.tagName + '.' + e.className + ' ' + box.right);
  }
  return out;
}"""
#: Words of a drawing that reach beyond its frame.
CUT_WORDS = """() => {
  const out = [];
  for (const e of document.querySelectorAll('svg text')) {
    const box = e.getBoundingClientRect(), frame = e.ownerSVGElement.getBoundingClientRect();
    if (!box.width || getComputedStyle(e.ownerSVGElement).overflow === 'visible') continue;
    if (box.left < frame.left - 1 || box.right > frame.right + 1 || box.bottom > frame.bottom + 2)
      out.push(e.textContent + ' ' + [box.left, box.right, frame.left, frame.right].join(' '));
  }
  return out;
}"""


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", list(FLIGHTS))
def test_prints_on_at_most_four_pages_with_nothing_cut(
    open_page: Open, pages: dict[str, Path], tmp_path: Path, name: str, paper: str
) -> None:
    # A dark screen must not print dark.
    page = open_page(pages[name], int(PAPERS[paper]), "dark").page
    file = tmp_path / "print.pdf"
    page.pdf(path=file, format=paper)
    reader = PdfReader(file)
    assert len(reader.pages) <= 4
    # Compatibility forms: paper sets "fl" as one sign.
    squeezed = unicodedata.normalize("NFKC", "".join("".join(each.extract_text() for each in reader.pages).split()))
    # Laps are laid over each other on a screen, where they can be chosen.
    printed = ":is(h2, h3):not(.unseen, #against *)"
    for heading in page.eval_on_selector_all(printed, "all => all.map(e => e.textContent)"):
        assert re.sub(r"\s", "", heading) in squeezed, f"{heading!r} is not on paper"
    footer = page.locator("footer").inner_text()
    assert re.sub(r"\s", "", footer)[-60:] in squeezed
    page.emulate_media(media="print")
    assert page.evaluate(TOO_WIDE) == []
    assert page.evaluate(CUT_WORDS) == []
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgb(255, 255, 255)"
    # The drawings too: their paper is that of the sheet, not the cream of a screen.
    assert page.evaluate("getComputedStyle(document.querySelector('.plan')).backgroundColor") == "rgb(255, 255, 255)"


# -- axe-core --------------------------------------------------


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("name", ["three", "twelve", "visits", "bare", "none", "index"])
def test_axe_finds_no_fault(
    open_page: Open, pages: dict[str, Path], axe_source: str, name: str, width: int, scheme: str
) -> None:
    page = open_page(pages[name], width, scheme).page
    page.evaluate(axe_source)
    result = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    assert _faults(result) == []


def test_axe_finds_no_fault_in_an_open_note_or_a_chosen_lap(
    open_page: Open, pages: dict[str, Path], axe_source: str
) -> None:
    page = open_page(pages["three"]).page
    page.get_by_label("lap 2", exact=True).check()
    page.locator("table.laps button").first.click()
    page.evaluate(axe_source)
    assert _faults(page.evaluate("axe.run(document, {resultTypes: ['violations']})")) == []


def test_axe_would_find_a_fault(open_page: Open, tmp_path: Path, axe_source: str) -> None:
    """The check itself is checked: grey on grey and a button without a name are found."""
    bad = tmp_path / "bad.html"
    bad.write_text(
        "<!DOCTYPE html><html lang=en><title>x</title><main><h1>x</h1><button></button>"
        "<p style='color:#999;background:#aaa'>hardly to be read</p></main></html>",
        encoding="utf-8",
    )
    page = open_page(bad).page
    page.evaluate(axe_source)
    found = {each.split(":")[0] for each in _faults(page.evaluate("axe.run(document)"))}
    assert {"button-name", "color-contrast"} <= found


def _faults(result: Any) -> list[str]:
    return [
        f"{each['id']}: {each['impact']}: {each['nodes'][0]['html'][:160]}"
        for each in result["violations"]
        if each["impact"] in ("moderate", "serious", "critical")
    ]
