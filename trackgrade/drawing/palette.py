"""One palette, one set of letters and of line styles, told once: pages get them as CSS, the figure by name.

Signs, shapes, dashes and words carry every meaning; colour only helps. The four lap colours stay apart for readers who
do not see red, green or blue (``tests/test_drawing.py`` measures it), and each stands out from its ground.
"""

from __future__ import annotations

from typing import Final

#: Names say what a colour is for. Each is a CSS variable of its name: ``var(--accent)``.
LIGHT: Final[dict[str, str]] = {
    "paper": "#faf7f0",  # the page
    "sheet": "#fffdf8",  # what lies on it: drawings, cards
    "ink": "#1d2326",
    "soft": "#545b5e",  # words that stand back
    "rule": "#cfc7b6",
    "faint": "#e8e1d2",
    "accent": "#0d5a52",
    "wash": "#d7e8e1",  # inside a tolerance
    "shade": "#f0eadc",  # every other lap, the holding side
    "outside": "#9c2f12",
    "brief": "#7a5200",  # a brief excursion
    "solved": "#b9d3c8",  # the lap that works
    "entry": "#3c4347",
    "cursor": "#9c2f12",
    "fan": "#6f7472",  # what an interval allows
    "on-lap": "#ffffff",  # a number on a lap's colour
    "c0": "#175fd6",
    "c1": "#b23a0a",
    "c2": "#0c3529",
    "c3": "#8f4f8b",
}
DARK: Final[dict[str, str]] = {
    "paper": "#16191a",
    "sheet": "#1d2122",
    "ink": "#ece7db",
    "soft": "#b3afa4",
    "rule": "#4a4f50",
    "faint": "#2c3132",
    "accent": "#7fc9ba",
    "wash": "#1f3b37",
    "shade": "#22282a",
    "outside": "#ff9c7c",
    "brief": "#e8b95a",
    "solved": "#35534b",
    "entry": "#cfcabd",
    "cursor": "#ff9c7c",
    "fan": "#9a9d98",
    "on-lap": "#14181a",
    "c0": "#62a8d0",
    "c1": "#fbb04f",
    "c2": "#dcf7c4",
    "c3": "#b18cff",
}
#: White under the light colours: for printers and slides.
PAPER: Final = LIGHT | {"paper": "#ffffff", "sheet": "#ffffff"}

#: Laps: colour and dash both change from lap to lap, and repeat together after twelve.
LAPS: Final = tuple(name for name in LIGHT if name[0] == "c" and name[1:].isdigit())
#: On and off along a line [px at full size]; no numbers is an unbroken line.
DASHES: Final[tuple[tuple[float, ...], ...]] = ((), (9.0, 3.0), (3.0, 2.5))
PART_DASH: Final = (1.5, 4.0)  # a lap not completed
ENTRY_DASH: Final = (12.0, 3.0, 2.0, 3.0)
ELSEWHERE_DASH: Final = (1.0, 4.0)  # flown, but no part of the hold

#: Verdict and headings; everything else.
SERIF: Final = '"Iowan Old Style", "Palatino Linotype", Palatino, "Book Antiqua", Georgia, "Liberation Serif", serif'
SANS: Final = 'system-ui, -apple-system, "Segoe UI", Roboto, "Liberation Sans", "DejaVu Sans", sans-serif'


def lap_look(number: int) -> tuple[str, tuple[float, ...]]:
    """Name of the colour, and dash, of the lap drawn as the ``number``-th, from 0."""
    return LAPS[number % len(LAPS)], DASHES[number % len(DASHES)]


def lap_class(number: int) -> str:
    """The CSS classes of the same look."""
    return f"c{number % len(LAPS)} d{number % len(DASHES)}"


def css() -> str:
    """Colours, letters and line styles as a style sheet: light, dark on a dark screen, white on paper."""
    dashes = [(f".flown.d{k}", dash) for k, dash in enumerate(DASHES)]
    dashes += [(".flown.part", PART_DASH), (".flown.entry", ENTRY_DASH), (".elsewhere", ELSEWHERE_DASH)]
    return "\n".join(
        (
            f":root {{ color-scheme: light dark; {_variables(LIGHT)} --serif: {SERIF}; --sans: {SANS}; }}",
            f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {_variables(DARK)} }} }}",
            f"@media print {{ :root {{ --paper: {PAPER['paper']}; --sheet: {PAPER['sheet']}; }} }}",
            *(f".{name} {{ --lap: var(--{name}); }}" for name in LAPS),
            *(f"{rule} {{ stroke-dasharray: {' '.join(f'{v:g}' for v in dash)}; }}" for rule, dash in dashes if dash),
        )
    )


def _variables(colours: dict[str, str]) -> str:
    return " ".join(f"--{name}: {colour};" for name, colour in colours.items())
