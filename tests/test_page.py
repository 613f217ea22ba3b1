"""The page does the job: drop, propose, correct, grade, read, save, follow; and says what is wrong."""

from __future__ import annotations

import datetime as dt
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

import trackgrade
from tests import plain_flight
from tests.logbook_places import new_place
from tests.page_house import JSON, Opened, opened
from trackgrade.hold.holdfile import parse_hold
from trackgrade.page import hold_form
from trackgrade.page.desk import Desk
from trackgrade.page.workshop import Workshop
from trackgrade.report.page import signed
from trackgrade.report.summary import Sheet

HOLD = {
    "name": "Tarne practice hold",
    "inbound_course_deg": "143",
    "north": "true",
    "turns": "right",
    "altitude_ft": "4000",
    "fix_way": "position",
    "fix.lat": "44 00.0 N",
    "fix.lon": "93 00.0 W",
    "leg_way": "minutes",
    "leg.minutes": "1",
    "guidance.kind": "gps",
}
BY_RADIAL = """
name = "R"
inbound_course_deg = 323.5
variation_deg = -2.0
[fix]
from = { lat = 44.0, lon = -93.0, radial_deg = 143.5, dme_nm = 12.0 }
[leg]
nm = 4.0
[guidance]
kind = "vor"
[[levels]]
altitude_ft = 5000.0
from_utc = 2026-05-03T15:10:00Z
[[levels]]
altitude_ft = 6000.0
from_utc = 2026-05-03T15:20:00Z
"""
BY_RADIALS = """
name = "X"
inbound_course_deg = 45.0
arrive_utc = 2026-05-03T15:20:00Z
[fix]
radials = [ { lat = 44.0, lon = -93.0, radial_deg = 45.0 }, { lat = 44.0, lon = -92.0, radial_deg = 315.0 } ]
"""


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Opened]:
    with opened(tmp_path / "data") as page:
        yield page


