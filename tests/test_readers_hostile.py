"""Files made to do harm are refused in one line, within 1 GB of memory, a few seconds, and with no network."""

from __future__ import annotations

import gzip
import socket
import subprocess
import sys
import textwrap
import time
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
import pytest

from tests.awkward.flight import FLIGHT, gpx_text, own_csv
from trackgrade.errors import TrackFileError
from trackgrade.track.readers import read_track
from trackgrade.track.readers.parts import joined

LONGEST_S = 5.0
HEAD = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
POINT = '<trkpt lat="44" lon="-93"><time>2026-05-03T15:20:00Z</time></trkpt>\n'


def refused(path: Path) -> str:
    """The one line with which a file is refused; the file must not take long."""
    started = time.process_time()
    with pytest.raises(TrackFileError) as problem:
        read_track(path)
    assert time.process_time() - started < LONGEST_S
    message = str(problem.value)
    assert "\n" not in message
    assert message.isprintable()
    return message


def read_or_refused_soon(path: Path) -> None:
    started = time.process_time()
    try:
        said = f"{len(read_track(path))} points"
    except TrackFileError as problem:
        said = str(problem)
    assert time.process_time() - started < LONGEST_S
    assert said
    assert said.isprintable()
    assert len(said) < 500


def written(tmp_path: Path, data: str | bytes, name: str = "flight.gpx") -> Path:
    path = tmp_path / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


LAUGHS = '<!DOCTYPE gpx [<!ENTITY a "ha">' + "".join(
    f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(12)
)


