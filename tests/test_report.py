"""The debrief page: what stands on it, what cannot get onto it, and that the same flight gives the same bytes."""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import itertools
import json
import os
import re
import subprocess
import sys
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import jinja2.meta
import numpy as np
import pytest
from lxml import html as lxml_html

from tests.report_flights import make_debrief, with_samples, without_samples
from trackgrade.drawing import frame
from trackgrade.drawing.frame import environment
from trackgrade.hold.hold import Guidance, Leg
from trackgrade.report.page import context, render

HOSTILE = "</script><script>alert(1)</script><img src=x onerror=alert(1)>\"'&{{7*7}}{% x %}"
VOR = Guidance(
    kind="vor",
    full_scale_deg=10.0,
    station_lat_deg=43.9,
    station_lon_deg=-93.118,
    station_variation_deg=3.0,
    course_to_set_deg=217.5,
)
FLIGHTS: dict[str, dict[str, Any]] = {
    "three laps": {},
    "one lap": {"laps": 1},
    "twelve laps": {"laps": 12},
    "two visits": {"visits": 2},
    "no hold": {"laps": 0},
    "no wind, no airspeed": {"wind": None},
    "left turns": {"turns": "left", "course_deg": 5.0},
    "huge holes": {"gap": True},
    "no altitude": {"altitude": False},
    "hostile": {"hostile": HOSTILE, "name": HOSTILE, "source": HOSTILE},
    "VOR": {"guidance": VOR},
    "leg in NM": {"leg": Leg(nm=2.0)},
    "another standard": {"standard": "easa_instrument_aeroplane"},
}


@cache
def page_text(name: str) -> str:
    return render(make_debrief(**FLIGHTS[name]))


@cache
def document(name: str) -> Any:
    return lxml_html.document_fromstring(page_text(name))


every_flight = pytest.mark.parametrize("name", FLIGHTS)


# -- structure ---------------------------------------------------------------------------------------------------


@every_flight
def test_one_first_heading_and_no_level_skipped(name: str) -> None:
    levels = [int(each.tag[1]) for each in document(name).iter("h1", "h2", "h3", "h4")]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))


@every_flight
def test_ids_are_unique_and_every_reference_has_its_target(name: str) -> None:
    tree = document(name)
    ids = Counter(tree.xpath("//@id"))
    assert [each for each, count in ids.items() if count > 1] == []
    targets = set(tree.xpath("//@popovertarget")) | set(tree.xpath("//label/@for"))
    targets |= {each[1:] for each in tree.xpath("//use/@href | //a/@href")}
    for several in tree.xpath("//@aria-labelledby"):
        targets |= set(several.split())
    assert targets <= set(ids)


@every_flight
def test_tables_and_pictures_speak_to_a_screen_reader(name: str) -> None:
    tree = document(name)
    assert tree.xpath("//th[not(@scope)]") == []
    for table in tree.xpath("//table"):
        for row in table.xpath("./tbody/tr[not(contains(@class, 'group'))]"):
            assert row.xpath("./th[@scope='row']"), "a row without its head"
    for picture in tree.xpath("//svg[not(ancestor::svg)]"):
        named = picture.get("aria-label") or picture.get("aria-labelledby")
        assert picture.get("aria-hidden") == "true" or (picture.get("role") == "img" and named)


@every_flight
def test_says_verdict_cautions_and_where_it_comes_from(name: str) -> None:
    debrief = make_debrief(**FLIGHTS[name])
    text = document(name).text_content()
    assert debrief.verdict in text
    for words in ("not for navigation", "official evaluation", "instructor", debrief.track.track.sha256):
        assert words in text
    assert "trackgrade 0" in text
    assert debrief.standard.edition in text


def test_reading_order_is_verdict_then_laps_then_evidence() -> None:
    heads = [each.text_content() for each in document("three laps").iter("h2")]
    assert heads[:4] == ["Verdict", "What was seen", "The laps", "The evidence"]
    main = page_text("three laps")
    assert main.index('id="front-plan"') < main.index("Work on") < main.index("Next lap") < main.index("What was seen")


def test_no_more_than_three_points_to_work_on() -> None:
    for name in FLIGHTS:
        assert len(document(name).xpath("//ol[@class='points']/li")) <= 3


def test_a_flight_without_a_hold_says_what_was_seen_instead() -> None:
    text = document("no hold").text_content()
    assert "Passed over the fix at 15:02:20" in text
    assert "No lap was completed." in text
    assert document("no hold").xpath("//table[contains(@class, 'laps')]") == []


def test_what_the_track_does_not_carry_is_not_measurable_with_the_reason() -> None:
    text = document("no altitude").text_content()
    assert "not measurable: the track carries no altitude" in text
    without_air = document("no wind, no airspeed").text_content()
    assert "the directions flown cover 40° of 360°" in without_air
    cells = document("no altitude").xpath(
        "//table[contains(@class, 'laps')]//tr[th[starts-with(., 'Altitude')]]/td//*[@class='figure']"
    )
    assert [each.text for each in cells] == ["–"] * 3


