"""A real Chromium, headless. Where it is missing the tests fail: a page that was not opened was not tested."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

CHROMIUM = os.environ.get("TRACKGRADE_CHROMIUM", "/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@dataclass
class Opened:
    """A page as opened, with everything it said or asked for."""

    page: Page
    context: BrowserContext
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if not Path(CHROMIUM).exists():
        pytest.fail(
            f"no Chromium at {CHROMIUM}: install the package chromium, or set TRACKGRADE_CHROMIUM to another path"
        )
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Callable[..., Opened]]:
    """``open_page(path, width=1440, scheme="light", scripts=True)``."""
    contexts = []

    def open_it(path: Path, width: int = 1440, scheme: Any = "light", scripts: bool = True) -> Opened:
        context = browser.new_context(
            viewport={"width": width, "height": 900},
            color_scheme=scheme,
            java_script_enabled=scripts,
            reduced_motion="no-preference",
        )
        contexts.append(context)
        opened = Opened(context.new_page(), context)
        opened.page.on("console", lambda message: opened.said.append(f"{message.type}: {message.text}"))
        opened.page.on("pageerror", lambda error: opened.said.append(f"error: {error}"))
        opened.page.on("request", lambda request: opened.asked.append(request.url))
        opened.page.goto(path.as_uri())
        return opened

    yield open_it
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def axe_source() -> str:
    """axe-core, as the package axe-playwright-python carries it. Nothing is fetched."""
    return resources.files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
