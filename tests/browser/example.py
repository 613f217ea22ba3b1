"""Make the example report that is kept in git, and the picture of it for the README.

    python -m tests.browser.example

Run it after a change to the page; ``tests/test_report_example.py`` says when it was forgotten.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from tests.browser.conftest import ARGUMENTS, CHROMIUM
from trackgrade.analysis import analyse, flight_date
from trackgrade.files import write_whole
from trackgrade.hold.holdfile import read_hold_file
from trackgrade.hold.setup import resolve
from trackgrade.report.page import render
from trackgrade.score.standards import load_standard
from trackgrade.track.readers import read_track

ROOT = Path(__file__).resolve().parents[2]
TRACK, HOLD = ROOT / "sample_tracks" / "tarne-windy.gpx", ROOT / "sample_tracks" / "tarne.toml"
REPORT, PICTURE = ROOT / "reports" / "example-tarne-windy.html", ROOT / "docs" / "report.png"


def example() -> str:
    """The report of the sample flight."""
    track = read_track(TRACK)
    hold = resolve(read_hold_file(HOLD), flight_date(track))
    return render(analyse(track, hold, load_standard("faa_instrument_airplane")))


def take_picture(report: Path, picture: Path) -> None:
    """First page and evidence of a report, without the tables between them."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": 1180, "height": 820}, color_scheme="light")
        page.goto(report.as_uri())
        page.evaluate(
            """() => {
              const after = ['findings', 'laps', 'entry', 'more', 'wind', 'standard', 'methods', 'data'];
              for (const id of after) { const e = document.getElementById(id); if (e) e.style.display = 'none'; }
              document.querySelector('footer').style.display = 'none';
            }"""
        )
        when = page.locator("#when")
        when.focus()
        for _ in range(4):
            page.keyboard.press("PageUp")
        page.evaluate("document.activeElement.blur()")
        shot = page.locator("body").screenshot()
        browser.close()
    # A drawing of few colours: a palette makes a third of the size, and nobody sees it.
    few = (
        Image.open(io.BytesIO(shot))
        .convert("RGB")
        .quantize(256, method=Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE)
    )
    out = io.BytesIO()
    few.save(out, "PNG", optimize=True)
    picture.parent.mkdir(exist_ok=True)
    write_whole(picture, out.getvalue())


def main() -> int:
    write_whole(REPORT, example())
    take_picture(REPORT, PICTURE)
    print(f"{REPORT.stat().st_size} bytes of report, {PICTURE.stat().st_size} bytes of picture")
    return 0


if __name__ == "__main__":
    sys.exit(main())