class TestTheJob:
    def test_a_dropped_track_is_looked_at_graded_and_read(self, page: Opened, flight: Path) -> None:
        (id,) = page.drop(("evening.gpx", flight.read_bytes()))
        state = page.wait(id)
        assert state["messages"] == []
        ((value, label),) = state["options"]["Flown in these tracks"]
        assert "143 inbound, right turns" in label
        assert "3 laps" in label
        assert "<svg" in page.get(f"/flight/{id}/row").text
        state = page.grade(id, hold=value)
        assert state["graded"] == 1
        (report,) = page.house.desk.reports()
        link = f'<a class="report" href="/report/{report.id}">'
        assert link in page.get("/").text
        assert link in page.get(f"/?flights={id}").text
        text = page.get(f"/report/{report.id}").text
        assert "evening.gpx" in text
        assert report.verdict.split(",")[0] in text

    def test_what_the_page_grades_is_what_the_library_grades(self, page: Opened, flight: Path, hold_file: Path) -> None:
        (id,) = page.drop(("plain.gpx", flight.read_bytes()))
        page.post("/hold", data=HOLD | {"action": "save"})
        page.grade(id, hold="set:Tarne-practice-hold")
        (report,) = page.house.desk.reports()
        page_has = page.get(f"/report/{report.id}/debrief").get_json()
        plan = hold_form.check(HOLD, plain_flight.START.date()).plan
        library_has = trackgrade.grade(flight, plan).to_dict()
        assert page_has["laps"] == library_has["laps"]
        assert page_has["items"] == library_has["items"]
        assert page.get(f"/report/{report.id}/laps").text.count("\n") >= 4

    def test_left_to_the_program_the_hold_of_the_set_comes_first(self, page: Opened, flight: Path) -> None:
        page.post("/hold", data=HOLD | {"action": "save"})
        (id,) = page.drop(("a.gpx", flight.read_bytes()))
        state = page.wait(id)
        assert ["set:Tarne-practice-hold", "Tarne-practice-hold"] in state["options"]["Your holds"]
        assert "of your holds" in page.get(f"/flight/{id}/row").text
        assert "Flown in these tracks" not in state["options"]  # what was found is that very hold
        page.grade(id)
        (report,) = page.house.desk.reports()
        assert report.hold == "Tarne practice hold"
        assert not report.found

    def test_without_script_forms_do_it(self, page: Opened, flight: Path) -> None:
        with flight.open("rb") as file:
            answer = page.post(
                "/grade", data={"tracks": (file, "plain.gpx"), "hold": ""}, content_type="multipart/form-data"
            )
        assert answer.status_code == 303
        again = page.get(answer.headers["Location"])
        assert again.headers["Refresh"] == "2"
        (id,) = re.findall(r'data-id="(\w+)"', again.text)
        page.wait(id)
        assert "Refresh" not in page.get(answer.headers["Location"]).headers
        assert 'class="report"' in page.get(answer.headers["Location"]).text

    def test_one_wrong_file_harms_no_other(self, page: Opened, flight: Path, straight_flight: Path) -> None:
        ids = page.drop(
            ("good.gpx", flight.read_bytes()),
            ("photo.jpg", b"\xff\xd8\xff\xe0" + bytes(500)),
            ("empty.gpx", b""),
            ("cut.gpx", flight.read_bytes()[:900]),
            ("straight.gpx", straight_flight.read_bytes()),
        )
        state = page.grade(*ids)
        assert state["graded"] == 1
        for name in ("photo.jpg", "empty.gpx", "straight.gpx"):
            assert len([line for line in state["messages"] if name in line]) == 1, state["messages"]
        assert not any("good.gpx" in line or "trackgrade " in line for line in state["messages"])
        for line in state["messages"]:
            assert str(page.house.desk.folder) not in line

    def test_grading_is_stopped_and_taken_up_again(self, page: Opened, flight: Path) -> None:
        ids = page.drop(*((f"{n}.gpx", flight.read_bytes()) for n in range(4)))
        page.wait(*ids)
        page.post("/grade", data={"flights": ",".join(ids)}, headers=JSON)
        page.post("/stop", data={"flights": ",".join(ids)}, headers=JSON)
        state = page.wait(*ids)
        assert state["graded"] < 4
        assert "stopped" in page.get(f"/flight/{ids[-1]}/row").text
        end = time.monotonic() + 10.0
        while list(page.house.desk.unfinished.iterdir()) and time.monotonic() < end:
            time.sleep(0.05)  # the process that was stopped takes away what it had begun
        assert list(page.house.desk.unfinished.iterdir()) == []
        assert page.grade(*ids)["graded"] == 4

    def test_graded_again_at_the_same_hold_the_new_report_stands_for_the_old(self, page: Opened, flight: Path) -> None:
        (id,) = page.drop(("a.gpx", flight.read_bytes()))
        page.grade(id, pilot="Pilot A", instructor="Instructor B", note="kept")
        (first,) = page.house.desk.reports()
        for typed in ("Pilot A", "Instructor B", "kept"):  # on the first sheet, in place of a line to fill in
            assert re.search(rf"{typed}</(dd|p)>", page.get(f"/report/{first.id}").text)
        page.grade(id)
        (second,) = page.house.desk.reports()
        assert second.id != first.id
        assert (second.pilot, second.note) == ("Pilot A", "kept")

    def test_what_was_graded_is_there_after_a_restart(self, page: Opened, flight: Path) -> None:
        (id,) = page.drop(("a.gpx", flight.read_bytes()))
        page.grade(id)
        (left,) = page.drop(("b.gpx", flight.read_bytes()))
        page.wait(left)
        folder = page.house.desk.folder
        page.house.close()
        with opened(folder) as again:
            text = again.get("/").text
            assert "a.gpx" in text
            assert "Dropped before, not graded (1)" in text
            assert again.get(f"/report/{again.house.desk.reports()[0].id}").status_code == 200
            assert list((folder / "unfinished").iterdir()) == []

    def test_one_damaged_record_harms_no_other(self, page: Opened, flight: Path) -> None:
        """Of a track, of what was seen in one, of a report: each was one too many for every page that lists them."""
        whole, *others = page.drop(*[(f"{name}.gpx", flight.read_bytes()) for name in "abcd"])
        page.grade(others[2])
        page.wait(whole, *others)
        desk, flights = page.house.desk, ",".join([whole, *others])
        records = [
            desk.flight_folder(others[0]) / "about.json",
            desk.flight_folder(others[1]) / "seen.json",
            desk.finished / desk.reports()[0].id / "about.json",
        ]
        elsewhere = '{"id": "../../x", "name": "n", "received_epoch_s": 1}'
        for damaged in ("", "[]", "{}", '{"id": 1}', "[" * 100_000, elsewhere):
            for record in records:
                assert record.is_file()
                record.write_text(damaged, encoding="utf-8")
            page.house.desk = Desk(desk.folder)  # as after a restart
            for path in ("/", "/reports", "/class", f"/?flights={flights}", f"/state?flights={flights}"):
                assert page.get(path).status_code == 200, (path, damaged[:50])
            assert page.house.desk.reports() == []
            page.wait(whole, *others)
        page.grade(whole)
        assert [each.flight for each in page.house.desk.reports()] == [whole]


