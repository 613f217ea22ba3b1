"""The page that leads to the reports of several flights."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

from click.testing import CliRunner
from lxml import html as lxml_html

from tests.report_flights import make_debrief
from trackgrade.commands import main
from trackgrade.exports.debrief_json import debrief_to_dict
from trackgrade.hold.holdfile import read_hold_file
from trackgrade.hold.setup import resolve
from trackgrade.report import index
from trackgrade.simulator import fly
from trackgrade.simulator.scenarios import named
from trackgrade.simulator.writers import gpx_text

HOSTILE = '</td><script>alert(1)</script>"&'


def test_each_flight_leads_to_its_report_with_laps_results_and_first_point() -> None:
    debrief = make_debrief(laps=3)
    page = index.render([index.row(debrief_to_dict(debrief), "a flight #1.html")], [debrief.standard.title])
    tree = lxml_html.document_fromstring(page)
    (link,) = tree.xpath("//td/a | //th/a")
    assert link.get("href") == "a%20flight%20%231.html"
    assert link.text == "flight.gpx"
    row = [" ".join(each.text_content().split()) for each in tree.xpath("//tbody/tr/*")]
    assert row[3:] == ["3", "direct", "Tarne practice hold", "2026-05-03 15:00"]
    whole = [each.result for each in debrief.items if each.lap is None]
    assert f"{whole.count('within')} within" in row[2]
    assert debrief.verdict in row[1]
    assert debrief.work_on[0].title in row[1]
    assert debrief.standard.title in tree.text_content()
    assert "not for navigation" in tree.text_content()


def test_what_could_not_be_graded_says_why_and_leads_nowhere() -> None:
    rows = [
        index.row(debrief_to_dict(make_debrief(laps=0))),
        index.not_graded("broken.gpx", "broken.gpx: not a track; export it again"),
    ]
    tree = lxml_html.document_fromstring(index.render(rows))
    assert tree.xpath("//td/a | //th/a") == []
    text = " ".join(tree.text_content().split())
    assert "Not graded: broken.gpx: not a track; export it again" in text
    assert "No hold was flown" in text
    assert "0 graded, 1 with no hold flown, 1 not readable." in text


def test_hostile_names_are_text_and_bytes_repeat() -> None:
    debrief = make_debrief(source=HOSTILE, name=HOSTILE, hostile=HOSTILE)
    rows = [index.row(debrief_to_dict(debrief), HOSTILE + ".html"), index.not_graded(HOSTILE, HOSTILE)]
    page = index.render(rows, [HOSTILE])
    assert page == index.render(rows, [HOSTILE])
    tree = lxml_html.document_fromstring(page)
    assert tree.xpath("//script") == []
    assert HOSTILE in tree.text_content()
    policy = tree.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    assert "script-src 'none'" in policy
    assert "unsafe" not in policy


def test_a_hold_flown_on_the_reciprocal_has_a_report_and_the_index_leads_to_it(tmp_path: Path) -> None:
    samples = Path(__file__).parent.parent / "sample_tracks"
    hold = resolve(read_hold_file(samples / "tarne.toml"), dt.date(2026, 5, 3))
    track = tmp_path / "reversed.gpx"
    track.write_text(gpx_text(fly(hold, named("reciprocal course"), 1)), encoding="utf-8")
    arguments = ["grade", str(track), str(samples / "tarne-no-hold.gpx"), "--hold", str(samples / "tarne.toml")]
    run = CliRunner().invoke(main, [*arguments, "--out", str(tmp_path / "out")])
    assert run.exit_code == 3, run.output
    tree = lxml_html.document_fromstring((tmp_path / "out" / "index.html").read_text(encoding="utf-8"))
    assert tree.xpath("//tbody//a/@href") == ["reversed.html"]
    page = (tmp_path / "out" / "reversed.html").read_text(encoding="utf-8")
    assert "lap 1 on the reciprocal" in page
    assert sorted(each.name for each in (tmp_path / "out").glob("*.html")) == ["index.html", "reversed.html"]