@pytest.mark.parametrize(
    "declaration",
    [
        LAUGHS + "]>",
        '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>',
        '<!DOCTYPE gpx [<!ENTITY x SYSTEM "http://127.0.0.1:9/x">]>',
        '<!DOCTYPE gpx SYSTEM "http://127.0.0.1:9/gpx.dtd">',
        '<!DOCTYPE gpx [<!ENTITY % x SYSTEM "http://127.0.0.1:9/x"> %x;]>',
        '<!DOCTYPE gpx [<!ENTITY x "' + "A" * 1_000_000 + '">]>',
        "<!DOCTYPE gpx>",
    ],
    ids=["laughs", "file", "network", "dtd", "parameter", "quadratic", "empty"],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_document_type_definition_is_refused(tmp_path: Path, declaration: str, encoding: str) -> None:
    text = gpx_text().split("?>\n", 1)[1].replace("practice", "&x;&m;&m;")
    message = refused(written(tmp_path, (declaration + text).encode(encoding)))
    assert "entities" in message
    assert "line 1" in message
    assert "root:" not in message


def test_no_reader_touches_the_network_or_another_file(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.setblocking(False)
        url = f"http://127.0.0.1:{server.getsockname()[1]}"
        text = gpx_text().replace(
            "<gpx ",
            '<gpx xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xmlns:xi="http://www.w3.org/2001/XInclude" '
            f'xsi:schemaLocation="{url}/a {url}/a.xsd" ',
        )
        text = text.replace("<trk>", f'<xi:include href="{url}/b"/><?xml-stylesheet href="{url}/c"?><trk>', 1)
        assert len(read_track(written(tmp_path, text))) == len(FLIGHT)
        for outside in (f"{url}/d", "file:///etc/passwd"):
            dtd = f'<!DOCTYPE gpx [<!ENTITY x SYSTEM "{outside}">]>'
            refused(written(tmp_path, dtd + text.split("?>\n", 1)[1].replace("practice", "&x;")))
        with pytest.raises(BlockingIOError):  # nobody called
            server.accept()


def test_absurd_nesting_is_refused_and_a_little_does_no_harm(tmp_path: Path) -> None:
    def nested(depth: int) -> Path:
        inside = "<extensions>" + "<x>" * depth + "</x>" * depth + "</extensions>"
        return written(tmp_path, gpx_text().replace("<trk>", inside + "<trk>"))

    assert len(read_track(nested(50))) == len(FLIGHT)
    assert "nested" in refused(nested(500_000))


@pytest.mark.parametrize(
    "text",
    [
        HEAD + "<metadata><name>" + " xmlns" * 300_000 + "</name></metadata><trk><trkseg>" + POINT * 3,
        HEAD + "<metadata><name>" + ' xmlns="' * 300_000 + "</name></metadata><trk><trkseg>" + POINT * 3,
        HEAD + "<name>" + "&" * 1_000_000 + "</name><trk><trkseg>" + POINT * 3,
        HEAD + "<name>" + "A" * 12_000_000 + "</name><trk><trkseg>" + POINT * 3,
        HEAD + f'<trk n="{"A" * 12_000_000}"><trkseg>' + POINT * 3,
        HEAD + "".join(f'<a xmlns:p{i}="urn:{i}"/>' for i in range(20_000)) + "<trk><trkseg>" + POINT * 3,
        HEAD + "<a " + " ".join(f'a{i}="1"' for i in range(100_000)) + "/><trk><trkseg>" + POINT * 3,
        "<gpx" + "\n" * 3_000_000,
        "<" * 1_000_000,
        HEAD + "<!--" + "-" * 3_000_000,
        HEAD + "<![CDATA[" * 100_000,
        HEAD + "<trk><trkseg>" + POINT.replace("2026", "9" * 2_000_000) * 3 + "</trkseg></trk></gpx>",
        HEAD + "<trk><trkseg>" + POINT.replace('"44"', f'"{"4" * 2_000_000}"') * 3 + "</trkseg></trk></gpx>",
    ],
    ids=[
        *("xmlns words", "xmlns quotes", "ampersands", "long name", "long attribute", "namespaces", "attributes"),
        *("blank", "open", "comment", "cdata", "long time", "long number"),
    ],
)
def test_texts_that_make_a_parser_slow_are_read_or_refused_soon(tmp_path: Path, text: str) -> None:
    read_or_refused_soon(written(tmp_path, text))


@pytest.mark.parametrize(
    "text",
    [
        "time_utc,lat,lon\n" + '"' * 3_000_000,
        "time_utc,lat,lon\n" + ("2026-05-03 " + " " * 40_000 + "15:20:00Z,44,-93\n") * 50,
        "time_utc,lat,lon\n" + ("2026-05-03T15:20:00Z,44" + " " * 40_000 + "N,-93\n") * 50,
        "time_utc,lat,lon\n" + ("2026-05-03T15:20:00Z," + "4" * 40_000 + ",-93\n") * 50,
        "#" * 3_000_000,
        "\n" * 3_000_000 + "x",
        "," * 40_000 + "\n" + "," * 40_000,
        ("lat " * 12_000 + "\n") * 50,
        "time_utc,lat,lon\n" + "2026-05-03T15:20:00Z,44,-93\n" * 410_000,
        "time_utc" + "\x00" * 1_000_000 + ",lat,lon\n",
        "time_utc,lat,lon\n" + '2026-05-03T15:20:00Z,"4""4",-93\n' * 10_000,
        "\n".join(",".join(f"alt{i}{j}x" for j in range(1_900)) for i in range(140)),
    ],
    ids=[
        "quotes",
        "blanks",
        "blank side",
        "digits",
        "comment",
        "lines",
        "commas",
        "words",
        "rows",
        "nul",
        "doubled",
        "headers",
    ],
)
def test_tables_that_make_a_parser_slow_are_read_or_refused_soon(tmp_path: Path, text: str) -> None:
    read_or_refused_soon(written(tmp_path, text, "flight.csv"))


BOUNDED = textwrap.dedent(
    """
    import resource, sys
    from trackgrade.errors import TrackFileError
    from trackgrade.track.readers import read_track
    resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))
    try:
        print(len(read_track(sys.argv[1])), "points")
    except TrackFileError as problem:
        print(problem)
        sys.exit(2)
    """
)


def within_one_gigabyte(path: Path) -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, "-c", BOUNDED, str(path)], capture_output=True, text=True, check=False, timeout=60
    )
    assert "Traceback" not in done.stderr, done.stderr[-2000:]
    return done.returncode, done.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="resource limits of POSIX")
