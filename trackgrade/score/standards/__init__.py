"""The standards shipped (one TOML file each, beside this file) and the reader of a user's own.

A wrong file is refused with the key and the reason (`StandardFileError`): an unknown key, a limit that is
no number, a published limit without a citation, seconds for a leg presented as published.
"""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

from trackgrade.errors import StandardFileError
from trackgrade.files import LARGEST_TOML_BYTES, plain_text, read_bytes, read_toml
from trackgrade.score.standard import (
    ITEMS,
    TIMING_ITEMS,
    Choices,
    Item,
    Source,
    SpeedStep,
    Standard,
    Turns,
)

FOLDER = Path(__file__).parent
DEFAULT = "faa_instrument_airplane"
_BASES = ("published", "common practice", "choice")
_READ = ("document", "transcription", "secondary", "memory")
_STARTS = ("abeam", "abeam_or_heading", "wings_level")
#: A sentence is not longer [characters].
_LONGEST_TEXT = 2000
#: No limit is less, in its own unit: a thousandth of a foot, second or degree is beyond all measuring, and less than
#: that makes numbers that are none of what is divided by it.
_LEAST = 0.001
_HUGE = 1e300  # an integer of TOML may be larger than any float, and infinite is none
_SOURCE_KEYS = {"basis", "cite", "read", "note"}


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
    return _Reader(shown).standard(data, path.stem, "" if not own_file else str(path))


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