class TestColumns:
    def test_an_altitude_without_a_unit_is_asked_and_the_answer_counts(self, page: Opened) -> None:
        rows = "".join(
            f"{t:%Y-%m-%dT%H:%M:%S}Z,{lat:.6f},{lon:.6f},{alt / 3.28084:.1f}\n"
            for t, lat, lon, alt in plain_flight.rows()
        )
        (id,) = page.drop(("log.csv", ("time,lat,lon,altitude\n" + rows).encode()))
        page.wait(id)
        assert "in feet or in metres?" in page.get(f"/flight/{id}/row").text
        asked = page.get(f"/flight/{id}/columns").text
        assert rows.split(",")[0] in asked  # the first rows are shown
        assert "alt_ft," not in asked
        number = re.search(r'name="c(\d+)" aria-labelledby', asked[asked.index(">altitude</th>") :])
        assert number is not None
        answer = page.post(f"/flight/{id}/columns", data={f"c{number[1]}": "alt_ft|m"})
        assert answer.status_code == 303
        page.wait(id)
        assert "in feet or in metres?" not in page.get(f"/flight/{id}/row").text
        page.grade(id)
        (report,) = page.house.desk.reports()
        debrief = page.get(f"/report/{report.id}/debrief").get_json()
        (item,) = (each for each in debrief["items"] if each["item"] == "altitude" and each["scope"] == "whole hold")
        assert item["result"] != "not measurable"

    def test_a_table_that_says_nothing_is_read_once_it_is_told(self, page: Opened) -> None:
        rows = "".join(
            f"{t.timestamp():.0f},{lat:.6f},{lon:.6f},{alt:.0f}\n" for t, lat, lon, alt in plain_flight.rows()
        )
        (id,) = page.drop(("odd.csv", ("a1,b1,c1,d1\n" + rows).encode()))
        state = page.wait(id)
        (message,) = state["messages"]
        assert "odd.csv" in message
        answers = {"c1": "time_utc|epoch_s", "c2": "lat|", "c3": "lon|", "c4": "alt_ft|ft"}
        wrong = page.post(f"/flight/{id}/columns", data=answers | {"c2": "lon|"})
        assert "two columns are said to be the longitude" in wrong.text
        assert page.post(f"/flight/{id}/columns", data=answers).status_code == 303
        state = page.wait(id)
        assert state["messages"] == []
        assert page.grade(id)["graded"] == 1


