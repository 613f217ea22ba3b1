"""Hold files: what is accepted, what is refused with which words, and the way back to text."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest
from hypothesis import example, given, settings, strategies as st

from tests.hold_strategies import plans
from trackgrade.errors import HoldFileError
from trackgrade.hold.hold import Leg
from trackgrade.hold.holdfile import parse_hold, read_hold_file, write_hold_file
from trackgrade.hold.plan import GuidancePlan, HoldPlan, Position

FULL = """
name = "Practice hold"
inbound_course_deg = 143.0
north = "magnetic"
variation_deg = 2.5
turns = "left"
altitude_ft = 4000
airspeed_kias = 100
arrive_utc = 2026-05-03T15:20:00Z

[fix]
lat = 44.0
lon = -93.0

[leg]
nm = 4.0

[guidance]
kind = "vor"
station_lat = 44.1
station_lon = -92.9
station_variation_deg = 3
full_scale_deg = 12
course_set_deg = 143
flag = "TO"
"""


def test_every_key() -> None:
    assert parse_hold(FULL, "a.toml") == HoldPlan(
        name="Practice hold",
        inbound_course_deg=143.0,
        fix=Position(44.0, -93.0),
        north="magnetic",
        variation_deg=2.5,
        turns="left",
        leg=Leg(nm=4.0),
        guidance=GuidancePlan(
            kind="vor",
            full_scale_deg=12.0,
            station=Position(44.1, -92.9),
            station_variation_deg=3.0,
            course_set_deg=143.0,
            flag="TO",
        ),
        altitude_ft=4000.0,
        airspeed_kias=100.0,
        arrive_utc=dt.datetime(2026, 5, 3, 15, 20, tzinfo=dt.UTC),
    )


def test_little_is_needed() -> None:
    plan = parse_hold("inbound_course_deg = 360\n[fix]\nlat = 44\nlon = -93\n", "north gate.toml")
    assert plan == HoldPlan("north gate", 360.0, Position(44.0, -93.0))
    assert (plan.north, plan.turns, plan.guidance.kind, plan.leg) == ("magnetic", "right", "gps", None)


def hold_text(*, top: str = "", fix: str = "lat = 44\nlon = -93", leg: str = "", guidance: str = "") -> str:
    text = f"{top}\n[fix]\n{fix}\n"
    if "inbound_course_deg" not in top:
        text = "inbound_course_deg = 143\n" + text
    return text + (f"[leg]\n{leg}\n" if leg else "") + (f"[guidance]\n{guidance}\n" if guidance else "")


STATION = 'kind = "vor"\nstation_lat = 44\nstation_lon = -93\n'
RADIAL = "lat = 44, lon = -93, radial_deg = 143"


# Each row: the text, then what the one line must name: the key, the reason, the remedy.
@pytest.mark.parametrize(
    ("text", "words"),
    [
        (hold_text(top="inbound_course_deg = 0"), "inbound_course_deg: .*above 0 and at most 360.*not 0"),
        (hold_text(top="inbound_course_deg = 361"), "inbound_course_deg: .*at most 360.*361"),
        (hold_text(top="inbound_course_deg = nan"), "inbound_course_deg: .*nan"),
        (hold_text(top='inbound_course_deg = "143"'), "inbound_course_deg: must be a number.*'143'"),
        (hold_text(top="inbound_course_deg = true"), "inbound_course_deg: must be a number"),
        ("[fix]\nlat = 44\nlon = -93\n", "inbound_course_deg: is missing"),
        ("inbound_course_deg = 143\n", "fix: is missing.*lat and lon"),
        (hold_text(top="varation_deg = 2"), "varation_deg: unknown key; did you mean variation_deg"),
        (hold_text(top="Turns = 'left'"), "Turns: unknown key; did you mean turns"),
        (hold_text(top="zzz = 2"), "zzz: unknown key; known here: name, inbound_course_deg"),
        (hold_text(top='north = "magnetc"'), 'north: .*did you mean "magnetic"'),
        (hold_text(top='turns = "up"'), 'turns: .*must be "right" or "left"'),
        (hold_text(top="turns = 1"), "turns: must be text in quotes"),
        (hold_text(top="name = 7"), "name: must be text in quotes"),
        (hold_text(top="variation_deg = 200"), "variation_deg: must be from -180 to 180"),
        (hold_text(top="altitude_ft = 99000"), "altitude_ft: must be from -1500 to 60000 .feet"),
        (hold_text(top="airspeed_kias = inf"), "airspeed_kias: .*knots indicated.*inf"),
        (hold_text(top="airspeed_kias = 1" + "0" * 400), "airspeed_kias: "),
        (hold_text(top="arrive_utc = 2026-05-03T15:20:00"), "arrive_utc: must end in Z"),
        (hold_text(top='arrive_utc = "2026-05-03T15:20:00Z"'), "arrive_utc: .*without quotes"),
        (hold_text(top="arrive_utc = 15:20:00"), "arrive_utc: .*without quotes"),
        (hold_text(top="arrive_utc = 0001-01-01T00:00:00+10:00"), "arrive_utc: the year 1"),
        (hold_text(top="fix2 = 1"), "fix2: unknown key; did you mean fix"),
        ("inbound_course_deg = 143\nfix = 3\n", "fix: must be a table, not 3"),
        (hold_text(fix="lat = 44"), "fix.lon: is missing .degrees, east positive"),
        (hold_text(fix="lon = 44"), "fix.lat: is missing .degrees, north positive"),
        (hold_text(fix="lat = 91\nlon = 0"), "fix.lat: must be from -90 to 90"),
        (hold_text(fix="lat = 44\nlon = 267"), "fix.lon: must be from -180 to 180"),
        (hold_text(fix=""), "fix.lat: give the fix in one way.*none is there"),
        (hold_text(fix=f"lat = 44\nlon = -93\nfrom = {{ {RADIAL}, dme_nm = 3 }}"), "one way.*lat and lon and from"),
        (hold_text(fix=f"lon = -93\nfrom = {{ {RADIAL}, dme_nm = 3 }}"), "one way.*lon and from"),
        (hold_text(fix=f"from = {{ {RADIAL} }}"), "fix.from.dme_nm: is missing"),
        (hold_text(fix=f"from = {{ {RADIAL}, dme_nm = 0 }}"), "fix.from.dme_nm: must be from 0.01"),
        (hold_text(fix="from = { lat = 44, lon = -93, dme_nm = 3 }"), "fix.from.radial_deg: is missing"),
        (hold_text(fix=f"from = {{ {RADIAL}, dme = 3 }}"), "fix.from.dme: unknown key; did you mean dme_nm"),
        (hold_text(fix="radials = 3"), "fix.radials: must be a list of two tables"),
        (hold_text(fix=f"radials = [ {{ {RADIAL} }} ]"), "fix.radials: must be a list of two tables"),
        (hold_text(fix=f"radials = [ {{ {RADIAL} }}, {{ lat = 4, lon = 5 }} ]"), r"fix.radials\[2\].radial_deg"),
        (hold_text(leg="minutes = 1\nnm = 4"), "leg.minutes: give either minutes or nm, not both"),
        (hold_text(leg="miles = 1"), "leg.miles: unknown key"),
        ("inbound_course_deg = 143\n[fix]\nlat=44\nlon=-93\n[leg]\n", "leg.minutes: give either minutes or nm"),
        (hold_text(leg="minutes = 0"), "leg.minutes: must be from 0.1"),
        (hold_text(guidance='kind = "ndb"'), 'guidance.kind: .*must be "gps" or "vor"'),
        (hold_text(guidance='kind = "vor"'), "guidance.station_lat: is missing: say where the VOR stands"),
        (hold_text(guidance='kind = "vor"\nstation_lat = 44'), "guidance.station_lon: is missing"),
        (hold_text(guidance=STATION + 'flag = "OFF"'), 'guidance.flag: .*must be "TO" or "FROM"'),
        (hold_text(guidance=STATION + "full_scale_deg = 0"), "guidance.full_scale_deg: must be from 0.1"),
        (hold_text(guidance="full_scale = 1"), "guidance.full_scale: unknown key; did you mean full_scale"),
        ("inbound_course_deg = 143 degrees", "is not valid TOML: .*line 1"),
        ("a = " + "[" * 100000, "nested too deep"),
        ("a = 2026-99-99T00:00:00Z", "is not valid TOML|out of all range"),
    ],
)
def test_refused_in_one_line(text: str, words: str) -> None:
    with pytest.raises(HoldFileError) as refusal:
        parse_hold(text, "my hold.toml")
    message = str(refusal.value)
    assert message.startswith("my hold.toml: ")
    assert re.search(words, message), message
    assert "\n" not in message


def test_a_name_cannot_drive_the_terminal() -> None:
    plan = parse_hold(hold_text(top=r'name = "A\u001b[2J\u202eB"'), "x.toml")
    assert plan.name == "AB"


def test_reading_from_disk(tmp_path: Path) -> None:
    path = tmp_path / "hold.toml"
    path.write_bytes(b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode())  # as some editors save it
    assert read_hold_file(path) == parse_hold(FULL)
    path.write_bytes(FULL.encode("utf-16"))
    with pytest.raises(HoldFileError, match=r"hold\.toml: line 1 is not UTF-8"):
        read_hold_file(path)
    path.write_bytes(b"#" * (1024 * 1024 + 1))
    with pytest.raises(HoldFileError, match="more than 256 KiB"):
        read_hold_file(path)
    with pytest.raises(HoldFileError, match="no such file"):
        read_hold_file(tmp_path / "none.toml")
    with pytest.raises(HoldFileError, match="folder"):
        read_hold_file(tmp_path)


# --- There and back ---------------------------------------------------------------------------------------------------


@given(plans())
@settings(max_examples=150, deadline=None)
def test_what_is_written_reads_back_the_same(plan: HoldPlan) -> None:
    assert parse_hold(write_hold_file(plan)) == plan


KEYS = st.sampled_from(
    ["name", "inbound_course_deg", "north", "turns", "fix", "lat", "lon", "from", "radials", "leg", "minutes", "nm",
     "guidance", "kind", "station_lat", "arrive_utc", "variation_deg", "radial_deg", "dme_nm", "x"]
)  # fmt: skip
VALUES = st.recursive(
    st.sampled_from(["1", "0", "-7.5", "nan", "inf", "1e400", '"vor"', '"left"', '""', "true", "44",
                     "2026-05-03T15:20:00Z", "2026-05-03", "9" * 400, "0x7f", '"\\u0000"'])
    | st.integers().map(str),
    lambda inner: st.lists(inner, max_size=3).map(lambda items: f"[{', '.join(items)}]")
    | st.dictionaries(KEYS, inner, max_size=5).map(
        lambda table: "{" + ", ".join(f"{key} = {value}" for key, value in table.items()) + "}"
    ),
    max_leaves=12,
)  # fmt: skip
DOCUMENTS = st.dictionaries(KEYS, VALUES, max_size=8).map(
    lambda table: "\n".join(f"{key} = {value}" for key, value in table.items())
)


@given(st.one_of(DOCUMENTS, st.text(max_size=200)))
@example("inbound_course_deg = 1\nfix = { lat = 1, lon = 1 }\narrive_utc = 9999-12-31T23:59:59-10:00")
@settings(max_examples=400, deadline=None)
def test_any_text_is_a_plan_or_refused(text: str) -> None:
    message, plan = "", None
    try:
        plan = parse_hold(text)
    except HoldFileError as refusal:
        message = str(refusal)
    assert "\n" not in message
    assert plan is None or parse_hold(write_hold_file(plan)) == plan
