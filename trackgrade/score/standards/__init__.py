"""The standards shipped (one TOML file each, beside this file) and the reader of a user's own.

A wrong file is refused with the key and the reason (`StandardFileError`): an unknown key, a limit that is
no number, a published limit without a citation, seconds for a leg presented as published.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any, get_args

from trackgrade.errors import StandardFileError
from trackgrade.files import LARGEST_TOML_BYTES, plain_text, read_bytes, read_toml
from trackgrade.score.standard import (
    ITEMS,
    TIMING_ITEMS,
    Basis,
    Choices,
    Item,
    OutboundStart,
    Source,
    SpeedStep,
    Standard,
    Turns,
)

FOLDER = Path(__file__).parent
DEFAULT = "faa_instrument_airplane"
_READ = ("document", "transcription", "secondary", "memory")
#: A sentence is not longer [characters].
_LONGEST_TEXT = 2000
#: No limit is less, in its own unit: a thousandth of a foot, second or degree is beyond all measuring, and less than
#: that makes numbers that are none of what is divided by it.
_LEAST = 0.001
_HUGE = 1e300  # an integer of TOML may be larger than any float, and infinite is none
_SOURCE_KEYS = {"basis", "cite", "read", "note"}
_TEXTS = ("title", "authority", "document", "edition", "section")
_CHOICES = {"prompt_s": 600.0, "consistent_share": 1.0, "consistent_laps": 1.0, "correction_tolerance_s": 120.0}
_TURNS = {"rate_deg_s": (0.5, 10.0), "bank_deg": (5.0, 60.0), "flight_director_bank_deg": (5.0, 60.0)}


def list_standards() -> list[str]:
    """Names of the standards shipped, the default one first."""
    names = sorted(path.stem for path in FOLDER.glob("*.toml"))
    return [DEFAULT, *(name for name in names if name != DEFAULT)]


def load_standard(name_or_path: str | Path = DEFAULT) -> Standard:
    """A shipped standard by its name, or a file by its path.

    Raises
    ------
    StandardFileError
        No such standard or file, or the file is wrong: one line with file, key, reason and remedy.
    """
    path, shown, own_file = _find(name_or_path)
    data = read_toml(path, StandardFileError)
    return _standard(data, shown, path.stem, "" if not own_file else str(path))


def text_of(name_or_path: str | Path) -> str:
    """The file of a standard as it stands, to edit into one's own. Raises StandardFileError when it is wrong."""
    load_standard(name_or_path)
    content = read_bytes(_find(name_or_path)[0], LARGEST_TOML_BYTES, StandardFileError)
    return content.data.decode("utf-8-sig")


def _find(name_or_path: str | Path) -> tuple[Path, str, bool]:
    """Path of a standard, its name in messages, and whether it is a user's own."""
    text = str(name_or_path)
    if text.endswith(".toml") or "/" in text or "\\" in text:
        return Path(text), Path(text).name, True
    path = FOLDER / f"{text.replace('-', '_')}.toml"
    if not path.is_file():
        raise StandardFileError(
            f'no standard named "{text}". Shipped are: {", ".join(list_standards())}. '
            "For a file of your own give its path, ending in .toml."
        )
    return path, path.stem, False


class _Table:
    """One table of a file; every refusal names the file, the key and the reason."""

    def __init__(self, values: dict[str, Any], known: Iterable[str], shown: str, prefix: str = "") -> None:
        self.values, self.shown, self.prefix = values, shown, prefix
        unknown = sorted(set(values) - set(known))
        if unknown:
            raise self.fault(unknown[0], f"is not a key of a standard; known here: {', '.join(sorted(known))}.")

    def fault(self, key: str, reason: str) -> StandardFileError:
        # A value may be a thousand digits.
        short = re.sub(r"(\S{40})\S{20,}", r"\1…", f"{self.prefix}{key} {reason}")
        return StandardFileError(f"{plain_text(self.shown)}: {plain_text(short, 400)}")

    def table(self, key: str, known: Iterable[str]) -> _Table:
        table = self.values.get(key)
        if not isinstance(table, dict):
            raise self.fault(key, f"is missing or no table; write a [{key}] section.")
        return _Table(table, known, self.shown, f"{key}.")

    def rows(self, key: str, what: str) -> list[dict[str, Any]]:
        rows = self.values.get(key)
        if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
            raise self.fault(key, what)
        return rows

    def text(self, key: str) -> str:
        value = self.values.get(key)
        text = plain_text(value, _LONGEST_TEXT) if isinstance(value, str) else ""
        if not text:
            raise self.fault(key, "must be a text that is not empty.")
        return text

    def one_of(self, key: str, words: tuple[str, ...]) -> Any:
        value = self.values.get(key)
        if value not in words:
            raise self.fault(key, f"is {value!r}; it must be one of {', '.join(words)}.")
        return value

    def number(self, key: str, low: float, high: float) -> float:
        value = self.values.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < _HUGE:
            raise self.fault(key, f"is {value!r}; it must be a number.")
        if not low <= value <= high:
            raise self.fault(key, f"is {value:g}; it must be from {low:g} to {high:g}.")
        return float(value)

    def source(self) -> Source:
        basis = self.one_of("basis", get_args(Basis))
        given = {key: self.values.get(key, "") for key in ("cite", "note")}
        for key, value in given.items():
            if not isinstance(value, str):
                raise self.fault(key, "must be a text.")
        cite, note = (plain_text(value, _LONGEST_TEXT) for value in given.values())
        if basis == "published":
            if not cite:
                raise self.fault("cite", "is missing: a published limit needs document, edition and paragraph.")
            return Source(basis, cite, self.one_of("read", _READ), note)
        if cite:
            raise self.fault("cite", f'stands beside basis = "{basis}"; only a published limit is cited.')
        return Source(basis, note=note)


