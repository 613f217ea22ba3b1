"""Outcomes of many flights as one table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from tests.simulated.compare import LINES, NEARER, SECOND, TURNS, Difference, Outcome
from tests.simulated.suites import SUITES

LEGS = ("inbound time", "outbound time")
#: Flown, told, asked for, told to be asked for.
EntryTold = tuple[str, str, tuple[str, ...], tuple[str, ...]]


def errors(outcomes: Iterable[Outcome], kinds: Sequence[str]) -> np.ndarray:
    """Unsigned errors of these kinds, outside holes [s]."""
    return np.abs(
        [
            d.error_s
            for o in outcomes
            for d in o.differences
            if d.kind in kinds and not d.in_hole and d.error_s is not None
        ]
    )


def missing(outcomes: Iterable[Outcome], kinds: Sequence[str]) -> tuple[int, int]:
    """(left out, all), outside holes."""
    all_ = [d for o in outcomes for d in o.differences if d.kind in kinds and not d.in_hole]
    return sum(d.error_s is None for d in all_), len(all_)


def covered(differences: Iterable[Difference]) -> tuple[int, int]:
    """(within two stated standard errors, all that state one)"""
    told = [d for d in differences if d.error_s is not None and d.sd_s is not None]
    return sum(abs(d.error_s or 0.0) <= 2.0 * (d.sd_s or 0.0) for d in told), len(told)


def share(hits: int, of: int) -> str:
    return f"{100.0 * hits / of:.1f} %" if of else "-"


def spread(values: np.ndarray, digits: int = 2) -> str:
    if not len(values):
        return "- / - / -"
    low, high = np.percentile(values, [50, 95])
    return f"{low:.{digits}f} / {high:.{digits}f} / {np.max(values):.{digits}f}"


def suite_rows(outcomes: list[Outcome]) -> list[list[str]]:
    rows = [
        ["suite", "flights", "laps", "lap count", "entry expected", "fix, abeam, course [s]",
         "turns [s]", "inbound time [s]", "outbound time [s]", "wind [kt]", "TAS [kt]", "refused wind"]
    ]  # fmt: skip
    for name, suite in SUITES.items():
        mine = [o for o in outcomes if o.suite == name]
        if not mine:
            continue
        if suite.decoy:
            false = sum(o.laps_found for o in mine)
            rows.append([name, str(len(mine)), "0", f"{false} false laps", *["-"] * 8])
            continue
        hidden = sum(o.laps_hidden for o in mine)
        entries = [e for o in mine for e in o.entries if o.pattern == "as published"]
        winds = np.array([o.wind_error_kt for o in mine if o.wind_error_kt is not None])
        tas = np.abs([o.tas_error_kt for o in mine if o.tas_error_kt is not None])
        with_wind = [o for o in mine if o.pattern == "as published"]
        rows.append(
            [
                name,
                str(len(mine)),
                str(sum(o.laps_true for o in mine)) + (f" ({hidden} hidden)" if hidden else ""),
                share(sum(o.laps_right for o in mine), len(mine)),
                share(sum(bool(set(e[2]) & set(e[3])) for e in entries), len(entries)),
                spread(errors(mine, LINES)),
                spread(errors(mine, TURNS)),
                spread(errors(mine, LEGS[:1])),
                spread(errors(mine, LEGS[1:])),
                spread(winds, 1),
                spread(tas, 1),
                str(sum(o.wind_error_kt is None for o in with_wind)),
            ]
        )
    return rows


def entry_counts(outcomes: list[Outcome]) -> tuple[int, int, int, int]:
    """(entries, named as another, left unclear, right entries called wrong), of holds flown as published."""
    return counts_of([e for o in outcomes for e in o.entries if o.pattern == "as published"])


def counts_of(told: list[EntryTold]) -> tuple[int, int, int, int]:
    """The same of entries."""
    named = [e for e in told if e[1] in ("direct", "teardrop", "parallel")]
    wrong = sum(flown != kind for flown, kind, _, _ in named)
    accused = sum(flown in right and kind not in expected for flown, kind, right, expected in named)
    return len(told), wrong, len(told) - len(named), accused


def entry_rows(outcomes: list[Outcome]) -> list[list[str]]:
    rows = [["suite", "flown", "entries", "named as another", "unclear", "right ones called wrong"]]
    for name in (*SUITES, "all"):
        mine = [e for o in outcomes if name in (o.suite, "all") and o.pattern == "as published" for e in o.entries]
        for what, chosen in (
            ("asked for", [e for e in mine if e[0] in e[2]]),
            ("another", [e for e in mine if e[0] not in e[2]]),
        ):
            n, wrong, unclear, accused = counts_of(chosen)
            if n:
                rows.append([name, what, str(n), share(wrong, n), share(unclear, n), str(accused)])
    return rows


def reading_rows(outcomes: list[Outcome]) -> list[list[str]]:
    rows = [["suite", "laps", "two readings", "nearer within 2 s", "within 2 sd"]]
    for name in (*SUITES, "all"):
        mine = [d for o in outcomes if name in (o.suite, "all") for d in o.differences if not d.in_hole]
        nearer = [d for d in mine if d.kind == NEARER]
        if nearer:
            near = sum(abs(d.error_s or 0.0) <= 2.0 for d in nearer)
            second = sum(d.kind == SECOND for d in mine)
            n = len(nearer)
            rows.append([name, str(n), share(second, n), share(near, n), share(*covered(nearer))])
    return rows


def kind_rows(outcomes: list[Outcome]) -> list[list[str]]:
    rows = [
        [
            "moment",
            "suite",
            "n",
            "median / 95 % / max [s]",
            "bias [s]",
            "left out",
            "within 2 sd",
            "in holes: n, left out, within 2 sd",
        ]
    ]
    for kind in ("fix", "arrival", "abeam", "course", *TURNS, "inbound starts"):
        for name, suite in SUITES.items():
            mine = [o for o in outcomes if o.suite == name]
            found = [d for o in mine for d in o.differences if d.kind == kind]
            if suite.decoy or not found:
                continue
            open_, holes = [d for d in found if not d.in_hole], [d for d in found if d.in_hole]
            signed = np.array([d.error_s for d in open_ if d.error_s is not None])
            gone, n = missing(mine, (kind,))
            hits, of = covered(open_)
            h_hits, h_of = covered(holes)
            rows.append(
                [
                    kind,
                    name,
                    str(n),
                    spread(np.abs(signed)),
                    f"{np.median(signed):+.2f}" if len(signed) else "-",
                    str(gone),
                    share(hits, of),
                    f"{len(holes)}, {sum(d.error_s is None for d in holes)}, {share(h_hits, h_of)}" if holes else "-",
                ]
            )
    return rows


def honesty_rows(outcomes: list[Outcome]) -> list[list[str]]:
    rows = [["suite", "moments within 2 sd", "wind within 2 sd", "TAS within 2 sd"]]
    for name, suite in SUITES.items():
        mine = [o for o in outcomes if o.suite == name]
        if suite.decoy or not mine:
            continue
        hits, of = covered(d for o in mine for d in o.differences if not d.in_hole and "readings" not in d.kind)
        wind = [o.wind_within for o in mine if o.wind_within is not None]
        tas = [o.tas_within for o in mine if o.tas_within is not None]
        rows.append([name, share(hits, of), share(sum(wind), len(wind)), share(sum(tas), len(tas))])
    return rows


def level_rows(outcomes: list[Outcome]) -> list[list[str]]:
    """Changes of level, by what was flown."""
    rows = [
        [
            "flown",
            "flights",
            "levels right",
            "laps within",
            "called out",
            "held badly",
            "found",
            "named",
            "named wrongly",
        ]
    ]
    told = [(o.what, o.levels) for o in outcomes if o.levels is not None]
    for what in (*sorted({what for what, _ in told}), "all"):
        mine = [each for flown, each in told if what in (flown, "all")]
        badly = [each for each in mine if each.flown_badly]
        counts = (
            sum(each.laps_within for each in mine),
            sum(each.laps_accused for each in mine),
            len(badly),
            sum(each.found for each in badly),
            sum(each.named for each in badly),
            sum(each.named and not each.flown_badly for each in mine),
        )
        rows.append([what, str(len(mine)), share(sum(each.right for each in mine), len(mine)), *map(str, counts)])
    return rows


def class_rows(outcomes: list[Outcome]) -> list[list[str]]:
    """Badly flown and decoys, by what was flown."""
    rows = [["suite", "flown", "flights", "laps right", "named right", "seeds that failed"]]
    for name in ("bad", "other entries", "decoys", "mixed", "channels"):
        for what in sorted({o.what for o in outcomes if o.suite == name}):
            mine = [o for o in outcomes if o.suite == name and o.what == what]
            named = [o.named for o in mine if o.named is not None]
            failed = [str(o.seed) for o in mine if not o.laps_right or o.named is False]
            rows.append(
                [
                    name,
                    what,
                    str(len(mine)),
                    share(sum(o.laps_right for o in mine), len(mine)),
                    share(sum(named), len(named)),
                    " ".join(failed[:12]) or "-",
                ]
            )
    return rows


def failures(outcomes: list[Outcome]) -> list[str]:
    """One line for each flight whose laps or entry are not right."""
    lines = []
    for o in outcomes:
        notes = []
        if o.crash:
            notes.append(o.crash[:120])
        if not o.laps_right and not o.crash:
            visits = "" if o.visits_right else ", visits not right"
            notes.append(f"{o.laps_true} laps, found {o.laps_found}, matched {o.laps_matched}{visits}")
        notes += [
            f"entry {e[0]} read as {e[1]}"
            for e in o.entries
            if e[0] != e[1] != "unclear" and o.pattern == "as published"
        ]
        if o.named is False:
            notes.append("not named")
        worst = max((d for d in o.differences if d.error_s is not None and not d.in_hole and "readings" not in d.kind),
                    key=lambda d: abs(d.error_s or 0), default=None)  # fmt: skip
        if worst is not None and abs(worst.error_s or 0) > 4.0:
            notes.append(f"{worst.kind}, lap {worst.lap}: {worst.error_s:+.1f} s (sd {worst.sd_s or 0:.1f})")
        if notes:
            lines.append(f"{o.suite} {o.seed} ({o.what}): " + "; ".join(notes))
    return lines


def markdown(rows: list[list[str]]) -> str:
    """A table, its columns padded."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["| " + " | ".join(cell.ljust(w) for cell, w in zip(row, widths)) + " |" for row in rows]
    lines.insert(1, "|" + "|".join("-" * (w + 2) for w in widths) + "|")
    return "\n".join(lines)


