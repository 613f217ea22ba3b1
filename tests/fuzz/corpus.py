"""Good files of each kind, small: what damage is done to. And tracks, well formed, on which nobody flew anything."""

from __future__ import annotations

import gzip
import math
import random
from datetime import timedelta
from functools import cache

from tests import plain_flight
from tests.awkward.flight import FLIGHT, gpx_text
from tests.awkward.kml import kml, kmz, placemarks, track_text
from tests.awkward.wild import SHAPES


@cache
def corpus(target: str) -> tuple[bytes, ...]:
    """Good files of each kind, small."""
    if target == "track":
        extra = '<wpt lat="44" lon="-93"><time>2026-05-03T15:20:30Z</time><name>mark</name></wpt>'
        point = "<extensions><x:speed>{ms}</x:speed><x:course>{r.course_deg}</x:course></extensions>"
        some = [s.data() for s in SHAPES.values() if not s.columns_map]
        return (
            gpx_text(FLIGHT[:40], extra=extra).encode(),
            gpx_text(FLIGHT[:40], point=point).replace("<gpx ", '<gpx xmlns:x="urn:x" ').encode(),
            gpx_text(FLIGHT[:30], version="1.0", point="<speed>{ms}</speed>").encode(),
            gpx_text(FLIGHT[:30]).encode("utf-16"),
            gzip.compress(gpx_text(FLIGHT[:30]).encode(), mtime=0),
            kml(track_text(FLIGHT[:30])).encode(),
            kml(extra=placemarks(FLIGHT[:20])).encode(),
            kmz({"a.kml": kml(track_text(FLIGHT[:30])).encode()}),
            *some,
        )
    if target == "flight":
        rows = plain_flight.rows(before_s=90, laps=1, after_s=40, interval_s=2.0)
        return (plain_flight.gpx(rows).encode(), plain_flight.csv(rows).encode())
    if target == "long flight":  # numpy takes more than 500 at once another way
        rows = plain_flight.rows(before_s=90, laps=1, after_s=40, interval_s=0.25)
        return (plain_flight.gpx(rows).encode(), plain_flight.csv(rows).encode())
    if target == "columns":
        maps = [s.columns_map.encode() for s in SHAPES.values() if s.columns_map]
        whole = b'delimiter = ","\ndecimal = "."\nheader_line = 1\nmark = false\nias_kt = "kt"\n'
        return (*maps, whole)
    if target == "hold":
        return (plain_flight.HOLD_TOML.encode(), *(HOLDS[name].encode() for name in sorted(HOLDS)))
    from importlib import resources

    folder = resources.files("trackgrade.score.standards")
    return tuple(sorted(f.read_bytes() for f in folder.iterdir() if f.name.endswith(".toml")))


HOLDS = {
    "radial": """\
name = "A"
inbound_course_deg = 323.0
north = "magnetic"
turns = "left"
arrive_utc = 2026-05-03T15:20:00Z
[fix]
from = { lat = 44.0, lon = -93.0, radial_deg = 143.0, dme_nm = 12.0, variation_deg = 2.0 }
[leg]
nm = 4.0
[guidance]
kind = "vor"
station_lat = 44.0
station_lon = -93.0
""",
    "crossing": """\
name = "B"
inbound_course_deg = 90
north = "true"
variation_deg = 1
turns = "right"
[fix]
radials = [ { lat = 44.0, lon = -93.0, radial_deg = 90.0 }, { lat = 44.5, lon = -92.5, radial_deg = 180.0 } ]
""",
    "levels": plain_flight.HOLD_TOML
    + """
[guidance]
kind = "gps"
full_scale_nm = 0.3
[[levels]]
altitude_ft = 3500
from_utc = 2026-05-03T15:03:00Z
[[levels]]
altitude_ft = 4500.5
from_utc = 2026-05-03T15:07:00Z
""",
    "set": "qnh_hpa = 1013.25\nvariation_deg = 0.0\n" + plain_flight.HOLD_TOML,
}


NONSENSE = (
    *("teleport", "shuffled times", "still", "random walk", "constant", "far jumps", "wild altitude walk"),
    *("two places", "too fast", "straight", "few points"),
)


def nonsense(dice: random.Random) -> bytes:
    """A well-formed CSV about the fix of the plain hold in which nobody flew anything."""
    kind = dice.choice(NONSENSE)
    interval_s = dice.choice((1.0, 2.0, 2.0, 5.0, 10.0))
    rows = plain_flight.rows(before_s=120, laps=3, after_s=60, interval_s=interval_s, seed=dice.randrange(1000))
    times = [r[0] for r in rows]
    lats, lons = [r[1] for r in rows], [r[2] for r in rows]
    count = len(rows)
    fix = (plain_flight.FIX_LAT_DEG, plain_flight.FIX_LON_DEG)
    if kind == "teleport":
        lats = [fix[0] + dice.uniform(-0.08, 0.08) for _ in range(count)]
        lons = [fix[1] + dice.uniform(-0.1, 0.1) for _ in range(count)]
    elif kind == "shuffled times":
        dice.shuffle(times)
    elif kind == "still":
        lats = [fix[0] + dice.gauss(0, 3e-5) for _ in range(count)]
        lons = [fix[1] + dice.gauss(0, 3e-5) for _ in range(count)]
    elif kind == "two places":
        away = dice.uniform(0.02, 0.1)
        lats = [fix[0] + away * (i % 2) + dice.gauss(0, 3e-5) for i in range(count)]
        lons = [fix[1] + away * (i % 2) + dice.gauss(0, 3e-5) for i in range(count)]
    elif kind == "too fast":
        times = [times[0] + (t - times[0]) / 30 for t in times]
    elif kind == "straight":
        lats = [fix[0] + 6e-4 * interval_s * (i - count / 2) for i in range(count)]
        lons = [fix[1] + 6e-4 * interval_s * (i - count / 2) for i in range(count)]
    elif kind == "few points":  # on and off the racetrack and the fix, minutes apart
        count = dice.randint(5, 14)
        apart_s = dice.choice((30, 40, 60, 90, 120, 150, 240))
        times = [times[0] + timedelta(seconds=apart_s * i + dice.uniform(-0.1, 0.1) * apart_s) for i in range(count)]
        some = [(0.0, 0.0), *((rows[k][1] - fix[0], rows[k][2] - fix[1]) for k in dice.sample(range(len(rows)), 4))]
        places = [dice.choice(some) for _ in range(count)]
        lats = [fix[0] + north + dice.gauss(0, 5e-4) for north, _ in places]
        lons = [fix[1] + east + dice.gauss(0, 5e-4) for _, east in places]
    elif kind == "constant":
        lats, lons = [fix[0]] * count, [fix[1]] * count
    else:
        step = {"random walk": 2e-3, "far jumps": 2e-1}.get(kind, 6e-4)
        lat, lon = fix
        lats, lons = [], []
        for _ in range(count):
            lat = min(89.0, max(-89.0, lat + dice.gauss(0, step)))
            lon = math.remainder(lon + dice.gauss(0, step), 360.0)
            lats.append(lat)
            lons.append(lon)
    lines = ["time_utc,lat,lon,alt_ft"]
    lines += [f"{t.isoformat()},{a:.7f},{o:.7f},4000" for t, a, o in zip(times, lats, lons)]
    return "\n".join(lines).encode()
