"""The way from probabilities and keypoints to checked holds and inferred events."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.criteria.checks import check_holds
from posescore.holds.decoding.decoder import decode
from posescore.holds.decoding.grammar import Grammar
from posescore.holds.decoding.motion import with_motion
from posescore.holds.event import MatchEvent
from posescore.holds.events.inference import infer_events
from posescore.holds.hold import Hold
from posescore.pose.track import PairTrack
from posescore.position.probabilities import PositionProbabilities

_ENOUGH: Final = 8
"""Keypoints of both athletes together below which a frame says nothing of the position."""


def find_holds(
    probabilities: PositionProbabilities, track: PairTrack, grammar: Grammar | None = None
) -> tuple[tuple[Hold, ...], tuple[MatchEvent, ...]]:
    """Holds with their checks, tiling the footage, and the events between them.

    Parameters
    ----------
    probabilities
        One row for each frame of ``track``.
    track
        Keypoints of the same footage.
    grammar
        Of positions; the shipped one by default.

    Raises
    ------
    ValueError
        When the two are not of the same frames.
    """
    if len(probabilities) != len(track):
        raise ValueError(
            f"{len(probabilities)} rows of probabilities cannot be of {len(track)} frames"
        )
    holds = decode(with_motion(probabilities, track), grammar, seen_enough(track))
    return check_holds(holds, track), infer_events(holds, track)


def seen_enough(track: PairTrack) -> NDArray[np.bool_]:
    """``(n_frames,)``: enough keypoints to say something of the position."""
    known = np.isfinite(track.keypoints_px[..., 0]).sum(axis=(1, 2))
    return np.asarray(known >= _ENOUGH)
