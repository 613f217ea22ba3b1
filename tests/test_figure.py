"""The static figure: the data handed to the drawing, its bytes, its words, and every flight that has little to draw."""

from __future__ import annotations

import hashlib
import io
import os
import re
import subprocess
import sys
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import lxml.etree
import numpy as np
import pytest
from click.testing import CliRunner
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image
from pypdf import PdfReader

from tests.report_flights import make_debrief, without_samples
from tests.test_light_import import run as run_alone
from trackgrade import verbs
from trackgrade.commands import main
from trackgrade.drawing import palette
from trackgrade.drawing.furniture import bar_length
from trackgrade.errors import OutputError
from trackgrade.hold.frame import HoldFrame
from trackgrade.hold.hold import Guidance, Leg
from trackgrade.report import FIGURE_KINDS, figure, figure_axes, figure_style as style
from trackgrade.report.plan import BAR_PX, arrange, corridor_edges, plan_of
from trackgrade.report.timeline import lay_out
from trackgrade.score.debrief import Debrief

ROOT = Path(__file__).parents[1]
HOSTILE = "$\\frac{1}{0}$ <script>&\"' \u202egpj\x1b[31m\n\u65e5\u672c {0} %s ^_$"
FLIGHTS = {
    "three laps": {},
    "no hold": {"laps": 0},
    "no altitude, wind and airspeed": {"altitude": False, "wind": None},
    "two visits": {"visits": 2},
    "twelve laps": {"laps": 12},
    "more laps than the key has room for": {"laps": 8, "visits": 2},
    "left, a VOR, a hole": {
        "turns": "left", "gap": True, "guidance": Guidance(kind="vor", course_to_set_deg=220.0),
    },
    "a leg in miles": {"leg": Leg(nm=4.0)},
    "hostile": {"hostile": HOSTILE, "name": HOSTILE * 3, "source": "x" * 300 + HOSTILE},
}  # fmt: skip
ONE_PIXEL_IN = 1.0 / figure.DOTS_PER_INCH


@cache
def debrief_of(name: str) -> Debrief:
    return make_debrief(**FLIGHTS[name])


@cache
def picture_of(name: str, kind: str) -> bytes:
    return figure.picture(debrief_of(name), kind)


@cache
def composed(name: str) -> Figure:
    """The figure as composed, not written: its texts and lines can be asked."""
    import matplotlib

    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(style.SETTINGS)
        page = Figure(figsize=(figure.WIDTH, figure.HEIGHT), dpi=figure.DOTS_PER_INCH)
        FigureCanvasAgg(page)
        figure._compose(page, debrief_of(name))
        page.draw_without_rendering()
    return page


def texts_of(page: Figure) -> list[Text]:
    def is_word(artist: Artist) -> bool:
        return isinstance(artist, Text) and bool(artist.get_text()) and artist.get_visible()

    return [each for each in page.findobj(is_word) if isinstance(each, Text)]


def words_of(name: str) -> str:
    return "\n".join(each.get_text() for each in texts_of(composed(name)))


# -- every flight ----------------------------------------------------------------------


@pytest.mark.parametrize("name", FLIGHTS)
def test_every_flight_is_drawn_with_all_its_words_on_the_page(name: str) -> None:
    page = composed(name)
    width, height = figure.WIDTH * figure.DOTS_PER_INCH, figure.HEIGHT * figure.DOTS_PER_INCH
    for text in texts_of(page):
        box = text.get_window_extent()
        assert box.x0 >= 0.3 * figure.DOTS_PER_INCH, text.get_text()
        assert box.x1 <= (figure.RIGHT + 0.06) * figure.DOTS_PER_INCH < width, text.get_text()
        assert box.y0 >= 0.05 * figure.DOTS_PER_INCH, text.get_text()
        assert box.y1 <= height, text.get_text()
    words = words_of(name)
    assert "Altitude" in words
    assert "Airspeed" in words
    assert "Distance from the course" in words
    assert "not for navigation" in words


@pytest.mark.parametrize("name", FLIGHTS)
def test_no_words_lie_on_others(name: str) -> None:
    """Plan words may lie on lines, never on words; ticks neither."""
    boxes = [(each.get_text(), each.get_window_extent()) for each in texts_of(composed(name))]
    for (one, a), (other, b) in combinations(boxes, 2):
        across = min(a.x1, b.x1) - max(a.x0, b.x0)
        down = min(a.y1, b.y1) - max(a.y0, b.y0)
        # Boxes are as tall as the tallest letter there could be: a fifth of the lower one is air.
        assert across <= 1.0 or down <= 0.25 * min(a.height, b.height), f"{one!r} lies on {other!r}"


