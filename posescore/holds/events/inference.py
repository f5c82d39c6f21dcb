"""Events that keypoints can show: an attempted takedown, a guard pull, a position given up.

Conservative: an event is inferred only where the row of holds leaves little else, and says how
sure it is. Starts, stops, taps, grips and submissions are for a person to mark.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np

from posescore.holds.event import EventName, MatchEvent
from posescore.holds.events.descent import Descent, descent
from posescore.holds.hold import Hold
from posescore.pose.track import PairTrack
from posescore.terms import GUARDS, Athlete, Position

_LONGEST_FALL_S: Final = 4.0
"""From the last hold on the feet to the first on the mat. Longer: what led there is not clear."""
_BEFORE_S: Final = 3.0
_AFTER_S: Final = 0.8
_UNSEEN: Final = 0.6
"""How sure an attempt is where the descent itself could not be measured."""
_MOST_LEAD_S: Final = 0.6
_CLEAR_RISE_S: Final = 0.4
_HELD_ON_TOP: Final = frozenset(
    {
        Position.SIDE_CONTROL,
        Position.NORTH_SOUTH,
        Position.KNEE_ON_BELLY,
        Position.MOUNT,
        Position.BACK_MOUNT,
    }
)


def infer_events(holds: tuple[Hold, ...], track: PairTrack) -> tuple[MatchEvent, ...]:
    """Infer events from a row of holds and the keypoints between them.

    Parameters
    ----------
    holds
        In order of time, as :func:`posescore.holds.decoding.decoder.decode` gives them.
    track
        Keypoints of the same footage.

    Returns
    -------
    tuple of MatchEvent
        In order of time; ``confidence`` is the probability that the event took place and was this
        athlete's.
    """
    named = [hold for hold in holds if hold.position is not Position.SCRAMBLE]
    events: list[MatchEvent] = []
    for before, after in pairwise(named):
        if after.start_s - before.end_s > _LONGEST_FALL_S:
            continue
        if before.position is Position.STANDING and after.upper is not None:
            events.append(_way_down(before, after, after.upper, track))
        elif before.upper is not None and after.position is Position.STANDING:
            events.extend(_given_up(before, after, before.upper, track))
    return tuple(sorted(events, key=lambda event: event.time_s))


def _way_down(before: Hold, after: Hold, upper: Athlete, track: PairTrack) -> MatchEvent:
    """An attempted takedown or a guard pull: who went down, and who brought it about."""
    start_s = max(before.start_s, before.end_s - _BEFORE_S)
    end_s = min(after.end_s, after.start_s + _AFTER_S)
    found = descent(track, start_s, end_s, upper)
    time_s = min(before.end_s, found.begun_s) if found else before.end_s
    into_guard = after.position in GUARDS
    pulled = _pulled(found, into_guard)
    certainty = min(before.confidence, after.confidence)
    if into_guard and pulled > 0.5:
        event, athlete, sure = EventName.GUARD_PULL, upper.other, pulled
    elif not into_guard and after.position is Position.TURTLE and pulled > 0.5:
        # Whoever shot in, was sprawled on and ended underneath is the one who attempted.
        event, athlete, sure = EventName.TAKEDOWN_ATTEMPT, upper.other, pulled
    else:
        event, athlete, sure = EventName.TAKEDOWN_ATTEMPT, upper, 1.0 - pulled
    return MatchEvent(float(time_s), event, athlete, float(sure * certainty))


def _pulled(found: Descent | None, into_guard: bool) -> float:
    """Probability that the lower athlete went down by himself.

    Who pulls guard comes down alone and first, while the other stays up; who is taken down comes
    down with or after an attacker who changes level. How far the upper one had come down tells
    more: in the filmed training matches .24 to .55 of the way with takedowns and .07 to .18 with
    pulls, so the odds turn at .25 and a tenth more or less is worth a factor of three. Who was
    first is seen badly where an attacker bends and rises again: it counts for at most .6 s. Outside
    guard a pull is unusual to begin with. Few descents, all of one author: judgement, not a fit.
    """
    odds = -0.4 if into_guard else -2.2
    if found is None:
        return float(np.clip(1.0 / (1.0 + np.exp(-odds)), 1.0 - _UNSEEN, _UNSEEN))
    lead_s = float(np.clip(found.lead_s, -_MOST_LEAD_S, _MOST_LEAD_S))
    odds += -2.5 * lead_s + 11.0 * (0.25 - found.upper_drop)
    return float(1.0 / (1.0 + np.exp(-np.clip(odds, -3.5, 3.5))))


def _given_up(before: Hold, after: Hold, upper: Athlete, track: PairTrack) -> list[MatchEvent]:
    """A dominant athlete who clearly rises first, of his own accord, gives the position up."""
    if before.position not in _HELD_ON_TOP:
        return []
    rise = _rise_lead_s(track, before.end_s - 0.6, after.start_s + 0.6, upper)
    if rise < _CLEAR_RISE_S:
        return []
    sure = min(before.confidence, after.confidence) * min(0.9, 0.5 + 0.4 * rise)
    return [MatchEvent(before.end_s, EventName.POSITION_GIVEN_UP, upper, float(sure))]


def _rise_lead_s(track: PairTrack, start_s: float, end_s: float, upper: Athlete) -> float:
    """How much earlier the upper athlete's hips rose: a descent seen backwards."""
    backwards = PairTrack(
        track.keypoints_px[::-1],
        track.keypoint_confidence[::-1],
        track.frame_index,
        track.end_s - np.append(track.time_s[1:], track.end_s)[::-1],
        track.end_s,
        track.picture_size_px,
        track.provenance,
    )
    found = descent(backwards, track.end_s - end_s, track.end_s - start_s, upper)
    # Backwards, who rises last falls first: the lower one leads, so the lead is negative.
    return -found.lead_s if found else 0.0
