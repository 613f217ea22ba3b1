"""A page without a server: its house on a folder, its application, and a client with a browser's cookie."""

from __future__ import annotations

import io
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from trackgrade.page.app import make_app
from trackgrade.page.desk import Desk
from trackgrade.page.gate import Gate
from trackgrade.page.house import House

PORT = 8123
ORIGIN = f"http://127.0.0.1:{PORT}"
JSON = {"Accept": "application/json"}


@dataclass
class Opened:
    """A page as its owner has it open."""

    house: House
    gate: Gate
    client: FlaskClient

    def get(self, path: str, **more: Any) -> TestResponse:
        return self.client.get(path, base_url=ORIGIN, **more)

    def post(self, path: str, **more: Any) -> TestResponse:
        headers = {"Origin": ORIGIN, "Sec-Fetch-Site": "same-origin"} | more.pop("headers", {})
        return self.client.post(path, base_url=ORIGIN, headers=headers, **more)

    def drop(self, *files: tuple[str, bytes]) -> list[str]:
        """Drop files on the page; the ids of those taken."""
        data = {"tracks": [(io.BytesIO(content), name) for name, content in files]}
        answer = self.post("/tracks", data=data, headers=JSON, content_type="multipart/form-data")
        assert answer.status_code == 200, answer.text
        return [each["id"] for each in answer.get_json()["flights"]]

    def wait(self, *ids: str, longest_s: float = 60.0) -> dict[str, Any]:
        """The state of these tracks once nothing is being done with them."""
        end = time.monotonic() + longest_s
        while time.monotonic() < end:
            state: dict[str, Any] = self.get(f"/state?flights={','.join(ids)}", headers=JSON).get_json()
            if not state["busy"]:
                return state
            time.sleep(0.05)
        raise AssertionError(f"not done after {longest_s} s: {state}")

    def grade(self, *ids: str, **more: str) -> dict[str, Any]:
        """Grade tracks and wait; the state then."""
        answer = self.post("/grade", data={"flights": ",".join(ids)} | more, headers=JSON)
        assert answer.status_code == 200, answer.text
        return self.wait(*ids)


@contextmanager
def opened(folder: Path, logbook: str = "") -> Iterator[Opened]:
    """A page on a data folder, opened with its key."""
    house = House(Desk(folder), folder / "holds", logbook or str(folder / "logbook.sqlite"), at_a_time=1)
    gate = Gate(PORT)
    try:
        page = Opened(house, gate, make_app(house, gate).test_client())
        assert page.get(f"/?key={gate.key}").status_code == 303
        yield page
    finally:
        house.close()
