"""The local page: any forms, addresses and files, in any order; every answer is one of the page's own."""

from __future__ import annotations

import io
import random
import re
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

from tests import plain_flight
from tests.fuzz import commands
from tests.fuzz.commands import flight_csv
from tests.fuzz.damage import mutated, near
from tests.fuzz.graded import GRADED
from tests.page_house import JSON, ORIGIN, Opened, opened
from trackgrade.errors import TrackgradeError
from trackgrade.page.workshop import Piece

ODD = (*(text for text in commands.ODD if "\udcff" not in text), "\x00", "a\x00b", "x" * 5_000, "\ufeff")


class AtOnce:
    """A workshop without processes: each piece is done when it is handed in, and a fault in it is one of the page."""

    def __init__(self, at_a_time: int, preload: tuple[str, ...] = ()) -> None:
        pass

    def order(self, work: Callable[..., Any], *given: Any, urgent: bool = False) -> Piece:
        piece = Piece(work, given, "done")
        try:
            piece.result = work(*given)
        except TrackgradeError as error:
            piece.state, piece.problem = "failed", str(error)
        piece.over.set()
        return piece

    def stop(self, piece: Piece) -> None:
        pass

    def close(self) -> None:
        pass


def _form(dice: random.Random) -> dict[str, str]:
    """The plain hold as a form, with some fields changed, gone or of other kinds."""
    from trackgrade.hold.holdfile import parse_hold
    from trackgrade.page.hold_form import LABELS, WAYS, form_of

    form = form_of(parse_hold(plain_flight.HOLD_TOML))
    for _ in range(dice.choice((0, 1, 2, 4))):
        field = dice.choice((*form, *LABELS, *WAYS))
        usual = form.get(field, "")
        number = re.fullmatch(r"-?\d+(\.\d+)?", usual)
        form[field] = (
            repr(near(dice, float(usual)))
            if number and dice.random() < 0.6
            else dice.choice((*ODD, "position", "nm", "vor"))
        )
    return form


def a_visit(path: Path, folder: Path, dice: random.Random) -> str:
    """A few requests of one who has the key: tracks dropped, graded, holds typed, briefs, pilots; whatever is sent."""
    with (
        tempfile.TemporaryDirectory(prefix="fuzz-") as name,
        mock.patch("trackgrade.page.house.Workshop", AtOnce),
        mock.patch.dict("os.environ", TRACKGRADE_TRACEBACK="1"),  # a fault is raised here, with where it is from
        opened(Path(name)) as page,
    ):
        ids = ["0123456789abcdef", *dice.sample(ODD, 2)]
        told = "answered"
        if dice.random() < 0.5:  # else most are refused for what is not there
            ids += page.drop(("flight.csv", flight_csv()))
            page.post("/grade", data={"flights": ids[-1], "hold": ""})
        for _ in range(dice.choice((2, 3, 5))):
            answer = _ask(dice, page, ids)
            said = f"{answer.request.method} {answer.request.url}: {re.sub('<[^>]+>', ' ', answer.text)[-400:]}"
            assert answer.status_code < 500, said
            assert "Traceback" not in answer.text, said
        if page.house.desk.reports():
            told = GRADED
    return told


def _ask(dice: random.Random, page: Opened, ids: list[str]) -> Any:
    id, odd = dice.choice(ids), lambda usual: dice.choice((usual, usual, dice.choice(ODD)))
    headers = dice.choice(({}, JSON))
    match dice.randrange(12):
        case 0 | 1 | 2:
            data = (
                flight_csv() if dice.random() < 0.7 else mutated(dice, (flight_csv(), plain_flight.HOLD_TOML.encode()))
            )
            files = [(io.BytesIO(data), odd("flight.csv") or "x") for _ in range(dice.choice((1, 1, 2)))]
            answer = page.post("/tracks", data={"tracks": files}, headers=JSON, content_type="multipart/form-data")
            if answer.status_code == 200:
                ids += [each["id"] for each in answer.get_json()["flights"]] * 4
            return answer
        case 3 | 4:
            form = {
                "flights": ",".join(dice.sample(ids, min(2, len(ids)))),
                "hold": odd(""),
                "standard": odd("training"),
            }
            form |= dice.choice(({}, {"pilot": odd("A"), "instructor": odd(""), "note": odd("well")}))
            return page.post("/grade", data=form, headers=headers)
        case 5:
            return page.post(
                dice.choice(("/hold", "/hold/check")), data=_form(dice) | {"action": odd("save"), "flights": id}
            )
        case 6:
            hold = io.BytesIO(mutated(dice, (plain_flight.HOLD_TOML.encode(),)))
            data = {"files": [(hold, odd("h.toml") or "x")]}
            return page.post("/holds", data=data, content_type="multipart/form-data")
        case 7:
            asked = {"hold": odd("set:Plain practice hold"), "wind_from_true_deg": odd("280"), "wind_kt": odd("18")}
            asked |= {"tas_kt": odd("104"), "arriving_deg": odd("250"), "date": odd("2026-05-03")}
            return page.get("/brief/sheet", query_string=asked)
        case 8:
            reports = [each.id for each in page.house.desk.reports()] or [id]
            one = dice.choice(reports)
            what = dice.choice(("", "/debrief", "/laps", "/session", "/forget"))
            if what in ("/session", "/forget") and dice.random() < 0.7:
                return page.post(f"/report/{one}{what}", data={"pilot": odd("A"), "note": odd("well")})
            return page.get(f"/report/{one}{what}")
        case 9:
            if dice.random() < 0.5:
                return page.post(
                    f"/flight/{id}/{dice.choice(('columns', 'forget'))}".replace("\x00", "0"), data=_form(dice)
                )
            return page.get(f"/flight/{id}/{dice.choice(('row', 'columns'))}".replace("\x00", "0"))
        case 10:
            asked = {"name": odd("A"), "standard": odd("training"), "hold": odd(""), "sort": odd("")}
            if dice.random() < 0.2:
                return page.post("/pilot/forget", data=asked)
            return page.get(dice.choice(("/pilot", "/class", "/pilot/forget")), query_string=asked)
        case _:
            address = dice.choice(
                ("/", "/state", "/hold", "/holds", "/reports", "/brief", "/x", "//", "/..%2f", "/report/")
            )
            method = dice.choice(("GET", "GET", "HEAD", "POST", "PUT", "OPTIONS"))
            asked = {"flights": f"{id},{dice.choice(ids)}", "hold": odd("set:x"), "from": odd(f"found:{id}:0")}
            headers = {"Origin": ORIGIN} | headers
            return page.client.open(address, method=method, base_url=ORIGIN, query_string=asked, headers=headers)