def test_what_a_track_does_not_carry_is_said() -> None:
    words = words_of("no altitude, wind and airspeed")
    assert "not measurable: the track carries no altitude" in words
    assert "airspeed not measurable" in words
    assert "wind not measurable" in words
    assert "No hold was flown" in words_of("no hold")
    assert "and 4 more, in the report" in words_of("more laps than the key has room for")


def test_a_debrief_of_no_samples_is_a_page_too() -> None:
    empty = without_samples(make_debrief(laps=0))
    assert figure.picture(empty, "png").startswith(b"\x89PNG")


# -- the plan as data ----------------------------------------------------------------------


@pytest.mark.parametrize("turns", ["right", "left"])
def test_the_plan_has_the_course_up_and_the_holding_side_where_it_is_flown(turns: str) -> None:
    debrief = make_debrief(turns=turns, wind=None)
    plan = plan_of(debrief, lay_out(debrief))
    view = figure_axes.view_of(plan, 4.5, 4.7)
    side = 1 if turns == "right" else -1
    fix_x, fix_y = view.place(0.0, 0.0)
    (holding_side,) = (centre for text, centre in arrange(plan, view).words if text == "holding side")
    assert (holding_side[0] - fix_x) * side > 0
    x, y = view.places(*plan.flown[plan.timeline.laps[0].key])
    right_nm, along_nm = (x - fix_x) / view.px_per_nm, (fix_y - y) / view.px_per_nm
    # Two radii wide (104 kt at 3 degrees a second: 0.552 NM each), all of it on the holding side.
    assert np.nanmax(side * right_nm) == pytest.approx(2 * 104 / (60 * np.pi), abs=0.02)
    assert np.nanmin(side * right_nm) > -0.02
    assert (right_nm[0], along_nm[0]) == pytest.approx((0.0, 0.0), abs=0.01)
    for stretch in plan.timeline.laps:
        x, y = view.places(*plan.flown[stretch.key])
        assert 0.0 < np.nanmin(x) <= np.nanmax(x) < view.size[0]
        assert 0.0 < np.nanmin(y) <= np.nanmax(y) < view.size[1]


@pytest.mark.parametrize("name", FLIGHTS)
def test_arrows_and_scale_stand_where_nothing_is_flown(name: str) -> None:
    plan = plan_of(debrief_of(name), lay_out(debrief_of(name)))
    view = figure_axes.view_of(plan, 4.5, 4.7)
    places = arrange(plan, view)
    for place in (places.north, places.wind, places.wind_words[1]):
        for line in plan.flown.values() if place is not None else ():
            x, y = view.places(*line)
            assert np.nanmin(np.hypot(x - place[0], y - place[1])) > 18.0, "no lap runs through an arrow"


def test_the_corridor_is_three_quarters_of_full_scale() -> None:
    gps, vor = (
        make_debrief(guidance=guidance)
        for guidance in (Guidance(kind="gps", full_scale_nm=0.3), Guidance(kind="vor", full_scale_deg=10.0))
    )
    low, high = corridor_edges(gps, HoldFrame(gps.hold), np.array([-4.0]))
    assert (low[0], high[0]) == pytest.approx((-0.225, 0.225))
    low, high = corridor_edges(vor, HoldFrame(vor.hold), np.array([-4.0]))
    assert (high - low) / 2 == pytest.approx(4.0 * np.tan(np.radians(7.5)), rel=1e-3), "station at the fix"


def test_events_stand_at_their_moments() -> None:
    debrief = debrief_of("three laps")
    plan = plan_of(debrief, lay_out(debrief))
    frame = HoldFrame(debrief.hold)
    abeams = [each for each in plan.events if each.shape == "abeam"]
    assert len(abeams) == 3
    along = [float(frame.from_east_north(each.east_nm, each.north_nm)[0]) for each in abeams]
    assert along == pytest.approx([0.0] * 3, abs=0.01)
    assert {each.shape for each in plan.events} == set(figure_axes.EVENT_MARKS)
    assert len({(marker, full) for marker, _, full in figure_axes.EVENT_MARKS.values()}) == 5


@pytest.mark.parametrize("name", FLIGHTS)
def test_the_scale_bar_is_a_round_length_that_fits(name: str) -> None:
    view = figure_axes.view_of(plan_of(debrief_of(name), lay_out(debrief_of(name))), 4.5, 4.7)
    px, words = bar_length(view.px_per_nm, BAR_PX)
    length_nm = float(words.removesuffix(" NM"))
    assert re.match(r"[125]e", f"{length_nm:.0e}")
    assert px == pytest.approx(length_nm * view.px_per_nm)
    assert 0.06 < px / view.size[0] <= 1 / 3