@pytest.mark.parametrize("name", ["a.gpx", "a.csv"])
@pytest.mark.parametrize("day", ["02-30", "02-29", "04-31", "13-01", "00-10", "06-00"])
def test_a_time_outside_the_calendar_among_many_costs_its_point(tmp_path: Path, name: str, day: str) -> None:
    """In a process of its own: numpy 2.4.6 ends its process over one of these among more than 500."""
    rows = [f"2026-05-03T15:{row // 60 % 60:02d}:{row % 60:02d}Z" for row in range(1_200)]
    rows[700] = f"2026-{day}T15:20:00Z"
    if name.endswith("gpx"):
        points = "".join(
            f'<trkpt lat="44.{row:04d}" lon="-93"><time>{time}</time></trkpt>' for row, time in enumerate(rows)
        )
        text = f"{HEAD}<trk><trkseg>{points}</trkseg></trk></gpx>"
    else:
        text = "time_utc,lat,lon\n" + "".join(f"{time},44.{row:04d},-93\n" for row, time in enumerate(rows))
    assert within_one_gigabyte(written(tmp_path, text, name)) == (0, "1199 points\n")


@pytest.mark.skipif(sys.platform == "win32", reason="resource limits of POSIX")
@pytest.mark.parametrize(
    ("head", "block", "times", "tail", "said"),
    [
        (HEAD + "<trk><trkseg>", POINT, 10_000_000, "</trkseg></trk></gpx>", "MiB"),
        pytest.param(
            *(HEAD + "<trk><trkseg>", POINT, 1_100_000, "</trkseg></trk></gpx>", "1,000,000 track points"),
            marks=pytest.mark.fuzz,
        ),
        (HEAD, '<wpt lat="1" lon="1"/>', 300_000, "</gpx>", "only waypoints"),
        (HEAD + "<rte>", '<rtept lat="1" lon="1"/>', 300_000, "</rte></gpx>", "a plan of 300000 points"),
        (HEAD + "<extensions>", "<a/>", 17_000_000, "</extensions></gpx>", "16,000,000 XML tags"),
        (HEAD, "<trk><trkseg/></trk>", 300_000, "</gpx>", "no track point"),
        (HEAD, "<?a b?>", 3_000_000, "</gpx>", "no track point"),
        (HEAD + "<a", ' b="1"', 8_000_000, "/></gpx>", "512 KiB"),
        (HEAD + "<!--", "some words ", 4_000_000, "--></gpx>", "512 KiB"),
        (HEAD + "<trk><name>", "some words ", 5_000_000, "</name></trk></gpx>", "no track point"),
        ("time_utc,lat,lon\n", "2026-05-03T15:20:00Z,44,-93\n", 10_000_000, "", "MiB"),
        ("time_utc,lat,lon\n", "2026-05-03T15:20:00Z,44,-93\n", 3_000_000, "", "400,000 rows"),
        ("", "\x00", 4_000_000_000, "", "MiB"),
    ],
    ids=[
        *("10 million points", "points", "waypoints", "route", "elements", "empty tracks", "instructions"),
        *("attributes", "comment", "name", "10 million rows", "rows", "nothing"),
    ],
)
def test_huge_files_are_refused_within_one_gigabyte(
    tmp_path: Path, head: str, block: str, times: int, tail: str, said: str
) -> None:
    # Members of gzip may follow each other: one packed block stands for many.
    share = max(1, times // 100)
    packed = gzip.compress((block * share).encode(), compresslevel=1, mtime=0)
    path = tmp_path / "huge.gz"
    with path.open("wb") as file:
        file.write(gzip.compress(head.encode()))
        for _ in range(times // share):
            file.write(packed)
        file.write(gzip.compress(tail.encode()))
    status, message = within_one_gigabyte(path)
    assert status == 2
    assert said in message


@pytest.mark.skipif(sys.platform == "win32", reason="resource limits of POSIX")
def test_a_huge_plain_file_is_refused_by_its_size(tmp_path: Path) -> None:
    path = tmp_path / "huge.gpx"
    with path.open("wb") as file:
        file.truncate(20 * 1024**3)  # a hole of 20 GB takes no disk
        file.seek(0)
        file.write(HEAD.encode())
    status, message = within_one_gigabyte(path)
    assert status == 2
    assert "more than 256 MiB" in message


@pytest.mark.parametrize("step_s", [0, 1])
def test_a_segment_for_every_point_takes_time_by_the_point(step_s: int) -> None:
    """A million of them can come; each was held against all before it, and had its percentiles from numpy."""
    count = 40_000
    started = time.process_time()
    rows = joined([(0, row) for row in range(count)], np.arange(count) * float(step_s), [])
    assert time.process_time() - started < 1.0
    assert len(rows) == count


def test_names_without_end_are_refused(tmp_path: Path) -> None:
    names = "".join(f"<a{i}/>" for i in range(40_000))
    assert "5,000 names" in refused(written(tmp_path, HEAD + names + "<trk><trkseg>" + POINT * 3))


@pytest.mark.fuzz
@pytest.mark.skipif(sys.platform == "win32", reason="resource limits of POSIX")
@pytest.mark.parametrize("packed", [False, True], ids=["plain", "gzip"])
def test_a_day_at_10_hz_with_extensions_is_read_within_one_gigabyte(tmp_path: Path, packed: bool) -> None:
    day = "".join(
        f'<trkpt lat="{44 + i * 1e-6:.6f}" lon="-93"><ele>1200.5</ele><time>2026-05-03T{i // 36000:02d}:'
        f"{i // 600 % 60:02d}:{i / 10 % 60:04.1f}Z</time><extensions><a:b><a:speed>51</a:speed><a:course>{i % 360}"
        "</a:course><a:other>12345</a:other></a:b></extensions></trkpt>\n"
        for i in range(864_000)
    )
    data = (HEAD.replace(">", ' xmlns:a="urn:a">') + f"<trk><trkseg>{day}</trkseg></trk></gpx>").encode()
    assert len(data) > 160 * 1024 * 1024
    path = written(tmp_path, gzip.compress(data, 1) if packed else data)
    assert within_one_gigabyte(path) == (0, "864000 points\n")


HOSTILE_NAMES = [
    "<script>alert(1)</script>",
    "\x1b]0;owned\x07\x1b[2J\x1b[31mred",
    "../../../../etc/passwd",
    "{{ 7 * 7 }} {% include 'x' %} ${x} `id` $(id)",
    "\u202egnp.exe\u2066",
    "line\nbreak\rreturn",
    "%s%n{0}{x!r}",
    "a" * 10_000,
]


@pytest.mark.parametrize("hostile", HOSTILE_NAMES)
def test_names_and_texts_from_a_file_come_out_as_plain_lines(tmp_path: Path, hostile: str) -> None:
    name = "".join(c for c in hostile if c not in "/\n\r\x00")[:100] + ".gpx"
    extra = f'<wpt lat="44" lon="-93"><time>2026-05-03T15:20:30Z</time><name>{escape(hostile)}</name></wpt>'
    point = f"<extensions><speed>{escape(hostile)}</speed></extensions>".replace("{", "{{").replace("}", "}}")
    cell = '"' + hostile.replace('"', '""') + '"'
    table = own_csv().replace("groundspeed_kt", cell).replace("110.0", cell).replace(",track_true_deg", ",mark")
    for data in (gpx_text(extra=extra, point=point), table):
        try:
            track = read_track(written(tmp_path, data, name))
        except TrackFileError as problem:  # line breaks and many control characters make no table
            texts = [str(problem)]
            assert data is table
        else:
            texts = [track.source, *track.notes, *(m.label for m in track.marks)]
            texts += [t for p in track.provenance for t in (p.column, p.unit, p.note)]
        for text in texts:
            assert text.isprintable()
            assert len(text) < 600


def test_a_hostile_file_name_in_a_refusal_is_plain(tmp_path: Path) -> None:
    path = tmp_path / "\x1b[31mred\x1b[0m\u202e.gpx"
    path.write_text("nothing")
    assert refused(path).startswith("red.gpx")