def test_each_visit_has_its_entry_and_its_laps() -> None:
    tree = document("two visits")
    heads = [" ".join(each.text_content().split()) for each in tree.xpath("//th[contains(@class, 'lap-head')]")]
    assert heads == [f"Visit {v}, lap {k}" for v in (1, 2) for k in (1, 2, 3)]
    assert [each.text for each in tree.xpath("//section[@id='entry']/h3")] == ["Visit 1", "Visit 2"]
    assert len(json.loads(tree.xpath("//script[@id='flight']")[0].text)["pieces"]) == 2


def test_more_laps_than_fit_across_a_sheet_stand_in_several_tables() -> None:
    tree = lxml_html.document_fromstring(render(make_debrief(laps=14)))
    tables = tree.xpath("//table[contains(@class, 'laps')]")
    heads = [
        [" ".join(each.text_content().split()) for each in t.xpath(".//th[contains(@class, 'lap-head')]")]
        for t in tables
    ]
    assert heads == [[f"Lap {k}" for k in range(1, 8)], [f"Lap {k}" for k in range(8, 15)]]
    regions = [each.getparent().get("aria-label") for each in tables]
    assert len(set(regions)) == 2


def test_laps_on_the_reciprocal_are_shown_and_can_be_chosen() -> None:
    debrief = make_debrief(laps=0)
    start = float(debrief.samples.epoch_s[20])
    spans = ((start, start + 120.0),)
    flown = dataclasses.replace(debrief.flown, reversed_laps=spans)
    tree = lxml_html.document_fromstring(render(dataclasses.replace(debrief, flown=flown)))
    assert tree.xpath("//input[@name='stretch']/@value") == ["", "reversed-1"]
    assert "lap 1 on the reciprocal" in tree.xpath("//div[@class='controls scripted-only']")[0].text_content()
    assert tree.xpath("//path[@id='path-reversed-1']/@d")[0]


def test_twelve_laps_differ_in_more_than_colour() -> None:
    paths = document("twelve laps").xpath("//svg[@id='plan']//use[starts-with(@href, '#path-lap')]")
    styles = [each.get("class") for each in paths]
    assert len(styles) == len(set(styles)) == 12
    dashes = [style.split()[-1] for style in styles]
    assert all(a != b for a, b in itertools.pairwise(dashes)), "neighbours share a dash"


# -- traceable numbers ---------------------------------------------------------------------------------------------


@every_flight
def test_every_number_opens_a_note_that_says_how(name: str) -> None:
    tree = document(name)
    notes = {each.get("id"): each.text_content() for each in tree.xpath("//*[@popover]")}
    buttons = tree.xpath("//button[contains(@class, 'number')]")
    assert {each.get("popovertarget") for each in buttons} == set(notes)
    for button in buttons:
        note = notes[button.get("popovertarget")]
        dash = button.xpath(".//*[@class='figure']")[0].text == "–"
        if dash:
            assert re.search(r"Not measurable: \S|Not an item", note), note
        else:
            assert re.search(r"± |no error known", note), note


def test_the_lap_table_shows_the_numbers_of_the_debrief() -> None:
    debrief = make_debrief()

    def row(head: str) -> list[str]:
        return [
            each.text
            for each in document("three laps").xpath(f"//tr[th[starts-with(., '{head}')]]/td//*[@class='figure']")
        ]

    assert row("Outbound time") == [f"{lap.outbound_s:.1f}" for lap in debrief.laps]
    assert row("Inbound time,") == [f"{lap.inbound_s:.1f}" for lap in debrief.laps]
    assert row("Ground speed inbound") == [f"{lap.measures.groundspeed_inbound_kt.value:.0f}" for lap in debrief.laps]
    largest = [lap.own_needle.largest for lap in debrief.laps]
    assert row("Largest needle") == [f"{each:.2f}" for each in largest]


def test_a_note_names_limit_and_source_and_that_a_choice_is_a_choice() -> None:
    tree = document("three laps")
    notes = {each.xpath("./p")[0].text: each.text_content() for each in tree.xpath("//*[@popover]")}
    assert "limit 100 ft" in notes["Altitude, furthest off, lap 1"]
    assert "FAA-S-ACS-8C" in notes["Altitude, furthest off, lap 1"]
    assert "a choice of this program, not published" in notes["Inbound time, lap 1"]


def test_side_tables_show_each_lap_by_each_reference_and_needle() -> None:
    debrief = make_debrief()
    tree = document("three laps")
    tables = {
        each.xpath("../../h3")[0].text: (
            [head.text for head in each.xpath("./thead/tr/th")][1:],
            {row.xpath("./th")[0].text: [cell.text for cell in row.xpath("./td")] for row in each.xpath("./tbody/tr")},
        )
        for each in tree.xpath("//table[contains(@class, 'side')]")
    }
    heads, needles = tables["Each inbound leg on each needle"]
    for lap, reading in ((each, reading) for each in debrief.laps for reading in each.needles):
        label = reading.label[0].upper() + reading.label[1:] + (" (this hold)" if reading.own else "")
        assert reading.largest is not None
        assert needles[f"Lap {lap.number}"][heads.index(label)].startswith(f"{reading.largest:.2f}")
    assert debrief.watch is not None
    heads, watch = tables["Outbound time from each place a watch may be started"]
    abeam = heads.index("Abeam the fix")
    for lap in debrief.laps:
        assert watch[f"Lap {lap.number}"][abeam] == f"{lap.outbound_times.abeam_s.value:.1f}"
    assert [watch["Share"][k] for k in range(len(heads))] == [f"{r.probability:.0%}" for r in debrief.watch.references]


