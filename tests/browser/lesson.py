"""Make the pictures of docs/lesson.md and of the README: an evening's debrief on the local page, on invented data.

python -m tests.browser.lesson
"""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from tests.browser.conftest import ARGUMENTS, CHROMIUM
from trackgrade.files import write_whole

ROOT = Path(__file__).resolve().parents[2]
SAMPLES, DOCS = ROOT / "sample_tracks", ROOT / "docs"
#: Earlier evenings of the same student, so that there is something to follow.
EARLIER = ("tarne-sloppy.gpx", "tarne-wrong-entry.gpx", "tarne-good.gpx")
TONIGHT, HOLD = "tarne-windy.gpx", "tarne.toml"
WIDTH, HEIGHT = 1080, 760
COLOURS = 48


def keep(name: str, shot: bytes) -> None:
    """A drawing of few colours: a palette makes a third of the size, and nobody sees it."""
    few = Image.open(io.BytesIO(shot)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    out = io.BytesIO()
    few.save(out, "PNG", optimize=True)
    write_whole(DOCS / f"{name}.png", out.getvalue())
    print(f"{name}.png: {len(out.getvalue()) // 1024} KB")


def graded(page: Page, count: int) -> None:
    """Grade what was dropped, and wait for all of it."""
    page.click("#grade")
    page.locator("#progress", has_text=f"Done: {count} of {count}").wait_for(timeout=120_000)


def evening(page: Page, address: str) -> None:
    """Six pictures, from the file on the tablet to the sheet in the student's hand."""
    page.goto(address)
    start = page.url
    page.goto(start + "holds")
    page.set_input_files('[name="files"]', SAMPLES / HOLD)
    page.click("text=Add them")
    page.goto(start)
    for night, name in enumerate(EARLIER, 1):
        text = (SAMPLES / name).read_text(encoding="utf-8").replace("2026-05-03", f"2026-04-{8 * night:02d}")
        page.set_input_files("#tracks", {"name": f"evening-{night}.gpx", "mimeType": "", "buffer": text.encode()})
        page.wait_for_selector(f"article >> nth={night - 1}")
    page.fill("#pilot", "Pilot A")
    graded(page, len(EARLIER))
    page.goto(start)
    tonight = (SAMPLES / TONIGHT).read_bytes()
    page.set_input_files("#tracks", {"name": "evening-4.gpx", "mimeType": "", "buffer": tonight})
    page.wait_for_selector("article svg.plan")
    page.wait_for_timeout(600)
    keep("lesson-1", page.screenshot())
    page.click("text=Correct it >> nth=0")
    page.wait_for_selector("#drawing svg")
    keep("lesson-2", page.screenshot())
    page.click("text=Grade at it")
    page.fill("#pilot", "Pilot A")
    page.click("summary >> text=Instructor")
    page.fill('[name="instructor"]', "Instructor B")
    page.fill('[name="note"]', "Wind from the west; second lesson on timing.")
    graded(page, 1)
    page.click("summary >> text=Instructor")
    page.locator("#reports").scroll_into_view_if_needed()
    keep("lesson-3", page.screenshot())
    page.click("article a.report")
    page.wait_for_selector(".verdict")
    keep("lesson-4", page.screenshot())
    report = page.url
    page.goto(start + "pilot?name=Pilot+A")
    keep("lesson-5", page.screenshot())
    page.goto(report)
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 794, "height": 1000})  # a sheet of A4 at 96 dots an inch, less its foot
    keep("lesson-6", page.screenshot())


def main() -> None:
    """Serve, take the pictures, end."""
    with tempfile.TemporaryDirectory() as folder:
        program = subprocess.Popen(
            [sys.executable, "-m", "trackgrade", "serve", "--no-browser", "--data", folder, "--holds", folder],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert program.stdout is not None
        try:
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
                page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
                page.set_default_timeout(60_000)
                evening(page, program.stdout.readline().strip())
                browser.close()
        finally:
            program.terminate()
            program.wait(timeout=30)


if __name__ == "__main__":
    main()
