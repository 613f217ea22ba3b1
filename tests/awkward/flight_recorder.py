"""The one flight as flight recorders write it: lines of IGC, made here by the FAI specification, Appendix A."""

from __future__ import annotations

from tests.awkward.flight import FLIGHT, Row

HEAD = ("AXXX000 made here", "HFFXA035", "HFDTE030526", "HFPLTPILOTINCHARGE:pilot A", "HFDTM100GPSDATUM:WGS-1984")


def angle(value: float, width: int, sides: str, decimals: int = 3) -> tuple[str, str]:
    """Degrees and minutes run together with the letter behind, and the further decimals of the minute."""
    size = round(abs(value) * 60 * 10**decimals)
    whole, minutes = divmod(size, 60 * 10**decimals)
    text = f"{whole:0{width}d}{minutes:0{2 + decimals}d}"
    return text[: width + 5] + sides[int(value < 0)], text[width + 5 :]


def fix(r: Row, *, pressure_m: float, gnss_m: float, validity: str = "A", decimals: int = 3, more: str = "") -> str:
    lat, lat_more = angle(r.lat, 2, "NS", decimals)
    lon, lon_more = angle(r.lon, 3, "EW", decimals)
    heights = f"{pressure_m:05.0f}{gnss_m:05.0f}"
    return f"B{r.time:%H%M%S}{lat}{lon}{validity}{heights}{lat_more}{lon_more}{more}"


def igc_text(
    rows: list[Row] = FLIGHT,
    head: tuple[str, ...] = HEAD,
    *,
    pressure_m: float | None = 1190.0,
    gnss_m: float | None = 1260.0,
    end: str = "\r\n",
    decimals: int = 3,
    events: dict[int, str] | None = None,
) -> str:
    """An IGC file; the heights rise by a metre each third row; None for a recorder that has not got one."""
    lines = [*head]
    if decimals > 3:
        width = decimals - 3
        lines.append(f"I02{36:02d}{35 + width:02d}LAD{36 + width:02d}{35 + 2 * width:02d}LOD")
    for i, r in enumerate(rows):
        if events and i in events:
            lines.append(f"E{r.time:%H%M%S}PEV{events[i]}")
        pressure, gnss = (0.0 if h is None else h + i % 3 for h in (pressure_m, gnss_m))
        lines.append(fix(r, pressure_m=pressure, gnss_m=gnss, decimals=decimals))
    return end.join([*lines, "LXXXa remark", "G0123456789ABCDEF", ""])
