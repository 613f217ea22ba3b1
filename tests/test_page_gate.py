"""The page's gate: nobody without the key, no foreign host or origin, no path from a name, no script from data."""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.page_house import JSON, ORIGIN, PORT, Opened, opened
from trackgrade.page.app import MOST_REQUEST_BYTES, make_app
from trackgrade.page.gate import Gate

EVIL = '"><script>alert(1)</script><img src=x onerror=alert(2)>'
SOME_ID = "0123456789abcdef"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    with opened(tmp_path_factory.mktemp("page")) as page:
        yield page


def every_route(page: Opened) -> list[tuple[str, str]]:
    """Method and address of every route, ids filled in."""
    routes = []
    for rule in page.client.application.url_map.iter_rules():
        address = re.sub(r"<any\((\w+).*?>", r"\1", rule.rule)
        address = re.sub(r"<\w+>", SOME_ID, address)
        routes += [(method, address) for method in sorted((rule.methods or set()) - {"OPTIONS", "HEAD"})]
    return routes


def test_the_key_has_128_random_bits() -> None:
    keys = {Gate(PORT).key for _ in range(50)}
    assert len(keys) == 50
    assert all(len(base64.urlsafe_b64decode(key + "==")) == 16 for key in keys)


def test_nothing_answers_without_the_key(page: Opened) -> None:
    stranger = make_app(page.house, page.gate).test_client()
    routes = every_route(page)
    assert len(routes) > 20
    for method, address in routes:
        answer = stranger.open(address, method=method, base_url=ORIGIN, headers={"Origin": ORIGIN})
        assert answer.status_code == 403, (method, address)
        assert "tracks" not in answer.text
    for wrong in ("", "x", page.gate.key[:-1], page.gate.key + "x", "é" * 22):
        assert stranger.get("/", query_string={"key": wrong}, base_url=ORIGIN).status_code == 403
        stranger.set_cookie(page.gate.cookie, "wrong", domain="127.0.0.1")
        assert stranger.get("/", base_url=ORIGIN).status_code == 403


