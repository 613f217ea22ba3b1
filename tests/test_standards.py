"""Standards as data: what is shipped loads, a wrong file is refused with file, key and reason."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from trackgrade.errors import StandardFileError
from trackgrade.score.standard import ITEMS
from trackgrade.score.standards import DEFAULT, FOLDER, list_standards, load_standard

SHIPPED = (FOLDER / f"{DEFAULT}.toml").read_text(encoding="utf-8")


def _file(folder: Path, text: str) -> Path:
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_what_is_shipped_loads_and_grades_known_items() -> None:
    assert list_standards()[0] == DEFAULT
    assert len(list_standards()) >= 5
    for name in list_standards():
        standard = load_standard(name)
        assert standard.name == name
        assert {item.name for item in standard.items} <= set(ITEMS)
        assert standard.item("altitude") is not None


def test_a_name_may_be_written_with_dashes() -> None:
    assert load_standard("faa-instrument-airplane") == load_standard("faa_instrument_airplane")


def test_a_file_of_ones_own_works_by_path(tmp_path: Path) -> None:
    mine = load_standard(_file(tmp_path, SHIPPED.replace("limit = 100.0", "limit = 80.0")))
    assert mine.name == "mine"
    altitude = mine.item("altitude")
    assert altitude is not None
    assert altitude.limit == 80.0


@pytest.mark.parametrize(
    ("old", "new", "key", "reason"),
    [
        ("limit = 100.0", "limit = -3", "items.altitude.limit", "from 0.001"),
        ("limit = 100.0", 'limit = "wide"', "items.altitude.limit", "must be a number"),
        ("limit = 100.0", "limit = nan", "items.altitude.limit", "must be a number"),
        ("limit = 100.0", "limt = 100.0", "items.altitude.limt", "is not a key"),
        ('name = "altitude"', 'name = "height"', "items.name", "must be one of"),
        ('title = "Altitude"', 'title = ""', "items.altitude.title", "not empty"),
        ('cite = "FAA-S-ACS-8C, III.B.S2 and S4"', "", "items.arrival_speed.cite", "document, edition and paragraph"),
        ("prompt_s = 15.0", "prompt_s = 0", "choices.prompt_s", "from 0.001"),
        ("consistent_share = 0.10", "consistent_share = 1.5", "choices.consistent_share", "to 1"),
        ("consistent_share = 0.10", "", "choices.consistent_share", "must be a number"),
        ('at = "abeam"', 'at = "somewhere"', "outbound_starts.at", "must be one of"),
        ("up_to_ft = 14000", "up_to_ft = 5000", "speed_limits.steps[2].up_to_ft", "above the step before"),
        ("{ kias = 265 }", "{ knots = 265 }", "speed_limits.steps[3].knots", "is not a key"),
        ('name = "airspeed"', 'name = "altitude"', "items.altitude.name", "stands twice"),
        ('name = "holding_speed"', 'name = "holding_speed"\nlimit = 200', "items.holding_speed.limit", "speed_limits"),
        ("[choices]", "[choice]", "choice", "is not a key"),
        ('authority = "Federal Aviation Administration"', "", "authority", "not empty"),
        ("notes = [", "notes = [ 3,", "notes", "list of sentences"),
    ],
)
def test_a_wrong_file_is_refused_by_key_and_reason(tmp_path: Path, old: str, new: str, key: str, reason: str) -> None:
    assert old in SHIPPED
    with pytest.raises(StandardFileError) as error:
        load_standard(_file(tmp_path, SHIPPED.replace(old, new, 1)))
    message = str(error.value)
    assert message.startswith(f"mine.toml: {key} "), message
    assert reason in message
    assert "\n" not in message


def test_no_control_character_of_a_file_goes_further(tmp_path: Path) -> None:
    """Found by the random run: a title of one NUL came through to the report."""
    own = SHIPPED.splitlines(keepends=True)
    (first, *_) = (row for row, line in enumerate(own) if line.startswith("title = ") and row > 5)
    with pytest.raises(StandardFileError, match=r"\.title must be a text that is not empty"):
        load_standard(_file(tmp_path, "".join([*own[:first], 'title = "\\u0000"\n', *own[first + 1 :]])))
    mine = load_standard(
        _file(tmp_path, "".join([*own[:first], 'title = "\\u001b[31ma\\u202eb"\n', *own[first + 1 :]]))
    )
    assert "ab" in [item.title for item in mine.items]


def test_seconds_for_the_leg_can_not_be_presented_as_published(tmp_path: Path) -> None:
    before, _, after = SHIPPED.partition('name = "inbound_time"')
    text = (
        before
        + 'name = "inbound_time"'
        + after.replace('basis = "choice"', 'basis = "published"\ncite = "x 1"\nread = "memory"', 1)
    )
    with pytest.raises(StandardFileError, match="no civil test standard publishes seconds"):
        load_standard(_file(tmp_path, text))


@pytest.mark.parametrize(
    ("content", "reason"),
    [(b"title = ", "not valid TOML"), (b"\xff\xfe", "not UTF-8"), (b"", "outbound_starts"), (b"items = 3", "title")],
)
def test_a_broken_file_is_refused(tmp_path: Path, content: bytes, reason: str) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    with pytest.raises(StandardFileError) as error:
        load_standard(path)
    assert "mine.toml" in str(error.value)
    assert "\n" not in str(error.value)


def test_no_such_name_or_file_says_what_there_is(tmp_path: Path) -> None:
    with pytest.raises(StandardFileError, match=DEFAULT):
        load_standard("nowhere")
    with pytest.raises(StandardFileError, match="Check the name"):
        load_standard(tmp_path / "none.toml")
    with pytest.raises(StandardFileError):
        load_standard(tmp_path / "folder.toml" / "..")


def test_the_timing_band_is_set_with_one_option_and_labelled_so() -> None:
    standard = load_standard().with_timing_band(7.5)
    assert standard.timing_band_s == 7.5
    assert "set by the user" in standard.timing_note
    assert "no civil test standard publishes seconds" in standard.timing_note
    altitude = standard.item("altitude")
    assert altitude is not None
    assert altitude.limit == 100.0


@pytest.mark.parametrize("seconds", [0.0, -1.0, math.nan, math.inf])
def test_an_impossible_timing_band_is_refused(seconds: float) -> None:
    with pytest.raises(ValueError, match="above 0 s"):
        load_standard().with_timing_band(seconds)