def _standard(data: dict[str, Any], shown: str, name: str, path: str) -> Standard:
    top = _Table(
        data, {*_TEXTS, "read", "outbound_starts", "choices", "turns", "speed_limits", "items", "notes"}, shown
    )
    texts: dict[str, Any] = {key: top.text(key) for key in _TEXTS}
    notes = data.get("notes", [])
    if not isinstance(notes, list) or not all(isinstance(note, str) for note in notes):
        raise top.fault("notes", "must be a list of sentences.")
    starts = top.table("outbound_starts", {"at", *_SOURCE_KEYS})
    speed = top.table("speed_limits", {"steps", *_SOURCE_KEYS})
    read, at = top.one_of("read", _READ), starts.one_of("at", get_args(OutboundStart))
    starts_source = starts.source()
    choices, turns = top.table("choices", _CHOICES), top.table("turns", {*_TURNS, *_SOURCE_KEYS})
    return Standard(
        name=name,
        **texts,
        read=read,
        outbound_starts=at,
        outbound_starts_source=starts_source,
        choices=Choices(**{key: choices.number(key, _LEAST, high) for key, high in _CHOICES.items()}),
        turns=Turns(**{key: turns.number(key, *bounds) for key, bounds in _TURNS.items()}, source=turns.source()),
        speed_limits=_steps(speed),
        speed_limits_source=speed.source(),
        items=_items(top),
        notes=tuple(plain_text(note, _LONGEST_TEXT) for note in notes),
        path=path,
    )


def _steps(speed: _Table) -> tuple[SpeedStep, ...]:
    rows = speed.rows("steps", "must be a list like [ { up_to_ft = 6000, kias = 200 } ].")
    steps: list[SpeedStep] = []
    for number, values in enumerate(rows, start=1):
        row = _Table(values, {"up_to_ft", "kias"}, speed.shown, f"speed_limits.steps[{number}].")
        last = number == len(rows) and "up_to_ft" not in values
        up_to_ft = math.inf if last else row.number("up_to_ft", _LEAST, 100_000.0)
        if steps and up_to_ft <= steps[-1].up_to_ft:
            raise row.fault("up_to_ft", "must be above the step before it.")
        steps.append(SpeedStep(up_to_ft, row.number("kias", 1.0, 1000.0)))
    return tuple(steps)


def _items(top: _Table) -> tuple[Item, ...]:
    items: dict[str, Item] = {}
    for values in top.rows("items", "is missing; write one [[items]] section for each item."):
        name = _Table(values, values, top.shown, "items.").one_of("name", tuple(ITEMS))
        unit, counts, scope, _ = ITEMS[name]
        own = {"name", "title", "limit", *(("prompt_s",) if counts == "over time" else ())}
        row = _Table(values, own | _SOURCE_KEYS, top.shown, f"items.{name}.")
        if name in items:
            raise row.fault("name", "stands twice; keep one.")
        source, limit = row.source(), None
        if name in TIMING_ITEMS and source.basis == "published":
            no_seconds = "but no civil test standard publishes seconds for the leg"
            raise row.fault("basis", f'is "published", {no_seconds}; write basis = "choice".')
        if name != "holding_speed":
            limit = row.number("limit", _LEAST, 10_000.0)
        elif "limit" in values:
            raise row.fault("limit", "is not wanted: the limit comes from [speed_limits].")
        prompt_s = row.number("prompt_s", _LEAST, 600.0) if "prompt_s" in values else None
        items[name] = Item(name, row.text("title"), limit, unit, scope, counts, source, prompt_s)
    return tuple(items.values())
