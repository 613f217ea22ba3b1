"""The limits shipped, against what the authorities publish. Each row names its document.

How each was known when written: "transcription" is a public page that carries the document's text; "secondary" a page
that reports it; "memory" neither. The same words stand in the standard files and are shown by the program.
"""

from __future__ import annotations

import pytest

from trackgrade.score.standards import list_standards, load_standard

ACS_8C = "FAA-S-ACS-8C, Task III.B, S4 (transcription)"
ACS_11A = "FAA-S-ACS-11A, Task VI.J (transcription)"
FCL_7 = "Regulation (EU) 1178/2011, Annex I, Appendix 7 (secondary: examiners' page and legislation.gov.uk)"
TP_15099 = "TP 15099, item 7, Holding (document, web page)"

LIMITS = [
    ("faa_instrument_airplane", "altitude", 100.0, "ft", ACS_8C),
    ("faa_instrument_airplane", "airspeed", 10.0, "kt", ACS_8C),
    ("faa_instrument_airplane", "outbound_heading", 10.0, "deg", ACS_8C),
    ("faa_instrument_airplane", "course", 0.75, "of full scale", ACS_8C),
    ("faa_instrument_airplane", "turn_bank", 5.0, "deg", "FAA-S-ACS-8C, Task IV.A, S1 (transcription)"),
    ("faa_atp_airplane", "altitude", 100.0, "ft", ACS_11A),
    ("faa_atp_airplane", "airspeed", 10.0, "kt", ACS_11A),
    ("faa_atp_airplane", "outbound_heading", 10.0, "deg", ACS_11A),
    ("easa_instrument_aeroplane", "altitude", 100.0, "ft", FCL_7),
    ("easa_instrument_aeroplane", "airspeed", 5.0, "kt", FCL_7),
    ("easa_instrument_aeroplane", "outbound_heading", 5.0, "deg", FCL_7),
    ("easa_instrument_aeroplane", "course", 0.5, "of full scale", FCL_7),
    ("transport_canada_instrument", "altitude", 100.0, "ft", TP_15099),
    ("transport_canada_instrument", "airspeed", 10.0, "kt", TP_15099),
    ("transport_canada_instrument", "course", 0.5, "of full scale", TP_15099),
    *(
        (name, "entry", 5.0, "deg", "AIM 5-3-8; ICAO Doc 8168: 5 degrees either side of a sector boundary")
        for name in list_standards()
    ),
]


@pytest.mark.parametrize(("standard", "item", "limit", "unit", "source"), LIMITS)
def test_published_limit(standard: str, item: str, limit: float, unit: str, source: str) -> None:
    found = load_standard(standard).item(item)
    assert found is not None
    assert (found.limit, found.unit) == (limit, unit), source
    assert found.source.basis == "published"


@pytest.mark.parametrize(
    ("altitude_ft", "limit_kias"),
    [(1000, 200), (6000, 200), (6001, 230), (14000, 230), (14001, 265), (30000, 265)],
)
@pytest.mark.parametrize("standard", ["faa_instrument_airplane", "faa_atp_airplane", "training"])
def test_holding_speed_limit_of_the_aim(standard: str, altitude_ft: float, limit_kias: float) -> None:
    """AIM 5-3-8, table of maximum holding airspeeds: MHA to 6,000 ft, 6,001 to 14,000 ft, 14,001 ft and above."""
    assert load_standard(standard).speed_limit_kias(altitude_ft) == limit_kias


@pytest.mark.parametrize(
    ("altitude_ft", "limit_kias"),
    [(14000, 230), (14001, 240), (20000, 240), (20001, 265), (34000, 265), (34001, None)],
)
def test_holding_speed_limit_of_icao(altitude_ft: float, limit_kias: float | None) -> None:
    """ICAO Doc 8168 Vol I, normal conditions, categories C to E, as carried by AFMAN 11-217V1 table 18.4.

    Above 34,000 ft the limit is Mach 0.83: no number of knots.
    """
    assert load_standard("easa_instrument_aeroplane").speed_limit_kias(altitude_ft) == limit_kias


@pytest.mark.parametrize(
    ("standard", "starts"),
    [
        ("faa_instrument_airplane", "abeam"),  # AIM 5-3-8: over or abeam the fix, whichever is later
        ("easa_instrument_aeroplane", "abeam"),  # ICAO Doc 8168, 1.5: the same
        ("transport_canada_instrument", "abeam_or_heading"),  # later of abeam and the outbound heading
    ],
)
def test_where_the_outbound_time_starts(standard: str, starts: str) -> None:
    assert load_standard(standard).outbound_starts == starts


@pytest.mark.parametrize("standard", list_standards())
def test_no_standard_presents_seconds_for_the_leg_as_published(standard: str) -> None:
    """No civil flight-test standard read (FAA, EASA, UK, Transport Canada, CASA) states seconds for the leg."""
    loaded = load_standard(standard)
    item = loaded.item("inbound_time")
    assert item is not None
    assert item.source.basis == "choice"
    assert "choice" in loaded.timing_note
    assert "no civil test standard publishes seconds" in loaded.timing_note


@pytest.mark.parametrize("standard", list_standards())
def test_every_published_number_names_document_and_place(standard: str) -> None:
    loaded = load_standard(standard)
    sources = [item.source for item in loaded.items]
    sources += [loaded.outbound_starts_source, loaded.turns.source, loaded.speed_limits_source]
    for source in sources:
        if source.basis == "published":
            assert any(character.isdigit() for character in source.cite) or "Doc" in source.cite, source
            assert source.read in ("document", "transcription", "secondary", "memory")
        else:
            assert not source.cite


def test_the_training_standard_is_nowhere_wider_than_the_instrument_rating() -> None:
    training, rating = load_standard("training"), load_standard("faa_instrument_airplane")
    for item in training.items:
        wide = rating.item(item.name)
        assert wide is not None
        if item.limit is not None and wide.limit is not None:
            assert item.limit <= wide.limit, item.name
