"""Half guard or mount in filmed matches: how classifier and geometry are mixed.

Both lean towards mount where the pose pass pulls a hidden foot to where feet usually are; by how
much each does shows only on matches that were filmed and read as the program reads them. Each
folder holds ``truth.json`` (:mod:`posescore.lab.matches.rendered_match` writes it) and
``pass.json``, which ``posescore pose FOLDER/match.mp4 --out FOLDER/pass.json`` writes.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from posescore.holds.criteria.trapped_leg import WORTH_ASKING, Mix, judged, log_ratio, mix_columns
from posescore.holds.geometry import Floats
from posescore.pose.coco import track_from_coco
from posescore.pose.track import PairTrack
from posescore.position.classifier import PositionClassifier
from posescore.terms import STATES, Athlete, Position, State

_EDGE_S: Final = 0.3
"""Left out at both ends of a hold, where one position turns into the other."""
_LOOSE: Final = np.array([5.0, 2.0, 2.0])
"""How far constant and shares may be from those fitted on figures, one standard deviation. Of .25,
.5, 1 and 2 for the shares the last was best on matches left out in turn (decision 0509)."""
_STEPS: Final = 60
_LONGEST_STEP: Final = 0.5


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


def fitted_to(mix: Mix, stretches: Sequence[Stretch]) -> Mix:
    """The mix that makes the stretches likeliest, each weighing the same.

    Notes
    -----
    Newton's method with a ridge towards the given mix; a share that comes out below zero is left
    out, for no source speaks against itself.
    """
    start = np.array([mix.constant, mix.named, mix.judged])
    found = _newton(start, stretches, np.array([True, True, True]))
    if (found[1:] < 0.0).any():
        found = _newton(np.where(found < 0.0, 0.0, start), stretches, found >= 0.0)
    return Mix(*map(float, found))


def _newton(start: Floats, stretches: Sequence[Stretch], free: NDArray[np.bool_]) -> Floats:
    weight = start.copy()
    free = free | np.array([True, False, False])
    for _ in range(_STEPS):
        slope, bend = -(weight - start) / _LOOSE**2, np.diag(1.0 / _LOOSE**2)
        for stretch in stretches:
            design = mix_columns(stretch.named, stretch.judged)
            likely = 1.0 / (1.0 + np.exp(-design @ weight))
            counts = 1.0 / len(design)
            slope = slope + counts * (design.T @ (float(stretch.half_guard) - likely))
            bend = bend + counts * (design * (likely * (1.0 - likely))[:, None]).T @ design
        step = np.linalg.solve(bend[np.ix_(free, free)], slope[free])
        weight[free] += np.clip(step, -_LONGEST_STEP, _LONGEST_STEP)
    return weight