def test_twelve_laps_differ_in_more_than_colour() -> None:
    debrief = debrief_of("twelve laps")
    laps = lay_out(debrief).laps
    looks = [style.line_of(each) for each in laps]
    assert len({(each["color"], str(each["linestyle"])) for each in looks}) == 12
    for one, other in pairwise(looks):
        assert one["linestyle"] != other["linestyle"]
    plan = plan_of(debrief, lay_out(debrief))
    tags = arrange(plan, figure_axes.view_of(plan, 4.5, 4.7)).tags
    assert set(tags) >= {each.key for each in laps}, "each lap carries its number"


def test_laps_of_two_visits_have_names_of_their_own() -> None:
    words = words_of("two visits").splitlines()
    for tag in ("1.1", "1.3", "2.1", "2.3"):
        assert words.count(tag) == 3, "on the line, in the key, over the strips"


# -- the strips as data ----------------------------------------------------------------------


def test_bands_are_the_tolerances() -> None:
    debrief = debrief_of("three laps")
    altitude, airspeed, cross = figure_axes.strips(debrief, lay_out(debrief))
    assert {(float(band.low[0]), float(band.high[0])) for band in altitude.bands} == {(3900.0, 4100.0)}
    assert {(float(band.low[0]), float(band.high[0])) for band in airspeed.bands} == {(90.0, 110.0)}
    assert len(cross.bands) == 3
    for band, lap in zip(cross.bands, (lap.flown for lap in debrief.laps)):
        assert lap.inbound_start is not None
        assert lap.end is not None
        assert (band.epoch_s[0], band.epoch_s[-1]) == (lap.inbound_start.epoch_s, lap.end.epoch_s)
        assert band.low == pytest.approx(-0.75)
        assert band.high == pytest.approx(0.75)


def test_the_band_of_a_vor_closes_in_on_its_station() -> None:
    debrief = debrief_of("left, a VOR, a hole")
    *_, cross = figure_axes.strips(debrief, lay_out(debrief))
    for band in cross.bands:
        wide = band.high - band.low
        assert wide[0] > 0.1
        assert wide[-1] == pytest.approx(0.0, abs=0.01)
        assert (np.diff(wide) < 1e-6).all()


@pytest.mark.parametrize("turns", ["right", "left"])
def test_the_distance_from_the_course_has_the_holding_side_up(turns: str) -> None:
    debrief = make_debrief(turns=turns)
    *_, cross = figure_axes.strips(debrief, lay_out(debrief))
    np.testing.assert_array_equal(cross.lines[0].values, debrief.samples.cross_nm)
    assert np.nanmax(cross.lines[0].values) > 0.9
    assert cross.scale.low < -0.75
    assert cross.scale.high > np.nanmax(debrief.samples.cross_nm)


# -- words ----------------------------------------------------------------------


def test_names_from_files_stay_text() -> None:
    words = words_of("hostile")
    assert "$\\frac{1}{0}$ <script>&\"'" in words, "no formula is made of it, nothing is cut out"
    assert "\u202e" not in words
    assert "\x1b" not in words
    assert "\u65e5" not in words
    assert "\u25a1\u25a1" in words, "letters that the typeface lacks are boxes"
    svg = picture_of("hostile", "svg")
    tree = lxml.etree.fromstring(svg)
    assert {each.tag.rpartition("}")[2] for each in tree.iter("*")} <= {
        "svg", "metadata", "RDF", "Work", "type", "format", "creator", "title", "Agent", "defs", "style", "g", "path",
        "use", "clipPath", "rect",
    }  # fmt: skip


def test_words_are_cut_where_the_room_ends() -> None:
    long = "an altitude " * 40
    assert style.width_in(style.cut(long, 2.0, 8.0), 8.0) <= 2.0
    assert style.cut(long, 2.0, 8.0).endswith("…")
    assert style.cut("short", 2.0, 8.0) == "short"
    for text in (long, "x" * 500, "", "W" * 3):
        lines = style.wrap(text, 1.5, 8.0, 3)
        assert len(lines) <= 3
        assert all(style.width_in(line, 8.0) <= 1.5 for line in lines)
    assert " ".join(style.wrap("one two three four", 0.5, 8.0, 9)) == "one two three four"


def test_the_palette_is_that_of_the_report() -> None:
    light = dict(re.findall(r"--([\w-]+): (#\w+);", palette.css().partition("@media")[0]))
    ours = {
        "ink": style.INK, "soft": style.SOFT, "rule": style.RULE, "faint": style.FAINT, "accent": style.ACCENT,
        "wash": style.WASH, "outside": style.OUTSIDE, "solved": style.SOLVED, "shade": style.SHADE,
        "entry": style.ENTRY, **{f"c{k}": colour for k, colour in enumerate(style.LAPS)},
    }  # fmt: skip
    assert ours.items() <= light.items()


# -- bytes ----------------------------------------------------------------------


