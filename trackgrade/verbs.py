"""The verbs of the Python front door: what the commands do, for scripts and notebooks (``import trackgrade as tg``)."""

from __future__ import annotations

import datetime as dt
import os
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trackgrade.analysis import analyse, flight_date
from trackgrade.briefing.brief import Brief, Conditions, prepare
from trackgrade.choosing import NONE_FOUND, choose, holds_in
from trackgrade.earth.atmosphere import tas_from_cas_kt
from trackgrade.errors import NoHoldFlown, UsageError, within
from trackgrade.exports import debrief_json, laps_csv
from trackgrade.files import write_whole
from trackgrade.hold.hold import Hold
from trackgrade.hold.holdfile import read_hold
from trackgrade.hold.holdset import folder_of, read_set
from trackgrade.hold.plan import HoldPlan
from trackgrade.hold.setup import resolve
from trackgrade.score import debrief as score
from trackgrade.score.standard import Standard
from trackgrade.score.standards import DEFAULT, load_standard
from trackgrade.segment.proposal import HoldProposal
from trackgrade.track.readers import TrackSource, read_track
from trackgrade.track.track import Track

if TYPE_CHECKING:
    import pandas as pd

#: A hold as a verb takes it: a hold file, the text of one, its dict, or what `read_hold` gave.
HoldGiven = str | os.PathLike[str] | Mapping[str, Any] | HoldPlan | Hold
#: A standard as a verb takes it: its name, the path of one's own, or what `load_standard` gave; None is the default.
StandardGiven = Standard | str | os.PathLike[str] | None
#: The year 2200, where hold files end too [s since 1970].
LATEST_EPOCH_S = 7_258_118_400.0
#: The columns of the table that a notebook shows, of `Debrief.to_frame`.
SHOWN = ("lap", "outbound_s", "inbound_s", "inbound_start_by", "max_cross_track_nm", "wind_from_true_deg", "wind_kt")


@dataclass(frozen=True, eq=False, repr=False)
class Debrief(score.Debrief):
    """Everything known about one flight at one hold, with the ways out of Python.

    ``laps`` are the graded laps in order, ``visits`` the stays with their entries, ``findings`` what to work on and
    what was flown well, ``verdict`` one line, ``next_lap`` the card. In a notebook it shows its plan view and laps.
    """

    def to_frame(self) -> pd.DataFrame:
        """A row a lap: units in the names of the columns, times as UTC with a zone, NaN where not measurable."""
        import pandas as pd

        frame = pd.DataFrame(laps_csv.rows(self), columns=list(laps_csv.COLUMNS))
        for name in frame.columns:
            if name.endswith("_utc"):
                frame[name] = pd.to_datetime(frame[name], utc=True, format="ISO8601")
        return frame

    def to_dict(self) -> dict[str, Any]:
        """The debrief as plain values, as ``--json`` writes it (docs/commands.md)."""
        return debrief_json.debrief_to_dict(self)

    def to_json(self) -> str:
        """The debrief as JSON text, schema trackgrade.debrief/1."""
        return debrief_json.to_text(self)

    def write_report(self, path: str | os.PathLike[str]) -> Path:
        """Write the self-contained HTML report, whole or not at all; returns its path. Raises OutputError."""
        from trackgrade.report.page import render

        return write_whole(Path(path), render(self))

    def write_figure(self, path: str | os.PathLike[str]) -> Path:
        """Draw the flight on one page: .png, .svg or .pdf by the ending. Raises UsageError, OutputError."""
        from trackgrade.report import FIGURE_KINDS
        from trackgrade.report.figure import picture

        return write_whole(Path(path), picture(self, _kind(path, FIGURE_KINDS, "figure")))

    def write_map(self, path: str | os.PathLike[str]) -> Path:
        """Write track, laps and events for a map program: .gpx, .kml or .geojson by the ending. As `write_figure`."""
        from trackgrade.exports.map_files import MAP_KINDS, to_text

        return write_whole(Path(path), to_text(self, _kind(path, MAP_KINDS, "map file")))

    def __repr__(self) -> str:
        return f"<Debrief of {self.track.track.source!r} at {self.hold.name!r}, {len(self.laps)} laps: {self.verdict}>"

    def _repr_html_(self) -> str:
        """What a notebook shows: verdict, picture, laps, cautions."""
        from trackgrade.report.figure import picture

        svg = picture(self, "svg").decode("utf-8")
        laps = self.to_frame()[list(SHOWN)].round(2).to_html(index=False, border=0)
        caution = escape(" ".join(self.cautions))
        return f"<p><strong>{escape(self.verdict)}</strong></p>{svg[svg.index('<svg') :]}{laps}<p>{caution}</p>"