class _Reader:
    """Checks one file's tables; every refusal names the file, the key and the reason."""

    def __init__(self, shown: str) -> None:
        self.shown = shown

    def refuse(self, key: str, reason: str) -> StandardFileError:
        short = re.sub(r"(\S{40})\S{20,}", r"\1…", f"{key} {reason}")  # a value may be a thousand digits
        return StandardFileError(f"{plain_text(self.shown)}: {plain_text(short, 400)}")

    def standard(self, data: dict[str, Any], name: str, path: str) -> Standard:
        texts = ("title", "authority", "document", "edition", "section", "read")
        tables = ("outbound_starts", "choices", "turns", "speed_limits", "items", "notes")
        self.known(data, {*texts, *tables}, "")
        title, authority, document, edition, section = (self.text(data, key, "") for key in texts[:-1])
        notes = data.get("notes", [])
        if not isinstance(notes, list) or not all(isinstance(note, str) for note in notes):
            raise self.refuse("notes", "must be a list of sentences.")
        starts = self.table(data, "outbound_starts")
        self.known(starts, {"at", *_SOURCE_KEYS}, "outbound_starts.")
        speed = self.table(data, "speed_limits")
        self.known(speed, {"steps", *_SOURCE_KEYS}, "speed_limits.")
        return Standard(
            name=name,
            title=title,
            authority=authority,
            document=document,
            edition=edition,
            section=section,
            read=self.one_of(data, "read", _READ, ""),
            outbound_starts=self.one_of(starts, "at", _STARTS, "outbound_starts."),
            outbound_starts_source=self.source(starts, "outbound_starts."),
            choices=self.choices(self.table(data, "choices")),
            turns=self.turns(self.table(data, "turns")),
            speed_limits=self.steps(speed),
            speed_limits_source=self.source(speed, "speed_limits."),
            items=self.items(data.get("items")),
            notes=tuple(plain_text(note, _LONGEST_TEXT) for note in notes),
            path=path,
        )

    def known(self, table: dict[str, Any], keys: set[str], prefix: str) -> None:
        unknown = sorted(set(table) - keys)
        if unknown:
            raise self.refuse(
                prefix + unknown[0], f"is not a key of a standard; known here: {', '.join(sorted(keys))}."
            )

    def table(self, data: dict[str, Any], key: str) -> dict[str, Any]:
        table = data.get(key)
        if not isinstance(table, dict):
            raise self.refuse(key, f"is missing or no table; write a [{key}] section.")
        return table

    def text(self, table: dict[str, Any], key: str, prefix: str) -> str:
        value = table.get(key)
        text = plain_text(value, _LONGEST_TEXT) if isinstance(value, str) else ""
        if not text:
            raise self.refuse(prefix + key, "must be a text that is not empty.")
        return text

    def one_of(self, table: dict[str, Any], key: str, words: tuple[str, ...], prefix: str) -> Any:
        value = table.get(key)
        if value not in words:
            raise self.refuse(prefix + key, f"is {value!r}; it must be one of {', '.join(words)}.")
        return value

    def number(self, table: dict[str, Any], key: str, prefix: str, low: float, high: float) -> float:
        value = table.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < _HUGE:
            raise self.refuse(prefix + key, f"is {value!r}; it must be a number.")
        if not low <= value <= high:
            raise self.refuse(prefix + key, f"is {value:g}; it must be from {low:g} to {high:g}.")
        return float(value)

    def source(self, table: dict[str, Any], prefix: str) -> Source:
        basis = self.one_of(table, "basis", _BASES, prefix)
        cite, note = (table.get(key, "") for key in ("cite", "note"))
        for key, value in (("cite", cite), ("note", note)):
            if not isinstance(value, str):
                raise self.refuse(prefix + key, "must be a text.")
        cite, note = (plain_text(value, _LONGEST_TEXT) for value in (cite, note))
        if basis == "published":
            if not cite:
                raise self.refuse(
                    prefix + "cite", "is missing: a published limit needs document, edition and paragraph."
                )
            return Source(basis, cite, self.one_of(table, "read", _READ, prefix), note)
        if cite:
            raise self.refuse(prefix + "cite", f'stands beside basis = "{basis}"; only a published limit is cited.')
        return Source(basis, "", "", note)

    def choices(self, table: dict[str, Any]) -> Choices:
        highs = {
            "prompt_s": 600.0,
            "consistent_share": 1.0,
            "consistent_laps": 1.0,
            "correction_tolerance_s": 120.0,
        }
        self.known(table, set(highs), "choices.")
        return Choices(**{key: self.number(table, key, "choices.", _LEAST, high) for key, high in highs.items()})

    def turns(self, table: dict[str, Any]) -> Turns:
        ranges = {"rate_deg_s": (0.5, 10.0), "bank_deg": (5.0, 60.0), "flight_director_bank_deg": (5.0, 60.0)}
        self.known(table, {*ranges, *_SOURCE_KEYS}, "turns.")
        numbers = {key: self.number(table, key, "turns.", low, high) for key, (low, high) in ranges.items()}
        return Turns(**numbers, source=self.source(table, "turns."))

    def steps(self, table: dict[str, Any]) -> tuple[SpeedStep, ...]:
        rows = table.get("steps")
        if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
            raise self.refuse("speed_limits.steps", "must be a list like [ { up_to_ft = 6000, kias = 200 } ].")
        steps: list[SpeedStep] = []
        for number, row in enumerate(rows, start=1):
            prefix = f"speed_limits.steps[{number}]."
            self.known(row, {"up_to_ft", "kias"}, prefix)
            last = number == len(rows)
            if last and "up_to_ft" not in row:
                up_to_ft = math.inf
            else:
                up_to_ft = self.number(row, "up_to_ft", prefix, _LEAST, 100_000.0)
            if steps and up_to_ft <= steps[-1].up_to_ft:
                raise self.refuse(prefix + "up_to_ft", "must be above the step before it.")
            steps.append(SpeedStep(up_to_ft, self.number(row, "kias", prefix, 1.0, 1000.0)))
        return tuple(steps)

    def items(self, rows: Any) -> tuple[Item, ...]:
        if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
            raise self.refuse("items", "is missing; write one [[items]] section for each item.")
        items: list[Item] = []
        for row in rows:
            name = self.one_of(row, "name", tuple(ITEMS), "items.")
            prefix = f"items.{name}."
            if any(item.name == name for item in items):
                raise self.refuse(prefix + "name", "stands twice; keep one.")
            items.append(self.item(row, name, prefix))
        return tuple(items)

    def item(self, row: dict[str, Any], name: str, prefix: str) -> Item:
        unit, counts, scope, _ = ITEMS[name]
        own = {"name", "title", "limit", "prompt_s"} if counts == "over time" else {"name", "title", "limit"}
        self.known(row, own | _SOURCE_KEYS, prefix)
        source = self.source(row, prefix)
        if name in TIMING_ITEMS and source.basis == "published":
            raise self.refuse(
                prefix + "basis",
                'is "published", but no civil test standard publishes seconds for the leg; write basis = "choice".',
            )
        limit: float | None = None
        if name == "holding_speed":
            if "limit" in row:
                raise self.refuse(prefix + "limit", "is not wanted: the limit comes from [speed_limits].")
        else:
            limit = self.number(row, "limit", prefix, _LEAST, 10_000.0)
        prompt_s = self.number(row, "prompt_s", prefix, _LEAST, 600.0) if "prompt_s" in row else None
        return Item(name, self.text(row, "title", prefix), limit, unit, scope, counts, source, prompt_s)
