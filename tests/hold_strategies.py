"""Any hold plan that a hold file can give, for hypothesis."""

from __future__ import annotations

import datetime as dt

from hypothesis import strategies as st

from trackgrade.hold.hold import Leg
from trackgrade.hold.holdfile import LEAST_DME_NM, LEAST_LEG_MIN, LEAST_LEG_NM, LEAST_SCALE_DEG, LEAST_SCALE_NM
from trackgrade.hold.plan import Crossing, Fix, GuidancePlan, HoldPlan, Position, Radial, RadialDistance


def numbers(low: float, high: float, *, open_low: bool = False) -> st.SearchStrategy[float]:
    return st.floats(low, high, exclude_min=open_low, allow_nan=False).map(lambda x: x + 0.0)


courses = numbers(0, 360, open_low=True)
positions = st.builds(Position, numbers(-90, 90), numbers(-180, 180))
radials = st.builds(Radial, positions, courses, st.none() | numbers(-180, 180))
fixes: st.SearchStrategy[Fix] = st.one_of(
    positions,
    st.builds(RadialDistance, radials, numbers(LEAST_DME_NM, 300)),
    st.builds(Crossing, radials, radials),
)
legs = st.one_of(
    st.none(),
    st.builds(Leg, minutes=numbers(LEAST_LEG_MIN, 10)),
    st.builds(Leg, nm=numbers(LEAST_LEG_NM, 50)),
)
names = st.text(st.characters(exclude_categories=["C", "Z"]) | st.sampled_from(' "\\#'), max_size=60).map(
    lambda name: " ".join(name.split())
)


@st.composite
def plans(draw: st.DrawFn) -> HoldPlan:
    fix = draw(fixes)
    kind = draw(st.sampled_from(["gps", "vor"]))
    station = draw(positions if kind == "vor" and not isinstance(fix, RadialDistance) else st.none() | positions)
    return HoldPlan(
        name=draw(names),
        inbound_course_deg=draw(courses),
        fix=fix,
        north=draw(st.sampled_from(["magnetic", "true"])),
        variation_deg=draw(st.none() | numbers(-180, 180)),
        turns=draw(st.sampled_from(["right", "left"])),
        leg=draw(legs),
        guidance=GuidancePlan(
            kind=kind,
            full_scale_nm=draw(numbers(LEAST_SCALE_NM, 10)),
            full_scale_deg=draw(numbers(LEAST_SCALE_DEG, 20)),
            station=station,
            station_variation_deg=draw(st.none() | numbers(-180, 180)),
            course_set_deg=draw(st.none() | courses),
            flag=draw(st.sampled_from([None, "TO", "FROM"])),
        ),
        altitude_ft=draw(st.none() | numbers(-1500, 60000)),
        airspeed_kias=draw(st.none() | numbers(30, 500)),
        arrive_utc=draw(
            st.none() | st.datetimes(dt.datetime(1971, 1, 1), dt.datetime(2199, 1, 1), timezones=st.just(dt.UTC))
        ),
    )