def grade(
    track: Track | TrackSource,
    hold: HoldGiven | None = None,
    standard: StandardGiven = None,
    *,
    holds: str | os.PathLike[str] | None = None,
) -> Debrief:
    """Grade what was flown at a hold: the debrief, which has no laps where no hold was flown there.

    Parameters
    ----------
    track
        What `read_track` gave, or anything that it reads (path, bytes, open file).
    hold
        What `read_hold` gave, or anything that it reads (path, text, dict). Magnetic courses become true by the
        model at the date of the flight. None takes the hold of the hold set whose laps were flown, else the one that
        `find_holds` finds; ``debrief.hold.origin`` says which, and the last of ``debrief.cautions``.
    standard
        A `Standard`, the name of one (``trackgrade standards``) or the path of one's own; None is the default.

    holds
        Folder of another hold set than the user's own.

    Raises
    ------
    TrackFileError, HoldFileError, StandardFileError
        What is wrong, where, and what to do, in one line.
    NoHoldFlown
        None was named, and none is in the track.
    """
    flight = track if isinstance(track, Track) else read_track(track)
    chosen = None
    if hold is None:
        plans, wrong = read_set(folder_of(None if holds is None else os.fspath(holds)))
        chosen = choose(flight, plans)
        if chosen is None:
            raise NoHoldFlown(f"{flight.source}: no hold flown ({NONE_FOUND}); name the hold")
    found = analyse(flight, chosen.hold if chosen else _resolved(hold, flight_date(flight)), _standard(standard))
    if chosen is not None:
        found = replace(found, cautions=(*found.cautions, *wrong, chosen.words))
    return Debrief(**{each.name: getattr(found, each.name) for each in fields(found)})


def find_holds(track: Track | TrackSource, *, holds: str | os.PathLike[str] | None = None) -> list[HoldProposal]:
    """The holds flown in a track, most laps first: those of the hold set by their names there, and what was found
    beside them.

    Parameters
    ----------
    track
        What `read_track` gave, or anything that it reads.
    holds
        Folder of another hold set than the user's own. A file of the set that is no hold is left out, with a warning.

    Raises
    ------
    TrackFileError, HoldFileError, UsageError
        Too few usable points; a hold of the set whose radials make no fix; no such folder.
    """
    plans, wrong = read_set(folder_of(None if holds is None else os.fspath(holds)))
    for line in wrong:
        warnings.warn(line, stacklevel=2)
    return holds_in(track if isinstance(track, Track) else read_track(track), plans)


