"""``trackgrade standards``: the list, and one in full with sources and choices."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from trackgrade.commands import main
from trackgrade.score.standards import FOLDER, list_standards, load_standard


def _shown(*arguments: str) -> tuple[int, str]:
    result = CliRunner().invoke(main, ["standards", *arguments])
    return result.exit_code, result.output


def test_the_list_names_every_standard() -> None:
    status, text = _shown()
    assert status == 0
    for name in list_standards():
        assert name in text


@pytest.mark.parametrize("name", list_standards())
def test_one_in_full_shows_every_limit_its_source_and_the_choices(name: str) -> None:
    status, text = _shown(name)
    standard = load_standard(name)
    assert status == 0
    for item in standard.items:
        assert item.title in text
        if item.source.basis == "published":
            assert item.source.cite in text
    assert "no civil test standard publishes seconds" in text
    assert "published nowhere" in text
    if any(item.source.read == "memory" for item in standard.items):
        assert "from memory" in text


def test_the_band_of_ones_own_is_shown_as_ones_own() -> None:
    _, text = _shown("training", "--timing-band", "7")
    assert "±7 s" in text
    assert "set by the user" in text


def test_a_file_of_ones_own_is_shown(tmp_path: Path) -> None:
    mine = tmp_path / "club.toml"
    mine.write_text(
        (FOLDER / "training.toml").read_text(encoding="utf-8").replace("limit = 50.0", "limit = 60.0"), encoding="utf-8"
    )
    status, text = _shown(str(mine))
    assert status == 0
    assert "±60 ft" in text


@pytest.mark.parametrize(
    ("arguments", "says"), [(("nowhere",), "no standard named"), (("training", "--timing-band", "0"), "above 0 s")]
)
def test_what_is_wrong_is_one_line_and_status_2(arguments: tuple[str, ...], says: str) -> None:
    status, text = _shown(*arguments)
    assert status == 2
    assert says in text
    assert "Traceback" not in text


def test_a_shipped_file_can_be_printed_edited_and_used(tmp_path: Path) -> None:
    status, text = _shown("training", "--as-file")
    assert status == 0
    mine = tmp_path / "mine.toml"
    mine.write_text(text.replace("limit = 50.0", "limit = 40.0"), encoding="utf-8")
    altitude = load_standard(mine).item("altitude")
    assert altitude is not None
    assert altitude.limit == 40.0
    assert _shown("--as-file")[0] == 2
