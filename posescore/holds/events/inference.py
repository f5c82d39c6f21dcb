"""Events that a film shows: an attempted takedown, a guard pull, a position given up.

An event is inferred only between two holds, where the film says it is likelier than not, and says
how sure it is. Starts, stops, taps, grips and submissions are for a person to mark.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from posescore.holds.event import EventName, MatchEvent
from posescore.holds.film.outputs import WAYS
from posescore.holds.film.reading import FilmReading
from posescore.holds.hold import Hold
from posescore.terms import Position

BEFORE_S: Final = 0.3
AFTER_S: Final = 0.5
"""A passage from one hold to the next is looked at with so much of both."""
_LONGEST_S: Final = 6.0
"""Of a passage. Longer: what led there is not clear."""
_LIKELY: Final = 0.5


def infer_events(holds: tuple[Hold, ...], film: FilmReading) -> tuple[MatchEvent, ...]:
    """Infer events from a row of holds and what the film says between them.

    Parameters
    ----------
    holds
        In order of time, as :func:`posescore.holds.decoding.decoder.decode` gives them.

    Returns
    -------
    tuple of MatchEvent
        In order of time; ``confidence`` is the probability that the event took place and was this
        athlete's.
    """
    named = [hold for hold in holds if hold.position is not Position.SCRAMBLE]
    events: list[MatchEvent] = []
    for before, after in pairwise(named):
        if after.start_s - before.end_s > _LONGEST_S:
            continue
        part = film.slice_of(before.end_s - BEFORE_S, after.start_s + AFTER_S)
        if before.position is Position.STANDING and after.upper is not None:
            events.extend(_way_down(before, after, film, part))
        elif before.upper is not None:
            events.extend(_given_up(before, after, film, part))
    return tuple(events)


def _way_down(before: Hold, after: Hold, film: FilmReading, part: slice) -> list[MatchEvent]:
    """Who brought the match to the mat; nobody where they fell side by side."""
    probability = film.way_down(part)
    best = int(np.argmax(probability))
    way = WAYS[best]
    if way is None:
        return []
    sure = float(probability[best]) * min(before.confidence, after.confidence)
    return [MatchEvent(before.end_s, *way, sure)]


def _given_up(before: Hold, after: Hold, film: FilmReading, part: slice) -> list[MatchEvent]:
    """The upper athlete leaves a position of his own accord."""
    if before.upper is None:
        return []
    likely = film.gave_up(part, before.upper)
    if likely <= _LIKELY:
        return []
    sure = likely * min(before.confidence, after.confidence)
    return [MatchEvent(before.end_s, EventName.POSITION_GIVEN_UP, before.upper, sure)]
