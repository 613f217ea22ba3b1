"""The table of laps as Parquet, by whichever engine of pandas is installed; none is needed for anything else."""

from __future__ import annotations

import io
import os
from importlib.util import find_spec

from trackgrade.errors import UsageError

_ENGINES = ("pyarrow", "fastparquet")


def needs_engine(path: str | os.PathLike[str]) -> None:
    """Raises UsageError where nothing that writes Parquet is installed."""
    if not any(find_spec(engine) for engine in _ENGINES):
        raise UsageError(
            f"{os.fspath(path)}: writing Parquet needs pyarrow (pip install pyarrow). Install it, or give a name that "
            "ends in .csv"
        )


def from_csv(text: str) -> bytes:
    """The table of `laps_csv.to_text` (or several under one header) as the bytes of a Parquet file.

    Times become moments in UTC, columns of text stay text where every cell is blank.
    """
    import pandas as pd

    from trackgrade.exports.laps_csv import COLUMNS

    words = [name for name in COLUMNS if name.endswith("_result")]
    text_columns = ["source", "hold", "standard", "entry", "inbound_start_by", *words]
    frame = pd.read_csv(io.StringIO(text), dtype=dict.fromkeys(text_columns, str))
    for name in frame.columns:
        if name.endswith("_utc"):
            frame[name] = pd.to_datetime(frame[name], utc=True, format="ISO8601")
        elif name not in text_columns and name not in ("visit", "lap"):
            frame[name] = frame[name].astype("float64")  # also where no lap has a value
    out = io.BytesIO()
    frame.to_parquet(out, index=False)
    return out.getvalue()