class TestHolds:
    def test_a_typed_hold_is_checked_in_words_and_drawn(self, page: Opened) -> None:
        good = page.post("/hold/check", data=HOLD).get_json()
        assert good["problem"] == ""
        assert good["drawing"].startswith("<svg")
        assert any("143 true" in note for note in good["notes"])
        for field, value, words in (
            ("inbound_course_deg", "400", "Inbound course: must be above 0 and at most 360"),
            ("inbound_course_deg", "abc", "Inbound course: abc is no number"),
            ("fix.lat", "93 00.0 W", "Latitude of the fix: 93 00.0 W is no such place"),
            ("fix.lat", "44 75 N", "Latitude of the fix: 44 75 N is no such place"),
            ("altitude_ft", "nan", "Altitude: must be from"),
            ("arrive_utc", "soon", "Time to leave the fix: soon is no time"),
            ("levels[2].from_utc", "soon", "Level 3: from: soon is no time"),
            ("arrive_utc", "0001-01-01T00:00+05:00", "Time to leave the fix: 0001-01-01T00:00+05:00 is no time"),
        ):
            found = page.post("/hold/check", data=HOLD | {field: value}).get_json()
            assert found["problem"].startswith(words)
            assert found["field"] == field

    @pytest.mark.parametrize(
        ("typed", "expected"),
        [
            ("44.5", 44.5),
            ("44,5", 44.5),
            ("44.500000000000014", 44.5),
            ("44 30 N", 44.5),
            ("N44 30.0", 44.5),
            ("44° 30' 36\" S", -44.51),
            ("-44 30", -44.5),
        ],
    )
    def test_a_place_is_typed_as_people_write_it(self, typed: str, expected: float) -> None:
        plan = hold_form.check(HOLD | {"fix.lat": typed}, plain_flight.START.date()).plan
        assert plan is not None
        assert plan.fix.lat_deg == pytest.approx(expected)  # type: ignore[union-attr]

    @pytest.mark.parametrize(
        "text",
        [
            plain_flight.HOLD_TOML,
            BY_RADIAL,
            BY_RADIALS,
        ],
    )
    def test_a_form_holds_all_of_a_hold(self, text: str) -> None:
        plan = parse_hold(text)
        found = hold_form.check(hold_form.form_of(plan), plain_flight.START.date())
        assert found.problem == ""
        assert found.plan is not None
        assert {**vars(found.plan), "source": ""} == {**vars(plan), "source": ""}

    @pytest.mark.parametrize("typed", ["4000", "4,000", "4 000", "4000.0", "4000,0"])
    def test_an_altitude_is_typed_as_it_is_printed(self, typed: str) -> None:
        plan = hold_form.check(HOLD | {"altitude_ft": typed}, plain_flight.START.date()).plan
        assert plan is not None
        assert plan.altitude_ft == 4000.0

    @pytest.mark.parametrize("typed", ["2026-05-03 15:20", "2026-05-03T15:20:00z", "2026-05-03 17:20+02:00"])
    def test_a_time_is_utc_where_it_says_nothing_else(self, typed: str) -> None:
        plan = hold_form.check(HOLD | {"arrive_utc": typed}, plain_flight.START.date()).plan
        assert plan is not None
        assert plan.arrive_utc == dt.datetime(2026, 5, 3, 15, 20, tzinfo=dt.UTC)

    @pytest.mark.parametrize("typed", ["2026-05-03", "20260503", "2026-W18-7", "15:20"])
    def test_a_day_or_a_time_alone_is_asked_for_the_other(self, typed: str) -> None:
        found = hold_form.check(HOLD | {"arrive_utc": typed}, plain_flight.START.date())
        assert found.field == "arrive_utc"
        assert "write it as 2026-05-03 15:20" in found.problem

    @pytest.mark.parametrize(
        ("way", "left_out"), [("position", "fix.lat"), ("from", "fix.from.lon"), ("radials", "fix.radials[2].lat")]
    )
    def test_a_place_left_blank_is_asked_for_by_its_name(self, way: str, left_out: str) -> None:
        form = hold_form.form_of(
            parse_hold({"position": plain_flight.HOLD_TOML, "from": BY_RADIAL, "radials": BY_RADIALS}[way])
        )
        found = hold_form.check(form | {left_out: " "}, plain_flight.START.date())
        assert found.field == left_out
        assert found.problem.startswith(hold_form.LABELS[left_out])
        assert "write it as" in found.problem

    @pytest.mark.parametrize("name", ["fix", "leg", "levels", "guidance", "fix.radials", "nothing"])
    def test_a_field_that_the_form_does_not_have_changes_nothing(self, name: str) -> None:
        found = hold_form.check(HOLD | {name: "3"}, plain_flight.START.date())
        assert found.problem == ""

    def test_a_found_hold_is_corrected_and_graded_at(self, page: Opened, flight: Path) -> None:
        (id,) = page.drop(("a.gpx", flight.read_bytes()))
        found = page.wait(id)["options"]["Flown in these tracks"][0][0]
        assert 'value="Found hold 1"' in page.get(f"/hold?from={found}&flights={id}").text
        answer = page.post("/hold", data=HOLD | {"name": "Corrected", "flights": id, "action": "use"})
        back = page.get(answer.headers["Location"]).text
        (choice,) = re.findall(r'<option value="(typed:\w+)" selected>Corrected</option>', back)
        page.grade(id, hold=choice)
        (report,) = page.house.desk.reports()
        assert report.hold == "Corrected"
        assert 'value="Corrected"' in page.get(f"/hold?from=report:{report.id}").text

    def test_the_set_keeps_and_removes(self, page: Opened) -> None:
        assert page.post("/hold", data=HOLD | {"action": "save"}).status_code == 303
        assert "Tarne practice hold" in page.get("/holds").text
        taken = page.post("/hold", data=HOLD | {"action": "save"})
        assert "in the set already" in taken.text
        assert "--" not in re.sub(r"<(style|script)>.*?</\1>|<!--.*?-->", "", taken.text, flags=re.DOTALL)
        assert page.post("/hold", data=HOLD | {"action": "save", "replace": "on"}).status_code == 303
        page.post("/holds/remove", data={"name": "Tarne-practice-hold"})
        assert "Tarne practice hold" not in page.get("/holds").text

    def test_a_hold_is_briefed_from_the_form(self, page: Opened) -> None:
        page.post("/hold", data=HOLD | {"action": "save"})
        query = {"hold": "set:Tarne-practice-hold", "tas_kt": "104", "wind_from_true_deg": "280", "wind_kt": "18"}
        sheet = page.get("/brief/sheet", query_string=query | {"arriving_deg": "250"})
        assert sheet.status_code == 200
        assert "Holding brief" in sheet.text
        assert "Change this brief" in sheet.text
        wrong = page.get("/brief/sheet", query_string=query | {"tas_kt": "fast"})
        assert wrong.status_code == 400
        assert "True airspeed: fast is no number" in wrong.text


