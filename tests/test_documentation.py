"""The manual and DEVELOPERS cannot drift from the program; ``python -m tests.test_documentation`` writes them anew."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
import tomllib
from importlib import import_module
from pathlib import Path

import click
import pytest

import trackgrade
from tests.test_order import ORDER
from trackgrade.commands import COMMANDS, console, main
from trackgrade.exports.schema import schema_text
from trackgrade.files import write_whole

ROOT = Path(trackgrade.__file__).parents[1]
README = ROOT / "README.md"
REFERENCE = ROOT / "docs" / "commands.md"
FILES = ROOT / "docs" / "files.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
START, END = "<!-- commands -->\n", "<!-- end of commands -->"
SCHEMA = Path(trackgrade.__file__).parent / "exports" / "debrief.schema.json"
MAP_START, MAP_END = "<!-- map -->\n", "<!-- end of map -->"

#: Examples that stand beside each command's options; every one is parsed by the program in a test.
EXAMPLES = {
    "brief": ["trackgrade brief tarne.toml --tas 104 --wind 280/18 --arriving 250"],
    "serve": [
        "trackgrade serve",
        "trackgrade serve --holds /srv/school/holds --logbook postgresql+psycopg://instructor@server/logbook",
    ],
    "grade": [
        "trackgrade grade flight.gpx",
        "trackgrade grade flight.gpx --hold tarne.toml",
        "trackgrade grade flight.gpx --hold tarne.toml --standard training --json flight.json --csv flight.csv",
        "trackgrade grade flight.gpx --hold tarne.toml --figure handout.pdf",
        "trackgrade grade flight.igc --hold tarne.toml --kml map.kml --geojson map.geojson",
        'trackgrade grade flight.csv --hold tarne.toml --pilot "Pilot A" --note "first left turns"',
    ],
    "find": [
        "trackgrade find flight.gpx --write holds",
        "trackgrade find flight.gpx --json holds.json --html holds.html",
    ],
    "holds": [
        "trackgrade holds add tarne.toml",
        "trackgrade holds add --from-find flight.gpx --name tarne",
        "trackgrade holds show tarne",
    ],
    "columns": ["trackgrade columns flight.csv"],
    "standards": ["trackgrade standards", "trackgrade standards faa_instrument_airplane"],
    "progress": ['trackgrade progress --pilot "Pilot A"', "trackgrade progress"],
    "logbook": ["trackgrade logbook export sessions.jsonl", 'trackgrade logbook delete --pilot "Pilot A"'],
    "simulate": ["trackgrade simulate tarne.toml"],
    "demo": ["trackgrade demo", "trackgrade demo --season"],
}


HELP_NAMES = {"help_option_names": ["-h", "--help"]}


def command_of(name: str) -> click.Command:
    command: click.Command = import_module(f"trackgrade.commands.{name}").command
    return command


def options_of(name: str) -> str:
    """The help of a command as the terminal shows it 80 columns wide, subcommands after it."""
    command = command_of(name)
    context = click.Context(main, info_name="trackgrade", terminal_width=80, **HELP_NAMES)
    texts = [command.get_help(click.Context(command, info_name=name, parent=context, terminal_width=80))]
    if isinstance(command, click.Group):
        own = click.Context(command, info_name=name, parent=context, terminal_width=80)
        for inner in command.list_commands(own):
            sub = command.get_command(own, inner)
            assert sub is not None
            texts.append(sub.get_help(click.Context(sub, info_name=inner, parent=own, terminal_width=80)))
    return "\n\n".join(texts)


def commands_section() -> str:
    parts = []
    for name, line in COMMANDS.items():
        examples = "\n".join(EXAMPLES[name])
        parts.append(
            f"### {name}\n\n{line}\n\n```sh\n{examples}\n```\n\n"
            f"<details><summary>Options</summary>\n\n```text\n{options_of(name)}\n```\n\n</details>\n"
        )
    return "\n" + "\n".join(parts) + "\n"


def test_every_command_stands_in_the_reference_with_its_options_as_they_are() -> None:
    _, start, rest = REFERENCE.read_text(encoding="utf-8").partition(START)
    shown, end, _ = rest.partition(END)
    assert start
    assert end
    # In a process of its own: click keeps the help option of a command as it was first run.
    printed = subprocess.run(
        [sys.executable, "-m", "tests.test_documentation", "--print"],
        capture_output=True, text=True, encoding="utf-8", cwd=ROOT, timeout=120, check=True,
        env=os.environ | {"PYTHONIOENCODING": "utf-8"},
    )  # fmt: skip
    assert shown == printed.stdout, "docs/commands.md is stale: run  python -m tests.test_documentation"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_and_option_has_help(name: str) -> None:
    command = command_of(name)
    assert command.help
    assert len(command.help) > 40
    for parameter in command.params:
        if isinstance(parameter, click.Option) and not parameter.hidden:
            assert parameter.help, f"{name} {parameter.opts} has no help"


@pytest.mark.parametrize("name", ["grade", "brief", "find", "demo"])
def test_cautions_stand_in_the_help(name: str) -> None:
    assert console.CAUTION.split(":")[0] in re.sub(r"\s+", " ", options_of(name))


@pytest.mark.parametrize("example", [line for lines in EXAMPLES.values() for line in lines])
def test_examples_are_understood(example: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each example is parsed by its own command: an option that went away is found here."""
    import shlex

    monkeypatch.chdir(tmp_path)
    for name in ("flight.gpx", "flight.csv", "tarne.toml"):
        (tmp_path / name).touch()
    _, *arguments = shlex.split(example)
    with main.make_context("trackgrade", arguments) as context:
        name, command, rest = main.resolve_command(context, [*context._protected_args, *context.args])
        assert command is not None
        while isinstance(command, click.Group):
            inner = command.make_context(name, rest, parent=context)
            name, command, rest = command.resolve_command(inner, [*inner._protected_args, *inner.args])
            assert command is not None
        command.make_context(name, rest, parent=context)


