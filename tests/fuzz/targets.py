"""Every target: how often it is taken, the bytes it is given, what is asked of them."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.fuzz import commands, files, formats, pages, racing, settings
from tests.fuzz.corpus import corpus, nonsense
from tests.fuzz.damage import mutated, packed, with_numbers_at_edges, with_other_settings

Make = Callable[[random.Random], bytes]
Check = Callable[[Path, Path, random.Random], str]


@dataclass(frozen=True)
class Target:
    """``weight``: how often of all inputs; ``ending``: of the file; ``make``: its bytes; ``check``: what came of it."""

    weight: float
    ending: str
    make: Make
    check: Check


def _damaged(kind: str) -> Make:
    def make(dice: random.Random) -> bytes:
        if dice.random() < 0.03:
            return dice.randbytes(dice.randrange(2_000))
        data = mutated(dice, corpus(kind))
        return packed(dice, data) if dice.random() < 0.08 else data

    return make


def _settings(kind: str) -> Make:
    def make(dice: random.Random) -> bytes:
        good = dice.choice(corpus(kind))
        chance = dice.random()
        if chance < 0.15:
            return mutated(dice, corpus(kind))
        change = with_other_settings if chance < 0.55 else with_numbers_at_edges
        return change(dice, good.decode()).encode()

    return make


TARGETS: dict[str, Target] = {
    "track": Target(14, ".dat", _damaged("track"), files.read_a_track),
    "xml": Target(10, ".dat", formats.xml, files.grade_a_flight),
    "archive": Target(5, ".kmz", formats.archive, files.grade_a_flight),
    "recorder": Target(10, ".dat", formats.recorder, files.grade_a_flight),
    "flight": Target(7, ".dat", _damaged("flight"), files.grade_a_flight),
    "long flight": Target(3, ".dat", _damaged("long flight"), files.grade_a_flight),
    "proposals": Target(2, ".dat", _damaged("flight"), files.find_its_holds),
    "nonsense": Target(4, ".csv", nonsense, files.grade_nonsense),
    "columns": Target(8, ".toml", _settings("columns"), files.read_through_a_map),
    "hold": Target(14, ".toml", _settings("hold"), settings.read_a_hold),
    "standard": Target(10, ".toml", _settings("standard"), settings.read_a_standard),
    "name": Target(3, ".name", commands.a_name, commands.a_file_of_any_name),
    "arguments": Target(5, ".none", lambda dice: b"", commands.arguments_of_any_kind),
    "meeting": Target(4, ".none", lambda dice: b"", commands.results_that_meet),
    "page": Target(2, ".none", lambda dice: b"", pages.a_visit),
    "together": Target(0.1, ".none", lambda dice: b"", racing.many_at_once),
}
