"""The brief: what is told, on the screen and on the page; the time to leave; what the command refuses."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings, strategies as st

from trackgrade.briefing import page, receivers, screen, words
from trackgrade.briefing.brief import Brief, Conditions, heading_for_track_deg, prepare
from trackgrade.briefing.drawing import HEIGHT, WIDTH, draw
from trackgrade.briefing.leaving import (
    LONGER_OUTBOUND_S,
    MOST_LAST_LAPS,
    SHORTEST_INBOUND_S,
    clock,
    lap_lasting,
    plan_leaving,
)
from trackgrade.caution import CAUTION
from trackgrade.commands import main
from trackgrade.hold.hold import Hold, Leg
from trackgrade.hold.holdfile import parse_hold
from trackgrade.hold.planning import SHORT_OF_COURSE_NM, SolvedLap, solve_lap
from trackgrade.hold.rules import by_rules
from trackgrade.hold.setup import resolve
from trackgrade.score.standards import load_standard

HOLD = """
name = "Tarne practice hold"
inbound_course_deg = 143.0
variation_deg = 0.5
altitude_ft = 4000
arrive_utc = 2026-05-03T15:20:00Z
[fix]
lat = 44.0
lon = -93.0
"""
VOR = """
name = "Ostrel"
inbound_course_deg = 323
turns = "left"
altitude_ft = 9000
airspeed_kias = 120
[fix]
from = { lat = 44, lon = -93, radial_deg = 143, dme_nm = 12, variation_deg = 1 }
[leg]
nm = 4
[guidance]
kind = "vor"
"""
STANDARD = load_standard()
DAY = dt.date(2026, 5, 3)


def briefed(text: str = HOLD, **conditions: float | None) -> Brief:
    plan = parse_hold(text, "hold.toml")
    given_conditions = Conditions(**{"tas_kt": 104.0, **conditions})  # type: ignore[arg-type]
    return prepare(resolve(plan, DAY), given_conditions, STANDARD, north_is_true=plan.north == "true")


def shown(brief: Brief) -> str:
    return "\n".join(text for text, _ in screen.lines(brief))


def flat(text: str) -> str:
    return re.sub(r"\s+", " ", text)


class TestScreen:
    def test_everything_a_pilot_would_scribble(self) -> None:
        text = flat(shown(briefed(wind_from_true_deg=205.0, wind_kt=18.0, arrival_heading_true_deg=175.5)))
        for told in (
            "right turns, 1 min inbound, 4,000 ft",
            "Inbound 143, outbound 323 magnetic (variation 0.5° E)",
            "Set 143 to the fix",
            "full scale 1 NM",
            "At or below 200 KIAS",  # AIM 5-3-8: to 6,000 ft
            "slow down within 3 min of it, 5 NM",  # three minutes at 104 kt
            "Arriving on heading 175: direct",
            "Correct 9° right inbound",
            "Ground speed 94 kt inbound",
            "Next outbound = last outbound + 1:00 - the inbound you timed",
            "rolls out 0.05 NM short of the course (2° of its outbound heading), so that",
            "Over the fix at 15:20:00 UTC",
        ):
            assert told in text, told

    @pytest.mark.parametrize("text", [HOLD, VOR])
    @pytest.mark.parametrize("wind_kt", [0.0, 25.0, 60.0, 150.0])
    def test_it_is_one_screen(self, text: str, wind_kt: float) -> None:
        brief = briefed(text, wind_from_true_deg=125.0, wind_kt=wind_kt, arrival_heading_true_deg=325.0)
        lines = shown(brief).split("\n")
        assert max(map(len, lines)) <= 80
        assert len(lines) <= 36

    def test_a_vor_brief_says_flag_and_radial(self) -> None:
        text = flat(shown(briefed(VOR)))
        assert "Set 323 before the fix and leave it set" in text
        assert "inbound is toward it, on its 143 radial: the flag reads TO inbound and outbound; no flip" in text
        assert "At or below 230 KIAS" in text  # AIM 5-3-8: to 14,000 ft
        # No wind: the leg's length along and one diameter (1.10 NM) to the side.
        assert "turn back at 4.1 NM" in text

    def test_wrong_speeds_are_said(self) -> None:
        assert "210 KIAS is above the holding speed limit of 200" in flat(shown(briefed(tas_kt=222.6)))
        assert "below the 90 that AIM 5-3-8 asks" in flat(shown(briefed(tas_kt=80.0)))

    def test_no_lap_is_said_with_the_best(self) -> None:
        text = flat(shown(briefed(wind_from_true_deg=143.0, wind_kt=60.0)))
        assert "! No lap gives 60 s inbound" in text
        assert "best there is" in text
        text = flat(shown(briefed(wind_from_true_deg=143.0, wind_kt=160.0)))
        assert "no hold can be flown in this wind" in text
        assert "by rule" not in text
        assert "Next outbound" not in text

    def test_a_true_hold_stays_true(self) -> None:
        text = HOLD.replace("variation_deg = 0.5", 'variation_deg = 10\nnorth = "true"')
        told = flat(shown(briefed(text, arrival_heading_true_deg=175.0)))
        assert "Inbound 143, outbound 323 true" in told
        assert "Arriving on heading 175" in told
        assert "Set 133 magnetic" in told  # the needle is set to a magnetic course all the same


class TestEntries:
    @pytest.mark.parametrize(
        ("heading", "told"),
        [
            (175.5, ["Direct: right 148° to 323. That is lap 1."]),
            (295.5, ["Teardrop: left 2° to 293, 1:00, then right to 143."]),
            (345.5, ["Parallel: left 22° to 323, 1:00 on the non-holding side, then left past 143"]),
            (321.5, ["Teardrop: left 28° to 293", "Parallel: right 2° to 323"]),
        ],
    )
    def test_in_still_air(self, heading: float, told: list[str]) -> None:
        brief = briefed(arrival_heading_true_deg=heading)
        sentences = [words.entry(brief, each) for each in brief.entries]
        assert len(sentences) == len(told)
        for sentence, expected in zip(sentences, told, strict=True):
            assert sentence.startswith(expected)

    def test_the_teardrop_heading_makes_its_track_good(self) -> None:
        """ICAO Doc 8168: a *track* 30 degrees off. The wind triangle as PHAK has it: 045/40 on 090 at 120 is 076."""
        assert round(heading_for_track_deg(90.0, 120.0, 45.0, 40.0)) == 76
        assert heading_for_track_deg(90.0, 50.0, 360.0, 60.0) == 90.0  # no heading holds it: said elsewhere
        brief = briefed(arrival_heading_true_deg=295.5, wind_from_true_deg=225.0, wind_kt=20.0)
        assert "to 293 (283 in this wind)" in words.entry(brief, brief.entries[0])


class TestLapsByRule:
    def test_no_wind_needs_no_correction(self) -> None:
        for rule in briefed().rule_laps:
            assert rule.outbound_s == pytest.approx(60.0, abs=1.0)
            assert rule.inbound_s == pytest.approx(60.0, abs=1.0)  # rolling out takes a moment
            assert words.rollout(rule) == "on course"

    def test_each_lap_follows_from_the_last(self) -> None:
        brief = briefed(wind_from_true_deg=135.0, wind_kt=25.0)
        times = [(rule.outbound_s, rule.inbound_s) for rule in brief.rule_laps]
        for (outbound, inbound), (following, _) in pairwise(times):
            assert following == round(max(0.0, outbound + 60.0 - inbound))
        assert abs(times[-1][1] - 60.0) < abs(times[0][1] - 60.0)

    def test_a_leg_in_miles_is_one_lap_turned_at_its_distance(self) -> None:
        (rule,) = briefed(VOR, tas_kt=137.0, wind_from_true_deg=265.0, wind_kt=30.0).rule_laps
        assert min(rule.path_along_nm) < -4.0
        assert rule.outbound_s == pytest.approx(110.0, abs=3.0)


@pytest.mark.parametrize("text", [HOLD, VOR])
def test_the_heading_correction_is_the_right_way(text: str) -> None:
    """Flown by rule with the outbound heading turned as told, a lap through the course comes out less through."""
    brief = briefed(text, wind_from_true_deg=205.0, wind_kt=20.0)
    lap, told = brief.solved, words.correction(brief)[-1]
    through = re.search(r"through the course: next outbound heading further (left|right)", told)
    assert through
    turned = lap.outbound_wca_deg + (-5.0 if through[1] == "left" else 5.0)
    rules = by_rules(brief.hold, lap, turned, lap.outbound_s)
    off_nm = rules.rollout_cross_nm - lap.rollout_cross_nm
    assert off_nm > 0.05
    size = re.search(r"([\d.]+) NM is (\d+)°", told)
    assert size
    assert off_nm == pytest.approx(float(size[1]) / float(size[2]) * 5.0, rel=0.35)


def hold() -> Hold:
    return Hold("test", 44.0, -93.0, 143.0, 0.0, "given", "right", Leg(minutes=1.0))


def still_lap(of: Hold) -> SolvedLap:
    """No wind, turns at once, aimed at the course: times are arithmetic."""
    return solve_lap(of, 100.0, 0.0, 0.0, roll_s=0.0, short_of_course_nm=0.0)


class TestLeaving:
    @given(st.floats(0.0, 360.0), st.floats(0.0, 25.0), st.floats(60.0, 3000.0))
    @settings(max_examples=25, deadline=None)
    def test_the_plan_ends_on_the_second(self, wind_from: float, wind: float, to_go: float) -> None:
        normal = solve_lap(hold(), 100.0, wind_from, wind)
        plan = plan_leaving(hold(), normal, 10_000.0 + to_go, 10_000.0)
        if not plan.laps:
            assert plan.why
            fits = any(n * plan.shortest.lap_s <= to_go <= n * plan.longest.lap_s for n in range(1, 13))
            assert not fits
            return
        assert not plan.why
        ends = plan.laps[-1].start_epoch_s + plan.laps[-1].lap.lap_s
        assert abs(ends - plan.at_epoch_s) < 1.0
        for each in plan.laps:
            assert each.lap.feasible
            assert each.lap.inbound_s >= SHORTEST_INBOUND_S - 1.0
            assert each.lap.outbound_s <= normal.outbound_s + LONGER_OUTBOUND_S + 1.0
        changed = [not each.normal for each in plan.laps]
        assert changed == sorted(changed)  # normal laps first

    def test_no_wind_by_arithmetic(self) -> None:
        """Two minutes of turns: 30 s a leg is a 3:00 lap, 10 s more a leg 4:20; 8:00 to go are two laps of 4:00."""
        normal = still_lap(hold())
        plan = plan_leaving(hold(), normal, 1480.0, 1000.0)
        assert (plan.shortest.lap_s, plan.longest.lap_s) == pytest.approx((180.0, 260.0), abs=0.1)
        assert [each.normal for each in plan.laps] == [True, True]
        plan = plan_leaving(hold(), normal, 1000.0 + 240.0 + 210.0, 1000.0)
        assert [each.normal for each in plan.laps] == [True, False]
        assert plan.laps[1].lap.outbound_s == pytest.approx(45.0, abs=0.01)
        assert plan.laps[1].lap.inbound_s == pytest.approx(45.0, abs=0.01)
        assert [round(lap.lap_s) for lap in plan.last_laps] == [180, 195, 210, 225, 240, 255]

    def test_long_legs_have_last_laps_in_longer_steps(self) -> None:
        """Found by the random run: legs of 40 NM took seconds, for 225 rows that nobody reads."""
        long_legs = replace(hold(), leg=Leg(nm=20.0))
        normal = still_lap(long_legs)
        times = [round(lap.lap_s) for lap in plan_leaving(long_legs, normal, 9000.0, 1000.0).last_laps]
        assert 12 <= len(times) <= MOST_LAST_LAPS
        assert {later - sooner for sooner, later in pairwise(times)} == {60}

    @pytest.mark.parametrize(
        ("to_go", "why"),
        [
            (300.0, "5:00 to go cannot be flown inside the pattern: at most 4:20 in 1 lap, at least 6:00 in 2 laps"),
            (100.0, "the shortest lap takes 3:00"),
            (0.0, "leave at once"),
            (-60.0, "before that passage"),
            (7200.0, "more than 12 laps"),
        ],
    )
    def test_what_cannot_be_made_is_said(self, to_go: float, why: str) -> None:
        normal = still_lap(hold())
        plan = plan_leaving(hold(), normal, 10_000.0 + to_go, 10_000.0)
        assert why in plan.why
        assert not plan.laps

    def test_a_lap_of_any_length_still_rolls_out_on_the_course(self) -> None:
        normal = solve_lap(hold(), 100.0, 280.0, 20.0)
        for seconds in (200.0, 230.0, 300.0):
            lap = lap_lasting(hold(), normal, seconds)
            assert lap is not None
            assert lap.lap_s == pytest.approx(seconds, abs=1e-3)
            assert lap.rollout_cross_nm == pytest.approx(SHORT_OF_COURSE_NM, abs=1e-6)
        assert lap_lasting(hold(), normal, 90.0) is None

    def test_clock(self) -> None:
        assert [clock(s) for s in (0.0, 59.6, 245.0, -0.4, -61.0)] == ["0:00", "1:00", "4:05", "0:00", "-1:01"]


class TestPage:
    def test_a_hostile_name_stays_text(self) -> None:
        name = '<script>alert(1)</script> \\" onload=x & co'
        html = page.render(briefed(HOLD.replace("Tarne practice hold", name), wind_kt=10.0))
        assert "<script" not in html
        assert "&lt;script&gt;alert(1)" in html
        attributes: list[str] = []
        reader = HTMLParser()
        reader.handle_starttag = lambda tag, attrs: attributes.extend(name for name, _ in attrs)  # type: ignore[method-assign]
        reader.feed(html)
        assert "aria-label" in attributes
        assert "onload" not in attributes

    def test_nothing_is_fetched(self) -> None:
        html = page.render(briefed(VOR, arrival_heading_true_deg=163.0, wind_kt=30.0))
        assert not re.search(r"(?:src|href|url\()\s*=?\s*[\"']?(?:https?:)?//", html)
        assert "<script" not in html

    def test_it_says_what_the_screen_says(self) -> None:
        brief = briefed(VOR, arrival_heading_true_deg=163.0, wind_from_true_deg=265.0, wind_kt=30.0)
        html = re.sub(r"<[^>]+>", " ", page.render(brief)).replace("&#39;", "'")
        text = flat(html)
        for sentence in (words.course_to_set(brief), words.air(brief), words.drift(brief), *words.correction(brief)):
            assert flat(sentence) in text
        assert CAUTION in text

    @pytest.mark.parametrize("text", [HOLD, VOR])
    @pytest.mark.parametrize("wind", [(0.0, 0.0), (143.0, 60.0), (100.0, 40.0), (143.0, 300.0)])
    @pytest.mark.parametrize("heading", [None, 10.0, 100.0, 250.0])
    def test_the_drawing_is_whole(self, text: str, wind: tuple[float, float], heading: float | None) -> None:
        brief = briefed(text, wind_from_true_deg=wind[0], wind_kt=wind[1], arrival_heading_true_deg=heading)
        drawing = draw(brief)
        root = ElementTree.fromstring(drawing)
        assert not re.search(r"\b(?:nan|inf)\b", drawing)
        labels = [(float(each.get("x", "0")), float(each.get("y", "0"))) for each in root.iter("text")]
        assert all(-99.0 <= x <= WIDTH and -99.0 <= y <= HEIGHT for x, y in labels)
        names = {each.text for each in root.iter("text")}
        assert {"direct", "teardrop", "parallel", "N"} <= names

    def test_the_drawing_is_to_scale(self) -> None:
        """The lap on the page against its own scale bar: no wind, so its width is one turn diameter and some."""
        brief = briefed()
        root = ElementTree.fromstring(draw(brief))
        east, north = _line(root, "lap")
        bar = next(each.get("d", "") for each in root.iter("path") if each.get("class") == "scale-bar")
        label = next(each.text for each in root.iter("text") if each.text and each.text.endswith(" NM"))
        per_nm = float(bar.split("H")[1].split("V")[0]) / float(label.split()[0])
        world = next(each.get("transform", "") for each in root.iter("g") if each.get("class") == "world")
        assert float(world.split("scale(")[1].rstrip(")")) * 1000.0 == pytest.approx(per_nm, rel=1e-3)
        course = math.radians(143.5)
        width_nm = float(np.ptp(east * math.cos(course) - north * math.sin(course)))
        assert width_nm == pytest.approx(max(brief.solved.path_cross_nm), rel=0.01)
        assert width_nm == pytest.approx(2.0 * brief.solved.turn_radius_nm + SHORT_OF_COURSE_NM, rel=0.05)

    @pytest.mark.parametrize("text", [HOLD, VOR])
    def test_the_arrival_is_drawn_on_its_heading_from_its_sector(self, text: str) -> None:
        """North is up the page, so an arrow on a heading h points (sin h, -cos h)."""
        brief = briefed(text, arrival_heading_true_deg=163.0)
        root = ElementTree.fromstring(draw(brief))
        east, north = _line(root, "way arrival")
        pointing = math.degrees(math.atan2(east[1] - east[0], north[1] - north[0])) % 360.0
        assert pointing == pytest.approx(163.0, abs=0.2)
        bearings = np.degrees(np.arctan2(*_line(root, "sector chosen")))[1:-1]  # it begins and ends at the fix
        came_from = math.degrees(math.atan2(east[0], north[0]))
        turns = (bearings - came_from + 180.0) % 360.0 - 180.0
        assert min(turns) < 0.0 < max(turns)

    def test_the_same_in_is_the_same_out(self) -> None:
        assert page.render(briefed(wind_kt=12.0)) == page.render(briefed(wind_kt=12.0))


def _line(root: ElementTree.Element, style: str) -> tuple[np.ndarray, np.ndarray]:
    """The one line of a class as east and north of the fix [NM]."""
    (d,) = [each.get("d", "") for each in root.iter("path") if each.get("class") == style]
    x, y = np.cumsum(np.array(re.findall(r"-?\d+", d), dtype=float).reshape(-1, 2), axis=0).T / 1000.0
    return x, -y


FAR = """
name = "Ostrel crossing"
inbound_course_deg = 323
turns = "left"
[fix]
from = { lat = 44, lon = -93, radial_deg = %d, dme_nm = 15, variation_deg = 1 }
[leg]
nm = 5
[guidance]
kind = "vor"
"""
CROSSING = """
name = "Two radials"
inbound_course_deg = 90
variation_deg = 0
[fix]
radials = [ { lat = 44.0, lon = -93.2, radial_deg = 90, variation_deg = 0 },
            { lat = 44.3, lon = -93.0, radial_deg = 180, variation_deg = 0 } ]