def test_marks_of_the_log_are_listed() -> None:
    assert re.search(r"Mark in the log at \d\d:\d\d:\d\d UTC: start of time", document("three laps").text_content())


# -- what cannot get in ---------------------------------------------------------------------------------------------


def test_hostile_names_are_text() -> None:
    tree = document("hostile")
    assert len(tree.xpath("//script")) == 2
    assert tree.xpath("//img | //iframe | //object | //embed | //link | //base | //form") == []
    assert HOSTILE in tree.xpath("//h1")[0].text_content()
    assert HOSTILE in tree.text_content()
    assert "{{7*7}}" in page_text("hostile")
    handlers = tree.xpath("//@*[starts-with(name(), 'on')]")
    assert handlers == []


@every_flight
def test_nothing_points_outside(name: str) -> None:
    text = page_text(name)
    addresses = set(re.findall(r"(?:https?:|//[a-z0-9-]+\.)[^\s\"'<>]*", text))
    # The name of a namespace, which the script needs to draw; never fetched.
    assert addresses <= {"http://www.w3.org/2000/svg"}
    assert re.search(r"@import|url\(|\ssrc=|<link|style=\"", text.replace(HOSTILE, "")) is None or name == "hostile"


@every_flight
def test_the_policy_allows_this_style_and_this_script_alone(name: str) -> None:
    tree = document(name)
    policy = tree.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    assert policy.startswith("default-src 'none'; ")
    assert "unsafe" not in policy

    def digest(text: str) -> str:
        return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()

    assert f"style-src 'sha256-{digest(tree.xpath('//style')[0].text)}'" in policy
    assert f"script-src 'sha256-{digest(tree.xpath('//script[not(@id)]')[0].text)}'" in policy


def test_the_template_uses_everything_that_it_gets_and_nothing_else() -> None:
    source = "".join(frame.source("report", name) for name in ("page.html", "signed.html"))
    used = jinja2.meta.find_undeclared_variables(environment("report").parse(source))
    assert used - set(re.findall(r"(?:macro|import) (\w+)", source)) == set(context(make_debrief()))


# -- bytes ------------------------------------------------------------------------------------------------------------


def test_the_same_debrief_gives_the_same_bytes_in_another_process() -> None:
    program = (
        "import hashlib, sys\n"
        "from tests.report_flights import make_debrief\n"
        "from trackgrade.report.page import render\n"
        "print(hashlib.sha256(render(make_debrief()).encode()).hexdigest())\n"
        "heavy = {'matplotlib', 'pandas', 'sqlalchemy'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    here = Path(__file__).parent
    digests = set()
    for seed in ("1", "2"):
        environ = os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": str(here.parent), "TZ": f"X{seed}"}
        run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=environ, check=False)
        assert run.returncode == 0, run.stderr
        digests.add(run.stdout.strip())
    assert digests == {hashlib.sha256(page_text("three laps").encode()).hexdigest()}


def test_an_hour_of_holding_is_a_small_file() -> None:
    debrief = make_debrief(laps=13)
    seconds = debrief.samples.epoch_s[-1] - debrief.samples.epoch_s[0]
    assert seconds > 3300.0
    assert len(render(debrief).encode()) < 700_000


def test_three_hours_at_five_a_second_stay_under_the_limit() -> None:
    debrief = make_debrief(laps=3, visits=6)
    samples = debrief.samples
    fine = np.arange(samples.epoch_s[0], samples.epoch_s[-1], 0.2)
    changes = {
        each.name: np.interp(fine, samples.epoch_s, getattr(samples, each.name))
        for each in dataclasses.fields(samples)
        if each.type == "Floats" and each.name != "epoch_s"
    }
    dense = dataclasses.replace(samples, epoch_s=fine, gap_before=np.zeros(len(fine), dtype=bool), **changes)
    text = render(with_samples(debrief, dense))
    assert len(fine) > 50_000
    assert len(text.encode()) < 1_500_000


@every_flight
def test_numbers_in_the_drawings_are_finite(name: str) -> None:
    for each in document(name).xpath("//svg//@d | //svg//@transform | //svg//@x | //svg//@y | //svg//@viewBox"):
        assert "nan" not in each.lower()
        assert "inf" not in each.lower()
    json.loads(document(name).xpath("//script[@id='flight']")[0].text, parse_constant=_no_constant)


def _no_constant(text: str) -> None:
    raise AssertionError(f"{text} is not JSON")


def test_a_record_of_no_samples_still_makes_a_page() -> None:
    empty = without_samples(make_debrief(laps=0))
    assert "No lap was completed." in render(empty)
    assert context(empty)["flight"]["pieces"] == []  # type: ignore[index]
