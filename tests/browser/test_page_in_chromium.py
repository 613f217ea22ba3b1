"""The local page in a real browser over a real server: the whole job, by mouse and keyboard, on desk and phone."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests import plain_flight

pytestmark = pytest.mark.browser

LONGEST_MS = 60_000


@dataclass
class Served:
    """A running page, its address with the key, and browsers that opened it."""

    address: str
    data: Path
    browser: Browser
    contexts: list[BrowserContext] = field(default_factory=list)
    said: list[str] = field(default_factory=list)

    @property
    def base(self) -> str:
        return self.address.split("/?")[0]

    def open(self, width: int = 1440, scheme: Any = "light", scripts: bool = True) -> Page:
        context = self.browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=scheme, java_script_enabled=scripts
        )
        context.set_default_timeout(LONGEST_MS)
        self.contexts.append(context)
        return self.tab(context)

    def tab(self, context: BrowserContext) -> Page:
        page = context.new_page()
        page.on("console", lambda message: self.said.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: self.said.append(f"error: {error}"))
        page.goto(self.address)
        assert "key=" not in page.url
        return page


@pytest.fixture
def served(browser: Browser, tmp_path: Path) -> Iterator[Served]:
    data, holds = tmp_path / "data", tmp_path / "holds"
    holds.mkdir()
    program = subprocess.Popen(
        [sys.executable, "-m", "trackgrade", "serve", "--no-browser", "--data", str(data), "--holds", str(holds)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert program.stdout is not None
    served = Served(program.stdout.readline().strip(), data, browser)
    yield served
    for context in served.contexts:
        context.close()
    program.terminate()
    _, told = program.communicate(timeout=30)
    assert program.returncode == 0, told
    assert served.said == []


def grade(page: Page, *files: Path, reports: int = 1) -> None:
    """Drop, grade, and wait for so many reports."""
    page.set_input_files("#tracks", files)
    page.click("#grade")
    expect(page.locator("article a.report")).to_have_count(reports, timeout=LONGEST_MS)


def test_a_newcomer_has_a_report_in_three_clicks(served: Served, flight: Path) -> None:
    started = time.monotonic()
    page = served.open()
    grade(page, flight)  # a click opens the choice of files, one grades
    page.click("article a.report")
    expect(page.locator(".verdict")).to_contain_text("3 laps")
    assert time.monotonic() - started < 60.0
    # the report's own script runs, and does not reach the page's cookie
    assert page.evaluate("document.documentElement.classList.contains('scripted')")
    assert page.evaluate("self.origin") == "null"
    with pytest.raises(Exception, match="sandboxed"):
        page.evaluate("document.cookie")
    served.said.clear()  # the refusal just provoked
    page.go_back()
    expect(page.locator("article a.report")).to_have_count(1)


def test_the_whole_evening(served: Served, flight: Path, straight_flight: Path, tmp_path: Path) -> None:
    page = served.open()
    photo = tmp_path / "photo.jpg"
    photo.write_bytes(b"\xff\xd8\xff\xe0" + bytes(3000))
    page.set_input_files("#tracks", [flight, photo])
    # proposed on a drawing, without a click
    expect(page.locator("article svg.plan")).to_be_visible()
    expect(page.locator("#hold option")).to_have_count(2)
    expect(page.locator("#messages li")).to_have_count(1)
    expect(page.locator("#messages")).to_contain_text("photo.jpg")
    # corrected in a form, which says what is wrong as it is typed
    page.click("text=Correct it")
    page.fill('[name="inbound_course_deg"]', "4000")
    expect(page.locator("#messages")).to_contain_text("Inbound course: must be above 0 and at most 360")
    page.fill('[name="inbound_course_deg"]', "143")
    page.select_option('[name="north"]', "true")
    page.fill('[name="name"]', "Evening hold")
    page.fill('[name="airspeed_kias"]', "94")
    expect(page.locator("#messages li")).to_have_count(0)
    expect(page.locator("#notes")).to_contain_text("143 true")
    page.click("text=Grade at it")
    assert page.locator("#hold").evaluate("list => list.selectedOptions[0].textContent") == "Evening hold"
    page.fill("#pilot", "Pilot A")
    page.click("#grade")
    expect(page.locator("article a.report")).to_contain_text("Evening hold")
    # kept, and followed
    page.click("nav >> text=Pilots")
    expect(page.locator("h1")).to_be_visible()
    page.click("main a:has-text('Pilot A')")
    expect(page.locator("h1")).to_contain_text("Pilot A")
    page.locator("main a[href^='/report/']").first.click()
    expect(page.locator(".verdict")).to_contain_text("3 laps")
    # the hold into the set, and briefed
    page.goto(served.base)
    page.click("#reports >> text=Change")
    page.click("text=its hold")
    page.click("text=Keep among my holds")
    page.click("text=brief")
    page.fill('[name="tas_kt"]', "104")
    page.fill('[name="wind_from_true_deg"]', "280")
    page.fill('[name="wind_kt"]', "18")
    page.fill('[name="arriving_deg"]', "250")
    page.click("main button")
    expect(page.locator("h1")).to_have_text("Evening hold")
    expect(page.locator("svg.plan")).to_be_visible()
    assert len(page.pdf()) > 10_000


def test_a_table_that_asks(served: Served, tmp_path: Path) -> None:
    rows = "".join(
        f"{t:%Y-%m-%dT%H:%M:%S}Z,{lat:.6f},{lon:.6f},{alt / 3.28084:.1f}\n" for t, lat, lon, alt in plain_flight.rows()
    )
    log = tmp_path / "log.csv"
    log.write_text("time,lat,lon,altitude\n" + rows, encoding="utf-8")
    page = served.open()
    page.set_input_files("#tracks", log)
    page.click("text=Look at its columns")
    expect(page.locator("table.columns")).to_contain_text(rows.split(",")[0])
    page.get_by_label("altitude", exact=True).select_option("alt_ft|m")
    page.click("text=Read it so")
    expect(page.locator("article .ask")).to_have_count(0)
    page.click("#grade")
    page.click("article a.report")
    expect(page.locator("body")).to_contain_text(re.compile(r"Altitude 4\D?000 ft"))  # not 1,219: it was metres


def test_two_tabs_and_two_people_do_not_meet(served: Served, flight: Path, straight_flight: Path) -> None:
    one = served.open()
    two = served.tab(one.context)
    one.set_input_files("#tracks", flight)
    two.set_input_files("#tracks", straight_flight)
    one.click("#grade")
    two.click("#grade")
    expect(one.locator("article a.report")).to_have_count(1, timeout=LONGEST_MS)
    expect(two.locator("#messages")).to_contain_text("straight.gpx", timeout=LONGEST_MS)
    expect(one.locator("#messages li")).to_have_count(0)
    expect(two.locator("article")).to_have_count(1)
    stranger = served.browser.new_context()
    served.contexts.append(stranger)
    answer = stranger.new_page().goto(served.base + one.locator("article a.report").get_attribute("href"))
    assert answer is not None
    assert answer.status == 403


def test_by_keyboard_alone(served: Served, flight: Path) -> None:
    page = served.open()
    reached = []
    for _ in range(14):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id"))
        if reached[-1] == "tracks":
            page.set_input_files("#tracks", flight)
        if reached[-1] == "grade":
            break
    assert [each for each in reached if each] == ["tracks", "hold", "type-hold", "pilot", "grade"]
    page.keyboard.press("Enter")
    expect(page.locator("article a.report")).to_have_count(1, timeout=LONGEST_MS)
    expect(page.locator("#progress")).to_have_text("Done: 1 of 1 graded.")
    for _ in range(6):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.className") == "report":
            break
    page.keyboard.press("Enter")
    expect(page.locator(".verdict")).to_be_visible()


def test_without_script(served: Served, flight: Path) -> None:
    page = served.open(scripts=False)
    page.set_input_files("#tracks", flight)
    page.click("#grade")
    page.click("article a.report")
    expect(page.locator(".verdict")).to_contain_text("3 laps")


def test_a_track_dropped_on_the_page_is_taken(served: Served, flight: Path) -> None:
    page = served.open()
    carried = page.evaluate_handle(
        "text => { const data = new DataTransfer(); data.items.add(new File([text], 'dropped.gpx')); return data; }",
        flight.read_text(encoding="utf-8"),
    )
    page.dispatch_event("body", "drop", {"dataTransfer": carried})
    expect(page.locator("article")).to_contain_text("dropped.gpx")
    expect(page.locator("article svg.plan")).to_be_visible()


def test_200_mb_are_answered_without_harm(served: Served, flight: Path, tmp_path: Path) -> None:
    large = tmp_path / "large.csv"
    with large.open("wb") as file:
        for _ in range(200):
            file.write(b"1,2,3,4\n" * 131072)
    page = served.open()
    page.set_input_files("#tracks", [large, flight])
    page.click("#grade")
    expect(page.locator("article a.report")).to_have_count(1, timeout=120_000)
    expect(page.locator("#messages")).to_contain_text("large.csv", timeout=120_000)
    expect(page.locator("#messages")).to_contain_text("MiB")


@pytest.mark.parametrize(("width", "scheme"), [(1440, "light"), (1440, "dark"), (390, "light"), (390, "dark")])
def test_every_screen_fits_and_can_be_used_by_all(
    served: Served, flight: Path, axe_source: str, width: int, scheme: str
) -> None:
    page = served.open(width=width, scheme=scheme)
    page.fill("#pilot", "Pilot A")
    grade(page, flight)
    found = page.locator("#hold option").nth(1).get_attribute("value")
    (report,) = (served.data / "reports").iterdir()
    (track,) = (served.data / "flights").iterdir()
    screens = [
        "/",
        f"/?flights={track.name}",
        f"/hold?from={found}&flights={track.name}",
        "/holds",
        f"/brief?hold={found}",
        f"/brief/sheet?hold={found}&tas_kt=100",
        "/class",
        "/pilot?name=Pilot%20A",
        "/pilot/forget?name=Pilot%20A",
        f"/report/{report.name}/session",
    ]
    for screen in screens:
        page.goto(served.base + screen)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, screen
        text = page.inner_text("body")
        assert re.search("training aid", text, re.IGNORECASE), screen
        page.evaluate(axe_source)
        faults = page.evaluate("axe.run()")["violations"]
        serious = [
            (each["id"], [node["html"][:150] for node in each["nodes"]])
            for each in faults
            if each["impact"] in ("serious", "critical")
        ]
        assert serious == [], screen