def report(outcomes: list[Outcome], command: str) -> str:
    """The whole text that is printed, and kept."""
    took = np.array([o.seconds for o in outcomes if o.seconds])
    parts = [
        "# The measurements against simulated truth",
        "",
        f"{len(outcomes)} flights. Made by: `{command}`. Suites and their ranges: `suites.py`; what counts as right: "
        "`compare.py`.",
        "Errors are unsigned, median / 95 % / max, outside holes of the record. *Lap count* is the share of flights",
        "with every lap found, none added, and every visit apart. *Within 2 sd*: the truth lies within two of the",
        "standard errors that the analysis states.",
        "",
        markdown(suite_rows(outcomes)),
        "",
        "## Entries",
        "",
        "*Unclear*: the path fits two procedures, and both are said. *Called wrong*: named as one that the arrival",
        "does not ask for, where a right one was flown.",
        "",
        markdown(entry_rows(outcomes)),
        "",
        "## Start of the inbound time",
        "",
        "Two readings where the turn fades into an intercept, or the course is met along it.",
        "",
        markdown(reading_rows(outcomes)),
        "",
        "## Honesty of the stated errors",
        "",
        markdown(honesty_rows(outcomes)),
        "",
        "## By kind of moment",
        "",
        markdown(kind_rows(outcomes)),
        "",
        "## Changes of level",
        "",
        "Altitude graded against the level in force, the change left alone. *Levels right*: those reached on the laps",
        "are graded against. *Called out*: laps truly within the band and told outside it. *Held badly*: flights",
        "with a level missed or not flown for 15 s; *found* as outside, *named* as a mistake.",
        "",
        markdown(level_rows(outcomes)),
        "",
        "## By what was flown",
        "",
        markdown(class_rows(outcomes)),
        "",
        "## Flights with a wrong count, a wrong entry, a mistake not named, or a moment more than 4 s off",
        "",
        *[f"- {line}" for line in failures(outcomes)],
        "",
    ]
    if len(took):
        print(f"measured in {np.median(took):.2f} s a flight (median), {np.max(took):.2f} s at most")
    return "\n".join(parts)
