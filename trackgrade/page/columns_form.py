"""The columns of a table, asked on the page: what each is, and what the file lacks; kept as a columns map."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from trackgrade.errors import UsageError
from trackgrade.files import toml_text, write_whole
from trackgrade.page.looking import COLUMNS_FILE
from trackgrade.track.columns_map import read_columns_map

#: What a column can be said to be: value of the form (quantity, unit), and words. No unit: as found.
CHOICES: dict[str, str] = {
    "": "as found",
    "no": "not to be read",
    "time_utc|": "date and time",
    "time_utc|dmy": "date and time, day first",
    "time_utc|mdy": "date and time, month first",
    "time_of_day|": "time of day",
    "date|": "date",
    "time_utc|epoch_s": "seconds since 1970",
    "time_utc|epoch_ms": "milliseconds since 1970",
    "time_utc|elapsed_s": "seconds since the start",
    "lat|": "latitude",
    "lon|": "longitude",
    "alt_ft|ft": "altitude in feet",
    "alt_ft|m": "altitude in metres",
    "groundspeed_kt|kt": "ground speed in knots",
    "groundspeed_kt|km/h": "ground speed in km/h",
    "groundspeed_kt|m/s": "ground speed in m/s",
    "ias_kt|kt": "indicated airspeed in knots",
    "tas_kt|kt": "true airspeed in knots",
    "heading_mag_deg|deg": "magnetic heading",
    "heading_true_deg|deg": "true heading",
    "track_true_deg|deg": "ground track",
    "mark|": "mark",
}
#: What a file may lack, by the key of a columns map: what it is called, and an example.
FIXED = {
    "date": ("Day of the flight", "2026-05-03, for times of day without a date"),
    "utc_offset": ("Offset of its local time from UTC", "-05:00, for local times"),
    "start_utc": ("Start of the log, UTC", "2026-05-03T15:20:00Z, for seconds since the start"),
}


def keep(folder: Path, form: Mapping[str, str]) -> None:
    """Write the answers beside the track. Raises UsageError, ColumnsFileError: in words, what does not fit."""
    entries: dict[str, str] = {}
    for field, choice in form.items():
        if not (field[:1] == "c" and field[1:].isdigit()) or choice in ("", "no"):
            continue
        if choice not in CHOICES:
            raise UsageError("choose what the column is from the list")
        quantity, _, unit = choice.partition("|")
        if quantity in entries:
            raise UsageError(f"two columns are said to be the {CHOICES[choice]}: choose one")
        unit_part = f", unit = {toml_text(unit)}" if unit else ""
        entries[quantity] = f"{quantity} = {{ column = {int(field[1:])}{unit_part} }}"
    lines = [*entries.values()]
    lines += [f"{key} = {toml_text(form[key].strip())}" for key in FIXED if form.get(key, "").strip()]
    # A column that serves as something by itself is left out by naming what it serves as.
    left_out = {form.get(f"serves-{field[1:]}", "") for field, choice in form.items() if choice == "no"}
    lines += [f"{quantity} = false" for quantity in sorted(left_out - {""} - set(entries)) if quantity.isidentifier()]
    text = "\n".join(lines) + "\n"
    read_columns_map(text.encode())  # tells what is wrong before anything is kept
    write_whole(folder / COLUMNS_FILE, text)