def test_the_key_becomes_a_cookie_and_leaves_the_address(page: Opened) -> None:
    newcomer = make_app(page.house, page.gate).test_client()
    answer = newcomer.get(f"/?key={page.gate.key}", base_url=ORIGIN)
    assert answer.status_code == 303
    assert answer.headers["Location"] == "/"
    cookie = answer.headers["Set-Cookie"]
    assert f"trackgrade-{PORT}=" in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert newcomer.get("/", base_url=ORIGIN).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1", f"127.0.0.1:{PORT + 1}", f"[::1]:{PORT}", ""]
)
def test_a_foreign_host_is_refused_with_the_right_cookie(page: Opened, host: str) -> None:
    assert page.get("/", headers={"Host": host}).status_code == 403
    assert page.get(f"/?key={page.gate.key}", headers={"Host": host}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": f"http://127.0.0.1:{PORT + 1}"},
        {"Origin": f"https://127.0.0.1:{PORT}"},
        {"Origin": "null"},
        {"Origin": "null", "Sec-Fetch-Site": "cross-site"},
        {"Origin": ORIGIN, "Sec-Fetch-Site": "cross-site"},
        {"Origin": ORIGIN, "Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_foreign_origin_changes_nothing(page: Opened, headers: dict[str, str]) -> None:
    for method, address in every_route(page):
        if method == "POST":
            answer = page.client.open(address, method=method, base_url=ORIGIN, headers=headers)
            assert answer.status_code == 403, address


def test_a_form_of_this_page_is_taken_though_its_origin_is_called_null(page: Opened) -> None:
    headers = {"Origin": "null", "Sec-Fetch-Site": "same-origin"}
    assert page.client.post("/stop", base_url=ORIGIN, headers=headers | JSON).status_code == 200


def test_every_answer_forbids_what_it_can(page: Opened) -> None:
    answers = [page.client.open(address, method=method, base_url=ORIGIN) for method, address in every_route(page)]
    answers += [page.get("/no-such-page"), page.get("/", headers={"Host": "evil.example"})]
    assert {answer.status_code for answer in answers} >= {200, 400, 403, 404}
    for answer in answers:
        policy = answer.headers["Content-Security-Policy"]
        assert policy.startswith("default-src 'none'")
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Referrer-Policy"] == "no-referrer"
        assert answer.headers["Cache-Control"] == "no-store"
        assert answer.status_code < 500, answer.text


@pytest.mark.parametrize(
    "id", ["..", "../..", "%2e%2e", "..%2f..%2fetc", "....//", "0123456789ABCDEF", "x" * 16, "0" * 17, "a\x00b", "C:"]
)
def test_no_path_is_made_of_what_is_asked_for(page: Opened, id: str) -> None:
    for address in ("/report/{}", "/report/{}/laps", "/report/{}/session", "/flight/{}/row", "/flight/{}/columns"):
        assert page.get(address.format(id)).status_code in (400, 404)
    for choice in (
        f"set:{id}",
        f"set:../../{id}",
        f"typed:{id}",
        f"found:{id}:1a",
        f"report:{id}",
        f"found:{SOME_ID}:../x",
    ):
        assert page.get("/hold", query_string={"from": choice}).status_code == 400
        answer = page.post("/grade", data={"flights": SOME_ID, "hold": choice}, headers=JSON)
        assert answer.status_code == 400
    assert page.post(f"/flight/{id}/forget").status_code in (400, 404)
    assert page.post("/holds/remove", data={"name": f"../{id}"}).status_code == 400
    assert page.house.desk.flights.is_dir()


def test_a_standard_is_one_of_the_list_and_no_path(page: Opened, flight: Path) -> None:
    (id,) = page.drop(("a.gpx", flight.read_bytes()))
    answer = page.post("/grade", data={"flights": id, "standard": "/etc/passwd"}, headers=JSON)
    assert answer.status_code == 400
    assert "root" not in answer.text


def test_a_name_of_a_file_is_text_and_nothing_else(page: Opened, flight: Path) -> None:
    names = [
        "../../../evil.gpx",
        "..\\..\\evil.gpx",
        "C:\\evil.gpx",
        "a" * 4000,
        "\x1b[2J\u202e.gpx",
        "con",
        EVIL.replace('"', "%22") + ".gpx",  # as a browser sends a quotation mark
    ]
    desk = page.house.desk
    before = {path.parent for path in desk.folder.rglob("*")} | {desk.flights, desk.finished}
    ids = page.drop(*((name, flight.read_bytes() if "<" in name else b"x") for name in names))
    assert len(ids) == len(names)
    page.wait(*ids)
    page.grade(ids[-1])
    (report,) = (each for each in desk.reports() if each.flight == ids[-1])
    new = {path.parent for path in desk.folder.rglob("*")} - before
    assert new == {*(desk.flights / id for id in ids), desk.finished / report.id}
    pages = [f"/?flights={','.join(ids)}", *(f"/flight/{id}/row" for id in ids)]
    for address in [*pages, f"/report/{report.id}/session", f"/report/{report.id}"]:
        text = page.get(address).text
        assert "<script>alert" not in text
        assert "<img" not in text
        assert "\x1b" not in text
        assert "\u202e" not in text


def test_words_of_people_are_text_too(page: Opened, flight: Path) -> None:
    (id,) = page.drop(("words.gpx", flight.read_bytes()))
    page.grade(id, pilot=f"A {EVIL}", instructor=EVIL, note=EVIL)
    hold = {"name": EVIL, "inbound_course_deg": "143", "fix_way": "position", "fix.lat": "44", "fix.lon": "-93"}
    assert page.post("/hold", data=hold | {"action": "save"}).status_code == 303
    addresses = [
        "/",
        "/class",
        "/holds",
        "/brief",
        f"/?hold={EVIL}",
        f"/pilot?name=A {EVIL}",
        f"/pilot/forget?name={EVIL}",
    ]
    for address in [*addresses, f"/brief?tas_kt={EVIL}"]:
        assert "<script>alert" not in page.get(address).text, address
    for answer in (
        page.post("/hold", data=hold | {"action": "check", "inbound_course_deg": EVIL}),
        page.post("/hold/check", data=hold),
    ):
        assert "<script>alert" not in answer.text


def test_a_report_runs_in_a_sandbox_without_the_origin_of_the_page(page: Opened, flight: Path) -> None:
    (id,) = page.drop(("a.gpx", flight.read_bytes()))
    page.grade(id)
    report = next(each for each in page.house.desk.reports() if each.flight == id)
    policy = page.get(f"/report/{report.id}").headers["Content-Security-Policy"]
    sandbox = next(part for part in policy.split("; ") if part.startswith("sandbox"))
    assert "allow-scripts" in sandbox
    assert "allow-same-origin" not in sandbox
    assert "allow-forms" not in sandbox
    assert "allow-top-navigation" not in sandbox


def test_a_request_over_the_limit_is_not_read(page: Opened) -> None:
    answer = page.post(
        "/tracks",
        input_stream=io.BytesIO(b"x"),
        content_type="multipart/form-data; boundary=x",
        environ_overrides={"CONTENT_LENGTH": str(MOST_REQUEST_BYTES + 1)},
        headers=JSON,
    )
    assert answer.status_code == 413
    assert "256 MiB" in answer.get_json()["message"]


def test_a_form_of_endless_fields_is_refused(page: Opened) -> None:
    assert page.post("/hold/check", data={f"x{n}": "y" * 100 for n in range(5000)}).status_code == 413