def test_each_kind_is_what_it_says() -> None:
    png = Image.open(io.BytesIO(picture_of("three laps", "png")))
    assert png.size == (round(figure.WIDTH * figure.DOTS_PER_INCH), round(figure.HEIGHT * figure.DOTS_PER_INCH))
    assert png.getpixel((3, 3))[:3] == (255, 255, 255)
    (page,) = PdfReader(io.BytesIO(picture_of("three laps", "pdf"))).pages
    assert "Tarne practice hold" in page.extract_text()
    assert "not for navigation" in page.extract_text()
    assert lxml.etree.fromstring(picture_of("three laps", "svg")).tag == "{http://www.w3.org/2000/svg}svg"
    with pytest.raises(ValueError, match="png, svg or pdf"):
        figure.picture(debrief_of("three laps"), "jpg")


def test_the_same_debrief_gives_the_same_bytes_whatever_the_machine_s_settings(tmp_path: Path) -> None:
    (tmp_path / "matplotlibrc").write_text("text.usetex: True\nlines.linewidth: 9\nfigure.dpi: 30\nfont.size: 30\n")
    program = (
        "import hashlib\n"
        "from tests.report_flights import make_debrief\n"
        "from trackgrade.report.figure import FIGURE_KINDS, picture\n"
        "print(*(hashlib.sha256(picture(make_debrief(), kind)).hexdigest() for kind in FIGURE_KINDS))\n"
    )
    environ = os.environ | {
        "PYTHONHASHSEED": "3", "PYTHONPATH": str(ROOT), "TZ": "X7", "MATPLOTLIBRC": str(tmp_path), "MPLBACKEND": "svg",
        "MPLCONFIGDIR": str(tmp_path / "matplotlibrc"),  # a file: no place for a cache
    }  # fmt: skip
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=environ, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    here = [hashlib.sha256(picture_of("three laps", kind)).hexdigest() for kind in FIGURE_KINDS]
    assert done.stdout.split() == here


def test_it_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    debrief = verbs.Debrief(**vars(debrief_of("three laps")))
    path = debrief.write_figure(tmp_path / "new" / "Handout.SVG")
    assert path.read_bytes() == picture_of("three laps", "svg")
    (tmp_path / "a.svg").mkdir()
    with pytest.raises(OutputError, match="folder"):
        debrief.write_figure(tmp_path / "a.svg")


# -- the command ----------------------------------------------------------------------


def test_grade_draws_the_flight(flight: Path, hold_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(
        main, ["grade", str(flight), "--hold", str(hold_file), "--no-html", "--figure", "f/handout.svg"]
    )
    assert result.exit_code == 0, result.output
    assert f"Figure: {Path('f/handout.svg')}" in result.stdout
    assert lxml.etree.parse(tmp_path / "f" / "handout.svg").getroot() is not None
    assert not (tmp_path / "reports").exists()


def test_a_flight_without_a_hold_is_drawn_too(
    straight_flight: Path, hold_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, ["grade", str(straight_flight), "--hold", str(hold_file), "--figure", "f.svg"])
    assert result.exit_code == 3
    assert lxml.etree.parse(tmp_path / "f.svg").getroot() is not None


@pytest.mark.parametrize("name", ["figure", "figure.jpg", "figure.svg.gz", ""])
def test_another_ending_is_refused(name: str) -> None:
    # The track and the hold are not there: that would be found later.
    result = CliRunner().invoke(main, ["grade", "no.gpx", "--hold", "no.toml", "--figure", name])
    assert result.exit_code == 2
    assert result.stderr == f"trackgrade: --figure {name}: the name must end in .png, .svg or .pdf\n"


def test_it_is_refused_before_anything_is_loaded(tmp_path: Path) -> None:
    status, loaded, _ = run_alone("grade", "no.gpx", "--hold", "no.toml", "--figure", "figure.jpg", cwd=tmp_path)
    assert status == 2
    assert not loaded & {"numpy", "matplotlib"}


@pytest.mark.parametrize("more", ["track", "hold"])
def test_several_flights_or_holds_are_refused(
    more: str, flight: Path, straight_flight: Path, hold_file: Path, tmp_path: Path
) -> None:
    second = tmp_path / "second.toml"
    second.write_bytes(hold_file.read_bytes())
    others = [str(straight_flight)] if more == "track" else ["--hold", str(second)]
    out = tmp_path / "f.png"
    result = CliRunner().invoke(
        main, ["grade", str(flight), *others, "--hold", str(hold_file), "--out", str(tmp_path), "--figure", str(out)]
    )
    assert result.exit_code == 2
    assert "give one TRACK and one --hold" in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert not out.exists()


def test_without_the_option_matplotlib_is_not_loaded(flight: Path, hold_file: Path, tmp_path: Path) -> None:
    status, loaded, stderr = run_alone("grade", str(flight), "--hold", str(hold_file), cwd=tmp_path)
    assert status == 0, stderr
    assert "jinja2" in loaded  # the report was made
    assert "matplotlib" not in loaded