class TestPilots:
    @pytest.mark.postgres
    def test_a_school_has_its_logbook_in_a_database(self, tmp_path: Path, flight: Path) -> None:
        for place in new_place("postgres", tmp_path):
            with opened(tmp_path / "data", place) as page:
                (id,) = page.drop(("a.gpx", flight.read_bytes()))
                assert page.grade(id, pilot="Pilot A", instructor="Instructor B")["messages"] == []
                assert "Pilot A" in page.get("/class").text
                assert "/report/" in page.get("/pilot?name=Pilot A").text
                assert page.post("/pilot/forget", data={"name": "Pilot A"}).status_code == 303
                assert "Nobody is in the logbook yet" in page.get("/class").text

    def test_a_session_is_followed_and_a_pilot_forgotten_with_the_files(self, page: Opened, flight: Path) -> None:
        assert "Nobody is in the logbook yet" in page.get("/class").text
        (id,) = page.drop(("a.gpx", flight.read_bytes()))
        state = page.grade(id, pilot="Pilot A", instructor="Instructor B", note="first")
        assert state["messages"] == []
        (report,) = page.house.desk.reports()
        assert "/pilot?name=Pilot+A" in page.get("/class").text
        text = page.get("/pilot?name=Pilot A").text
        assert f'href="/report/{report.id}"' in text
        assert "Instructor B: first" in text
        (other,) = page.drop(("b.gpx", flight.read_bytes().replace(b"2026-05-03", b"2026-05-04")))
        page.grade(other)
        second = next(each for each in page.house.desk.reports() if each.flight == other)
        session = {"pilot": "Pilot C\N{COMBINING CEDILLA}", "instructor": "", "note": "late"}
        assert page.post(f"/report/{second.id}/session", data=session).status_code == 303
        assert "Pilot Ç" in page.get("/class").text
        kept = page.house.desk.report_file(second.id, "report.html").read_text("utf-8")
        assert page.get(f"/report/{second.id}").text == signed(kept, Sheet(**session)) != kept
        assert f"<dt>Pilot</dt><dd>{session['pilot']}</dd>" in page.get(f"/report/{second.id}").text
        assert (
            page.get(f"/report/{report.id}").data == page.house.desk.report_file(report.id, "report.html").read_bytes()
        )
        assert page.post("/pilot/forget", data={"name": "pilot  a"}).status_code == 303
        assert [each.id for each in page.house.desk.reports()] == [second.id]
        assert not page.house.desk.flight_folder(id).exists()
        assert page.get(f"/report/{report.id}").status_code == 400
        assert "Pilot A" not in page.get("/class").text
        assert not any(b"Pilot A" in path.read_bytes() for path in page.house.desk.folder.rglob("*") if path.is_file())
        assert page.post("/pilot/forget", data={"name": "pilot ç"}).status_code == 303
        assert page.house.desk.reports() == [], "the accent was composed, and was not in the report"

    def test_a_note_without_a_pilot_is_asked_about(self, page: Opened, flight: Path) -> None:
        (id,) = page.drop(("a.gpx", flight.read_bytes()))
        answer = page.post("/grade", data={"flights": id, "note": "x"}, headers=JSON)
        assert answer.status_code == 400
        assert "who flew?" in answer.get_json()["message"]


