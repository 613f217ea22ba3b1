"""The drawing floor: round lengths, places for words, and a palette that every reader can tell apart."""

from __future__ import annotations

import itertools
import re
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, strategies as st

from trackgrade.drawing import frame, palette
from trackgrade.drawing.from_above import Line, draw
from trackgrade.drawing.labels import Box, Placer, around, text_width
from trackgrade.drawing.lengths import round_length, round_step, round_ticks
from trackgrade.drawing.view import fit
from trackgrade.track.track import Track

# -- lengths ------------------------------------------------------------


@given(st.floats(1e-3, 1e6))
def test_a_round_length_is_the_longest_that_fits(room: float) -> None:
    length = round_length(room)
    assert re.match(r"[125]", f"{length:.0e}")
    assert length <= room * (1 + 1e-9) < 2.5 * length + 1e-9


@given(st.floats(-1e4, 1e4), st.floats(0.01, 1e4))
def test_ticks_are_multiples_of_one_step_inside_the_range(low: float, span: float) -> None:
    ticks = round_ticks(low, low + span)
    step = round_step(low + span - low, 5)
    assert len(ticks) <= 6
    assert all(low - 1e-6 * step <= each <= low + span + 1e-6 * step for each in ticks)
    np.testing.assert_allclose(np.diff(ticks), step, rtol=1e-6)


# -- places for words ------------------------------------------------------------

FRAME = Box(0.0, 0.0, 400.0, 300.0)


def test_words_keep_off_lines_and_each_other_and_inside() -> None:
    free = Placer(FRAME, 5.0)
    x = np.linspace(0.0, 400.0, 40)
    free.keep_off_line(x, np.full(40, 150.0))
    boxes = []
    for _ in range(8):
        place = free.put(around((200.0, 150.0), (1.0, 0.2), 80.0, 16.0, (8.0, 30.0, 60.0)), 80.0, 16.0)
        assert place is not None
        boxes.append(Box.about(*place, 80.0, 16.0))
    for one, other in itertools.combinations(boxes, 2):
        apart = one.right <= other.left or other.right <= one.left or one.high <= other.low or other.high <= one.low
        assert apart
    for box in boxes:
        assert not (box.low < 150.0 < box.high)
        assert box.left >= 0.0
        assert box.right <= 400.0


def test_a_line_between_far_points_and_a_hole_in_it_are_seen() -> None:
    free = Placer(FRAME, 5.0)
    free.keep_off_line(np.array([0.0, 150.0, np.nan, 250.0, 400.0]), np.full(5, 100.0))
    assert free.put([(75.0, 100.0), (200.0, 100.0)], 40.0, 16.0) == (200.0, 100.0), "the hole is free"


def test_where_nothing_is_free_it_says_so_or_takes_the_least_bad() -> None:
    free = Placer(FRAME, 5.0)
    free.keep_off(Box(0.0, 0.0, 400.0, 300.0))
    assert list(free.put_on_lines(np.array([[(100.0, 100.0)]]), np.array([50.0]), 16.0)) == [None]
    assert free.put([(100.0, 100.0)], 50.0, 16.0) == (100.0, 100.0)
    assert Placer(FRAME, 5.0).put([(-50.0, 0.0), (399.0, 20.0), (200.0, 20.0)], 50.0, 16.0) == (200.0, 20.0)


def test_boxes_on_their_lines_take_the_first_place_that_those_before_left_free() -> None:
    free = Placer(FRAME, 5.0)
    free.keep_off(Box.about(100.0, 100.0, 20.0, 20.0))
    own = [(100.0, 100.0), (np.nan, np.nan), (150.0, 100.0)]
    places = np.array([own, own, [(-50.0, 100.0), (155.0, 100.0), (200.0, 100.0)]])
    chosen = list(free.put_on_lines(places, np.array([20.0, 20.0, 30.0]), 16.0))
    assert chosen == [(150.0, 100.0), None, (200.0, 100.0)]
    assert free.put([(200.0, 100.0), (250.0, 100.0)], 20.0, 16.0) == (250.0, 100.0), "they are taken"