def test_readme_is_read_in_three_minutes() -> None:
    assert len(README.read_text(encoding="utf-8").splitlines()) <= 200


def test_readme_has_the_two_commands_that_ci_runs() -> None:
    readme, ci = README.read_text(encoding="utf-8"), (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    test_command = "python3 -m venv .venv && .venv/bin/pip install -q '.[test]' && .venv/bin/python -m pytest"
    demo_command = "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/trackgrade demo"
    for command in (test_command, demo_command):
        assert f"```sh\n{command}\n```" in readme
        assert command in ci


@pytest.mark.parametrize(
    "path", [README, DEVELOPERS, *sorted((ROOT / "docs").glob("*.md"))], ids=lambda path: path.name
)
def test_links_lead_somewhere(path: Path) -> None:
    links = re.findall(r"\]\(([^)#]+)\)", path.read_text(encoding="utf-8"))
    missing = [link for link in links if "://" not in link and not (path.parent / link).exists()]
    assert not missing


def test_the_hold_files_in_the_manual_are_read(tmp_path: Path) -> None:
    from trackgrade.hold.holdfile import read_hold_file

    pages = README.read_text(encoding="utf-8") + FILES.read_text(encoding="utf-8")
    blocks = re.findall(r"```toml\n(.*?)```", pages, flags=re.DOTALL)
    assert len(blocks) == 2
    for number, block in enumerate(blocks):
        path = tmp_path / f"{number}.toml"
        path.write_text(re.sub(r"^   ", "", block, flags=re.MULTILINE), encoding="utf-8")
        assert read_hold_file(path).inbound_course_deg == 143.0


def map_section() -> str:
    """Every module with the first sentence of its docstring, room by room, in the order of imports."""
    package = ROOT / "trackgrade"
    rooms = []
    for room in (room for line in ORDER for room in line):
        if (package / f"{room}.py").exists():
            rooms.append(f"**{room}.py** {first_sentence(package / f'{room}.py')}")
            continue
        head = package / room / "__init__.py"
        inner = [path for path in sorted((package / room).rglob("*.py")) if path != head]
        named = [f"- `{path.relative_to(package / room).as_posix()}`: {first_sentence(path)}" for path in inner]
        rooms.append("\n".join([f"**{room}/** {first_sentence(head)}\n", *named]))
    return "\n" + "\n\n".join(rooms) + "\n\n"


def first_sentence(path: Path) -> str:
    """The first sentence of a module's docstring, on one line."""
    text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
    assert text, f"{path} has no docstring"
    return re.split(r"(?<=[.?!])\s", " ".join(text.split("\n\n")[0].split()), maxsplit=1)[0]


def test_the_schema_of_the_debrief_is_made_from_its_dataclasses() -> None:
    assert SCHEMA.read_text(encoding="utf-8") == schema_text(), "stale: run  python -m tests.test_documentation"


def test_the_map_in_developers_is_the_code_as_it_is() -> None:
    _, start, rest = DEVELOPERS.read_text(encoding="utf-8").partition(MAP_START)
    shown, end, _ = rest.partition(MAP_END)
    assert start
    assert end
    assert shown == map_section(), "DEVELOPERS.md is stale: run  python -m tests.test_documentation"


def test_the_version_stands_in_the_changelog() -> None:
    assert f"## {trackgrade.__version__}\n" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_pins_cover_every_dependency() -> None:
    """The versions CI installs: one for each package asked for, no host named."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = [*project["dependencies"], *(each for extra in project["optional-dependencies"].values() for each in extra)]
    names = {re.split(r"[\[<>=!~ ]", each)[0].lower().replace("_", "-") for each in asked} - {"trackgrade"}
    pins = (ROOT / ".ci" / "constraints.txt").read_text(encoding="utf-8")
    pinned = {line.split("==")[0].lower().replace("_", "-") for line in pins.splitlines() if "==" in line}
    assert not names - pinned
    assert "://" not in pins
    assert "--" not in pins


def test_help_is_the_same_in_a_real_process() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "trackgrade", "--help"], capture_output=True, text=True, timeout=60, check=True
    )
    assert all(f"  {name} " in done.stdout for name in COMMANDS)


if __name__ == "__main__" and sys.argv[1:] == ["--print"]:
    print(commands_section(), end="")
elif __name__ == "__main__":
    for path, start, section, end in (
        (REFERENCE, START, commands_section(), END),
        (DEVELOPERS, MAP_START, map_section(), MAP_END),
    ):
        before, _, rest = path.read_text(encoding="utf-8").partition(start)
        write_whole(path, before + start + section + end + rest.partition(end)[2])
    write_whole(SCHEMA, schema_text())