[guidance]
kind = "vor"
station_lat = 44.0
station_lon = -93.2
"""


class TestReceivers:
    """What the box and the needles will read."""

    def test_a_leg_of_five_miles_on_a_fix_at_15_dme_turns_at_20_or_at_10(self) -> None:
        # AIM 5-3-8: the distance given ends the outbound leg. Outbound is away from the station where inbound is to it.
        away, toward = briefed(FAR % 143), briefed(FAR % 323)
        assert receivers.dme_reading(away) == "On the box: fix at 15.0 DME, turn back at 20.0 DME"
        assert receivers.dme_reading(toward) == "On the box: fix at 15.0 DME, turn back at 10.0 DME"
        assert "turn back at 20.0 DME" in page.render(away)
        assert "turn back at 20.0 DME" in flat(shown(away))
        assert receivers.dme_reading(briefed(HOLD)) == "", "no station tells this fix"

    def test_flags_of_both_receivers(self) -> None:
        vor, gps = receivers.receivers(briefed(FAR % 143))
        assert (vor.name, vor.flags) == ("VOR", "TO throughout")
        assert (gps.name, gps.flags) == ("GPS", "TO in, FROM past the fix, TO from abeam")
        assert vor.setting.startswith("set 323, ")
        behind = receivers.receivers(briefed(FAR % 323))[0]
        assert behind.flags == "FROM throughout"

    def test_the_second_needle_comes_from_the_side_of_the_radial(self) -> None:
        """Inbound 090 to the 180 radial of a station to the north: before the fix the aircraft is west of that radial,
        right of it as seen from the station, so the needle lies left; arithmetic, by the geometry of the two radials.
        """
        *_, second = receivers.receivers(briefed(CROSSING))
        assert second.setting == "set 180, the crossing radial"
        assert "needle left before the fix, centred over it" in second.flags
        assert "translate(-" in second.drawing

    def test_the_read_back_has_what_is_known_and_rules_for_the_rest(self) -> None:
        # AIM 5-3-8, items of a holding clearance, from memory.
        told = dict(words.read_back(briefed(FAR % 143)))
        assert told["Hold"] == "southeast of the fix"
        assert told["On"] == "143 radial, inbound 323"
        assert told["Legs"] == "5 NM"
        assert told["Turns"] == "left"
        assert told["Maintain"] == told["Expect further clearance"] == told["Time now"] == ""
        assert "expect further clearance ____" in flat(shown(briefed(HOLD)))
        assert page.render(briefed(HOLD)).count('class="blank"') >= 5


class TestCommand:
    @pytest.fixture
    def file(self, tmp_path: Path) -> Path:
        path = tmp_path / "tarne.toml"
        path.write_text(HOLD, encoding="utf-8")
        return path

    def run(self, *arguments: str) -> Result:
        return CliRunner().invoke(main, ["brief", *arguments])

    def test_screen_and_page(self, file: Path, tmp_path: Path) -> None:
        target = tmp_path / "out" / "brief.html"
        result = self.run(str(file), "--tas", "104", "--wind", "280/18", "--arriving", "250", "--html", str(target))
        assert result.exit_code == 0, result.output
        assert "Inbound 143, outbound 323" in result.output
        assert "not for navigation" in result.stderr
        assert target.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")

    def test_indicated_airspeed_altitude_and_temperature(self, file: Path) -> None:
        standard = self.run(str(file), "--ias", "100")
        assert "106 kt true (100 KIAS)" in standard.output
        # ISA at 4,000 ft is 7.1 degrees; 22.1 is 15 warmer, and the true airspeed grows with the root of it.
        warm = self.run(str(file), "--ias", "100", "--oat", "22.1")
        assert warm.output == self.run(str(file), "--ias", "100", "--isa", "15").output.replace("15.0", "15")
        assert "109 kt true" in warm.output

    def test_the_wind_may_be_magnetic(self, file: Path) -> None:
        east = self.run(str(file), "--tas", "100", "--wind", "279.5M/18").output
        assert "wind 280/18 true" in east

    def test_where_from_is_a_direction(self, file: Path) -> None:
        by_heading = self.run(str(file), "--tas", "100", "--arriving", "225").output
        assert by_heading == self.run(str(file), "--tas", "100", "--arriving-from", "045").output
        assert "Arriving on heading 224" in self.run(str(file), "--tas", "100", "--arriving-from", "NE").output

    def test_a_passage_makes_a_plan(self, file: Path) -> None:
        text = self.run(str(file), "--tas", "100", "--over-fix", "15:12:00").output
        (ends, starts) = re.search(r"15:12:00 to (15:1[56]:\d\d) .* (15:1[56]:\d\d) to 15:20:00", flat(text)).groups()  # type: ignore[union-attr]
        assert ends == starts

    @pytest.mark.parametrize(
        ("arguments", "words_told"),
        [
            ("", "Give a true or an indicated airspeed"),
            ("--tas 100 --ias 90", "not both"),
            ("--tas 0", "the true airspeed must be from 30"),
            ("--tas nan", "the true airspeed must be from 30"),
            ("--tas 100 --wind 280", "--wind must be FROM/KT"),
            ("--tas 100 --wind 380/10", "--wind must be FROM/KT"),
            ("--tas 100 --arriving east", "--arriving must be a heading"),
            ("--tas 100 --arriving 361", "--arriving must be a heading"),
            ("--tas 100 --arriving-from up", "--arriving-from must be a direction"),
            ("--tas 100 --arriving 1 --arriving-from N", "not both"),
            ("--ias 100 --isa 10 --oat 3", "not both"),
            ("--tas 100 --turn-rate 0", "the turn rate must be from"),
            ("--tas 100 --bank-limit 90", "the bank limit must be from"),
            ("--tas 100 --over-fix 25:00", "--over-fix must be a time"),
            ("--tas 100 --date tomorrow", "--date must be a day"),
            ("--tas 100 --standard none", "none"),
        ],
    )
    def test_one_line_and_status_2(self, file: Path, arguments: str, words_told: str) -> None:
        result = self.run(str(file), *arguments.split())
        assert result.exit_code == 2
        assert words_told in result.stderr
        assert result.stderr.count("\n") == 1
        assert result.stdout == ""