def brief(
    hold: HoldGiven,
    *,
    tas_kt: float | None = None,
    ias_kt: float | None = None,
    wind_from_true_deg: float = 0.0,
    wind_kt: float = 0.0,
    arriving_deg: float | None = None,
    turn_rate_deg_s: float = 3.0,
    bank_limit_deg: float = 30.0,
    isa_deviation_c: float = 0.0,
    passage_epoch_s: float | None = None,
    date: dt.date | None = None,
    standard: StandardGiven = None,
) -> Brief:
    """Brief a hold before the flight: course and flag, entry, the outbound heading and time that work in the wind.

    Parameters
    ----------
    hold
        What `read_hold` gave, or anything that it reads.
    tas_kt, ias_kt
        True or indicated airspeed [kt], 30 to 600; without either the airspeed of the hold file, at its altitude.
    wind_from_true_deg, wind_kt
        Wind aloft: where it blows from [deg true], 0 to 360, and its speed [kt], 0 to 300.
    arriving_deg
        Heading on which the fix will be reached [deg], in the north of the hold file; None tells no entry.
    turn_rate_deg_s, bank_limit_deg
        Rate of turn [deg/s], 0.5 to 10, with no more bank than this [deg], 5 to 60.
    isa_deviation_c
        Air warmer than standard by this [°C], -60 to 60.
    passage_epoch_s
        A passage of the fix [s since 1970 UTC] from which to plan the time to leave.
    date
        Day of the flight, for the magnetic model; by itself that of the assigned time, else today.

    Raises
    ------
    UsageError
        A value out of range, or no airspeed.
    HoldFileError, StandardFileError
        What is wrong, where, and what to do, in one line.
    """
    plan = hold if isinstance(hold, HoldPlan | Hold) else read_hold(hold)
    if date is None:
        arrive = plan.arrive_utc if isinstance(plan, HoldPlan) else None
        date = arrive.date() if arrive is not None else dt.datetime.now(dt.UTC).date()
    resolved = _resolved(plan, date)
    north_is_true = isinstance(plan, Hold) or plan.north == "true"
    isa_deviation_c = within("the ISA deviation", isa_deviation_c, -60.0, 60.0)
    heading = None if arriving_deg is None else within("the arrival heading", arriving_deg, 0.0, 360.0)
    if heading is not None and not north_is_true:
        heading = (heading + resolved.variation_deg) % 360.0
    conditions = Conditions(
        tas_kt=_true_airspeed_kt(tas_kt, ias_kt, isa_deviation_c, resolved),
        wind_from_true_deg=within("the wind direction", wind_from_true_deg, 0.0, 360.0) % 360.0,
        wind_kt=within("the wind speed", wind_kt, 0.0, 300.0),
        turn_rate_deg_s=within("the turn rate", turn_rate_deg_s, 0.5, 10.0),
        bank_limit_deg=within("the bank limit", bank_limit_deg, 5.0, 60.0),
        isa_deviation_c=isa_deviation_c,
        arrival_heading_true_deg=heading,
        passage_epoch_s=None
        if passage_epoch_s is None
        else within("the passage [s since 1970]", passage_epoch_s, 0.0, LATEST_EPOCH_S),
    )
    return prepare(resolved, conditions, _standard(standard), north_is_true=north_is_true)


def _kind(path: str | os.PathLike[str], kinds: Iterable[str], what: str) -> str:
    """What the ending of a file's name asks for. Raises UsageError."""
    kind, endings = Path(path).suffix[1:].lower(), [f".{each}" for each in kinds]
    if f".{kind}" not in endings:
        raise UsageError(f"{path}: the name of a {what} must end in {', '.join(endings[:-1])} or {endings[-1]}")
    return kind


def _resolved(hold: HoldGiven | None, date: dt.date) -> Hold:
    if hold is None:
        raise UsageError("which hold? Give a hold file, its text, or a hold")
    if isinstance(hold, Hold):
        return hold
    return resolve(hold if isinstance(hold, HoldPlan) else read_hold(hold), date)


def _standard(given: StandardGiven) -> Standard:
    return given if isinstance(given, Standard) else load_standard(DEFAULT if given is None else str(given))


def _true_airspeed_kt(tas_kt: float | None, ias_kt: float | None, isa_deviation_c: float, hold: Hold) -> float:
    """The true airspeed given, or that of the indicated one at the hold's altitude."""
    if tas_kt is not None and ias_kt is not None:
        raise UsageError("give the true or the indicated airspeed, not both")
    if tas_kt is not None:
        return within("the true airspeed", tas_kt, 30.0, 600.0)
    indicated = hold.airspeed_kias if ias_kt is None else within("the indicated airspeed", ias_kt, 30.0, 500.0)
    if indicated is None:
        raise UsageError("how fast? Give a true or an indicated airspeed, or airspeed_kias in the hold file")
    if hold.altitude_ft is None:
        raise UsageError("an indicated airspeed needs altitude_ft in the hold file; or give the true airspeed")
    return float(tas_from_cas_kt(indicated, hold.altitude_ft, isa_deviation_c))
