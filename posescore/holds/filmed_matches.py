"""Half guard or mount in filmed matches: what the mix of classifier and geometry starts from.

Both lean towards mount where the pose pass pulls a hidden foot to where feet usually are; by how
much shows only on matches that were filmed and read as the program reads them. Each folder holds
``truth.json`` (:mod:`posescore.simulation.rendered_match` writes it) and ``pass.json``, which
``posescore pose FOLDER/match.mp4 --out FOLDER/pass.json`` writes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.geometry import Floats
from posescore.holds.trapped_leg import WORTH_ASKING, Mix, judged, log_ratio
from posescore.pose.coco import track_from_coco
from posescore.pose.track import PairTrack
from posescore.position.classifier import PositionClassifier
from posescore.terms import STATES, Athlete, Position, State

_EDGE_S: Final = 0.3
"""Left out at both ends of a hold, where one position turns into the other."""
_CONSTANTS: Final = np.arange(-8.0, 8.0, 0.05)


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """One true hold as seen: log odds of both sources ``(n,)``, and whether it is half guard."""

    named: Floats
    judged: Floats
    half_guard: bool


def stretches_of(folders: Iterable[Path]) -> list[Stretch]:
    """True half guards and mounts of filmed matches, as the pose pass and the program see them."""
    found: list[Stretch] = []
    for folder in folders:
        truth = json.loads((folder / "truth.json").read_text("utf-8"))
        track = track_from_coco(folder / "pass.json")
        probability = PositionClassifier.load().probabilities(track).probability
        for hold in truth["holds"]:
            if hold["position"] in (Position.HALF_GUARD, Position.MOUNT):
                found.append(_stretch(hold, track, probability))
    return [stretch for stretch in found if len(stretch.named)]


def _stretch(
    hold: dict[str, float | str], track: PairTrack, probability: NDArray[np.float64]
) -> Stretch:
    upper = Athlete(str(hold["upper"]))
    half, mount = (
        probability[:, STATES.index(State(position, upper))]
        for position in (Position.HALF_GUARD, Position.MOUNT)
    )
    inside = (track.time_s > float(hold["start_s"]) + _EDGE_S) & (
        track.time_s < float(hold["end_s"]) - _EDGE_S
    )
    rows = inside & (half + mount > WORTH_ASKING)
    return Stretch(
        log_ratio(half[rows], mount[rows]),
        judged(track, upper)[rows],
        hold["position"] == Position.HALF_GUARD,
    )


def with_constant(mix: Mix, stretches: Sequence[Stretch]) -> Mix:
    """The mix with the constant that makes the stretches likeliest, each weighing the same."""
    loss = np.zeros(len(_CONSTANTS))
    for stretch in stretches:
        sign = 1.0 if stretch.half_guard else -1.0
        odds = mix.odds(stretch.named, stretch.judged) - mix.constant
        loss += np.logaddexp(0.0, -sign * (odds[:, None] + _CONSTANTS)).mean(axis=0)
    return replace(mix, constant=float(_CONSTANTS[int(np.argmin(loss))]))
