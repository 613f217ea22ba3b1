"""The pages and their sentences: honest with few sessions, safe with hostile names, whole in themselves."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import lxml.html
import pytest
from click.testing import CliRunner, Result

from tests.logbook_flights import made_debrief
from trackgrade.commands import console, main, progress
from trackgrade.logbook import wording
from trackgrade.logbook.class_view import class_view
from trackgrade.logbook.pages import file_name, page_json, pilot_page, render_class, render_pilot
from trackgrade.logbook.queries import class_history, pilot_history
from trackgrade.logbook.store import Logbook

HOSTILE = "<script>alert(1)</script>\"'&{{ 7 * 7 }}"
ITEMS_MEASURED = ("altitude", "inbound_time")


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook(tmp_path / "logbook.sqlite") as opened:
        yield opened


def fill(logbook: Logbook, sessions: int, pilot: str = "pilot A", first: int = 0) -> None:
    """Sessions that get better each time."""
    for day in range(sessions):
        error = 40.0 * 0.85**day
        debrief = made_debrief(
            first + day,
            inbound_s=(60 + error, 60 + error / 2, 60 + error / 3),
            altitude_ft=(error + 60, 2 * error, error),
            turns="left" if day % 4 == 3 else "right",
        )
        logbook.record(debrief, pilot=pilot, instructor="instructor Q", note="steady")


def pages(logbook: Logbook, pilot: str = "pilot A") -> tuple[str, str]:
    return render_pilot(pilot_page(pilot_history(logbook, pilot))), render_class(class_view(class_history(logbook)))


def text_of(html: str) -> str:
    root = lxml.html.fromstring(html)
    for each in root.xpath("//style"):
        each.drop_tree()
    return " ".join(root.text_content().split())


@pytest.mark.parametrize("sessions", [1, 2, 4])
def test_below_five_sessions_no_change_is_claimed(logbook: Logbook, sessions: int) -> None:
    fill(logbook, sessions)
    page = pilot_page(pilot_history(logbook, "pilot A"))
    assert page.shown.verdict.claims == ()
    text = text_of(render_pilot(page))
    assert "no change is claimed below 5" in text
    assert "got better" not in text
    assert "got worse" not in text
    assert 'class="trend' not in render_pilot(page).split("</main>")[0].split('class="cards charts"')[1]


def test_every_change_and_every_share_stands_with_its_interval(logbook: Logbook) -> None:
    fill(logbook, 12)
    text = text_of(render_pilot(pilot_page(pilot_history(logbook, "pilot A"))))
    assert "Got better: all errors together" in text
    assert text.count("▲ got better") >= 2
    changes = re.findall(r"[+−]\d+ %( \([+−]\d+ to [+−]\d+\))?", text)
    assert len(changes) >= 2
    assert all(changes)
    shares = re.findall(r"\d+ %( \(\d+–\d+ %\))?, \d+ of \d+ (?:laps?|measurements?|entr)", text)
    assert len(shares) >= 4
    assert all(shares)


def test_the_terminal_and_the_json_say_what_the_page_says(logbook: Logbook) -> None:
    fill(logbook, 12)
    page = pilot_page(pilot_history(logbook, "pilot A"))
    said, html, told = progress._pilot_text(page), text_of(render_pilot(page)), page_json(page)
    assert page.primary in said
    assert page.primary in html
    assert told["says"] == page.primary
    assert told["claims"][0]["measure"] == "all items together"
    for line in page.shown.items:
        claimed = next((each for each in told["claims"] if each["measure"] == line.item), None)
        assert (claimed is not None) == ("got" in wording.claim(line))
        assert wording.change_words(line.change) in said if line.change else True
    for claim in told["claims"]:
        low, high = claim["interval"]
        assert claim["direction"] in ("better", "worse")
        assert low <= claim["change"] <= high
        assert low * high > 0
        assert 0 < claim["p"] <= 0.05


def test_a_condition_that_moved_with_time_is_named_and_nothing_is_claimed(logbook: Logbook) -> None:
    for day in range(10):
        hard = day >= 5
        laps = (70.0, 52.0, 66.0) if hard else (63.0, 57.0, 62.0)
        debrief = made_debrief(
            7 * day, inbound_s=laps, altitude_ft=(20.0 + 30 * hard,) * 3, turns="left" if hard else "right"
        )
        logbook.record(debrief, pilot="pilot A")
    page = pilot_page(pilot_history(logbook, "pilot A"))
    assert page.shown.verdict.claims == ()
    assert "hold moved along with time" in page.primary
    assert page_json(page)["not_told_from_time"] == ["hold"]
    assert any("another hold, fly the earlier conditions" in line for line in page.exercise.why)


def test_laps_are_drawn_and_lead_to_their_reports(tmp_path: Path, logbook: Logbook) -> None:
    debrief = made_debrief(0)
    for lap in debrief["laps"]:
        lap["path_nm"] = [[0.0, 0.0], [0.3, 0.6], [-1.0, 1.0], [-1.2, 0.2], [0.0, 0.0]]
    debrief["solved_lap"] = {"path_nm": [[0.0, 0.0], [-1.0, 1.0], [0.0, 0.0]]}
    (tmp_path / "reports").mkdir()
    report = tmp_path / "reports" / "flight.html"
    report.write_text("x")
    logbook.record(debrief, pilot="pilot A", report=report)
    logbook.record(
        made_debrief(7) | {"solved_lap": {"path_nm": "nonsense"}}, pilot="pilot A", report=tmp_path / "gone.html"
    )
    root = lxml.html.fromstring(render_pilot(pilot_page(pilot_history(logbook, "pilot A"), folder=tmp_path / "pages")))
    (picture,) = root.xpath("//ol[@class='sights']/li")
    assert len(picture.xpath(".//*[@class='flown-lap']")) == 3
    assert len(picture.xpath(".//*[@class='solved']")) == 1
    assert picture.xpath(".//a/@href") == ["../reports/flight.html"]
    assert set(root.xpath("//a/@href")) == {"../reports/flight.html"}, "what is no longer there is not linked"
    hidden = render_pilot(pilot_page(pilot_history(logbook, "pilot A"), called="A pilot", folder=tmp_path / "pages"))
    assert "flight.html" not in hidden


def test_the_pages_need_nothing_from_outside_and_run_nothing(logbook: Logbook) -> None:
    fill(logbook, 6)
    for html in pages(logbook):
        root = lxml.html.fromstring(html)
        assert root.xpath("//script|//link|//img|//iframe|//object|//form") == []
        assert not re.search(r"(?:https?:)?//[a-z]", html.replace("<!DOCTYPE html>", ""), re.IGNORECASE)
        assert not re.search(r"\son[a-z]+=", html)
        (policy,) = root.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")
        assert policy.startswith("default-src 'none'; style-src 'sha256-")
        assert "script-src 'none'" in policy
        assert console.CAUTION in text_of(html)
        assert not re.search(r"\bnan\b|\binf\b|None", html)


def test_a_limit_that_changed_is_told(logbook: Logbook) -> None:
    fill(logbook, 3)
    assert "not always the same" not in text_of(pages(logbook)[0])
    logbook.record(made_debrief(30, altitude_limit_ft=50.0), pilot="pilot A")
    assert "The limit was not always the same: 50 ft, 100 ft." in text_of(pages(logbook)[0])


def test_a_hostile_name_stays_text(logbook: Logbook) -> None:
    for n in range(2):
        debrief = made_debrief(n, hold_name=HOSTILE)
        debrief["items"][0]["title"] = HOSTILE
        debrief["findings"][0] |= {"title": HOSTILE, "advice": HOSTILE}
        logbook.record(debrief, pilot=f"{HOSTILE} {n}", instructor=HOSTILE, note=HOSTILE)
    for html in pages(logbook, f"{HOSTILE} 0"):
        root = lxml.html.fromstring(html)
        assert root.xpath("//script") == []
        assert "{{ 7 * 7 }}" in root.text_content()
        assert "49" not in root.xpath("string(//h1)")


def test_the_same_logbook_gives_the_same_pages(tmp_path: Path) -> None:
    made = []
    for name in ("one", "two"):
        with Logbook(tmp_path / f"{name}.sqlite") as logbook:
            fill(logbook, 7)
            fill(logbook, 3, "pilot B", first=50)
            made.append(pages(logbook))
    assert made[0] == made[1]


def test_a_page_has_one_chart_for_each_item_and_a_row_for_each_session(logbook: Logbook) -> None:
    fill(logbook, 9)
    root = lxml.html.fromstring(pages(logbook)[0])
    assert len(root.xpath("//*[local-name()='svg'][@class='chart']")) == 4  # laps, inbound time (twice), altitude
    assert len(root.xpath("//table[thead//th[text()='No.']]/tbody/tr")) == 9
    inbound = root.xpath(
        "//section[starts-with(h3,'Inbound time minus target')]//*[local-name()='circle'][starts-with(@class,'lap')]"
    )
    assert len(inbound) == 27
    outside = [each for each in inbound if "out" in each.get("class")]
    errors = [40 * 0.85**day / part for day in range(9) for part in (1, 2, 3)]
    assert len(outside) == sum(error > 10 for error in errors)


def test_marks_tell_by_shape_what_they_tell_by_colour(logbook: Logbook) -> None:
    """Outside is a square (or an arrow head beyond the picture), within a disc: readable without any colour."""
    fill(logbook, 9)
    root = lxml.html.fromstring(pages(logbook)[0])
    outside = root.xpath("//*[local-name()='svg'][@class='chart']//*[@class='session out']")
    assert outside
    assert {each.tag.split("}")[-1] for each in outside} <= {"rect", "path"}
    within = root.xpath("//*[local-name()='svg'][@class='chart']//*[@class='session']")
    assert {each.tag.split("}")[-1] for each in within} == {"circle"}


def test_every_mark_lies_inside_its_picture(logbook: Logbook) -> None:
    fill(logbook, 6)
    logbook.record(made_debrief(90, inbound_s=(900.0,), altitude_ft=(9000.0,)), pilot="pilot A")
    for html in pages(logbook):
        root = lxml.html.fromstring(html)
        for svg in root.xpath("//*[local-name()='svg'][@viewbox]"):
            _, _, width, height = map(float, svg.get("viewbox").split())
            for mark in svg.xpath(".//*[local-name()='circle']"):
                assert 0 <= float(mark.get("cx")) <= width
                assert 0 <= float(mark.get("cy")) <= height


def test_a_pilot_without_timed_legs_or_wind_has_a_page(logbook: Logbook) -> None:
    for day in range(6):
        logbook.record(made_debrief(day, leg={"nm": 4.0}, wind=None, expected=(), flown="unclear"), pilot="pilot A")
    text = text_of(pages(logbook)[0])
    assert "No inbound leg was timed." in text
    assert "No hold with two timed laps yet." in text
    assert "not known" in text


def test_a_pilot_with_no_completed_lap_has_a_page(logbook: Logbook) -> None:
    debrief = made_debrief(0, inbound_s=(), altitude_ft=(0.0,))
    debrief["incomplete_laps"] = [{"number": 1, "why_incomplete": "left the hold"}]
    logbook.record(debrief, pilot="pilot A")
    text = text_of(pages(logbook)[0])
    assert "1 session, 0 completed laps" in text
    assert "no laps measured" in text


def test_names_hidden_are_not_in_the_file(logbook: Logbook) -> None:
    fill(logbook, 6, "Quillfeather")
    logbook.record(made_debrief(70), pilot="Zebracrossing", instructor="Teapot", note="Marmalade")
    hidden = render_class(class_view(class_history(logbook), hide_names=True))
    own = render_pilot(pilot_page(pilot_history(logbook, "Zebracrossing"), called="A pilot"))
    for word in ("Quillfeather", "Zebracrossing", "Teapot", "Marmalade"):
        assert word not in hidden
        assert word not in own
    assert "Pilot 1" in hidden


@pytest.mark.parametrize(
    ("value", "unit", "signed", "text"),
    [
        (12.4, "ft", False, "12 ft"),
        (-3.25, "s", True, "−3.2 s"),
        (3.25, "s", True, "+3.2 s"),
        (-0.01, "s", True, "0.0 s"),
        (0.256, "of full scale", False, "0.26 of full scale"),
        (4.0, "deg", False, "4.0°"),
        (2.5, "", False, "2.5"),
    ],
)
def test_numbers_in_words(value: float, unit: str, signed: bool, text: str) -> None:
    assert wording.number(value, unit, signed=signed) == text


def test_file_names_are_safe_and_free() -> None:
    assert file_name("pilot A") == "progress-pilot-a.html"
    assert file_name("../../etc/passwd") == "progress-etc-passwd.html"
    assert file_name("飛行士") == "progress-飛行士.html"
    assert file_name("///") == "progress-pilot.html"
    assert file_name("x" * 300) == f"progress-{'x' * 60}.html"
    assert file_name("pilot A", ["progress-pilot-a.html"]) == "progress-pilot-a-2.html"


# --- the commands ----------------------------------------------------------------------------------------------


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def filled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TRACKGRADE_LOGBOOK", str(tmp_path / "school.sqlite"))
    with Logbook() as logbook:
        fill(logbook, 6)
        fill(logbook, 2, "pilot B", first=60)
    return tmp_path


def test_progress_of_a_pilot(filled: Path) -> None:
    result = run("progress", "--pilot", "PILOT a")
    assert result.exit_code == 0, result.stderr
    assert "pilot A: 6 sessions, 18 laps" in result.stdout
    assert "Fly next." in result.stdout
    assert console.CAUTION in result.stdout
    assert (filled / "reports" / "progress-pilot-a.html").exists()


def test_progress_as_json(filled: Path) -> None:
    own = run("progress", "--pilot", "pilot A", "--json", "own.json", "--no-html")
    assert own.exit_code == 0, own.stderr
    told = json.loads((filled / "own.json").read_text(encoding="utf-8"))
    assert told["schema"] == "trackgrade.progress/1"
    assert told["claims"], "the errors fall each time"
    assert {claim["direction"] for claim in told["claims"]} == {"better"}
    everyone = run("progress", "--json", "-", "--no-html", "--hide-names")
    assert everyone.exit_code == 0, everyone.stderr
    told = json.loads(everyone.stdout)
    assert {claim["pilot"] for claim in told["claims"]} <= {"Pilot 1", "Pilot 2"}
    assert len(told["pilots"]) == 2
    assert "pilot A" not in everyone.stdout


def test_a_page_is_made_where_a_stored_debrief_is_damaged(filled: Path) -> None:
    with sqlite3.connect(filled / "school.sqlite") as connection:
        connection.execute("UPDATE debrief SET json_zlib = x'00'")
    result = run("progress", "--pilot", "pilot A")
    assert result.exit_code == 0, result.stderr


def test_progress_of_a_class(filled: Path) -> None:
    result = run("progress", "--each", "--out", "pages")
    assert result.exit_code == 0, result.stderr
    assert sorted(path.name for path in (filled / "pages").iterdir()) == [
        "progress-class.html",
        "progress-pilot-a.html",
        "progress-pilot-b.html",
    ]
    links = lxml.html.parse(filled / "pages" / "progress-class.html").xpath("//a/@href")
    assert sorted(links) == ["progress-pilot-a.html", "progress-pilot-b.html"]
    assert not (filled / "reports").exists()


def test_progress_writes_nothing_when_told_so(filled: Path) -> None:
    assert run("progress", "--no-html").exit_code == 0
    assert run("progress", "--no-html", "--pilot", "pilot B").exit_code == 0
    assert not (filled / "reports").exists()


def test_progress_with_names_hidden(filled: Path) -> None:
    result = run("progress", "--hide-names", "--sort", "laps")
    assert "Pilot 1" in result.stdout
    assert "pilot A" not in result.stdout + (filled / "reports" / "progress-class.html").read_text(encoding="utf-8")
    own = run("progress", "--hide-names", "--pilot", "pilot A")
    assert "A pilot: 6 sessions" in own.stdout
    assert (filled / "reports" / "progress-a-pilot.html").exists()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("progress", "--pilot", "pilot C"), "no pilot 'pilot C' in the logbook; it has: pilot A, pilot B."),
        (("progress", "--pilot", "pilot A", "--sort", "work"), "are for the class"),
        (("progress", "--each", "--hide-names"), "leave --hide-names"),
        (("progress", "--standard", "none"), "nothing is recorded to the standard 'none'"),
        (("progress", "--logbook", "missing.sqlite"), "no logbook at"),
        (("progress", "--logbook", "ftp://x/y"), "only a file path (SQLite) or postgresql://"),
        (("logbook", "export", "x.jsonl", "--logbook", "missing.sqlite"), "no logbook at"),
        (("logbook", "import", "missing.jsonl"), "missing.jsonl"),
        (("logbook", "delete", "--pilot", "pilot A"), "add --yes"),
        (("logbook", "delete", "--pilot", "pilot C", "--yes"), "no pilot 'pilot C'"),
    ],
)
def test_what_goes_wrong_is_one_line(filled: Path, words: tuple[str, ...], says: str) -> None:
    result = run(*words)
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    assert line.startswith("trackgrade: ")
    assert says in line


def test_export_delete_and_import_bring_everything_back(filled: Path) -> None:
    before = run("progress").stdout
    assert run("logbook", "export", "all.jsonl").stdout == "Exported 8 recordings to all.jsonl.\n"
    assert run("logbook", "export", "-").stdout == (filled / "all.jsonl").read_text(encoding="utf-8")
    deleted = run("logbook", "delete", "--pilot", "pilot a", "--yes")
    assert deleted.stdout.startswith("Deleted pilot a: 6 recordings.")
    assert "pilot A" not in run("logbook", "pilots").stdout
    imported = run("logbook", "import", "all.jsonl")
    assert imported.stdout.startswith("Imported 8 recordings of 2 pilots, 2 of them in place of the same ones.")
    assert run("progress").stdout == before


def test_a_wrong_import_changes_nothing(filled: Path) -> None:
    (filled / "bad.jsonl").write_bytes(b"\xff\xfe\x00")
    (filled / "torn.jsonl").write_text('{"schema": "trackgrade.logbook/1"}\n{"pilot": "x", "debr', encoding="utf-8")
    before = run("logbook", "export", "-").stdout
    assert "not UTF-8" in run("logbook", "import", "bad.jsonl").stderr
    assert "line 2: not JSON" in run("logbook", "import", "torn.jsonl").stderr
    assert run("logbook", "export", "-").stdout == before


def test_a_graded_flight_is_recorded_and_shown(flight: Path, hold_file: Path, filled: Path) -> None:
    """The whole way with the program's own debrief: grade, record, export, progress."""
    for expected in ("Recorded in", "Replaced in"):
        graded = run("grade", flight, "--hold", hold_file, "--no-html", "--pilot", "pilot Z", "--note", "a real one")
        assert graded.exit_code == 0, graded.stderr
        assert f"{expected} the logbook for pilot Z" in graded.stdout
    with Logbook() as logbook:
        history = pilot_history(logbook, "pilot Z")
        debrief = logbook.export_lines("pilot Z")
        assert len(list(debrief)) == 2
    assert history.total.laps == 3
    assert {total.item for total in history.total.items} >= set(ITEMS_MEASURED)
    assert history.flown[0].laps_to_converge == 1
    result = run("progress", "--pilot", "pilot Z")
    assert "pilot Z: 1 session, 3 laps" in result.stdout
    assert "no change is claimed below 5" in text_of((filled / "reports" / "progress-pilot-z.html").read_text("utf-8"))