def test_sets_of_words_keep_off_what_was_there_and_do_not_see_each_other() -> None:
    known = Placer(FRAME, 5.0)
    known.keep_off(Box.about(100.0, 100.0, 60.0, 20.0))
    sets = known.apart(2)
    places = np.array([[(100.0, 111.0), (100.0, 130.0), (100.0, 180.0)]] * 2)
    widths = np.array([40.0, 60.0])
    assert sets.put_each(places, widths, 16.0).tolist() == [[100.0, 130.0]] * 2, "the first lies over the box"
    assert sets.put_each(places, widths, 16.0).tolist() == [[100.0, 180.0]] * 2, "now the second is taken"
    assert known.put([(100.0, 130.0)], 40.0, 16.0) == (100.0, 130.0), "and nothing of it is known to the others"


def test_wide_letters_are_wider() -> None:
    assert text_width("WWWW", 10.0) > text_width("nnnn", 10.0) > text_width("iiii", 10.0) > 0.0
    assert text_width("nn", 20.0) == pytest.approx(2.0 * text_width("nn", 10.0))


@given(st.floats(-180.0, 180.0))
def test_a_view_holds_its_points_and_keeps_the_scale(turn: float) -> None:
    east, north = np.array([0.0, 3.0, -1.0, 2.0]), np.array([0.0, 1.0, 4.0, -2.0])
    view = fit("any", turn, east, north, (400.0, 300.0), (20.0, 30.0, 10.0, 40.0))
    x, y = view.places(east, north)
    assert x.min() >= 20.0 - 1e-6
    assert x.max() <= 390.0 + 1e-6
    assert y.min() >= 30.0 - 1e-6
    assert y.max() <= 260.0 + 1e-6
    assert np.hypot(x[1] - x[0], y[1] - y[0]) == pytest.approx(view.px_per_nm * np.hypot(3.0, 1.0))


# -- colours ----------------------------------------------------------------------------------------------------

SCHEMES = {"light": palette.LIGHT, "dark": palette.DARK, "paper": palette.PAPER}

#: What is left of linear light for a reader without one kind of cones, severity 1.0: Machado, Oliveira and Fernandes,
#: "A Physiologically-based Model for Simulation of Color Vision Deficiency", IEEE TVCG 15(6), 2009, table of matrices
#: (from memory; each row sums to 1, which is checked).
SIGHT = {
    "all cones": np.eye(3),
    "no red": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "no green": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "no blue": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
#: Two colours this far apart in CIE L*a*b* are told apart at a glance (2.3 is just noticeable): our choice.
AT_A_GLANCE = 20.0


def _linear(colour: str) -> np.ndarray:
    """Linear red, green, blue of "#rrggbb" (IEC 61966-2-1, as WCAG 2.2 writes it)."""
    channels = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def _lab(linear: np.ndarray) -> np.ndarray:
    """CIE L*a*b* under D65 (ISO/CIE 11664-4; matrix of IEC 61966-2-1)."""
    matrix = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
    )
    x, y, z = (matrix @ linear) / np.array([0.95047, 1.0, 1.08883])
    fx, fy, fz = (np.cbrt(v) if v > 216 / 24389 else (24389 / 27 * v + 16) / 116 for v in (x, y, z))
    return np.array([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)])


def _contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    weights = np.array([0.2126, 0.7152, 0.0722])
    low, high = sorted(float(weights @ _linear(each)) for each in (one, other))
    return (high + 0.05) / (low + 0.05)


