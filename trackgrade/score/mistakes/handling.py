"""Mistakes of flying: turns, altitude, airspeed, heading."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from trackgrade.score.debrief import Flight
from trackgrade.score.lap import GradedLap, Sighting, TurnMeasures
from trackgrade.score.results import Measurement
from trackgrade.score.sentences import amount

#: Scatter of the rate within a turn that is worth naming [deg/s]: a choice (a fifth of standard rate is even).
UNEVEN_DEG_S = 0.8
#: Altitude lost in one turn that is worth naming, as a share of the altitude limit: a choice.
LOST_SHARE = 1.0


def turns_too_shallow(flight: Flight) -> Iterator[Sighting]:
    """Turns slower than the hold asks for."""
    yield from _rates(flight, -1)


def turns_too_steep(flight: Flight) -> Iterator[Sighting]:
    """Turns faster than the hold asks for."""
    yield from _rates(flight, 1)


def _rates(flight: Flight, sign: int) -> Iterator[Sighting]:
    limit = flight.standard.limit("turn_rate") or 0.75
    for lap in flight.laps:
        off = [
            (turn, sign * (turn.rate_deg_s.value - turn.due_rate_deg_s))
            for _, turn in lap.measures.turns
            if turn.rate_deg_s.value is not None and turn.due_rate_deg_s is not None
        ]
        # A turn eased or tightened to meet the course is no habit: every turn of the lap must be off.
        clear = [each for each in off if each[1] > limit]
        if not off or len(clear) < len(off):
            continue
        turn, most = max(clear, key=lambda each: each[1])
        rates = " and ".join(f"{each[0].rate_deg_s.value:.1f}" for each in clear)
        yield lap.sighting(
            turn.start_epoch_s,
            most / limit,
            f"turns at {rates}°/s where {turn.due_rate_deg_s:.1f}°/s is due",
            since_epoch_s=clear[0][0].start_epoch_s,
        )


def turn_uneven(flight: Flight) -> Iterator[Sighting]:
    """The rate swings within the turns."""
    for lap, turns in _turns(flight, lambda turn: turn.rate_spread_deg_s):
        name, turn, spread = max(turns, key=lambda each: each[2])
        if spread >= UNEVEN_DEG_S:
            yield lap.sighting(
                turn.start_epoch_s,
                spread / UNEVEN_DEG_S,
                f"the rate scattered by {spread:.1f}°/s within the turn {name}",
                since_epoch_s=turns[0][1].start_epoch_s,
            )


def altitude_lost_in_turns(flight: Flight) -> Iterator[Sighting]:
    """Altitude lost between the start of a turn and its lowest point."""
    limit = LOST_SHARE * (flight.standard.limit("altitude") or 100.0)
    for lap, turns in _turns(flight, lambda turn: turn.altitude_lost_ft):
        name, turn, most = max(turns, key=lambda each: each[2])
        if most - 2.0 * (turn.altitude_lost_ft.sd or 0.0) > 0.7 * limit and most > limit:
            yield lap.sighting(turn.start_epoch_s, most / limit, f"{amount(most, 'ft')} lost in the turn {name}")


def _turns(
    flight: Flight, of: Callable[[TurnMeasures], Measurement]
) -> Iterator[tuple[GradedLap, list[tuple[str, TurnMeasures, float]]]]:
    """Each lap with those of its turns that have a measure: the words for a turn, the turn, the value."""
    for lap in flight.laps:
        known = [(name, turn, value) for name, turn in lap.measures.turns if (value := of(turn).value) is not None]
        if known:
            yield lap, known


def altitude_not_held(flight: Flight) -> Iterator[Sighting]:
    """Outside the altitude band: too long, or too often."""
    yield from _band_left(flight, "altitude", "ft", "high", "low")


def airspeed_not_held(flight: Flight) -> Iterator[Sighting]:
    """Outside the airspeed band: too long, or too often."""
    yield from _band_left(flight, "airspeed", "kt", "fast", "slow")


def _band_left(flight: Flight, item: str, unit: str, above: str, below: str) -> Iterator[Sighting]:
    """Laps outside a band; a lap in doubt by its own error counts when the band is left lap after lap."""
    results = [(lap, lap.item(item)) for lap in flight.laps]
    left = [(lap, r) for lap, r in results if r is not None and r.result in ("outside", "brief excursion")]
    clear = [(lap, r) for lap, r in left if r.result == "outside" and not r.straddles]
    again_and_again = len(left) > 1 and 2 * len(left) >= len(results) and any(r.result == "outside" for _, r in left)
    for lap, result in left if again_and_again else clear:
        if result.value is None or result.limit is None:
            continue
        word = above if result.value > 0.0 else below
        yield lap.sighting(
            result.at_epoch_s,
            abs(result.value) / result.limit,
            f"up to {amount(abs(result.value), unit)} {word}, outside for {result.outside_s or 0.0:.0f} s, "
            f"against {result.reference}",
            since_epoch_s=min((stay.start_epoch_s for stay in result.excursions), default=None),
        )


def speed_above_limit(flight: Flight) -> Iterator[Sighting]:
    """Faster than the holding speed limit."""
    for lap, result, value, limit in flight.out_of("holding_speed"):
        evidence = f"{value:.0f} KIAS where the limit is {limit:.0f} ({result.reference})"
        yield lap.sighting(lap.start_epoch_s, 1.0 + (value - limit) / 10.0, evidence)


def speed_not_reduced(flight: Flight) -> Iterator[Sighting]:
    """Over the first fix faster than holding speed, and not just fast all along."""
    if any(lap.out("airspeed") for lap in flight.laps[1:]):
        return
    for visit in flight.visits:
        result = visit.entry.out("arrival_speed")
        if result is not None and result.value is not None:
            evidence = f"{amount(result.value, 'kt')} above holding speed over the fix; {result.evidence}"
            size = result.value / (result.limit or 10.0)
            yield Sighting(visit.number, None, result.at_epoch_s, size, evidence)


def heading_wandered(flight: Flight) -> Iterator[Sighting]:
    """The outbound heading not held."""
    for lap, result, value, limit in flight.out_of("outbound_heading"):
        if result.result == "outside":
            evidence = f"up to {amount(abs(value), 'deg')} off the leg's own heading"
            yield lap.sighting(result.at_epoch_s, abs(value) / limit, evidence)
