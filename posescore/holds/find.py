"""The way from what a film says to checked holds and inferred events."""

from __future__ import annotations

from dataclasses import replace

from posescore.holds.criteria.checks import check_holds
from posescore.holds.decoding.decoder import decode
from posescore.holds.event import MatchEvent
from posescore.holds.events.inference import infer_events
from posescore.holds.film.reading import FilmReading
from posescore.holds.hold import Hold


def find_holds(film: FilmReading) -> tuple[tuple[Hold, ...], tuple[MatchEvent, ...]]:
    """Holds with their checks, tiling the footage, and the events between them."""
    decoded = decode(film.of_instants(), film.grammar, film.seen)
    sure = film.calibration.of_hold
    holds = tuple(replace(hold, confidence=sure(hold.confidence)) for hold in decoded)
    return check_holds(holds, film), infer_events(holds, film)
