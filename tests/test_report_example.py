"""The example report kept in git is one that this version of the page would write."""

from __future__ import annotations

import re
from pathlib import Path

from tests.report_flights import make_debrief
from trackgrade.report.page import render

ROOT = Path(__file__).parent.parent
POLICY = re.compile(r'http-equiv="Content-Security-Policy" content="([^"]+)"')


def test_the_example_report_has_today_s_style_and_script() -> None:
    (example,) = ROOT.glob("reports/example-*.html")
    found, wanted = (POLICY.search(text) for text in (example.read_text(encoding="utf-8"), render(make_debrief())))
    assert found is not None
    assert wanted is not None
    assert found[1] == wanted[1], "the page changed since: run  python -m tests.browser.example"


def test_the_picture_of_it_is_small() -> None:
    assert 20_000 < (ROOT / "docs" / "report.png").stat().st_size < 300_000