def _ends_itself() -> None:
    os._exit(7)


def _sleeps(path: str) -> None:
    Path(path).touch()
    time.sleep(60.0)


def _answers(number: int) -> int:
    return number + 1


class TestWorkshop:
    def test_a_piece_that_kills_its_process_harms_no_other(self) -> None:
        shop = Workshop(1)
        try:
            first, second = shop.order(_ends_itself), shop.order(_answers, 41)
            assert second.over.wait(30.0)
            assert first.state == "failed"
            assert "without a result" in first.problem
            assert second.result == 42
        finally:
            shop.close()

    def test_a_piece_is_stopped_at_once_and_one_that_waits_is_never_begun(self, tmp_path: Path) -> None:
        shop = Workshop(1)
        try:
            running = shop.order(_sleeps, str(tmp_path / "a"))
            waiting = shop.order(_sleeps, str(tmp_path / "b"))
            while not (tmp_path / "a").exists():
                time.sleep(0.02)
            started = time.monotonic()
            shop.stop(waiting)
            shop.stop(running)
            last = shop.order(_answers, 1)
            assert last.over.wait(10.0)
            assert time.monotonic() - started < 5.0
            assert (running.state, waiting.state) == ("stopped", "stopped")
            assert not (tmp_path / "b").exists()
        finally:
            shop.close()

    def test_what_is_urgent_goes_first(self, tmp_path: Path) -> None:
        shop = Workshop(1)
        try:
            first = shop.order(_sleeps, str(tmp_path / "a"))
            while not (tmp_path / "a").exists():
                time.sleep(0.02)
            later, urgent = shop.order(_sleeps, str(tmp_path / "b")), shop.order(_answers, 2, urgent=True)
            shop.stop(first)
            assert urgent.over.wait(10.0)
            assert not later.over.is_set()
        finally:
            shop.close()


class TestServing:
    def start(self, folder: Path, *more: str) -> tuple[subprocess.Popen[str], str]:
        program = subprocess.Popen(
            [sys.executable, "-m", "trackgrade", "serve", "--no-browser", "--data", str(folder), *more],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert program.stdout is not None
        return program, program.stdout.readline().strip()

    @pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
    def test_it_prints_one_address_answers_and_ends_cleanly(self, tmp_path: Path, how: signal.Signals) -> None:
        program, address = self.start(tmp_path / "data")
        try:
            match = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/\?key=([\w-]{22})", address)
            assert match is not None, address
            with pytest.raises(urllib.error.HTTPError, match="403"):
                urllib.request.urlopen(address.split("?")[0], timeout=10)
            with socket.create_connection(("127.0.0.1", int(match[1])), timeout=10) as hostile:
                hostile.sendall(b"GET http://" + b"1" * 30_000 + b" HTTP/x\r\n\r\n")
                assert hostile.recv(12) == b"HTTP/1.0 400"
            with socket.socket() as outside, pytest.raises(OSError, match="refused"):
                outside.connect(("127.0.0.2", int(match[1])))
            busy = subprocess.run(
                [sys.executable, "-m", "trackgrade", "serve", "--no-browser", "--port", match[1], "--data", "x"],
                capture_output=True,
                text=True,
                cwd=tmp_path,
                timeout=60,
            )
            assert busy.returncode == 2
            assert busy.stderr.splitlines()[-1].startswith(f"trackgrade: port {match[1]} is taken")
        finally:
            program.send_signal(how)
            out, err = program.communicate(timeout=20)
        assert program.returncode == 0, err
        assert out == ""
        assert "Traceback" not in err
        assert json.dumps(sorted(path.name for path in (tmp_path / "data").iterdir())) == json.dumps(
            ["flights", "reports", "typed", "unfinished"]
        )