def test_the_measures_by_published_examples() -> None:
    # WCAG 2.2, technique G18: #767676 on white is the lightest grey that passes 4.5 to 1 (4.54).
    assert _contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)
    # Red of sRGB in L*a*b*: 53.24, 80.09, 67.20 (common tables, from memory).
    assert _lab(_linear("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.05)
    for matrix in SIGHT.values():
        assert matrix.sum(axis=1) == pytest.approx(1.0, abs=2e-6)


@pytest.mark.parametrize("scheme", SCHEMES)
def test_words_and_lines_stand_out(scheme: str) -> None:
    colours = SCHEMES[scheme]
    for ground in ("paper", "sheet"):
        # WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for words.
        for words in ("ink", "soft", "accent", "outside", "brief"):
            assert _contrast(colours[words], colours[ground]) >= 4.5, (words, ground)
    # Success criterion 1.4.11: 3 to 1 for what carries meaning in a drawing, on every ground it is drawn on.
    for line in (*palette.LAPS, "entry", "cursor", "outside", "ink"):
        for ground in ("sheet", "wash", "shade"):
            assert _contrast(colours[line], colours[ground]) >= 3.0, (line, ground)
    for lap in palette.LAPS:
        assert _contrast(colours["on-lap"], colours[lap]) >= 4.5, lap


@pytest.mark.parametrize("sight", SIGHT)
@pytest.mark.parametrize("scheme", SCHEMES)
def test_laps_are_told_apart_by_every_eye(scheme: str, sight: str) -> None:
    seen = [_lab(np.clip(SIGHT[sight] @ _linear(SCHEMES[scheme][name]), 0.0, 1.0)) for name in palette.LAPS]
    for one, other in itertools.combinations(range(len(seen)), 2):
        assert np.linalg.norm(seen[one] - seen[other]) >= AT_A_GLANCE, (palette.LAPS[one], palette.LAPS[other])


def test_twelve_laps_look_different_and_neighbours_in_both_colour_and_dash() -> None:
    looks = [palette.lap_look(k) for k in range(12)]
    assert len(set(looks)) == 12
    for one, other in itertools.pairwise(looks):
        assert one[0] != other[0]
        assert one[1] != other[1]


def test_the_style_sheet_says_what_the_palette_says() -> None:
    light, dark, paper, *_ = re.findall(r":root \{(.*?)\}", palette.css())
    assert palette.LIGHT.items() <= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", light)).items()
    assert palette.DARK.items() <= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", dark)).items()
    assert "--paper: #ffffff" in paper
    assert set(palette.LIGHT) - set(palette.DARK) == set(), "a colour without its dark one"


def test_pages_use_no_colour_of_their_own() -> None:
    from importlib import resources

    from trackgrade import drawing

    root = resources.files(drawing).joinpath("..")
    sheets = [each for room in ("drawing", "report", "briefing", "logbook")
              for each in root.joinpath(room, "templates").iterdir() if each.is_file()]  # fmt: skip
    assert len(sheets) >= 8
    for each in sheets:
        text = each.read_text(encoding="utf-8")
        found = [c for c in re.findall(r":[^;{}]*?(#[0-9a-fA-F]{3,8})\b", text) if c.lower() not in ("#fff",)]
        if not each.name.endswith(".js"):
            assert found == [], f"{each.name} has colours of its own: {found}"
        for name in re.findall(r"var\(--([\w-]+)", text):
            assert name in palette.LIGHT or name in ("lap", "serif", "sans"), f"{each.name}: no colour --{name}"


# -- a track from above ------------------------------------------------------------


@pytest.mark.parametrize(("hole_s", "strokes"), [(0.0, 1), (300.0, 2)])
def test_a_long_straight_is_one_stroke_and_a_hole_parts_it(hole_s: float, strokes: int) -> None:
    """Ten minutes due north, of which few points say all."""
    epoch_s = np.arange(600.0) + np.where(np.arange(600.0) < 300.0, 0.0, hole_s)
    lat = 44.0 + epoch_s / 3600.0 * 2.0
    line = Line.of(Track("straight.gpx", epoch_s, lat, np.full(600, -93.0), np.full(600, np.nan)))
    assert len(line.epoch_s) < 20
    drawn = str(draw(line, []))
    assert drawn[drawn.index('<path d="M') :].split('"')[1].count("M") == strokes


# -- templates ---------------------------------------------------------------------


def test_a_template_is_compiled_once_and_kept_where_python_keeps_its_modules(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path))
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    new_environment = frame.environment.__wrapped__
    new_environment("report").get_template("index.html")
    assert [*tmp_path.rglob("index.*.pyc")]
    again = new_environment("report")
    monkeypatch.setattr(again, "compile", lambda *_: pytest.fail("compiled again"))
    again.get_template("index.html")


def test_where_python_keeps_nothing_no_template_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "none"))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    frame.environment.__wrapped__("report").get_template("index.html")
    assert not [*tmp_path.rglob("*")]


def test_a_template_is_compiled_where_nothing_can_be_kept_or_what_is_kept_is_damaged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    (tmp_path / "a file").write_text("")
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "a file"))
    frame.environment.__wrapped__("report").get_template("index.html")
    monkeypatch.setattr(sys, "pycache_prefix", str(tmp_path / "kept"))
    frame.environment.__wrapped__("report").get_template("index.html")
    (kept,) = tmp_path.rglob("index.*.pyc")
    kept.write_bytes(kept.read_bytes()[:200])
    frame.environment.__wrapped__("report").get_template("index.html")
